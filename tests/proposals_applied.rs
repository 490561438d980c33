//! Proposals put into practice: on 80 random days, the list that is written is read anew and planned like any
//! other, and the day then is what was promised.

mod support;

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use baypack::propose::{Advice, Proposal, propose};
use baypack::read::{File, Inputs, read};
use baypack::relist::relist;
use baypack::validate::{AtHand, DayList, Options, arrival_place, validate};
use rand::seq::IndexedRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use support::harm::{new_harms, verified, without};

/// How many random days are tried.
const DAYS: u64 = 80;

fn demo(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-input").join(name);
    fs::read_to_string(path).expect("a demo file")
}

/// A day list as cells, and how it is written.
struct Written {
    rows: Vec<Vec<String>>,
    delimiter: char,
    line_end: &'static str,
    quoted: bool,
    wide: bool,
}

impl Written {
    /// The demo's list of a day that does not fit, everybody coming up to 45 minutes earlier or later.
    fn random(chance: &mut ChaCha8Rng) -> Self {
        let text = demo("day-list-one-more.csv");
        let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(text.as_bytes());
        let rows = reader.records().map(|row| row.expect("a row").iter().map(str::to_owned).collect());
        let mut rows: Vec<Vec<String>> = rows.collect();
        let arrive = rows[0].iter().position(|header| header == "arrive").expect("the column");
        for row in &mut rows[1..] {
            let (hours, minutes) = row[arrive].split_once(':').expect("a time");
            let number = |text: &str| text.parse::<i32>().expect("a number");
            let time = number(hours) * 60 + number(minutes) + 5 * chance.random_range(-9..=9);
            let time = time.max(7 * 60 + 45);
            row[arrive] = format!("{:02}:{:02}", time / 60, time % 60);
        }
        Self {
            rows,
            delimiter: *[',', ';', '\t'].choose(chance).expect("one of them"),
            line_end: ["\n", "\r\n"].choose(chance).expect("one of them"),
            quoted: chance.random_bool(0.3),
            wide: chance.random_bool(0.3),
        }
    }

    fn bytes(&self) -> Vec<u8> {
        let mut text = String::new();
        for row in &self.rows {
            for (place, cell) in row.iter().enumerate() {
                let before = if place == 0 { String::new() } else { self.delimiter.to_string() };
                let quote = if self.quoted || cell.contains([',', ';', '"']) { "\"" } else { "" };
                write!(text, "{before}{quote}{}{quote}", cell.replace('"', "\"\"")).expect("written");
            }
            text.push_str(self.line_end);
        }
        if self.wide {
            [0xfeff].into_iter().chain(text.encode_utf16()).flat_map(u16::to_le_bytes).collect()
        } else {
            text.into_bytes()
        }
    }

    /// The same list with the proposed arrivals, in cells that a proposal may change.
    fn with(&self, list: &DayList, proposal: &Proposal) -> Vec<u8> {
        let mut rows = self.rows.clone();
        let arrive = rows[0].iter().position(|header| header == "arrive").expect("the column");
        for change in &proposal.changes {
            let row = &mut rows[list.visits[change.visit].line as usize - 1];
            assert_eq!(row[arrive], change.from.to_string());
            row[arrive] = change.to.to_string();
        }
        Self { rows, ..*self }.bytes()
    }
}

/// The demonstration unit, with other limits of what may be proposed, and machines, caps and hands enough or not.
fn random_unit(chance: &mut ChaCha8Rng) -> String {
    let unit = demo("unit.toml");
    let (earlier, later) =
        *[(30, 60), (15, 30), (0, 60), (60, 60), (10, 20)].choose(chance).expect("one of them");
    let unit = unit.replace("retime_earlier = 30", &format!("retime_earlier = {earlier}"));
    let unit = unit.replace("retime_later = 60", &format!("retime_later = {later}"));
    let unit = unit.replace("nurses = 2", &format!("nurses = {}", chance.random_range(2..=4)));
    let unit = unit.replace("S = 3", &format!("S = {}", chance.random_range(2..=4)));
    if chance.random_bool(0.3) { unit.replace("movable = true", "movable = false") } else { unit }
}

struct Files {
    unit: String,
    regimens: String,
    list: Vec<u8>,
}

impl Files {
    fn inputs(&self) -> Inputs<'_> {
        Inputs {
            day_list: File { name: "day-list.csv", bytes: &self.list },
            unit: File { name: "unit.toml", bytes: self.unit.as_bytes() },
            regimens: File { name: "regimens.toml", bytes: self.regimens.as_bytes() },
        }
    }

    /// The list and the place of its column of arrivals.
    fn validated(&self) -> (DayList, usize) {
        let raw = read(&self.inputs());
        let languages = ["en", "pl", "es", "ar"].map(str::to_owned);
        let at_hand = AtHand { prints: &|_| true, languages: &languages };
        let options = Options { date: None, hold_bad_rows: false };
        let place = arrival_place(&raw, options, &at_hand).expect("a list with arrivals");
        (validate(&raw, options, &at_hand).expect("a list without faults"), place)
    }
}

/// What became of a day.
#[derive(Default)]
struct Count {
    proposed: usize,
    proven: usize,
    everyone: usize,
}

/// Proposes for a day, writes the list, reads it anew, and holds the day that it makes against the promise.
fn try_day(seed: u64, count: &mut Count) {
    let mut chance = ChaCha8Rng::seed_from_u64(seed);
    let written = Written::random(&mut chance);
    let (unit, regimens) = (random_unit(&mut chance), demo("regimens.toml"));
    let files = Files { unit, regimens, list: written.bytes() };
    let (list, place) = files.validated();
    let before = verified(list);
    let Advice::Retime(proposal) = propose(&before) else { return };
    if seed.is_multiple_of(8) {
        assert_eq!(propose(&before), Advice::Retime(proposal.clone()), "day {seed}: the same again");
    }
    let bytes = relist(files.inputs().day_list, place, before.list(), &proposal.changes).expect("a list");
    assert!(bytes == written.with(before.list(), &proposal), "day {seed}: other bytes differ too");

    let rules = &before.list().unit.rules;
    for change in &proposal.changes {
        let minutes = change.to.minutes() - change.from.minutes();
        let allowed = -rules.retime_earlier.signed()..=rules.retime_later.signed();
        assert!(minutes % 5 == 0 && minutes != 0 && allowed.contains(&minutes), "day {seed}: {change:?}");
    }
    let (changed, _) = Files { list: bytes, ..files }.validated();
    let after = verified(changed);
    assert!(without(&after).is_subset(&without(&before)), "day {seed}: somebody lost an outlet");
    assert_eq!(without(&after).len(), proposal.still_without.len(), "day {seed}: not as many as promised");
    assert!(without(&after).len() < proposal.without_before, "day {seed}: it helps nobody");
    assert_eq!(proposal.without_before, without(&before).len(), "day {seed}");
    let worse = new_harms(&before, &after);
    assert!(worse.is_empty(), "day {seed}: {worse:?}");
    count.proposed += 1;
    count.proven += usize::from(proposal.proven);
    count.everyone += usize::from(proposal.still_without.is_empty());
}

#[test]
fn the_day_of_the_written_list_is_as_promised_harms_nobody_and_only_its_arrivals_differ() {
    let mut count = Count::default();
    (0..DAYS).for_each(|seed| try_day(seed, &mut count));
    let Count { proposed, proven, everyone } = count;
    assert!(
        proposed >= 20 && proven >= 10 && everyone >= 10,
        "{proposed} proposed, {proven} proven, {everyone}"
    );
    assert!(proposed > everyone, "on some days somebody is still without");
}
