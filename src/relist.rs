//! The day list with the proposed arrival times: the same file, with other text in those cells alone.
//!
//! Writes each time in the form that the list uses, and reads the outcome back before it is believed.

use crate::clock::Moment;
use crate::problem::{Found, Place, Problem};
use crate::propose::Change;
use crate::read::{CellFinder, File};
use crate::validate::DayList;
use crate::validate::times::{FRACTION_DECIMALS, half_day};

/// The bytes of a day list with some arrivals changed. `place` is the place of the arrival's column.
///
/// # Errors
/// If a cell is not found or is in no known form, which a list that was read cannot have.
pub fn relist(file: File<'_>, place: usize, list: &DayList, changes: &[Change]) -> Result<Vec<u8>, Problem> {
    let finder = CellFinder::new(file.name, file.bytes)?;
    let cells = |visit: &crate::patient::Visit| finder.cell(visit.line, place);
    let short_hours = list.visits.iter().filter_map(cells).any(|cell| is_short(finder.text(&cell)));
    let mut new = Vec::new();
    for change in changes {
        let line = list.visits[change.visit].line;
        let cell = finder.cell(line, place).ok_or_else(|| lost(file.name, line))?;
        let text =
            in_form_of(finder.text(&cell), change.to, short_hours).ok_or_else(|| lost(file.name, line))?;
        new.push((cell, text));
    }
    Ok(finder.with_cells(new))
}

/// Whether a time is written with one digit for its hours: `8:30`, `8.30`, `830`.
fn is_short(written: &str) -> bool {
    let clock = half_day(written).map_or(written, |(clock, _)| clock);
    let clock = bare(clock.rsplit([' ', 'T']).next().unwrap_or(clock));
    let digits = clock.chars().take_while(|character| is_digit(*character)).count();
    digits == 1 || (digits == 3 && clock.len() == 3)
}

/// A time in the form of the one that stands there: hours and minutes, with seconds and a mark of the half
/// day if it has them, or the fraction of a day that spreadsheets write.
fn in_form_of(written: &str, time: Moment, short_hours: bool) -> Option<String> {
    let (hours, minutes) = (time.minutes() / 60, time.minutes() % 60);
    let decimals = written.strip_prefix("0.").or_else(|| written.strip_prefix("0,"));
    if let Some(decimals) = decimals.filter(|decimals| decimals.len() >= FRACTION_DECIMALS) {
        let digits = u32::try_from(decimals.len()).ok()?.min(17);
        let whole = 10_i64.checked_pow(digits)?;
        let day = 24 * 60;
        // In two parts, so that no product is too large.
        let minutes = i64::from(time.minutes());
        let fraction = whole / day * minutes + (whole % day * minutes + day / 2) / day;
        return Some(format!("{}{fraction:0width$}", &written[..2], width = decimals.len().min(17)));
    }
    let (clock, mark) = match half_day(written) {
        Some((clock, _)) => (clock, marked(&written[clock.len()..], hours >= 12)),
        None => (written, String::new()),
    };
    let hours = if mark.is_empty() { hours } else { (hours + 11) % 12 + 1 };
    let hours = if short_hours { hours.to_string() } else { format!("{hours:02}") };
    // A date before the time stays as it is.
    let (date, clock) = clock.split_at(clock.rfind([' ', 'T']).map_or(0, |place| place + 1));
    let clock = bare(clock);
    let between = clock.trim_matches(is_digit).chars().next().map_or(String::new(), String::from);
    let rest = if between.is_empty() { None } else { clock.splitn(3, &between).nth(2) };
    let seconds = rest.map_or(String::new(), |seconds| format!("{between}{seconds}"));
    (!clock.is_empty()).then(|| format!("{date}{hours}{between}{minutes:02}{seconds}{mark}"))
}

const fn is_digit(character: char) -> bool {
    character.is_ascii_digit()
}

/// A time without what a spreadsheet puts around it.
fn bare(written: &str) -> &str {
    written.trim_matches(|character| !is_digit(character))
}

/// The mark of the half day with its other letter where that is due: ` PM` for ` AM`.
fn marked(mark: &str, is_after_noon: bool) -> String {
    let other = |character: char| match (character, is_after_noon) {
        ('a' | 'p', true) => 'p',
        ('A' | 'P', true) => 'P',
        ('a' | 'p', false) => 'a',
        ('A' | 'P', false) => 'A',
        (same, _) => same,
    };
    mark.chars().map(other).collect()
}

/// Whether the changed list, read anew, is the list with these arrivals and with nothing else changed.
#[must_use]
pub fn is_as_proposed(listed: &DayList, changed: &DayList, changes: &[Change]) -> bool {
    let proposed = listed.with_arrivals(changes.iter().map(|change| (change.visit, change.to)));
    proposed.day == changed.day
        && proposed.visits == changed.visits
        && proposed.held_back == changed.held_back
}

/// A cell that was read and is not found again: a fault of the program.
fn lost(file: &str, line: u32) -> Problem {
    Problem {
        what: "arrival time cannot be changed where it stands".to_owned(),
        place: Place { file: file.to_owned(), line: Some(line), column: None, ..Place::default() },
        found: Some(Found::Described("a cell that cannot be told from its neighbours".to_owned())),
        help: "change the arrival times by hand; `baypack propose` without `--out-list` prints them"
            .to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::in_form_of;
    use crate::clock::Moment;

    #[test]
    fn a_time_is_written_as_the_list_writes_it() {
        let time = Moment::from_midnight(8 * 60 + 30);
        let written = |form: &str, short| in_form_of(form, time, short);
        assert_eq!(written("10:15", false).as_deref(), Some("08:30"));
        assert_eq!(written("9:15", true).as_deref(), Some("8:30"));
        assert_eq!(written("09:15:00", false).as_deref(), Some("08:30:00"));
        // 510 of 1440 minutes are 0.3541666... of a day.
        assert_eq!(written("0.375000000", false).as_deref(), Some("0.354166667"));
        assert_eq!(written("0,37500", false).as_deref(), Some("0,35417"));
        assert_eq!(written("0.37500000000000001", false).as_deref(), Some("0.35416666666666667"));
        assert_eq!(written("10.15", false).as_deref(), Some("08.30"));
        assert_eq!(written("9.15", true).as_deref(), Some("8.30"));
        assert_eq!(written("0915", false).as_deref(), Some("0830"));
        assert_eq!(written("915", true).as_deref(), Some("830"));
        assert_eq!(written("=\"\"10:15", false).as_deref(), Some("08:30"));
        assert_eq!(written("1:15 PM", true).as_deref(), Some("8:30 AM"));
        assert_eq!(written("01:15:00 p.m.", false).as_deref(), Some("08:30:00 a.m."));
        assert_eq!(written("2031-03-14T10:15", false).as_deref(), Some("2031-03-14T08:30"));
        assert_eq!(written("14/03/2031 1:15 PM", true).as_deref(), Some("14/03/2031 8:30 AM"));
        let noon = Moment::from_midnight(12 * 60 + 5);
        assert_eq!(in_form_of("9:15am", noon, true).as_deref(), Some("12:05pm"));
        assert_eq!(written("half past", false), None);
    }
}
