//! Raw tables to a [`DayList`] in which every value is known to be right.
//!
//! Every fault of the three files is found in one run. A part that is itself faulty is not used to
//! judge another, so that one slip is one problem. Nothing is mended that could be read in two ways.

mod columns;
mod dates;
mod doubts;
mod exchanged;
mod held;
pub mod limits;
pub(crate) mod nearest;
mod nhs_number;
mod notes;
mod printer;
mod regimens;
mod rooms;
mod row;
mod rows;
mod section;
mod text;
pub(crate) mod times;
mod unit;
mod visit;

use std::collections::BTreeSet;

use chrono::NaiveDate;

use self::columns::{Column, header};
use self::doubts::doubts;
pub use self::held::{CellFault, HeldBack, RowFault, RowFaultKind};
pub use self::notes::{Note, UnreadColumn, UnreadColumns};
use self::regimens::{RegimensFile, regimens};
pub use self::rooms::file_name_part;
use self::rows::{Against, CheckedRows, caps_without_stock, check_rows};
use self::unit::{UnitFile, unit};
use crate::clock::Moment;
use crate::patient::Visit;
use crate::problem::Problem;
use crate::read::{Delimiter, Encoding, RawInputs, RawList};
use crate::unit_rules::{BayIndex, Regimen, RegimenIndex, Unit};

/// What the program has at hand besides the inputs.
pub struct AtHand<'a> {
    /// Whether some font has a glyph for a character.
    pub prints: &'a dyn Fn(char) -> bool,
    /// The codes of the wording files.
    pub languages: &'a [String],
}

/// What the command line says of the list.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Options {
    /// The day to print; needed where the list has no date or several.
    pub date: Option<NaiveDate>,
    /// Whether rows with faults are left out of the plan instead of stopping the run.
    pub hold_bad_rows: bool,
}

/// The names of the columns that a day list may have.
pub fn column_names() -> impl Iterator<Item = &'static str> {
    Column::ALL.into_iter().map(Column::name)
}

/// The keys that `unit.toml` may have, each with the section that it stands in.
pub fn unit_keys() -> impl Iterator<Item = (&'static str, &'static str)> {
    section::each_key(unit::KEYS)
}

/// The keys that `regimens.toml` may have, each with the section that it stands in.
pub fn regimen_keys() -> impl Iterator<Item = (&'static str, &'static str)> {
    section::each_key(regimens::KEYS)
}

/// Checks the three files.
///
/// # Errors
/// Every fault of all three, in the order unit, regimens, day list, each by line.
pub fn validate(raw: &RawInputs, options: Options, at_hand: &AtHand<'_>) -> Result<DayList, Vec<Problem>> {
    let unit_file = raw.unit.content.as_ref().map(|table| unit(&raw.unit.name, table, at_hand));
    let post_cooling = unit_file.as_ref().ok().and_then(|file| file.post_cooling);
    let regimens_file =
        raw.regimens.content.as_ref().map(|table| regimens(&raw.regimens.name, table, post_cooling, at_hand));
    let list_file = raw.day_list.content.as_ref().map(|list| {
        let parts = (unit_file.as_ref().ok(), regimens_file.as_ref().ok());
        list_rows(&raw.day_list.name, list, parts, options, at_hand)
    });

    let mut problems = Vec::new();
    let unit = keep(unit_file.map_err(Clone::clone).and_then(|file| file.unit), &mut problems);
    let regimens = keep(regimens_file.map_err(Clone::clone).and_then(|file| file.regimens), &mut problems);
    let list = keep(list_file.map_err(Clone::clone).and_then(|list| list), &mut problems);
    let (Some(unit), Some(regimens), Some(Some(list))) = (unit, regimens, list) else { return Err(problems) };
    let CheckedList { day, mut rows, mut notes } = list;
    notes.extend(doubts(&rows.visits, &unit));
    rows.visits.sort_by_cached_key(|visit| ward_order(visit, &unit));
    Ok(DayList {
        day,
        source_name: raw.day_list.name.clone(),
        unit,
        regimens,
        visits: rows.visits,
        held_back: rows.held_back,
        notes,
        other_days: rows.other_days,
        cards_in_unit_language: BTreeSet::new(),
    })
}

/// The place (from 0) of the column with the arrival times in a list that [`validate`] accepts.
#[must_use]
pub fn arrival_place(raw: &RawInputs, options: Options, at_hand: &AtHand<'_>) -> Option<usize> {
    let form = unit(&raw.unit.name, raw.unit.content.as_ref().ok()?, at_hand).list_form?;
    let list = raw.day_list.content.as_ref().ok()?;
    header(&raw.day_list.name, list, &form, options.date.is_some(), at_hand).columns.place(Column::Arrive)
}

/// Where a visit stands in the day: by bay, arrival, the chair's place in the bay, hospital number.
/// Whatever order the booking system exports in, the same visits give the same day and paper.
fn ward_order(visit: &Visit, unit: &Unit) -> (BayIndex, Moment, Option<usize>, String) {
    let chair = unit.bay(visit.bay).chairs.iter().position(|chair| *chair == visit.chair);
    (visit.bay, visit.arrive, chair, visit.hospital_no.clone())
}

/// The product, or its problems put with the others.
fn keep<T>(product: Result<T, Vec<Problem>>, problems: &mut Vec<Problem>) -> Option<T> {
    product.map_err(|found| problems.extend(found)).ok()
}

/// A day list whose rows are checked.
struct CheckedList {
    day: NaiveDate,
    rows: CheckedRows,
    notes: Vec<Note>,
}

/// Checks the list against what is right of the unit's files; `None` where the unit's file does not
/// say, or says wrongly, how a list is written.
fn list_rows(
    file: &str,
    list: &RawList,
    (unit, regimens): (Option<&UnitFile>, Option<&RegimensFile>),
    options: Options,
    at_hand: &AtHand<'_>,
) -> Result<Option<CheckedList>, Vec<Problem>> {
    let Some((unit, form)) = unit.and_then(|unit| Some((unit, unit.list_form.as_ref()?))) else {
        return Ok(None);
    };
    let header = header(file, list, form, options.date.is_some(), at_hand);
    if !header.is_one() {
        return Err(header.problems);
    }
    let against = Against {
        file,
        columns: &header.columns,
        delimiter: list.delimiter,
        form,
        day_is_named: options.date.is_some(),
        bays: unit.bays.as_deref(),
        caps: unit.caps.as_deref().filter(|caps| !caps.is_empty()),
        regimens: regimens.and_then(|file| file.known.as_deref()),
        closes: unit.closes,
        at_hand,
    };
    let rows = check_rows(&list.rows, options.date, options.hold_bad_rows, &against);
    let has_no_caps = unit.caps.as_deref().is_some_and(<[_]>::is_empty);
    let capless = has_no_caps.then(|| caps_without_stock(&list.rows, &against)).flatten();
    let mut problems: Vec<Problem> =
        rows.problems.iter().chain(&header.problems).chain(&capless).cloned().collect();
    let stops = !problems.is_empty() || rows.visits.is_empty() || !options.hold_bad_rows;
    if stops {
        problems.extend(rows.held_back.iter().flat_map(HeldBack::problems).cloned());
        problems.sort_by_key(|problem| problem.place.line);
    }
    match rows.day {
        Some(day) if problems.is_empty() => {
            let notes = notes(list, header.unread, &rows.repeated_headers);
            Ok(Some(CheckedList { day, rows, notes }))
        }
        _ => Err(problems),
    }
}

/// What the clerk should know of how the list was read.
fn notes(list: &RawList, unread: UnreadColumns, repeated_headers: &[u32]) -> Vec<Note> {
    let encoding = (list.encoding == Encoding::Windows1252).then_some(Note::Windows1252);
    let is_guess = list.delimiter != Delimiter::Comma && !list.delimiter_stated;
    let delimiter = is_guess.then_some(Note::Delimiter(list.delimiter));
    let columns = (!unread.is_empty()).then_some(Note::Unread(unread));
    let repeated = (!repeated_headers.is_empty()).then(|| Note::RepeatedHeader(repeated_headers.to_vec()));
    [encoding, delimiter, columns, repeated].into_iter().flatten().collect()
}

/// The day's list with the unit's files, every value checked.
#[derive(Clone, Debug)]
pub struct DayList {
    /// The day.
    pub day: NaiveDate,
    /// The list's file name, without its folder.
    pub source_name: String,
    /// The unit.
    pub unit: Unit,
    /// The regimens of the unit's file, in its order.
    pub regimens: Vec<Regimen>,
    /// The visits of the day by bay, arrival, chair and hospital number, whatever the list's order.
    pub visits: Vec<Visit>,
    /// Rows with faults, left out by request.
    pub held_back: Vec<HeldBack>,
    /// What the clerk should know of how the list was read.
    pub notes: Vec<Note>,
    /// How many rows of other days were left out.
    pub other_days: usize,
    /// Visits whose card cannot be printed in the patient's language, because its words are incomplete or too
    /// long; whoever has the words names them.
    pub cards_in_unit_language: BTreeSet<usize>,
}

impl DayList {
    /// The same list with other arrival times, in the order that it would have with them. `arrivals` are
    /// places in [`DayList::visits`], each with a time of the day.
    #[must_use]
    pub fn with_arrivals(&self, arrivals: impl IntoIterator<Item = (usize, Moment)>) -> Self {
        let mut list = self.clone();
        for (visit, arrive) in arrivals {
            if let Some(row) = list.visits.get_mut(visit) {
                row.arrive = arrive;
            }
        }
        let unit = &self.unit;
        let marked = |place: usize| self.cards_in_unit_language.contains(&place);
        let mut visits: Vec<(Visit, bool)> =
            list.visits.into_iter().enumerate().map(|(place, visit)| (visit, marked(place))).collect();
        visits.sort_by_cached_key(|(visit, _)| ward_order(visit, unit));
        let places = visits.iter().enumerate().filter(|(_, (_, marked))| *marked);
        list.cards_in_unit_language = places.map(|(place, _)| place).collect();
        list.visits = visits.into_iter().map(|(visit, _)| visit).collect();
        list
    }

    /// The same list with one visit more where its order has it, and that visit's place.
    #[must_use]
    pub fn with_visit(&self, visit: Visit) -> (Self, usize) {
        let mut list = self.clone();
        let own = ward_order(&visit, &self.unit);
        let place = self.visits.partition_point(|other| ward_order(other, &self.unit) <= own);
        list.visits.insert(place, visit);
        let behind = |other: &usize| *other + usize::from(*other >= place);
        list.cards_in_unit_language = self.cards_in_unit_language.iter().map(behind).collect();
        (list, place)
    }

    /// The regimen at `index`.
    #[must_use]
    pub fn regimen(&self, index: RegimenIndex) -> &Regimen {
        &self.regimens[index.0]
    }
}
