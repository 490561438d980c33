//! The search for the least change: always on from the cheapest day that is not ruled out.
//!
//! Everybody starts with every time on their menu and is taken at the cheapest one left. Where people
//! are in conflict, the search goes on with one day for each of them in which that one leaves the
//! conflict and those before stay in it, so no day is looked at twice and none is missed. What is left
//! of the conflicts bounds from below what a day will cost, so the first day without any is the
//! cheapest. Work is counted in days looked at and days tried, never by the clock.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet, BinaryHeap};
use std::rc::Rc;

use super::conflicts::{Conflict, Ground, Times};

/// The places on a visit's menu that are still open, the cheapest first.
type Open = Rc<Vec<usize>>;

/// The open places of each visit that has not all of its menu open.
pub(super) type Opens = BTreeMap<usize, Open>;

/// How much a search may look at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Work {
    /// Days looked at: conflicts counted.
    pub days: u32,
    /// Days tried: outlets given.
    pub trials: u32,
}

impl Work {
    /// A part of it.
    pub fn part(self, of: u32, parts: u32) -> Self {
        Self { days: self.days / parts * of, trials: self.trials / parts * of }
    }
}

/// What came of trying a day.
pub(super) enum Tried {
    /// It fits.
    Fits,
    /// It does not: these people cannot all come at these times, which is proven or not.
    Not { times: Times, proven: bool },
}

/// How days are tried. Whoever tries takes what it costs off `trials`.
pub(super) trait Judge {
    /// Whether everybody but those left out can have an outlet.
    fn outlets(&self, places: &[usize], left_out: &BTreeSet<usize>, trials: &mut u32) -> Tried;
    /// Whether a day without conflicts fits in every way.
    fn whole(&self, places: &[usize], left_out: &BTreeSet<usize>, trials: &mut u32) -> Tried;
}

/// In which order a search goes on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Order {
    /// The cheapest day first: the first that fits is the cheapest of all.
    Cheapest,
    /// The day with the fewest conflicts first: soon one that fits, if not the cheapest.
    Fewest,
}

/// What a search came to.
pub(super) struct Outcome {
    /// The places on the menus of a day that fits.
    pub places: Option<Vec<usize>>,
    /// Who gets no outlet on that day.
    pub left_out: BTreeSet<usize>,
    /// Whether every cheaper day is ruled out; without a day that fits, whether all are.
    pub complete: bool,
}

/// A set of days under search.
struct Node {
    root: usize,
    open: Opens,
    cost: u32,
    moved: u32,
    /// What the conflicts add to the cost at least.
    ahead: u32,
    excess: u32,
    /// The conflict to go on with.
    conflict: Option<Conflict>,
}

/// One search.
pub(super) struct Search<'a, 'b, J> {
    pub ground: &'a mut Ground<'b>,
    /// Whom to leave out: one set a root.
    pub roots: &'a [BTreeSet<usize>],
    /// What is open to begin with.
    pub open: &'a Opens,
    pub order: Order,
    pub work: Work,
    pub judge: &'a J,
}

impl<J: Judge> Search<'_, '_, J> {
    /// Searches until a day fits, all are ruled out, or the work is spent.
    pub fn run(&mut self) -> Outcome {
        let mut nodes: Vec<Option<Node>> = Vec::new();
        let mut queue = BinaryHeap::new();
        let mut complete = true;
        for root in 0..self.roots.len() {
            self.add(root, self.open.clone(), &mut nodes, &mut queue);
        }
        while let Some((_, place)) = queue.pop() {
            let Some(node) = nodes[place].take() else { continue };
            if self.work.trials == 0 || self.work.days == 0 {
                return Outcome { places: None, left_out: BTreeSet::new(), complete: false };
            }
            match self.judged(&node) {
                None => {
                    for open in self.children(&node) {
                        self.add(node.root, open, &mut nodes, &mut queue);
                    }
                }
                Some(Tried::Fits) => {
                    let (places, left_out) = (self.places(&node), self.roots[node.root].clone());
                    let complete = complete && self.order == Order::Cheapest;
                    return Outcome { places: Some(places), left_out, complete };
                }
                Some(Tried::Not { times, proven }) => {
                    complete &= proven;
                    self.ground.learned.push(Rc::new(times));
                    self.add(node.root, node.open, &mut nodes, &mut queue);
                }
            }
        }
        Outcome { places: None, left_out: BTreeSet::new(), complete }
    }

    /// Tries the cheapest day of a set whose conflicts over cooling are resolved; `None` where there
    /// are conflicts to go on with.
    fn judged(&mut self, node: &Node) -> Option<Tried> {
        if node.conflict.as_ref().is_some_and(|conflict| conflict.test.is_of_cooling()) {
            return None;
        }
        let places = self.places(node);
        let left_out = &self.roots[node.root];
        match self.judge.outlets(&places, left_out, &mut self.work.trials) {
            Tried::Fits if node.conflict.is_some() => None,
            Tried::Fits => Some(self.judge.whole(&places, left_out, &mut self.work.trials)),
            not => Some(not),
        }
    }

    /// Looks at a set of days and queues it, unless it is ruled out.
    fn add(
        &mut self,
        root: usize,
        open: Opens,
        nodes: &mut Vec<Option<Node>>,
        queue: &mut BinaryHeap<(Reverse<Key>, usize)>,
    ) {
        self.work.days = self.work.days.saturating_sub(1);
        if let Some(node) = self.node(root, open) {
            queue.push((Reverse(self.key(&node)), nodes.len()));
            nodes.push(Some(node));
        }
    }

    fn key(&self, node: &Node) -> Key {
        let cost = (node.cost + node.ahead, node.moved);
        match self.order {
            Order::Cheapest => (0, cost.0, cost.1, node.excess),
            Order::Fewest => (node.excess, cost.0, cost.1, 0),
        }
    }

    /// The set of days with its cost and the conflict to go on with; `None` if no day of it fits.
    fn node(&self, root: usize, open: Opens) -> Option<Node> {
        let mut node = Node { root, open, cost: 0, moved: 0, ahead: 0, excess: 0, conflict: None };
        let places = self.places(&node);
        for (&visit, open) in &node.open {
            let first = open.first()?;
            node.cost += self.ground.at(visit, *first).cost();
            node.moved += u32::from(*first != 0);
        }
        let open_to = |visit: usize| node.open.get(&visit).map(|open| open.as_slice());
        if self.ground.is_hopeless(open_to, &self.roots[root]) {
            return None;
        }
        let mut weighed = Vec::new();
        for conflict in self.ground.conflicts(&places, &self.roots[root]) {
            node.excess += conflict.excess;
            let (least, conflict) = strongest(self.ground, &node.open, conflict, &places)?;
            weighed.push((Reverse(least), conflict));
        }
        weighed.sort_by_key(|(least, conflict)| (*least, conflict.people.len()));
        let mut counted = BTreeSet::new();
        for (Reverse(least), conflict) in &weighed {
            if !conflict.people.iter().any(|visit| counted.contains(visit)) {
                counted.extend(conflict.people.iter().copied());
                node.ahead += least;
            }
        }
        weighed.sort_by_key(|(_, conflict)| !conflict.test.is_of_cooling());
        node.conflict = weighed.into_iter().next().map(|(_, conflict)| conflict);
        Some(node)
    }

    /// The sets of days in which one person of the conflict leaves it and those before stay in it.
    fn children(&self, node: &Node) -> Vec<Opens> {
        let Some(conflict) = &node.conflict else { return Vec::new() };
        let ways = ways_out(self.ground, &node.open, conflict, &self.places(node));
        ways.ways.into_iter().map(|(_, open)| open).collect()
    }

    /// The cheapest place of everybody.
    fn places(&self, node: &Node) -> Vec<usize> {
        let first = |visit: usize| node.open.get(&visit).and_then(|open| open.first().copied()).unwrap_or(0);
        (0..self.ground.menu.len()).map(first).collect()
    }
}

/// What the queue is sorted by, the smallest first.
type Key = (u32, u32, u32, u32);

/// How people can get out of a conflict.
pub(super) struct WaysOut {
    /// At least one of these people does not take part as much as now.
    pub people: Vec<usize>,
    /// Who leaves, and what is open then: one way for each who can leave, those before staying in it.
    pub ways: Vec<(usize, Opens)>,
}

/// How the people of a conflict can get out of it who are at these places.
pub(super) fn ways_out(ground: &Ground<'_>, open: &Opens, conflict: &Conflict, places: &[usize]) -> WaysOut {
    let mut people: Vec<(Option<u32>, usize)> = conflict
        .people
        .iter()
        .map(|&visit| (increase(ground, open, conflict, visit, places), visit))
        .collect();
    if !conflict.whole {
        keep_few(ground, conflict, places, &mut people);
    }
    let few = people.iter().map(|&(_, visit)| visit).collect();
    people.retain(|(increase, _)| increase.is_some());
    people.sort_unstable();
    let narrowed = |visit, leaves| narrowed(ground, open, conflict, visit, places, leaves);
    let mut ways = Vec::new();
    for (place, &(_, leaver)) in people.iter().enumerate() {
        let mut open = open.clone();
        open.insert(leaver, narrowed(leaver, true));
        for &(_, stayer) in &people[..place] {
            open.insert(stayer, narrowed(stayer, false));
        }
        ways.push((leaver, open));
    }
    WaysOut { people: few, ways }
}

/// What it costs at least that a visit leaves a conflict; `None` if it cannot.
fn increase(
    ground: &Ground<'_>,
    open: &Opens,
    conflict: &Conflict,
    visit: usize,
    places: &[usize],
) -> Option<u32> {
    let menu = &ground.menu[visit];
    let weight = |place: usize| conflict.test.weight(visit, place, &menu[place]);
    let now = weight(places[visit]);
    let leaves = |place: &usize| weight(*place) < now;
    let place = match open.get(&visit) {
        Some(open) => open.iter().copied().find(leaves)?,
        None => (0..menu.len()).find(leaves)?,
    };
    Some(menu[place].cost().saturating_sub(menu[places[visit]].cost()))
}

/// Keeps as few people of a conflict as are still too many: those who leave it least easily.
fn keep_few(
    ground: &Ground<'_>,
    conflict: &Conflict,
    places: &[usize],
    people: &mut Vec<(Option<u32>, usize)>,
) {
    let weight = |visit: usize| conflict.test.weight(visit, places[visit], ground.at(visit, places[visit]));
    people.sort_by_key(|&(increase, visit)| (increase.is_none(), increase, visit));
    let mut to_spare = conflict.excess - 1;
    people.retain(|&(_, visit)| {
        let spared = weight(visit) <= to_spare;
        to_spare -= if spared { weight(visit) } else { 0 };
        !spared
    });
}

/// The open places of a visit at which it leaves a conflict, or stays in it.
fn narrowed(
    ground: &Ground<'_>,
    open: &Opens,
    conflict: &Conflict,
    visit: usize,
    places: &[usize],
    leaves: bool,
) -> Open {
    let menu = &ground.menu[visit];
    let weight = |place: usize| conflict.test.weight(visit, place, &menu[place]);
    let now = weight(places[visit]);
    let kept = |place: &usize| (weight(*place) < now) == leaves;
    Rc::new(match open.get(&visit) {
        Some(open) => open.iter().copied().filter(kept).collect(),
        None => (0..menu.len()).filter(kept).collect(),
    })
}

/// A conflict at that of its minutes at which it costs the most to resolve, with the least that it costs;
/// `None` if nothing resolves it.
pub(super) fn strongest(
    ground: &Ground<'_>,
    open: &Opens,
    conflict: Conflict,
    places: &[usize],
) -> Option<(u32, Conflict)> {
    let mut best: Option<(u32, Conflict)> = None;
    for conflict in conflict.at_other_minutes() {
        let least = least_increase(ground, open, &conflict, places)?;
        if best.as_ref().is_none_or(|(most, _)| least > *most) {
            best = Some((least, conflict));
        }
    }
    best
}

/// The least that it costs to resolve a conflict; `None` if nothing does. Whoever leaves it takes away at
/// most the heaviest part.
fn least_increase(ground: &Ground<'_>, open: &Opens, conflict: &Conflict, places: &[usize]) -> Option<u32> {
    let weight = |visit: usize| conflict.test.weight(visit, places[visit], ground.at(visit, places[visit]));
    let heaviest = conflict.people.iter().map(|&visit| weight(visit)).max()?.max(1);
    let leavers = usize::try_from(conflict.excess.div_ceil(heaviest)).unwrap_or(usize::MAX);
    let leave = |&visit: &usize| increase(ground, open, conflict, visit, places);
    let mut increases: Vec<u32> = conflict.people.iter().filter_map(leave).collect();
    increases.sort_unstable();
    (increases.len() >= leavers).then(|| increases.iter().take(leavers).sum())
}
