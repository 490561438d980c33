//! A day list written back with what is to be mended in each row.
//!
//! Every row stands on its own line of the list, its cells in their order, as they were; one column
//! more says what is wrong. Nothing is mended here, and no file is opened. A cell that a spreadsheet
//! would run as a formula is written inert, with an apostrophe before it, which reading takes off again.

use std::collections::BTreeMap;
use std::io;

use crate::characters::on_a_terminal;
use crate::problem::{Found, Problem};
use crate::read::{NO_CELL, RawList, RawRow, inert};

/// The header of the column that says what to mend. No column that is read has this name.
const HEADER: &str = "to_mend";

/// The mark by which spreadsheets know UTF-8.
const BYTE_ORDER_MARK: &str = "\u{feff}";

/// The list with what to mend in each row, as UTF-8 with a mark, cells parted as they were and all of
/// them in quotation marks. Faults of the header or of the whole list stand in the header's own cell.
///
/// `problems` are those of the list, `None` where there are none.
///
/// # Errors
/// If a record cannot be written to memory.
pub fn written_back(list: &RawList, problems: &[&Problem]) -> io::Result<Option<Vec<u8>>> {
    if problems.is_empty() {
        return Ok(None);
    }
    let mut by_line: BTreeMap<u32, Vec<&Problem>> = BTreeMap::new();
    for problem in problems {
        by_line.entry(problem.place.line.unwrap_or(list.header.line)).or_default().push(problem);
    }
    let form = Form::of(list);
    let mut page = Page { bytes: BYTE_ORDER_MARK.into(), line: 1, delimiter: list.delimiter.byte() };
    for row in std::iter::once(&list.header).chain(&list.rows) {
        let faults = by_line.remove(&row.line).unwrap_or_default();
        let told = told(&faults);
        if row.line == list.header.line {
            let told = if told.is_empty() { HEADER.to_owned() } else { format!("{HEADER}: {told}") };
            page.record(row, &form, told)?;
        } else {
            page.record(row, &form, told)?;
        }
    }
    Ok(Some(page.bytes))
}

/// What is wrong with a row, fault by fault.
fn told(problems: &[&Problem]) -> String {
    let one = |problem: &Problem| {
        let column = problem.place.column.as_ref().map(|column| format!("{column}: ")).unwrap_or_default();
        let found = problem.found.as_ref().map(|found| format!(" (found {found})")).unwrap_or_default();
        let hint = match &problem.found {
            Some(Found::Like { hint, .. }) => format!(" {hint}"),
            _ => String::new(),
        };
        format!("{column}{}{found}.{hint} {}.", problem.what, problem.help)
    };
    // On one line, whatever a header holds that a message names: each row keeps its own line.
    let told = match problems {
        [only] => one(only),
        several => {
            let numbered = (1..).zip(several).map(|(number, problem)| format!("({number}) {}", one(problem)));
            numbered.collect::<Vec<_>>().join(" ")
        }
    };
    on_a_terminal(&told)
}

/// Where a list has its cells, and where the new column stands: behind the last one with a header.
struct Form {
    width: usize,
    /// The same column of an earlier round, which the new one replaces.
    old: Option<usize>,
}

impl Form {
    fn of(list: &RawList) -> Self {
        let width = list.width();
        let is_old = |header: &String| {
            header.trim().strip_prefix(HEADER).is_some_and(|rest| rest.is_empty() || rest.starts_with(':'))
        };
        let old = width.checked_sub(1).filter(|last| list.header.cells.get(*last).is_some_and(is_old));
        Self { width, old }
    }

    /// The cells of a row, `told` behind them. A cell that is not there is said, so that the row is no
    /// fuller than it was; cells beyond the header stay beyond it.
    fn cells(&self, row: &RawRow, told: String) -> Vec<String> {
        let own = (0..self.width).filter(|at| Some(*at) != self.old);
        let cell = |at: usize| row.cells.get(at).map_or(NO_CELL.to_owned(), |cell| inert(cell));
        let mut cells: Vec<String> = own.map(cell).collect();
        cells.push(told);
        let beyond = row.cells.iter().skip(self.width);
        let filled = beyond.clone().rposition(|cell| !cell.trim().is_empty()).map_or(0, |last| last + 1);
        cells.extend(beyond.take(filled).map(|cell| inert(cell)));
        cells
    }
}

/// The file so far.
struct Page {
    bytes: Vec<u8>,
    /// The line on which the next record would start.
    line: u32,
    delimiter: u8,
}

impl Page {
    /// Adds a record on its own line: where the list had empty ones before it, so has the page.
    fn record(&mut self, row: &RawRow, form: &Form, told: String) -> io::Result<()> {
        while self.line < row.line {
            self.bytes.extend_from_slice(b"\r\n");
            self.line += 1;
        }
        let cells = form.cells(row, told);
        // In quotation marks throughout: a program that takes another character for the delimiter then
        // makes no new cell out of the inside of one.
        let mut writer = csv::WriterBuilder::new()
            .delimiter(self.delimiter)
            .quote_style(csv::QuoteStyle::Always)
            .terminator(csv::Terminator::CRLF)
            .from_writer(&mut self.bytes);
        writer.write_record(&cells)?;
        writer.flush()?;
        drop(writer);
        self.line += 1 + cells.iter().map(|cell| breaks(cell)).sum::<u32>();
        Ok(())
    }
}

/// How many lines a cell goes down.
fn breaks(cell: &str) -> u32 {
    let ends = cell.matches(['\n', '\r']).count() - cell.matches("\r\n").count();
    u32::try_from(ends).unwrap_or(u32::MAX)
}
