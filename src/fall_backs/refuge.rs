//! Outlets that are free at a minute, for whom and until when; and who takes which.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use super::{Limit, Refuge};
use crate::clock::{Moment, Span};
use crate::survey::VisitIndex;
use crate::unit_rules::MachineIndex;
use crate::verify::VerifiedDay;

/// The outlets of all machines but the one that fails, and who took which last.
pub(super) struct Refuges<'a> {
    day: &'a VerifiedDay,
    failed: MachineIndex,
    last: BTreeMap<VisitIndex, (MachineIndex, u8)>,
}

/// Patients and the outlets that they take.
type Answers = Vec<(VisitIndex, Option<Refuge>)>;

/// What answers are worth, the better the larger: patients to their end, minutes of cooling, answers
/// as a minute before, minutes to spare, and the outlets by their order.
type Value = (usize, u32, usize, u32, Reverse<Vec<Option<(MachineIndex, u8)>>>);

impl<'a> Refuges<'a> {
    /// The outlets of all machines but `failed`.
    pub fn besides(day: &'a VerifiedDay, failed: MachineIndex) -> Self {
        Self { day, failed, last: BTreeMap::new() }
    }

    /// Who takes which outlet if the machine fails at `at`: first those of `late` together, then those
    /// of `early` with what is left.
    pub fn matched(&mut self, at: Moment, late: &[VisitIndex], early: &[VisitIndex]) -> Answers {
        let mut answers = self.best(at, late, &[]);
        answers.extend(self.best(at, early, &answers));
        self.last = answers
            .iter()
            .filter_map(|(visit, refuge)| {
                Some((*visit, refuge.map(|refuge| (refuge.machine, refuge.number))?))
            })
            .collect();
        answers
    }

    /// The best answers for `visits`, of whom there are no more than a machine has outlets, besides
    /// those of `taken`: every way is tried.
    fn best(&self, at: Moment, visits: &[VisitIndex], taken: &[(VisitIndex, Option<Refuge>)]) -> Answers {
        let mut ways: Vec<Answers> = vec![Vec::new()];
        for &visit in visits {
            let choices = self.choices(visit, at);
            let longer = |way: &Answers| {
                let is_left = |choice: &Option<Refuge>| {
                    let mut others = taken.iter().chain(way).filter_map(|(_, refuge)| *refuge);
                    choice.is_none_or(|one| {
                        others.all(|other| (one.machine, one.number) != (other.machine, other.number))
                    })
                };
                let add = |choice: Option<Refuge>| way.iter().copied().chain([(visit, choice)]).collect();
                choices.iter().copied().filter(is_left).map(add).collect::<Vec<Answers>>()
            };
            ways = ways.iter().flat_map(longer).collect();
        }
        ways.into_iter().max_by_key(|way| self.value(at, way)).unwrap_or_default()
    }

    fn value(&self, at: Moment, way: &Answers) -> Value {
        let whole = way.iter().filter(|(_, refuge)| refuge.is_some_and(|refuge| refuge.to_the_end)).count();
        let stay = |visit: VisitIndex, refuge: &Refuge| {
            let end = self.cooling(visit).until;
            refuge.until.map_or(end, |(until, _)| until.min(end)).since(at).get()
        };
        let closes = self.day.list().unit.closes;
        let spare =
            |refuge: &Refuge| refuge.until.map_or(closes, |(until, _)| until.min(closes)).since(at).get();
        let taken = || way.iter().filter_map(|(visit, refuge)| Some((*visit, (*refuge)?)));
        let place = |refuge: Refuge| (refuge.machine, refuge.number);
        (
            whole,
            taken().map(|(visit, refuge)| stay(visit, &refuge)).sum(),
            taken().filter(|(visit, refuge)| self.last.get(visit) == Some(&place(*refuge))).count(),
            taken().map(|(_, refuge)| spare(&refuge)).sum(),
            Reverse(way.iter().map(|(_, refuge)| refuge.map(place)).collect()),
        )
    }

    /// Every outlet that the patient could take at `at`, and none.
    fn choices(&self, visit: VisitIndex, at: Moment) -> Vec<Option<Refuge>> {
        let mut choices = vec![None];
        for (place, machine) in self.day.list().unit.machines.iter().enumerate() {
            let index = MachineIndex(place);
            if index == self.failed || !self.is_cold_beside(visit, index, at) {
                continue;
            }
            let outlets = (1..=machine.outlets).filter_map(|number| self.refuge(visit, index, number, at));
            choices.extend(outlets.map(Some));
        }
        choices
    }

    /// Whether the machine is cold in the patient's bay: it is switched on for its first use, stays on,
    /// and starts anew after an outage of the whole of it.
    fn is_cold_beside(&self, visit: VisitIndex, machine: MachineIndex, at: Moment) -> bool {
        let (list, allocation) = (self.day.list(), self.day.allocation());
        let stopped = |used: Moment| {
            let stop = |outage: &crate::unit_rules::Outage| {
                outage.outlet.is_none() && outage.span.meets(Span::new(used, at.slipped(1)))
            };
            list.unit.machine(machine).out_of_service.iter().any(stop)
        };
        let mut used =
            allocation.holds_of(machine).map(|(_, hold)| hold.span.from).filter(|from| *from <= at);
        allocation.bay_at(&list.unit, machine, at) == Some(list.visits[visit].bay)
            && used.any(|from| !stopped(from))
    }

    /// The outlet for the patient, if it is free and in reach.
    fn refuge(&self, visit: VisitIndex, machine: MachineIndex, number: u8, at: Moment) -> Option<Refuge> {
        let limit = self.limits(visit, machine, number, at).into_iter().min_by_key(|(until, _)| *until);
        if limit.is_some_and(|(until, _)| until <= at) {
            return None;
        }
        let end = self.cooling(visit).until;
        let to_the_end = limit.is_none_or(|(until, _)| until >= end);
        Some(Refuge { machine, number, until: limit, to_the_end })
    }

    /// All that will need the outlet, or bars it already, each with the minute by which the patient is
    /// off it again: early enough to clean it.
    fn limits(
        &self,
        visit: VisitIndex,
        machine: MachineIndex,
        number: u8,
        at: Moment,
    ) -> Vec<(Moment, Limit)> {
        let (list, allocation) = (self.day.list(), self.day.allocation());
        let (unit, row) = (&list.unit, &list.visits[visit]);
        let clean = unit.minutes.outlet_clean;
        let mut limits = Vec::new();
        for (other, hold) in allocation.holds_of(machine) {
            if hold.number == number && hold.span.until > at {
                limits.push((hold.span.from - clean, Limit::Next(other)));
            }
            let cooling = self.cooling(other);
            let beside = list.visits[other].bay == row.bay;
            let reached = unit.bay(row.bay).reach_together(&row.chair, &list.visits[other].chair);
            if hold.number != number && cooling.until > at && beside && !reached {
                limits.push((cooling.from, Limit::OutOfReach(other)));
            }
        }
        let outages = unit.machine(machine).outages_of(number).map(|outage| outage.span);
        limits.extend(
            outages.filter(|span| span.until > at).map(|span| (span.from - clean, Limit::OutOfService)),
        );
        let moves = allocation.moves.iter().filter(|change| change.machine == machine);
        for change in moves.filter(|change| change.within.until > at) {
            // A verified day has no move but to the patient with whose connection it ends.
            let arrivals =
                allocation.holds_of(machine).filter(|(_, hold)| hold.span.from == change.within.until);
            limits.extend(arrivals.map(|(other, _)| (change.within.from - clean, Limit::Moved(other))));
        }
        limits
    }

    /// When the patient is connected by the plan; empty for one who is not cooled.
    fn cooling(&self, visit: VisitIndex) -> Span {
        let stages = self.day.plan().visits[visit].cooling.as_ref();
        stages.map_or(Span::new(Moment::default(), Moment::default()), |stages| {
            Span::new(stages.cooling_on, stages.cooling_off)
        })
    }
}
