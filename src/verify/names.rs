//! Names alike: one family name twice in a day is always said, and nobody stands in two groups.
//!
//! Which different names are too near each other is a matter of judgement, so a caution about
//! such names is taken as it is; only one about a patient and themselves, or about no patient, is
//! refused.

use std::collections::{BTreeMap, BTreeSet};

use unicode_normalization::UnicodeNormalization;

use crate::survey::Caution;
use crate::validate::DayList;

use super::breach::{Breach, Promise};
use super::cautions::{kind, subject, text};

/// What is wrong with the cautions about names. The visits of each stand in the list's order.
pub(super) fn check(list: &DayList, given: &[Caution]) -> Vec<Breach> {
    let mut breaches = Vec::new();
    // The group that each visit stands in, by the caution's place.
    let mut group_of = BTreeMap::new();
    for (place, caution) in given.iter().enumerate() {
        let Caution::NamesAlike { visits } = caution else { continue };
        let mut breach = |promise, expected: &str| {
            breaches.push(Breach::new(promise, subject(list, caution), text(list, caution), expected));
        };
        let members: BTreeSet<&usize> = visits.iter().filter(|visit| **visit < list.visits.len()).collect();
        if members.len() < 2 || members.len() != visits.len() {
            breach(Promise::CautionIsTrue(kind(caution)), "different patients of the list, two at least");
        }
        if members.iter().any(|&&visit| group_of.insert(visit, place).is_some_and(|other| other != place)) {
            breach(Promise::CautionOnce(kind(caution)), "each patient in one group of names");
        }
    }
    breaches.extend(unsaid(list, &group_of));
    breaches
}

/// Family names of which two patients stand in no group together.
fn unsaid(list: &DayList, group_of: &BTreeMap<usize, usize>) -> Vec<Breach> {
    let mut of_name: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for (visit, row) in list.visits.iter().enumerate() {
        of_name.entry(folded(&row.family_name)).or_default().push(visit);
    }
    let groups = of_name.into_values().filter(|visits| visits.len() > 1);
    let is_split = |visits: &Vec<usize>| {
        let stands_in: BTreeSet<_> = visits.iter().map(|visit| group_of.get(visit)).collect();
        stands_in.len() > 1 || stands_in.contains(&None)
    };
    groups
        .filter(is_split)
        .map(|visits| {
            let caution = Caution::NamesAlike { visits };
            let promise = Promise::Cautioned(kind(&caution));
            Breach::new(promise, subject(list, &caution), "no such caution", text(list, &caution))
        })
        .collect()
}

/// A name without case and without the accents of European scripts (U+0300 to U+036F). Marks of
/// other scripts can be vowels and stay.
fn folded(name: &str) -> String {
    let plain: String = name.nfd().filter(|mark| !('\u{300}'..='\u{36f}').contains(mark)).collect();
    // A sigma at the end of a word (U+03C2) is a sigma.
    plain.to_lowercase().replace('ς', "σ")
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
