//! Cells that a spreadsheet would run as a formula, and how they are written so that it does not.
//!
//! An apostrophe before such a cell makes it a text in every usual spreadsheet (the OWASP page on CSV
//! injection names the characters). A list that comes back from there is read without it.

/// What stands in a written list for a cell that its row does not have. No row with it is read as if
/// it were complete.
pub const NO_CELL: &str = "(no cell)";

/// Whether a spreadsheet may take a cell for a formula: by its first character, also the full-width
/// one of other keyboards, whatever blank characters stand before it.
fn runs(cell: &str) -> bool {
    let starts = ['=', '+', '-', '@', '＝', '＋', '－', '＠'];
    let blank =
        |character: char| character.is_whitespace() || character.is_control() || character == '\u{feff}';
    cell.starts_with(['\t', '\r', '\n']) || cell.trim_start_matches(blank).starts_with(starts)
}

/// The cell as it is written into a list.
#[must_use]
pub fn inert(cell: &str) -> String {
    if runs(cell) { format!("'{cell}") } else { cell.to_owned() }
}

/// The cell as it was before it was made inert.
#[must_use]
pub fn without_apostrophe(cell: &str) -> &str {
    cell.strip_prefix('\'').filter(|rest| runs(rest)).unwrap_or(cell)
}

#[cfg(test)]
mod tests {
    use super::{inert, without_apostrophe};

    #[test]
    fn a_formula_is_written_as_text_and_read_as_it_was() {
        for cell in
            ["=1+1", "+44", "-5", "@SUM(A1)", "\t=x", "\r=x", "  =x", "＝1+1", "=\"0123\"", "-", "\u{feff}=x"]
        {
            let written = inert(cell);
            assert_eq!(written, format!("'{cell}"));
            assert_eq!(without_apostrophe(&written), cell);
        }
    }

    #[test]
    fn what_is_no_formula_stays_as_it_is() {
        for cell in ["", "Ada", "08:30", "O'Rourke", "'t Hooft", "a=b", "'"] {
            assert_eq!((inert(cell).as_str(), without_apostrophe(cell)), (cell, cell));
        }
    }

    #[test]
    fn a_cell_that_is_inert_already_gets_no_second_apostrophe() {
        assert_eq!(inert("'=1+1"), "'=1+1");
        assert_eq!(without_apostrophe("''=1+1"), "''=1+1");
    }
}
