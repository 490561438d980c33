//! The day as a whole: outlets free, caps free, and nurses' hands needed, minute by minute.

use serde_json::json;

use super::chart::{free_outlets_at, hours_of, whole_hours};
use super::desk::Desk;
use super::paperwork::{Curve, CurveStep, Curves};
use crate::clock::{Moment, Span};
use crate::problem::Problem;
use crate::survey::hands_on;
use crate::unit_rules::{BayIndex, CapSize};

/// The most stretches that a peak names; the others are counted.
const NAMED_MOST: usize = 2;

/// The charts: outlets by bay, caps by size, nurses by bay.
pub(super) fn curves(desk: &Desk<'_>) -> Result<Curves, Problem> {
    let day = whole_hours(desk);
    let bays = || (0..desk.unit.bays.len()).map(BayIndex);
    let mut rows = Vec::new();
    for bay in bays() {
        rows.push(outlets(desk, day, bay)?);
    }
    for size in (0..desk.unit.caps.len()).map(CapSize) {
        rows.push(caps(desk, day, size)?);
    }
    for bay in bays() {
        rows.push(hands(desk, day, bay)?);
    }
    Ok(Curves { span: day.until.since(day.from).get(), hours: hours_of(day), rows })
}

/// Outlets of a bay that are free.
fn outlets(desk: &Desk<'_>, day: Span, bay: BayIndex) -> Result<Curve, Problem> {
    let mut changes: Vec<Moment> =
        desk.allocation.holds().flat_map(|(_, hold)| [hold.span.from, hold.span.until]).collect();
    let unusable = desk.unit.machines.iter().flat_map(|machine| {
        (1..=machine.outlets).flat_map(|number| machine.unusable(number, desk.unit.minutes.machine_start))
    });
    changes.extend(unusable.flat_map(|span| [span.from, span.until]));
    changes.extend(desk.allocation.moves.iter().flat_map(|change| [change.within.from, change.within.until]));
    let stretches = stretches(day, changes, |at| small(free_outlets_at(desk, bay, at)));
    let all = stretches.iter().map(|(_, free)| *free).max().unwrap_or(0);
    let label = desk.say("machine.curves.outlets", &json!({ "bay": desk.bay_name(bay) }))?;
    free_curve(desk, day, label, all, &stretches)
}

/// Caps of a size that are free.
fn caps(desk: &Desk<'_>, day: Span, size: CapSize) -> Result<Curve, Problem> {
    let stock = desk.unit.cap(size);
    let takes = |visit: usize| {
        let row = desk.visit(visit);
        row.cap == Some(size) && !row.own_cap && desk.outlet(visit).is_some()
    };
    let taken: Vec<Span> = (0..desk.list.visits.len())
        .filter(|&visit| takes(visit))
        .filter_map(|visit| Some(desk.planned(visit).cooling.as_ref()?.cap_hold(desk.unit)))
        .collect();
    let free = |at: Moment| stock.count.saturating_sub(running(&taken, at));
    let stretches = stretches(day, ends(&taken), free);
    let label = desk.say("machine.curves.caps", &json!({ "size": stock.size, "count": stock.count }))?;
    free_curve(desk, day, label, stock.count, &stretches)
}

/// Nurses of a bay whose hands are needed.
fn hands(desk: &Desk<'_>, day: Span, bay: BayIndex) -> Result<Curve, Problem> {
    let nurses = desk.unit.bay(bay).nurses;
    let tasks = hands_on(bay, desk.list, desk.plan);
    let stretches = stretches(day, ends(&tasks), |at| running(&tasks, at));
    let most = stretches.iter().map(|(_, needed)| *needed).max().unwrap_or(0);
    let data = json!({ "bay": desk.bay_name(bay), "nurses": nurses });
    let step = |(span, needed): &(Span, u32)| step(day, *span, *needed, *needed > nurses);
    Ok(Curve {
        label: desk.say("machine.curves.hands", &data)?,
        peak: peak(desk, "machine.curves.most", day, &stretches, most)?,
        top: most.max(nurses).max(1),
        line: nurses,
        steps: stretches.iter().map(step).collect(),
    })
}

/// A chart of what is free: the fewest are its peak.
fn free_curve(
    desk: &Desk<'_>,
    day: Span,
    label: String,
    all: u32,
    stretches: &[(Span, u32)],
) -> Result<Curve, Problem> {
    let fewest = stretches.iter().map(|(_, free)| *free).min().unwrap_or(0);
    Ok(Curve {
        label,
        peak: peak(desk, "machine.curves.fewest", day, stretches, fewest)?,
        top: all.max(1),
        line: all,
        steps: stretches.iter().map(|(span, free)| step(day, *span, *free, *free == 0)).collect(),
    })
}

/// Names the stretches in which the number is `count`.
fn peak(
    desk: &Desk<'_>,
    key: &str,
    day: Span,
    stretches: &[(Span, u32)],
    count: u32,
) -> Result<String, Problem> {
    let at_peak: Vec<Span> =
        stretches.iter().filter(|(_, here)| *here == count).map(|(span, _)| *span).collect();
    let all_day = at_peak == [day];
    let mut when = Vec::new();
    for span in at_peak.iter().take(NAMED_MOST).filter(|_| !all_day) {
        when.push(desk.words.range(span.from, span.until)?);
    }
    if all_day {
        when.push(desk.text("machine.curves.all_day")?);
    }
    let more = at_peak.len().saturating_sub(NAMED_MOST);
    if more > 0 {
        when.push(desk.say("machine.curves.more", &json!({ "count": more }))?);
    }
    desk.say(key, &json!({ "count": count, "when": when.join(", ") }))
}

/// The day in stretches of one number each; neighbours differ.
fn stretches(day: Span, mut changes: Vec<Moment>, count_at: impl Fn(Moment) -> u32) -> Vec<(Span, u32)> {
    changes.retain(|at| day.from < *at && *at < day.until);
    changes.extend([day.from, day.until]);
    changes.sort_unstable();
    changes.dedup();
    let mut found: Vec<(Span, u32)> = Vec::new();
    for pair in changes.windows(2) {
        let [from, until] = pair else { continue };
        let count = count_at(*from);
        match found.last_mut().filter(|(_, last)| *last == count) {
            Some((span, _)) => span.until = *until,
            None => found.push((Span::new(*from, *until), count)),
        }
    }
    found
}

fn step(day: Span, span: Span, count: u32, short: bool) -> CurveStep {
    CurveStep { from: span.from.since(day.from).get(), until: span.until.since(day.from).get(), count, short }
}

/// How many of the spans run at `at`.
fn running(spans: &[Span], at: Moment) -> u32 {
    small(spans.iter().filter(|span| span.from <= at && at < span.until).count())
}

fn ends(spans: &[Span]) -> Vec<Moment> {
    spans.iter().flat_map(|span| [span.from, span.until]).collect()
}

fn small(count: usize) -> u32 {
    u32::try_from(count).unwrap_or(u32::MAX)
}
