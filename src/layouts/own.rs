//! A unit's own files over the carried ones: which the program looks for, and which are slips.
//!
//! A file that nobody looks for would change nothing, and the unit would believe that it does, so it
//! is refused with the nearest real name.

use serde::{Deserialize, Serialize};

use super::{Layouts, is_font};
use crate::problem::{Found, Place, Problem};
use crate::validate::nearest::{listed, nearest};

/// A file that a unit puts over the program's own, or beside them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct OwnFile {
    /// Where it belongs below `layouts/`, with `/`: `sheets/care-card.typ`.
    pub path: String,
    /// What messages call it: the unit's folder and the path in it.
    pub shown: String,
    /// What stands in it.
    #[serde(skip)]
    pub bytes: Vec<u8>,
}

/// The documents that a sample may be of.
const SAMPLED: [&str; 5] = ["bay-sheet", "care-card", "front-sheet", "label", "machine-sheet"];

/// A problem for each file that the program would never look at.
#[must_use]
pub fn check_own(own: &[OwnFile]) -> Vec<Problem> {
    let carried: Vec<String> = Layouts::carried_files().into_iter().map(|(path, _)| path).collect();
    let unused = own.iter().filter(|file| !carried.contains(&file.path) && !is_looked_for(file, own));
    unused.map(|file| unknown(file, &carried)).collect()
}

/// Whether the program has a use for a file that stands beside the carried ones.
fn is_looked_for(file: &OwnFile, own: &[OwnFile]) -> bool {
    let path = file.path.as_str();
    let (folder, name) = path.split_once('/').unwrap_or(("", path));
    let (stem, ending) = name.rsplit_once('.').unwrap_or((name, ""));
    match (folder, ending) {
        (_, "md" | "txt") => true,
        ("fonts", _) => is_font(path),
        ("wording", "toml") => is_language(stem),
        ("forms", "toml") => !stem.contains('/'),
        ("parts", "typ") => is_imported(name, own),
        ("samples", "json") => SAMPLED.contains(&stem.split('.').next().unwrap_or_default()),
        _ => false,
    }
}

/// Whether a name can be a language's code: `pl`, `ckb`, `pt-BR`.
#[must_use]
pub fn is_language(name: &str) -> bool {
    let (language, region) = name.split_once('-').unwrap_or((name, "XX"));
    (2..=3).contains(&language.len())
        && language.bytes().all(|byte| byte.is_ascii_lowercase())
        && region.len() == 2
        && region.bytes().all(|byte| byte.is_ascii_uppercase())
}

/// Whether some other layout of the unit names the file.
fn is_imported(name: &str, own: &[OwnFile]) -> bool {
    let layouts = own.iter().filter(|file| file.path.ends_with(".typ") && !file.path.ends_with(name));
    let mut texts = layouts.map(|file| String::from_utf8_lossy(&file.bytes));
    texts.any(|text| text.contains(&format!("/{name}\"")) || text.contains(&format!("\"{name}\"")))
}

fn unknown(file: &OwnFile, carried: &[String]) -> Problem {
    let place = Place { file: file.shown.clone(), ..Place::default() };
    let found = Some(Found::Value(file.path.clone()));
    let folder = file.path.split_once('/').map_or("", |(folder, _)| folder);
    let near = near(&file.path, carried);
    let (what, help) = match (near, folder) {
        (Some(near), _) => ("the program looks for no file of this name", format!("did you mean `{near}`?")),
        (None, "parts") if file.path.ends_with(".typ") => (
            "no layout of the folder imports this part",
            format!("import it in the sheet that it is for, as `#import \"/{}\": …`", file.path),
        ),
        (None, _) => {
            let folders = ["sheets", "parts", "wording", "forms", "fonts", "samples"];
            (
                "the program looks for no file of this name",
                format!("folders that it knows: {}", listed(&folders)),
            )
        }
    };
    Problem { what: what.to_owned(), place, found, help }
}

/// The carried path whose name is nearest, in whichever folder.
fn near<'c>(path: &str, carried: &'c [String]) -> Option<&'c str> {
    let name = |path: &'c str| path.rsplit('/').next().unwrap_or(path);
    let own = path.rsplit('/').next().unwrap_or(path);
    let meant = nearest(own, carried.iter().map(|path| name(path)))?;
    carried.iter().map(String::as_str).find(|path| name(path) == meant)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn own(path: &str, text: &str) -> OwnFile {
        OwnFile { path: path.to_owned(), shown: format!("ours/{path}"), bytes: text.as_bytes().to_vec() }
    }

    fn helps(files: &[OwnFile]) -> Vec<String> {
        check_own(files).into_iter().map(|problem| problem.help).collect()
    }

    #[test]
    fn files_that_the_program_looks_for_pass() {
        let files = [
            own("theme.typ", ""),
            own("sheets/care-card.typ", "#import \"/parts/our-logo.typ\": logo"),
            own("parts/our-logo.typ", ""),
            own("wording/cy.toml", ""),
            own("wording/pt-BR.toml", ""),
            own("forms/labels-our-printer.toml", ""),
            own("fonts/more/Thai.ttf", ""),
            own("fonts/OFL-Thai.txt", ""),
            own("samples/care-card.ours.json", ""),
            own("notes.md", ""),
        ];
        assert_eq!(check_own(&files), []);
    }

    #[test]
    fn a_misspelt_file_leads_to_the_real_one() {
        assert_eq!(helps(&[own("sheets/carecard.typ", "")]), ["did you mean `sheets/care-card.typ`?"]);
        assert_eq!(helps(&[own("care-card.typ", "")]), ["did you mean `sheets/care-card.typ`?"]);
        assert_eq!(helps(&[own("words/en.toml", "")]), ["did you mean `wording/en.toml`?"]);
        assert_eq!(helps(&[own("wording/english.toml", "")]).len(), 1);
        assert_eq!(helps(&[own("parts/tickbox.typ", "")]), ["did you mean `parts/tick-box.typ`?"]);
    }

    #[test]
    fn a_file_that_nobody_would_look_at_is_refused() {
        let refused = check_own(&[own("parts/zebra-stripes-of-ours.typ", ""), own("logo.png", "")]);
        assert_eq!(refused.len(), 2);
        assert!(refused[0].help.contains("#import \"/parts/zebra-stripes-of-ours.typ\""), "{}", refused[0]);
        assert!(refused[1].help.contains("`sheets`"), "{}", refused[1]);
    }
}
