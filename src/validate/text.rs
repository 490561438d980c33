//! Texts that can be printed: what a name or a note may be made of.
//!
//! A text that passes is NFC, has no spaces around it, and every character of it shows on paper where
//! it stands. Whatever would vanish, reverse its neighbours or print as a box is refused.

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;
use unicode_properties::{GeneralCategory, UnicodeGeneralCategory};

use super::held::CellFault;
use super::limits;
use crate::characters::is_invisible;

/// Why a text is refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Refusal {
    /// It has more characters than this.
    TooLong { characters: usize, most: usize },
    /// A line break or tab where the text must stand on one line.
    LineBreak(Spot),
    /// A mark that a program put in the place of a letter that it could not read.
    Lost(Spot),
    /// A control, invisible, direction-changing or private character.
    Unprintable(Spot),
    /// No font at hand has the character.
    NoFont(Spot),
    /// Too many marks on one letter, or marks without one.
    LooseMarks(Spot),
}

/// A character and its place in the text, from 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Spot {
    pub(super) character: char,
    pub(super) place: usize,
}

impl Refusal {
    /// What is wrong, as a message says it of `what` (`family name`).
    /// What kind of fault of a cell it is.
    pub(super) const fn kind(self) -> CellFault {
        match self {
            Self::TooLong { .. } => CellFault::TooLong,
            _ => CellFault::Unprintable,
        }
    }

    pub(super) fn what(self, what: &str) -> String {
        match self {
            Self::TooLong { .. } => format!("{what} is too long"),
            Self::LineBreak(_) => format!("{what} is broken over two lines or holds a tab"),
            Self::Lost(_) => format!("{what} holds a mark that stands for a letter that was lost"),
            Self::Unprintable(_) => format!("{what} holds a character that cannot be seen on paper"),
            Self::NoFont(_) => format!("{what} holds a character that none of the fonts has"),
            Self::LooseMarks(_) => format!("{what} holds marks that belong to no letter"),
        }
    }

    /// What was found, without the text itself.
    pub(super) fn found(self) -> String {
        match self {
            Self::TooLong { characters, .. } => format!("{characters} characters"),
            Self::LineBreak(spot)
            | Self::Lost(spot)
            | Self::Unprintable(spot)
            | Self::NoFont(spot)
            | Self::LooseMarks(spot) => {
                format!("U+{:04X} as character {}", u32::from(spot.character), spot.place)
            }
        }
    }

    /// What to do.
    pub(super) fn help(self) -> String {
        match self {
            Self::TooLong { most, .. } => format!("write at most {most} characters"),
            Self::LineBreak(_) => "write it on one line, with single spaces".to_owned(),
            Self::Lost(_) => {
                "write the letter, as the patient's papers have it; export the list as UTF-8, so that no more are lost"
                    .to_owned()
            }
            Self::Unprintable(_) => "type it again by hand; copied text may bring such characters".to_owned(),
            Self::NoFont(_) => {
                "write it as the patient's papers have it in another script, or give a font that has the character"
                    .to_owned()
            }
            Self::LooseMarks(_) => "type it again by hand".to_owned(),
        }
    }
}

/// A text on one line: trimmed, its spaces plain, NFC.
pub(super) fn one_line(raw: &str, most: usize, prints: &dyn Fn(char) -> bool) -> Result<String, Refusal> {
    let spaced: String = raw.trim().chars().map(plain_space).collect();
    let text: String = spaced.nfc().collect();
    let characters = text.chars().count();
    if characters > most {
        return Err(Refusal::TooLong { characters, most });
    }
    // As if a letter had all the marks it may have, so that none may stand first or behind a space.
    let mut marks = limits::MARKS_IN_A_ROW;
    let mut before = ' ';
    for (at, character) in text.chars().enumerate() {
        let spot = Spot { character, place: at + 1 };
        marks = match character {
            ' ' => limits::MARKS_IN_A_ROW,
            mark if is_combining_mark(mark) => marks + 1,
            _ => 0,
        };
        if matches!(character, '\n' | '\r' | '\t' | '\u{2028}' | '\u{2029}' | '\u{85}' | '\u{b}' | '\u{c}') {
            return Err(Refusal::LineBreak(spot));
        }
        if character == '\u{fffd}' {
            return Err(Refusal::Lost(spot));
        }
        if character != ' ' && !joins_letters(character, before) {
            if is_invisible(character) {
                return Err(Refusal::Unprintable(spot));
            }
            if marks > limits::MARKS_IN_A_ROW {
                return Err(Refusal::LooseMarks(spot));
            }
            if !prints(character) {
                return Err(Refusal::NoFont(spot));
            }
        }
        before = character;
    }
    Ok(text)
}

/// A text that may have been typed on several lines, put on one. Lines are parted by `; ` unless a
/// mark parts them already.
pub(super) fn joined_lines(raw: &str, most: usize, prints: &dyn Fn(char) -> bool) -> Result<String, Refusal> {
    let mut joined = String::new();
    for line in raw.split(['\n', '\r', '\t']).map(str::trim).filter(|line| !line.is_empty()) {
        if !joined.is_empty() {
            joined.push_str(if joined.ends_with(['.', ',', ';', ':', '!', '?']) { " " } else { "; " });
        }
        joined.push_str(line);
    }
    one_line(&joined, most, prints)
}

/// Spaces of other widths, and ones that do not break, as plain spaces.
fn plain_space(character: char) -> char {
    if character.general_category() == GeneralCategory::SpaceSeparator { ' ' } else { character }
}

/// Whether this is a joiner behind a letter of a script that spells with it: Arabic and the scripts of
/// India (The Unicode Standard, chapter 23.2). Elsewhere a joiner is an invisible difference.
fn joins_letters(character: char, before: char) -> bool {
    let spelt_with_joiners =
        matches!(before, '\u{620}'..='\u{77f}' | '\u{8a0}'..='\u{8ff}' | '\u{900}'..='\u{dff}');
    matches!(character, '\u{200c}' | '\u{200d}') && spelt_with_joiners
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(raw: &str) -> Result<String, Refusal> {
        one_line(raw, limits::NAME_CHARACTERS, &|_| true)
    }

    #[test]
    fn names_of_many_scripts_pass_unchanged() {
        for name in ["Wróblewska", "Nguyễn", "Ελένη", "Иванова", "فاطمة", "רחל", "नेहा", "O’Rourke", "क्‍ष"]
        {
            assert_eq!(read(name), Ok(name.to_owned()));
        }
    }

    #[test]
    fn a_name_is_composed_and_its_spaces_made_plain() {
        assert_eq!(read("\u{a0} Zoe\u{308}\u{202f}Anne "), Ok("Zoë Anne".to_owned()));
    }

    #[test]
    fn characters_that_cannot_be_seen_are_refused_with_their_place() {
        for bad in [
            '\u{0}',
            '\u{1b}',
            '\u{7f}',
            '\u{9d}',
            '\u{ad}',
            '\u{61c}',
            '\u{200b}',
            '\u{200d}',
            '\u{202e}',
            '\u{2066}',
            '\u{feff}',
            '\u{fe0f}',
            '\u{e000}',
            '\u{e0041}',
            '\u{3164}',
            '\u{378}',
        ] {
            let spot = Spot { character: bad, place: 3 };
            assert_eq!(read(&format!("An{bad}ne")), Err(Refusal::Unprintable(spot)), "{bad:?}");
        }
    }

    #[test]
    fn the_mark_of_a_lost_letter_is_refused() {
        assert_eq!(read("Wr\u{fffd}blewska"), Err(Refusal::Lost(Spot { character: '\u{fffd}', place: 3 })));
    }

    #[test]
    fn line_breaks_and_tabs_are_refused_in_names_and_joined_in_alerts() {
        assert_eq!(read("Ann\ne"), Err(Refusal::LineBreak(Spot { character: '\n', place: 4 })));
        let joined = joined_lines("Latex\r\nDiabetic.\n\n\tHard of hearing", 300, &|_| true);
        assert_eq!(joined, Ok("Latex; Diabetic. Hard of hearing".to_owned()));
    }

    #[test]
    fn marks_heaped_on_one_letter_and_marks_without_a_letter_are_refused() {
        assert_eq!(read("\u{301}a"), Err(Refusal::LooseMarks(Spot { character: '\u{301}', place: 1 })));
        let heap = format!("q{}", "\u{323}".repeat(5));
        assert_eq!(read(&heap), Err(Refusal::LooseMarks(Spot { character: '\u{323}', place: 6 })));
    }

    #[test]
    fn a_character_without_a_font_is_refused() {
        let latin_only = |character: char| character < '\u{300}';
        let refused = one_line("Li 李", 100, &latin_only);
        assert_eq!(refused, Err(Refusal::NoFont(Spot { character: '李', place: 4 })));
    }

    #[test]
    fn a_name_may_be_as_long_as_the_limit_and_no_longer() {
        assert!(read(&"x".repeat(100)).is_ok());
        assert_eq!(read(&"x".repeat(101)), Err(Refusal::TooLong { characters: 101, most: 100 }));
    }
}
