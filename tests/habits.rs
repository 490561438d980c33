//! Habits of spreadsheets and booking systems that have two meanings or none: each is one message that a
//! clerk can act on.
//!
//! Every person and number is invented.

use std::fs;
use std::path::PathBuf;

use baypack::problem::messages;
use baypack::read::{File, Inputs, read};
use baypack::validate::{AtHand, Options, validate};

const HEADER: &str =
    "date,arrive,bay,chair,hospital_no,nhs_no,family_name,given_name,born,regimen,cycle,cooled";

fn row(number: &str) -> String {
    format!("2031-03-14,08:30,A,A1,{number},,Testcase,Ada,1961-03-14,PAC-W,2,yes")
}

/// The messages of a list with the demonstration's unit; none where it is taken.
fn told(list: &str) -> Vec<String> {
    let demo = |name: &str| {
        fs::read(PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("demo-input").join(name))
            .expect("the demonstration")
    };
    let (unit, regimens) = (demo("unit.toml"), demo("regimens.toml"));
    let inputs = Inputs {
        day_list: File { name: "list.csv", bytes: list.as_bytes() },
        unit: File { name: "unit.toml", bytes: &unit },
        regimens: File { name: "regimens.toml", bytes: &regimens },
    };
    let languages = ["en".to_owned()];
    let at_hand = AtHand { prints: &|_| true, languages: &languages };
    match validate(&read(&inputs), Options::default(), &at_hand) {
        Ok(_) => Vec::new(),
        Err(problems) => messages(&problems).iter().map(ToString::to_string).collect(),
    }
}

fn rows(count: u32, change: impl Fn(String) -> String) -> String {
    let rows: Vec<String> = (1..=count).map(|number| change(row(&format!("T-{number}")))).collect();
    format!("{HEADER}\n{}\n", rows.join("\n"))
}

#[test]
fn another_delimiter_is_one_message_that_names_it() {
    let list = rows(40, |row| row).replace(',', "|");
    assert_eq!(
        told(&list),
        [
            "error: cells are not parted by commas, semicolons or tabs\n --> list.csv, line 1: found `|` between the names of the columns\nhelp: export the list again with commas, semicolons or tabs between the cells\n"
        ]
    );
}

#[test]
fn a_first_line_that_states_the_wrong_delimiter_is_one_message() {
    let list = format!("sep=;\n{}", rows(40, |row| row));
    assert_eq!(
        told(&list),
        [
            "error: first line states another delimiter than the cells have\n --> list.csv, line 2: found `,` between the names of the columns\nhelp: delete the line `sep=` above the header\n"
        ]
    );
}

#[test]
fn rows_with_another_delimiter_than_the_header_are_one_message() {
    let list = rows(40, |row| row.replace(',', ";"));
    assert_eq!(
        told(&list),
        [
            "error: row is parted by another character than the header\n --> list.csv, lines 2 to 41: found semicolons, but commas in the header\nhelp: export the list again; header and rows must have the same character between the cells\n"
        ]
    );
}

#[test]
fn cells_that_were_merged_are_one_message_with_their_lines() {
    let list = rows(6, |row| if row.contains("T-1,") { row } else { row.replace(",A,A1", ",,A1") });
    let told = told(&list);
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].contains("lines 3 to 7, column `bay`: found an empty cell"), "{told:?}");
}

#[test]
fn curly_quotation_marks_around_a_code_lead_to_the_code() {
    let told = told(&rows(1, |row| row.replace("PAC-W", "“PAC-W”")));
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].contains("help: did you mean `PAC-W`?"), "{told:?}");
}

#[test]
fn a_total_below_the_rows_is_one_message() {
    let told = told(&format!("{}Total,3,,,,,,,,,,\n", rows(3, |row| row)));
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].contains("line 5"), "{told:?}");
    assert!(told[0].ends_with("or take the line out if it is no patient's\n"), "{told:?}");
}

#[test]
fn a_number_that_lost_its_zero_is_said_to_have() {
    let told = told(&rows(1, |row| row.replace("T-1,,", "T-1,12345678,")));
    assert!(
        told[0]
            .contains("found 8 digits\nhelp: write ten digits; a spreadsheet may have lost a leading zero"),
        "{told:?}"
    );
}

#[test]
fn one_patient_in_forty_rows_is_one_message() {
    let told = told(&rows(40, |_| row("T-1")));
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(
        told[0].contains("lines 3 to 41, column `hospital_no`: found the hospital number of line 2"),
        "{told:?}"
    );
}

#[test]
fn a_nameless_column_at_the_end_that_holds_something_is_no_silent_loss() {
    let list = format!("{HEADER},,\n{},,latex\n{},,\n", row("T-1"), row("T-2").replace("A1", "A2"));
    let told = told(&list);
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].starts_with("error: row has too many cells\n --> list.csv, line 2"), "{told:?}");
}

#[test]
fn a_formula_instead_of_its_value_is_refused_where_a_value_is_needed() {
    for (cell, formula, column) in
        [("08:30", "=TIME(8;30;0)", "arrive"), ("1961-03-14", "=H1", "born"), ("PAC-W", "=A2", "regimen")]
    {
        let told = told(&rows(1, |row| row.replace(cell, formula)));
        assert_eq!(told.len(), 1, "{told:?}");
        assert!(told[0].contains(&format!("line 2, column `{column}`")), "{told:?}");
    }
}

#[test]
fn every_limit_of_a_list_is_told_with_its_figure() {
    let letters = |count: usize| "x".repeat(count);
    let many = |count: u32| rows(count, |row| row);
    let lists = [
        (many(50_001), "50000 rows"),
        (format!("{HEADER}{}\n{}\n", ",more".repeat(500), row("T-1")), "500"),
        (letters(16 * 1024 * 1024 + 1), "16777216 bytes"),
        (rows(1, |row| row.replace("Ada", &letters(4_001))), "4000"),
        (rows(1, |row| row.replace("Ada", &letters(101))), "100"),
        (many(301), "300"),
        (rows(1, |row| row.replace(",2,", ",100,")), "99"),
        (rows(1, |row| row.replace("1961", "1900")), "130"),
    ];
    for (list, figure) in lists {
        let told = told(&list);
        assert!(told.len() == 1 && told[0].contains(figure), "{figure}: {told:?}");
    }
}
