//! One row of a day list to a visit.

use chrono::NaiveDate;

use super::columns::Column;
use super::exchanged::exchanged;
use super::held::{CellFault, RowFault};
use super::nearest;
use super::row::RowCheck;
use super::rows::Against;
use super::times::LAST_MINUTE;
use crate::patient::{GoAhead, Hair, Visit};
use crate::problem::Found;
use crate::read::RawRow;
use crate::unit_rules::{Bay, BayIndex, CapSize, RegimenIndex};

/// The words that columns of fixed words have.
pub(super) const WORDS: [&str; 6] = ["yes", "no", "fine", "medium", "thick", "waiting"];

/// The words for hair, in the order of [`Hair`].
pub(super) const HAIRS: [&str; 3] = ["fine", "medium", "thick"];

/// The words for the go-ahead.
pub(super) const GO_AHEADS: [&str; 2] = ["yes", "waiting"];

/// A row as a visit, and everything that is wrong with it. With a problem, the visit holds stand-ins
/// and must not be planned; only its numbers may be compared with those of other rows.
pub(super) fn visit(row: &RawRow, day: Option<NaiveDate>, against: &Against<'_>) -> (Visit, Vec<RowFault>) {
    let mut check = RowCheck::new(row, against);
    // The named day stands in for an empty cell; without one, the cell says which day the row is of.
    let example = day.or(NaiveDate::from_ymd_opt(2031, 3, 14)).unwrap_or_default();
    if !against.day_is_named {
        check.needed(Column::Date, &format!("the day, for example {}", against.form.dates.example(example)));
    }
    check.date(Column::Date, example);
    let arrive = check.arrive();
    let (bay, chair) = seat(&mut check, against);
    let cooled = check.truth(Column::Cooled);
    let last = against.closes.map_or(LAST_MINUTE, |closes| closes.max(LAST_MINUTE));
    let visit = Visit {
        line: row.line,
        arrive,
        bay,
        chair,
        hospital_no: check.text(Column::HospitalNo, "hospital number", "the number on the patient's papers"),
        nhs_no: check.nhs_no(),
        family_name: check.text(Column::FamilyName, "family name", "the name on the patient's papers"),
        given_name: check.text(Column::GivenName, "given name", "the name on the patient's papers"),
        born: check.born(day),
        regimen: regimen(&mut check, cooled, against),
        cycle: check.cycle(),
        cooled,
        hair: hair(&mut check),
        cap: cap(&mut check, against),
        own_cap: check.optional_truth(Column::OwnCap),
        drugs_ready: check.moment(Column::DrugsReady, last),
        leave_by: check.moment(Column::LeaveBy, last),
        language: language(&mut check, against),
        large_print: check.optional_truth(Column::LargePrint),
        alert: check.alert(),
        next_visit: check.next_visit(day),
        go_ahead: go_ahead(&mut check),
        isolate: check.optional_truth(Column::Isolate),
    };
    possible_times(&mut check, &visit, against);
    for (one, other) in exchanged(&check, against) {
        check.exchanged(one, other);
    }
    (visit, check.finish())
}

/// Times that are right each by itself and cannot be right together.
fn possible_times(check: &mut RowCheck<'_>, visit: &Visit, against: &Against<'_>) {
    if !check.is_right(Column::Arrive) {
        return;
    }
    if let Some(closes) = against.closes.filter(|closes| visit.arrive >= *closes) {
        let help = format!(
            "write a time before closing at {closes}, by the 24-hour clock; if the unit stays open, write until when under `closes` in its file"
        );
        check.wrong(Column::Arrive, CellFault::Closed, "patient arrives when the unit is closed", help);
    } else if visit.leave_by.is_some_and(|leave_by| leave_by <= visit.arrive) {
        let arrive = against.columns.header(Column::Arrive);
        let after_midnight = match against.closes.filter(|closes| *closes > LAST_MINUTE) {
            Some(closes) => format!("; after midnight go on counting, up to {closes}"),
            None => String::new(),
        };
        let help = format!(
            "write a later time than under `{arrive}`, or leave the cell empty; perhaps the two are exchanged{after_midnight}"
        );
        let what = "patient must leave before the visit begins";
        check.wrong(Column::LeaveBy, CellFault::LeavesTooEarly, what, help);
    }
}

/// The bay, and the chair in it.
fn seat(check: &mut RowCheck<'_>, against: &Against<'_>) -> (BayIndex, String) {
    let Some(bays) = against.bays else { return (BayIndex(0), String::new()) };
    let names: Vec<&str> = bays.iter().map(|bay| bay.name.as_str()).collect();
    // Whoever writes a chair under `bay` means the bay that it stands in.
    let of_chair = |cell: &str| {
        let has = |bay: &&Bay| bay.chairs.iter().any(|chair| chair.to_lowercase() == cell.to_lowercase());
        bays.iter().find(has).map(|bay| bay.name.as_str())
    };
    let bay = check.one_of(Column::Bay, "bay does not exist", &names, of_chair);
    let chairs: Vec<&str> = match bay {
        Some(place) => bays[place].chairs.iter().map(String::as_str).collect(),
        None => bays.iter().flat_map(|bay| &bay.chairs).map(String::as_str).collect(),
    };
    let cell = check.cell(Column::Chair).to_lowercase();
    let elsewhere = bays.iter().find(|bay| bay.chairs.iter().any(|chair| chair.to_lowercase() == cell));
    if let (Some(place), Some(other)) =
        (bay, elsewhere.filter(|other| bay.is_none_or(|place| bays[place].name != other.name)))
    {
        let what = format!("chair is not in bay {} but in bay {}", bays[place].name, other.name);
        let help = format!("write bay {}, or a chair of bay {}", other.name, bays[place].name);
        let found = Found::Value(check.cell(Column::Chair).to_owned());
        check.fault(Column::Chair, CellFault::OtherBay, what, Some(found), help);
        return (BayIndex(place), String::new());
    }
    // Whoever writes `3` for a chair of bay A means `A3`.
    let of_bay = |cell: &str| {
        let full = format!("{}{cell}", bays[bay?].name);
        nearest::same(&full, &chairs)
    };
    let chair = check.one_of(Column::Chair, "chair does not exist", &chairs, of_bay);
    (BayIndex(bay.unwrap_or(0)), chair.map(|chair| chairs[chair].to_owned()).unwrap_or_default())
}

/// The regimen, which has a hair-loss drug if the patient is cooled.
fn regimen(check: &mut RowCheck<'_>, cooled: bool, against: &Against<'_>) -> RegimenIndex {
    let Some(regimens) = against.regimens else { return RegimenIndex(0) };
    let codes: Vec<&str> = regimens.iter().map(|regimen| regimen.code.as_str()).collect();
    let named = |cell: &str| {
        let mut of_name = regimens.iter().filter(|one| one.name.to_lowercase() == cell.to_lowercase());
        of_name.next().map(|one| one.code.as_str())
    };
    let Some(place) = check.one_of(Column::Regimen, "regimen does not exist", &codes, named) else {
        return RegimenIndex(0);
    };
    if cooled && regimens[place].hair_loss == Some(false) {
        let what = "patient is cooled, but the regimen has no hair-loss drug";
        let found = Some(Found::Value(codes[place].to_owned()));
        let help = "write `no` under `cooled`, or the right regimen";
        check.fault(Column::Regimen, CellFault::NoHairLossDrug, what, found, help);
    }
    RegimenIndex(place)
}

fn hair(check: &mut RowCheck<'_>) -> Option<Hair> {
    let place = check.optional_word(Column::Hair, "kind of hair does not exist", &HAIRS)?;
    [Hair::Fine, Hair::Medium, Hair::Thick].get(place).copied()
}

fn cap(check: &mut RowCheck<'_>, against: &Against<'_>) -> Option<CapSize> {
    let sizes: Vec<&str> = against.caps?.iter().map(|cap| cap.size.as_str()).collect();
    check.optional_one_of(Column::Cap, "size of cap does not exist", &sizes).map(CapSize)
}

fn language(check: &mut RowCheck<'_>, against: &Against<'_>) -> Option<String> {
    let languages: Vec<&str> = against.at_hand.languages.iter().map(String::as_str).collect();
    let place =
        check.optional_one_of(Column::Language, "there is no wording file for the language", &languages)?;
    Some(languages[place].to_owned())
}

fn go_ahead(check: &mut RowCheck<'_>) -> GoAhead {
    match check.optional_word(Column::GoAhead, "value is neither yes nor waiting", &GO_AHEADS) {
        Some(0) => GoAhead::Yes,
        Some(_) => GoAhead::Waiting,
        None => GoAhead::NotRecorded,
    }
}
