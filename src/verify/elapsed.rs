//! Elapsed hours across a change of the clocks.
//!
//! Works from the zone's offsets alone: a local time is turned into an instant by trying the offsets
//! of the day before and the day after it.

use chrono::{Duration, NaiveDateTime, Offset, TimeZone};
use chrono_tz::Tz;

/// The local time `hours` elapsed hours after the local time `local`.
///
/// A local time that happens twice is its first occurrence; one that is skipped is read by the
/// offset of the day before.
pub(super) fn hours_later(local: NaiveDateTime, hours: u32, zone: Tz) -> NaiveDateTime {
    let later = instant_of(local, zone) + Duration::hours(i64::from(hours));
    later + offset_at(later, zone)
}

/// The universal time of a local time.
fn instant_of(local: NaiveDateTime, zone: Tz) -> NaiveDateTime {
    let day = Duration::days(1);
    let before = local - offset_at(local - day, zone);
    let after = local - offset_at(local + day, zone);
    let is_real = |instant: &NaiveDateTime| *instant + offset_at(*instant, zone) == local;
    [before, after].into_iter().filter(is_real).min().unwrap_or(before)
}

/// What the zone's clocks add to universal time at an instant.
fn offset_at(instant: NaiveDateTime, zone: Tz) -> Duration {
    Duration::seconds(i64::from(zone.offset_from_utc_datetime(&instant).fix().local_minus_utc()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;

    fn at(day: (i32, u32, u32), hour: u32, minute: u32) -> NaiveDateTime {
        let date = NaiveDate::from_ymd_opt(day.0, day.1, day.2).expect("a date");
        date.and_hms_opt(hour, minute, 0).expect("a time")
    }

    // UK clocks go forward on 29 March 2026 at 01:00 UTC (tz database; public rule of the UK).
    #[test]
    fn the_night_of_23_hours_makes_the_deadline_an_hour_later_on_the_wall() {
        let later = hours_later(at((2026, 3, 28), 13, 0), 24, Tz::Europe__London);
        assert_eq!(later, at((2026, 3, 29), 14, 0));
    }

    // UK clocks go back on 25 October 2026 at 01:00 UTC (tz database).
    #[test]
    fn the_night_of_25_hours_makes_the_deadline_an_hour_earlier_on_the_wall() {
        let later = hours_later(at((2026, 10, 24), 13, 0), 24, Tz::Europe__London);
        assert_eq!(later, at((2026, 10, 25), 12, 0));
    }

    // On 25 October 2026 01:30 happens twice in London; on 29 March 2026 it does not exist (tz database).
    #[test]
    fn a_time_that_happens_twice_counts_from_the_first_and_a_skipped_one_from_the_old_clock() {
        let twice = hours_later(at((2026, 10, 25), 1, 30), 24, Tz::Europe__London);
        assert_eq!(twice, at((2026, 10, 26), 0, 30));
        let skipped = hours_later(at((2026, 3, 29), 1, 30), 24, Tz::Europe__London);
        assert_eq!(skipped, at((2026, 3, 30), 2, 30));
    }
}
