//! The real name that is nearest to a misspelt one, and the names that would have done.

use strsim::{damerau_levenshtein, jaro_winkler};

use super::limits;

/// The likeness, by Jaro's and Winkler's measure, from which two names are taken for one another. At
/// this value a word and its relative (`arrive`, `Arrival`) are, and two codes of one family are not.
const ALIKE: f64 = 0.88;

/// The nearest of `names` to `found`, if one is near enough to have been meant.
///
/// Case, spaces, hyphens and underscores are not counted. A name is near enough when at most a third
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

/// A name with its letters lower-cased and without what people leave out.
fn folded(name: &str) -> String {
    let kept = |character: &char| !matches!(character, ' ' | '_' | '-' | '\u{a0}');
    name.chars().filter(kept).take(limits::TEXT_CHARACTERS).flat_map(char::to_lowercase).collect()
}

/// `did you mean …? Accepted here: …`, for a code that is not among `names`.
pub(super) fn help(found: &str, names: &[&str]) -> String {
    match hint(found, names) {
        Some(hint) => format!("{hint} Accepted here: {}", listed(names)),
        None => accepted(names),
    }
}

/// `did you mean …?`, where one of `names` is near.
pub(crate) fn hint(found: &str, names: &[&str]) -> Option<String> {
    nearest(found, names.iter().copied()).map(|name| format!("did you mean `{name}`?"))
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
    use super::{listed, nearest};

    #[test]
    fn a_misspelt_name_leads_to_the_one_that_was_meant() {
        let codes = ["PAC-W", "PAC-CARBO", "TC", "AC"];
        assert_eq!(nearest("PACW", codes), Some("PAC-W"));
        assert_eq!(nearest("pac carbo", codes), Some("PAC-CARBO"));
        assert_eq!(nearest("Arrival", ["date", "arrive", "alert"]), Some("arrive"));
        assert_eq!(nearest("Familyname", ["given_name", "family_name"]), Some("family_name"));
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
