//! What the unit's own two files state: rooms, machines, caps, minutes, rules, and regimens.
//!
//! Values only; reading and checking them is `read`'s and `validate`'s work.

use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use crate::clock::{Minutes, Moment, Span};

/// A bay's place in [`Unit::bays`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct BayIndex(pub usize);

/// A machine's place in [`Unit::machines`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct MachineIndex(pub usize);

/// A regimen's place in [`DayList::regimens`](crate::validate::DayList::regimens).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RegimenIndex(pub usize);

/// A cap's size, by its place in [`Unit::caps`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct CapSize(pub usize);

/// The day unit, from `unit.toml`.
#[derive(Clone, Debug)]
pub struct Unit {
    /// Its name, as printed on staff sheets and, being discreet, on cards.
    pub name: String,
    /// Its time zone.
    pub time_zone: Tz,
    /// When it opens.
    pub opens: Moment,
    /// When it closes; may be past midnight.
    pub closes: Moment,
    /// The telephone number by day.
    pub phone_day: String,
    /// The telephone number by night.
    pub phone_night: String,
    /// The number of the engineer who looks after the machines.
    pub engineer_phone: String,
    /// The temperature from which a patient must ring, as the unit writes it.
    pub fever_from: String,
    /// The code of the unit's wording file.
    pub language: String,
    /// Elapsed hours from the end of cooling within which the conditioner is rinsed out.
    /// Default 24 (common practice, no source).
    pub rinse_within_hours: u32,
    /// The shifts, in the order of the file.
    pub shifts: Vec<Shift>,
    /// The bays, in the order of the file.
    pub bays: Vec<Bay>,
    /// The cooling machines, in the order of the file.
    pub machines: Vec<Machine>,
    /// The caps in stock, in the order of the file.
    pub caps: Vec<CapStock>,
    /// The unit's minutes.
    pub minutes: UnitMinutes,
    /// The unit's rules.
    pub rules: Rules,
    /// How long a nurse's hands are needed.
    pub hands_on: HandsOn,
    /// The printer that the pack is printed on.
    pub printer: Printer,
}

/// What was measured on a printed printer check, in tenths of a mm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Printer {
    /// The level bar, which is 100 mm long on a true printer.
    pub bar_across: u16,
    /// The upright bar, which is 100 mm long on a true printer.
    pub bar_up: u16,
    /// From the left edge of the paper to the inner frame, 10 mm on a true printer.
    pub frame_left: u16,
    /// From the lower edge of the paper to the inner frame, 10 mm on a true printer.
    pub frame_bottom: u16,
}

impl Default for Printer {
    /// A true printer.
    fn default() -> Self {
        Self { bar_across: 1000, bar_up: 1000, frame_left: 100, frame_bottom: 100 }
    }
}

impl Unit {
    /// The bay at `index`.
    #[must_use]
    pub fn bay(&self, index: BayIndex) -> &Bay {
        &self.bays[index.0]
    }

    /// The machine at `index`.
    #[must_use]
    pub fn machine(&self, index: MachineIndex) -> &Machine {
        &self.machines[index.0]
    }

    /// The stock of caps of a size.
    #[must_use]
    pub fn cap(&self, size: CapSize) -> &CapStock {
        &self.caps[size.0]
    }
}

/// A shift of the unit's nurses.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shift {
    /// Its name.
    pub name: String,
    /// When it starts.
    pub from: Moment,
    /// When it ends.
    pub to: Moment,
}

/// A bay of chairs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bay {
    /// Its name.
    pub name: String,
    /// How many nurses work in it.
    pub nurses: u32,
    /// The chairs' names.
    pub chairs: Vec<String>,
    /// The groups of chairs that one machine's hoses reach together; a chair in no group is
    /// reached alone. A bay whose file names no groups has one group of all its chairs.
    pub reach: Vec<Vec<String>>,
}

impl Bay {
    /// Whether the hoses of one machine reach both chairs at once.
    #[must_use]
    pub fn reach_together(&self, one: &str, other: &str) -> bool {
        one == other
            || self.reach.iter().any(|group| {
                group.iter().any(|chair| chair == one) && group.iter().any(|chair| chair == other)
            })
    }
}

/// What else stops when one outlet of a machine is stopped for a break.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pause {
    /// The outlet alone.
    Outlet,
    /// The whole machine.
    Machine,
}

/// A cooling machine.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Machine {
    /// Its name.
    pub name: String,
    /// The bay in which it stands in the morning.
    pub bay: BayIndex,
    /// How many caps it cools at once: 1 or 2. Outlets are numbered from 1.
    pub outlets: u8,
    /// Whether it may be moved to another bay.
    pub movable: bool,
    /// What stops with one outlet.
    pub pause: Pause,
    /// When it, or one outlet of it, cannot be used.
    pub out_of_service: Vec<Outage>,
}

impl Machine {
    /// The outages that hit outlet `number`.
    pub fn outages_of(&self, number: u8) -> impl Iterator<Item = &Outage> {
        self.out_of_service.iter().filter(move |outage| outage.outlet.is_none_or(|hit| hit == number))
    }

    /// The stretches in which outlet `number` can cool nobody: when it is out of service, and after an outage
    /// of the whole machine, which is switched off then, until it is cold again `start` minutes later (our
    /// choice, no source). The other outlet's outage leaves the machine on.
    pub fn unusable(&self, number: u8, start: Minutes) -> impl Iterator<Item = Span> {
        self.outages_of(number).map(move |outage| {
            let cold = if outage.outlet.is_none() { outage.span.until + start } else { outage.span.until };
            Span::new(outage.span.from, cold)
        })
    }
}

/// A stretch of the day in which a machine is out of service.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outage {
    /// When.
    pub span: Span,
    /// The outlet that is out, from 1; `None` is the whole machine.
    pub outlet: Option<u8>,
    /// Why, as the unit wrote it; may be empty.
    pub reason: String,
}

/// Caps of one size that the unit owns.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CapStock {
    /// The size's name.
    pub size: String,
    /// How many there are.
    pub count: u32,
}

/// The unit's minutes, each 0 to [`Minutes::MOST`]. Defaults are common practice, no source, unless
/// one is named.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnitMinutes {
    /// From arrival until the patient is settled in the chair.
    pub settle: Minutes,
    /// Hair preparation and cap fitting on a first visit.
    pub prepare_first: Minutes,
    /// Hair preparation and cap fitting on a later visit.
    pub prepare_return: Minutes,
    /// Cooling before the first hair-loss drug. Default 30 (Rugo et al., JAMA 2017;317:606-614).
    pub pre_cooling: Minutes,
    /// The same for thick hair. Default 45 (a cancer centre's patient page gives up to 45).
    pub pre_cooling_thick: Minutes,
    /// Cooling after the last counted drug, where a regimen states no time of its own. Default 90.
    pub post_cooling: Minutes,
    /// From the end of cooling until the cap may come off. Default 10.
    pub warm_up: Minutes,
    /// Seated after the cap is off. Default 10.
    pub seated: Minutes,
    /// The longest break from cooling. Default 10.
    pub break_longest: Minutes,
    /// When in a break the nurse reminds the patient. Default 8.
    pub break_reminder: Minutes,
    /// The first check after the cap is connected. Default 15.
    pub first_check: Minutes,
    /// Making a chair ready for the next patient.
    pub chair_turnaround: Minutes,
    /// Cleaning an outlet after a patient.
    pub outlet_clean: Minutes,
    /// Cleaning a cap after a patient.
    pub cap_clean: Minutes,
    /// From switching a machine on until it is cold, in the morning and after an outage of the whole of it.
    pub machine_start: Minutes,
    /// Moving a machine to another bay.
    pub machine_move: Minutes,
}

/// When cooling starts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CoolingStart {
    /// So that pre-cooling ends when the first hair-loss drug can start.
    InTime,
    /// As soon as the cap is fitted.
    AtOnce,
}

/// Which drug's end starts the post-cooling clock. Published sources disagree; the unit chooses.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PostCoolingFrom {
    /// The last hair-loss drug.
    LastHairLossDrug,
    /// The last cytotoxic drug.
    LastCytotoxicDrug,
}

/// The unit's rules.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rules {
    /// When cooling starts. Default in time.
    pub cooling_start: CoolingStart,
    /// What the post-cooling clock counts from. Default the last hair-loss drug.
    pub post_cooling_from: PostCoolingFrom,
    /// Whether the line flush counts as part of the drug. Default yes.
    pub flush_counts: bool,
    /// The wished slack between an outlet's clean-down and its next patient. Default 10.
    pub hand_over_slack: Minutes,
    /// How much earlier than listed a proposal may ask a patient to come. Default 0.
    pub retime_earlier: Minutes,
    /// How much later than listed a proposal may ask a patient to come. Default 0.
    pub retime_later: Minutes,
}

/// How many minutes a nurse's hands are needed for each task.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HandsOn {
    /// Connecting the cap, before cooling starts.
    pub connect: Minutes,
    /// Starting a drug; a push takes a nurse for the whole of it.
    pub drug_start: Minutes,
    /// Disconnecting, from the end of cooling.
    pub disconnect: Minutes,
    /// Taking the cap off.
    pub cap_off: Minutes,
}

/// A regimen, from `regimens.toml`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Regimen {
    /// The code used in the day list.
    pub code: String,
    /// Its name, for staff sheets.
    pub name: String,
    /// From pre-medication until the first drug may start.
    pub premed_lead: Minutes,
    /// Post-cooling of this regimen: its own, or the unit's where it states none.
    pub post_cooling: Minutes,
    /// Why a regimen of several hair-loss drugs has less than the unit's post-cooling.
    pub post_cooling_exception: Option<String>,
    /// Where the minutes come from, as the unit wrote it.
    pub source: Option<String>,
    /// The drugs in order of giving; at least one.
    pub steps: Vec<Step>,
}

impl Regimen {
    /// The place of the first hair-loss step, if there is one.
    #[must_use]
    pub fn first_hair_loss(&self) -> Option<usize> {
        self.steps.iter().position(|step| step.hair_loss)
    }
}

/// One drug of a regimen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Step {
    /// The drug's generic name.
    pub drug: String,
    /// Minutes of infusion.
    pub minutes: Minutes,
    /// Minutes of infusion on cycle 1.
    pub first_minutes: Minutes,
    /// Minutes of line flush afterwards.
    pub flush: Minutes,
    /// Minutes of observation after the flush.
    pub observe: Minutes,
    /// Minutes of observation on cycle 1.
    pub first_observe: Minutes,
    /// Whether the drug makes hair fall out.
    pub hair_loss: bool,
    /// Whether the drug is cytotoxic: two nurses check it at its start.
    pub cytotoxic: bool,
    /// Whether a nurse gives the whole of it by hand.
    pub push: bool,
}

impl Step {
    /// Minutes of infusion on a visit.
    #[must_use]
    pub const fn infusion(&self, first_visit: bool) -> Minutes {
        if first_visit { self.first_minutes } else { self.minutes }
    }

    /// Minutes of observation on a visit.
    #[must_use]
    pub const fn observation(&self, first_visit: bool) -> Minutes {
        if first_visit { self.first_observe } else { self.observe }
    }
}
