//! When the day does not fit: the least change of arrival times that makes it fit, as a proposal.
//!
//! Changes nothing itself. In this order: as few cooled patients as can be without an outlet, least
//! total minutes of change, fewest people asked. Arrivals change by whole steps of five minutes within
//! the unit's `retime_earlier` and `retime_later`. A proposal breaks no chair, cap, closing or leaving
//! time, takes no outlet from anybody who has one, and adds no caution of harm; what it would come to
//! is planned, allocated, surveyed and verified like any day before it is believed.

mod conflicts;
mod menu;
mod search;
mod trial;

use std::collections::BTreeSet;

use self::conflicts::Ground;
use self::menu::menu;
use self::search::{Judge, Order, Outcome, Search, Tried, Work};
use self::trial::Trial;
pub(crate) use self::trial::{has_no_new_shortage, is_no_worse};
use crate::allocate::Cooling;
use crate::clash::Supply;
use crate::clock::{Minutes, Moment};
use crate::verify::VerifiedDay;

/// What is proposed for a day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Advice {
    /// Every cooled patient has an outlet.
    NothingNeeded,
    /// The unit allows no change of arrival times.
    NotAllowed,
    /// No change was found that gives an outlet to anybody more; `proven` if there is none.
    NothingHelps { proven: bool },
    /// Ask these people to come at other times.
    Retime(Proposal),
}

/// A change of arrival times that gives more patients an outlet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Proposal {
    /// Who is asked, in the order of the list.
    pub changes: Vec<Change>,
    /// Cooled patients without an outlet as listed.
    pub without_before: usize,
    /// Who is still without one, places in the list's visits.
    pub still_without: Vec<usize>,
    /// Whether no proposal within the limits leaves fewer without, changes fewer minutes with as few
    /// without, or asks fewer people for as few minutes.
    pub proven: bool,
}

impl Proposal {
    /// Minutes of change of all people together.
    #[must_use]
    pub fn total(&self) -> Minutes {
        let minutes = |change: &Change| change.to.since(change.from) + change.from.since(change.to);
        self.changes.iter().map(minutes).sum()
    }
}

/// One person's change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Change {
    /// The visit's place in the list's visits.
    pub visit: usize,
    /// The listed arrival.
    pub from: Moment,
    /// The proposed arrival.
    pub to: Moment,
}

/// Days that are looked at and days that are tried in all: enough for a unit's day with a few shortfalls.
const WORK: Work = Work { days: 24_000, trials: 6000 };

/// The most sets of people left out that are looked at for one number of them.
const MOST_ROOTS: usize = 500;

/// Looks for a proposal.
#[must_use]
pub fn propose(day: &VerifiedDay) -> Advice {
    let visits = day.allocation().visits.iter().enumerate();
    let without: Vec<usize> = visits
        .filter(|(_, cooling)| matches!(cooling, Cooling::Without(_)))
        .map(|(visit, _)| visit)
        .collect();
    if without.is_empty() {
        return Advice::NothingNeeded;
    }
    let rules = &day.list().unit.rules;
    if rules.retime_earlier.signed() < menu::STEP && rules.retime_later.signed() < menu::STEP {
        return Advice::NotAllowed;
    }
    let supply = Supply::of(&day.list().unit);
    let menu = menu(day, &supply);
    let mut ground = Ground::new(day.list(), supply, &menu);
    let judge = Trial { day, menu: &menu };
    let mut work = WORK;
    let mut proven = true;
    for left_out in 0..without.len() {
        let is_last = left_out + 1 == without.len();
        let outcome = with_left_out(&judge, &mut ground, &without, left_out, is_last, &mut work);
        proven &= outcome.complete;
        if let Some(places) = outcome.places {
            return Advice::Retime(proposal(&ground, &places, without.len(), outcome.left_out, proven));
        }
    }
    Advice::NothingHelps { proven }
}

/// Looks for the cheapest day on which so many of those without an outlet still have none.
fn with_left_out(
    judge: &Trial<'_>,
    ground: &mut Ground<'_>,
    without: &[usize],
    left_out: usize,
    is_last: bool,
    work: &mut Work,
) -> Outcome {
    let mut roots = subsets(without, left_out);
    let all_roots = roots.len() <= MOST_ROOTS;
    roots.truncate(MOST_ROOTS);
    let share = if is_last { 1 } else { 2 };
    let mut spend = |order: Order, part: u32| {
        let own = Work { days: work.days / share * part / 4, trials: work.trials / share * part / 4 };
        let mut search = Search { ground: &mut *ground, roots: &roots, order, work: own, judge };
        let outcome = search.run();
        work.days -= own.days - search.work.days;
        work.trials -= own.trials - search.work.trials;
        outcome
    };
    let mut outcome = spend(Order::Cheapest, 3);
    if outcome.places.is_none() && !outcome.complete {
        outcome = spend(Order::Fewest, 4);
        outcome.complete = false;
        if let Some(places) = &mut outcome.places {
            lessen(judge, ground, places, &outcome.left_out, &mut work.trials);
        }
    }
    outcome.complete &= all_roots;
    outcome
}

/// Takes back as much of each change as can be taken back while everybody else stays, the largest first.
fn lessen(
    judge: &Trial<'_>,
    ground: &Ground<'_>,
    places: &mut [usize],
    left_out: &BTreeSet<usize>,
    trials: &mut u32,
) {
    let mut moved: Vec<usize> = (0..places.len()).filter(|&visit| places[visit] != 0).collect();
    moved.sort_by_key(|&visit| std::cmp::Reverse(places[visit]));
    let mut less = true;
    while less {
        less = false;
        for &visit in &moved {
            let now = places[visit];
            for place in 0..now {
                places[visit] = place;
                let cheaper = ground.at(visit, place).cost() < ground.at(visit, now).cost();
                if cheaper
                    && *trials > 0
                    && ground.conflicts(places, left_out).is_empty()
                    && matches!(judge.outlets(places, left_out, trials), Tried::Fits)
                    && matches!(judge.whole(places, left_out, trials), Tried::Fits)
                {
                    less = true;
                    break;
                }
                places[visit] = now;
            }
        }
    }
}

/// Every set of so many of `people`, in the order of their places, at most one more than are used.
fn subsets(people: &[usize], size: usize) -> Vec<BTreeSet<usize>> {
    let mut sets = Vec::new();
    let mut places: Vec<usize> = (0..size).collect();
    while sets.len() <= MOST_ROOTS {
        sets.push(places.iter().map(|&place| people[place]).collect());
        // The last place that can still go on does so, and those behind it follow it closely.
        let Some(on) = (0..size).rev().find(|&on| places[on] + size - on < people.len()) else { break };
        places[on] += 1;
        for after in on + 1..size {
            places[after] = places[after - 1] + 1;
        }
    }
    sets
}

/// The day's changes as a proposal.
fn proposal(
    ground: &Ground<'_>,
    places: &[usize],
    without_before: usize,
    left_out: BTreeSet<usize>,
    proven: bool,
) -> Proposal {
    let moved = (0..places.len()).filter(|&visit| places[visit] != 0);
    let changes = moved
        .map(|visit| {
            let (from, to) = (ground.at(visit, 0).plan.arrive, ground.at(visit, places[visit]).plan.arrive);
            Change { visit, from, to }
        })
        .collect();
    Proposal { changes, without_before, still_without: left_out.into_iter().collect(), proven }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn subsets_are_all_there_in_order_and_no_more_than_are_used() {
        let sets = |people: &[usize], size| -> Vec<Vec<usize>> {
            subsets(people, size).into_iter().map(|set| set.into_iter().collect()).collect()
        };
        assert_eq!(sets(&[3, 5, 7, 9], 2), [[3, 5], [3, 7], [3, 9], [5, 7], [5, 9], [7, 9]]);
        assert_eq!(sets(&[3, 5], 0), [Vec::<usize>::new()]);
        assert_eq!(sets(&[3, 5], 2), [[3, 5]]);
        let many: Vec<usize> = (0..60).collect();
        assert_eq!(subsets(&many, 30).len(), MOST_ROOTS + 1);
    }
}
