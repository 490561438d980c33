//! Checks a wording file against the English one: what is missing, unknown, or has other placeholders.
//!
//! A file may hold the words of the care card alone; a unit whose staff sheets speak its language needs all of
//! them. Lines of a card may be more or fewer than the English ones; reasons to ring may not.

use std::collections::{BTreeMap, BTreeSet};

use icu_locale_core::Locale;
use icu_plurals::{PluralCategory, PluralRules};

use super::wording_lines::WordingLines;
use crate::problem::{Found, Place, Problem};
use crate::read::settings::{Setting, Table, Value};
use crate::validate::nearest::nearest;

/// What a care card needs of a wording file: tables, and single keys of others.
const CARD: [&str; 11] = [
    "meta",
    "dates.weekdays",
    "dates.weekdays_short",
    "dates.months",
    "dates.months_short",
    "dates.patient_day",
    "dates.patient_date",
    "dates.weekday",
    "common.labels.page",
    "common.labels.of",
    "card",
];

/// Lists whose number of texts is the translator's choice.
const FREE: [&str; 5] =
    [".lines", "card.cooled_first", "card.cooled_return", "card.not_cooled", "card.next.bring_"];

/// The names of plural forms in a wording file.
const FORMS: [(&str, PluralCategory); 6] = [
    ("zero", PluralCategory::Zero),
    ("one", PluralCategory::One),
    ("two", PluralCategory::Two),
    ("few", PluralCategory::Few),
    ("many", PluralCategory::Many),
    ("other", PluralCategory::Other),
];

/// The plural form of a number in a language: `few` for 3 in Polish. Nothing for an unknown language.
#[must_use]
pub fn plural_form(language: &str, number: u64) -> Option<&'static str> {
    let category = rules(language)?.category_for(number);
    FORMS.iter().find(|(_, known)| *known == category).map(|(name, _)| *name)
}

/// The plural forms that a language has for whole numbers, in a fixed order: for Polish `one`, `few`, `many` and
/// `other`; all six for Arabic (Unicode CLDR).
#[must_use]
pub fn plural_forms(language: &str) -> Vec<&'static str> {
    let Some(rules) = rules(language) else { return Vec::new() };
    let categories: Vec<PluralCategory> = rules.categories().collect();
    FORMS.iter().filter(|(_, form)| categories.contains(form)).map(|(name, _)| *name).collect()
}

fn rules(language: &str) -> Option<PluralRules> {
    let locale: Locale = language.parse().ok()?;
    PluralRules::try_new_cardinal((&locale).into()).ok()
}

/// Everything wrong with the wording file `file` against the English one, in the order of its lines.
#[must_use]
pub fn check_wording(file: &str, lines: &WordingLines, english: &Table) -> Vec<Problem> {
    let (own, english) = (texts(lines.table()), texts(english));
    let whole = own.keys().any(|key| !is_of_the_card(key));
    let language = own.get("meta.code").map(|text| text.text.clone()).unwrap_or_default();
    let check = Check { file, lines, own: &own, english: &english, language: &language };
    let mut problems: Vec<Problem> = own.keys().filter_map(|key| check.unknown(key)).collect();
    for (key, text) in english.iter().filter(|(key, _)| whole || is_of_the_card(key)) {
        problems.extend(check.against(key, text));
    }
    problems.sort_by_key(|problem| problem.place.line);
    problems
}

/// Whether a key is needed for the care card.
fn is_of_the_card(key: &str) -> bool {
    CARD.iter().any(|part| key == *part || key.strip_prefix(part).is_some_and(|rest| rest.starts_with('.')))
}

/// A text of a wording file: one, a list, or plural forms.
struct Text {
    line: u32,
    /// The text; empty for a list or for plural forms.
    text: String,
    /// How many texts a list has.
    list: Option<usize>,
    /// Plural forms with their texts, and the placeholder that counts under `count`.
    forms: Option<BTreeMap<String, String>>,
    placeholders: BTreeSet<String>,
}

/// Every text by its dotted key; items of lists are not told apart, because their number may differ.
fn texts(table: &Table) -> BTreeMap<String, Text> {
    let mut found = BTreeMap::new();
    for (name, setting) in &table.entries {
        gather(name, setting, &mut found);
    }
    found
}

fn gather(key: &str, setting: &Setting, found: &mut BTreeMap<String, Text>) {
    let mut text = Text {
        line: setting.line,
        text: String::new(),
        list: None,
        forms: None,
        placeholders: BTreeSet::new(),
    };
    match &setting.value {
        Value::Table(table) if table.get("count").is_some() => {
            let form = |(name, setting): &(String, Setting)| match &setting.value {
                Value::Text(text) => Some((name.clone(), text.clone())),
                _ => None,
            };
            let forms: BTreeMap<String, String> = table.entries.iter().filter_map(form).collect();
            forms.values().for_each(|form| text.placeholders.extend(placeholders(form)));
            text.placeholders.extend(forms.get("count").cloned());
            text.forms = Some(forms);
        }
        Value::Table(table) => {
            for (name, inner) in &table.entries {
                gather(&format!("{key}.{name}"), inner, found);
            }
            return;
        }
        Value::List(items) => {
            for item in items {
                match &item.value {
                    Value::Table(part) => {
                        for (name, inner) in &part.entries {
                            gather(&format!("{key}.{name}"), inner, found);
                        }
                    }
                    Value::Text(item) => text.placeholders.extend(placeholders(item)),
                    _ => {}
                }
            }
            text.list = Some(items.len());
        }
        Value::Text(plain) => {
            text.placeholders = placeholders(plain);
            text.text.clone_from(plain);
        }
        _ => {}
    }
    found
        .entry(key.to_owned())
        .and_modify(|known| known.placeholders.extend(text.placeholders.clone()))
        .or_insert(text);
}

/// The names between double braces.
fn placeholders(text: &str) -> BTreeSet<String> {
    let opened = text.split("{{").skip(1);
    opened
        .filter_map(|rest| Some(rest.split_once("}}")?.0.trim_matches(['{', '}', ' ']).to_owned()))
        .collect()
}

/// One wording file under check.
struct Check<'a> {
    file: &'a str,
    lines: &'a WordingLines,
    own: &'a BTreeMap<String, Text>,
    english: &'a BTreeMap<String, Text>,
    language: &'a str,
}

impl Check<'_> {
    fn problem(
        &self,
        key: &str,
        line: Option<u32>,
        what: String,
        found: Option<String>,
        help: String,
    ) -> Problem {
        let place =
            Place { file: self.file.to_owned(), line, column: Some(key.to_owned()), ..Place::default() };
        Problem { what, place, found: found.map(Found::Described), help }
    }

    /// A key that the English file has not.
    fn unknown(&self, key: &str) -> Option<Problem> {
        if self.english.contains_key(key) {
            return None;
        }
        let near = nearest(key, self.english.keys().map(String::as_str));
        let help = near.map_or_else(|| "take it away".to_owned(), |near| format!("did you mean `{near}`?"));
        Some(self.problem(
            key,
            self.own.get(key).map(|text| text.line),
            "nothing prints this text".to_owned(),
            None,
            help,
        ))
    }

    /// What is wrong with the text at `key`, whose English one is `english`.
    fn against(&self, key: &str, english: &Text) -> Vec<Problem> {
        let Some(own) = self.own.get(key) else {
            let help = match &english.text {
                text if text.is_empty() => "write it as the English file has it".to_owned(),
                text => format!("in English: {text}"),
            };
            let line = Some(self.lines.line(key));
            return vec![self.problem(key, line, "a text is missing".to_owned(), None, help)];
        };
        let line = Some(own.line);
        let mut problems = Vec::new();
        if own.list.is_some() != english.list.is_some() {
            let wanted = if english.list.is_some() { "a list of texts" } else { "one text" };
            problems.push(self.problem(
                key,
                line,
                format!("this is not {wanted}"),
                None,
                "write it as the English file has it".to_owned(),
            ));
        } else if own.list != english.list && !FREE.iter().any(|free| key.contains(free)) {
            let (have, want) = (own.list.unwrap_or(0), english.list.unwrap_or(0));
            problems.push(self.problem(
                key,
                line,
                "a list has another number of texts".to_owned(),
                Some(format!("{have}")),
                format!("write {want}"),
            ));
        } else if own.list == Some(0) {
            problems.push(self.problem(
                key,
                line,
                "a list is empty".to_owned(),
                None,
                "write at least one text".to_owned(),
            ));
        }
        if own.list.is_none() && own.forms.is_none() && own.text.trim().is_empty() && key != "meta.checked_by"
        {
            problems.push(self.problem(
                key,
                line,
                "a text is empty".to_owned(),
                None,
                format!("in English: {}", english.text),
            ));
        }
        if !key.starts_with("dates.") && own.placeholders != english.placeholders {
            problems.push(self.problem(
                key,
                line,
                "the placeholders are not those of the English text".to_owned(),
                Some(braced(&own.placeholders)),
                format!("write {}", braced(&english.placeholders)),
            ));
        }
        problems.extend(self.plural(key, own));
        problems
    }

    /// Plural forms that the language needs and has not, or has and does not need.
    fn plural(&self, key: &str, own: &Text) -> Option<Problem> {
        let forms: BTreeSet<&str> =
            own.forms.as_ref()?.keys().map(String::as_str).filter(|form| *form != "count").collect();
        let needed = plural_forms(self.language);
        if needed.iter().copied().collect::<BTreeSet<_>>() == forms {
            return None;
        }
        let listed = |forms: &mut dyn Iterator<Item = &str>| {
            forms.map(|form| format!("`{form}`")).collect::<Vec<_>>().join(", ")
        };
        let found = listed(&mut forms.iter().copied());
        let help = format!("the language has {}", listed(&mut needed.iter().copied()));
        Some(self.problem(
            key,
            Some(own.line),
            "the plural forms are not those of the language".to_owned(),
            Some(found),
            help,
        ))
    }
}

/// `{{unit.name}}, {{line}}`, or `none`.
fn braced(placeholders: &BTreeSet<String>) -> String {
    match placeholders.len() {
        0 => "none".to_owned(),
        _ => placeholders.iter().map(|name| format!("{{{{{name}}}}}")).collect::<Vec<_>>().join(", "),
    }
}
