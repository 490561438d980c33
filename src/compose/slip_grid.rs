//! The slip grid: the paper computer from which a nurse reads every later time.
//!
//! A grid is a set of events, each with a base time, and of steps between them that must last a
//! minimum. A line of the grid is a slip against the plan; a cell is base + slip. Because the base of
//! a later event is never less than the minimum after the base of the earlier one, whoever marks the
//! first cell not before the real time and then keeps to the same line never cuts a minimum short;
//! rounding up to the next line costs less than [`LINE`] minutes.

use crate::clock::{Minutes, Moment};
use crate::patient::Visit;
use crate::plan::{CoolingStages, VisitPlan, counted_step};
use crate::unit_rules::{Regimen, Unit};

/// The earliest line, in minutes against the plan.
pub const FIRST_LINE: i32 = -15;
/// The latest line, in minutes against the plan.
pub const LAST_LINE: i32 = 90;
/// The minutes from one line to the next.
pub const LINE: i32 = 5;
/// A rule stands above the line at every so many minutes.
pub const RULE: i32 = 15;

/// The grid of one cooled visit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Grid {
    /// The events, in the order of the columns.
    pub events: Vec<Event>,
    /// What must lie between events.
    pub links: Vec<Link>,
}

/// A column of the grid.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Event {
    /// What happens.
    pub what: What,
    /// When, if the first hair-loss drug starts as planned.
    pub base: Moment,
}

/// What happens in an event. Steps are places in the regimen's list of drugs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// The pre-medication is given.
    PremedGiven,
    /// A drug other than the first hair-loss one is started.
    DrugStarted(usize),
    /// A drug that is followed by observation, and its flush, have ended.
    ObservationStarts(usize),
    /// The cap is connected.
    Connect,
    /// The patient is looked at and asked, some minutes after connecting. Nothing waits for it.
    FirstCheck,
    /// The first hair-loss drug is started.
    StartDrug(usize),
    /// The drug that the post-cooling clock counts from has ended.
    DrugEnded(usize),
    /// The cap is disconnected.
    StopCooling,
    /// The cap comes off.
    CapOff,
    /// The patient may leave.
    MayLeave,
}

/// A promise between two events: the later one never comes sooner than the minimum after the
/// earlier one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Link {
    /// The earlier event, by its place.
    pub from: usize,
    /// The later event, by its place.
    pub to: usize,
    /// The minutes between them at the least.
    pub minimum: Minutes,
    /// What the minutes are.
    pub promise: Promise,
}

/// What the minutes of a link are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Promise {
    /// Pre-medication before the first drug.
    PremedLead,
    /// From connecting until the first check.
    FirstCheck,
    /// Cooling before the first hair-loss drug.
    PreCooling,
    /// Drugs running; a plan, not a minimum of safety.
    Drugs,
    /// Observation after a drug.
    Observation,
    /// Cooling after the counted drug.
    PostCooling,
    /// The cap stays on after cooling.
    WarmUp,
    /// Seated after the cap is off.
    Seated,
}

impl Grid {
    /// The slips of the lines, in minutes against the plan, earliest first.
    pub fn slips() -> impl Iterator<Item = i32> {
        (FIRST_LINE..=LAST_LINE).step_by(LINE.unsigned_abs() as usize)
    }

    /// The earliest time of an event on a line.
    #[must_use]
    pub fn cell(&self, event: usize, slip: i32) -> Moment {
        self.events[event].base.slipped(slip)
    }

    /// The line that is marked when an event really happens at `real`: the first one whose cell is
    /// not before it; `None` past the last line.
    #[must_use]
    pub fn mark(&self, event: usize, real: Moment) -> Option<i32> {
        Self::slips().find(|slip| self.cell(event, *slip) >= real)
    }
}

/// The grid of a visit; `None` if it is not cooled.
#[must_use]
pub fn slip_grid(visit: &Visit, regimen: &Regimen, unit: &Unit, planned: &VisitPlan) -> Option<Grid> {
    let stages = planned.cooling.as_ref()?;
    let first = regimen.first_hair_loss()?;
    let mut draft =
        Draft { visit, regimen, unit, planned, stages, grid: Grid { events: Vec::new(), links: Vec::new() } };
    let earlier = draft.before_the_cap(first);
    let start = draft.cooling_and_drug(first, earlier);
    let counted = counted_step(regimen, unit);
    let ended = draft.drugs(first, counted, start);
    draft.after_the_drug(counted, ended);
    Some(draft.grid)
}

/// A grid in the making.
struct Draft<'a> {
    visit: &'a Visit,
    regimen: &'a Regimen,
    unit: &'a Unit,
    planned: &'a VisitPlan,
    stages: &'a CoolingStages,
    grid: Grid,
}

/// The event that the next link starts from, and what that link promises.
type Open = (usize, Minutes, Promise);

impl Draft<'_> {
    fn event(&mut self, what: What, base: Moment) -> usize {
        self.grid.events.push(Event { what, base });
        self.grid.events.len() - 1
    }

    fn link(&mut self, open: Open, to: usize) {
        let (from, minimum, promise) = open;
        self.grid.links.push(Link { from, to, minimum, promise });
    }

    fn link_from(&mut self, open: Option<Open>, to: usize) {
        if let Some(open) = open {
            self.link(open, to);
        }
    }

    fn observation(&self, step: usize) -> Minutes {
        self.regimen.steps[step].observation(self.visit.is_first())
    }

    /// Minutes from a step's start until its flush is over.
    fn given(&self, step: usize) -> Minutes {
        self.regimen.steps[step].infusion(self.visit.is_first()) + self.regimen.steps[step].flush
    }

    /// Pre-medication, and the drugs given before the first hair-loss one. Everything is counted back
    /// from the first hair-loss drug, so that these are the latest times that keep it on plan.
    fn before_the_cap(&mut self, first: usize) -> Option<Open> {
        let all: Minutes = (0..first).map(|step| self.given(step) + self.observation(step)).sum();
        let mut at = self.stages.hair_loss_drug_start - all;
        let lead = self.regimen.premed_lead;
        // A lead of no minutes is no pre-medication: a column for it would wait for ever.
        let mut open =
            (lead.get() > 0).then(|| (self.event(What::PremedGiven, at - lead), lead, Promise::PremedLead));
        for step in 0..first {
            // A column is needed for the first drug, and wherever an observation must have ended.
            let running = match open {
                Some(open) if step > 0 && open.2 != Promise::Observation => open,
                _ => {
                    let started = self.event(What::DrugStarted(step), at);
                    self.link_from(open, started);
                    (started, Minutes::new(0), Promise::Drugs)
                }
            };
            open = Some(self.observed(step, at, running));
            at = at + self.given(step) + self.observation(step);
        }
        open
    }

    /// A column for the end of a drug that is observed; otherwise the drug only adds its minutes.
    fn observed(&mut self, step: usize, start: Moment, open: Open) -> Open {
        let given = self.given(step);
        let open = (open.0, open.1 + given, open.2);
        if self.observation(step).get() == 0 {
            return open;
        }
        let ended = self.event(What::ObservationStarts(step), start + given);
        self.link(open, ended);
        (ended, self.observation(step), Promise::Observation)
    }

    fn cooling_and_drug(&mut self, first: usize, earlier: Option<Open>) -> usize {
        let start_time = self.stages.hair_loss_drug_start;
        let connected = start_time - self.stages.pre_cooling;
        let connect = self.event(What::Connect, connected);
        let first_check = self.unit.minutes.first_check;
        let check = self.event(What::FirstCheck, connected + first_check);
        self.link((connect, first_check, Promise::FirstCheck), check);
        let start = self.event(What::StartDrug(first), start_time);
        self.link_from(earlier, start);
        self.link((connect, self.stages.pre_cooling, Promise::PreCooling), start);
        start
    }

    /// The drugs from the first hair-loss one on, up to the end that the clock counts from; returns
    /// that event. Drugs given after it that are observed get columns of their own.
    fn drugs(&mut self, first: usize, counted: usize, start: usize) -> usize {
        let mut open = (start, Minutes::new(0), Promise::Drugs);
        for step in first..counted {
            let begins = self.planned.steps[step].start;
            open = self.started_after_observation(step, begins, open);
            open = self.observed(step, begins, open);
        }
        open = self.started_after_observation(counted, self.planned.steps[counted].start, open);
        let end = self.stages.hair_loss_drug_end;
        let ended = self.event(What::DrugEnded(counted), end);
        self.link((open.0, open.1 + end.since(self.planned.steps[counted].start), open.2), ended);
        ended
    }

    fn started_after_observation(&mut self, step: usize, begins: Moment, open: Open) -> Open {
        if open.2 != Promise::Observation {
            return open;
        }
        let started = self.event(What::DrugStarted(step), begins);
        self.link(open, started);
        (started, Minutes::new(0), Promise::Drugs)
    }

    fn after_the_drug(&mut self, counted: usize, ended: usize) {
        let stop = self.event(What::StopCooling, self.stages.cooling_off);
        self.link((ended, self.stages.post_cooling, Promise::PostCooling), stop);
        let cap_off = self.event(What::CapOff, self.stages.cap_off);
        self.link((stop, self.unit.minutes.warm_up, Promise::WarmUp), cap_off);
        let last_drug = self.later_drugs(counted, ended);
        let leave = self.event(What::MayLeave, self.planned.leave);
        self.link((cap_off, self.unit.minutes.seated, Promise::Seated), leave);
        self.link(last_drug, leave);
    }

    /// Drugs given after the clock has started, where observation follows one of them.
    fn later_drugs(&mut self, counted: usize, ended: usize) -> Open {
        let steps = self.planned.steps.len();
        let rest = self.planned.steps[counted].free.since(self.stages.hair_loss_drug_end);
        let observed = self.observation(counted).get() > 0;
        let mut open = (ended, rest, if observed { Promise::Observation } else { Promise::Drugs });
        for step in counted + 1..steps {
            let begins = self.planned.steps[step].start;
            open = self.started_after_observation(step, begins, open);
            open = self.observed(step, begins, open);
        }
        open
    }
}
