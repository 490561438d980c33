//! A verified day to the data of every sheet.
//!
//! Every word comes from a wording file and every time from the verified plan; nothing is planned
//! here. Only a [`VerifiedDay`] can be composed, so an unchecked plan cannot be printed.

mod bay;
mod card;
mod chart;
mod curves;
mod desk;
mod example;
mod fall_back;
mod front;
mod labels;
mod machine;
mod page_code;
pub mod paperwork;
mod proposal;
mod record;
pub mod slip_grid;
mod strip;
mod ticks;
pub mod wording_check;
pub mod wording_lines;
pub mod wording_start;
pub mod words;
pub mod worst_card;

use std::collections::{BTreeMap, BTreeSet};

use serde_json::json;

use self::desk::Desk;
use self::page_code::PageCodes;
use self::paperwork::{Counts, Document, PackWords, Paper, Paperwork};
use self::words::Words;
use crate::explain::Shortfall;
use crate::patient::Visit;
use crate::problem::{Place, Problem};
use crate::propose::Advice;
use crate::verify::VerifiedDay;

/// What the clerk chose for the paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Choices {
    /// The paper.
    pub paper: Paper,
    /// The revision of the pack, from 1.
    pub revision: u32,
}

/// What is known of a day on which somebody has no outlet: why, and what would help.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WhenShort {
    /// Why each cooled patient without an outlet has none.
    pub shortfalls: Vec<Shortfall>,
    /// What is proposed.
    pub advice: Advice,
}

/// Composes the day's paperwork. `wordings` holds the words of every language, by code; staff sheets
/// speak the unit's language, a card the patient's.
///
/// # Errors
///
/// If a wording file lacks a text, or asks for a placeholder that does not exist.
pub fn compose(
    day: &VerifiedDay,
    short: &WhenShort,
    wordings: &BTreeMap<String, Words>,
    choices: Choices,
) -> Result<Paperwork, Problem> {
    let mut desk = Desk::new(day, short, wordings_of(wordings, &day.list().unit.language)?, choices.paper);
    desk.unchecked = unchecked(&desk, wordings)?;
    let mut codes = PageCodes::of(day.list().day);
    let mut documents = vec![front::front_sheet(&desk, &mut codes)?];
    documents.extend(bay::bay_sheets(&desk, &mut codes)?);
    documents.push(machine::machine_sheet(&desk, &mut codes)?);
    documents.extend(cards(&desk, wordings, &mut codes)?);
    let labels = labels::labels(&desk)?;
    Ok(Paperwork {
        date: day.list().day.format("%Y-%m-%d").to_string(),
        paper: choices.paper,
        pack: pack_words(&desk, choices)?,
        record: record::record(&desk, &documents, &labels, choices)?,
        counts: Counts {
            visits: desk.list.visits.len(),
            cooled: desk.list.visits.iter().filter(|visit| visit.cooled).count(),
            held_back: desk.list.held_back.len(),
            cautions: desk.cautions.len(),
        },
        documents,
        labels,
    })
}

/// The pack's own words. The sheets' numbers and the time of printing are filled in later: they are
/// known only when the pack is put together.
fn pack_words(desk: &Desk<'_>, choices: Choices) -> Result<PackWords, Problem> {
    let data = json!({
        "day": desk.words.date("staff_day", desk.list.day)?,
        "revision": choices.revision,
        "sheet": "{sheet}",
        "sheets": "{sheets}",
        "printed": "{printed}",
    });
    Ok(PackWords {
        title: desk.say("pack.title", &data)?,
        cards: desk.say("pack.cards", &data)?,
        stamp: desk.say("pack.stamp", &data)?,
        language: desk.words.language()?,
        check_title: desk.text("printer_check.title")?,
        check_lines: desk.words.list("printer_check.lines", &json!({}))?,
    })
}

/// The names of the cards' languages, but for the unit's, whose words no clinician has marked as checked.
fn unchecked<'a>(desk: &Desk<'a>, wordings: &BTreeMap<String, Words>) -> Result<Vec<String>, Problem> {
    let list = desk.list;
    let own = |(visit, row): (usize, &'a Visit)| {
        row.language.as_ref().filter(|_| !list.cards_in_unit_language.contains(&visit))
    };
    let used: BTreeSet<&String> = list.visits.iter().enumerate().filter_map(own).collect();
    let printed = used.into_iter().filter(|language| **language != list.unit.language);
    let words = printed.map(|language| wordings_of(wordings, language));
    let unchecked = words.filter(|words| words.as_ref().map_or(true, |words| !words.is_checked()));
    unchecked.map(|words| words?.say("meta.name", &json!({}))).collect()
}

/// The care cards in the order of the visits: by bay, then arrival, as the clerk sorts them.
fn cards(
    desk: &Desk<'_>,
    wordings: &BTreeMap<String, Words>,
    codes: &mut PageCodes,
) -> Result<Vec<Document>, Problem> {
    let unit_language = &desk.list.unit.language;
    let card = |visit: usize| {
        let own = desk.list.visits[visit].language.as_ref();
        let printable = own.filter(|_| !desk.list.cards_in_unit_language.contains(&visit));
        let language = printable.unwrap_or(unit_language);
        card::care_card(desk, visit, wordings_of(wordings, language)?, codes)
    };
    (0..desk.list.visits.len()).map(card).collect()
}

fn wordings_of<'a>(wordings: &'a BTreeMap<String, Words>, language: &str) -> Result<&'a Words, Problem> {
    wordings.get(language).ok_or_else(|| Problem {
        what: format!("there is no wording file for the language `{language}`"),
        place: Place { file: format!("wording/{language}.toml"), ..Place::default() },
        found: None,
        help: "choose a language that has a wording file, or write one".to_owned(),
    })
}
