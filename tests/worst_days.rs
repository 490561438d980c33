//! The worst days that the validator accepts are printed: no text runs over, and what belongs to one patient
//! stays on one face as far as a face holds it.
//!
//! The packs stay in the target folder, below `worst-days/`, to be looked at. People and units are invented.

#[path = "support/paper.rs"]
mod paper;

use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use paper::{Page, read};
use serde_json::Value;

/// The day of all cases.
const DAY: &str = "2031-03-14";
/// A family name of 40 characters and a given name of 35, the longest that the NHS Common User Interface
/// foresees (NID-0014, NID-0021).
const LONG_FAMILY: &str = "Featherstonehaugh-Cholmondeley-Warringto";
const LONG_GIVEN: &str = "Alexandra Wilhelmina Charlotte Joan";
/// An alert as long as the day list may have it.
const LONG_ALERT: &str = "Latex allergy: latex-free gloves and cannula dressing only. Left arm must not be used: \
     lymph nodes were removed. Interpreter comes at 09:00 and must leave at noon. Faints when cannulated, so lay \
     the chair back first. Needs help to walk, carries oxygen, and her daughter waits in the room next door";

/// A row of a day list; what is not named is as plain as can be.
#[derive(Clone, Copy)]
struct Row<'a> {
    arrive: &'a str,
    bay: &'a str,
    chair: &'a str,
    family: &'a str,
    given: &'a str,
    regimen: &'a str,
    cycle: u32,
    cooled: bool,
    cap: &'a str,
    leave_by: &'a str,
    alert: &'a str,
    isolate: bool,
}

const PLAIN: Row<'_> = Row {
    arrive: "08:15",
    bay: "A",
    chair: "A1",
    family: "Abernathy",
    given: "Joan",
    regimen: "PAC-W",
    cycle: 2,
    cooled: true,
    cap: "M",
    leave_by: "",
    alert: "",
    isolate: false,
};

const LONG: Row<'_> = Row { family: LONG_FAMILY, given: LONG_GIVEN, alert: LONG_ALERT, cap: "", ..PLAIN };

fn yes(holds: bool) -> &'static str {
    if holds { "yes" } else { "no" }
}

fn csv(rows: &[Row<'_>]) -> String {
    let head = "date,arrive,bay,chair,hospital_no,family_name,given_name,born,regimen,cycle,cooled,cap,leave_by,alert,isolate";
    let line = |(number, row): (usize, &Row<'_>)| {
        let Row { arrive, bay, chair, family, given, regimen, cycle, cap, leave_by, alert, .. } = row;
        let (cooled, isolate) = (yes(row.cooled), yes(row.isolate));
        format!(
            "{DAY},{arrive},{bay},{chair},LX-{},{family},{given},1962-05-19,{regimen},{cycle},{cooled},{cap},{leave_by},\"{alert}\",{isolate}",
            7001 + number
        )
    };
    let lines = rows.iter().enumerate().map(line);
    std::iter::once(head.to_owned()).chain(lines).map(|line| line + "\r\n").collect()
}

/// Regimens beside the demo's: seven drugs, and a day of eleven hours.
const REGIMENS: &str = r#"
[[regimens]]
code = "SEVEN"
name = "Seven invented steps in a row, to fill a face"
premed_lead = 30
steps = [
  { drug = "Folinic acid", minutes = 30, flush = 5, hair_loss = false },
  { drug = "Doxorubicin", minutes = 15, flush = 5, hair_loss = true, push = true },
  { drug = "Cyclophosphamide", minutes = 30, flush = 5, hair_loss = true },
  { drug = "Vincristine", minutes = 10, flush = 5, hair_loss = false, cytotoxic = true },
  { drug = "Etoposide", minutes = 60, flush = 5, hair_loss = true },
  { drug = "Bleomycin", minutes = 15, flush = 5, hair_loss = false, cytotoxic = true },
  { drug = "Zoledronic acid", minutes = 15, hair_loss = false },
]

[[regimens]]
code = "WIDE"
name = "Invented drugs of which two are observed"
premed_lead = 60
steps = [
  { drug = "Fluorouracil", minutes = 30, hair_loss = false },
  { drug = "Epirubicin", minutes = 30, flush = 10, hair_loss = true },
  { drug = "Irinotecan", minutes = 60, first_observe = 30, hair_loss = false, cytotoxic = true },
  { drug = "Nab-paclitaxel", minutes = 15, hair_loss = true },
  { drug = "Gemcitabine", minutes = 30, first_observe = 60, hair_loss = false },
]

[[regimens]]
code = "WIDER"
name = "Invented drugs of which three are observed"
premed_lead = 60
steps = [
  { drug = "Fluorouracil", minutes = 30, hair_loss = false },
  { drug = "Epirubicin", minutes = 30, flush = 10, hair_loss = true },
  { drug = "Irinotecan", minutes = 60, first_observe = 30, hair_loss = false, cytotoxic = true },
  { drug = "Carboplatin", minutes = 30, first_observe = 30, hair_loss = false, cytotoxic = true },
  { drug = "Nab-paclitaxel", minutes = 15, hair_loss = true },
  { drug = "Gemcitabine", minutes = 30, first_observe = 60, hair_loss = false },
]

[[regimens]]
code = "ELEVEN"
name = "Eleven hours in the chair, invented"
premed_lead = 60
steps = [
  { drug = "Trastuzumab", minutes = 90, observe = 60, hair_loss = false },
  { drug = "Paclitaxel", minutes = 180, flush = 15, hair_loss = true },
  { drug = "Carboplatin", minutes = 60, flush = 10, hair_loss = true },
]
"#;

/// A name made as long as its limit by letters without a space.
fn longest(name: &str, most: usize) -> String {
    name.chars().chain("Windkraftanlagen".chars().cycle()).take(most).collect()
}

/// The demo's unit with so many sizes of caps, and every text as long as `unit.toml` may have it: figures of `src/validate/limits.rs`.
fn longest_unit(demo: &str, sizes: usize) -> String {
    let mut unit = demo.to_owned();
    let mut long = |before: &str, most: usize| {
        let (quoted, longer) = (format!("\"{before}\""), format!("\"{}\"", longest(before, most)));
        assert!(unit.contains(&quoted), "{before}");
        unit = unit.replace(&quoted, &longer);
    };
    for (bay, chairs) in [("A", 6), ("B", 6), ("C", 5)] {
        long(bay, 24);
        for chair in 1..=chairs {
            long(&format!("{bay}{chair}"), 12);
        }
    }
    for machine in 1..=6 {
        long(&format!("M{machine}"), 12);
    }
    for shift in ["Early", "Late"] {
        long(shift, 24);
    }
    for (text, most) in [
        ("Larkfield Demonstration Day Unit", 60),
        ("01632 960101", 24),
        ("01632 960199", 24),
        ("07700 900555", 24),
        ("38.0 °C", 24),
        ("hose being changed", 60),
    ] {
        long(text, most);
    }
    for size in ["S", "M", "L"] {
        unit = unit.replace(&format!("\n{size} = "), &format!("\n{} = ", longest(size, 12)));
    }
    let more: String = (4..=sizes).map(|size| longest(&format!("C{size}x"), 12) + " = 1\n").collect();
    unit.replace("\n[minutes]", &format!("{more}\n[minutes]"))
}

/// A unit of ten bays with six chairs each, and a machine of two outlets for every three chairs.
fn large_unit(demo: &str) -> String {
    let top = demo.split("[[bays]]").next().expect("the demo's unit").to_owned();
    let rest = &demo[demo.find("[caps]").expect("the demo's caps")..];
    let bays = ('A'..='J').map(|bay| {
        let chairs: Vec<String> = (1..=6).map(|chair| format!("\"{bay}{chair}\"")).collect();
        format!("[[bays]]\nname = \"{bay}\"\nnurses = 3\nchairs = [{}]\n\n", chairs.join(", "))
    });
    let machines = ('A'..='J').flat_map(|bay| {
        (1..=2).map(move |number| {
            format!("[[machines]]\nname = \"{bay}m{number}\"\nbay = \"{bay}\"\noutlets = 2\n\n")
        })
    });
    top + &bays.collect::<String>() + &machines.collect::<String>() + rest
}

#[expect(clippy::disallowed_methods, reason = "invented inputs in the target folder")]
fn save(path: &Path, text: &str) {
    fs::write(path, text).expect("written");
}

/// Prints a case and returns its folder.
fn printed(case: &str, rows: &[Row<'_>], unit: impl Fn(&str) -> String, options: &[&str]) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("worst-days").join(case);
    fs::create_dir_all(&folder).expect("a folder");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-input");
    let read = |name: &str| fs::read_to_string(demo.join(name)).expect("the demo's file");
    save(&folder.join("unit.toml"), &unit(&read("unit.toml")));
    save(&folder.join("regimens.toml"), &(read("regimens.toml") + REGIMENS));
    save(&folder.join("day-list.csv"), &csv(rows));
    let output = Command::cargo_bin("baypack")
        .expect("the program is built for the test")
        .current_dir(&folder)
        .args(["make", "day-list.csv", "--quiet"])
        .args(options)
        .output()
        .expect("it runs");
    assert!(output.status.success(), "{case}: {}", String::from_utf8_lossy(&output.stderr));
    folder.join("out").join(DAY)
}

fn demo_unit(demo: &str) -> String {
    demo.to_owned()
}

fn text(value: &Value) -> &str {
    value.as_str().expect("a text")
}

/// The documents of `plan.json` of a kind, each with its pages as they were read back.
fn documents(day: &Path, kind: &str) -> Vec<(Value, Vec<Page>)> {
    let plan = fs::read_to_string(day.join("plan.json")).expect("the plan");
    let plan: Value = serde_json::from_str(&plan).expect("JSON");
    let all = plan["documents"].as_array().expect("documents").clone();
    let of_kind = all.into_iter().filter(|document| document["kind"] == kind);
    let pages = |document: &Value| {
        read(&fs::read(day.join(format!("{}.pdf", text(&document["file"])))).expect("a file"))
    };
    of_kind.map(|document| (pages(&document), document)).map(|(pages, document)| (document, pages)).collect()
}

/// For each cooled patient the pages on which something of the face stands: banner, grid, the box that says
/// that all is copied to the record.
fn faces(day: &Path) -> Vec<usize> {
    let mut faces = Vec::new();
    for (document, pages) in documents(day, "bay-sheet") {
        // The words of the sheet's own language; where one has several words, the first is enough.
        let words = &document["data"]["head"]["words"];
        let word = |key: &str| text(&words[key]).split(' ').next().unwrap_or_default().to_owned();
        let (chair, copied, what) = (word("chair"), word("copied"), text(&words["what"]));
        for strip in document["data"]["strips"].as_array().expect("strips") {
            if strip["cooling"].is_null() {
                continue;
            }
            let number = text(&strip["banner"]["hospital_no"]);
            let is_face = |page: &&Page| {
                let banner = page.find(number).into_iter().any(|letters| letters[0].baseline < 45.0);
                banner && !page.find(&chair).is_empty() && page.find(what).is_empty()
            };
            let mine: Vec<&Page> = pages.iter().filter(is_face).collect();
            assert!(
                mine.iter().any(|page| !page.find(&copied).is_empty()),
                "{number} has no end of its face"
            );
            let lines = strip["cooling"]["grid"]["lines"].as_array().expect("lines");
            let on_plan = lines.iter().find(|line| line["on_plan"] == true).map(|line| text(&line["label"]));
            let on_plan = on_plan.expect("a line that is on plan").replace(' ', "");
            assert!(mine.iter().any(|page| page.text().replace(' ', "").contains(&on_plan)));
            faces.push(mine.len());
        }
    }
    faces
}

/// The title of a change of shift never stands alone at the foot of a page.
fn no_title_is_alone(day: &Path) -> usize {
    let mut titles = 0;
    for (document, pages) in documents(day, "bay-sheet") {
        for line in document["data"]["ticks"].as_array().expect("ticks") {
            let Some(rows) = line["rows"].as_array().filter(|rows| !rows.is_empty()) else { continue };
            let title = text(&line["title"]).split(' ').next().unwrap_or_default();
            let last = text(&rows[rows.len() - 1]["patient"]["identity"]);
            let identity = last.split(' ').next_back().unwrap_or_default();
            let page = pages.iter().find(|page| !page.find(title).is_empty()).expect("the title is printed");
            assert!(
                !page.find(identity).is_empty(),
                "{title} of {} is parted from its patients",
                document["file"]
            );
            titles += 1;
        }
    }
    titles
}

#[test]
fn one_patient_makes_a_pack() {
    for (case, options) in [("one", &[][..]), ("one-us-letter", &["--paper", "us-letter"])] {
        let day = printed(case, &[PLAIN], demo_unit, options);
        assert_eq!(faces(&day), [1]);
    }
}

#[test]
fn sixty_patients_make_a_pack_with_a_face_each() {
    let places: Vec<(String, String)> = ('A'..='J')
        .flat_map(|bay| (1..=6).map(move |chair| (bay.to_string(), format!("{bay}{chair}"))))
        .collect();
    let arrivals = ["08:00", "08:20", "08:40", "09:00", "10:30", "11:00"];
    // Twenty of one name each: every strip warns of nineteen others.
    let families = ["Abernathy", "Okonkwo", "Lindqvist"];
    let regimens = ["PAC-W", "TC", "PTD", "EC", "TRAS", "PAC-CARBO"];
    let rows: Vec<Row<'_>> = places
        .iter()
        .enumerate()
        .map(|(at, (bay, chair))| {
            let regimen = regimens[at % 6];
            let family = families[at / 20];
            Row { bay, chair, regimen, family, arrive: arrivals[at % 6], cooled: regimen != "TRAS", ..PLAIN }
        })
        .collect();
    let day = printed("sixty", &rows, large_unit, &[]);
    let faces = faces(&day);
    assert_eq!(faces.len(), 50);
    assert!(faces.iter().all(|pages| *pages == 1), "{faces:?}");
    assert!(no_title_is_alone(&day) >= 10, "every bay has somebody at the change of shift");
}

#[test]
fn a_visit_of_eleven_hours_stands_on_one_face() {
    let rows = [Row { arrive: "07:00", regimen: "ELEVEN", cycle: 1, leave_by: "18:00", ..PLAIN }];
    let day = printed("eleven-hours", &rows, demo_unit, &[]);
    assert_eq!(faces(&day), [1]);
}

#[test]
fn an_empty_bay_has_a_sheet_that_says_so() {
    let day = printed("empty-bay", &[PLAIN], demo_unit, &[]);
    let empty = documents(&day, "bay-sheet").into_iter().find(|(document, _)| document["file"] == "bay-B");
    let (_, pages) = empty.expect("the bay has a sheet");
    assert_eq!(pages.len(), 1);
    assert!(pages[0].text().replace(' ', "").contains("Nobody"), "{}", pages[0].text());
}

/// The languages of staff sheets.
const LANGUAGES: [&str; 3] = ["en", "pl", "es"];

/// The demo's unit, its sheets in a language.
fn spoken(demo: &str, language: &str) -> String {
    let unit = demo.replace("\nlanguage = \"en\"", &format!("\nlanguage = \"{language}\""));
    assert!(unit.contains(&format!("language = \"{language}\"")), "the demo's unit states its language");
    unit
}

#[test]
fn seven_drugs_stand_on_one_face_in_every_language_of_the_staff() {
    let drugs = Row { regimen: "SEVEN", ..PLAIN };
    let rows = [drugs, Row { chair: "A2", family: LONG_FAMILY, given: LONG_GIVEN, ..drugs }];
    for language in LANGUAGES {
        let case = format!("seven-drugs-{language}");
        let day = printed(&case, &rows, |demo| spoken(demo, language), &[]);
        assert_eq!(faces(&day), [1, 1], "{language}");
    }
}

#[test]
fn a_grid_of_eleven_columns_and_of_more_is_printed_in_every_language_of_the_staff() {
    let rows = [
        Row { regimen: "WIDE", cycle: 1, ..PLAIN },
        Row { chair: "A2", regimen: "WIDER", cycle: 1, ..PLAIN },
    ];
    for language in LANGUAGES {
        for (paper, options) in [("a4", &[][..]), ("us-letter", &["--paper", "us-letter"])] {
            let case = format!("wide-grid-{language}-{paper}");
            let day = printed(&case, &rows, |demo| spoken(demo, language), options);
            let strips = documents(&day, "bay-sheet").remove(0).0["data"]["strips"].clone();
            let columns = |at: usize| strips[at]["cooling"]["grid"]["columns"].as_array().map(Vec::len);
            assert_eq!((columns(0), columns(1)), (Some(12), Some(14)), "{case}");
        }
    }
}

#[test]
fn long_names_long_alerts_and_other_scripts_are_whole_wherever_they_stand() {
    let rows = [
        LONG,
        Row { chair: "A2", family: "الأمين", given: "محمد Joan", alert: LONG_ALERT, ..PLAIN },
        Row { chair: "A3", family: "Ng", given: "Ệ", isolate: true, alert: LONG_ALERT, ..PLAIN },
        Row { chair: "A4", family: "Łódź-Şafak-Ởụ", given: "Zoë", arrive: "09:00", ..PLAIN },
        Row {
            chair: "A5", family: "Βασιλείου", given: "Ἑλένη", arrive: "09:30", cooled: false, ..LONG
        },
        Row { chair: "A6", arrive: "10:00", regimen: "PTD", cycle: 1, ..LONG },
    ];
    for (case, options) in
        [("long", &[][..]), ("long-us-letter", &["--paper", "us-letter", "--labels", "labels-letter-30"])]
    {
        let day = printed(case, &rows, demo_unit, options);
        let faces = faces(&day);
        assert_eq!(faces.len(), 5);
        // A name of two lines, a grid of ten columns and five lines of warnings are more than a face holds.
        let most = if case == "long" { [1, 1, 1, 2, 1] } else { [2, 2, 1, 2, 2] };
        assert!(faces.iter().zip(most).all(|(pages, most)| *pages <= most), "{case}: {faces:?}");
        no_title_is_alone(&day);
    }
}

/// All texts that a document's layout gets, one behind the other.
fn strips(day: &Path) -> Vec<Value> {
    let sheets = documents(day, "bay-sheet");
    sheets.iter().flat_map(|(sheet, _)| sheet["data"]["strips"].as_array().expect("strips").clone()).collect()
}

#[test]
fn sixty_of_one_family_name_are_one_line_of_the_front_sheet_and_one_warning_on_each_strip() {
    let places: Vec<(String, String)> = ('A'..='J')
        .flat_map(|bay| (1..=6).map(move |chair| (bay.to_string(), format!("{bay}{chair}"))))
        .collect();
    let rows: Vec<Row<'_>> =
        places.iter().map(|(bay, chair)| Row { bay, chair, arrive: "09:00", ..PLAIN }).collect();
    let day = printed("sixty-of-one-name", &rows, large_unit, &[]);
    let front = documents(&day, "front-sheet").remove(0);
    let sections = front.0["data"]["sections"].as_array().expect("sections");
    let names = sections.iter().find(|section| section["title"] == "Names alike").expect("the section");
    let lines = names["rows"].as_array().expect("rows");
    assert_eq!(lines.len(), 1, "{lines:#?}");
    assert_eq!(lines[0]["patients"].as_array().expect("patients").len(), 60);
    // Who and where: each number stands on the paper, with the chair.
    let paper: String = front.1.iter().map(Page::text).collect();
    for number in 7001..=7060 {
        assert!(paper.contains(&format!("LX-{number}")), "LX-{number} is not on the front sheet");
    }
    for strip in strips(&day) {
        let alerts = strip["alerts"].as_array().expect("alerts");
        let names: Vec<&str> =
            alerts.iter().map(|alert| text(&alert["text"])).filter(|text| text.contains("name")).collect();
        assert_eq!(names.len(), 1, "{alerts:#?}");
        assert!(names[0].contains("and 56 more") && names[0].chars().count() < 260, "{}", names[0]);
    }
}

#[test]
fn the_cards_of_two_patients_of_one_name_bear_their_chairs_and_their_strips_say_so() {
    let rows = [
        PLAIN,
        Row { chair: "A2", arrive: "08:45", ..PLAIN },
        Row { chair: "A3", given: "Jane", ..PLAIN },
        Row { bay: "B", chair: "B1", family: "Okonkwo", ..PLAIN },
    ];
    let day = printed("one-name", &rows, demo_unit, &[]);
    let seats: Vec<(Value, String)> = documents(&day, "care-card")
        .into_iter()
        .map(|(card, pages)| (card["data"]["seat"].clone(), pages.iter().map(Page::text).collect()))
        .collect();
    let said: Vec<Option<&str>> = seats.iter().map(|(seat, _)| seat.as_str()).collect();
    assert_eq!(said, [Some("Chair A1 (08:15)"), None, Some("Chair A2 (08:45)"), None]);
    for (seat, paper) in &seats {
        assert!(
            seat.as_str().is_none_or(|seat| paper.replace(' ', "").contains(&seat.replace(' ', ""))),
            "{paper}"
        );
        // A card says no number and no date of birth, whoever is of one name.
        assert!(!paper.contains("LX-") && !paper.contains("1962"), "{paper}");
    }
    for strip in strips(&day) {
        let seat = format!("{} ({})", text(&strip["banner"]["chair"]), text(&strip["banner"]["arrive"]));
        let alerts = strip["alerts"].as_array().expect("alerts");
        let same = alerts.iter().find(|alert| alert["word"] == "SAME NAME");
        let is_twin = text(&strip["banner"]["name"]) == "ABERNATHY, Joan";
        assert_eq!(same.is_some(), is_twin, "{alerts:#?}");
        assert!(same.is_none_or(|alert| text(&alert["text"]).contains(&format!("says {seat}"))), "{same:?}");
    }
}

#[test]
fn the_longest_texts_of_a_units_file_are_whole_wherever_they_stand() {
    let bays = ["A", "B", "C"].map(|bay| longest(bay, 24));
    let chair = |name: &str| longest(name, 12);
    let chairs = ["A1", "A2", "A3", "A4", "B1", "B2", "B3", "C1", "C1"].map(chair);
    let cap = longest("M", 12);
    let arrivals = ["08:00", "08:20", "08:40", "11:00", "09:00", "09:20", "10:30", "08:30", "13:00"];
    let regimens = ["PAC-W", "TC", "SEVEN", "TRAS", "PTD", "EC", "NAB-GEM", "AC", "PAC-CARBO"];
    let rows: Vec<Row<'_>> = (0..9)
        .map(|at| Row {
            bay: &bays[[0, 0, 0, 0, 1, 1, 1, 2, 2][at]],
            chair: &chairs[at],
            arrive: arrivals[at],
            regimen: regimens[at],
            cooled: regimens[at] != "TRAS",
            cap: &cap,
            family: ["Abernathy", "Okonkwo", "Lindqvist"][at % 3],
            isolate: at == 6,
            ..PLAIN
        })
        .collect();
    for (case, sizes, options) in [
        ("longest-texts", 3, &[][..]),
        ("longest-texts-us-letter", 3, &["--paper", "us-letter", "--labels", "labels-letter-30"]),
        ("longest-texts-twelve-sizes", 12, &[]),
    ] {
        let day = printed(case, &rows, |demo| longest_unit(demo, sizes), options);
        assert_eq!(faces(&day).len(), 8);
        no_title_is_alone(&day);
    }
}
