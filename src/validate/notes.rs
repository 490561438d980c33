//! What the clerk should know of how a list was read, and nobody need act upon: each once in English for a terminal;
//! on the front sheet it stands in the unit's words.

use std::fmt;

use super::nearest::listed;
use crate::clock::Moment;
use crate::problem::{shown, stretches};
use crate::read::Delimiter;

/// Something about how a file was read that is not a fault.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Note {
    /// The list was read as Windows-1252.
    Windows1252,
    /// The character between the cells was guessed, and is no comma.
    Delimiter(Delimiter),
    /// Columns that are not read.
    Unread(UnreadColumns),
    /// Lines on which the header stands once more.
    RepeatedHeader(Vec<u32>),
    /// Lines of names that seem to have lost letters.
    LostLetters(Vec<u32>),
    /// Lines on which the family name seems to stand under the given name.
    NamesExchanged(Vec<u32>),
    /// Lines of arrivals long before opening, which may be of the afternoon.
    LongBeforeOpening(Vec<u32>, Moment),
}

/// The columns of a list that are not read.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct UnreadColumns {
    /// Those with a name.
    pub named: Vec<UnreadColumn>,
    /// The numbers, from 1, of those without a name that hold something.
    pub nameless: Vec<usize>,
}

/// A column that is not read, by its name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnreadColumn {
    /// Its number, from 1.
    pub number: usize,
    /// Its name in the header.
    pub name: String,
    /// Whether the name can be printed on one line.
    pub prints: bool,
    /// The name of the column that it may be meant for.
    pub meant: Option<String>,
}

impl UnreadColumns {
    /// Whether there is none.
    pub(super) const fn is_empty(&self) -> bool {
        self.named.is_empty() && self.nameless.is_empty()
    }
}

impl fmt::Display for UnreadColumns {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut sentences = Vec::new();
        let names: Vec<String> = self.named.iter().map(|column| shown(&column.name)).collect();
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        if !names.is_empty() {
            sentences.push(format!("Columns of the list that were not read: {}.", listed(&names)));
        }
        for (column, name) in self.named.iter().zip(names) {
            let meant = column.meant.as_ref();
            sentences.extend(meant.map(|meant| format!("Is `{name}` meant to be `{}`?", shown(meant))));
        }
        if !self.nameless.is_empty() {
            let numbers: Vec<String> = self.nameless.iter().map(usize::to_string).collect();
            sentences.push(format!("Columns without a header were not read: number {}.", numbers.join(", ")));
        }
        out.write_str(&sentences.join(" "))
    }
}

impl fmt::Display for Note {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Windows1252 => out.write_str(
                "The list is not UTF-8. It was read as Windows-1252: check the names that have accents.",
            ),
            Self::Delimiter(delimiter) => {
                write!(out, "The list was read with {} between its cells.", delimiter.word())
            }
            Self::Unread(columns) => columns.fmt(out),
            Self::RepeatedHeader(lines) => {
                let lines: Vec<String> = lines.iter().map(u32::to_string).collect();
                write!(
                    out,
                    "The header stands once more on line {}, which was passed over.",
                    lines.join(", ")
                )
            }
            Self::LostLetters(lines) => write!(
                out,
                "Letters seem to be lost in names on {} (a question mark, or two odd characters for one letter): compare them with the patients' papers, and export the list as UTF-8.",
                stretches(lines)
            ),
            Self::NamesExchanged(lines) => write!(
                out,
                "On {} the given name is in capitals and the family name is not: are the two exchanged?",
                stretches(lines)
            ),
            Self::LongBeforeOpening(lines, opens) => write!(
                out,
                "Arrivals on {} are long before opening at {opens}: if they are of the afternoon, write 13:30 for half past one.",
                stretches(lines)
            ),
        }
    }
}
