//! `unit.toml`'s tree to a [`Unit`] and to how the unit's day lists are written.

use std::collections::BTreeMap;

use chrono::{NaiveDate, NaiveDateTime, NaiveTime};
use chrono_tz::{TZ_VARIANTS, Tz};

use super::columns::Column;
use super::dates::DateForm;
use super::nearest;
use super::printer::printer;
use super::rooms::{bays, machines};
use super::section::{Check, Keys, Section};
use super::times::{LAST_MINUTE, TimeForm};
use super::visit::WORDS;
use super::{AtHand, limits};
use crate::clock::{Minutes, Moment};
use crate::patient::NextVisit;
use crate::problem::{Found, Problem};
use crate::read::{Table, Value};
use crate::unit_rules::{CapStock, CoolingStart, HandsOn, PostCoolingFrom, Rules, Shift, Unit, UnitMinutes};

/// The sections of `unit.toml` and their keys. The sizes under `caps` and the columns
/// under `day_list.columns` are checked by their own rules.
pub(super) const KEYS: Keys = &[
    (
        "",
        &[
            "name",
            "time_zone",
            "opens",
            "closes",
            "phone_day",
            "phone_night",
            "engineer_phone",
            "fever_from",
            "language",
            "rinse_within_hours",
            "shifts",
            "bays",
            "machines",
            "caps",
            "minutes",
            "rules",
            "hands_on",
            "day_list",
            "printer",
        ],
    ),
    ("shifts", &["name", "from", "to"]),
    ("bays", &["name", "nurses", "chairs", "reach"]),
    ("machines", &["name", "bay", "outlets", "movable", "pause", "out_of_service"]),
    ("machines.out_of_service", &["from", "to", "outlet", "reason"]),
    (
        "minutes",
        &[
            "settle",
            "prepare_first",
            "prepare_return",
            "pre_cooling",
            "pre_cooling_thick",
            "post_cooling",
            "warm_up",
            "seated",
            "break_longest",
            "break_reminder",
            "first_check",
            "chair_turnaround",
            "outlet_clean",
            "cap_clean",
            "machine_start",
            "machine_move",
        ],
    ),
    (
        "rules",
        &[
            "cooling_start",
            "post_cooling_from",
            "flush_counts",
            "hand_over_slack",
            "retime_earlier",
            "retime_later",
        ],
    ),
    ("hands_on", &["connect", "drug_start", "disconnect", "cap_off"]),
    ("day_list", &["columns", "dates", "times", "words"]),
    ("printer", &["bar_across", "bar_up", "frame_left", "frame_bottom"]),
];

/// The keys of `minutes` that have no default: they describe the unit's own rooms and people.
const NEEDED_MINUTES: [&str; 8] = [
    "settle",
    "prepare_first",
    "prepare_return",
    "chair_turnaround",
    "outlet_clean",
    "cap_clean",
    "machine_start",
    "machine_move",
];

/// How the unit's booking system writes a day list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct ListForm {
    /// The headers of columns that are not headed with their own name.
    pub(super) headers: BTreeMap<Column, String>,
    /// The form of dates.
    pub(super) dates: DateForm,
    /// The form of times.
    pub(super) times: TimeForm,
    /// The unit's own words in lower case, each with the program's.
    pub(super) words: BTreeMap<String, &'static str>,
}

/// Words for yes and no that mean the same everywhere: spreadsheets write `TRUE` for a box that is ticked.
const USUAL_WORDS: [(&str, &str); 4] = [("y", "yes"), ("true", "yes"), ("n", "no"), ("false", "no")];

impl ListForm {
    /// The program's word for a cell's.
    pub(super) fn word(&self, cell: &str) -> String {
        let cell = cell.to_lowercase();
        let usual = USUAL_WORDS.iter().find(|(word, _)| *word == cell).map(|(_, meant)| *meant);
        self.words.get(&cell).copied().or(usual).map_or(cell, str::to_owned)
    }

    /// Reads a date, or a date and a time.
    pub(super) fn next_visit(&self, cell: &str) -> Option<NextVisit> {
        if let Some(day) = self.dates.read(cell) {
            return Some(NextVisit::Day(day));
        }
        let (day, time) = self.dated_time(cell, LAST_MINUTE)?;
        let minutes = u32::try_from(time.minutes()).ok()?;
        let time = NaiveTime::from_hms_opt(minutes / 60, minutes % 60, 0)?;
        Some(NextVisit::At(NaiveDateTime::new(day, time)))
    }

    /// Reads a date with a time up to `last` behind it, parted by a space or a `T`.
    pub(super) fn dated_time(&self, cell: &str, last: Moment) -> Option<(NaiveDate, Moment)> {
        cell.match_indices([' ', 'T']).find_map(|(place, between)| {
            let (date, clock) = (&cell[..place], &cell[place + between.len()..]);
            Some((self.dates.read(date)?, self.times.read(clock.trim_start(), last)?))
        })
    }
}

impl Default for ListForm {
    fn default() -> Self {
        Self {
            headers: BTreeMap::new(),
            dates: DateForm::iso(),
            times: TimeForm::Colon,
            words: BTreeMap::new(),
        }
    }
}

/// What could be made of `unit.toml`. The parts that hold no fault help to check the day list, even
/// where others are faulty.
pub(super) struct UnitFile {
    /// The unit, or all that is wrong with the file.
    pub(super) unit: Result<Unit, Vec<Problem>>,
    /// The bays, if they are right.
    pub(super) bays: Option<Vec<crate::unit_rules::Bay>>,
    /// The caps, if they are right.
    pub(super) caps: Option<Vec<CapStock>>,
    /// How a day list is written, if that is right.
    pub(super) list_form: Option<ListForm>,
    /// The post-cooling minutes, if they are right.
    pub(super) post_cooling: Option<Minutes>,
    /// When the unit closes, if that is right.
    pub(super) closes: Option<Moment>,
}

/// Checks a unit's file.
pub(super) fn unit(file: &str, table: &Table, at_hand: &AtHand) -> UnitFile {
    let mut check = Check::new(file, KEYS, at_hand);
    let top = check.top(table);
    let (name, time_zone) = (check.text(top, "name", "Riverside Day Unit"), time_zone(&mut check, top));
    let hours = part(&mut check, |check| opening_hours(check, top));
    let shifts = shifts(&mut check, top);
    let bays = part(&mut check, |check| bays(check, top));
    let machines = machines(&mut check, top, bays.right());
    let caps = part(&mut check, |check| caps(check, top));
    let minutes = part(&mut check, |check| unit_minutes(check, top, hours.right().map(|hours| hours.0)));
    let list_form = part(&mut check, |check| list_form(check, top));
    let unit = Unit {
        name,
        time_zone,
        opens: hours.value.0,
        closes: hours.value.1,
        phone_day: check.text(top, "phone_day", "01632 960101"),
        phone_night: check.text(top, "phone_night", "01632 960199"),
        engineer_phone: check.text(top, "engineer_phone", "07700 900555"),
        fever_from: check.text(top, "fever_from", "38.0 °C"),
        language: language(&mut check, top),
        rinse_within_hours: check.count_of(top, "rinse_within_hours", 1..=limits::RINSE_HOURS, Some(24)),
        shifts,
        bays: bays.value.clone(),
        machines,
        caps: caps.value.clone(),
        minutes: minutes.value.clone(),
        rules: rules(&mut check, top),
        hands_on: hands_on(&mut check, top),
        printer: printer(&mut check, top),
    };
    UnitFile {
        unit: check.finish(unit),
        post_cooling: minutes.right().map(|minutes| minutes.post_cooling),
        closes: hours.right().map(|(_, closes)| *closes),
        bays: bays.into_right(),
        caps: caps.into_right(),
        list_form: list_form.into_right(),
    }
}

/// A part of the file, and whether checking it found nothing wrong.
struct Part<T> {
    value: T,
    is_right: bool,
}

impl<T> Part<T> {
    fn right(&self) -> Option<&T> {
        self.is_right.then_some(&self.value)
    }

    fn into_right(self) -> Option<T> {
        self.is_right.then_some(self.value)
    }
}

fn part<'a, T>(check: &mut Check<'a>, read: impl FnOnce(&mut Check<'a>) -> T) -> Part<T> {
    let before = check.count();
    let value = read(check);
    Part { value, is_right: check.count() == before }
}

fn time_zone<'a>(check: &mut Check<'a>, top: Section<'a>) -> Tz {
    let name = check.text(top, "time_zone", "Europe/London");
    if name.is_empty() {
        return Tz::UTC;
    }
    name.parse().unwrap_or_else(|_| {
        let help = match nearest::nearest(&name, TZ_VARIANTS.iter().map(|zone| zone.name())) {
            Some(zone) => format!("did you mean `{zone}`?"),
            None => "write a name of the IANA time zone database, for example `Europe/London`".to_owned(),
        };
        check.fault(top, "time_zone", "time zone does not exist", Some(Found::Value(name)), help);
        Tz::UTC
    })
}

/// Opening and closing; the unit opens on its own day and may close in the night after it.
fn opening_hours<'a>(check: &mut Check<'a>, top: Section<'a>) -> (Moment, Moment) {
    let before = check.count();
    let (opens, closes) = (check.moment(top, "opens"), check.moment(top, "closes"));
    if check.count() == before {
        let found = |moment: Moment| Some(Found::Value(moment.to_string()));
        if opens > LAST_MINUTE {
            let help = "write a time up to 23:59";
            check.fault(top, "opens", "unit opens after midnight", found(opens), help);
        } else if opens >= closes {
            let what = format!("unit does not close after it opens at {opens}");
            let help = "write a later time; after midnight go on counting, for example \"26:00\"";
            check.fault(top, "closes", what, found(closes), help);
        }
    }
    (opens, closes)
}

/// The language of the unit's wording, which must be at hand.
fn language<'a>(check: &mut Check<'a>, top: Section<'a>) -> String {
    let at_hand = check.at_hand();
    let language = check.optional_text(top, "language").unwrap_or_else(|| "en".to_owned());
    if !at_hand.languages.contains(&language) {
        let codes: Vec<&str> = at_hand.languages.iter().map(String::as_str).collect();
        let help = nearest::help(&language, &codes);
        let what = "there is no wording file for the language";
        check.fault(top, "language", what, Some(Found::Value(language.clone())), help);
    }
    language
}

fn shifts<'a>(check: &mut Check<'a>, top: Section<'a>) -> Vec<Shift> {
    let mut shifts: Vec<Shift> = Vec::new();
    for section in check.tables(top, "shifts", limits::SHIFTS) {
        let before = check.count();
        let name = check.text(section, "name", "Early");
        let (from, to) = (check.moment(section, "from"), check.moment(section, "to"));
        if check.count() > before {
            continue;
        }
        if from >= to {
            let help = "write a later time; after midnight go on counting, for example \"31:00\"";
            let found = Some(Found::Value(to.to_string()));
            check.fault(section, "to", format!("shift does not end after it starts at {from}"), found, help);
        }
        if shifts.iter().any(|shift| shift.name == name) {
            let help = "give each shift a name of its own";
            check.fault(section, "name", "two shifts have the same name", Some(Found::Value(name)), help);
            continue;
        }
        shifts.push(Shift { name, from, to });
    }
    shifts
}

fn caps<'a>(check: &mut Check<'a>, top: Section<'a>) -> Vec<CapStock> {
    let Some(section) = check.section(top, "caps", &[]) else { return Vec::new() };
    if section.entries().count() > limits::CAP_SIZES {
        let help = format!("write at most {} sizes", limits::CAP_SIZES);
        check.fault(top, "caps", "too many sizes of caps", None, help);
        return Vec::new();
    }
    let mut caps: Vec<CapStock> = Vec::new();
    for (key, _) in section.entries() {
        let size = check.own_key(section, key);
        let count = check.count_of(section, key, 0..=limits::CAPS, None);
        if caps.iter().any(|cap| cap.size.to_lowercase() == size.to_lowercase()) {
            let help = "give each size once";
            check.fault(section, key, "two sizes of caps have the same name", Some(Found::Value(size)), help);
        } else {
            caps.push(CapStock { size, count });
        }
    }
    caps
}

/// The unit's minutes; those that describe its own rooms and people have no default.
fn unit_minutes<'a>(check: &mut Check<'a>, top: Section<'a>, opens: Option<Moment>) -> UnitMinutes {
    let section = check.section(top, "minutes", &NEEDED_MINUTES);
    let mut minutes =
        |key, default| section.map_or(Minutes::new(0), |section| check.minutes(section, key, default));
    let read = UnitMinutes {
        settle: minutes("settle", None),
        prepare_first: minutes("prepare_first", None),
        prepare_return: minutes("prepare_return", None),
        pre_cooling: minutes("pre_cooling", Some(30)),
        pre_cooling_thick: minutes("pre_cooling_thick", Some(45)),
        post_cooling: minutes("post_cooling", Some(90)),
        warm_up: minutes("warm_up", Some(10)),
        seated: minutes("seated", Some(10)),
        break_longest: minutes("break_longest", Some(10)),
        break_reminder: minutes("break_reminder", Some(8)),
        first_check: minutes("first_check", Some(15)),
        chair_turnaround: minutes("chair_turnaround", None),
        outlet_clean: minutes("outlet_clean", None),
        cap_clean: minutes("cap_clean", None),
        machine_start: minutes("machine_start", None),
        machine_move: minutes("machine_move", None),
    };
    on_in_time(check, section, read.machine_start, opens);
    break_reminder_in_time(check, section, read)
}

/// A machine that must be on at opening is switched on the same day.
fn on_in_time<'a>(
    check: &mut Check<'a>,
    section: Option<Section<'a>>,
    machine_start: Minutes,
    opens: Option<Moment>,
) {
    let (Some(section), Some(opens)) = (section, opens) else { return };
    if Moment::from_midnight(0) + machine_start > opens {
        let what = format!(
            "machine would have to be switched on the day before to be cold when the unit opens at {opens}"
        );
        let found = Some(Found::Value(machine_start.get().to_string()));
        check.fault(
            section,
            "machine_start",
            what,
            found,
            "write how long a machine takes from switching on until it is cold",
        );
    }
}

/// A reminder after the end of the break is no reminder; a default one follows a shorter break.
fn break_reminder_in_time<'a>(
    check: &mut Check<'a>,
    section: Option<Section<'a>>,
    minutes: UnitMinutes,
) -> UnitMinutes {
    if minutes.break_reminder <= minutes.break_longest {
        return minutes;
    }
    if let Some(section) = section.filter(|section| section.get("break_reminder").is_some()) {
        let what =
            format!("reminder comes after the longest break of {} minutes", minutes.break_longest.get());
        let found = Some(Found::Value(minutes.break_reminder.get().to_string()));
        check.fault(section, "break_reminder", what, found, "write fewer minutes than `break_longest`");
    }
    UnitMinutes { break_reminder: minutes.break_longest, ..minutes }
}

fn rules<'a>(check: &mut Check<'a>, top: Section<'a>) -> Rules {
    let section = check.section(top, "rules", &[]);
    let starts = [("in time", CoolingStart::InTime), ("at once", CoolingStart::AtOnce)];
    let clocks = [
        ("last hair-loss drug", PostCoolingFrom::LastHairLossDrug),
        ("last cytotoxic drug", PostCoolingFrom::LastCytotoxicDrug),
    ];
    let mut minutes = |key, default| {
        section.map_or(Minutes::new(default), |section| check.minutes(section, key, Some(default)))
    };
    let (hand_over_slack, retime_earlier, retime_later) =
        (minutes("hand_over_slack", 10), minutes("retime_earlier", 0), minutes("retime_later", 0));
    Rules {
        cooling_start: check.choice(section, "cooling_start", starts),
        post_cooling_from: check.choice(section, "post_cooling_from", clocks),
        flush_counts: section.is_none_or(|section| check.truth(section, "flush_counts", Some(true))),
        hand_over_slack,
        retime_earlier,
        retime_later,
    }
}

fn hands_on<'a>(check: &mut Check<'a>, top: Section<'a>) -> HandsOn {
    let section = check.section(top, "hands_on", &["connect", "drug_start", "disconnect", "cap_off"]);
    let mut minutes = |key| section.map_or(Minutes::new(0), |section| check.minutes(section, key, None));
    HandsOn {
        connect: minutes("connect"),
        drug_start: minutes("drug_start"),
        disconnect: minutes("disconnect"),
        cap_off: minutes("cap_off"),
    }
}

/// The header names and the form of dates of the unit's lists.
fn list_form<'a>(check: &mut Check<'a>, top: Section<'a>) -> ListForm {
    let Some(section) = check.section(top, "day_list", &[]) else { return ListForm::default() };
    let dates = check.optional_text(section, "dates");
    let form = dates.as_deref().map_or_else(|| Some(DateForm::iso()), DateForm::parse);
    if form.is_none() {
        let help = "write DD, MM or Mmm, and YYYY with `/`, `.`, `-` or a space between them, for example `DD/MM/YYYY`";
        check.fault(section, "dates", "form of dates cannot be read", dates.map(Found::Value), help);
    }
    ListForm {
        headers: headers(check, section),
        dates: form.unwrap_or_else(DateForm::iso),
        times: times(check, section),
        words: words(check, section),
    }
}

/// The unit's own words of the day list, each with the program's.
fn words<'a>(check: &mut Check<'a>, section: Section<'a>) -> BTreeMap<String, &'static str> {
    let mut words = BTreeMap::new();
    let Some(setting) = section.get("words") else { return words };
    let Value::Table(table) = &setting.value else {
        let help = "write `words = { ja = \"yes\" }`, with the list's word first and the program's second";
        check.wrong(section, "words", "setting is not a section", &setting.value, help);
        return words;
    };
    let own = check.inner("day_list.words", table);
    for (key, _) in own.entries() {
        let word = check.own_key(own, key).to_lowercase();
        let Some(meant) = check.optional_text(own, key) else { continue };
        let known = WORDS.into_iter().find(|known| *known == meant.to_lowercase());
        if let Some(known) = known.filter(|known| WORDS.contains(&word.as_str()) && *known != word) {
            let help = format!("give `{known}` another word: `{word}` has a meaning of its own");
            check.fault(own, key, "word of the program is given another meaning", None, help);
        } else if let Some(known) = known {
            words.insert(word, known);
        } else {
            let help = nearest::help(&meant, &WORDS);
            check.fault(own, key, "day list has no such word", Some(Found::Value(meant)), help);
        }
    }
    words
}

/// The form of times of the unit's lists.
fn times<'a>(check: &mut Check<'a>, section: Section<'a>) -> TimeForm {
    let Some(written) = check.optional_text(section, "times") else { return TimeForm::Colon };
    let form = TimeForm::ALL.into_iter().find(|form| form.written().eq_ignore_ascii_case(&written));
    form.unwrap_or_else(|| {
        let help = nearest::help(&written, &TimeForm::ALL.map(TimeForm::written));
        check.fault(section, "times", "form of times cannot be read", Some(Found::Value(written)), help);
        TimeForm::Colon
    })
}

fn headers<'a>(check: &mut Check<'a>, section: Section<'a>) -> BTreeMap<Column, String> {
    let mut headers = BTreeMap::new();
    let Some(setting) = section.get("columns") else { return headers };
    let Value::Table(table) = &setting.value else {
        let help = "write `columns = { arrive = \"Appt time\" }`, with the program's name first and the list's header second";
        check.wrong(section, "columns", "setting is not a section", &setting.value, help);
        return headers;
    };
    let columns = check.inner("day_list.columns", table);
    for (key, _) in columns.entries() {
        let Some(column) = Column::named(key) else {
            let names: Vec<&str> = Column::ALL.iter().map(|column| column.name()).collect();
            check.fault(
                columns,
                key,
                "day list has no column of this name",
                None,
                nearest::help(key, &names),
            );
            continue;
        };
        let Some(header) = check.optional_text(columns, key) else { continue };
        if headers.values().any(|other: &String| other.to_lowercase() == header.to_lowercase()) {
            let help = "map each header of the list to one column";
            check.fault(
                columns,
                key,
                "two columns are mapped to one header",
                Some(Found::Value(header)),
                help,
            );
        } else {
            headers.insert(column, header);
        }
    }
    headers
}
