//! The largest values that are accepted, each with its reason. Anything larger is refused with the
//! figure. (The sizes of whole files are `read`'s.)

/// Characters of a patient's family or given name. The NHS Common User Interface allows 40 for a
/// family name (NID-0014), 35 for a given name and 100 for all middle names together.
pub const NAME_CHARACTERS: usize = 100;

/// Characters of an alert: three lines on a strip, which is what a nurse can take in while walking.
pub const ALERT_CHARACTERS: usize = 300;

/// Characters of a hospital number: it stands whole on one line of every list, beside the date of birth.
pub const NUMBER_CHARACTERS: usize = 24;

/// Characters of any other text.
pub const TEXT_CHARACTERS: usize = 100;

/// Characters of the texts that stand in narrow places of the sheets, by section and key: a chair, an outlet and a
/// cap in the tick list's columns of 13 and 19 mm, a bay in the first column of the table of spare outlets, a
/// telephone number in the largest type of a card. `tests/worst_days.rs` prints the longest of each.
const NARROW: [(&str, &str, usize); 13] = [
    ("", "name", 60),
    ("", "phone_day", 24),
    ("", "phone_night", 24),
    ("", "engineer_phone", 24),
    ("", "fever_from", 24),
    ("shifts", "name", 24),
    ("bays", "name", 24),
    ("bays", "chairs", 12),
    ("bays", "reach", 12),
    ("machines", "name", 12),
    ("machines", "bay", 24),
    ("machines.out_of_service", "reason", 60),
    ("regimens.steps", "drug", 60),
];

/// Characters of a cap's size, which the unit names itself.
const CAP_CHARACTERS: usize = 12;

/// The most characters of a setting's text.
pub fn text_characters(section: &str, key: &str) -> usize {
    if section == "caps" {
        return CAP_CHARACTERS;
    }
    let narrow = NARROW.iter().find(|(of, name, _)| (*of, *name) == (section, key));
    narrow.map_or(TEXT_CHARACTERS, |(_, _, most)| *most)
}

/// Bytes of a bay's name in a file's name. File systems take 255 in all, some that encrypt names 143.
pub const FILE_NAME_BYTES: usize = 100;

/// Marks that may follow one letter. Hebrew with vowels and Vietnamese need up to three; more would
/// be printed over the lines above and below.
pub const MARKS_IN_A_ROW: usize = 4;

/// The highest cycle. Weekly treatment over a year stays below it.
pub const CYCLE: u32 = 99;

/// Years before the day within which a patient was born.
pub const AGE_YEARS: i32 = 130;

/// Visits of one day. The paper of so many, in a unit much too small for them, was measured to take 80
/// seconds and 5 GB of memory on two cores; a unit with more prints bay by bay.
pub const VISITS: usize = 300;

/// Shifts of a day.
pub const SHIFTS: usize = 12;

/// Bays of a unit.
pub const BAYS: usize = 100;

/// Chairs of a bay.
pub const CHAIRS: usize = 100;

/// Nurses of a bay.
pub const NURSES: i64 = 50;

/// Machines of a unit.
pub const MACHINES: usize = 500;

/// Stretches of one day in which a machine is out of service.
pub const OUTAGES: usize = 50;

/// Sizes of caps: three lines of boxes on a strip at the most.
pub const CAP_SIZES: usize = 12;

/// Caps of one size.
pub const CAPS: i64 = 999;

/// Hours after cooling within which the conditioner is rinsed out: a week at most.
pub const RINSE_HOURS: i64 = 168;

/// Regimens of a unit.
pub const REGIMENS: usize = 2_000;

/// Tenths of a mm that a printed bar of 100 mm may measure: a printer that is further off scales pages to fit.
pub const CHECK_BAR: (u16, u16) = (950, 1050);

/// Tenths of a mm that a printed frame may stand from an edge, of 10 mm.
pub const CHECK_FRAME: (u16, u16) = (50, 150);

/// Drugs of a regimen.
pub const STEPS: usize = 30;

/// Names that a message lists; more would hide the sentence.
pub const NAMES_IN_A_MESSAGE: usize = 12;
