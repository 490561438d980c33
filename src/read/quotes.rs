//! Quotation marks that RFC 4180 does not allow.
//!
//! The CSV reader mends such marks silently: an unclosed one swallows the rest of the file into one
//! cell, and text behind a closing one is joined to the cell. Both could hide a patient, so they are
//! looked for first. A mark inside an unquoted cell has one meaning, itself, and is let pass.

/// A quotation mark that is out of place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Misplaced {
    /// A cell starts with a mark at this byte and never ends.
    Unclosed(usize),
    /// A cell starts with a mark at the first byte, and something stands between its closing mark and
    /// its end, at the second.
    TextBehind(usize, usize),
}

/// Where the scan is within a cell.
#[derive(Clone, Copy)]
enum State {
    CellStart,
    Plain,
    Quoted { since: usize },
    Closed { since: usize },
}

/// Finds every misplaced mark of a text whose cells are parted by `delimiter`.
pub(super) fn misplaced(text: &str, delimiter: char) -> Vec<Misplaced> {
    let mut found = Vec::new();
    let mut state = State::CellStart;
    for (at, character) in text.char_indices() {
        let cell_ends = character == delimiter || character == '\n' || character == '\r';
        state = match state {
            State::CellStart if character == '"' => State::Quoted { since: at },
            State::Quoted { since } if character == '"' => State::Closed { since },
            State::Quoted { since } => State::Quoted { since },
            // Two marks in a row inside a quoted cell stand for one.
            State::Closed { since } if character == '"' => State::Quoted { since },
            _ if cell_ends => State::CellStart,
            State::Closed { since } if character == ' ' => State::Closed { since },
            State::Closed { since } => {
                found.push(Misplaced::TextBehind(since, at));
                State::Plain
            }
            State::CellStart | State::Plain => State::Plain,
        };
    }
    if let State::Quoted { since } = state {
        found.push(Misplaced::Unclosed(since));
    }
    found
}

#[cfg(test)]
mod tests {
    use super::{Misplaced, misplaced};

    #[test]
    fn quotation_marks_in_their_places_are_let_pass() {
        for text in ["a,\"b,c\",d", "\"a \"\"b\"\" c\"\n", "5\" cap,x", "\"a\" ,b", "\"a\nb\",c\r\n\"\""] {
            assert_eq!(misplaced(text, ','), [], "{text}");
        }
    }

    #[test]
    fn an_unclosed_quotation_mark_is_found_where_it_opens() {
        assert_eq!(misplaced("a,b\n\"c,d\ne,f", ','), [Misplaced::Unclosed(4)]);
    }

    #[test]
    fn text_behind_a_closing_quotation_mark_is_found() {
        assert_eq!(misplaced("\"Anne \"Nan\" Marsh\",x", ','), [Misplaced::TextBehind(0, 7)]);
    }
}
