//! Names alike: one family name twice in a day is always said.
//!
//! Which different names are too near each other is a matter of judgement, so a caution about two
//! such names is taken as it is; only one about a patient and themselves, or about no patient, is
//! refused.

use std::collections::BTreeSet;

use unicode_normalization::UnicodeNormalization;

use crate::survey::Caution;
use crate::validate::DayList;

use super::breach::{Breach, Promise, Subject};
use super::cautions::{kind, subject, text};

/// What is wrong with the cautions about names. Pairs stand in the list's order.
pub(super) fn check(list: &DayList, given: &[Caution]) -> Vec<Breach> {
    let mut breaches = Vec::new();
    let mut said = BTreeSet::new();
    for caution in given {
        let Caution::NamesAlike { one, other } = caution else { continue };
        said.insert((*one, *other));
        if one == other || *other >= list.visits.len() {
            let promise = Promise::CautionIsTrue(kind(caution));
            let expected = "two patients of the list";
            breaches.push(Breach::new(promise, subject(list, caution), text(list, caution), expected));
        }
    }
    let folded: Vec<String> = list.visits.iter().map(|visit| folded(&visit.family_name)).collect();
    for (other, name) in folded.iter().enumerate() {
        for one in (0..other).filter(|&one| folded[one] == *name && !said.contains(&(one, other))) {
            let caution = Caution::NamesAlike { one, other };
            let expected = text(list, &caution);
            let line = list.visits.get(one).map_or(0, |row| row.line);
            let promise = Promise::Cautioned(kind(&caution));
            breaches.push(Breach::new(promise, Subject::Line(line), "no such caution", expected));
        }
    }
    breaches
}

/// A name without case and without the accents of European scripts (U+0300 to U+036F). Marks of
/// other scripts can be vowels and stay.
fn folded(name: &str) -> String {
    let plain: String = name.nfd().filter(|mark| !('\u{300}'..='\u{36f}').contains(mark)).collect();
    plain.to_lowercase()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn case_and_accents_do_not_tell_two_names_apart() {
        assert_eq!(folded("NUÑEZ"), folded("Nunez"));
        assert_eq!(folded("ΠΑΠΠΆΣ"), folded("Παππας"));
        assert_ne!(folded("Nunez"), folded("Nunes"));
    }

    #[test]
    fn vowel_signs_of_other_scripts_do_tell_them_apart() {
        assert_ne!(folded("राम"), folded("रोम"));
    }
}
