//! Puts a day's set documents together: the single files, the cards two to a sheet, the labels, and the
//! pack with everything in print order.

use super::draw::correction::Correction;
use super::draw::imposition::{self, Pages, Sheet, Size};
use super::draw::{DrawFault, PrintFile, Stamp};
use super::typeset::{FileDate, SetDocument};
use super::{FaultPlace, LabelRun, PackSize, PdfFile, Pdfs, Press, RenderFault, called};
use crate::compose::paperwork::{Document, Kind, Paper, Paperwork};
use crate::layouts::Layouts;

/// The font of what is drawn: stamps, the printer check.
pub(super) const STAMP_FONT: &str = "fonts/NotoSans-Regular.ttf";

/// A day's set documents on their way onto paper.
pub(super) struct Assembly<'a> {
    pub(super) layouts: &'a Layouts,
    pub(super) paperwork: &'a Paperwork,
    pub(super) press: &'a Press<'a>,
    pub(super) date: FileDate,
    /// The set documents in their order, and after them the labels, if there are any.
    pub(super) set: &'a [SetDocument],
    pub(super) labels: Option<&'a LabelRun<'a>>,
}

impl Assembly<'_> {
    /// All files, the pack first.
    pub(super) fn files(&self) -> Result<Pdfs, Vec<RenderFault>> {
        self.check_sizes()?;
        let labels = self.label_sheets().map_err(|fault| vec![fault])?;
        let (pack, size) = self.pack(&labels)?;
        let mut files = vec![pack];
        files.extend(self.cards()?);
        files.extend(self.singles());
        files.extend(self.labels(&labels)?);
        Ok(Pdfs { files, pack: size })
    }

    /// Every document with the pages that were set for it.
    fn documents(&self) -> impl Iterator<Item = (&Document, Pages<'_>)> {
        self.paperwork
            .documents
            .iter()
            .zip(self.set)
            .enumerate()
            .map(|(document, (about, set))| (about, Pages { document, sizes: &set.pages }))
    }

    /// Refuses a page that is no sheet of the paper, nor for a card half a sheet.
    fn check_sizes(&self) -> Result<(), Vec<RenderFault>> {
        let paper = paper_size(self.paperwork.paper);
        let mut faults = Vec::new();
        for (about, pages) in self.documents() {
            if about.kind == Kind::CareCard && imposition::is_half(pages, paper) {
                continue;
            }
            let odd = pages.sizes.iter().position(|size| !imposition::is_whole(*size, paper));
            faults.extend(odd.map(|page| RenderFault {
                what: "a page has not the size of the paper".to_owned(),
                document: called(about),
                place: Some(FaultPlace::Page { number: page + 1, left: 0.0, top: 0.0 }),
                help: "give the page in the layout the size that the data's `paper` names; a care card may be half of it"
                    .to_owned(),
            }));
        }
        if faults.is_empty() { Ok(()) } else { Err(faults) }
    }

    /// The single files, as Typst made them.
    fn singles(&self) -> impl Iterator<Item = PdfFile> {
        self.paperwork.documents.iter().zip(self.set).map(|(document, set)| PdfFile {
            name: format!("{}.pdf", document.file),
            bytes: set.pdf.clone(),
            pages: set.pages.len(),
        })
    }

    /// The sheets of the cards: two to a sheet first, then those that take a whole sheet.
    fn card_sheets(&self) -> Vec<Sheet> {
        let paper = paper_size(self.paperwork.paper);
        let cards =
            self.documents().filter(|(about, _)| about.kind == Kind::CareCard).map(|(_, pages)| pages);
        let (halves, wholes): (Vec<_>, Vec<_>) = cards.partition(|pages| imposition::is_half(*pages, paper));
        let mut sheets = imposition::two_up(&halves, paper);
        sheets.extend(wholes.into_iter().flat_map(imposition::two_sided));
        sheets
    }

    fn label_sheets(&self) -> Result<Vec<Sheet>, RenderFault> {
        let Some(labels) = self.labels else { return Ok(Vec::new()) };
        let document = self.paperwork.documents.len();
        labels.form.sheets(document, labels.order.labels.len(), labels.order.first_free)
    }

    /// Every sheet of the pack, with the titles of its parts and the sheets on which they start.
    fn pack_sheets(&self, labels: &[Sheet]) -> (Vec<Sheet>, Vec<(String, usize)>) {
        let mut sheets = Vec::new();
        let mut parts = Vec::new();
        for (about, pages) in self.documents().filter(|(about, _)| about.kind != Kind::CareCard) {
            parts.push((about.title.clone(), sheets.len()));
            sheets.extend(imposition::one_sided(pages));
        }
        let cards = self.card_sheets();
        if !cards.is_empty() {
            parts.push((self.press.cards_title.to_owned(), sheets.len()));
        }
        sheets.extend(cards);
        if let Some(run) = self.labels {
            parts.push((run.order.title.to_owned(), sheets.len()));
        }
        sheets.extend_from_slice(labels);
        (sheets, parts)
    }

    fn pack(&self, labels: &[Sheet]) -> Result<(PdfFile, PackSize), Vec<RenderFault>> {
        let (sheets, parts) = self.pack_sheets(labels);
        let font = self.layouts.file(STAMP_FONT).unwrap_or_default();
        let stamp = Stamp { text: self.press.stamp, font };
        let two_sided = true;
        let title = self.press.pack_title;
        let file = self.print_file(&Contents {
            name: "pack",
            title,
            sheets: &sheets,
            parts: &parts,
            stamp: Some(stamp),
            two_sided,
            correction: self.correction(),
        })?;
        let sides = sheets.iter().flat_map(|sheet| [&sheet.front, &sheet.back]);
        let bays = self.documents().filter(|(about, _)| about.kind == Kind::BaySheet);
        let size = PackSize {
            sheets: sheets.len(),
            sides: sides.filter(|side| !side.is_empty()).count(),
            bay_sides: bays.map(|(_, pages)| pages.sizes.len()).sum(),
        };
        Ok((file, size))
    }

    /// The cards alone, for printing again; nothing in it changes with the rest of the pack.
    fn cards(&self) -> Result<Option<PdfFile>, Vec<RenderFault>> {
        let sheets = self.card_sheets();
        if sheets.is_empty() {
            return Ok(None);
        }
        let title = self.press.cards_title;
        let contents = Contents {
            name: "care-cards",
            title,
            sheets: &sheets,
            parts: &[],
            stamp: None,
            two_sided: true,
            correction: None,
        };
        self.print_file(&contents).map(Some)
    }

    /// The labels alone; a sheet of labels has no back to print on.
    fn labels(&self, sheets: &[Sheet]) -> Result<Option<PdfFile>, Vec<RenderFault>> {
        let Some(run) = self.labels else { return Ok(None) };
        let title = run.order.title;
        let contents = Contents {
            name: "labels",
            title,
            sheets,
            parts: &[],
            stamp: None,
            two_sided: false,
            correction: self.correction(),
        };
        self.print_file(&contents).map(Some)
    }

    /// What the unit's printer needs; sheets that are sent or copied are never corrected.
    fn correction(&self) -> Option<Correction> {
        Correction::of(&self.press.printer)
    }

    fn print_file(&self, contents: &Contents<'_>) -> Result<PdfFile, Vec<RenderFault>> {
        let documents: Vec<&[u8]> = self.set.iter().map(|set| set.pdf.as_slice()).collect();
        let file = PrintFile {
            identifier: &format!("{}/{}", self.paperwork.date, contents.name),
            title: contents.title,
            language: self.press.language,
            date: self.date,
            documents: &documents,
            sheets: contents.sheets,
            parts: contents.parts,
            stamp: contents.stamp,
            two_sided: contents.two_sided,
            correction: contents.correction,
        };
        let bytes = file.bytes().map_err(|fault| vec![draw_fault(&fault, contents.name)])?;
        let pages = contents.sheets.len() * if contents.two_sided { 2 } else { 1 };
        Ok(PdfFile { name: format!("{}.pdf", contents.name), bytes, pages })
    }
}

/// What goes into a file for the printer.
struct Contents<'a> {
    name: &'a str,
    title: &'a str,
    sheets: &'a [Sheet],
    parts: &'a [(String, usize)],
    stamp: Option<Stamp<'a>>,
    two_sided: bool,
    correction: Option<Correction>,
}

/// The paper, upright.
pub(super) fn paper_size(paper: Paper) -> Size {
    match paper {
        Paper::A4 => Size::mm(210.0, 297.0),
        Paper::UsLetter => Size::mm(215.9, 279.4),
    }
}

pub(super) fn draw_fault(fault: &DrawFault, name: &str) -> RenderFault {
    let (what, help) = match fault {
        DrawFault::Lacks(character) => (
            format!("the font of what is drawn lacks the character U+{:04X}", u32::from(*character)),
            "write its words in Latin, Greek or Cyrillic letters",
        ),
        DrawFault::NoFont => (
            format!("the font of what is drawn cannot be read; found something else at layouts/{STAMP_FONT}"),
            "put Noto Sans there, or take the unit's own file away",
        ),
        DrawFault::LineTooLong(line) => {
            (format!("line {line} of the words is wider than the page"), "write it shorter")
        }
        DrawFault::Unreadable(message) => (
            format!("a set document cannot be put on a sheet: {message}"),
            "report this to whoever looks after the program",
        ),
    };
    RenderFault { what, document: format!("{name}.pdf"), place: None, help: help.to_owned() }
}
