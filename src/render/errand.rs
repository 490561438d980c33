//! What a process of its own is asked to set, and what it answers: messages of bytes.
//!
//! A unit's own layouts and fonts may loop for ever or fill the memory; so they are set in a process that
//! can be stopped. Nothing here starts one.

use std::num::NonZeroUsize;
use std::ops::RangeInclusive;

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::labels::LabelOrder;
use super::preview::preview;
use super::{PackSize, PdfFile, Press, RenderFault, fit, render_with_labels};
use crate::compose::paperwork::{Counts, Document, Labels, PackWords, Paper, Paperwork};
use crate::layouts::{Layouts, OwnFile};
use crate::problem::Problem;
use crate::unit_rules::Printer;

/// Something to do with a unit's own files.
#[derive(Debug, Serialize, Deserialize)]
pub struct Errand {
    /// The files.
    pub own: Vec<OwnFile>,
    /// How many threads set documents.
    pub workers: NonZeroUsize,
    /// What to do.
    pub task: Task,
}

/// What is to be done.
#[derive(Debug, Serialize, Deserialize)]
pub enum Task {
    /// Say which characters the fonts have.
    Cover,
    /// Set the samples.
    Preview,
    /// Set cards, only to see whether they can be printed.
    Fit(Vec<Document>),
    /// Set a day's documents and put the pack together.
    Pack(Box<PackTask>),
}

/// A day's documents, and how they are put together: the parts of [`Paperwork`], [`Press`] and
/// [`LabelOrder`] that setting needs.
#[derive(Debug, Serialize, Deserialize)]
#[expect(missing_docs, reason = "each is the field of that name there")]
pub struct PackTask {
    pub date: String,
    pub paper: Paper,
    pub documents: Vec<Document>,
    pub pack_title: String,
    pub cards_title: String,
    pub language: String,
    pub stamp: String,
    pub printer: Printer,
    pub labels_title: String,
    pub form: String,
    pub first_free: usize,
    pub labels: Vec<Value>,
}

/// What came of an errand.
#[derive(Debug, Serialize, Deserialize)]
pub enum Answer {
    /// The characters that the fonts have, as ranges.
    Covered(Vec<RangeInclusive<u32>>),
    /// The set files, and what the pack takes.
    Files(Vec<PdfFile>, PackSize),
    /// The faults of each document.
    Fit(Vec<Vec<RenderFault>>),
    /// Files that cannot be used.
    Problems(Vec<Problem>),
    /// Sheets that cannot be set.
    Faults(Vec<RenderFault>),
}

impl Errand {
    /// Does what is asked.
    #[must_use]
    pub fn run(&self) -> Answer {
        let layouts = match Layouts::with_own(&self.own) {
            Ok(layouts) => layouts,
            Err(problems) => return Answer::Problems(problems),
        };
        let done = match &self.task {
            Task::Cover => return Answer::Covered(layouts.covered().to_vec()),
            Task::Preview => preview(&layouts, self.workers).map(|files| (files, PackSize::default())),
            Task::Fit(cards) => {
                return fit(&layouts, cards).map_or_else(|fault| Answer::Faults(vec![fault]), Answer::Fit);
            }
            Task::Pack(pack) => pack.run(&layouts, self.workers),
        };
        done.map_or_else(Answer::Faults, |(files, size)| Answer::Files(files, size))
    }

    /// The errand as bytes.
    ///
    /// # Errors
    /// If it cannot be written as JSON.
    pub fn to_bytes(&self) -> serde_json::Result<Vec<u8>> {
        message(self, self.own.iter().map(|file| file.bytes.as_slice()))
    }

    /// The errand that such bytes hold.
    #[must_use]
    pub fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let (mut errand, rest) = read::<Self>(bytes)?;
        let mut rest = rest;
        for file in &mut errand.own {
            (file.bytes, rest) = part(rest)?;
        }
        Some(errand)
    }
}

impl Answer {
    /// The answer as bytes.
    ///
    /// # Errors
    /// If it cannot be written as JSON.
    pub fn to_bytes(&self) -> serde_json::Result<Vec<u8>> {
        let files: &[PdfFile] = if let Self::Files(files, _) = self { files } else { &[] };
        message(self, files.iter().map(|file| file.bytes.as_slice()))
    }

    /// The answer that such bytes hold; nothing if they are not whole.
    #[must_use]
    pub fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let (mut answer, mut rest) = read::<Self>(bytes)?;
        if let Self::Files(files, _) = &mut answer {
            for file in files {
                (file.bytes, rest) = part(rest)?;
            }
        }
        Some(answer)
    }
}

impl PackTask {
    fn run(
        &self,
        layouts: &Layouts,
        workers: NonZeroUsize,
    ) -> Result<(Vec<PdfFile>, PackSize), Vec<RenderFault>> {
        let paperwork = Paperwork {
            date: self.date.clone(),
            paper: self.paper,
            documents: self.documents.clone(),
            labels: Labels::default(),
            record: Value::Null,
            pack: PackWords::default(),
            counts: Counts::default(),
        };
        let press = Press {
            pack_title: &self.pack_title,
            cards_title: &self.cards_title,
            language: &self.language,
            stamp: &self.stamp,
            printer: self.printer,
            workers,
            progress: &|_, _| {},
        };
        let order = LabelOrder {
            title: &self.labels_title,
            language: &self.language,
            form: &self.form,
            first_free: self.first_free,
            labels: &self.labels,
        };
        let pdfs = render_with_labels(layouts, &paperwork, Some(&order), &press)?;
        Ok((pdfs.files, pdfs.pack))
    }
}

/// A head as JSON, then parts of bytes, each behind its length.
fn message<'b>(head: &impl Serialize, parts: impl Iterator<Item = &'b [u8]>) -> serde_json::Result<Vec<u8>> {
    let head = serde_json::to_vec(head)?;
    let mut bytes = Vec::new();
    let mut append = |part: &[u8]| {
        bytes.extend((part.len() as u64).to_le_bytes());
        bytes.extend_from_slice(part);
    };
    append(&head);
    parts.for_each(append);
    Ok(bytes)
}

/// The head of a message, and what follows it.
fn read<T: DeserializeOwned>(bytes: &[u8]) -> Option<(T, &[u8])> {
    let (head, rest) = part(bytes)?;
    Some((serde_json::from_slice(&head).ok()?, rest))
}

/// The next part of a message, and what follows it.
fn part(bytes: &[u8]) -> Option<(Vec<u8>, &[u8])> {
    let (length, rest) = bytes.split_first_chunk::<8>()?;
    let length = usize::try_from(u64::from_le_bytes(*length)).ok()?;
    Some((rest.get(..length)?.to_vec(), rest.get(length..)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn errand() -> Errand {
        let file = OwnFile {
            path: "notes.md".to_owned(),
            shown: "ours/notes.md".to_owned(),
            bytes: vec![0, 200, 7],
        };
        Errand { own: vec![file], workers: NonZeroUsize::MIN, task: Task::Cover }
    }

    #[test]
    fn an_errand_and_its_answer_come_through_as_they_were_sent() {
        let sent = errand().to_bytes().expect("JSON");
        let read = Errand::from_bytes(&sent).expect("whole");
        assert_eq!(read.own, errand().own);
        let file = PdfFile { name: "bay-A.pdf".to_owned(), bytes: vec![1; 300], pages: 2 };
        let answer = Answer::Files(vec![file.clone()], PackSize::default());
        let read = Answer::from_bytes(&answer.to_bytes().expect("JSON"));
        assert!(matches!(read, Some(Answer::Files(files, _)) if files == [file]));
    }

    #[test]
    fn bytes_that_are_cut_off_are_no_message() {
        let sent = errand().to_bytes().expect("JSON");
        for length in 0..sent.len() {
            assert!(Errand::from_bytes(&sent[..length]).is_none(), "{length} bytes of {}", sent.len());
        }
    }

    #[test]
    fn fonts_are_asked_which_characters_they_have() {
        let Answer::Covered(ranges) = errand().run() else { panic!("not covered") };
        assert!(ranges.iter().any(|range| range.contains(&u32::from('ł'))));
    }
}
