//! The largest inputs that are read, each with its reason. Anything larger is refused with the figure.

/// Bytes of a day list: a year of a large unit's visits, exported in one file, stays well below it.
pub const DAY_LIST_BYTES: usize = 16 * 1024 * 1024;

/// Bytes of a settings file: hundreds of regimens with comments stay well below it.
pub const SETTINGS_BYTES: usize = 1024 * 1024;

/// Rows of a day list, header not counted: a year of a large unit's visits.
pub const ROWS: usize = 50_000;

/// Columns of a day list: booking systems export some dozens.
pub const COLUMNS: usize = 500;

/// Characters of one cell. A longer one is nearly always a quotation mark that was never closed.
pub const CELL_CHARACTERS: usize = 4_000;
