//! What people at their proposed times do to each other: every rule that is broken by several at once.
//!
//! A conflict names people of whom at least one must change, and a test by which each is told apart
//! who no longer takes part. Each is true whatever everybody else does, so a search that lets one of
//! them leave it, each in turn, misses nothing.

use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

use super::menu::Retimed;
use crate::clash::{Ask, Clash, Resource, Supply, holds};
use crate::clock::{Moment, Span};
use crate::validate::DayList;

/// The test of who takes part in a conflict.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Test {
    /// Takes an outlet at this minute and can use none of these outlets.
    Outlet(Moment, crate::clash::Shut),
    /// Is on a machine at this minute.
    Machine(Moment),
    /// Takes a cap at this minute.
    Cap(Moment),
    /// Takes the chair at this minute.
    Chair(Moment),
    /// Needs nurses' hands at this minute: how many.
    Hands(Moment),
    /// Comes at one of these times: places on the visit's menu.
    Times(Rc<Times>),
}

/// Times of some visits, as places on their menus.
pub(super) type Times = BTreeMap<usize, BTreeSet<usize>>;

impl Test {
    /// Whether the conflict is one over outlets, machines or caps.
    pub const fn is_of_cooling(&self) -> bool {
        !matches!(self, Self::Chair(_) | Self::Hands(_))
    }

    /// The same test at another minute.
    fn at(&self, at: Moment) -> Self {
        match self {
            Self::Outlet(_, shut) => Self::Outlet(at, *shut),
            Self::Machine(_) => Self::Machine(at),
            Self::Cap(_) => Self::Cap(at),
            Self::Chair(_) => Self::Chair(at),
            Self::Hands(_) => Self::Hands(at),
            Self::Times(times) => Self::Times(Rc::clone(times)),
        }
    }

    /// How much a visit takes part at a place on its menu.
    pub fn weight(&self, visit: usize, place: usize, retimed: &Retimed) -> u32 {
        let asks = |takes: &dyn Fn(&Ask) -> bool| u32::from(retimed.ask.as_ref().is_some_and(takes));
        match self {
            Self::Outlet(at, shut) => asks(&|ask| holds(ask.hold, *at) && ask.shut & shut == *shut),
            Self::Machine(at) => asks(&|ask| holds(ask.cooling, *at)),
            Self::Cap(at) => asks(&|ask| ask.cap.is_some_and(|(_, span)| holds(span, *at))),
            Self::Chair(at) => u32::from(holds(retimed.chair, *at)),
            Self::Hands(at) => hands_at(retimed, *at),
            Self::Times(times) => u32::from(times.get(&visit).is_some_and(|places| places.contains(&place))),
        }
    }
}

fn hands_at(retimed: &Retimed, at: Moment) -> u32 {
    u32::try_from(retimed.hands.iter().filter(|span| holds(**span, at)).count()).unwrap_or(u32::MAX)
}

/// That these people cannot all come at these times.
pub(super) fn not_together(times: &Rc<Times>) -> Conflict {
    let test = Test::Times(Rc::clone(times));
    Conflict { people: times.keys().copied().collect(), excess: 1, whole: true, test, when: None }
}

/// People of whom at least one must change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Conflict {
    /// Who takes part.
    pub people: Vec<usize>,
    /// By how much their parts together are too many.
    pub excess: u32,
    /// Whether it takes all of them, rather than any few whose parts are too many.
    pub whole: bool,
    /// The test.
    pub test: Test,
    /// For how long all of them take part, where the test is of one minute of several.
    pub when: Option<Span>,
}

impl Conflict {
    /// The same conflict, seen at the first, a middle and the last of its minutes: each is as true, and
    /// getting out of one takes more than getting out of another.
    pub fn at_other_minutes(self) -> Vec<Self> {
        let Some(when) = self.when else { return vec![self] };
        let last = when.until.slipped(-1);
        let middle = Moment::from_midnight(i32::midpoint(when.from.minutes(), last.minutes()));
        let mut minutes = vec![when.from, middle, last];
        minutes.dedup();
        minutes.into_iter().map(|at| Self { test: self.test.at(at), ..self.clone() }).collect()
    }
}

/// The day at hand, in which conflicts are looked for.
pub(super) struct Ground<'a> {
    pub list: &'a DayList,
    pub supply: Supply<'a>,
    pub menu: &'a [Vec<Retimed>],
    /// Nurses needed in each bay at each minute from `first_minute` on, as listed.
    hands: Vec<Vec<u32>>,
    first_minute: i32,
    /// People who were shown not to get outlets together at any of these times.
    pub learned: Vec<Rc<Times>>,
}

impl<'a> Ground<'a> {
    pub fn new(list: &'a DayList, supply: Supply<'a>, menu: &'a [Vec<Retimed>]) -> Self {
        let spans = || menu.iter().flatten().flat_map(|retimed| &retimed.hands);
        let first_minute = spans().map(|span| span.from.minutes()).min().unwrap_or(0);
        let last = spans().map(|span| span.until.minutes()).max().unwrap_or(0);
        let minutes = usize::try_from(last - first_minute).unwrap_or(0);
        let mut hands = vec![vec![0; minutes]; list.unit.bays.len()];
        for (row, times) in list.visits.iter().zip(menu) {
            for minute in times.first().iter().flat_map(|listed| &listed.hands).flat_map(minutes_of) {
                if let Some(needed) =
                    place_of(minute, first_minute).and_then(|place| hands[row.bay.0].get_mut(place))
                {
                    *needed += 1;
                }
            }
        }
        Self { list, supply, menu, hands, first_minute, learned: Vec::new() }
    }

    /// A visit at a place on its menu.
    pub fn at(&self, visit: usize, place: usize) -> &Retimed {
        &self.menu[visit][place]
    }

    /// Whether people ask for more than there is in the part of their time that is the same at each of
    /// their open places: then no day with these places fits. `open` is all the menu where it is `None`.
    pub fn is_hopeless<'b>(
        &self,
        open: impl Fn(usize) -> Option<&'b [usize]>,
        left_out: &BTreeSet<usize>,
    ) -> bool {
        let visits = (0..self.menu.len()).filter(|visit| !left_out.contains(visit));
        let sure = |visit: usize| match open(visit) {
            Some(places) => places.iter().map(|&place| self.at(visit, place).ask).reduce(in_common).flatten(),
            None => self.menu[visit].iter().map(|retimed| retimed.ask).reduce(in_common).flatten(),
        };
        let asks: Vec<Ask> = visits.filter_map(sure).collect();
        !self.supply.clashes(&asks, None).is_empty()
    }

    /// Every conflict with these places on the menus, of which `left_out` get no outlet.
    pub fn conflicts(&self, places: &[usize], left_out: &BTreeSet<usize>) -> Vec<Conflict> {
        let asks: Vec<Ask> = places
            .iter()
            .enumerate()
            .filter(|(visit, _)| !left_out.contains(visit))
            .filter_map(|(visit, &place)| self.at(visit, place).ask)
            .collect();
        let mut found: Vec<Conflict> = self.supply.clashes(&asks, None).into_iter().map(of_clash).collect();
        for times in &self.learned {
            let come = |(visit, open): (&usize, &BTreeSet<usize>)| {
                !left_out.contains(visit) && open.contains(&places[*visit])
            };
            if times.iter().all(come) {
                found.push(not_together(times));
            }
        }
        let moved: Vec<usize> = (0..places.len()).filter(|&visit| places[visit] != 0).collect();
        for &visit in &moved {
            self.chair_conflicts(visit, places, &mut found);
        }
        self.hands_conflicts(&moved, places, &mut found);
        found
    }

    /// Chairs that a moved visit takes from another, at minutes at which it does not as listed.
    fn chair_conflicts(&self, visit: usize, places: &[usize], found: &mut Vec<Conflict>) {
        let seat = |visit: usize| (self.list.visits[visit].bay, &self.list.visits[visit].chair);
        for other in (0..places.len()).filter(|&other| other != visit && seat(other) == seat(visit)) {
            let now = common(self.at(visit, places[visit]).chair, self.at(other, places[other]).chair);
            let listed = common(self.at(visit, 0).chair, self.at(other, 0).chair);
            let Some(at) = minute_outside(now, listed) else { continue };
            found.push(Conflict {
                people: vec![visit, other],
                excess: 1,
                whole: true,
                test: Test::Chair(at),
                when: None,
            });
        }
    }

    /// Minutes at which moved visits ask for more hands than a bay has and than it lacks as listed.
    fn hands_conflicts(&self, moved: &[usize], places: &[usize], found: &mut Vec<Conflict>) {
        let bay_of = |visit: usize| self.list.visits[visit].bay;
        let mut seen = BTreeSet::new();
        for &visit in moved {
            let bay = bay_of(visit);
            for minute in self.at(visit, places[visit]).hands.iter().flat_map(minutes_of) {
                if !seen.insert((bay, minute)) {
                    continue;
                }
                let at = Moment::from_midnight(minute);
                let listed =
                    place_of(minute, self.first_minute).and_then(|place| self.hands[bay.0].get(place));
                let listed = listed.copied().unwrap_or(0);
                let others = moved.iter().filter(|&&other| bay_of(other) == bay);
                let (away, here) = others.fold((0, 0), |(away, here), &other| {
                    (
                        away + hands_at(self.at(other, 0), at),
                        here + hands_at(self.at(other, places[other]), at),
                    )
                });
                let (needed, most) = (listed + here - away, listed.max(self.list.unit.bay(bay).nurses));
                if needed > most {
                    let test = Test::Hands(at);
                    let takes = |other: &usize| {
                        bay_of(*other) == bay
                            && test.weight(*other, places[*other], self.at(*other, places[*other])) > 0
                    };
                    let people = (0..places.len()).filter(takes).collect();
                    found.push(Conflict { people, excess: needed - most, whole: false, test, when: None });
                }
            }
        }
    }
}

/// What two asks of one patient have in common; `None` if nothing.
fn in_common(one: Option<Ask>, other: Option<Ask>) -> Option<Ask> {
    let (one, other) = (one?, other?);
    let cap = one.cap.zip(other.cap).map(|((size, one), (_, other))| (size, common(one, other)));
    let ask = Ask {
        hold: common(one.hold, other.hold),
        cooling: common(one.cooling, other.cooling),
        cap: cap.filter(|(_, span)| !span.is_empty()),
        shut: one.shut & other.shut,
        ..one
    };
    (!ask.hold.is_empty()).then_some(ask)
}

/// The minutes of a span.
fn minutes_of(span: &Span) -> std::ops::Range<i32> {
    span.from.minutes()..span.until.minutes()
}

fn place_of(minute: i32, first: i32) -> Option<usize> {
    usize::try_from(minute - first).ok()
}

/// What two spans share; may be empty.
fn common(one: Span, other: Span) -> Span {
    Span::new(one.from.max(other.from), one.until.min(other.until))
}

/// A minute of `now` that is none of `listed`.
fn minute_outside(now: Span, listed: Span) -> Option<Moment> {
    if now.is_empty() {
        return None;
    }
    if listed.is_empty() || now.from < listed.from {
        return Some(now.from);
    }
    let at = now.from.max(listed.until);
    (at < now.until).then_some(at)
}

/// A clash as a conflict.
fn of_clash(clash: Clash) -> Conflict {
    let (at, excess) = (clash.when.from, clash.too_many());
    let test = match clash.resource {
        Resource::Outlets { .. } => Test::Outlet(at, clash.shut),
        Resource::Machines { .. } => Test::Machine(at),
        Resource::Caps(_) => Test::Cap(at),
    };
    let when = (!matches!(test, Test::Machine(_)) && !clash.when.is_empty()).then_some(clash.when);
    Conflict { people: clash.people, excess, whole: matches!(test, Test::Machine(_)), test, when }
}
