//! Bytes to raw tables: the text of every cell and setting, and the physical line it stands on.
//!
//! Reading decides what the characters, the cells and the lines are. It does not know what any of
//! them mean, opens no file, and mends nothing that could be read in two ways.

mod cells;
mod decode;
mod delimiter;
mod inert;
pub mod limits;
mod lines;
mod quotes;
mod records;
pub(crate) mod settings;

pub use cells::CellFinder;
pub use decode::{Encoding, Text};
pub use delimiter::Delimiter;
pub use inert::{NO_CELL, inert, without_apostrophe};
pub use records::{RawList, RawRow, read_day_list};
pub use settings::{Setting, Table, Value, read_settings};

use crate::problem::Problem;

/// A file as it came in.
#[derive(Clone, Copy, Debug)]
pub struct File<'a> {
    /// Its name, without its folder; only used in messages.
    pub name: &'a str,
    /// All of its bytes.
    pub bytes: &'a [u8],
}

/// The three files of a run.
#[derive(Clone, Copy, Debug)]
pub struct Inputs<'a> {
    /// The day list.
    pub day_list: File<'a>,
    /// `unit.toml`.
    pub unit: File<'a>,
    /// `regimens.toml`.
    pub regimens: File<'a>,
}

/// What reading made of one file.
#[derive(Clone, Debug)]
pub struct RawFile<T> {
    /// The file's name, without its folder.
    pub name: String,
    /// The raw table, or everything that kept it from being read, in file order.
    pub content: Result<T, Vec<Problem>>,
}

/// What reading made of the three files. A file that cannot be read does not keep the faults of the
/// others from being found, so each carries its own problems.
#[derive(Clone, Debug)]
pub struct RawInputs {
    /// The day list.
    pub day_list: RawFile<RawList>,
    /// `unit.toml`.
    pub unit: RawFile<Table>,
    /// `regimens.toml`.
    pub regimens: RawFile<Table>,
}

/// Reads the three files.
#[must_use]
pub fn read(inputs: &Inputs) -> RawInputs {
    let Inputs { day_list, unit, regimens } = inputs;
    RawInputs {
        day_list: RawFile {
            name: day_list.name.to_owned(),
            content: read_day_list(day_list.name, day_list.bytes),
        },
        unit: RawFile { name: unit.name.to_owned(), content: read_settings(unit.name, unit.bytes) },
        regimens: RawFile {
            name: regimens.name.to_owned(),
            content: read_settings(regimens.name, regimens.bytes),
        },
    }
}
