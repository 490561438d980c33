//! What is right in its form and still likely to be wrong: notes for the clerk, never a refusal.
//!
//! Lines are named, names never.

use encoding_rs::WINDOWS_1252;

use super::notes::Note;
use crate::clock::Moment;
use crate::patient::Visit;
use crate::unit_rules::Unit;

/// How many minutes before opening an arrival is taken for one of the afternoon, written by the 12-hour clock.
const LONG_BEFORE_OPENING: i32 = 60;

/// Half a day, in minutes.
const HALF_DAY: i32 = 12 * 60;

/// How many letters a given name in capitals has; fewer may be initials.
const LETTERS_OF_A_NAME: usize = 3;

/// What to look at again in the visits of a list.
pub(super) fn doubts(visits: &[Visit], unit: &Unit) -> Vec<Note> {
    let lines = |doubted: &dyn Fn(&Visit) -> bool| {
        let lines: Vec<u32> = visits.iter().filter(|visit| doubted(visit)).map(|visit| visit.line).collect();
        (!lines.is_empty()).then_some(lines)
    };
    let lost = lines(&|visit| lost_letters(&visit.family_name) || lost_letters(&visit.given_name));
    let exchanged = lines(&|visit| is_in_capitals(&visit.given_name) && !is_in_capitals(&visit.family_name));
    let early = lines(&|visit| is_of_the_afternoon(visit.arrive, unit));
    [
        lost.map(Note::LostLetters),
        exchanged.map(Note::NamesExchanged),
        early.map(|lines| Note::LongBeforeOpening(lines, unit.opens)),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// Whether a name shows that letters were lost on the way: a question mark stands for one that an encoding
/// lacks, and UTF-8 that was read as Windows-1252 shows two or three characters for one.
fn lost_letters(name: &str) -> bool {
    let (bytes, _, unmappable) = WINDOWS_1252.encode(name);
    let is_misread = !name.is_ascii() && !unmappable && std::str::from_utf8(&bytes).is_ok();
    name.contains('?') || is_misread
}

/// Whether a name is written in capitals alone.
fn is_in_capitals(name: &str) -> bool {
    let cased = |name: &str| name.chars().filter(|letter| letter.is_uppercase()).count();
    cased(name) >= LETTERS_OF_A_NAME && !name.chars().any(char::is_lowercase)
}

/// Whether an arrival is long before opening, and would be in the unit's hours after noon.
fn is_of_the_afternoon(arrive: Moment, unit: &Unit) -> bool {
    let (arrive, opens, closes) = (arrive.minutes(), unit.opens.minutes(), unit.closes.minutes());
    arrive + LONG_BEFORE_OPENING <= opens && (opens..closes).contains(&(arrive + HALF_DAY))
}

#[cfg(test)]
mod tests {
    use super::{is_in_capitals, lost_letters};

    #[test]
    fn names_that_lost_letters_are_told_from_names_that_have_accents() {
        for lost in ["Wr?blewska", "WrÃ³blewska", "Ã–ztÃ¼rk", "Nguyá»…n", "Oâ€™Rourke", "?"] {
            assert!(lost_letters(lost), "{lost}");
        }
        for whole in
            ["Wróblewska", "Öztürk", "Nguyễn", "O’Rourke", "Åsa", "Éloïse", "Иванова", "李", "Mary-Jane"]
        {
            assert!(!lost_letters(whole), "{whole}");
        }
    }

    #[test]
    fn capitals_are_told_where_a_script_has_them() {
        assert!(is_in_capitals("JOAN") && is_in_capitals("MARY-JANE") && is_in_capitals("ÉLO"));
        assert!(!is_in_capitals("Joan") && !is_in_capitals("JR") && !is_in_capitals("李小龍"));
    }
}
