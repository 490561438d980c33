//! What is wrong with an input, where, and what would do.
//!
//! A problem points at a cell; it never prints the row, which holds a patient. Values of names,
//! dates of birth, numbers and alerts are described, not quoted.

use std::fmt;

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
}

/// What was found at a place.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Found {
    /// A value that may be repeated; printed between back quotes.
    Value(String),
    /// A description that repeats nothing private: `9 digits`, `an empty cell`.
    Described(String),
}

/// The longest value that a message repeats, in characters; the rest is cut with `…`.
const QUOTED_AT_MOST: usize = 60;

impl fmt::Display for Found {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Described(text) => out.write_str(text),
            Self::Value(text) => {
                let shown: String = text.chars().take(QUOTED_AT_MOST).map(visible).collect();
                let cut = if text.chars().count() > QUOTED_AT_MOST { "…" } else { "" };
                write!(out, "`{shown}{cut}`")
            }
        }
    }
}

/// A character that is safe on a terminal: controls and invisible marks become `�`.
fn visible(character: char) -> char {
    let invisible = matches!(character, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}');
    if character.is_control() || invisible { '\u{fffd}' } else { character }
}

impl fmt::Display for Place {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(&self.file)?;
        if let Some(line) = self.line {
            write!(out, ", line {line}")?;
        }
        if let Some(column) = &self.column {
            let kind = if self.file.ends_with(".toml") { "key" } else { "column" };
            write!(out, ", {kind} `{column}`")?;
        }
        Ok(())
    }
}

/// Prints the three lines of a refusal:
///
/// ```text
/// error: infusion time is not a whole number of minutes
///  --> monday.csv, line 7, column `minutes`: found `1h30`
/// help: write minutes only, for example 90
/// ```
impl fmt::Display for Problem {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(out, "error: {}", self.what)?;
        write!(out, " --> {}", self.place)?;
        if let Some(found) = &self.found {
            write!(out, ": found {found}")?;
        }
        writeln!(out)?;
        writeln!(out, "help: {}", self.help)
    }
}
