//! The short code that every page carries.
//!
//! It tells which sheet of which day a page belongs to, and nothing of a patient: it is made from the
//! day and from the sheet's place in the unit (bay, chair and arrival), never from a name or number.

use chrono::NaiveDate;
use sha2::{Digest, Sha256};

/// Letters and digits that are not taken for one another in handwriting or in a copy.
const SIGNS: &[u8; 27] = b"23456789ACDEFGHJKLMNPQRTWXY";

/// How many signs a code has: 27^6 codes, so that two sheets of one day meet once in many years.
const LENGTH: usize = 6;

/// Hands out the codes of one day, each once.
#[derive(Debug)]
pub struct PageCodes {
    day: NaiveDate,
    given: Vec<String>,
}

impl PageCodes {
    /// Codes for a day.
    #[must_use]
    pub const fn of(day: NaiveDate) -> Self {
        Self { day, given: Vec::new() }
    }

    /// The code of the sheet that `place` describes. The same place asked for again gets another.
    pub fn code(&mut self, place: &str) -> String {
        let code = (0_u32..)
            .map(|attempt| self.attempt(place, attempt))
            .find(|code| !self.given.contains(code))
            .unwrap_or_default();
        self.given.push(code.clone());
        code
    }

    fn attempt(&self, place: &str, attempt: u32) -> String {
        let digest = Sha256::digest(format!("{}|{place}|{attempt}", self.day));
        digest.iter().take(LENGTH).map(|byte| char::from(SIGNS[usize::from(*byte) % SIGNS.len()])).collect()
    }
}
