//! One row of the day list, once it is known to be right: who comes, where to, for what.

use chrono::{NaiveDate, NaiveDateTime};

use crate::clock::Moment;
use crate::unit_rules::{BayIndex, CapSize, RegimenIndex};

/// A patient's hair as the day list records it; thick hair needs longer pre-cooling.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Hair {
    /// Fine hair.
    Fine,
    /// Medium hair.
    Medium,
    /// Thick hair.
    Thick,
}

/// Whether the go-ahead for today's treatment (bloods, prescriber) is there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum GoAhead {
    /// Given.
    Yes,
    /// Still waited for.
    Waiting,
    /// The list does not say.
    NotRecorded,
}

/// One patient's visit, as the day list states it. Every text is NFC, without control characters,
/// and can be printed in full with the fonts at hand.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Visit {
    /// The physical line of the day list on which the record starts, from 1 (the header).
    pub line: u32,
    /// When the patient is expected.
    pub arrive: Moment,
    /// The bay.
    pub bay: BayIndex,
    /// The chair's name; one of the bay's chairs.
    pub chair: String,
    /// The hospital number, unique on the day.
    pub hospital_no: String,
    /// The NHS number as ten digits, if the list has one.
    pub nhs_no: Option<String>,
    /// The family name as the list writes it.
    pub family_name: String,
    /// The given name as the list writes it.
    pub given_name: String,
    /// The date of birth.
    pub born: NaiveDate,
    /// The regimen.
    pub regimen: RegimenIndex,
    /// The cycle, from 1; 1 is a first visit.
    pub cycle: u32,
    /// Whether the scalp is to be cooled.
    pub cooled: bool,
    /// The hair, if recorded.
    pub hair: Option<Hair>,
    /// The cap's size, if recorded; one of the unit's.
    pub cap: Option<CapSize>,
    /// Whether the patient brings a cap of their own.
    pub own_cap: bool,
    /// When the drugs are expected from the pharmacy, if that is known.
    pub drugs_ready: Option<Moment>,
    /// The latest time of leaving (transport, a carer's limit), if there is one.
    pub leave_by: Option<Moment>,
    /// The language of the care card: the code of a wording file; `None` is the unit's.
    pub language: Option<String>,
    /// Whether the care card is printed large.
    pub large_print: bool,
    /// A text for staff.
    pub alert: Option<String>,
    /// The next visit's date and, if known, its time.
    pub next_visit: Option<NextVisit>,
    /// The go-ahead.
    pub go_ahead: GoAhead,
    /// Whether the patient is isolated.
    pub isolate: bool,
}

impl Visit {
    /// Whether this is the patient's first visit of the course, which gets longer preparation and
    /// first-dose minutes.
    #[must_use]
    pub const fn is_first(&self) -> bool {
        self.cycle == 1
    }

    /// `FAMILYNAME, Given`, as staff documents print a name
    /// (NHS Common User Interface, NID-0001 to 0013).
    #[must_use]
    pub fn staff_name(&self) -> String {
        format!("{}, {}", self.family_name.to_uppercase(), self.given_name)
    }
}

/// The next visit as the list states it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NextVisit {
    /// A date without a time.
    Day(NaiveDate),
    /// A date and a time.
    At(NaiveDateTime),
}
