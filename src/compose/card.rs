//! The care card that a patient takes home: as little as it needs, the most urgent first.

use chrono::{NaiveDate, NaiveDateTime};
use serde_json::json;

use super::desk::{Desk, document};
use super::page_code::PageCodes;
use super::paperwork::{
    CardSection, CareCard, Document, Head, Kind, NextBlock, NextTime, Paper, Phone, RingBlock, RinseBlock,
    RinseTime,
};
use super::words::Words;
use crate::clock::Moment;
use crate::patient::NextVisit;
use crate::problem::Problem;
use crate::survey::namesakes;
use crate::validate::DayList;

/// What a card says of a visit and of the unit; nothing else of either can come onto it.
pub(super) struct CardFacts<'a> {
    pub unit: &'a str,
    pub phone_day: &'a str,
    pub phone_night: &'a str,
    pub day: NaiveDate,
    pub paper: Paper,
    pub page_code: String,
    pub large: bool,
    pub patient: String,
    /// Chair and arrival, where another patient of the day has the very same name.
    pub seat: Option<(String, Moment)>,
    pub cooled: bool,
    pub first: bool,
    /// When to rinse by; `None` within where it is left to be written by hand.
    pub rinse: Option<Option<NaiveDateTime>>,
    pub next_visit: Option<NextVisit>,
    pub own_cap: bool,
}

/// Composes a patient's card in the words of the patient's language.
pub(super) fn care_card(
    desk: &Desk<'_>,
    visit: usize,
    words: &Words,
    codes: &mut PageCodes,
) -> Result<Document, Problem> {
    let row = desk.visit(visit);
    let has_outlet = desk.outlet(visit).is_some();
    let facts = CardFacts {
        unit: &desk.unit.name,
        phone_day: &desk.unit.phone_day,
        phone_night: &desk.unit.phone_night,
        day: desk.list.day,
        paper: desk.paper,
        page_code: codes.code(&format!("card|{}|{}|{}", row.bay.0, row.chair, row.arrive)),
        large: row.large_print,
        patient: format!("{} {}", row.given_name, row.family_name),
        seat: seat(desk.list, visit),
        cooled: row.cooled,
        first: row.is_first(),
        rinse: desk.planned(visit).cooling.as_ref().map(|stages| has_outlet.then_some(stages.rinse_by)),
        next_visit: row.next_visit,
        own_cap: row.own_cap,
    };
    card(&facts, words)
}

/// What tells the cards of two patients of one name apart, and says nothing of an illness.
pub(super) fn seat(list: &DayList, visit: usize) -> Option<(String, Moment)> {
    let row = &list.visits[visit];
    (!namesakes(list, visit).is_empty()).then(|| (row.chair.clone(), row.arrive))
}

/// Composes a card.
pub(super) fn card(facts: &CardFacts<'_>, words: &Words) -> Result<Document, Problem> {
    let file = format!("cards/{}", facts.page_code);
    let sections = match (facts.cooled, facts.first) {
        (true, true) => "card.cooled_first",
        (true, false) => "card.cooled_return",
        (false, _) => "card.not_cooled",
    };
    let card = CareCard {
        head: head(facts, words)?,
        large: facts.large,
        patient: facts.patient.clone(),
        seat: match &facts.seat {
            Some((chair, arrive)) => {
                Some(words.say("card.seat", &json!({ "chair": chair, "arrive": arrive }))?)
            }
            None => None,
        },
        ring: ring(facts, words)?,
        rinse: facts.rinse.map(|by| rinse(words, by)).transpose()?,
        sections: words
            .titled_lists(sections)?
            .into_iter()
            .map(|(title, lines)| CardSection { title, lines })
            .collect(),
        next: next(words, facts)?,
    };
    document(Kind::CareCard, file, &card.head, &card)
}

fn head(facts: &CardFacts<'_>, words: &Words) -> Result<Head, Problem> {
    Ok(Head {
        title: words.say("card.title", &json!({}))?,
        unit: facts.unit.to_owned(),
        day: words.date("patient_day", facts.day)?,
        page_code: facts.page_code.clone(),
        language: words.language()?,
        direction: words.direction()?,
        paper: facts.paper,
        words: words.labels("card")?,
    })
}

fn ring(facts: &CardFacts<'_>, words: &Words) -> Result<RingBlock, Problem> {
    let say = |key: &str| words.say(key, &json!({}));
    let phone = |key: &str, number: &str| Ok(Phone { label: say(key)?, number: number.to_owned() });
    Ok(RingBlock {
        title: say("card.ring.title")?,
        reasons: words.list("card.ring.reasons", &json!({}))?,
        phones: vec![phone("card.ring.day", facts.phone_day)?, phone("card.ring.night", facts.phone_night)?],
        note: say("card.ring.note")?,
    })
}

/// The time to rinse by; left to be written by hand where the patient had no outlet when the card was
/// printed, so that no time is live that may not hold.
fn rinse(words: &Words, by: Option<NaiveDateTime>) -> Result<RinseBlock, Problem> {
    let say = |key: &str| words.say(key, &json!({}));
    let time = |by: NaiveDateTime| {
        let date = by.date();
        Ok(RinseTime {
            weekday: words.date("weekday", date)?,
            date: words.date("patient_date", date)?,
            time: by.format("%H:%M").to_string(),
        })
    };
    Ok(RinseBlock {
        title: say("card.rinse.title")?,
        by: by.map(time).transpose()?,
        later: if by.is_some() { say("card.rinse.later")? } else { say("card.rinse.unknown")? },
        note: say("card.rinse.note")?,
    })
}

fn next(words: &Words, facts: &CardFacts<'_>) -> Result<NextBlock, Problem> {
    let say = |key: &str| words.say(key, &json!({}));
    let when = |day, time| {
        Ok(NextTime { weekday: words.date("weekday", day)?, date: words.date("patient_date", day)?, time })
    };
    let (when, mut lines) = match facts.next_visit {
        Some(NextVisit::At(at)) => (Some(when(at.date(), Some(at.format("%H:%M").to_string()))?), Vec::new()),
        Some(NextVisit::Day(day)) => (Some(when(day, None)?), vec![say("card.next.no_time")?]),
        None => (None, vec![say("card.next.not_recorded")?]),
    };
    let bring = if facts.cooled { "card.next.bring_cooled" } else { "card.next.bring_not_cooled" };
    lines.extend(words.list(bring, &json!({}))?);
    if facts.own_cap {
        lines.push(say("card.next.bring_own_cap")?);
    }
    let write_in = vec![say("card.next.write_blood")?, say("card.next.write_stay")?];
    Ok(NextBlock { title: say("card.next.title")?, when, lines, write_in })
}
