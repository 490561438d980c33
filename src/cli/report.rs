//! What a run says on the terminal: its progress, and what it did. Must not fail where nobody listens any more:
//! the pack is what counts.

use std::io::IsTerminal;
use std::path::{Path, PathBuf};

use indicatif::{ProgressBar, ProgressStyle};

use super::Made;
use super::arguments::Propose;
use super::outside::{REGIMENS, UNIT, count, shown};
use crate::propose::Advice;
use crate::verify::VerifiedDay;
use crate::write::Written;

/// Prints a line; one that nobody reads is no fault. What would move the cursor or hide is replaced here, whoever
/// brought it: a name of a file, a list, or a layout.
macro_rules! say {
    ($($text:tt)*) => {{
        use std::io::Write as _;
        let _ = writeln!(std::io::stdout(), "{}", $crate::characters::lines_on_a_terminal(format_args!($($text)*)));
    }};
}

/// Prints a line on what went wrong, as `say` does; one that nobody reads changes nothing.
macro_rules! tell {
    ($($text:tt)*) => {{
        use std::io::Write as _;
        let _ = writeln!(std::io::stderr(), "{}", $crate::characters::lines_on_a_terminal(format_args!($($text)*)));
    }};
}
pub(super) use {say, tell};

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
    say!("{}: {}, {} cooled", made.paperwork.date, count(day.visits, "visit"), day.cooled);
    if day.held_back > 0 {
        say!("{} held back: named on the front sheet, without paper", count(day.held_back, "row"));
    }
    for note in &made.notes {
        say!("note: {note}");
    }
    say!("{} for the front sheet", count(day.cautions, "caution"));
    if written.is_none() {
        print_cautions(&made.paperwork.record);
    }
    say!("{} of print on {} of paper", count(pack.sides, "side"), count(pack.sheets, "sheet"));
    say!("{} a patient on the bay sheets", sides_a_patient(pack.bay_sides, day.visits));
    match written {
        Some(written) => {
            say!("Print {}", shown(&written.folder.join("pack.pdf")));
            say!("{} in {}", count(written.files, "file"), shown(&written.folder));
        }
        None => say!("No row has a fault. No pack was written."),
    }
}

/// Says each caution of `plan.json` on a line, with the line of the list; none of them names a patient.
fn print_cautions(record: &serde_json::Value) {
    // That the words are unchecked is a note of the front sheet, and no caution about the day.
    let of_the_day = |caution: &&serde_json::Value| caution["kind"] != "wording_unchecked";
    for caution in record["cautions"].as_array().into_iter().flatten().filter(of_the_day) {
        let text = caution["text"].as_str().unwrap_or_default();
        match caution["line"].as_u64() {
            Some(line) => say!("  line {line}: {text}"),
            None => say!("  {text}"),
        }
    }
}

/// What is left to do where nothing is proposed.
const WHO_DECIDES: &str = "The front sheet of the pack says who has no outlet and why. The nurse in charge decides who is cooled, or on which other day.";

/// Says what is proposed, by lines and chairs, never by names.
pub(super) fn print_advice(day: &VerifiedDay, advice: &Advice) {
    let rows = &day.list().visits;
    let limits = &day.list().unit.rules;
    let within = format!("{} earlier and {} later", limits.retime_earlier, limits.retime_later);
    match advice {
        Advice::NothingNeeded => say!("Nothing to propose: every cooled patient has an outlet."),
        Advice::NotAllowed => {
            say!("Nothing to propose: the unit's file allows no other arrival times.");
            say!(
                "If the nurse in charge agrees, write how many minutes under [rules]: retime_earlier, retime_later."
            );
        }
        Advice::NothingHelps { proven: true } => {
            say!("Nothing to propose: no change up to {within} gives anyone more an outlet without harm.");
            say!("{WHO_DECIDES}");
        }
        Advice::NothingHelps { proven: false } => {
            say!("Nothing to propose: no change up to {within} was found to help; one is not ruled out.");
            say!("{WHO_DECIDES}");
        }
        Advice::Retime(proposal) => {
            for change in &proposal.changes {
                let row = &rows[change.visit];
                say!("line {}, chair {}: {} instead of {}", row.line, row.chair, change.to, change.from);
            }
            let (before, after) = (proposal.without_before, proposal.still_without.len());
            say!(
                "{after} instead of {} without an outlet, by {} in all",
                count(before, "patient"),
                proposal.total()
            );
            match proposal.proven {
                true => say!("It is the least change up to {within}."),
                false => say!("It is the best found up to {within}; a better one is not ruled out."),
            }
        }
    }
}

/// Says where the changed list is, that nothing is done by it, and what comes next.
pub(super) fn print_list_written(arguments: &Propose) {
    say!("Nothing is applied: the nurse in charge decides, and somebody rings each person first.");
    let Some(path) = &arguments.out_list else {
        say!("To have the list with these times, run this again with --out-list FILE.");
        return;
    };
    let day = &arguments.day;
    let folder = |path: &Path| path.parent().unwrap_or(Path::new("")).to_owned();
    let beside = |named: &Option<PathBuf>, option: &str, name: &str| match named {
        Some(named) => format!(" {option} {}", shown(named)),
        None if folder(path) != folder(&day.day_list) => {
            format!(" {option} {}", shown(&folder(&day.day_list).join(name)))
        }
        None => String::new(),
    };
    let (unit, regimens) = (beside(&day.unit, "--unit", UNIT), beside(&day.regimens, "--regimens", REGIMENS));
    let date = day.date.map_or(String::new(), |date| format!(" --date {date}"));
    say!("The list with these times is {}. When all have agreed:", shown(path));
    say!("  baypack make {}{unit}{regimens}{date}", shown(path));
}

/// `1.4 sides`, rounded to a tenth.
fn sides_a_patient(sides: usize, patients: usize) -> String {
    let tenths = (10 * sides + patients / 2).checked_div(patients).unwrap_or(0);
    format!("{}.{} sides", tenths / 10, tenths % 10)
}

/// Says what is left of stopped runs and cannot be deleted: patients' data lies there.
pub(super) fn print_not_deleted(left: &[PathBuf]) {
    for path in left {
        tell!("note: {} is left of a run that was stopped, and could not be deleted", shown(path));
        tell!("help: delete it by hand; it holds patients' data");
    }
}
