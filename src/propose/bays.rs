//! The day put together from its bays: each searched alone, and together with those that it turns out
//! to stand in the way of.
//!
//! Chairs, hands and machines that stay tie nobody to another bay; caps and machines that move may. So
//! what is least for each group of bays alone is least for all, unless the groups get in each other's
//! way: then those that do become one. Must not believe a day before all of it is tried.

use std::collections::BTreeSet;

use super::conflicts::Ground;
use super::group::{Found, Group};
use super::search::{Judge, Tried, Work};

/// Days that are looked at and days that are tried in all: enough for a unit's day with a few shortfalls.
const WORK: Work = Work { days: 160_000, trials: 40_000 };

/// The day's bays.
pub(super) struct Bays<'a, 'b, J> {
    pub judge: &'a J,
    pub ground: Ground<'b>,
    /// Who has no outlet as listed.
    pub without: &'a [usize],
}

/// Bays that were searched together.
struct Together {
    bays: BTreeSet<usize>,
    found: Found,
}

/// Tries outlets only: whether the rest of the day fits is for the whole day to say.
struct OutletsOnly<'a, J>(&'a J);

impl<J: Judge> Judge for OutletsOnly<'_, J> {
    fn outlets(&self, places: &[usize], left_out: &BTreeSet<usize>, trials: &mut u32) -> Tried {
        self.0.outlets(places, left_out, trials)
    }

    fn whole(&self, _: &[usize], _: &BTreeSet<usize>, _: &mut u32) -> Tried {
        Tried::Fits
    }
}

impl<J: Judge> Bays<'_, '_, J> {
    /// The least change for the day.
    pub fn find(&mut self) -> Found {
        let mut work = WORK;
        let mut groups: Vec<Together> = Vec::new();
        let count = self.ground.list.unit.bays.len();
        if count < 2 {
            return self.whole_day(0, &mut work);
        }
        for bay in 0..count {
            let bays = BTreeSet::from([bay]);
            let share = u32::try_from(count - bay + 1).unwrap_or(u32::MAX);
            let found = self.alone(&bays, 0, &mut work, share);
            groups.push(Together { bays, found });
        }
        while groups.len() > 1 {
            let day = put_together(&groups);
            let Some(bays) = self.in_the_way(&day, &mut work) else { return day };
            let (meet, mut apart): (Vec<_>, Vec<_>) =
                groups.into_iter().partition(|group| !group.bays.is_disjoint(&bays));
            // What cannot be told apart by bays is looked at as a whole.
            let (meet, rest) = if meet.len() > 1 { (meet, apart) } else { (rejoin(meet, apart), Vec::new()) };
            apart = rest;
            let bays: BTreeSet<usize> = meet.iter().flat_map(|group| group.bays.clone()).collect();
            let proven = meet.iter().filter(|group| group.found.proven);
            let least = proven.map(|group| group.found.left_out.len()).sum();
            let found = if apart.is_empty() {
                self.whole_day(least, &mut work)
            } else {
                self.alone(&bays, least, &mut work, 2)
            };
            apart.push(Together { bays, found });
            groups = apart;
        }
        put_together(&groups)
    }

    /// The least change for some bays as if they were the whole unit, for a share of the work.
    fn alone(&mut self, bays: &BTreeSet<usize>, least: usize, work: &mut Work, share: u32) -> Found {
        let visits = self.ground.list.visits.iter().enumerate();
        let others: BTreeSet<usize> =
            visits.filter(|(_, row)| !bays.contains(&row.bay.0)).map(|(visit, _)| visit).collect();
        let without: Vec<usize> =
            self.without.iter().copied().filter(|visit| !others.contains(visit)).collect();
        if without.is_empty() {
            let places = vec![0; self.ground.menu.len()];
            return Found { places, left_out: BTreeSet::new(), proven: true };
        }
        let mut own = work.part(1, share);
        let given = own;
        let judge = OutletsOnly(self.judge);
        let ground = &mut self.ground;
        let found = Group { judge: &judge, ground, without, others, least_left_out: least }.find(&mut own);
        work.days -= given.days - own.days;
        work.trials -= given.trials - own.trials;
        found
    }

    /// The least change with everybody looked at together.
    fn whole_day(&mut self, least: usize, work: &mut Work) -> Found {
        let (without, others) = (self.without.to_vec(), BTreeSet::new());
        let (judge, ground) = (self.judge, &mut self.ground);
        Group { judge, ground, without, others, least_left_out: least }.find(work)
    }

    /// The bays that stand in each other's way on a day; none of them if it is the day as a whole that does
    /// not fit; `None` if it fits.
    fn in_the_way(&mut self, day: &Found, work: &mut Work) -> Option<BTreeSet<usize>> {
        let bays_of = |people: &mut dyn Iterator<Item = usize>| -> BTreeSet<usize> {
            people.map(|visit| self.ground.list.visits[visit].bay.0).collect()
        };
        let conflicts = self.ground.conflicts(&day.places, &day.left_out);
        if let Some(conflict) = conflicts.first() {
            return Some(bays_of(&mut conflict.people.iter().copied()));
        }
        match self.judge.outlets(&day.places, &day.left_out, &mut work.trials) {
            Tried::Fits => {}
            Tried::Not { times, .. } => return Some(bays_of(&mut times.keys().copied())),
        }
        match self.judge.whole(&day.places, &day.left_out, &mut work.trials) {
            Tried::Fits => None,
            Tried::Not { .. } => Some(BTreeSet::new()),
        }
    }
}

fn rejoin(mut one: Vec<Together>, other: Vec<Together>) -> Vec<Together> {
    one.extend(other);
    one
}

/// The day on which each group does what was found for it.
fn put_together(groups: &[Together]) -> Found {
    let mut day = Found { places: Vec::new(), left_out: BTreeSet::new(), proven: true };
    for Together { found, .. } in groups {
        day.places.resize(found.places.len(), 0);
        for (place, own) in day.places.iter_mut().zip(&found.places) {
            *place = (*place).max(*own);
        }
        day.left_out.extend(&found.left_out);
        day.proven &= found.proven;
    }
    day
}
