//! The README's pictures show what the program prints today.
//!
//! `BAYPACK_APPROVE=1 cargo test --test pictures` makes them anew, for somebody to look at and commit.

#[path = "support/compared.rs"]
mod compared;
#[path = "support/paper.rs"]
mod paper;

use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use compared::difference;
use paper::pictures;

/// The pictures: its name, the document, and its page from 0.
const SHOWN: [(&str, &str, usize); 5] = [
    ("front-sheet", "front-sheet", 0),
    ("bay-ticks", "bay-B", 0),
    ("bay-face", "bay-B", 3),
    ("machine-sheet", "machine-sheet", 0),
    ("care-card", "care-cards", 0),
];

/// Dots to the inch: small enough for a README, large enough to read.
const DOTS: f32 = 80.0;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("out/readme")
}

fn demo(out: &Path) -> PathBuf {
    Command::cargo_bin("baypack")
        .expect("the program is built for the test")
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(["make", "demo-input/day-list.csv", "--quiet", "--out"])
        .arg(out)
        .assert()
        .success();
    out.join("2031-03-14")
}

#[test]
fn the_pictures_of_the_readme_are_what_is_printed() {
    let out = tempfile::tempdir().expect("a folder");
    let day = demo(out.path());
    let mut stale = Vec::new();
    for (name, document, page) in SHOWN {
        let pdf = fs::read(day.join(format!("{document}.pdf"))).expect("the document");
        let actual = pictures(&pdf, DOTS).into_iter().nth(page).expect("the page is there");
        stale.extend(difference(&folder(), name, &actual));
    }
    assert!(
        stale.is_empty(),
        "look at expected, difference, actual in {stale:?}; then BAYPACK_APPROVE=1 makes them anew"
    );
}
