//! Where a key of a wording file stands, or where it belongs if it is missing.
//!
//! Lines are for messages only; nothing that is printed depends on them.

use std::collections::BTreeMap;

use crate::problem::Problem;
use crate::read::settings::{Setting, Table, Value, read_settings};

/// The lines of a wording file.
#[derive(Clone, Debug)]
pub struct WordingLines {
    table: Table,
    /// The first line of each heading in square brackets, by its dotted name.
    headings: BTreeMap<String, u32>,
}

impl WordingLines {
    /// Finds the lines of the wording file `file`.
    ///
    /// # Errors
    /// Every place at which the file breaks the rules of TOML.
    pub fn read(file: &str, bytes: &[u8]) -> Result<Self, Vec<Problem>> {
        let table = read_settings(file, bytes)?;
        let mut headings = BTreeMap::new();
        for (line, text) in (1..).zip(String::from_utf8_lossy(bytes).lines()) {
            let name = text.trim_start().strip_prefix('[').and_then(|rest| rest.split_once(']'));
            if let Some((name, _)) = name {
                headings.entry(name.trim_start_matches('[').trim().to_owned()).or_insert(line);
            }
        }
        Ok(Self { table, headings })
    }

    /// The file's tables and texts.
    #[must_use]
    pub fn table(&self) -> &Table {
        &self.table
    }

    /// The line, from 1, of the text at a dotted key. If it is missing: the line of the heading under which it
    /// belongs, or else of the table; 1 if there is none.
    #[must_use]
    pub fn line(&self, key: &str) -> u32 {
        let parts: Vec<&str> = key.split('.').collect();
        let mut place: Option<(usize, &Setting)> = None;
        while let Some(next) = parts.get(place.map_or(0, |(depth, _)| depth)) {
            let Some(found) = below(place.map_or(Inside::Table(&self.table), |(_, at)| inside(at)), next)
            else {
                break;
            };
            place = Some((place.map_or(1, |(depth, _)| depth + 1), found));
        }
        let Some((depth, found)) = place else { return 1 };
        let heading = parts.get(..depth).map(|known| known.join("."));
        let heading = heading.filter(|_| depth < parts.len()).and_then(|name| self.headings.get(&name));
        heading.copied().unwrap_or(found.line)
    }
}

/// What a setting holds that a key can lead into.
enum Inside<'a> {
    Table(&'a Table),
    List(&'a [Setting]),
    Nothing,
}

fn inside(setting: &Setting) -> Inside<'_> {
    match &setting.value {
        Value::Table(table) => Inside::Table(table),
        Value::List(items) => Inside::List(items),
        _ => Inside::Nothing,
    }
}

/// The setting that one part of a key names: a key of a table, or a place of a list, counted from 0.
fn below<'a>(inside: Inside<'a>, part: &str) -> Option<&'a Setting> {
    match inside {
        Inside::Table(table) => table.get(part),
        Inside::List(items) => items.get(part.parse::<usize>().ok()?),
        Inside::Nothing => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_is_told_by_its_line_and_a_missing_one_by_the_heading_it_belongs_under() {
        let text = "[card.labels]\nday = \"a\"\n\n[card]\ntitle = \"b\"\n[front.sections]\nmissing = { title = \"c\" }\n\
                    [[card.cooled]]\ntitle = \"d\"\nlines = [\n  \"e\",\n]\n[[card.cooled]]\ntitle = \"f\"\n";
        let lines = WordingLines::read("xx.toml", text.as_bytes()).expect("TOML");
        let known = [
            ("card.labels.day", 2),
            ("card.title", 5),
            ("card.cooled.0.title", 9),
            ("card.cooled.0.lines.0", 11),
            ("card.cooled.1.title", 14),
        ];
        let missing = [
            ("card.labels.date", 1),
            ("card.ring", 4),
            ("front.sections.missing.none", 7),
            ("front.sections.names", 6),
            ("card.cooled.1.lines", 13),
            ("bay.title", 1),
        ];
        for (key, line) in known.into_iter().chain(missing) {
            assert_eq!(lines.line(key), line, "{key}");
        }
    }
}
