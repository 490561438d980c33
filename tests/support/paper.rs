//! Reads PDF files back for tests: every letter with its place and size, every line and box, and
//! pictures of pages. Lengths are in mm from the upper left corner of the page.
#![allow(dead_code, reason = "each test file uses a part of this")]

use hayro::hayro_interpret::font::Glyph;
use hayro::hayro_interpret::hayro_cmap::BfString;
use hayro::hayro_interpret::util::TransformExt;
use hayro::hayro_interpret::{
    BlendMode, ClipPath, Context, Device, GlyphDrawMode, Image, InterpreterCache, InterpreterSettings, Paint,
    PathDrawMode, SoftMask, interpret_page,
};
use hayro::hayro_syntax::Pdf;
use hayro::vello_cpu::color::palette::css::WHITE;
use hayro::vello_cpu::kurbo::{Affine, BezPath, Point, Rect, Shape};
use hayro::{RenderCache, RenderSettings, render};

const MM: f64 = 25.4 / 72.0;

/// A page that was read back.
#[derive(Clone, Debug, Default)]
pub struct Page {
    /// Its width.
    pub width: f64,
    /// Its height.
    pub height: f64,
    /// The letters in the order of the file.
    pub letters: Vec<Letter>,
    /// Lines and boxes.
    pub shapes: Vec<Drawn>,
}

/// A letter on a page.
#[derive(Clone, Debug)]
pub struct Letter {
    /// What it stands for; several characters for a ligature, none where the file does not say.
    pub text: String,
    /// Where its baseline starts.
    pub left: f64,
    /// How far below the upper edge its baseline lies.
    pub baseline: f64,
    /// The size of its type, in points.
    pub size: f64,
    /// Whether it stands on its head.
    pub turned: bool,
}

/// A line or a box on a page.
#[derive(Clone, Copy, Debug)]
pub struct Drawn {
    /// What it covers.
    pub bounds: Rect,
    /// The width of its line in points; `None` where it is filled.
    pub line: Option<f64>,
}

impl Page {
    /// All text, without spaces that the file does not hold.
    pub fn text(&self) -> String {
        self.letters.iter().map(|letter| letter.text.as_str()).collect()
    }

    /// The letters that spell `text` without a break, each time it occurs.
    pub fn find(&self, text: &str) -> Vec<&[Letter]> {
        (0..self.letters.len())
            .filter_map(|from| {
                let mut spelled = String::new();
                let mut until = from;
                while spelled.len() < text.len() {
                    spelled.push_str(&self.letters.get(until)?.text);
                    until += 1;
                }
                (spelled == text).then_some(&self.letters[from..until])
            })
            .collect()
    }
}

/// Reads every page of a file.
pub fn read(pdf: &[u8]) -> Vec<Page> {
    let pdf = Pdf::new(pdf.to_vec()).expect("a PDF file");
    let cache = InterpreterCache::new();
    pdf.pages()
        .iter()
        .map(|page| {
            let (width, height) = page.render_dimensions();
            let (width, height) = (f64::from(width) * MM, f64::from(height) * MM);
            let to_mm = Affine::scale(MM) * page.initial_transform(true).to_kurbo();
            let target = Rect::new(0.0, 0.0, width, height);
            let settings = InterpreterSettings::default();
            let mut context = Context::new(to_mm, target, &cache, page.xref(), settings);
            let mut reader = Reader(Page { width, height, ..Page::default() });
            interpret_page(page, &mut context, &mut reader);
            reader.0
        })
        .collect()
}

struct Reader(Page);

impl<'a> Device<'a> for Reader {
    fn draw_path(&mut self, path: &BezPath, to_page: Affine, _: &Paint<'a>, mode: &PathDrawMode) {
        let bounds = (to_page * path.clone()).bounding_box();
        let line = match mode {
            PathDrawMode::Stroke(stroke) => {
                Some(f64::from(stroke.line_width) * to_page.determinant().abs().sqrt() / MM)
            }
            PathDrawMode::Fill(_) => None,
        };
        self.0.shapes.push(Drawn { bounds, line });
    }

    fn draw_glyph(
        &mut self,
        glyph: &Glyph<'a>,
        to_page: Affine,
        to_text: Affine,
        _: &Paint<'a>,
        _: &GlyphDrawMode,
    ) {
        let to_page = to_page * to_text;
        let start = to_page * Point::ZERO;
        let text = match glyph.as_unicode() {
            Some(BfString::Char(character)) => character.to_string(),
            Some(BfString::String(text)) => text,
            None => String::new(),
        };
        let [across, ..] = to_page.as_coeffs();
        self.0.letters.push(Letter {
            text,
            left: start.x,
            baseline: start.y,
            // Glyphs are drawn in thousandths of an em.
            size: to_page.determinant().abs().sqrt() / MM * 1000.0,
            turned: across < 0.0,
        });
    }

    fn draw_image(&mut self, _: Image<'a, '_>, _: Affine) {}
    fn set_soft_mask(&mut self, _: Option<SoftMask<'a>>) {}
    fn set_blend_mode(&mut self, _: BlendMode) {}
    fn push_clip_path(&mut self, _: &ClipPath) {}
    fn push_transparency_group(&mut self, _: f32, _: Option<SoftMask<'a>>, _: BlendMode) {}
    fn pop_clip_path(&mut self) {}
    fn pop_transparency_group(&mut self) {}
}

/// A picture of a page in shades of grey, 0 black to 255 white, row by row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    /// Pixels in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// The shades.
    pub shades: Vec<u8>,
}

/// Pictures of all pages at `dots` to the inch.
pub fn pictures(pdf: &[u8], dots: f32) -> Vec<Picture> {
    let pdf = Pdf::new(pdf.to_vec()).expect("a PDF file");
    let cache = RenderCache::new();
    let scale = dots / 72.0;
    let target =
        RenderSettings { x_scale: scale, y_scale: scale, bg_color: WHITE, ..RenderSettings::default() };
    let settings = InterpreterSettings::default();
    pdf.pages()
        .iter()
        .map(|page| {
            let map = render(page, &cache, &settings, &target);
            let shade =
                |bytes: &[u8]| ((u16::from(bytes[0]) + u16::from(bytes[1]) + u16::from(bytes[2])) / 3) as u8;
            Picture {
                width: usize::from(map.width()),
                height: usize::from(map.height()),
                shades: map.data_as_u8_slice().chunks_exact(4).map(shade).collect(),
            }
        })
        .collect()
}

impl Picture {
    /// The part that begins at (`left`, `top`) and is `width` by `height`, in pixels.
    pub fn part(&self, left: usize, top: usize, width: usize, height: usize) -> Self {
        let row = |row: usize| self.shades[row * self.width + left..][..width].iter().copied();
        Self { width, height, shades: (top..top + height).flat_map(row).collect() }
    }

    /// The picture upside down.
    pub fn turned(&self) -> Self {
        Self { shades: self.shades.iter().rev().copied().collect(), ..*self }
    }

    /// Whether nothing is drawn.
    pub fn is_blank(&self) -> bool {
        self.shades.iter().all(|shade| *shade == 255)
    }
}
