//! A coverage-guided fuzzer over all stages from bytes to a verified day.
//!
//! Whatever the bytes are: nothing panics, and each row of the list ends in the plan, in the held-back
//! list, among the rows of another day, or in a fault that names its line or the whole list.
//! The stages are links to the program's own sources, beside this file. It opens no file: the fuzzer gives the bytes. The first byte says how the input is cut into files.

#![no_main]
#![allow(dead_code, unused_imports, reason = "the stages are compiled without what uses the rest of them")]

pub mod allocate;
mod characters;
pub mod clock;
pub mod faults;
pub mod patient;
pub mod plan;
pub mod problem;
pub mod read;
pub mod survey;
pub mod unit_rules;
pub mod validate;
pub mod verify;

use std::collections::BTreeSet;

use libfuzzer_sys::fuzz_target;

use crate::problem::{Problem, messages};
use crate::read::{File, Inputs, RawInputs};
use crate::validate::{AtHand, DayList, Note, Options};

const UNIT: &[u8] = include_bytes!("../../../demo-input/unit.toml");
const REGIMENS: &[u8] = include_bytes!("../../../demo-input/regimens.toml");

/// Rows up to which a day is planned: the fuzzer is after paths, and long days have the same.
const ROWS: usize = 16;

fuzz_target!(|bytes: &[u8]| {
    let Some((kind, rest)) = bytes.split_first() else { return };
    // A byte that no text has parts the files, where the input has more than the list.
    let mut files = rest.split(|byte| *byte == 0xff);
    let list = if kind & 1 == 0 { rest } else { files.next().unwrap_or_default() };
    let (unit, regimens) =
        if kind & 1 == 0 { (UNIT, REGIMENS) } else { (files.next().unwrap_or(UNIT), files.next().unwrap_or(REGIMENS)) };
    let raw = read::read(&Inputs {
        day_list: File { name: "list.csv", bytes: list },
        unit: File { name: "unit.toml", bytes: unit },
        regimens: File { name: "regimens.toml", bytes: regimens },
    });
    let date = chrono::NaiveDate::from_ymd_opt(2031, 3, 14).filter(|_| kind & 4 != 0);
    let options = Options { date, hold_bad_rows: kind & 2 != 0 };
    let languages = ["en".to_owned()];
    let prints = |character: char| character < '\u{3000}';
    match validate::validate(&raw, options, &AtHand { prints: &prints, languages: &languages }) {
        Ok(list) => {
            nothing_is_lost(&raw, &list);
            if list.visits.len() <= ROWS {
                planned(list);
            }
        }
        Err(problems) => refused(&raw, &problems, options),
    }
});

/// Every row of a list that is taken is somewhere.
fn nothing_is_lost(raw: &RawInputs, list: &DayList) {
    let rows = raw.day_list.content.as_ref().expect("a list that is taken was read");
    let lines = list.visits.iter().map(|visit| visit.line).chain(list.held_back.iter().map(|row| row.line));
    let known: BTreeSet<u32> = lines.clone().collect();
    assert_eq!(known.len(), lines.count(), "no line is in two places");
    let headers = rows.rows.len() - known.len() - list.other_days;
    let told = list.notes.iter().any(|note| matches!(note, Note::RepeatedHeader(_)));
    assert!(headers == 0 || told, "{headers} rows are nowhere");
}

/// What was taken can be planned, allocated and surveyed, and then passes its own check.
fn planned(list: DayList) {
    let plan = plan::plan(&list);
    let allocation = allocate::allocate(&list, &plan);
    let cautions = survey::survey(&list, &plan, &allocation);
    if let Err(breaches) = verify::verify(list, plan, allocation, cautions) {
        let told: Vec<String> = breaches.iter().map(ToString::to_string).collect();
        panic!("the plan fails its own check: {told:#?}");
    }
}

/// A refusal says why, can be told and can be written back, and no row without a fault of its own or of
/// the whole list is what stops the run.
fn refused(raw: &RawInputs, problems: &[Problem], options: Options) {
    assert!(!problems.is_empty(), "a refusal without a reason");
    let told: String = messages(problems).iter().map(ToString::to_string).collect();
    assert!(!told.chars().any(|one| one.is_control() && one != '\n'), "a control character in a message");
    let Ok(list) = &raw.day_list.content else { return };
    let of_list: Vec<&Problem> = problems.iter().filter(|problem| problem.place.file == "list.csv").collect();
    let of_rows: BTreeSet<u32> = of_list.iter().filter_map(|problem| problem.place.line).collect();
    let known: BTreeSet<u32> = list.rows.iter().chain([&list.header]).map(|row| row.line).collect();
    assert!(of_rows.is_subset(&known), "a fault on a line where no row starts");
    if let Some(bytes) = faults::written_back(list, &of_list).expect("memory can be written") {
        let again = read::read_day_list("again.csv", &bytes).expect("what is written back can be read");
        assert_eq!(again.rows.len(), list.rows.len(), "a row was lost in writing back ({options:?})");
        assert!(again.rows.iter().map(|row| row.line).eq(list.rows.iter().map(|row| row.line)), "rows moved");
    }
}
