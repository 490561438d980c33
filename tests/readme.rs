//! What the README and the developers' notes say is true: their commands run, the refusal is what the
//! program prints, and they name every column, key, option, caution and file that there is, and no other.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use baypack::validate::{column_names, regimen_keys, unit_keys};

/// The caution that `compose` adds to those of the survey: it is about the words, not about the day.
const OF_THE_WORDS: &str = "wording_unchecked";

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn read(path: &str) -> String {
    fs::read_to_string(root().join(path)).unwrap_or_else(|error| panic!("{path}: {error}"))
}

fn baypack() -> Command {
    Command::cargo_bin("baypack").expect("the program is built for the test")
}

/// What stands between two marks, the first of each.
fn between<'a>(text: &'a str, from: &str, until: &str) -> &'a str {
    let rest = text.split_once(from).unwrap_or_else(|| panic!("`{from}` is not there")).1;
    rest.split_once(until).map_or(rest, |(part, _)| part)
}

/// The part of a page below a heading, up to the next one.
fn part<'a>(page: &'a str, heading: &str) -> &'a str {
    between(page, &format!("\n{heading}\n"), "\n#")
}

/// The texts of the fenced blocks of a language.
fn blocks<'a>(page: &'a str, language: &str) -> Vec<&'a str> {
    let fence = format!("\n```{language}\n");
    page.split(&fence).skip(1).map(|rest| rest.split("```").next().unwrap_or_default()).collect()
}

/// The rows of the tables of a part, without heads: a text for each cell.
fn rows(part: &str) -> Vec<Vec<&str>> {
    let mut rows: Vec<Vec<&str>> = Vec::new();
    for line in part.lines().filter(|line| line.starts_with('|')) {
        let cells: Vec<&str> = line.trim_matches('|').split(" | ").map(str::trim).collect();
        if cells[0].starts_with("---") {
            rows.pop();
        } else {
            rows.push(cells);
        }
    }
    assert!(!rows.is_empty(), "the part has no table");
    rows
}

/// Every word between back quotes.
fn quoted(text: &str) -> BTreeSet<&str> {
    text.split('`').skip(1).step_by(2).collect()
}

/// Every word between back quotes in the first cells of a part's table.
fn first_cells(part: &str) -> BTreeSet<&str> {
    rows(part).into_iter().flat_map(|cells| quoted(cells[0])).collect()
}

/// What the program says when it is asked for help.
fn help(arguments: &[&str]) -> String {
    let output = baypack().args(arguments).arg("--help").output().expect("it runs");
    String::from_utf8(output.stdout).expect("help is UTF-8")
}

/// The commands that `--help` names, but for `help` itself.
fn commands() -> Vec<String> {
    let said = help(&[]);
    let named =
        between(&said, "\nCommands:\n", "\n\n").lines().filter_map(|line| line.split_whitespace().next());
    named.filter(|name| *name != "help").map(str::to_owned).collect()
}

/// Where a word of a command line lies that is run from another folder.
fn from_elsewhere(word: &str) -> String {
    let demo = root().join(word);
    if word.starts_with("demo-input/") { demo.to_string_lossy().into_owned() } else { word.to_owned() }
}

#[test]
fn every_command_of_the_readme_runs() {
    let place = tempfile::tempdir().expect("a folder");
    let readme = read("README.md");
    let shown = [blocks(&readme, "console"), blocks(&readme, "sh")].concat();
    let mut ran = BTreeSet::new();
    for line in shown.into_iter().flat_map(str::lines) {
        // `cargo run` builds this program and hands it the rest; `cargo test` is what runs here.
        let ours = line.strip_prefix("$ baypack ").or_else(|| line.strip_prefix("cargo run --release -- "));
        let Some(command) = ours else {
            assert_eq!(line, "cargo test", "a command that no test runs");
            continue;
        };
        baypack().current_dir(place.path()).args(command.split(' ').map(from_elsewhere)).assert().success();
        ran.insert(command.split(' ').next().unwrap_or_default().to_owned());
    }
    for command in commands() {
        assert!(ran.contains(&command), "no example of `baypack {command}`");
    }
    for made in ["out/2031-03-14/pack.pdf", "held/2031-03-14/pack.pdf", "plan.json", "out/manual/baypack.1"] {
        assert!(place.path().join(made).is_file(), "{made} was not written");
    }
}

#[test]
fn the_files_of_a_day_that_the_readme_names_are_those_that_are_written() {
    let place = tempfile::tempdir().expect("a folder");
    let demo = root().join("demo-input/day-list.csv");
    baypack().current_dir(place.path()).arg("make").arg(demo).arg("--quiet").assert().success();
    let day = place.path().join("out/2031-03-14");
    let readme = read("README.md");
    let documented = quoted(between(&readme, "The day's folder holds:", "Running again"));
    for entry in fs::read_dir(&day).expect("the day's folder") {
        let name = entry.expect("an entry").file_name().to_string_lossy().into_owned();
        let pattern = match name.split_once('-') {
            Some(("bay", rest)) if rest.contains("isolated") => "bay-<name>-isolated-<code>.pdf",
            Some(("bay", _)) => "bay-<name>.pdf",
            _ if name == "cards" => "cards/<code>.pdf",
            _ => &name,
        };
        assert!(documented.contains(pattern), "{name} is not documented");
    }
    for name in documented.iter().filter(|name| name.contains('.') && !name.contains('<')) {
        assert!(day.join(name).is_file(), "{name} is documented and not written");
    }
}

#[test]
fn the_refusal_of_the_readme_is_what_is_printed() {
    let readme = read("README.md");
    let examples = blocks(part(&readme, "### A refusal"), "text");
    assert_eq!(examples.len(), 1);
    let output = baypack()
        .current_dir(root())
        .args(["check", "demo-input/day-list-faults.csv"])
        .output()
        .expect("it runs");
    let said = String::from_utf8(output.stderr).expect("messages are UTF-8");
    assert!(said.contains(examples[0]), "not printed any more:\n{}", examples[0]);
}

#[test]
fn the_readme_names_every_column_of_a_day_list_and_no_other() {
    let readme = read("README.md");
    assert_eq!(first_cells(part(&readme, "## The day list")), column_names().collect());
}

/// The keys that a part's table names, each with its section; `inner` is the section of the table in
/// braces that is named without its heading. A section is a key of the one around it.
fn documented_keys<'a>(
    page: &'a str,
    heading: &str,
    inner: &[(&'a str, &'a str)],
) -> BTreeSet<(&'a str, &'a str)> {
    let mut keys = BTreeSet::new();
    for cells in rows(part(page, heading)) {
        let named = cells[0].trim_matches('`');
        let plain = named.trim_matches(['[', ']']);
        let section = match inner.iter().find(|(short, _)| *short == named) {
            Some((_, long)) => long,
            None if named == "top" => "",
            None => {
                keys.insert(("", plain));
                plain
            }
        };
        keys.extend(quoted(cells[1]).into_iter().map(|key| (section, key)));
    }
    keys
}

#[test]
fn the_readme_names_every_key_of_the_units_file_and_no_other() {
    let readme = read("README.md");
    let inner = [("out_of_service", "machines.out_of_service")];
    assert_eq!(documented_keys(&readme, "## `unit.toml`", &inner), unit_keys().collect());
}

#[test]
fn the_readme_names_every_key_of_the_regimens_file_and_no_other() {
    let readme = read("README.md");
    let inner = [("steps", "regimens.steps")];
    assert_eq!(documented_keys(&readme, "## `regimens.toml`", &inner), regimen_keys().collect());
}

#[test]
fn the_readme_names_every_kind_of_caution_and_no_other() {
    let readme = read("README.md");
    let survey = read("src/survey.rs");
    let kinds = between(&survey, "pub const fn kind(", "\n    }\n").split('"').skip(1).step_by(2);
    let kinds: BTreeSet<&str> = kinds.chain([OF_THE_WORDS]).collect();
    assert_eq!(first_cells(part(&readme, "## Cautions")), kinds);
    let words: toml::Table = read("layouts/wording/en.toml").parse().expect("the wording file");
    let worded = words["cautions"].as_table().expect("the cautions").keys();
    assert_eq!(worded.map(String::as_str).collect::<BTreeSet<_>>(), kinds, "the wording file's cautions");
}

#[test]
fn the_readme_names_every_option_and_no_other() {
    let readme = read("README.md");
    let table = first_cells(part(&readme, "## The command line"));
    let documented: BTreeSet<&str> = table
        .iter()
        .filter_map(|quote| quote.split(' ').next())
        .filter(|word| word.starts_with("--"))
        .collect();
    let said: Vec<String> = commands().iter().map(|command| help(&[command])).collect();
    let known: BTreeSet<&str> = said
        .iter()
        .flat_map(|help| help.lines())
        .filter_map(|line| {
            line.trim_start().trim_start_matches("-q, ").trim_start_matches("-h, ").split(' ').next()
        })
        .filter(|word| word.starts_with("--") && *word != "--help")
        .collect();
    assert_eq!(documented, known);
    let anywhere = readme.split(|character: char| !character.is_ascii_alphanumeric() && character != '-');
    for option in anywhere.filter(|word| word.starts_with("--") && word.len() > 2 && !word.starts_with("---"))
    {
        let is_cargos = option == "--release";
        assert!(is_cargos || option == "--help" || known.contains(option), "there is no option {option}");
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

/// Every file below a folder, relative to the project, with `/` between its parts.
fn files_below(folder: &str) -> Vec<String> {
    let mut found = Vec::new();
    let mut folders = vec![root().join(folder)];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(next).expect("a folder") {
            let path: PathBuf = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let short = path.strip_prefix(root()).expect("below it");
                found.push(short.to_string_lossy().replace('\\', "/"));
            }
        }
    }
    found
}

/// Folders of data of one kind, which the notes name as a whole.
const NAMED_WHOLE: [&str; 6] = [
    "layouts/fonts/",
    "layouts/samples/",
    "tests/corpora/",
    "tests/fuzz/",
    "tests/pictures/",
    "tests/refusals/",
];

#[test]
fn the_developers_notes_name_every_file_and_no_other() {
    let notes = read("DEVELOPERS.md");
    let named = quoted(&notes);
    for path in ["src", "layouts", "tests"].into_iter().flat_map(files_below) {
        let whole = NAMED_WHOLE.into_iter().find(|folder| path.starts_with(folder));
        let is_compiled_python = path.contains("__pycache__");
        assert!(is_compiled_python || named.contains(whole.unwrap_or(&path)), "{path} is not named");
    }
    let is_path = |word: &&&str| {
        let folders = ["src/", "layouts/", "tests/", "demo-input/", ".ci/"];
        folders.iter().any(|folder| word.starts_with(folder)) && !word.contains(['<', '*', ' '])
    };
    for path in named.iter().filter(is_path) {
        assert!(root().join(path).exists(), "{path} is named and not there");
    }
}

#[test]
fn every_test_that_guards_a_safety_rule_exists() {
    let notes = read("DEVELOPERS.md");
    let tests: String = ["src", "tests"]
        .into_iter()
        .flat_map(files_below)
        .filter(|path| path.ends_with(".rs"))
        .map(|path| read(&path))
        .collect();
    // The last cell says what holds a rule: files by their paths, tests by their names, and parts of the program.
    let held_by: String =
        rows(part(&notes, "## Safety rules")).iter().map(|cells| cells[cells.len() - 1]).collect();
    let is_name = |word: &&str| {
        word.contains('_') && !word.contains(|one: char| !one.is_ascii_alphanumeric() && one != '_')
    };
    let named: BTreeSet<&str> = quoted(&held_by).into_iter().filter(is_name).collect();
    assert!(named.contains("each_minimum_holds"), "names of two words count too");
    assert!(named.len() >= 40, "only {} tests are named", named.len());
    for test in named {
        assert!(tests.contains(&format!("fn {test}(")), "the test {test} does not exist");
    }
}
