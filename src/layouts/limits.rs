//! The largest files of a unit's own that are taken, each with its reason. Anything larger is refused
//! with the figure.

/// Files of a folder: ten times those that the program carries.
pub const FILES: usize = 700;

/// Folders in one another: layouts have one level, folders of fonts seldom more than three.
pub const DEPTH: usize = 5;

/// Bytes of a file that is no font: the longest that the program carries has a twentieth of it.
pub const TEXT_BYTES: u64 = 1024 * 1024;

/// Bytes of a font file: the largest that are in use, for Chinese and Japanese, have about 20 MB.
pub const FONT_BYTES: u64 = 32 * 1024 * 1024;

/// Bytes of all files together.
pub const ALL_BYTES: u64 = 128 * 1024 * 1024;
