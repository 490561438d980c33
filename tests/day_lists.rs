//! Day lists as booking systems and spreadsheets really write them, from bytes to checked visits.
//!
//! The lists are the demonstration's or made here; every person and number in them is invented, but for
//! the NHS numbers, beside which their source stands.

use std::collections::BTreeSet;
use std::fs;
use std::path::PathBuf;

use baypack::problem::Problem;
use baypack::read::{File, Inputs, read};
use baypack::unit_rules::{CoolingStart, Pause, PostCoolingFrom, Step};
use baypack::validate::{AtHand, DayList, Options, validate};
use chrono::NaiveDate;
use encoding_rs::WINDOWS_1252;
use proptest::collection::vec;
use proptest::prelude::{Just, ProptestConfig, Strategy, any, prop_oneof};
use proptest::{prop_assert, prop_assert_eq, proptest};

const HEADER: &str =
    "date,arrive,bay,chair,hospital_no,nhs_no,family_name,given_name,born,regimen,cycle,cooled,alert";

fn demonstration(name: &str) -> Vec<u8> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("demo-input").join(name);
    fs::read(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn demonstration_text(name: &str) -> String {
    String::from_utf8(demonstration(name)).expect("the demonstration is UTF-8")
}

fn taken_with(list: &[u8], unit: &[u8], regimens: &[u8], options: Options) -> Result<DayList, Vec<Problem>> {
    let inputs = Inputs {
        day_list: File { name: "list.csv", bytes: list },
        unit: File { name: "unit.toml", bytes: unit },
        regimens: File { name: "regimens.toml", bytes: regimens },
    };
    let languages = ["en".to_owned(), "es".to_owned()];
    validate(&read(&inputs), options, &AtHand { prints: &|_| true, languages: &languages })
}

/// The list with the demonstration's unit and regimens.
fn taken(list: impl AsRef<[u8]>) -> Result<DayList, Vec<Problem>> {
    let (unit, regimens) = (demonstration("unit.toml"), demonstration("regimens.toml"));
    taken_with(list.as_ref(), &unit, &regimens, Options::default())
}

#[track_caller]
fn accepted(list: impl AsRef<[u8]>) -> DayList {
    taken(list).unwrap_or_else(|problems| panic!("refused: {problems:#?}"))
}

/// What was wrong, as `line: what`, of a list that must be refused.
#[track_caller]
fn refused(list: impl AsRef<[u8]>) -> Vec<String> {
    let problems = taken(list).expect_err("the list must be refused");
    let told = |problem: &Problem| format!("{}: {}", problem.place.line.unwrap_or(0), problem.what);
    problems.iter().map(told).collect()
}

fn notes(list: &DayList) -> Vec<String> {
    list.notes.iter().map(ToString::to_string).collect()
}

fn utf16(text: &str, to_bytes: fn(u16) -> [u8; 2]) -> Vec<u8> {
    std::iter::once(0xfeff).chain(text.encode_utf16()).flat_map(to_bytes).collect()
}

/// A row of the header above, right but for what a test puts into it.
fn row(hospital_no: &str, nhs_no: &str) -> String {
    format!("2031-03-14,08:30,A,A1,{hospital_no},{nhs_no},Testcase,Ada,1961-03-14,PAC-W,2,yes,")
}

#[test]
fn the_demonstration_lists_are_taken_without_a_note() {
    for (name, visits) in [("day-list.csv", 20), ("day-list-overloaded.csv", 20)] {
        let list = accepted(demonstration(name));
        assert_eq!((list.visits.len(), list.held_back.len(), list.other_days), (visits, 0, 0), "{name}");
        assert_eq!(notes(&list), [""; 0], "{name}");
    }
}

#[test]
fn the_demonstration_of_faults_can_be_printed_without_its_bad_rows() {
    let (unit, regimens) = (demonstration("unit.toml"), demonstration("regimens.toml"));
    let options = Options { hold_bad_rows: true, ..Options::default() };
    let list =
        taken_with(&demonstration("day-list-faults.csv"), &unit, &regimens, options).expect("good rows");
    let lines: Vec<u32> = list.visits.iter().map(|visit| visit.line).collect();
    assert_eq!(lines, [36], "line 2 shares its numbers with others, so it is held back with them");
    assert_eq!(list.held_back.len(), 34);
}

#[test]
fn every_encoding_gives_the_same_visits() {
    let text = demonstration_text("day-list.csv");
    let plain = accepted(&text);
    let with_mark = format!("\u{feff}{text}");
    for (name, bytes) in [
        ("UTF-8 with a mark", with_mark.into_bytes()),
        ("UTF-16, low byte first", utf16(&text, u16::to_le_bytes)),
        ("UTF-16, high byte first", utf16(&text, u16::to_be_bytes)),
    ] {
        let list = accepted(&bytes);
        assert_eq!(list.visits, plain.visits, "{name}");
        assert_eq!(notes(&list), [""; 0], "{name}");
    }
}

#[test]
fn a_guessed_encoding_is_read_right_and_said() {
    let text = format!("{HEADER}\n{}\n", row("T-1", "").replace("Testcase,Ada", "O’Rourke,Åsa Éloïse"));
    let (bytes, _, unmappable) = WINDOWS_1252.encode(&text);
    assert!(!unmappable, "every letter of the test is one of Windows-1252");
    let list = accepted(&bytes);
    let names = (list.visits[0].family_name.as_str(), list.visits[0].given_name.as_str());
    assert_eq!(names, ("O’Rourke", "Åsa Éloïse"));
    assert_eq!(
        notes(&list),
        ["The list is not UTF-8. It was read as Windows-1252: check the names that have accents."]
    );
}

#[test]
fn every_delimiter_and_line_end_gives_the_same_visits() {
    let text = format!("{HEADER}\n{}\n{}\n", row("T-1", ""), row("T-2", "").replace("A1", "A2"));
    let plain = accepted(&text);
    for (delimiter, word) in [(",", None), (";", Some("semicolons")), ("\t", Some("tabs"))] {
        for end in ["\n", "\r\n", "\r"] {
            let list = accepted(text.replace(',', delimiter).replace('\n', end));
            assert_eq!(list.visits, plain.visits, "{delimiter:?} {end:?}");
            let note = word.map(|word| format!("The list was read with {word} between its cells."));
            assert_eq!(
                notes(&list),
                note.as_deref().into_iter().collect::<Vec<_>>(),
                "{delimiter:?} {end:?}"
            );
        }
    }
}

#[test]
fn a_delimiter_that_the_file_states_is_no_guess() {
    let text = format!("sep=;\r\n{HEADER}\r\n{}\r\n", row("T-1", "")).replace(',', ";");
    let list = accepted(&text);
    assert_eq!(list.visits.iter().map(|visit| visit.line).collect::<Vec<_>>(), [3]);
    assert_eq!(notes(&list), [""; 0]);
}

#[test]
fn habits_of_spreadsheets_with_one_meaning_are_taken() {
    let plain = accepted(format!("{HEADER}\n{}\n", row("0123", "943 476 5919")));
    for (habit, changed) in [
        ("a time without its zero", row("0123", "943 476 5919").replace("08:30", "8:30")),
        ("a time with seconds", row("0123", "943 476 5919").replace("08:30", "8:30:00")),
        ("a time as a fraction of a day", row("0123", "943 476 5919").replace("08:30", "0.354166666666667")),
        ("a number kept as text by a formula", row("=\"0123\"", "9434765919")),
        ("spaces that do not break", row("\u{a0}0123\u{a0}", "943\u{a0}476\u{a0}5919")),
        ("a date with a time of midnight", row("0123", "9434765919").replace("14,PAC", "14 00:00:00,PAC")),
        ("words in capitals", row("0123", "9434765919").replace("yes", "Yes").replace("PAC-W", "pac-w")),
        (
            "quotation marks around everything",
            format!("\"{}\"", row("0123", "9434765919").replace(',', "\",\"")),
        ),
    ] {
        assert_eq!(accepted(format!("{HEADER}\n{changed}\n")).visits, plain.visits, "{habit}");
    }
    let with_spare = format!("{HEADER},,,\n{},,,\n,,,,\n\n", row("0123", "9434765919"));
    assert_eq!(accepted(with_spare).visits, plain.visits, "cells of nothing at the end of header and rows");
    let in_every_row: Vec<String> = ["A1", "A2", "A3"]
        .map(|chair| format!("{},\n", row(chair, "").replace("A1,", &format!("{chair},"))))
        .into();
    assert_eq!(accepted(format!("{HEADER}\n{}", in_every_row.concat())).visits.len(), 3);
}

/// An alert with a delimiter and no quotation marks moves every cell after it by one; that the last one is empty must
/// not hide it.
#[test]
fn a_cell_too_many_is_refused_even_if_it_is_empty() {
    let rows = format!("{}\n{},\n{}\n", row("T-1", ""), row("T-2", ""), row("T-3", ""));
    assert!(refused(format!("{HEADER}\n{rows}")).contains(&"3: row has too many cells".to_owned()));
}

#[test]
fn the_units_own_headers_and_dates_are_read() {
    let unit = format!(
        "{}\n[day_list]\ndates = \"DD/MM/YYYY\"\ncolumns = {{ arrive = \"Appt time\", born = \"D.O.B.\" }}\n",
        demonstration_text("unit.toml")
    );
    let plain = accepted(format!("{HEADER}\n{}\n", row("T-1", "")));
    let header = HEADER.replace("arrive", " APPT TIME ").replace("born", "d.o.b.");
    let own = row("T-1", "").replace("2031-03-14", "14/03/2031").replace("1961-03-14", "14/3/1961");
    let text = format!("{header}\n{own}\n");
    let list =
        taken_with(text.as_bytes(), unit.as_bytes(), &demonstration("regimens.toml"), Options::default());
    assert_eq!(list.expect("the unit states this form").visits, plain.visits);
}

/// A unit that states what it must, and nothing else.
const LEAST_UNIT: &str = r#"
name = "Invented Day Unit"
time_zone = "Europe/London"
opens = "08:00"
closes = "26:00"
phone_day = "01632 960101"
phone_night = "01632 960199"
engineer_phone = "07700 900555"
fever_from = "38.0 °C"
bays = [{ name = "A", nurses = 2, chairs = ["A1", "A2"] }]
machines = [{ name = "M1", bay = "A", outlets = 1, out_of_service = [{ from = "08:00", to = "09:00" }] }]
hands_on = { connect = 1, drug_start = 2, disconnect = 3, cap_off = 4 }
[minutes]
settle = 5
prepare_first = 25
prepare_return = 15
chair_turnaround = 6
outlet_clean = 7
cap_clean = 8
machine_start = 9
machine_move = 11
"#;

/// A regimen that states what it must, and nothing else.
const LEAST_REGIMEN: &str = r#"
[[regimens]]
code = "PAC-W"
name = "Paclitaxel, weekly"
premed_lead = 30
steps = [{ drug = "Paclitaxel", minutes = 60, hair_loss = true }, { drug = "Invented", minutes = 20, observe = 5, hair_loss = false }]
"#;

fn least(row: &str) -> Result<DayList, Vec<Problem>> {
    let header = format!("{HEADER},leave_by");
    let list = format!("{header}\n{row}\n");
    taken_with(list.as_bytes(), LEAST_UNIT.as_bytes(), LEAST_REGIMEN.as_bytes(), Options::default())
}

#[test]
fn what_the_unit_leaves_out_has_its_default() {
    let list = least(&format!("{},", row("T-1", ""))).expect("a right day");
    let unit = &list.unit;
    // Pre-cooling 30: Rugo et al., JAMA 2017;317:606-614. Up to 45 for thick hair: a cancer centre's page
    // for patients. The others: common practice, no source.
    let minutes = &unit.minutes;
    let lengths = [
        minutes.pre_cooling,
        minutes.pre_cooling_thick,
        minutes.post_cooling,
        minutes.warm_up,
        minutes.seated,
        minutes.break_longest,
        minutes.break_reminder,
        minutes.first_check,
        unit.rules.hand_over_slack,
        unit.rules.retime_earlier,
        unit.rules.retime_later,
    ];
    assert_eq!(lengths.map(|length| length.get()), [30, 45, 90, 10, 10, 10, 8, 15, 10, 0, 0]);
    assert_eq!((unit.language.as_str(), unit.rinse_within_hours), ("en", 24));
    assert_eq!(unit.rules.cooling_start, CoolingStart::InTime);
    assert_eq!(unit.rules.post_cooling_from, PostCoolingFrom::LastHairLossDrug);
    assert!(unit.rules.flush_counts && unit.shifts.is_empty() && unit.caps.is_empty());
    assert_eq!(unit.bays[0].reach, [["A1", "A2"]], "the whole bay is within reach");
    let machine = &unit.machines[0];
    assert_eq!((machine.movable, machine.pause), (false, Pause::Outlet));
    assert_eq!(machine.out_of_service[0].outlet, None, "the whole machine is out of service");
}

#[test]
fn what_a_regimen_leaves_out_has_its_default() {
    let list = least(&format!("{},", row("T-1", ""))).expect("a right day");
    let regimen = &list.regimens[0];
    assert_eq!((regimen.post_cooling.get(), &regimen.source), (90, &None), "the unit's post-cooling");
    let told = |step: &Step| {
        let lengths = [step.minutes, step.first_minutes, step.flush, step.observe, step.first_observe];
        (lengths.map(|length| length.get()), step.cytotoxic, step.push)
    };
    let told: Vec<_> = regimen.steps.iter().map(told).collect();
    assert_eq!(told, [([60, 60, 0, 0, 0], true, false), ([20, 20, 0, 5, 5], false, false)]);
}

#[test]
fn a_unit_that_closes_after_midnight_takes_times_until_then() {
    let with = |leave_by: &str| least(&format!("{},{leave_by}", row("T-1", "")));
    let list = with("25:30").expect("the unit is open until 26:00");
    assert_eq!(list.visits[0].leave_by.map(|time| time.to_string()).as_deref(), Some("25:30"));
    assert_eq!(list.unit.closes.to_string(), "26:00");
    assert_eq!(with("26:01").expect_err("closed").len(), 1);
}

#[test]
fn nhs_numbers_are_taken_or_refused_as_published() {
    let valid = [
        ("943 476 5919", "the public worked example: sum 299, remainder 2, check 9"),
        ("987 654 3210", "recomputed: sum 330, remainder 0, so 11 stands for 0"),
        ("999 000 0050", "the range that is never issued, docs.rs nhs-number; check 0"),
    ];
    for (number, source) in valid {
        let list = accepted(format!("{HEADER}\n{}\n", row("T-1", number)));
        let digits = number.replace(' ', "");
        assert_eq!(list.visits[0].nhs_no.as_ref(), Some(&digits), "{number}: {source}");
    }
    let invalid = [
        (
            "987 654 4321",
            "a layout example of a documentation page",
            "NHS number does not pass its check digit",
        ),
        ("123 456 7890", "recomputed: check 10, never issued", "NHS number does not pass its check digit"),
        (
            "129 728 7652",
            "a sample on a published banner picture",
            "NHS number does not pass its check digit",
        ),
        ("000 000 0000", "recomputed: passes the arithmetic, a placeholder", "NHS number is ten zeros"),
        ("943 476 591", "the worked example without its last digit", "NHS number does not have ten digits"),
    ];
    for (number, source, what) in invalid {
        let told = refused(format!("{HEADER}\n{}\n", row("T-1", number)));
        assert_eq!(told, [format!("2: {what}")], "{number}: {source}");
    }
}

#[test]
fn faults_are_named_by_the_line_on_which_their_row_starts() {
    let bad = |number: &str| row(number, "").replace(",2,yes", ",0,yes");
    let broken_alert = format!("{}\"one\r\ntwo\r\n\r\nfour\"", bad("T-2"));
    let text = format!(
        "sep=,\r\n\r\n{HEADER}\r\n\r\n{}\r\n\r\n\r\n{broken_alert}\r\n{}\r\n",
        bad("T-1"),
        bad("T-3")
    );
    let cycle = "cycle is not a whole number from 1 to 99";
    assert_eq!(refused(text), [format!("5: {cycle}"), format!("8: {cycle}"), format!("12: {cycle}")]);
}

#[test]
fn lists_beyond_the_limits_are_refused_with_the_figure() {
    let rows = format!("{HEADER}\n{}", format!("{}\n", row("T-1", "")).repeat(50_001));
    assert_eq!(refused(rows), ["0: day list has too many rows"]);
    assert_eq!(refused(vec![b'a'; 16 * 1024 * 1024 + 1]), ["0: file is too large"]);
    let wide = format!("{HEADER}{}\n{}\n", ",more".repeat(500), row("T-1", ""));
    assert_eq!(refused(wide), ["1: day list has too many columns"]);
    let numbered: String =
        (0..2_001).map(|number| format!("{}\n", row(&format!("T-{number}"), ""))).collect();
    assert_eq!(refused(format!("{HEADER}\n{numbered}")), ["0: day has too many visits"]);
}

#[test]
fn messages_never_repeat_what_is_private() {
    let list = demonstration_text("day-list-faults.csv");
    let problems = taken(&list).expect_err("the list of faults");
    let messages: String = problems.iter().map(ToString::to_string).collect();
    let header: Vec<&str> = list.lines().next().expect("a header").split(',').collect();
    let mut looked_for = 0;
    for line in list.lines().skip(1) {
        for (name, cell) in header.iter().zip(line.split(',')) {
            let is_private =
                matches!(*name, "hospital_no" | "nhs_no" | "family_name" | "given_name" | "born" | "alert");
            if is_private && !cell.is_empty() {
                assert!(!messages.contains(cell), "a message repeats a cell of {name}");
                looked_for += 1;
            }
        }
    }
    assert!(looked_for > 100, "only {looked_for} private cells were looked for");
}

/// Values that cells of lists have, right and wrong, without one of a row that is right on its own.
fn cell(column: usize) -> impl Strategy<Value = String> {
    let right = [
        "2031-03-14",
        "08:30",
        "A",
        "A1",
        "T-1",
        "943 476 5919",
        "Test",
        "Ada",
        "1961-03-14",
        "PAC-W",
        "2",
        "yes",
        "",
    ];
    let wrong = prop_oneof![
        Just(""),
        Just("2031-03-15"),
        Just("25:00"),
        Just("\"two\nlines\""),
        Just("\"a \"\"quoted\"\" word\""),
        Just("Ze\u{202e}ro"),
        Just("TRAS"),
        Just("no"),
        Just("one,more"),
        Just("14/03/1961"),
    ];
    prop_oneof![
        9 => Just(right[column].to_owned()),
        2 => wrong.prop_map(str::to_owned),
        1 => "[ -!#-+.-~]{0,12}",
        1 => "T-[0-9]{1,2}",
    ]
}

fn any_row() -> impl Strategy<Value = String> {
    let cells: Vec<_> = (0..13).map(|column| cell(column).boxed()).collect();
    cells.prop_map(|cells| cells.join(","))
}

fn any_break() -> impl Strategy<Value = &'static str> {
    prop_oneof![4 => Just("\n"), 2 => Just("\r\n"), 1 => Just("\r"), 1 => Just("\n\n"), 1 => Just("\r\n\n\r\n")]
}

/// How many lines a text goes down.
fn line_ends(text: &str) -> u32 {
    let ends = text.replace("\r\n", "\n").matches(['\n', '\r']).count();
    u32::try_from(ends).expect("a short text")
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    #[test]
    fn no_bytes_make_it_panic(list in vec(any::<u8>(), 0..400), unit in vec(any::<u8>(), 0..200), regimens in vec(any::<u8>(), 0..200)) {
        let options = Options { hold_bad_rows: true, ..Options::default() };
        prop_assert!(taken_with(&list, &unit, &regimens, options).is_err());
        let good = (demonstration("unit.toml"), demonstration("regimens.toml"));
        prop_assert!(taken_with(&list, &good.0, &good.1, options).is_err());
    }

    #[test]
    fn no_change_of_a_few_bytes_makes_it_panic(changes in vec((0_usize..4, any::<proptest::sample::Index>(), any::<u8>()), 1..6)) {
        let mut files = ["day-list.csv", "unit.toml", "regimens.toml"].map(demonstration);
        for (kind, at, byte) in changes {
            let file = &mut files[kind % 3];
            let at = at.index(file.len().max(1));
            if at >= file.len() {
                continue;
            }
            if kind == 3 {
                file.truncate(at);
            } else {
                file[at] = byte;
            }
        }
        if let Err(problems) = taken_with(&files[0], &files[1], &files[2], Options::default()) {
            prop_assert!(!problems.is_empty(), "a refusal says why");
        }
    }

    #[test]
    fn every_row_is_planned_or_held_back_or_of_another_day(rows in vec((any_row(), any_break()), 0..12)) {
        let good = "2031-03-14,08:30,A,A1,GOOD,,Testcase,Ada,1961-03-14,PAC-W,2,yes,\n";
        let mut text = format!("{HEADER}\n{good}");
        let mut lines = BTreeSet::from([2]);
        for (row, end) in &rows {
            if row.contains(|character: char| character != ',' && !character.is_whitespace() && character != '"') {
                lines.insert(1 + line_ends(&text));
            }
            text.push_str(row);
            text.push_str(end);
        }
        let (unit, regimens) = (demonstration("unit.toml"), demonstration("regimens.toml"));
        let date = NaiveDate::from_ymd_opt(2031, 3, 14);
        let held = taken_with(text.as_bytes(), &unit, &regimens, Options { date, hold_bad_rows: true });
        let list = match held {
            Ok(list) => list,
            Err(problems) => return Err(proptest::test_runner::TestCaseError::fail(format!("{problems:?}"))),
        };
        let visits: BTreeSet<u32> = list.visits.iter().map(|visit| visit.line).collect();
        let held_back: BTreeSet<u32> = list.held_back.iter().map(|row| row.line).collect();
        prop_assert!(visits.is_disjoint(&held_back));
        prop_assert!(visits.union(&held_back).all(|line| lines.contains(line)), "{lines:?} {visits:?} {held_back:?}");
        prop_assert_eq!(visits.len() + held_back.len() + list.other_days, lines.len());
        for row in &list.held_back {
            prop_assert!(!row.faults.is_empty());
            prop_assert!(row.problems().all(|problem| problem.place.line == Some(row.line)));
        }

        match taken_with(text.as_bytes(), &unit, &regimens, Options { date, hold_bad_rows: false }) {
            Ok(strict) => prop_assert_eq!((strict.visits, held_back.len()), (list.visits, 0)),
            Err(problems) => {
                let named: BTreeSet<u32> = problems.iter().filter_map(|problem| problem.place.line).collect();
                prop_assert!(!named.is_empty() && named.is_subset(&held_back), "{named:?} {held_back:?}");
            }
        }
    }
}
