//! If a machine fails: where each of its patients can go, in words.

use serde_json::{Value, json};

use super::desk::Desk;
use super::paperwork::{FallBackLine, FallBackMachine, FallBackPatient};
use crate::fall_backs::{FallBack, Limit, Refuge};
use crate::problem::Problem;

/// The answers by machine and patient.
pub(super) fn fall_backs(desk: &Desk<'_>) -> Result<Vec<FallBackMachine>, Problem> {
    let mut machines: Vec<FallBackMachine> = Vec::new();
    for lines in desk.fall_backs.chunk_by(|one, other| one.machine == other.machine) {
        let Some(machine) = lines.first().map(|line| line.machine) else { continue };
        let mut patients = Vec::new();
        for own in lines.chunk_by(|one, other| one.visit == other.visit) {
            let Some(first) = own.first() else { continue };
            let answers = own.iter().map(|line| answer(desk, line)).collect::<Result<_, _>>()?;
            patients.push(FallBackPatient { patient: desk.patient_line(first.visit)?, answers });
        }
        machines.push(FallBackMachine { machine: desk.unit.machine(machine).name.clone(), patients });
    }
    Ok(machines)
}

fn answer(desk: &Desk<'_>, line: &FallBack) -> Result<FallBackLine, Problem> {
    let outlet = line.refuge.map(|refuge| outlet(desk, refuge));
    let stay = line.refuge.map(|refuge| stay(desk, refuge)).transpose()?;
    let (go, until) = match (line.pre_cooling, outlet, stay) {
        (true, Some(outlet), Some(stay)) => {
            let free = json!({ "outlet": outlet, "stay": stay });
            (desk.text("machine.fall_back.ask")?, desk.say("machine.fall_back.pre_cooling_free", &free)?)
        }
        (true, ..) => (desk.text("machine.fall_back.ask")?, desk.text("machine.fall_back.pre_cooling")?),
        (false, Some(outlet), Some(stay)) => (outlet, stay),
        (false, ..) => (desk.text("machine.fall_back.none")?, desk.text("machine.fall_back.decides")?),
    };
    Ok(FallBackLine {
        fails: desk.words.range(line.fails.from, line.fails.until)?,
        go,
        until,
        short: !line.pre_cooling && !line.refuge.is_some_and(|refuge| refuge.to_the_end),
    })
}

fn outlet(desk: &Desk<'_>, refuge: Refuge) -> String {
    format!("{} · {}", desk.unit.machine(refuge.machine).name, refuge.number)
}

/// How long the outlet is there, and who or what needs it then.
fn stay(desk: &Desk<'_>, refuge: Refuge) -> Result<String, Problem> {
    let Some((until, limit)) = refuge.until else { return desk.text("machine.fall_back.to_the_end") };
    if refuge.to_the_end {
        return desk.say("machine.fall_back.to_the_end_until", &json!({ "until": until }));
    }
    let (key, patient) = match limit {
        Limit::Next(visit) => ("machine.fall_back.off_by_next", Some(visit)),
        Limit::OutOfReach(visit) => ("machine.fall_back.off_by_reach", Some(visit)),
        Limit::OutOfService => ("machine.fall_back.off_by_service", None),
        Limit::Moved(visit) => ("machine.fall_back.off_by_move", Some(visit)),
    };
    let mut data = json!({ "until": until });
    if let (Some(visit), Value::Object(data)) = (patient, &mut data) {
        let row = desk.visit(visit);
        let named =
            [("chair", &row.chair), ("name", &row.family_name.to_uppercase()), ("number", &row.hospital_no)]
                .map(|(key, text)| (key.to_owned(), json!(text)));
        data.extend(named);
    }
    desk.say(key, &data)
}
