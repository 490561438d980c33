//! Checks finished pages before they are written: what a layout let slip is an error here.
//!
//! A row of fixed height neither clips nor warns when its text is too long, so the ink itself is
//! looked at, glyph by glyph. Nothing here reads what a text says, and no message repeats it.

use typst::layout::{Abs, Frame, FrameItem, GroupItem, Point, Rect, Transform};
use typst::text::TextItem;
use typst_layout::PagedDocument;

use super::{FaultPlace, RenderFault};

/// What the pages of a document must keep to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// The most pages that it may have, if there is a limit.
    pub most_pages: Option<usize>,
    /// The white edge at left, right and top, in mm: no text stands in it. Office printers leave
    /// about 4 mm unprinted; 10 mm is common practice, no source.
    pub margin: f64,
    /// The white edge at the bottom, in mm; the pack's stamp stands in it.
    pub bottom: f64,
}

/// The most pages of a document: two for each visit of the largest day. More come of a layout that does
/// not end.
const MOST_PAGES: usize = 4_000;

impl Limits {
    /// The limits of every sheet: 10 mm, at the bottom the stamp's strip of 13.4 mm.
    pub const SHEET: Self = Self { most_pages: Some(MOST_PAGES), margin: 10.0, bottom: 13.4 };
    /// The limits of a care card: a sheet's, and two sides.
    pub const CARD: Self = Self { most_pages: Some(2), ..Self::SHEET };
    /// The limits of a label, which has a page of its own: 1.5 mm from its edge.
    pub const LABEL: Self = Self { most_pages: Some(MOST_PAGES), margin: 1.5, bottom: 1.5 };
}

/// One thing wrong with a page: the first place of it, and how many more there are on the page.
#[derive(Clone, Debug, PartialEq)]
pub struct Flaw {
    /// What is wrong.
    pub kind: FlawKind,
    /// The page, from 1.
    pub page: usize,
    /// The first place, in mm from the left and from the top of the page.
    pub at: (f64, f64),
    /// How many more places on this page have the same flaw.
    pub more: usize,
}

/// The kinds of flaw.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum FlawKind {
    /// The fonts have no glyph for a character.
    MissingGlyph,
    /// Ink lies beyond the edge of the paper.
    BeyondPaper,
    /// Text stands in the white edge.
    InMargin,
    /// Text stands over other text.
    Overlap,
    /// Text is cut off by the box that clips it.
    Cut,
    /// Text runs out of a box that has this label.
    OutOfBox(String),
    /// The document has more pages than it may have.
    TooManyPages {
        /// How many it may have.
        most: usize,
    },
}

impl Flaw {
    /// The flaw as an error about the document that is `called` so.
    #[must_use]
    pub fn fault(self, called: &str) -> RenderFault {
        let (what, help) = self.kind.words();
        let what = match self.more {
            0 => what,
            1 => format!("{what}, here and in one more place of the page"),
            more => format!("{what}, here and in {more} more places of the page"),
        };
        RenderFault {
            what,
            document: called.to_owned(),
            place: Some(FaultPlace::Page { number: self.page, left: self.at.0, top: self.at.1 }),
            help: help.to_owned(),
        }
    }
}

impl FlawKind {
    fn words(&self) -> (String, &'static str) {
        const SHORTER: &str = "give the text more room in the layout, or make it shorter";
        match self {
            Self::MissingGlyph => (
                "the fonts lack a character of the text".to_owned(),
                "put a font that has it into the folder fonts of the unit's layouts",
            ),
            Self::BeyondPaper => ("something lies beyond the edge of the paper".to_owned(), SHORTER),
            Self::InMargin => ("text stands in the white edge of the page".to_owned(), SHORTER),
            Self::Overlap => ("text stands over other text".to_owned(), SHORTER),
            Self::Cut => ("text is cut off".to_owned(), SHORTER),
            Self::OutOfBox(label) => (format!("text runs out of its box <{label}>"), SHORTER),
            Self::TooManyPages { most } => {
                (format!("the document has more than {most} pages"), "make its words shorter")
            }
        }
    }
}

/// Everything wrong with the pages of `document`, in page order.
#[must_use]
pub fn check(document: &PagedDocument, limits: &Limits) -> Vec<Flaw> {
    let pages = document.pages();
    if let Some(most) = limits.most_pages.filter(|most| pages.len() > *most) {
        let kind = FlawKind::TooManyPages { most };
        return vec![Flaw { kind, page: most + 1, at: (0.0, 0.0), more: 0 }];
    }
    let mut flaws: Vec<Flaw> = Vec::new();
    for (number, page) in pages.iter().enumerate() {
        let mut ink = Ink::default();
        ink.frame(&page.frame, Transform::identity(), None);
        let found = ink.flaws(Rect::from_pos_size(Point::zero(), page.frame.size()), limits);
        for (kind, at) in found {
            let at = (at.x.to_mm(), at.y.to_mm());
            match flaws.iter_mut().find(|known| known.page == number + 1 && known.kind == kind) {
                Some(known) => known.more += 1,
                None => flaws.push(Flaw { kind, page: number + 1, at, more: 0 }),
            }
        }
    }
    flaws
}

/// A run of text as it lies on the page.
struct Run {
    /// The ink of each glyph.
    glyphs: Vec<Rect>,
    /// The ink of all.
    bounds: Rect,
    /// Where the pen starts and ends; a run that starts where another ends continues its line.
    pen: (Point, Point),
    /// The size of its type.
    size: Abs,
}

impl Run {
    /// How far its ink may reach sideways over a line: letters such as j lean out by design.
    fn aside(&self) -> Abs {
        Abs::pt(0.3).max(self.size * 0.06)
    }

    /// How far its ink may reach up or down: the foot of a g meets the accents of the next line.
    fn upright(&self) -> Abs {
        Abs::pt(0.3).max(self.size * 0.15)
    }

    /// Whether `other` goes on where this run ends, on its line or raised or lowered beside it.
    fn continues_in(&self, other: &Self) -> bool {
        let gap = other.pen.0 - self.pen.1;
        gap.x.abs() < Abs::pt(0.05) && gap.y.abs() < self.size.max(other.size) * 0.6
    }
}

/// What is drawn on a page, gathered from its frames.
#[derive(Default)]
struct Ink {
    runs: Vec<Run>,
    drawn: Vec<Rect>,
    flaws: Vec<(FlawKind, Point)>,
}

impl Ink {
    /// Gathers a frame that `to_page` maps onto the page and `clip` cuts, both in page coordinates.
    fn frame(&mut self, frame: &Frame, to_page: Transform, clip: Option<Rect>) {
        for (position, item) in frame.items() {
            let to_page = to_page.pre_concat(Transform::translate(position.x, position.y));
            match item {
                FrameItem::Group(group) => self.group(group, to_page, clip),
                FrameItem::Text(text) => self.text(text, to_page, clip),
                FrameItem::Shape(shape, _) => self.drawing(moved(shape.bbox(true), to_page), clip),
                FrameItem::Image(_, size, _) => {
                    self.drawing(moved(Rect::from_pos_size(Point::zero(), *size), to_page), clip);
                }
                FrameItem::Link(..) | FrameItem::Tag(_) => {}
            }
        }
    }

    fn group(&mut self, group: &GroupItem, to_page: Transform, clip: Option<Rect>) {
        let to_page = to_page.pre_concat(group.transform);
        let own = group.clip.as_ref().map(|curve| moved(curve.bbox(None), to_page));
        let clip = match (clip, own) {
            (Some(outer), Some(inner)) => Some(common(outer, inner)),
            (outer, inner) => outer.or(inner),
        };
        let before = self.runs.len();
        self.frame(&group.frame, to_page, clip);
        if let Some(label) = group.label {
            let bounds = moved(Rect::from_pos_size(Point::zero(), group.frame.size()), to_page);
            self.labelled(before, bounds, label.resolve().as_str());
        }
    }

    /// The runs since `before` belong to the box with this label and these `bounds`.
    fn labelled(&mut self, before: usize, bounds: Rect, label: &str) {
        for run in self.runs.iter().skip(before) {
            // A box that ends at its line's baseline has the feet of the letters g, j, p below it.
            let feet = run.size * 0.3;
            let out = reach_out(run.bounds, bounds);
            if out.left.max(out.right) > run.aside() || out.top > run.upright() || out.bottom > feet {
                self.flaws.push((FlawKind::OutOfBox(label.to_owned()), run.bounds.min));
            }
        }
    }

    fn drawing(&mut self, bounds: Rect, clip: Option<Rect>) {
        self.drawn.push(clip.map_or(bounds, |clip| common(bounds, clip)));
    }

    fn text(&mut self, text: &TextItem, to_page: Transform, clip: Option<Rect>) {
        let mut pen = Point::zero();
        let start = pen.transform(to_page);
        let mut glyphs = Vec::new();
        for glyph in &text.glyphs {
            let offset = Point::new(glyph.x_offset.at(text.size), -glyph.y_offset.at(text.size));
            let at = pen + offset;
            if glyph.id == 0 {
                self.flaws.push((FlawKind::MissingGlyph, at.transform(to_page)));
            }
            if let Some(bounds) = outline(text, glyph.id) {
                glyphs.push(moved(Rect::new(bounds.min + at, bounds.max + at), to_page));
            }
            pen += Point::new(glyph.x_advance.at(text.size), -glyph.y_advance.at(text.size));
        }
        let Some(bounds) = glyphs.iter().copied().reduce(united) else { return };
        let run = Run { glyphs, bounds, pen: (start, pen.transform(to_page)), size: text.size };
        if clip.is_some_and(|clip| reach_out(bounds, clip).most() > run.aside()) {
            self.flaws.push((FlawKind::Cut, bounds.min));
        }
        self.runs.push(run);
    }

    /// Everything wrong with the page that covers `paper`.
    fn flaws(mut self, paper: Rect, limits: &Limits) -> Vec<(FlawKind, Point)> {
        let hair = Abs::mm(0.1);
        let edge = Point::splat(Abs::mm(limits.margin));
        let foot = Point::new(Abs::mm(limits.margin), Abs::mm(limits.bottom));
        let type_area = Rect::new(paper.min + edge, paper.max - foot);
        let texts = self.runs.iter().map(|run| run.bounds);
        for bounds in texts.clone().chain(self.drawn.iter().copied()) {
            if reach_out(bounds, paper).most() > hair {
                self.flaws.push((FlawKind::BeyondPaper, bounds.min));
            }
        }
        for bounds in texts {
            if reach_out(bounds, type_area).most() > hair && reach_out(bounds, paper).most() <= hair {
                self.flaws.push((FlawKind::InMargin, bounds.min));
            }
        }
        overlaps(&mut self.runs, &mut self.flaws);
        self.flaws
    }
}

/// Adds every pair of runs of which a glyph stands over a glyph of the other.
fn overlaps(runs: &mut [Run], flaws: &mut Vec<(FlawKind, Point)>) {
    runs.sort_by(|one, other| {
        let key = |run: &Run| (run.bounds.min.y, run.bounds.min.x);
        key(one).cmp(&key(other))
    });
    for (at, run) in runs.iter().enumerate() {
        let below = runs.iter().skip(at + 1).take_while(|other| other.bounds.min.y < run.bounds.max.y);
        flaws.extend(below.filter_map(|other| overlap(run, other)).map(|place| (FlawKind::Overlap, place)));
    }
}

/// Where two runs stand over one another, unless one continues the line of the other.
fn overlap(one: &Run, other: &Run) -> Option<Point> {
    let (aside, upright) = (one.aside().min(other.aside()), one.upright().min(other.upright()));
    let deep = |a: Rect, b: Rect| {
        let both = common(a, b);
        let size = both.size();
        (size.x > aside && size.y > upright).then_some(both.min)
    };
    deep(one.bounds, other.bounds)?;
    if one.continues_in(other) || other.continues_in(one) {
        return None;
    }
    let mut pairs = one.glyphs.iter().flat_map(|a| other.glyphs.iter().map(move |b| (*a, *b)));
    pairs.find_map(|(a, b)| deep(a, b))
}

/// The ink of a glyph whose origin is at zero, y downwards; `None` for a space.
fn outline(text: &TextItem, glyph: u16) -> Option<Rect> {
    let bounds = text.font.ttf().glyph_bounding_box(ttf_parser::GlyphId(glyph))?;
    let scaled = |units: i16| text.font.to_em(units).at(text.size);
    let (left, right) = (scaled(bounds.x_min), scaled(bounds.x_max));
    let (top, bottom) = (-scaled(bounds.y_max), -scaled(bounds.y_min));
    Some(Rect::new(Point::new(left, top), Point::new(right, bottom)))
}

/// The upright rectangle around a rectangle that is moved, scaled or turned.
fn moved(bounds: Rect, transform: Transform) -> Rect {
    let corners = [
        bounds.min,
        Point::new(bounds.max.x, bounds.min.y),
        bounds.max,
        Point::new(bounds.min.x, bounds.max.y),
    ];
    let mapped = corners.map(|corner| corner.transform(transform));
    Rect::new(
        mapped.into_iter().fold(Point::splat(Abs::inf()), Point::min),
        mapped.into_iter().fold(Point::splat(-Abs::inf()), Point::max),
    )
}

fn united(one: Rect, other: Rect) -> Rect {
    Rect::new(one.min.min(other.min), one.max.max(other.max))
}

/// What two rectangles have in common; its size is negative where they have nothing.
fn common(one: Rect, other: Rect) -> Rect {
    Rect::new(one.min.max(other.min), one.max.min(other.max))
}

/// How far a rectangle reaches out of another; negative where it does not.
struct Reach {
    left: Abs,
    top: Abs,
    right: Abs,
    bottom: Abs,
}

impl Reach {
    fn most(&self) -> Abs {
        self.left.max(self.top).max(self.right).max(self.bottom)
    }
}

fn reach_out(inner: Rect, outer: Rect) -> Reach {
    Reach {
        left: outer.min.x - inner.min.x,
        top: outer.min.y - inner.min.y,
        right: inner.max.x - outer.max.x,
        bottom: inner.max.y - outer.max.y,
    }
}
