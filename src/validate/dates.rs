//! Dates as cells hold them, in the form that the unit states.

use chrono::NaiveDate;

/// One part of a date's form.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Part {
    Day,
    Month,
    MonthName,
    Year,
    Between(char),
}

/// How dates are written: `DD/MM/YYYY`, `DD-Mmm-YYYY`. Always, a date may be written `YYYY-MM-DD` too,
/// which has one meaning everywhere.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct DateForm {
    parts: Vec<Part>,
    written: String,
}

/// Characters that may stand between the parts of a date.
const BETWEEN: [char; 4] = ['/', '.', '-', ' '];

const MONTHS: [&str; 12] =
    ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"];

impl DateForm {
    /// `YYYY-MM-DD`, the form of a unit that states none.
    pub(super) fn iso() -> Self {
        let parts = vec![Part::Year, Part::Between('-'), Part::Month, Part::Between('-'), Part::Day];
        Self { parts, written: "YYYY-MM-DD".to_owned() }
    }

    /// Reads a form of `DD`, `MM` or `Mmm`, and `YYYY`, each once, with one of `/ . -` or a space
    /// between them.
    pub(super) fn parse(written: &str) -> Option<Self> {
        let mut parts = Vec::new();
        let mut rest = written;
        loop {
            let end = rest.find(BETWEEN).unwrap_or(rest.len());
            parts.push(part(&rest[..end])?);
            let Some(between) = rest[end..].chars().next() else { break };
            parts.push(Part::Between(between));
            rest = &rest[end + between.len_utf8()..];
        }
        let once = |wanted: &dyn Fn(&Part) -> bool| parts.iter().filter(|part| wanted(part)).count() == 1;
        let complete = once(&|part| *part == Part::Day)
            && once(&|part| matches!(part, Part::Month | Part::MonthName))
            && once(&|part| *part == Part::Year);
        (parts.len() == 5 && complete).then(|| Self { parts, written: written.to_owned() })
    }

    /// The form as the unit wrote it.
    pub(super) fn written(&self) -> &str {
        &self.written
    }

    /// `day` in this form, for examples.
    pub(super) fn example(&self, day: NaiveDate) -> String {
        let written = |part: &Part| match part {
            Part::Day => day.format("%d").to_string(),
            Part::Month => day.format("%m").to_string(),
            Part::MonthName => day.format("%b").to_string(),
            Part::Year => day.format("%Y").to_string(),
            Part::Between(character) => character.to_string(),
        };
        self.parts.iter().map(written).collect()
    }

    /// Reads a date. A time of midnight behind it, which booking systems add, is passed over.
    pub(super) fn read(&self, cell: &str) -> Option<NaiveDate> {
        let midnight = [" 00:00:00", "T00:00:00", " 00:00", " 0:00"];
        let date = midnight.iter().find_map(|time| cell.strip_suffix(time)).unwrap_or(cell);
        self.read_exactly(date).or_else(|| Self::iso().read_exactly(date))
    }

    /// Reads a date of this form and no other.
    fn read_exactly(&self, date: &str) -> Option<NaiveDate> {
        let (mut day, mut month, mut year) = (None, None, None);
        let mut rest = date;
        for part in &self.parts {
            let length =
                rest.find(|character: char| !character.is_ascii_alphanumeric()).unwrap_or(rest.len());
            let (piece, behind) = rest.split_at(length);
            match part {
                Part::Day => day = digits(piece, 1, 2),
                Part::Month => month = digits(piece, 1, 2),
                Part::MonthName => month = month_of(piece),
                Part::Year => year = digits(piece, 4, 4),
                Part::Between(character) => {
                    rest = rest.strip_prefix(*character)?;
                    continue;
                }
            }
            rest = behind;
        }
        if !rest.is_empty() {
            return None;
        }
        NaiveDate::from_ymd_opt(i32::try_from(year?).ok()?, month?, day?)
    }
}

/// The part of a date that a piece of a form names.
fn part(piece: &str) -> Option<Part> {
    match piece.to_ascii_lowercase().as_str() {
        "dd" => Some(Part::Day),
        "mm" => Some(Part::Month),
        "mmm" => Some(Part::MonthName),
        "yyyy" => Some(Part::Year),
        _ => None,
    }
}

/// A number of `least` to `most` digits.
fn digits(piece: &str, least: usize, most: usize) -> Option<u32> {
    let whole = (least..=most).contains(&piece.len()) && piece.bytes().all(|byte| byte.is_ascii_digit());
    whole.then(|| piece.parse().ok()).flatten()
}

/// The month of an English name of three letters.
fn month_of(piece: &str) -> Option<u32> {
    (1..).zip(MONTHS).find(|(_, name)| piece.eq_ignore_ascii_case(name)).map(|(number, _)| number)
}

/// The two dates that three numbers with the year last could mean, if both exist and differ.
pub(super) fn both_readings(cell: &str) -> Option<(NaiveDate, NaiveDate)> {
    let plain: String = cell.chars().map(|one| if BETWEEN.contains(&one) { '/' } else { one }).collect();
    let day_first = DateForm::parse("DD/MM/YYYY")?.read_exactly(&plain)?;
    let month_first = DateForm::parse("MM/DD/YYYY")?.read_exactly(&plain)?;
    (day_first != month_first).then_some((day_first, month_first))
}

/// What a cell looks like that is no date of the stated form.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Likeness {
    /// Words for it that tell nothing of a date of birth.
    pub(super) description: &'static str,
    /// Whether it may be a date of a form that the unit could state.
    pub(super) has_another_order: bool,
}

/// What a cell looks like that is no date of the stated form.
pub(super) fn likeness(cell: &str) -> Likeness {
    let is_number = |piece: &&str| !piece.is_empty() && piece.bytes().all(|byte| byte.is_ascii_digit());
    let pieces: Vec<&str> = cell.split(BETWEEN).collect();
    let numbers = pieces.iter().all(is_number);
    let lengths: Vec<usize> = pieces.iter().map(|piece| piece.len()).collect();
    let (description, has_another_order) = match lengths.as_slice() {
        [4, 1..=2, 1..=2] if numbers => {
            ("year, month and day, one of which does not exist, or other marks between them", false)
        }
        [1..=2, 1..=2, 4] if numbers => ("three numbers with the year last", true),
        [1..=2, 1..=2, 2] if numbers => ("three numbers with a year of two digits", false),
        [_] if numbers => ("one number, as a spreadsheet keeps a date", false),
        [1..=2, 3, 4] if is_number(&pieces[0]) && is_number(&pieces[2]) => ("a day, a word and a year", true),
        _ => ("something other than a date", false),
    };
    Likeness { description, has_another_order }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn form(written: &str) -> DateForm {
        DateForm::parse(written).expect("a form")
    }

    #[test]
    fn dates_are_read_in_the_stated_form_and_in_the_international_one() {
        let day = NaiveDate::from_ymd_opt(2031, 3, 4);
        for (stated, cell) in [
            ("YYYY-MM-DD", "2031-03-04"),
            ("DD/MM/YYYY", "04/03/2031"),
            ("DD/MM/YYYY", "4/3/2031"),
            ("dd.mm.yyyy", "04.03.2031"),
            ("MM/DD/YYYY", "03/04/2031"),
            ("DD-Mmm-YYYY", "04-Mar-2031"),
            ("DD Mmm YYYY", "4 MAR 2031"),
            ("DD/MM/YYYY", "2031-03-04"),
            ("DD/MM/YYYY", "04/03/2031 00:00:00"),
            ("YYYY-MM-DD", "2031-03-04T00:00:00"),
        ] {
            assert_eq!(form(stated).read(cell), day, "{cell} as {stated}");
        }
    }

    #[test]
    fn a_date_of_another_form_is_not_guessed() {
        for (stated, cell) in [
            ("YYYY-MM-DD", "04/03/2031"),
            ("YYYY-MM-DD", "2031-02-29"),
            ("YYYY-MM-DD", "2031/03/04"),
            ("DD/MM/YYYY", "04/03/31"),
            ("DD/MM/YYYY", "04.03.2031"),
            ("DD/MM/YYYY", "04/03/2031 09:00"),
            ("DD/MM/YYYY", "04/03/2031/"),
            ("DD-Mmm-YYYY", "04-March-2031"),
            ("DD/MM/YYYY", "31/04/2031"),
            ("YYYY-MM-DD", ""),
        ] {
            assert_eq!(form(stated).read(cell), None, "{cell} as {stated}");
        }
    }

    #[test]
    fn a_date_with_two_meanings_shows_both() {
        let date = |month, day| NaiveDate::from_ymd_opt(2031, month, day).expect("a date");
        assert_eq!(both_readings("04.03.2031"), Some((date(3, 4), date(4, 3))));
        assert_eq!(both_readings("14/03/2031"), None);
        assert_eq!(both_readings("04/04/2031"), None);
    }

    #[test]
    fn a_form_names_day_month_and_year_once_each() {
        for written in
            ["", "DD/MM", "DD/MM/YY", "DD/DD/YYYY", "DDMMYYYY", "DD/MM/YYYY/", "DD/MM/Mmm/YYYY", "é/MM/YYYY"]
        {
            assert_eq!(DateForm::parse(written), None, "{written}");
        }
    }
}
