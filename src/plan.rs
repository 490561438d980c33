//! Stage times of every visit, by the definitions of the trade.
//!
//! Each visit is planned by itself: no other row, no machine and no order of rows changes it.

use chrono::NaiveDateTime;

use crate::clock::{Minutes, Moment, Span};
use crate::patient::{Hair, Visit};
use crate::unit_rules::{CoolingStart, PostCoolingFrom, Regimen, Step, Unit};
use crate::validate::DayList;

/// The planned day: one plan a visit, in the order of [`DayList::visits`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DayPlan {
    /// The visits' plans.
    pub visits: Vec<VisitPlan>,
}

/// The plan of one visit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct VisitPlan {
    /// When the patient arrives.
    pub arrive: Moment,
    /// When pre-medication is due: the lead before the first drug, never before settling.
    pub premed: Moment,
    /// The stages of cooling; `None` for a patient who is not cooled.
    pub cooling: Option<CoolingStages>,
    /// The drugs in order of giving.
    pub steps: Vec<PlannedStep>,
    /// When the patient may leave.
    pub leave: Moment,
}

impl VisitPlan {
    /// When the chair is taken: from arrival until it is ready for the next patient.
    #[must_use]
    pub fn chair_hold(&self, unit: &Unit) -> Span {
        Span::new(self.arrive, self.leave + unit.minutes.chair_turnaround)
    }
}

/// The stages of a cooled visit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CoolingStages {
    /// Hair preparation starts.
    pub prepare: Moment,
    /// The cap is connected.
    pub cooling_on: Moment,
    /// The first hair-loss drug starts.
    pub hair_loss_drug_start: Moment,
    /// The post-cooling clock starts.
    pub hair_loss_drug_end: Moment,
    /// The cap is disconnected and stays on.
    pub cooling_off: Moment,
    /// The cap may come off.
    pub cap_off: Moment,
    /// The conditioner is rinsed out by this local date and time.
    pub rinse_by: NaiveDateTime,
    /// The minimum between `cooling_on` and `hair_loss_drug_start`.
    pub pre_cooling: Minutes,
    /// The minimum between `hair_loss_drug_end` and `cooling_off`.
    pub post_cooling: Minutes,
}

impl CoolingStages {
    /// When an outlet is taken: until it is clean again.
    #[must_use]
    pub fn outlet_hold(&self, unit: &Unit) -> Span {
        Span::new(self.cooling_on, self.cooling_off + unit.minutes.outlet_clean)
    }

    /// When a cap of the unit is taken: until it is clean again.
    #[must_use]
    pub fn cap_hold(&self, unit: &Unit) -> Span {
        Span::new(self.prepare, self.cap_off + unit.minutes.cap_clean)
    }
}

/// One drug of a visit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PlannedStep {
    /// When it starts.
    pub start: Moment,
    /// When its infusion ends.
    pub end: Moment,
    /// When its flush and observation are over too.
    pub free: Moment,
}

/// Plans every visit of the list.
#[must_use]
pub fn plan(list: &DayList) -> DayPlan {
    DayPlan { visits: list.visits.iter().map(|visit| plan_visit(visit, list)).collect() }
}

/// Plans one visit of the list, or a changed copy of one. The names of the steps are those of the
/// trade's definitions.
#[must_use]
pub fn plan_visit(visit: &Visit, list: &DayList) -> VisitPlan {
    let (unit, regimen) = (&list.unit, list.regimen(visit.regimen));
    let settled = visit.arrive + unit.minutes.settle;
    let earliest = settled + regimen.premed_lead;
    let drugs_from = visit.drugs_ready.map_or(earliest, |ready| earliest.max(ready));
    let premed = drugs_from - regimen.premed_lead;

    let first_hair_loss = regimen.first_hair_loss().filter(|_| visit.cooled);
    let (before, rest) = regimen.steps.split_at(first_hair_loss.unwrap_or(regimen.steps.len()));
    let mut steps = run(before, drugs_from, visit);
    let lead_end = steps.last().map_or(drugs_from, |step| step.free);
    if first_hair_loss.is_none() {
        return VisitPlan { arrive: visit.arrive, premed, cooling: None, steps, leave: lead_end };
    }

    let prepare_minutes = prepare_minutes(visit, unit);
    let fitted = settled + prepare_minutes;
    let pre_cooling = pre_cooling(visit, unit);
    let hair_loss_drug_start = lead_end.max(fitted + pre_cooling);
    let cooling_on = match unit.rules.cooling_start {
        CoolingStart::InTime => hair_loss_drug_start - pre_cooling,
        CoolingStart::AtOnce => fitted,
    };
    steps.extend(run(rest, hair_loss_drug_start, visit));

    let counted = counted_step(regimen, unit);
    let flush = if unit.rules.flush_counts { regimen.steps[counted].flush } else { Minutes::new(0) };
    let hair_loss_drug_end = steps[counted].end + flush;
    let cooling_off = hair_loss_drug_end + regimen.post_cooling;
    let cap_off = cooling_off + unit.minutes.warm_up;
    let all_given = steps.last().map_or(lead_end, |step| step.free);
    VisitPlan {
        arrive: visit.arrive,
        premed,
        cooling: Some(CoolingStages {
            prepare: cooling_on - prepare_minutes,
            cooling_on,
            hair_loss_drug_start,
            hair_loss_drug_end,
            cooling_off,
            cap_off,
            rinse_by: cooling_off.plus_elapsed_hours(unit.rinse_within_hours, list.day, unit.time_zone),
            pre_cooling,
            post_cooling: regimen.post_cooling,
        }),
        steps,
        leave: (cap_off + unit.minutes.seated).max(all_given),
    }
}

/// The steps run one after another from `from`.
fn run(steps: &[Step], from: Moment, visit: &Visit) -> Vec<PlannedStep> {
    let mut start = from;
    let plan_step = |step: &Step| {
        let end = start + step.infusion(visit.is_first());
        let free = end + step.flush + step.observation(visit.is_first());
        let planned = PlannedStep { start, end, free };
        start = free;
        planned
    };
    steps.iter().map(plan_step).collect()
}

/// Minutes of hair preparation and cap fitting.
#[must_use]
pub const fn prepare_minutes(visit: &Visit, unit: &Unit) -> Minutes {
    if visit.is_first() { unit.minutes.prepare_first } else { unit.minutes.prepare_return }
}

/// Minutes of pre-cooling; the longer ones where the hair is not recorded.
fn pre_cooling(visit: &Visit, unit: &Unit) -> Minutes {
    match visit.hair {
        Some(Hair::Fine | Hair::Medium) => unit.minutes.pre_cooling,
        Some(Hair::Thick) => unit.minutes.pre_cooling_thick,
        None => unit.minutes.pre_cooling_thick.max(unit.minutes.pre_cooling),
    }
}

/// The place of the step whose end starts the post-cooling clock: the last hair-loss drug, or the
/// last cytotoxic one, as the unit chooses.
#[must_use]
pub fn counted_step(regimen: &Regimen, unit: &Unit) -> usize {
    let counts = |step: &Step| match unit.rules.post_cooling_from {
        PostCoolingFrom::LastHairLossDrug => step.hair_loss,
        PostCoolingFrom::LastCytotoxicDrug => step.cytotoxic || step.hair_loss,
    };
    regimen.steps.iter().rposition(counts).unwrap_or(0)
}
