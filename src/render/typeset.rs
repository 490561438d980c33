//! Sets documents with Typst: a layout and its data become checked pages and one PDF file.
//!
//! A layout sees the files of `layouts/`, its data and nothing else: no clock, no file of the machine, no
//! package. The names of virtual files are fixed, because Typst keeps every name for as long as the
//! program runs; none ever holds a word about a patient.

use std::collections::BTreeMap;
use std::num::NonZeroUsize;
use std::sync::atomic::{AtomicUsize, Ordering};

use serde_json::{Value, json};
use typst::diag::{FileError, FileResult, SourceDiagnostic, Warned};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Feature, Features, Library, LibraryExt, World, WorldExt};
use typst_layout::{Page, PagedDocument};
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards, Timestamp};

use super::draw::imposition::Size;
use super::frames::{self, Limits};
use super::{FaultPlace, RenderFault, offers};
use crate::layouts::Layouts;

/// The file that calls the layout; it is generated.
const MAIN: &str = "main.typ";
/// The layout's data.
const DATA: &str = "data.json";
/// Title and language of the file.
const ABOUT: &str = "about.json";

/// Pages set between two evictions of Typst's caches: cards by the ten, sheets of a bay one by one. Without
/// eviction they grow by most of a megabyte a card and ten a bay's patient; with it, what documents share
/// stays (measured).
const EVICT_EVERY: usize = 20;
/// How many evictions a cached result survives without being used.
const EVICT_AGE: usize = 1;
/// Stack of a setting thread, in bytes: nested tables recurse deeply.
const STACK: usize = 16 << 20;

/// A document to set.
#[derive(Clone, Debug)]
pub struct Job<'a> {
    /// What messages call the document: its kind and page code, never a patient's name.
    pub called: String,
    /// The layout's path below `layouts/`; it defines `sheet`, a function of the data.
    pub layout: String,
    /// The layout's data.
    pub data: &'a Value,
    /// The title in the file's metadata.
    pub title: &'a str,
    /// The language of the words, as a BCP 47 code.
    pub language: &'a str,
    /// What tells this file from every other; only a digest of it is written.
    pub identifier: String,
    /// What the finished pages must keep to.
    pub limits: Limits,
}

/// A document that is set, checked and written.
#[derive(Clone, Debug, PartialEq)]
pub struct SetDocument {
    /// The PDF file.
    pub pdf: Vec<u8>,
    /// The size of each page.
    pub pages: Vec<Size>,
}

/// A day at 00:00 UTC, the date that files carry: a reprint changes no file, so no clock is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FileDate {
    /// The year.
    pub year: i32,
    /// The month, 1 to 12.
    pub month: u8,
    /// The day of the month, from 1.
    pub day: u8,
}

impl FileDate {
    fn timestamp(self) -> Option<Timestamp> {
        Datetime::from_ymd_hms(self.year, self.month, self.day, 0, 0, 0).map(Timestamp::new_utc)
    }
}

/// What all documents share: Typst's library, the fonts and the parsed layouts.
pub struct Typesetter {
    library: LazyHash<Library>,
    book: LazyHash<FontBook>,
    fonts: Vec<Font>,
    files: BTreeMap<String, Bytes>,
    sources: BTreeMap<String, FileResult<Source>>,
    /// What messages call each file.
    shown: BTreeMap<String, String>,
    date: FileDate,
}

impl Typesetter {
    /// A typesetter with the fonts and files of `layouts`; its files are dated `date`.
    #[must_use]
    pub fn new(layouts: &Layouts, date: FileDate) -> Self {
        let fonts: Vec<Font> =
            layouts.fonts().flat_map(|(_, font)| Font::iter(Bytes::new(font.clone()))).collect();
        let mut files = BTreeMap::new();
        let mut sources = BTreeMap::new();
        let mut shown = BTreeMap::new();
        for (path, bytes) in layouts.files() {
            shown.insert(path.to_owned(), layouts.shown(path));
            if path.ends_with(".typ") {
                sources.insert(path.to_owned(), parse(path, bytes));
            }
            files.insert(path.to_owned(), Bytes::new(bytes.clone()));
        }
        Self {
            // Row heads of tables are tagged as heads.
            library: LazyHash::new(
                Library::builder().with_features(Features::from_iter([Feature::A11yExtras])).build(),
            ),
            book: LazyHash::new(FontBook::from_fonts(&fonts)),
            fonts,
            files,
            sources,
            shown,
            date,
        }
    }

    /// Sets, checks and writes one document.
    ///
    /// # Errors
    /// Every fault of the layout and of the finished pages. A warning of Typst is a fault: behind
    /// most of them text is missing on the page.
    pub fn set(&self, job: &Job<'_>) -> Result<SetDocument, Vec<RenderFault>> {
        let world = DocumentWorld::new(self, job);
        let Warned { output, warnings } = typst::compile::<PagedDocument>(&world);
        let document = output.map_err(|errors| world.faults(job, &errors))?;
        if !warnings.is_empty() {
            return Err(world.faults(job, &warnings));
        }
        let flaws = frames::check(&document, &job.limits);
        if !flaws.is_empty() {
            return Err(flaws.into_iter().map(|flaw| flaw.fault(&job.called)).collect());
        }
        let options = self.options(&job.identifier).map_err(|message| vec![plain(job, &message)])?;
        let pdf = typst_pdf::pdf(&document, &options).map_err(|errors| world.faults(job, &errors))?;
        Ok(SetDocument { pdf, pages: document.pages().iter().map(size).collect() })
    }

    /// PDF/A-2a with PDF/UA-1: archived, sent by e-mail and read aloud by a screen reader.
    fn options(&self, identifier: &str) -> Result<PdfOptions, String> {
        let standards = PdfStandards::new(&[PdfStandard::A_2a, PdfStandard::Ua_1])
            .map_err(|refusal| refusal.message().to_string())?;
        Ok(PdfOptions {
            ident: Smart::Custom(identifier.to_owned()),
            creator: Smart::Custom(Some("Baypack".to_owned())),
            timestamp: self.date.timestamp(),
            standards,
            ..PdfOptions::default()
        })
    }

    /// Sets all jobs on `workers` threads; the results are in the order of the jobs and do not depend
    /// on the number of threads. `done` is told after each document how many are done.
    ///
    /// Each thread has a pool of its own with one thread: on the shared pool a document would be set
    /// inside another one's waiting job, with no gain and no end of stack.
    ///
    /// # Errors
    /// The faults of all jobs, in their order; one that several documents share is named once.
    pub fn set_all(
        &self,
        jobs: &[Job<'_>],
        workers: NonZeroUsize,
        done: &(dyn Fn(usize) + Sync),
    ) -> Result<Vec<SetDocument>, Vec<RenderFault>> {
        let next = AtomicUsize::new(0);
        let finished = AtomicUsize::new(0);
        let pages_set = AtomicUsize::new(0);
        let work = || {
            let mut results = Vec::new();
            while let Some((at, job)) =
                Some(next.fetch_add(1, Ordering::Relaxed)).and_then(|at| Some((at, jobs.get(at)?)))
            {
                let set = self.set(job);
                let pages = set.as_ref().map_or(1, |set| set.pages.len());
                let before = pages_set.fetch_add(pages, Ordering::Relaxed);
                if before / EVICT_EVERY < (before + pages) / EVICT_EVERY {
                    comemo::evict(EVICT_AGE);
                }
                results.push((at, set));
                done(finished.fetch_add(1, Ordering::Relaxed) + 1);
            }
            results
        };
        let mut results = on_threads(workers.get().min(jobs.len()), &work)?;
        results.sort_by_key(|(at, _)| *at);
        gather(results.into_iter().map(|(_, result)| result))
    }
}

/// Runs `work` on `count` threads at once and joins what they return.
fn on_threads<T: Send>(count: usize, work: &(dyn Fn() -> Vec<T> + Sync)) -> Result<Vec<T>, Vec<RenderFault>> {
    let pools = (0..count)
        .map(|_| rayon::ThreadPoolBuilder::new().num_threads(1).stack_size(STACK).build())
        .collect::<Result<Vec<_>, _>>()
        .map_err(|refusal| vec![no_thread(&refusal.to_string())])?;
    std::thread::scope(|scope| {
        let threads = pools
            .iter()
            .map(|pool| std::thread::Builder::new().spawn_scoped(scope, move || pool.install(work)))
            .collect::<Result<Vec<_>, _>>()
            .map_err(|refusal| vec![no_thread(&refusal.to_string())])?;
        let mut joined = Vec::new();
        for thread in threads {
            match thread.join() {
                Ok(results) => joined.extend(results),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        Ok(joined)
    })
}

/// All documents, or all faults without repetition.
fn gather(
    results: impl Iterator<Item = Result<SetDocument, Vec<RenderFault>>>,
) -> Result<Vec<SetDocument>, Vec<RenderFault>> {
    let mut documents = Vec::new();
    let mut faults: Vec<RenderFault> = Vec::new();
    for result in results {
        match result {
            Ok(document) => documents.push(document),
            Err(found) => {
                for fault in found {
                    if !faults.iter().any(|known| known.says_the_same(&fault)) {
                        faults.push(fault);
                    }
                }
            }
        }
    }
    if faults.is_empty() { Ok(documents) } else { Err(faults) }
}

/// A page's size in points.
fn size(page: &Page) -> Size {
    let size = page.frame.size();
    Size { width: size.x.to_pt() as f32, height: size.y.to_pt() as f32 }
}

/// The name by which Typst knows the file at `path` below `layouts/`.
fn file_id(path: &str) -> Option<FileId> {
    let path = VirtualPath::new(path).ok()?;
    Some(RootedPath::new(VirtualRoot::Project, path).intern())
}

fn parse(path: &str, bytes: &[u8]) -> FileResult<Source> {
    let text = std::str::from_utf8(bytes).map_err(|_| FileError::InvalidUtf8)?;
    let id = file_id(path).ok_or(FileError::AccessDenied)?;
    Ok(Source::new(id, text.to_owned()))
}

/// What one document sees.
struct DocumentWorld<'a> {
    shared: &'a Typesetter,
    main: Source,
    data: Bytes,
    about: Bytes,
}

impl<'a> DocumentWorld<'a> {
    fn new(shared: &'a Typesetter, job: &Job<'_>) -> Self {
        let (language, region) = job.language.split_once('-').unwrap_or((job.language, ""));
        let region = Some(region).filter(|region| region.len() == 2);
        let about = json!({ "title": job.title, "language": language, "region": region });
        let call = format!(
            "#import \"/{}\": sheet\n#let about = json(\"/{ABOUT}\")\n\
             #set document(title: about.title)\n#set text(lang: about.language, region: about.region)\n\
             #sheet(json(\"/{DATA}\"))\n",
            job.layout
        );
        let main =
            file_id(MAIN).map_or_else(|| Source::detached(call.as_str()), |id| Source::new(id, call.clone()));
        Self {
            shared,
            main,
            data: Bytes::from_string(job.data.to_string()),
            about: Bytes::from_string(about.to_string()),
        }
    }

    /// Typst's own messages as faults, each with its place in a layout file.
    fn faults(&self, job: &Job<'_>, messages: &[SourceDiagnostic]) -> Vec<RenderFault> {
        messages.iter().map(|message| self.fault(job, message)).collect()
    }

    fn fault(&self, job: &Job<'_>, message: &SourceDiagnostic) -> RenderFault {
        let hints: Vec<&str> = message.hints.iter().map(|hint| hint.v.as_str()).collect();
        let help = if hints.is_empty() { "correct the layout there".to_owned() } else { hints.join("; ") };
        let offered = self.offered(job, message).map(|offered| format!("; {offered}"));
        RenderFault {
            what: withheld(&message.message, job),
            document: job.called.clone(),
            place: self.place(message),
            help: withheld(&help, job) + &offered.unwrap_or_default(),
        }
    }

    /// What the data offers at the place of a message; in a sheet at least what all of it offers. Nothing
    /// where the layout cannot even be read.
    fn offered(&self, job: &Job<'_>, message: &SourceDiagnostic) -> Option<String> {
        let id = message.span.id()?;
        let source =
            self.source(id).ok().filter(|source| source.root().errors_and_warnings().0.is_empty())?;
        let of_a_sheet = || {
            let in_a_sheet = id.vpath().get_without_slash().starts_with("sheets/");
            in_a_sheet.then(|| offers::offered_to_a_sheet(job.data)).flatten()
        };
        let place = self.range(message.span)?;
        offers::offered(self, &source, place, job.data).or_else(of_a_sheet)
    }

    fn place(&self, message: &SourceDiagnostic) -> Option<FaultPlace> {
        let id = message.span.id()?;
        let start = self.range(message.span)?.start;
        let source = self.source(id).ok()?;
        let (line, column) = source.lines().byte_to_line_column(start)?;
        let path = id.vpath().get_without_slash();
        let file = self.shared.shown.get(path).cloned().unwrap_or_else(|| format!("layouts/{path}"));
        Some(FaultPlace::Layout { file, line: line + 1, column: column + 1 })
    }
}

impl World for DocumentWorld<'_> {
    fn library(&self) -> &LazyHash<Library> {
        &self.shared.library
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &self.shared.book
    }

    fn main(&self) -> FileId {
        self.main.id()
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.main.id() {
            return Ok(self.main.clone());
        }
        let path = layout_path(id)?;
        self.shared.sources.get(path).cloned().unwrap_or_else(|| Err(FileError::NotFound(path.into())))
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        match layout_path(id)? {
            MAIN => Ok(Bytes::from_string(self.main.clone())),
            DATA => Ok(self.data.clone()),
            ABOUT => Ok(self.about.clone()),
            path => self.shared.files.get(path).cloned().ok_or_else(|| FileError::NotFound(path.into())),
        }
    }

    fn font(&self, index: usize) -> Option<Font> {
        self.shared.fonts.get(index).cloned()
    }

    /// No day: a layout that asks for it is refused.
    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        None
    }
}

/// The path below `layouts/` of a file that a layout asks for; packages are refused.
fn layout_path(id: FileId) -> FileResult<&'static str> {
    let path: &'static RootedPath = id.get();
    match path.root() {
        VirtualRoot::Project => Ok(path.vpath().get_without_slash()),
        VirtualRoot::Package(_) => Err(FileError::AccessDenied),
    }
}

/// `message` without the values of the data: a message of Typst may quote the text that it could not
/// set, and that can be a patient's name. The sheet's fixed words may stay.
fn withheld(message: &str, job: &Job<'_>) -> String {
    let mut texts = Vec::new();
    values(job.data, &mut texts);
    texts.sort_by_key(|text| std::cmp::Reverse(text.len()));
    texts.into_iter().fold(message.to_owned(), |message, text| without(&message, text))
}

/// Every text of the data that is at least two letters long, but for those under the key `words`.
fn values<'v>(data: &'v Value, texts: &mut Vec<&'v str>) {
    match data {
        Value::String(text) if text.chars().count() > 1 => texts.push(text),
        Value::Array(items) => items.iter().for_each(|item| values(item, texts)),
        Value::Object(fields) => {
            fields.iter().filter(|(key, _)| *key != "words").for_each(|(_, field)| values(field, texts));
        }
        _ => {}
    }
}

/// `message` with `…` wherever `text` stands in it as whole words.
fn without(message: &str, text: &str) -> String {
    let mut kept = String::new();
    let mut rest = message;
    while let Some(at) = rest.find(text) {
        let (before, after) = (&rest[..at], &rest[at + text.len()..]);
        let inside_a_word = before.chars().next_back().is_some_and(char::is_alphanumeric)
            || after.chars().next().is_some_and(char::is_alphanumeric);
        kept.push_str(before);
        kept.push_str(if inside_a_word { text } else { "…" });
        rest = after;
    }
    kept + rest
}

fn plain(job: &Job<'_>, message: &str) -> RenderFault {
    RenderFault {
        what: message.to_owned(),
        document: job.called.clone(),
        place: None,
        help: "correct the layout".to_owned(),
    }
}

fn no_thread(message: &str) -> RenderFault {
    RenderFault {
        what: format!("the machine gives no thread to set pages on: {message}"),
        document: "the pack".to_owned(),
        place: None,
        help: "close other programs and try again".to_owned(),
    }
}
