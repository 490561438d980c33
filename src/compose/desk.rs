//! What every part of `compose` has at hand: the verified day, the staff's words, and the few
//! readings of them that several sheets share.

use serde_json::{Value, json};

use super::WhenShort;
use super::paperwork::{Document, Head, Kind, Paper, PatientLine};
use super::words::Words;
use crate::allocate::{Allocation, Cooling, Move, OutletHold};
use crate::clock::Moment;
use crate::explain::Shortfall;
use crate::fall_backs::{FallBack, fall_backs};
use crate::patient::Visit;
use crate::plan::{DayPlan, VisitPlan, counted_step};
use crate::problem::Problem;
use crate::propose::Advice;
use crate::survey::Caution;
use crate::unit_rules::{BayIndex, Regimen, Unit};
use crate::validate::DayList;
use crate::verify::VerifiedDay;

/// The verified day and the staff's words.
pub(super) struct Desk<'a> {
    pub list: &'a DayList,
    pub unit: &'a Unit,
    pub plan: &'a DayPlan,
    pub allocation: &'a Allocation,
    pub cautions: &'a [Caution],
    pub fall_backs: Vec<FallBack>,
    pub shortfalls: &'a [Shortfall],
    pub advice: &'a Advice,
    pub words: &'a Words,
    pub paper: Paper,
    /// The languages of cards whose words are not checked, by their names.
    pub unchecked: Vec<String>,
}

impl<'a> Desk<'a> {
    pub fn new(day: &'a VerifiedDay, short: &'a WhenShort, words: &'a Words, paper: Paper) -> Self {
        Self {
            list: day.list(),
            unit: &day.list().unit,
            plan: day.plan(),
            allocation: day.allocation(),
            cautions: day.cautions(),
            fall_backs: fall_backs(day),
            shortfalls: &short.shortfalls,
            advice: &short.advice,
            words,
            paper,
            unchecked: Vec::new(),
        }
    }

    pub fn visit(&self, visit: usize) -> &'a Visit {
        &self.list.visits[visit]
    }

    pub fn planned(&self, visit: usize) -> &'a VisitPlan {
        &self.plan.visits[visit]
    }

    pub fn regimen(&self, visit: usize) -> &'a Regimen {
        self.list.regimen(self.visit(visit).regimen)
    }

    pub fn bay_name(&self, bay: BayIndex) -> &'a str {
        &self.unit.bay(bay).name
    }

    pub fn outlet(&self, visit: usize) -> Option<OutletHold> {
        match self.allocation.visits[visit] {
            Cooling::Outlet(hold) => Some(hold),
            Cooling::NotWanted | Cooling::Without(_) => None,
        }
    }

    /// Whether the post-cooling clock of a visit counts from the end of a flush.
    pub fn flush_counts(&self, visit: usize) -> bool {
        let regimen = self.regimen(visit);
        let counted = regimen.steps.get(counted_step(regimen, self.unit));
        self.unit.rules.flush_counts && counted.is_some_and(|step| step.flush.get() > 0)
    }

    /// Whether a caution of one of the kinds is about the visit.
    pub fn is_warned(&self, visit: usize, kinds: &[&str]) -> bool {
        self.cautions
            .iter()
            .any(|caution| kinds.contains(&caution.kind()) && caution.visits().contains(&visit))
    }

    /// Whether another patient of the day has a name like this one's.
    pub fn is_alike(&self, visit: usize) -> bool {
        self.is_warned(visit, &["names_alike"])
    }

    /// `A1 (08:15)`: a chair may have several patients in a day.
    pub fn seat(&self, visit: usize) -> Result<String, Problem> {
        let row = self.visit(visit);
        self.say("front.seat", &json!({ "chair": row.chair, "arrive": row.arrive }))
    }

    /// `M1 · 2`.
    pub fn outlet_name(&self, hold: OutletHold) -> String {
        format!("{} · {}", self.unit.machine(hold.machine).name, hold.number)
    }

    /// Whether a machine cools somebody before it is moved.
    pub fn used_before(&self, change: &Move) -> bool {
        self.allocation.holds_of(change.machine).any(|(_, hold)| hold.span.until <= change.within.from)
    }

    /// By when a machine stands in its new bay and is switched on there: early enough to be cold at its first
    /// use, or as early as its last patient leaves time for. Its first move may be made before opening.
    pub fn in_place_by(&self, change: &Move) -> Moment {
        let cold = change.within.until - self.unit.minutes.machine_start;
        if self.used_before(change) {
            let moved = change.within.from + self.unit.minutes.machine_move;
            cold.max(moved).min(change.within.until)
        } else {
            cold
        }
    }

    /// When a machine is switched on for a use: early enough to be cold, or once it is in its bay.
    pub fn switched_on(&self, first_use: OutletHold) -> Moment {
        let moved =
            self.allocation.moves.iter().find(|change| {
                (change.machine, change.within.until) == (first_use.machine, first_use.span.from)
            });
        moved.map_or_else(
            || first_use.span.from - self.unit.minutes.machine_start,
            |change| self.in_place_by(change),
        )
    }

    /// The outlet's name, or the words for having none.
    pub fn outlet_or_none(&self, visit: usize) -> Result<String, Problem> {
        match self.outlet(visit) {
            Some(hold) => Ok(self.outlet_name(hold)),
            None => self.text("strip.no_outlet"),
        }
    }

    /// A chair's place among its bay's chairs.
    pub fn chair_place(&self, visit: usize) -> usize {
        let row = self.visit(visit);
        let chairs = &self.unit.bay(row.bay).chairs;
        chairs.iter().position(|chair| *chair == row.chair).unwrap_or(chairs.len())
    }

    /// Two identifiers and the chair, as lists print a patient.
    pub fn patient_line(&self, visit: usize) -> Result<PatientLine, Problem> {
        let row = self.visit(visit);
        let born = self.words.date("staff_date", row.born)?;
        let identity =
            self.say("common.identity", &json!({ "born": born, "hospital_no": row.hospital_no }))?;
        Ok(PatientLine { name: row.staff_name(), identity, chair: row.chair.clone() })
    }

    /// A staff sheet's text.
    pub fn say(&self, key: &str, data: &Value) -> Result<String, Problem> {
        self.words.say(key, data)
    }

    /// A staff sheet's text without placeholders of its own.
    pub fn text(&self, key: &str) -> Result<String, Problem> {
        self.words.say(key, &json!({}))
    }

    /// What every page of a staff sheet carries.
    pub fn head(&self, title: String, sheet: &str, page_code: String) -> Result<Head, Problem> {
        Ok(Head {
            title,
            unit: self.unit.name.clone(),
            day: self.words.date("staff_day", self.list.day)?,
            page_code,
            language: self.words.language()?,
            direction: self.words.direction()?,
            paper: self.paper,
            words: self.words.labels(sheet)?,
        })
    }
}

/// A document of a sheet's data, titled in the unit's day.
pub(super) fn document(
    kind: Kind,
    file: String,
    head: &Head,
    data: &impl serde::Serialize,
) -> Result<Document, Problem> {
    let data = serde_json::to_value(data).map_err(|error| Problem {
        what: format!("a sheet's data cannot be written: {error}"),
        place: crate::problem::Place::default(),
        found: None,
        help: "tell whoever looks after the program".to_owned(),
    })?;
    Ok(Document {
        kind,
        file,
        title: format!("{} · {} · {}", head.title, head.unit, head.day),
        language: head.language.clone(),
        page_code: head.page_code.clone(),
        data,
    })
}
