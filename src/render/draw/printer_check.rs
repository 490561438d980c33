//! The printer check: one page of rulers, frames and boxes of known size. Laid under a ruler it shows
//! whether a printer shrinks, shifts or leaves out what labels and writing boxes depend on.
//!
//! All measures here are in mm from the lower left corner of the paper, and none of them is ever
//! scaled.

use printpdf::{Color, Greyscale, Line, LinePoint, Op, PdfDocument, Point, Pt};

use super::imposition::{Size, points};
use super::lettering::Lettering;
use super::{DrawFault, PrintFile, as_lopdf, finish, page};
use crate::render::typeset::FileDate;

/// The frames, by their distance from the edges of the paper: what many printers reach, and the white
/// edge of the sheets.
pub(super) const FRAMES: [f32; 2] = [5.0, 10.0];
/// The length of the scale bars.
pub(super) const BAR: f32 = 100.0;
/// What stands beside the bars: their keys under `[printer]`.
const BAR_NAMES: [&str; 2] = ["bar_across: 100 mm", "bar_up: 100 mm"];
/// Where text and rulers begin, from the left and from the lower edge.
const LEFT: f32 = 30.0;
const FOOT: f32 = 25.0;
/// The length of a ruler's marks: each mm, each 5 mm, each cm.
const MARKS: [f32; 3] = [2.0, 3.5, 5.0];
/// How far above the lower edge the boxes stand: over the upright bar.
const BOXES_FOOT: f32 = 172.0;
/// The smallest boxes of the sheets (common practice, no source): tick, time, initials, slip cell.
const BOXES: [(f32, f32); 4] = [(5.0, 5.0), (16.0, 8.0), (10.0, 8.0), (12.0, 5.0)];
/// Sizes of type, in points.
const TITLE_SIZE: f32 = 16.0;
const TEXT_SIZE: f32 = 10.0;
const FIGURE_SIZE: f32 = 9.0;
/// Widths of lines, in points: hairline and bar.
const HAIR: f32 = 0.5;
const HEAVY: f32 = 2.0;

/// The words of the page: Latin, Greek or Cyrillic letters.
#[derive(Clone, Copy, Debug)]
pub struct CheckWords<'a> {
    /// `Printer check`.
    pub title: &'a str,
    /// The language, as a BCP 47 code.
    pub language: &'a str,
    /// What to do, a line of the page each: print at 100 %, measure the bars, look at the frames.
    pub lines: &'a [&'a str],
}

/// Makes the page on `paper`, given upright.
///
/// # Errors
/// If the font lacks a character of the words, or a line is wider than the page.
pub fn printer_check(
    words: &CheckWords<'_>,
    paper: Size,
    date: FileDate,
    font: &[u8],
) -> Result<Vec<u8>, DrawFault> {
    let figures = "0123456789 x mm";
    let texts = words.lines.iter().copied().chain([words.title, figures]).chain(BAR_NAMES);
    let sheet = CheckSheet { lettering: Lettering::new(font, texts)?, paper };
    sheet.refuse_wide(words)?;
    let mut ops = sheet.frames();
    ops.extend(sheet.words(words));
    ops.extend(sheet.boxes());
    ops.extend(sheet.rulers());
    ops.extend(sheet.bars());
    let mut host = PdfDocument::new(words.title);
    host.pages.push(page(paper, ops));
    sheet.lettering.register(&mut host);
    let about = PrintFile {
        identifier: "printer-check",
        title: words.title,
        language: words.language,
        date,
        documents: &[],
        sheets: &[],
        parts: &[],
        stamp: None,
        two_sided: false,
        // What is measured is never corrected.
        correction: None,
    };
    finish(as_lopdf(&host)?, &about)
}

/// The page while it is drawn.
struct CheckSheet {
    lettering: Lettering,
    paper: Size,
}

impl CheckSheet {
    /// The paper's width and height in mm.
    fn size(&self) -> (f32, f32) {
        (self.paper.width / points(1.0), self.paper.height / points(1.0))
    }

    fn refuse_wide(&self, words: &CheckWords<'_>) -> Result<(), DrawFault> {
        let room = points(self.size().0 - LEFT - FRAMES[1]);
        let wide = words.lines.iter().position(|line| self.lettering.width(line, TEXT_SIZE) > room);
        match wide {
            Some(line) => Err(DrawFault::LineTooLong(line + 1)),
            None => Ok(()),
        }
    }

    fn text(&self, text: &str, size: f32, at: (f32, f32)) -> Vec<Op> {
        self.lettering.write(text, size, (points(at.0), points(at.1)))
    }

    fn frames(&self) -> Vec<Op> {
        let (width, height) = self.size();
        let frame = |inset: f32| rectangle((inset, inset), (width - 2.0 * inset, height - 2.0 * inset));
        FRAMES.into_iter().flat_map(frame).collect()
    }

    fn words(&self, words: &CheckWords<'_>) -> Vec<Op> {
        let top = self.size().1 - FRAMES[1] - 12.0;
        let mut ops = self.text(words.title, TITLE_SIZE, (LEFT, top));
        for (at, line) in words.lines.iter().enumerate() {
            ops.extend(self.text(line, TEXT_SIZE, (LEFT, top - 9.0 - 6.0 * at as f32)));
        }
        ops
    }

    /// The boxes side by side, each with its measures below.
    fn boxes(&self) -> Vec<Op> {
        let (mut left, below) = (LEFT + 12.0, BOXES_FOOT);
        let mut ops = Vec::new();
        for (width, height) in BOXES {
            ops.extend(rectangle((left, below), (width, height)));
            ops.extend(self.text(&format!("{width} x {height} mm"), FIGURE_SIZE, (left, below - 5.0)));
            left += width + 18.0;
        }
        ops
    }

    /// A ruler along the lower edge and one along the left edge, in whole cm.
    fn rulers(&self) -> Vec<Op> {
        let (width, height) = self.size();
        let whole = |length: f32| (length / 10.0).floor() as u16 * 10;
        let mut ops = Vec::new();
        for at in 0..=whole(width - LEFT - FRAMES[1] - 7.0) {
            let x = LEFT + f32::from(at);
            ops.extend(line((x, FOOT), (x, FOOT + mark(at)), HAIR));
            if at % 10 == 0 {
                ops.extend(self.text(&at.to_string(), FIGURE_SIZE, (x + 0.4, FOOT + MARKS[2])));
            }
        }
        for at in 0..=whole(height - FOOT - FRAMES[1] - 16.0) {
            let y = FOOT + f32::from(at);
            let x = LEFT - 12.0;
            ops.extend(line((x, y), (x + mark(at), y), HAIR));
            if at % 10 == 0 {
                ops.extend(self.text(&at.to_string(), FIGURE_SIZE, (x + MARKS[2], y + 0.4)));
            }
        }
        ops
    }

    /// A bar of 100 mm across and one upright.
    fn bars(&self) -> Vec<Op> {
        let corner = (LEFT + 12.0, FOOT + 20.0);
        let mut ops = line(corner, (corner.0 + BAR, corner.1), HEAVY);
        ops.extend(line(corner, (corner.0, corner.1 + BAR), HEAVY));
        let upright_ends = [0.0, BAR].map(|along| (corner.0 + along, corner.1 - 2.0, 0.0, 4.0));
        let level_ends = [0.0, BAR].map(|along| (corner.0 - 2.0, corner.1 + along, 4.0, 0.0));
        for (x, y, across, up) in upright_ends.into_iter().chain(level_ends) {
            ops.extend(line((x, y), (x + across, y + up), HAIR));
        }
        ops.extend(self.text(BAR_NAMES[0], FIGURE_SIZE, (corner.0 + BAR / 2.0, corner.1 + 2.0)));
        ops.extend(self.text(BAR_NAMES[1], FIGURE_SIZE, (corner.0 + 2.0, corner.1 + BAR / 2.0)));
        ops
    }
}

/// The length of the mark `at` mm from a ruler's start.
fn mark(at: u16) -> f32 {
    match at {
        at if at % 10 == 0 => MARKS[2],
        at if at % 5 == 0 => MARKS[1],
        _ => MARKS[0],
    }
}

/// A line between two points in mm; its width is in points.
fn line(from: (f32, f32), to: (f32, f32), width: f32) -> Vec<Op> {
    path(&[from, to], width, false)
}

fn rectangle(corner: (f32, f32), size: (f32, f32)) -> Vec<Op> {
    let far = (corner.0 + size.0, corner.1 + size.1);
    path(&[corner, (far.0, corner.1), far, (corner.0, far.1)], HAIR, true)
}

fn path(corners: &[(f32, f32)], width: f32, is_closed: bool) -> Vec<Op> {
    let point =
        |at: &(f32, f32)| LinePoint { p: Point { x: Pt(points(at.0)), y: Pt(points(at.1)) }, bezier: false };
    vec![
        Op::SetOutlineColor { col: Color::Greyscale(Greyscale::new(0.0, None)) },
        Op::SetOutlineThickness { pt: Pt(width) },
        Op::DrawLine { line: Line { points: corners.iter().map(point).collect(), is_closed } },
    ]
}
