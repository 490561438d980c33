//! Sets the samples of `layouts/samples/`, so that a layout can be looked at without a day list.
//!
//! A sample's data is invented. Fixed words that it leaves out come from the wording file of its
//! language; what the program would fill in there is shown as dots.

use std::num::NonZeroUsize;

use serde_json::Value;

use super::frames::Limits;
use super::typeset::{FileDate, Job, Typesetter};
use super::{FaultPlace, PdfFile, RenderFault};
use crate::layouts::Layouts;

/// The day that previews are dated: they are the same whenever they are made.
const DATED: FileDate = FileDate { year: 2031, month: 3, day: 14 };

/// Sets every sample, each to a file of its own: `care-card.large.pdf`.
///
/// # Errors
/// Every fault of the samples, the wording files and the layouts, sample by sample.
pub fn preview(layouts: &Layouts, workers: NonZeroUsize) -> Result<Vec<PdfFile>, Vec<RenderFault>> {
    let samples = samples(layouts)?;
    let jobs: Vec<Job<'_>> = samples.iter().map(Sample::job).collect();
    let set = Typesetter::new(layouts, DATED).set_all(&jobs, workers, &|_| {})?;
    let file = |(sample, set): (&Sample, super::typeset::SetDocument)| PdfFile {
        name: format!("{}.pdf", sample.name),
        pages: set.pages.len(),
        bytes: set.pdf,
    };
    Ok(samples.iter().zip(set).map(file).collect())
}

/// One sample, ready to set.
struct Sample {
    /// Its file without folder and ending: `bay-sheet.crowded`.
    name: String,
    language: String,
    data: Value,
}

impl Sample {
    fn sheet(&self) -> &str {
        self.name.split('.').next().unwrap_or_default()
    }

    fn job(&self) -> Job<'_> {
        Job {
            called: format!("sample {}", self.name),
            layout: format!("sheets/{}.typ", self.sheet()),
            data: &self.data,
            title: &self.name,
            language: &self.language,
            identifier: format!("sample/{}", self.name),
            limits: match self.sheet() {
                "care-card" => Limits::CARD,
                "label" => Limits::LABEL,
                _ => Limits::SHEET,
            },
        }
    }
}

fn samples(layouts: &Layouts) -> Result<Vec<Sample>, Vec<RenderFault>> {
    let (mut samples, mut faults) = (Vec::new(), Vec::new());
    for (path, bytes) in layouts.files() {
        let Some(name) = path.strip_prefix("samples/").and_then(|rest| rest.strip_suffix(".json")) else {
            continue;
        };
        match sample(layouts, path, name, bytes) {
            Ok(sample) => samples.push(sample),
            Err(fault) => faults.push(fault),
        }
    }
    if faults.is_empty() { Ok(samples) } else { Err(faults) }
}

fn sample(layouts: &Layouts, path: &str, name: &str, bytes: &[u8]) -> Result<Sample, RenderFault> {
    let mut data: Value = serde_json::from_slice(bytes).map_err(|error| {
        let place =
            FaultPlace::Layout { file: layouts.shown(path), line: error.line(), column: error.column() };
        fault(name, "the sample is not JSON".to_owned(), Some(place))
    })?;
    let stated = data.pointer("/head/language").and_then(Value::as_str).unwrap_or("en").to_owned();
    let sample = Sample { name: name.to_owned(), language: stated, data: Value::Null };
    let lacks_words =
        data.pointer("/head/words").and_then(Value::as_object).is_some_and(serde_json::Map::is_empty);
    if lacks_words && let Some(words) = data.pointer_mut("/head/words") {
        *words = fixed_words(layouts, &sample)?;
    }
    Ok(Sample { data, ..sample })
}

/// The tables of labels of the sample's sheet, in one dictionary.
fn fixed_words(layouts: &Layouts, sample: &Sample) -> Result<Value, RenderFault> {
    let path = format!("wording/{}.toml", sample.language);
    let wrong = |what: String| fault(&sample.name, what, None);
    let text = layouts.file(&path).ok_or_else(|| wrong(format!("there is no {}", layouts.shown(&path))))?;
    let wording: toml::Table = toml::from_str(&String::from_utf8_lossy(text))
        .map_err(|error| wrong(format!("{} cannot be read: {}", layouts.shown(&path), error.message())))?;
    let table = sample.sheet().strip_suffix("-sheet").unwrap_or("card");
    let mut words = serde_json::Map::new();
    for part in ["common", table] {
        let labels = wording.get(part).and_then(|part| part.get("labels")).and_then(toml::Value::as_table);
        let labels =
            labels.ok_or_else(|| wrong(format!("{} lacks [{part}.labels]", layouts.shown(&path))))?;
        for (name, label) in labels {
            words.insert(name.clone(), Value::from(dotted(label.as_str().unwrap_or_default())));
        }
    }
    Ok(Value::Object(words))
}

/// A text with dots for its placeholders.
fn dotted(text: &str) -> String {
    let mut shown = String::new();
    let mut rest = text;
    while let Some((before, after)) = rest.split_once("{{") {
        let Some((_, after)) = after.split_once("}}") else { break };
        shown.push_str(before);
        shown.push('…');
        rest = after;
    }
    shown + rest
}

fn fault(name: &str, what: String, place: Option<FaultPlace>) -> RenderFault {
    RenderFault {
        what,
        document: format!("sample {name}"),
        place,
        help: "compare it with the program's own: `baypack layouts --copy DIR` writes them out".to_owned(),
    }
}
