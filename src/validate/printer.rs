//! `[printer]` of `unit.toml`: what was measured on a printed printer check.

use super::limits::{CHECK_BAR, CHECK_FRAME};
use super::section::{Check, Section};
use crate::read::Value;
use crate::unit_rules::Printer;

/// Reads the section; a printer that nobody measured is true.
pub(super) fn printer<'a>(check: &mut Check<'a>, top: Section<'a>) -> Printer {
    let Some(section) = check.section(top, "printer", &[]) else { return Printer::default() };
    let mut measured = |key, (least, most): (u16, u16), planned| {
        let Some(setting) = section.get(key) else { return planned };
        tenths(&setting.value).filter(|length| (least..=most).contains(length)).unwrap_or_else(|| {
            let what =
                format!("setting is not a length from {} to {} mm in steps of 0.1", least / 10, most / 10);
            let help = "measure the printed page again, and write the length in mm, for example 99.5; a printer that is \
                        further off must be mended";
            check.wrong(section, key, &what, &setting.value, help);
            planned
        })
    };
    let planned = Printer::default();
    Printer {
        bar_across: measured("bar_across", CHECK_BAR, planned.bar_across),
        bar_up: measured("bar_up", CHECK_BAR, planned.bar_up),
        frame_left: measured("frame_left", CHECK_FRAME, planned.frame_left),
        frame_bottom: measured("frame_bottom", CHECK_FRAME, planned.frame_bottom),
    }
}

/// Tenths of a mm: `99`, `99.5`, `99.50`.
fn tenths(value: &Value) -> Option<u16> {
    let (whole, part) = match value {
        Value::Whole(number) => (number.to_string(), String::new()),
        Value::OtherNumber(text) => {
            let (whole, part) = text.split_once('.')?;
            (whole.to_owned(), part.trim_end_matches('0').to_owned())
        }
        _ => return None,
    };
    let part = match part.len() {
        0 => 0,
        1 => part.parse().ok()?,
        _ => return None,
    };
    whole.parse::<u16>().ok()?.checked_mul(10)?.checked_add(part)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_whole_tenths_of_a_millimetre() {
        let read = |text: &str| tenths(&Value::OtherNumber(text.to_owned()));
        assert_eq!(tenths(&Value::Whole(99)), Some(990));
        assert_eq!(read("99.5"), Some(995));
        assert_eq!(read("99.50"), Some(995));
        assert_eq!(read("100.0"), Some(1000));
        for wrong in ["99.55", "-9.5", "1e2", "inf", "9999999.0", "7000.0"] {
            assert_eq!(read(wrong), None, "{wrong}");
        }
        assert_eq!(tenths(&Value::Text("99.5".to_owned())), None);
    }
}
