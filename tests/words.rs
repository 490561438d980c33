//! Words in other languages: a translation is begun and checked, cards are printed in the patient's language, or in
//! the unit's with a caution.

use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use baypack::compose::wording_check::{plural_form, plural_forms};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn baypack() -> Command {
    let mut command = Command::cargo_bin("baypack").expect("the program is built for the test");
    command.current_dir(root()).env("SOURCE_DATE_EPOCH", "1931238120");
    command
}

fn write(path: &Path, text: &str) {
    fs::create_dir_all(path.parent().expect("a folder")).expect("made");
    fs::File::create(path)
        .and_then(|mut file| std::io::Write::write_all(&mut file, text.as_bytes()))
        .expect("written");
}

fn carried(language: &str) -> String {
    fs::read_to_string(root().join(format!("layouts/wording/{language}.toml"))).expect("a wording file")
}

/// What `words --check` says of a text.
fn refusal(text: &str) -> String {
    let place = tempfile::tempdir().expect("a folder");
    let file = place.path().join("xx.toml");
    write(&file, text);
    let output = baypack().args(["words", "--check"]).arg(file).output().expect("it runs");
    let said = String::from_utf8(output.stderr).expect("messages are UTF-8");
    assert_eq!(output.status.code(), Some(1), "{said}");
    said
}

/// The demo's day with another language for its first patient.
fn day(language: &str) -> (tempfile::TempDir, PathBuf) {
    let place = tempfile::tempdir().expect("a folder");
    for name in ["unit.toml", "regimens.toml"] {
        fs::copy(root().join("demo-input").join(name), place.path().join(name)).expect("copied");
    }
    let list = fs::read_to_string(root().join("demo-input/day-list.csv")).expect("the demo");
    let (header, rows) = list.split_once('\n').expect("rows");
    let at = header.split(',').position(|name| name == "language").expect("the column");
    let (first, rest) = rows.split_once('\n').expect("rows");
    let mut cells: Vec<&str> = first.split(',').collect();
    cells[at] = language;
    write(&place.path().join("day-list.csv"), &format!("{header}\n{}\n{rest}", cells.join(",")));
    let list = place.path().join("day-list.csv");
    (place, list)
}

/// The demo's day in a unit of another language.
fn day_of_unit(language: &str) -> (tempfile::TempDir, PathBuf) {
    let (place, list) = day("");
    let file = place.path().join("unit.toml");
    let unit = fs::read_to_string(&file).expect("the demo");
    let own = unit.replace("language = \"en\"", &format!("language = \"{language}\""));
    assert_ne!(own, unit);
    write(&file, &own);
    (place, list)
}

/// The demo's day in a unit of another language, or in its own.
fn day_of_unit_or_english(language: &str) -> (tempfile::TempDir, PathBuf) {
    if language == "en" { day("") } else { day_of_unit(language) }
}

/// The first patient's card and the day's record.
fn record(list: &Path, options: &[&str]) -> serde_json::Value {
    let file = list.with_file_name("plan.json");
    baypack().args(["check", "-q", "--plan"]).arg(&file).arg(list).args(options).assert().success();
    serde_json::from_str(&fs::read_to_string(file).expect("written")).expect("JSON")
}

#[test]
fn every_carried_language_is_complete_and_its_longest_cards_fit() {
    for language in ["en", "pl", "es", "ar"] {
        let file = root().join(format!("layouts/wording/{language}.toml"));
        baypack().args(["words", "--check"]).arg(file).assert().success();
    }
}

#[test]
fn a_translation_is_begun_with_every_key_and_never_over_a_file() {
    let place = tempfile::tempdir().expect("a folder");
    let file = place.path().join("uk.toml");
    baypack().args(["words", "uk", "--start"]).arg(&file).assert().success();
    let text = fs::read_to_string(&file).expect("written");
    let begun: toml::Table = text.parse().expect("TOML");
    let english: toml::Table = carried("en").parse().expect("TOML");
    assert_eq!(begun.keys().collect::<Vec<_>>(), english.keys().collect::<Vec<_>>());
    assert_eq!(begun["meta"]["code"].as_str(), Some("uk"));
    assert!(
        begun["cautions"]["other_days"]["text"].get("few").is_some(),
        "Ukrainian has one, few, many, other"
    );
    assert!(text.contains("# placeholders: {{unit.fever_from}}"), "{text}");
    baypack().args(["words", "uk", "--start"]).arg(&file).assert().code(1);
    assert_eq!(fs::read_to_string(&file).expect("still there"), text);
}

#[test]
fn a_check_names_what_is_missing_unknown_or_has_other_placeholders_with_its_line() {
    let polish = carried("pl");
    let broken = polish
        .replace("title = \"Karta do domu\"\n", "titel = \"Karta do domu\"\n")
        .replace("{{unit.fever_from}}", "{{unit.fever}}")
        .replace("  \"krwawisz albo masz siniaki bez powodu\",\n", "");
    let said = refusal(&broken);
    let line = |text: &str| broken.lines().position(|line| line.contains(text)).expect("the line") + 1;
    for expected in [
        format!(
            "error: a text is missing\n --> xx.toml, line {}, key `card.title`\nhelp: in English: Going home\n",
            line("[card]")
        ),
        format!(
            "error: nothing prints this text\n --> xx.toml, line {}, key `card.titel`\nhelp: did you mean `card.title`?\n",
            line("titel")
        ),
        format!(
            "error: the placeholders are not those of the English text\n --> xx.toml, line {}, key `card.ring.reasons`: \
             found {{{{unit.fever}}}}\nhelp: write {{{{unit.fever_from}}}}\n",
            line("reasons")
        ),
        format!(
            "error: a list has another number of texts\n --> xx.toml, line {}, key `card.ring.reasons`: found 3\nhelp: write 4\n",
            line("reasons")
        ),
    ] {
        assert!(said.contains(&expected), "`{expected}` is missing in:\n{said}");
    }
    assert!(said.contains("4 problems"), "{said}");
}

#[test]
fn a_missing_text_is_told_with_its_file_and_line_by_the_check_and_by_make() {
    let whole = carried("pl");
    let broken = whole.replace("ticks = \"Dzień po kolei\"\n", "");
    assert_ne!(broken, whole);
    let line = broken.lines().position(|line| line == "[bay.labels]").expect("the heading") + 1;
    let said = refusal(&broken);
    assert!(
        said.contains(&format!(
            "error: a text is missing\n --> xx.toml, line {line}, key `bay.labels.ticks`\n"
        )),
        "{said}"
    );

    let (place, list) = day_of_unit("pl");
    let own = place.path().join("ours");
    let broken = whole.replace("title = \"Arkusz dnia\"\n", "");
    let line = broken.lines().position(|line| line == "[front]").expect("the heading") + 1;
    write(&own.join("wording/pl.toml"), &broken);
    let output =
        baypack().args(["check", "-q"]).arg(&list).arg("--layouts").arg(&own).output().expect("it runs");
    let said = String::from_utf8(output.stderr).expect("messages are UTF-8");
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("error: a text is missing\n --> "), "{said}");
    assert!(said.contains(&format!("pl.toml, line {line}, key `front.title`\n")), "{said}");
}

#[test]
fn a_wording_file_that_the_day_does_not_need_stops_nothing() {
    let (place, list) = day("es");
    let own = place.path().join("ours");
    write(&own.join("wording/pl.toml"), "[meta\n");
    baypack().args(["check", "-q"]).arg(&list).arg("--layouts").arg(&own).assert().success();
    // One that a card needs costs the card its language, with a caution, and not the whole pack.
    write(&own.join("wording/es.toml"), "[meta\n");
    let record = record(&list, &["--layouts", own.to_str().expect("a name")]);
    let cautions = record["cautions"].as_array().expect("a list");
    assert!(cautions.iter().any(|caution| caution["kind"] == "card_language"), "{cautions:?}");
}

/// Every text of a document, without the names of its fields, one a line.
fn texts(value: &serde_json::Value) -> String {
    match value {
        serde_json::Value::String(text) => format!("{text}\n"),
        serde_json::Value::Array(items) => items.iter().map(texts).collect(),
        serde_json::Value::Object(fields) => fields.values().map(texts).collect(),
        _ => String::new(),
    }
}

#[test]
fn a_unit_gets_its_whole_pack_in_its_language() {
    let foreign =
        ["Chair", "Bay ", "Page", "Start ", "Stop cooling", "None today", "Nurse in charge", "Outlet"];
    for (language, words) in [
        ("pl", ["Arkusz dnia", "Sala A", "Arkusz urządzeń", "Tabela przesunięć", "Karta do domu"]),
        ("es", ["Hoja del día", "Sala A", "Hoja de máquinas", "Tabla de retrasos", "Tarjeta para casa"]),
    ] {
        let (place, list) = day_of_unit(language);
        let out = place.path().join("out");
        // Every page is checked before it is written: a word too long for its place stops the run.
        for paper in ["a4", "us-letter"] {
            let mut command = baypack();
            command.args(["make", "-q", "--paper", paper]).arg(&list).arg("--out").arg(out.join(paper));
            command.assert().success();
        }
        // A day that does not fit, with people without an outlet and a proposal.
        let full = place.path().join("day-list-overloaded.csv");
        fs::copy(root().join("demo-input/day-list-overloaded.csv"), &full).expect("copied");
        baypack().args(["check", "-q"]).arg(&full).assert().success();
        let record = record(&list, &[]);
        // The demo has a patient who asked for an English card.
        let of_unit = |document: &&serde_json::Value| {
            document.to_string().contains(&format!("\"language\":\"{language}\""))
        };
        let documents = record["documents"].as_array().expect("a list");
        let printed: String = documents.iter().filter(of_unit).map(texts).collect();
        assert!(printed.len() > 10_000, "the record holds what is printed");
        for word in words {
            assert!(printed.contains(word), "{language}: `{word}` is missing");
        }
        for word in foreign {
            assert!(!printed.contains(word), "{language}: `{word}` is English");
        }
    }
}

/// A list with a row for each kind of fault and something for each note, parted by semicolons.
fn list_with_everything_to_tell() -> String {
    let list = fs::read_to_string(root().join("demo-input/day-list.csv")).expect("the demo");
    let (header, rows) = list.split_once('\n').expect("rows");
    let names: Vec<&str> = header.split(',').collect();
    let first: Vec<&str> = rows.lines().next().expect("a row").split(',').collect();
    let mut number = 0;
    let mut row = |changes: &[(&str, &str)]| {
        number += 1;
        let hospital_no = format!("LD-{number}");
        let mut cells = first.clone();
        let mut set = |name: &str, cell| cells[names.iter().position(|one| *one == name).expect(name)] = cell;
        for (name, cell) in [("hospital_no", hospital_no.as_str()), ("nhs_no", ""), ("hair", "")] {
            set(name, cell);
        }
        changes.iter().for_each(|(name, cell)| set(name, cell));
        format!("{};x;x;x\n", cells.join(";"))
    };
    let long = "a".repeat(200);
    let mut rows: String = [
        &[("family_name", "Wr?blewska")][..],
        &[("given_name", "JOAN")],
        &[("arrive", "01:30")],
        &[("arrive", ""), ("bay", ""), ("chair", ""), ("cycle", "")],
        &[("arrive", "")],
        &[("arrive", "M"), ("cap", "08:30")],
        &[("family_name", &long)],
        &[("given_name", "Jo\u{200b}an")],
        &[("arrive", "noon")],
        &[("next_visit", "soon")],
        &[("born", "2035-01-01")],
        &[("regimen", "ZZZ")],
        &[("cycle", "x")],
        &[("nhs_no", "123")],
        &[("arrive", "23:30")],
        &[("leave_by", "07:00")],
        &[("chair", "B1")],
        &[("regimen", "TRAS")],
        &[("hospital_no", "LD-3009")],
        &[("hospital_no", "LD-3009")],
    ]
    .into_iter()
    .map(&mut row)
    .collect();
    let header = format!(
        "{};komentarz;\u{5099}\u{8003};\u{1b}[31m\n",
        header.replace(",hair,", ",hiar,").replace(',', ";")
    );
    rows.push_str(&header);
    rows.push_str("2031-03-14;08:30\n");
    header + &rows
}

/// The longest part of a text without placeholders.
fn longest_part(text: &str) -> &str {
    let parts = text.split("{{").map(|part| part.rsplit("}}").next().unwrap_or(part));
    parts.max_by_key(|part| part.len()).unwrap_or_default()
}

#[test]
fn held_rows_and_notes_are_told_in_the_units_language_and_print_whatever_a_column_is_called() {
    let english: toml::Table = carried("en").parse().expect("TOML");
    for language in ["pl", "es", "en"] {
        let (place, list) = day_of_unit_or_english(language);
        write(&list, &list_with_everything_to_tell());
        let old = list.with_file_name("old.csv");
        let text = fs::read_to_string(root().join("demo-input/day-list.csv")).expect("the demo");
        let text = text.replace(',', "\t").replace("Joan", "Zo\u{eb}");
        let (bytes, _, _) = encoding_rs::WINDOWS_1252.encode(&text);
        fs::File::create(&old)
            .and_then(|mut file| std::io::Write::write_all(&mut file, &bytes))
            .expect("written");
        let mut printed = String::new();
        for list in [&list, &old] {
            let out = place.path().join("out");
            let made = baypack()
                .args(["make", "--hold-bad-rows"])
                .arg(list)
                .arg("--out")
                .arg(&out)
                .output()
                .expect("it runs");
            let (said, told) = (String::from_utf8_lossy(&made.stdout), String::from_utf8_lossy(&made.stderr));
            assert!(made.status.success(), "{language}: {told}");
            assert!(!said.contains('\u{1b}'), "{said:?}");
            let record = fs::read_to_string(out.join("2031-03-14/plan.json")).expect("written");
            let record: serde_json::Value = serde_json::from_str(&record).expect("JSON");
            let documents = record["documents"].as_array().expect("a list");
            printed += &texts(documents.first().expect("the front sheet"));
        }
        let own: toml::Table = carried(language).parse().expect("TOML");
        for part in ["faults", "read"] {
            for (key, text) in own["front"][part].as_table().expect("texts") {
                let wanted = longest_part(text.as_str().expect("a text"));
                assert!(printed.contains(wanted), "{language}: `{key}` is not printed: {wanted}");
                let foreign = longest_part(english["front"][part][key].as_str().expect("a text"));
                assert!(language == "en" || !printed.contains(foreign), "{language}: English: {foreign}");
            }
        }
        assert!(!printed.contains(['\u{5099}', '\u{1b}']), "names that cannot be printed are told by number");
    }
}

#[test]
fn a_unit_whose_language_has_the_words_of_the_card_alone_is_told_what_to_choose() {
    let (_place, list) = day_of_unit("ar");
    let output = baypack().args(["check", "-q"]).arg(&list).output().expect("it runs");
    assert_eq!(output.status.code(), Some(1));
    assert_eq!(
        String::from_utf8(output.stderr).expect("messages are UTF-8"),
        "error: the unit's language is `ar`, which has the words of the care card alone\n \
         --> layouts/wording/ar.toml, line 1\n\
         help: in unit.toml choose a language with words for staff sheets too (en, es, pl) and give patients theirs in \
         the day list, or write the missing words\n\n\
         1 problem; nothing was written.\n"
    );
}

#[test]
fn plural_forms_are_those_of_the_language() {
    // Unicode CLDR, plural rules for cardinals.
    assert_eq!(plural_forms("en"), ["one", "other"]);
    assert_eq!(plural_forms("pl"), ["one", "few", "many", "other"]);
    assert_eq!(plural_forms("ar"), ["zero", "one", "two", "few", "many", "other"]);
    let polish = [(1, "one"), (2, "few"), (4, "few"), (5, "many"), (12, "many"), (22, "few"), (25, "many")];
    for (number, form) in polish {
        assert_eq!(plural_form("pl", number), Some(form), "{number}");
    }
    let arabic = [
        (0, "zero"),
        (1, "one"),
        (2, "two"),
        (3, "few"),
        (10, "few"),
        (11, "many"),
        (99, "many"),
        (100, "other"),
    ];
    for (number, form) in arabic {
        assert_eq!(plural_form("ar", number), Some(form), "{number}");
    }
    let english = carried("en").replace("code = \"en\"", "code = \"pl\"");
    let said = refusal(&english);
    assert!(said.contains("key `cautions.other_days.text`: found `one`, `other`"), "{said}");
    assert!(said.contains("the language has `one`, `few`, `many`, `other`"), "{said}");
}

#[test]
fn words_that_make_a_card_too_long_are_refused() {
    let long = carried("pl")
        .replace("\"Część włosów wypadnie. To częste.\",", &"\"Część włosów wypadnie.\",\n".repeat(30));
    let said = refusal(&long);
    assert!(
        said.contains("the document has more than 2 pages\n --> care card first visit, small print"),
        "{said}"
    );
}

#[test]
fn a_card_speaks_the_patients_language_and_the_front_sheet_says_that_it_is_unchecked() {
    for (language, title) in
        [("pl", "Karta do domu"), ("es", "Tarjeta para casa"), ("ar", "بطاقة العودة إلى المنزل")]
    {
        let (_place, list) = day(language);
        let record = record(&list, &[]).to_string();
        assert!(record.contains(title), "{language}");
        assert!(record.contains("has marked the words of these cards as checked"), "{language}");
        assert!(!record.contains("card_language"), "{language}");
    }
}

#[test]
fn a_card_whose_words_are_too_long_or_incomplete_is_in_the_units_language_with_a_caution() {
    let polish = carried("pl");
    let long =
        polish.replace("\"Część włosów wypadnie. To częste.\",", &"\"Część włosów wypadnie.\",\n".repeat(30));
    let short = polish.replace("title = \"Karta do domu\"\n", "");
    let no_toml = polish.replace("title = \"Karta do domu\"\n", "title = \"Karta do domu\n");
    for words in [long, short, no_toml] {
        let (place, list) = day("pl");
        let own = place.path().join("ours");
        write(&own.join("wording/pl.toml"), &words);
        let record = record(&list, &["--layouts", own.to_str().expect("a name")]);
        let cautions = record["cautions"].as_array().expect("a list");
        let told: Vec<_> = cautions.iter().filter(|caution| caution["kind"] == "card_language").collect();
        assert_eq!(told.len(), 1, "{cautions:?}");
        assert_eq!(told[0]["line"], 2);
        assert!(!record.to_string().contains("Zadzwoń od razu"), "no Polish card");
        baypack().args(["check", "-q"]).arg(&list).arg("--layouts").arg(&own).assert().success();
    }
}

#[test]
fn a_list_with_a_language_of_the_units_own_is_read_by_every_command_that_reads_a_list() {
    let (place, list) = day("cy");
    let own = place.path().join("ours");
    write(&own.join("wording/cy.toml"), &carried("pl").replace("code = \"pl\"", "code = \"cy\""));
    for command in [&["propose"][..], &["fit", "--regimen", "PAC-W"], &["check", "--plan", "plan.json"]] {
        let run = |with_own: bool| {
            let mut run = baypack();
            run.current_dir(place.path()).args(command).arg("-q").arg(&list);
            if with_own {
                run.arg("--layouts").arg(&own);
            }
            run.output().expect("it runs").status.code()
        };
        assert_eq!(run(false), Some(1), "{command:?}: no such language is carried");
        assert_eq!(run(true), Some(0), "{command:?}");
    }
}

#[test]
fn a_check_takes_the_units_own_layouts_and_fonts() {
    let place = tempfile::tempdir().expect("a folder");
    let file = place.path().join("en.toml");
    write(&file, &carried("en"));
    let own = place.path().join("ours");
    fs::create_dir_all(&own).expect("made");
    let check =
        |own: &Path| baypack().args(["words", "--check"]).arg(&file).arg("--layouts").arg(own).output();
    let output = check(&own).expect("it runs");
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    // With two sides more, no card fits.
    let card = fs::read_to_string(root().join("layouts/sheets/care-card.typ")).expect("the card's layout");
    let more =
        card.replace("  // The last words", "  pagebreak()\n  [more]\n  pagebreak()\n  // The last words");
    assert_ne!(more, card);
    write(&own.join("sheets/care-card.typ"), &more);
    let output = check(&own).expect("it runs");
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("more than 2 pages"), "{said}");
}

#[test]
fn staff_words_that_are_missing_or_cannot_be_read_stop_the_run_with_file_and_line() {
    let english = carried("en");
    let (place, list) = day("pl");
    let own = place.path().join("ours");
    let line =
        |text: &str, part: &str| text.lines().position(|line| line.starts_with(part)).expect("the line") + 1;
    let title = english.lines().find(|line| line.starts_with("title = \"Front sheet")).expect("a title");
    let missing = english.replace(&format!("{title}\n"), "");
    let unread = english.replace(title, "title = \"Front sheet");
    let cases = [
        (missing.clone(), line(&missing, "[front]"), "a text is missing"),
        (unread.clone(), line(&unread, "title = \"Front sheet"), "breaks the rules of its notation"),
    ];
    for (words, line, what) in cases {
        write(&own.join("wording/en.toml"), &words);
        let output = baypack().args(["check", "-q"]).arg(&list).arg("--layouts").arg(&own).output();
        let output = output.expect("it runs");
        let said = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(1), "{said}");
        assert!(said.contains(what), "{said}");
        assert!(said.contains(&format!("en.toml, line {line}")), "line {line} is not in: {said}");
    }
}
