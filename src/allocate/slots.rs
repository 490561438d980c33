//! Machines as a sweep sees them: one by one where it matters which is which, else pooled.

use super::kinds::{differ, pairs_matter};
use super::sessions::{SessionIndex, Sessions};
use crate::clock::{Moment, Span};
use crate::unit_rules::{BayIndex, Machine, MachineIndex};

/// One machine, or several that stay in one bay and whose outlets are as good as one another.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Slot {
    /// The machines; at least one.
    pub machines: Vec<MachineIndex>,
    /// Outlets of all of them together.
    pub outlets: usize,
    /// The bay in which they stand in the morning.
    pub bay: BayIndex,
    /// Whether it may move; never several machines.
    pub movable: bool,
    /// Whether its outlets are out of service at different times.
    pub differ: bool,
    /// Whether hose reach cannot matter.
    pub pooled: bool,
    /// Whether a guide says who may share it.
    pub guided: bool,
    /// Whether the unit calls it movable, whether or not it may move here; a guide tells these apart.
    stated_movable: bool,
    /// When what is out of service.
    outages: Vec<(Span, Option<u8>)>,
}

/// The slots of the machines in `bays`, of which only `movers` may move. Slots that are alike stand
/// next to each other, by bay.
pub(super) fn slots(day: &Sessions, bays: &[BayIndex], movers: &[MachineIndex]) -> Vec<Slot> {
    let mut slots: Vec<Slot> = Vec::new();
    for (place, machine) in day.unit.machines.iter().enumerate() {
        let movable = machine.movable && movers.contains(&MachineIndex(place));
        if bays.contains(&machine.bay) {
            add(&mut slots, slot(day, MachineIndex(place), machine, movable));
        }
    }
    let key = |slot: &Slot| (slot.kind(), slot.bay, slot.machines[0]);
    slots.sort_by_cached_key(key);
    slots
}

/// A slot of one machine.
fn slot(day: &Sessions, index: MachineIndex, machine: &Machine, movable: bool) -> Slot {
    let mut outages: Vec<_> =
        machine.out_of_service.iter().map(|outage| (outage.span, outage.outlet)).collect();
    outages.sort_unstable();
    let differ = differ(machine);
    let reach_matters = machine.outlets > 1 && !day.reach_is_free(machine.bay);
    Slot {
        machines: vec![index],
        outlets: usize::from(machine.outlets),
        bay: machine.bay,
        movable,
        differ,
        pooled: !movable && !differ && !reach_matters,
        guided: pairs_matter(day, machine),
        stated_movable: machine.movable,
        outages,
    }
}

/// Adds a slot, to a pool if there is one that it can join.
fn add(slots: &mut Vec<Slot>, slot: Slot) {
    let joins =
        |pool: &&mut Slot| pool.pooled && slot.pooled && pool.bay == slot.bay && pool.outages == slot.outages;
    match slots.iter_mut().find(joins) {
        Some(pool) => {
            pool.machines.extend(&slot.machines);
            pool.outlets += slot.outlets;
        }
        None => slots.push(slot),
    }
}

impl Slot {
    /// What slots that are alike but for their bay have in common.
    pub fn kind(&self) -> impl Ord + use<> {
        (self.pooled, self.outlets, self.movable, self.stated_movable, self.differ, self.outages.clone())
    }

    /// The machine of each of `served` (in the order of their starts): the outlet that was free first.
    pub fn spread(&self, day: &Sessions, served: &[SessionIndex]) -> Vec<MachineIndex> {
        let outlets = self
            .machines
            .iter()
            .flat_map(|&machine| (0..day.unit.machine(machine).outlets).map(move |_| machine));
        let mut free: Vec<(Option<Moment>, u32, MachineIndex)> =
            outlets.map(|machine| (None, 0, machine)).collect();
        let mut machines = Vec::with_capacity(served.len());
        for &session in served {
            // Among outlets not used yet, one of the machine that has cooled least.
            let Some(&next) = free.iter().min() else { break };
            let (from, until) = (next.2, day.all[session].hold.until);
            for outlet in free.iter_mut().filter(|outlet| outlet.2 == from) {
                outlet.1 += day.all[session].cooling_minutes();
            }
            if let Some(taken) = free.iter_mut().filter(|outlet| outlet.2 == from).min() {
                taken.0 = Some(until);
            }
            machines.push(from);
        }
        machines
    }
}
