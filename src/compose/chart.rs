//! The machines' day as a chart, and the outlets that are spare.

use serde_json::json;

use super::desk::Desk;
use super::paperwork::{Chart, ChartBar, ChartHour, ChartRow, Fill, Spare, SpareRow};
use crate::clock::{Minutes, Moment, Span};
use crate::problem::Problem;
use crate::unit_rules::{BayIndex, MachineIndex};

/// Spare outlets are told for stretches of this many minutes.
const STRETCH: i32 = 30;
const HOUR: i32 = 60;

/// The chart of all outlets, from the hour in which the first is used, or the unit opens, to the hour
/// in which the last is free, or the unit closes.
pub(super) fn chart(desk: &Desk<'_>) -> Result<Chart, Problem> {
    let day = whole_hours(desk);
    let at = |moment: Moment| moment.clamp(day.from, day.until).since(day.from).get();
    let mut rows = Vec::new();
    for (place, machine) in desk.unit.machines.iter().enumerate() {
        for number in 1..=machine.outlets {
            let mut bars = bars(desk, MachineIndex(place), number, &at)?;
            bars.retain(|bar| bar.from < bar.until);
            bars.sort_by_key(|bar| (bar.from, bar.until));
            rows.push(ChartRow {
                machine: machine.name.clone(),
                outlet: number.to_string(),
                bay: bays(desk, MachineIndex(place)),
                bars,
            });
        }
    }
    Ok(Chart { span: day.until.since(day.from).get(), hours: hours_of(day), rows })
}

/// The bays of a machine's day, in their order.
fn bays(desk: &Desk<'_>, machine: MachineIndex) -> String {
    let home = desk.bay_name(desk.unit.machine(machine).bay);
    let moves = desk.allocation.moves.iter().filter(|change| change.machine == machine);
    let bays: Vec<&str> = std::iter::once(home).chain(moves.map(|change| desk.bay_name(change.to))).collect();
    bays.join(" → ")
}

/// The hours to rule in a chart of `day`; of more than a day every second, third, ... one, for which there is room.
pub(super) fn hours_of(day: Span) -> Vec<ChartHour> {
    let hour = |minutes: i32| {
        let moment = Moment::from_midnight(minutes);
        ChartHour { at: moment.since(day.from).get(), label: moment.to_string() }
    };
    let days = day.until.since(day.from).get().div_ceil(Minutes::MOST).max(1);
    let step = days * HOUR.unsigned_abs();
    (day.from.minutes()..=day.until.minutes()).step_by(step as usize).map(hour).collect()
}

/// What the charts span.
pub(super) fn whole_hours(desk: &Desk<'_>) -> Span {
    let holds = || desk.allocation.holds().map(|(_, hold)| hold.span);
    let from =
        holds().map(|span| span.from).min().map_or(desk.unit.opens, |first| first.min(desk.unit.opens));
    let until =
        holds().map(|span| span.until).max().map_or(desk.unit.closes, |last| last.max(desk.unit.closes));
    let floor = |moment: Moment| Moment::from_midnight(moment.minutes().div_euclid(HOUR) * HOUR);
    Span::new(floor(from), floor(until.slipped(HOUR - 1)))
}

/// What fills an outlet's day. Out of service is cut where a patient is cooled: the two never meet in
/// a verified day.
fn bars(
    desk: &Desk<'_>,
    machine: MachineIndex,
    number: u8,
    at: &dyn Fn(Moment) -> u32,
) -> Result<Vec<ChartBar>, Problem> {
    let blank = |span: Span, fill| ChartBar {
        from: at(span.from),
        until: at(span.until),
        fill,
        label: String::new(),
        name: String::new(),
        identity: String::new(),
        times: String::new(),
    };
    let mut bars = Vec::new();
    for (visit, hold) in desk.allocation.outlet_day(machine, number) {
        let row = desk.visit(visit);
        let off = hold.span.until - desk.unit.minutes.outlet_clean;
        bars.push(ChartBar {
            label: row.chair.clone(),
            // A family name tells people apart, but for those whose names are alike.
            name: if desk.is_alike(visit) { row.staff_name() } else { row.family_name.to_uppercase() },
            identity: row.hospital_no.clone(),
            times: desk.words.range(hold.span.from, off)?,
            ..blank(Span::new(hold.span.from, off), Fill::Cooling)
        });
        bars.push(blank(Span::new(off, hold.span.until), Fill::Clean));
    }
    for span in out_of_service(desk, machine, number) {
        bars.push(ChartBar {
            label: desk.text("machine.out_of_service")?,
            times: desk.words.range(span.from, span.until)?,
            ..blank(span, Fill::Out)
        });
    }
    for change in desk.allocation.moves.iter().filter(|change| change.machine == machine) {
        // The latest time to move is drawn: before it the machine may stay where it is.
        let until = desk.in_place_by(change);
        bars.push(blank(Span::new(until - desk.unit.minutes.machine_move, until), Fill::Move));
    }
    Ok(bars)
}

/// The stretches in which an outlet is out of service, those that meet made one.
fn out_of_service(desk: &Desk<'_>, machine: MachineIndex, number: u8) -> Vec<Span> {
    let mut spans: Vec<Span> =
        desk.unit.machine(machine).outages_of(number).map(|outage| outage.span).collect();
    spans.sort();
    let mut joined: Vec<Span> = Vec::new();
    for span in spans {
        match joined.last_mut().filter(|last| last.until >= span.from) {
            Some(last) => last.until = last.until.max(span.until),
            None => joined.push(span),
        }
    }
    joined
}

/// The fewest outlets that are free in each bay in every stretch of the opening hours.
pub(super) fn spare(desk: &Desk<'_>) -> Result<Spare, Problem> {
    let (opens, closes) = (desk.unit.opens.minutes(), desk.unit.closes.minutes());
    let stretches: Vec<Span> = (opens.div_euclid(STRETCH) * STRETCH..closes)
        .step_by(STRETCH.unsigned_abs() as usize)
        .map(|from| Span::new(Moment::from_midnight(from), Moment::from_midnight(from + STRETCH)))
        .collect();
    let row = |place: usize| SpareRow {
        bay: desk.unit.bays[place].name.clone(),
        free: stretches
            .iter()
            .map(|stretch| fewest_free(desk, BayIndex(place), *stretch).to_string())
            .collect(),
    };
    Ok(Spare {
        times: stretches.iter().map(|stretch| stretch.from.to_string()).collect(),
        rows: (0..desk.unit.bays.len()).map(row).collect(),
        reach: reach(desk)?,
    })
}

/// That not every free outlet reaches every chair, with the chairs that one machine reaches together; empty
/// where each machine reaches its whole bay.
fn reach(desk: &Desk<'_>) -> Result<String, Problem> {
    let mut groups: Vec<String> = Vec::new();
    for bay in &desk.unit.bays {
        let together = |one: &String| bay.chairs.iter().all(|other| bay.reach_together(one, other));
        if bay.chairs.iter().all(together) {
            continue;
        }
        let alone = |chair: &&String| !bay.reach.iter().any(|group| group.contains(chair));
        groups.extend(bay.reach.iter().map(|group| group.join(", ")));
        groups.extend(bay.chairs.iter().filter(alone).cloned());
    }
    if groups.is_empty() {
        return Ok(String::new());
    }
    desk.say("machine.reach", &json!({ "groups": groups.join("; ") }))
}

/// The fewest outlets of a bay that are free at once in a stretch: at its start, or whenever one is
/// taken or a machine is moved within it.
fn fewest_free(desk: &Desk<'_>, bay: BayIndex, stretch: Span) -> usize {
    let holds = desk.allocation.holds().flat_map(|(_, hold)| [hold.span.from]);
    let outages =
        desk.unit.machines.iter().flat_map(|machine| &machine.out_of_service).map(|outage| outage.span.from);
    let moves = desk.allocation.moves.iter().flat_map(|change| [change.within.from, change.within.until]);
    let changes = holds.chain(outages).chain(moves).filter(|at| stretch.from < *at && *at < stretch.until);
    std::iter::once(stretch.from).chain(changes).map(|at| free_outlets_at(desk, bay, at)).min().unwrap_or(0)
}

/// Outlets of the machines that stand in a bay which are in service, cold again if they were out, and free.
pub(super) fn free_outlets_at(desk: &Desk<'_>, bay: BayIndex, at: Moment) -> usize {
    let (now, start) = (Span::new(at, at.slipped(1)), desk.unit.minutes.machine_start);
    let free_of = |place: usize| {
        let index = MachineIndex(place);
        let machine = desk.unit.machine(index);
        let is_free = |number: &u8| {
            let taken =
                desk.allocation.outlet_day(index, *number).iter().any(|(_, hold)| hold.span.meets(now));
            let out = machine.unusable(*number, start).any(|span| span.meets(now));
            !taken && !out
        };
        (1..=machine.outlets).filter(is_free).count()
    };
    let here = |place: &usize| desk.allocation.bay_at(desk.unit, MachineIndex(*place), at) == Some(bay);
    (0..desk.unit.machines.len()).filter(here).map(free_of).sum()
}
