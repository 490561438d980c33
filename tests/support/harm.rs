//! What is wrong on a day, in facts that outlast a change of the list's order, so that two days can be compared.
//!
//! Read from the cautions of a verified day alone; knows nothing of how a day was found.
#![allow(dead_code, reason = "each test file uses a part of this")]

use std::collections::{BTreeMap, BTreeSet};

use baypack::allocate::{Cooling, allocate};
use baypack::plan::plan;
use baypack::survey::{Caution, survey};
use baypack::validate::DayList;
use baypack::verify::{VerifiedDay, verify};

/// A list's day, planned, allocated, surveyed and verified.
pub fn verified(list: DayList) -> VerifiedDay {
    let planned = plan(&list);
    let allocation = allocate(&list, &planned);
    let cautions = survey(&list, &planned, &allocation);
    verify(list, planned, allocation, cautions).expect("a day that passes its own check")
}

/// The lines of those without an outlet.
pub fn without(day: &VerifiedDay) -> BTreeSet<u32> {
    let visits = day.list().visits.iter().zip(&day.allocation().visits);
    visits.filter(|(_, cooling)| matches!(cooling, Cooling::Without(_))).map(|(row, _)| row.line).collect()
}

/// What somebody suffers, each with how bad it is: the larger, the worse.
fn harms(day: &VerifiedDay) -> BTreeMap<(&'static str, u32, u32, i32), i32> {
    let mut found = BTreeMap::new();
    let line = |visit: &usize| day.list().visits[*visit].line;
    for caution in day.cautions() {
        let kind = caution.kind();
        match caution {
            Caution::NursesShort { bay, when, needed, .. } => {
                let bay = u32::try_from(bay.0).expect("few bays");
                let minutes = when.from.minutes()..when.until.minutes();
                found.extend(minutes.map(|at| ((kind, bay, 0, at), needed.cast_signed())));
            }
            Caution::ChairDoubleBooked { one, other, both } => {
                let (one, other) = (line(one).min(line(other)), line(one).max(line(other)));
                let minutes = both.from.minutes()..both.until.minutes();
                found.extend(minutes.map(|at| ((kind, one, other, at), 0)));
            }
            Caution::ClosingPassed { visit, leave } | Caution::LeaveByMissed { visit, leave, .. } => {
                found.insert((kind, line(visit), 0, 0), leave.minutes());
            }
            Caution::BeforeOpening { visit } => {
                found.insert((kind, line(visit), 0, 0), -day.list().visits[*visit].arrive.minutes());
            }
            Caution::DrugsLate { visit, needed_by, .. } => {
                let needed = needed_by.map_or(i32::MAX, |by| -by.minutes());
                found.insert((kind, line(visit), 0, 0), needed);
            }
            Caution::MachineBeforeOpening { machine, switch_on } => {
                let machine = u32::try_from(machine.0).expect("few machines");
                found.insert((kind, machine, 0, 0), -switch_on.minutes());
            }
            _ => {}
        }
    }
    found
}

/// What is worse after than before.
pub fn new_harms(before: &VerifiedDay, after: &VerifiedDay) -> Vec<String> {
    let had = harms(before);
    let worse = |(what, how): &(_, i32)| had.get(what).is_none_or(|had| how > had);
    harms(after).into_iter().filter(worse).map(|harm| format!("{harm:?}")).collect()
}
