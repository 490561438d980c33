//! The columns of a day list, and where the list at hand has them.

use std::collections::BTreeMap;

use unicode_normalization::UnicodeNormalization;

use super::nearest::{listed, nearest};
use super::notes::{UnreadColumn, UnreadColumns};
use super::text::one_line;
use super::unit::ListForm;
use super::{AtHand, limits};
use crate::problem::{Found, Place, Problem};
use crate::read::{RawList, RawRow};

/// How many lines of titles may stand above a header for a message to point at it.
const HEADER_WITHIN: usize = 20;

/// How many known names make a line look like a header.
const HEADERS_TO_TELL: usize = 5;

/// What a message says for a header that is broken over lines.
const SEVERAL_LINES: &str = "(a header of several lines)";

/// A column that the program reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Column {
    Date,
    Arrive,
    Bay,
    Chair,
    HospitalNo,
    NhsNo,
    FamilyName,
    GivenName,
    Born,
    Regimen,
    Cycle,
    Cooled,
    Hair,
    Cap,
    OwnCap,
    DrugsReady,
    LeaveBy,
    Language,
    LargePrint,
    Alert,
    NextVisit,
    GoAhead,
    Isolate,
}

impl Column {
    /// All of them, in the order of the documentation.
    pub(super) const ALL: [Self; 23] = [
        Self::Date,
        Self::Arrive,
        Self::Bay,
        Self::Chair,
        Self::HospitalNo,
        Self::NhsNo,
        Self::FamilyName,
        Self::GivenName,
        Self::Born,
        Self::Regimen,
        Self::Cycle,
        Self::Cooled,
        Self::Hair,
        Self::Cap,
        Self::OwnCap,
        Self::DrugsReady,
        Self::LeaveBy,
        Self::Language,
        Self::LargePrint,
        Self::Alert,
        Self::NextVisit,
        Self::GoAhead,
        Self::Isolate,
    ];

    /// Its own name, which heads it unless the unit maps another.
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Date => "date",
            Self::Arrive => "arrive",
            Self::Bay => "bay",
            Self::Chair => "chair",
            Self::HospitalNo => "hospital_no",
            Self::NhsNo => "nhs_no",
            Self::FamilyName => "family_name",
            Self::GivenName => "given_name",
            Self::Born => "born",
            Self::Regimen => "regimen",
            Self::Cycle => "cycle",
            Self::Cooled => "cooled",
            Self::Hair => "hair",
            Self::Cap => "cap",
            Self::OwnCap => "own_cap",
            Self::DrugsReady => "drugs_ready",
            Self::LeaveBy => "leave_by",
            Self::Language => "language",
            Self::LargePrint => "large_print",
            Self::Alert => "alert",
            Self::NextVisit => "next_visit",
            Self::GoAhead => "go_ahead",
            Self::Isolate => "isolate",
        }
    }

    /// The column of a name.
    pub(super) fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|column| column.name() == name)
    }

    /// Whether every row needs a value; `date` is needed unless the command line names the day.
    pub(super) const fn is_needed(self, day_is_named: bool) -> bool {
        match self {
            Self::Date => !day_is_named,
            Self::Arrive
            | Self::Bay
            | Self::Chair
            | Self::HospitalNo
            | Self::FamilyName
            | Self::GivenName
            | Self::Born
            | Self::Regimen
            | Self::Cycle
            | Self::Cooled => true,
            _ => false,
        }
    }

    /// Whether a message describes the value instead of repeating it.
    pub(super) const fn is_private(self) -> bool {
        matches!(
            self,
            Self::HospitalNo | Self::NhsNo | Self::FamilyName | Self::GivenName | Self::Born | Self::Alert
        )
    }
}

/// Where a list has its columns.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Columns {
    places: BTreeMap<Column, usize>,
    headers: Vec<String>,
    spare: usize,
}

impl Columns {
    /// Cells without a name at the header's end, which its rows have too.
    pub(super) const fn spare(&self) -> usize {
        self.spare
    }

    /// How many cells a row has.
    pub(super) const fn width(&self) -> usize {
        self.headers.len()
    }

    /// The place of a column, if the list has it.
    pub(super) fn place(&self, column: Column) -> Option<usize> {
        self.places.get(&column).copied()
    }

    /// The column's name as the list heads it, for messages.
    pub(super) fn header(&self, column: Column) -> &str {
        self.place(column).map_or(column.name(), |place| &self.headers[place])
    }

    /// The order of a problem among those of its row: by its column's place, the whole row first.
    pub(super) fn order(&self, header: Option<&str>) -> Option<usize> {
        header.and_then(|header| self.headers.iter().position(|name| name == header))
    }

    /// Whether a row is the header once more, in every column that is read.
    pub(super) fn is_header(&self, cells: &[String]) -> bool {
        let stands = |place: &usize| {
            cells.get(*place).is_some_and(|cell| folded(cell) == folded(&self.headers[*place]))
        };
        !self.places.is_empty() && self.places.values().all(stands)
    }
}

/// A header as it is compared.
fn folded(header: &str) -> String {
    header.trim().nfc().flat_map(char::to_lowercase).collect()
}

/// What a header came to.
pub(super) struct Header {
    /// Where the columns are; rows can be checked against those that are there.
    pub(super) columns: Columns,
    /// The columns that are not read.
    pub(super) unread: UnreadColumns,
    /// What is wrong with the header.
    pub(super) problems: Vec<Problem>,
}

impl Header {
    /// Whether the line is a header at all, so that the rows below it can be told apart.
    pub(super) fn is_one(&self) -> bool {
        !self.columns.places.is_empty()
    }
}

/// A header under check.
struct HeaderCheck<'a> {
    file: &'a str,
    line: u32,
    form: &'a ListForm,
    headers: Vec<String>,
    unknown: Vec<usize>,
}

/// Finds the columns in a list's header.
pub(super) fn header(
    file: &str,
    list: &RawList,
    form: &ListForm,
    day_is_named: bool,
    at_hand: &AtHand<'_>,
) -> Header {
    let named = list.header.cells.iter().take(list.width());
    let headers: Vec<String> = named.map(|cell| cell.trim().to_owned()).collect();
    let mut check = HeaderCheck { file, line: list.header.line, form, headers, unknown: Vec::new() };
    let mut problems = Vec::new();
    let mut places = BTreeMap::new();
    for (place, name) in check.headers.iter().enumerate() {
        match check.column_of(name) {
            Some(column) if places.contains_key(&column) => problems.push(check.twice(name)),
            Some(column) => drop(places.insert(column, place)),
            None => check.unknown.push(place),
        }
    }
    if check.is_a_row(&places) {
        places.clear();
    }
    if places.is_empty() {
        problems.clear();
        problems.push(check.other_delimiter(list).unwrap_or_else(|| check.no_header(&list.rows)));
    } else {
        let absent =
            |column: &Column| !places.contains_key(column) && check.must_be_there(*column, day_is_named);
        problems.extend(Column::ALL.into_iter().filter(absent).map(|column| check.missing(column)));
    }
    let unread = check.unread(&places, &list.rows, at_hand);
    let spare = list.header.cells.len().saturating_sub(list.width());
    Header { columns: Columns { places, headers: check.headers, spare }, unread, problems }
}

impl HeaderCheck<'_> {
    /// The header under which a column is looked for.
    fn wanted(&self, column: Column) -> &str {
        self.form.headers.get(&column).map_or(column.name(), String::as_str)
    }

    fn column_of(&self, header: &str) -> Option<Column> {
        Column::ALL.into_iter().find(|column| folded(self.wanted(*column)) == folded(header))
    }

    /// Whether a first line with a word or two that also head a column is a patient's row: it holds numbers, as rows
    /// do and headers hardly ever, and too few names of columns to be one all the same.
    fn is_a_row(&self, places: &BTreeMap<Column, usize>) -> bool {
        let holds_a_number = |cell: &String| cell.contains(char::is_numeric);
        places.len() < HEADERS_TO_TELL && self.headers.iter().any(holds_a_number)
    }

    /// A column that the unit's file maps is meant to be there, needed or not.
    fn must_be_there(&self, column: Column, day_is_named: bool) -> bool {
        column.is_needed(day_is_named) || self.form.headers.contains_key(&column)
    }

    /// The headers that are not read and have a name.
    fn unknown_names(&self) -> Vec<&str> {
        let names = self.unknown.iter().map(|place| told(&self.headers[*place]));
        names.filter(|name| !name.is_empty()).collect()
    }

    fn problem(&self, header: Option<&str>, what: String, found: Option<Found>, help: String) -> Problem {
        let place = Place {
            file: self.file.to_owned(),
            line: Some(self.line),
            column: header.map(str::to_owned),
            ..Place::default()
        };
        Problem { what, place, found, help }
    }

    fn twice(&self, header: &str) -> Problem {
        let help = "take one of them out, or give it another header".to_owned();
        self.problem(Some(header), "two columns have the same header".to_owned(), None, help)
    }

    /// The problem of a first line that is no header. It may hold a patient, so none of it is repeated.
    fn no_header(&self, rows: &[RawRow]) -> Problem {
        let known = |row: &RawRow| row.cells.iter().filter(|cell| self.column_of(cell).is_some()).count();
        let below = rows.iter().take(HEADER_WITHIN).find(|row| known(row) >= HEADERS_TO_TELL);
        let help = match below {
            Some(row) => format!("the header seems to stand on line {}: delete the lines above it", row.line),
            None => format!(
                "export the list with the columns' names in its first line ({}) and with commas, semicolons or tabs between the cells",
                listed(&Column::ALL.map(|column| self.wanted(column)))
            ),
        };
        let found = match self.headers.len() {
            1 => Some(Found::Described("one cell".to_owned())),
            cells => Some(Found::Described(format!("{cells} cells"))),
        };
        self.problem(None, "first line is not a header: it does not name the columns".to_owned(), found, help)
    }

    /// The problem of a header that is one cell, where another character parts the columns' names.
    fn other_delimiter(&self, list: &RawList) -> Option<Problem> {
        let [only] = self.headers.as_slice() else { return None };
        let known = |name: &str| self.column_of(name.trim_matches(['"', ' '])).is_some();
        let parts = |mark: &char| only.split(*mark).filter(|name| known(name)).count() >= HEADERS_TO_TELL;
        let mark = only
            .chars()
            .filter(|one| !one.is_alphanumeric() && !matches!(one, '_' | ' ' | '"'))
            .find(parts)?;
        let found = Some(Found::Described(format!("`{mark}` between the names of the columns")));
        let (what, help) = if list.delimiter_stated {
            (
                "first line states another delimiter than the cells have",
                "delete the line `sep=` above the header",
            )
        } else {
            (
                "cells are not parted by commas, semicolons or tabs",
                "export the list again with commas, semicolons or tabs between the cells",
            )
        };
        Some(self.problem(None, what.to_owned(), found, help.to_owned()))
    }

    fn missing(&self, column: Column) -> Problem {
        let wanted = self.wanted(column);
        let what = if self.form.headers.contains_key(&column) {
            format!("column is missing, which the unit's file maps to `{}`", column.name())
        } else {
            "needed column is missing".to_owned()
        };
        let unknown = self.unknown_names();
        let help = match nearest(wanted, unknown.iter().copied()) {
            Some(header) => format!(
                "is it the column `{header}`? Head it `{wanted}`, or write `columns = {{ {} = \"{header}\" }}` under `[day_list]` in the unit's file",
                column.name()
            ),
            None => self.help_for_missing(column, &unknown),
        };
        self.problem(Some(wanted), what, Some(Found::Described("no such header".to_owned())), help)
    }

    /// What would do for a column that is missing, where no other header is like it.
    fn help_for_missing(&self, column: Column, unknown: &[&str]) -> String {
        let mut help = "add it to the export".to_owned();
        if column == Column::Date {
            help += ", or name the day on the command line: --date 2031-03-14";
        }
        if !unknown.is_empty() && self.form.headers.contains_key(&column) {
            help += &format!("; columns that are not read are {}", listed(unknown));
        } else if !unknown.is_empty() {
            help += &format!(
                "; or, if one of the columns that are not read is it ({}), write its header under `[day_list]` in the unit's file: `columns = {{ {} = \"...\" }}`",
                listed(unknown),
                column.name()
            );
        }
        help
    }

    /// The columns that are not read, each with the one that it may be meant for.
    fn unread(
        &self,
        places: &BTreeMap<Column, usize>,
        rows: &[RawRow],
        at_hand: &AtHand<'_>,
    ) -> UnreadColumns {
        let absent: Vec<&str> = Column::ALL
            .into_iter()
            .filter(|column| !places.contains_key(column))
            .map(|column| self.wanted(column))
            .collect();
        let mut unread = UnreadColumns::default();
        for place in self.unknown.iter().copied() {
            let name = told(&self.headers[place]);
            let holds_something =
                |row: &RawRow| row.cells.get(place).is_some_and(|cell| !cell.trim().is_empty());
            if !name.is_empty() {
                unread.named.push(UnreadColumn {
                    number: place + 1,
                    name: name.to_owned(),
                    prints: name != SEVERAL_LINES
                        && one_line(name, limits::NAME_CHARACTERS, at_hand.prints).is_ok(),
                    meant: nearest(name, absent.iter().copied()).map(str::to_owned),
                });
            } else if rows.iter().any(holds_something) {
                unread.nameless.push(place + 1);
            }
        }
        unread
    }
}

/// A header as messages name it. One of several lines is not repeated: a quotation mark may have swallowed a patient's
/// row into it.
fn told(header: &str) -> &str {
    if header.contains(['\n', '\r']) { SEVERAL_LINES } else { header }
}
