//! Which character parts the cells of a day list.

use super::quotes::misplaced;

/// A character that parts cells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Delimiter {
    /// `,`
    Comma,
    /// `;`
    Semicolon,
    /// A tab.
    Tab,
}

impl Delimiter {
    /// All of them, the likeliest first.
    pub const ALL: [Self; 3] = [Self::Comma, Self::Semicolon, Self::Tab];

    /// The character.
    #[must_use]
    pub const fn character(self) -> char {
        match self {
            Self::Comma => ',',
            Self::Semicolon => ';',
            Self::Tab => '\t',
        }
    }

    /// The character as a CSV reader or writer wants it: all three are ASCII.
    #[must_use]
    pub const fn byte(self) -> u8 {
        match self {
            Self::Comma => b',',
            Self::Semicolon => b';',
            Self::Tab => b'\t',
        }
    }

    /// The word for it in a message.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Comma => "commas",
            Self::Semicolon => "semicolons",
            Self::Tab => "tabs",
        }
    }
}

/// A first line `sep=;`, which some spreadsheets write to state the delimiter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Statement {
    /// The text has no such line.
    None,
    /// It names this delimiter and ends at this byte, line break excluded.
    Names(Delimiter, usize),
    /// It names something else.
    Unknown,
}

/// Looks for a `sep=` line at the start of the text.
pub(super) fn statement(text: &str) -> Statement {
    let end = text.find(['\r', '\n']).unwrap_or(text.len());
    let line = text[..end].trim_matches('"');
    let Some(named) = line.get(..4).filter(|start| start.eq_ignore_ascii_case("sep=")).map(|_| &line[4..])
    else {
        return Statement::None;
    };
    // Saved again from a spreadsheet, the line itself gets cells: `sep=;;;;`.
    let mut names = named.trim_matches(' ').chars();
    let first = names.next();
    match Delimiter::ALL.into_iter().find(|one| Some(one.character()) == first) {
        Some(delimiter) if names.all(|next| Delimiter::ALL.iter().any(|one| one.character() == next)) => {
            Statement::Names(delimiter, end)
        }
        _ => Statement::Unknown,
    }
}

/// The delimiter that makes the most cells of the first record; the likeliest among equals. One that
/// leaves quotation marks inside cells comes last: it stands in the text of a cell, not between two.
pub(super) fn guess(text: &str) -> Delimiter {
    let worth = |delimiter: Delimiter| {
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .delimiter(delimiter.byte())
            .from_reader(text.as_bytes());
        let mut record = csv::ByteRecord::new();
        // A slice of memory cannot fail to be read; a record that is not there has no cells.
        let cells = reader.read_byte_record(&mut record).map_or(0, |_| record.len());
        let end = usize::try_from(reader.position().byte()).unwrap_or(usize::MAX);
        let is_clean =
            text.get(..end).is_some_and(|first| misplaced(first, delimiter.character()).is_empty());
        (is_clean, cells)
    };
    let worths = Delimiter::ALL.map(|one| (one, worth(one)));
    let most = worths.iter().map(|(_, worth)| *worth).max();
    worths.iter().find(|(_, worth)| Some(*worth) == most).map_or(Delimiter::Comma, |(one, _)| *one)
}

#[cfg(test)]
mod tests {
    use super::{Delimiter, Statement, guess, statement};

    #[test]
    fn a_sep_line_is_honoured_with_and_without_trailing_cells() {
        assert_eq!(statement("sep=;\r\na;b"), Statement::Names(Delimiter::Semicolon, 5));
        assert_eq!(statement("SEP=\t\na"), Statement::Names(Delimiter::Tab, 5));
        assert_eq!(statement("sep=;;;\na"), Statement::Names(Delimiter::Semicolon, 7));
        assert_eq!(statement("sep=|\na"), Statement::Unknown);
        assert_eq!(statement("sepia,b\na"), Statement::None);
        assert_eq!(statement("é"), Statement::None);
    }

    #[test]
    fn a_delimiter_inside_quotation_marks_is_not_counted() {
        assert_eq!(guess("\"a,b,c,d\";e;f\n"), Delimiter::Semicolon);
        assert_eq!(guess("a\n"), Delimiter::Comma);
        assert_eq!(guess("\"date\";\"to_mend: a, b, c, d\"\n1;2\n"), Delimiter::Semicolon);
    }
}
