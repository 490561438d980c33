//! A row that is held back: its faults, each with the kind of it, which the front sheet says in the unit's language.
//!
//! A fault's message is English and for a terminal; on paper stand the kind's words and the column as the list heads it.

use crate::problem::Problem;

/// A row that is not in the pack, because of its faults.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HeldBack {
    /// The physical line on which the record starts.
    pub line: u32,
    /// `FAMILYNAME, Given` as far as the row has them; for the front sheet only.
    pub name: Option<String>,
    /// The row's bay and chair as written, where both cells hold something printable.
    pub place: Option<String>,
    /// The row's arrival time as written, where the cell holds something printable.
    pub arrive: Option<String>,
    /// The row's faults, in column order.
    pub faults: Vec<RowFault>,
}

impl HeldBack {
    /// What is wrong with the row, as messages say it.
    pub fn problems(&self) -> impl Iterator<Item = &Problem> {
        self.faults.iter().map(|fault| &fault.problem)
    }
}

/// One fault of a row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RowFault {
    /// What the front sheet says of it.
    pub kind: RowFaultKind,
    /// What messages say of it.
    pub problem: Problem,
}

/// What is wrong in a cell or a row, as far as whoever plans that patient by hand must know it. Columns are named as
/// the list heads them, or by the program's name where that heading cannot be printed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum RowFaultKind {
    /// The cells of the row cannot be told apart.
    Cells,
    /// Most needed cells are empty.
    MostMissing,
    /// What is wrong with the cell of a column.
    Cell(String, CellFault),
}

/// What is wrong with one cell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum CellFault {
    /// A needed cell is empty.
    Missing,
    /// What belongs into another column, whose cell holds what belongs here.
    Exchanged(String),
    /// A text is too long.
    TooLong,
    /// A text holds what cannot be printed.
    Unprintable,
    /// No time of the day.
    NotATime,
    /// No date of the list's form.
    NotADate,
    /// A date that cannot be on this day.
    ImpossibleDate,
    /// A word that the unit does not have.
    UnknownWord,
    /// No number of a cycle.
    NotACycle,
    /// No NHS number.
    NotAnNhsNumber,
    /// An arrival when the unit is closed.
    Closed,
    /// A leaving time before the arrival.
    LeavesTooEarly,
    /// A chair of another bay.
    OtherBay,
    /// A cooled patient's regimen without a hair-loss drug.
    NoHairLossDrug,
    /// A number that stands on another line too.
    Twice(u32),
}

impl RowFaultKind {
    /// The name of its words in a wording file, below `front.faults`.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Cells => "cells",
            Self::MostMissing => "most_missing",
            Self::Cell(_, fault) => match fault {
                CellFault::Missing => "missing",
                CellFault::Exchanged(_) => "exchanged",
                CellFault::TooLong => "too_long",
                CellFault::Unprintable => "unprintable",
                CellFault::NotATime => "not_a_time",
                CellFault::NotADate => "not_a_date",
                CellFault::ImpossibleDate => "impossible_date",
                CellFault::UnknownWord => "unknown_word",
                CellFault::NotACycle => "not_a_cycle",
                CellFault::NotAnNhsNumber => "not_an_nhs_number",
                CellFault::Closed => "closed",
                CellFault::LeavesTooEarly => "leaves_too_early",
                CellFault::OtherBay => "other_bay",
                CellFault::NoHairLossDrug => "no_hair_loss_drug",
                CellFault::Twice(_) => "twice",
            },
        }
    }
}
