//! The states that machines go through in a sweep, and the steps between them.

use std::ops::Range;

use super::counting::Guide;
use super::outlets::shortfall;
use super::placement::cap_is_free;
use super::sessions::{Session, SessionIndex, Sessions, in_service, most_at_once};
use super::slots::Slot;
use crate::clock::{Minutes, Moment, Span};
use crate::unit_rules::MachineIndex;

/// For each slot its bay, then for each of its outlets the last session, as its place among the
/// sessions plus one (0 if it does not matter any more); after them, sessions that hold scarce caps.
pub(super) type State = Vec<u16>;

/// A way to serve a session.
pub(super) struct Served {
    /// Where the outlet stands in the state.
    pub outlet: usize,
    /// Moves that it takes.
    pub moves: u32,
    /// Minutes by which the hand-over falls short of the wished slack.
    pub shortfall: u32,
}

/// What the states of a sweep are about.
pub(super) struct States<'a> {
    pub day: &'a Sessions<'a>,
    /// The sessions, in the order of their starts.
    pub sessions: &'a [SessionIndex],
    pub slots: &'a [Slot],
    /// If given, the only machines for each session and the only sessions that may share one.
    guide: Option<&'a Guide>,
    /// Where each slot stands in a state.
    places: Vec<Range<usize>>,
    /// Slots that are alike but for their bay.
    alike: Vec<Range<usize>>,
    /// For each session the first that is free at the same time, as it stands in a state.
    same_end: Vec<u16>,
    /// Whether the session's cap is of a size that can run short.
    scarce: Vec<bool>,
}

impl<'a> States<'a> {
    /// Slots that are alike must stand next to each other, by bay.
    pub fn new(
        day: &'a Sessions<'a>,
        sessions: &'a [SessionIndex],
        slots: &'a [Slot],
        guide: Option<&'a Guide>,
    ) -> Self {
        let mut places = Vec::new();
        let mut end = 0;
        for slot in slots {
            places.push(end..end + 1 + slot.outlets);
            end += 1 + slot.outlets;
        }
        let alike = alike(slots);
        let (same_end, scarce) = (same_end(day, sessions), scarce(day, sessions));
        Self { day, sessions, slots, guide, places, alike, same_end, scarce }
    }

    /// Every machine at home, nothing used.
    pub fn start(&self) -> State {
        let entry =
            |slot: &Slot| std::iter::once(short(slot.bay.0)).chain(std::iter::repeat_n(0, slot.outlets));
        self.slots.iter().flat_map(entry).collect()
    }

    /// The ways to serve the session at `place`; of slots in the same state, the first stands for all.
    pub fn ways(&self, place: usize, state: &State) -> Vec<Served> {
        let mut ways = Vec::new();
        if !self.has_cap(place, state) {
            return ways;
        }
        for run in &self.alike {
            for slot in run.clone() {
                let entry = |slot: usize| &state[self.places[slot].clone()];
                if slot == run.start || entry(slot) != entry(slot - 1) {
                    self.ways_of_slot(place, slot, state, &mut ways);
                }
            }
        }
        ways
    }

    /// The ways to serve the session at `place` by one slot: of outlets that do not differ, the one
    /// that was free first, which is never worse.
    fn ways_of_slot(&self, place: usize, slot: usize, state: &State, ways: &mut Vec<Served>) {
        if !self.is_guided_to(place, slot) {
            return;
        }
        let Some(moves) = self.moves_to_serve(place, slot, state) else { return };
        let hold = self.session(place).hold;
        let outlets = self.places[slot].start + 1..self.places[slot].end;
        let free = outlets.filter(|&outlet| self.is_free(slot, outlet, state, hold));
        let served = |outlet: usize| {
            let last = self.free_from(state[outlet]);
            let shortfall = last.map_or(0, |last| shortfall(self.day, last, hold.from));
            Served { outlet, moves, shortfall }
        };
        if self.slots[slot].differ {
            ways.extend(free.map(served));
        } else {
            ways.extend(free.min_by_key(|&outlet| self.free_from(state[outlet])).map(served));
        }
    }

    /// Whether the guide, if there is one, lets a slot serve the session at `place`.
    fn is_guided_to(&self, place: usize, slot: usize) -> bool {
        let machines = self.guide.map(|guide| &guide.machines[self.sessions[place]]);
        machines
            .is_none_or(|machines| self.slots[slot].machines.iter().any(|machine| machines.contains(machine)))
    }

    /// The moves that a slot makes to serve the session at `place`; `None` if it cannot.
    fn moves_to_serve(&self, place: usize, slot: usize, state: &State) -> Option<u32> {
        let session = self.session(place);
        let entry = &state[self.places[slot].clone()];
        let lasts = || entry[1..].iter().filter(|last| **last > 0).map(|&last| usize::from(last) - 1);
        if entry[0] != short(session.bay.0) {
            let needed = self.day.unit.minutes.machine_move;
            let free = lasts().all(|last| self.session(last).hold.until + needed <= session.hold.from);
            return (self.slots[slot].movable && free).then_some(1);
        }
        let bay = self.day.unit.bay(session.bay);
        let guide = self.guide.filter(|_| self.slots[slot].guided);
        let may_meet = |last: usize| {
            let other = self.session(last);
            if !other.hold.meets(session.hold) {
                return true;
            }
            let reached =
                !other.cooling.meets(session.cooling) || bay.reach_together(&other.chair, &session.chair);
            reached
                && guide
                    .is_none_or(|guide| guide.pairs.contains(&(self.sessions[last], self.sessions[place])))
        };
        (self.slots[slot].pooled || lasts().all(may_meet)).then_some(0)
    }

    /// Whether an outlet is free and in service for a hold.
    fn is_free(&self, slot: usize, outlet: usize, state: &State, hold: Span) -> bool {
        let differ = self.slots[slot].differ;
        let number =
            if differ { u8::try_from(outlet - self.places[slot].start).unwrap_or(u8::MAX) } else { 1 };
        let machine = self.day.unit.machine(self.slots[slot].machines[0]);
        self.free_from(state[outlet]).is_none_or(|free| free <= hold.from)
            && in_service(self.day.unit, machine, number, hold)
    }

    /// Whether a cap is there for the session at `place`.
    fn has_cap(&self, place: usize, state: &State) -> bool {
        if !self.scarce[place] {
            return true;
        }
        let holders = state[self.end()..].iter().map(|&holder| self.sessions[usize::from(holder) - 1]);
        cap_is_free(self.day, self.sessions[place], holders)
    }

    /// The state in which the session after the one at `place` finds the machines, once this one has
    /// been served; `names` are the slots as they stand in the state, and are put into its new order.
    pub fn after(&self, place: usize, state: &State, served: Option<usize>, names: &mut [usize]) -> State {
        let mut state = state.clone();
        if let Some(outlet) = served {
            let slot = self.slot_at(outlet);
            state[self.places[slot].start] = short(self.session(place).bay.0);
            state[outlet] = short(place + 1);
            if self.scarce[place] {
                state.push(short(place + 1));
            }
        }
        if place + 1 == self.sessions.len() {
            return State::new();
        }
        self.forget(place + 1, &mut state);
        for run in &self.alike {
            self.put_in_order(run, &mut state, names);
        }
        state
    }

    /// The slot to which an outlet of a state belongs.
    pub fn slot_at(&self, outlet: usize) -> usize {
        self.places.iter().position(|at| at.contains(&outlet)).unwrap_or(0)
    }

    /// Forgets what does not matter any more to the session at `place` and later ones, and writes the
    /// same way what is the same for them.
    fn forget(&self, place: usize, state: &mut State) {
        let now = self.session(place).hold.from;
        for (slot, at) in self.slots.iter().zip(&self.places) {
            for last in &mut state[at.start + 1..at.end] {
                *last = self.remembered(slot, *last, now);
            }
            if !slot.differ {
                state[at.start + 1..at.end].sort_unstable();
            }
        }
        let mut holders = state.split_off(self.end());
        holders.retain(|&holder| self.cap_matters(place, usize::from(holder) - 1));
        holders.sort_unstable();
        state.extend(holders);
    }

    /// An outlet's last session as far as it matters from `now` on.
    fn remembered(&self, slot: &Slot, last: u16, now: Moment) -> u16 {
        let Some(free) = self.free_from(last) else { return 0 };
        let move_time = if slot.movable { self.day.unit.minutes.machine_move } else { Minutes::default() };
        if free + move_time.max(self.day.unit.rules.hand_over_slack) <= now {
            return 0;
        }
        let session = self.session(usize::from(last) - 1);
        let chair_matters = !slot.pooled
            && (self.guide.is_some() && session.hold.until > now
                || session.cooling.until > now && !self.day.reach_is_free(session.bay));
        if chair_matters { last } else { self.same_end[usize::from(last) - 1] }
    }

    /// Whether the cap of the session at `holder` can be missed by one at `place` or later.
    fn cap_matters(&self, place: usize, holder: usize) -> bool {
        let Some((size, hold)) = self.session(holder).cap else { return false };
        let misses = |later: usize| {
            self.session(later).cap.is_some_and(|(wanted, wish)| wanted == size && wish.meets(hold))
        };
        (place..self.sessions.len()).any(misses)
    }

    /// Puts slots that are alike into one order, and their names with them.
    fn put_in_order(&self, run: &Range<usize>, state: &mut State, names: &mut [usize]) {
        for last in run.start + 1..run.end {
            let mut slot = last;
            while slot > run.start {
                let (one, other) = (self.places[slot - 1].clone(), self.places[slot].clone());
                if state[one.clone()] <= state[other.clone()] {
                    break;
                }
                state[one.start..other.end].rotate_left(one.len());
                if !names.is_empty() {
                    names.swap(slot - 1, slot);
                }
                slot -= 1;
            }
        }
    }

    /// How many outlets stand in each bay.
    pub fn outlets_by_bay(&self, state: &State) -> Vec<u32> {
        let mut outlets = vec![0; self.day.unit.bays.len()];
        for (slot, at) in self.slots.iter().zip(&self.places) {
            outlets[usize::from(state[at.start])] += super::placement::count(slot.outlets);
        }
        outlets
    }

    /// The sum, over machines that may move, of when each is free altogether: the less, the sooner they
    /// can be of use elsewhere.
    pub fn bound_until(&self, state: &State) -> i64 {
        let movable = self.slots.iter().zip(&self.places).filter(|(slot, _)| slot.movable);
        let free = movable
            .map(|(_, at)| state[at.start + 1..at.end].iter().filter_map(|&last| self.free_from(last)).max());
        free.map(|free| free.map_or(0, |free| i64::from(free.minutes()))).sum()
    }

    /// From when an outlet is free whose last session is `last`.
    fn free_from(&self, last: u16) -> Option<Moment> {
        (last > 0).then(|| self.session(usize::from(last) - 1).hold.until)
    }

    /// The session at `place`.
    fn session(&self, place: usize) -> &Session {
        &self.day.all[self.sessions[place]]
    }

    /// Where the slots end in a state.
    fn end(&self) -> usize {
        self.places.last().map_or(0, |last| last.end)
    }

    /// The machine of each session, from the slot that serves it.
    pub fn machines(&self, slots: &[Option<usize>]) -> Vec<Option<MachineIndex>> {
        let mut machines = vec![None; self.sessions.len()];
        for (number, slot) in self.slots.iter().enumerate() {
            let places: Vec<usize> = (0..slots.len()).filter(|&place| slots[place] == Some(number)).collect();
            let served: Vec<SessionIndex> = places.iter().map(|&place| self.sessions[place]).collect();
            for (place, machine) in places.into_iter().zip(slot.spread(self.day, &served)) {
                machines[place] = Some(machine);
            }
        }
        machines
    }
}

/// Runs of slots that are alike but for their bay.
fn alike(slots: &[Slot]) -> Vec<Range<usize>> {
    let mut runs: Vec<Range<usize>> = Vec::new();
    for (place, slot) in slots.iter().enumerate() {
        match runs.last_mut() {
            Some(run) if slots[run.start].kind() == slot.kind() => run.end = place + 1,
            _ => runs.push(place..place + 1),
        }
    }
    runs
}

/// For each session the first that is free at the same time, as it stands in a state.
fn same_end(day: &Sessions, sessions: &[SessionIndex]) -> Vec<u16> {
    let until = |session: SessionIndex| day.all[session].hold.until;
    let first = |&session: &SessionIndex| sessions.iter().position(|&other| until(other) == until(session));
    sessions.iter().map(|session| short(first(session).unwrap_or(0) + 1)).collect()
}

/// Whether each session's cap is of a size that can run short among these sessions.
fn scarce(day: &Sessions, sessions: &[SessionIndex]) -> Vec<bool> {
    let short_of = |size: usize| {
        let users: Vec<Span> =
            day.users_of(size).filter(|(user, _)| sessions.contains(user)).map(|user| user.1).collect();
        users.iter().any(|&hold| most_at_once(&users, hold).0 > day.unit.caps[size].count as usize)
    };
    let sizes: Vec<bool> = (0..day.unit.caps.len()).map(short_of).collect();
    sessions.iter().map(|&session| day.all[session].cap.is_some_and(|(size, _)| sizes[size.0])).collect()
}

/// A small number as it stands in a state.
fn short(number: usize) -> u16 {
    u16::try_from(number).unwrap_or(u16::MAX)
}
