//! A unit's own layouts over the program's: taken, refused with their place, copied out, and previewed.

use std::collections::BTreeSet;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use assert_cmd::Command;

const DEMO: &str = "demo-input/day-list.csv";

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn baypack() -> Command {
    let mut command = Command::cargo_bin("baypack").expect("the program is built for the test");
    command.current_dir(root()).env("SOURCE_DATE_EPOCH", "1931238120");
    command
}

/// A folder of a unit's own with these files in it.
fn folder(files: &[(&str, &str)]) -> (tempfile::TempDir, PathBuf) {
    let place = tempfile::tempdir().expect("a folder");
    let folder = place.path().join("ours");
    for (path, text) in files {
        let path = folder.join(path);
        fs::create_dir_all(path.parent().expect("a folder")).expect("made");
        fs::File::create(&path).and_then(|mut file| file.write_all(text.as_bytes())).expect("written");
    }
    (place, folder)
}

/// A carried layout with one text in the place of another.
fn changed(path: &str, from: &str, to: &str) -> String {
    let text = fs::read_to_string(root().join("layouts").join(path)).expect("a carried layout");
    assert!(text.contains(from), "{path} has no `{from}`");
    text.replace(from, to)
}

/// What `check` says against these files.
fn refusal(files: &[(&str, &str)]) -> String {
    let (_place, folder) = folder(files);
    said(baypack().args(["check", DEMO, "--layouts"]).arg(folder))
}

fn said(command: &mut Command) -> String {
    let output = command.output().expect("it runs");
    let said = String::from_utf8(output.stderr).expect("messages are UTF-8");
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.ends_with("nothing was written.\n"), "{said}");
    said
}

/// The names of the files below a folder.
fn names(folder: &Path) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            let below = names(&path);
            let name = path.file_name().expect("a name").to_string_lossy().into_owned();
            found.extend(below.into_iter().map(|file| format!("{name}/{file}")));
        } else {
            found.insert(path.file_name().expect("a name").to_string_lossy().into_owned());
        }
    }
    found
}

#[test]
fn a_units_own_words_and_theme_are_what_is_printed() {
    let words = changed("wording/en.toml", "Some hair will come out. That is common.", "OUR OWN SENTENCE.");
    let (_place, own) = folder(&[("wording/en.toml", &words)]);
    let (plain, ours) = (tempfile::tempdir().expect("a folder"), tempfile::tempdir().expect("a folder"));
    baypack().args(["make", DEMO, "-q", "--out"]).arg(plain.path()).assert().success();
    baypack()
        .args(["make", DEMO, "-q", "--out"])
        .arg(ours.path())
        .arg("--layouts")
        .arg(own)
        .assert()
        .success();
    assert_eq!(names(plain.path()), names(ours.path()));
    let record = |out: &Path| fs::read_to_string(out.join("2031-03-14/plan.json")).expect("the record");
    assert!(record(ours.path()).contains("OUR OWN SENTENCE."));
    assert!(!record(plain.path()).contains("OUR OWN SENTENCE."));
    let sheet = |out: &Path| fs::read(out.join("2031-03-14/machine-sheet.pdf")).expect("the sheet");
    assert_eq!(sheet(plain.path()), sheet(ours.path()), "a sheet that the words are not on is the same");
}

#[test]
fn a_broken_layout_is_refused_with_its_place_and_what_the_data_offers_there() {
    let part = changed("parts/rinse-block.typ", "by.weekday", "by.wekday");
    let said = refusal(&[("parts/rinse-block.typ", &part)]);
    assert!(said.contains("error: dictionary does not contain key \"wekday\"\n"), "{said}");
    assert!(
        said.contains(" --> ours/parts/rinse-block.typ, line 13, column 30, in setting care card "),
        "{said}"
    );
    assert!(said.contains("the data has here `date`, `time`, `weekday`\n"), "{said}");
}

#[test]
fn a_sheet_that_asks_for_an_unknown_field_is_told_the_fields_of_its_data() {
    let sheet = changed("sheets/care-card.typ", "data.head.day", "data.head.at(\"daay\")");
    let said = refusal(&[("sheets/care-card.typ", &sheet)]);
    assert!(
        said.contains("`day`, `direction`, `language`, `page_code`, `paper`, `title`, `unit`, `words`"),
        "{said}"
    );
}

#[test]
fn a_refusal_of_a_layout_tells_nothing_of_a_patient() {
    let sheet =
        changed("sheets/care-card.typ", "let words = data.head.words", "let words = data.patient.nothing");
    let said = refusal(&[("sheets/care-card.typ", &sheet)]);
    let list = fs::read_to_string(root().join(DEMO)).expect("the demo");
    let names: Vec<&str> = list
        .lines()
        .skip(1)
        .flat_map(|line| line.split(','))
        .filter(|cell| cell.chars().next().is_some_and(char::is_uppercase) && cell.chars().count() > 4)
        .collect();
    assert!(names.len() > 20, "{names:?}");
    for name in names {
        assert!(!said.contains(name), "`{name}` is told in:\n{said}");
    }
}

#[test]
fn a_field_that_is_made_of_a_patient_is_not_told() {
    let sheet = changed(
        "sheets/care-card.typ",
        "let words = data.head.words",
        "let mine = (:)\nmine.insert(data.patient, 1)\nmine.nothing",
    );
    let said = refusal(&[("sheets/care-card.typ", &sheet)]);
    assert!(said.contains("does not contain key \"nothing\""), "{said}");
    assert!(said.contains("the data has here `head`"), "all of the sheet's data is named instead: {said}");
}

#[test]
fn a_file_that_nobody_would_look_at_is_refused_with_the_nearest_name() {
    let said = refusal(&[("sheets/carecard.typ", ""), ("theme.typ.bak", "")]);
    assert!(said.contains("did you mean `sheets/care-card.typ`?"), "{said}");
    assert!(said.contains("did you mean `theme.typ`?"), "{said}");
    assert!(said.contains("2 problems"), "{said}");
}

#[test]
fn a_part_that_a_sheet_of_the_folder_imports_is_taken() {
    let sheet = changed(
        "sheets/care-card.typ",
        "#import \"/theme.typ\"",
        "#import \"/theme.typ\"\n#import \"/parts/our-line.typ\": our-line",
    );
    let part = "#let our-line() = line()\n";
    let (_place, own) = folder(&[("sheets/care-card.typ", &sheet), ("parts/our-line.typ", part)]);
    baypack().args(["check", DEMO, "-q", "--layouts"]).arg(own).assert().success();
}

#[cfg(unix)]
#[test]
fn a_link_out_of_the_folder_is_refused() {
    let (_place, own) = folder(&[("wording/en.toml", "")]);
    std::os::unix::fs::symlink(root().join("layouts/theme.typ"), own.join("theme.typ")).expect("a link");
    std::os::unix::fs::symlink(root().join("layouts/sheets"), own.join("sheets")).expect("a link");
    let said = said(baypack().args(["check", DEMO, "--layouts"]).arg(own));
    assert!(said.contains(" --> ours/sheets\nhelp: put the file itself there"), "{said}");
    assert!(said.contains(" --> ours/theme.typ\nhelp: put the file itself there"), "{said}");
}

#[test]
fn a_file_that_is_too_large_is_refused_with_the_figure() {
    let said = refusal(&[("theme.typ", &"/".repeat(1024 * 1024 + 1))]);
    assert!(said.contains("a file is larger than 1048576 bytes\n --> ours/theme.typ"), "{said}");
}

#[test]
fn more_fonts_are_taken_from_a_folder_and_what_is_no_font_is_refused() {
    let place = tempfile::tempdir().expect("a folder");
    let font = root().join("layouts/fonts/NotoSansHebrew-Regular.ttf");
    fs::copy(font, place.path().join("Another.ttf")).expect("copied");
    fs::copy(root().join("LICENSE"), place.path().join("LICENSE")).expect("copied");
    baypack().args(["check", DEMO, "-q", "--fonts"]).arg(place.path()).assert().success();
    fs::copy(root().join("LICENSE"), place.path().join("Broken.ttf")).expect("copied");
    let said = said(baypack().args(["check", DEMO, "--fonts"]).arg(place.path()));
    assert!(said.contains("a font file cannot be read\n --> "), "{said}");
    assert!(said.contains("/Broken.ttf: found something that is neither TrueType nor OpenType"), "{said}");
}

#[test]
fn a_folder_that_is_not_there_is_said() {
    let output = baypack().args(["check", DEMO, "--layouts", "no-such-folder"]).output().expect("it runs");
    assert_eq!(output.status.code(), Some(3));
    assert!(String::from_utf8_lossy(&output.stderr).contains("could not read the folder no-such-folder"));
}

#[test]
fn the_layouts_are_copied_out_whole_and_never_over_a_file() {
    let place = tempfile::tempdir().expect("a folder");
    let copy = place.path().join("copy");
    baypack().args(["layouts", "--copy"]).arg(&copy).assert().success();
    assert_eq!(names(&copy), names(&root().join("layouts")));
    baypack().args(["check", DEMO, "-q", "--layouts"]).arg(&copy).assert().success();

    let mine = place.path().join("mine");
    fs::create_dir(&mine).expect("made");
    fs::copy(root().join("LICENSE"), mine.join("theme.typ")).expect("copied");
    let said = said(baypack().args(["layouts", "--copy"]).arg(&mine));
    assert!(said.contains(" --> theme.typ: found 1 file that would be written over"), "{said}");
    assert_eq!(names(&mine), BTreeSet::from(["theme.typ".to_owned()]), "nothing else was written");
}

#[test]
fn every_sample_is_previewed_with_the_units_own_files() {
    let sample = fs::read_to_string(root().join("layouts/samples/care-card.json")).expect("a sample");
    let (place, own) = folder(&[("samples/care-card.ours.json", &sample)]);
    let previews = place.path().join("previews");
    baypack().args(["layouts", "--preview"]).arg(&previews).arg("--layouts").arg(own).assert().success();
    let samples = names(&root().join("layouts/samples")).into_iter().filter(|name| name.ends_with(".json"));
    let mut expected: BTreeSet<String> = samples.map(|name| name.replace(".json", ".pdf")).collect();
    expected.insert("care-card.ours.pdf".to_owned());
    assert_eq!(names(&previews), expected);
}

#[test]
fn a_broken_sample_or_layout_stops_the_preview_with_its_place() {
    let sheet = changed("sheets/label.typ", "data.form", "data.forms");
    let (place, own) = folder(&[("sheets/label.typ", &sheet)]);
    let previews = place.path().join("previews");
    let message = said(baypack().args(["layouts", "--preview"]).arg(&previews).arg("--layouts").arg(own));
    assert!(message.contains("ours/sheets/label.typ, line 37, column"), "{message}");
    assert!(message.contains("the data has here `form`, `labels`"), "{message}");
    assert!(!previews.exists());

    let (place, own) = folder(&[("samples/label.json", "{\n  \"form\":\n}")]);
    let previews = place.path().join("previews");
    let message = said(baypack().args(["layouts", "--preview"]).arg(&previews).arg("--layouts").arg(own));
    assert!(
        message.contains("the sample is not JSON\n --> ours/samples/label.json, line 3, column 1"),
        "{message}"
    );
}
