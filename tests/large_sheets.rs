//! Sheets of the largest units: samples with their rows many times over still find room, page after page.

use baypack::compose::paperwork::{Document, Kind};
use baypack::layouts::Layouts;
use baypack::render::fit;
use serde_json::{Value, json};

/// Bays and machines of the largest day that is looked at, and answers for one patient of one machine.
const BAYS: usize = 100;
const MACHINES: usize = 100;
const ANSWERS: usize = 60;

fn layouts() -> Layouts {
    Layouts::with_own(&[]).expect("the carried layouts")
}

/// A sample with the fixed words of its sheet.
fn sample(layouts: &Layouts, name: &str, table: &str) -> Value {
    let read = |path: &str| layouts.file(path).expect("a carried file");
    let mut data: Value = serde_json::from_slice(read(&format!("samples/{name}.json"))).expect("JSON");
    let wording = String::from_utf8_lossy(read("wording/en.toml"));
    let wording: toml::Table = toml::from_str(&wording).expect("TOML");
    for part in ["common", table] {
        for (key, label) in wording[part]["labels"].as_table().expect("labels") {
            data["head"]["words"][key] = json!(label.as_str());
        }
    }
    data
}

/// What is wrong with a document of this data.
fn faults(layouts: &Layouts, kind: Kind, data: Value) -> Vec<String> {
    let document = Document {
        kind,
        file: "large".to_owned(),
        title: "Large".to_owned(),
        language: "en".to_owned(),
        page_code: "K7M4QX".to_owned(),
        data,
    };
    let faults = fit(layouts, &[document]).expect("it is set");
    faults.iter().flatten().map(|fault| format!("{fault:?}")).collect()
}

/// The rows of a list, one after the other and again from the first, `many` in all.
fn again(rows: &Value, many: usize) -> Value {
    let rows = rows.as_array().expect("rows");
    Value::Array(rows.iter().cycle().take(many).cloned().collect())
}

#[test]
fn the_machine_sheet_of_a_hundred_machines_and_bays_finds_room() {
    let layouts = layouts();
    let mut data = sample(&layouts, "machine-sheet", "machine");
    for (list, many) in [("switch_on", MACHINES), ("hand_overs", 150), ("moves", 60), ("caps", 300)] {
        data[list] = again(&data[list], many);
    }
    data["chart"]["rows"] = again(&data["chart"]["rows"], 2 * MACHINES);
    data["curves"]["rows"] = again(&data["curves"]["rows"], 2 * BAYS);
    data["spare"]["rows"] = again(&data["spare"]["rows"], BAYS);
    data["fall_backs"] = again(&data["fall_backs"], MACHINES);
    for machine in data["fall_backs"].as_array_mut().expect("machines") {
        let answers = again(&machine["patients"][0]["answers"], ANSWERS);
        machine["patients"][0]["answers"] = answers;
    }
    assert_eq!(faults(&layouts, Kind::MachineSheet, data), Vec::<String>::new());
}

#[test]
fn the_late_table_of_a_bay_with_sixty_cooled_patients_finds_room() {
    let layouts = layouts();
    let mut data = sample(&layouts, "bay-sheet.one-patient", "bay");
    let chairs: Vec<String> =
        (0..60).map(|at| format!("N{} ({:02}:{:02})", at % 9, 8 + at / 12, at % 12 * 5)).collect();
    for length in data["late"]["lengths"].as_array_mut().expect("lengths") {
        length["chairs"] = json!(chairs.join(", "));
    }
    data["late"]["rows"] = again(&data["late"]["rows"], 120);
    assert_eq!(faults(&layouts, Kind::BaySheet, data), Vec::<String>::new());
}

#[test]
fn the_front_sheet_of_a_hundred_bays_finds_room() {
    let layouts = layouts();
    let mut data = sample(&layouts, "front-sheet", "front");
    data["counts"] = again(&data["counts"], BAYS + 4);
    assert_eq!(faults(&layouts, Kind::FrontSheet, data), Vec::<String>::new());
}
