//! A single sheet holds nothing that changes when another sheet does: paper that is already on the
//! ward stays true when a row elsewhere in the list changes.

#[path = "support/paper.rs"]
mod paper;

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use assert_cmd::Command;
use paper::{Page, read};

/// The files of the day, by name, for a list made from the demo's lines.
fn pack_of(change: impl Fn(Vec<String>) -> Vec<String>) -> BTreeMap<String, Vec<u8>> {
    let place = tempfile::tempdir().expect("a folder");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-input");
    for name in ["unit.toml", "regimens.toml"] {
        fs::copy(demo.join(name), place.path().join(name)).expect("copied");
    }
    let list = fs::read_to_string(demo.join("day-list.csv")).expect("the demo's list");
    let lines = change(list.lines().map(str::to_owned).collect());
    save(&place.path().join("list.csv"), &lines.join("\n"));
    Command::cargo_bin("baypack")
        .expect("the program is built for the test")
        .current_dir(place.path())
        .env("SOURCE_DATE_EPOCH", "1931238120")
        .args(["make", "list.csv", "--quiet"])
        .assert()
        .success();
    let day = place.path().join("out/2031-03-14");
    let mut files = BTreeMap::new();
    for folder in [day.clone(), day.join("cards")] {
        for entry in fs::read_dir(folder).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_file() {
                let name = path.strip_prefix(&day).expect("below it").to_string_lossy().into_owned();
                files.insert(name, fs::read(path).expect("a file"));
            }
        }
    }
    files
}

#[expect(clippy::disallowed_methods, reason = "an invented list in a folder of the test's own")]
fn save(path: &Path, text: &str) {
    fs::write(path, text).expect("written");
}

/// Where a column of the demo's list stands.
fn place_of(header: &str, column: &str) -> usize {
    header.split(',').position(|name| name == column).expect("a column of the demo")
}

fn differing(before: &BTreeMap<String, Vec<u8>>, after: &BTreeMap<String, Vec<u8>>) -> Vec<String> {
    before.keys().filter(|name| after.get(*name) != before.get(*name)).cloned().collect()
}

#[test]
fn the_order_of_the_rows_changes_no_sheet_of_a_bay_no_machine_sheet_and_no_card() {
    let before = pack_of(|lines| lines);
    let after = pack_of(|mut lines| {
        lines[1..].reverse();
        lines
    });
    assert_eq!(differing(&before, &after), ["plan.json"], "the plan names lines of the list");
}

#[test]
fn a_changed_alert_changes_one_bay_sheet_and_no_card() {
    let before = pack_of(|lines| lines);
    let after = pack_of(|mut lines| {
        let (alert, bay) = (place_of(&lines[0], "alert"), place_of(&lines[0], "bay"));
        let row = lines
            .iter_mut()
            .skip(1)
            .find(|line| line.split(',').nth(bay) == Some("B"))
            .expect("a row of bay B");
        let mut cells: Vec<&str> = row.split(',').collect();
        cells[alert] = "Invented alert of the test";
        *row = cells.join(",");
        lines
    });
    assert_eq!(differing(&before, &after), ["bay-B.pdf", "front-sheet.pdf", "pack.pdf", "plan.json"]);
}

#[test]
fn a_patient_who_is_not_cooled_and_stays_away_changes_nobody_elses_paper() {
    let before = pack_of(|lines| lines);
    let after = pack_of(|mut lines| {
        let cooled = place_of(&lines[0], "cooled");
        let row = lines
            .iter()
            .position(|line| line.split(',').nth(cooled) == Some("no"))
            .expect("one is not cooled");
        lines.remove(row);
        lines
    });
    let changed = differing(&before, &after);
    let cards: Vec<&String> = changed.iter().filter(|name| name.starts_with("cards/")).collect();
    let bays: Vec<&String> = changed.iter().filter(|name| name.starts_with("bay-")).collect();
    assert_eq!((cards.len(), bays.len()), (1, 1), "{changed:?}");
    // The machine sheet's last page counts every nurse's hands, so that page alone may change.
    let pages = |files: &BTreeMap<String, Vec<u8>>| {
        let mut pages: Vec<String> = read(&files["machine-sheet.pdf"]).iter().map(Page::text).collect();
        pages.pop();
        pages
    };
    assert_eq!(pages(&before), pages(&after));
}

#[test]
fn the_sheet_of_an_isolated_patient_keeps_its_name_and_its_code_when_another_one_goes() {
    let two_of_them = |lines: Vec<String>| -> Vec<String> {
        let (bay, isolate) = (place_of(&lines[0], "bay"), place_of(&lines[0], "isolate"));
        let of_bay_b = |line: &String| line.split(',').nth(bay) == Some("B");
        let places: Vec<usize> = (1..lines.len()).filter(|&place| of_bay_b(&lines[place])).take(2).collect();
        let isolated = |(place, line): (usize, String)| {
            let mut cells: Vec<&str> = line.split(',').collect();
            if places.contains(&place) {
                cells[isolate] = "yes";
            }
            cells.join(",")
        };
        lines.into_iter().enumerate().map(isolated).collect()
    };
    let without = |nth: usize| {
        pack_of(|lines| {
            let bay = place_of(&lines[0], "bay");
            let mut lines = two_of_them(lines);
            let of_bay_b = |line: &String| line.split(',').nth(bay) == Some("B");
            let place = (1..lines.len()).filter(|&place| of_bay_b(&lines[place])).nth(nth);
            lines.remove(place.expect("a row of bay B"));
            lines
        })
    };
    let before = pack_of(two_of_them);
    // Each sheet by its file's name, with the patient's number on it.
    let isolated = |files: &BTreeMap<String, Vec<u8>>| -> BTreeMap<String, String> {
        let sheets =
            files.iter().filter_map(|(name, bytes)| Some((name.strip_prefix("bay-B-isolated-")?, bytes)));
        let read = |(name, bytes): (&str, &Vec<u8>)| {
            let code = name.trim_end_matches(".pdf").to_owned();
            let text: String = read(bytes).iter().map(Page::text).collect();
            assert!(text.contains(&code), "{code} is printed on the sheet");
            let number = text.split("LD-").nth(1).expect("a hospital number");
            (code, number.chars().take(4).collect())
        };
        sheets.map(read).collect()
    };
    let before = isolated(&before);
    assert_eq!(before.len(), 2);
    for nth in [0, 1] {
        let after = isolated(&without(nth));
        assert_eq!(after.len(), 1);
        assert!(after.iter().all(|(code, number)| before.get(code) == Some(number)), "{after:?}, {before:?}");
    }
}
