//! The rows of a day list: which are of the day, which are right, and which stand twice.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::columns::{Column, Columns};
use super::held::{CellFault, HeldBack, RowFault, RowFaultKind};
use super::regimens::KnownRegimen;
use super::row::RowCheck;
use super::text::one_line;
use super::unit::ListForm;
use super::visit::visit;
use super::{AtHand, limits};
use crate::clock::Moment;
use crate::patient::Visit;
use crate::problem::{Found, Place, Problem};
use crate::read::limits::CELL_CHARACTERS;
use crate::read::{Delimiter, NO_CELL, RawRow};
use crate::unit_rules::{Bay, CapStock};

/// What the rows are checked against. A part that is itself faulty is `None`: its names cannot be
/// checked in this run.
pub(super) struct Against<'a> {
    pub(super) file: &'a str,
    pub(super) columns: &'a Columns,
    pub(super) delimiter: Delimiter,
    pub(super) form: &'a ListForm,
    pub(super) day_is_named: bool,
    pub(super) bays: Option<&'a [Bay]>,
    pub(super) caps: Option<&'a [CapStock]>,
    pub(super) regimens: Option<&'a [KnownRegimen]>,
    pub(super) closes: Option<Moment>,
    pub(super) at_hand: &'a AtHand<'a>,
}

/// What the rows of the day came to.
pub(super) struct CheckedRows {
    /// The day, if it is known.
    pub(super) day: Option<NaiveDate>,
    /// The rows without a fault.
    pub(super) visits: Vec<Visit>,
    /// The rows with faults.
    pub(super) held_back: Vec<HeldBack>,
    /// How many rows are of other days.
    pub(super) other_days: usize,
    /// The lines on which the header stands once more.
    pub(super) repeated_headers: Vec<u32>,
    /// What is wrong with the list as a whole.
    pub(super) problems: Vec<Problem>,
}

/// A row of the day under check.
struct DayRow<'a> {
    row: &'a RawRow,
    /// Absent where its cells cannot be told apart.
    visit: Option<Visit>,
    faults: Vec<RowFault>,
}

/// Rows that a list must have before their ends say how its program writes them.
const ROWS_TO_TELL: usize = 3;

/// Checks every row of the day. `named` is the day that the command line names. `both_of_a_pair` says
/// that of two rows with one number the earlier has a problem too: which of them is right is not known.
pub(super) fn check_rows(
    rows: &[RawRow],
    named: Option<NaiveDate>,
    both_of_a_pair: bool,
    against: &Against<'_>,
) -> CheckedRows {
    let (headers, rows): (Vec<&RawRow>, Vec<&RawRow>) =
        rows.iter().partition(|row| against.columns.is_header(&row.cells));
    let dates: Vec<Option<NaiveDate>> = rows.iter().map(|row| date_of(row, against)).collect();
    let days: BTreeSet<NaiveDate> = dates.iter().flatten().copied().collect();
    let day = named.or_else(|| days.first().copied());
    let mut checked = CheckedRows {
        day,
        visits: Vec::new(),
        held_back: Vec::new(),
        other_days: dates.iter().filter(|date| date.is_some() && **date != day).count(),
        repeated_headers: headers.iter().map(|row| row.line).collect(),
        problems: Vec::new(),
    };
    if named.is_none() && days.len() > 1 {
        checked.problems.push(several_days(&rows, &dates, against));
        return checked;
    }
    let of_day = rows.iter().zip(&dates).filter(|(_, date)| date.is_none() || **date == day);
    let of_day: Vec<&RawRow> = of_day.map(|(row, _)| *row).collect();
    if let Some(problem) = too_few_or_many(of_day.len(), checked.other_days, named, against) {
        checked.problems.push(problem);
        return checked;
    }
    let spare = spare_cells(&rows, against);
    let mut day_rows: Vec<DayRow> = of_day.into_iter().map(|row| day_row(row, day, spare, against)).collect();
    numbers_twice(&mut day_rows, both_of_a_pair, against);
    for DayRow { row, visit, faults } in day_rows {
        match visit {
            Some(visit) if faults.is_empty() => checked.visits.push(visit),
            visit => checked.held_back.push(held_back(row, visit.is_some(), faults, against)),
        }
    }
    checked
}

/// The date of a row, if it has one.
fn date_of(row: &RawRow, against: &Against<'_>) -> Option<NaiveDate> {
    against.form.dates.read(RowCheck::new(row, against).cell(Column::Date))
}

/// Checks one row of the day.
fn day_row<'a>(row: &'a RawRow, day: Option<NaiveDate>, spare: usize, against: &Against<'_>) -> DayRow<'a> {
    match unreadable(row, spare, against) {
        Some(problem) => {
            DayRow { row, visit: None, faults: vec![RowFault { kind: RowFaultKind::Cells, problem }] }
        }
        None => {
            let (visit, faults) = visit(row, day, against);
            DayRow { row, visit: Some(visit), faults }
        }
    }
}

/// Cells beyond the last named one that the header has too, or every row: programs that end each row with a delimiter
/// write them. In a few rows alone it may be a missing quotation mark that has moved all cells to the right, however
/// empty the last one is.
fn spare_cells(rows: &[&RawRow], against: &Against<'_>) -> usize {
    let of_header = against.columns.spare();
    if rows.len() < ROWS_TO_TELL {
        return of_header;
    }
    let fewest = rows.iter().map(|row| cells_of(row)).min().unwrap_or(0);
    fewest.saturating_sub(against.columns.width()).max(of_header)
}

/// Cells of a row as the file has them.
fn cells_of(row: &RawRow) -> usize {
    row.cells.iter().position(|cell| cell == NO_CELL).unwrap_or(row.cells.len())
}

/// A row whose cells cannot be told apart: it has fewer than the header, or more, or something beyond it, or a cell
/// that swallowed its neighbours.
fn unreadable(row: &RawRow, spare: usize, against: &Against<'_>) -> Option<Problem> {
    let width = against.columns.width();
    let cells = cells_of(row);
    let beyond = cells > width + spare || row.cells.iter().skip(width).any(|cell| !cell.trim().is_empty());
    let longest = row.cells.iter().map(|cell| cell.chars().count()).max().unwrap_or(0);
    let (what, found, help) = if let Some(found) = other_delimiter(row, against) {
        let help = "export the list again; header and rows must have the same character between the cells";
        ("row is parted by another character than the header", found, help.to_owned())
    } else if cells < width {
        let help = format!(
            "write {width} cells as the header has, an empty one with its delimiter too; take the line out if it is no patient's"
        );
        ("row has too few cells", format!("{cells} cells"), help)
    } else if beyond {
        let help = format!(
            "write {width} cells as the header has; put a cell with a delimiter in it into `\"`, and give a column without a header one"
        );
        ("row has too many cells", format!("{cells} cells"), help)
    } else if longest > CELL_CHARACTERS {
        let help = format!(
            "write at most {CELL_CHARACTERS} characters; perhaps a quotation mark is missing or too many"
        );
        ("cell is too long", format!("{longest} characters"), help)
    } else {
        return None;
    };
    let place = Place { file: against.file.to_owned(), line: Some(row.line), ..Place::default() };
    Some(Problem { what: what.to_owned(), place, found: Some(Found::Described(found)), help })
}

/// Which character parts a row that is one cell, where it is not the header's.
fn other_delimiter(row: &RawRow, against: &Against<'_>) -> Option<String> {
    let [only] = row.cells.as_slice() else { return None };
    let parts = |one: &Delimiter| only.matches(one.character()).count() + 1 >= against.columns.width();
    let other = Delimiter::ALL.into_iter().filter(|one| *one != against.delimiter).find(parts)?;
    let is_row = against.columns.width() > 1;
    is_row.then(|| format!("{}, but {} in the header", other.word(), against.delimiter.word()))
}

/// The one problem of a list that names sizes of caps for a unit whose file has none.
pub(super) fn caps_without_stock(rows: &[RawRow], against: &Against<'_>) -> Option<Problem> {
    let cap_of = |row| RowCheck::new(row, against).cell(Column::Cap);
    let first = rows.iter().find(|row| !cap_of(row).is_empty() && !against.columns.is_header(&row.cells))?;
    let header = against.columns.header(Column::Cap).to_owned();
    Some(Problem {
        what: "list names a size of cap, but the unit's file has no caps".to_owned(),
        place: Place {
            file: against.file.to_owned(),
            line: Some(first.line),
            column: Some(header),
            ..Place::default()
        },
        found: Some(Found::Value(cap_of(first).to_owned())),
        help: "write how many of each size there are under `[caps]` in the unit's file".to_owned(),
    })
}

/// Adds a problem to rows that share a hospital number or an NHS number: to the later of two, or to
/// both.
fn numbers_twice(rows: &mut [DayRow], both_of_a_pair: bool, against: &Against<'_>) {
    let hospital_no =
        |visit: &Visit| Some(visit.hospital_no.to_lowercase()).filter(|number| !number.is_empty());
    let nhs_no = |visit: &Visit| visit.nhs_no.clone();
    let mut told = BTreeSet::new();
    let mut tell = |column, number: &dyn Fn(&Visit) -> Option<String>| {
        twice(rows, column, number, both_of_a_pair, &mut told, against);
    };
    tell((Column::HospitalNo, "hospital number"), &hospital_no);
    tell((Column::NhsNo, "NHS number"), &nhs_no);
}

fn twice(
    rows: &mut [DayRow],
    (column, what): (Column, &str),
    number: &dyn Fn(&Visit) -> Option<String>,
    both_of_a_pair: bool,
    told: &mut BTreeSet<(usize, usize)>,
    against: &Against<'_>,
) {
    let mut places: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for (place, row) in rows.iter().enumerate() {
        if let Some(number) = row.visit.as_ref().and_then(&number) {
            places.entry(number).or_default().push(place);
        }
    }
    for same in places.values().filter(|same| same.len() > 1) {
        for place in same.iter().skip(usize::from(!both_of_a_pair)) {
            let other = if place == &same[0] { same[1] } else { same[0] };
            // One row that is there twice has both numbers twice: that is one cause.
            if !told.insert((*place, other)) {
                continue;
            }
            let line = rows[other].row.line;
            let mut check = RowCheck::new(rows[*place].row, against);
            let found = Some(Found::Described(format!("the {what} of line {line}")));
            let help = help_for_twice(rows[*place].row, rows[other].row, against);
            let what = format!("{what} stands twice on this day");
            check.fault(column, CellFault::Twice(line), what, found, help);
            let mut faults = check.finish();
            faults.append(&mut rows[*place].faults);
            faults.sort_by_key(|fault| against.columns.order(fault.problem.place.column.as_deref()));
            rows[*place].faults = faults;
        }
    }
}

/// What to do about two rows with one number: it depends on whether they are one patient's.
fn help_for_twice(one: &RawRow, other: &RawRow, against: &Against<'_>) -> &'static str {
    let (first, second) = (RowCheck::new(one, against), RowCheck::new(other, against));
    let same = |columns: &[Column]| {
        columns.iter().all(|column| first.cell(*column).to_lowercase() == second.cell(*column).to_lowercase())
    };
    if same(&Column::ALL) {
        "the two rows are the same: take one of them out"
    } else if same(&[Column::FamilyName, Column::GivenName, Column::Born]) {
        "the two rows are one patient's, and a patient has one visit a day: keep the row that is right, and take the other out"
    } else {
        "the two rows are different people: write the right number, as the patients' papers have it"
    }
}

/// A row that is not planned, with what the front sheet can say of it. Of a row whose cells cannot be
/// told apart, the name alone is told: it leads to the patient, and a wrong one misleads nobody.
fn held_back(row: &RawRow, is_readable: bool, faults: Vec<RowFault>, against: &Against<'_>) -> HeldBack {
    let check = RowCheck::new(row, against);
    let printable = |column: Column| {
        let cell = Some(check.cell(column)).filter(|cell| !cell.is_empty())?;
        one_line(cell, limits::NAME_CHARACTERS, against.at_hand.prints).ok()
    };
    let joined = |one: Option<String>, other: Option<String>, between: &str| match (one, other) {
        (Some(one), Some(other)) => Some(format!("{one}{between}{other}")),
        (one, other) => one.or(other),
    };
    let family_name = printable(Column::FamilyName).map(|name| name.to_uppercase());
    let (bay, chair) = (printable(Column::Bay), printable(Column::Chair));
    HeldBack {
        line: row.line,
        name: joined(family_name, printable(Column::GivenName), ", "),
        place: joined(bay, chair, " ").filter(|_| is_readable),
        arrive: printable(Column::Arrive).filter(|_| is_readable),
        faults,
    }
}

fn list_fault(
    against: &Against<'_>,
    column: Option<Column>,
    what: String,
    found: String,
    help: String,
) -> Problem {
    let column = column.map(|column| against.columns.header(column).to_owned());
    let place = Place { file: against.file.to_owned(), line: None, column, ..Place::default() };
    Problem { what, place, found: Some(Found::Described(found)), help }
}

/// The problem of a list of several days, with the rows of each: a day of one row among many may be a
/// slip of the pen.
fn several_days(rows: &[&RawRow], dates: &[Option<NaiveDate>], against: &Against<'_>) -> Problem {
    let mut days: BTreeMap<NaiveDate, usize> = BTreeMap::new();
    for day in dates.iter().flatten() {
        *days.entry(*day).or_default() += 1;
    }
    let named: Vec<String> = days
        .iter()
        .take(limits::NAMES_IN_A_MESSAGE)
        .map(|(day, rows)| format!("{day} ({rows} {})", if *rows == 1 { "row" } else { "rows" }))
        .collect();
    // The day of most rows, the earliest of equals.
    let example = days.iter().rev().max_by_key(|(_, rows)| **rows).map(|(day, _)| *day).unwrap_or_default();
    let found = match days.len() - named.len() {
        0 => named.join(", "),
        more => format!("{} and {more} more", named.join(", ")),
    };
    let help = match column_of_one_day(rows, dates, against) {
        Some(other) => format!(
            "the column `{}` has one day in all rows: perhaps the two columns are exchanged; otherwise name the day to print with `--date`",
            against.columns.header(other)
        ),
        None => {
            format!("name the day to print, for example `--date {example}`, or mend the dates that are wrong")
        }
    };
    list_fault(against, Some(Column::Date), "list has several days".to_owned(), found, help)
}

/// Another column of dates that names one day in every row, as the column of the day should, and a day on which
/// the rows' own days say that it cannot be: nobody is born after the visit, and no next visit is before it.
fn column_of_one_day(rows: &[&RawRow], dates: &[Option<NaiveDate>], against: &Against<'_>) -> Option<Column> {
    let day = |row: &RawRow, column| against.form.dates.read(RowCheck::new(row, against).cell(column));
    [Column::Born, Column::NextVisit].into_iter().find(|column| {
        let Some(first) = rows.first().and_then(|row| day(row, *column)) else { return false };
        let is_out_of_order =
            |own: &NaiveDate| if *column == Column::Born { first > *own } else { first < *own };
        rows.iter().all(|row| day(row, *column) == Some(first)) && dates.iter().flatten().all(is_out_of_order)
    })
}

/// A list without a row of the day, or with more rows than a day has.
fn too_few_or_many(
    rows: usize,
    other_days: usize,
    named: Option<NaiveDate>,
    against: &Against<'_>,
) -> Option<Problem> {
    if rows > limits::VISITS {
        let help = format!("print at most {} visits of a day at once", limits::VISITS);
        return Some(list_fault(
            against,
            None,
            "day has too many visits".to_owned(),
            format!("{rows} rows"),
            help,
        ));
    }
    if rows > 0 {
        return None;
    }
    let (what, found, help) = match named.filter(|_| other_days > 0) {
        Some(day) => (
            format!("list has no row for {day}"),
            format!("{other_days} rows of other days"),
            "check the date, or export the list of that day",
        ),
        None => (
            "list has a header and no rows".to_owned(),
            "no rows".to_owned(),
            "export the list again and check that it holds the day's visits",
        ),
    };
    Some(list_fault(against, None, what, found, help.to_owned()))
}
