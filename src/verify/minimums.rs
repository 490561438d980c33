//! No stretch of a visit is shorter than it must be, measured on the plan's own times.
//!
//! Compares neighbouring times of the plan with the list's lengths, so it holds even if the
//! recomputed timetable and the plan were wrong in the same way.

use crate::clock::Moment;
use crate::patient::Visit;
use crate::plan::{CoolingStages, PlannedStep, VisitPlan};
use crate::unit_rules::Regimen;
use crate::validate::DayList;

use super::breach::{Breach, Promise, Subject};
use super::timetable::{counts, pre_cooling, preparation};

/// One stretch: its name, where it starts and ends, its least length in minutes.
type Stretch = (&'static str, Moment, Moment, i32);

/// The stretches of one visit's plan that are cut short.
pub(super) fn check(list: &DayList, visit: &Visit, planned: &VisitPlan) -> Vec<Breach> {
    let regimen = list.regimen(visit.regimen);
    let mut stretches = start_of_visit(list, visit, regimen, planned);
    stretches.extend(drugs(regimen, visit, &planned.steps));
    if let Some(stages) = &planned.cooling {
        stretches.extend(cooling(list, visit, regimen, planned, stages));
    }
    let mut breaches: Vec<Breach> =
        stretches.into_iter().filter_map(|stretch| cut_short(visit, stretch)).collect();
    breaches.extend(several_hair_loss_drugs(list, visit, regimen));
    breaches
}

/// Settling, pre-medication and the drugs' arrival.
fn start_of_visit(list: &DayList, visit: &Visit, regimen: &Regimen, planned: &VisitPlan) -> Vec<Stretch> {
    let mut stretches = vec![("settling", planned.arrive, planned.premed, list.unit.minutes.settle.signed())];
    if let Some(first) = planned.steps.first() {
        stretches.push((
            "the pre-medication lead",
            planned.premed,
            first.start,
            regimen.premed_lead.signed(),
        ));
        if let Some(ready) = visit.drugs_ready {
            stretches.push(("the wait for the drugs", ready, first.start, 0));
        }
    }
    stretches
}

/// Infusions, flushes, observations, and one drug after another.
fn drugs(regimen: &Regimen, visit: &Visit, planned: &[PlannedStep]) -> Vec<Stretch> {
    let mut stretches = Vec::new();
    for (step, times) in regimen.steps.iter().zip(planned) {
        let after = step.flush + step.observation(visit.is_first());
        stretches.push(("an infusion", times.start, times.end, step.infusion(visit.is_first()).signed()));
        stretches.push(("a flush and observation", times.end, times.free, after.signed()));
    }
    for pair in planned.windows(2) {
        if let [one, next] = pair {
            stretches.push(("the wait for the drug before", one.free, next.start, 0));
        }
    }
    stretches
}

/// Preparation, pre-cooling, post-cooling, warm-up, sitting, and the last drug before leaving.
fn cooling(
    list: &DayList,
    visit: &Visit,
    regimen: &Regimen,
    planned: &VisitPlan,
    stages: &CoolingStages,
) -> Vec<Stretch> {
    let minutes = &list.unit.minutes;
    let settle = minutes.settle.signed();
    let mut stretches = vec![
        ("settling before the preparation", planned.arrive, stages.prepare, settle),
        ("the preparation", stages.prepare, stages.cooling_on, preparation(visit, &list.unit)),
        ("pre-cooling", stages.cooling_on, stages.hair_loss_drug_start, pre_cooling(visit, &list.unit)),
        ("warm-up", stages.cooling_off, stages.cap_off, minutes.warm_up.signed()),
        ("sitting after the cap", stages.cap_off, planned.leave, minutes.seated.signed()),
    ];
    let post_cooling = regimen.post_cooling.signed();
    stretches.push(("post-cooling", stages.hair_loss_drug_end, stages.cooling_off, post_cooling));
    for (step, times) in regimen.steps.iter().zip(&planned.steps) {
        if step.hair_loss {
            let start = stages.cooling_on;
            stretches.push(("pre-cooling", start, times.start, pre_cooling(visit, &list.unit)));
        }
        if counts(step, &list.unit) {
            let flush = if list.unit.rules.flush_counts { step.flush.signed() } else { 0 };
            stretches.push(("post-cooling", times.end, stages.cooling_off, flush + post_cooling));
        }
    }
    if let Some(last) = planned.steps.last() {
        stretches.push(("the wait for the last drug", last.free, planned.leave, 0));
    }
    stretches
}

/// The breach of a stretch that is too short.
fn cut_short(visit: &Visit, (name, from, until, least): Stretch) -> Option<Breach> {
    let length = until.minutes() - from.minutes();
    (length < least).then(|| {
        let (found, expected) = (format!("{length} min"), format!("at least {least} min"));
        Breach::new(Promise::Minimum(name), Subject::Line(visit.line), found, expected)
    })
}

/// A regimen with two or more hair-loss drugs has the unit's post-cooling or says why not.
fn several_hair_loss_drugs(list: &DayList, visit: &Visit, regimen: &Regimen) -> Option<Breach> {
    let several = regimen.steps.iter().filter(|step| step.hair_loss).count() >= 2;
    let usual = list.unit.minutes.post_cooling.signed();
    let own = regimen.post_cooling.signed();
    let reason = regimen.post_cooling_exception.as_deref().is_some_and(|text| !text.trim().is_empty());
    (visit.cooled && several && own < usual && !reason).then(|| {
        let promise = Promise::PostCoolingOfSeveralDrugs;
        let expected = format!("at least {usual} min");
        Breach::new(promise, Subject::Line(visit.line), format!("{own} min"), expected)
    })
}
