//! The demo's sheets, read back from their PDFs: what a nurse must find is there, at the size and in
//! the place that it needs.

#[path = "support/demo.rs"]
mod demo;
#[path = "support/paper.rs"]
mod paper;

use std::collections::BTreeMap;
use std::fs;

use demo::{Demo, demo};
use paper::{Letter, Page, read};
use serde_json::Value;

impl Demo {
    fn list(&self, name: &str) -> &[Value] {
        self.plan[name].as_array().expect("a list")
    }

    /// The documents of a kind, each with its pages as they were read back.
    fn documents(&self, kind: &str) -> Vec<(&Value, Vec<Page>)> {
        let of_kind = self.list("documents").iter().filter(|document| document["kind"] == kind);
        of_kind.map(|document| (document, self.pages(text(&document["file"])))).collect()
    }

    fn pages(&self, file: &str) -> Vec<Page> {
        read(&fs::read(self.folder.join(format!("{file}.pdf"))).expect("the document's file"))
    }
}

fn text(value: &Value) -> &str {
    value.as_str().expect("a text")
}

/// The first letters of a text that is set in at least `points`.
fn set_at_least<'a>(page: &'a Page, wanted: &str, points: f64) -> Option<&'a [Letter]> {
    let large = |letters: &&[Letter]| letters.iter().all(|letter| letter.size >= points - 0.05);
    page.find(wanted).into_iter().find(large)
}

/// A strip with its page.
fn faces() -> Vec<(&'static Value, Page)> {
    let mut faces = Vec::new();
    for (document, pages) in demo().documents("bay-sheet") {
        for strip in document["data"]["strips"].as_array().expect("strips") {
            if strip["cooling"].is_null() {
                continue;
            }
            let number = text(&strip["banner"]["hospital_no"]);
            let face = pages.iter().find(|page| {
                set_at_least(page, text(&strip["banner"]["name"]), 14.0).is_some()
                    && !page.find(number).is_empty()
            });
            faces.push((strip, face.unwrap_or_else(|| panic!("no face for line {strip}")).clone()));
        }
    }
    faces
}

#[test]
fn every_cooled_patient_has_one_face_with_all_stage_times_large() {
    let faces = faces();
    let cooled = demo().list("visits").iter().filter(|visit| visit["cooled"] == true).count();
    assert_eq!(faces.len(), cooled);
    for (strip, page) in faces {
        for stage in strip["stages"].as_array().expect("stages") {
            let time = text(&stage["time"]);
            assert!(set_at_least(&page, time, 11.0).is_some(), "{time} is not on its face in 11 points");
        }
    }
}

/// The letters of a page that stand on one line, from left to right, line by line.
fn rows(page: &Page) -> Vec<Vec<&Letter>> {
    let mut rows: BTreeMap<i64, Vec<&Letter>> = BTreeMap::new();
    for letter in page.letters.iter().filter(|letter| !letter.text.trim().is_empty()) {
        // Letters within a tenth of a millimetre stand on one line.
        #[expect(clippy::cast_possible_truncation, reason = "a page is a few hundred millimetres high")]
        let line = (letter.baseline * 10.0).round() as i64;
        rows.entry(line).or_default().push(letter);
    }
    rows.values_mut().for_each(|row| row.sort_by(|one, other| one.left.total_cmp(&other.left)));
    rows.into_values().collect()
}

/// The letters of `wanted` within a row, each a character.
fn within<'a>(row: &[&'a Letter], wanted: &str) -> Option<Vec<&'a Letter>> {
    let length = wanted.chars().count();
    let spells = |letters: &&[&Letter]| {
        letters.iter().map(|letter| letter.text.as_str()).collect::<String>() == wanted
    };
    row.windows(length).find(spells).map(<[&Letter]>::to_vec)
}

#[test]
fn slip_grid_times_stand_in_columns_on_even_lines_at_a_readable_size() {
    const LETTERS_OF_A_TIME: usize = 5;
    for (strip, page) in faces() {
        let rows = rows(&page);
        let lines = strip["cooling"]["grid"]["lines"].as_array().expect("lines");
        assert_eq!(lines.len(), 22, "from 15 early to 90 late");
        let mut columns: Option<Vec<f64>> = None;
        let mut above = 0.0;
        for line in lines {
            let cells: String = line["cells"].as_array().expect("cells").iter().map(text).collect();
            let found = rows.iter().find_map(|row| within(row, &cells));
            let letters = found.unwrap_or_else(|| panic!("no line holds {cells}"));
            assert!(letters.iter().all(|letter| letter.size >= 9.0), "{cells} are smaller than 9 points");
            assert!(letters[0].baseline >= above + 4.6, "{cells} stand too close to the line before");
            above = letters[0].baseline;
            // The times on plan are set larger, so they start a little further left.
            if line["on_plan"] == false {
                let lefts: Vec<f64> =
                    letters.iter().step_by(LETTERS_OF_A_TIME).map(|letter| letter.left).collect();
                let first = columns.get_or_insert_with(|| lefts.clone());
                let aligned = first.iter().zip(&lefts).all(|(one, other)| (one - other).abs() < 0.05);
                assert!(aligned, "{cells} do not stand below the times above them");
            }
        }
    }
}

#[test]
fn no_type_on_a_staff_sheet_is_smaller_than_nine_points() {
    for kind in ["front-sheet", "bay-sheet", "machine-sheet"] {
        for (document, pages) in demo().documents(kind) {
            for (number, page) in pages.iter().enumerate() {
                let smallest = page.letters.iter().map(|letter| letter.size).fold(f64::INFINITY, f64::min);
                assert!(smallest >= 8.95, "{} page {}: {smallest} points", document["file"], number + 1);
            }
        }
    }
}

#[test]
fn card_text_is_at_least_twelve_points_and_large_print_eighteen() {
    let mut large = 0;
    for (document, pages) in demo().documents("care-card") {
        let is_large = document["data"]["large"] == true;
        large += usize::from(is_large);
        assert!(pages.len() <= 2, "a card has at most two sides");
        let least = if is_large { 18.0 } else { 12.0 };
        for page in &pages {
            // The running line at the foot names the unit, the page and its code.
            let body = page.letters.iter().filter(|letter| letter.baseline < page.height - 20.0);
            let smallest = body.map(|letter| letter.size).fold(f64::INFINITY, f64::min);
            assert!(smallest >= least - 0.05, "{}: {smallest} points", document["file"]);
        }
    }
    assert_eq!(large, 1, "the demo has one card in large print");
}

#[test]
fn every_page_carries_its_code_and_no_two_documents_share_one() {
    let mut codes = BTreeMap::new();
    for kind in ["front-sheet", "bay-sheet", "machine-sheet", "care-card"] {
        for (document, pages) in demo().documents(kind) {
            let code = text(&document["page_code"]);
            assert_eq!(codes.insert(code, &document["file"]), None, "{code} is given twice");
            for (number, page) in pages.iter().enumerate() {
                assert!(
                    !page.find(code).is_empty(),
                    "{} page {} lacks its code",
                    document["file"],
                    number + 1
                );
            }
        }
    }
}

#[test]
fn a_card_shows_its_own_rinse_time_the_largest_and_no_staff_data() {
    let visits = demo().list("visits");
    let cards = demo().documents("care-card");
    assert_eq!(cards.len(), visits.len());
    for (document, pages) in &cards {
        let whole: String = pages.iter().map(Page::text).collect();
        for visit in visits {
            assert!(
                !whole.contains(text(&visit["hospital_no"])),
                "{} holds a hospital number",
                document["file"]
            );
            for step in visit["steps"].as_array().expect("steps") {
                assert!(!whole.contains(text(&step["drug"])), "{} names a drug", document["file"]);
            }
        }
        let time = &document["data"]["rinse"]["by"]["time"];
        if let Some(time) = time.as_str() {
            let largest = pages[0].letters.iter().map(|letter| letter.size).fold(0.0, f64::max);
            assert!(
                set_at_least(&pages[0], time, largest).is_some(),
                "the time to rinse is not the largest text"
            );
        }
    }
}

#[test]
fn the_tick_list_is_in_time_order_and_holds_every_stage_of_every_patient() {
    let mut listed: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (document, pages) in demo().documents("bay-sheet") {
        let mut before = String::new();
        for line in document["data"]["ticks"].as_array().expect("ticks") {
            let time = text(&line["time"]).to_owned();
            assert!(before <= time, "{time} stands after {before}");
            before.clone_from(&time);
            assert!(pages.iter().any(|page| !page.find(&time).is_empty()), "{time} is not printed");
            if line["type"] == "event" {
                listed.entry(text(&line["identity"]).to_owned()).or_default().push(time);
            }
        }
    }
    for visit in demo().list("visits") {
        let times = &listed[text(&visit["hospital_no"])];
        for (stage, time) in
            visit["stages"].as_object().expect("stages").iter().filter(|(stage, _)| *stage != "rinse_by")
        {
            assert!(
                times.iter().any(|listed| listed == text(time)),
                "{stage} of line {} is not listed",
                visit["line"]
            );
        }
    }
}
