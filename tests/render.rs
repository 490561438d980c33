//! Documents are set, checked and put on sheets: read back from the finished files.
//!
//! The layouts here are small ones of the tests' own; the sheets themselves are tested elsewhere.

#[path = "support/paper.rs"]
mod paper;

use std::collections::BTreeMap;
use std::num::NonZeroUsize;
use std::sync::Mutex;

use baypack::compose::paperwork::{Counts, Document, Kind, Labels, PackWords, Paper, Paperwork};
use baypack::layouts::Layouts;
use baypack::render::labels::LabelOrder;
use baypack::render::{
    CheckWords, FaultPlace, Pdfs, Press, RenderFault, printer_check, render, render_with_labels,
};
use baypack::unit_rules::Printer;
use serde_json::{Value, json};

/// A sheet with a table, a page for each entry of `pages`.
const SHEET: &str = r#"
#let sheet(data) = {
  set page(paper: data.at("size", default: "a4"), margin: (x: 15mm, top: 15mm, bottom: 20mm),
    footer-descent: 2mm, footer: align(center, text(8pt)[#data.code]))
  set text(font: ("Noto Sans", "Noto Sans Arabic"), size: 12pt)
  for (at, page) in data.pages.enumerate() {
    if at > 0 { pagebreak() }
    heading(page.title)
    table(columns: (1fr, 1fr), table.header([Time], [Name]), ..page.rows.flatten())
  }
}
"#;

fn layouts(sheet: &str) -> Layouts {
    let sheets = ["front-sheet", "bay-sheet", "machine-sheet", "care-card"];
    let own = sheets.map(|name| (format!("sheets/{name}.typ"), sheet.as_bytes().to_vec()));
    Layouts::new(BTreeMap::from(own)).expect("the carried fonts are fonts")
}

fn document(kind: Kind, file: &str, size: &str, titles: &[&str]) -> Document {
    let code = file.rsplit('/').next().unwrap_or(file).to_uppercase();
    let pages: Vec<Value> =
        titles.iter().map(|title| json!({ "title": title, "rows": [["09:10", "Łódź-Ŵyn, Zoë"]] })).collect();
    Document {
        kind,
        file: file.to_owned(),
        title: format!("Document {file}"),
        language: "en-GB".to_owned(),
        page_code: code.clone(),
        data: json!({ "code": code, "size": size, "pages": pages }),
    }
}

/// A day with a front sheet, two bays, three A5 cards and a large one.
fn day() -> Paperwork {
    let card = |file: &str, titles: &[&str]| document(Kind::CareCard, file, "a5", titles);
    Paperwork {
        labels: Labels::default(),
        date: "2031-03-14".to_owned(),
        paper: Paper::A4,
        documents: vec![
            document(Kind::FrontSheet, "front-sheet", "a4", &["Front"]),
            document(Kind::BaySheet, "bay-A", "a4", &["Alder one", "Alder two"]),
            document(Kind::BaySheet, "bay-B", "a4", &["Beech"]),
            card("cards/c1", &["Card one", "Card one back"]),
            document(Kind::CareCard, "cards/c2", "a4", &["Large", "Large back"]),
            card("cards/c3", &["Card three", "Card three back"]),
            card("cards/c4", &["Card four"]),
        ],
        record: Value::Null,
        pack: PackWords {
            title: String::new(),
            cards: String::new(),
            stamp: String::new(),
            language: String::new(),
            check_title: String::new(),
            check_lines: Vec::new(),
        },
        counts: Counts::default(),
    }
}

fn press(workers: usize) -> Press<'static> {
    Press {
        pack_title: "Pack for Fri 14-Mar-2031",
        cards_title: "Care cards · Łódź",
        language: "en-GB",
        stamp: "Sheet {sheet} of {sheets} · revision 1 · printed 14-Mar-2031 07:02",
        printer: Printer::default(),
        workers: NonZeroUsize::new(workers).expect("some"),
        progress: &|_, _| {},
    }
}

fn printed(paperwork: &Paperwork) -> Pdfs {
    render(&layouts(SHEET), paperwork, &press(2)).unwrap_or_else(|faults| panic!("{}", told(&faults)))
}

fn told(faults: &[RenderFault]) -> String {
    faults.iter().map(ToString::to_string).collect()
}

fn file<'p>(pdfs: &'p Pdfs, name: &str) -> &'p [u8] {
    let found = pdfs.files.iter().find(|file| file.name == name);
    &found.unwrap_or_else(|| panic!("no file {name}")).bytes
}

/// The faults of a document with these pages, set with this layout.
fn refusal(sheet: &str, kind: Kind, data: Value) -> Vec<RenderFault> {
    let mut paperwork = day();
    paperwork.documents = vec![Document { data, ..document(kind, "bay-A", "a4", &[]) }];
    render(&layouts(sheet), &paperwork, &press(1)).expect_err("refused")
}

#[test]
fn the_files_come_in_print_order_with_the_pack_first() {
    let pdfs = printed(&day());
    let names: Vec<(&str, usize)> = pdfs.files.iter().map(|file| (file.name.as_str(), file.pages)).collect();
    let expected = [
        ("pack.pdf", 14),
        ("care-cards.pdf", 6),
        ("front-sheet.pdf", 1),
        ("bay-A.pdf", 2),
        ("bay-B.pdf", 1),
        ("cards/c1.pdf", 2),
        ("cards/c2.pdf", 2),
        ("cards/c3.pdf", 2),
        ("cards/c4.pdf", 1),
    ];
    assert_eq!(names, expected);
    for file in &pdfs.files {
        assert_eq!(paper::read(&file.bytes).len(), file.pages, "{}", file.name);
    }
    assert_eq!((pdfs.pack.sheets, pdfs.pack.sides, pdfs.pack.bay_sides), (7, 9, 3));
}

#[test]
fn text_is_read_back_where_it_was_set() {
    let pdfs = printed(&day());
    let pages = paper::read(file(&pdfs, "bay-A.pdf"));
    assert!((pages[0].width - 210.0).abs() < 0.01 && (pages[0].height - 297.0).abs() < 0.01);
    let time = pages[0].find("09:10")[0];
    assert!((time[0].size - 12.0).abs() < 0.01, "{} pt", time[0].size);
    assert!(time[0].left > 15.0 && time[0].left < 20.0, "{} mm", time[0].left);
    assert_eq!(pages[1].find("Łódź-Ŵyn, Zoë").len(), 1, "{}", pages[1].text());
    assert_eq!(pages[0].find("BAY-A").len(), 1, "the page code");
}

#[test]
fn the_same_day_gives_the_same_bytes_on_any_number_of_threads() {
    let layouts = layouts(SHEET);
    let run = |workers| render(&layouts, &day(), &press(workers)).expect("printed");
    let first = run(1);
    for workers in [1, 2, 5] {
        assert!(run(workers) == first, "{workers} threads");
    }
}

#[test]
fn only_the_pack_changes_with_the_time_of_printing() {
    let layouts = layouts(SHEET);
    let first = render(&layouts, &day(), &press(2)).expect("printed");
    let stamp = "Sheet {sheet} of {sheets} · revision 2 · printed 14-Mar-2031 09:55";
    let second = render(&layouts, &day(), &Press { stamp, ..press(2) }).expect("printed");
    for (one, other) in first.files.iter().zip(&second.files) {
        assert_eq!(one.bytes == other.bytes, one.name != "pack.pdf", "{}", one.name);
    }
}

#[test]
fn a_document_keeps_its_bytes_when_another_changes() {
    let first = printed(&day());
    let mut changed = day();
    changed.documents[2] = document(Kind::BaySheet, "bay-B", "a4", &["Beech", "Beech two"]);
    let second = printed(&changed);
    assert_eq!(file(&first, "bay-A.pdf"), file(&second, "bay-A.pdf"));
    assert_eq!(file(&first, "care-cards.pdf"), file(&second, "care-cards.pdf"));
    assert_ne!(file(&first, "bay-B.pdf"), file(&second, "bay-B.pdf"));
}

#[test]
fn the_pack_holds_every_page_in_print_order_and_staff_sheets_have_blank_backs() {
    let pdfs = printed(&day());
    let pages = paper::read(file(&pdfs, "pack.pdf"));
    let titles = [
        "Front",
        "Alder one",
        "Alder two",
        "Beech",
        "Card one back",
        "Card three back",
        "Card one",
        "Card three",
        "Card four",
        "Large back",
        "Large",
    ];
    let on_page = |page: &paper::Page| -> Vec<&str> {
        let mut text = page.text();
        let mut found = Vec::new();
        for title in titles {
            if text.contains(title) {
                text = text.replacen(title, "", 1);
                found.push(title);
            }
        }
        found
    };
    let read: Vec<Vec<&str>> = pages.iter().map(on_page).collect();
    let expected: [&[&str]; 14] = [
        &["Front"],
        &[],
        &["Alder one"],
        &[],
        &["Alder two"],
        &[],
        &["Beech"],
        &[],
        &["Card one", "Card three"],
        &["Card one back", "Card three back"],
        &["Card four"],
        &[],
        &["Large"],
        &["Large back"],
    ];
    assert_eq!(read, expected);
    assert_eq!(pages[1].text(), "", "a blank back carries nothing, not even a stamp");
}

#[test]
fn every_sheet_and_every_cut_card_is_stamped_on_its_front_below_what_the_layout_set() {
    let pdfs = printed(&day());
    let pages = paper::read(file(&pdfs, "pack.pdf"));
    for (at, page) in pages.iter().enumerate() {
        let stamp = format!("Sheet {} of 7 · revision 1 · printed 14-Mar-2031 07:02", at / 2 + 1);
        let found = page.find(&stamp);
        let expected =
            if at % 2 == 1 { 0 } else { page.find("CARD").len().max([1, 1, 1, 1, 2, 1, 1][at / 2]) };
        assert_eq!(found.len(), expected, "page {}", at + 1);
        for letters in found {
            assert!((letters[0].size - 9.0).abs() < 0.01);
            let above_the_edge = page.height - letters[0].baseline;
            assert!((above_the_edge - 11.0).abs() < 0.3, "{above_the_edge} mm");
        }
    }
    let single = paper::read(file(&pdfs, "bay-A.pdf"));
    assert!(!single[0].text().contains("Sheet"), "a single file carries no stamp");
    let cards = paper::read(file(&pdfs, "care-cards.pdf"));
    assert!(cards.iter().all(|page| !page.text().contains("Sheet")));
}

#[test]
fn a_stamp_is_in_the_middle_of_its_sheet() {
    let pdfs = printed(&day());
    let pages = paper::read(file(&pdfs, "pack.pdf"));
    let stamp = pages[0].find("Sheet 1 of 7 · revision 1 · printed 14-Mar-2031 07:02")[0];
    let (left, right) = (stamp[0].left, 210.0 - stamp.last().expect("letters").left);
    assert!((left - right).abs() < 2.0, "{left} mm on the left, {right} mm on the right");
}

/// A card is cut out of the pack and laid beside the single file: front as it stands, back turned like
/// a page.
#[test]
fn pages_in_the_pack_are_pixel_for_pixel_their_sources() {
    let pdfs = printed(&day());
    let dots = 72.0;
    let pack = paper::pictures(file(&pdfs, "pack.pdf"), dots);
    let bay = paper::pictures(file(&pdfs, "bay-A.pdf"), dots);
    let without_stamp = |picture: &paper::Picture| picture.part(0, 0, picture.width, picture.height - 40);
    assert_eq!(without_stamp(&pack[2]), without_stamp(&bay[0]));
    assert_eq!(without_stamp(&pack[4]), without_stamp(&bay[1]));
    assert!(!bay[0].is_blank() && pack[3].is_blank());
}

#[test]
fn the_back_of_a_cut_card_is_behind_its_front_when_the_sheet_turns_over_its_long_edge() {
    let pdfs = printed(&day());
    let pages = paper::read(file(&pdfs, "pack.pdf"));
    let (front, back) = (&pages[8], &pages[9]);
    assert!(front.width > front.height, "two cards lie side by side");
    let left_half = |letters: &[paper::Letter]| letters[0].left < front.width / 2.0;
    // Turned over its long edge, the left half of a sheet stays left, and what was up is down.
    assert!(left_half(front.find("Card one")[0]) && left_half(back.find("Card one back")[0]));
    assert!(!left_half(front.find("Card three")[0]) && !left_half(back.find("Card three back")[0]));
    assert!(!front.find("Card one")[0][0].turned && back.find("Card one back")[0][0].turned);
    let large = &pages[13];
    assert!(!large.find("Large back")[0][0].turned, "an upright sheet turns like a page");
}

#[test]
fn two_cards_are_parted_by_a_cut_line_in_the_middle() {
    let pdfs = printed(&day());
    let pages = paper::read(file(&pdfs, "care-cards.pdf"));
    let cut = |page: &paper::Page| {
        page.shapes.iter().any(|drawn| {
            let bounds = drawn.bounds;
            drawn.line.is_some_and(|line| line >= 0.5)
                && (bounds.center().x - 148.5).abs() < 0.1
                && bounds.height() > 209.0
        })
    };
    assert!(cut(&pages[0]) && cut(&pages[2]));
    assert!(!cut(&pages[1]) && !cut(&pages[4]));
}

#[test]
fn the_pack_opens_with_an_outline_and_prints_unscaled() {
    let pdfs = printed(&day());
    let pack = lopdf::Document::load_mem(file(&pdfs, "pack.pdf")).expect("a PDF file");
    let catalog = pack.catalog().expect("a catalog");
    let preferences =
        catalog.get(b"ViewerPreferences").and_then(lopdf::Object::as_dict).expect("preferences");
    let preference = |key: &[u8]| preferences.get(key).and_then(lopdf::Object::as_name).expect("a name");
    assert_eq!(preference(b"PrintScaling"), b"None");
    assert_eq!(preference(b"Duplex"), b"DuplexFlipLongEdge");
    assert_eq!(catalog.get(b"Lang").and_then(lopdf::decode_text_string).expect("a language"), "en-GB");
    let titles: Vec<(String, u32)> = outline(&pack);
    let expected =
        [("Document front-sheet", 1), ("Document bay-A", 3), ("Document bay-B", 7), ("Care cards · Łódź", 9)];
    assert_eq!(titles, expected.map(|(title, page)| (title.to_owned(), page)));
}

fn outline(file: &lopdf::Document) -> Vec<(String, u32)> {
    let pages: BTreeMap<lopdf::ObjectId, u32> =
        file.get_pages().into_iter().map(|(number, id)| (id, number)).collect();
    let root =
        file.catalog().and_then(|catalog| file.get_dict_in_dict(catalog, b"Outlines")).expect("an outline");
    let mut entries = Vec::new();
    let mut next = root.get(b"First").and_then(lopdf::Object::as_reference).ok();
    while let Some(entry) = next.and_then(|id| file.get_dictionary(id).ok()) {
        let title = entry.get(b"Title").and_then(lopdf::decode_text_string).expect("a title");
        let target = entry.get(b"Dest").and_then(lopdf::Object::as_array).expect("a target");
        entries.push((title, pages[&target[0].as_reference().expect("a page")]));
        next = entry.get(b"Next").and_then(lopdf::Object::as_reference).ok();
    }
    entries
}

#[test]
fn a_page_of_the_pack_refers_to_no_other_patients_page() {
    let pdfs = printed(&day());
    let pack = lopdf::Document::load_mem(file(&pdfs, "pack.pdf")).expect("a PDF file");
    let drawn: Vec<usize> = pack
        .page_iter()
        .map(|page| {
            let (resources, _) = pack.get_page_resources(page).expect("resources");
            let resources = match resources {
                Some(resources) => resources,
                None => pack
                    .get_dict_in_dict(pack.get_dictionary(page).expect("a page"), b"Resources")
                    .expect("some"),
            };
            resources.get(b"XObject").and_then(lopdf::Object::as_dict).expect("pages").len()
        })
        .collect();
    assert_eq!(drawn, [1, 0, 1, 0, 1, 0, 1, 0, 2, 2, 1, 0, 1, 1]);
}

#[test]
fn files_carry_the_day_and_never_the_clock() {
    let pdfs = printed(&day());
    for file in &pdfs.files {
        let document = lopdf::Document::load_mem(&file.bytes).expect("a PDF file");
        let information =
            document.trailer.get(b"Info").and_then(lopdf::Object::as_reference).expect("information");
        let information = document.get_dictionary(information).expect("a dictionary");
        let text = |key: &[u8]| information.get(key).and_then(lopdf::decode_text_string).expect("a text");
        assert!(
            text(b"CreationDate").starts_with("D:20310314000000"),
            "{}: {}",
            file.name,
            text(b"CreationDate")
        );
        assert_eq!(text(b"Creator"), "Baypack", "{}", file.name);
        assert!(information.get(b"GTS_PDFXVersion").is_err(), "{}", file.name);
        assert!(text(b"Title").starts_with(match file.name.as_str() {
            "pack.pdf" => "Pack for Fri 14-Mar-2031",
            "care-cards.pdf" => "Care cards",
            _ => "Document ",
        }));
    }
}

#[test]
fn a_pack_without_cards_has_no_file_of_cards() {
    let mut paperwork = day();
    paperwork.documents.truncate(3);
    let pdfs = printed(&paperwork);
    assert!(pdfs.files.iter().all(|file| file.name != "care-cards.pdf"));
    assert_eq!(pdfs.pack.sheets, 4);
}

#[test]
fn progress_counts_every_document_once() {
    let told = Mutex::new(Vec::new());
    let progress = |done: usize, of: usize| told.lock().expect("no panic").push((done, of));
    render(&layouts(SHEET), &day(), &Press { progress: &progress, ..press(2) }).expect("printed");
    let mut told = told.into_inner().expect("no panic");
    told.sort_unstable();
    assert_eq!(told, (1..=7).map(|done| (done, 7)).collect::<Vec<_>>());
}

#[test]
fn a_stamp_that_the_font_cannot_letter_is_refused() {
    let stamp = "Sheet {sheet} of {sheets} · 第";
    let faults = render(&layouts(SHEET), &day(), &Press { stamp, ..press(1) }).expect_err("refused");
    assert_eq!(
        told(&faults),
        "error: the font of what is drawn lacks the character U+7B2C\n --> pack.pdf\n\
         help: write its words in Latin, Greek or Cyrillic letters\n"
    );
}

#[test]
fn a_broken_layout_names_file_line_and_column() {
    let faults =
        refusal("#let sheet(data) = [\n  #data.patiemt\n]\n", Kind::BaySheet, json!({ "patient": 1 }));
    assert_eq!(
        told(&faults),
        "error: dictionary does not contain key \"patiemt\"\n \
         --> layouts/sheets/bay-sheet.typ, line 2, column 9, in setting bay sheet BAY-A\n\
         help: correct the layout there; the data has here `patient`\n"
    );
}

#[test]
fn a_fault_that_all_documents_of_a_layout_share_is_told_once() {
    let faults = render(&layouts("#let sheet(data) = nothing"), &day(), &press(2)).expect_err("refused");
    assert_eq!(faults.len(), 3, "one for each layout: {}", told(&faults));
}

#[test]
fn a_warning_of_the_typesetter_is_an_error() {
    let faults =
        refusal(r#"#let sheet(data) = text(font: "No Such Font")[09:10]"#, Kind::BaySheet, json!({}));
    assert!(told(&faults).starts_with("error: unknown font family: no such font\n"), "{}", told(&faults));
}

#[test]
fn a_layout_sees_no_clock_no_package_and_no_file_of_the_machine() {
    let today = refusal("#let sheet(data) = datetime.today().display()", Kind::BaySheet, json!({}));
    assert!(told(&today).contains("unable to get the current date"), "{}", told(&today));
    let package = "#import \"@preview/example:0.1.0\": add\n#let sheet(data) = add";
    let package = refusal(package, Kind::BaySheet, json!({}));
    assert!(told(&package).contains("access denied"), "{}", told(&package));
    let outside = refusal(r#"#let sheet(data) = read("/../Cargo.toml")"#, Kind::BaySheet, json!({}));
    assert_eq!(outside.len(), 1, "{}", told(&outside));
    let absent = refusal(r#"#let sheet(data) = read("/etc/hostname")"#, Kind::BaySheet, json!({}));
    assert!(told(&absent).contains("file not found"), "{}", told(&absent));
}

#[test]
fn a_message_never_repeats_the_data() {
    let layout = "#let sheet(data) = panic(data.name + \" is too long for Wyn\")";
    let faults = refusal(layout, Kind::BaySheet, json!({ "name": "WYN, Zoë", "words": { "a": "too long" } }));
    let told = told(&faults);
    assert!(!told.contains("WYN") && !told.contains("Zoë"), "{told}");
    assert!(told.contains("too long"), "{told}");
}

#[test]
fn text_that_looks_like_markup_is_printed_as_it_is() {
    let mut paperwork = day();
    let name = "#panic() *bold* _a_ $x$ `r` <l> @l \\";
    paperwork.documents[0].data["pages"][0]["rows"] = json!([["09:10", name]]);
    let pdfs = printed(&paperwork);
    let page = &paper::read(file(&pdfs, "front-sheet.pdf"))[0];
    assert_eq!(page.find(name).len(), 1, "{}", page.text());
}

/// What a small layout is refused for: the fault's words, and its place in mm.
fn flaw(body: &str, data: Value) -> Vec<(String, usize, i64, i64)> {
    let layout = format!(
        "#let sheet(data) = {{\n set page(paper: \"a4\", margin: 0mm)\n set text(font: \"Noto Sans\", size: 12pt)\n{body}\n}}"
    );
    let faults = refusal(&layout, Kind::CareCard, data);
    faults
        .into_iter()
        .map(|fault| match fault.place {
            Some(FaultPlace::Page { number, left, top }) => {
                assert!(fault.document.starts_with("care card BAY-A"), "{}", fault.document);
                (fault.what, number, left.round() as i64, top.round() as i64)
            }
            place => panic!("{place:?}: {}", fault.what),
        })
        .collect()
}

#[test]
fn a_missing_glyph_is_seen_and_its_text_is_not_repeated() {
    let body = "place(dx: 30mm, dy: 40mm)[#data.name]";
    let found = flaw(body, json!({ "name": "山田" }));
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].0, "the fonts lack a character of the text, here and in one more place of the page");
    assert_eq!((found[0].1, found[0].2), (1, 30));
}

#[test]
fn text_over_text_is_seen() {
    let body = "place(dx: 30mm, dy: 40mm)[Overlong name of a patient]\nplace(dx: 60mm, dy: 41mm)[09:10]";
    let found = flaw(body, json!({}));
    assert_eq!(found, [("text stands over other text".to_owned(), 1, 60, 41)]);
}

#[test]
fn a_table_row_of_fixed_height_that_overflows_is_seen() {
    let body = "pad(20mm, table(columns: 40mm, rows: 8mm, [A name that takes two or three lines of this cell], [09:10]))";
    let found = flaw(body, json!({}));
    assert!(found[0].0.starts_with("text stands over other text"), "{found:?}");
}

#[test]
fn text_in_the_white_edge_and_beyond_the_paper_is_seen() {
    let margin = flaw("place(dx: 5mm, dy: 40mm)[09:10]", json!({}));
    assert_eq!(margin, [("text stands in the white edge of the page".to_owned(), 1, 5, 40)]);
    let stamp = flaw("place(dx: 30mm, dy: 284mm)[09:10]", json!({}));
    assert_eq!(stamp[0].0, "text stands in the white edge of the page", "the strip of the stamp");
    let beyond = flaw("place(dx: 202mm, dy: 40mm)[09:10]", json!({}));
    assert_eq!(beyond[0].0, "something lies beyond the edge of the paper");
    let shape = flaw("place(dx: 200mm, dy: 40mm, rect(width: 20mm, height: 5mm))", json!({}));
    assert_eq!(shape, [("something lies beyond the edge of the paper".to_owned(), 1, 200, 40)]);
}

#[test]
fn a_turned_text_is_judged_where_it_lies() {
    let body = "place(dx: 3mm, dy: 100mm, rotate(-90deg, reflow: true)[Turned text])";
    assert_eq!(flaw(body, json!({}))[0].0, "text stands in the white edge of the page");
}

#[test]
fn cut_text_is_seen() {
    let body = "place(dx: 30mm, dy: 40mm, box(width: 20mm, height: 6mm, clip: true, text(hyphenate: false)[Overlongnamewithoutabreak]))";
    assert_eq!(flaw(body, json!({})), [("text is cut off".to_owned(), 1, 30, 40)]);
}

#[test]
fn text_that_runs_out_of_a_labelled_box_is_seen_with_its_label() {
    let body =
        "place(dx: 30mm, dy: 40mm)[#box(width: 20mm, height: 6mm)[Overlongnamewithoutabreak] <time-box>]";
    let found = flaw(body, json!({}));
    assert_eq!(found, [("text runs out of its box <time-box>".to_owned(), 1, 30, 40)]);
}

#[test]
fn a_card_of_three_sides_is_refused() {
    let body = "set page(margin: 15mm)\n[one]\npagebreak()\n[two]\npagebreak()\n[three]";
    assert_eq!(flaw(body, json!({})), [("the document has more than 2 pages".to_owned(), 3, 0, 0)]);
}

#[test]
fn a_page_of_another_size_than_the_paper_is_refused() {
    let mut paperwork = day();
    paperwork.paper = Paper::UsLetter;
    let faults = render(&layouts(SHEET), &paperwork, &press(2)).expect_err("refused");
    assert_eq!(faults.len(), 7, "{}", told(&faults));
    assert!(faults.iter().all(|fault| fault.what == "a page has not the size of the paper"));
}

#[test]
fn us_letter_takes_cards_of_half_its_size() {
    let layout = r#"
#let sheet(data) = {
  let size = if data.half { (width: 139.7mm, height: 215.9mm) } else { (width: 215.9mm, height: 279.4mm) }
  set page(..size, margin: 15mm)
  set text(font: "Noto Sans")
  [Rinse by 12:10]
}
"#;
    let document = |kind, file: &str, half: bool| Document {
        data: json!({ "half": half }),
        ..document(kind, file, "", &[])
    };
    let mut paperwork = day();
    paperwork.paper = Paper::UsLetter;
    paperwork.documents = vec![
        document(Kind::BaySheet, "bay-A", false),
        document(Kind::CareCard, "cards/c1", true),
        document(Kind::CareCard, "cards/c2", true),
        document(Kind::CareCard, "cards/c3", false),
    ];
    let pdfs =
        render(&layouts(layout), &paperwork, &press(2)).unwrap_or_else(|faults| panic!("{}", told(&faults)));
    let pages = paper::read(file(&pdfs, "pack.pdf"));
    let sizes: Vec<(i32, i32)> = pages
        .iter()
        .map(|page| ((page.width * 10.0).round() as i32, (page.height * 10.0).round() as i32))
        .collect();
    let (upright, across) = ((2159, 2794), (2794, 2159));
    assert_eq!(sizes, [upright, upright, across, across, upright, upright]);
    assert_eq!(pages[2].find("Rinse by 12:10").len(), 2);
}

#[test]
fn close_lines_accents_and_neighbouring_styles_are_no_false_alarm() {
    let layout = r#"
#let sheet(data) = {
  set page(paper: "a4", margin: (x: 15mm, top: 15mm, bottom: 20mm))
  set text(font: ("Noto Sans", "Noto Sans Arabic", "Noto Sans Devanagari", "Noto Sans Hebrew"), size: 12pt)
  set par(leading: 0.5em)
  for name in data.names {
    par[#name #strong[jjj]fff#strong[jg]ÅỆ #name#super[j]#sub[f] #text(18pt)[#name] #name gjpqy ŰỖǺ #name #strong(name)]
  }
  table(columns: 5, ..data.names)
}
"#;
    let names = [
        "Nguyễn Thị Ánh",
        "Þórbjörg Ąę",
        "محمد الأمين",
        "ٹھاکڑ ڈوگرے",
        "प्रियंका शर्मा",
        "שָׂרָה כֹּהֵן",
        "রহমান",
        "ਗੁਰਪ੍ਰੀਤ ਕੌਰ",
        "Щербаківна Ґ",
        "Παπαδοπούλου Ϊ",
        "Abdul محمد Khan",
    ];
    let mut paperwork = day();
    paperwork.documents =
        vec![Document { data: json!({ "names": names }), ..document(Kind::BaySheet, "bay-A", "a4", &[]) }];
    let outcome = render(&layouts(layout), &paperwork, &press(1));
    assert!(outcome.is_ok(), "{}", told(&outcome.expect_err("an error")));
}

fn label(name: &str) -> Value {
    json!({
        "name": name,
        "identity": "Born 02-Apr-1979 · L10234",
        "facts": [
            { "label": "Chair", "value": "A1" },
            { "label": "Cap", "value": "M" },
            { "label": "Outlet", "value": "M1 · 2" },
            { "label": "Cooling on", "value": "09:10" },
        ],
    })
}

fn order(labels: &[Value]) -> LabelOrder<'_> {
    LabelOrder { title: "Labels", language: "en-GB", form: "labels-a4-21", first_free: 1, labels }
}

fn with_labels(order: &LabelOrder<'_>) -> Result<Pdfs, Vec<RenderFault>> {
    render_with_labels(&layouts(SHEET), &day(), Some(order), &press(2))
}

#[test]
fn labels_stand_in_their_places_from_the_first_free_one_on() {
    let names: Vec<Value> = (0..22).map(|number| label(&format!("WYN, Zoë {number}."))).collect();
    let pdfs = with_labels(&LabelOrder { first_free: 3, ..order(&names) })
        .unwrap_or_else(|f| panic!("{}", told(&f)));
    let pages = paper::read(file(&pdfs, "labels.pdf"));
    assert_eq!(pages.len(), 2, "19 labels are left on the first sheet, and a sheet of labels has no back");
    let place = |page: &paper::Page, number: usize| {
        let found = page.find(&format!("WYN, Zoë {number}."));
        (found[0][0].left, found[0][0].baseline)
    };
    // Measures of the form: 7.25 and 15.15 mm from the edges, 63.5 x 38.1 mm, gaps of 2.5 mm.
    for (number, sheet, column, row) in
        [(0, 0, 2, 0), (1, 0, 0, 1), (18, 0, 2, 6), (19, 1, 0, 0), (21, 1, 2, 0)]
    {
        let (left, baseline) = place(&pages[sheet], number);
        let corner = (7.25 + f64::from(column) * 66.0, 15.15 + f64::from(row) * 38.1);
        assert!((left - corner.0 - 2.5).abs() < 0.6, "label {number}: {left} mm");
        assert!(baseline > corner.1 + 2.5 && baseline < corner.1 + 8.0, "label {number}: {baseline} mm");
    }
    let pack = paper::read(file(&pdfs, "pack.pdf"));
    assert_eq!(pack.len(), 18, "the labels' sheets are the pack's last");
    assert_eq!(pack[14].find("Sheet 8 of 9 · revision 1").len(), 1, "and are stamped once");
    assert!(pack[16].text().contains("WYN, Zoë 21."));
}

/// Measured on a full sheet of each form.
#[test]
fn every_label_of_every_form_stands_in_its_place_to_half_a_millimetre() {
    let carried = Layouts::new(BTreeMap::new()).expect("fonts");
    let forms: Vec<&str> =
        carried.files().filter_map(|(path, _)| path.strip_prefix("forms/")?.strip_suffix(".toml")).collect();
    assert_eq!(forms, ["labels-a4-14", "labels-a4-21", "labels-letter-30"]);
    for name in forms {
        let text = carried.file(&format!("forms/{name}.toml")).expect("the form");
        let form: toml::Table =
            toml::from_str(std::str::from_utf8(text).expect("text")).expect("a form is TOML");
        let mm = |key: &str| form[key].as_float().expect("a length in mm");
        let count = |key: &str| usize::try_from(form[key].as_integer().expect("a count")).expect("a count");
        let labels: Vec<Value> = (0..count("columns") * count("rows"))
            .map(|number| label(&format!("HWYN, Zoë {number}.")))
            .collect();
        let pdfs = with_labels(&LabelOrder { form: name, ..order(&labels) })
            .unwrap_or_else(|f| panic!("{}", told(&f)));
        let pages = paper::read(file(&pdfs, "labels.pdf"));
        assert_eq!(pages.len(), 1, "{name}");
        for number in 0..labels.len() {
            let (column, row) = ((number % count("columns")) as f64, (number / count("columns")) as f64);
            let left = mm("left") + column * (mm("width") + mm("gap_across")) + mm("inset");
            let top = mm("top") + row * (mm("height") + mm("gap_down")) + mm("inset");
            let first = &pages[0].find(&format!("HWYN, Zoë {number}."))[0][0];
            // An H has its stem a tenth of its size to the right; a line's top is 0.92 of its size above the baseline.
            let size = first.size * 25.4 / 72.0;
            assert!((first.left - left).abs() < 0.5, "{name}, label {number}: {} mm, not {left}", first.left);
            let found = first.baseline - 0.92 * size;
            assert!((found - top).abs() < 0.5, "{name}, label {number}: {found} mm, not {top}");
        }
    }
}

#[test]
fn labels_in_every_script_and_of_long_names_hold_their_text() {
    let long = "FEATHERSTONEHAUGHWOLFESCHLEGELSTEINHAUSEN, Wilhelmina Bartholomea";
    let names = [long, "محمد الأمين", "प्रियंका शर्मा", "ŁÓDŹ-ŴYN, Zoë", "ਗੁਰਪ੍ਰੀਤ ਕੌਰ", "כהן, שרה"].map(label);
    for form in ["labels-a4-21", "labels-a4-14", "labels-letter-30"] {
        let outcome = with_labels(&LabelOrder { form, ..order(&names) });
        assert!(outcome.is_ok(), "{form}: {}", told(&outcome.expect_err("an error")));
    }
}

#[test]
fn a_name_on_a_label_gains_no_hyphen_where_its_line_ends() {
    let labels = [label("FEATHERSTONEHAUGH-CHOLMONDELEY-WARRINGTON, Jo")];
    // Polish and Spanish repeat a hyphen at the start of the next line.
    for language in ["pl", "es"] {
        let pdfs = with_labels(&LabelOrder { language, ..order(&labels) })
            .unwrap_or_else(|faults| panic!("{}", told(&faults)));
        let text = paper::read(file(&pdfs, "labels.pdf"))[0].text();
        // Two of the name, two of the date of birth.
        assert_eq!(text.matches('-').count(), 4, "{language}: {text}");
    }
}

#[test]
fn a_label_that_does_not_hold_its_text_is_refused_by_its_number() {
    let names = [label("WYN, Zoë"), label(&"Very long name ".repeat(20))];
    let faults = with_labels(&order(&names)).expect_err("refused");
    assert!(
        faults.iter().all(|fault| matches!(fault.place, Some(FaultPlace::Page { number: 2, .. }))),
        "{faults:?}"
    );
}

#[test]
fn a_form_of_labels_that_cannot_be_right_is_refused() {
    let names = [label("WYN, Zoë")];
    let faults = with_labels(&LabelOrder { form: "labels-a4-20", ..order(&names) }).expect_err("refused");
    assert_eq!(
        told(&faults),
        "error: there is no form `labels-a4-20` for labels\n --> the labels\nhelp: did you mean `labels-a4-21`?\n"
    );
    let faults = with_labels(&LabelOrder { first_free: 22, ..order(&names) }).expect_err("refused");
    assert!(told(&faults).starts_with("error: a sheet has 21 labels; found 22 as the first that is free\n"));
    let carried = Layouts::new(BTreeMap::new()).expect("fonts");
    let form =
        String::from_utf8(carried.file("forms/labels-a4-21.toml").expect("a form").to_vec()).expect("text");
    let refused = |form: String| {
        let own = BTreeMap::from([("forms/own.toml".to_owned(), form.into_bytes())]);
        let mut paperwork = day();
        paperwork.documents.clear();
        let order = LabelOrder { form: "own", ..order(&names) };
        let layouts = Layouts::new(own).expect("fonts");
        told(&render_with_labels(&layouts, &paperwork, Some(&order), &press(1)).expect_err("refused"))
    };
    let wide = refused(form.replace("columns = 3", "columns = 4"));
    assert!(
        wide.starts_with("error: the labels do not fit on the paper\n --> layouts/forms/own.toml"),
        "{wide}"
    );
    let unknown = refused(form.replace("rows = 7", "lines = 7"));
    assert!(
        unknown.contains("unknown field `lines`") && unknown.contains("own.toml, line 8, column 1"),
        "{unknown}"
    );
}

fn check_words() -> CheckWords<'static> {
    CheckWords {
        title: "Printer check",
        language: "en-GB",
        lines: &[
            "Print this page at 100 %, without fitting it to the page.",
            "Measure the two bars: each is 100 mm long.",
            "The outer frame stands 5 mm from the edge, the inner one 10 mm.",
        ],
    }
}

#[test]
fn the_printer_check_is_true_to_the_millimetre() {
    let carried = Layouts::new(BTreeMap::new()).expect("fonts");
    for (paper, size) in [(Paper::A4, (210.0, 297.0)), (Paper::UsLetter, (215.9, 279.4))] {
        let file = printer_check(&carried, &check_words(), paper, "2031-03-14").expect("a page");
        assert_eq!(file.name, "printer-check.pdf");
        let page = &paper::read(&file.bytes)[0];
        let has = |width: f64, height: f64| {
            page.shapes.iter().any(|drawn| {
                (drawn.bounds.width() - width).abs() < 0.01 && (drawn.bounds.height() - height).abs() < 0.01
            })
        };
        assert!(has(100.0, 0.0) && has(0.0, 100.0), "the bars");
        assert!(has(size.0 - 20.0, size.1 - 20.0) && has(size.0 - 10.0, size.1 - 10.0), "the frames");
        assert!(has(5.0, 5.0) && has(16.0, 8.0) && has(10.0, 8.0) && has(12.0, 5.0), "the boxes");
        assert_eq!(page.find("Measure the two bars: each is 100 mm long.").len(), 1);
        let inside = |left: f64, baseline: f64| left > 10.0 && baseline > 10.0 && baseline < size.1 - 10.0;
        assert!(page.letters.iter().all(|letter| inside(letter.left, letter.baseline)));
    }
}

#[test]
fn words_of_the_printer_check_that_cannot_be_drawn_are_refused() {
    let carried = Layouts::new(BTreeMap::new()).expect("fonts");
    let refused = |lines: &[&str]| {
        let words = CheckWords { lines, ..check_words() };
        printer_check(&carried, &words, Paper::A4, "2031-03-14").expect_err("refused").to_string()
    };
    assert!(refused(&["ש"]).starts_with("error: the font of what is drawn lacks the character U+05E9\n"));
    let long = "Measure ".repeat(20);
    assert!(refused(&["Measure", &long]).starts_with("error: line 2 of the words is wider than the page\n"));
}
