//! `baypack words`: begins a translation and checks one; and, for a day's cards, which languages can be printed.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use super::apart;
use super::arguments::WordsCommand;
use super::layout_folders::write_new;
use super::outside::{Failure, read_whole, shown};
use super::own_files::read_own_files;
use super::report::say;
use crate::compose::paperwork::{Document, Paper};
use crate::compose::wording_check::check_wording;
use crate::compose::wording_start::start_wording;
use crate::compose::words::Words;
use crate::compose::worst_card::{cards_in_other_languages, worst_cards};
use crate::layouts::{Layouts, OwnFile};
use crate::problem::{Found, Place, Problem};
use crate::read::settings::read_settings;
use crate::render::errand::{Answer, Task};
use crate::render::{RenderFault, fit};
use crate::validate::DayList;

/// The wording file that every other is compared with.
const ENGLISH: &str = "wording/en.toml";

/// Does what the command line asks of the words.
pub(super) fn run(command: &WordsCommand) -> Result<(), Failure> {
    let own = read_own_files(&command.own)?;
    let layouts = apart::layouts(&own, command.own.set_within)?;
    if let (Some(language), Some(file)) = (&command.language, &command.start) {
        return start(&layouts, language, file);
    }
    let setting = Setting { own: &own, layouts: &layouts, seconds: command.own.set_within };
    command.check.as_deref().map_or(Ok(()), |file| check(&setting, file))
}

fn start(layouts: &Layouts, language: &str, file: &Path) -> Result<(), Failure> {
    if file.symlink_metadata().is_ok() {
        return Err(Failure::from(Problem {
            what: "a file of this name is there already".to_owned(),
            place: Place { file: name(file), ..Place::default() },
            found: None,
            help: "name a new file; what you have is never written over".to_owned(),
        }));
    }
    let english = String::from_utf8_lossy(layouts.file(ENGLISH).unwrap_or_default());
    write_new(file, start_wording(&english, language).as_bytes())
        .map_err(|error| Failure::outside("write", file, error))?;
    let file = shown(file);
    say!("{file} is ready to be translated. Then: baypack words --check {file}");
    Ok(())
}

/// Says everything that is wrong with a wording file, at last whether its cards can be printed.
fn check(setting: &Setting<'_>, file: &Path) -> Result<(), Failure> {
    let bytes = read_whole(file).map_err(|error| Failure::outside("read", file, error))?;
    let name = name(file);
    let problems = problems(setting.layouts, &name, &bytes)?;
    if !problems.is_empty() {
        return Err(problems.into());
    }
    let words = Words::parse(&name, &String::from_utf8_lossy(&bytes))?.of_an_invented_unit();
    let mut faults = Vec::new();
    for paper in [Paper::A4, Paper::UsLetter] {
        faults.extend(setting.faults(worst_cards(&words, paper)?)?.into_iter().flatten());
    }
    if !faults.is_empty() {
        return Err(faults.into());
    }
    say!("{name} is complete, and the longest care cards fit, small and in large print.");
    if !words.is_whole() {
        say!("It has the words of the care card alone: staff sheets stay in the unit's language.");
    }
    if !words.is_checked() {
        say!("No clinician is named under `checked_by`: the front sheet will say so.");
    }
    Ok(())
}

/// What a wording file lacks against the English one.
fn problems(layouts: &Layouts, name: &str, bytes: &[u8]) -> Result<Vec<Problem>, Vec<Problem>> {
    let english = read_settings(ENGLISH, layouts.file(ENGLISH).unwrap_or_default())?;
    let own = read_settings(name, bytes)?;
    let mut problems = check_wording(name, &own, &english);
    let text = String::from_utf8_lossy(bytes);
    let missing = text.chars().find(|letter| !letter.is_control() && !layouts.covers(*letter));
    problems.extend(missing.map(|letter| Problem {
        what: "no font has a character of these words".to_owned(),
        place: Place { file: name.to_owned(), ..Place::default() },
        found: Some(Found::Described(format!("U+{:04X}", u32::from(letter)))),
        help: "use another character, or give a font that has it with --fonts".to_owned(),
    }));
    Ok(problems)
}

/// A file's name without its folder.
fn name(file: &Path) -> String {
    file.file_name().unwrap_or(file.as_os_str()).to_string_lossy().into_owned()
}

/// The words that the day's sheets and cards need, with the unit's names and numbers; no other wording file is
/// read. One for cards that cannot be read is left out: its cards are in the unit's language, with a caution.
///
/// # Errors
/// The unit's own language cannot be read, or has the words of the care card alone.
pub(super) fn needed(layouts: &Layouts, list: &DayList) -> Result<BTreeMap<String, Words>, Problem> {
    let unit = &list.unit;
    let patients = list.visits.iter().filter_map(|visit| visit.language.as_deref());
    let languages: BTreeSet<&str> = patients.chain([unit.language.as_str()]).collect();
    let mut wordings = BTreeMap::new();
    for language in languages {
        let path = format!("wording/{language}.toml");
        let text = String::from_utf8_lossy(layouts.file(&path).unwrap_or_default());
        match Words::parse(&layouts.shown(&path), &text) {
            Ok(words) if language == unit.language && !words.is_whole() => {
                return Err(card_alone(layouts, &path, language));
            }
            Ok(words) => drop(wordings.insert(language.to_owned(), words.of_unit(unit))),
            Err(problem) if language == unit.language => return Err(problem),
            Err(_) => {}
        }
    }
    Ok(wordings)
}

/// The problem of a unit whose language has no words for staff sheets.
fn card_alone(layouts: &Layouts, path: &str, language: &str) -> Problem {
    let whole = |code: &&str| {
        let text = layouts.file(&format!("wording/{code}.toml")).unwrap_or_default();
        Words::parse(code, &String::from_utf8_lossy(text)).is_ok_and(|words| words.is_whole())
    };
    let whole: Vec<&str> = layouts.wording_languages().filter(whole).collect();
    Problem {
        what: format!("the unit's language is `{language}`, which has the words of the care card alone"),
        place: Place { file: layouts.shown(path), line: Some(1), ..Place::default() },
        found: None,
        help: format!(
            "in unit.toml choose a language with words for staff sheets too ({}) and give patients theirs in the day \
             list, or write the missing words",
            whole.join(", ")
        ),
    }
}

/// What cards are set with.
pub(super) struct Setting<'a> {
    pub own: &'a [OwnFile],
    pub layouts: &'a Layouts,
    /// The longest that setting them may take, where files of the unit's own shape them.
    pub seconds: u16,
}

impl Setting<'_> {
    /// The faults of each card.
    fn faults(&self, cards: Vec<Document>) -> Result<Vec<Vec<RenderFault>>, Failure> {
        if cards.is_empty() {
            return Ok(Vec::new());
        }
        if self.own.is_empty() {
            return fit(self.layouts, &cards).map_err(|fault| vec![fault].into());
        }
        match apart::run(self.own.to_vec(), Task::Fit(cards), self.seconds)? {
            Answer::Fit(faults) => Ok(faults),
            answer => Err(apart::refused(answer)),
        }
    }
}

/// What a day's cards are printed with.
pub(super) struct Printing<'a> {
    pub setting: Setting<'a>,
    pub paper: Paper,
    pub wordings: &'a BTreeMap<String, Words>,
}

impl Printing<'_> {
    /// The visits whose cards cannot be printed in the patients' languages: their words are incomplete, or too
    /// long for this card.
    pub fn cards_in_unit_language(&self, list: &DayList) -> Result<BTreeSet<usize>, Failure> {
        let asked: BTreeSet<&String> =
            list.visits.iter().filter_map(|visit| visit.language.as_ref()).collect();
        let incomplete: BTreeSet<&String> =
            asked.into_iter().filter(|language| !self.is_complete(language)).collect();
        let (mut visits, mut cards, mut without) = (Vec::new(), Vec::new(), BTreeSet::new());
        for (visit, card) in cards_in_other_languages(list, self.wordings, self.paper) {
            let complete =
                list.visits[visit].language.as_ref().is_some_and(|code| !incomplete.contains(code));
            match card.filter(|_| complete) {
                Some(card) => {
                    visits.push(visit);
                    cards.push(card);
                }
                None => drop(without.insert(visit)),
            }
        }
        let faults = self.setting.faults(cards)?;
        without.extend(
            visits.into_iter().zip(faults).filter(|(_, faults)| !faults.is_empty()).map(|(visit, _)| visit),
        );
        Ok(without)
    }

    fn is_complete(&self, language: &str) -> bool {
        let path = format!("wording/{language}.toml");
        let layouts = self.setting.layouts;
        let bytes = layouts.file(&path).unwrap_or_default();
        problems(layouts, &layouts.shown(&path), bytes).is_ok_and(|found| found.is_empty())
    }
}
