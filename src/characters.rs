//! Which characters show nothing of their own.
//!
//! One answer for paper, where such a character is refused, and for a terminal, where it is replaced.

use std::fmt;

use unicode_properties::{GeneralCategory, UnicodeGeneralCategory};

/// Whether a character shows nothing of its own, turns its neighbours round, or shows something else
/// on every machine: controls, format characters, private and unassigned ones, separators of lines and
/// paragraphs, and default-ignorable characters (Unicode, `DerivedCoreProperties.txt`).
pub(crate) fn is_invisible(character: char) -> bool {
    // Default-ignorable characters that are no format characters.
    let ignorable = matches!(
        character,
        '\u{34f}' | '\u{115f}' | '\u{1160}' | '\u{17b4}' | '\u{17b5}' | '\u{180b}'..='\u{180f}' | '\u{3164}'
            | '\u{fe00}'..='\u{fe0f}' | '\u{ffa0}' | '\u{e0000}'..='\u{e0fff}'
    );
    ignorable
        || matches!(
            character.general_category(),
            GeneralCategory::Control
                | GeneralCategory::Format
                | GeneralCategory::PrivateUse
                | GeneralCategory::Surrogate
                | GeneralCategory::Unassigned
                | GeneralCategory::LineSeparator
                | GeneralCategory::ParagraphSeparator
        )
}

/// A text as a terminal may show it: what would move the cursor, change colours, turn the direction
/// round or hide becomes `�`.
pub(crate) fn on_a_terminal(text: &str) -> String {
    text.chars().map(|character| if is_invisible(character) { '\u{fffd}' } else { character }).collect()
}

/// Several lines as a terminal may show them, each like [`on_a_terminal`].
pub(crate) fn lines_on_a_terminal(text: fmt::Arguments<'_>) -> String {
    text.to_string().split('\n').map(on_a_terminal).collect::<Vec<_>>().join("\n")
}

#[cfg(test)]
mod tests {
    use super::on_a_terminal;

    #[test]
    fn escape_sequences_and_directions_do_not_reach_a_terminal() {
        let hostile =
            "\u{1b}[31mred\u{1b}]0;title\u{7}\u{9b}2J\u{202e}abc\u{2066}\u{61c}\u{200b}\u{ad}\u{e0041}\r\n";
        let shown = on_a_terminal(hostile);
        assert_eq!(shown, "�[31mred�]0;title��2J�abc�������");
        assert_eq!(on_a_terminal("Żółw, 李 فاطمة e\u{301}"), "Żółw, 李 فاطمة e\u{301}");
    }
}
