//! The care card that a patient takes home: as little as it needs, the most urgent first.

use serde_json::json;

use super::desk::{Desk, document};
use super::page_code::PageCodes;
use super::paperwork::{
    CardSection, CareCard, Document, Head, Kind, NextBlock, NextTime, Phone, RingBlock, RinseBlock, RinseTime,
};
use super::words::Words;
use crate::patient::{NextVisit, Visit};
use crate::plan::CoolingStages;
use crate::problem::Problem;

/// Composes a patient's card in the words of the patient's language.
pub(super) fn care_card(
    desk: &Desk<'_>,
    visit: usize,
    words: &Words,
    codes: &mut PageCodes,
) -> Result<Document, Problem> {
    let row = desk.visit(visit);
    let page_code = codes.code(&format!("card|{}|{}|{}", row.bay.0, row.chair, row.arrive));
    let file = format!("cards/{page_code}");
    let rinse = match &desk.planned(visit).cooling {
        Some(stages) => Some(rinse(words, desk.outlet(visit).map(|_| stages))?),
        None => None,
    };
    let sections = match (row.cooled, row.is_first()) {
        (true, true) => "card.cooled_first",
        (true, false) => "card.cooled_return",
        (false, _) => "card.not_cooled",
    };
    let card = CareCard {
        head: head(desk, words, page_code)?,
        large: row.large_print,
        patient: format!("{} {}", row.given_name, row.family_name),
        ring: ring(desk, words)?,
        rinse,
        sections: words
            .titled_lists(sections)?
            .into_iter()
            .map(|(title, lines)| CardSection { title, lines })
            .collect(),
        next: next(words, row)?,
    };
    document(Kind::CareCard, file, &card.head, &card)
}

fn head(desk: &Desk<'_>, words: &Words, page_code: String) -> Result<Head, Problem> {
    Ok(Head {
        title: words.say("card.title", &json!({}))?,
        unit: desk.unit.name.clone(),
        day: words.date("patient_day", desk.list.day)?,
        page_code,
        language: words.language()?,
        direction: words.direction()?,
        paper: desk.paper,
        words: words.labels("card")?,
    })
}

fn ring(desk: &Desk<'_>, words: &Words) -> Result<RingBlock, Problem> {
    let say = |key: &str| words.say(key, &json!({}));
    let phone = |key: &str, number: &str| Ok(Phone { label: say(key)?, number: number.to_owned() });
    Ok(RingBlock {
        title: say("card.ring.title")?,
        reasons: words.list("card.ring.reasons", &json!({}))?,
        phones: vec![
            phone("card.ring.day", &desk.unit.phone_day)?,
            phone("card.ring.night", &desk.unit.phone_night)?,
        ],
        note: say("card.ring.note")?,
    })
}

/// The time to rinse by; left to be written by hand where the patient had no outlet when the card was
/// printed, so that no time is live that may not hold.
fn rinse(words: &Words, stages: Option<&CoolingStages>) -> Result<RinseBlock, Problem> {
    let say = |key: &str| words.say(key, &json!({}));
    let time = |stages: &CoolingStages| {
        let date = stages.rinse_by.date();
        Ok(RinseTime {
            weekday: words.date("weekday", date)?,
            date: words.date("patient_date", date)?,
            time: stages.rinse_by.format("%H:%M").to_string(),
        })
    };
    Ok(RinseBlock {
        title: say("card.rinse.title")?,
        by: stages.map(time).transpose()?,
        later: if stages.is_some() { say("card.rinse.later")? } else { say("card.rinse.unknown")? },
        note: say("card.rinse.note")?,
    })
}

fn next(words: &Words, row: &Visit) -> Result<NextBlock, Problem> {
    let say = |key: &str| words.say(key, &json!({}));
    let when = |day, time| {
        Ok(NextTime { weekday: words.date("weekday", day)?, date: words.date("patient_date", day)?, time })
    };
    let (when, mut lines) = match row.next_visit {
        Some(NextVisit::At(at)) => (Some(when(at.date(), Some(at.format("%H:%M").to_string()))?), Vec::new()),
        Some(NextVisit::Day(day)) => (Some(when(day, None)?), vec![say("card.next.no_time")?]),
        None => (None, vec![say("card.next.not_recorded")?]),
    };
    let bring = if row.cooled { "card.next.bring_cooled" } else { "card.next.bring_not_cooled" };
    lines.extend(words.list(bring, &json!({}))?);
    if row.own_cap {
        lines.push(say("card.next.bring_own_cap")?);
    }
    let write_in = vec![say("card.next.write_blood")?, say("card.next.write_stay")?];
    Ok(NextBlock { title: say("card.next.title")?, when, lines, write_in })
}
