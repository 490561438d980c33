//! Names of units, bays and patients are data in what a file says of itself and in files' names.
//!
//! Every person and place is invented.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use tempfile::TempDir;

const HEADER: &str =
    "date,arrive,bay,chair,hospital_no,family_name,given_name,born,regimen,cycle,cooled,isolate";

/// A name that markup, templates, PDF strings and XML each read in another way.
const HOSTILE: &str = r"Zq \) #x() {{unit}} <b> & *c* %";

fn demo(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-input").join(name);
    fs::read_to_string(path).expect("the demonstration")
}

#[expect(clippy::disallowed_methods, reason = "invented lists in a folder of the test's own")]
fn save(path: &Path, text: &str) {
    fs::write(path, text).expect("written");
}

/// Makes the pack in an inner folder of a folder of its own; what was said, and all files by their names.
fn made(unit: &str, rows: &str) -> (TempDir, Option<i32>, String, BTreeMap<PathBuf, Vec<u8>>) {
    let place = tempfile::tempdir().expect("a folder");
    let inner = place.path().join("one/two");
    fs::create_dir_all(&inner).expect("a folder");
    for (name, text) in [
        ("unit.toml", unit),
        ("regimens.toml", &demo("regimens.toml")),
        ("list.csv", &format!("{HEADER}\n{rows}\n")),
    ] {
        save(&inner.join(name), text);
    }
    let output = Command::cargo_bin("baypack")
        .expect("the program is built for the test")
        .current_dir(&inner)
        .env("SOURCE_DATE_EPOCH", "1931238120")
        .args(["make", "list.csv", "--quiet"])
        .output()
        .expect("it runs");
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    let (mut files, mut folders) = (BTreeMap::new(), vec![place.path().to_owned()]);
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let name = path.strip_prefix(place.path()).expect("below it").to_owned();
                files.insert(name, fs::read(path).expect("a file"));
            }
        }
    }
    (place, output.status.code(), said, files)
}

/// The demonstration's unit with another name of its own and of its first bay.
fn unit(name: &str, bay: &str) -> String {
    let text = demo("unit.toml").replace("\"Larkfield Demonstration Day Unit\"", name);
    text.replace("name = \"A\"", &format!("name = {bay}")).replace("bay = \"A\"", &format!("bay = {bay}"))
}

fn row(bay: &str, chair: &str, name: &str, isolate: &str) -> String {
    format!("2031-03-14,09:00,{bay},{chair},T-{chair},{name},Ada,1961-03-14,PAC-W,2,yes,{isolate}")
}

/// All that a PDF file says of itself: its information, the titles of its outline, its metadata.
fn told_of_itself(bytes: &[u8]) -> (BTreeMap<String, String>, Vec<String>, String) {
    let file = lopdf::Document::load_mem(bytes).expect("a PDF file");
    let information = file.trailer.get(b"Info").and_then(lopdf::Object::as_reference).expect("information");
    let information = file.get_dictionary(information).expect("a dictionary");
    let texts = information.iter().filter_map(|(key, value)| {
        let text = lopdf::decode_text_string(value).ok()?;
        Some((String::from_utf8_lossy(key).into_owned(), text))
    });
    let titles = file.objects.values().filter_map(|object| {
        let entry = object.as_dict().ok().filter(|entry| entry.has(b"Dest"))?;
        entry.get(b"Title").and_then(lopdf::decode_text_string).ok()
    });
    let metadata = file
        .catalog()
        .ok()
        .and_then(|catalog| catalog.get(b"Metadata").and_then(lopdf::Object::as_reference).ok())
        .and_then(|id| file.get_object(id).and_then(lopdf::Object::as_stream).ok())
        .map(|stream| stream.decompressed_content().unwrap_or_else(|_| stream.content.clone()));
    let metadata = String::from_utf8(metadata.unwrap_or_default()).expect("UTF-8");
    (texts.collect(), titles.collect(), metadata)
}

#[test]
fn hostile_names_of_unit_and_bay_are_titles_as_they_stand_and_no_file_is_titled_with_a_patient() {
    let unit_name = format!("U {HOSTILE}");
    // As much of it as the name of a bay may hold.
    let bay_name = "A #x() {{unit}} <b> & %".to_owned();
    let unit = unit(&format!("'{unit_name}'"), &format!("'{bay_name}'"));
    let patient = r"Wyxx {{bay}} (\) #y";
    let rows = row(&bay_name, "A1", patient, "no");
    let (_place, status, said, files) = made(&unit, &rows);
    assert_eq!(status, Some(0), "{said}");
    let bay = format!("Bay {bay_name}");
    let (mut is_bay_seen, mut in_outline) = (false, Vec::new());
    for (name, bytes) in files.iter().filter(|(name, _)| name.extension().is_some_and(|end| end == "pdf")) {
        let (information, titles, metadata) = told_of_itself(bytes);
        let title = &information["Title"];
        if name.ends_with("bay-A-x-unit-b.pdf") {
            assert_eq!(*title, bay);
            is_bay_seen = true;
        }
        for text in information.values().chain([&metadata]) {
            assert!(!text.contains("Wyxx") && !text.contains("Ada"), "{name:?}: {text}");
        }
        // The outline of a card may name its own patient, as the name stands.
        let naming = titles.iter().filter(|title| title.contains("Wyxx"));
        assert!(naming.clone().all(|title| title.contains(patient)), "{name:?}: {titles:?}");
        // Metadata is XML, where a name stands with its marks written out.
        assert!(!metadata.contains("<b>"), "{name:?}: {metadata}");
        assert_eq!(metadata.contains("&lt;b&gt; &amp;"), title.contains("<b>"), "{name:?}: {metadata}");
        if name.ends_with("pack.pdf") {
            in_outline = titles;
        }
    }
    assert!(is_bay_seen, "{:?}", files.keys());
    let full = format!("{bay} · {unit_name} · ");
    assert!(in_outline.iter().any(|title| title.starts_with(&full)), "{in_outline:?}");
}

#[test]
fn controls_in_any_name_are_refused_before_anything_is_written() {
    let controls = "\"A\\u001b]0;x\\u0007\"";
    for (unit, row) in [
        (unit(controls, "\"A\""), row("A", "A1", "Testcase", "no")),
        (unit("\"Invented\"", controls), row("B", "B1", "Testcase", "no")),
        (unit("\"Invented\"", "\"A\""), row("A", "A1", "Test\u{1b}]0;x\u{7}", "no")),
    ] {
        let (_place, status, said, files) = made(&unit, &row);
        assert_eq!((status, files.len()), (Some(1), 3), "{said}");
        assert!(said.contains("character"), "{said}");
        assert!(!said.contains(['\u{1b}', '\u{7}']), "{said:?}");
    }
}

/// The unit of one machine and a chair in each of some bays.
fn unit_of(bays: &[&str]) -> String {
    let text = demo("unit.toml");
    let (before, rest) = text.split_once("# `reach` names").expect("the demo's bays");
    let after = rest.split_once("\n[minutes]").expect("the demo's minutes").1;
    let tables = bays.iter().enumerate().map(|(number, bay)| {
        format!("[[bays]]\nname = '{bay}'\nnurses = 1\nchairs = ['C{number}', 'D{number}']\n")
    });
    let machine = format!("[[machines]]\nname = 'M1'\nbay = '{}'\noutlets = 2\n", bays[0]);
    format!("{before}\n{}{machine}\n[minutes]{after}", tables.collect::<String>())
}

/// The names of the bays' sheets, which are all in the day's folder.
fn sheets_of_bays(files: &BTreeMap<PathBuf, Vec<u8>>) -> Vec<String> {
    let day = Path::new("one/two/out/2031-03-14");
    let inputs = ["unit.toml", "regimens.toml", "list.csv"].map(|name| Path::new("one/two").join(name));
    let written: Vec<&PathBuf> = files.keys().filter(|name| !inputs.contains(name)).collect();
    let outside: Vec<_> = written
        .iter()
        .filter(|name| name.parent() != Some(day) && name.parent() != Some(&day.join("cards")))
        .filter(|name| name.file_name().is_none_or(|name| name != ".baypack.lock"))
        .collect();
    assert!(outside.is_empty(), "{outside:?}");
    let names = written.iter().filter_map(|name| name.file_name()).map(|name| name.to_string_lossy());
    names.filter(|name| name.starts_with("bay-")).map(String::from).collect()
}

#[test]
fn names_of_bays_make_names_of_files_that_stay_in_the_days_folder() {
    let bays = ["../x", "CON", "a/b", r"..\..\y", "/etc/z", "nul.txt", "C:w", "Żółw", "-rf", "$(id)"];
    let (_place, status, said, files) = made(&unit_of(&bays), &row("../x", "C0", "Testcase", "no"));
    assert_eq!(status, Some(0), "{said}");
    let mut expected = ["x", "CON", "a-b", "y", "etc-z", "nul-txt", "C-w", "Żółw", "rf", "id"]
        .map(|name| format!("bay-{name}.pdf"));
    expected.sort();
    assert_eq!(sheets_of_bays(&files), expected);
}

#[test]
fn bays_whose_sheets_would_share_a_file_are_refused() {
    for bays in [["A", "A isolated 1"], ["A (isolated) 2", "a"]] {
        let (_place, status, said, files) = made(&unit_of(&bays), &row(bays[0], "C0", "Testcase", "yes"));
        assert_eq!((status, files.len()), (Some(1), 3), "{said}");
        assert!(said.contains("error: name of the bay is too much like that of bay"), "{said}");
    }
}
