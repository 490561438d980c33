//! Every kind of sheet looks as it did when somebody last looked at it.
//!
//! `BAYPACK_APPROVE=1 cargo test --test sheet_pictures` makes the references in `tests/pictures/` anew, for
//! somebody to look at and commit. How many pages each document has is compared before any picture is.

#[path = "support/compared.rs"]
mod compared;
#[path = "support/paper.rs"]
mod paper;

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use baypack::layouts::Layouts;
use baypack::render::frames::Limits;
use baypack::render::typeset::{FileDate, Job, Typesetter};
use compared::{approving, difference, in_few_shades};
use serde_json::Value;

/// Dots to the inch: a line of type is told from another, and a page's file stays small.
const DOTS: f32 = 56.0;

/// The demo's pages that are held as pictures, from 0: at least one of every kind.
const SHOWN: [(&str, &[usize]); 10] = [
    ("front-sheet", &[0, 1]),
    // Tick list, hand-over, faces with a narrow and with a wide grid, a patient who is not cooled, late table.
    ("bay-B", &[0, 1, 3, 4, 9, 10]),
    ("bay-C-isolated-76CDK2", &[0, 1, 2]),
    ("machine-sheet", &[0, 1, 2]),
    // A first and a return visit, front and back; large print.
    ("care-cards", &[0, 1, 20, 21]),
    ("labels", &[0]),
    ("printer-check", &[0]),
    ("pack", &[0]),
    ("bay-A", &[]),
    ("bay-C", &[]),
];

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/pictures")
}

/// The file in which the references' numbers of pages stand.
const PAGES: &str = "pages.txt";

/// Documents as PDF files, each with the pages that are shown.
type Documents = Vec<(String, Vec<u8>, Vec<usize>)>;

fn demo() -> Documents {
    let out = tempfile::tempdir().expect("a folder");
    Command::cargo_bin("baypack")
        .expect("the program is built for the test")
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .env("SOURCE_DATE_EPOCH", "1931324520")
        .args(["make", "demo-input/day-list.csv", "--quiet", "--printer-check", "--out"])
        .arg(out.path())
        .assert()
        .success();
    let read =
        |name: &str| fs::read(out.path().join(format!("2031-03-14/{name}.pdf"))).expect("the document");
    let shown = SHOWN.into_iter();
    shown.map(|(name, pages)| (format!("demo.{name}"), read(name), pages.to_vec())).collect()
}

/// The fixed words that a sample without words gets; what the program fills in there is shown as dots.
fn fixed_words(wording: &toml::Table, sheet: &str) -> Value {
    let labels = |table: &str| wording[table]["labels"].as_table().expect("labels").clone();
    let both = labels("common").into_iter().chain(labels(sheet));
    both.map(|(key, text)| (key, Value::from(dotted(text.as_str().expect("a text"))))).collect()
}

fn dotted(text: &str) -> String {
    let mut parts = text.split("{{");
    let first = parts.next().unwrap_or_default().to_owned();
    parts.fold(first, |text, part| text + "…" + part.split_once("}}").map_or("", |(_, rest)| rest))
}

/// Every sample of `layouts/samples/`, set as the program sets a sheet; all its pages are shown.
fn samples() -> Documents {
    let layouts = Layouts::new(BTreeMap::new()).expect("fonts");
    let file = |path: &str| String::from_utf8(layouts.file(path).expect("the file").to_vec()).expect("text");
    let wording: toml::Table = toml::from_str(&file("wording/en.toml")).expect("the words");
    let names = layouts.files().filter_map(|(path, _)| path.strip_prefix("samples/")?.strip_suffix(".json"));
    let typesetter = Typesetter::new(&layouts, FileDate { year: 2031, month: 3, day: 14 });
    let set = |name: &str| {
        let kind = name.split('.').next().unwrap_or_default();
        let table = kind.strip_suffix("-sheet").or(kind.strip_prefix("care-")).unwrap_or(kind);
        let mut data: Value = serde_json::from_str(&file(&format!("samples/{name}.json"))).expect("JSON");
        if data["head"]["words"].as_object().is_some_and(serde_json::Map::is_empty) {
            data["head"]["words"] = fixed_words(&wording, table);
        }
        let limits = match kind {
            "care-card" => Limits::CARD,
            "label" => Limits::LABEL,
            _ => Limits::SHEET,
        };
        let job = Job {
            called: name.to_owned(),
            layout: format!("sheets/{kind}.typ"),
            data: &data,
            title: name,
            language: data["head"]["language"].as_str().unwrap_or("en"),
            identifier: name.to_owned(),
            limits,
        };
        let set = typesetter.set(&job).unwrap_or_else(|faults| panic!("{name}: {}", faults[0]));
        let pages = (0..set.pages.len()).collect();
        (format!("sample.{name}"), set.pdf, pages)
    };
    names.map(set).collect()
}

/// Compares page counts first, and if they are right the pictures; what is different is listed.
fn differences(documents: &Documents, kind: &str) -> Vec<String> {
    let mut counted = String::new();
    let mut pictures = Vec::new();
    for (name, pdf, shown) in documents {
        let pages = paper::pictures(pdf, if shown.is_empty() { 10.0 } else { DOTS });
        writeln!(counted, "{name} {}", pages.len()).expect("a text takes it");
        let wanted = pages.into_iter().enumerate().filter(|(page, _)| shown.contains(page));
        pictures
            .extend(wanted.map(|(page, picture)| (format!("{name}-{}", page + 1), in_few_shades(picture))));
    }
    let path = folder().join(format!("{kind}-{PAGES}"));
    if approving() {
        fs::create_dir_all(folder()).expect("the folder");
        save(&path, &counted);
    }
    let expected = fs::read_to_string(&path).unwrap_or_default();
    if expected != counted {
        return vec![format!("numbers of pages: expected\n{expected}\nfound\n{counted}")];
    }
    let names: Vec<&str> = pictures.iter().map(|(name, _)| name.as_str()).collect();
    let strays = strays(kind, &names);
    if approving() {
        strays.iter().for_each(|path| fs::remove_file(path).expect("a picture of the tests"));
    } else if !strays.is_empty() {
        return vec![format!("references of pages that are not compared: {strays:?}")];
    }
    let compared = pictures.iter().filter_map(|(name, picture)| difference(&folder(), name, picture));
    compared.map(|path| path.display().to_string()).collect()
}

/// The references of this kind of document that are of no page in `names`.
fn strays(kind: &str, names: &[&str]) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder()).expect("the references");
    let pictures = entries.map(|entry| entry.expect("an entry").path());
    let is_stray = |path: &PathBuf| {
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let of_kind = name.strip_suffix(".png").filter(|name| name.starts_with(&format!("{kind}.")));
        of_kind.is_some_and(|name| !names.contains(&name))
    };
    pictures.filter(is_stray).collect()
}

#[expect(clippy::disallowed_methods, reason = "a reference of the tests")]
fn save(path: &Path, text: &str) {
    fs::write(path, text).expect("written");
}

fn none_differs(documents: &Documents, kind: &str) {
    let found = differences(documents, kind);
    assert!(
        found.is_empty(),
        "look at expected, difference, actual; then BAYPACK_APPROVE=1 makes the references anew:\n{}",
        found.join("\n")
    );
}

#[test]
fn the_demos_sheets_look_as_they_were_approved() {
    none_differs(&demo(), "demo");
}

#[test]
fn the_samples_look_as_they_were_approved() {
    let samples = samples();
    assert!(samples.len() >= 16, "{} samples", samples.len());
    none_differs(&samples, "sample");
}
