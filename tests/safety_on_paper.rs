//! What must stand on the paper for safety's sake, read back from the demo's PDF files.

#[path = "support/demo.rs"]
mod demo;
#[path = "support/paper.rs"]
mod paper;

use std::fs;

use demo::demo;
use paper::{Page, read};
use serde_json::Value;

/// The documents of a kind, each with its pages as they were read back.
fn documents(kind: &str) -> Vec<(&'static Value, Vec<Page>)> {
    let documents = list(&demo().plan["documents"]).iter().filter(|document| document["kind"] == kind);
    let found: Vec<_> = documents
        .map(|document| {
            let file = demo().folder.join(format!("{}.pdf", text(&document["file"])));
            (document, read(&fs::read(file).expect("the document's file")))
        })
        .collect();
    assert!(!found.is_empty(), "there is no {kind}");
    found
}

fn list(value: &Value) -> &[Value] {
    value.as_array().expect("a list")
}

fn text(value: &Value) -> &str {
    value.as_str().expect("a text")
}

/// Whether a text stands on a page, on one line or on several.
fn says(page: &Page, wanted: &str) -> bool {
    let closed = |text: &str| text.split_whitespace().collect::<String>();
    closed(&page.text()).contains(&closed(wanted))
}

/// How far below the upper edge a text first stands.
fn height_of(page: &Page, wanted: &str) -> f64 {
    let found = page.find(wanted);
    found.first().and_then(|letters| letters.first()).unwrap_or_else(|| panic!("no `{wanted}`")).baseline
}

/// Each strip of the bay sheets with the page that carries its number in the banner.
fn strips() -> Vec<(&'static Value, Page)> {
    let mut strips = Vec::new();
    for (document, pages) in documents("bay-sheet") {
        for strip in list(&document["data"]["strips"]) {
            let banner = &strip["banner"];
            // The tick list names a cooled patient too, and those who are not cooled stand below it.
            let cooled = !strip["cooling"].is_null();
            let words = &document["data"]["head"]["words"];
            let has = |page: &&Page| {
                says(page, text(&banner["hospital_no"]))
                    && says(page, text(&words["copied"]))
                    && !(cooled && says(page, text(&words["plain"])))
            };
            let page = pages.iter().filter(has).find(|page| says(page, text(&banner["born"])));
            strips.push((strip, page.unwrap_or_else(|| panic!("no face for {}", banner["chair"])).clone()));
        }
    }
    assert_eq!(strips.len(), list(&demo().plan["visits"]).len(), "a strip for each visit");
    strips
}

#[test]
fn every_page_of_a_staff_sheet_says_what_comes_first_and_that_it_is_confidential() {
    for kind in ["front-sheet", "bay-sheet", "machine-sheet"] {
        for (document, pages) in documents(kind) {
            let words = &document["data"]["head"]["words"];
            for (number, page) in pages.iter().enumerate() {
                for key in ["safety", "waste"] {
                    assert!(says(page, text(&words[key])), "{kind}, page {}: no `{key}`", number + 1);
                }
            }
        }
    }
}

#[test]
fn every_card_says_that_the_nurse_comes_first() {
    for (document, pages) in documents("care-card") {
        let safety = text(&document["data"]["head"]["words"]["safety"]);
        assert!(pages.iter().any(|page| says(page, safety)));
    }
}

#[test]
fn a_card_says_first_when_to_ring_and_whom_and_second_when_to_rinse() {
    let unit: toml::Table = include_str!("../demo-input/unit.toml").parse().expect("the demo's unit");
    let mut rinsed = 0;
    for (document, pages) in documents("care-card") {
        let (card, front) = (&document["data"], &pages[0]);
        let ring = height_of(front, text(&card["ring"]["title"]));
        for phone in list(&card["ring"]["phones"]) {
            assert!(ring < height_of(front, text(&phone["number"])));
        }
        for limit in ["fever_from", "phone_day", "phone_night"] {
            assert!(says(front, unit[limit].as_str().expect("a text")), "no `{limit}` of the unit");
        }
        assert!(says(front, text(&card["ring"]["note"])), "painkillers can hide a fever");
        // The card of somebody who is not cooled has no rinse-by.
        let Some(rinse) = card["rinse"]["title"].as_str().map(|title| height_of(front, title)) else {
            continue;
        };
        rinsed += 1;
        assert!(ring < rinse);
        for title in list(&card["sections"]).iter().filter_map(|section| section["title"].as_str()) {
            let behind = pages[1..].iter().any(|page| says(page, title));
            assert!(behind || rinse < height_of(front, title), "`{title}` stands before the rinse-by");
        }
    }
    assert!(rinsed > 10, "only {rinsed} cards have a rinse-by");
}

/// Every part of the sheets' data that names a patient.
fn naming<'a>(value: &'a Value, names: &[&str], found: &mut Vec<&'a Value>) {
    match value {
        Value::Array(items) => items.iter().for_each(|item| naming(item, names, found)),
        Value::Object(fields) => {
            if fields.get("name").and_then(Value::as_str).is_some_and(|name| names.contains(&name)) {
                found.push(value);
            }
            fields.values().for_each(|field| naming(field, names, found));
        }
        _ => {}
    }
}

#[test]
fn wherever_a_staff_sheet_names_a_patient_a_second_identifier_stands_beside() {
    let strips = strips();
    let names: Vec<&str> = strips.iter().map(|(strip, _)| text(&strip["banner"]["name"])).collect();
    let identifiers: Vec<&str> = strips
        .iter()
        .flat_map(|(strip, _)| [&strip["banner"]["hospital_no"], &strip["banner"]["born"]])
        .map(text)
        .collect();
    let mut found = Vec::new();
    for kind in ["front-sheet", "bay-sheet", "machine-sheet"] {
        for (document, _) in documents(kind) {
            naming(&document["data"], &names, &mut found);
        }
    }
    assert!(found.len() > 5 * names.len(), "only {} places name a patient", found.len());
    for place in found {
        let beside = place.as_object().expect("its fields").values().filter_map(Value::as_str);
        let identified =
            beside.into_iter().any(|field| identifiers.iter().any(|identifier| field.contains(identifier)));
        assert!(identified, "a name stands alone, with chair {}", place["chair"]);
    }
}

#[test]
fn every_strip_has_its_ticks_in_the_order_in_the_chair_and_the_way_to_the_record() {
    for (strip, page) in strips() {
        let ticks: Vec<&str> = list(&strip["before"]).iter().map(text).collect();
        let place = |tick: &str| ticks.iter().position(|other| *other == tick);
        assert_eq!((place("Identity"), place("Go-ahead")), (Some(0), Some(1)));
        // The demo's regimen of trastuzumab alone has no pre-medication, so nobody is asked to tick it.
        let drugs: Vec<&str> = list(&strip["steps"]).iter().map(|step| text(&step["drug"])).collect();
        assert_eq!(place("Pre-medication").is_none(), drugs == ["Trastuzumab"], "{drugs:?}");
        assert!(place("Pre-medication").is_none_or(|premed| Some(premed) > place("Go-ahead")));
        let cooled = !strip["cooling"].is_null();
        assert_eq!(place("Cap fitted").is_some(), cooled);
        assert!(!cooled || place("Cap fitted") > place("Go-ahead"));
        for tick in ticks {
            assert!(says(&page, tick), "`{tick}` is not on its face");
        }
    }
}

#[test]
fn every_face_has_the_ticks_before_the_drug_and_what_a_break_must_not_do() {
    let mut pushes = 0;
    for (strip, page) in strips().into_iter().filter(|(strip, _)| !strip["cooling"].is_null()) {
        let guards: Vec<&str> = list(&strip["cooling"]["guards"]).iter().map(text).collect();
        for guard in ["Go-ahead", "Check by two nurses"] {
            assert!(guards.contains(&guard), "no `{guard}`");
        }
        assert!(guards.iter().all(|guard| says(&page, guard)), "{guards:?}");
        let breaks: Vec<&str> = list(&strip["cooling"]["breaks"]).iter().map(text).collect();
        assert!(breaks.contains(&"No break during pre-cooling."), "{breaks:?}");
        assert!(breaks.iter().any(|line| line.contains("at most 10 min, remind at 8")), "{breaks:?}");
        assert!(breaks.iter().all(|line| says(&page, line)), "{breaks:?}");
        pushes += usize::from(breaks.contains(&"No break during a push."));
    }
    assert!(pushes > 0, "the demo has no push");
}

#[test]
fn everything_to_act_on_says_who_acts_and_by_when() {
    let mut rows = 0;
    for (document, pages) in documents("front-sheet") {
        for row in list(&document["data"]["sections"]).iter().flat_map(|section| list(&section["rows"])) {
            rows += 1;
            for key in ["who", "by"] {
                let said = text(&row[key]);
                assert!(!said.is_empty() && pages.iter().any(|page| says(page, said)), "no `{key}`: {row}");
            }
        }
    }
    assert!(rows > 5, "only {rows} rows");
}

#[test]
fn an_alert_stands_word_for_word_on_its_patients_strip_and_on_no_card() {
    let list = fs::read_to_string("demo-input/day-list.csv").expect("the demo's list");
    let mut reader = csv::Reader::from_reader(list.as_bytes());
    let headers = reader.headers().expect("a header").clone();
    let column = |name: &str| headers.iter().position(|header| header == name).expect("the column");
    let (number, alert) = (column("hospital_no"), column("alert"));
    let (strips, cards) = (strips(), documents("care-card"));
    let mut compared = 0;
    for row in reader.records().map_while(Result::ok).filter(|row| !row[alert].is_empty()) {
        compared += 1;
        for (strip, page) in &strips {
            let own = text(&strip["banner"]["hospital_no"]) == &row[number];
            assert!(!own || says(page, &row[alert]), "an alert is missing on its strip");
        }
        assert!(cards.iter().flat_map(|(_, pages)| pages).all(|page| !says(page, &row[alert])));
    }
    assert!(compared > 1, "the demo has {compared} alerts");
}

#[test]
fn an_isolated_patient_has_a_sheet_of_their_own_and_is_named_on_the_front_sheet() {
    let isolated = |document: &Value| text(&document["file"]).contains("-isolated-");
    let bays = documents("bay-sheet");
    let alone: Vec<_> = bays.iter().filter(|(document, _)| isolated(document)).collect();
    assert!(!alone.is_empty(), "the demo isolates nobody");
    let front = documents("front-sheet");
    for (document, _) in alone {
        let strips = list(&document["data"]["strips"]);
        assert_eq!(strips.len(), 1);
        let (name, number) = (text(&strips[0]["banner"]["name"]), text(&strips[0]["banner"]["hospital_no"]));
        assert!(front.iter().flat_map(|(_, pages)| pages).any(|page| says(page, name)));
        for (_, pages) in bays.iter().filter(|(other, _)| !isolated(other)) {
            assert!(pages.iter().all(|page| !says(page, number)), "also on another sheet of the bay");
        }
        // Whoever has the bay's sheet in hand is sent to the other one.
        let (chair, arrives) = (text(&strips[0]["banner"]["chair"]), text(&strips[0]["banner"]["arrive"]));
        let pointer = format!("Isolated, on a sheet of their own: {chair} ({arrives})");
        assert!(
            bays.iter().filter(|(other, _)| !isolated(other)).any(|(_, pages)| says(&pages[0], &pointer))
        );
    }
}
