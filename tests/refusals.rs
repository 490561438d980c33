//! What a clerk reads when an input is refused: whole messages against the ones that somebody has read.
//!
//! Each folder of `tests/refusals` is a case: the inputs that differ from the demonstration's, the
//! options of the command line in `options.txt`, and the messages in `expected.txt`. A case without
//! messages fails; what it would print is left in the target folder to be read and copied.

use std::fs;
use std::path::{Path, PathBuf};

use baypack::problem::messages;
use baypack::read::{File, Inputs, read};
use baypack::validate::{AtHand, DayList, Options, validate};

/// The characters that these tests take as printable: those of the scripts of Europe.
fn prints(character: char) -> bool {
    matches!(character, ' '..='\u{5ff}' | '\u{1e00}'..='\u{1fff}' | '\u{2010}'..='\u{2027}')
}

fn repository() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// A case's file, or else the demonstration's.
fn input(case: &Path, name: &str) -> Vec<u8> {
    let own = case.join(name);
    let path = if own.exists() { own } else { repository().join("demo-input").join(name) };
    fs::read(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn options(case: &Path) -> Options {
    let written = fs::read_to_string(case.join("options.txt")).unwrap_or_default();
    let mut words = written.split_whitespace();
    let mut options = Options::default();
    while let Some(word) = words.next() {
        match word {
            "--hold-bad-rows" => options.hold_bad_rows = true,
            "--date" => options.date = words.next().map(|date| date.parse().expect("a date in options.txt")),
            other => panic!("{other} is no option of a case"),
        }
    }
    options
}

/// What the three files of a case come to, as the program would tell it.
fn outcome(case: &Path) -> String {
    let list_name =
        if case.ends_with("demonstration-faults") { "day-list-faults.csv" } else { "day-list.csv" };
    let (list, unit, regimens) =
        (input(case, list_name), input(case, "unit.toml"), input(case, "regimens.toml"));
    let inputs = Inputs {
        day_list: File { name: list_name, bytes: &list },
        unit: File { name: "unit.toml", bytes: &unit },
        regimens: File { name: "regimens.toml", bytes: &regimens },
    };
    let languages = ["en".to_owned(), "pl".to_owned(), "es".to_owned()];
    let at_hand = AtHand { prints: &prints, languages: &languages };
    match validate(&read(&inputs), options(case), &at_hand) {
        Ok(list) => accepted(&list),
        Err(problems) => {
            let told: Vec<String> = messages(&problems).iter().map(ToString::to_string).collect();
            format!("{}\n{} in {} places\n", told.join("\n"), told.len(), problems.len())
        }
    }
}

/// A list that was taken, with what was left out of it.
fn accepted(list: &DayList) -> String {
    let mut lines: Vec<u32> = list.visits.iter().map(|visit| visit.line).collect();
    lines.sort_unstable();
    let lines: Vec<String> = lines.iter().map(ToString::to_string).collect();
    let mut told = format!("accepted {}: visits of lines {}\n", list.day, lines.join(", "));
    for row in &list.held_back {
        told.push_str(&format!("\nheld back {:?} {:?} {:?}\n", row.name, row.place, row.arrive));
        told.extend(row.problems().map(ToString::to_string));
    }
    told.extend(list.notes.iter().map(|note| format!("\nnote: {}\n", note)));
    if list.other_days > 0 {
        told.push_str(&format!("\nrows of other days: {}\n", list.other_days));
    }
    told
}

/// Leaves what a case would print beside the build, to be read and, if it is right, copied.
#[expect(clippy::disallowed_methods, reason = "an invented case's messages, outside any pack")]
fn leave(name: &str, actual: &str) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("{name}.expected.txt"));
    fs::write(&path, actual).expect("the target folder can be written");
    path
}

#[test]
fn every_refusal_reads_as_it_was_approved() {
    let folder = repository().join("tests/refusals");
    let mut cases: Vec<PathBuf> = fs::read_dir(&folder)
        .expect("the folder of cases")
        .map(|entry| entry.expect("a case").path())
        .collect();
    cases.retain(|path| path.is_dir());
    cases.sort();
    assert!(cases.len() >= 20, "cases have gone missing: {} left", cases.len());
    let mut failures = Vec::new();
    for case in cases {
        let name = case.file_name().expect("a case has a name").to_string_lossy().into_owned();
        let (expected, actual) = (fs::read_to_string(case.join("expected.txt")), outcome(&case));
        if expected.as_ref().is_ok_and(|expected| *expected == actual) {
            continue;
        }
        let left = leave(&name, &actual);
        let expected = expected.unwrap_or_else(|_| "nothing: the case has no expected.txt".to_owned());
        failures.push(format!(
            "case {name}, see {}\n--- expected\n{expected}\n--- actual\n{actual}",
            left.display()
        ));
    }
    assert!(failures.is_empty(), "{}", failures.join("\n======\n"));
}
