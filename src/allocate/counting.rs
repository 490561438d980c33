//! A relaxation that counts machines instead of naming them: how many of each kind stand in each bay
//! at each time. Its optimum is a bound for every plan, and its solution says whom to leave out and
//! which machines to send away.
//!
//! The coarse form counts the sessions of a bay against its outlets. The fine form also says which
//! kind of machine serves whom, and who shares a machine at the same time: then machines that move
//! are free altogether when they leave, and hose reach counts. Both let a session change between
//! machines of one kind.

use std::collections::{BTreeMap, BTreeSet};

use super::engine::{Answer, Column, Engine, Model, Sense, Verdict, limit};
use super::kinds::{Kind, kinds};
use super::known::Known;
use super::placement::count;
use super::sessions::{Pair, SessionIndex, Sessions, in_service};
use crate::clock::{Moment, Span};
use crate::unit_rules::{BayIndex, MachineIndex};

/// How much the relaxation says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Detail {
    /// Outlets in bays.
    Coarse,
    /// Kinds of machines, and who shares one.
    Fine,
}

/// The relaxation of a day.
pub(super) struct Counting<'a> {
    day: &'a Sessions<'a>,
    detail: Detail,
    model: Model,
    kinds: Vec<Kind<'a>>,
    /// For each session, whether it is left out.
    left_out: Vec<Column>,
    /// Whether a kind serves a session, by lane of the kind.
    serves: BTreeMap<(SessionIndex, usize, u8), Column>,
    /// Whether two sessions share a machine of a kind.
    pairs: BTreeMap<(Pair, usize), Column>,
    /// Arrivals of moved machines.
    arrivals: Vec<(Column, BayIndex)>,
    /// Departures, with the kind and the bay.
    departures: Vec<(Column, usize, BayIndex)>,
}

/// A solution of the relaxation.
pub(super) struct Counted {
    /// Whom to leave out, one entry a session.
    pub left_out: Vec<bool>,
    /// Machines that leave their home bays.
    pub movers: Vec<MachineIndex>,
    /// Bays that machines leave or come to.
    pub bays: Vec<BayIndex>,
    /// For each session the machines that may serve it, and the pairs that may share one, if the
    /// relaxation says so.
    pub guide: Option<Guide>,
}

/// What a fine relaxation says of who is served by what.
pub(super) struct Guide {
    /// For each session, the machines of the kind that serves it.
    pub machines: Vec<Vec<MachineIndex>>,
    /// The only pairs that share a machine of a kind whose pairs matter.
    pub pairs: BTreeSet<Pair>,
}

impl<'a> Counting<'a> {
    /// The relaxation in which every movable machine may move.
    pub fn new(day: &'a Sessions<'a>, detail: Detail) -> Self {
        let mut model = Model::default();
        let left_out = day.all.iter().map(|_| model.whole(1)).collect();
        let mut counting = Self {
            day,
            detail,
            model,
            kinds: kinds(day),
            left_out,
            serves: BTreeMap::new(),
            pairs: BTreeMap::new(),
            arrivals: Vec::new(),
            departures: Vec::new(),
        };
        counting.add_servers();
        counting.add_caps();
        counting.add_bays();
        counting
    }

    /// Whether it is too large to be solved.
    pub fn is_too_large(&self) -> bool {
        self.model.is_too_large()
    }

    /// The fewest that can be left out with at most so many moves; `None` is any number of moves.
    pub fn fewest_left_out(&self, moves: Option<u32>, engine: &impl Engine, nodes: u64) -> Verdict {
        let mut model = self.model.clone();
        if let Some(moves) = moves {
            model.row(self.moves(), Sense::AtMost, limit(moves));
        }
        engine.smallest(&model, &self.all_left_out(), nodes)
    }

    /// The fewest moves with which at most so many are left out.
    pub fn fewest_moves(&self, left_out: u32, engine: &impl Engine, nodes: u64) -> Verdict {
        let mut model = self.model.clone();
        model.row(self.all_left_out(), Sense::AtMost, limit(left_out));
        engine.smallest(&model, &self.moves(), nodes)
    }

    /// Adds what is known of some bays.
    pub fn add_known(&mut self, known: &Known) {
        let here = (0..self.day.all.len()).filter(|&session| known.bays.contains(&self.day.all[session].bay));
        let left = here.map(|session| (self.left_out[session], -1));
        let come = self
            .arrivals
            .iter()
            .filter(|arrival| known.bays.contains(&arrival.1))
            .map(|arrival| (arrival.0, -limit(known.relief)));
        let row: Vec<_> = left.chain(come).collect();
        self.model.row(row, Sense::AtMost, -limit(known.least));
    }

    /// What an answer says of sessions and machines.
    pub fn read(&self, answer: &Answer) -> Option<Counted> {
        answer.values.as_ref()?;
        let used = |column: Column| answer.value(column).is_some_and(|value| value > 0);
        let left = self.departures.iter().filter(|departure| used(departure.0)).map(|departure| departure.2);
        let reached = self.arrivals.iter().filter(|arrival| used(arrival.0)).map(|arrival| arrival.1);
        let bays: BTreeSet<BayIndex> = left.chain(reached).collect();
        Some(Counted {
            left_out: self.left_out.iter().map(|&column| used(column)).collect(),
            movers: self.movers(answer),
            bays: bays.into_iter().collect(),
            guide: (self.detail == Detail::Fine).then(|| self.guide(&used)),
        })
    }

    /// Of each kind and bay, as many machines as leave it.
    fn movers(&self, answer: &Answer) -> Vec<MachineIndex> {
        let mut movers = Vec::new();
        for (number, kind) in self.kinds.iter().enumerate() {
            for bay in self.bays() {
                let of_kind =
                    self.departures.iter().filter(|(_, kind, from)| *kind == number && *from == bay);
                let leaving: i32 = of_kind.filter_map(|(column, _, _)| answer.value(*column)).sum();
                let at_home =
                    kind.machines.iter().filter(|&&machine| self.day.unit.machine(machine).bay == bay);
                movers.extend(at_home.take(usize::try_from(leaving).unwrap_or(0)));
            }
        }
        movers
    }

    /// Who is served by what.
    fn guide(&self, used: &impl Fn(Column) -> bool) -> Guide {
        let mut machines = vec![Vec::new(); self.day.all.len()];
        for ((session, kind, _), column) in &self.serves {
            if used(*column) {
                machines[*session].clone_from(&self.kinds[*kind].machines);
            }
        }
        let pairs = self.pairs.iter().filter(|(_, column)| used(**column)).map(|((pair, _), _)| *pair);
        Guide { machines, pairs: pairs.collect() }
    }

    /// Every session is served by one kind, or left out.
    fn add_servers(&mut self) {
        for session in 0..self.day.all.len() {
            let bay = self.day.all[session].bay;
            let suits = |kind: &&Kind| {
                kind.may_stand_in(bay)
                    && kind.machines.iter().any(|&machine| self.day.suits(machine, session))
            };
            let kinds: Vec<usize> = (0..self.kinds.len()).filter(|&kind| suits(&&self.kinds[kind])).collect();
            if kinds.is_empty() {
                self.model.row([(self.left_out[session], -1)], Sense::AtMost, -1);
            } else if self.detail == Detail::Fine {
                let mut row = vec![(self.left_out[session], 1)];
                for (kind, lane) in
                    kinds.into_iter().flat_map(|kind| self.kinds[kind].lanes().map(move |lane| (kind, lane)))
                {
                    let hold = self.day.all[session].hold;
                    let machine = self.day.unit.machine(self.kinds[kind].machines[0]);
                    if self.kinds[kind].differ && !in_service(self.day.unit, machine, lane, hold) {
                        continue;
                    }
                    let serves = self.model.whole(1);
                    self.serves.insert((session, kind, lane), serves);
                    row.push((serves, 1));
                }
                self.model.row(row, Sense::Equal, 1);
            }
        }
    }

    /// Never more caps of a size at once than there are.
    fn add_caps(&mut self) {
        for (size, stock) in self.day.unit.caps.iter().enumerate() {
            let users: Vec<(SessionIndex, Span)> = self.day.users_of(size).collect();
            for &(_, first) in &users {
                let held =
                    users.iter().filter(|(_, hold)| hold.from <= first.from && first.from < hold.until);
                let held: Vec<SessionIndex> = held.map(|(session, _)| *session).collect();
                self.all_but_those_left_out(&held, Vec::new(), limit(stock.count));
            }
        }
    }

    /// Of the sessions `held`, all but those left out fit into `room` and what `more` adds.
    fn all_but_those_left_out(&mut self, held: &[SessionIndex], more: Vec<(Column, i32)>, room: i32) {
        let too_many = limit(count(held.len())) - room;
        if too_many > 0 {
            let left_out = held.iter().map(|&session| (self.left_out[session], -1));
            let terms: Vec<_> = left_out.chain(more).collect();
            self.model.row(terms, Sense::AtMost, -too_many);
        }
    }

    /// Machines in bays, bay by bay, and the machines that are on their way between them.
    fn add_bays(&mut self) {
        let mut ways: Vec<Ways> = self.kinds.iter().map(|_| Ways::new()).collect();
        for bay in self.bays() {
            let here: Vec<SessionIndex> =
                (0..self.day.all.len()).filter(|&session| self.day.all[session].bay == bay).collect();
            let mut standing: Vec<Option<Column>> = vec![None; self.kinds.len()];
            for at in self.points(bay, &here) {
                for kind in
                    (0..self.kinds.len()).filter(|&kind| self.kinds[kind].home.is_none()).collect::<Vec<_>>()
                {
                    if standing[kind].is_some() && !at.start && !at.end {
                        continue;
                    }
                    standing[kind] = Some(self.add_standing(kind, bay, standing[kind], &at, &mut ways[kind]));
                }
                let running = |session: &SessionIndex| self.day.all[*session].hold.meets(at.minute());
                let held: Vec<SessionIndex> = here.iter().copied().filter(running).collect();
                match self.detail {
                    Detail::Coarse => self.add_outlets(bay, &held, &standing, &at),
                    Detail::Fine => self.add_machines(bay, &held, &standing, &at),
                }
            }
        }
        for ways in ways {
            self.add_ways(&ways);
        }
    }

    /// The times at which something changes in a bay.
    fn points(&self, bay: BayIndex, here: &[SessionIndex]) -> Vec<Point> {
        let mut points: BTreeMap<Moment, Point> = BTreeMap::new();
        let at = |time: Moment| Point { time, start: false, end: false };
        // In the morning machines may leave a bay in which nothing happens all day.
        let morning = Moment::from_midnight(0);
        points.insert(morning, at(morning));
        for &session in here {
            let hold = self.day.all[session].hold;
            points.entry(hold.from).or_insert_with(|| at(hold.from)).start = true;
            points.entry(hold.until).or_insert_with(|| at(hold.until)).end = true;
        }
        let machines = self.day.unit.machines.iter().filter(|machine| machine.movable || machine.bay == bay);
        for outage in machines.flat_map(|machine| &machine.out_of_service) {
            points.entry(outage.span.from).or_insert_with(|| at(outage.span.from));
        }
        points.into_values().collect()
    }

    /// How many machines of a kind stand in a bay from a time on. One leaves in the morning or when a
    /// session has ended; one that comes is there for a start.
    fn add_standing(
        &mut self,
        kind: usize,
        bay: BayIndex,
        before: Option<Column>,
        at: &Point,
        ways: &mut Ways,
    ) -> Column {
        let unit = self.day.unit;
        let machines = &self.kinds[kind].machines;
        let all = limit(count(machines.len()));
        let home = machines.iter().filter(|&&machine| unit.machine(machine).bay == bay).count();
        let standing = self.model.sum(all);
        let mut row = vec![(standing, 1)];
        row.extend(before.map(|before| (before, -1)));
        if at.end || (before.is_none() && home > 0) {
            let departure = self.model.whole(all);
            row.push((departure, 1));
            let morning = Moment::from_midnight(i32::MIN);
            let ready = before.map_or(morning, |_| at.time + unit.minutes.machine_move);
            ways.entry(ready).or_default().push((departure, 1));
            self.departures.push((departure, kind, bay));
        }
        if at.start {
            let arrival = self.model.whole(all);
            row.push((arrival, -1));
            ways.entry(at.time).or_default().push((arrival, -1));
            self.arrivals.push((arrival, bay));
        }
        self.model.row(row, Sense::Equal, if before.is_none() { limit(count(home)) } else { 0 });
        standing
    }

    /// Machines of a kind between bays: none arrives that has not left long enough before.
    fn add_ways(&mut self, ways: &Ways) {
        let most = limit(count(self.day.unit.machines.len()));
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

    /// The sessions that run at a point fit on the outlets of the bay.
    fn add_outlets(&mut self, bay: BayIndex, held: &[SessionIndex], standing: &[Option<Column>], at: &Point) {
        let (mut room, mut more) = (0, Vec::new());
        for (kind, standing) in self.kinds.iter().zip(standing).filter(|(kind, _)| kind.may_stand_in(bay)) {
            match standing {
                Some(standing) => more.push((*standing, -limit(kind.outlets_of_one(at.minute())))),
                None => room += limit(kind.outlets(at.minute())),
            }
        }
        self.all_but_those_left_out(held, more, room);
    }

    /// The sessions that run at a point fit on the machines of the bay, kind by kind.
    fn add_machines(
        &mut self,
        bay: BayIndex,
        held: &[SessionIndex],
        standing: &[Option<Column>],
        at: &Point,
    ) {
        for kind in
            (0..self.kinds.len()).filter(|&kind| self.kinds[kind].may_stand_in(bay)).collect::<Vec<_>>()
        {
            if self.kinds[kind].differ {
                self.add_lanes(kind, held, standing[kind], at);
                continue;
            }
            let served: Vec<(SessionIndex, Column)> = held
                .iter()
                .filter_map(|&session| Some((session, *self.serves.get(&(session, kind, 1))?)))
                .collect();
            let all: Vec<(Column, i32)> = served.iter().map(|&(_, column)| (column, 1)).collect();
            let this = &self.kinds[kind];
            let (outlets, any, both) = (
                this.outlets(at.minute()),
                this.machines_with(1, at.minute()),
                this.machines_with(2, at.minute()),
            );
            let one = (
                this.outlets_of_one(at.minute()),
                this.one_with(1, at.minute()),
                this.one_with(2, at.minute()),
            );
            let fits =
                |model: &mut Model, terms: Vec<(Column, i32)>, fixed: u32, each: u32| match standing[kind] {
                    Some(standing) => {
                        model.row(terms.into_iter().chain([(standing, -limit(each))]), Sense::AtMost, 0)
                    }
                    None if count(terms.len()) > fixed => model.row(terms, Sense::AtMost, limit(fixed)),
                    None => {}
                };
            fits(&mut self.model, all.clone(), outlets, one.0);
            if !this.pairs_matter {
                continue;
            }
            let pairs = self.pairs_of(kind, &served, at);
            let shared: Vec<(Column, i32)> = pairs.iter().map(|pair| (pair.1, 1)).collect();
            fits(&mut self.model, shared.clone(), both, one.2);
            let apart = all.into_iter().chain(shared.into_iter().map(|(column, _)| (column, -1)));
            fits(&mut self.model, apart.collect(), any, one.1);
        }
    }

    /// The sessions that run at a point fit on a machine whose outlets differ, outlet by outlet.
    fn add_lanes(&mut self, kind: usize, held: &[SessionIndex], standing: Option<Column>, at: &Point) {
        let lanes: Vec<u8> = self.kinds[kind].lanes().collect();
        for &lane in &lanes {
            let served =
                held.iter().filter_map(|&session| Some((*self.serves.get(&(session, kind, lane))?, 1)));
            let mut row: Vec<(Column, i32)> = served.collect();
            row.extend(standing.map(|standing| (standing, -1)));
            if row.len() > 1 {
                self.model.row(row, Sense::AtMost, i32::from(standing.is_none()));
            }
        }
        if !at.start {
            return;
        }
        for (place, &one) in held.iter().enumerate() {
            for &other in held[place + 1..].iter().filter(|&&other| !self.day.may_share(one, other)) {
                let both = [one, other]
                    .into_iter()
                    .flat_map(|session| lanes.iter().map(move |&lane| (session, kind, lane)));
                let row: Vec<(Column, i32)> =
                    both.filter_map(|key| Some((*self.serves.get(&key)?, 1))).collect();
                if row.len() > 1 {
                    self.model.row(row, Sense::AtMost, 1);
                }
            }
        }
    }

    /// The pairs of a kind that may run at a point, each session in one at most.
    fn pairs_of(
        &mut self,
        kind: usize,
        served: &[(SessionIndex, Column)],
        at: &Point,
    ) -> Vec<(Pair, Column)> {
        let mut pairs: Vec<(Pair, Column)> = Vec::new();
        for (place, &(one, _)) in served.iter().enumerate() {
            for &(other, _) in &served[place + 1..] {
                if self.day.may_share(one, other) {
                    let model = &mut self.model;
                    let column = *self.pairs.entry(((one, other), kind)).or_insert_with(|| model.whole(1));
                    pairs.push(((one, other), column));
                }
            }
        }
        if at.start {
            for &(session, column) in served {
                let own = pairs.iter().filter(|((one, other), _)| *one == session || *other == session);
                let row: Vec<(Column, i32)> = own.map(|pair| (pair.1, 1)).chain([(column, -1)]).collect();
                if row.len() > 1 {
                    self.model.row(row, Sense::AtMost, 0);
                }
            }
        }
        pairs
    }

    /// Every session that is left out.
    fn all_left_out(&self) -> Vec<(Column, i32)> {
        self.left_out.iter().map(|&column| (column, 1)).collect()
    }

    /// Every move.
    fn moves(&self) -> Vec<(Column, i32)> {
        self.arrivals.iter().map(|&(column, _)| (column, 1)).collect()
    }

    /// Every bay.
    fn bays(&self) -> impl Iterator<Item = BayIndex> + use<> {
        (0..self.day.unit.bays.len()).map(BayIndex)
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
    /// The minute that begins at it.
    fn minute(&self) -> Span {
        Span::new(self.time, self.time.slipped(1))
    }
}
