//! One row of a day list under check: typed values out of its cells, a problem for each that is not
//! right.
//!
//! As in a settings file, a wrong value leaves a problem and a stand-in behind; a visit with
//! stand-ins never gets out.

use chrono::NaiveDate;

use super::columns::{Column, Columns};
use super::dates::{both_readings, likeness};
use super::held::{CellFault, RowFault, RowFaultKind};
use super::nearest;
use super::nhs_number;
use super::rows::Against;
use super::text::{joined_lines, one_line};
use super::times::{LAST_MINUTE, TimeForm, half_day};
use super::unit::ListForm;
use super::{AtHand, limits};
use crate::clock::Moment;
use crate::patient::NextVisit;
use crate::problem::{Found, Place, Problem};
use crate::read::{RawRow, without_apostrophe};

/// The words of columns that are ticked or not.
pub(super) const YES_OR_NO: [&str; 2] = ["yes", "no"];

/// A row under check.
pub(super) struct RowCheck<'a> {
    file: &'a str,
    row: &'a RawRow,
    columns: &'a Columns,
    form: &'a ListForm,
    at_hand: &'a AtHand<'a>,
    faults: Vec<(usize, RowFault)>,
    blank: Vec<(Column, String)>,
}

/// How many needed cells may be empty for each to be a problem of its own. Of a row with more, one
/// message says so.
const BLANKS_TOLD_APART: usize = 3;

/// How many needed cells are empty in a row that is no visit but a total or a title: more than half.
/// What stands in its other cells is then no fault of its own.
const BLANKS_OF_A_TOTAL: usize = 6;

impl<'a> RowCheck<'a> {
    pub(super) const fn new(row: &'a RawRow, against: &Against<'a>) -> Self {
        let Against { file, columns, form, at_hand, .. } = *against;
        Self { file, row, columns, form, at_hand, faults: Vec::new(), blank: Vec::new() }
    }

    /// All faults, in the order of the list's columns.
    pub(super) fn finish(mut self) -> Vec<RowFault> {
        let blank = std::mem::take(&mut self.blank);
        if blank.len() >= BLANKS_OF_A_TOTAL {
            self.faults.clear();
        }
        if blank.len() > BLANKS_TOLD_APART {
            let problem = self.hardly_a_visit(&blank);
            self.faults.push((0, RowFault { kind: RowFaultKind::MostMissing, problem }));
        } else {
            for (column, example) in blank {
                let found = Some(Found::Described("an empty cell".to_owned()));
                let help = format!("write {example}");
                self.fault(column, CellFault::Missing, "needed value is missing", found, help);
            }
        }
        self.faults.sort_by_key(|(place, _)| *place);
        self.faults.into_iter().map(|(_, fault)| fault).collect()
    }

    /// The problem of a row that lacks most of what a visit needs.
    fn hardly_a_visit(&self, blank: &[(Column, String)]) -> Problem {
        let headers: Vec<&str> = blank.iter().map(|(column, _)| self.columns.header(*column)).collect();
        Problem {
            what: "row lacks most of what a visit needs".to_owned(),
            place: Place { file: self.file.to_owned(), line: Some(self.row.line), ..Place::default() },
            found: Some(Found::Described(format!("empty cells under {}", nearest::listed(&headers)))),
            help: "fill them in, or take the line out if it is no patient's".to_owned(),
        }
    }

    /// A cell without the spaces around it; empty where the list has no such column. Spreadsheets keep
    /// the zeros of a number by writing `="0123"`, which means the text in it, and keep a formula from
    /// running by an apostrophe before it, which is none of the text.
    pub(super) fn cell(&self, column: Column) -> &'a str {
        let place = self.columns.place(column);
        let cell = place
            .and_then(|place| self.row.cells.get(place))
            .map_or("", |cell| without_apostrophe(cell.trim()));
        let kept = cell.strip_prefix("=\"").and_then(|rest| rest.strip_suffix('"'));
        kept.filter(|text| !text.contains('"')).map_or(cell, str::trim)
    }

    /// Whether a column has a cell with which nothing is wrong so far.
    pub(super) fn is_right(&self, column: Column) -> bool {
        let place = self.columns.place(column);
        !self.cell(column).is_empty() && self.faults.iter().all(|(order, _)| Some(*order) != place)
    }

    /// Puts one problem in the place of those of two columns whose cells are exchanged.
    pub(super) fn exchanged(&mut self, one: Column, other: Column) {
        let places = [one, other].map(|column| self.columns.place(column));
        self.faults.retain(|(order, _)| !places.contains(&Some(*order)));
        let header = self.columns.header(other);
        let found = format!("what belongs under `{header}`, and there what belongs here");
        let help = "exchange the two cells; if it is so in every row, exchange the two headers, or the two columns under `[day_list]` in the unit's file";
        let fault = CellFault::Exchanged(self.on_paper(other));
        self.fault(one, fault, "cells of two columns are exchanged", Some(Found::Described(found)), help);
    }

    /// Adds a problem of a cell.
    pub(super) fn fault(
        &mut self,
        column: Column,
        fault: CellFault,
        what: impl Into<String>,
        found: Option<Found>,
        help: impl Into<String>,
    ) {
        let place = Place {
            file: self.file.to_owned(),
            line: Some(self.row.line),
            column: Some(self.columns.header(column).to_owned()),
            ..Place::default()
        };
        let order = self.columns.place(column).unwrap_or(usize::MAX);
        let kind = RowFaultKind::Cell(self.on_paper(column), fault);
        let problem = Problem { what: what.into(), place, found, help: help.into() };
        self.faults.push((order, RowFault { kind, problem }));
    }

    /// A column's name as it is printed: a heading that no font has gives way to the program's own name.
    fn on_paper(&self, column: Column) -> String {
        one_line(self.columns.header(column), limits::NAME_CHARACTERS, self.at_hand.prints)
            .unwrap_or_else(|_| column.name().to_owned())
    }

    /// Reports a value; a private one is described by its length.
    pub(super) fn wrong(
        &mut self,
        column: Column,
        fault: CellFault,
        what: impl Into<String>,
        help: impl Into<String>,
    ) {
        let cell = self.cell(column);
        let found = if column.is_private() {
            Found::Described(format!("{} characters", cell.chars().count()))
        } else {
            Found::Value(cell.to_owned())
        };
        self.fault(column, fault, what, Some(found), help);
    }

    /// A cell that must not be empty. Where the list has no such column, that is the header's fault.
    pub(super) fn needed(&mut self, column: Column, example: &str) -> Option<&'a str> {
        let cell = self.cell(column);
        if cell.is_empty() && self.columns.place(column).is_some() {
            self.blank.push((column, example.to_owned()));
        }
        self.optional(column)
    }

    /// A cell that may be empty.
    fn optional(&self, column: Column) -> Option<&'a str> {
        Some(self.cell(column)).filter(|cell| !cell.is_empty())
    }

    /// A needed text that can be printed.
    pub(super) fn text(&mut self, column: Column, what: &str, example: &str) -> String {
        let Some(cell) = self.needed(column, example) else { return String::new() };
        let most = match column {
            Column::HospitalNo => limits::NUMBER_CHARACTERS,
            _ => limits::NAME_CHARACTERS,
        };
        one_line(cell, most, self.at_hand.prints).unwrap_or_else(|refusal| {
            let found = Some(Found::Described(refusal.found()));
            self.fault(column, refusal.kind(), refusal.what(what), found, refusal.help());
            String::new()
        })
    }

    /// A text for staff, which may have been typed on several lines.
    pub(super) fn alert(&mut self) -> Option<String> {
        let cell = self.optional(Column::Alert)?;
        match joined_lines(cell, limits::ALERT_CHARACTERS, self.at_hand.prints) {
            Ok(text) => Some(text),
            Err(refusal) => {
                let found = Some(Found::Described(refusal.found()));
                self.fault(Column::Alert, refusal.kind(), refusal.what("alert"), found, refusal.help());
                None
            }
        }
    }

    /// A needed time of the day.
    pub(super) fn arrive(&mut self) -> Moment {
        match self.needed(Column::Arrive, "the time, for example 08:30") {
            Some(_) => self.moment(Column::Arrive, LAST_MINUTE).unwrap_or_default(),
            None => Moment::default(),
        }
    }

    /// A time that may be left out, up to `last`.
    pub(super) fn moment(&mut self, column: Column, last: Moment) -> Option<Moment> {
        let cell = self.optional(column)?;
        let read = self.form.times.read(cell, last).or_else(|| self.time_of_the_day(cell, last));
        if read.is_none() {
            self.not_a_time(column, cell, last);
        }
        read
    }

    /// A time behind the row's own date, as booking systems write it.
    fn time_of_the_day(&self, cell: &str, last: Moment) -> Option<Moment> {
        let (day, time) = self.form.dated_time(cell, last)?;
        (self.form.dates.read(self.cell(Column::Date)) == Some(day)).then_some(time)
    }

    /// Reports a time of another form, with the form that the unit could state.
    fn not_a_time(&mut self, column: Column, cell: &str, last: Moment) {
        let example = self.form.times.example();
        let mut help =
            format!("write hours and minutes of the 24-hour clock up to {last}, for example {example}");
        let mut hint = None;
        if let Some((form, time)) = TimeForm::of(cell, last) {
            hint = Some(nearest::did_you_mean(&time.to_string()));
            help += &format!(
                "; or state the form under `[day_list]` in the unit's file: `times = \"{}\"`",
                form.written()
            );
        } else if let Some((clock, false)) = half_day(cell).filter(|(clock, _)| clock.starts_with("12")) {
            hint = Some(format!("it could be 00{} or {clock}.", &clock[2..]));
        }
        let value = cell.to_owned();
        let found = match hint {
            Some(hint) => Found::Like { value, hint },
            None => Found::Value(value),
        };
        self.fault(column, CellFault::NotATime, "value is not a time of day", Some(found), help);
    }

    /// A date of the list's form, or a problem that shows the two meanings of an ambiguous one.
    pub(super) fn date(&mut self, column: Column, example: NaiveDate) -> Option<NaiveDate> {
        let cell = self.optional(column)?;
        let read = self.form.dates.read(cell);
        if read.is_none() {
            self.not_a_date(column, cell, example, "");
        }
        read
    }

    /// Reports a date of another form. One form in several columns has one cause and one remedy, so
    /// nothing of the message but what was found depends on the column.
    fn not_a_date(&mut self, column: Column, cell: &str, example: NaiveDate, or_time: &str) {
        let likeness = likeness(cell);
        let help = if likeness.has_another_order {
            let example = self.form.dates.example(day_for_examples());
            format!(
                "write it as {example}, or state the form under `[day_list]` in the unit's file, for example `dates = \"DD/MM/YYYY\"`"
            )
        } else {
            format!("write it as {}{or_time}", self.form.dates.example(example))
        };
        let found = match both_readings(cell) {
            _ if column.is_private() => Found::Described(likeness.description.to_owned()),
            Some((one, other)) => {
                let hint = format!("it could be {one} or {other}.");
                Found::Like { value: cell.to_owned(), hint }
            }
            None => Found::Value(cell.to_owned()),
        };
        let what = format!("value is not a date written {}", self.form.dates.written());
        self.fault(column, CellFault::NotADate, what, Some(found), help);
    }

    /// A needed date of birth: not after the day, and not longer before it than anybody lives.
    /// Without the day, which the list may have wrong, neither can be told.
    pub(super) fn born(&mut self, day: Option<NaiveDate>) -> NaiveDate {
        let example = NaiveDate::from_ymd_opt(1961, 3, 14).unwrap_or_default();
        let wanted = format!("the date, for example {}", self.form.dates.example(example));
        if self.needed(Column::Born, &wanted).is_none() {
            return example;
        }
        let Some(born) = self.date(Column::Born, example) else { return example };
        let Some(day) = day else { return born };
        let oldest = chrono::Months::new(12 * limits::AGE_YEARS.unsigned_abs());
        let mut impossible = |what: &str, found: String| {
            let found = Some(Found::Described(found));
            self.fault(Column::Born, CellFault::ImpossibleDate, what, found, "check the year");
        };
        if born > day {
            impossible("patient is not born yet", "a date after the day of the list".to_owned());
        } else if day.checked_sub_months(oldest).is_some_and(|limit| born < limit) {
            let found = format!("a date more than {} years ago", limits::AGE_YEARS);
            impossible("patient is too old to be true", found);
        }
        born
    }

    /// The next visit: a date, or a date and a time, after the day of the list.
    pub(super) fn next_visit(&mut self, day: Option<NaiveDate>) -> Option<NextVisit> {
        let cell = self.optional(Column::NextVisit)?;
        let read = self.form.next_visit(cell);
        let on = match read {
            Some(NextVisit::Day(on)) => on,
            Some(NextVisit::At(at)) => at.date(),
            None => {
                let example = NaiveDate::from_ymd_opt(2031, 4, 4).unwrap_or_default();
                self.not_a_date(Column::NextVisit, cell, example, ", with or without a time such as 09:00");
                return None;
            }
        };
        if day.is_some_and(|day| on <= day) {
            let help = "write a date after the day of the list";
            let what = "next visit is not after this one";
            self.wrong(Column::NextVisit, CellFault::ImpossibleDate, what, help);
        }
        read
    }

    /// The place among `names` of a needed word; `meant` may know the name that another word stands for.
    pub(super) fn one_of<'n>(
        &mut self,
        column: Column,
        what: &str,
        names: &[&'n str],
        meant: impl FnOnce(&str) -> Option<&'n str>,
    ) -> Option<usize> {
        let cell = self.needed(column, &format!("one of {}", nearest::listed(names)))?;
        self.place_of(column, cell, what, names, meant)
    }

    /// The place among `names` of a word that may be left out.
    pub(super) fn optional_one_of(&mut self, column: Column, what: &str, names: &[&str]) -> Option<usize> {
        let cell = self.optional(column)?;
        self.place_of(column, cell, what, names, |_| None)
    }

    /// A word counts whatever its case: no two names of a kind differ in case alone.
    fn place_of<'n>(
        &mut self,
        column: Column,
        cell: &str,
        what: &str,
        names: &[&'n str],
        meant: impl FnOnce(&str) -> Option<&'n str>,
    ) -> Option<usize> {
        let place = names.iter().position(|name| name.to_lowercase() == cell.to_lowercase());
        if place.is_none() {
            let value = cell.to_owned();
            let hint = meant(cell).map(nearest::did_you_mean).or_else(|| nearest::hint(cell, names));
            let found = match hint {
                Some(hint) => Found::Like { value, hint },
                None => Found::Value(value),
            };
            self.fault(column, CellFault::UnknownWord, what, Some(found), nearest::accepted(names));
        }
        place
    }

    /// Whether a cell is one of these words.
    pub(super) fn is_word(&self, cell: &str, words: &[&str]) -> bool {
        words.contains(&self.form.word(cell).as_str())
    }

    /// A needed yes or no.
    pub(super) fn truth(&mut self, column: Column) -> bool {
        let wanted = format!("one of {}", nearest::listed(&YES_OR_NO));
        self.needed(column, &wanted).is_some() && self.optional_truth(column)
    }

    /// A yes, or a no that may be left out.
    pub(super) fn optional_truth(&mut self, column: Column) -> bool {
        self.optional_word(column, "value is neither yes nor no", &YES_OR_NO) == Some(0)
    }

    /// The place among the program's `words` of one that may be left out, or of the unit's word for it.
    pub(super) fn optional_word(&mut self, column: Column, what: &str, words: &[&str]) -> Option<usize> {
        let cell = self.optional(column)?;
        let word = self.form.word(cell);
        let place = words.iter().position(|known| *known == word);
        if place.is_none() {
            let value = cell.to_owned();
            let found = match nearest::hint(cell, words) {
                Some(hint) => Found::Like { value, hint },
                None => Found::Value(value),
            };
            let help = format!(
                "{}; for the booking system's own words see `words` under `[day_list]`",
                nearest::accepted(words)
            );
            self.fault(column, CellFault::UnknownWord, what, Some(found), help);
        }
        place
    }

    /// A needed whole number from 1.
    pub(super) fn cycle(&mut self) -> u32 {
        let Some(cell) = self.needed(Column::Cycle, "a whole number, 1 for a first visit") else { return 1 };
        let digits = cell.len() <= 3 && cell.bytes().all(|byte| byte.is_ascii_digit());
        let cycle =
            digits.then(|| cell.parse().ok()).flatten().filter(|cycle| (1..=limits::CYCLE).contains(cycle));
        cycle.unwrap_or_else(|| {
            let what = format!("cycle is not a whole number from 1 to {}", limits::CYCLE);
            let value = cell.to_owned();
            let found = match numbered(cell) {
                Some(number) => Found::Like { value, hint: nearest::did_you_mean(number) },
                None => Found::Value(value),
            };
            self.fault(
                Column::Cycle,
                CellFault::NotACycle,
                what,
                Some(found),
                "write digits only, for example 1 for a first visit",
            );
            1
        })
    }

    /// The ten digits of an NHS number, if there is one.
    pub(super) fn nhs_no(&mut self) -> Option<String> {
        use nhs_number::Refusal;
        let cell = self.optional(Column::NhsNo)?;
        let refusal = match nhs_number::digits(cell) {
            Ok(digits) => return Some(digits),
            Err(refusal) => refusal,
        };
        let (what, found, help) = match refusal {
            Refusal::NotDigits => (
                "is not made of digits",
                "other characters".to_owned(),
                "write ten digits, with or without spaces",
            ),
            Refusal::Digits(count) => (
                "does not have ten digits",
                format!("{count} digits"),
                "write ten digits; a spreadsheet may have lost a leading zero",
            ),
            Refusal::CheckDigit => (
                "does not pass its check digit",
                "ten digits".to_owned(),
                "compare it with the patient's papers, or leave the cell empty",
            ),
            Refusal::Zeros => {
                ("is ten zeros", "ten zeros".to_owned(), "leave the cell empty if the number is not known")
            }
        };
        let (fault, what) = (CellFault::NotAnNhsNumber, format!("NHS number {what}"));
        self.fault(Column::NhsNo, fault, what, Some(Found::Described(found)), help);
        None
    }
}

/// The number of a cycle that is written as `C3`, `C3D1` or `Cycle 3`.
fn numbered(cell: &str) -> Option<&str> {
    let digits = cell.trim_start_matches(|character: char| character.is_alphabetic() || character == ' ');
    let end = digits.find(|character: char| !character.is_ascii_digit()).unwrap_or(digits.len());
    let number = &digits[..end];
    let is_cycle = |number: u32| (1..=limits::CYCLE).contains(&number);
    (digits.len() < cell.len() && number.parse().is_ok_and(is_cycle)).then_some(number)
}

/// A day with which examples are written where no other is nearer.
fn day_for_examples() -> NaiveDate {
    NaiveDate::from_ymd_opt(2031, 3, 14).unwrap_or_default()
}
