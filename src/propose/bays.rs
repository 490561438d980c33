//! The day put together from its bays: each searched alone, and again as far as it stands in another's way.
//!
//! Chairs, hands and machines that stay tie nobody to another bay; caps and machines that move may. So
//! what is least for each bay alone is least for all, unless bays get in each other's way. Then the
//! search goes on with one day for each person who can get out of the way, of which that person's bay
//! alone is searched again; what the bays cost in all bounds from below what such a day costs. Must
//! not believe a day before all of it is tried.

use std::cmp::Reverse;
use std::collections::{BTreeSet, BinaryHeap};
use std::rc::Rc;

use super::conflicts::{Conflict, Ground, not_together};
use super::group::{Found, Group, NoneFound};
use super::search::{Judge, Opens, Tried, Work, strongest, ways_out};

/// Days that are looked at and days that are tried in all: enough for a unit's day with a few shortfalls.
const WORK: Work = Work { days: 120_000, trials: 24_000 };

/// The day's bays.
pub(super) struct Bays<'a, 'b, J> {
    pub judge: &'a J,
    pub ground: Ground<'b>,
    /// Who has no outlet as listed.
    pub without: &'a [usize],
    /// Whether everything that was not looked at is ruled out.
    pub proven: bool,
}

/// Some days: what is open to whom, and the least change of each bay within that.
struct Branch {
    open: Opens,
    /// Who is to be left out.
    left_out: BTreeSet<usize>,
    bays: Vec<Rc<Found>>,
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

impl<'b, J: Judge> Bays<'_, 'b, J> {
    /// The least change for the day.
    pub fn find(&mut self) -> Found {
        let mut work = WORK;
        let in_parts = if self.ground.list.unit.bays.len() < 2 { None } else { self.in_parts(&mut work) };
        in_parts.unwrap_or_else(|| self.as_one(&mut work))
    }

    /// The least change with all bays looked at together.
    fn as_one(&mut self, work: &mut Work) -> Found {
        if !self.proven {
            // Some of it may only be likely, and this search is to stand by what it rules out.
            self.ground.learned.clear();
        }
        let (judge, without, others) = (self.judge, self.without.to_vec(), BTreeSet::new());
        let (ground, open) = (&mut self.ground, Opens::new());
        let listed =
            Found { places: Vec::new(), left_out: self.without.iter().copied().collect(), proven: false };
        let mut group = Group { judge, ground, without, others, open, least_left_out: 0 };
        group.find(work).unwrap_or(listed)
    }

    /// The least change, found bay by bay; `None` where the work was too much for that.
    fn in_parts(&mut self, work: &mut Work) -> Option<Found> {
        let mut left = work.part(1, 2);
        work.days -= left.days;
        work.trials -= left.trials;
        let first = self.first(&mut left)?;
        let mut queue = BinaryHeap::from([(Reverse((self.worth(&first), 0)), 0)]);
        let mut branches = vec![Some(first)];
        while let Some((_, place)) = queue.pop() {
            let Some(branch) = branches[place].take() else { continue };
            if left.days == 0 || left.trials == 0 {
                return None;
            }
            left.days -= 1;
            let mut day = put_together(&branch);
            let Some(conflict) = self.conflict(&branch.open, &day, &mut left) else {
                day.proven &= self.proven;
                return Some(day);
            };
            for branch in self.apart(&branch, &day, &conflict, &mut left) {
                queue.push((Reverse((self.worth(&branch), branches.len())), branches.len()));
                branches.push(Some(branch));
            }
        }
        None
    }

    /// Every bay as if it were alone.
    fn first(&mut self, work: &mut Work) -> Option<Branch> {
        let count = self.ground.list.unit.bays.len();
        let mut branch = Branch { open: Opens::new(), left_out: BTreeSet::new(), bays: Vec::new() };
        for bay in 0..count {
            let found = self.bay(bay, &branch, 0, work.part(1, 1 + to_number(count - bay)), work)?;
            branch.bays.push(Rc::new(found));
        }
        Some(branch)
    }

    /// People left out, minutes of change and people asked, of all bays together.
    fn worth(&self, branch: &Branch) -> (usize, u32, usize) {
        let day = put_together(branch);
        let changes = day.places.iter().enumerate().filter(|(_, place)| **place != 0);
        let minutes = changes.clone().map(|(visit, &place)| self.ground.at(visit, place).cost()).sum();
        (day.left_out.len(), minutes, changes.count())
    }

    /// The days in which one person of a conflict gets out of the way: comes at another time, or is left out.
    fn apart(&mut self, branch: &Branch, day: &Found, conflict: &Conflict, work: &mut Work) -> Vec<Branch> {
        let ways = ways_out(&self.ground, &branch.open, conflict, &day.places);
        let mut branches = Vec::new();
        for visit in ways.people.into_iter().filter(|visit| self.without.contains(visit)) {
            let mut left_out = branch.left_out.clone();
            left_out.insert(visit);
            let mut open = branch.open.clone();
            open.remove(&visit);
            branches.push((visit, Branch { open, left_out, bays: branch.bays.clone() }));
        }
        for (leaver, open) in ways.ways {
            let (left_out, bays) = (branch.left_out.clone(), branch.bays.clone());
            branches.push((leaver, Branch { open, left_out, bays }));
        }
        let mut found = Vec::new();
        for (visit, mut branch) in branches {
            let bay = self.ground.list.visits[visit].bay.0;
            let forced = self.forced(bay, &branch);
            let before = &branch.bays[bay];
            let least = if before.proven { before.left_out.len().saturating_sub(forced.len()) } else { 0 };
            if let Some(anew) = self.bay(bay, &branch, least, work.part(1, 8), work) {
                branch.bays[bay] = Rc::new(anew);
                found.push(branch);
            }
        }
        found
    }

    /// Who of a bay is to be left out.
    fn forced(&self, bay: usize, branch: &Branch) -> BTreeSet<usize> {
        let visits = &self.ground.list.visits;
        branch.left_out.iter().copied().filter(|&visit| visits[visit].bay.0 == bay).collect()
    }

    /// The least change of a bay as if it were alone, found with some of the work; `None` if none fits.
    fn bay(&mut self, bay: usize, branch: &Branch, least: usize, own: Work, all: &mut Work) -> Option<Found> {
        let visits = self.ground.list.visits.iter().enumerate();
        let mut others: BTreeSet<usize> =
            visits.filter(|(_, row)| row.bay.0 != bay).map(|(visit, _)| visit).collect();
        let open: Opens = branch
            .open
            .iter()
            .filter(|(visit, _)| !others.contains(visit))
            .map(|(v, o)| (*v, Rc::clone(o)))
            .collect();
        let forced = self.forced(bay, branch);
        others.extend(&forced);
        let without = self.without.iter().copied().filter(|visit| !others.contains(visit)).collect();
        let judge = OutletsOnly(self.judge);
        let ground = &mut self.ground;
        let mut left = own;
        let found =
            Group { judge: &judge, ground, without, others, open, least_left_out: least }.find(&mut left);
        all.days -= own.days - left.days;
        all.trials -= own.trials - left.trials;
        match found {
            Ok(mut found) => {
                found.left_out.extend(forced);
                self.proven &= found.proven;
                Some(found)
            }
            Err(NoneFound { proven }) => {
                self.proven &= proven;
                None
            }
        }
    }

    /// What keeps a day from fitting: of several conflicts the one that costs the most to resolve.
    fn conflict(&mut self, open: &Opens, day: &Found, work: &mut Work) -> Option<Conflict> {
        let weighed = |conflict: Conflict| {
            strongest(&self.ground, open, conflict.clone(), &day.places).unwrap_or((u32::MAX, conflict))
        };
        let conflicts = self.ground.conflicts(&day.places, &day.left_out).into_iter().map(weighed);
        if let Some((_, conflict)) = conflicts.max_by_key(|(least, _)| *least) {
            return Some(conflict);
        }
        let mut tried = self.judge.outlets(&day.places, &day.left_out, &mut work.trials);
        if matches!(tried, Tried::Fits) {
            tried = self.judge.whole(&day.places, &day.left_out, &mut work.trials);
        }
        let Tried::Not { times, proven } = tried else { return None };
        self.proven &= proven;
        let times = Rc::new(times);
        self.ground.learned.push(Rc::clone(&times));
        Some(not_together(&times))
    }
}

fn to_number(count: usize) -> u32 {
    u32::try_from(count).unwrap_or(u32::MAX)
}

/// The day on which each bay does what was found for it.
fn put_together(branch: &Branch) -> Found {
    let mut day = Found { places: Vec::new(), left_out: BTreeSet::new(), proven: true };
    for found in &branch.bays {
        day.places.resize(found.places.len(), 0);
        for (place, own) in day.places.iter_mut().zip(&found.places) {
            *place = (*place).max(*own);
        }
        day.left_out.extend(&found.left_out);
    }
    day
}
