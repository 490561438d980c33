//! A relaxation that counts machines instead of naming them: how many of each kind stand in each bay
//! at each time. Its optimum is a bound for every plan, and its solution says whom to leave out and
//! which machines to send away.
//!
//! What it leaves out: that a session stays on one machine, reach within a bay, and that a machine
//! with two outlets can only leave when both are free.

use std::collections::BTreeMap;

use super::engine::{Answer, Column, Engine, Model, Sense};
use super::sessions::{SessionIndex, Sessions, in_service};
use crate::clock::{Moment, Span};
use crate::unit_rules::{BayIndex, MachineIndex, Outage};

/// The relaxation of a day.
pub(super) struct Counting<'a> {
    day: &'a Sessions<'a>,
    model: Model,
    /// For each session, whether it is left out.
    left_out: Vec<Column>,
    /// Arrivals of moved machines.
    arrivals: Vec<Column>,
    /// Departures, with the kind and the bay.
    departures: Vec<(Column, usize, BayIndex)>,
    kinds: Vec<Kind>,
}

/// Machines that may move and are alike but for where they stand in the morning.
pub(super) struct Kind {
    /// The machines.
    pub machines: Vec<MachineIndex>,
    outlets: u8,
    outages: Vec<Outage>,
}

/// A solution of the relaxation.
pub(super) struct Counted {
    /// Whom to leave out, one entry a session.
    pub left_out: Vec<bool>,
    /// Machines that leave their home bays.
    pub movers: Vec<MachineIndex>,
}

impl<'a> Counting<'a> {
    /// The relaxation in which no machine moves.
    pub fn without_moves(day: &'a Sessions<'a>) -> Self {
        Self::new(day, Vec::new())
    }

    /// The relaxation in which every movable machine may move.
    pub fn with_moves(day: &'a Sessions<'a>) -> Self {
        Self::new(day, kinds(day))
    }

    fn new(day: &'a Sessions<'a>, kinds: Vec<Kind>) -> Self {
        let mut model = Model::default();
        let left_out = day.all.iter().map(|_| model.whole(1)).collect();
        let mut counting =
            Self { day, model, left_out, arrivals: Vec::new(), departures: Vec::new(), kinds };
        counting.add_hopeless();
        counting.add_caps();
        counting.add_bays();
        counting
    }

    /// The fewest that can be left out with at most so many moves; `None` is any number of moves.
    pub fn fewest_left_out(&self, moves: Option<u32>, engine: &impl Engine, nodes: u64) -> Option<Answer> {
        let mut model = self.model.clone();
        if let Some(moves) = moves {
            model.row(each_once(&self.arrivals), Sense::AtMost, limit(moves));
        }
        engine.smallest(&model, &each_once(&self.left_out), nodes)
    }

    /// The fewest moves with which at most so many are left out.
    pub fn fewest_moves(&self, left_out: u32, engine: &impl Engine, nodes: u64) -> Option<Answer> {
        let mut model = self.model.clone();
        model.row(each_once(&self.left_out), Sense::AtMost, limit(left_out));
        engine.smallest(&model, &each_once(&self.arrivals), nodes)
    }

    /// What an answer says of sessions and machines.
    pub fn read(&self, answer: &Answer) -> Option<Counted> {
        answer.values.as_ref()?;
        let left_out = self.left_out.iter().map(|&column| answer.value(column) == Some(1)).collect();
        let mut movers = Vec::new();
        for (number, kind) in self.kinds.iter().enumerate() {
            for bay in (0..self.day.unit.bays.len()).map(BayIndex) {
                let of_kind = self.departures.iter().filter(|(_, kind, from)| *kind == number && *from == bay);
                let leaving: i32 = of_kind.filter_map(|(column, _, _)| answer.value(*column)).sum();
                let at_home = kind.machines.iter().filter(|&&machine| self.day.unit.machine(machine).bay == bay);
                movers.extend(at_home.take(usize::try_from(leaving).unwrap_or(0)));
            }
        }
        Some(Counted { left_out, movers })
    }

    /// Sessions that no machine suits are left out.
    fn add_hopeless(&mut self) {
        let machines = self.day.unit.machines.len();
        for session in 0..self.day.all.len() {
            if !(0..machines).any(|machine| self.day.suits(MachineIndex(machine), session)) {
                self.model.row([(self.left_out[session], -1)], Sense::AtMost, -1);
            }
        }
    }

    /// Never more caps of a size at once than there are.
    fn add_caps(&mut self) {
        for (size, stock) in self.day.unit.caps.iter().enumerate() {
            let users: Vec<(SessionIndex, Span)> = self.day.users_of(size).collect();
            for &(_, first) in &users {
                let held = users.iter().filter(|(_, hold)| hold.from <= first.from && first.from < hold.until);
                let held: Vec<SessionIndex> = held.map(|(session, _)| *session).collect();
                self.all_but(&held, Vec::new(), limit(stock.count));
            }
        }
    }

    /// Of the sessions `held`, all but those left out fit into `room` and what `more` adds.
    fn all_but(&mut self, held: &[SessionIndex], more: Vec<(Column, i32)>, room: i32) {
        let too_many = limit(super::placement::count(held.len())) - room;
        if too_many > 0 {
            let left_out = held.iter().map(|&session| (self.left_out[session], -1));
            let terms: Vec<_> = left_out.chain(more).collect();
            self.model.row(terms, Sense::AtMost, -too_many);
        }
    }

    /// Machines in bays, bay by bay, and the machines that are on their way between them.
    fn add_bays(&mut self) {
        let mut ways: Vec<Ways> = self.kinds.iter().map(|_| Ways::new()).collect();
        for bay in (0..self.day.unit.bays.len()).map(BayIndex) {
            self.add_bay(bay, &mut ways);
        }
        for ways in ways {
            self.add_ways(&ways);
        }
    }

    /// The machines in one bay over the day.
    fn add_bay(&mut self, bay: BayIndex, ways: &mut [Ways]) {
        let here: Vec<SessionIndex> = (0..self.day.all.len()).filter(|&session| self.day.all[session].bay == bay).collect();
        let mut standing: Vec<Option<Column>> = vec![None; self.kinds.len()];
        for at in self.times_of(&here) {
            for kind in 0..self.kinds.len() {
                standing[kind] = Some(self.add_standing(kind, bay, standing[kind], &at, &mut ways[kind]));
            }
            let moment = Span::new(at.time, at.time.slipped(1));
            let held: Vec<SessionIndex> = here.iter().copied().filter(|&session| self.day.all[session].hold.meets(moment)).collect();
            let movable = standing.iter().zip(&self.kinds);
            let more = movable.filter_map(|(column, kind)| Some(((*column)?, -limit(kind.in_service(moment)))));
            self.all_but(&held, more.collect(), self.fixed_outlets(bay, moment));
        }
    }

    /// The times at which something changes in a bay: nothing before the first start matters.
    fn times_of(&self, here: &[SessionIndex]) -> Vec<Point> {
        let mut times: BTreeMap<Moment, Point> = BTreeMap::new();
        for &session in here {
            let hold = self.day.all[session].hold;
            times.entry(hold.from).or_insert_with(|| Point::at(hold.from)).start = true;
            times.entry(hold.until).or_insert_with(|| Point::at(hold.until)).end = true;
        }
        let outages = self.day.unit.machines.iter().flat_map(|machine| &machine.out_of_service);
        for outage in outages {
            times.entry(outage.span.from).or_insert_with(|| Point::at(outage.span.from));
        }
        times.into_values().collect()
    }

    /// How many machines of a kind stand in a bay from a time on.
    fn add_standing(&mut self, kind: usize, bay: BayIndex, before: Option<Column>, at: &Point, ways: &mut Ways) -> Column {
        let all = limit(super::placement::count(self.kinds[kind].machines.len()));
        let standing = self.model.sum(all);
        let mut change = vec![(standing, 1)];
        let mut home = 0;
        match before {
            Some(before) => change.push((before, -1)),
            None => {
                let unit = self.day.unit;
                home = self.kinds[kind].machines.iter().filter(|&&machine| unit.machine(machine).bay == bay).count();
            }
        }
        // A machine leaves in the morning, or when a session has ended; one that comes is there for a start.
        if at.end || (before.is_none() && home > 0) {
            let departure = self.model.whole(all);
            change.push((departure, 1));
            let ready = if before.is_none() { Moment::from_midnight(i32::MIN) } else { at.time + self.day.unit.minutes.machine_move };
            ways.entry(ready).or_default().push((departure, 1));
            self.departures.push((departure, kind, bay));
        }
        if at.start {
            let arrival = self.model.whole(all);
            change.push((arrival, -1));
            ways.entry(at.time).or_default().push((arrival, -1));
            self.arrivals.push(arrival);
        }
        self.model.row(change, Sense::Equal, limit(super::placement::count(home)));
        standing
    }

    /// Machines of a kind between bays: none arrives that has not left long enough before.
    fn add_ways(&mut self, ways: &Ways) {
        let most = limit(super::placement::count(self.day.unit.machines.len()));
        let mut before: Option<Column> = None;
        for changes in ways.values() {
            let underway = self.model.sum(most);
            let mut row: Vec<(Column, i32)> = changes.iter().map(|&(column, by)| (column, -by)).collect();
            row.push((underway, 1));
            row.extend(before.map(|before| (before, -1)));
            self.model.row(row, Sense::Equal, 0);
            before = Some(underway);
        }
    }

    /// Outlets in service at a minute on machines that stay in a bay.
    fn fixed_outlets(&self, bay: BayIndex, minute: Span) -> i32 {
        let moving = |machine: MachineIndex| self.kinds.iter().any(|kind| kind.machines.contains(&machine));
        let machines = self.day.unit.machines.iter().enumerate();
        let fixed = machines.filter(|(place, machine)| machine.bay == bay && !moving(MachineIndex(*place)));
        let outlets = fixed.flat_map(|(_, machine)| (1..=machine.outlets).filter(|&number| in_service(machine, number, minute)));
        limit(super::placement::count(outlets.count()))
    }
}

/// Departures (as 1) and arrivals (as -1) of a kind by the time at which they count.
type Ways = BTreeMap<Moment, Vec<(Column, i32)>>;

/// A time at which something changes in a bay.
struct Point {
    time: Moment,
    start: bool,
    end: bool,
}

impl Point {
    fn at(time: Moment) -> Self {
        Self { time, start: false, end: false }
    }
}

impl Kind {
    /// Outlets of one machine of this kind that are in service at a minute.
    fn in_service(&self, minute: Span) -> u32 {
        let out = |number: u8| {
            let hit = |outage: &&Outage| outage.outlet.is_none_or(|hit| hit == number);
            self.outages.iter().filter(hit).any(|outage| outage.span.meets(minute))
        };
        super::placement::count((1..=self.outlets).filter(|&number| !out(number)).count())
    }
}

/// The movable machines of the unit by kind.
fn kinds(day: &Sessions) -> Vec<Kind> {
    let mut kinds: Vec<Kind> = Vec::new();
    for (place, machine) in day.unit.machines.iter().enumerate().filter(|(_, machine)| machine.movable) {
        let alike = |kind: &&mut Kind| kind.outlets == machine.outlets && kind.outages == machine.out_of_service;
        match kinds.iter_mut().find(alike) {
            Some(kind) => kind.machines.push(MachineIndex(place)),
            None => kinds.push(Kind {
                machines: vec![MachineIndex(place)],
                outlets: machine.outlets,
                outages: machine.out_of_service.clone(),
            }),
        }
    }
    kinds
}

/// Every column once.
fn each_once(columns: &[Column]) -> Vec<(Column, i32)> {
    columns.iter().map(|&column| (column, 1)).collect()
}

/// A count as a number of a model.
fn limit(number: u32) -> i32 {
    i32::try_from(number).unwrap_or(i32::MAX)
}
