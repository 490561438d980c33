//! Why somebody has no outlet, and what is proposed: in words for the front sheet, in values for the record.
//!
//! A proposal is printed as one. Nothing of it is on any other sheet, and no stage follows from it.

use serde_json::{Value, json};

use super::desk::Desk;
use super::paperwork::{ProposalBlock, ProposalRow};
use crate::clock::Minutes;
use crate::explain::{Clash, InTheWay, Resource, Shortfall, Why};
use crate::problem::Problem;
use crate::propose::{Advice, Change, Proposal};

/// Why a visit has no outlet, in sentences; empty for a visit that has one.
pub(super) fn why(desk: &Desk<'_>, visit: usize) -> Result<String, Problem> {
    match desk.shortfalls.iter().find(|shortfall| shortfall.visit == visit) {
        Some(Shortfall { why: Why::TooMany(clash), .. }) => too_many(desk, clash),
        Some(Shortfall { why: Why::NoSingleMinute(in_the_way), .. }) => no_single_minute(desk, *in_the_way),
        None => Ok(String::new()),
    }
}

fn too_many(desk: &Desk<'_>, clash: &Clash) -> Result<String, Problem> {
    let (kind, places) = match &clash.resource {
        Resource::Outlets { bays, movable, all_through } => {
            let kind = match (movable, all_through) {
                (false, false) => "outlets",
                (true, false) => "outlets_movable",
                (false, true) => "outlets_through",
                (true, true) => "outlets_through_movable",
            };
            let names: Vec<&str> = bays.iter().map(|bay| desk.bay_name(*bay)).collect();
            (kind, names.join(", "))
        }
        Resource::Machines { bay } => ("machines", desk.bay_name(*bay).to_owned()),
        Resource::Caps(size) => ("caps", desk.unit.cap(*size).size.clone()),
    };
    let data = json!({
        "when": desk.words.range(clash.when.from, clash.when.until)?,
        "places": places,
        "people": clash.people.len(),
        "needed": clash.needed,
        "there": clash.there,
        "too_many": clash.too_many(),
        "seats": seats(desk, &clash.people)?,
    });
    desk.say(&format!("front.why.{kind}"), &data)
}

fn no_single_minute(desk: &Desk<'_>, in_the_way: InTheWay) -> Result<String, Problem> {
    let mut sentences = vec![desk.text("front.why.no_minute")?];
    let causes = [("moves", in_the_way.moves), ("reach", in_the_way.reach), ("outages", in_the_way.outages)];
    let causes = causes.into_iter().filter(|(_, holds)| *holds);
    let causes = causes.map(|(cause, _)| desk.text(&format!("front.why.{cause}")));
    let causes = causes.collect::<Result<Vec<_>, _>>()?.join("; ");
    if !causes.is_empty() {
        sentences.push(desk.say("front.why.causes", &json!({ "causes": causes }))?);
    }
    if !in_the_way.proven {
        sentences.push(desk.text("front.why.not_proven")?);
    }
    Ok(sentences.join(" "))
}

/// `A1 (08:15), A2 (08:30)`: a chair may have several patients in a day.
fn seats(desk: &Desk<'_>, visits: &[usize]) -> Result<String, Problem> {
    Ok(visits.iter().map(|&visit| desk.seat(visit)).collect::<Result<Vec<_>, _>>()?.join(", "))
}

/// What the front sheet proposes; `None` where every cooled patient has an outlet.
pub(super) fn proposal(desk: &Desk<'_>) -> Result<Option<ProposalBlock>, Problem> {
    let rules = &desk.unit.rules;
    let limits = json!({
        "earlier": desk.words.duration(rules.retime_earlier)?,
        "later": desk.words.duration(rules.retime_later)?,
    });
    let line = |key: &str| -> Result<Option<ProposalBlock>, Problem> {
        let title = desk.text("front.proposal.none")?;
        Ok(Some(ProposalBlock { title, notes: vec![desk.say(key, &limits)?], rows: Vec::new() }))
    };
    match desk.advice {
        Advice::NothingNeeded => Ok(None),
        Advice::NotAllowed => line("front.proposal.not_allowed"),
        Advice::NothingHelps { proven: true } => line("front.proposal.nothing_helps"),
        Advice::NothingHelps { proven: false } => line("front.proposal.nothing_found"),
        Advice::Retime(proposal) => Ok(Some(block(desk, proposal, limits)?)),
    }
}

fn block(desk: &Desk<'_>, proposal: &Proposal, limits: Value) -> Result<ProposalBlock, Problem> {
    let mut data = limits;
    data["before"] = json!(proposal.without_before);
    data["after"] = json!(proposal.still_without.len());
    data["total"] = json!(desk.words.duration(proposal.total())?);
    data["seats"] = json!(seats(desk, &proposal.still_without)?);
    let everyone = proposal.still_without.is_empty();
    let title = desk.say(if everyone { "front.proposal.everyone" } else { "front.proposal.fewer" }, &data)?;
    let mut notes = vec![desk.text("front.proposal.not_applied")?];
    let proof = if proposal.proven { "front.proposal.least" } else { "front.proposal.best_found" };
    notes.push(desk.say(proof, &data)?);
    if !everyone {
        notes.push(desk.say("front.proposal.still_without", &data)?);
    }
    let mut changes = proposal.changes.clone();
    changes.sort_by_key(|change| (change.from.min(change.to), change.visit));
    let rows = changes.iter().map(|change| row(desk, change)).collect::<Result<_, _>>()?;
    Ok(ProposalBlock { title, notes, rows })
}

fn row(desk: &Desk<'_>, change: &Change) -> Result<ProposalRow, Problem> {
    let (direction, length) = if change.to < change.from {
        ("front.proposal.earlier", change.from.since(change.to))
    } else {
        ("front.proposal.later", change.to.since(change.from))
    };
    Ok(ProposalRow {
        patient: desk.patient_line(change.visit)?,
        listed: change.from.to_string(),
        proposed: change.to.to_string(),
        change: desk.say(direction, &json!({ "length": desk.words.duration(length)? }))?,
        who: desk.text("front.proposal.who")?,
        by: change.from.min(change.to).min(desk.unit.opens).to_string(),
    })
}

/// The shortfalls for `plan.json`.
pub(super) fn shortfalls_record(desk: &Desk<'_>) -> Result<Value, Problem> {
    let line = |visit: &usize| desk.visit(*visit).line;
    let one = |shortfall: &Shortfall| {
        let mut entry = json!({ "line": line(&shortfall.visit) });
        match &shortfall.why {
            Why::TooMany(clash) => {
                let (what, bays, size) = match &clash.resource {
                    Resource::Outlets { bays, .. } => ("outlets", bays.clone(), None),
                    Resource::Machines { bay } => ("machines", vec![*bay], None),
                    Resource::Caps(size) => ("caps", Vec::new(), Some(&desk.unit.cap(*size).size)),
                };
                entry["resource"] = json!(what);
                entry["bays"] = bays.iter().map(|bay| desk.bay_name(*bay)).collect();
                entry["size"] = json!(size);
                entry["from"] = json!(clash.when.from);
                entry["until"] = json!(clash.when.until);
                entry["lines"] = clash.people.iter().map(line).collect();
                entry["needed"] = json!(clash.needed);
                entry["there"] = json!(clash.there);
                entry["too_many"] = json!(clash.too_many());
            }
            Why::NoSingleMinute(_) => entry["resource"] = Value::Null,
        }
        entry["text"] = json!(why(desk, shortfall.visit)?);
        Ok(entry)
    };
    desk.shortfalls.iter().map(one).collect::<Result<Vec<Value>, Problem>>().map(Value::from)
}

/// The proposal for `plan.json`; null where every cooled patient has an outlet.
pub(super) fn proposal_record(desk: &Desk<'_>) -> Value {
    let entry = |allowed: bool, proven: bool, changes: Vec<Value>, still: Vec<u32>, total: Minutes| {
        json!({
            "allowed": allowed,
            "changes": changes,
            "total_minutes": total.get(),
            "without_before": desk.shortfalls.len(),
            "without_after": still.len(),
            "still_without": still,
            "proven": proven,
        })
    };
    let all = || desk.shortfalls.iter().map(|shortfall| desk.visit(shortfall.visit).line).collect();
    match desk.advice {
        Advice::NothingNeeded => Value::Null,
        Advice::NotAllowed => entry(false, true, Vec::new(), all(), Minutes::new(0)),
        Advice::NothingHelps { proven } => entry(true, *proven, Vec::new(), all(), Minutes::new(0)),
        Advice::Retime(proposal) => {
            let change = |change: &Change| {
                let row = desk.visit(change.visit);
                json!({ "line": row.line, "chair": row.chair, "from": change.from, "to": change.to })
            };
            let still = proposal.still_without.iter().map(|&visit| desk.visit(visit).line).collect();
            entry(
                true,
                proposal.proven,
                proposal.changes.iter().map(change).collect(),
                still,
                proposal.total(),
            )
        }
    }
}
