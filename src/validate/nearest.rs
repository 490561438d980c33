//! The real name that is nearest to a misspelt one, and the names that would have done.

use strsim::{damerau_levenshtein, jaro_winkler};

use super::limits;

/// The likeness, by Jaro's and Winkler's measure, from which two names are taken for one another. At
/// this value a word and its relative (`arrive`, `Arrival`) are, and two codes of one family are not.
const ALIKE: f64 = 0.88;

/// The nearest of `names` to `found`, if one is near enough to have been meant.
///
/// Case, spaces and marks such as dots and hyphens are not counted: `T.C.` is `TC`. A name is near enough when at most a third
/// of its characters must be changed, or when both start and go on alike. So names of one or two
/// characters lead nowhere: whoever writes size `XL` does not mean `L`. Where two are equally near,
/// neither is named: for chair `A9`, `A1` is no likelier than `A2`.
pub(crate) fn nearest<'a>(found: &str, names: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let found = folded(found);
    let near = |name: &'a str| {
        let name_folded = folded(name);
        let longest = name_folded.chars().count().max(found.chars().count());
        let distance = damerau_levenshtein(&found, &name_folded);
        let few_changes = distance <= longest / 3 && distance < longest.max(1);
        let is_alike = few_changes || jaro_winkler(&found, &name_folded) >= ALIKE;
        is_alike.then_some((distance, name))
    };
    let mut found: Vec<(usize, &str)> = names.into_iter().filter_map(near).collect();
    found.sort_by_key(|(distance, _)| *distance);
    match found.as_slice() {
        [(distance, _), (next, _), ..] if distance == next => None,
        [(_, name), ..] => Some(*name),
        [] => None,
    }
}

/// A name with its letters lower-cased and without what people leave out or put in; one of marks alone
/// keeps them.
fn folded(name: &str) -> String {
    let is_mark = |character: &char| character.is_ascii_punctuation() || character.is_whitespace();
    let lower = |kept: &dyn Fn(&char) -> bool| -> String {
        name.chars().filter(kept).take(limits::TEXT_CHARACTERS).flat_map(char::to_lowercase).collect()
    };
    let plain = lower(&|character| !is_mark(character));
    if plain.is_empty() { lower(&|_| true) } else { plain }
}

/// The one of `names` that differs from `found` in case, spaces and marks alone.
pub(super) fn same<'a>(found: &str, names: &[&'a str]) -> Option<&'a str> {
    let mut same = names.iter().filter(|name| folded(name) == folded(found));
    same.next().filter(|_| same.next().is_none()).copied()
}

/// The one name that stands among the words of `found`: `Bay A` holds `A`, `M (medium)` holds `M`.
fn held<'a>(found: &str, names: &[&'a str]) -> Option<&'a str> {
    let words: Vec<String> = found
        .split(|character: char| character.is_whitespace() || "()[]:;,".contains(character))
        .map(str::to_lowercase)
        .collect();
    let mut held = names.iter().filter(|name| words.contains(&name.to_lowercase()));
    held.next().filter(|_| held.next().is_none()).copied()
}

/// `did you mean …? Accepted here: …`, for a code that is not among `names`.
pub(super) fn help(found: &str, names: &[&str]) -> String {
    match hint(found, names) {
        Some(hint) => format!("{hint} Accepted here: {}", listed(names)),
        None => accepted(names),
    }
}

/// `did you mean …?`, where one of `names` is near, or stands among other words.
pub(crate) fn hint(found: &str, names: &[&str]) -> Option<String> {
    let meant = held(found, names).or_else(|| nearest(found, names.iter().copied()));
    meant.map(did_you_mean)
}

/// `did you mean …?`
pub(super) fn did_you_mean(name: &str) -> String {
    format!("did you mean `{name}`?")
}

/// `accepted here: …`.
pub(crate) fn accepted(names: &[&str]) -> String {
    format!("accepted here: {}", listed(names))
}

/// The names between back quotes; the first few of many.
pub(crate) fn listed(names: &[&str]) -> String {
    let shown: Vec<String> =
        names.iter().take(limits::NAMES_IN_A_MESSAGE).map(|name| format!("`{name}`")).collect();
    match names.len() - shown.len() {
        0 if shown.is_empty() => "none".to_owned(),
        0 => shown.join(", "),
        more => format!("{} and {more} more", shown.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::{hint, listed, nearest};

    #[test]
    fn a_misspelt_name_leads_to_the_one_that_was_meant() {
        let codes = ["PAC-W", "PAC-CARBO", "TC", "AC"];
        assert_eq!(nearest("PACW", codes), Some("PAC-W"));
        assert_eq!(nearest("pac carbo", codes), Some("PAC-CARBO"));
        assert_eq!(nearest("Arrival", ["date", "arrive", "alert"]), Some("arrive"));
        assert_eq!(nearest("Familyname", ["given_name", "family_name"]), Some("family_name"));
    }

    #[test]
    fn marks_and_words_around_a_name_do_not_hide_it() {
        let codes = ["PAC-W", "TC", "AC"];
        assert_eq!(nearest("T.C.", codes), Some("TC"));
        assert_eq!(nearest("T / C", codes), Some("TC"));
        assert_eq!(nearest("pac_w", codes), Some("PAC-W"));
        assert_eq!(nearest("??", ["!!"]), None, "of marks alone each counts");
        assert_eq!(hint("Bay a", &["A", "B"]).as_deref(), Some("did you mean `A`?"));
        assert_eq!(hint("M (medium)", &["S", "M"]).as_deref(), Some("did you mean `M`?"));
        assert_eq!(hint("A or B", &["A", "B"]), None, "two names are no hint");
    }

    #[test]
    fn a_name_that_is_like_none_gets_no_hint() {
        assert_eq!(nearest("radiotherapy", ["PAC-W", "TC"]), None);
        assert_eq!(nearest("X", ["S", "M", "L"]), None, "one letter changed for another is no likeness");
        assert_eq!(nearest("XL", ["S", "M", "L"]), None, "one letter added to one makes another size");
        assert_eq!(nearest("A9", ["A1", "A2"]), None, "both are equally near");
        assert_eq!(nearest("A19", ["A11", "A12"]), None, "both are equally near");
        assert_eq!(nearest("A122", ["A12", "A31"]), Some("A12"));
    }

    #[test]
    fn long_lists_are_cut() {
        let names: Vec<String> = (1..=14).map(|number| number.to_string()).collect();
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        assert!(listed(&names).ends_with("`12` and 2 more"));
        assert_eq!(listed(&[]), "none");
    }
}
