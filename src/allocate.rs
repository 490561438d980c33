//! An outlet of a cooling machine for every cooled visit.
//!
//! Decides which machine serves whom, and where machines move; changes no time of any visit.

mod bundle;
mod choice;
mod counting;
mod crowds;
mod engine;
mod even;
mod fleet;
mod greedy;
mod holds;
mod kinds;
mod known;
mod ladder;
mod machine_days;
mod moving;
mod multipliers;
mod one_more;
mod outlets;
mod placement;
mod pooled;
mod price;
mod rules;
mod sessions;
mod slots;
mod states;
mod sweep;

use self::ladder::Best;
pub use self::ladder::Effort;
pub(crate) use self::one_more::beside;
use self::outlets::hand_out;
use self::placement::{cap_is_free, changes_of_bay, is_sound, score, served_by};
pub use self::price::Price;
use self::sessions::Sessions;
use crate::clock::Span;
use crate::plan::DayPlan;
use crate::unit_rules::{BayIndex, MachineIndex};
use crate::validate::DayList;

/// Who is cooled by which outlet, in the order of [`DayList::visits`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Allocation {
    /// One entry a visit: its outlet, or why it has none.
    pub visits: Vec<Cooling>,
    /// Machines' changes of bay, by time, then machine.
    pub moves: Vec<Move>,
    /// What the plan is worth, and what is proven of it.
    pub worth: Worth,
    /// What moves are worth, from none to the plan's; empty where no machine moves for a patient's sake.
    pub prices: Vec<Price>,
}

/// What became of a visit's cooling.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cooling {
    /// The patient is not cooled.
    NotWanted,
    /// The patient has this outlet.
    Outlet(OutletHold),
    /// The patient has none.
    Without(Reason),
}

/// An outlet taken for a patient, clean-down included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OutletHold {
    /// The machine.
    pub machine: MachineIndex,
    /// The outlet, from 1.
    pub number: u8,
    /// From `cooling_on` until it is clean again.
    pub span: Span,
}

/// Why a cooled patient has no outlet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reason {
    /// Every outlet that could serve the bay is taken at some minute of the time needed.
    NoOutletFree,
    /// Every cap of the size is taken at some minute of the time needed, or there is none.
    NoCapFree,
}

/// A machine's change of bay.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Move {
    /// The machine.
    pub machine: MachineIndex,
    /// The bay it leaves.
    pub from: BayIndex,
    /// The bay it goes to.
    pub to: BayIndex,
    /// From when all its outlets are free and clean until it is first used in the new bay; at least
    /// the unit's minutes for a move long. The first move of the day may start at opening, or before
    /// it where the machine must be switched on so early in the new bay that no time is left after it.
    pub within: Span,
}

/// What an allocation is worth, by the objectives in their order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Worth {
    /// Cooled patients without an outlet.
    pub without_outlet: u32,
    /// Moves of machines.
    pub moves: u32,
    /// Total minutes by which hand-overs fall short of the wished slack.
    pub slack_shortfall: u32,
    /// The largest, over machines, of cooling minutes per outlet, rounded up.
    pub busiest_outlet: u32,
    /// Whether the first two are proven to be as small as can be.
    pub proven: bool,
    /// What no allocation can go below: patients without an outlet.
    pub bound_without_outlet: u32,
    /// What no allocation with that few patients without can go below: moves.
    pub bound_moves: u32,
    /// Whether the missing slack is proven, too, to be as small as can be with that few patients without
    /// and that few moves. Of the busiest outlet nothing is ever proven.
    pub slack_proven: bool,
    /// What no allocation with that few patients without and that few moves can go below: minutes of
    /// missing slack; 0 unless the first two are proven.
    pub bound_slack_shortfall: u32,
}

/// Gives an outlet to every cooled visit for which there is one, with the usual effort.
#[must_use]
pub fn allocate(list: &DayList, plan: &DayPlan) -> Allocation {
    allocate_with(list, plan, Effort::USUAL)
}

/// Gives an outlet to every cooled visit for which there is one, with so much effort.
#[must_use]
pub fn allocate_with(list: &DayList, plan: &DayPlan, effort: Effort) -> Allocation {
    let day = Sessions::of(list, plan);
    let best = ladder::best(&day, effort);
    allocation(&day, &best, list.visits.len())
}

/// Whether every visit that is planned to be cooled can have an outlet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Served {
    /// Yes.
    Everyone,
    /// No: proven.
    NotEveryone,
    /// No way was found, and none is ruled out.
    NotKnown,
}

/// Whether everyone can have an outlet: what [`allocate`] finds out on its way, without looking for
/// few moves or slack where the first placement serves everyone.
#[must_use]
pub fn serves_everyone(list: &DayList, plan: &DayPlan) -> Served {
    let day = Sessions::of(list, plan);
    let at_once = greedy::place_in_turn(&day);
    if at_once.iter().all(Option::is_some) && is_sound(&day, &at_once) {
        return Served::Everyone;
    }
    let best = ladder::best(&day, ladder::Effort::USUAL);
    match (best.score.without, best.bound_left_out) {
        (0, _) => Served::Everyone,
        (_, 0) => Served::NotKnown,
        _ => Served::NotEveryone,
    }
}

/// The placement in the words of the plan.
fn allocation(day: &Sessions, best: &Best, visits: usize) -> Allocation {
    let placement = &best.placement;
    let mut cooling = vec![Cooling::NotWanted; visits];
    let mut moves = Vec::new();
    for machine in (0..day.unit.machines.len()).map(MachineIndex) {
        let served = served_by(placement, machine);
        for (&session, number) in served.iter().zip(hand_out(day, machine, &served).unwrap_or_default()) {
            let session = &day.all[session];
            cooling[session.visit] = Cooling::Outlet(OutletHold { machine, number, span: session.hold });
        }
        moves.extend(moves_of(day, machine, &served));
    }
    for session in (0..placement.len()).filter(|&session| placement[session].is_none()) {
        let cooled = (0..placement.len()).filter(|&other| placement[other].is_some());
        let free = cap_is_free(day, session, cooled);
        let reason = if free { Reason::NoOutletFree } else { Reason::NoCapFree };
        cooling[day.all[session].visit] = Cooling::Without(reason);
    }
    moves.sort_by_key(|change| (change.within.from, change.machine));
    Allocation { visits: cooling, moves, worth: worth(day, best), prices: best.prices.clone() }
}

/// A machine's changes of bay.
fn moves_of(day: &Sessions, machine: MachineIndex, served: &[usize]) -> Vec<Move> {
    let describe = |(from, place): (BayIndex, usize)| {
        let next = &day.all[served[place]];
        let free = served[..place].iter().map(|&earlier| day.all[earlier].hold.until).max();
        let minutes = &day.unit.minutes;
        let before_opening =
            day.unit.opens.min(next.hold.from - minutes.machine_start - minutes.machine_move);
        let within = Span::new(free.unwrap_or(before_opening), next.hold.from);
        Move { machine, from, to: next.bay, within }
    };
    changes_of_bay(day, machine, served).into_iter().map(describe).collect()
}

/// The objectives, recomputed, and what is proven of them.
fn worth(day: &Sessions, best: &Best) -> Worth {
    let score = score(day, &best.placement);
    // A bound on moves holds for the fewest left out; it says nothing of a plan that leaves out more.
    let bound_moves = if score.without == best.bound_left_out { best.bound_moves } else { 0 };
    let proven = (score.without, score.moves) == (best.bound_left_out, bound_moves);
    let bound_slack_shortfall = best.bound_shortfall.filter(|_| proven);
    Worth {
        without_outlet: score.without,
        moves: score.moves,
        slack_shortfall: score.shortfall,
        busiest_outlet: score.busiest.div_ceil(2),
        proven,
        bound_without_outlet: best.bound_left_out,
        bound_moves,
        slack_proven: bound_slack_shortfall == Some(score.shortfall),
        bound_slack_shortfall: bound_slack_shortfall.unwrap_or(0),
    }
}
