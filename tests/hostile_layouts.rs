//! Layouts that would loop for ever, fill the memory or read what is not theirs: each is a clear fault,
//! and nothing is written.

use std::fs;
use std::path::Path;

use assert_cmd::Command;

const DEMO: &str = "demo-input/day-list.csv";

/// Runs `make` with this file among the unit's own; returns what it says.
fn refusal(path: &str, text: &str, options: &[&str]) -> String {
    let place = tempfile::tempdir().expect("a folder");
    let file = place.path().join("ours").join(path);
    fs::create_dir_all(file.parent().expect("a folder")).expect("made");
    fs::File::create(&file)
        .and_then(|mut file| std::io::Write::write_all(&mut file, text.as_bytes()))
        .expect("written");
    fs::File::create(place.path().join("secret.txt")).expect("written");
    let out = place.path().join("out");
    let output = Command::cargo_bin("baypack")
        .expect("the program is built for the test")
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(["make", DEMO, "--out"])
        .arg(&out)
        .arg("--layouts")
        .arg(place.path().join("ours"))
        .args(options)
        .output()
        .expect("it runs");
    let said = String::from_utf8(output.stderr).expect("messages are UTF-8");
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.ends_with("nothing was written.\n"), "{said}");
    assert!(!out.exists(), "something was written");
    assert!(!said.contains("panicked"), "{said}");
    said
}

/// A care card whose first statement is this one.
fn card(statement: &str) -> String {
    let sheet = Path::new(env!("CARGO_MANIFEST_DIR")).join("layouts/sheets/care-card.typ");
    let sheet = fs::read_to_string(sheet).expect("the carried layout");
    let begin = "  let words = data.head.words\n";
    assert!(sheet.contains(begin));
    sheet.replace(begin, &format!("{begin}  {statement}\n"))
}

fn card_refusal(statement: &str, options: &[&str]) -> String {
    refusal("sheets/care-card.typ", &card(statement), options)
}

#[test]
fn an_endless_loop_is_stopped() {
    let endless = "for a in range(1000000) { for b in range(1000000) { let c = calc.rem(a * b, 7) } }";
    let said = card_refusal(endless, &["--set-within", "4"]);
    assert!(said.contains("setting the sheets took more than 4 seconds and was stopped"), "{said}");
    assert!(said.contains("--set-within"), "{said}");
}

#[test]
fn a_layout_that_calls_itself_without_end_is_refused() {
    let said = card_refusal("let again(x) = again(x + 1)\n  again(0)", &[]);
    assert!(said.contains("ours/sheets/care-card.typ, line "), "{said}");
    assert!(said.contains("maximum function call depth exceeded"), "{said}");
}

#[cfg(unix)]
#[test]
fn a_memory_bomb_is_stopped() {
    let said = card_refusal("let a = \"bomb\"\n  for _ in range(60) { a = a + a }", &[]);
    assert!(said.contains("took more memory than it may have and was stopped"), "{said}");
}

#[test]
fn a_document_of_thousands_of_pages_is_refused() {
    let sheet = "#let sheet(data) = { for _ in range(4200) { pagebreak(weak: false) } }";
    let said = refusal("sheets/machine-sheet.typ", sheet, &[]);
    assert!(said.contains("the document has more than 4000 pages"), "{said}");
}

#[test]
fn no_file_outside_the_folder_is_read() {
    for path in ["../secret.txt", "/../secret.txt", "../../secret.txt", "/etc/hostname"] {
        let said = card_refusal(&format!("read(\"{path}\")"), &[]);
        assert!(said.contains("ours/sheets/care-card.typ, line 26, column "), "{path}: {said}");
        assert!(
            said.contains("file not found")
                || said.contains("would escape")
                || said.contains("access denied"),
            "{path}: {said}"
        );
    }
}

#[test]
fn no_package_is_fetched() {
    let said = card_refusal("import \"@preview/tablex:0.0.8\"", &[]);
    assert!(said.contains("ours/sheets/care-card.typ, line 26"), "{said}");
    assert!(said.contains("access denied"), "{said}");
}

#[test]
fn no_clock_is_asked() {
    let said = card_refusal("datetime.today()", &[]);
    assert!(said.contains("unable to get the current date"), "{said}");
}

#[test]
fn texts_that_would_run_in_circles_are_refused() {
    let wording = Path::new(env!("CARGO_MANIFEST_DIR")).join("layouts/wording/en.toml");
    let wording = fs::read_to_string(wording).expect("the carried words");
    let texts = [
        "{{#each unit}}{{this}}{{/each}}",
        "{{> front.title}}",
        "{{lookup unit 'name'}}",
        "{{#with unit}}x{{/with}}",
    ];
    for text in texts {
        let own = wording.replace("title = \"Going home\"", &format!("title = \"{text}\""));
        assert_ne!(own, wording);
        let said = refusal("wording/en.toml", &own, &[]);
        assert!(said.contains("a text holds more than words and placeholders"), "{text}: {said}");
        assert!(said.contains("key `card.title`"), "{text}: {said}");
    }
}
