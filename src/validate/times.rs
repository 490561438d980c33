//! Clock times as cells and settings hold them.

use crate::clock::Moment;

/// The last minute of a day.
pub(super) const LAST_MINUTE: Moment = Moment::from_midnight(24 * 60 - 1);

/// The last time that a settings file may state: a unit may close in the night after its day.
pub(super) const LAST_TIME: Moment = Moment::from_midnight(48 * 60 - 1);

/// Reads `HH:MM` or `H:MM`, with seconds only if they are zero, up to `last`.
pub(super) fn time(written: &str, last: Moment) -> Option<Moment> {
    let mut parts = written.split(':');
    let hours = number(parts.next()?, 1)?;
    let minutes = number(parts.next()?, 2)?;
    let seconds = parts.next().map_or(Some(0), |part| number(part, 2))?;
    let read = Moment::from_midnight(hours * 60 + minutes);
    (parts.next().is_none() && minutes < 60 && seconds == 0 && read <= last).then_some(read)
}

/// One or two digits, at least `least`.
fn number(part: &str, least: usize) -> Option<i32> {
    let digits = (least..=2).contains(&part.len()) && part.bytes().all(|byte| byte.is_ascii_digit());
    digits.then(|| part.parse().ok()).flatten()
}

/// Reads a time that a spreadsheet wrote as a fraction of a day (`0.354166667` is 08:30). Five decimals
/// pin a minute; the fraction must fall within a hundredth of a minute of it.
pub(super) fn day_fraction(written: &str) -> Option<Moment> {
    const DECIMALS: usize = 9;
    const WHOLE_DAY: i64 = 1_000_000_000;
    let decimals = written.strip_prefix("0.").or_else(|| written.strip_prefix("0,"))?;
    if decimals.len() < 5 || !decimals.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let padded: String = decimals.chars().chain("000000000".chars()).take(DECIMALS).collect();
    let part = padded.parse::<i64>().ok()? * 24 * 60;
    let minutes = (part + WHOLE_DAY / 2) / WHOLE_DAY;
    let off = (part - minutes * WHOLE_DAY).abs();
    let read = Moment::from_midnight(i32::try_from(minutes).ok()?);
    (off <= WHOLE_DAY / 100 && read <= LAST_MINUTE).then_some(read)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(written: &str) -> Option<String> {
        time(written, LAST_MINUTE).map(|moment| moment.to_string())
    }

    #[test]
    fn times_are_read_with_and_without_a_leading_zero_and_with_zero_seconds() {
        for (written, expected) in [
            ("08:30", "08:30"),
            ("8:30", "08:30"),
            ("8:30:00", "08:30"),
            ("00:00", "00:00"),
            ("23:59", "23:59"),
        ] {
            assert_eq!(read(written).as_deref(), Some(expected), "{written}");
        }
    }

    #[test]
    fn anything_else_is_no_time() {
        for written in [
            "",
            "8",
            "8.30",
            "830",
            "0830",
            "25:00",
            "24:00",
            "12:60",
            "8:3",
            "008:30",
            "8:30:01",
            "8:30:00:00",
            "8:30 am",
            "-8:30",
            "+8:30",
            "٠٨:٣٠",
            "8h30",
            "08:30Z",
        ] {
            assert_eq!(read(written), None, "{written}");
        }
    }

    #[test]
    fn a_unit_may_close_after_midnight() {
        assert_eq!(time("26:00", LAST_TIME), Some(Moment::from_midnight(26 * 60)));
        assert_eq!(time("48:00", LAST_TIME), None);
    }

    #[test]
    fn a_fraction_of_a_day_is_read_where_it_falls_on_a_minute() {
        for (written, expected) in [
            ("0.354166", "08:30"),
            ("0.35416666666666669", "08:30"),
            ("0,354166667", "08:30"),
            ("0.50000", "12:00"),
            ("0.999305556", "23:59"),
        ] {
            assert_eq!(
                day_fraction(written).map(|read| read.to_string()).as_deref(),
                Some(expected),
                "{written}"
            );
        }
        for written in ["0.5", "0.3541", "0.354500", "1.354166", "0.999999", "0.35416x"] {
            assert_eq!(day_fraction(written), None, "{written}");
        }
    }
}
