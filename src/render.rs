//! Turns the paperwork into PDF files: single documents set with Typst, and the files that go to the
//! printer.
//!
//! Nothing here touches a file, a clock or the machine's settings, and no number of threads changes a
//! byte of what comes out. No message names a patient.

pub mod draw;
pub mod errand;
mod fault;
pub mod frames;
pub mod labels;
mod offers;
mod pack;
pub mod preview;
pub mod typeset;

use std::num::NonZeroUsize;

use serde::{Deserialize, Serialize};
use serde_json::Value;

pub use self::draw::printer_check::CheckWords;
pub use self::fault::{FaultPlace, RenderFault};
use self::frames::Limits;
use self::labels::{Form, LabelOrder};
use self::pack::Assembly;
use self::typeset::{FileDate, Job, Typesetter};
use crate::compose::paperwork::{Document, Kind, Paper, Paperwork};
use crate::layouts::Layouts;
use crate::unit_rules::Printer;

/// How the pack is put together, and how the work is run.
pub struct Press<'a> {
    /// The title of the pack's file: `Pack for Fri 14-Mar-2031`.
    pub pack_title: &'a str,
    /// The title of the file of cards, and of their part of the pack: `Care cards`.
    pub cards_title: &'a str,
    /// The language of these words, as a BCP 47 code.
    pub language: &'a str,
    /// What is stamped on each sheet of the pack, with `{sheet}` and `{sheets}` for the numbers:
    /// `Sheet {sheet} of {sheets} · revision 1 · printed 14-Mar-2031 07:02`. Latin, Greek or
    /// Cyrillic letters only.
    pub stamp: &'a str,
    /// What was measured of the printer; the pack and the labels are corrected for it.
    pub printer: Printer,
    /// How many threads set documents.
    pub workers: NonZeroUsize,
    /// Told after each document how many of how many are set.
    pub progress: &'a (dyn Fn(usize, usize) + Sync),
}

/// The files of a day, ready to be written.
#[derive(Clone, Debug, PartialEq)]
pub struct Pdfs {
    /// The files, the pack first.
    pub files: Vec<PdfFile>,
    /// What the pack takes.
    pub pack: PackSize,
}

/// One file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PdfFile {
    /// Its path in the day's folder: `bay-A.pdf`, `cards/K7M4QX.pdf`.
    pub name: String,
    /// What stands in it.
    #[serde(skip)]
    pub bytes: Vec<u8>,
    /// How many pages it has.
    pub pages: usize,
}

/// What a pack takes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct PackSize {
    /// Sheets of paper.
    pub sheets: usize,
    /// Sides with something printed on them.
    pub sides: usize,
    /// Of these, sides of bay sheets: what a bay carries about.
    pub bay_sides: usize,
}

/// Sets every document, and makes the pack and the file of cards from them.
///
/// # Errors
/// Every fault of the layouts and the finished pages, in print order.
pub fn render(layouts: &Layouts, paperwork: &Paperwork, press: &Press<'_>) -> Result<Pdfs, Vec<RenderFault>> {
    render_with_labels(layouts, paperwork, None, press)
}

/// As [`render`], with a file of labels and their sheets at the end of the pack.
///
/// # Errors
/// As [`render`]; if the form of the labels is missing or wrong, or a label does not hold its text.
pub fn render_with_labels(
    layouts: &Layouts,
    paperwork: &Paperwork,
    labels: Option<&LabelOrder<'_>>,
    press: &Press<'_>,
) -> Result<Pdfs, Vec<RenderFault>> {
    let date = file_date(&paperwork.date).map_err(|fault| vec![fault])?;
    let labels = match labels.filter(|order| !order.labels.is_empty()) {
        Some(order) => Some(LabelRun::new(layouts, order).map_err(|fault| vec![fault])?),
        None => None,
    };
    let mut jobs: Vec<Job<'_>> =
        paperwork.documents.iter().map(|document| job(document, &paperwork.date)).collect();
    jobs.extend(labels.as_ref().map(|labels| labels.job(&paperwork.date)));
    let done = |count: usize| (press.progress)(count, jobs.len());
    let set = Typesetter::new(layouts, date).set_all(&jobs, press.workers, &done)?;
    Assembly { layouts, paperwork, press, date, set: &set, labels: labels.as_ref() }.files()
}

/// Sets documents only to see whether they can be printed: the faults of each, in their order.
///
/// # Errors
/// If nothing can be set at all.
pub fn fit(layouts: &Layouts, documents: &[Document]) -> Result<Vec<Vec<RenderFault>>, RenderFault> {
    let dated = "2031-03-14";
    let typesetter = Typesetter::new(layouts, file_date(dated)?);
    Ok(documents
        .iter()
        .map(|document| typesetter.set(&job(document, dated)).err().unwrap_or_default())
        .collect())
}

/// Makes the printer check, a page on `paper` that shows whether a printer shrinks or shifts; the file
/// carries `date`, as 2031-03-14.
///
/// # Errors
/// If the font lacks a character of the words, or a line is wider than the page.
pub fn printer_check(
    layouts: &Layouts,
    words: &CheckWords<'_>,
    paper: Paper,
    date: &str,
) -> Result<PdfFile, RenderFault> {
    let name = "printer-check";
    let font = layouts.file(pack::STAMP_FONT).unwrap_or_default();
    let bytes = draw::printer_check::printer_check(words, pack::paper_size(paper), file_date(date)?, font)
        .map_err(|fault| pack::draw_fault(&fault, name))?;
    Ok(PdfFile { name: format!("{name}.pdf"), bytes, pages: 1 })
}

/// The labels of a run, with the form that they are set for.
struct LabelRun<'a> {
    order: &'a LabelOrder<'a>,
    form: Form,
    data: Value,
}

impl<'a> LabelRun<'a> {
    fn new(layouts: &Layouts, order: &'a LabelOrder<'a>) -> Result<Self, RenderFault> {
        let form = Form::read(layouts, order.form)?;
        let data = form.data(order);
        Ok(Self { order, form, data })
    }

    fn job(&self, date: &str) -> Job<'_> {
        Job {
            called: "labels".to_owned(),
            layout: labels::LAYOUT.to_owned(),
            data: &self.data,
            title: self.order.title,
            language: self.order.language,
            identifier: format!("{date}/labels"),
            limits: Limits::LABEL,
        }
    }
}

/// Reads `2031-03-14`.
fn file_date(date: &str) -> Result<FileDate, RenderFault> {
    let parts: Vec<&str> = date.split('-').collect();
    let read = |year: &str, month: &str, day: &str| {
        Some(FileDate { year: year.parse().ok()?, month: month.parse().ok()?, day: day.parse().ok()? })
    };
    let found = if let [year, month, day] = parts[..] { read(year, month, day) } else { None };
    found.ok_or_else(|| RenderFault {
        what: "the day is not a date".to_owned(),
        document: "the pack".to_owned(),
        place: None,
        help: "write the day as 2031-03-14".to_owned(),
    })
}

/// What messages call a document.
fn called(document: &Document) -> String {
    let kind = match document.kind {
        Kind::FrontSheet => "front sheet",
        Kind::BaySheet => "bay sheet",
        Kind::MachineSheet => "machine sheet",
        Kind::CareCard => "care card",
    };
    format!("{kind} {}", document.page_code)
}

fn job<'a>(document: &'a Document, date: &str) -> Job<'a> {
    Job {
        called: called(document),
        layout: format!("sheets/{}.typ", document.kind.layout()),
        data: &document.data,
        title: &document.title,
        language: &document.language,
        identifier: format!("{date}/{}/{}", document.file, document.page_code),
        limits: if document.kind == Kind::CareCard { Limits::CARD } else { Limits::SHEET },
    }
}
