//! What the day asks of machines and caps: one cooling session a cooled patient.
//!
//! Sessions stand in an order of their own, so that the order of the list's rows changes nothing.
//! Knows what may share a machine; knows nothing of how machines are chosen.

use std::collections::BTreeSet;

use crate::clock::{Moment, Span};
use crate::plan::{CoolingStages, DayPlan};
use crate::unit_rules::{BayIndex, CapSize, Machine, MachineIndex, Unit};
use crate::validate::DayList;

/// A session's place in [`Sessions::all`].
pub(super) type SessionIndex = usize;

/// Two sessions on one machine at the same time, the one that starts first first.
pub(super) type Pair = (SessionIndex, SessionIndex);

/// The sessions of a day.
pub(super) struct Sessions<'a> {
    /// The unit.
    pub unit: &'a Unit,
    /// By start, leaving, bay, chair and hospital number.
    pub all: Vec<Session>,
    /// For each bay, whether one machine reaches any two of the chairs in use.
    reach_is_free: Vec<bool>,
}

/// One patient's cooling, as machines and caps see it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Session {
    /// The visit's place in the day list.
    pub visit: usize,
    /// The bay.
    pub bay: BayIndex,
    /// The chair.
    pub chair: String,
    /// When an outlet is taken, clean-down included.
    pub hold: Span,
    /// When the patient is on the machine, clean-down left out.
    pub cooling: Span,
    /// The unit's cap that is taken, and when; `None` if the patient brings one, or its size is not
    /// recorded.
    pub cap: Option<(CapSize, Span)>,
}

impl Session {
    /// Minutes of cooling.
    pub fn cooling_minutes(&self) -> u32 {
        self.cooling.until.since(self.cooling.from).get()
    }
}

impl<'a> Sessions<'a> {
    /// The sessions of the planned day.
    pub fn of(list: &'a DayList, plan: &DayPlan) -> Self {
        let unit = &list.unit;
        let mut keyed = Vec::new();
        for (visit, (row, planned)) in list.visits.iter().zip(&plan.visits).enumerate() {
            let Some(stages) = &planned.cooling else { continue };
            let place = (row.bay, row.chair.as_str(), row.hospital_no.as_str());
            let key = (stages.cooling_on, planned.leave, place, visit);
            keyed.push((key, session(list, visit, stages)));
        }
        keyed.sort_by(|one, other| one.0.cmp(&other.0));
        let all: Vec<Session> = keyed.into_iter().map(|(_, session)| session).collect();
        let reach_is_free =
            (0..unit.bays.len()).map(|bay| reach_is_free(unit, BayIndex(bay), &all)).collect();
        Self { unit, all, reach_is_free }
    }

    /// Whether one machine reaches any two of the bay's chairs in use.
    pub fn reach_is_free(&self, bay: BayIndex) -> bool {
        self.reach_is_free[bay.0]
    }

    /// Whether one machine may serve both. In one bay: both within its hoses' reach if they are on it
    /// at the same time (clean-down needs no reach). In two: with time between them for a move.
    pub fn may_share(&self, one: SessionIndex, other: SessionIndex) -> bool {
        let (one, other) = (&self.all[one], &self.all[other]);
        if one.bay != other.bay {
            return self.time_to_move(one, other) || self.time_to_move(other, one);
        }
        !one.cooling.meets(other.cooling) || self.unit.bay(one.bay).reach_together(&one.chair, &other.chair)
    }

    /// Whether a machine that served `first` can be moved to the bay of `then` in time.
    fn time_to_move(&self, first: &Session, then: &Session) -> bool {
        first.hold.until + self.unit.minutes.machine_move <= then.hold.from
    }

    /// Every two sessions of a bay that are held at the same time, in order.
    pub fn pairs(&self) -> Vec<Pair> {
        let mut pairs = Vec::new();
        for (first, one) in self.all.iter().enumerate() {
            let later = self.all.iter().enumerate().skip(first + 1);
            let meet = later.filter(|(_, other)| other.bay == one.bay && other.hold.meets(one.hold));
            pairs.extend(meet.map(|(second, _)| (first, second)));
        }
        pairs
    }

    /// The sessions that take a cap of the size at this place of the unit's caps, and when.
    pub fn users_of(&self, size: usize) -> impl Iterator<Item = (SessionIndex, Span)> + '_ {
        let sized = self.all.iter().enumerate().filter_map(|(place, session)| Some((place, session.cap?)));
        sized.filter(move |(_, cap)| cap.0.0 == size).map(|(place, cap)| (place, cap.1))
    }

    /// Whether the machine, taken alone, could serve the session at all.
    pub fn suits(&self, machine: MachineIndex, session: SessionIndex) -> bool {
        let session = &self.all[session];
        let machine = self.unit.machine(machine);
        (machine.movable || machine.bay == session.bay)
            && (1..=machine.outlets).any(|number| in_service(self.unit, machine, number, session.hold))
    }
}

/// Whether one machine reaches any two of the bay's chairs in use.
fn reach_is_free(unit: &Unit, bay: BayIndex, sessions: &[Session]) -> bool {
    let here = sessions.iter().filter(|session| session.bay == bay);
    let chairs: BTreeSet<&str> = here.map(|session| session.chair.as_str()).collect();
    let reached = |one: &str| chairs.iter().all(|other| unit.bay(bay).reach_together(one, other));
    chairs.iter().all(|one| reached(one))
}

/// The session of one visit.
fn session(list: &DayList, visit: usize, stages: &CoolingStages) -> Session {
    let row = &list.visits[visit];
    Session {
        visit,
        bay: row.bay,
        chair: row.chair.clone(),
        hold: stages.outlet_hold(&list.unit),
        cooling: Span::new(stages.cooling_on, stages.cooling_off),
        cap: row.cap.filter(|_| !row.own_cap).map(|size| (size, stages.cap_hold(&list.unit))),
    }
}

/// Whether an outlet of a machine is in service, and cold, for the whole of `hold`.
pub(super) fn in_service(unit: &Unit, machine: &Machine, number: u8, hold: Span) -> bool {
    !machine.unusable(number, unit.minutes.machine_start).any(|span| span.meets(hold))
}

/// The largest number of `spans` that meet at one minute within `within`, and the first minute at
/// which they do. Half-open: a span that ends as another starts does not meet it.
pub(super) fn most_at_once(spans: &[Span], within: Span) -> (usize, Moment) {
    let starts = spans.iter().map(|span| span.from.max(within.from)).filter(|at| *at < within.until);
    let counted = starts.map(|at| {
        let held = spans.iter().filter(|span| span.from <= at && at < span.until).count();
        (held, at)
    });
    counted.max_by(|one, other| one.0.cmp(&other.0).then(other.1.cmp(&one.1))).unwrap_or((0, within.from))
}
