//! Who is cooled by which outlet: every hold, machine, move and cap, judged without knowing how the
//! answer was found.

use std::collections::BTreeSet;

use crate::allocate::{Allocation, Cooling, OutletHold, Reason};
use crate::clock::Moment;
use crate::patient::Visit;
use crate::unit_rules::CapSize;
use crate::validate::DayList;

use super::breach::{Breach, Promise, Subject};
use super::machine_day::{self, Held};
use super::stages::span;
use super::timetable::{CooledTimes, Minute, Timetable};

/// A cap taken: its size, from when, until when.
type CapHold = (CapSize, Minute, Minute);

/// What is broken in the allocation.
pub(super) fn check(
    list: &DayList,
    day: &[Timetable],
    allocation: &Allocation,
    held: &[Held],
) -> Vec<Breach> {
    let mut breaches = Vec::new();
    for ((visit, times), cooling) in list.visits.iter().zip(day).zip(&allocation.visits) {
        breaches.extend(as_listed(list, visit, times, cooling));
    }
    breaches.extend(machine_day::check(list, held, &allocation.moves));
    let caps = caps_held(list, day, allocation);
    breaches.extend(caps_in_stock(list, &caps));
    let proven = allocation.worth.proven;
    for (visit, (times, cooling)) in day.iter().zip(&allocation.visits).enumerate() {
        if let (Some(cooled), Cooling::Without(reason)) = (times.cooled, cooling) {
            breaches.extend(left_out(list, (visit, &cooled, *reason), held, &caps, proven));
        }
    }
    breaches
}

/// The answer suits the row, and the hold is of an outlet that exists, for the right minutes.
fn as_listed(list: &DayList, visit: &Visit, times: &Timetable, cooling: &Cooling) -> Vec<Breach> {
    let subject = Subject::Line(visit.line);
    let answer = match cooling {
        Cooling::NotWanted => "no outlet wanted",
        Cooling::Outlet(_) => "an outlet",
        Cooling::Without(_) => "left without an outlet",
    };
    match (times.cooled, cooling) {
        (None, Cooling::NotWanted) | (Some(_), Cooling::Without(_)) => Vec::new(),
        (Some(cooled), Cooling::Outlet(hold)) => hold_breaches(list, visit, &cooled, *hold),
        (None, _) => {
            vec![Breach::new(Promise::OutletAsListed, subject, answer, "no outlet wanted: not cooled")]
        }
        (Some(_), Cooling::NotWanted) => {
            vec![Breach::new(Promise::OutletAsListed, subject, answer, "an outlet, or none with a reason")]
        }
    }
}

/// What is wrong with one hold by itself.
fn hold_breaches(list: &DayList, visit: &Visit, cooled: &CooledTimes, hold: OutletHold) -> Vec<Breach> {
    let mut breaches = Vec::new();
    let due = span(cooled.on, cooled.off + list.unit.minutes.outlet_clean.signed());
    if hold.span != due {
        let found = format!("{} to {}", hold.span.from, hold.span.until);
        let expected = format!("{} to {}", due.from, due.until);
        breaches.push(Breach::new(Promise::OutletHold, Subject::Line(visit.line), found, expected));
    }
    if !exists(list, hold) {
        let found = format!("machine {}, outlet {}", hold.machine.0 + 1, hold.number);
        let expected = "one of the unit's machines and outlets";
        breaches.push(Breach::new(Promise::OutletExists, Subject::Line(visit.line), found, expected));
    }
    breaches
}

/// Whether the unit has the outlet.
fn exists(list: &DayList, hold: OutletHold) -> bool {
    let machine = list.unit.machines.get(hold.machine.0);
    machine.is_some_and(|machine| (1..=machine.outlets).contains(&hold.number))
}

/// Every hold of an outlet that exists, with the minutes that it ought to have.
pub(super) fn holds(list: &DayList, day: &[Timetable], allocation: &Allocation) -> Vec<Held> {
    let given = day.iter().zip(&allocation.visits).enumerate();
    given
        .filter_map(|(visit, (times, cooling))| match (times.cooled, cooling) {
            (Some(cooled), Cooling::Outlet(hold)) if exists(list, *hold) => {
                Some(held_by(list, visit, &cooled, hold.machine.0, hold.number))
            }
            _ => None,
        })
        .collect()
}

/// A visit on an outlet.
fn held_by(list: &DayList, visit: usize, cooled: &CooledTimes, machine: usize, number: u8) -> Held {
    let clean = cooled.off + list.unit.minutes.outlet_clean.signed();
    Held { visit, machine, number, on: cooled.on, off: cooled.off, clean }
}

/// The cap of the unit that a cooled visit takes, if it takes one.
fn cap_of(list: &DayList, visit: usize, cooled: &CooledTimes) -> Option<CapHold> {
    let row = list.visits.get(visit)?;
    let size = row.cap.filter(|_| !row.own_cap)?;
    Some((size, cooled.prepare, cooled.cap_off + list.unit.minutes.cap_clean.signed()))
}

/// The caps taken by those who have an outlet.
fn caps_held(list: &DayList, day: &[Timetable], allocation: &Allocation) -> Vec<CapHold> {
    let given = day.iter().zip(&allocation.visits).enumerate();
    let with_outlet = given.filter(|(_, (_, cooling))| matches!(cooling, Cooling::Outlet(_)));
    with_outlet.filter_map(|(visit, (times, _))| cap_of(list, visit, &times.cooled?)).collect()
}

/// How many caps of a size are taken at a minute.
fn in_use(caps: &[CapHold], size: CapSize, minute: Minute) -> usize {
    caps.iter().filter(|(of, from, until)| *of == size && (*from..*until).contains(&minute)).count()
}

/// The stock is never exceeded; use only ever rises at the start of a hold, so those minutes suffice.
fn caps_in_stock(list: &DayList, caps: &[CapHold]) -> Vec<Breach> {
    let mut breaches = Vec::new();
    for (place, stock) in list.unit.caps.iter().enumerate() {
        let size = CapSize(place);
        let starts: BTreeSet<Minute> = caps.iter().filter(|cap| cap.0 == size).map(|cap| cap.1).collect();
        for minute in starts {
            let found = in_use(caps, size, minute);
            if found > usize::try_from(stock.count).unwrap_or(usize::MAX) {
                let subject = Subject::Caps(stock.size.clone());
                let found = format!("{found} at {}", Moment::from_midnight(minute));
                let expected = format!("at most {}", stock.count);
                breaches.push(Breach::new(Promise::CapsInStock, subject, found, expected));
            }
        }
    }
    breaches
}

/// Whether one more cap of the size is in stock for the whole of a hold.
fn cap_is_free(list: &DayList, cap: CapHold, caps: &[CapHold]) -> bool {
    let (size, from, until) = cap;
    let stock = usize::try_from(list.unit.cap(size).count).unwrap_or(usize::MAX);
    (from..until).all(|minute| in_use(caps, size, minute) < stock)
}

/// The reason why a cooled patient has no outlet is true.
///
/// 'No cap free' needs a minute without one. 'No outlet free' means that no outlet could simply be
/// given as the machines stand and move already; where the plan is called proven, not even with one
/// more move.
fn left_out(
    list: &DayList,
    left: (usize, &CooledTimes, Reason),
    held: &[Held],
    caps: &[CapHold],
    proven: bool,
) -> Option<Breach> {
    let (visit, cooled, reason) = left;
    let subject = Subject::Line(list.visits.get(visit)?.line);
    let cap_free = cap_of(list, visit, cooled).is_none_or(|cap| cap_is_free(list, cap, caps));
    let untrue = Promise::LeftOutForTheReasonGiven;
    match reason {
        Reason::NoCapFree => {
            cap_free.then(|| Breach::new(untrue, subject, "no cap free", "a cap: one is free all the while"))
        }
        Reason::NoOutletFree => {
            if let Some(outlet) = free_outlet(list, visit, cooled, held, false) {
                return Some(Breach::new(untrue, subject, "no outlet free", outlet));
            }
            let missed = free_outlet(list, visit, cooled, held, true).filter(|_| proven && cap_free)?;
            Some(Breach::new(Promise::ProvenMeansFewest, subject, "no outlet, called proven", missed))
        }
    }
}

/// An outlet that a visit could be given as well, if there is one, by its names.
fn free_outlet(
    list: &DayList,
    visit: usize,
    cooled: &CooledTimes,
    held: &[Held],
    may_add_a_move: bool,
) -> Option<String> {
    for (place, machine) in list.unit.machines.iter().enumerate() {
        let others: Vec<Held> = held.iter().copied().filter(|other| other.machine == place).collect();
        let moves_now = machine_day::of(list, place, &others).moves.len();
        for number in 1..=machine.outlets {
            let mut with = others.clone();
            with.push(held_by(list, visit, cooled, place, number));
            let then = machine_day::of(list, place, &with);
            if then.breaches.is_empty() && (may_add_a_move || then.moves.len() <= moves_now) {
                return Some(format!("machine `{}`, outlet {number}, which is free", machine.name));
            }
        }
    }
    None
}
