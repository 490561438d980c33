//! What a run says on the terminal: its progress, and what it did.

use std::io::IsTerminal;
use std::path::Path;

use indicatif::{ProgressBar, ProgressStyle};

use super::Made;
use super::outside::count;
use crate::propose::Advice;
use crate::verify::VerifiedDay;
use crate::write::Written;

/// The stages that the progress display counts.
const STAGES: u64 = 4;

/// A line that tells the present stage, where stderr is a terminal.
pub(super) struct Progress(ProgressBar);

impl Progress {
    /// A display, hidden where nobody would see it or nothing is to be said.
    pub fn new(quiet: bool) -> Self {
        if quiet || !std::io::stderr().is_terminal() {
            return Self(ProgressBar::hidden());
        }
        let bar = ProgressBar::new(STAGES);
        if let Ok(style) = ProgressStyle::with_template("[{pos}/{len}] {msg} {elapsed}") {
            bar.set_style(style);
        }
        Self(bar)
    }

    /// The next stage begins.
    pub fn stage(&self, name: &'static str) {
        self.0.inc(1);
        self.0.set_message(name);
        self.0.tick();
    }

    /// So many sheets of so many are set.
    pub fn sheets(&self, done: usize, all: usize) {
        self.0.set_message(format!("Setting the sheets: {done} of {all}"));
    }

    /// All stages are done.
    pub fn finish(&self) {
        self.0.finish_and_clear();
    }
}

/// Says how many visits, sheets, pages and cautions there are, and where the files are.
pub(super) fn print_summary(made: &Made, written: Option<&Written>) {
    let (day, pack) = (&made.paperwork.counts, &made.pack);
    println!("{}: {}, {} cooled", made.paperwork.date, count(day.visits, "visit"), day.cooled);
    if day.held_back > 0 {
        println!("{} held back: named on the front sheet, without paper", count(day.held_back, "row"));
    }
    println!("{} for the front sheet", count(day.cautions, "caution"));
    println!("{} of print on {} of paper", count(pack.sides, "side"), count(pack.sheets, "sheet"));
    println!("{} a patient on the bay sheets", sides_a_patient(pack.bay_sides, day.visits));
    match written {
        Some(written) => {
            println!("Print {}", written.folder.join("pack.pdf").display());
            println!("{} in {}", count(written.files, "file"), written.folder.display());
        }
        None => println!("The list is right. No pack was written."),
    }
}

/// Says what is proposed, by lines and chairs, never by names.
pub(super) fn print_advice(day: &VerifiedDay, advice: &Advice) {
    let rows = &day.list().visits;
    let limits = &day.list().unit.rules;
    let within = format!("{} earlier and {} later", limits.retime_earlier, limits.retime_later);
    match advice {
        Advice::NothingNeeded => println!("Nothing to propose: every cooled patient has an outlet."),
        Advice::NotAllowed => println!("Nothing to propose: the unit's file allows no other arrival times."),
        Advice::NothingHelps { proven: true } => {
            println!(
                "Nothing to propose: no change up to {within} gives anyone more an outlet without harm."
            );
        }
        Advice::NothingHelps { proven: false } => {
            println!("Nothing to propose: no change up to {within} was found to help; one is not ruled out.");
        }
        Advice::Retime(proposal) => {
            for change in &proposal.changes {
                let row = &rows[change.visit];
                println!("line {}, chair {}: {} instead of {}", row.line, row.chair, change.to, change.from);
            }
            let (before, after) = (proposal.without_before, proposal.still_without.len());
            println!(
                "{after} instead of {} without an outlet, by {} in all",
                count(before, "patient"),
                proposal.total()
            );
            match proposal.proven {
                true => println!("It is the least change up to {within}."),
                false => println!("It is the best found up to {within}; a better one is not ruled out."),
            }
        }
    }
}

/// Says where the changed list is, and that nothing is done by it.
pub(super) fn print_list_written(path: Option<&Path>) {
    if let Some(path) = path {
        println!("The list with these times is {}. Ring first, then make the pack of it.", path.display());
    }
    println!("Nothing is applied.");
}

/// `1.4 sides`, rounded to a tenth.
fn sides_a_patient(sides: usize, patients: usize) -> String {
    let tenths = (10 * sides + patients / 2).checked_div(patients).unwrap_or(0);
    format!("{}.{} sides", tenths / 10, tenths % 10)
}
