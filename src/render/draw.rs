//! Makes the files that go to the printer: pages of set documents on sheets of paper, cut lines,
//! stamps, blank backs, and what is drawn in millimetres.
//!
//! Sheets are drawn with printpdf and the pages put in with lopdf. Printpdf's own reading and joining
//! of files (`parse`, `append_document`, `insert_document`) loses content and is never called.

pub mod correction;
mod embed;
pub mod imposition;
pub mod lettering;
pub mod printer_check;

use std::collections::BTreeMap;

use lopdf::{Dictionary, Object, ObjectId, StringFormat, dictionary, text_string};
use printpdf::{
    Color, CurTransMat, Greyscale, Line, LineDashPattern, LinePoint, Op, PdfDocument, PdfPage,
    PdfSaveOptions, Point, Pt, Rect, XObjectId, XObjectTransform,
};
use sha2::{Digest, Sha256};

use self::correction::Correction;
use self::imposition::{Placed, Sheet, Size, points};
use self::lettering::{Lettering, Unletterable};
use super::typeset::FileDate;

/// The stamp's baseline lies this far above the edge of the page, in mm: its letters keep 10 mm of white
/// below them and stay in the strip that layouts leave free.
const STAMP_HEIGHT: f32 = 11.0;
/// The size of the stamp's type, in points.
const STAMP_SIZE: f32 = 9.0;
/// The cut line: its width and the length of its dashes and gaps, in points.
const CUT_LINE: (f32, f32) = (0.5, 4.0);

/// A file for the printer.
pub struct PrintFile<'a> {
    /// What tells this file from every other; only a digest of it is written.
    pub identifier: &'a str,
    /// The title in the file's metadata.
    pub title: &'a str,
    /// The language of the words, as a BCP 47 code.
    pub language: &'a str,
    /// The date that the file carries.
    pub date: FileDate,
    /// The set documents, as PDF files.
    pub documents: &'a [&'a [u8]],
    /// The sheets, in print order.
    pub sheets: &'a [Sheet],
    /// Outline entries: a title and the sheet it starts on, counted from 0. May be empty.
    pub parts: &'a [(String, usize)],
    /// What is stamped on the front of each sheet, if anything.
    pub stamp: Option<Stamp<'a>>,
    /// Whether each sheet has a page for its back too, if only a blank one.
    pub two_sided: bool,
    /// For a printer that is off.
    pub correction: Option<Correction>,
}

/// A stamp on every sheet.
#[derive(Clone, Copy, Debug)]
pub struct Stamp<'a> {
    /// The text, with `{sheet}` and `{sheets}` for the sheet's number and how many there are.
    pub text: &'a str,
    /// The font file that letters it.
    pub font: &'a [u8],
}

/// Why a file for the printer cannot be made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DrawFault {
    /// The font of the stamp or the printer check lacks this character.
    Lacks(char),
    /// That font is no font.
    NoFont,
    /// A line of the printer check, counted from 1, is wider than the page.
    LineTooLong(usize),
    /// A set document cannot be taken in, or the file cannot be written; with what the library said.
    Unreadable(String),
}

impl From<Unletterable> for DrawFault {
    fn from(refusal: Unletterable) -> Self {
        match refusal {
            Unletterable::Lacks(character) => Self::Lacks(character),
            Unletterable::NoFont => Self::NoFont,
        }
    }
}

impl From<lopdf::Error> for DrawFault {
    fn from(error: lopdf::Error) -> Self {
        Self::Unreadable(error.to_string())
    }
}

impl PrintFile<'_> {
    /// Makes the file: for each sheet a page for its front and, if it is two-sided, one for its back. The
    /// same input gives the same bytes.
    ///
    /// # Errors
    /// A stamp that cannot be lettered, a document that cannot be read.
    pub fn bytes(&self) -> Result<Vec<u8>, DrawFault> {
        let stamps: Vec<Option<String>> =
            (1..=self.sheets.len()).map(|number| self.stamp_text(number)).collect();
        let lettering = match self.stamp {
            Some(stamp) => Some(Lettering::new(stamp.font, stamps.iter().flatten().map(String::as_str))?),
            None => None,
        };
        let mut host = PdfDocument::new(self.title);
        for (sheet, stamp) in self.sheets.iter().zip(&stamps) {
            let stamp = lettering.as_ref().zip(stamp.as_deref());
            host.pages.push(page(sheet.size, self.corrected(sheet.size, front(sheet, stamp))));
            if self.two_sided {
                host.pages.push(page(sheet.size, self.corrected(sheet.size, back(sheet))));
            }
        }
        if let Some(lettering) = &lettering {
            lettering.register(&mut host);
        }
        let mut file = as_lopdf(&host)?;
        self.put_in_pages(&mut file)?;
        finish(file, self)
    }

    /// What is drawn on a sheet, moved and scaled where the printer is off; a blank side stays so.
    fn corrected(&self, sheet: Size, ops: Vec<Op>) -> Vec<Op> {
        let Some(correction) = self.correction.filter(|_| !ops.is_empty()) else { return ops };
        let matrix = CurTransMat::Raw(correction.matrix(sheet));
        let mut corrected = vec![Op::SaveGraphicsState, Op::SetTransformationMatrix { matrix }];
        corrected.extend(ops);
        corrected.push(Op::RestoreGraphicsState);
        corrected
    }

    /// What stands on each page.
    fn sides(&self) -> impl Iterator<Item = &Vec<Placed>> {
        let backs = usize::from(self.two_sided);
        self.sheets
            .iter()
            .flat_map(move |sheet| std::iter::once(&sheet.front).chain([&sheet.back].into_iter().take(backs)))
    }

    fn stamp_text(&self, number: usize) -> Option<String> {
        let text = self.stamp?.text.replace("{sheet}", &number.to_string());
        Some(text.replace("{sheets}", &self.sheets.len().to_string()))
    }

    /// Gives each page the form XObjects that it draws, and no others: a program that takes a page out
    /// of the file takes no other patient along.
    fn put_in_pages(&self, file: &mut lopdf::Document) -> Result<(), DrawFault> {
        let mut forms = Vec::new();
        for document in self.documents {
            forms.push(embed::take_pages(file, document)?);
        }
        let pages: Vec<ObjectId> = file.page_iter().collect();
        for (page, side) in pages.into_iter().zip(self.sides()) {
            let mut drawn = Dictionary::new();
            for placed in side {
                let form = forms.get(placed.document).and_then(|pages| pages.get(placed.page));
                let form = form.ok_or_else(|| DrawFault::Unreadable("a page is missing".to_owned()))?;
                drawn.set(form_name(placed), Object::Reference(*form));
            }
            let resources = file.get_dictionary(page)?.get(b"Resources")?.as_reference()?;
            file.get_dictionary_mut(resources)?.set("XObject", drawn);
        }
        Ok(())
    }
}

fn form_name(placed: &Placed) -> String {
    format!("D{}P{}", placed.document, placed.page)
}

/// The front of a sheet, with the stamp at each of its places.
fn front(sheet: &Sheet, stamp: Option<(&Lettering, &str)>) -> Vec<Op> {
    let mut ops: Vec<Op> = sheet.front.iter().flat_map(|placed| draw(placed, placed.at, 1.0)).collect();
    if sheet.cut {
        ops.extend(cut_line(sheet.size));
    }
    for (middle, edge) in &sheet.stamps {
        let Some((lettering, text)) = stamp else { continue };
        let left = middle - lettering.width(text, STAMP_SIZE) / 2.0;
        ops.extend(lettering.write(text, STAMP_SIZE, (left, edge + points(STAMP_HEIGHT))));
    }
    ops
}

/// The back of a sheet; upside down where the sheet is turned over top to bottom.
fn back(sheet: &Sheet) -> Vec<Op> {
    let turned = sheet.back_is_turned();
    let draw_back = |placed: &Placed| {
        if turned {
            let at = (sheet.size.width - placed.at.0, sheet.size.height - placed.at.1);
            draw(placed, at, -1.0)
        } else {
            draw(placed, placed.at, 1.0)
        }
    };
    sheet.back.iter().flat_map(draw_back).collect()
}

/// Draws a page from its corner `at`, upright (`way` 1) or upside down (-1).
fn draw(placed: &Placed, at: (f32, f32), way: f32) -> [Op; 4] {
    let transform = XObjectTransform { no_auto_scale: true, ..XObjectTransform::default() };
    [
        Op::SaveGraphicsState,
        Op::SetTransformationMatrix { matrix: CurTransMat::Raw([way, 0.0, 0.0, way, at.0, at.1]) },
        Op::UseXobject { id: XObjectId(form_name(placed)), transform },
        Op::RestoreGraphicsState,
    ]
}

/// A dashed line across the middle of the sheet's long side.
fn cut_line(size: Size) -> [Op; 6] {
    let (width, dash) = CUT_LINE;
    let end = |y: f32| LinePoint { p: Point { x: Pt(size.width / 2.0), y: Pt(y) }, bezier: false };
    [
        Op::SaveGraphicsState,
        Op::SetOutlineColor { col: Color::Greyscale(Greyscale::new(0.0, None)) },
        Op::SetOutlineThickness { pt: Pt(width) },
        Op::SetLineDashPattern { dash: LineDashPattern::new(0.0, &[dash, dash]) },
        Op::DrawLine { line: Line { points: vec![end(0.0), end(size.height)], is_closed: false } },
        Op::RestoreGraphicsState,
    ]
}

fn page(size: Size, ops: Vec<Op>) -> PdfPage {
    let area = Rect::from_wh(Pt(size.width), Pt(size.height));
    PdfPage { media_box: area.clone(), trim_box: area.clone(), crop_box: area, ops }
}

/// The drawn sheets as a lopdf document; a warning of printpdf is a fault, because behind it something is
/// missing on the page.
fn as_lopdf(host: &PdfDocument) -> Result<lopdf::Document, DrawFault> {
    let mut warnings = Vec::new();
    let file = host.to_lopdf_document(&PdfSaveOptions::default(), &mut warnings);
    match warnings.first() {
        Some(warning) => Err(DrawFault::Unreadable(warning.msg.clone())),
        None => Ok(file),
    }
}

/// Writes what printpdf cannot: the outline, how to print, who made it and when.
fn finish(mut file: lopdf::Document, about: &PrintFile<'_>) -> Result<Vec<u8>, DrawFault> {
    "1.7".clone_into(&mut file.version);
    let outline = outline(&mut file, about);
    let catalog = file.catalog_mut()?;
    catalog.set("Lang", text_string(about.language));
    catalog.set(
        "ViewerPreferences",
        dictionary! {
            "PrintScaling" => "None",
            "Duplex" => if about.two_sided { "DuplexFlipLongEdge" } else { "Simplex" },
            "DisplayDocTitle" => true,
        },
    );
    if let Some(outline) = outline {
        catalog.set("Outlines", outline);
        catalog.set("PageMode", "UseOutlines");
    }
    let information = file.add_object(information(about));
    file.trailer.set("Info", information);
    let digest = Sha256::digest(about.identifier)[..16].to_vec();
    let identifier = Object::String(digest, StringFormat::Hexadecimal);
    file.trailer.set("ID", vec![identifier.clone(), identifier]);
    file.prune_objects();
    file.renumber_objects();
    file.compress();
    let mut bytes = Vec::new();
    file.save_to(&mut bytes).map_err(|error| DrawFault::Unreadable(error.to_string()))?;
    Ok(bytes)
}

/// The document information dictionary (ISO 32000-1, 14.3.3).
fn information(about: &PrintFile<'_>) -> Dictionary {
    let FileDate { year, month, day } = about.date;
    let date = format!("D:{year:04}{month:02}{day:02}000000Z");
    dictionary! {
        "Title" => text_string(about.title),
        "Creator" => text_string("Baypack"),
        "CreationDate" => text_string(&date),
        "ModDate" => text_string(&date),
    }
}

/// One outline entry for each part, to the front of its first sheet.
fn outline(file: &mut lopdf::Document, about: &PrintFile<'_>) -> Option<ObjectId> {
    let fronts: Vec<ObjectId> = file.page_iter().step_by(1 + usize::from(about.two_sided)).collect();
    let entry = |(title, sheet): &'_ (String, usize)| Some((title.clone(), *fronts.get(*sheet)?));
    let entries: Vec<(String, ObjectId)> = about.parts.iter().filter_map(entry).collect();
    let root = file.new_object_id();
    let ids: BTreeMap<usize, ObjectId> = (0..entries.len()).map(|at| (at, file.new_object_id())).collect();
    let (first, last) = (*ids.get(&0)?, *ids.get(&(entries.len() - 1))?);
    for (at, (title, page)) in entries.iter().enumerate() {
        let mut entry = dictionary! {
            "Title" => text_string(title),
            "Parent" => root,
            "Dest" => vec![(*page).into(), "Fit".into()],
        };
        let neighbours = [("Prev", at.checked_sub(1)), ("Next", at.checked_add(1))];
        for (key, neighbour) in neighbours {
            if let Some(id) = neighbour.and_then(|at| ids.get(&at)) {
                entry.set(key, *id);
            }
        }
        file.set_object(*ids.get(&at)?, entry);
    }
    let count = i64::try_from(entries.len()).ok()?;
    file.set_object(
        root,
        dictionary! { "Type" => "Outlines", "First" => first, "Last" => last, "Count" => count },
    );
    Some(root)
}
