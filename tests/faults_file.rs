//! The list that `--faults` writes back: everything that was in it is, each row says what to mend, nothing
//! in it runs in a spreadsheet, and it can be read in again.
//!
//! Every person and number is invented.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::Command;
use baypack::faults::written_back;
use baypack::problem::Problem;
use baypack::read::{File, Inputs, RawInputs, RawList, read, read_day_list, without_apostrophe};
use baypack::validate::{AtHand, DayList, Options, validate};
use proptest::collection::vec;
use proptest::prelude::{Just, ProptestConfig, Strategy, prop_oneof};
use proptest::{prop_assert, prop_assert_eq, proptest};

const HEADER: &str =
    "date,arrive,bay,chair,hospital_no,family_name,given_name,born,regimen,cycle,cooled,alert";

fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-input").join(name)
}

fn read_in(list: &[u8]) -> RawInputs {
    let file = |name: &str| fs::read(demo(name)).expect("the demonstration's file");
    let (unit, regimens) = (file("unit.toml"), file("regimens.toml"));
    read(&Inputs {
        day_list: File { name: "list.csv", bytes: list },
        unit: File { name: "unit.toml", bytes: &unit },
        regimens: File { name: "regimens.toml", bytes: &regimens },
    })
}

fn checked(raw: &RawInputs) -> Result<DayList, Vec<Problem>> {
    let languages = ["en".to_owned()];
    validate(raw, Options::default(), &AtHand { prints: &|_| true, languages: &languages })
}

/// A list with faults as it is written back.
#[track_caller]
fn back(list: &str) -> String {
    let raw = read_in(list.as_bytes());
    let problems = checked(&raw).expect_err("the list has faults");
    let of_list: Vec<&Problem> = problems.iter().collect();
    let rows = raw.day_list.content.as_ref().expect("a readable list");
    let bytes = written_back(rows, &of_list).expect("memory can be written").expect("there are faults");
    String::from_utf8(bytes).expect("UTF-8")
}

fn row(number: &str) -> String {
    format!("2031-03-14,08:30,A,A1,{number},Testcase,Ada,1961-03-14,PAC-W,2,yes,")
}

fn cells(list: &str) -> RawList {
    read_day_list("list.csv", list.as_bytes()).expect("a readable list")
}

#[test]
fn every_row_stands_where_it_was_and_says_what_to_mend() {
    let bad = row("T-2").replace("08:30", "quarter past").replace(",2,yes", ",0,yes");
    let list = format!("sep=;\r\n{}\r\n\r\n{}\r\n{}\r\n", HEADER, row("T-1"), bad).replace(',', ";");
    let page = back(&list);
    assert!(page.starts_with("\u{feff}\r\n\"date\";\"arrive\";"), "a mark, then the header on its own line");
    let written = cells(&page);
    assert_eq!(written.header.line, 2);
    assert_eq!(written.header.cells.last().map(String::as_str), Some("to_mend"));
    let told: Vec<(u32, &str)> =
        written.rows.iter().map(|row| (row.line, row.cells.last().map_or("", String::as_str))).collect();
    assert_eq!(
        told,
        [
            (4, ""),
            (
                5,
                "(1) arrive: value is not a time of day (found `quarter past`). write hours and minutes of the 24-hour clock up to 23:59, for example 08:30. (2) cycle: cycle is not a whole number from 1 to 99 (found `0`). write digits only, for example 1 for a first visit."
            )
        ]
    );
}

#[test]
fn a_cell_that_would_run_is_inert_in_the_file_and_itself_again_when_read() {
    let hostile = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "=\"\"0123\"\"", "＝1", "=cmd|' /c calc'!A0"];
    for formula in hostile {
        let bad = row("T-1").replace(",2,yes", ",0,yes").replace("Testcase", &format!("\"{formula}\""));
        let page = back(&format!("{HEADER}\n{bad}\n"));
        for line in csv::Reader::from_reader(page.trim_start_matches('\u{feff}').as_bytes()).records() {
            for cell in &line.expect("a record") {
                assert!(
                    !cell.trim_start().starts_with(['=', '+', '-', '@', '＝']),
                    "{formula} runs as {cell:?}"
                );
            }
        }
        let mended = page.replace("\"0\"", "\"2\"");
        let (was, is) = (format!("{HEADER}\n{}\n", bad.replace(",0,yes", ",2,yes")), mended);
        let (was, is) = (checked(&read_in(was.as_bytes())), checked(&read_in(is.as_bytes())));
        match (was, is) {
            (Ok(was), Ok(is)) => assert_eq!(was.visits, is.visits, "{formula}"),
            (was, is) => assert_eq!(was.map(drop), is.map(drop), "{formula}"),
        }
    }
}

#[test]
fn a_mended_list_is_taken_with_the_column_named_once() {
    let bad = row("T-1").replace("08:30", "noon");
    let page = back(&format!("{HEADER}\n{bad}\n"));
    let list = checked(&read_in(page.replace("\"noon\"", "\"12:00\"").as_bytes())).expect("mended");
    assert_eq!(list.visits[0].arrive.to_string(), "12:00");
    let notes: Vec<String> = list.notes.iter().map(ToString::to_string).collect();
    assert_eq!(notes, ["Columns of the list that were not read: `to_mend`."]);
}

#[test]
fn a_second_round_has_one_such_column() {
    let bad = row("T-1").replace("08:30", "noon").replace(",2,yes", ",0,yes");
    let once = back(&format!("{HEADER}\n{bad}\n"));
    let twice = back(&once.replace("\"noon\"", "\"12:00\""));
    assert_eq!(twice.matches("to_mend").count(), 1);
    assert!(!twice.contains("time of day"), "what is mended is told no more: {twice}");
}

#[test]
fn a_row_with_too_few_or_too_many_cells_is_no_righter_when_it_comes_back() {
    let short = row("T-1").replace(",A,A1,", ",A1,");
    let long = row("T-2").replace("Testcase", "Test,case") + "latex";
    let page = back(&format!("{HEADER}\n{short}\n{long}\n"));
    let problems = checked(&read_in(page.as_bytes())).expect_err("nothing is mended yet");
    let told: Vec<&str> = problems.iter().map(|problem| problem.what.as_str()).collect();
    assert_eq!(told, ["row has too few cells", "row has too many cells"]);
}

#[test]
fn a_fault_of_the_header_stands_in_the_header() {
    let page = back(&format!("{}\n{}\n", HEADER.replace("born", "birthday"), row("T-1")));
    let header = cells(&page).header;
    let told = header.cells.last().expect("a cell");
    assert!(told.starts_with("to_mend: born: needed column is missing"), "{told}");
}

#[test]
fn a_fault_of_the_header_with_commas_in_it_is_read_again_with_the_lists_own_delimiter() {
    let list = format!("{}\n{}\n", HEADER.replace("born", "birthday"), row("T-1")).replace(',', ";");
    let again = cells(&back(&list));
    assert_eq!((again.header.cells.len(), again.rows[0].cells.len()), (13, 13));
}

#[test]
fn a_header_that_swallowed_a_row_moves_no_line_and_is_not_repeated() {
    let header = HEADER.replace("given_name", "\"more\n2031-03-14,Swallowed\"").replace("born", "birthday");
    let list = format!("{header}\n{}\n", row("T-1"));
    let (before, after) = (cells(&list), cells(&back(&list)));
    assert_eq!(before.rows[0].line, after.rows[0].line);
    let told = after.header.cells.last().expect("a cell");
    assert!(told.contains("`(a header of several lines)`") && !told.contains("Swallowed"), "{told}");
}

fn any_cell() -> impl Strategy<Value = String> {
    prop_oneof![
        Just(String::new()),
        "[=+@-][A-Z0-9()+]{0,6}",
        "[ -~]{0,8}".prop_map(|text| text.replace('"', "\"\"")),
        Just("two\nlines".to_owned()),
        Just("'=1".to_owned()),
        Just("Żółw; O’Rourke".to_owned()),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn whatever_stands_in_the_cells_comes_back_on_its_line(rows in vec(vec(any_cell(), 12), 1..6)) {
        let mut text = format!("{HEADER}\n{}\n", row("T-1").replace("08:30", "noon"));
        for row in &rows {
            let quoted: Vec<String> = row.iter().map(|cell| format!("\"{cell}\"")).collect();
            text.push_str(&quoted.join(","));
            text.push('\n');
        }
        let (before, after) = (cells(&text), cells(&back(&text)));
        prop_assert_eq!(before.rows.len(), after.rows.len());
        for (was, is) in before.rows.iter().zip(&after.rows) {
            prop_assert_eq!(was.line, is.line);
            let own: Vec<&str> = is.cells.iter().take(12).map(|cell| without_apostrophe(cell)).collect();
            let were: Vec<&str> = was.cells.iter().map(|cell| without_apostrophe(cell)).collect();
            prop_assert_eq!(own, were);
            prop_assert!(is.cells.len() == 13);
        }
    }
}

fn run(folder: &Path, arguments: &[&str]) -> Output {
    let mut command = Command::cargo_bin("baypack").expect("the program is built for the test");
    command.current_dir(folder).args(arguments);
    for (option, name) in [("--unit", "unit.toml"), ("--regimens", "regimens.toml")] {
        command.arg(option).arg(demo(name));
    }
    command.output().expect("it runs")
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

#[test]
fn the_file_is_written_once_for_its_owner_and_never_over_another() {
    let place = tempfile::tempdir().expect("a folder");
    let list = demo("day-list-faults.csv");
    let list = list.to_str().expect("a path");
    let path = place.path().join("mend.csv");
    let first = run(place.path(), &["check", list, "--faults", "mend.csv"]);
    assert_eq!(first.status.code(), Some(1));
    assert!(
        said(&first).trim_end().ends_with("mend.csv has the list with what to mend in each row."),
        "{}",
        said(&first)
    );
    let written = fs::read(&path).expect("the file");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        assert_eq!(fs::metadata(&path).expect("the file").permissions().mode() & 0o777, 0o600);
    }
    let second = run(place.path(), &["make", list, "--faults", "mend.csv"]);
    assert_eq!(second.status.code(), Some(1));
    assert!(said(&second).contains("error: could not write mend.csv"), "{}", said(&second));
    assert_eq!(fs::read(&path).expect("the file"), written);
    let own = run(place.path(), &["check", "mend.csv", "--faults", "mend.csv"]);
    assert_eq!((own.status.code(), fs::read(&path).expect("the file")), (Some(1), written));
    let names: Vec<_> = fs::read_dir(place.path())
        .expect("a folder")
        .map(|entry| entry.expect("an entry").file_name())
        .collect();
    assert_eq!(names, ["mend.csv"], "and nothing else was written");
}

#[test]
fn a_list_without_faults_writes_no_such_file() {
    let place = tempfile::tempdir().expect("a folder");
    let list = demo("day-list.csv");
    let output =
        run(place.path(), &["check", list.to_str().expect("a path"), "--quiet", "--faults", "mend.csv"]);
    assert_eq!((output.status.code(), said(&output)), (Some(0), String::new()));
    baypack::write::write_new(&place.path().join("list.csv"), b"\x00\x01").expect("written");
    let unreadable = run(place.path(), &["check", "list.csv", "--faults", "mend.csv"]);
    assert_eq!(unreadable.status.code(), Some(1));
    assert!(said(&unreadable).contains("mend.csv was not written: no fault is in a row of the list."));
    assert!(!place.path().join("mend.csv").exists());
}

#[test]
fn rows_that_are_held_back_are_written_too() {
    let place = tempfile::tempdir().expect("a folder");
    let list = demo("day-list-faults.csv");
    let output = run(
        place.path(),
        &["check", list.to_str().expect("a path"), "--hold-bad-rows", "--quiet", "--faults", "mend.csv"],
    );
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    let written = fs::read_to_string(place.path().join("mend.csv")).expect("the file");
    assert!(written.contains("regimen: regimen does not exist (found `PACW`). did you mean `PAC-W`?"));
}
