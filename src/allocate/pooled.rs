//! All outlets as one pool: how many sessions must be left out whatever is done.

use std::collections::BTreeSet;

use crate::clock::{Moment, Span};

/// The fewest of `holds` (in the order of their starts) that must be left out so that never more than
/// `outlets` of the rest meet: whenever there is one too many, the one that would end last is left
/// out, which is never worse than leaving out another.
pub(super) fn fewest_left_out(holds: impl IntoIterator<Item = Span>, outlets: usize) -> u32 {
    let mut running: BTreeSet<(Moment, usize)> = BTreeSet::new();
    let mut left_out = 0;
    for (place, hold) in holds.into_iter().enumerate() {
        while running.first().is_some_and(|(until, _)| *until <= hold.from) {
            running.pop_first();
        }
        running.insert((hold.until, place));
        if running.len() > outlets {
            running.pop_last();
            left_out += 1;
        }
    }
    left_out
}
