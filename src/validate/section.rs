//! One settings file under check: typed values out of its tree, a problem for each that is not right.
//!
//! A value that is missing or wrong leaves a problem behind and a stand-in of its type, so that the
//! rest can be checked in the same run. A product with stand-ins never gets out: whoever builds one
//! asks [`Check::finish`], which gives it only if there is no problem.

use std::ops::RangeInclusive;

use super::nearest::{self, listed, nearest};
use super::text::one_line;
use super::times::{LAST_TIME, time};
use super::{AtHand, limits};
use crate::clock::{Minutes, Moment};
use crate::problem::{Found, Place, Problem};
use crate::read::{Setting, Table, Value};

/// Every section of a file and its keys; the top level is the section without a name. A section that
/// is not among them has keys of the unit's own choosing.
pub(super) type Keys = &'static [(&'static str, &'static [&'static str])];

/// Every key with its section.
pub(super) fn each_key(keys: Keys) -> impl Iterator<Item = (&'static str, &'static str)> {
    keys.iter().flat_map(|(section, keys)| keys.iter().map(move |key| (*section, *key)))
}

/// A settings file under check.
pub(super) struct Check<'a> {
    file: &'a str,
    keys: Keys,
    at_hand: &'a AtHand<'a>,
    problems: Vec<Problem>,
    /// What the tables of sections that stand several times are called in messages.
    called: Vec<String>,
}

/// A table of the file and the section that it is one of.
#[derive(Clone, Copy)]
pub(super) struct Section<'a> {
    name: &'static str,
    table: &'a Table,
    /// The place in [`Check::called`] of what it belongs to.
    of: Option<usize>,
}

/// The sections that stand several times, with the word for one and the key that tells it apart. An
/// outage has no name: the line tells which it is of its machine's.
const REPEATED: [(&str, &str, &str); 5] = [
    ("shifts", "shift", "name"),
    ("bays", "bay", "name"),
    ("machines", "machine", "name"),
    ("regimens", "regimen", "code"),
    ("regimens.steps", "drug", "drug"),
];

impl<'a> Section<'a> {
    /// What a key of the section is set to.
    pub(super) fn get(&self, key: &str) -> Option<&'a Setting> {
        self.table.get(key)
    }

    /// The key as a message names it: `minutes.settle`.
    pub(super) fn path(&self, key: &str) -> String {
        if self.name.is_empty() { key.to_owned() } else { format!("{}.{key}", self.name) }
    }

    /// The line of a key, or else of the section's heading; the top level has none.
    fn line_of(&self, key: &str) -> Option<u32> {
        let heading = (!self.name.is_empty()).then_some(self.table.line);
        self.get(key).map(|setting| setting.line).or(heading)
    }

    /// The section's keys and what they are set to.
    pub(super) fn entries(&self) -> impl Iterator<Item = &'a (String, Setting)> + use<'a> {
        self.table.entries.iter()
    }
}

impl<'a> Check<'a> {
    /// Starts on a file whose sections have these keys.
    pub(super) const fn new(file: &'a str, keys: Keys, at_hand: &'a AtHand<'a>) -> Self {
        Self { file, keys, at_hand, problems: Vec::new(), called: Vec::new() }
    }

    /// The product, if nothing was wrong; else all problems by line.
    pub(super) fn finish<T>(mut self, product: T) -> Result<T, Vec<Problem>> {
        if self.problems.is_empty() {
            return Ok(product);
        }
        self.problems.sort_by_key(|problem| problem.place.line);
        Err(self.problems)
    }

    /// How many problems there are so far; a part is right if it adds none.
    pub(super) const fn count(&self) -> usize {
        self.problems.len()
    }

    /// What the program has at hand.
    pub(super) const fn at_hand(&self) -> &'a AtHand<'a> {
        self.at_hand
    }

    /// Adds a problem of a key.
    pub(super) fn fault(
        &mut self,
        section: Section,
        key: &str,
        what: impl Into<String>,
        found: Option<Found>,
        help: impl Into<String>,
    ) {
        self.fault_at(section, key, section.line_of(key), what.into(), found, help.into());
    }

    /// Adds a problem of a key on a line that is not the key's own.
    fn fault_at(
        &mut self,
        section: Section,
        key: &str,
        line: Option<u32>,
        what: String,
        found: Option<Found>,
        help: String,
    ) {
        let of = section.of.and_then(|of| self.called.get(of)).cloned();
        let place = Place { file: self.file.to_owned(), line, column: Some(section.path(key)), of };
        self.problems.push(Problem { what, place, found, help });
    }

    /// What one of several sections is called: by its own name, or else by its number, and by what it
    /// belongs to.
    fn call(&mut self, parent: Section, name: &str, number: usize, table: &Table) -> Option<usize> {
        let Some((_, word, key)) = REPEATED.into_iter().find(|(section, ..)| *section == name) else {
            return parent.of;
        };
        let own = match table.get(key).map(|setting| &setting.value) {
            Some(Value::Text(text)) if !text.trim().is_empty() => {
                format!("{word} {}", Found::Value(text.clone()))
            }
            _ => format!("{word} number {number}"),
        };
        let parent = parent.of.and_then(|of| self.called.get(of));
        self.called.push(parent.map_or(own.clone(), |parent| format!("{own} of {parent}")));
        Some(self.called.len() - 1)
    }

    /// The top level of the file, its unknown keys reported.
    pub(super) fn top(&mut self, table: &'a Table) -> Section<'a> {
        self.known_keys_only(Section { name: "", table, of: None })
    }

    /// A section of single keys. One with `needed` keys that is not there is one problem, not one a key.
    pub(super) fn section(
        &mut self,
        top: Section<'a>,
        name: &'static str,
        needed: &[&str],
    ) -> Option<Section<'a>> {
        match top.get(name) {
            Some(Setting { value: Value::Table(table), .. }) => {
                Some(self.known_keys_only(Section { name, table, of: None }))
            }
            Some(setting) => {
                let help = format!("write a heading `[{name}]` and its keys below it");
                self.fault(top, name, "setting is not a section", Some(found(&setting.value)), help);
                None
            }
            None => {
                if !needed.is_empty() {
                    let all = self.keys_of(name).unwrap_or_default();
                    let others =
                        if all.len() > needed.len() { "; its other keys have a default" } else { "" };
                    let keys = needed.join("`, `");
                    let help = format!("add a heading `[{name}]` with the keys `{keys}`{others}");
                    self.fault(top, name, "needed section is missing", None, help);
                }
                None
            }
        }
    }

    /// The tables of a section that may stand several times: `[[bays]]`, or tables in a list.
    ///
    /// `name` is the section's full name, whose last part is the key in its parent.
    pub(super) fn tables(
        &mut self,
        parent: Section<'a>,
        name: &'static str,
        most: usize,
    ) -> Vec<Section<'a>> {
        let key = name.rsplit('.').next().unwrap_or(name);
        let Some(setting) = parent.get(key) else { return Vec::new() };
        let Value::List(items) = &setting.value else {
            let example = self.keys_of(name).and_then(|keys| keys.first()).unwrap_or(&"key");
            let help = format!("write a list of sections, for example `{key} = [{{ {example} = … }}]`");
            self.fault(parent, key, "setting is not a list of sections", Some(found(&setting.value)), help);
            return Vec::new();
        };
        if items.len() > most {
            let help = format!("write at most {most}");
            let found = Found::Described(format!("{} of them", items.len()));
            self.fault(parent, key, "list is too long", Some(found), help);
            return Vec::new();
        }
        let mut sections = Vec::new();
        for (number, item) in (1..).zip(items) {
            if let Value::Table(table) = &item.value {
                let of = self.call(parent, name, number, table);
                sections.push(self.known_keys_only(Section { name, table, of }));
            } else {
                let what = "entry of the list is not a section".to_owned();
                let help = "write its keys between `{` and `}`".to_owned();
                self.fault_at(parent, key, Some(item.line), what, Some(found(&item.value)), help);
            }
        }
        sections
    }

    /// A table within a section, as a section of its own; `name` is its full name.
    pub(super) fn inner(&mut self, name: &'static str, table: &'a Table) -> Section<'a> {
        self.known_keys_only(Section { name, table, of: None })
    }

    /// Reports the keys that a section does not have.
    fn known_keys_only(&mut self, section: Section<'a>) -> Section<'a> {
        let Some(known) = self.keys_of(section.name) else { return section };
        for (key, setting) in section.entries().filter(|(key, _)| !known.contains(&key.as_str())) {
            let help = self.help_for_unknown(key, known);
            self.fault_at(section, key, Some(setting.line), "key does not exist".to_owned(), None, help);
        }
        section
    }

    /// The nearest real key of the section, or the section where the key would be right.
    fn help_for_unknown(&self, key: &str, known: &[&str]) -> String {
        if let Some(near) = nearest(key, known.iter().copied()) {
            return format!("did you mean `{near}`?");
        }
        let elsewhere = self.keys.iter().find(|(_, keys)| keys.contains(&key));
        match elsewhere {
            Some(("", _)) => format!("move `{key}` to the top of the file, above the first heading"),
            Some((section, _)) => format!("move `{key}` under the heading `{section}`"),
            None => format!("take it out; keys here are {}", listed(known)),
        }
    }

    fn keys_of(&self, section: &str) -> Option<&'static [&'static str]> {
        self.keys.iter().find(|(name, _)| *name == section).map(|(_, keys)| *keys)
    }

    /// Reports a needed key that is not there, unless a misspelt one stands in its place: that is told.
    fn missing(&mut self, section: Section<'a>, key: &str, example: &str) {
        let known = self.keys_of(section.name).unwrap_or_default();
        let is_misspelt =
            |name: &str| !known.contains(&name) && nearest(name, known.iter().copied()) == Some(key);
        if section.entries().any(|(name, _)| is_misspelt(name)) {
            return;
        }
        self.fault(
            section,
            key,
            "needed key is missing",
            None,
            format!("add it, for example `{key} = {example}`"),
        );
    }

    /// Reports a value of a wrong type or out of range.
    pub(super) fn wrong(&mut self, section: Section, key: &str, what: &str, value: &Value, help: &str) {
        self.fault(section, key, what, Some(found(value)), help);
    }

    /// A needed text.
    pub(super) fn text(&mut self, section: Section<'a>, key: &str, example: &str) -> String {
        let text = self.optional_text(section, key);
        if text.is_none() && section.get(key).is_none() {
            self.missing(section, key, &format!("\"{example}\""));
        }
        text.unwrap_or_default()
    }

    /// A text that may be left out.
    pub(super) fn optional_text(&mut self, section: Section<'a>, key: &str) -> Option<String> {
        let setting = section.get(key)?;
        let Value::Text(raw) = &setting.value else {
            self.wrong(
                section,
                key,
                "setting is not a text",
                &setting.value,
                "write a text in quotation marks",
            );
            return None;
        };
        self.clean(raw, setting.line, section, key)
    }

    /// A text that can be printed and is not empty.
    fn clean(&mut self, raw: &str, line: u32, section: Section, key: &str) -> Option<String> {
        match one_line(raw, limits::text_characters(section.name, key), self.at_hand.prints) {
            Ok(text) if text.is_empty() => {
                let help = "write something between the quotation marks".to_owned();
                self.fault_at(section, key, Some(line), "text is empty".to_owned(), None, help);
                None
            }
            Ok(text) => Some(text),
            Err(refusal) => {
                let found = Some(Found::Described(refusal.found()));
                self.fault_at(section, key, Some(line), refusal.what("text"), found, refusal.help());
                None
            }
        }
    }

    /// A key of a section that the unit names itself, such as the size of a cap.
    pub(super) fn own_key(&mut self, section: Section<'a>, key: &str) -> String {
        let line = section.line_of(key).unwrap_or(section.table.line);
        self.clean(key, line, section, key).unwrap_or_default()
    }

    /// The texts of a list, each with its line.
    pub(super) fn texts(
        &mut self,
        section: Section<'a>,
        key: &str,
        value: &'a Setting,
        most: usize,
    ) -> Vec<(u32, String)> {
        let Value::List(items) = &value.value else {
            let help = "write a list of texts, for example `[\"A1\", \"A2\"]`";
            self.wrong(section, key, "setting is not a list", &value.value, help);
            return Vec::new();
        };
        if items.len() > most {
            let found = Found::Described(format!("{} of them", items.len()));
            self.fault(section, key, "list is too long", Some(found), format!("write at most {most}"));
            return Vec::new();
        }
        let mut texts = Vec::new();
        for item in items {
            if let Value::Text(raw) = &item.value {
                let clean = self.clean(raw, item.line, section, key);
                texts.extend(clean.map(|text| (item.line, text)));
            } else {
                let help = "write each between quotation marks".to_owned();
                let what = "entry of the list is not a text".to_owned();
                self.fault_at(section, key, Some(item.line), what, Some(found(&item.value)), help);
            }
        }
        texts
    }

    /// A whole number within `range`; without a default it is needed.
    pub(super) fn whole(
        &mut self,
        section: Section<'a>,
        key: &str,
        range: RangeInclusive<i64>,
        default: Option<i64>,
    ) -> i64 {
        let stand_in = default.unwrap_or(*range.start());
        let Some(setting) = section.get(key) else {
            if default.is_none() {
                // An example that may be copied as it stands harms nobody: a common length, or the least.
                let example =
                    if *range.end() == i64::from(Minutes::MOST) { 30 } else { *range.start().max(&1) };
                self.missing(section, key, &example.to_string());
            }
            return stand_in;
        };
        match &setting.value {
            Value::Whole(number) if range.contains(number) => *number,
            value => {
                let what = format!("setting is not a whole number from {} to {}", range.start(), range.end());
                self.wrong(
                    section,
                    key,
                    &what,
                    value,
                    "write such a number in digits, without quotation marks",
                );
                stand_in
            }
        }
    }

    /// The same as a count.
    pub(super) fn count_of(
        &mut self,
        section: Section<'a>,
        key: &str,
        range: RangeInclusive<i64>,
        default: Option<i64>,
    ) -> u32 {
        u32::try_from(self.whole(section, key, range, default)).unwrap_or_default()
    }

    /// Minutes, 0 to a day; without a default they are needed.
    pub(super) fn minutes(&mut self, section: Section<'a>, key: &str, default: Option<u32>) -> Minutes {
        let range = 0..=i64::from(Minutes::MOST);
        Minutes::new(self.count_of(section, key, range, default.map(i64::from)))
    }

    /// A needed time of day, up to `47:59`.
    pub(super) fn moment(&mut self, section: Section<'a>, key: &str) -> Moment {
        let Some(setting) = section.get(key) else {
            let is_end = matches!(key, "closes" | "to");
            self.missing(section, key, if is_end { "\"18:00\"" } else { "\"08:00\"" });
            return Moment::default();
        };
        let read = match &setting.value {
            Value::Text(text) | Value::DateOrTime(text) => time(text.trim(), LAST_TIME),
            _ => None,
        };
        read.unwrap_or_else(|| {
            let help = "write hours and minutes in quotation marks, for example \"08:00\"; after midnight go on counting, for example \"26:00\"";
            self.wrong(section, key, "setting is not a time of day", &setting.value, help);
            Moment::default()
        })
    }

    /// True or false; without a default it is needed.
    pub(super) fn truth(&mut self, section: Section<'a>, key: &str, default: Option<bool>) -> bool {
        match section.get(key).map(|setting| &setting.value) {
            Some(Value::Truth(truth)) => *truth,
            Some(value) => {
                let help = "write true or false, without quotation marks";
                self.wrong(section, key, "setting is not true or false", value, help);
                false
            }
            None => default.unwrap_or_else(|| {
                self.missing(section, key, "true");
                false
            }),
        }
    }

    /// One of several words; the first of them where the key is left out.
    pub(super) fn choice<T: Copy>(
        &mut self,
        section: Option<Section<'a>>,
        key: &str,
        choices: [(&str, T); 2],
    ) -> T {
        let [(first_word, first), (other_word, other)] = choices;
        let Some((section, setting)) = section.and_then(|section| Some((section, section.get(key)?))) else {
            return first;
        };
        match &setting.value {
            Value::Text(word) if word == first_word => first,
            Value::Text(word) if word == other_word => other,
            value => {
                let word = if let Value::Text(word) = value { word.as_str() } else { "" };
                let help = nearest::help(word, &[first_word, other_word]);
                self.wrong(section, key, "setting is none of the words that it can be", value, &help);
                first
            }
        }
    }
}

/// A value as a message shows it.
fn found(value: &Value) -> Found {
    match value {
        Value::Text(text) => Found::Value(text.clone()),
        Value::Whole(number) => Found::Value(number.to_string()),
        Value::OtherNumber(written) | Value::DateOrTime(written) => Found::Value(written.clone()),
        Value::Truth(truth) => Found::Value(truth.to_string()),
        Value::List(items) => Found::Described(format!("a list of {}", items.len())),
        Value::Table(_) => Found::Described("a section".to_owned()),
    }
}
