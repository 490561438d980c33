//! Labels for the caps of cooled patients: who, which cap, which outlet, from when.

use serde_json::{Value, json};

use super::desk::Desk;
use super::paperwork::Labels;
use super::strip::cap;
use crate::problem::Problem;

/// One label for each cooled patient, in the order of the visits.
pub(super) fn labels(desk: &Desk<'_>) -> Result<Labels, Problem> {
    let cooled = (0..desk.list.visits.len()).filter(|&visit| desk.planned(visit).cooling.is_some());
    Ok(Labels {
        title: desk.text("labels.title")?,
        labels: cooled.map(|visit| label(desk, visit)).collect::<Result<Vec<_>, _>>()?,
    })
}

fn label(desk: &Desk<'_>, visit: usize) -> Result<Value, Problem> {
    let patient = desk.patient_line(visit)?;
    let connect = desk.planned(visit).cooling.as_ref().map(|stages| stages.cooling_on.to_string());
    let facts = [
        ("chair", patient.chair),
        ("cap", cap(desk, visit)?),
        ("outlet", desk.outlet_or_none(visit)?),
        ("connect", connect.unwrap_or_default()),
    ];
    let fact = |(name, value): (&str, String)| {
        Ok(json!({ "label": desk.text(&format!("labels.{name}"))?, "value": value }))
    };
    let facts = facts.into_iter().map(fact).collect::<Result<Vec<_>, Problem>>()?;
    Ok(json!({ "name": patient.name, "identity": patient.identity, "facts": facts }))
}
