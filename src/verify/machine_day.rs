//! One machine's day as its holds imply it: who is on which outlet, where it stands, when it moves.

use crate::allocate::Move;
use crate::clock::{Moment, Span};
use crate::unit_rules::{BayIndex, Machine, MachineIndex};
use crate::validate::DayList;

use super::breach::{Breach, Promise, Subject};
use super::stages::span;
use super::timetable::Minute;

/// A visit on an outlet that exists.
#[derive(Clone, Copy, Debug)]
pub(super) struct Held {
    /// The visit's place in the list.
    pub visit: usize,
    /// The machine's place in the unit's file.
    pub machine: usize,
    /// The outlet, from 1.
    pub number: u8,
    /// Connected.
    pub on: Minute,
    /// Disconnected.
    pub off: Minute,
    /// Clean again.
    pub clean: Minute,
}

impl Held {
    /// The minutes for which the outlet is taken.
    fn taken(self) -> Span {
        span(self.on, self.clean)
    }
}

/// A machine's implied moves, and what cannot be.
#[derive(Debug, Default)]
pub(super) struct MachineDay {
    pub moves: Vec<Move>,
    pub breaches: Vec<Breach>,
}

/// Every machine's day, and the listed moves against the implied ones.
pub(super) fn check(list: &DayList, held: &[Held], listed: &[Move]) -> Vec<Breach> {
    let mut breaches = Vec::new();
    let mut implied = Vec::new();
    for machine in 0..list.unit.machines.len() {
        let own: Vec<Held> = held.iter().copied().filter(|hold| hold.machine == machine).collect();
        let day = of(list, machine, &own);
        breaches.extend(day.breaches);
        implied.extend(day.moves);
    }
    implied.sort_by_key(|step| (step.within.from, step.within.until, step.machine));
    let mut given = listed.to_vec();
    given.sort_by_key(|step| (step.within.from, step.within.until, step.machine));
    if given != implied {
        let texts = (moves_text(list, &given), moves_text(list, &implied));
        breaches.push(Breach::new(Promise::MovesAsHeld, Subject::Day, texts.0, texts.1));
    }
    breaches
}

/// The day of one machine with these holds.
pub(super) fn of(list: &DayList, machine: usize, own: &[Held]) -> MachineDay {
    let Some(stated) = list.unit.machines.get(machine) else { return MachineDay::default() };
    let mut own = own.to_vec();
    own.sort_by_key(|hold| (hold.on, hold.clean, hold.number, hold.visit));
    let mut day = walk(list, machine, stated, &own);
    for (place, hold) in own.iter().enumerate() {
        day.breaches.extend(out_of_service(list, stated, *hold));
        day.breaches.extend(not_cold_again(list, stated, *hold));
        for earlier in &own[..place] {
            day.breaches.extend(together(list, stated, *earlier, *hold));
        }
    }
    day
}

/// Follows the machine from bay to bay through its holds, in the order of their starts.
fn walk(list: &DayList, place: usize, machine: &Machine, own: &[Held]) -> MachineDay {
    let mut day = MachineDay::default();
    let mut stands = machine.bay;
    let mut free_from: Option<Minute> = None;
    for hold in own {
        let Some(bay) = list.visits.get(hold.visit).map(|visit| visit.bay) else { continue };
        if bay != stands {
            let free = free_from.unwrap_or_else(|| first_move_from(list, *hold));
            let step =
                Move { machine: MachineIndex(place), from: stands, to: bay, within: span(free, hold.on) };
            let in_use = free_from.is_some_and(|free| free > hold.on);
            day.breaches.extend(impossible_move(list, machine, *hold, &step, in_use));
            day.moves.push(step);
            stands = bay;
        }
        free_from = Some(free_from.map_or(hold.clean, |free| free.max(hold.clean)));
    }
    day
}

/// From when a machine that nobody used yet may be moved: from opening, or as early as the move must
/// start for the machine to be switched on in time where it comes to.
fn first_move_from(list: &DayList, hold: Held) -> Minute {
    let minutes = &list.unit.minutes;
    let switched_on = hold.on - minutes.machine_start.signed();
    list.unit.opens.minutes().min(switched_on - minutes.machine_move.signed())
}

/// Why a machine cannot move so.
fn impossible_move(
    list: &DayList,
    machine: &Machine,
    hold: Held,
    step: &Move,
    in_use: bool,
) -> Option<Breach> {
    let subject = Subject::Machine(machine.name.clone());
    let bay = |index: BayIndex| list.unit.bays.get(index.0).map_or("?", |bay| bay.name.as_str());
    let there = format!("bay {} for {}", bay(step.to), line(list, hold));
    if !machine.movable {
        let expected = format!("it stays in bay {}", bay(machine.bay));
        return Some(Breach::new(Promise::OnlyMovableMachinesMove, subject, there, expected));
    }
    if in_use {
        let expected = format!("bay {} until {}", bay(step.from), step.within.from);
        return Some(Breach::new(Promise::MachineInTheBay, subject, there, expected));
    }
    let free = step.within.until.minutes() - step.within.from.minutes();
    let needed = list.unit.minutes.machine_move.signed();
    (free < needed).then(|| {
        let found = format!("{free} min before {}", step.within.until);
        Breach::new(Promise::TimeToMove, subject, found, format!("at least {needed} min"))
    })
}

/// Why an outlet cannot be used in a hold.
fn out_of_service(list: &DayList, machine: &Machine, hold: Held) -> Vec<Breach> {
    let hits = machine.out_of_service.iter().filter(|outage| {
        outage.outlet.is_none_or(|outlet| outlet == hold.number) && overlap(outage.span, hold.taken())
    });
    hits.map(|outage| {
        let found = format!("{} on outlet {} from {}", line(list, hold), hold.number, hold.taken().from);
        let expected = format!("nobody between {} and {}", outage.span.from, outage.span.until);
        Breach::new(Promise::InService, Subject::Machine(machine.name.clone()), found, expected)
    })
    .collect()
}

/// Why a machine is not cold yet when a hold begins: an outage of the whole of it has ended, and since then
/// there was less time than it takes from switching on.
fn not_cold_again(list: &DayList, machine: &Machine, hold: Held) -> Option<Breach> {
    let ended = machine.out_of_service.iter().filter(|outage| outage.outlet.is_none());
    let last = ended.map(|outage| outage.span.until.minutes()).filter(|until| *until <= hold.on).max()?;
    let cold = last + list.unit.minutes.machine_start.signed();
    (hold.on < cold).then(|| {
        let found = format!("{} from {}", line(list, hold), Moment::from_midnight(hold.on));
        let expected = format!("nobody connected before {}", Moment::from_midnight(cold));
        Breach::new(Promise::ColdAgain, Subject::Machine(machine.name.clone()), found, expected)
    })
}

/// Why two holds of one machine cannot stand together.
fn together(list: &DayList, machine: &Machine, one: Held, other: Held) -> Option<Breach> {
    let subject = Subject::Machine(machine.name.clone());
    let found = format!("{} and {}", line(list, one), line(list, other));
    if one.number == other.number {
        let expected = format!("one of them on outlet {} at once", one.number);
        return overlap(one.taken(), other.taken())
            .then(|| Breach::new(Promise::OnePatientAnOutlet, subject, found, expected));
    }
    let at_once = overlap(span(one.on, one.off), span(other.on, other.off));
    (at_once && !within_reach(list, one, other))
        .then(|| Breach::new(Promise::WithinReach, subject, found, "chairs that its hoses reach together"))
}

/// Whether two patients sit where one machine reaches both: in one bay, and where the bay names
/// groups of chairs, in one of them.
fn within_reach(list: &DayList, one: Held, other: Held) -> bool {
    let (Some(one), Some(other)) = (list.visits.get(one.visit), list.visits.get(other.visit)) else {
        return false;
    };
    let Some(bay) = list.unit.bays.get(one.bay.0).filter(|_| one.bay == other.bay) else { return false };
    let shares = |group: &Vec<String>| group.contains(&one.chair) && group.contains(&other.chair);
    one.chair == other.chair || bay.reach.iter().any(shares)
}

/// Whether two spans share a minute.
fn overlap(one: Span, other: Span) -> bool {
    let first = one.from.minutes().max(other.from.minutes());
    first < one.until.minutes().min(other.until.minutes())
}

/// `line 7`, for messages.
fn line(list: &DayList, hold: Held) -> String {
    list.visits.get(hold.visit).map_or_else(String::new, |visit| format!("line {}", visit.line))
}

/// Moves in a message: which machine goes where in which minutes.
fn moves_text(list: &DayList, moves: &[Move]) -> String {
    let bay = |index: BayIndex| list.unit.bays.get(index.0).map_or("?", |bay| bay.name.as_str());
    let text = |step: &Move| {
        let name = list.unit.machines.get(step.machine.0).map_or("?", |machine| machine.name.as_str());
        let (from, until): (Moment, Moment) = (step.within.from, step.within.until);
        format!("{name} from {} to {} within {from} to {until}", bay(step.from), bay(step.to))
    };
    if moves.is_empty() {
        "no move".to_owned()
    } else {
        moves.iter().map(text).collect::<Vec<_>>().join(", ")
    }
}
