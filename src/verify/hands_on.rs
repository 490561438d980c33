//! Nurses' hands: how many each bay needs at each minute, and whether every lack of them is said.

use std::collections::BTreeMap;

use crate::clock::Moment;
use crate::patient::Visit;
use crate::survey::Caution;
use crate::unit_rules::{BayIndex, Step};
use crate::validate::DayList;

use super::breach::{Breach, Promise, Subject};
use super::cautions::{kind, text};
use super::timetable::{Minute, Timetable};

/// How many nurses a bay needs at each minute at which it needs any.
type Load = BTreeMap<Minute, u32>;

/// What is wrong with the cautions about nurses.
pub(super) fn check(list: &DayList, day: &[Timetable], given: &[Caution]) -> Vec<Breach> {
    let loads: Vec<Load> = (0..list.unit.bays.len()).map(|bay| load_of(list, day, BayIndex(bay))).collect();
    let mut breaches: Vec<Breach> =
        given.iter().filter_map(|caution| untrue(list, &loads, caution)).collect();
    for (place, load) in loads.iter().enumerate() {
        breaches.extend(unsaid(list, BayIndex(place), load, given));
    }
    breaches
}

/// The hands that a bay's visits need.
fn load_of(list: &DayList, day: &[Timetable], bay: BayIndex) -> Load {
    let mut load = Load::new();
    for (visit, times) in list.visits.iter().zip(day).filter(|(visit, _)| visit.bay == bay) {
        for (from, minutes) in tasks(list, visit, times) {
            for minute in from..from.saturating_add(minutes) {
                *load.entry(minute).or_default() += 1;
            }
        }
    }
    load
}

/// Every task of a visit that needs a nurse's hands: when it starts, how many minutes it takes.
///
/// A patient without an outlet counts too: the nurse in charge may still find one.
fn tasks(list: &DayList, visit: &Visit, times: &Timetable) -> Vec<(Minute, i32)> {
    let hands = &list.unit.hands_on;
    let start = hands.drug_start.signed();
    let mut tasks = Vec::new();
    for (step, [from, end, _]) in list.regimen(visit.regimen).steps.iter().zip(&times.drugs) {
        tasks.push((*from, first_nurse(step, start, end - from)));
        if step.cytotoxic {
            tasks.push((*from, start));
        }
    }
    if let Some(cooled) = times.cooled {
        let connect = hands.connect.signed();
        tasks.push((cooled.on - connect, connect));
        tasks.push((cooled.off, hands.disconnect.signed()));
        tasks.push((cooled.cap_off, hands.cap_off.signed()));
    }
    tasks
}

/// How long the nurse who starts a drug stays with it: a push is given by hand to its end.
fn first_nurse(step: &Step, start: i32, infusion: i32) -> i32 {
    if step.push { start.max(infusion) } else { start }
}

/// The breach of a caution that says what is not so: a wrong number, or minutes without a lack at
/// either end.
fn untrue(list: &DayList, loads: &[Load], caution: &Caution) -> Option<Breach> {
    let Caution::NursesShort { bay, when, needed, nurses } = caution else { return None };
    let said = text(list, caution);
    let promise = Promise::CautionIsTrue(kind(caution));
    let (Some(stated), Some(load)) = (list.unit.bays.get(bay.0), loads.get(bay.0)) else {
        return Some(Breach::new(promise, Subject::Day, said, "a bay of the unit"));
    };
    let at = |minute: Minute| load.get(&minute).copied().unwrap_or(0);
    let (from, until) = (when.from.minutes(), when.until.minutes());
    let most = (from..until).map(at).max().unwrap_or(0);
    let lacks = at(from) > stated.nurses && at(until - 1) > stated.nurses && from < until;
    let right = lacks && *nurses == stated.nurses && *needed == most;
    (!right).then(|| {
        let expected = format!(
            "{} nurses, at most {most} needed in these minutes, {} at their start, {} at their end",
            stated.nurses,
            at(from),
            at(until - 1)
        );
        Breach::new(promise, Subject::Bay(stated.name.clone()), said, expected)
    })
}

/// The first minute of each lack that no caution covers in full.
fn unsaid(list: &DayList, bay: BayIndex, load: &Load, given: &[Caution]) -> Vec<Breach> {
    let Some(stated) = list.unit.bays.get(bay.0) else { return Vec::new() };
    let mut breaches = Vec::new();
    let mut last: Option<Minute> = None;
    let lacking = load.iter().filter(|(_, needed)| **needed > stated.nurses);
    for (&minute, &needed) in lacking.filter(|(minute, needed)| !is_said(given, bay, **minute, **needed)) {
        if last != Some(minute - 1) {
            let promise = Promise::Cautioned("nurses short");
            let expected = format!("a caution: {needed} needed at {}", Moment::from_midnight(minute));
            let found = format!("{} nurses, no caution", stated.nurses);
            breaches.push(Breach::new(promise, Subject::Bay(stated.name.clone()), found, expected));
        }
        last = Some(minute);
    }
    breaches
}

/// Whether a caution says that a bay needs at least so many nurses at a minute.
fn is_said(given: &[Caution], bay: BayIndex, minute: Minute, needed: u32) -> bool {
    given.iter().any(|caution| match caution {
        Caution::NursesShort { bay: of, when, needed: said, .. } => {
            *of == bay && (when.from.minutes()..when.until.minutes()).contains(&minute) && *said >= needed
        }
        _ => false,
    })
}
