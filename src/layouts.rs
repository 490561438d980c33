//! The layouts that the program carries: sheets, wording files, forms and fonts, and a unit's own files
//! over them.
//!
//! Nothing here touches a file: whoever has read a unit's folder hands over its bytes. A path is
//! always relative to `layouts/` and written with `/`: `sheets/bay-sheet.typ`.

pub mod limits;
mod own;

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};
use std::ops::RangeInclusive;

use include_dir::{Dir, DirEntry, include_dir};
use ttf_parser::Face;

pub use self::own::{OwnFile, check_own, is_language};
use crate::problem::{Found, Place, Problem};

static CARRIED: Dir<'static> = include_dir!("$CARGO_MANIFEST_DIR/layouts");

/// Every file that shapes the paper.
pub struct Layouts {
    files: BTreeMap<String, Cow<'static, [u8]>>,
    /// What messages call a file of the unit's own, by its path.
    shown: BTreeMap<String, String>,
    covered: Vec<RangeInclusive<u32>>,
}

impl Layouts {
    /// The layouts that the program carries, with a unit's own files over them.
    ///
    /// # Errors
    /// One problem for each font file that is no font.
    pub fn with_own(own: &[OwnFile]) -> Result<Self, Vec<Problem>> {
        let mut layouts = Self::with_own_covering(own, Vec::new());
        layouts.covered = coverage(&layouts.files, &layouts.shown)?;
        Ok(layouts)
    }

    /// The same, where the characters of all fonts together are known: no font of the unit's is read.
    #[must_use]
    pub fn with_own_covering(own: &[OwnFile], covered: Vec<RangeInclusive<u32>>) -> Self {
        let mut files = BTreeMap::new();
        carried(&CARRIED, &mut files);
        files.extend(own.iter().map(|file| (file.path.clone(), Cow::Owned(file.bytes.clone()))));
        let shown = own.iter().map(|file| (file.path.clone(), file.shown.clone())).collect();
        Self { files, shown, covered }
    }

    /// The characters of all fonts together, as ranges in ascending order.
    #[must_use]
    pub fn covered(&self) -> &[RangeInclusive<u32>] {
        &self.covered
    }

    /// The layouts that the program carries, with `own` over them: a file of the same path takes a
    /// carried one's place, any other file is added. Paths are relative to `layouts/`, with `/`.
    ///
    /// # Errors
    /// One problem for each font file that is no font.
    pub fn new(own: BTreeMap<String, Vec<u8>>) -> Result<Self, Vec<Problem>> {
        let mut files = BTreeMap::new();
        carried(&CARRIED, &mut files);
        files.extend(own.into_iter().map(|(path, bytes)| (path, Cow::Owned(bytes))));
        let covered = coverage(&files, &BTreeMap::new())?;
        Ok(Self { files, shown: BTreeMap::new(), covered })
    }

    /// What messages call the file at `path`: where the unit has it, or `layouts/` and the path.
    #[must_use]
    pub fn shown(&self, path: &str) -> String {
        self.shown.get(path).cloned().unwrap_or_else(|| format!("layouts/{path}"))
    }

    /// The paths of the files that the program carries, in order.
    #[must_use]
    pub fn carried_files() -> Vec<(String, &'static [u8])> {
        let mut files = BTreeMap::new();
        carried(&CARRIED, &mut files);
        let borrowed = |(path, bytes)| match bytes {
            Cow::Borrowed(bytes) => Some((path, bytes)),
            Cow::Owned(_) => None,
        };
        files.into_iter().filter_map(borrowed).collect()
    }

    /// The bytes of the file at `path`.
    #[must_use]
    pub fn file(&self, path: &str) -> Option<&[u8]> {
        self.files.get(path).map(|bytes| &**bytes)
    }

    /// Every file with its path, by path.
    pub fn files(&self) -> impl Iterator<Item = (&str, &Cow<'static, [u8]>)> {
        self.files.iter().map(|(path, bytes)| (path.as_str(), bytes))
    }

    /// The font files with their paths, by path.
    pub fn fonts(&self) -> impl Iterator<Item = (&str, &Cow<'static, [u8]>)> {
        self.files().filter(|(path, _)| is_font(path))
    }

    /// The languages that have a wording file, by their codes: `en`, `pl`.
    pub fn wording_languages(&self) -> impl Iterator<Item = &str> {
        let stem = |path: &'_ str| path.strip_prefix("wording/")?.strip_suffix(".toml").map(str::len);
        self.files.keys().filter_map(move |path| {
            let length = stem(path)?;
            path.get("wording/".len().."wording/".len() + length).filter(|name| !name.contains('/'))
        })
    }

    /// Whether some font has a glyph for `character`. What this refuses cannot be printed.
    #[must_use]
    pub fn covers(&self, character: char) -> bool {
        let point = u32::from(character);
        let after = self.covered.partition_point(|range| *range.start() <= point);
        after.checked_sub(1).and_then(|at| self.covered.get(at)).is_some_and(|range| range.contains(&point))
    }
}

/// Adds every file below `folder`.
fn carried(folder: &'static Dir<'static>, files: &mut BTreeMap<String, Cow<'static, [u8]>>) {
    for entry in folder.entries() {
        match entry {
            DirEntry::Dir(inner) => carried(inner, files),
            DirEntry::File(file) => {
                let path = file.path().to_string_lossy().replace('\\', "/");
                files.insert(path, Cow::Borrowed(file.contents()));
            }
        }
    }
}

fn is_font(path: &str) -> bool {
    let ending = path.rsplit_once('.').map(|(_, ending)| ending.to_ascii_lowercase());
    path.starts_with("fonts/") && matches!(ending.as_deref(), Some("ttf" | "otf" | "ttc"))
}

/// The characters of all fonts together, as ranges in ascending order that do not touch.
fn coverage(
    files: &BTreeMap<String, Cow<'static, [u8]>>,
    shown: &BTreeMap<String, String>,
) -> Result<Vec<RangeInclusive<u32>>, Vec<Problem>> {
    let mut points = BTreeSet::new();
    let mut problems = Vec::new();
    for (path, bytes) in files.iter().filter(|(path, _)| is_font(path)) {
        if characters(bytes, &mut points).is_err() {
            problems.push(no_font(shown.get(path).map_or_else(|| format!("layouts/{path}"), Clone::clone)));
        }
    }
    if problems.is_empty() { Ok(ranges(points)) } else { Err(problems) }
}

/// Adds the characters that the faces of a font file have a glyph for.
fn characters(font: &[u8], points: &mut BTreeSet<u32>) -> Result<(), ttf_parser::FaceParsingError> {
    for index in 0..ttf_parser::fonts_in_collection(font).unwrap_or(1) {
        let face = Face::parse(font, index)?;
        let Some(map) = face.tables().cmap else { continue };
        for table in map.subtables.into_iter().filter(ttf_parser::cmap::Subtable::is_unicode) {
            table.codepoints(|point| {
                if table.glyph_index(point).is_some_and(|glyph| glyph.0 != 0) {
                    points.insert(point);
                }
            });
        }
    }
    Ok(())
}

fn ranges(points: BTreeSet<u32>) -> Vec<RangeInclusive<u32>> {
    let mut ranges: Vec<RangeInclusive<u32>> = Vec::new();
    for point in points {
        match ranges.last_mut() {
            Some(last) if *last.end() + 1 == point => *last = *last.start()..=point,
            _ => ranges.push(point..=point),
        }
    }
    ranges
}

fn no_font(file: String) -> Problem {
    Problem {
        what: "a font file cannot be read".to_owned(),
        place: Place { file, ..Place::default() },
        found: Some(Found::Described("something that is neither TrueType nor OpenType".to_owned())),
        help: "put a .ttf, .otf or .ttc font there, or take the file away".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn layouts() -> Layouts {
        Layouts::new(BTreeMap::new()).expect("the carried fonts are fonts")
    }

    #[test]
    fn the_fonts_cover_the_scripts_of_the_units_patients() {
        let names = [
            ("Latin", "ÅngströmŁódźĦŵŷ Nguyễn Şahin"),
            ("Greek", "Παπαδοπούλου"),
            ("Cyrillic", "Щербаківна"),
            ("Arabic", "محمد"),
            ("Urdu", "ٹھاکڑ ڈوگرے ںہ"),
            ("Hebrew", "שרה כהן"),
            ("Devanagari", "प्रियंका शर्मा"),
            ("Bengali", "রহমান ড়"),
            ("Gurmukhi", "ਗੁਰਪ੍ਰੀਤ ਕੌਰ"),
            ("signs of the sheets", "☐☑⚠→≥·–’°"),
        ];
        let layouts = layouts();
        for (script, name) in names {
            let missing: Vec<char> = name.chars().filter(|character| !layouts.covers(*character)).collect();
            assert!(missing.is_empty(), "{script} lacks {missing:?}");
        }
    }

    #[test]
    fn a_script_without_a_font_is_not_covered() {
        let layouts = layouts();
        assert!(!layouts.covers('山'), "Han");
        assert!(!layouts.covers('ท'), "Thai");
        assert!(!layouts.covers('\u{e000}'), "private use");
        assert!(!layouts.covers('\u{10ffff}'), "the last character of all");
    }

    #[test]
    fn coverage_agrees_with_the_fonts_at_every_edge_of_a_range() {
        let layouts = layouts();
        let faces: Vec<Face<'_>> =
            layouts.fonts().map(|(_, bytes)| Face::parse(bytes, 0).expect("a font")).collect();
        let edges = layouts.covered.iter().flat_map(|range| {
            [range.start().wrapping_sub(1), *range.start(), *range.end(), range.end().wrapping_add(1)]
        });
        for character in edges.filter_map(char::from_u32) {
            let some_font = faces.iter().any(|face| face.glyph_index(character).is_some());
            assert_eq!(layouts.covers(character), some_font, "U+{:04X}", u32::from(character));
        }
    }

    #[test]
    fn a_units_own_file_takes_the_place_of_a_carried_one_and_adds_a_language() {
        let own = BTreeMap::from([
            ("fonts/README.md".to_owned(), b"ours".to_vec()),
            ("wording/cy.toml".to_owned(), b"".to_vec()),
            ("wording/notes/old.toml".to_owned(), b"".to_vec()),
        ]);
        let layouts = Layouts::new(own).expect("no font among them");
        assert_eq!(layouts.file("fonts/README.md"), Some(&b"ours"[..]));
        assert!(layouts.file("fonts/OFL.txt").is_some_and(|text| text.len() > 4000));
        let languages: Vec<&str> = layouts.wording_languages().collect();
        assert!(languages.contains(&"cy"), "{languages:?}");
        assert!(!languages.iter().any(|language| language.contains('/')), "{languages:?}");
    }

    #[test]
    fn a_broken_font_is_a_problem_that_names_the_file() {
        let own = BTreeMap::from([("fonts/Broken.otf".to_owned(), b"no font".to_vec())]);
        let problems = Layouts::new(own).err().expect("refused");
        assert_eq!(
            problems[0].to_string(),
            "error: a font file cannot be read\n \
             --> layouts/fonts/Broken.otf: found something that is neither TrueType nor OpenType\n\
             help: put a .ttf, .otf or .ttc font there, or take the file away\n"
        );
    }
}
