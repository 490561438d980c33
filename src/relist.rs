//! The day list with the proposed arrival times: the same file, with other text in those cells alone.
//!
//! Writes each time in the form that the list uses, and reads the outcome back before it is believed.

use crate::clock::Moment;
use crate::problem::{Found, Place, Problem};
use crate::propose::Change;
use crate::read::{CellFinder, File};
use crate::validate::DayList;

/// The bytes of a day list with some arrivals changed. `place` is the place of the arrival's column.
///
/// # Errors
/// If a cell is not found or is in no known form, which a list that was read cannot have.
pub fn relist(file: File<'_>, place: usize, list: &DayList, changes: &[Change]) -> Result<Vec<u8>, Problem> {
    let finder = CellFinder::new(file.name, file.bytes)?;
    let cells = |visit: &crate::patient::Visit| finder.cell(visit.line, place);
    let short_hours =
        list.visits.iter().filter_map(cells).any(|cell| finder.text(&cell).find(':') == Some(1));
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

/// A time in the form of the one that stands there: hours and minutes, with seconds if it has them, or
/// the fraction of a day that spreadsheets write.
fn in_form_of(written: &str, time: Moment, short_hours: bool) -> Option<String> {
    let (hours, minutes) = (time.minutes() / 60, time.minutes() % 60);
    if let Some(decimals) = written.strip_prefix("0.").or_else(|| written.strip_prefix("0,")) {
        let digits = u32::try_from(decimals.len()).ok()?.min(17);
        let whole = 10_i64.checked_pow(digits)?;
        let day = 24 * 60;
        // In two parts, so that no product is too large.
        let minutes = i64::from(time.minutes());
        let fraction = whole / day * minutes + (whole % day * minutes + day / 2) / day;
        return Some(format!("{}{fraction:0width$}", &written[..2], width = decimals.len().min(17)));
    }
    let mut parts = written.split(':');
    let (_, _) = (parts.next()?, parts.next()?);
    let seconds = parts.next().map_or(String::new(), |seconds| format!(":{seconds}"));
    Some(if short_hours {
        format!("{hours}:{minutes:02}{seconds}")
    } else {
        format!("{hours:02}:{minutes:02}{seconds}")
    })
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
        assert_eq!(written("half past", false), None);
    }
}
