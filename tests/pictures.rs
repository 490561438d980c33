//! The README's pictures show what the program prints today.
//!
//! `BAYPACK_APPROVE=1 cargo test --test pictures` makes them anew, for somebody to look at and commit.

#[path = "support/paper.rs"]
mod paper;

use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use paper::{Picture, pictures};

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

fn size(picture: &Picture) -> (u32, u32) {
    let side = |pixels: usize| u32::try_from(pixels).expect("a page is small");
    (side(picture.width), side(picture.height))
}

fn save(path: &Path, (width, height): (u32, u32), shades: &[u8]) {
    image::save_buffer(path, shades, width, height, image::ColorType::L8).expect("the picture is written");
}

/// Expected, difference and actual side by side, for whoever must judge.
fn show_difference(name: &str, expected: &image::GrayImage, actual: &Picture) -> PathBuf {
    let (width, height) = size(actual);
    let mut shades = Vec::new();
    for row in 0..height {
        let at = |picture: &dyn Fn(u32) -> u8| (0..width).map(picture).collect::<Vec<u8>>();
        let before = |column: u32| expected.get_pixel_checked(column, row).map_or(255, |pixel| pixel.0[0]);
        let after = |column: u32| actual.shades[(row * width + column) as usize];
        shades.extend(at(&before));
        shades.extend(at(&|column| 255 - before(column).abs_diff(after(column))));
        shades.extend(at(&after));
    }
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("{name}.difference.png"));
    save(&path, (3 * width, height), &shades);
    path
}

/// Whether two pictures are the same but for how a processor rounds a shade of an edge.
fn alike(expected: &[u8], actual: &[u8]) -> bool {
    const ROUNDING: u8 = 16;
    expected.iter().zip(actual).all(|(one, other)| one.abs_diff(*other) <= ROUNDING)
}

#[test]
fn the_pictures_of_the_readme_are_what_is_printed() {
    let out = tempfile::tempdir().expect("a folder");
    let day = demo(out.path());
    let approve = std::env::var_os("BAYPACK_APPROVE").is_some();
    let mut stale = Vec::new();
    for (name, document, page) in SHOWN {
        let pdf = fs::read(day.join(format!("{document}.pdf"))).expect("the document");
        let actual = pictures(&pdf, DOTS).into_iter().nth(page).expect("the page is there");
        let path = folder().join(format!("{name}.png"));
        if approve {
            fs::create_dir_all(folder()).expect("the folder of the pictures");
            save(&path, size(&actual), &actual.shades);
            continue;
        }
        let expected =
            image::open(&path).map_or_else(|_| image::GrayImage::new(0, 0), |picture| picture.to_luma8());
        if expected.dimensions() != size(&actual) || !alike(expected.as_raw(), &actual.shades) {
            stale.push(show_difference(name, &expected, &actual));
        }
    }
    assert!(
        stale.is_empty(),
        "look at expected, difference, actual in {stale:?}; then BAYPACK_APPROVE=1 makes them anew"
    );
}
