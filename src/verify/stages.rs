//! Every time of every visit's plan against the recomputed one, to the minute.

use crate::clock::{Moment, Span};
use crate::patient::Visit;
use crate::plan::{CoolingStages, PlannedStep, VisitPlan};
use crate::validate::DayList;

use super::breach::{Breach, Promise, Subject};
use super::elapsed::hours_later;
use super::timetable::{CooledTimes, Minute, Timetable};

/// What is not at its time in one visit's plan.
pub(super) fn check(list: &DayList, visit: &Visit, planned: &VisitPlan, due: &Timetable) -> Vec<Breach> {
    let mut breaches = stage_breaches(
        visit,
        &[
            ("arrive", planned.arrive, due.arrive),
            ("premed", planned.premed, due.premed),
            ("leave", planned.leave, due.leave),
        ],
    );
    breaches.extend(drugs(visit, &planned.steps, &due.drugs));
    match (&planned.cooling, &due.cooled) {
        (Some(stages), Some(times)) => breaches.extend(cooling(list, visit, stages, times)),
        (None, None) => {}
        (found, _) => breaches.push(Breach::new(
            Promise::CooledAsListed,
            Subject::Line(visit.line),
            if found.is_some() { "cooling stages" } else { "no cooling stages" },
            if visit.cooled { "cooling stages" } else { "none" },
        )),
    }
    breaches
}

/// The cooling stages that are not at their times.
fn cooling(list: &DayList, visit: &Visit, stages: &CoolingStages, due: &CooledTimes) -> Vec<Breach> {
    let mut breaches = stage_breaches(
        visit,
        &[
            ("prepare", stages.prepare, due.prepare),
            ("cooling_on", stages.cooling_on, due.on),
            ("hair_loss_drug_start", stages.hair_loss_drug_start, due.start),
            ("hair_loss_drug_end", stages.hair_loss_drug_end, due.end),
            ("cooling_off", stages.cooling_off, due.off),
            ("cap_off", stages.cap_off, due.cap_off),
        ],
    );
    let local_off = Moment::from_midnight(due.off).on(list.day);
    let rinse_by = hours_later(local_off, list.unit.rinse_within_hours, list.unit.time_zone);
    let mut hold = |kept: bool, stage, found: String, expected: String| {
        if !kept {
            let subject = Subject::Line(visit.line);
            breaches.push(Breach::new(Promise::StageTime(stage), subject, found, expected));
        }
    };
    hold(stages.rinse_by == rinse_by, "rinse_by", stages.rinse_by.to_string(), rinse_by.to_string());
    for (name, found, expected) in [
        ("pre_cooling", stages.pre_cooling.signed(), due.pre_cooling),
        ("post_cooling", stages.post_cooling.signed(), due.post_cooling),
    ] {
        hold(found == expected, name, format!("{found} min"), format!("{expected} min"));
    }
    breaches
}

/// The drugs that are not at their times.
fn drugs(visit: &Visit, planned: &[PlannedStep], due: &[[Minute; 3]]) -> Vec<Breach> {
    if planned.len() != due.len() {
        let subject = Subject::Line(visit.line);
        let counts = (format!("{} drugs", planned.len()), format!("{} drugs", due.len()));
        return vec![Breach::new(Promise::EveryDrugIsPlanned, subject, counts.0, counts.1)];
    }
    let mut breaches = Vec::new();
    for (place, (step, times)) in planned.iter().zip(due).enumerate() {
        let found = [step.start, step.end, step.free];
        for ((point, found), &expected) in ["start", "end", "free"].into_iter().zip(found).zip(times) {
            if found.minutes() != expected {
                let promise = Promise::DrugTime(place + 1, point);
                let expected = Moment::from_midnight(expected);
                breaches.push(Breach::new(promise, Subject::Line(visit.line), found, expected));
            }
        }
    }
    breaches
}

/// A breach for each named stage that is not at its minute.
fn stage_breaches(visit: &Visit, stages: &[(&'static str, Moment, Minute)]) -> Vec<Breach> {
    let late_or_early = stages.iter().filter(|(_, found, due)| found.minutes() != *due);
    late_or_early
        .map(|&(stage, found, due)| {
            let expected = Moment::from_midnight(due);
            Breach::new(Promise::StageTime(stage), Subject::Line(visit.line), found, expected)
        })
        .collect()
}

/// A span of recomputed minutes.
pub(super) fn span(from: Minute, until: Minute) -> Span {
    Span::new(Moment::from_midnight(from), Moment::from_midnight(until))
}
