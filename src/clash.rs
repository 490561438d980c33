//! More people at one minute than a resource has: the kind of reason that a nurse can check by hand.
//!
//! Counts what people ask for against what is there, minute by minute. Every clash found is a proof
//! that somebody must go without; where none is found, machines' moves may still be in the way. Knows
//! nothing of who was given what.

use std::collections::BTreeSet;

use crate::clock::{Moment, Span};
use crate::plan::CoolingStages;
use crate::unit_rules::{BayIndex, CapSize, Unit};
use crate::validate::DayList;

/// A set of outlets, one bit each: those that are out of service at some time of the day, the first
/// 128 of them. More of them would be counted as always in service, which hides a clash and invents none.
pub(crate) type Shut = u128;

/// What one cooled patient asks of outlets and caps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Ask {
    /// The visit's place in the day list.
    pub visit: usize,
    /// The bay.
    pub bay: BayIndex,
    /// The place of the chair's group among its bay's, if hose reach parts the bay's chairs.
    pub group: Option<usize>,
    /// When an outlet is taken, clean-down included.
    pub hold: Span,
    /// When the patient is on the machine.
    pub cooling: Span,
    /// The unit's cap that is taken, and when.
    pub cap: Option<(CapSize, Span)>,
    /// The outlets that are out of service at some minute of `hold`.
    pub shut: Shut,
}

/// What is short.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Resource {
    /// Outlets that can serve these bays: of machines that stay there, and of all that may move.
    Outlets {
        /// The bays, in the unit's order.
        bays: Vec<BayIndex>,
        /// Whether machines that may move are among them.
        movable: bool,
        /// Whether only those count that are in service all through the time of each person named.
        all_through: bool,
    },
    /// Machines that can serve a bay whose chairs are not all within one machine's reach.
    Machines {
        /// The bay.
        bay: BayIndex,
    },
    /// Caps of a size.
    Caps(CapSize),
}

/// More people at one minute than a resource has.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Clash {
    /// What is short.
    pub resource: Resource,
    /// For how long exactly these people ask for it together.
    pub when: Span,
    /// Who asks for it (places in [`DayList::visits`]), in the order of their holds.
    pub people: Vec<usize>,
    /// How many are needed at once.
    pub needed: u32,
    /// How many there are.
    pub there: u32,
    /// The outlets that nobody of them can use.
    pub(crate) shut: Shut,
}

impl Clash {
    /// How many too many.
    #[must_use]
    pub const fn too_many(&self) -> u32 {
        self.needed - self.there
    }
}

/// An outlet that is out of service, or not cold again after it, for a part of the day.
struct PartTime {
    home: Option<BayIndex>,
    spans: Vec<Span>,
}

/// What the unit has, ready for counting.
pub(crate) struct Supply<'a> {
    unit: &'a Unit,
    /// Outlets of machines that stay in each bay, and of machines that may move.
    fixed: Vec<u32>,
    movable: u32,
    part_time: Vec<PartTime>,
}

impl<'a> Supply<'a> {
    /// What the unit has.
    pub fn of(unit: &'a Unit) -> Self {
        let mut supply = Self { unit, fixed: vec![0; unit.bays.len()], movable: 0, part_time: Vec::new() };
        for machine in &unit.machines {
            let home = (!machine.movable).then_some(machine.bay);
            match home {
                Some(bay) => supply.fixed[bay.0] += u32::from(machine.outlets),
                None => supply.movable += u32::from(machine.outlets),
            }
            for number in 1..=machine.outlets {
                let spans: Vec<Span> = machine.unusable(number, unit.minutes.machine_start).collect();
                if !spans.is_empty() && supply.part_time.len() < 128 {
                    supply.part_time.push(PartTime { home, spans });
                }
            }
        }
        supply
    }

    /// What a cooled visit asks for at these times.
    pub fn ask(&self, list: &DayList, visit: usize, stages: &CoolingStages) -> Ask {
        let (row, unit) = (&list.visits[visit], self.unit);
        let hold = stages.outlet_hold(unit);
        Ask {
            visit,
            bay: row.bay,
            group: group(unit, row.bay, &row.chair),
            hold,
            cooling: Span::new(stages.cooling_on, stages.cooling_off),
            cap: row.cap.filter(|_| !row.own_cap).map(|size| (size, stages.cap_hold(unit))),
            shut: self.shut_in(hold),
        }
    }

    /// The outlets that are out of service at some minute of a span.
    fn shut_in(&self, hold: Span) -> Shut {
        let out = |outlet: &PartTime| outlet.spans.iter().any(|span| span.meets(hold));
        self.bits(out)
    }

    fn bits(&self, chosen: impl Fn(&PartTime) -> bool) -> Shut {
        let all = self.part_time.iter().enumerate();
        all.filter(|(_, outlet)| chosen(outlet)).fold(0, |bits, (place, _)| bits | (1 << place))
    }

    /// The stretch around a minute in which the same outlets are out of service as at that minute.
    fn steady_around(&self, at: Moment) -> Span {
        let edges = || {
            self.part_time.iter().flat_map(|outlet| &outlet.spans).flat_map(|span| [span.from, span.until])
        };
        let from = edges().filter(|edge| *edge <= at).max().unwrap_or(Moment::from_midnight(i32::MIN));
        let until = edges().filter(|edge| *edge > at).min().unwrap_or(Moment::from_midnight(i32::MAX));
        Span::new(from, until)
    }

    /// Outlets that stay in a bay and are not shut.
    fn fixed_in(&self, bay: usize, shut: Shut) -> u32 {
        let here = self.bits(|outlet| outlet.home == Some(BayIndex(bay)));
        self.fixed[bay] - (shut & here).count_ones()
    }

    /// Outlets that may move and are not shut.
    fn movable(&self, shut: Shut) -> u32 {
        self.movable - (shut & self.bits(|outlet| outlet.home.is_none())).count_ones()
    }

    /// Every clash of these people, at each minute at which one of them begins; of outlets, those of
    /// the fewest bays. With `around`, only clashes that this visit takes part in, each at every
    /// minute at which it does.
    pub fn clashes(&self, asks: &[Ask], around: Option<&Ask>) -> Vec<Clash> {
        let mut found = Vec::new();
        for at in starts(asks.iter().map(|ask| ask.hold), around.map(|ask| ask.hold)) {
            self.outlet_clashes(asks, at, around, &mut found);
            self.reach_clashes(asks, at, around, &mut found);
        }
        self.cap_clashes(asks, around, &mut found);
        found
    }

    /// Clashes over outlets at a minute.
    fn outlet_clashes(&self, asks: &[Ask], at: Moment, around: Option<&Ask>, found: &mut Vec<Clash>) {
        let here: Vec<&Ask> = asks.iter().filter(|ask| holds(ask.hold, at)).collect();
        let out_now = self.shut_in(Span::new(at, at.slipped(1)));
        let mut shuts: BTreeSet<Shut> = here.iter().map(|ask| ask.shut).collect();
        shuts.insert(out_now);
        for shut in shuts {
            let bound = |ask: &&&Ask| ask.shut & shut == shut;
            let people: Vec<&Ask> = here.iter().filter(bound).copied().collect();
            if around.is_some_and(|own| !people.iter().any(|ask| ask.visit == own.visit)) {
                continue;
            }
            let own_bay = around.map(|own| own.bay.0);
            let Some((bays, there)) = self.overfull_bays(&people, shut, own_bay) else { continue };
            let people: Vec<&Ask> = people.into_iter().filter(|ask| bays.contains(&ask.bay)).collect();
            let all_through = shut != out_now;
            let together = common(people.iter().map(|ask| ask.hold));
            let movable = self.movable(shut) > 0;
            found.push(Clash {
                resource: Resource::Outlets { bays, movable, all_through },
                when: if all_through { together } else { both(together, self.steady_around(at)) },
                needed: count(people.len()),
                people: people.into_iter().map(|ask| ask.visit).collect(),
                there,
                shut,
            });
        }
    }

    /// The fewest bays, `own_bay` among them, whose people are more than the outlets that stay there
    /// and all that may move; and the number of those outlets.
    fn overfull_bays(
        &self,
        people: &[&Ask],
        shut: Shut,
        own_bay: Option<usize>,
    ) -> Option<(Vec<BayIndex>, u32)> {
        let asked = |bay: usize| count(people.iter().filter(|ask| ask.bay.0 == bay).count());
        let excess = |bay: usize| i64::from(asked(bay)) - i64::from(self.fixed_in(bay, shut));
        let mut bays: Vec<(i64, usize)> = (0..self.fixed.len()).map(|bay| (excess(bay), bay)).collect();
        bays.retain(|(excess, _)| *excess > 0);
        bays.sort_by_key(|(excess, bay)| (Some(*bay) != own_bay, -excess, *bay));
        if own_bay.is_some_and(|own| bays.first().is_none_or(|(_, bay)| *bay != own)) {
            return None;
        }
        let movable = self.movable(shut);
        let mut total = 0;
        for (place, (excess, _)) in bays.iter().enumerate() {
            total += excess;
            if total > i64::from(movable) {
                let mut chosen: Vec<usize> = bays[..=place].iter().map(|(_, bay)| *bay).collect();
                chosen.sort_unstable();
                let there = chosen.iter().map(|&bay| self.fixed_in(bay, shut)).sum::<u32>() + movable;
                return Some((chosen.into_iter().map(BayIndex).collect(), there));
            }
        }
        None
    }

    /// Clashes over machines at a minute, in bays where one machine does not reach every chair.
    fn reach_clashes(&self, asks: &[Ask], at: Moment, around: Option<&Ask>, found: &mut Vec<Clash>) {
        for bay in 0..self.unit.bays.len() {
            let people: Vec<&Ask> = asks
                .iter()
                .filter(|ask| ask.bay.0 == bay && ask.group.is_some() && holds(ask.cooling, at))
                .collect();
            if people.is_empty() || around.is_some_and(|own| !people.iter().any(|ask| ask.visit == own.visit))
            {
                continue;
            }
            let (machines, each) = self.machines_at(BayIndex(bay), at);
            let needed = machines_needed(&people, each);
            if needed > machines {
                let together = common(people.iter().map(|ask| ask.cooling));
                found.push(Clash {
                    resource: Resource::Machines { bay: BayIndex(bay) },
                    when: both(together, self.steady_around(at)),
                    needed,
                    people: people.into_iter().map(|ask| ask.visit).collect(),
                    there: machines,
                    shut: 0,
                });
            }
        }
    }

    /// Machines that may serve a bay and have an outlet in service at a minute, and the most outlets
    /// that one of them has.
    fn machines_at(&self, bay: BayIndex, at: Moment) -> (u32, u32) {
        let (minute, start) = (Span::new(at, at.slipped(1)), self.unit.minutes.machine_start);
        let machines = self.unit.machines.iter().filter(|machine| machine.movable || machine.bay == bay);
        let in_service = machines.filter(|machine| {
            (1..=machine.outlets)
                .any(|number| !machine.unusable(number, start).any(|span| span.meets(minute)))
        });
        in_service.fold((0, 1), |(number, most), machine| (number + 1, most.max(u32::from(machine.outlets))))
    }

    /// Clashes over caps.
    fn cap_clashes(&self, asks: &[Ask], around: Option<&Ask>, found: &mut Vec<Clash>) {
        for (size, stock) in self.unit.caps.iter().enumerate() {
            if around.is_some_and(|own| own.cap.is_none_or(|(of, _)| of.0 != size)) {
                continue;
            }
            let users: Vec<(usize, Span)> = asks
                .iter()
                .filter_map(|ask| ask.cap.filter(|(of, _)| of.0 == size).map(|(_, span)| (ask.visit, span)))
                .collect();
            let within = around.and_then(|own| own.cap).map(|(_, span)| span);
            for at in starts(users.iter().map(|(_, span)| *span), within) {
                let people: Vec<&(usize, Span)> = users.iter().filter(|(_, span)| holds(*span, at)).collect();
                if count(people.len()) > stock.count {
                    found.push(Clash {
                        resource: Resource::Caps(CapSize(size)),
                        when: common(people.iter().map(|(_, span)| *span)),
                        needed: count(people.len()),
                        people: people.into_iter().map(|(visit, _)| *visit).collect(),
                        there: stock.count,
                        shut: 0,
                    });
                }
            }
        }
    }
}

/// How many machines people need who are cooled at once: whoever shares one sits in one group.
fn machines_needed(people: &[&Ask], each: u32) -> u32 {
    let groups: BTreeSet<usize> = people.iter().filter_map(|ask| ask.group).collect();
    let size = |group: usize| count(people.iter().filter(|ask| ask.group == Some(group)).count());
    groups.into_iter().map(|group| size(group).div_ceil(each)).sum()
}

/// The place of a chair's group among its bay's; a chair in no group is one of its own. `None` where
/// all chairs are one group, or a chair is in two: then groups cannot be counted one by one.
fn group(unit: &Unit, bay: BayIndex, chair: &str) -> Option<usize> {
    let bay = unit.bay(bay);
    let groups_of =
        |chair: &str| bay.reach.iter().filter(|group| group.iter().any(|one| one == chair)).count();
    let is_one = bay.reach.iter().any(|group| bay.chairs.iter().all(|chair| group.contains(chair)));
    if is_one || bay.chairs.iter().any(|chair| groups_of(chair) > 1) {
        return None;
    }
    let alone = || bay.chairs.iter().position(|one| one == chair).map(|place| bay.reach.len() + place);
    bay.reach.iter().position(|group| group.iter().any(|one| one == chair)).or_else(alone)
}

/// The minutes at which one of the spans begins, once each; within a span its own beginning too.
fn starts(spans: impl Iterator<Item = Span>, within: Option<Span>) -> BTreeSet<Moment> {
    let from = spans.map(|span| within.map_or(span.from, |own| span.from.max(own.from)));
    from.filter(|at| within.is_none_or(|own| *at < own.until)).collect()
}

/// Whether a span holds a minute.
pub(crate) fn holds(span: Span, at: Moment) -> bool {
    span.from <= at && at < span.until
}

/// What all spans share.
fn common(spans: impl Iterator<Item = Span>) -> Span {
    spans.reduce(both).unwrap_or(Span::new(Moment::default(), Moment::default()))
}

/// What two spans share.
fn both(one: Span, other: Span) -> Span {
    Span::new(one.from.max(other.from), one.until.min(other.until))
}

/// A count as a number of the plan.
fn count(things: usize) -> u32 {
    u32::try_from(things).unwrap_or(u32::MAX)
}
