//! Why a document cannot be printed: in a layout, or on a finished page.
//!
//! A fault names the kind of document and its page code; never a patient, and never what a text says.

use std::fmt;

use serde::{Deserialize, Serialize};

/// Why a document cannot be printed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RenderFault {
    /// What is wrong.
    pub what: String,
    /// Which document: its kind and page code, never a patient's name.
    pub document: String,
    /// Where, if that is known.
    pub place: Option<FaultPlace>,
    /// What to do.
    pub help: String,
}

/// Where a fault is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum FaultPlace {
    /// In a layout; line and column count from 1.
    Layout {
        /// The file, `layouts/sheets/bay-sheet.typ`.
        file: String,
        /// The line.
        line: usize,
        /// The column, in characters.
        column: usize,
    },
    /// On a finished page.
    Page {
        /// The page of the document, from 1.
        number: usize,
        /// From the left edge, in mm.
        left: f64,
        /// From the top edge, in mm.
        top: f64,
    },
}

impl RenderFault {
    /// Whether another document has the same fault in the same layout.
    pub(super) fn says_the_same(&self, other: &Self) -> bool {
        let in_a_layout = matches!(self.place, Some(FaultPlace::Layout { .. }));
        self == other || (in_a_layout && self.place == other.place && self.what == other.what)
    }
}

impl fmt::Display for RenderFault {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(out, "error: {}", self.what)?;
        match &self.place {
            Some(FaultPlace::Layout { file, line, column }) => {
                writeln!(out, " --> {file}, line {line}, column {column}, in setting {}", self.document)?;
            }
            Some(FaultPlace::Page { number, left, top }) => writeln!(
                out,
                " --> {}, page {number}, {left:.0} mm from the left and {top:.0} mm from the top",
                self.document
            )?,
            None => writeln!(out, " --> {}", self.document)?,
        }
        writeln!(out, "help: {}", self.help)
    }
}
