//! `regimens.toml`'s tree to [`Regimen`]s.

use super::section::{Check, Keys, Section};
use super::{AtHand, limits};
use crate::clock::Minutes;
use crate::problem::{Found, Problem};
use crate::read::Table;
use crate::unit_rules::{Regimen, Step};

/// The sections of `regimens.toml` and their keys.
pub(super) const KEYS: Keys = &[
    ("", &["regimens"]),
    (
        "regimens",
        &["code", "name", "premed_lead", "post_cooling", "post_cooling_exception", "source", "steps"],
    ),
    (
        "regimens.steps",
        &[
            "drug",
            "minutes",
            "first_minutes",
            "flush",
            "observe",
            "first_observe",
            "hair_loss",
            "cytotoxic",
            "push",
        ],
    ),
];

/// What the day list may name, even where the file has faults elsewhere.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct KnownRegimen {
    /// The code.
    pub(super) code: String,
    /// The name, which a booking system may write instead.
    pub(super) name: String,
    /// Whether one of its drugs makes hair fall out, if its drugs are right.
    pub(super) hair_loss: Option<bool>,
}

/// What could be made of `regimens.toml`.
pub(super) struct RegimensFile {
    /// The regimens, or all that is wrong with the file.
    pub(super) regimens: Result<Vec<Regimen>, Vec<Problem>>,
    /// The regimens in the order of the file, if every one has a code.
    pub(super) known: Option<Vec<KnownRegimen>>,
}

/// Checks a file of regimens. `post_cooling` is the unit's, if the unit's file states it rightly.
pub(super) fn regimens(
    file: &str,
    table: &Table,
    post_cooling: Option<Minutes>,
    at_hand: &AtHand,
) -> RegimensFile {
    let mut check = Check::new(file, KEYS, at_hand);
    let top = check.top(table);
    let sections = check.tables(top, "regimens", limits::REGIMENS);
    if sections.is_empty() && check.count() == 0 {
        let help = "add a heading `[[regimens]]` for each regimen, with the keys `code`, `name`, `premed_lead`, `steps`";
        check.fault(top, "regimens", "there are no regimens", None, help);
    }
    let (mut regimens, mut known) = (Vec::new(), Vec::new());
    let mut has_all_codes = !sections.is_empty();
    for section in sections {
        let code = code(&mut check, section, &known);
        has_all_codes &= !code.is_empty();
        let before = check.count();
        let regimen = regimen(&mut check, section, code, post_cooling);
        let steps_are_right = check.count() == before;
        if !regimen.code.is_empty() {
            let hair_loss = steps_are_right.then(|| regimen.first_hair_loss().is_some());
            known.push(KnownRegimen { code: regimen.code.clone(), name: regimen.name.clone(), hair_loss });
        }
        regimens.push(regimen);
    }
    RegimensFile { regimens: check.finish(regimens), known: has_all_codes.then_some(known) }
}

/// A regimen's code, which no other has.
fn code<'a>(check: &mut Check<'a>, section: Section<'a>, known: &[KnownRegimen]) -> String {
    let code = check.text(section, "code", "PAC-W");
    if known.iter().any(|other| other.code.to_lowercase() == code.to_lowercase()) {
        let help = "give every regimen a code of its own";
        check.fault(section, "code", "two regimens have the same code", Some(Found::Value(code)), help);
        return String::new();
    }
    code
}

fn regimen<'a>(
    check: &mut Check<'a>,
    section: Section<'a>,
    code: String,
    unit_post_cooling: Option<Minutes>,
) -> Regimen {
    let name = check.text(section, "name", "Paclitaxel, weekly");
    let premed_lead = check.minutes(section, "premed_lead", None);
    let own_post_cooling = section.get("post_cooling").map(|_| check.minutes(section, "post_cooling", None));
    let regimen = Regimen {
        code,
        name,
        premed_lead,
        post_cooling: own_post_cooling.or(unit_post_cooling).unwrap_or_default(),
        post_cooling_exception: check.optional_text(section, "post_cooling_exception"),
        source: check.optional_text(section, "source"),
        steps: steps(check, section),
    };
    if let (Some(own), Some(units)) = (own_post_cooling, unit_post_cooling) {
        short_post_cooling_has_a_reason(check, section, &regimen, own, units);
    }
    drugs_take_a_day_at_most(check, section, &regimen);
    regimen
}

/// All that is given in a visit, a first one or a later, is over within a day.
fn drugs_take_a_day_at_most<'a>(check: &mut Check<'a>, section: Section<'a>, regimen: &Regimen) {
    let given = |first: bool| -> Minutes {
        regimen.steps.iter().map(|step| step.infusion(first) + step.flush + step.observation(first)).sum()
    };
    let longest = regimen.premed_lead + given(true).max(given(false));
    if longest.get() > Minutes::MOST {
        let what = "drugs of the regimen take longer than a day, with the time before and between them";
        let found = Some(Found::Described(format!("{} minutes in all", longest.get())));
        let help = "write the drugs of one visit, each with its minutes: at most 1440 in all";
        check.fault(section, "steps", what, found, help);
    }
}

/// Trials support shorter post-cooling for some single drugs only; with several hair-loss drugs the
/// regimen states why it has less than the unit's.
fn short_post_cooling_has_a_reason<'a>(
    check: &mut Check<'a>,
    section: Section<'a>,
    regimen: &Regimen,
    own: Minutes,
    units: Minutes,
) {
    let hair_loss_drugs = regimen.steps.iter().filter(|step| step.hair_loss).count();
    if hair_loss_drugs >= 2 && own < units && regimen.post_cooling_exception.is_none() {
        let what = format!(
            "post-cooling of {hair_loss_drugs} hair-loss drugs is shorter than the unit's {} minutes",
            units.get()
        );
        let found = Some(Found::Value(own.get().to_string()));
        let help = format!(
            "write at least {}, or state the reason, for example `post_cooling_exception = \"local protocol, agreed by …\"`",
            units.get()
        );
        check.fault(section, "post_cooling", what, found, help);
    }
}

fn steps<'a>(check: &mut Check<'a>, section: Section<'a>) -> Vec<Step> {
    let before = check.count();
    let sections = check.tables(section, "regimens.steps", limits::STEPS);
    if sections.is_empty() && check.count() == before {
        let help = "write its drugs in order of giving, for example `steps = [{ drug = \"Paclitaxel\", minutes = 60, hair_loss = true }]`";
        check.fault(section, "steps", "regimen has no drugs", None, help);
    }
    sections.into_iter().map(|section| step(check, section)).collect()
}

fn step<'a>(check: &mut Check<'a>, section: Section<'a>) -> Step {
    let drug = check.text(section, "drug", "Paclitaxel");
    let minutes = check.minutes(section, "minutes", None);
    let observe = check.minutes(section, "observe", Some(0));
    let hair_loss = check.truth(section, "hair_loss", None);
    let cytotoxic = check.truth(section, "cytotoxic", Some(hair_loss));
    if hair_loss && !cytotoxic && section.get("cytotoxic").is_some() {
        let help = "a drug that makes hair fall out is cytotoxic: write `cytotoxic = true`, or take one of the two out";
        let found = Some(Found::Value("false".to_owned()));
        check.fault(section, "cytotoxic", "hair-loss drug is said not to be cytotoxic", found, help);
    }
    Step {
        drug,
        minutes,
        first_minutes: check.minutes(section, "first_minutes", Some(minutes.get())),
        flush: check.minutes(section, "flush", Some(0)),
        observe,
        first_observe: check.minutes(section, "first_observe", Some(observe.get())),
        hair_loss,
        cytotoxic,
        push: check.truth(section, "push", Some(false)),
    }
}
