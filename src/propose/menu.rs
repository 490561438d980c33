//! What each visit asks for at each arrival time that may be proposed.
//!
//! Leaves out every time that harms the patient whatever the others do; what people do to each other
//! is `conflicts`' matter.

use crate::clash::{Ask, Supply};
use crate::clock::{Moment, Span};
use crate::patient::Visit;
use crate::plan::{VisitPlan, plan_visit};
use crate::survey::{Caution, drugs_late, hands_on_visit};
use crate::validate::DayList;
use crate::verify::VerifiedDay;

/// Proposed arrivals differ from the listed ones by whole steps of so many minutes: finer times are
/// not kept by people who travel (common practice, no source).
pub(super) const STEP: i32 = 5;

/// The last minute of the day, and so the last arrival that a list may state.
const LAST_MINUTE: i32 = 24 * 60 - 1;

/// A visit at one arrival time.
#[derive(Clone, Debug)]
pub(super) struct Retimed {
    /// Minutes later than listed; negative if earlier.
    pub change: i32,
    /// The visit's plan.
    pub plan: VisitPlan,
    /// When the chair is taken.
    pub chair: Span,
    /// When a nurse's hands are needed, one entry a nurse.
    pub hands: Vec<Span>,
    /// What the cooling asks for.
    pub ask: Option<Ask>,
}

impl Retimed {
    /// Minutes by which the arrival changes, whichever way.
    pub const fn cost(&self) -> u32 {
        self.change.unsigned_abs()
    }
}

/// The arrival times of every visit, the listed one first, then by the size of the change; of two
/// changes of one size the later arrival comes first, for it is told to people in time more easily.
pub(super) fn menu(day: &VerifiedDay, supply: &Supply<'_>) -> Vec<Vec<Retimed>> {
    (0..day.list().visits.len()).map(|visit| times_of(day, visit, supply)).collect()
}

fn times_of(day: &VerifiedDay, visit: usize, supply: &Supply<'_>) -> Vec<Retimed> {
    let list = day.list();
    let rules = &list.unit.rules;
    let (earlier, later) = (rules.retime_earlier.signed() / STEP, rules.retime_later.signed() / STEP);
    let mut changes: Vec<i32> = (-earlier..=later).map(|steps| steps * STEP).collect();
    changes.sort_by_key(|change| (change.unsigned_abs(), -change));
    let row = &list.visits[visit];
    let retimed = |change: i32| {
        let arrive = row.arrive.slipped(change);
        let row = Visit { arrive, ..row.clone() };
        let plan = plan_visit(&row, list);
        let harmless = change == 0
            || ((0..=LAST_MINUTE).contains(&arrive.minutes())
                && !is_harmed(list, &list.visits[visit], &day.plan().visits[visit], &row, &plan));
        harmless.then(|| Retimed {
            change,
            chair: plan.chair_hold(&list.unit),
            hands: hands_on_visit(list, &row, &plan),
            ask: plan.cooling.as_ref().map(|stages| supply.ask(list, visit, stages)),
            plan,
        })
    };
    changes.into_iter().filter_map(retimed).collect()
}

/// Whether the changed visit misses a limit that the listed one keeps, or misses one by more.
fn is_harmed(list: &DayList, listed: &Visit, planned: &VisitPlan, row: &Visit, plan: &VisitPlan) -> bool {
    let unit = &list.unit;
    let too_early = |limit: Moment, before: Moment, after: Moment| after < limit && after < before;
    let too_late = |limit: Moment| plan.leave > limit && plan.leave > planned.leave;
    let switched_on_early = match (&planned.cooling, &plan.cooling) {
        (Some(before), Some(after)) => {
            too_early(unit.opens + unit.minutes.machine_start, before.cooling_on, after.cooling_on)
        }
        _ => false,
    };
    too_early(unit.opens, listed.arrive, row.arrive)
        || switched_on_early
        || too_late(unit.closes)
        || row.leave_by.is_some_and(too_late)
        || needed_by(list, row, plan) < needed_by(list, listed, planned)
}

/// How early drugs that come too late would be needed: the worst is that no time would do, the best
/// that they do not come too late.
fn needed_by(list: &DayList, row: &Visit, plan: &VisitPlan) -> (bool, Option<Moment>) {
    match drugs_late(0, row, plan.leave, list) {
        Some(Caution::DrugsLate { needed_by, .. }) => (false, needed_by),
        _ => (true, None),
    }
}
