//! The longest care cards that a language's words can make: whether a card of them can be printed.
//!
//! The people are invented and have long names; the day is the one whose date is the longest in the language. And
//! the cards of a day, before it is planned, to see which of them can be printed in their patients' languages.

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate, NaiveTime};

use super::card::{CardFacts, card, seat};
use super::paperwork::{Document, Paper};
use super::words::Words;
use crate::clock::Moment;
use crate::patient::NextVisit;
use crate::problem::Problem;
use crate::validate::DayList;

/// A name of 40 letters.
const PATIENT: &str = "Alexandra Featherstonehaugh-Cholmondeley";
/// A chair with a long name.
const CHAIR: &str = "Window 12";
/// A unit with a long name.
const UNIT: &str = "Larkfield Demonstration Hospital Day Unit";

/// Cards of every kind in small and in large print, each as long as it gets in these words.
///
/// # Errors
/// If a text that a card needs is missing, or asks for an unknown placeholder.
pub fn worst_cards(words: &Words, paper: Paper) -> Result<Vec<Document>, Problem> {
    let day = longest_day(words)?;
    let mut cards = Vec::new();
    for large in [false, true] {
        for (kind, cooled, first) in
            [("first visit", true, true), ("later visit", true, false), ("not cooled", false, false)]
        {
            let print = if large { "large print" } else { "small print" };
            let facts = CardFacts {
                unit: UNIT,
                phone_day: "01632 960101",
                phone_night: "01632 960199",
                day,
                paper,
                page_code: format!("{kind}, {print}"),
                large,
                patient: PATIENT.to_owned(),
                seat: Some((CHAIR.to_owned(), Moment::from_midnight(0))),
                cooled,
                first,
                rinse: cooled.then(|| Some(day.and_time(NaiveTime::MIN))),
                next_visit: Some(NextVisit::At(day.and_time(NaiveTime::MIN))),
                own_cap: cooled,
            };
            cards.push(card(&facts, words)?);
        }
    }
    Ok(cards)
}

/// The cards of the patients who speak another language than the unit, each with its visit; nothing for a
/// language whose words lack something.
#[must_use]
pub fn cards_in_other_languages(
    list: &DayList,
    wordings: &BTreeMap<String, Words>,
    paper: Paper,
) -> Vec<(usize, Option<Document>)> {
    let mut cards = Vec::new();
    for (visit, row) in list.visits.iter().enumerate() {
        let Some(language) = row.language.as_ref().filter(|language| **language != list.unit.language) else {
            continue;
        };
        let facts = CardFacts {
            unit: &list.unit.name,
            phone_day: &list.unit.phone_day,
            phone_night: &list.unit.phone_night,
            day: list.day,
            paper,
            page_code: format!("line {}", row.line),
            large: row.large_print,
            patient: format!("{} {}", row.given_name, row.family_name),
            seat: seat(list, visit),
            cooled: row.cooled,
            first: row.is_first(),
            // Every time of the day is as wide as another, and a blank is no longer than a time.
            rinse: row.cooled.then(|| Some(list.day.and_time(NaiveTime::MIN))),
            next_visit: row.next_visit,
            own_cap: row.own_cap,
        };
        let card = wordings.get(language).and_then(|words| card(&facts, words).ok());
        cards.push((visit, card));
    }
    cards
}

/// The day of a year whose weekday and date are the longest.
fn longest_day(words: &Words) -> Result<NaiveDate, Problem> {
    let mut longest = (0, NaiveDate::default());
    let first = NaiveDate::from_ymd_opt(2031, 1, 1).unwrap_or_default();
    for day in first.iter_days().take_while(|day| day.year() == first.year()) {
        let text = words.date("weekday", day)? + &words.date("patient_date", day)?;
        longest = longest.max((text.chars().count(), day));
    }
    Ok(longest.1)
}
