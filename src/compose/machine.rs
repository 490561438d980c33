//! The machine sheet, for the nurse in charge.

use serde_json::json;

use super::chart::{chart, spare};
use super::curves::curves;
use super::desk::{Desk, document};
use super::fall_back::fall_backs;
use super::page_code::PageCodes;
use super::paperwork::{
    CapLine, Document, Kind, MachineSheet, MoveLine, OutageLine, OutletHandOver, SwitchOn, WithoutLine,
};
use super::strip::cap;
use crate::allocate::{Cooling, Reason};
use crate::problem::Problem;
use crate::unit_rules::MachineIndex;

/// Composes the machine sheet.
pub(super) fn machine_sheet(desk: &Desk<'_>, codes: &mut PageCodes) -> Result<Document, Problem> {
    let head = desk.head(desk.text("machine.title")?, "machine", codes.code("machines"))?;
    let sheet = MachineSheet {
        chart: chart(desk)?,
        switch_on: switch_on(desk)?,
        hand_overs: hand_overs(desk)?,
        moves: moves(desk)?,
        without: without(desk)?,
        outages: outages(desk)?,
        caps: caps(desk)?,
        spare: spare(desk)?,
        worth: worth(desk)?,
        fall_backs: fall_backs(desk)?,
        curves: curves(desk)?,
        head,
    };
    document(Kind::MachineSheet, "machine-sheet".to_owned(), &sheet.head, &sheet)
}

fn machines(desk: &Desk<'_>) -> impl Iterator<Item = MachineIndex> {
    (0..desk.unit.machines.len()).map(MachineIndex)
}

/// When each machine is switched on: the unit's start-up minutes before its first use, and anew after an outage of
/// the whole of it. By time; those that are not needed come last.
fn switch_on(desk: &Desk<'_>) -> Result<Vec<SwitchOn>, Problem> {
    let mut lines = Vec::new();
    for index in machines(desk) {
        let machine = desk.unit.machine(index);
        let line = |bay, at: String, first_use| SwitchOn {
            machine: machine.name.clone(),
            bay: desk.bay_name(bay).to_owned(),
            at,
            first_use,
        };
        let uses = desk.allocation.switched_on_for(desk.unit, index);
        if uses.is_empty() {
            let unneeded = line(machine.bay, desk.text("machine.not_needed")?, String::new());
            lines.push((true, None, index, unneeded));
        }
        for (visit, hold) in uses {
            let at = desk.switched_on(hold);
            let line = line(desk.visit(visit).bay, at.to_string(), hold.span.from.to_string());
            lines.push((false, Some(at), index, line));
        }
    }
    lines.sort_by_key(|(unneeded, at, index, _)| (*unneeded, *at, *index));
    Ok(lines.into_iter().map(|(.., line)| line).collect())
}

fn hand_overs(desk: &Desk<'_>) -> Result<Vec<OutletHandOver>, Problem> {
    let mut found: Vec<_> = machines(desk)
        .flat_map(|index| desk.allocation.hand_overs(index, desk.unit.machine(index).outlets))
        .filter_map(|(from, to, slack)| {
            Some((desk.outlet(to)?.span.from, desk.outlet(from)?, from, to, slack))
        })
        .collect();
    found.sort_by_key(|(needed, _, from, to, _)| (*needed, *from, *to));
    let line = |(needed, hold, from, to, slack)| {
        let hold: crate::allocate::OutletHold = hold;
        Ok(OutletHandOver {
            outlet: desk.outlet_name(hold),
            from: desk.patient_line(from)?,
            stops: (hold.span.until - desk.unit.minutes.outlet_clean).to_string(),
            clean: hold.span.until.to_string(),
            to: desk.patient_line(to)?,
            needed: crate::clock::Moment::to_string(&needed),
            slack: desk.words.duration(slack)?,
            tight: slack < desk.unit.rules.hand_over_slack,
        })
    };
    found.into_iter().map(line).collect()
}

fn moves(desk: &Desk<'_>) -> Result<Vec<MoveLine>, Problem> {
    let line = |change: &crate::allocate::Move| {
        Ok(MoveLine {
            machine: desk.unit.machine(change.machine).name.clone(),
            from: desk.bay_name(change.from).to_owned(),
            to: desk.bay_name(change.to).to_owned(),
            after: if desk.used_before(change) {
                change.within.from.to_string()
            } else {
                desk.text("machine.any_time")?
            },
            before: desk.in_place_by(change).to_string(),
            first_use: change.within.until.to_string(),
        })
    };
    desk.allocation.moves.iter().map(line).collect()
}

fn without(desk: &Desk<'_>) -> Result<Vec<WithoutLine>, Problem> {
    let mut lines = Vec::new();
    for (visit, cooling) in desk.allocation.visits.iter().enumerate() {
        let (Cooling::Without(reason), Some(stages)) = (cooling, &desk.planned(visit).cooling) else {
            continue;
        };
        let hold = stages.outlet_hold(desk.unit);
        let why = match reason {
            Reason::NoOutletFree => "machine.without.no_outlet",
            Reason::NoCapFree => "machine.without.no_cap",
        };
        lines.push(WithoutLine {
            patient: desk.patient_line(visit)?,
            when: desk.words.range(hold.from, hold.until)?,
            why: desk.text(why)?,
        });
    }
    Ok(lines)
}

/// What is out of service, by time.
fn outages(desk: &Desk<'_>) -> Result<Vec<OutageLine>, Problem> {
    let mut found = Vec::new();
    for machine in &desk.unit.machines {
        for outage in &machine.out_of_service {
            let outlet = match outage.outlet {
                Some(number) => format!("{} · {number}", machine.name),
                None => machine.name.clone(),
            };
            let reason = match outage.reason.as_str() {
                "" => desk.text("common.labels.not_recorded")?,
                reason => reason.to_owned(),
            };
            let when = desk.words.range(outage.span.from, outage.span.until)?;
            found.push((outage.span, OutageLine { outlet, when, reason }));
        }
    }
    found.sort_by(|(one, line), (other, other_line)| (one, &line.outlet).cmp(&(other, &other_line.outlet)));
    Ok(found.into_iter().map(|(_, line)| line).collect())
}

/// Caps in the order in which they are fitted.
fn caps(desk: &Desk<'_>) -> Result<Vec<CapLine>, Problem> {
    let mut fitted: Vec<_> = desk
        .plan
        .visits
        .iter()
        .enumerate()
        .filter_map(|(visit, planned)| Some((planned.cooling.as_ref()?.prepare, visit)))
        .collect();
    fitted.sort();
    let line = |(prepare, visit): (crate::clock::Moment, usize)| {
        Ok(CapLine {
            time: prepare.to_string(),
            size: cap(desk, visit)?,
            patient: desk.patient_line(visit)?,
            outlet: desk.outlet_or_none(visit)?,
        })
    };
    fitted.into_iter().map(line).collect()
}

/// How good the machine plan is, and how far from proven.
fn worth(desk: &Desk<'_>) -> Result<String, Problem> {
    let worth = desk.allocation.worth;
    let fewest_proven = worth.without_outlet == worth.bound_without_outlet;
    let key = match (worth.proven, fewest_proven) {
        (true, _) => "machine.worth.proven",
        (false, true) => "machine.worth.bound_moves",
        (false, false) => "machine.worth.bound",
    };
    let said = desk.say(
        key,
        &json!({
            "without": worth.without_outlet,
            "moves": worth.moves,
            "bound_without": worth.bound_without_outlet,
            "bound_moves": worth.bound_moves,
        }),
    )?;
    Ok(if desk.allocation.prices.is_empty() { said } else { format!("{said} {}", prices(desk)?) })
}

/// What moves are worth: `No move: 2 without an outlet. 1 move: 0.`
fn prices(desk: &Desk<'_>) -> Result<String, Problem> {
    let mut parts = Vec::new();
    for price in &desk.allocation.prices {
        let data = json!({ "moves": price.moves, "without": price.without_outlet });
        parts.push(match (price.moves, price.proven) {
            (0, true) => desk.say("machine.price.no_move", &data)?,
            (0, false) => desk.say("machine.price.no_move_found", &data)?,
            (_, true) => desk.say("machine.price.moves", &data)?,
            (_, false) => desk.say("machine.price.moves_found", &data)?,
        });
    }
    Ok(parts.join(" "))
}
