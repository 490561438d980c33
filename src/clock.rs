//! Time as the unit writes it: whole minutes since local midnight of the unit's day.
//!
//! A [`Moment`] may lie past midnight (`26:00` is two in the morning after). Nothing here asks the
//! machine for the time, and no time is ever a fraction of a minute.

use std::fmt;
use std::ops::{Add, Sub};

use chrono::{Datelike, Duration, LocalResult, NaiveDate, NaiveDateTime, TimeZone};
use chrono_tz::Tz;
use serde::{Serialize, Serializer};

/// A length of time in whole minutes, 0 to [`Minutes::MOST`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Minutes(u32);

impl Minutes {
    /// The longest length that an input may state: one day. No stage of a day-unit visit is longer, nor are
    /// all drugs of a regimen, so that times print in two digits of hours.
    pub const MOST: u32 = 24 * 60;

    /// `minutes` as a length. Sums may pass [`Minutes::MOST`]; only inputs are held to it.
    #[must_use]
    pub const fn new(minutes: u32) -> Self {
        Self(minutes)
    }

    /// The number of minutes.
    #[must_use]
    pub const fn get(self) -> u32 {
        self.0
    }

    /// As a signed number, for differences.
    #[must_use]
    pub fn signed(self) -> i32 {
        i32::try_from(self.0).unwrap_or(i32::MAX)
    }
}

impl Add for Minutes {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl std::iter::Sum for Minutes {
    fn sum<I: Iterator<Item = Self>>(lengths: I) -> Self {
        lengths.fold(Self(0), |total, next| total + next)
    }
}

/// Prints `2hr 40min`, `10min`, `3hr`: whole numbers, largest unit first, zero units left out
/// (NHS Common User Interface, D+Tb-0026 to 0031).
impl fmt::Display for Minutes {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.0 / 60, self.0 % 60) {
            (0, minutes) => write!(out, "{minutes}min"),
            (hours, 0) => write!(out, "{hours}hr"),
            (hours, minutes) => write!(out, "{hours}hr {minutes}min"),
        }
    }
}

/// A point of the unit's day, in minutes since its local midnight by the clock on the wall.
///
/// Differences of moments are wall-clock differences; the only place where the clock change of a
/// time zone matters is [`Moment::plus_elapsed_hours`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Moment(i32);

impl Moment {
    /// A moment `minutes` after midnight; negative before it.
    #[must_use]
    pub const fn from_midnight(minutes: i32) -> Self {
        Self(minutes)
    }

    /// Minutes since midnight.
    #[must_use]
    pub const fn minutes(self) -> i32 {
        self.0
    }

    /// `slip` minutes later, or earlier if it is negative.
    #[must_use]
    pub const fn slipped(self, slip: i32) -> Self {
        Self(self.0 + slip)
    }

    /// How long it is from `earlier` to this moment; nothing if it is not later.
    #[must_use]
    pub fn since(self, earlier: Self) -> Minutes {
        Minutes(u32::try_from(self.0 - earlier.0).unwrap_or(0))
    }

    /// Reads `HH:MM` with hours 0 to 47, so that a closing time past midnight can be written.
    /// Returns `None` for any other form; the reader of the day list is stricter.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let (hours, minutes) = text.split_once(':')?;
        let digits = |part: &str| part.len() == 2 && part.bytes().all(|byte| byte.is_ascii_digit());
        if !digits(hours) || !digits(minutes) {
            return None;
        }
        let (hours, minutes): (i32, i32) = (hours.parse().ok()?, minutes.parse().ok()?);
        (hours < 48 && minutes < 60).then_some(Self(hours * 60 + minutes))
    }

    /// The local date and time of this moment on `day`.
    #[must_use]
    pub fn on(self, day: NaiveDate) -> NaiveDateTime {
        day.and_time(chrono::NaiveTime::MIN) + Duration::minutes(i64::from(self.0))
    }

    /// The local date and time `hours` elapsed hours after this moment of `day` in `zone`.
    ///
    /// A wall-clock time that happens twice is taken at its first occurrence, so that a deadline
    /// counted from it is the earlier one; one that does not exist is taken as if the clocks had
    /// not yet gone forward (as the tz database's users commonly resolve both).
    #[must_use]
    pub fn plus_elapsed_hours(self, hours: u32, day: NaiveDate, zone: Tz) -> NaiveDateTime {
        let local = self.on(day);
        let start = match zone.from_local_datetime(&local) {
            LocalResult::Single(found) | LocalResult::Ambiguous(found, _) => found.naive_utc(),
            LocalResult::None => before_the_gap(local, zone),
        };
        zone.from_utc_datetime(&(start + Duration::hours(i64::from(hours)))).naive_local()
    }
}

/// The universal time of a local time that a clock change skips, by the offset valid before it.
fn before_the_gap(local: NaiveDateTime, zone: Tz) -> NaiveDateTime {
    for quarters in 1..=4 * 48 {
        let back = Duration::minutes(15 * quarters);
        if let Some(earlier) = zone.from_local_datetime(&(local - back)).latest() {
            return earlier.naive_utc() + back;
        }
    }
    local
}

impl Add<Minutes> for Moment {
    type Output = Self;
    fn add(self, length: Minutes) -> Self {
        Self(self.0.saturating_add(length.signed()))
    }
}

impl Sub<Minutes> for Moment {
    type Output = Self;
    fn sub(self, length: Minutes) -> Self {
        Self(self.0.saturating_sub(length.signed()))
    }
}

/// Prints `HH:mm`, 24-hour; past midnight the hours go on counting (`26:00`).
impl fmt::Display for Moment {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { "-" } else { "" };
        let minutes = self.0.unsigned_abs();
        write!(out, "{sign}{:02}:{:02}", minutes / 60, minutes % 60)
    }
}

impl Serialize for Moment {
    fn serialize<S: Serializer>(&self, out: S) -> Result<S::Ok, S::Error> {
        out.collect_str(self)
    }
}

/// A half-open stretch of time: one that ends at 11:00 and one that starts at 11:00 do not meet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub struct Span {
    /// The first minute in it.
    pub from: Moment,
    /// The first minute after it.
    pub until: Moment,
}

impl Span {
    /// From `from` until just before `until`.
    #[must_use]
    pub const fn new(from: Moment, until: Moment) -> Self {
        Self { from, until }
    }

    /// Whether the two share a minute. An empty span meets nothing.
    #[must_use]
    pub fn meets(self, other: Self) -> bool {
        self.from.max(other.from) < self.until.min(other.until)
    }

    /// Whether the span holds no minute.
    #[must_use]
    pub fn is_empty(self) -> bool {
        self.from >= self.until
    }
}

/// `Fri 14-Mar-2031`: the short date of staff documents, with the weekday
/// (NHS Common User Interface, D+Ta-0002 to 0018). English month names; a wording file gives others.
#[must_use]
pub fn staff_date(day: NaiveDate) -> String {
    format!("{} {}", day.format("%a"), short_date(day))
}

/// `02-Apr-1979`, as staff documents write a date of birth.
#[must_use]
pub fn short_date(day: NaiveDate) -> String {
    format!("{:02}-{}-{:04}", day.day(), day.format("%b"), day.year())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NHS Common User Interface, time display guide: durations in whole numbers, no space inside a pair,
    /// largest unit first, zero units left out (D+Tb-0017, 0026 to 0031).
    #[test]
    fn durations_are_written_as_the_common_user_interface_says() {
        let written = |minutes| Minutes::new(minutes).to_string();
        assert_eq!(written(160), "2hr 40min");
        assert_eq!(written(45), "45min");
        assert_eq!(written(120), "2hr");
        assert_eq!(written(0), "0min");
    }

    /// NHS Common User Interface, date display guide: `DD-Mmm-YYYY` with an optional weekday before it
    /// (D+Ta-0002 to 0018).
    #[test]
    fn staff_dates_are_written_as_the_common_user_interface_says() {
        let day = NaiveDate::from_ymd_opt(2031, 3, 4).expect("a day of the calendar");
        assert_eq!(short_date(day), "04-Mar-2031");
        assert_eq!(staff_date(day), "Tue 04-Mar-2031");
    }

    #[test]
    fn a_time_past_midnight_goes_on_counting_hours() {
        let moment = Moment::from_midnight(26 * 60 + 5);
        assert_eq!(moment.to_string(), "26:05");
        assert_eq!(Moment::parse("26:05"), Some(moment));
    }

    #[test]
    fn only_two_digits_a_side_are_a_time() {
        for wrong in ["8:30", "08:60", "48:00", "0830", "08:3", " 08:30", "-1:30", "08:30:00", ""] {
            assert_eq!(Moment::parse(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn spans_that_only_touch_do_not_meet() {
        let span = |from, until| Span::new(Moment::from_midnight(from), Moment::from_midnight(until));
        assert!(!span(0, 660).meets(span(660, 700)));
        assert!(span(0, 661).meets(span(660, 700)));
        assert!(!span(660, 660).meets(span(600, 700)), "an empty span meets nothing");
    }

    /// The tz database: clocks in London went forward at 01:00 UTC on 29 March 2026 and back on 25
    /// October 2026.
    #[test]
    fn elapsed_hours_count_through_a_clock_change() {
        let from = |year, month, day, hours: i32, minutes| {
            let date = NaiveDate::from_ymd_opt(year, month, day).expect("a day of the calendar");
            let later = Moment::from_midnight(hours * 60 + minutes).plus_elapsed_hours(
                24,
                date,
                chrono_tz::Europe::London,
            );
            later.format("%m-%d %H:%M").to_string()
        };
        assert_eq!(from(2026, 3, 28, 15, 0), "03-29 16:00");
        assert_eq!(from(2026, 10, 24, 15, 0), "10-25 14:00");
        assert_eq!(from(2026, 3, 27, 15, 0), "03-28 15:00");
        assert_eq!(from(2026, 10, 25, 1, 30), "10-26 00:30", "01:30 happens twice: the first one counts");
        assert_eq!(
            from(2026, 3, 28, 25, 30),
            "03-30 02:30",
            "01:30 does not exist: read by the offset before"
        );
    }
}
