//! No shortage without its caution, and no caution of a shortage that is not there.
//!
//! What must be said is listed afresh from the list, the recomputed times and the holds, then
//! compared with what is said. Nurses' hands, names and late drugs, which leave a choice, are
//! judged in `hands_on`, `names` and `late_drugs`.

use std::collections::BTreeSet;

use crate::allocate::{Allocation, Cooling, Reason};
use crate::clock::{Minutes, Moment};
use crate::patient::{GoAhead, Visit};
use crate::survey::Caution;
use crate::unit_rules::MachineIndex;
use crate::validate::DayList;

use super::breach::{Breach, Promise, Subject};
use super::machine_day::Held;
use super::stages::span;
use super::timetable::Timetable;
use super::worth::hand_overs;
use super::{hands_on, late_drugs, names};

/// What is missing among the cautions, untrue, or said twice.
pub(super) fn check(
    list: &DayList,
    day: &[Timetable],
    allocation: &Allocation,
    held: &[Held],
    cautions: &[Caution],
) -> Vec<Breach> {
    let given: Vec<Caution> = cautions.iter().map(|one| in_plain_order(list, one)).collect();
    let due = all_due(list, day, allocation, held);
    let mut breaches = twice(list, &given);
    let exact: BTreeSet<&Caution> = given.iter().filter(|caution| leaves_no_choice(caution)).collect();
    for missing in due.iter().filter(|caution| !exact.contains(caution)) {
        let promise = Promise::Cautioned(kind(missing));
        breaches.push(Breach::new(promise, subject(list, missing), "no such caution", text(list, missing)));
    }
    for untrue in exact.iter().filter(|caution| !due.contains(**caution)) {
        let promise = Promise::CautionIsTrue(kind(untrue));
        breaches.push(Breach::new(promise, subject(list, untrue), text(list, untrue), "no such caution"));
    }
    breaches.extend(hands_on::check(list, day, &given));
    breaches.extend(names::check(list, &given));
    breaches.extend(late_drugs::check(list, day, &given));
    breaches
}

/// Whether the day alone decides if a caution of this kind is due, and every value in it.
const fn leaves_no_choice(caution: &Caution) -> bool {
    !matches!(caution, Caution::NursesShort { .. } | Caution::NamesAlike { .. } | Caution::DrugsLate { .. })
}

/// The caution with visits that may be named in either order put in the list's order.
fn in_plain_order(list: &DayList, caution: &Caution) -> Caution {
    let arrive = |visit: usize| list.visits.get(visit).map(|row| row.arrive);
    match caution.clone() {
        Caution::ChairDoubleBooked { one, other, both } if other < one && arrive(one) == arrive(other) => {
            Caution::ChairDoubleBooked { one: other, other: one, both }
        }
        Caution::GoAheadNotRecorded { mut visits } => {
            visits.sort_unstable();
            Caution::GoAheadNotRecorded { visits }
        }
        Caution::NamesAlike { mut visits } => {
            visits.sort_unstable();
            Caution::NamesAlike { visits }
        }
        plain => plain,
    }
}

/// Cautions given more than once.
fn twice(list: &DayList, given: &[Caution]) -> Vec<Breach> {
    let mut seen = BTreeSet::new();
    let repeated = given.iter().filter(|caution| !seen.insert(*caution));
    repeated
        .map(|caution| {
            let promise = Promise::CautionOnce(kind(caution));
            Breach::new(promise, subject(list, caution), text(list, caution), "it once")
        })
        .collect()
}

/// Every caution that is due and leaves no choice.
fn all_due(list: &DayList, day: &[Timetable], allocation: &Allocation, held: &[Held]) -> BTreeSet<Caution> {
    let mut due = BTreeSet::new();
    due.extend((0..list.held_back.len()).map(|row| Caution::HeldBack { row }));
    due.extend((list.other_days > 0).then_some(Caution::OtherDays { rows: list.other_days }));
    let silent = |row: &&Visit| row.go_ahead == GoAhead::NotRecorded;
    let visits: Vec<usize> =
        list.visits.iter().enumerate().filter(|(_, row)| silent(row)).map(|(visit, _)| visit).collect();
    due.extend((!visits.is_empty()).then_some(Caution::GoAheadNotRecorded { visits }));
    for (visit, (row, times)) in list.visits.iter().zip(day).enumerate() {
        due.extend(of_row(visit, row));
        due.extend(of_times(list, visit, row, times));
        due.extend(allocation.visits.get(visit).and_then(|cooling| of_outlet(visit, cooling)));
    }
    due.extend(list.cards_in_unit_language.iter().map(|&visit| Caution::CardLanguage { visit }));
    due.extend(chairs(list, day));
    due.extend(machines(list, allocation, held));
    due
}

/// What the row itself asks somebody to act on.
fn of_row(visit: usize, row: &Visit) -> Vec<Caution> {
    let facts = [
        (row.go_ahead == GoAhead::Waiting, Caution::GoAheadWaiting { visit }),
        (row.isolate, Caution::Isolated { visit }),
        (row.alert.is_some(), Caution::Alert { visit }),
        (row.cooled && row.hair.is_none(), Caution::HairNotRecorded { visit }),
        (row.cooled && row.cap.is_none() && !row.own_cap, Caution::CapNotRecorded { visit }),
    ];
    facts.into_iter().filter(|(holds, _)| *holds).map(|(_, caution)| caution).collect()
}

/// What the visit's times break: opening, closing, the time by which the patient must leave.
fn of_times(list: &DayList, visit: usize, row: &Visit, times: &Timetable) -> Vec<Caution> {
    let leave = Moment::from_midnight(times.leave);
    let mut due = Vec::new();
    if times.arrive < list.unit.opens.minutes() {
        due.push(Caution::BeforeOpening { visit });
    }
    if times.leave > list.unit.closes.minutes() {
        due.push(Caution::ClosingPassed { visit, leave });
    }
    if let Some(leave_by) = row.leave_by.filter(|limit| times.leave > limit.minutes()) {
        due.push(Caution::LeaveByMissed { visit, leave, leave_by });
    }
    due
}

/// What a cooled patient lacks.
const fn of_outlet(visit: usize, cooling: &Cooling) -> Option<Caution> {
    match cooling {
        Cooling::Without(Reason::NoOutletFree) => Some(Caution::OutletShort { visit }),
        Cooling::Without(Reason::NoCapFree) => Some(Caution::CapShort { visit }),
        Cooling::NotWanted | Cooling::Outlet(_) => None,
    }
}

/// Chairs that two patients are to sit in at once, the making ready included.
fn chairs(list: &DayList, day: &[Timetable]) -> Vec<Caution> {
    let turnaround = list.unit.minutes.chair_turnaround.signed();
    let mut due = Vec::new();
    for (second, (row, times)) in list.visits.iter().zip(day).enumerate() {
        for (first, (other, earlier)) in list.visits.iter().zip(day).enumerate().take(second) {
            let from = times.arrive.max(earlier.arrive);
            let until = times.leave.min(earlier.leave) + turnaround;
            if (row.bay, &row.chair) == (other.bay, &other.chair) && from < until {
                let in_time = earlier.arrive <= times.arrive;
                let (one, other) = if in_time { (first, second) } else { (second, first) };
                due.push(Caution::ChairDoubleBooked { one, other, both: span(from, until) });
            }
        }
    }
    due
}

/// What the machines' day asks for: early switching on, moves, tight hand-overs.
fn machines(list: &DayList, allocation: &Allocation, held: &[Held]) -> Vec<Caution> {
    let mut due = Vec::new();
    for machine in 0..list.unit.machines.len() {
        let first = held.iter().filter(|hold| hold.machine == machine).map(|hold| hold.on).min();
        let switch_on = first.map(|on| on - list.unit.minutes.machine_start.signed());
        if let Some(early) = switch_on.filter(|&minute| minute < list.unit.opens.minutes()) {
            let (machine, switch_on) = (MachineIndex(machine), Moment::from_midnight(early));
            due.push(Caution::MachineBeforeOpening { machine, switch_on });
        }
    }
    due.extend(allocation.moves.iter().map(|step| Caution::MachineMoves {
        machine: step.machine,
        from: step.from,
        to: step.to,
        within: step.within,
    }));
    let wished = list.unit.rules.hand_over_slack.signed();
    let tight = hand_overs(held).into_iter().filter(|pair| pair.slack < wished);
    due.extend(tight.map(|pair| Caution::HandOverTight {
        from: pair.from,
        to: pair.to,
        slack: Minutes::new(u32::try_from(pair.slack).unwrap_or(0)),
    }));
    due
}

/// The name of a caution's kind.
pub(super) const fn kind(caution: &Caution) -> &'static str {
    match caution {
        Caution::HeldBack { .. } => "row held back",
        Caution::OtherDays { .. } => "rows of other days",
        Caution::NamesAlike { .. } => "names alike",
        Caution::OutletShort { .. } => "no outlet",
        Caution::CapShort { .. } => "no cap",
        Caution::GoAheadWaiting { .. } => "go-ahead waited for",
        Caution::GoAheadNotRecorded { .. } => "go-ahead not recorded",
        Caution::Isolated { .. } => "isolated",
        Caution::ClosingPassed { .. } => "closing passed",
        Caution::BeforeOpening { .. } => "before opening",
        Caution::LeaveByMissed { .. } => "leaving time missed",
        Caution::DrugsLate { .. } => "drugs late",
        Caution::ChairDoubleBooked { .. } => "chair double-booked",
        Caution::NursesShort { .. } => "nurses short",
        Caution::HairNotRecorded { .. } => "hair not recorded",
        Caution::CapNotRecorded { .. } => "cap not recorded",
        Caution::CardLanguage { .. } => "card not in the patient's language",
        Caution::Alert { .. } => "alert",
        Caution::MachineBeforeOpening { .. } => "machine before opening",
        Caution::HandOverTight { .. } => "hand-over tight",
        Caution::MachineMoves { .. } => "machine moves",
    }
}

/// Whom or what a caution concerns; for several the first.
pub(super) fn subject(list: &DayList, caution: &Caution) -> Subject {
    let row = |visit: usize| list.visits.get(visit).map_or(Subject::Day, |row| Subject::Line(row.line));
    match caution {
        Caution::HeldBack { row } => {
            list.held_back.get(*row).map_or(Subject::Day, |held| Subject::Line(held.line))
        }
        Caution::OtherDays { .. } | Caution::GoAheadNotRecorded { .. } => Subject::Day,
        Caution::NamesAlike { visits } => visits.first().map_or(Subject::Day, |&visit| row(visit)),
        Caution::ChairDoubleBooked { one, .. } => row(*one),
        Caution::HandOverTight { from, .. } => row(*from),
        Caution::NursesShort { bay, .. } => {
            list.unit.bays.get(bay.0).map_or(Subject::Day, |bay| Subject::Bay(bay.name.clone()))
        }
        Caution::MachineBeforeOpening { machine, .. } | Caution::MachineMoves { machine, .. } => {
            let stated = list.unit.machines.get(machine.0);
            stated.map_or(Subject::Day, |machine| Subject::Machine(machine.name.clone()))
        }
        Caution::OutletShort { visit }
        | Caution::CapShort { visit }
        | Caution::GoAheadWaiting { visit }
        | Caution::Isolated { visit }
        | Caution::ClosingPassed { visit, .. }
        | Caution::BeforeOpening { visit }
        | Caution::LeaveByMissed { visit, .. }
        | Caution::DrugsLate { visit, .. }
        | Caution::HairNotRecorded { visit }
        | Caution::CapNotRecorded { visit }
        | Caution::CardLanguage { visit }
        | Caution::Alert { visit } => row(*visit),
    }
}

/// A caution in a message: its kind and what it says, rows by their lines.
pub(super) fn text(list: &DayList, caution: &Caution) -> String {
    let line = |visit: &usize| {
        list.visits.get(*visit).map_or_else(|| "no such row".to_owned(), |row| format!("line {}", row.line))
    };
    let said = match caution {
        Caution::OtherDays { rows } => format!("{rows} rows"),
        Caution::NamesAlike { visits } | Caution::GoAheadNotRecorded { visits } => {
            visits.iter().map(line).collect::<Vec<_>>().join(", ")
        }
        Caution::ClosingPassed { leave, .. } => format!("leaving {leave}"),
        Caution::LeaveByMissed { leave, leave_by, .. } => format!("leaving {leave}, must by {leave_by}"),
        Caution::DrugsLate { ready, needed_by, .. } => match needed_by {
            Some(by) => format!("ready {ready}, needed by {by}"),
            None => format!("ready {ready}, no time would do"),
        },
        Caution::ChairDoubleBooked { one, other, both } => {
            format!("{} and {} from {} to {}", line(one), line(other), both.from, both.until)
        }
        Caution::NursesShort { when, needed, nurses, .. } => {
            format!("{needed} needed of {nurses} from {} to {}", when.from, when.until)
        }
        Caution::MachineBeforeOpening { switch_on, .. } => format!("switched on {switch_on}"),
        Caution::HandOverTight { from, to, slack } => {
            format!("{} to {} with {} min", line(from), line(to), slack.get())
        }
        Caution::MachineMoves { from, to, within, .. } => {
            let (from, to) = (from.0 + 1, to.0 + 1);
            format!("bay {from} to bay {to} of the unit's file, {} to {}", within.from, within.until)
        }
        _ => return format!("`{}`", kind(caution)),
    };
    format!("`{}`: {said}", kind(caution))
}
