//! A settings file's text to its tree of keys and values, each with its line.

use toml::de::{DeTable, DeValue};

use super::decode::{Encoding, decode};
use super::limits;
use super::lines::Lines;
use crate::problem::{Found, Place, Problem};

/// A table of a settings file, its keys in the order of the file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Table {
    /// The line of its heading, or on which it starts.
    pub line: u32,
    /// Its keys and what they are set to.
    pub entries: Vec<(String, Setting)>,
}

impl Table {
    /// What `key` is set to.
    #[must_use]
    pub fn get(&self, key: &str) -> Option<&Setting> {
        self.entries.iter().find(|(name, _)| name == key).map(|(_, setting)| setting)
    }

    /// The line on which a dotted key stands, or would: that of the innermost table or list around it that is
    /// there. Items of lists go by their number from 0, as in `parts.2.title`.
    #[must_use]
    pub fn line_of(&self, key: &str) -> u32 {
        let (first, rest) = key.split_once('.').map_or((key, None), |(first, rest)| (first, Some(rest)));
        self.get(first).map_or(self.line, |setting| setting.line_below(rest))
    }
}

/// A value with its line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Setting {
    /// The line of its key; of the value itself where it stands in a list.
    pub line: u32,
    /// The value.
    pub value: Value,
}

impl Setting {
    /// The line of a dotted key below this one; of this one where no key is given or the value holds none.
    fn line_below(&self, key: Option<&str>) -> u32 {
        match (&self.value, key) {
            (Value::Table(table), Some(key)) => table.line_of(key),
            (Value::List(items), Some(key)) => {
                let (number, rest) =
                    key.split_once('.').map_or((key, None), |(number, rest)| (number, Some(rest)));
                let item = number.parse().ok().and_then(|number: usize| items.get(number));
                item.map_or(self.line, |item| item.line_below(rest))
            }
            _ => self.line,
        }
    }
}

/// A value of a settings file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Value {
    /// A text.
    Text(String),
    /// A whole number.
    Whole(i64),
    /// A whole number too large to count with, or a fraction, as written.
    OtherNumber(String),
    /// True or false.
    Truth(bool),
    /// A date or time without quotation marks.
    DateOrTime(String),
    /// A list.
    List(Vec<Setting>),
    /// A table.
    Table(Table),
}

/// Reads a settings file.
///
/// # Errors
/// Every place at which it breaks the rules of TOML.
pub fn read_settings(file: &str, bytes: &[u8]) -> Result<Table, Vec<Problem>> {
    let text = decode(file, bytes, limits::SETTINGS_BYTES).map_err(|problem| vec![problem])?;
    if text.encoding == Encoding::Windows1252 {
        return Err(vec![not_utf8(file, bytes)]);
    }
    let characters = text.characters;
    let lines = Lines::of(&characters);
    let (table, errors) = DeTable::parse_recoverable(&characters);
    if errors.is_empty() {
        return Ok(table_of(table.get_ref(), 1, &lines));
    }
    let mut problems: Vec<Problem> = errors.iter().map(|error| broken_rule(file, error, &lines)).collect();
    problems.sort_by_key(|problem| problem.place.line);
    Err(problems)
}

/// Copies a table; `line` is that of its heading or key.
fn table_of(table: &DeTable, line: u32, lines: &Lines) -> Table {
    let entries = table.iter().map(|(key, value)| {
        let key_line = lines.number(key.span().start);
        (
            key.get_ref().to_string(),
            Setting { line: key_line, value: value_of(value.get_ref(), key_line, lines) },
        )
    });
    Table { line, entries: entries.collect() }
}

/// Copies a value whose key stands on `line`. Its depth is bounded by the parser.
fn value_of(value: &DeValue, line: u32, lines: &Lines) -> Value {
    match value {
        DeValue::String(text) => Value::Text(text.to_string()),
        DeValue::Integer(number) => i64::from_str_radix(number.as_str(), number.radix())
            .map_or_else(|_| Value::OtherNumber(number.to_string()), Value::Whole),
        DeValue::Float(number) => Value::OtherNumber(number.to_string()),
        DeValue::Boolean(truth) => Value::Truth(*truth),
        DeValue::Datetime(written) => Value::DateOrTime(written.to_string()),
        DeValue::Table(table) => Value::Table(table_of(table, line, lines)),
        DeValue::Array(list) => {
            let items = list.iter().map(|item| {
                let item_line = lines.number(item.span().start);
                Setting { line: item_line, value: value_of(item.get_ref(), item_line, lines) }
            });
            Value::List(items.collect())
        }
    }
}

/// The problem of a place that is not TOML.
fn broken_rule(file: &str, error: &toml::de::Error, lines: &Lines) -> Problem {
    let line = error.span().map(|span| lines.number(span.start));
    Problem {
        what: "settings file breaks the rules of its notation (TOML)".to_owned(),
        place: Place { file: file.to_owned(), line, ..Place::default() },
        found: Some(Found::Described(error.message().replace('\n', " "))),
        help: "write `key = value`, texts and times in quotation marks, each key once under its heading"
            .to_owned(),
    }
}

/// The problem of a settings file in another encoding; TOML is UTF-8 by definition.
fn not_utf8(file: &str, bytes: &[u8]) -> Problem {
    let whole = bytes.utf8_chunks().next().map_or(0, |chunk| chunk.valid().len());
    let line = bytes.get(..whole).map(|before| Lines::of(&String::from_utf8_lossy(before)).number(whole));
    Problem {
        what: "settings file is not UTF-8".to_owned(),
        place: Place { file: file.to_owned(), line, ..Place::default() },
        found: Some(Found::Described("a character of another encoding".to_owned())),
        help: "save the file as UTF-8: in an editor choose `Save as`, then the encoding UTF-8".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_value_carries_the_line_of_its_key() {
        let text = "a = 1\n\n[b]\nc = \"x\"\n[[d]]\ne = [\n  true,\n  2.5,\n]\n[[d]]\nf = 08:30\n";
        let table = read_settings("unit.toml", text.as_bytes()).expect("a readable file");
        let d = |line, entries| Setting { line, value: Value::Table(Table { line, entries }) };
        let list = vec![
            Setting { line: 7, value: Value::Truth(true) },
            Setting { line: 8, value: Value::OtherNumber("2.5".to_owned()) },
        ];
        let expected = vec![
            ("a".to_owned(), Setting { line: 1, value: Value::Whole(1) }),
            (
                "b".to_owned(),
                d(3, vec![("c".to_owned(), Setting { line: 4, value: Value::Text("x".to_owned()) })]),
            ),
            (
                "d".to_owned(),
                Setting {
                    line: 5,
                    value: Value::List(vec![
                        d(5, vec![("e".to_owned(), Setting { line: 6, value: Value::List(list) })]),
                        d(
                            10,
                            vec![(
                                "f".to_owned(),
                                Setting { line: 11, value: Value::DateOrTime("08:30".to_owned()) },
                            )],
                        ),
                    ]),
                },
            ),
        ];
        assert_eq!(table.entries, expected);
    }

    #[test]
    fn every_broken_rule_is_found_with_its_line() {
        let problems = read_settings("unit.toml", b"a = \nb = 1\nb = 2\n[c\n").expect_err("broken");
        let lines: Vec<_> = problems.iter().map(|problem| problem.place.line).collect();
        assert_eq!(lines, [Some(1), Some(3), Some(4)]);
    }

    #[test]
    fn a_settings_file_in_another_encoding_is_refused_with_its_line() {
        let problems =
            read_settings("unit.toml", b"a = 1\nfever_from = \"38 \xb0C\"\n").expect_err("not UTF-8");
        assert_eq!(problems.iter().map(|problem| problem.place.line).collect::<Vec<_>>(), [Some(2)]);
    }

    #[test]
    fn a_key_is_told_by_its_line_and_a_missing_one_by_what_it_belongs_under() {
        let text = "[card.labels]\nday = \"a\"\n\n[card]\ntitle = \"b\"\n[front.sections]\nmissing = { title = \"c\" }\n\
                    [[card.cooled]]\ntitle = \"d\"\nlines = [\n  \"e\",\n]\n[[card.cooled]]\ntitle = \"f\"\n";
        let table = read_settings("xx.toml", text.as_bytes()).expect("TOML");
        let known = [
            ("card.labels.day", 2),
            ("card.title", 5),
            ("card.cooled.0.title", 9),
            ("card.cooled.0.lines.0", 11),
            ("card.cooled.1.title", 14),
        ];
        let missing = [
            ("card.labels.date", 1),
            ("front.sections.missing.none", 7),
            ("front.sections.names", 6),
            ("card.cooled.1.lines", 13),
            ("bay.title", 1),
        ];
        for (key, line) in known.into_iter().chain(missing) {
            assert_eq!(table.line_of(key), line, "{key}");
        }
    }
}
