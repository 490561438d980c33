//! `baypack propose` as the ward clerk runs it: what it says, what it writes, and that the day then fits.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::Command;
use baypack::write::write_one;
use serde_json::Value;

fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-input").join(name)
}

/// Runs a command on a list with the demonstration unit.
fn run(command: &str, list: &Path, more: &[&str]) -> Output {
    let mut baypack = Command::cargo_bin("baypack").expect("the program is built for the test");
    baypack.arg(command).arg(list).arg("--unit").arg(demo("unit.toml"));
    baypack.arg("--regimens").arg(demo("regimens.toml")).args(more).output().expect("it runs")
}

fn said(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).expect("UTF-8")
}

/// The plan of a list.
fn plan(list: &Path) -> Value {
    let place = tempfile::tempdir().expect("a folder");
    let path = place.path().join("plan.json");
    let output = run("check", list, &["--plan", &path.to_string_lossy()]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&fs::read(path).expect("the plan")).expect("JSON")
}

/// Kinds of caution that are harm.
const HARMS: [&str; 9] = [
    "outlet_short",
    "cap_short",
    "closing_passed",
    "before_opening",
    "leave_by_missed",
    "drugs_late",
    "chair_double_booked",
    "nurses_short",
    "machine_before_opening",
];

/// Each caution of harm, with its line; one of the unit's (no line) with its text.
fn harms(plan: &Value) -> Vec<(&Value, &Value)> {
    let cautions = plan["cautions"].as_array().expect("cautions").iter();
    let harms = cautions.filter(|caution| HARMS.iter().any(|kind| caution["kind"] == *kind));
    harms.map(|one| (&one["kind"], if one["line"].is_null() { &one["text"] } else { &one["line"] })).collect()
}

/// The arrivals that a plan proposes: line, from, to.
fn changes(plan: &Value) -> Vec<(u64, String, String)> {
    let changes = plan["proposal"]["changes"].as_array().expect("changes").iter();
    let text = |value: &Value| value.as_str().expect("a time").to_owned();
    changes.map(|one| (one["line"].as_u64().expect("a line"), text(&one["from"]), text(&one["to"]))).collect()
}

/// Proposes for a list, makes the plan of the written one, and compares the two.
fn assert_fits(list: &Path, expected: impl Fn(&[(u64, String, String)]) -> Vec<u8>) {
    let place = tempfile::tempdir().expect("a folder");
    let before = plan(list);
    assert_eq!(before["machines"]["without_outlet"], 1);
    assert_eq!(before["shortfalls"].as_array().expect("shortfalls").len(), 1);
    assert_eq!(
        (&before["proposal"]["without_after"], &before["proposal"]["proven"]),
        (&0.into(), &true.into())
    );
    let path = place.path().join("proposed.csv");
    let output = run("propose", list, &["--out-list", &path.to_string_lossy()]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(fs::read(&path).expect("the list") == expected(&changes(&before)), "other bytes differ too");
    let after = plan(&path);
    assert_eq!((&after["machines"]["without_outlet"], &after["proposal"]), (&0.into(), &Value::Null));
    for harm in harms(&after) {
        assert!(harms(&before).contains(&harm), "new: {harm:?}");
    }
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        assert_eq!(fs::metadata(&path).expect("it is there").permissions().mode() & 0o777, 0o600);
    }
}

/// `8:30` for `08:30`.
fn short(time: &str) -> String {
    time.trim_start_matches('0').to_owned()
}

/// `8:30 AM` for `08:30`, as spreadsheets of the United States have it.
fn half_day(time: &str) -> String {
    let (hours, minutes) = time.split_once(':').expect("a time");
    let hours: u32 = hours.parse().expect("hours");
    format!("{}:{minutes} {}", (hours + 11) % 12 + 1, if hours < 12 { "AM" } else { "PM" })
}

/// The demonstration's list with every arrival in another form, parted by semicolons.
fn rewritten(written: impl Fn(&str) -> String) -> String {
    let text = fs::read_to_string(demo("day-list-one-more.csv")).expect("the demo list");
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let mut writer = csv::WriterBuilder::new()
        .delimiter(b';')
        .quote_style(csv::QuoteStyle::Always)
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    writer.write_record(reader.headers().expect("the header")).expect("written");
    for record in reader.records() {
        let record = record.expect("a record");
        let cells = record.iter().enumerate();
        let cells = cells.map(|(place, cell)| if place == 1 { written(cell) } else { cell.to_owned() });
        writer.write_record(cells).expect("written");
    }
    String::from_utf8(writer.into_inner().expect("written")).expect("UTF-8")
}

/// A text with the proposed arrivals on their lines, which hold each arrival once.
fn with_arrivals(text: &str, changes: &[(u64, String, String)], written: impl Fn(&str) -> String) -> String {
    let mut lines: Vec<String> = text.split_inclusive('\n').map(str::to_owned).collect();
    for (line, from, to) in changes {
        let row = &mut lines[usize::try_from(*line).expect("small") - 1];
        assert!(row.contains(&written(from)));
        *row = row.replacen(&written(from), &written(to), 1);
    }
    lines.concat()
}

#[test]
fn the_list_that_is_written_makes_the_day_fit_and_differs_in_the_arrivals_alone() {
    let list = demo("day-list-one-more.csv");
    let text = fs::read_to_string(&list).expect("the demo list");
    assert_fits(&list, |changes| with_arrivals(&text, changes, str::to_owned).into_bytes());
}

#[test]
fn a_list_keeps_its_encoding_delimiter_line_ends_quotes_and_form_of_times() {
    let place = tempfile::tempdir().expect("a folder");
    let text = rewritten(short);
    let wide = |text: &str| -> Vec<u8> {
        [0xfeff].into_iter().chain(text.encode_utf16()).flat_map(u16::to_le_bytes).collect()
    };
    let list = place.path().join("list.csv");
    write_one(&list, &wide(&text)).expect("written");
    assert_fits(&list, |changes| wide(&with_arrivals(&text, changes, short)));
}

#[test]
fn a_list_of_the_12_hour_clock_or_with_dates_before_its_times_stays_one() {
    let place = tempfile::tempdir().expect("a folder");
    let dated = |time: &str| format!("2031-03-14T{time}:00");
    for (name, written) in [("half-days.csv", &half_day as &dyn Fn(&str) -> String), ("dated.csv", &dated)] {
        let list = place.path().join(name);
        let text = rewritten(written);
        write_one(&list, text.as_bytes()).expect("written");
        assert_fits(&list, |changes| with_arrivals(&text, changes, written).into_bytes());
    }
}

#[test]
fn a_list_whose_times_are_kept_as_texts_keeps_them_so() {
    let place = tempfile::tempdir().expect("a folder");
    let kept = |time: &str| format!("=\"{time}\"");
    let quoted = |time: &str| format!("\"=\"\"{time}\"\"\"");
    let text = rewritten(kept);
    // With and without the quotation marks of the format around the cell.
    let plain = text.replace("\"=\"\"", "=\"").replace("\"\"\";", "\";");
    assert!(text.contains(&quoted("08:15")) && plain.contains(&format!(";{};", kept("08:15"))));
    for (name, text, written) in
        [("quoted.csv", text, &quoted as &dyn Fn(&str) -> String), ("plain.csv", plain, &kept)]
    {
        let list = place.path().join(name);
        write_one(&list, text.as_bytes()).expect("written");
        assert_fits(&list, |changes| with_arrivals(&text, changes, written).into_bytes());
    }
}

#[test]
fn the_command_that_is_said_to_come_next_makes_the_day_fit() {
    let place = tempfile::tempdir().expect("a folder");
    let list = place.path().join("day").join("list.csv");
    fs::create_dir(place.path().join("day")).expect("a folder");
    for (from, to) in [
        ("day-list-one-more.csv", "list.csv"),
        ("unit.toml", "unit.toml"),
        ("regimens.toml", "regimens.toml"),
    ] {
        fs::copy(demo(from), list.with_file_name(to)).expect("copied");
    }
    let baypack = |arguments: &[&str]| {
        let mut baypack = Command::cargo_bin("baypack").expect("the program is built for the test");
        baypack.current_dir(place.path()).args(arguments).output().expect("it runs")
    };
    let without = said(&baypack(&["propose", "day/list.csv"]));
    assert!(without.ends_with("run this again with --out-list FILE.\n"), "{without}");
    let told = said(&baypack(&["propose", "day/list.csv", "--out-list", "proposed.csv"]));
    let next = told.lines().last().and_then(|line| line.strip_prefix("  baypack ")).expect("a command");
    assert_eq!(next, "make proposed.csv --unit day/unit.toml --regimens day/regimens.toml");
    let arguments: Vec<&str> = next.split(' ').collect();
    let made = baypack(&arguments);
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    assert!(said(&made).contains("Print out/2031-03-14/pack.pdf"), "{}", said(&made));
}

#[test]
fn what_is_proposed_is_said_by_lines_and_chairs_and_is_what_the_readme_shows() {
    let output = run("propose", &demo("day-list-one-more.csv"), &[]);
    let readme = fs::read_to_string(demo("../README.md")).expect("the README");
    let shown =
        readme.split("```text\nline ").nth(1).and_then(|rest| rest.split("```").next()).expect("an example");
    assert!(said(&output).contains(&format!("line {shown}")), "{}", said(&output));
    for private in ["Zelenka", "ZELENKA", "LD-3021"] {
        assert!(!said(&output).contains(private));
    }
}

#[test]
fn where_nothing_is_to_be_proposed_nothing_is_written() {
    let place = tempfile::tempdir().expect("a folder");
    let path = place.path().join("proposed.csv");
    let rigid = place.path().join("unit.toml");
    let unit = fs::read_to_string(demo("unit.toml")).expect("the demo unit");
    let unit = unit.replace("retime_earlier = 30", "retime_earlier = 0");
    write_one(&rigid, unit.replace("retime_later = 60", "retime_later = 0").as_bytes()).expect("written");
    for (list, unit) in [("day-list.csv", demo("unit.toml")), ("day-list-overloaded.csv", rigid)] {
        let mut baypack = Command::cargo_bin("baypack").expect("the program is built for the test");
        baypack.arg("propose").arg(demo(list)).arg("--unit").arg(unit);
        baypack.arg("--regimens").arg(demo("regimens.toml")).arg("--out-list").arg(&path);
        let output = baypack.output().expect("it runs");
        assert_eq!(output.status.code(), Some(0));
        assert!(said(&output).starts_with("Nothing to propose: "), "{}", said(&output));
        assert!(!path.exists());
    }
}

#[test]
fn a_file_that_is_there_is_never_written_over() {
    let place = tempfile::tempdir().expect("a folder");
    let list = place.path().join("list.csv");
    fs::copy(demo("day-list-one-more.csv"), &list).expect("copied");
    let before = fs::read(&list).expect("the list");
    let output = run("propose", &list, &["--out-list", &list.to_string_lossy()]);
    assert_eq!(output.status.code(), Some(3));
    assert_eq!(fs::read(&list).expect("the list"), before);
    let output =
        run("propose", &list, &["--out-list", &place.path().join("no/such/folder.csv").to_string_lossy()]);
    assert_eq!(output.status.code(), Some(3));
    assert_eq!(fs::read_dir(place.path()).expect("the folder").count(), 1, "nothing else is left behind");
}

#[test]
fn a_list_with_faults_is_refused() {
    let place = tempfile::tempdir().expect("a folder");
    let path = place.path().join("proposed.csv");
    let output = run("propose", &demo("day-list-faults.csv"), &["--out-list", &path.to_string_lossy()]);
    assert_eq!(output.status.code(), Some(1));
    assert!(!path.exists());
}
