//! Whole days of machines: whom one machine can serve in turn, and which of these days is worth most when every
//! session has a price.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use super::kinds::{Kind, kinds};
use super::sessions::{Pair, SessionIndex, Sessions, in_service};
use crate::unit_rules::{BayIndex, MachineIndex};

/// What a session is worth, or a day of them: a whole number, so that nothing is ever rounded.
pub(super) type Worth = i64;

/// The most unfinished days that are looked at for each day that may be found.
const OPEN_A_DAY: usize = 10;

/// What parts of a day are worth, and what they cost.
#[derive(Clone)]
pub(super) struct Worths {
    /// What each session is worth; may be below 0.
    pub sessions: Vec<Worth>,
    /// What each move costs, by the bay that it leads to; may be below 0.
    pub moves: Vec<Worth>,
    /// What each pair of the day costs; not below 0.
    pub pairs: Vec<Worth>,
}

/// Machines that are alike, and all the days that one of them can have.
pub(super) struct Crew {
    /// The machines, each with its bay in the morning; at least one.
    pub machines: Vec<(MachineIndex, BayIndex)>,
    /// Whether they may move.
    pub movable: bool,
    /// The bays of the unit.
    bays: usize,
    /// The bay of each session of the day.
    bay_of: Vec<usize>,
    /// Moments at which a session has just begun, by the session, so that every step leads further on.
    points: Vec<Point>,
    /// Where a step leads: places among the points.
    steps: Vec<usize>,
    /// For each session its points; those at which the other outlet is free come first.
    of_session: Vec<Range<usize>>,
}

/// A session has just begun on one outlet; the other outlet is free, or serves an earlier one.
struct Point {
    /// The number of the pair that this session and that on the other outlet are.
    pair: Option<usize>,
    /// Whether the other outlet is free.
    fresh: bool,
    /// Sessions that may begin before both outlets are free: a part of the steps.
    steps: Range<usize>,
    /// The first session that finds both outlets free.
    free: SessionIndex,
    /// The first session that finds both outlets free after a move.
    moved: SessionIndex,
}

/// What tells points apart: the session, its outlet, and the session on the other outlet.
type Key = (SessionIndex, u8, Option<SessionIndex>);

/// The best days of a crew's machines at some prices.
pub(super) struct BestDays<'a> {
    crew: &'a Crew,
    /// What follows each point on the best day.
    next: Vec<Option<usize>>,
    /// What the best day is worth from each point on; nothing where no day is looked at.
    from: Vec<Option<Worth>>,
    /// For each session and bay, the best point at which a day may begin there, from that session on.
    in_bay: Vec<Best>,
    /// For each session the best two of different bays to which a machine may come then, the coming paid.
    elsewhere: Vec<[(Best, usize); 2]>,
}

/// The worth of a day from a point on; no point is a day on which nobody is served.
type Best = (Worth, Option<usize>);

/// The crews of a day's machines; the pairs of the day are in order.
pub(super) fn crews(day: &Sessions, pairs: &[Pair]) -> Vec<Crew> {
    let mut crews = Vec::new();
    for kind in kinds(day) {
        for outlets in 1..=2 {
            let of_outlets = |machine: &&MachineIndex| day.unit.machine(**machine).outlets == outlets;
            let machines: Vec<MachineIndex> = kind.machines.iter().filter(of_outlets).copied().collect();
            if !machines.is_empty() {
                crews.push(Crew::new(day, &kind, machines, pairs));
            }
        }
    }
    crews
}

impl Crew {
    /// All days of machines of a kind, which have as many outlets as each other; at least one.
    fn new(day: &Sessions, kind: &Kind, machines: Vec<MachineIndex>, pairs: &[Pair]) -> Self {
        let first = machines[0];
        let keys = keys(day, kind, first);
        let places: BTreeMap<Key, usize> =
            keys.iter().enumerate().map(|(place, &key)| (key, place)).collect();
        let (mut points, mut steps) = (Vec::new(), Vec::new());
        for &key in &keys {
            let from = steps.len();
            steps.extend(followers(day, key, kind.differ).iter().filter_map(|follower| places.get(follower)));
            points.push(point(day, key, from..steps.len(), pairs));
        }
        let of_session = |session| {
            let first = keys.partition_point(|key| key.0 < session);
            first..keys.partition_point(|key| key.0 <= session)
        };
        Self {
            machines: machines.into_iter().map(|machine| (machine, day.unit.machine(machine).bay)).collect(),
            movable: kind.home.is_none(),
            bays: day.unit.bays.len(),
            bay_of: day.all.iter().map(|session| session.bay.0).collect(),
            points,
            steps,
            of_session: (0..day.all.len()).map(of_session).collect(),
        }
    }

    /// The bays in which its machines stand in the morning, each once.
    pub fn homes(&self) -> BTreeSet<BayIndex> {
        self.machines.iter().map(|&(_, home)| home).collect()
    }

    /// Its machines that stand in a bay in the morning.
    pub fn standing_in(&self, home: BayIndex) -> Vec<MachineIndex> {
        self.machines.iter().filter(|machine| machine.1 == home).map(|machine| machine.0).collect()
    }

    /// How many these are.
    pub fn number_in(&self, home: BayIndex) -> usize {
        self.machines.iter().filter(|machine| machine.1 == home).count()
    }

    /// The best days at these worths and costs.
    pub fn best_days(&self, worths: &Worths) -> BestDays<'_> {
        self.best_days_with(worths, 1)
    }

    /// The same, with sessions that are worth less than `least` left aside where that is sure to change nothing: a day
    /// with a session less has no more moves or pairs.
    fn best_days_with(&self, worths: &Worths, least: Worth) -> BestDays<'_> {
        let Worths { sessions: prices, moves, pairs } = worths;
        let (sessions, bays) = (self.bay_of.len(), self.bays);
        let aside = moves.iter().all(|&price| price >= 0);
        let mut days = BestDays {
            crew: self,
            next: vec![None; self.points.len()],
            from: vec![None; self.points.len()],
            in_bay: vec![(0, None); (sessions + 1) * bays],
            elsewhere: vec![[((Worth::MIN, None), bays); 2]; sessions + 1],
        };
        for session in (0..sessions).rev() {
            let here = self.bay_of[session];
            let (now, later) = (session * bays, (session + 1) * bays);
            days.in_bay.copy_within(later..later + bays, now);
            days.elsewhere[session] = days.elsewhere[session + 1];
            if aside && prices[session] < least {
                continue;
            }
            for place in self.of_session[session].clone() {
                let (rest, next) = days.best_after(&self.points[place], here);
                let in_pair = self.points[place].pair.map_or(0, |pair| pairs[pair]);
                let total = prices[session] - in_pair + rest;
                (days.from[place], days.next[place]) = (Some(total), next);
                if self.points[place].fresh {
                    let in_bay = &mut days.in_bay[now + here];
                    *in_bay = better(*in_bay, (total, Some(place)));
                    keep(&mut days.elsewhere[session], (total - moves[here], Some(place)), here);
                }
            }
        }
        days
    }
}

impl BestDays<'_> {
    /// The best that can follow a point in a bay, the worth of later points being known.
    fn best_after(&self, point: &Point, bay: usize) -> Best {
        let mut best = self.in_bay[point.free * self.crew.bays + bay];
        if self.crew.movable {
            best = better(best, self.moved(point.moved, bay));
        }
        for &step in &self.crew.steps[point.steps.clone()] {
            if let Some(total) = self.from[step] {
                best = better(best, (total, Some(step)));
            }
        }
        best
    }

    /// The best that can follow a move away from a bay, if it leads to a session from this one on.
    fn moved(&self, session: SessionIndex, from: usize) -> Best {
        let [first, second] = self.elsewhere[session];
        if first.1 == from { second.0 } else { first.0 }
    }

    /// The best day of a machine that stands in `home` in the morning.
    fn first(&self, home: BayIndex) -> Best {
        let stay = self.in_bay[home.0];
        if self.crew.movable { better(stay, self.moved(0, home.0)) } else { stay }
    }

    /// What the best day is worth, moves paid.
    pub fn worth(&self, home: BayIndex) -> Worth {
        self.first(home).0
    }

    /// Whom the best day serves, in the order of their starts.
    pub fn served(&self, home: BayIndex) -> Vec<SessionIndex> {
        let mut served = Vec::new();
        let mut at = self.first(home).1;
        while let Some(place) = at {
            served.push(self.crew.session(place));
            at = self.next[place];
        }
        served
    }
}

impl Crew {
    /// All days of a machine from `home` that are worth less than the best one by no more than `gap`; nothing if there
    /// are more than `most`. Days on which nobody is served are left out.
    pub fn days_within(
        &self,
        worths: &Worths,
        home: BayIndex,
        gap: Worth,
        most: usize,
    ) -> Option<BTreeSet<Vec<SessionIndex>>> {
        let best = self.best_days_with(worths, -gap);
        let mut found = BTreeSet::new();
        // Where a day stands, by how much less it may still be worth, and whom it has served.
        let mut open = vec![(None, gap, Vec::new())];
        // Outlets that differ give the same day more than once.
        let mut looked_at = 0;
        while let Some((at, left, served)) = open.pop() {
            looked_at += 1;
            let rest = at.map_or_else(|| best.worth(home), |place| best.rest(place));
            for (place, cost) in best.followers(at, home, &worths.moves) {
                let Some(from) = best.from[place] else { continue };
                let left = left - (rest - from + cost);
                if left >= 0 {
                    let mut served = served.clone();
                    served.push(self.session(place));
                    open.push((Some(place), left, served));
                }
            }
            if !served.is_empty() && rest <= left {
                found.insert(served);
            }
            if found.len() > most || looked_at > OPEN_A_DAY * most {
                return None;
            }
        }
        Some(found)
    }

    /// The session that begins at a point.
    fn session(&self, place: usize) -> SessionIndex {
        self.of_session.partition_point(|points| points.end <= place)
    }
}

impl BestDays<'_> {
    /// What can follow a point at best.
    fn rest(&self, place: usize) -> Worth {
        self.best_after(&self.crew.points[place], self.crew.bay_of[self.crew.session(place)]).0
    }

    /// All points that can follow a point, or the morning at home, each with what it costs to get there.
    fn followers(&self, at: Option<usize>, home: BayIndex, moves: &[Worth]) -> Vec<(usize, Worth)> {
        let crew = self.crew;
        let (here, free, moved, steps) = match at {
            None => (home.0, 0, 0, 0..0),
            Some(place) => {
                let point = &crew.points[place];
                (crew.bay_of[crew.session(place)], point.free, point.moved, point.steps.clone())
            }
        };
        let mut followers: Vec<(usize, Worth)> = crew.steps[steps].iter().map(|&step| (step, 0)).collect();
        for (session, points) in crew.of_session.iter().enumerate().skip(free.min(moved)) {
            let bay = crew.bay_of[session];
            let (from, cost) = if bay == here { (free, 0) } else { (moved, moves[bay]) };
            if session >= from && (bay == here || crew.movable) {
                let fresh = points.clone().take_while(|&place| crew.points[place].fresh);
                followers.extend(fresh.map(|place| (place, cost)));
            }
        }
        followers
    }
}

/// Keeps the best two of different bays.
fn keep(best: &mut [(Best, usize); 2], other: Best, bay: usize) {
    let [first, second] = *best;
    if first.1 == bay {
        best[0].0 = better(first.0, other);
    } else if other.0 > first.0.0 {
        *best = [(other, bay), first];
    } else if other.0 > second.0.0 {
        best[1] = (other, bay);
    }
}

/// The better of two; the first where they are as good.
fn better(one: Best, other: Best) -> Best {
    if other.0 > one.0 { other } else { one }
}

/// The points of a kind of machine, by session; those with the other outlet free first.
fn keys(day: &Sessions, kind: &Kind, first: MachineIndex) -> Vec<Key> {
    let machine = day.unit.machine(first);
    let lanes = || 1..=if kind.differ { machine.outlets } else { 1 };
    let mut keys = Vec::new();
    for (session, now) in day.all.iter().enumerate().filter(|(_, now)| kind.may_stand_in(now.bay)) {
        let on = || lanes().filter(|&lane| in_service(day.unit, machine, lane, now.hold));
        keys.extend(on().map(|lane| (session, lane, None)));
        if machine.outlets == 1 {
            continue;
        }
        for lane in on() {
            let beside = (0..session).filter(|&earlier| {
                let other = &day.all[earlier];
                other.bay == now.bay
                    && other.hold.until > now.hold.from
                    && in_service(day.unit, machine, other_lane(lane, kind.differ), other.hold)
                    && day.may_share(earlier, session)
            });
            keys.extend(beside.map(|earlier| (session, lane, Some(earlier))));
        }
    }
    keys
}

/// The other outlet; outlets that do not differ are all called 1.
fn other_lane(lane: u8, differ: bool) -> u8 {
    if differ { 3 - lane } else { 1 }
}

/// What may follow a point before both outlets are free.
fn followers(day: &Sessions, (session, lane, beside): Key, differ: bool) -> Vec<Key> {
    let now = &day.all[session];
    let ends = now.hold.until;
    let other_ends = beside.map(|other| day.all[other].hold.until);
    let mut followers = Vec::new();
    for (later, next) in day.all.iter().enumerate().skip(session + 1) {
        let from = next.hold.from;
        if from >= ends.max(other_ends.unwrap_or(ends)) {
            break;
        }
        if next.bay != now.bay {
            continue;
        }
        let other_runs = other_ends.is_some_and(|ends| ends > from);
        if ends > from && !other_runs {
            followers.push((later, other_lane(lane, differ), Some(session)));
        } else if ends <= from && other_runs {
            followers.push((later, lane, beside));
        }
    }
    followers
}

/// A point with its steps.
fn point(day: &Sessions, (session, _, beside): Key, steps: Range<usize>, pairs: &[Pair]) -> Point {
    let ends = day.all[session].hold.until;
    let free = beside.map_or(ends, |other| day.all[other].hold.until.max(ends));
    let first_from = |at| day.all.partition_point(|other| other.hold.from < at);
    let moved = first_from(free + day.unit.minutes.machine_move);
    let pair = beside.and_then(|other| pairs.binary_search(&(other, session)).ok());
    Point { pair, fresh: beside.is_none(), steps, free: first_from(free), moved }
}
