//! Where a cell of a day list stands among the file's bytes, so that it can be changed and nothing else.
//!
//! Knows what `records` knows of lines, delimiters and quotation marks; decides nothing of its own.

use std::ops::Range;

use encoding_rs::WINDOWS_1252;

use super::decode::{Encoding, Text, decode};
use super::delimiter::{self, Delimiter, Statement};
use super::limits;
use super::lines::Lines;
use crate::problem::Problem;

/// A day list as text, with the way back to its bytes.
#[derive(Clone, Debug)]
pub struct CellFinder<'a> {
    bytes: &'a [u8],
    text: Text,
    delimiter: Delimiter,
    lines: Lines,
}

impl<'a> CellFinder<'a> {
    /// Reads a day list that [`read_day_list`](super::read_day_list) reads.
    ///
    /// # Errors
    /// If the file is no text.
    pub fn new(file: &str, bytes: &'a [u8]) -> Result<Self, Problem> {
        let text = decode(file, bytes, limits::DAY_LIST_BYTES)?;
        let delimiter = match delimiter::statement(&text.characters) {
            Statement::Names(delimiter, _) => delimiter,
            Statement::None | Statement::Unknown => delimiter::guess(&text.characters),
        };
        let lines = Lines::of(&text.characters);
        Ok(Self { bytes, text, delimiter, lines })
    }

    /// Where in the text the cell at a place (from 0) of the record that starts on a line stands, without
    /// quotation marks and spaces around it; `None` if the record has no such cell.
    #[must_use]
    pub fn cell(&self, line: u32, place: usize) -> Option<Range<usize>> {
        let text = &self.text.characters;
        let start = self.lines.start(line)?;
        let (mut cell_start, mut cells, mut quoted) = (start, 0, false);
        for (at, character) in text[start..].char_indices().map(|(at, character)| (start + at, character)) {
            let opens = at == cell_start && character == '"';
            // Two marks in a row inside a quoted cell close and open it again.
            quoted = if opens {
                true
            } else {
                quoted != (character == '"' && text[cell_start..].starts_with('"'))
            };
            let ends =
                !quoted && (character == self.delimiter.character() || matches!(character, '\n' | '\r'));
            if ends && cells == place {
                return Some(self.inner(cell_start..at));
            }
            if ends && matches!(character, '\n' | '\r') {
                return None;
            }
            if ends {
                (cells, cell_start) = (cells + 1, at + character.len_utf8());
            }
        }
        (cells == place).then(|| self.inner(cell_start..text.len()))
    }

    /// The text of a range that [`cell`](Self::cell) gave.
    #[must_use]
    pub fn text(&self, range: &Range<usize>) -> &str {
        self.text.characters.get(range.clone()).unwrap_or_default()
    }

    /// A cell without spaces and quotation marks around it, nor the `="` and `"` with which spreadsheets keep a text
    /// from being read as a number.
    fn inner(&self, range: Range<usize>) -> Range<usize> {
        let around = [' ', '\t', '"', '\u{a0}', '\n', '\r'];
        let cell = &self.text.characters[range.clone()];
        let start = cell.trim_start_matches(around);
        let kept = start.strip_prefix('=').filter(|text| text.starts_with('"'));
        let start = kept.map_or(start, |text| text.trim_start_matches(around));
        let from = range.end - start.len();
        from..from + start.trim_end_matches(around).len()
    }

    /// The file's bytes with other texts in some cells, each a range that [`cell`](Self::cell) gave and
    /// ASCII text. Every other byte is as it was.
    #[must_use]
    pub fn with_cells(&self, mut changes: Vec<(Range<usize>, String)>) -> Vec<u8> {
        changes.sort_by_key(|(range, _)| range.start);
        let mut changed = Vec::with_capacity(self.bytes.len());
        let mut done = 0;
        for (range, text) in changes {
            let (from, until) = (self.byte(range.start), self.byte(range.end));
            changed.extend_from_slice(&self.bytes[done..from.max(done)]);
            changed.extend(self.encoded(&text));
            done = until.max(done);
        }
        changed.extend_from_slice(&self.bytes[done..]);
        changed
    }

    /// The byte of the file at which a byte of the text stands: byte order marks come before it.
    fn byte(&self, offset: usize) -> usize {
        let text = &self.text.characters;
        let length = |part: &str| match self.text.encoding {
            Encoding::Utf8 => part.len(),
            Encoding::Utf16 => 2 * part.encode_utf16().count(),
            Encoding::Windows1252 => part.chars().count(),
        };
        let marks = self.bytes.len().saturating_sub(length(text));
        (marks + length(text.get(..offset).unwrap_or(text))).min(self.bytes.len())
    }

    /// A text in the file's encoding.
    fn encoded(&self, text: &str) -> Vec<u8> {
        match self.text.encoding {
            Encoding::Utf8 => text.as_bytes().to_vec(),
            Encoding::Windows1252 => WINDOWS_1252.encode(text).0.into_owned(),
            Encoding::Utf16 if self.bytes.starts_with(b"\xfe\xff") => {
                text.encode_utf16().flat_map(u16::to_be_bytes).collect()
            }
            Encoding::Utf16 => text.encode_utf16().flat_map(u16::to_le_bytes).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::CellFinder;

    #[track_caller]
    fn assert_changed(bytes: &[u8], line: u32, place: usize, was: &str, expected: &[u8]) {
        let finder = CellFinder::new("list.csv", bytes).expect("text");
        let cell = finder.cell(line, place).expect("a cell");
        assert_eq!(finder.text(&cell), was);
        assert_eq!(finder.with_cells(vec![(cell, "9:05".to_owned())]), expected);
    }

    #[test]
    fn one_cell_is_changed_and_every_other_byte_stays() {
        assert_changed(b"a,b\r\n1, 08:30 \r\n", 2, 1, "08:30", b"a,b\r\n1, 9:05 \r\n");
        assert_changed(b"a;b\n\n\"x;\ny\";\"08:30\"\n", 3, 1, "08:30", b"a;b\n\n\"x;\ny\";\"9:05\"\n");
        assert_changed(b"a,b\n\"x \"\"q\"\", y\",08:30", 2, 1, "08:30", b"a,b\n\"x \"\"q\"\", y\",9:05");
        assert_changed(b"\xef\xbb\xbfa\tb\r08:30\t2\r", 2, 0, "08:30", b"\xef\xbb\xbfa\tb\r9:05\t2\r");
        assert_changed(b"a,b\n\xd6,08:30\n", 2, 1, "08:30", b"a,b\n\xd6,9:05\n");
    }

    #[test]
    fn a_text_that_a_spreadsheet_keeps_stays_kept() {
        assert_changed(b"a,b\n1,=\"08:30\"\n", 2, 1, "08:30", b"a,b\n1,=\"9:05\"\n");
        assert_changed(b"a,b\n\"=\"\"08:30\"\"\",1\n", 2, 0, "08:30", b"a,b\n\"=\"\"9:05\"\"\",1\n");
        assert_changed(b"a,b\n1,=08:30\n", 2, 1, "=08:30", b"a,b\n1,9:05\n");
    }

    #[test]
    fn a_mark_inside_a_plain_cell_is_itself() {
        assert_changed(b"a,b\n5\" cap,08:30\n", 2, 1, "08:30", b"a,b\n5\" cap,9:05\n");
    }

    #[test]
    fn utf_16_is_changed_in_its_own_order_of_bytes() {
        let wide = |text: &str, encode: fn(u16) -> [u8; 2]| -> Vec<u8> {
            text.encode_utf16().flat_map(encode).collect()
        };
        for (mark, encode) in
            [(b"\xff\xfe", u16::to_le_bytes as fn(u16) -> [u8; 2]), (b"\xfe\xff", u16::to_be_bytes)]
        {
            let list = |time: &str| [mark.to_vec(), wide(&format!("é,b\n😀,{time}\n"), encode)].concat();
            assert_changed(&list("08:30"), 2, 1, "08:30", &list("9:05"));
        }
    }

    #[test]
    fn a_cell_that_is_not_there_is_not_found() {
        let finder = CellFinder::new("list.csv", b"a,b\n1\n2,3\n").expect("text");
        assert_eq!(finder.cell(2, 1), None);
        assert_eq!(finder.cell(9, 0), None);
    }
}
