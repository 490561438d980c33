//! The NHS number: ten digits, the last of which checks the others.

/// Why an NHS number is refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Refusal {
    /// Something besides digits and spaces.
    NotDigits,
    /// Another number of digits than ten.
    Digits(usize),
    /// The last digit does not check the others.
    CheckDigit,
    /// Ten zeros: they pass the arithmetic, and stand for a number that is not known.
    Zeros,
}

/// The ten digits of an NHS number that may be written with spaces.
///
/// The first nine digits are weighted 10 down to 2; the sum's remainder on division by 11 is taken
/// from 11; 11 stands for 0, and 10 makes a number that is never issued (the rule as the `nhs-number`
/// package on docs.rs and Connecting for Health's old description state it).
pub(super) fn digits(written: &str) -> Result<String, Refusal> {
    let digits: String = written.chars().filter(|character| !character.is_whitespace()).collect();
    if !digits.bytes().all(|byte| byte.is_ascii_digit()) {
        return Err(Refusal::NotDigits);
    }
    if digits.len() != 10 {
        return Err(Refusal::Digits(digits.len()));
    }
    if digits.bytes().all(|byte| byte == b'0') {
        return Err(Refusal::Zeros);
    }
    let values = || digits.bytes().map(|byte| u32::from(byte - b'0'));
    let weighted: u32 = values().zip((2..=10).rev()).map(|(digit, weight)| digit * weight).sum();
    let check = match 11 - weighted % 11 {
        11 => 0,
        check => check,
    };
    // A check of 10 equals no digit, so such numbers are refused here too.
    if values().next_back() == Some(check) { Ok(digits) } else { Err(Refusal::CheckDigit) }
}

#[cfg(test)]
mod tests {
    use super::{Refusal, digits};

    #[test]
    fn published_numbers_are_accepted() {
        let published = [
            ("943 476 5919", "the public worked example: sum 299, remainder 2, check 9"),
            ("401 023 2137", "recomputed: sum 92, remainder 4, check 7"),
            ("654 100 3238", "a published sample: sum 168, remainder 3, check 8"),
            ("671 668 9966", "a published sample: sum 324, remainder 5, check 6"),
            ("987 654 3210", "recomputed: sum 330, remainder 0, so 11 stands for 0"),
            ("999 000 0018", "the range that is never issued, docs.rs nhs-number"),
            ("999 000 0026", "the same range"),
            ("999 000 0034", "the same range"),
            ("999 000 0042", "the same range"),
            ("999 000 0050", "the same range, check 0"),
            ("999 000 0069", "the same range"),
        ];
        for (number, source) in published {
            assert_eq!(digits(number), Ok(number.replace(' ', "")), "{number}: {source}");
        }
    }

    #[test]
    fn published_numbers_that_fail_the_check_are_refused() {
        let published = [
            ("987 654 3214", "recomputed: sum 330, check 0"),
            ("987 654 4321", "a layout example of a documentation page: sum 339, check 2"),
            ("123 456 7890", "recomputed: sum 210, remainder 1, check 10, never issued"),
            ("123 456 1234", "a sample in a package: sum 156, check 9"),
            ("129 728 7652", "a sample on a published banner picture: sum 257, check 7"),
        ];
        for (number, source) in published {
            assert_eq!(digits(number), Err(Refusal::CheckDigit), "{number}: {source}");
        }
    }

    #[test]
    fn prefixes_whose_check_is_ten_have_no_valid_last_digit() {
        // Recomputed: the remainder of each is 1.
        for prefix in ["999000000", "999000014", "999000028", "999000031"] {
            for last in 0..=9 {
                assert_eq!(digits(&format!("{prefix}{last}")), Err(Refusal::CheckDigit), "{prefix}{last}");
            }
        }
    }

    #[test]
    fn ten_zeros_are_refused_although_the_arithmetic_passes() {
        assert_eq!(digits("000 000 0000"), Err(Refusal::Zeros));
    }

    #[test]
    fn other_lengths_and_letters_are_refused() {
        assert_eq!(digits("943 476 591"), Err(Refusal::Digits(9)));
        assert_eq!(digits("943 476 59190"), Err(Refusal::Digits(11)));
        assert_eq!(digits("943-476-5919"), Err(Refusal::NotDigits));
        assert_eq!(digits("٩٤٣٤٧٦٥٩١٩"), Err(Refusal::NotDigits), "digits of another script are not read");
    }
}
