//! Bytes to text: which encoding a file is in, and everything that shows it to be no text at all.
//!
//! Only the encodings that booking systems and spreadsheets write are tried. Bytes that two of them
//! could have written are refused, for a name that is misread is printed wrong.

use encoding_rs::{UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};

use super::lines::Lines;
use crate::problem::{Found, Place, Problem};

/// The encoding that a file was read in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Encoding {
    /// UTF-8, with or without a byte order mark.
    Utf8,
    /// UTF-16 with a byte order mark.
    Utf16,
    /// Windows-1252: a guess, taken when the bytes are not UTF-8 and carry no mark.
    Windows1252,
}

/// A decoded file.
#[derive(Clone, Debug)]
pub struct Text {
    /// The characters, without byte order marks at the start.
    pub characters: String,
    /// How they were encoded.
    pub encoding: Encoding,
}

/// The first bytes of files that are often given instead of a text file.
const NOT_TEXT: [(&[u8], &str); 4] = [
    (b"PK\x03\x04", "a spreadsheet workbook or another zip file"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet workbook"),
    (b"%PDF", "a PDF"),
    (b"{\\rtf", "a word-processor file"),
];

/// Decodes a file, or says why it is not text.
///
/// # Errors
/// One problem: too large, empty, another kind of file, or bytes that no encoding explains.
pub(super) fn decode(file: &str, bytes: &[u8], most: usize) -> Result<Text, Problem> {
    let fault = |what: &str, found: &str, help: &str| Problem {
        what: what.to_owned(),
        place: Place { file: file.to_owned(), ..Place::default() },
        found: Some(Found::Described(found.to_owned())),
        help: help.to_owned(),
    };
    if bytes.len() > most {
        // No more than a byte too many is read of a file, so its whole size is not known here.
        let found = format!("more than {most} bytes");
        return Err(fault(
            "file is too large",
            &found,
            &format!("give a file of at most {most} bytes; export fewer days at once"),
        ));
    }
    if let Some((_, kind)) = NOT_TEXT.iter().find(|(start, _)| bytes.starts_with(start)) {
        return Err(fault("file is not a text file", kind, SAVE_AS_TEXT));
    }
    let text = match bytes {
        [0xff, 0xfe, rest @ ..] => strict(UTF_16LE, rest, Encoding::Utf16),
        [0xfe, 0xff, rest @ ..] => strict(UTF_16BE, rest, Encoding::Utf16),
        _ if bytes.contains(&0) => None,
        [0xef, 0xbb, 0xbf, rest @ ..] => strict(UTF_8, rest, Encoding::Utf8),
        _ => strict(UTF_8, bytes, Encoding::Utf8).or_else(|| windows_1252(bytes)),
    };
    let Some(text) = text else {
        return Err(undecodable(file, bytes));
    };
    if text.characters.trim().is_empty() {
        return Err(fault(
            "file is empty",
            "no text",
            "check that this is the right file, and save or export it again",
        ));
    }
    Ok(text)
}

const SAVE_AS_TEXT: &str = "give the text file itself; in a spreadsheet choose `Save as`, then `CSV UTF-8`";

/// Decodes without tolerating one malformed character.
fn strict(with: &'static encoding_rs::Encoding, bytes: &[u8], encoding: Encoding) -> Option<Text> {
    let decoded = with.decode_without_bom_handling_and_without_replacement(bytes)?;
    let characters = decoded.trim_start_matches('\u{feff}');
    (!characters.contains('\0')).then(|| Text { characters: characters.to_owned(), encoding })
}

/// Decodes as Windows-1252, unless the bytes also hold UTF-8 characters: then neither explains them.
fn windows_1252(bytes: &[u8]) -> Option<Text> {
    let mixed = bytes.utf8_chunks().any(|chunk| !chunk.valid().is_ascii());
    if mixed {
        return None;
    }
    let (characters, _) = WINDOWS_1252.decode_without_bom_handling(bytes);
    Some(Text { characters: characters.into_owned(), encoding: Encoding::Windows1252 })
}

/// The problem of a file that no encoding explains, with the line of the first such bytes.
fn undecodable(file: &str, bytes: &[u8]) -> Problem {
    let marked_utf16 = bytes.starts_with(b"\xff\xfe") || bytes.starts_with(b"\xfe\xff");
    let (line, found) = if marked_utf16 {
        (None, "UTF-16 with characters cut in half or NUL characters")
    } else if let Some(at) = bytes.iter().position(|byte| *byte == 0) {
        (Some(line_at(bytes, at)), "a NUL byte, as in a binary file or in UTF-16 without its mark")
    } else {
        let whole = bytes.utf8_chunks().next().map_or(0, |chunk| chunk.valid().len());
        (Some(line_at(bytes, whole)), "UTF-8 characters mixed with bytes that are not UTF-8")
    };
    Problem {
        what: "characters of the file cannot be read for certain".to_owned(),
        place: Place { file: file.to_owned(), line, ..Place::default() },
        found: Some(Found::Described(found.to_owned())),
        help: "save the file again as UTF-8; in a spreadsheet choose `Save as`, then `CSV UTF-8`".to_owned(),
    }
}

/// The physical line of the byte at `offset` of a file that is no valid text.
fn line_at(bytes: &[u8], offset: usize) -> u32 {
    let before = bytes.get(..offset).unwrap_or(bytes);
    let (latin, _) = WINDOWS_1252.decode_without_bom_handling(before);
    Lines::of(&latin).number(latin.len())
}
