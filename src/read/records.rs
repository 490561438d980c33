//! A day list's text to its records: the header, and every row with the line on which it starts.

use super::decode::{Encoding, Text, decode};
use super::delimiter::{self, Delimiter, Statement};
use super::limits;
use super::lines::Lines;
use super::quotes::{Misplaced, misplaced};
use crate::problem::{Found, Place, Problem};

/// A day list as cells. Rows of nothing but empty cells, as spreadsheets leave them, are not in it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RawList {
    /// The cells of the header.
    pub header: RawRow,
    /// The rows, in the order of the file.
    pub rows: Vec<RawRow>,
    /// The encoding that the file was read in.
    pub encoding: Encoding,
    /// The delimiter that parts its cells.
    pub delimiter: Delimiter,
    /// Whether the file states its delimiter in a `sep=` line.
    pub delimiter_stated: bool,
}

impl RawList {
    /// How many cells a row has: as many as the header, without the nameless ones that spreadsheets
    /// leave at its end.
    #[must_use]
    pub fn width(&self) -> usize {
        self.header.cells.iter().rposition(|cell| !cell.trim().is_empty()).map_or(0, |last| last + 1)
    }
}

/// One record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RawRow {
    /// The physical line, from 1, on which it starts.
    pub line: u32,
    /// Its cells, as they stand, without the quotation marks around them.
    pub cells: Vec<String>,
}

/// Reads a day list.
///
/// # Errors
/// Everything that keeps its cells from being known for certain.
pub fn read_day_list(file: &str, bytes: &[u8]) -> Result<RawList, Vec<Problem>> {
    let Text { characters: text, encoding } =
        decode(file, bytes, limits::DAY_LIST_BYTES).map_err(|problem| vec![problem])?;
    let (stated, body) = match delimiter::statement(&text) {
        Statement::None => (None, 0),
        Statement::Names(delimiter, end) => (Some(delimiter), end),
        Statement::Unknown => return Err(vec![unknown_delimiter(file)]),
    };
    let delimiter = stated.unwrap_or_else(|| delimiter::guess(&text));
    let lines = Lines::of(&text);
    let badly_quoted = misplaced(&text[body..], delimiter.character());
    if !badly_quoted.is_empty() {
        let problem = |found: &Misplaced| misplaced_mark(file, *found, &lines, body);
        return Err(badly_quoted.iter().map(problem).collect());
    }
    let mut records = records(&text, body, delimiter, &lines).into_iter();
    let Some(header) = records.next() else {
        return Err(vec![nothing_there(file)]);
    };
    let rows: Vec<RawRow> = records.collect();
    within_limits(file, &header, &rows)?;
    Ok(RawList { header, rows, encoding, delimiter, delimiter_stated: stated.is_some() })
}

/// The records of `text` from byte `body` on, those of empty cells left out.
fn records(text: &str, body: usize, delimiter: Delimiter, lines: &Lines) -> Vec<RawRow> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter.byte())
        .from_reader(&text.as_bytes()[body..]);
    let mut records = Vec::new();
    // Neither reading memory nor its characters, which are known to be UTF-8, can fail.
    for record in reader.records().map_while(Result::ok) {
        if record.iter().all(|cell| cell.trim().is_empty()) {
            continue;
        }
        let from = body + record.position().map_or(0, offset_in_memory);
        let line = lines.number(first_character(text, from));
        records.push(RawRow { line, cells: record.iter().map(str::to_owned).collect() });
    }
    records
}

/// A position's byte, which is that of a slice in memory.
fn offset_in_memory(position: &csv::Position) -> usize {
    usize::try_from(position.byte()).unwrap_or(usize::MAX)
}

/// The byte at which a record really starts: the CSV reader counts the blank lines before a record,
/// and the line feed that ends the one before, as part of it.
fn first_character(text: &str, from: usize) -> usize {
    let breaks = text.as_bytes().iter().skip(from).take_while(|byte| matches!(byte, b'\r' | b'\n'));
    from + breaks.count()
}

/// Refuses what is larger than any day list.
fn within_limits(file: &str, header: &RawRow, rows: &[RawRow]) -> Result<(), Vec<Problem>> {
    let fault = |what: &str, line: Option<u32>, found: String, help: String| {
        let place = Place { file: file.to_owned(), line, ..Place::default() };
        vec![Problem { what: what.to_owned(), place, found: Some(Found::Described(found)), help }]
    };
    if header.cells.len() > limits::COLUMNS {
        let found = format!("{} columns", header.cells.len());
        let help = format!("export at most {} columns", limits::COLUMNS);
        return Err(fault("day list has too many columns", Some(header.line), found, help));
    }
    if rows.len() > limits::ROWS {
        let found = format!("{} rows", rows.len());
        let help = format!("export fewer days at once, at most {} rows", limits::ROWS);
        return Err(fault("day list has too many rows", None, found, help));
    }
    Ok(())
}

/// The problem of a file of delimiters and line breaks only.
fn nothing_there(file: &str) -> Problem {
    Problem {
        what: "day list has no header and no rows".to_owned(),
        place: Place { file: file.to_owned(), ..Place::default() },
        found: Some(Found::Described("empty lines only".to_owned())),
        help: "export the list again and check that it holds the day's visits".to_owned(),
    }
}

/// The problem of a `sep=` line that names no delimiter known here.
fn unknown_delimiter(file: &str) -> Problem {
    Problem {
        what: "first line states a delimiter that is not read here".to_owned(),
        place: Place { file: file.to_owned(), line: Some(1), ..Place::default() },
        found: Some(Found::Described("`sep=` and another character".to_owned())),
        help: "export the list with commas, semicolons or tabs between the cells".to_owned(),
    }
}

/// The problem of a quotation mark that is out of place. What stands around it may be a name, so it
/// is not repeated.
fn misplaced_mark(file: &str, mark: Misplaced, lines: &Lines, body: usize) -> Problem {
    let line = |at: usize| lines.number(body + at);
    let (at, what, found) = match mark {
        Misplaced::Unclosed(at) => {
            let found = "a cell that starts with `\"` and runs to the end of the file".to_owned();
            (at, "quotation mark is never closed", found)
        }
        Misplaced::TextBehind(at, behind) => {
            let found = format!(
                "a cell that starts with `\"` and goes on behind the next one, on line {}",
                line(behind)
            );
            (at, "text stands behind a closing quotation mark", found)
        }
    };
    Problem {
        what: what.to_owned(),
        place: Place { file: file.to_owned(), line: Some(line(at)), ..Place::default() },
        found: Some(Found::Described(found)),
        help: "close the cell with `\"`, and write a quotation mark inside such a cell twice (`\"\"`)"
            .to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines_of(bytes: &str) -> Vec<(u32, String)> {
        let list = read_day_list("list.csv", bytes.as_bytes()).expect("a readable list");
        let rows = std::iter::once(&list.header).chain(&list.rows);
        rows.map(|row| (row.line, row.cells.join("|"))).collect()
    }

    #[track_caller]
    fn assert_lines(bytes: &str, expected: &[(u32, &str)]) {
        let expected: Vec<(u32, String)> =
            expected.iter().map(|(line, cells)| (*line, (*cells).to_owned())).collect();
        assert_eq!(lines_of(bytes), expected, "{bytes:?}");
    }

    #[test]
    fn rows_are_numbered_by_the_line_on_which_they_start() {
        for end in ["\n", "\r\n", "\r"] {
            assert_lines(&["a,b", "1,2", "3,4", ""].join(end), &[(1, "a|b"), (2, "1|2"), (3, "3|4")]);
        }
    }

    #[test]
    fn blank_lines_are_counted_and_are_no_rows() {
        for end in ["\n", "\r\n", "\r"] {
            let text = ["", "", "a,b", "", "1,2", "", "", "", "3,4", "  ", "5,6", ",", "", ""].join(end);
            assert_lines(&text, &[(3, "a|b"), (5, "1|2"), (9, "3|4"), (11, "5|6")]);
        }
    }

    #[test]
    fn line_breaks_inside_quotation_marks_are_counted() {
        for end in ["\n", "\r\n", "\r"] {
            let text = ["a,b", "\"1", "", "1\",2", "", "3,\"4", "\"", "5,6"].join(end);
            let quoted_one = format!("1{end}{end}1|2");
            let quoted_two = format!("3|4{end}");
            assert_lines(&text, &[(1, "a|b"), (2, &quoted_one), (6, &quoted_two), (8, "5|6")]);
        }
    }

    #[test]
    fn a_row_that_starts_with_a_quoted_line_break_starts_at_its_quotation_mark() {
        assert_lines("a,b\n\n\"\n\n1\",2\n3,4", &[(1, "a|b"), (3, "\n\n1|2"), (6, "3|4")]);
    }

    #[test]
    fn a_sep_line_is_a_line() {
        assert_lines("sep=;\r\na;b\r\n\r\n1,5;2\r\n", &[(2, "a|b"), (4, "1,5|2")]);
        assert_lines("\u{feff}sep=,\na;x,b\n1,2", &[(2, "a;x|b"), (3, "1|2")]);
    }

    #[test]
    fn repeated_byte_order_marks_shift_nothing() {
        assert_lines("\u{feff}\u{feff}a,b\n\n1,2\n", &[(1, "a|b"), (3, "1|2")]);
    }

    #[test]
    fn rows_keep_the_number_of_their_cells() {
        assert_lines("a,b\n1\n1,2,3,\n", &[(1, "a|b"), (2, "1"), (3, "1|2|3|")]);
    }
}
