//! The unit's bays with their chairs, and its machines.

use super::limits;
use super::nearest;
use super::section::{Check, Section};
use crate::clock::Span;
use crate::problem::Found;
use crate::read::{Setting, Value};
use crate::unit_rules::{Bay, BayIndex, Machine, Outage, Pause};

/// The bays. Their names differ, in files' names too, and no two chairs of the unit share one.
pub(super) fn bays<'a>(check: &mut Check<'a>, top: Section<'a>) -> Vec<Bay> {
    let mut bays: Vec<Bay> = Vec::new();
    let sections = check.tables(top, "bays", limits::BAYS);
    if sections.is_empty() && !matches!(top.get("bays"), Some(Setting { value: Value::List(_), .. })) {
        if top.get("bays").is_none() {
            let help = "add a heading `[[bays]]` for each bay, with the keys `name`, `nurses`, `chairs`";
            check.fault(top, "bays", "unit has no bays", None, help);
        }
        return bays;
    }
    for section in sections {
        let name = bay_name(check, section, &bays);
        let nurses = check.count_of(section, "nurses", 1..=limits::NURSES, None);
        let chairs = chairs(check, section, &bays);
        let reach = reach(check, section, &chairs);
        bays.push(Bay { name, nurses, chairs, reach });
    }
    bays
}

/// A bay's name as part of a file's name: its letters and digits, with `-` for everything between.
/// Empty if it has neither, and cut at [`limits::FILE_NAME_BYTES`].
#[must_use]
pub fn file_name_part(bay_name: &str) -> String {
    let words = bay_name.split(|character: char| !character.is_alphanumeric());
    let mut part = words.filter(|word| !word.is_empty()).collect::<Vec<_>>().join("-");
    while part.len() > limits::FILE_NAME_BYTES {
        part.pop();
    }
    part
}

/// Whether sheets of two bays would share a file. File names that differ in case alone are the same on
/// many computers, and each isolated patient has a sheet named after the bay's.
fn share_files(one: &str, other: &str) -> bool {
    let [one, other] = [one, other].map(|name| file_name_part(name).to_lowercase());
    let is_of_isolated =
        |name: &str, bay: &str| name.strip_prefix(bay).is_some_and(|rest| rest.starts_with("-isolated-"));
    one == other || is_of_isolated(&one, &other) || is_of_isolated(&other, &one)
}

/// A bay's name, which is the name of a file as well.
fn bay_name<'a>(check: &mut Check<'a>, section: Section<'a>, others: &[Bay]) -> String {
    let before = check.count();
    let name = check.text(section, "name", "A");
    if check.count() > before {
        return name;
    }
    let found = || Some(Found::Value(name.clone()));
    if file_name_part(&name).is_empty() {
        let help = "a bay's sheet is named after it, so write a name with a letter or a digit";
        check.fault(section, "name", "name of the bay has no letter and no digit", found(), help);
    } else if let Some(other) = others.iter().find(|other| share_files(&other.name, &name)) {
        let what = format!("name of the bay is too much like that of bay `{}`", other.name);
        let help = "a bay's sheet is named after it, so let the names differ in letters or digits";
        check.fault(section, "name", what, found(), help);
    }
    name
}

fn chairs<'a>(check: &mut Check<'a>, section: Section<'a>, others: &[Bay]) -> Vec<String> {
    let example = "write the chairs' names, for example `chairs = [\"A1\", \"A2\"]`";
    let Some(setting) = section.get("chairs") else {
        check.fault(section, "chairs", "needed key is missing", None, example);
        return Vec::new();
    };
    let before = check.count();
    let names = check.texts(section, "chairs", setting, limits::CHAIRS);
    if names.is_empty() && check.count() == before {
        check.fault(section, "chairs", "bay has no chairs", None, example);
    }
    let mut chairs: Vec<String> = Vec::new();
    for (_, name) in names {
        let mut taken = others.iter().flat_map(|bay| &bay.chairs).chain(&chairs);
        if taken.any(|chair| chair.to_lowercase() == name.to_lowercase()) {
            let help = "give every chair of the unit a name of its own";
            check.fault(section, "chairs", "two chairs have the same name", Some(Found::Value(name)), help);
        } else {
            chairs.push(name);
        }
    }
    chairs
}

/// The groups of chairs within reach of one machine; without any, the whole bay is one.
fn reach<'a>(check: &mut Check<'a>, section: Section<'a>, chairs: &[String]) -> Vec<Vec<String>> {
    let Some(setting) = section.get("reach") else { return vec![chairs.to_vec()] };
    let Value::List(items) = &setting.value else {
        let help = "write a list of groups, for example `reach = [[\"A1\", \"A2\"], [\"A3\"]]`";
        check.wrong(section, "reach", "setting is not a list", &setting.value, help);
        return Vec::new();
    };
    if items.len() > limits::CHAIRS {
        let help = format!("write at most {}", limits::CHAIRS);
        check.fault(section, "reach", "list is too long", None, help);
        return Vec::new();
    }
    let mut groups: Vec<Vec<String>> = Vec::new();
    for item in items {
        let mut group: Vec<String> = Vec::new();
        for (_, name) in check.texts(section, "reach", item, limits::CHAIRS) {
            let is_grouped = groups.iter().flatten().chain(&group).any(|chair| *chair == name);
            if !chairs.contains(&name) {
                let names: Vec<&str> = chairs.iter().map(String::as_str).collect();
                let help = nearest::help(&name, &names);
                let what = "chair within reach is none of the bay's";
                check.fault(section, "reach", what, Some(Found::Value(name)), help);
            } else if is_grouped {
                let help = "put each chair in one group";
                check.fault(section, "reach", "chair stands in reach twice", Some(Found::Value(name)), help);
            } else {
                group.push(name);
            }
        }
        groups.push(group);
    }
    groups
}

/// The machines; without right bays, their places cannot be checked.
pub(super) fn machines<'a>(check: &mut Check<'a>, top: Section<'a>, bays: Option<&Vec<Bay>>) -> Vec<Machine> {
    let mut machines: Vec<Machine> = Vec::new();
    for section in check.tables(top, "machines", limits::MACHINES) {
        let name = check.text(section, "name", "M1");
        let bay = home(check, section, bays);
        let outlets = u8::try_from(check.whole(section, "outlets", 1..=2, None)).unwrap_or(1);
        let machine = Machine {
            name,
            bay,
            outlets,
            movable: check.truth(section, "movable", Some(false)),
            pause: check.choice(
                Some(section),
                "pause",
                [("outlet", Pause::Outlet), ("machine", Pause::Machine)],
            ),
            out_of_service: outages(check, section, outlets),
        };
        let same = |other: &Machine| other.name.to_lowercase() == machine.name.to_lowercase();
        if !machine.name.is_empty() && machines.iter().any(same) {
            let help = "give every machine a name of its own";
            let found = Some(Found::Value(machine.name));
            check.fault(section, "name", "two machines have the same name", found, help);
        } else {
            machines.push(machine);
        }
    }
    machines
}

/// The bay in which a machine stands in the morning.
fn home<'a>(check: &mut Check<'a>, section: Section<'a>, bays: Option<&Vec<Bay>>) -> BayIndex {
    let before = check.count();
    let name = check.text(section, "bay", "A");
    let Some(bays) = bays.filter(|_| check.count() == before) else { return BayIndex(0) };
    let place = bays.iter().position(|bay| bay.name == name);
    if place.is_none() {
        let names: Vec<&str> = bays.iter().map(|bay| bay.name.as_str()).collect();
        let help = nearest::help(&name, &names);
        check.fault(section, "bay", "bay does not exist", Some(Found::Value(name)), help);
    }
    BayIndex(place.unwrap_or(0))
}

/// When a machine is out of service.
fn outages<'a>(check: &mut Check<'a>, machine: Section<'a>, outlets: u8) -> Vec<Outage> {
    let mut outages = Vec::new();
    for section in check.tables(machine, "machines.out_of_service", limits::OUTAGES) {
        let before = check.count();
        let span = Span::new(check.moment(section, "from"), check.moment(section, "to"));
        if check.count() == before && span.is_empty() {
            let found = Some(Found::Value(span.until.to_string()));
            let what = format!("machine is back before it is out of service at {}", span.from);
            check.fault(section, "to", what, found, "write a later time");
        }
        let outlet = section.get("outlet").map(|_| {
            let number = check.whole(section, "outlet", 1..=i64::from(outlets), None);
            u8::try_from(number).unwrap_or(1)
        });
        let reason = check.optional_text(section, "reason").unwrap_or_default();
        outages.push(Outage { span, outlet, reason });
    }
    outages
}

#[cfg(test)]
mod tests {
    use super::{file_name_part, limits};

    #[test]
    fn a_bay_names_its_file_with_letters_and_digits_only() {
        assert_eq!(file_name_part("A"), "A");
        assert_eq!(file_name_part("North wing / 2"), "North-wing-2");
        assert_eq!(file_name_part("../../etc"), "etc");
        assert_eq!(file_name_part("Żółw"), "Żółw");
        assert_eq!(file_name_part("***"), "");
    }

    #[test]
    fn the_longest_name_of_a_bay_is_cut_to_what_file_systems_take() {
        // Three bytes a letter: 300 in all, where file systems take 255.
        assert_eq!(file_name_part(&"ặ".repeat(limits::TEXT_CHARACTERS)), "ặ".repeat(33));
    }
}
