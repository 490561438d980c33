//! The program as the ward clerk runs it: what it says, what it writes, and its exit status.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::Command;

const DEMO: &str = "demo-input/day-list.csv";
/// A fixed time of printing: 07:02 UTC on the demo's day.
const PRINTED: &str = "1931238120";

fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-input").join(name)
}

fn baypack() -> Command {
    let mut command = Command::cargo_bin("baypack").expect("the program is built for the test");
    command.current_dir(env!("CARGO_MANIFEST_DIR")).env("SOURCE_DATE_EPOCH", PRINTED);
    command
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("messages are UTF-8")
}

fn status(output: &Output) -> i32 {
    output.status.code().expect("the program was not killed")
}

/// Every file below a folder, with its content, by path.
fn files(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut found = Vec::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(next).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let name = path.strip_prefix(folder).expect("below it").to_string_lossy().into_owned();
                found.push((name, fs::read(path).expect("a file")));
            }
        }
    }
    found.sort();
    found
}

fn is_empty(folder: &Path) -> bool {
    fs::read_dir(folder).expect("a folder").next().is_none()
}

#[test]
fn the_longest_drug_and_the_latest_closing_that_are_accepted_are_printed() {
    let place = tempfile::tempdir().expect("a folder");
    let changed = |name: &str, from: &str, to: &str| {
        let text = fs::read_to_string(demo(name)).expect("the demo's file");
        assert!(text.contains(from), "{from} in {name}");
        let path = place.path().join(name);
        baypack::write::write_one(&path, text.replacen(from, to, 1).as_bytes()).expect("written");
        path
    };
    let made = |unit: &Path, regimens: &Path| {
        let mut command = baypack();
        command.args(["make", DEMO, "--quiet", "--out"]).arg(place.path().join("out"));
        command.arg("--unit").arg(unit).arg("--regimens").arg(regimens).output().expect("it runs")
    };
    let late = changed("unit.toml", "closes = \"19:00\"", "closes = \"47:59\"");
    let long = changed("regimens.toml", "minutes = 60", "minutes = 1370");
    for (unit, regimens) in [(&late, &demo("regimens.toml")), (&demo("unit.toml"), &long)] {
        let output = made(unit, regimens);
        assert_eq!((status(&output), text(&output.stderr)), (0, String::new()));
    }
    let longer = changed("regimens.toml", "minutes = 60", "minutes = 1440");
    let output = made(&demo("unit.toml"), &longer);
    assert_eq!(status(&output), 1);
    let said = text(&output.stderr);
    for part in ["take longer than a day", "`regimens.steps` of regimen `PAC-W`", "minutes in all"] {
        assert!(said.contains(part), "{part} in {said}");
    }
}

#[test]
fn make_writes_the_pack_and_says_what_and_where() {
    let out = tempfile::tempdir().expect("a folder");
    let output = baypack().args(["make", DEMO, "--out"]).arg(out.path()).output().expect("it runs");
    assert_eq!(status(&output), 0, "{}", text(&output.stderr));
    let said = text(&output.stdout);
    for part in [
        "2031-03-14: ",
        " cooled",
        "cautions for the front sheet",
        " sheets of paper",
        "a patient on the bay sheets",
        "pack.pdf",
    ] {
        assert!(said.contains(part), "`{part}` is missing in:\n{said}");
    }
    let names: Vec<String> =
        files(&out.path().join("2031-03-14")).into_iter().map(|(name, _)| name).collect();
    for name in [
        "bay-A.pdf",
        "bay-B.pdf",
        "bay-C.pdf",
        "care-cards.pdf",
        "front-sheet.pdf",
        "machine-sheet.pdf",
        "pack.pdf",
        "plan.json",
    ] {
        assert!(names.iter().any(|found| found == name), "{name} is missing in {names:?}");
    }
}

#[test]
fn a_refusal_of_rows_says_what_comes_next_and_one_of_the_unit_does_not() {
    let refused = |list: &str, more: &[&str]| {
        let output = baypack().args(["check", list]).args(more).output().expect("it runs");
        assert_eq!(status(&output), 1, "{}", text(&output.stdout));
        text(&output.stderr)
    };
    let rows = refused("demo-input/day-list-faults.csv", &[]);
    assert!(
        rows.contains("30 problems in 33 places; nothing was written.\nMend these cells and run again."),
        "{rows}"
    );
    assert!(rows.contains("add --faults FILE.\n") && rows.contains("add --hold-bad-rows: "), "{rows}");
    let unit = refused(DEMO, &["--unit", "demo-input/regimens.toml"]);
    assert!(unit.ends_with("nothing was written.\n"), "{unit}");
}

#[test]
fn a_unit_file_that_is_missing_is_said_to_belong_beside_the_list() {
    let place = tempfile::tempdir().expect("a folder");
    fs::copy(demo("day-list.csv"), place.path().join("list.csv")).expect("copied");
    let output = baypack().current_dir(place.path()).arg("list.csv").output().expect("it runs");
    assert_eq!(status(&output), 3);
    let said = text(&output.stderr);
    assert!(said.contains("could not read unit.toml") && said.contains("to begin, copy those in"), "{said}");
}

#[test]
fn the_same_list_and_time_give_the_same_bytes() {
    let (one, other) = (tempfile::tempdir().expect("a folder"), tempfile::tempdir().expect("a folder"));
    for out in [&one, &other] {
        baypack().args(["make", DEMO, "--out"]).arg(out.path()).assert().success();
    }
    assert_eq!(files(one.path()), files(other.path()));
}

#[test]
fn another_time_of_printing_changes_the_pack_alone() {
    let (one, other) = (tempfile::tempdir().expect("a folder"), tempfile::tempdir().expect("a folder"));
    baypack().args(["make", DEMO, "--out"]).arg(one.path()).assert().success();
    baypack()
        .env("SOURCE_DATE_EPOCH", "1931241720")
        .args(["make", DEMO, "--out"])
        .arg(other.path())
        .assert()
        .success();
    let changed: Vec<String> = files(one.path())
        .into_iter()
        .zip(files(other.path()))
        .filter(|(before, after)| before != after)
        .map(|((name, _), _)| name)
        .collect();
    assert_eq!(changed, ["2031-03-14/pack.pdf"]);
}

#[test]
fn a_list_alone_means_make() {
    let place = tempfile::tempdir().expect("a folder");
    for name in ["day-list.csv", "unit.toml", "regimens.toml"] {
        fs::copy(demo(name), place.path().join(name)).expect("copied");
    }
    baypack().current_dir(place.path()).arg("day-list.csv").assert().success();
    assert!(place.path().join("out/2031-03-14/pack.pdf").is_file());
}

#[test]
fn check_writes_nothing_and_check_plan_writes_the_plan_alone() {
    let place = tempfile::tempdir().expect("a folder");
    let list = demo("day-list.csv");
    baypack().current_dir(place.path()).arg("check").arg(&list).assert().success();
    assert!(is_empty(place.path()));
    baypack()
        .current_dir(place.path())
        .arg("check")
        .arg(&list)
        .args(["--plan", "plan.json"])
        .assert()
        .success()
        .stdout("");
    let written: Vec<String> = files(place.path()).into_iter().map(|(name, _)| name).collect();
    assert_eq!(written, ["plan.json"]);
}

#[test]
fn quiet_says_nothing_when_all_is_well() {
    let out = tempfile::tempdir().expect("a folder");
    let output =
        baypack().args(["make", DEMO, "--quiet", "--out"]).arg(out.path()).output().expect("it runs");
    assert_eq!(
        (status(&output), text(&output.stdout), text(&output.stderr)),
        (0, String::new(), String::new())
    );
}

#[test]
fn a_list_with_faults_is_refused_whole_and_nothing_is_written() {
    let place = tempfile::tempdir().expect("a folder");
    let output = baypack()
        .current_dir(place.path())
        .args(["make", "--out", "out"])
        .arg(demo("day-list-faults.csv"))
        .output()
        .expect("it runs");
    let said = text(&output.stderr);
    assert_eq!(status(&output), 1, "{said}");
    assert!(said.lines().filter(|line| line.starts_with("error: ")).count() >= 20, "{said}");
    assert!(said.contains("problems in 33 places; nothing was written."), "{said}");
    assert!(is_empty(place.path()));
}

#[test]
fn no_message_names_a_patient() {
    let output = baypack().arg("check").arg(demo("day-list-faults.csv")).output().expect("it runs");
    let list = fs::read_to_string(demo("day-list-faults.csv")).expect("the list");
    let mut reader = csv::Reader::from_reader(list.as_bytes());
    let headers = reader.headers().expect("a header").clone();
    let private = ["family_name", "given_name", "hospital_no", "nhs_no", "born"].map(|column| {
        headers.iter().position(|header| header == column).unwrap_or_else(|| panic!("column {column}"))
    });
    let said = text(&output.stderr);
    let mut compared = 0;
    for row in reader.records().map_while(Result::ok) {
        for cell in private.iter().filter_map(|place| row.get(*place)).filter(|cell| cell.chars().count() > 3)
        {
            compared += 1;
            assert!(!said.contains(cell), "a message holds what stands in a private cell");
        }
    }
    assert!(compared > 50, "only {compared} cells were compared");
}

#[cfg(unix)]
#[test]
fn no_file_name_moves_the_terminals_cursor() {
    let place = tempfile::tempdir().expect("a folder");
    let name = "list\u{1b}[2J\u{202e}.csv";
    fs::copy(demo("day-list-faults.csv"), place.path().join(name)).expect("copied");
    for (list, expected) in [(name, 1), ("none\u{1b}]0;x\u{7}.csv", 3)] {
        let mut command = baypack();
        command.current_dir(place.path()).args(["check", list]);
        for (option, file) in [("--unit", "unit.toml"), ("--regimens", "regimens.toml")] {
            command.arg(option).arg(demo(file));
        }
        let output = command.output().expect("it runs");
        let said = text(&output.stderr);
        assert_eq!(status(&output), expected, "{said}");
        assert!(said.contains('\u{fffd}'), "the name is told, what it hides is not");
        assert!(!said.contains(['\u{1b}', '\u{7}', '\u{202e}']), "{said:?}");
    }
}

#[cfg(unix)]
#[test]
fn no_name_of_a_folder_and_no_layouts_message_moves_the_terminals_cursor() {
    let place = tempfile::tempdir().expect("a folder");
    let run = |arguments: &[&str]| {
        let output = baypack().current_dir(place.path()).args(arguments).output().expect("it runs");
        let said = text(&output.stdout) + &text(&output.stderr);
        assert!(said.contains('\u{fffd}'), "{said}");
        assert!(!said.contains(['\u{1b}', '\u{7}', '\u{202e}']), "{said:?}");
        status(&output)
    };
    let ours = "ours\u{1b}[2J\u{202e}";
    assert_eq!(run(&["layouts", "--copy", ours]), 0);
    assert_eq!(run(&["words", "uk", "--start", "uk\u{1b}]0;x\u{7}.toml"]), 0);
    let sheet = place.path().join(ours).join("sheets/front-sheet.typ");
    let hostile = "#panic(\"\\u{1b}[2J\\u{202e}\")\n";
    fs::File::create(sheet)
        .and_then(|mut file| std::io::Write::write_all(&mut file, hostile.as_bytes()))
        .expect("written");
    let list = demo("day-list.csv");
    assert_eq!(run(&["check", &list.to_string_lossy(), "--layouts", ours]), 1);
}

#[test]
fn held_rows_are_named_on_the_front_sheet_and_the_rest_is_printed() {
    let out = tempfile::tempdir().expect("a folder");
    let output = baypack()
        .args(["make", "--hold-bad-rows", "--out"])
        .arg(out.path())
        .arg(demo("day-list-faults.csv"))
        .output()
        .expect("it runs");
    assert_eq!(status(&output), 0, "{}", text(&output.stderr));
    let record = fs::read_to_string(out.path().join("2031-03-14/plan.json")).expect("the plan");
    let record: serde_json::Value = serde_json::from_str(&record).expect("the plan is JSON");
    let lines = |list: &str| -> Vec<u64> {
        let rows = record[list].as_array().expect("a list").iter();
        rows.map(|row| row["line"].as_u64().expect("a line")).collect()
    };
    let cautions = record["cautions"].as_array().expect("cautions").iter();
    let named: Vec<u64> = cautions
        .filter(|caution| caution["kind"] == "held_back")
        .filter_map(|caution| caution["line"].as_u64())
        .collect();
    assert!(named.len() > 20);
    assert_eq!(named, lines("held_back"));
    assert!(lines("visits").iter().all(|line| !named.contains(line)));
}

#[test]
fn a_day_that_does_not_fit_still_prints_and_says_so() {
    let out = tempfile::tempdir().expect("a folder");
    baypack().args(["make", "--out"]).arg(out.path()).arg(demo("day-list-overloaded.csv")).assert().success();
    let folder = fs::read_dir(out.path()).expect("a folder").next().expect("a day").expect("an entry").path();
    let record = fs::read_to_string(folder.join("plan.json")).expect("the plan");
    let record: serde_json::Value = serde_json::from_str(&record).expect("the plan is JSON");
    let cautions = record["cautions"].as_array().expect("cautions");
    for kind in ["outlet_short", "chair_double_booked", "closing_passed", "leave_by_missed"] {
        assert!(cautions.iter().any(|caution| caution["kind"] == kind), "no caution of the kind {kind}");
    }
    assert!(record["machines"]["without_outlet"].as_u64() > Some(0));
}

#[test]
fn wrong_usage_is_told_from_a_file_that_cannot_be_read() {
    for arguments in [
        &["make"][..],
        &["make", DEMO, "--date", "14.3.2031"],
        &["check", DEMO, "--frobnicate"],
        &["--frobnicate"],
    ] {
        let output = baypack().args(arguments).output().expect("it runs");
        assert_eq!(status(&output), 2, "{arguments:?}: {}", text(&output.stderr));
    }
    let output = baypack().args(["make", "no-such-list.csv"]).output().expect("it runs");
    assert_eq!(status(&output), 3);
    assert!(
        text(&output.stderr).starts_with("error: could not read no-such-list.csv"),
        "{}",
        text(&output.stderr)
    );
}

#[cfg(unix)]
#[test]
fn no_argument_moves_the_terminals_cursor_when_usage_is_wrong() {
    use std::os::unix::ffi::OsStrExt;
    let hostile = "\u{1b}[2J\u{1b}]0;x\u{7}\u{9b}1A\u{202e}\r\nerror: forged";
    let (date, flag) = (format!("--date={hostile}"), format!("--{hostile}"));
    for arguments in [
        &["make", DEMO, &date][..],
        &["make", DEMO, &flag],
        &["make", DEMO, "--paper", hostile],
        &["make", DEMO, "--first-label", hostile],
        &["make", DEMO, hostile],
        &["help", hostile],
        &[&flag],
    ] {
        let output = baypack().args(arguments).output().expect("it runs");
        let said = text(&output.stderr);
        assert_eq!((status(&output), text(&output.stdout)), (2, String::new()), "{said}");
        assert!(said.contains("�[2J�]0;x��1A���error: forged"), "{said:?}");
        let moves = |character: char| character.is_control() && character != '\n' || character == '\u{202e}';
        assert!(!said.contains(moves), "{said:?}");
        assert_eq!(said.lines().filter(|line| line.starts_with("error: ")).count(), 1, "{said:?}");
    }
    let bytes = std::ffi::OsStr::from_bytes(b"\x1b[2J\xff");
    let output = baypack().args(["make", DEMO, "--labels"]).arg(bytes).output().expect("it runs");
    let said = text(&output.stderr);
    assert_eq!(status(&output), 2, "{said}");
    assert!(said.starts_with("error: an option's value is not text; write it again"), "{said:?}");
    assert!(!said.contains('\u{1b}'), "{said:?}");
}

#[test]
fn help_names_every_option_in_a_sentence() {
    let output = baypack().args(["make", "--help"]).output().expect("it runs");
    assert_eq!(status(&output), 0);
    let said = text(&output.stdout);
    for option in ["--unit", "--regimens", "--out", "--date", "--hold-bad-rows", "--paper", "--quiet"] {
        assert!(said.contains(option), "{option} is missing in:\n{said}");
    }
}

#[test]
fn the_manual_page_and_the_completions_are_written() {
    let place = tempfile::tempdir().expect("a folder");
    baypack().arg("manual").arg(place.path()).assert().success();
    let names: Vec<String> = files(place.path()).into_iter().map(|(name, _)| name).collect();
    for name in ["baypack.1", "baypack.bash", "baypack.fish", "_baypack", "_baypack.ps1"] {
        assert!(names.iter().any(|found| found == name), "{name} is missing in {names:?}");
    }
    let page = fs::read_to_string(place.path().join("baypack.1")).expect("the page");
    assert!(page.contains("make"), "the page tells of make");
}

#[test]
fn commands_that_print_nothing_take_no_options_of_the_printer() {
    let options: [&[&str]; 4] = [
        &["--paper", "us-letter"],
        &["--labels", "labels-a4-14"],
        &["--first-label", "2"],
        &["--printer-check"],
    ];
    for option in options {
        for command in [&["propose", DEMO][..], &["fit", DEMO, "--regimen", "PAC-W"]] {
            let output = baypack().args(command).args(option).output().expect("it runs");
            assert_eq!(status(&output), 2, "{command:?} {option:?}");
            assert!(text(&output.stderr).contains(option[0]), "{option:?}");
        }
    }
}

#[test]
fn every_command_that_reads_a_list_writes_it_back_with_its_faults() {
    for command in [&["propose"][..], &["fit", "--regimen", "PAC-W"], &["check"]] {
        let out = tempfile::tempdir().expect("a folder");
        let file = out.path().join("faults.csv");
        let output = baypack()
            .args(command)
            .arg("demo-input/day-list-faults.csv")
            .arg("--faults")
            .arg(&file)
            .output()
            .expect("it runs");
        assert_eq!(status(&output), 1, "{command:?}");
        assert!(fs::read_to_string(&file).expect("written").contains("to_mend"), "{command:?}");
    }
}

#[test]
fn check_says_every_caution_with_its_line_and_how_the_list_was_read() {
    let place = tempfile::tempdir().expect("a folder");
    let list = place.path().join("day-list.csv");
    let demo_list = fs::read_to_string(demo("day-list.csv")).expect("the demo");
    let with_column = demo_list.lines().enumerate().map(|(number, line)| match number {
        0 => format!("{line},booked_by\n"),
        _ => format!("{line},K\n"),
    });
    fs::File::create(&list)
        .and_then(|mut file| std::io::Write::write_all(&mut file, with_column.collect::<String>().as_bytes()))
        .expect("written");
    let mut check = baypack();
    check.arg("check").arg(&list).arg("--unit").arg(demo("unit.toml"));
    let output = check.arg("--regimens").arg(demo("regimens.toml")).output().expect("it runs");
    let said = text(&output.stdout);
    assert_eq!(status(&output), 0, "{}", text(&output.stderr));
    assert!(said.contains("note: Columns of the list that were not read: `booked_by`."), "{said}");
    assert!(said.contains("  line 18: Chair C4: isolated."), "{said}");
    let told: usize = said
        .lines()
        .find_map(|line| line.strip_suffix(" cautions for the front sheet"))
        .and_then(|number| number.parse().ok())
        .expect("a number of cautions");
    assert_eq!(said.lines().filter(|line| line.starts_with("  ")).count(), told, "{said}");
}

#[test]
fn a_misspelt_command_is_told_and_the_list_behind_it_is_not_blamed() {
    let output = baypack().args(["mkae", DEMO]).output().expect("it runs");
    let said = text(&output.stderr);
    assert_eq!(status(&output), 2, "{said}");
    assert!(said.contains("'mkae'") && said.contains("'make'") && !said.contains(DEMO), "{said}");
}
