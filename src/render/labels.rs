//! Labels for the caps of cooled patients: each set as a page of its own by Typst, which knows every
//! script, and put in its place on a sheet of labels in millimetres.
//!
//! What a label says comes from outside; the measures of a sheet of labels are a file of
//! `layouts/forms/`.

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::draw::imposition::{Placed, Sheet, Size, points};
use super::fault::{FaultPlace, RenderFault};
use crate::compose::paperwork::Paper;
use crate::layouts::Layouts;

/// The layout of a label, below `layouts/`.
pub const LAYOUT: &str = "sheets/label.typ";
/// A sheet of labels is stamped if it leaves this strip free at its lower edge, in mm.
const STAMP_STRIP: f32 = 14.0;

/// Labels to print.
#[derive(Clone, Copy, Debug)]
pub struct LabelOrder<'a> {
    /// The title of the file, and of its part of the pack: `Labels`.
    pub title: &'a str,
    /// The language of the words, as a BCP 47 code.
    pub language: &'a str,
    /// The form of the sheet of labels: `labels-a4-21` for `layouts/forms/labels-a4-21.toml`.
    pub form: &'a str,
    /// The first label that is still on the first sheet, counted from 1 along the rows.
    pub first_free: usize,
    /// What stands on each label: `name`, `identity` (born, hospital number), and `facts`, a list of
    /// `label` and `value` (chair, cap, machine and outlet, cooling on).
    pub labels: &'a [Value],
}

/// The measures of a sheet of labels, in mm, and the sizes of type, in points.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Form {
    paper: Paper,
    columns: u16,
    rows: u16,
    width: f32,
    height: f32,
    left: f32,
    top: f32,
    gap_across: f32,
    gap_down: f32,
    inset: f32,
    name_size: f32,
    text_size: f32,
}

impl Form {
    /// Reads the form that an order names.
    ///
    /// # Errors
    /// If there is no such form, or its measures do not fit on its paper.
    pub fn read(layouts: &Layouts, name: &str) -> Result<Self, RenderFault> {
        let path = format!("forms/{name}.toml");
        let bytes = layouts.file(&path).ok_or_else(|| no_form(layouts, name))?;
        let text = String::from_utf8_lossy(bytes);
        let form: Self = toml::from_str(&text).map_err(|refusal| unreadable(&path, &text, &refusal))?;
        form.check(&path)?;
        Ok(form)
    }

    fn check(&self, path: &str) -> Result<(), RenderFault> {
        let lengths = [self.left, self.top, self.gap_across, self.gap_down, self.inset];
        let sizes = [self.width, self.height, self.name_size, self.text_size];
        let sound = lengths.iter().all(|length| *length >= 0.0) && sizes.iter().all(|size| *size > 0.0);
        if !sound || self.columns == 0 || self.rows == 0 {
            return Err(wrong(path, "a measure is missing or negative", "measure a sheet of the labels"));
        }
        let needed = Size::mm(
            self.left + along(self.columns, self.width, self.gap_across),
            self.top + along(self.rows, self.height, self.gap_down),
        );
        let paper = self.paper_size();
        if needed.width > paper.width || needed.height > paper.height {
            return Err(wrong(path, "the labels do not fit on the paper", "measure a sheet of the labels"));
        }
        Ok(())
    }

    fn paper_size(&self) -> Size {
        super::pack::paper_size(self.paper)
    }

    /// The data of the label's layout.
    #[must_use]
    pub fn data(&self, order: &LabelOrder<'_>) -> Value {
        json!({ "form": self, "labels": order.labels })
    }

    /// The sheets for `count` labels, each a page of the set document `document`, the first of them at
    /// `first_free`.
    ///
    /// # Errors
    /// If a sheet has no such label.
    pub fn sheets(
        &self,
        document: usize,
        count: usize,
        first_free: usize,
    ) -> Result<Vec<Sheet>, RenderFault> {
        let on_a_sheet = usize::from(self.columns) * usize::from(self.rows);
        let used = first_free.checked_sub(1).filter(|used| *used < on_a_sheet);
        let used = used.ok_or_else(|| no_such_label(first_free, on_a_sheet))?;
        let places: Vec<usize> = (used..used + count).collect();
        let sheets = places.chunk_by(|one, next| one / on_a_sheet == next / on_a_sheet);
        Ok(sheets.map(|places| self.sheet(document, places, used, on_a_sheet)).collect())
    }

    fn sheet(&self, document: usize, places: &[usize], used: usize, on_a_sheet: usize) -> Sheet {
        let size = self.paper_size();
        let page = Size::mm(self.width, self.height);
        let placed = |place: &usize| Placed {
            document,
            page: place - used,
            at: self.corner(place % on_a_sheet),
            size: page,
        };
        let free = size.height - points(self.top + along(self.rows, self.height, self.gap_down));
        let stamped = free >= points(STAMP_STRIP);
        Sheet {
            size,
            front: places.iter().map(placed).collect(),
            back: Vec::new(),
            cut: false,
            stamps: stamped.then_some((size.width / 2.0, 0.0)).into_iter().collect(),
        }
    }

    /// The lower left corner of the label at `place`, counted from 0 along the rows, in points.
    fn corner(&self, place: usize) -> (f32, f32) {
        let columns = usize::from(self.columns);
        let (row, column) = ((place / columns) as f32, (place % columns) as f32);
        let left = self.left + column * (self.width + self.gap_across);
        let below_top = self.top + row * (self.height + self.gap_down) + self.height;
        (points(left), self.paper_size().height - points(below_top))
    }
}

/// The length of `count` labels with the gaps between them.
fn along(count: u16, length: f32, gap: f32) -> f32 {
    f32::from(count) * length + f32::from(count - 1) * gap
}

fn labels_fault(what: String, place: Option<FaultPlace>, help: &str) -> RenderFault {
    RenderFault { what, document: "the labels".to_owned(), place, help: help.to_owned() }
}

fn no_form(layouts: &Layouts, name: &str) -> RenderFault {
    let forms = layouts.files().filter_map(|(path, _)| path.strip_prefix("forms/")?.strip_suffix(".toml"));
    let nearest = forms.min_by_key(|form| strsim::damerau_levenshtein(form, name)).unwrap_or_default();
    labels_fault(format!("there is no form `{name}` for labels"), None, &format!("did you mean `{nearest}`?"))
}

fn no_such_label(first_free: usize, on_a_sheet: usize) -> RenderFault {
    let what = format!("a sheet has {on_a_sheet} labels; found {first_free} as the first that is free");
    labels_fault(what, None, "count along the rows, from 1")
}

fn wrong(path: &str, what: &str, help: &str) -> RenderFault {
    let place = FaultPlace::Layout { file: format!("layouts/{path}"), line: 1, column: 1 };
    labels_fault(what.to_owned(), Some(place), help)
}

fn unreadable(path: &str, text: &str, refusal: &toml::de::Error) -> RenderFault {
    let before = refusal.span().and_then(|span| text.get(..span.start)).unwrap_or_default();
    let line = before.matches('\n').count() + 1;
    let column = before.chars().rev().take_while(|character| *character != '\n').count() + 1;
    let place = FaultPlace::Layout { file: format!("layouts/{path}"), line, column };
    let message = refusal.message().lines().next().unwrap_or_default().to_owned();
    labels_fault(message, Some(place), "compare it with the program's own forms")
}
