//! Drugs that come so late that closing or the leaving time is missed by it.

use crate::clock::Moment;
use crate::patient::Visit;
use crate::survey::Caution;
use crate::validate::DayList;

use super::breach::{Breach, Promise, Subject};
use super::cautions::{kind, text};
use super::timetable::{self, Minute, Timetable};

/// What is wrong with the cautions about late drugs.
pub(super) fn check(list: &DayList, day: &[Timetable], given: &[Caution]) -> Vec<Breach> {
    let mut breaches = Vec::new();
    for caution in given {
        let Caution::DrugsLate { visit, ready, needed_by } = caution else { continue };
        let row = list.visits.get(*visit).zip(day.get(*visit));
        let is_so = row.is_some_and(|(row, times)| {
            row.drugs_ready == Some(*ready) && may_be_said(list, row, times, *needed_by)
        });
        if !is_so {
            let promise = Promise::CautionIsTrue(kind(caution));
            let line = row.map_or(Subject::Day, |(row, _)| Subject::Line(row.line));
            let expected = "drugs that make the visit late, with the last time at which they would not";
            breaches.push(Breach::new(promise, line, text(list, caution), expected));
        }
    }
    for (visit, (row, times)) in list.visits.iter().zip(day).enumerate() {
        let said = given
            .iter()
            .any(|caution| matches!(caution, Caution::DrugsLate { visit: of, .. } if *of == visit));
        if !said && must_be_said(list, row, times) {
            let subject = Subject::Line(row.line);
            let expected = "a caution: a limit is missed by the drugs' lateness";
            breaches.push(Breach::new(
                Promise::Cautioned("drugs late"),
                subject,
                "no such caution",
                expected,
            ));
        }
    }
    breaches
}

/// When the patient would leave if the drugs came at `ready`, or were there all along.
fn leave_if(list: &DayList, row: &Visit, ready: Option<Minute>) -> Option<Minute> {
    timetable::of_visit(list, row, ready).map(|times| times.leave)
}

/// The times that the visit's end should keep.
fn limits(list: &DayList, row: &Visit) -> Vec<Minute> {
    [Some(list.unit.closes), row.leave_by].into_iter().flatten().map(Moment::minutes).collect()
}

/// Whether a limit would be kept if the drugs were there, and is not.
fn must_be_said(list: &DayList, row: &Visit, times: &Timetable) -> bool {
    let in_time = leave_if(list, row, None);
    let misses = |limit: &Minute| in_time.is_some_and(|leave| leave <= *limit) && times.leave > *limit;
    row.drugs_ready.is_some() && limits(list, row).iter().any(misses)
}

/// Whether the drugs delay a visit that misses a limit, and would just not do so at `needed_by`;
/// or never, if there is no such time.
fn may_be_said(list: &DayList, row: &Visit, times: &Timetable, needed_by: Option<Moment>) -> bool {
    let Some(soonest) = leave_if(list, row, None) else { return false };
    let Some(limit) = limits(list, row).into_iter().min() else { return false };
    let keeps = |ready: Minute| leave_if(list, row, Some(ready)).is_some_and(|leave| leave <= limit);
    let in_time = match needed_by {
        Some(by) => keeps(by.minutes()) && !keeps(by.minutes() + 1),
        None => soonest > limit,
    };
    times.leave > limit && times.leave > soonest && in_time
}
