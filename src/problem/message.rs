//! Problems put together by their cause: a wrong form in a whole column is one message and not forty.
//!
//! Every problem is in exactly one message. A message stands where its first problem would.

use std::collections::BTreeMap;
use std::fmt;

use super::{Found, Problem, shown};
use crate::characters::on_a_terminal;

/// How many problems of one kind with one remedy are taken to have one cause. Fewer are told one by
/// one, unless the same value stands in all of them.
const OF_ONE_CAUSE: usize = 3;

/// How many stretches of lines a place names.
const STRETCHES: usize = 12;

/// How many values a place repeats.
const VALUES: usize = 6;

/// How many values get their own hint.
const HINTS: usize = 3;

/// How many places a message names; no day list has as many columns.
const PLACES: usize = 40;

/// One cause, with every place at which it shows.
#[derive(Clone, Debug)]
pub struct Message<'a> {
    what: &'a str,
    spots: Vec<Spot<'a>>,
    help: &'a str,
}

/// One column, or one key of a settings file, with the lines at which a cause shows.
#[derive(Clone, Debug)]
struct Spot<'a> {
    file: &'a str,
    column: Option<&'a str>,
    of: Option<&'a str>,
    lines: Vec<u32>,
    found: Vec<(&'a Found, Vec<u32>)>,
}

/// The messages of some problems, in the order of their first ones.
#[must_use]
pub fn messages(problems: &[Problem]) -> Vec<Message<'_>> {
    let mut kinds: BTreeMap<(&str, &str, &str), Vec<usize>> = BTreeMap::new();
    for (at, problem) in problems.iter().enumerate() {
        kinds.entry((&problem.place.file, &problem.what, &problem.help)).or_default().push(at);
    }
    let mut causes: Vec<Vec<usize>> =
        kinds.into_values().flat_map(|kind| causes_of(problems, kind)).collect();
    causes.sort();
    causes
        .into_iter()
        .map(|cause| Message::of(&cause.into_iter().map(|at| &problems[at]).collect::<Vec<_>>()))
        .collect()
}

/// Problems of one kind with one remedy, parted by their causes.
fn causes_of(problems: &[Problem], kind: Vec<usize>) -> Vec<Vec<usize>> {
    let is_one = |at: &usize| is_same(&problems[kind[0]], &problems[*at]);
    if kind.len() >= OF_ONE_CAUSE || kind.iter().all(is_one) {
        return vec![kind];
    }
    kind.into_iter().map(|at| vec![at]).collect()
}

/// Whether two problems are of one column and one value that may be repeated.
fn is_same(one: &Problem, other: &Problem) -> bool {
    let is_value = matches!(one.found, Some(Found::Value(_) | Found::Like { .. }));
    is_value
        && one.found == other.found
        && (&one.place.column, &one.place.of) == (&other.place.column, &other.place.of)
}

impl<'a> Message<'a> {
    /// The message of problems of one kind with one remedy; of none, an empty one.
    pub(super) fn of(problems: &[&'a Problem]) -> Self {
        let (what, help) = problems.first().map_or(("", ""), |first| (&first.what, &first.help));
        let mut spots: Vec<Spot> = Vec::new();
        let mut known = BTreeMap::new();
        for problem in problems {
            let place = &problem.place;
            let (file, column, of) = (place.file.as_str(), place.column.as_deref(), place.of.as_deref());
            let at = *known.entry((file, column, of)).or_insert(spots.len());
            if at == spots.len() {
                spots.push(Spot { file, column, of, lines: Vec::new(), found: Vec::new() });
            }
            spots[at].add(problem);
        }
        Self { what, spots, help }
    }

    /// The hints of its values: of a single value the sentence alone, of several each behind its value.
    fn hints(&self) -> Vec<String> {
        let mut hints: Vec<(&str, &str)> = Vec::new();
        for (found, _) in self.spots.iter().flat_map(|spot| &spot.found) {
            if let Found::Like { value, hint } = found
                && !hints.contains(&(value, hint))
            {
                hints.push((value, hint));
            }
        }
        let values: usize = self.spots.iter().map(|spot| spot.found.len()).sum();
        match hints.as_slice() {
            [(_, hint)] if values == 1 => vec![(*hint).to_owned()],
            several => several
                .iter()
                .take(HINTS)
                .map(|(value, hint)| format!("`{}`: {hint}", shown(value)))
                .collect(),
        }
    }
}

impl<'a> Spot<'a> {
    fn add(&mut self, problem: &'a Problem) {
        self.lines.extend(problem.place.line);
        let Some(found) = &problem.found else { return };
        let known = self.found.iter_mut().find(|(known, _)| *known == found);
        match known {
            Some((_, lines)) => lines.extend(problem.place.line),
            None => self.found.push((found, problem.place.line.into_iter().collect())),
        }
    }

    /// What stands there. Of several descriptions each names its lines, for they cannot be searched for.
    fn found(&self) -> String {
        let is_described = self.found.iter().any(|(found, _)| matches!(found, Found::Described(_)));
        let told = |(found, lines): &(&Found, Vec<u32>)| match self.found.len() {
            2.. if is_described => format!("{found} ({})", stretches(lines)),
            _ => found.to_string(),
        };
        let most = if is_described { STRETCHES } else { VALUES };
        let shown: Vec<String> = self.found.iter().take(most).map(told).collect();
        match self.found.len() - shown.len() {
            0 => shown.join(", "),
            1 => format!("{} and 1 more value", shown.join(", ")),
            more => format!("{} and {more} more values", shown.join(", ")),
        }
    }
}

/// `line 7`, `lines 2 to 9, 11 and 30 more`.
pub(crate) fn stretches(lines: &[u32]) -> String {
    let mut sorted = lines.to_vec();
    sorted.sort_unstable();
    sorted.dedup();
    let mut runs: Vec<(u32, u32)> = Vec::new();
    for line in &sorted {
        match runs.last_mut() {
            Some((_, until)) if *until + 1 == *line => *until = *line,
            _ => runs.push((*line, *line)),
        }
    }
    let parts = runs.iter().flat_map(|(from, until)| match until - from {
        0 => vec![from.to_string()],
        1 => vec![from.to_string(), until.to_string()],
        _ => vec![format!("{from} to {until}")],
    });
    let mut parts: Vec<String> = parts.take(STRETCHES).collect();
    let named: u32 = runs.iter().flat_map(|(from, until)| lengths(*from, *until)).take(STRETCHES).sum();
    let more = u32::try_from(sorted.len()).unwrap_or(u32::MAX).saturating_sub(named);
    if more > 0 {
        parts.push(format!("{more} more"));
    }
    let last = parts.pop().unwrap_or_default();
    let word = if sorted.len() == 1 { "line" } else { "lines" };
    if parts.is_empty() {
        format!("{word} {last}")
    } else {
        format!("{word} {} and {last}", parts.join(", "))
    }
}

/// How many lines each part of a run stands for, as `stretches` names it.
fn lengths(from: u32, until: u32) -> Vec<u32> {
    match until - from {
        0 => vec![1],
        1 => vec![1, 1],
        more => vec![more + 1],
    }
}

impl fmt::Display for Spot<'_> {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(&on_a_terminal(self.file))?;
        if !self.lines.is_empty() {
            write!(out, ", {}", stretches(&self.lines))?;
        }
        if let Some(column) = self.column {
            let kind = if self.file.ends_with(".toml") { "key" } else { "column" };
            write!(out, ", {kind} `{}`", shown(column))?;
        }
        if let Some(of) = self.of {
            write!(out, " of {}", on_a_terminal(of))?;
        }
        if !self.found.is_empty() {
            write!(out, ": found {}", self.found())?;
        }
        Ok(())
    }
}

/// Prints what is wrong, a line for each column or key, and what to do:
///
/// ```text
/// error: infusion time is not a whole number of minutes
///  --> monday.csv, lines 7 to 9 and 12, column `minutes`: found `1h30`
/// help: write minutes only, for example 90
/// ```
impl fmt::Display for Message<'_> {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(out, "error: {}", on_a_terminal(self.what))?;
        for spot in self.spots.iter().take(PLACES) {
            writeln!(out, " --> {spot}")?;
        }
        if self.spots.len() > PLACES {
            writeln!(out, " --> and {} more places", self.spots.len() - PLACES)?;
        }
        let help = on_a_terminal(self.help);
        let hints = self.hints().join(" ");
        if hints.is_empty() {
            return writeln!(out, "help: {help}");
        }
        writeln!(out, "help: {} {}", on_a_terminal(&hints), capitalised(&help))
    }
}

/// A sentence that follows another.
fn capitalised(sentence: &str) -> String {
    let mut rest = sentence.chars();
    let first: String = rest.next().into_iter().flat_map(char::to_uppercase).collect();
    first + rest.as_str()
}

#[cfg(test)]
mod tests {
    use super::{messages, stretches};
    use crate::problem::{Found, Place, Problem};

    fn problem(line: u32, column: &str, what: &str, value: &str) -> Problem {
        let place = Place {
            file: "list.csv".to_owned(),
            line: Some(line),
            column: Some(column.to_owned()),
            of: None,
        };
        let found = Some(Found::Value(value.to_owned()));
        Problem { what: what.to_owned(), place, found, help: "mend it".to_owned() }
    }

    fn told(problems: &[Problem]) -> Vec<String> {
        messages(problems).iter().map(ToString::to_string).collect()
    }

    #[test]
    fn lines_are_named_in_stretches_and_no_line_is_counted_twice() {
        assert_eq!(stretches(&[7]), "line 7");
        assert_eq!(stretches(&[3, 2]), "lines 2 and 3");
        assert_eq!(stretches(&[2, 3, 4, 9, 4]), "lines 2 to 4 and 9");
        let odd: Vec<u32> = (1..=42).map(|line| 2 * line).collect();
        assert_eq!(stretches(&odd), "lines 2, 4, 6, 8, 10, 12, 14, 16, 18, 20, 22, 24 and 30 more");
    }

    #[test]
    fn a_wrong_form_in_a_whole_column_is_one_message() {
        let problems: Vec<Problem> =
            (2..=41).map(|line| problem(line, "arrive", "value is no time", &format!("{line}h"))).collect();
        let expected = "error: value is no time\n --> list.csv, lines 2 to 41, column `arrive`: found `2h`, `3h`, `4h`, `5h`, `6h`, `7h` and 34 more values\nhelp: mend it\n";
        assert_eq!(told(&problems), [expected]);
    }

    #[test]
    fn one_value_in_two_rows_is_one_message_and_two_values_are_two() {
        let same = [problem(2, "bay", "no bay", "Q"), problem(9, "bay", "no bay", "Q")];
        assert_eq!(
            told(&same),
            ["error: no bay\n --> list.csv, lines 2 and 9, column `bay`: found `Q`\nhelp: mend it\n"]
        );
        let other = [problem(2, "bay", "no bay", "Q"), problem(9, "bay", "no bay", "R")];
        assert_eq!(told(&other).len(), 2);
    }

    #[test]
    fn messages_stand_where_their_first_problem_would() {
        let problems = [
            problem(2, "bay", "no bay", "Q"),
            problem(3, "arrive", "no time", "x"),
            problem(4, "bay", "no bay", "Q"),
            problem(4, "cycle", "no cycle", "0"),
        ];
        let first: Vec<String> = told(&problems)
            .iter()
            .map(|message| message.lines().next().unwrap_or_default().to_owned())
            .collect();
        assert_eq!(first, ["error: no bay", "error: no time", "error: no cycle"]);
    }

    #[test]
    fn a_hint_stands_behind_its_value_where_there_are_several() {
        let near = |line, value: &str, hint: &str| Problem {
            found: Some(Found::Like { value: value.to_owned(), hint: hint.to_owned() }),
            ..problem(line, "regimen", "no regimen", value)
        };
        let one = [near(2, "PACW", "did you mean `PAC-W`?")];
        assert!(
            told(&one)[0].ends_with("found `PACW`\nhelp: did you mean `PAC-W`? Mend it\n"),
            "{:?}",
            told(&one)
        );
        let three = [
            near(2, "PACW", "did you mean `PAC-W`?"),
            problem(3, "regimen", "no regimen", "zz"),
            near(4, "DOK", "did you mean `DOC`?"),
        ];
        let help = "help: `PACW`: did you mean `PAC-W`? `DOK`: did you mean `DOC`? Mend it\n";
        assert!(told(&three)[0].ends_with(help), "{:?}", told(&three));
    }

    #[test]
    fn nothing_in_a_message_moves_the_cursor_or_hides() {
        let mut hostile = problem(2, "b\u{1b}[2Jay", "what\u{202e}", "\u{1b}]0;x\u{7}");
        hostile.place.file = "li\u{9b}31mst.csv".to_owned();
        hostile.help = "do\u{200b}\u{8}".to_owned();
        let lines = told(&[hostile]);
        let shown: String = lines.concat();
        assert!(!shown.chars().any(|one| one.is_control() && one != '\n'), "{shown:?}");
        assert!(!shown.contains(['\u{202e}', '\u{200b}', '\u{9b}']), "{shown:?}");
    }
}
