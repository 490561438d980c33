//! The command line: reads files, runs the stages in their order, writes, and tells what was done.
//!
//! Together with `write` and `main` this is all of the program that touches the outside.

mod apart;
mod arguments;
mod breakdown;
mod faults;
mod fit;
mod layout_folders;
mod outside;
mod own_files;
mod report;
mod wording;

use std::collections::{BTreeMap, BTreeSet};
use std::ffi::OsString;
use std::io;
use std::num::NonZeroUsize;

use chrono_tz::Tz;

use self::arguments::{Arguments, Command, DayArguments, LayoutArguments, PrintArguments};
pub use self::breakdown::{BROKEN_DOWN, guarded};
use self::faults::{FaultsFile, write_faults};
use self::outside::{Failure, print_stamp, read_inputs, write_manual};
use self::own_files::read_own_files;
use self::report::{Progress, print_advice, print_list_written, print_summary};
use crate::allocate::{Effort, allocate_with};
use crate::compose::paperwork::Paperwork;
use crate::compose::{Choices, WhenShort, compose};
use crate::explain::explain;
use crate::layouts::{Layouts, OwnFile};
use crate::plan::plan;
use crate::problem::Problem;
use crate::propose::{Advice, propose};
use crate::read::{File, Inputs, RawInputs, read};
use crate::relist::{is_as_proposed, relist};
use crate::render::errand::{Answer, PackTask, Task};
use crate::render::labels::LabelOrder;
use crate::render::{CheckWords, PackSize, PdfFile, Press, printer_check, render_with_labels};
use crate::survey::survey;
use crate::unit_rules::Printer;
use crate::validate::{AtHand, DayList, HeldBack, arrival_place, validate};
use crate::verify::{VerifiedDay, verify};
use crate::write::{repair, write, write_new, write_one};

/// Exit status of a run that did what it was asked.
const DONE: u8 = 0;

/// Runs the program on its arguments, the first being its own name. `now` is the time of printing in
/// seconds since 1970. Returns the exit status: 0 done, 1 the input has problems, 2 wrong usage,
/// 3 could not read or write, 130 told to stop while it wrote.
#[must_use]
pub fn run(arguments: Vec<OsString>, now: i64) -> u8 {
    let arguments = match Arguments::read(arguments) {
        Ok(arguments) => arguments,
        Err(usage) => return outside::print_usage(&usage),
    };
    let outcome = match arguments.command {
        Command::Make(make) => run_make(&make, now),
        Command::Check(check) => run_check(&check, now),
        Command::Propose(proposal) => run_propose(&proposal),
        Command::Fit(arguments) => fit::run(&arguments),
        Command::Words(command) => wording::run(&command),
        Command::SetApart { processor_seconds } => apart::serve(processor_seconds),
        Command::Layouts(command) => layout_folders::run(&command),
        Command::Manual { folder } => write_manual(&folder),
    };
    match outcome {
        Ok(()) => DONE,
        Err(failure) => outside::print_failure(&failure),
    }
}

/// Makes the day's pack.
fn run_make(make: &arguments::Make, now: i64) -> Result<(), Failure> {
    let progress = Progress::new(make.day.quiet);
    // Also where this list is refused, what a stopped run left is put right.
    repair(&make.out);
    let made = make_day(&make.day, &make.print, now, &progress)?;
    progress.stage("Writing");
    let written = write(&make.out, &made.paperwork.date, &made.files)
        .map_err(|error| Failure::outside("write the pack into", &make.out, error))?;
    progress.finish();
    report::print_not_deleted(&written.not_deleted);
    if !make.day.quiet {
        print_summary(&made, Some(&written));
    }
    Ok(())
}

/// Does all that `make` does and writes nothing; or, where the plan is asked for, writes the plan
/// only, without setting a sheet.
fn run_check(check: &arguments::Check, now: i64) -> Result<(), Failure> {
    let progress = Progress::new(check.day.quiet);
    if let Some(path) = &check.plan {
        let Composed { paperwork, .. } = compose_day(&check.day, &check.print, &progress)?;
        progress.finish();
        return write_one(path, &record(&paperwork))
            .map_err(|error| Failure::outside("write the plan to", path, error));
    }
    let made = make_day(&check.day, &check.print, now, &progress)?;
    progress.finish();
    if !check.day.quiet {
        print_summary(&made, None);
    }
    Ok(())
}

/// Says what is proposed for a day that does not fit, and writes the list with it where that is asked for.
fn run_propose(arguments: &arguments::Propose) -> Result<(), Failure> {
    if let Some(path) = arguments.out_list.as_ref().filter(|path| path.exists()) {
        return Err(Failure::outside("write the list to", path, io::ErrorKind::AlreadyExists.into()));
    }
    with_layouts(&arguments.day.own, |at_hand| propose_with(arguments, at_hand))
}

/// What is at hand where a list is read and nothing is printed: the languages and fonts of the program and of
/// the unit, since a list that `make` takes is taken here too.
fn with_layouts<T>(
    own: &LayoutArguments,
    run: impl FnOnce(&AtHand<'_>) -> Result<T, Failure>,
) -> Result<T, Failure> {
    let layouts = apart::layouts(&read_own_files(own)?, own.set_within)?;
    let languages: Vec<String> = layouts.wording_languages().map(str::to_owned).collect();
    run(&AtHand { prints: &|character| layouts.covers(character), languages: &languages })
}

/// The day's list, known to be right; or why it is not, written back where the command line asks for that.
fn valid_list(arguments: &DayArguments, raw: &RawInputs, at_hand: &AtHand<'_>) -> Result<DayList, Failure> {
    let list =
        validate(raw, arguments.options(), at_hand).map_err(|problems| refusal(arguments, raw, problems))?;
    note_held_rows(arguments, raw, &list)?;
    Ok(list)
}

/// Proposes, with what is at hand to read the list.
fn propose_with(arguments: &arguments::Propose, at_hand: &AtHand<'_>) -> Result<(), Failure> {
    let inputs = read_inputs(&arguments.day)?;
    let raw = read(&inputs.as_inputs());
    let options = arguments.day.options();
    let day = planned_and_verified(valid_list(&arguments.day, &raw, at_hand)?, arguments.day.effort.into())?;
    let advice = propose(&day);
    let Advice::Retime(proposal) = &advice else {
        if !arguments.day.quiet {
            print_advice(&day, &advice);
        }
        return Ok(());
    };

    if let Some(path) = &arguments.out_list {
        let place = arrival_place(&raw, options, at_hand).unwrap_or_default();
        let bytes = relist(inputs.day_list_file(), place, day.list(), &proposal.changes)?;
        let again = read(&Inputs {
            day_list: File { bytes: &bytes, ..inputs.day_list_file() },
            ..inputs.as_inputs()
        });
        let changed = validate(&again, options, at_hand)?;
        if !is_as_proposed(day.list(), &changed, &proposal.changes) {
            return Err(outside::not_as_proposed(&day.list().source_name).into());
        }
        write_new(path, &bytes).map_err(|error| Failure::outside("write the list to", path, error))?;
    }
    if !arguments.day.quiet {
        print_advice(&day, &advice);
        print_list_written(arguments);
    }
    Ok(())
}

/// A day that is ready to be written.
struct Made {
    paperwork: Paperwork,
    /// How the list was read, where somebody should know.
    notes: Vec<String>,
    files: Vec<(String, Vec<u8>)>,
    pack: PackSize,
}

/// A day in words and boxes, before a sheet is set.
struct Composed {
    layouts: Layouts,
    /// The unit's own files among the layouts.
    own: Vec<OwnFile>,
    time_zone: Tz,
    printer: Printer,
    notes: Vec<String>,
    paperwork: Paperwork,
}

/// The printer check, for the day's paper and in the unit's words; drawn with the program's own fonts.
fn check_page(paperwork: &Paperwork) -> Result<(String, Vec<u8>), Failure> {
    let words = &paperwork.pack;
    let lines: Vec<&str> = words.check_lines.iter().map(String::as_str).collect();
    let check = CheckWords { title: &words.check_title, language: &words.language, lines: &lines };
    let layouts = Layouts::new(BTreeMap::new())?;
    let file =
        printer_check(&layouts, &check, paperwork.paper, &paperwork.date).map_err(|fault| vec![fault])?;
    Ok((file.name, file.bytes))
}

/// The stages in their order.
fn make_day(
    arguments: &DayArguments,
    print: &PrintArguments,
    now: i64,
    progress: &Progress,
) -> Result<Made, Failure> {
    let composed = compose_day(arguments, print, progress)?;
    progress.stage("Setting the sheets");
    let printed = print_stamp(now, composed.time_zone);
    let (pdfs, pack) = if composed.own.is_empty() {
        set_here(print, &composed, &printed, progress)?
    } else {
        set_apart(print, arguments.own.set_within, &composed, &printed)?
    };
    let Composed { paperwork, notes, .. } = composed;
    let mut files: Vec<_> = pdfs.into_iter().map(|file| (file.name, file.bytes)).collect();
    if print.printer_check {
        files.push(check_page(&paperwork)?);
    }
    files.push(("plan.json".to_owned(), record(&paperwork)));
    Ok(Made { paperwork, notes, pack, files })
}

/// Sets the sheets with the program's own layouts, in this process.
fn set_here(
    print: &PrintArguments,
    composed: &Composed,
    printed: &str,
    progress: &Progress,
) -> Result<(Vec<PdfFile>, PackSize), Failure> {
    let paperwork = &composed.paperwork;
    let words = &paperwork.pack;
    let press = Press {
        pack_title: &words.title,
        cards_title: &words.cards,
        language: &words.language,
        stamp: &words.stamp.replace("{printed}", printed),
        printer: composed.printer,
        workers: std::thread::available_parallelism().unwrap_or(NonZeroUsize::MIN),
        progress: &|done, all| progress.sheets(done, all),
    };
    let order = LabelOrder {
        title: &paperwork.labels.title,
        language: &words.language,
        form: print.labels.as_deref().unwrap_or(print.paper.usual_labels()),
        first_free: usize::from(print.first_label),
        labels: &paperwork.labels.labels,
    };
    let pdfs = render_with_labels(&composed.layouts, paperwork, Some(&order), &press)?;
    Ok((pdfs.files, pdfs.pack))
}

/// Sets the sheets with files of the unit's own among the layouts, in a process with limits.
fn set_apart(
    print: &PrintArguments,
    seconds: u16,
    composed: &Composed,
    printed: &str,
) -> Result<(Vec<PdfFile>, PackSize), Failure> {
    let paperwork = &composed.paperwork;
    let words = &paperwork.pack;
    let task = PackTask {
        date: paperwork.date.clone(),
        paper: paperwork.paper,
        documents: paperwork.documents.clone(),
        pack_title: words.title.clone(),
        cards_title: words.cards.clone(),
        language: words.language.clone(),
        stamp: words.stamp.replace("{printed}", printed),
        printer: composed.printer,
        labels_title: paperwork.labels.title.clone(),
        form: print.labels.clone().unwrap_or_else(|| print.paper.usual_labels().to_owned()),
        first_free: usize::from(print.first_label),
        labels: paperwork.labels.labels.clone(),
    };
    match apart::run(composed.own.clone(), Task::Pack(Box::new(task)), seconds)? {
        Answer::Files(files, pack) => Ok((files, pack)),
        answer => Err(apart::refused(answer)),
    }
}

/// The stages up to the words of every sheet.
fn compose_day(
    arguments: &DayArguments,
    print: &PrintArguments,
    progress: &Progress,
) -> Result<Composed, Failure> {
    progress.stage("Reading");
    let own = read_own_files(&arguments.own)?;
    let layouts = apart::layouts(&own, arguments.own.set_within)?;
    let inputs = read_inputs(arguments)?;
    let raw = read(&inputs.as_inputs());
    let languages: Vec<String> = layouts.wording_languages().map(str::to_owned).collect();
    let at_hand = AtHand { prints: &|character| layouts.covers(character), languages: &languages };
    let mut list = valid_list(arguments, &raw, &at_hand)?;

    progress.stage("Planning");
    let (time_zone, printer) = (list.unit.time_zone, list.unit.printer);
    let notes = list.notes.iter().map(ToString::to_string).collect();
    let wordings = wording::needed(&layouts, &list)?;
    let printing = wording::Printing {
        setting: wording::Setting { own: &own, layouts: &layouts, seconds: arguments.own.set_within },
        paper: print.paper.into(),
        wordings: &wordings,
    };
    list.cards_in_unit_language = printing.cards_in_unit_language(&list)?;
    let day = planned_and_verified(list, arguments.effort.into())?;
    let choices = Choices { paper: print.paper.into(), revision: 1 };
    let short = WhenShort { shortfalls: explain(&day), advice: propose(&day) };
    let paperwork = compose(&day, &short, &wordings, choices)?;
    Ok(Composed { layouts, own, time_zone, printer, notes, paperwork })
}

/// Why the list is refused; where the command line names a file for it, the list is written back.
fn refusal(arguments: &DayArguments, raw: &RawInputs, problems: Vec<Problem>) -> Failure {
    match &arguments.faults {
        Some(path) => Failure::Noted(write_faults(path, raw, &problems), problems),
        None if !arguments.hold_bad_rows && are_of_rows(raw, &problems) => Failure::Rows(problems),
        None => Failure::Problems(problems),
    }
}

/// Whether every problem is one of a single row, so that the others could be printed without it.
fn are_of_rows(raw: &RawInputs, problems: &[Problem]) -> bool {
    let Ok(list) = &raw.day_list.content else { return false };
    let is_of_a_row = |problem: &Problem| {
        problem.place.file == raw.day_list.name
            && problem.place.line.is_some_and(|line| line > list.header.line)
    };
    let bad: BTreeSet<Option<u32>> = problems.iter().map(|problem| problem.place.line).collect();
    problems.iter().all(is_of_a_row) && bad.len() < list.rows.len()
}

/// Writes the list back where rows are held, if the command line names a file for it.
fn note_held_rows(arguments: &DayArguments, raw: &RawInputs, list: &DayList) -> Result<(), Failure> {
    let Some(path) = arguments.faults.as_ref().filter(|_| !list.held_back.is_empty()) else { return Ok(()) };
    let problems: Vec<Problem> = list.held_back.iter().flat_map(HeldBack::problems).cloned().collect();
    match write_faults(path, raw, &problems) {
        FaultsFile::Failed(failure) => Err(*failure),
        _ => Ok(()),
    }
}

/// `plan.json`.
fn record(paperwork: &Paperwork) -> Vec<u8> {
    let mut text = format!("{:#}", paperwork.record);
    text.push('\n');
    text.into_bytes()
}

/// Plan, allocate, survey, verify.
fn planned_and_verified(list: DayList, effort: Effort) -> Result<VerifiedDay, Failure> {
    let plan = plan(&list);
    let allocation = allocate_with(&list, &plan, effort);
    let cautions = survey(&list, &plan, &allocation);
    Ok(verify(list, plan, allocation, cautions)?)
}
