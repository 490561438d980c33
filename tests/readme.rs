//! What the README says is true: its commands run, its refusal is what the program prints, and it names
//! every column, key, option and caution that there is.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn read(path: &str) -> String {
    fs::read_to_string(root().join(path)).unwrap_or_else(|error| panic!("{path}: {error}"))
}

fn baypack() -> Command {
    Command::cargo_bin("baypack").expect("the program is built for the test")
}

/// The text of the first fenced block of a language that holds `wanted`.
fn block(readme: &str, language: &str, wanted: &str) -> String {
    let fence = format!("```{language}\n");
    let blocks = readme.split(&fence).skip(1).filter_map(|rest| rest.split("```").next());
    let mut found = blocks.filter(|block| block.contains(wanted));
    found.next().unwrap_or_else(|| panic!("no {language} block with `{wanted}`")).to_owned()
}

/// Every word between back quotes.
fn quoted(text: &str) -> BTreeSet<&str> {
    text.split('`').skip(1).step_by(2).collect()
}

#[test]
fn every_command_of_the_readme_runs() {
    let place = tempfile::tempdir().expect("a folder");
    let readme = read("README.md");
    let shown = block(&readme, "console", "$ baypack make");
    let set_up = block(&readme, "sh", "cargo run").replace("cargo run --release -- ", "$ baypack ");
    let mut ran = 0;
    for line in shown.lines().chain(set_up.lines()) {
        let Some(command) = line.strip_prefix("$ baypack ") else { continue };
        let arguments = command.split(' ').map(|word| {
            let demo = root().join(word);
            if word.starts_with("demo-input/") {
                demo.to_string_lossy().into_owned()
            } else {
                word.to_owned()
            }
        });
        baypack().current_dir(place.path()).args(arguments).assert().success();
        ran += 1;
    }
    assert_eq!(ran, 5);
    assert!(place.path().join("out/2031-03-14/pack.pdf").is_file());
    assert!(place.path().join("out/manual/baypack.1").is_file());
}

#[test]
fn the_refusal_of_the_readme_is_what_is_printed() {
    let example = block(&read("README.md"), "text", "error: ");
    let output = baypack()
        .current_dir(root())
        .args(["check", "demo-input/day-list-faults.csv"])
        .output()
        .expect("it runs");
    let said = String::from_utf8(output.stderr).expect("messages are UTF-8");
    assert!(said.contains(&example), "not printed any more:\n{example}");
}

#[test]
fn every_column_of_the_demo_is_documented_and_read() {
    let readme = read("README.md");
    let table =
        readme.split("## The day list").nth(1).and_then(|rest| rest.split("\n## ").next()).expect("the part");
    let documented = quoted(table);
    let list = read("demo-input/day-list.csv");
    for column in list.lines().next().expect("a header").split(',') {
        assert!(documented.contains(column), "column `{column}` is not documented");
    }
}

#[test]
fn every_key_of_the_demo_settings_is_documented() {
    let readme = read("README.md");
    let documented = quoted(&readme);
    for file in ["demo-input/unit.toml", "demo-input/regimens.toml"] {
        let table: toml::Table = read(file).parse().expect("the demo's settings");
        for key in keys(&toml::Value::Table(table)) {
            let known = documented.contains(key.as_str())
                || documented.iter().any(|quote| quote.contains(&format!("[{key}]")));
            assert!(known || is_cap_size(&key), "key `{key}` of {file} is not documented");
        }
    }
}

/// Sizes of caps are keys of the unit's own choosing.
fn is_cap_size(key: &str) -> bool {
    ["S", "M", "L"].contains(&key)
}

fn keys(value: &toml::Value) -> BTreeSet<String> {
    match value {
        toml::Value::Table(table) => {
            table.iter().flat_map(|(key, value)| keys(value).into_iter().chain([key.clone()])).collect()
        }
        toml::Value::Array(items) => items.iter().flat_map(keys).collect(),
        _ => BTreeSet::new(),
    }
}

#[test]
fn every_kind_of_caution_and_every_option_is_documented() {
    let readme = read("README.md");
    let documented = quoted(&readme);
    let words: toml::Table = read("layouts/wording/en.toml").parse().expect("the wording file");
    for kind in words["cautions"].as_table().expect("the cautions").keys() {
        assert!(documented.contains(kind.as_str()), "caution `{kind}` is not documented");
    }
    for command in ["make", "check"] {
        let help = baypack().args([command, "--help"]).output().expect("it runs").stdout;
        let help = String::from_utf8(help).expect("help is UTF-8");
        let options = help.split_whitespace().filter(|word| word.starts_with("--") && *word != "--help");
        for option in options.map(|word| word.trim_end_matches([',', '.'])) {
            assert!(readme.contains(&format!("`{option}")), "option {option} is not documented");
        }
    }
}

#[test]
fn every_file_and_picture_that_is_linked_is_there() {
    for file in ["README.md", "DEVELOPERS.md"] {
        let text = read(file);
        for target in text.split("](").skip(1).filter_map(|rest| rest.split(')').next()) {
            if !target.starts_with("http") {
                assert!(root().join(target).exists(), "{file} links to {target}");
            }
        }
    }
}

/// Every source file below a folder, relative to the project.
fn sources(folder: &str, endings: &[&str]) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![root().join(folder)];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(next).expect("a folder") {
            let path = entry.expect("an entry").path();
            let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default();
            if path.is_dir() {
                folders.push(path);
            } else if endings.contains(&ending) {
                found.push(path.strip_prefix(root()).expect("below it").to_owned());
            }
        }
    }
    found
}

#[test]
fn the_developers_notes_name_every_source_file_and_no_other() {
    let notes = read("DEVELOPERS.md");
    let all: Vec<PathBuf> =
        [sources("src", &["rs"]), sources("layouts/sheets", &["typ"]), sources("tests", &["rs", "py"])]
            .concat();
    for path in &all {
        let path = path.to_string_lossy().replace('\\', "/");
        assert!(notes.contains(&format!("`{path}`")), "{path} is not named");
    }
    let named = quoted(&notes).into_iter().filter(|word| word.ends_with(".rs") || word.ends_with(".py"));
    for path in named.filter(|path| path.contains('/')) {
        assert!(root().join(path).is_file(), "{path} is named and not there");
    }
}

#[test]
fn every_test_that_guards_a_safety_rule_exists() {
    let notes = read("DEVELOPERS.md");
    let tests: String = [sources("src", &["rs"]), sources("tests", &["rs"])]
        .concat()
        .iter()
        .map(|path| read(&path.to_string_lossy()))
        .collect();
    let table =
        notes.split("## Safety rules").nth(1).and_then(|rest| rest.split("\n## ").next()).expect("the table");
    let named: Vec<&str> = quoted(table).into_iter().filter(|word| word.matches('_').count() >= 3).collect();
    assert!(named.len() >= 12, "only {} tests are named", named.len());
    for test in named {
        assert!(tests.contains(&format!("fn {test}(")), "the test {test} does not exist");
    }
}
