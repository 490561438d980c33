//! Physical lines: what an editor shows in its margin.
//!
//! `CRLF`, `LF` and a lone `CR` each end a line, inside quotation marks as well, so that a line
//! number leads the clerk to the right place whatever wrote the file.

/// Where each physical line of a text starts.
#[derive(Clone, Debug)]
pub(crate) struct Lines {
    starts: Vec<usize>,
}

impl Lines {
    /// Finds the lines of `text`.
    pub(crate) fn of(text: &str) -> Self {
        let bytes = text.as_bytes();
        let ends_line = |at: &usize| match bytes[*at] {
            b'\n' => true,
            b'\r' => bytes.get(at + 1) != Some(&b'\n'),
            _ => false,
        };
        let starts = std::iter::once(0).chain((0..bytes.len()).filter(ends_line).map(|at| at + 1));
        Self { starts: starts.collect() }
    }

    /// The byte at which a line starts, by its number from 1.
    pub(crate) fn start(&self, number: u32) -> Option<usize> {
        self.starts.get(usize::try_from(number).ok()?.checked_sub(1)?).copied()
    }

    /// The number, from 1, of the line that holds the byte at `offset`.
    pub(crate) fn number(&self, offset: usize) -> u32 {
        let started = self.starts.partition_point(|start| *start <= offset);
        u32::try_from(started).unwrap_or(u32::MAX)
    }
}

#[cfg(test)]
mod tests {
    use super::Lines;

    #[test]
    fn every_kind_of_line_end_counts_once() {
        let text = "a\r\nb\nc\rd";
        let lines = Lines::of(text);
        let number = |letter| text.find(letter).map(|at| lines.number(at));
        assert_eq!(
            [number('a'), number('b'), number('c'), number('d')],
            [Some(1), Some(2), Some(3), Some(4)]
        );
        assert_eq!(lines.number(1), 1, "the CR of a CRLF belongs to the line it ends");
        assert_eq!(lines.number(2), 1, "and so does its LF");
    }
}
