//! The words of one language: every printed text, with placeholders that are filled in strictly.
//!
//! A placeholder or key that does not exist is a problem with the file's name and the key; nothing
//! falls back to another language or to an empty text.

use chrono::{Datelike, NaiveDate};
use handlebars::template::{Parameter, TemplateElement};
use handlebars::{Handlebars, Template};
use serde_json::{Map, Value, json};

use super::paperwork::Direction;
use super::wording_check::plural_form;
use super::wording_lines::WordingLines;
use crate::clock::{Minutes, Moment};
use crate::problem::{Place, Problem};
use crate::unit_rules::Unit;

/// The words of one wording file.
#[derive(Debug)]
pub struct Words {
    file: String,
    table: Value,
    templates: Handlebars<'static>,
    shared: Map<String, Value>,
    lines: Option<WordingLines>,
}

impl Words {
    /// Reads a wording file. `file` is its name for messages.
    ///
    /// # Errors
    ///
    /// If the text is not TOML, or a text in it is not a template.
    pub fn parse(file: &str, text: &str) -> Result<Self, Problem> {
        let fault = |what: String, line, column| Problem {
            what,
            place: Place { file: file.to_owned(), line, column, ..Place::default() },
            found: None,
            help: "mend the wording file; words in double braces are placeholders".to_owned(),
        };
        let table: toml::Table = toml::from_str(text).map_err(|error| {
            let line = error.span().and_then(|span| line_of(text, span.start));
            fault(format!("the wording file cannot be read: {}", error.message()), line, None)
        })?;
        let lines = WordingLines::read(file, text.as_bytes()).ok();
        let table = serde_json::to_value(table).map_err(|error| fault(error.to_string(), None, None))?;
        let mut templates = Handlebars::new();
        templates.set_strict_mode(true);
        templates.register_escape_fn(handlebars::no_escape);
        for (key, template) in texts("", &table) {
            let line = lines.as_ref().map(|lines| lines.line(&key));
            let at = |what: String| fault(what, line, Some(key.clone()));
            let template = Template::compile(template)
                .map_err(|error| at(format!("a text is not a template: {}", error.reason())))?;
            if !template.elements.iter().all(is_plain) {
                return Err(at("a text holds more than words and placeholders".to_owned()));
            }
            templates.register_template(&key, template);
        }
        Ok(Self { file: file.to_owned(), table, templates, shared: Map::new(), lines })
    }

    /// The same words with the unit's names, numbers and minutes at hand for their placeholders.
    #[must_use]
    pub fn of_unit(mut self, unit: &Unit) -> Self {
        self.shared = shared(unit);
        self
    }

    /// The same words with what an invented unit would state, to try them.
    #[must_use]
    pub fn of_an_invented_unit(mut self) -> Self {
        let Value::Object(shared) = json!({
            "unit": {
                "name": "Day Unit", "phone_day": "01632 960101", "phone_night": "01632 960199",
                "engineer_phone": "01632 960150", "fever_from": "38.0 °C", "opens": "08:00", "closes": "20:00",
                "rinse_within_hours": 24,
            },
            "minutes": {
                "warm_up": 10, "seated": 10, "break_longest": 10, "break_reminder": 8, "first_check": 15,
                "machine_start": 60, "machine_move": 15, "outlet_clean": 10,
            },
        }) else {
            return self;
        };
        self.shared = shared;
        self
    }

    /// The language's code, as the file states it.
    ///
    /// # Errors
    ///
    /// If the file does not state it.
    pub fn language(&self) -> Result<String, Problem> {
        self.say("meta.code", &json!({}))
    }

    /// The direction of the script.
    ///
    /// # Errors
    ///
    /// If the file states neither `ltr` nor `rtl`.
    pub fn direction(&self) -> Result<Direction, Problem> {
        match self.say("meta.direction", &json!({}))?.as_str() {
            "ltr" => Ok(Direction::Ltr),
            "rtl" => Ok(Direction::Rtl),
            _ => Err(self.fault("meta.direction", "the direction is neither ltr nor rtl")),
        }
    }

    /// Whether the file has the words of the staff sheets too, not those of the card alone.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.table.get("front").is_some()
    }

    /// Whether a clinician of the unit has marked the words as checked.
    #[must_use]
    pub fn is_checked(&self) -> bool {
        self.table.pointer("/meta/checked_by").and_then(Value::as_str).is_some_and(|by| !by.trim().is_empty())
    }

    /// The text at a dotted key, its placeholders filled from `data` and from what the unit states.
    ///
    /// # Errors
    ///
    /// If there is no such text, or it asks for a placeholder that is not there.
    pub fn say(&self, key: &str, data: &Value) -> Result<String, Problem> {
        let mut all = self.shared.clone();
        if let Value::Object(given) = data {
            all.extend(given.clone());
        }
        let form = self.plural(key, data)?;
        let key = form.as_deref().unwrap_or(key);
        if !self.templates.has_template(key) {
            return Err(self.fault(key, "a text is missing"));
        }
        self.templates
            .render(key, &all)
            .map_err(|error| self.fault(key, &format!("a placeholder is not known: {}", error.reason())))
    }

    /// The key of the plural form that the data asks for, where the text at `key` is a table of forms: its
    /// `count` names the placeholder that is counted.
    fn plural(&self, key: &str, data: &Value) -> Result<Option<String>, Problem> {
        let Some(count) = self.at(key).and_then(|text| text.get("count")).and_then(Value::as_str) else {
            return Ok(None);
        };
        let number = data.get(count).and_then(Value::as_u64);
        let language = self.at("meta.code").and_then(Value::as_str).unwrap_or_default();
        let form = number.and_then(|number| plural_form(language, number));
        let form = form.ok_or_else(|| self.fault(key, "nothing counts for the plural forms"))?;
        Ok(Some(format!("{key}.{form}")))
    }

    /// The texts of a list at a dotted key.
    ///
    /// # Errors
    ///
    /// If there is no such list, or one of its texts asks for an unknown placeholder.
    pub fn list(&self, key: &str, data: &Value) -> Result<Vec<String>, Problem> {
        let Some(Value::Array(items)) = self.at(key) else {
            return Err(self.fault(key, "a list of texts is missing"));
        };
        (0..items.len()).map(|place| self.say(&format!("{key}.{place}"), data)).collect()
    }

    /// The fixed words of a kind of sheet: `common.labels` and `<sheet>.labels` as one dictionary.
    ///
    /// # Errors
    ///
    /// If a table is missing, or a text asks for a placeholder that the unit does not give.
    pub fn labels(&self, sheet: &str) -> Result<Value, Problem> {
        let mut labels = Map::new();
        for table in ["common.labels".to_owned(), format!("{sheet}.labels")] {
            let Some(Value::Object(entries)) = self.at(&table) else {
                return Err(self.fault(&table, "a table of labels is missing"));
            };
            for (name, value) in entries {
                let key = format!("{table}.{name}");
                let text = match value {
                    Value::Array(_) => Value::from(self.list(&key, &json!({}))?),
                    _ => Value::from(self.say(&key, &json!({}))?),
                };
                labels.insert(name.clone(), text);
            }
        }
        Ok(Value::Object(labels))
    }

    /// The titled lists at a dotted key, such as the parts of a care card: an array of tables with
    /// `title` and `lines`.
    ///
    /// # Errors
    ///
    /// If there is no such array, or one of its tables lacks a title or lines.
    pub fn titled_lists(&self, key: &str) -> Result<Vec<(String, Vec<String>)>, Problem> {
        let Some(Value::Array(parts)) = self.at(key) else {
            return Err(self.fault(key, "a list of titled texts is missing"));
        };
        let nothing = json!({});
        let part = |place: usize| {
            let title = self.say(&format!("{key}.{place}.title"), &nothing)?;
            Ok((title, self.list(&format!("{key}.{place}.lines"), &nothing)?))
        };
        (0..parts.len()).map(part).collect()
    }

    /// A length of time: `2hr 40min`, by the file's `durations`.
    ///
    /// # Errors
    ///
    /// If a pattern is missing.
    pub fn duration(&self, length: Minutes) -> Result<String, Problem> {
        let (hours, minutes) = (length.get() / 60, length.get() % 60);
        let pattern = match (hours, minutes) {
            (0, _) => "durations.minutes",
            (_, 0) => "durations.hours",
            _ => "durations.hours_minutes",
        };
        self.say(pattern, &json!({ "hours": hours, "minutes": minutes }))
    }

    /// `09:10 to 12:20`, by the file's `dates.range`.
    ///
    /// # Errors
    ///
    /// If the pattern is missing.
    pub fn range(&self, from: Moment, until: Moment) -> Result<String, Problem> {
        self.say("dates.range", &json!({ "from": from, "until": until }))
    }

    /// A date by the pattern `dates.<pattern>` of the file.
    ///
    /// # Errors
    ///
    /// If the pattern or a name of a day or month is missing.
    pub fn date(&self, pattern: &str, day: NaiveDate) -> Result<String, Problem> {
        let weekday = day.weekday().num_days_from_monday();
        let name = |list: &str, place: u32| self.say(&format!("dates.{list}.{place}"), &json!({}));
        let parts = json!({
            "weekday": name("weekdays", weekday)?,
            "weekday_short": name("weekdays_short", weekday)?,
            "month": name("months", day.month0())?,
            "month_short": name("months_short", day.month0())?,
            "day": day.day().to_string(),
            "day2": format!("{:02}", day.day()),
            "year": format!("{:04}", day.year()),
        });
        self.say(&format!("dates.{pattern}"), &parts)
    }

    fn at(&self, key: &str) -> Option<&Value> {
        self.table.pointer(&format!("/{}", key.replace('.', "/")))
    }

    fn fault(&self, key: &str, what: &str) -> Problem {
        Problem {
            what: what.to_owned(),
            place: Place {
                file: self.file.clone(),
                line: self.lines.as_ref().map(|lines| lines.line(key)),
                column: Some(key.to_owned()),
                ..Place::default()
            },
            found: None,
            help: "compare the wording file with layouts/wording/en.toml".to_owned(),
        }
    }
}

/// Whether a part of a text is words or a placeholder. Loops and texts within texts could go on for ever.
fn is_plain(part: &TemplateElement) -> bool {
    match part {
        TemplateElement::RawString(_) => true,
        TemplateElement::Expression(placeholder) | TemplateElement::HtmlExpression(placeholder) => {
            matches!(placeholder.name, Parameter::Name(_) | Parameter::Path(_))
                && placeholder.params.is_empty()
                && placeholder.hash.is_empty()
        }
        _ => false,
    }
}

/// The line of a byte, from 1.
fn line_of(text: &str, byte: usize) -> Option<u32> {
    let before = text.get(..byte)?;
    u32::try_from(before.matches('\n').count() + 1).ok()
}

/// Every text below a value with its dotted key.
fn texts<'a>(key: &str, value: &'a Value) -> Vec<(String, &'a str)> {
    let below = |name: &str| if key.is_empty() { name.to_owned() } else { format!("{key}.{name}") };
    match value {
        Value::String(text) => vec![(key.to_owned(), text.as_str())],
        Value::Array(items) => items
            .iter()
            .enumerate()
            .flat_map(|(place, item)| texts(&below(&place.to_string()), item))
            .collect(),
        Value::Object(entries) => entries.iter().flat_map(|(name, item)| texts(&below(name), item)).collect(),
        _ => Vec::new(),
    }
}

/// What every text may ask for.
fn shared(unit: &Unit) -> Map<String, Value> {
    let minutes = &unit.minutes;
    let values = json!({
        "unit": {
            "name": unit.name,
            "phone_day": unit.phone_day,
            "phone_night": unit.phone_night,
            "engineer_phone": unit.engineer_phone,
            "fever_from": unit.fever_from,
            "opens": unit.opens.to_string(),
            "closes": unit.closes.to_string(),
            "rinse_within_hours": unit.rinse_within_hours,
        },
        "minutes": {
            "warm_up": minutes.warm_up.get(),
            "seated": minutes.seated.get(),
            "break_longest": minutes.break_longest.get(),
            "break_reminder": minutes.break_reminder.get(),
            "first_check": minutes.first_check.get(),
            "machine_start": minutes.machine_start.get(),
            "machine_move": minutes.machine_move.get(),
            "outlet_clean": minutes.outlet_clean.get(),
        },
    });
    match values {
        Value::Object(entries) => entries,
        _ => Map::new(),
    }
}
