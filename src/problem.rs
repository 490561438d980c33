//! What is wrong with an input, where, and what would do.
//!
//! A problem points at a cell; it never prints the row, which holds a patient. Values of names,
//! dates of birth, numbers and alerts are described, not quoted. What a clerk reads are [`messages`]:
//! one for each cause, however many cells it touches.

mod message;

use std::fmt;

pub(crate) use self::message::stretches;
pub use self::message::{Message, messages};
use crate::characters::on_a_terminal;
use serde::{Deserialize, Serialize};

/// One fault of an input.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Problem {
    /// What is wrong, in a few words without a full stop.
    pub what: String,
    /// Where.
    pub place: Place,
    /// What stands there: a quoted value, or a description of one that is private.
    pub found: Option<Found>,
    /// What to do, with an example of what would be accepted.
    pub help: String,
}

/// Where a problem is.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Place {
    /// The file's name, without its folder.
    pub file: String,
    /// The physical line, from 1.
    pub line: Option<u32>,
    /// The column by its header name, or the key of a settings file (`minutes.pre_cooling`).
    pub column: Option<String>,
    /// What the key belongs to, where a settings file has several of the kind: ``regimen `PAC-W` ``.
    pub of: Option<String>,
}

/// What was found at a place.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Found {
    /// A value that may be repeated; printed between back quotes.
    Value(String),
    /// Such a value, and a whole sentence on what it may have been meant for; the sentence begins the
    /// help.
    Like {
        /// The value.
        value: String,
        /// ``did you mean `PAC-W`?``
        hint: String,
    },
    /// A description that repeats nothing private: `9 digits`, `an empty cell`.
    Described(String),
}

/// The longest value that a message repeats, in characters; the rest is cut with `…`.
const QUOTED_AT_MOST: usize = 60;

/// A text as a message repeats it: cut where it is long, and safe on a terminal.
pub(crate) fn shown(text: &str) -> String {
    let start: String = text.chars().take(QUOTED_AT_MOST).collect();
    let cut = if start.len() < text.len() { "…" } else { "" };
    format!("{}{cut}", on_a_terminal(&start))
}

impl fmt::Display for Found {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Described(text) => out.write_str(text),
            Self::Value(value) | Self::Like { value, .. } => write!(out, "`{}`", shown(value)),
        }
    }
}

/// The message of a problem that is the only one of its cause.
impl fmt::Display for Problem {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        Message::of(&[self]).fmt(out)
    }
}
