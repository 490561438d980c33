//! Clock times as cells and settings hold them.

use crate::clock::Moment;

/// The last minute of a day.
pub(super) const LAST_MINUTE: Moment = Moment::from_midnight(24 * 60 - 1);

/// The last time that a settings file may state: a unit may close in the night after its day.
pub(super) const LAST_TIME: Moment = Moment::from_midnight(48 * 60 - 1);

/// How the times of a list are written. Always, a time may be written `HH:MM` too, and with `AM` or `PM`
/// behind it, which have one meaning everywhere.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum TimeForm {
    /// `08:30`, the form of a unit that states none.
    #[default]
    Colon,
    /// `08.30`.
    Dot,
    /// `0830`, and `830` where a spreadsheet has dropped the zero.
    Digits,
}

impl TimeForm {
    /// All of them.
    pub(super) const ALL: [Self; 3] = [Self::Colon, Self::Dot, Self::Digits];

    /// The form as a unit states it.
    pub(super) const fn written(self) -> &'static str {
        match self {
            Self::Colon => "HH:MM",
            Self::Dot => "HH.MM",
            Self::Digits => "HHMM",
        }
    }

    /// `08:30` in this form, for examples.
    pub(super) const fn example(self) -> &'static str {
        match self {
            Self::Colon => "08:30",
            Self::Dot => "08.30",
            Self::Digits => "0830",
        }
    }

    /// Reads a time up to `last`: of this form, of `HH:MM`, of the 12-hour clock with its mark, or as the
    /// fraction of a day that a spreadsheet writes.
    pub(super) fn read(self, written: &str, last: Moment) -> Option<Moment> {
        let common = time(written, last).or_else(|| half_day_time(written)).or_else(|| day_fraction(written));
        common.or_else(|| self.read_exactly(written, last))
    }

    /// Reads a time of this form and no other.
    fn read_exactly(self, written: &str, last: Moment) -> Option<Moment> {
        match self {
            Self::Colon => time(written, last),
            // A single zero before the dot is more likely a part of a day: 0.50 is noon.
            Self::Dot if written.starts_with("0.") => None,
            Self::Dot => parted(written, '.', last),
            Self::Digits => digits(written, last),
        }
    }

    /// The form in which `written` would be a time, and that time.
    pub(super) fn of(written: &str, last: Moment) -> Option<(Self, Moment)> {
        Self::ALL.into_iter().find_map(|form| Some((form, form.read_exactly(written, last)?)))
    }
}

/// Reads `HH:MM` or `H:MM`, with seconds only if they are zero, up to `last`.
pub(super) fn time(written: &str, last: Moment) -> Option<Moment> {
    parted(written, ':', last)
}

/// Reads `9:30 AM`, `09.30 pm`, `9:30p.m.`. Half past twelve at night is left out: whoever writes
/// `12:30 AM` on a day unit's list may mean noon.
fn half_day_time(written: &str) -> Option<Moment> {
    let (clock, is_after_noon) = half_day(written)?;
    let read = time(clock, LAST_MINUTE).or_else(|| parted(clock, '.', LAST_MINUTE))?;
    let hours = match (read.minutes() / 60, is_after_noon) {
        (12, true) => 12,
        (hours @ 1..=11, _) => hours + if is_after_noon { 12 } else { 0 },
        _ => return None,
    };
    Some(Moment::from_midnight(hours * 60 + read.minutes() % 60))
}

/// A time of the 12-hour clock without its mark, and whether the mark says that it is after noon.
pub(crate) fn half_day(written: &str) -> Option<(&str, bool)> {
    let is_of_mark =
        |character: char| character.is_ascii_alphabetic() || character.is_whitespace() || character == '.';
    let clock = written.trim_end_matches(is_of_mark);
    let mark: String = written[clock.len()..].chars().filter(char::is_ascii_alphabetic).collect();
    let is_after_noon = match mark.to_ascii_lowercase().as_str() {
        "am" => false,
        "pm" => true,
        _ => return None,
    };
    Some((clock, is_after_noon))
}

/// Reads three or four digits: `830`, `0830`.
fn digits(written: &str, last: Moment) -> Option<Moment> {
    let is_time = (3..=4).contains(&written.len()) && written.bytes().all(|byte| byte.is_ascii_digit());
    let (hours, minutes) = is_time.then(|| written.split_at(written.len() - 2))?;
    parted(&format!("{hours}:{minutes}"), ':', last)
}

/// Reads hours and minutes with `between` between them, and seconds if they are zero.
fn parted(written: &str, between: char, last: Moment) -> Option<Moment> {
    let mut parts = written.split(between);
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

/// The fewest decimals of a fraction of a day: five pin a minute.
pub(crate) const FRACTION_DECIMALS: usize = 5;

/// Reads a time that a spreadsheet wrote as a fraction of a day (`0.354166667` is 08:30). The fraction must fall within a hundredth of a minute of it.
fn day_fraction(written: &str) -> Option<Moment> {
    const DECIMALS: usize = 9;
    const WHOLE_DAY: i64 = 1_000_000_000;
    let decimals = written.strip_prefix("0.").or_else(|| written.strip_prefix("0,"))?;
    if decimals.len() < FRACTION_DECIMALS || !decimals.bytes().all(|byte| byte.is_ascii_digit()) {
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
            "8h30 am",
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
    fn a_stated_form_is_read_beside_the_usual_one() {
        let read = |form: TimeForm, written| form.read(written, LAST_MINUTE).map(|time| time.to_string());
        for (form, written, expected) in [
            (TimeForm::Dot, "9.30", Some("09:30")),
            (TimeForm::Dot, "09.30.00", Some("09:30")),
            (TimeForm::Dot, "9:30", Some("09:30")),
            (TimeForm::Dot, "0.354166667", Some("08:30")),
            (TimeForm::Dot, "00.30", Some("00:30")),
            (TimeForm::Dot, "0.50", None),
            (TimeForm::Dot, "9.3", None),
            (TimeForm::Dot, "0930", None),
            (TimeForm::Digits, "930", Some("09:30")),
            (TimeForm::Digits, "0930", Some("09:30")),
            (TimeForm::Digits, "09:30", Some("09:30")),
            (TimeForm::Digits, "30", None),
            (TimeForm::Digits, "0960", None),
            (TimeForm::Digits, "09300", None),
            (TimeForm::Colon, "9.30", None),
            (TimeForm::Colon, "0930", None),
        ] {
            assert_eq!(read(form, written).as_deref(), expected, "{written} as {form:?}");
        }
    }

    #[test]
    fn a_mark_of_the_half_day_has_one_meaning_but_at_midnight() {
        let read = |written| TimeForm::Colon.read(written, LAST_MINUTE).map(|time| time.to_string());
        for (written, expected) in [
            ("9:30 AM", "09:30"),
            ("09:30am", "09:30"),
            ("9:30\u{202f}p.m.", "21:30"),
            ("1.15 pm", "13:15"),
            ("1:15\u{a0}p.\u{a0}m.", "13:15"),
            ("12:30 PM", "12:30"),
            ("11:59:00 PM", "23:59"),
        ] {
            assert_eq!(read(written).as_deref(), Some(expected), "{written}");
        }
        for written in ["12:30 AM", "13:30 PM", "0:30 PM", "9:30 A", "9:30 AMPM", "9 AM", "AM", "9:30 noon"] {
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
