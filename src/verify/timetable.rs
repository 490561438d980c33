//! When everything of a visit has to happen, counted afresh from the list alone.
//!
//! Plain signed minutes since midnight, laid out as one row of drugs that is then cut at the first
//! hair-loss drug and pushed back. It must not ask the plan for anything.

use crate::patient::{Hair, Visit};
use crate::unit_rules::{CoolingStart, PostCoolingFrom, Regimen, Step, Unit};
use crate::validate::DayList;

/// Signed minutes since midnight of the unit's day.
pub(super) type Minute = i32;

/// The times of one visit.
#[derive(Clone, Debug)]
pub(super) struct Timetable {
    /// Arrival.
    pub arrive: Minute,
    /// Pre-medication.
    pub premed: Minute,
    /// Each drug's start, end of infusion, end of flush and observation.
    pub drugs: Vec<[Minute; 3]>,
    /// The stages of a cooled visit.
    pub cooled: Option<CooledTimes>,
    /// Leaving.
    pub leave: Minute,
}

/// The times of a cooled visit's stages, and its two clinical minimums.
#[derive(Clone, Copy, Debug)]
pub(super) struct CooledTimes {
    pub prepare: Minute,
    pub on: Minute,
    pub start: Minute,
    pub end: Minute,
    pub off: Minute,
    pub cap_off: Minute,
    pub pre_cooling: i32,
    pub post_cooling: i32,
}

/// The times of a visit if its drugs come at `drugs_ready`; `None` if it is cooled with a regimen
/// that has no hair-loss drug, which no list may hold.
pub(super) fn of_visit(list: &DayList, visit: &Visit, drugs_ready: Option<Minute>) -> Option<Timetable> {
    let unit = &list.unit;
    let regimen = list.regimen(visit.regimen);
    let arrive = visit.arrive.minutes();
    let lead = regimen.premed_lead.signed();
    let in_chair = arrive + unit.minutes.settle.signed();
    let drugs_from = (in_chair + lead).max(drugs_ready.unwrap_or(Minute::MIN));
    let row = end_to_end(regimen, visit.is_first());
    let premed = drugs_from - lead;
    if !visit.cooled {
        let drugs = shifted(&row, |_| drugs_from);
        let leave = drugs.last().map_or(drugs_from, |drug| drug[2]);
        return Some(Timetable { arrive, premed, drugs, cooled: None, leave });
    }

    let cut = regimen.steps.iter().position(|step| step.hair_loss)?;
    let pre_cooling = pre_cooling(visit, unit);
    let prepare_minutes = preparation(visit, unit);
    let wait_for_cap = in_chair + prepare_minutes + pre_cooling - (drugs_from + row[cut][0]);
    let pushed_to = drugs_from + wait_for_cap.max(0);
    let drugs = shifted(&row, |place| if place < cut { drugs_from } else { pushed_to });
    let start = drugs[cut][0];
    let on = match unit.rules.cooling_start {
        CoolingStart::InTime => start - pre_cooling,
        CoolingStart::AtOnce => in_chair + prepare_minutes,
    };
    let end = clock_start(regimen, unit, &drugs)?;
    let post_cooling = regimen.post_cooling.signed();
    let off = end + post_cooling;
    let cap_off = off + unit.minutes.warm_up.signed();
    let last_over = drugs.last().map_or(start, |drug| drug[2]);
    let leave = last_over.max(cap_off + unit.minutes.seated.signed());
    let prepare = on - prepare_minutes;
    let cooled = CooledTimes { prepare, on, start, end, off, cap_off, pre_cooling, post_cooling };
    Some(Timetable { arrive, premed, drugs, cooled: Some(cooled), leave })
}

/// Every drug as if the first started at zero and none waited: start, end, end of all of it.
fn end_to_end(regimen: &Regimen, first_visit: bool) -> Vec<[Minute; 3]> {
    let lengths = |step: &Step| {
        let (given, watched) = match first_visit {
            true => (step.first_minutes, step.first_observe),
            false => (step.minutes, step.observe),
        };
        (given.signed(), step.flush.signed() + watched.signed())
    };
    let mut row: Vec<[Minute; 3]> = Vec::with_capacity(regimen.steps.len());
    for (infusion, after) in regimen.steps.iter().map(lengths) {
        let start = row.last().map_or(0, |before| before[2]);
        row.push([start, start + infusion, start + infusion + after]);
    }
    row
}

/// The row with each drug moved by what `origin` says for its place.
fn shifted(row: &[[Minute; 3]], origin: impl Fn(usize) -> Minute) -> Vec<[Minute; 3]> {
    let moved = |(place, times): (usize, &[Minute; 3])| times.map(|time| time + origin(place));
    row.iter().enumerate().map(moved).collect()
}

/// When the post-cooling clock starts: the end of the last drug that the unit counts from.
fn clock_start(regimen: &Regimen, unit: &Unit, drugs: &[[Minute; 3]]) -> Option<Minute> {
    let (step, times) = regimen.steps.iter().zip(drugs).rev().find(|(step, _)| counts(step, unit))?;
    let flush = if unit.rules.flush_counts { step.flush.signed() } else { 0 };
    Some(times[1] + flush)
}

/// Whether the post-cooling clock may count from a drug.
pub(super) fn counts(step: &Step, unit: &Unit) -> bool {
    match unit.rules.post_cooling_from {
        PostCoolingFrom::LastHairLossDrug => step.hair_loss,
        PostCoolingFrom::LastCytotoxicDrug => step.cytotoxic || step.hair_loss,
    }
}

/// The least pre-cooling. Hair that nobody recorded may be thick, so it gets the longer of the two.
pub(super) fn pre_cooling(visit: &Visit, unit: &Unit) -> i32 {
    let usual = unit.minutes.pre_cooling.signed();
    let thick = unit.minutes.pre_cooling_thick.signed();
    match visit.hair {
        Some(Hair::Thick) => thick,
        Some(Hair::Fine | Hair::Medium) => usual,
        None => usual.max(thick),
    }
}

/// The minutes of hair preparation.
pub(super) fn preparation(visit: &Visit, unit: &Unit) -> i32 {
    let first = visit.cycle == 1;
    if first { unit.minutes.prepare_first.signed() } else { unit.minutes.prepare_return.signed() }
}
