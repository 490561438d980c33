//! The printer check on request, and the pack and labels corrected for a printer that is off.

#[path = "support/paper.rs"]
mod paper;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::Command;
use paper::{Page, read};

/// What was measured of a printer that shrinks and shifts.
const OFF: &str = "bar_across = 97\nbar_up = 98.5\nframe_left = 12.8\nframe_bottom = 9.1\n";

#[expect(clippy::disallowed_methods, reason = "an invented unit in a folder of the test's own")]
fn save(path: &Path, text: &str) {
    fs::write(path, text).expect("written");
}

/// The demo's files in a folder, with a printer in `unit.toml`.
fn demo_with(printer: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["day-list.csv", "unit.toml", "regimens.toml"] {
        let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-input").join(name);
        fs::copy(from, folder.path().join(name)).expect("the demo's file");
    }
    let unit = folder.path().join("unit.toml");
    let text = fs::read_to_string(&unit).expect("the unit") + "\n[printer]\n" + printer;
    save(&unit, &text);
    folder
}

fn make(folder: &Path, options: &[&str]) -> (PathBuf, Output) {
    let output = Command::cargo_bin("baypack")
        .expect("the program is built for the test")
        .current_dir(folder)
        .env("SOURCE_DATE_EPOCH", "1900000000")
        .args(["make", "day-list.csv", "--quiet"])
        .args(options)
        .output()
        .expect("it runs");
    (folder.join("out/2031-03-14"), output)
}

/// What a run said on the error stream.
fn told(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn made(printer: &str, options: &[&str]) -> (tempfile::TempDir, PathBuf) {
    let folder = demo_with(printer);
    let (day, output) = make(folder.path(), options);
    assert!(output.status.success(), "{}", told(&output));
    (folder, day)
}

/// Where a sheet's point, in mm from the upper left corner, is drawn for the printer that is off: the printer
/// puts p at s p + o, so it must be drawn at (p - o) / s. The offset o is what the inner frame is off beside
/// the shrinking: 12.8 - 9.7 = 3.1 mm to the right, and 9.1 - 9.85 = -0.75 mm upwards.
fn upright(page: &Page, (x, y): (f64, f64)) -> (f64, f64) {
    let up = page.height - y;
    ((x - 3.1) / 0.97, page.height - (up + 0.75) / 0.985)
}

/// The same for a sheet that lies across: scaled about its middle, its length along the paper's height.
fn across(page: &Page, (x, y): (f64, f64)) -> (f64, f64) {
    let about = |at: f64, length: f64, scale: f64| length / 2.0 + (at - length / 2.0) / scale;
    (about(x, page.width, 0.985), about(y, page.height, 0.97))
}

#[test]
fn every_mark_of_pack_and_labels_is_moved_by_exactly_what_was_measured() {
    let (_true, plain) = made("", &[]);
    let (_off, corrected) = made(OFF, &[]);
    let mut lying = 0;
    for name in ["pack.pdf", "labels.pdf"] {
        let pages = |day: &Path| read(&fs::read(day.join(name)).expect("the file"));
        let (before, after) = (pages(&plain), pages(&corrected));
        assert_eq!(before.len(), after.len());
        for (number, (before, after)) in before.iter().zip(&after).enumerate() {
            let lies = before.width > before.height;
            lying += usize::from(lies && !before.letters.is_empty());
            let moved = if lies { across } else { upright };
            assert_eq!(before.letters.len(), after.letters.len());
            for (one, other) in before.letters.iter().zip(&after.letters) {
                let (left, baseline) = moved(before, (one.left, one.baseline));
                let off = (other.left - left).abs().max((other.baseline - baseline).abs());
                assert!(off < 0.01, "{name} page {}: `{}` is {off} mm off", number + 1, one.text);
            }
        }
    }
    assert!(lying >= 2, "the machine sheet and the cards lie across");
}

#[test]
fn what_is_sent_or_measured_is_not_corrected() {
    let (_true, plain) = made("", &["--printer-check"]);
    let (_off, corrected) = made(OFF, &["--printer-check"]);
    for name in ["printer-check.pdf", "care-cards.pdf", "front-sheet.pdf", "bay-A.pdf", "machine-sheet.pdf"] {
        let bytes = |day: &Path| fs::read(day.join(name)).expect("the file");
        assert!(bytes(&plain) == bytes(&corrected), "{name} differs");
    }
}

#[test]
fn the_printer_check_is_made_on_request_and_says_where_to_write_what_was_measured() {
    let (_folder, without) = made("", &[]);
    assert!(!without.join("printer-check.pdf").exists());
    for options in [&["--printer-check"][..], &["--printer-check", "--paper", "us-letter"]] {
        let (_folder, day) = made("", options);
        let page = &read(&fs::read(day.join("printer-check.pdf")).expect("the page"))[0];
        for words in ["unit.toml", "[printer]", "bar_across", "bar_up", "frame_left", "frame_bottom"] {
            assert!(!page.find(words).is_empty(), "{words}");
        }
    }
}

#[test]
fn a_measure_that_no_printer_should_have_is_refused_with_its_line() {
    for (printer, key) in [
        ("bar_across = 94.9", "bar_across"),
        ("bar_up = 105.1", "bar_up"),
        ("frame_left = 99.5", "frame_left"),
        ("frame_bottom = \"10\"", "frame_bottom"),
        ("frame_bottom = 10.25", "frame_bottom"),
    ] {
        let folder = demo_with(printer);
        let lines = fs::read_to_string(folder.path().join("unit.toml")).expect("the unit").lines().count();
        let (day, output) = make(folder.path(), &[]);
        let said = told(&output);
        assert_eq!(output.status.code(), Some(1), "{printer}: {said}");
        assert!(said.contains(&format!("unit.toml, line {lines}")) && said.contains(key), "{said}");
        assert!(!day.exists());
    }
}
