//! The least change for some bays as if they were the whole unit: as few people as can be without an
//! outlet, then the cheapest day.
//!
//! Must not look at what other bays take; whoever puts groups together answers for that.

use std::collections::BTreeSet;

use super::conflicts::Ground;
use super::search::{Judge, Opens, Order, Outcome, Search, Tried, Work};

/// The most sets of people left out that are looked at for one number of them.
const MOST_ROOTS: usize = 500;

/// What was found for some bays, or for the day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Found {
    /// Everybody's place on their menu; the listed one for whoever is of other bays.
    pub places: Vec<usize>,
    /// Who has no outlet on that day.
    pub left_out: BTreeSet<usize>,
    /// Whether nothing better is possible.
    pub proven: bool,
}

/// That no day was found that fits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct NoneFound {
    /// Whether there is none.
    pub proven: bool,
}

/// Some people of a day, and whom to leave aside.
pub(super) struct Group<'a, 'b, J> {
    pub judge: &'a J,
    pub ground: &'a mut Ground<'b>,
    /// Who of them has no outlet as listed.
    pub without: Vec<usize>,
    /// The people of other bays, and whoever is to be left out.
    pub others: BTreeSet<usize>,
    /// What is open to them.
    pub open: Opens,
    /// How many of them must be left out at least.
    pub least_left_out: usize,
}

impl<J: Judge> Group<'_, '_, J> {
    /// Looks for the least change. Of the work for one number of people left out, half is kept for the
    /// numbers after it. Without a day that fits, whether there is none is proven or not.
    pub fn find(&mut self, work: &mut Work) -> Result<Found, NoneFound> {
        let mut proven = true;
        for left_out in self.least_left_out..=self.without.len() {
            let is_last = left_out == self.without.len();
            if is_last && self.open.is_empty() {
                let places = vec![0; self.ground.menu.len()];
                return Ok(Found { places, left_out: self.without.iter().copied().collect(), proven });
            }
            let outcome = self.with_left_out(left_out, if is_last { 1 } else { 2 }, work);
            proven &= outcome.complete;
            if let Some(places) = outcome.places {
                let left_out = outcome.left_out.difference(&self.others).copied().collect();
                return Ok(Found { places, left_out, proven });
            }
        }
        Err(NoneFound { proven })
    }

    /// Looks for the cheapest day on which so many of those without an outlet still have none.
    fn with_left_out(&mut self, left_out: usize, share: u32, work: &mut Work) -> Outcome {
        let mut roots = subsets(&self.without, left_out);
        let all_roots = roots.len() <= MOST_ROOTS;
        roots.truncate(MOST_ROOTS);
        roots.iter_mut().for_each(|root| root.extend(&self.others));
        let mut outcome = self.search(&roots, Order::Cheapest, work.part(3, 4 * share), work);
        if outcome.places.is_none() && !outcome.complete {
            outcome = self.search(&roots, Order::Fewest, work.part(1, share), work);
            outcome.complete = false;
            if let Some(places) = &mut outcome.places {
                self.lessen(places, &outcome.left_out, &mut work.trials);
            }
        }
        outcome.complete &= all_roots;
        outcome
    }

    /// One search, the work that it takes taken off `all`.
    fn search(&mut self, roots: &[BTreeSet<usize>], order: Order, own: Work, all: &mut Work) -> Outcome {
        let (judge, open) = (self.judge, &self.open);
        let mut search = Search { ground: &mut *self.ground, roots, open, order, work: own, judge };
        let outcome = search.run();
        all.days -= own.days - search.work.days;
        all.trials -= own.trials - search.work.trials;
        outcome
    }

    /// Takes back as much of each change as can be taken back while everybody else stays, the largest first.
    fn lessen(&self, places: &mut [usize], left_out: &BTreeSet<usize>, trials: &mut u32) {
        let mut moved: Vec<usize> = (0..places.len()).filter(|&visit| places[visit] != 0).collect();
        moved.sort_by_key(|&visit| std::cmp::Reverse(places[visit]));
        let mut less = true;
        while less {
            less = false;
            for &visit in &moved {
                let now = places[visit];
                for place in (0..now).filter(|place| self.is_open(visit, *place)) {
                    places[visit] = place;
                    let cheaper = self.ground.at(visit, place).cost() < self.ground.at(visit, now).cost();
                    if cheaper && *trials > 0 && self.fits(places, left_out, trials) {
                        less = true;
                        break;
                    }
                    places[visit] = now;
                }
            }
        }
    }

    fn is_open(&self, visit: usize, place: usize) -> bool {
        self.open.get(&visit).is_none_or(|open| open.contains(&place))
    }

    fn fits(&self, places: &[usize], left_out: &BTreeSet<usize>, trials: &mut u32) -> bool {
        self.ground.conflicts(places, left_out).is_empty()
            && matches!(self.judge.outlets(places, left_out, trials), Tried::Fits)
            && matches!(self.judge.whole(places, left_out, trials), Tried::Fits)
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

#[cfg(test)]
mod tests {
    use super::{MOST_ROOTS, subsets};

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
