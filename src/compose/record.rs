//! `plan.json`: the day as other programs read it, and all that a reprint needs.

use serde_json::{Map, Value, json};

use super::Choices;
use super::desk::Desk;
use super::front::sentence;
use super::paperwork::{Document, Labels};
use super::proposal::{proposal_record, shortfalls_record};
use crate::allocate::Price;
use crate::fall_backs::{FallBack, Limit};
use crate::plan::{CoolingStages, PlannedStep};
use crate::problem::Problem;
use crate::survey::Caution;
use crate::unit_rules::Step;

/// The number of this form of the record. A reader that knows it may rely on every key.
const FORMAT: u32 = 1;

/// The whole record. `documents` holds each sheet's data as its layout gets it, so that a reprint
/// plans and solves nothing again.
pub(super) fn record(
    desk: &Desk<'_>,
    documents: &[Document],
    labels: &Labels,
    choices: Choices,
) -> Result<Value, Problem> {
    let mut order: Vec<usize> = (0..desk.list.visits.len()).collect();
    order.sort_by_key(|&place| desk.visit(place).line);
    let visits: Vec<Value> = order.into_iter().map(|place| visit(desk, place)).collect();
    let mut cautions =
        desk.cautions.iter().map(|caution| self::caution(desk, caution)).collect::<Result<Vec<_>, _>>()?;
    if !desk.words.is_checked() {
        let text = desk.text("cautions.wording_unchecked.text")?;
        cautions.push(json!({ "kind": "wording_unchecked", "line": null, "text": text }));
    }
    let held_back: Vec<Value> = desk
        .list
        .held_back
        .iter()
        .map(|row| json!({ "line": row.line, "faults": row.faults.len() }))
        .collect();
    Ok(json!({
        "format": FORMAT,
        "date": desk.list.day.format("%Y-%m-%d").to_string(),
        "revision": choices.revision,
        "source": desk.list.source_name,
        "paper": choices.paper,
        "visits": visits,
        "held_back": held_back,
        "machines": machines(desk),
        "cautions": cautions,
        "shortfalls": shortfalls_record(desk)?,
        "proposal": proposal_record(desk),
        "documents": documents,
        "labels": labels,
    }))
}

fn visit(desk: &Desk<'_>, place: usize) -> Value {
    let (row, planned) = (desk.visit(place), desk.planned(place));
    let cap = row.cap.map(|size| desk.unit.cap(size).size.clone());
    let outlet = desk.outlet(place).map(|hold| {
        json!({
            "machine": desk.unit.machine(hold.machine).name,
            "number": hold.number,
            "from": hold.span.from,
            "until": hold.span.until,
        })
    });
    let mut stages = Map::new();
    stages.insert("arrive".to_owned(), json!(planned.arrive));
    if let Some(cooling) = &planned.cooling {
        stages.extend(cooling_stages(cooling));
    }
    stages.insert("leave".to_owned(), json!(planned.leave));
    if let Some(cooling) = &planned.cooling {
        stages.insert("rinse_by".to_owned(), json!(cooling.rinse_by.format("%Y-%m-%dT%H:%M").to_string()));
    }
    let steps: Vec<Value> = desk.regimen(place).steps.iter().zip(&planned.steps).map(step).collect();
    json!({
        "line": row.line,
        "hospital_no": row.hospital_no,
        "bay": desk.bay_name(row.bay),
        "chair": row.chair,
        "cooled": row.cooled,
        "cap": cap,
        "premed": planned.premed,
        "stages": stages,
        "steps": steps,
        "outlet": outlet,
    })
}

fn cooling_stages(cooling: &CoolingStages) -> impl Iterator<Item = (String, Value)> {
    [
        ("prepare", cooling.prepare),
        ("cooling_on", cooling.cooling_on),
        ("hair_loss_drug_start", cooling.hair_loss_drug_start),
        ("hair_loss_drug_end", cooling.hair_loss_drug_end),
        ("cooling_off", cooling.cooling_off),
        ("cap_off", cooling.cap_off),
    ]
    .into_iter()
    .map(|(name, moment)| (name.to_owned(), json!(moment)))
}

fn step((step, times): (&Step, &PlannedStep)) -> Value {
    json!({ "drug": step.drug, "start": times.start, "end": times.end, "free": times.free })
}

fn machines(desk: &Desk<'_>) -> Value {
    let worth = desk.allocation.worth;
    let moves: Vec<Value> = desk
        .allocation
        .moves
        .iter()
        .map(|change| {
            json!({
                "machine": desk.unit.machine(change.machine).name,
                "from": desk.bay_name(change.from),
                "to": desk.bay_name(change.to),
                "after": change.within.from,
                "in_place_by": desk.in_place_by(change),
                "before": change.within.until,
            })
        })
        .collect();
    json!({
        "without_outlet": worth.without_outlet,
        "moves": worth.moves,
        "slack_shortfall": worth.slack_shortfall,
        "busiest_outlet": worth.busiest_outlet,
        "proven": worth.proven,
        "slack_proven": worth.slack_proven,
        "bound": {
            "without_outlet": worth.bound_without_outlet,
            "moves": worth.bound_moves,
            "slack_shortfall": worth.bound_slack_shortfall,
        },
        "move_list": moves,
        "prices": desk.allocation.prices.iter().map(price).collect::<Vec<_>>(),
        "fall_backs": desk.fall_backs.iter().map(|line| fall_back(desk, line)).collect::<Vec<_>>(),
    })
}

/// What so many moves come to.
fn price(price: &Price) -> Value {
    json!({ "moves": price.moves, "without_outlet": price.without_outlet, "proven": price.proven })
}

/// Where a patient can go if the machine fails within a stretch.
fn fall_back(desk: &Desk<'_>, line: &FallBack) -> Value {
    let refuge = line.refuge.map(|refuge| {
        json!({
            "machine": desk.unit.machine(refuge.machine).name,
            "number": refuge.number,
            "off_by": refuge.until.map(|(until, _)| until),
            "to_the_end": refuge.to_the_end,
            "needed_for": refuge.until.map(|(_, limit)| needed_for(desk, limit)),
        })
    });
    json!({
        "machine": desk.unit.machine(line.machine).name,
        "line": desk.visit(line.visit).line,
        "from": line.fails.from,
        "until": line.fails.until,
        "pre_cooling": line.pre_cooling,
        "outlet": refuge,
    })
}

/// What needs the outlet then, and whom the patient would keep from it.
fn needed_for(desk: &Desk<'_>, limit: Limit) -> Value {
    let (kind, visit) = match limit {
        Limit::Next(visit) => ("next", Some(visit)),
        Limit::OutOfReach(visit) => ("out_of_reach", Some(visit)),
        Limit::OutOfService => ("out_of_service", None),
        Limit::Moved(visit) => ("moved", Some(visit)),
    };
    json!({ "kind": kind, "line": visit.map(|visit| desk.visit(visit).line) })
}

/// A caution with the line of the list that it is about, if it is about one.
fn caution(desk: &Desk<'_>, caution: &Caution) -> Result<Value, Problem> {
    let line = match caution {
        Caution::HeldBack { row } => Some(desk.list.held_back[*row].line),
        Caution::GoAheadNotRecorded { .. } => None,
        _ => caution.visits().first().map(|&visit| desk.visit(visit).line),
    };
    Ok(json!({ "kind": caution.kind(), "line": line, "text": sentence(desk, caution)? }))
}
