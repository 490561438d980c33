//! What to do if a machine fails: for every machine and every stretch in which it cools somebody, the
//! outlet that each of its patients can take instead.
//!
//! Read off a verified day; changes nothing of it and applies nothing. Who takes what, and whether
//! cooling goes on, is for the nurse in charge.

mod refuge;

use crate::clock::{Moment, Span};
use crate::survey::VisitIndex;
use crate::unit_rules::MachineIndex;
use crate::verify::VerifiedDay;
use refuge::Refuges;

/// What one patient can do if the machine fails within a stretch of the day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FallBack {
    /// The machine that fails.
    pub machine: MachineIndex,
    /// The patient whom it cools.
    pub visit: VisitIndex,
    /// When it fails.
    pub fails: Span,
    /// Whether the patient is then in pre-cooling: no rule is known for it, the nurse in charge is asked.
    pub pre_cooling: bool,
    /// The outlet that is there for the patient, if there is one.
    pub refuge: Option<Refuge>,
}

/// An outlet that a patient can take at once: free, clean, in reach, on a machine that is cold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Refuge {
    /// The machine.
    pub machine: MachineIndex,
    /// The outlet, from 1.
    pub number: u8,
    /// When the patient must be off it, and why; `None` if nobody and nothing needs it any more.
    pub until: Option<(Moment, Limit)>,
    /// Whether cooling can go on there until its planned end.
    pub to_the_end: bool,
}

/// What ends a patient's stay on another outlet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Limit {
    /// This patient is next on the outlet.
    Next(VisitIndex),
    /// This patient is next on the machine, and sits out of its hoses' reach of the one who came.
    OutOfReach(VisitIndex),
    /// The outlet goes out of service.
    OutOfService,
    /// The machine is moved to another bay, where this patient is the first on it.
    Moved(VisitIndex),
}

/// The fall-backs of the day: by machine, then patient (by start of cooling), then time.
///
/// Patients in infusion and post-cooling are served first, together: as many as can be to the end of
/// their cooling, then as many minutes as can be, then with as few changes of the answer over the day
/// as can be. Those in pre-cooling get what is left.
#[must_use]
pub fn fall_backs(day: &VerifiedDay) -> Vec<FallBack> {
    let machines = (0..day.list().unit.machines.len()).map(MachineIndex);
    machines.flat_map(|machine| joined(day, of_machine(day, machine))).collect()
}

/// One line for every patient of a machine and every stretch between two changes of anything.
fn of_machine(day: &VerifiedDay, machine: MachineIndex) -> Vec<FallBack> {
    let cooled: Vec<VisitIndex> = day.allocation().holds_of(machine).map(|(visit, _)| visit).collect();
    let mut refuges = Refuges::besides(day, machine);
    let mut lines = Vec::new();
    for stretch in changes(day).windows(2) {
        let [from, until] = stretch else { continue };
        let fails = Span::new(*from, *until);
        let (late, early) = patients_at(day, &cooled, *from);
        for (visit, refuge) in refuges.matched(*from, &late, &early) {
            let pre_cooling = early.contains(&visit);
            lines.push(FallBack { machine, visit, fails, pre_cooling, refuge });
        }
    }
    lines
}

/// Every minute of the day at which an answer may change.
fn changes(day: &VerifiedDay) -> Vec<Moment> {
    let unit = &day.list().unit;
    let clean = unit.minutes.outlet_clean;
    let mut moments = Vec::new();
    for (visit, hold) in day.allocation().holds() {
        moments.extend([hold.span.from - clean, hold.span.from, hold.span.until - clean, hold.span.until]);
        moments.extend(day.plan().visits[visit].cooling.as_ref().map(|stages| stages.hair_loss_drug_start));
    }
    let outages = unit.machines.iter().flat_map(|machine| &machine.out_of_service).map(|outage| outage.span);
    for span in outages.chain(day.allocation().moves.iter().map(|change| change.within)) {
        moments.extend([span.from - clean, span.from, span.until]);
    }
    moments.sort_unstable();
    moments.dedup();
    moments
}

/// Who of `cooled` is connected at `at`: past pre-cooling, and still in it.
fn patients_at(day: &VerifiedDay, cooled: &[VisitIndex], at: Moment) -> (Vec<VisitIndex>, Vec<VisitIndex>) {
    let stages = |visit: &VisitIndex| day.plan().visits[*visit].cooling.as_ref();
    let now = cooled.iter().copied().filter(|visit| {
        stages(visit).is_some_and(|stages| stages.cooling_on <= at && at < stages.cooling_off)
    });
    now.partition(|visit| stages(visit).is_some_and(|stages| stages.hair_loss_drug_start <= at))
}

/// The same lines with those that say the same one after the other made one, by patient, then time.
fn joined(day: &VerifiedDay, mut lines: Vec<FallBack>) -> Vec<FallBack> {
    let starts =
        |visit: VisitIndex| day.plan().visits[visit].cooling.as_ref().map(|stages| stages.cooling_on);
    lines.sort_by_key(|line| (starts(line.visit), line.visit, line.fails));
    let mut joined: Vec<FallBack> = Vec::new();
    for line in lines {
        let same = |last: &&mut FallBack| {
            last.fails.until == line.fails.from
                && (last.visit, last.pre_cooling, last.refuge) == (line.visit, line.pre_cooling, line.refuge)
        };
        match joined.last_mut().filter(same) {
            Some(last) => last.fails.until = line.fails.until,
            None => joined.push(line),
        }
    }
    joined
}
