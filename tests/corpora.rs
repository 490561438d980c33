//! Published torture sets as input: CSV files that break readers, naughty strings and confusable and
//! direction-changing characters as patients' names. Each is taken as it stands or refused by name.
//!
//! `tests/corpora/README.md` says where they come from.

use std::collections::BTreeMap;
use std::fs;
use std::path::PathBuf;

use baypack::layouts::Layouts;
use baypack::problem::{Problem, messages};
use baypack::read::{File, Inputs, read, read_day_list};
use baypack::validate::{AtHand, DayList, Options, validate};
use serde_json::Value;
use unicode_normalization::UnicodeNormalization;

fn corpus(path: &str) -> Vec<u8> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/corpora").join(path);
    fs::read(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn demo(name: &str) -> Vec<u8> {
    fs::read(PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("demo-input").join(name))
        .expect("the demonstration")
}

/// A list of one row for each given name, taken with the fonts that the program carries.
fn with_names(names: &[String], hold_bad_rows: bool) -> Result<DayList, Vec<Problem>> {
    let layouts = Layouts::new(BTreeMap::new()).expect("the program's own layouts");
    let mut writer = csv::WriterBuilder::new().quote_style(csv::QuoteStyle::Always).from_writer(Vec::new());
    let header = [
        "date",
        "arrive",
        "bay",
        "chair",
        "hospital_no",
        "family_name",
        "given_name",
        "born",
        "regimen",
        "cycle",
        "cooled",
    ];
    writer.write_record(header).expect("memory");
    for (number, name) in names.iter().enumerate() {
        let hospital_no = format!("T-{number}");
        let row = [
            "2031-03-14",
            "08:30",
            "A",
            "A1",
            &hospital_no,
            "Testcase",
            name,
            "1961-03-14",
            "PAC-W",
            "2",
            "yes",
        ];
        writer.write_record(row).expect("memory");
    }
    let list = writer.into_inner().expect("memory");
    let (unit, regimens) = (demo("unit.toml"), demo("regimens.toml"));
    let inputs = Inputs {
        day_list: File { name: "list.csv", bytes: &list },
        unit: File { name: "unit.toml", bytes: &unit },
        regimens: File { name: "regimens.toml", bytes: &regimens },
    };
    let languages = ["en".to_owned()];
    let at_hand = AtHand { prints: &|character| layouts.covers(character), languages: &languages };
    validate(&read(&inputs), Options { date: None, hold_bad_rows }, &at_hand)
}

/// A name as paper shows it: composed, its spaces plain, an apostrophe that only keeps a formula from
/// running taken off.
fn as_printed(name: &str) -> String {
    let inert =
        name.trim().strip_prefix('\'').filter(|rest| rest.trim_start().starts_with(['=', '+', '-', '@']));
    let spaced = inert.unwrap_or(name.trim()).chars().map(|one| if one.is_whitespace() { ' ' } else { one });
    spaced.collect::<String>().trim().nfc().collect()
}

/// Holds that each name is on the list as it stands, or held back with a fault of its cell and its line.
/// Returns how many were taken.
#[track_caller]
fn taken_or_named(names: &[String]) -> usize {
    names.chunks(LIST_MOST).map(taken_or_named_in_a_list).sum()
}

/// Names in one list: fewer than a day may have visits.
const LIST_MOST: usize = 250;

fn taken_or_named_in_a_list(names: &[String]) -> usize {
    let list = with_names(names, true).expect("some names are taken");
    let mut found: Vec<Option<&str>> = vec![None; names.len()];
    for visit in &list.visits {
        let number: usize = visit.hospital_no.trim_start_matches("T-").parse().expect("its number");
        found[number] = Some(&visit.given_name);
    }
    for (name, found) in names.iter().zip(&found).filter(|(_, found)| found.is_some()) {
        assert_eq!(*found, Some(as_printed(name).as_str()), "{name:?} is printed as something else");
    }
    for row in &list.held_back {
        let problems: Vec<_> = row.problems().cloned().collect();
        let [problem] = problems.as_slice() else { panic!("{problems:?}") };
        assert_eq!(
            (problem.place.line, problem.place.column.as_deref()),
            (Some(row.line), Some("given_name"))
        );
        let told = messages(&problems)[0].to_string();
        assert!(
            told.bytes().all(|byte| byte == b'\n' || (32..127).contains(&byte)),
            "{told:?} is plain text"
        );
    }
    assert_eq!(list.visits.len() + list.held_back.len(), names.len());
    list.visits.len()
}

#[test]
fn a_published_csv_torture_set_is_read_as_its_json_says() {
    let names = [
        "comma_in_quotes",
        "empty",
        "empty_crlf",
        "escaped_quotes",
        "json",
        "newlines",
        "newlines_crlf",
        "quotes_and_newlines",
        "simple",
        "simple_crlf",
        "utf8",
    ];
    for name in names {
        let list =
            read_day_list(name, &corpus(&format!("csv-spectrum/{name}.csv"))).expect("a readable list");
        let expected: Value =
            serde_json::from_slice(&corpus(&format!("csv-spectrum/{name}.json"))).expect("JSON");
        let expected = expected.as_array().expect("a list of rows");
        assert_eq!(list.rows.len(), expected.len(), "{name}");
        for (row, expected) in list.rows.iter().zip(expected) {
            let cells = list.header.cells.iter().zip(&row.cells);
            let read: Value =
                cells.map(|(header, cell)| (header.clone(), Value::String(cell.clone()))).collect();
            assert_eq!(&read, expected, "{name}, line {}", row.line);
        }
    }
}

#[test]
fn naughty_strings_are_names_as_they_stand_or_refused_with_their_line() {
    let strings: Vec<String> = serde_json::from_slice(&corpus("blns/blns.json")).expect("a list of strings");
    let names: Vec<String> = strings.into_iter().filter(|name| !name.trim().is_empty()).collect();
    let taken = taken_or_named(&names);
    assert!(names.len() > 450 && taken > 250, "{taken} of {} were taken", names.len());
}

#[test]
fn what_can_be_taken_for_a_latin_letter_is_itself_in_a_name_or_refused() {
    let text = String::from_utf8(corpus("unicode/confusables.txt")).expect("UTF-8");
    let code =
        |field: &str| u32::from_str_radix(field.trim(), 16).ok().and_then(char::from_u32).expect("a code");
    let lines = text.lines().filter(|line| !line.starts_with('#'));
    let others: Vec<String> =
        lines.map(|line| format!("Z{}e", code(line.split(';').nth(1).expect("a character")))).collect();
    let taken = taken_or_named(&others);
    assert!(others.len() > 900 && taken > 100, "{taken} of {} were taken", others.len());
}

/// A character of each class that Unicode's BidiTest has, and of the explicit ones that its short
/// sequences leave out.
const CLASSES: [(&str, char, bool); 20] = [
    ("L", 'a', true),
    ("R", 'א', true),
    ("AL", 'ا', true),
    ("EN", '1', true),
    ("ES", '+', true),
    ("ET", '%', true),
    ("AN", '٣', true),
    ("CS", ',', true),
    ("NSM", '\u{301}', true),
    ("B", '\u{2029}', false),
    ("S", '\t', false),
    ("WS", ' ', true),
    ("ON", '!', true),
    ("LRE", '\u{202a}', false),
    ("RLE", '\u{202b}', false),
    ("LRO", '\u{202d}', false),
    ("LRI", '\u{2066}', false),
    ("RLI", '\u{2067}', false),
    ("FSI", '\u{2068}', false),
    ("PDI", '\u{2069}', false),
];

#[test]
fn characters_that_turn_the_direction_round_are_refused_and_scripts_that_run_so_are_not() {
    let text = String::from_utf8(corpus("unicode/BidiTest.txt")).expect("UTF-8");
    for line in text.lines().filter(|line| line.contains(';')) {
        let class = line.split(';').next().unwrap_or_default();
        assert!(CLASSES.iter().any(|(name, ..)| *name == class), "{class} is not tried");
    }
    let mut names = Vec::new();
    let mut good = 0;
    for (_, one, is_good) in CLASSES {
        for (_, other, is_other_good) in CLASSES {
            names.push(format!("x{one}{other}x"));
            good += usize::from(is_good && is_other_good);
        }
    }
    // A mark behind a space belongs to no letter, so that pair of good ones is refused too.
    assert_eq!(taken_or_named(&names), good - 1);
}
