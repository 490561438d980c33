//! Which machine serves which session, and what that is worth.
//!
//! Everything here is recomputed from the placement alone; nothing trusts how it was found.

use super::outlets::{hand_out, shortfall};
use super::sessions::{SessionIndex, Sessions, most_at_once};
use crate::clock::Span;
use crate::unit_rules::{BayIndex, MachineIndex};

/// The machine of each session; `None` is a patient without an outlet.
pub(super) type Placement = Vec<Option<MachineIndex>>;

/// The objectives of a placement in their order; smaller is better.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Score {
    /// Sessions without an outlet.
    pub without: u32,
    /// Machines' changes of bay.
    pub moves: u32,
    /// Total minutes by which hand-overs fall short of the wished slack.
    pub shortfall: u32,
    /// The largest, over machines, of cooling minutes for each two outlets: a machine with one
    /// outlet counts double, so that no fraction is needed.
    pub busiest: u32,
}

/// The sessions that a machine serves, in the order of their starts.
pub(super) fn served_by(placement: &Placement, machine: MachineIndex) -> Vec<SessionIndex> {
    let on_it = |session: &SessionIndex| placement[*session] == Some(machine);
    (0..placement.len()).filter(on_it).collect()
}

/// Whether a machine can serve all of `served` (in the order of their starts).
pub(super) fn fits(day: &Sessions, machine: MachineIndex, served: &[SessionIndex]) -> bool {
    served.iter().all(|&session| day.suits(machine, session))
        && pairs(served).all(|(one, other)| day.may_share(one, other))
        && hand_out(day, machine, served).is_some()
}

/// Whether every machine can serve the sessions that it is given, and the caps suffice.
pub(super) fn is_sound(day: &Sessions, placement: &Placement) -> bool {
    let served = |session: &SessionIndex| placement[*session].is_some();
    let machines = (0..day.unit.machines.len()).map(MachineIndex);
    let caps_suffice = |session: SessionIndex| {
        cap_is_free(day, session, (0..placement.len()).filter(|other| served(other) && *other != session))
    };
    machines.into_iter().all(|machine| fits(day, machine, &served_by(placement, machine)))
        && (0..placement.len()).filter(served).all(caps_suffice)
}

/// Whether a cap is there for the session besides those of `served`.
pub(super) fn cap_is_free(
    day: &Sessions,
    session: SessionIndex,
    served: impl Iterator<Item = SessionIndex>,
) -> bool {
    let Some((size, hold)) = day.all[session].cap else { return true };
    let same_size = |other: SessionIndex| day.all[other].cap.filter(|cap| cap.0 == size).map(|cap| cap.1);
    let taken: Vec<Span> = served.filter(|&other| other != session).filter_map(same_size).collect();
    most_at_once(&taken, hold).0 < day.unit.cap(size).count as usize
}

/// The changes of bay that serving `served` (in the order of their starts) asks of a machine: the
/// bay it leaves, the session it goes to, and the place of that session in `served`.
pub(super) fn changes_of_bay(
    day: &Sessions,
    machine: MachineIndex,
    served: &[SessionIndex],
) -> Vec<(BayIndex, usize)> {
    let mut bay = day.unit.machine(machine).bay;
    let mut changes = Vec::new();
    for (place, &session) in served.iter().enumerate() {
        if day.all[session].bay != bay {
            changes.push((bay, place));
            bay = day.all[session].bay;
        }
    }
    changes
}

/// The objectives of a placement that fits.
pub(super) fn score(day: &Sessions, placement: &Placement) -> Score {
    let without = placement.iter().filter(|machine| machine.is_none()).count();
    let mut score = Score { without: count(without), moves: 0, shortfall: 0, busiest: 0 };
    for machine in (0..day.unit.machines.len()).map(MachineIndex) {
        let served = served_by(placement, machine);
        score.moves += count(changes_of_bay(day, machine, &served).len());
        score.shortfall += total_shortfall(day, machine, &served);
        score.busiest = score.busiest.max(load(day, machine, &served));
    }
    score
}

/// The total shortfall of slack of one machine's hand-overs.
pub(super) fn total_shortfall(day: &Sessions, machine: MachineIndex, served: &[SessionIndex]) -> u32 {
    let numbers = hand_out(day, machine, served).unwrap_or_default();
    let mut free = vec![None; usize::from(day.unit.machine(machine).outlets) + 1];
    let mut total = 0;
    for (&session, number) in served.iter().zip(numbers) {
        let hold = day.all[session].hold;
        let last = free[usize::from(number)].replace(hold.until);
        total += last.map_or(0, |from| shortfall(day, from, hold.from));
    }
    total
}

/// Minutes of cooling for each two outlets of a machine.
pub(super) fn load(day: &Sessions, machine: MachineIndex, served: &[SessionIndex]) -> u32 {
    let minutes: u32 = served.iter().map(|&session| day.all[session].cooling_minutes()).sum();
    (2 * minutes).div_ceil(u32::from(day.unit.machine(machine).outlets).max(1))
}

/// Every two of `served`, once.
pub(super) fn pairs(served: &[SessionIndex]) -> impl Iterator<Item = (SessionIndex, SessionIndex)> {
    served
        .iter()
        .enumerate()
        .flat_map(move |(place, &one)| served[place + 1..].iter().map(move |&other| (one, other)))
}

/// A small count as a number of the plan.
pub(super) fn count(things: usize) -> u32 {
    u32::try_from(things).unwrap_or(u32::MAX)
}
