//! Recomputes every promise of the day from the list alone, and only then lets it be printed.
//!
//! Verification trusts neither the plan nor the allocation nor the survey and calls none of them: it
//! has its own definitions of every time, hold and shortage, and compares. Whatever it cannot
//! confirm is a [`Breach`], and a day with a breach has no [`VerifiedDay`]. It must not repair
//! anything, and it knows nothing of how an answer was found.

mod breach;
mod cautions;
mod elapsed;
mod hands_on;
mod late_drugs;
mod machine_day;
mod minimums;
mod names;
mod outlets;
mod stages;
mod timetable;
mod worth;

pub use breach::{Breach, Promise, Subject};

use crate::allocate::Allocation;
use crate::plan::DayPlan;
use crate::survey::Caution;
use crate::validate::DayList;

use timetable::Timetable;

/// A day whose every promise was recomputed and found kept. Nothing else can be composed.
#[derive(Clone, Debug)]
pub struct VerifiedDay {
    list: DayList,
    plan: DayPlan,
    allocation: Allocation,
    cautions: Vec<Caution>,
}

impl VerifiedDay {
    /// The day's list.
    #[must_use]
    pub const fn list(&self) -> &DayList {
        &self.list
    }

    /// The plan, one entry a visit.
    #[must_use]
    pub const fn plan(&self) -> &DayPlan {
        &self.plan
    }

    /// The outlets, one entry a visit.
    #[must_use]
    pub const fn allocation(&self) -> &Allocation {
        &self.allocation
    }

    /// What somebody must act on, in the order of the front sheet.
    #[must_use]
    pub fn cautions(&self) -> &[Caution] {
        &self.cautions
    }
}

/// Takes a planned day apart and puts it together again.
///
/// # Errors
///
/// Every promise that the day does not keep: a time or a minimum, an outlet, a machine, a cap, a
/// figure of the machine plan, a shortage without a caution or a caution without a shortage.
pub fn verify(
    list: DayList,
    plan: DayPlan,
    allocation: Allocation,
    cautions: Vec<Caution>,
) -> Result<VerifiedDay, Vec<Breach>> {
    one_entry_a_visit(&list, &plan, &allocation)?;
    let day = timetables(&list)?;
    let held = outlets::holds(&list, &day, &allocation);
    let mut breaches = Vec::new();
    for ((visit, planned), due) in list.visits.iter().zip(&plan.visits).zip(&day) {
        breaches.extend(stages::check(&list, visit, planned, due));
        breaches.extend(minimums::check(&list, visit, planned));
    }
    breaches.extend(outlets::check(&list, &day, &allocation, &held));
    breaches.extend(worth::check(&list, &allocation, &held));
    breaches.extend(cautions::check(&list, &day, &allocation, &held, &cautions));
    if breaches.is_empty() { Ok(VerifiedDay { list, plan, allocation, cautions }) } else { Err(breaches) }
}

/// The plan and the allocation answer for each row, no more and no fewer.
fn one_entry_a_visit(list: &DayList, plan: &DayPlan, allocation: &Allocation) -> Result<(), Vec<Breach>> {
    let rows = list.visits.len();
    let answers = [("plans", plan.visits.len()), ("answers about an outlet", allocation.visits.len())];
    let wrong = answers.into_iter().filter(|(_, found)| *found != rows);
    let breaches: Vec<Breach> = wrong
        .map(|(what, found)| {
            let (found, expected) = (format!("{found} {what}"), rows.to_string());
            Breach::new(Promise::OneEntryAVisit, Subject::Day, found, expected)
        })
        .collect();
    if breaches.is_empty() { Ok(()) } else { Err(breaches) }
}

/// The recomputed times of every visit.
fn timetables(list: &DayList) -> Result<Vec<Timetable>, Vec<Breach>> {
    let mut day = Vec::with_capacity(list.visits.len());
    let mut breaches = Vec::new();
    for visit in &list.visits {
        let ready = visit.drugs_ready.map(crate::clock::Moment::minutes);
        match timetable::of_visit(list, visit, ready) {
            Some(times) => day.push(times),
            None => breaches.push(Breach::new(
                Promise::CooledForAHairLossDrug,
                Subject::Line(visit.line),
                "a regimen without a hair-loss drug",
                "one with a hair-loss drug, or no cooling",
            )),
        }
    }
    if breaches.is_empty() { Ok(day) } else { Err(breaches) }
}
