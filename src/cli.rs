//! The command line: reads files, runs the stages in their order, writes, and tells what was done.
//!
//! Together with `write` and `main` this is all of the program that touches the outside.

mod arguments;
mod outside;
mod report;

use std::collections::BTreeMap;
use std::ffi::OsString;
use std::num::NonZeroUsize;

use chrono_tz::Tz;

use self::arguments::{Arguments, Command, DayArguments};
use self::outside::{Failure, print_stamp, read_inputs, write_manual};
use self::report::{Progress, print_summary};
use crate::allocate::allocate;
use crate::compose::paperwork::Paperwork;
use crate::compose::words::Words;
use crate::compose::{Choices, compose};
use crate::layouts::Layouts;
use crate::plan::plan;
use crate::problem::Problem;
use crate::read::read;
use crate::render::labels::LabelOrder;
use crate::render::{CheckWords, PackSize, Press, printer_check, render_with_labels};
use crate::survey::survey;
use crate::unit_rules::{Printer, Unit};
use crate::validate::{AtHand, DayList, Options, validate};
use crate::verify::{VerifiedDay, verify};
use crate::write::{write, write_one};

/// Exit status of a run that did what it was asked.
const DONE: u8 = 0;

/// Runs the program on its arguments, the first being its own name. `now` is the time of printing in
/// seconds since 1970. Returns the exit status: 0 done, 1 the input has problems, 2 wrong usage,
/// 3 could not read or write.
#[must_use]
pub fn run(arguments: Vec<OsString>, now: i64) -> u8 {
    let arguments = match Arguments::read(arguments) {
        Ok(arguments) => arguments,
        Err(usage) => return outside::print_usage(&usage),
    };
    let outcome = match arguments.command {
        Command::Make(make) => run_make(&make, now),
        Command::Check(check) => run_check(&check, now),
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
    let made = make_day(&make.day, now, &progress)?;
    progress.stage("Writing");
    let written = write(&make.out, &made.paperwork.date, &made.files)
        .map_err(|error| Failure::outside("write the pack into", &make.out, &error))?;
    progress.finish();
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
        let Composed { paperwork, .. } = compose_day(&check.day, &progress)?;
        progress.finish();
        return write_one(path, &record(&paperwork))
            .map_err(|error| Failure::outside("write the plan to", path, &error));
    }
    let made = make_day(&check.day, now, &progress)?;
    progress.finish();
    if !check.day.quiet {
        print_summary(&made, None);
    }
    Ok(())
}

/// A day that is ready to be written.
struct Made {
    paperwork: Paperwork,
    files: Vec<(String, Vec<u8>)>,
    pack: PackSize,
}

/// A day in words and boxes, before a sheet is set.
struct Composed {
    layouts: Layouts,
    time_zone: Tz,
    printer: Printer,
    paperwork: Paperwork,
}

/// The printer check, for the day's paper and in the unit's words.
fn check_page(layouts: &Layouts, paperwork: &Paperwork) -> Result<(String, Vec<u8>), Failure> {
    let words = &paperwork.pack;
    let lines: Vec<&str> = words.check_lines.iter().map(String::as_str).collect();
    let check = CheckWords { title: &words.check_title, language: &words.language, lines: &lines };
    let file =
        printer_check(layouts, &check, paperwork.paper, &paperwork.date).map_err(|fault| vec![fault])?;
    Ok((file.name, file.bytes))
}

/// The stages in their order.
fn make_day(arguments: &DayArguments, now: i64, progress: &Progress) -> Result<Made, Failure> {
    let Composed { layouts, time_zone, printer, paperwork } = compose_day(arguments, progress)?;

    progress.stage("Setting the sheets");
    let words = &paperwork.pack;
    let printed = print_stamp(now, time_zone);
    let press = Press {
        pack_title: &words.title,
        cards_title: &words.cards,
        language: &words.language,
        stamp: &words.stamp.replace("{printed}", &printed),
        printer,
        workers: std::thread::available_parallelism().unwrap_or(NonZeroUsize::MIN),
        progress: &|done, all| progress.sheets(done, all),
    };
    let order = LabelOrder {
        title: &paperwork.labels.title,
        language: &words.language,
        form: arguments.labels.as_deref().unwrap_or(arguments.paper.usual_labels()),
        first_free: usize::from(arguments.first_label),
        labels: &paperwork.labels.labels,
    };
    let pdfs = render_with_labels(&layouts, &paperwork, Some(&order), &press)?;
    let mut files: Vec<_> = pdfs.files.into_iter().map(|file| (file.name, file.bytes)).collect();
    if arguments.printer_check {
        files.push(check_page(&layouts, &paperwork)?);
    }
    files.push(("plan.json".to_owned(), record(&paperwork)));
    Ok(Made { paperwork, pack: pdfs.pack, files })
}

/// The stages up to the words of every sheet.
fn compose_day(arguments: &DayArguments, progress: &Progress) -> Result<Composed, Failure> {
    progress.stage("Reading");
    let layouts = Layouts::new(BTreeMap::new())?;
    let inputs = read_inputs(arguments)?;
    let raw = read(&inputs.as_inputs());
    let languages: Vec<String> = layouts.wording_languages().map(str::to_owned).collect();
    let at_hand = AtHand { prints: &|character| layouts.covers(character), languages: &languages };
    let options = Options { date: arguments.date, hold_bad_rows: arguments.hold_bad_rows };
    let list = validate(&raw, options, &at_hand)?;

    progress.stage("Planning");
    let (time_zone, printer) = (list.unit.time_zone, list.unit.printer);
    let wordings = wordings(&layouts, &list.unit)?;
    let day = planned_and_verified(list)?;
    let choices = Choices { paper: arguments.paper.into(), revision: 1 };
    let paperwork = compose(&day, &wordings, choices)?;
    Ok(Composed { layouts, time_zone, printer, paperwork })
}

/// `plan.json`.
fn record(paperwork: &Paperwork) -> Vec<u8> {
    let mut text = format!("{:#}", paperwork.record);
    text.push('\n');
    text.into_bytes()
}

/// Plan, allocate, survey, verify.
fn planned_and_verified(list: DayList) -> Result<VerifiedDay, Failure> {
    let plan = plan(&list);
    let allocation = allocate(&list, &plan);
    let cautions = survey(&list, &plan, &allocation);
    Ok(verify(list, plan, allocation, cautions)?)
}

/// The words of every language that has a wording file, with the unit's names and numbers.
fn wordings(layouts: &Layouts, unit: &Unit) -> Result<BTreeMap<String, Words>, Vec<Problem>> {
    let mut wordings = BTreeMap::new();
    let mut problems = Vec::new();
    for language in layouts.wording_languages() {
        let path = format!("wording/{language}.toml");
        let text = String::from_utf8_lossy(layouts.file(&path).unwrap_or_default());
        match Words::parse(&path, &text) {
            Ok(words) => drop(wordings.insert(language.to_owned(), words.of_unit(unit))),
            Err(problem) => problems.push(problem),
        }
    }
    if problems.is_empty() { Ok(wordings) } else { Err(problems) }
}
