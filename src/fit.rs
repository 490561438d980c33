//! How much room is left on the day: when one patient more could arrive in each bay.
//!
//! Changes nothing of the day and promises nothing for two patients more: each time is found as if it were
//! the only one. Must not call a time free by its own reckoning alone: every day with the patient more is
//! surveyed and verified, and nobody on it may be worse off than on the day as listed.

use std::collections::{BTreeMap, BTreeSet};

use crate::allocate::{Allocation, Cooling, Effort, allocate_with, beside};
use crate::clash::{Resource, Supply};
use crate::clock::Moment;
use crate::patient::{GoAhead, Hair, Visit};
use crate::plan::{DayPlan, VisitPlan, plan_visit};
use crate::propose::{has_no_new_shortage, is_no_worse};
use crate::survey::{Caution, nurses, survey};
use crate::unit_rules::{BayIndex, CapSize, RegimenIndex};
use crate::validate::DayList;
use crate::verify::{VerifiedDay, verify};

/// Minutes from one arrival time that is tried to the next: finer times are not kept by people who travel
/// (common practice, no source).
const STEP: i32 = 5;

/// Before this a patient of a list arrives.
const LAST_ARRIVAL: Moment = Moment::from_midnight(24 * 60);

/// How many days are allocated anew at the most; enough for every arrival time of a unit's day.
const MOST_ANEW: u32 = 400;

/// Who is to be fitted in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Newcomer {
    /// The regimen; with a hair-loss drug, the patient is cooled.
    pub regimen: RegimenIndex,
    /// The hair, if known; without it, the longer pre-cooling is planned.
    pub hair: Option<Hair>,
    /// The size of the unit's cap, if known; without it, no cap is counted.
    pub cap: Option<CapSize>,
    /// Whether the patient brings a cap.
    pub own_cap: bool,
    /// Whether it is the first visit of the course.
    pub first_visit: bool,
}

/// Why an arrival time will not do, in the order in which it is looked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Obstacle {
    /// The patient would leave after the unit closes.
    Closing,
    /// No chair of the bay is free for the whole visit and the turnaround.
    NoChair,
    /// The bay would lack nurses' hands, or lack more of them.
    Nurses,
    /// No cap of the size is free.
    NoCap,
    /// No outlet can serve the patient without harm to somebody.
    NoOutlet,
    /// The work allowed was used up before it was known.
    NotTried,
}

/// Arrival times in a row, five minutes apart, that are alike in chair and moves.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Room {
    /// The first arrival time.
    pub from: Moment,
    /// The last arrival time.
    pub to: Moment,
    /// The chair.
    pub chair: String,
    /// When the cap is connected after the first arrival time; `None` if the patient is not cooled.
    pub connected: Option<Moment>,
    /// When the patient leaves after the last arrival time.
    pub leave: Moment,
    /// Whether machines must change bays more often than on the day as listed.
    pub needs_move: bool,
}

/// What there is in one bay.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BayRoom {
    /// The bay.
    pub bay: BayIndex,
    /// The arrival times that will do.
    pub room: Vec<Room>,
    /// How many arrival times each obstacle keeps from doing.
    pub obstacles: BTreeMap<Obstacle, u32>,
}

/// Whether a patient with this regimen would be cooled.
#[must_use]
pub fn is_cooled(list: &DayList, newcomer: &Newcomer) -> bool {
    list.regimen(newcomer.regimen).first_hair_loss().is_some()
}

/// The room in every bay, in the unit's order. Arrival times run from opening to closing.
#[must_use]
pub fn fit(day: &VerifiedDay, newcomer: &Newcomer, effort: Effort) -> Vec<BayRoom> {
    let mut search = Search { day, newcomer, effort, left: MOST_ANEW };
    (0..day.list().unit.bays.len()).map(|bay| search.bay(BayIndex(bay))).collect()
}

struct Search<'a> {
    day: &'a VerifiedDay,
    newcomer: &'a Newcomer,
    effort: Effort,
    /// How many more days may be allocated anew.
    left: u32,
}

/// A list with the patient more, planned.
struct Longer {
    list: DayList,
    plan: DayPlan,
    /// The patient's place.
    place: usize,
}

impl Search<'_> {
    fn bay(&mut self, bay: BayIndex) -> BayRoom {
        let unit = &self.day.list().unit;
        let mut found = BayRoom { bay, room: Vec::new(), obstacles: BTreeMap::new() };
        let mut arrive = unit.opens;
        while arrive < unit.closes.min(LAST_ARRIVAL) {
            match self.time(bay, arrive) {
                Ok(room) => add(&mut found.room, room),
                Err(obstacle) => *found.obstacles.entry(obstacle).or_default() += 1,
            }
            arrive = arrive.slipped(STEP);
        }
        found
    }

    /// Whether one arrival time will do, and in which chair.
    fn time(&mut self, bay: BayIndex, arrive: Moment) -> Result<Room, Obstacle> {
        let list = self.day.list();
        let row = self.row(bay, arrive);
        let planned = plan_visit(&row, list);
        if planned.leave > list.unit.closes {
            return Err(Obstacle::Closing);
        }
        let chairs = self.free_chairs(bay, &planned);
        let Some(first) = chairs.first() else { return Err(Obstacle::NoChair) };
        let seated = |chair: &String| self.longer(&Visit { chair: chair.clone(), ..row.clone() }, &planned);
        let longer = seated(first);
        if !has_no_new_shortage(self.day, &nurses(&longer.list, &longer.plan)) {
            return Err(Obstacle::Nurses);
        }
        let days: Vec<Longer> = chairs.iter().map(seated).collect();
        let room = |longer: &Longer, moves: usize| Room {
            from: arrive,
            to: arrive,
            chair: longer.list.visits[longer.place].chair.clone(),
            connected: planned.cooling.as_ref().map(|stages| stages.cooling_on),
            leave: planned.leave,
            needs_move: moves > self.day.allocation().moves.len(),
        };
        self.clash(&days)?;
        let (chair, moves) = self.served(&days)?;
        Ok(room(&days[chair], moves))
    }

    /// The chair that needs the fewest moves, by its place in `days`, and how many moves the day then has.
    fn served(&mut self, days: &[Longer]) -> Result<(usize, usize), Obstacle> {
        let moves_now = self.day.allocation().moves.len();
        let fewest =
            |found: Vec<(usize, usize)>| found.into_iter().min_by_key(|&(place, moves)| (moves, place));
        let numbered = || days.iter().enumerate();
        let at_once =
            fewest(numbered().filter_map(|(place, day)| Some((place, self.as_it_stands(day)?))).collect());
        if at_once.is_some_and(|(_, moves)| moves <= moves_now) {
            return at_once.ok_or(Obstacle::NoOutlet);
        }
        let mut anew = Vec::from_iter(at_once);
        let mut all_tried = true;
        for (place, day) in numbered() {
            if self.left == 0 {
                all_tried = false;
                break;
            }
            self.left -= 1;
            anew.extend(self.anew(day).map(|moves| (place, moves)));
            if anew.iter().any(|&(_, moves)| moves <= moves_now) {
                break;
            }
        }
        fewest(anew).ok_or(if all_tried { Obstacle::NoOutlet } else { Obstacle::NotTried })
    }

    /// The number of moves of the day if everybody else stays on the machine that they have. None where somebody
    /// has no outlet today: then who goes without is a choice, and the day made with the patient on its list may
    /// choose another than today's.
    fn as_it_stands(&self, longer: &Longer) -> Option<usize> {
        let before = self.day.allocation();
        if longer.plan.visits[longer.place].cooling.is_none() {
            let mut allocation = before.clone();
            allocation.visits.insert(longer.place, Cooling::NotWanted);
            return self.verified(longer, allocation);
        }
        if !self.without(longer).is_empty() {
            return None;
        }
        let Longer { list, plan, place } = longer;
        let ways = beside(list, plan, *place, &before.visits, before.worth.bound_without_outlet);
        ways.into_iter().find_map(|allocation| self.verified(longer, allocation))
    }

    /// The number of moves of the day if all machines are thought of again, as they are when the day is made with
    /// the patient on its list.
    fn anew(&self, longer: &Longer) -> Option<usize> {
        self.verified(longer, allocate_with(&longer.list, &longer.plan, self.effort))
    }

    /// The number of moves, if the day passes its check and nobody is worse off.
    fn verified(&self, longer: &Longer, allocation: Allocation) -> Option<usize> {
        let moves = allocation.moves.len();
        let cautions: Vec<Caution> = survey(&longer.list, &longer.plan, &allocation);
        let after = verify(longer.list.clone(), longer.plan.clone(), allocation, cautions).ok()?;
        is_no_worse(self.day, &after, self.day.list().visits.len()).then_some(moves)
    }

    /// Refuses a time at which, whatever the chair, more people would ask for a cap or an outlet than there
    /// are, those aside who have none today.
    fn clash(&self, days: &[Longer]) -> Result<(), Obstacle> {
        let supply = Supply::of(&self.day.list().unit);
        let mut obstacle = None;
        for longer in days {
            let without = self.without(longer);
            let planned = longer.plan.visits.iter().enumerate();
            let cooled = planned.filter_map(|(visit, planned)| Some((visit, planned.cooling.as_ref()?)));
            let asks: Vec<_> = cooled
                .filter(|(visit, _)| !without.contains(visit))
                .map(|(visit, stages)| supply.ask(&longer.list, visit, stages))
                .collect();
            let Some(own) = asks.iter().find(|ask| ask.visit == longer.place) else { return Ok(()) };
            let clashes = supply.clashes(&asks, Some(own));
            if clashes.is_empty() {
                return Ok(());
            }
            let is_cap = clashes.iter().any(|clash| matches!(clash.resource, Resource::Caps(_)));
            obstacle = Some(if is_cap { Obstacle::NoCap } else { Obstacle::NoOutlet });
        }
        obstacle.map_or(Ok(()), Err)
    }

    /// Who has no outlet on the day as listed, by their places in the longer list.
    fn without(&self, longer: &Longer) -> BTreeSet<usize> {
        let visits = self.day.allocation().visits.iter().enumerate();
        let without = visits.filter(|(_, cooling)| matches!(cooling, Cooling::Without(_)));
        without.map(|(visit, _)| visit + usize::from(visit >= longer.place)).collect()
    }

    /// The first free chair of each group that one machine's hoses reach together: the chairs of a group
    /// are alike.
    fn free_chairs(&self, bay: BayIndex, planned: &VisitPlan) -> Vec<String> {
        let (list, unit) = (self.day.list(), &self.day.list().unit);
        let hold = planned.chair_hold(unit);
        let is_free = |chair: &&String| {
            let mut visits = list.visits.iter().zip(&self.day.plan().visits);
            !visits.any(|(row, other)| row.chair == **chair && other.chair_hold(unit).meets(hold))
        };
        let bay = unit.bay(bay);
        let mut chairs: Vec<String> = Vec::new();
        for chair in bay.chairs.iter().filter(is_free) {
            if !chairs.iter().any(|other| bay.reach_together(other, chair)) {
                chairs.push(chair.clone());
            }
        }
        chairs
    }

    /// The list with one row more.
    fn longer(&self, row: &Visit, planned: &VisitPlan) -> Longer {
        let (list, place) = self.day.list().with_visit(row.clone());
        let mut plan = self.day.plan().clone();
        plan.visits.insert(place, planned.clone());
        Longer { list, plan, place }
    }

    /// The patient as a row of the list, not yet in a chair.
    fn row(&self, bay: BayIndex, arrive: Moment) -> Visit {
        let list = self.day.list();
        let newcomer = self.newcomer;
        Visit {
            line: list.visits.iter().map(|row| row.line).max().unwrap_or(1).saturating_add(1),
            arrive,
            bay,
            chair: String::new(),
            hospital_no: String::new(),
            nhs_no: None,
            family_name: String::new(),
            given_name: String::new(),
            born: list.day,
            regimen: newcomer.regimen,
            cycle: if newcomer.first_visit { 1 } else { 2 },
            cooled: is_cooled(list, newcomer),
            hair: newcomer.hair,
            cap: newcomer.cap,
            own_cap: newcomer.own_cap,
            drugs_ready: None,
            leave_by: None,
            language: None,
            large_print: false,
            alert: None,
            next_visit: None,
            go_ahead: GoAhead::Yes,
            isolate: false,
        }
    }
}

/// Adds an arrival time to those before it, joined with the last of them where it follows on.
fn add(room: &mut Vec<Room>, next: Room) {
    match room.last_mut() {
        Some(last)
            if last.to.slipped(STEP) == next.from
                && (&last.chair, last.needs_move) == (&next.chair, next.needs_move) =>
        {
            last.to = next.to;
            last.leave = next.leave;
        }
        _ => room.push(next),
    }
}
