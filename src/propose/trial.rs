//! Whether a day with other arrival times really fits: planned, allocated, surveyed and verified anew.
//!
//! Believes nothing of the search. What the changed day says is compared with what the listed day says.

use std::collections::{BTreeMap, BTreeSet};

use super::conflicts::Times;
use super::menu::Retimed;
use super::search::{Judge, Tried};
use crate::allocate::{Cooling, Served, allocate, serves_everyone};
use crate::clock::{Moment, Span};
use crate::plan::{CoolingStages, DayPlan, plan};
use crate::survey::{Caution, survey};
use crate::validate::DayList;
use crate::verify::{VerifiedDay, verify};

/// What a trial costs that did not find room for everyone at once, in trials that did.
const LONG_TRIAL: u32 = 10;

/// Where machines may move, a trial of so many visits costs as much as one where none may.
const VISITS_OF_A_TRIAL: usize = 8;

/// Tries days of one list.
pub(super) struct Trial<'a> {
    pub day: &'a VerifiedDay,
    /// Every visit's times.
    pub menu: &'a [Vec<Retimed>],
}

impl Judge for Trial<'_> {
    fn outlets(&self, places: &[usize], left_out: &BTreeSet<usize>, trials: &mut u32) -> Tried {
        let asks =
            |visit: &usize| self.menu[*visit][places[*visit]].ask.is_some() && !left_out.contains(visit);
        let times: Times =
            (0..places.len()).filter(asks).map(|visit| (visit, BTreeSet::from([places[visit]]))).collect();
        match self.served(&times, trials) {
            Served::Everyone => Tried::Fits,
            Served::NotKnown => Tried::Not { times, proven: false },
            Served::NotEveryone => {
                let few = self.fewest_unserved(times, trials);
                Tried::Not { times: self.at_more_times(few, trials), proven: true }
            }
        }
    }

    /// Tries the whole day as a new list would be treated.
    fn whole(&self, places: &[usize], left_out: &BTreeSet<usize>, trials: &mut u32) -> Tried {
        *trials = trials.saturating_sub(LONG_TRIAL.saturating_mul(self.weight()));
        let moved = || (0..places.len()).filter(|&visit| places[visit] != 0);
        let arrivals = moved().map(|visit| (visit, self.menu[visit][places[visit]].plan.arrive));
        let fits = anew(self.day.list().with_arrivals(arrivals))
            .is_some_and(|after| is_no_worse(self.day, &after, left_out.len()));
        let times = moved().map(|visit| (visit, BTreeSet::from([places[visit]]))).collect();
        if fits { Tried::Fits } else { Tried::Not { times, proven: false } }
    }
}

impl Trial<'_> {
    /// How much a trial costs in this unit.
    fn weight(&self) -> u32 {
        let movable = self.day.list().unit.machines.iter().any(|machine| machine.movable);
        let visits = self.menu.len().div_ceil(VISITS_OF_A_TRIAL);
        if movable { u32::try_from(visits).unwrap_or(u32::MAX) } else { 1 }
    }

    /// Whether all of these can have an outlet for the part of their time that is the same at each of
    /// their times, nobody else being there.
    fn served(&self, times: &Times, trials: &mut u32) -> Served {
        let planned = |visit: usize| {
            let mut planned = self.menu[visit][0].plan.clone();
            planned.cooling = times.get(&visit).and_then(|places| self.in_common(visit, places));
            planned
        };
        let plan = DayPlan { visits: (0..self.menu.len()).map(planned).collect() };
        let served = serves_everyone(self.day.list(), &plan);
        let cost = if served == Served::Everyone { 1 } else { LONG_TRIAL };
        *trials = trials.saturating_sub(cost.saturating_mul(self.weight()));
        served
    }

    /// The part of a visit's cooling that is the same at each of its times.
    fn in_common(&self, visit: usize, places: &BTreeSet<usize>) -> Option<CoolingStages> {
        let all = places.iter().map(|&place| self.menu[visit][place].plan.cooling.clone());
        let common = all.reduce(|one, other| {
            let (one, other) = (one?, other?);
            Some(CoolingStages {
                prepare: one.prepare.max(other.prepare),
                cooling_on: one.cooling_on.max(other.cooling_on),
                cooling_off: one.cooling_off.min(other.cooling_off),
                cap_off: one.cap_off.min(other.cap_off),
                ..one
            })
        });
        common.flatten().filter(|stages| stages.cooling_on < stages.cooling_off)
    }

    /// A few of the people who cannot all be served, found by leaving out whom the proof does not need.
    fn fewest_unserved(&self, times: Times, trials: &mut u32) -> Times {
        let mut few = times;
        let mut size = few.len() / 2;
        while size > 0 {
            let mut from = 0;
            while from < few.len() && *trials > 0 {
                let fewer: Times = few
                    .iter()
                    .enumerate()
                    .filter(|(place, _)| !(from..from + size).contains(place))
                    .map(|(_, (visit, places))| (*visit, places.clone()))
                    .collect();
                if self.served(&fewer, trials) == Served::NotEveryone {
                    few = fewer;
                } else {
                    from += size;
                }
            }
            size /= 2;
        }
        few
    }

    /// The same people at as many more times as the proof allows: each in turn as much earlier and as
    /// much later as the part of the time that stays the same still cannot be served.
    fn at_more_times(&self, mut times: Times, trials: &mut u32) -> Times {
        let visits: Vec<usize> = times.keys().copied().collect();
        for visit in visits {
            let mut order: Vec<usize> = (0..self.menu[visit].len()).collect();
            order.sort_by_key(|&place| self.menu[visit][place].change);
            let Some(now) = order.iter().position(|place| times[&visit].contains(place)) else { continue };
            let (mut first, mut last) = (now, now);
            let mut holds = |first: usize, last: usize| {
                let mut wider = times.clone();
                wider.insert(visit, order[first..=last].iter().copied().collect());
                *trials > 0 && self.served(&wider, trials) == Served::NotEveryone
            };
            last += furthest(order.len() - 1 - last, |by| holds(first, last + by));
            first -= furthest(first, |by| holds(first - by, last));
            times.insert(visit, order[first..=last].iter().copied().collect());
        }
        times
    }
}

/// The largest number up to `most` that holds, where a number holds if a larger one does; 0 does.
fn furthest(most: usize, mut holds: impl FnMut(usize) -> bool) -> usize {
    let (mut low, mut high) = (0, most);
    if high > 0 && holds(high) {
        return high;
    }
    while high > low + 1 {
        let middle = usize::midpoint(low, high);
        if holds(middle) { low = middle } else { high = middle }
    }
    low
}

/// A list's day from the beginning; `None` if it does not pass its own check.
pub(super) fn anew(list: DayList) -> Option<VerifiedDay> {
    let plan = plan(&list);
    let allocation = allocate(&list, &plan);
    let cautions = survey(&list, &plan, &allocation);
    verify(list, plan, allocation, cautions).ok()
}

/// Whether a changed day has at most so many people without an outlet, all of them without one before,
/// and no caution of harm that the day did not have before.
pub(crate) fn is_no_worse(before: &VerifiedDay, after: &VerifiedDay, most_without: usize) -> bool {
    let (without_before, without_after) = (without(before), without(after));
    let harms = Harms::of(before);
    without_after.len() <= most_without
        && without_after.is_subset(&without_before)
        && after.cautions().iter().all(|caution| harms.cover(after, caution))
}

/// Whether a bay lacks hands, as these cautions have it, only where it did before and no more of them.
pub(crate) fn has_no_new_shortage(before: &VerifiedDay, nurses: &[Caution]) -> bool {
    nurses.iter().all(|caution| before.cautions().iter().any(|known| covers(known, caution)))
}

/// The lines of those without an outlet.
fn without(day: &VerifiedDay) -> BTreeSet<u32> {
    let visits = day.list().visits.iter().zip(&day.allocation().visits);
    visits.filter(|(_, cooling)| matches!(cooling, Cooling::Without(_))).map(|(row, _)| row.line).collect()
}

/// What a day's cautions say of harm, in terms that outlast a change of the visits' order.
struct Harms<'a> {
    day: &'a VerifiedDay,
    /// Of visits, by the kind of caution and the lines.
    of_visits: BTreeMap<(&'static str, Vec<u32>), &'a Caution>,
}

impl<'a> Harms<'a> {
    fn of(day: &'a VerifiedDay) -> Self {
        let of_visits = day.cautions().iter().map(|caution| ((caution.kind(), lines(day, caution)), caution));
        Self { day, of_visits: of_visits.collect() }
    }

    /// Whether a caution of a changed day is no harm, or no more of it than before. Moves, alerts and
    /// hand-overs that are only shorter than wished are work, not harm.
    fn cover(&self, after: &VerifiedDay, caution: &Caution) -> bool {
        match caution {
            Caution::NursesShort { .. } | Caution::MachineBeforeOpening { .. } => {
                self.day.cautions().iter().any(|before| covers(before, caution))
            }
            Caution::ClosingPassed { .. }
            | Caution::BeforeOpening { .. }
            | Caution::LeaveByMissed { .. }
            | Caution::DrugsLate { .. }
            | Caution::ChairDoubleBooked { .. } => {
                let before = self.of_visits.get(&(caution.kind(), lines(after, caution)));
                before.is_some_and(|before| covers(before, caution))
            }
            _ => true,
        }
    }
}

/// The lines of the visits that a caution is about, in order.
fn lines(day: &VerifiedDay, caution: &Caution) -> Vec<u32> {
    let mut lines: Vec<u32> = caution.visits().iter().map(|&visit| day.list().visits[visit].line).collect();
    lines.sort_unstable();
    lines
}

/// Whether a caution is about as much harm as another of its kind and of the same people, or more.
fn covers(before: &Caution, after: &Caution) -> bool {
    match (before, after) {
        (Caution::ClosingPassed { leave: before, .. }, Caution::ClosingPassed { leave: after, .. })
        | (Caution::LeaveByMissed { leave: before, .. }, Caution::LeaveByMissed { leave: after, .. }) => {
            after <= before
        }
        (Caution::BeforeOpening { .. }, Caution::BeforeOpening { .. }) => true,
        (Caution::DrugsLate { needed_by: before, .. }, Caution::DrugsLate { needed_by: after, .. }) => {
            after >= before
        }
        (Caution::ChairDoubleBooked { both: before, .. }, Caution::ChairDoubleBooked { both: after, .. }) => {
            is_within(*after, *before)
        }
        (
            Caution::NursesShort { bay: one, when: before, needed: had, .. },
            Caution::NursesShort { bay: other, when: after, needed: has, .. },
        ) => one == other && is_within(*after, *before) && has <= had,
        (
            Caution::MachineBeforeOpening { machine: one, switch_on: before },
            Caution::MachineBeforeOpening { machine: other, switch_on: after },
        ) => one == other && earlier_or_same(*before, *after),
        _ => false,
    }
}

fn is_within(inner: Span, outer: Span) -> bool {
    outer.from <= inner.from && inner.until <= outer.until
}

fn earlier_or_same(before: Moment, after: Moment) -> bool {
    before <= after
}
