//! Pictures of pages held against those that somebody has looked at.
//!
//! A difference is left in the target folder as expected, difference and actual side by side.
#![allow(dead_code, reason = "each test file uses a part of this")]

use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};

use image::ImageEncoder;
use image::codecs::png::{CompressionType, FilterType, PngEncoder};

use super::paper::Picture;

/// Whether references are made anew instead of compared.
pub fn approving() -> bool {
    std::env::var_os("BAYPACK_APPROVE").is_some()
}

fn size(picture: &Picture) -> (u32, u32) {
    let side = |pixels: usize| u32::try_from(pixels).expect("a page is small");
    (side(picture.width), side(picture.height))
}

fn save(path: &Path, (width, height): (u32, u32), shades: &[u8]) {
    let file = BufWriter::new(File::create(path).expect("the picture's file"));
    PngEncoder::new_with_quality(file, CompressionType::Best, FilterType::Adaptive)
        .write_image(shades, width, height, image::ExtendedColorType::L8)
        .expect("the picture is written");
}

/// Expected, difference and actual side by side, for whoever must judge.
fn show_difference(name: &str, expected: &image::GrayImage, actual: &Picture) -> PathBuf {
    let (width, height) = size(actual);
    let mut shades = Vec::new();
    for row in 0..height {
        let at = |picture: &dyn Fn(u32) -> u8| (0..width).map(picture).collect::<Vec<u8>>();
        let before = |column: u32| expected.get_pixel_checked(column, row).map_or(255, |pixel| pixel.0[0]);
        let after = |column: u32| actual.shades[(row * width + column) as usize];
        shades.extend(at(&before));
        shades.extend(at(&|column| 255 - before(column).abs_diff(after(column))));
        shades.extend(at(&after));
    }
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("{name}.difference.png"));
    save(&path, (3 * width, height), &shades);
    path
}

/// Whether two pictures are the same but for how a processor rounds a shade of an edge.
fn alike(expected: &[u8], actual: &[u8]) -> bool {
    const ROUNDING: u8 = 16;
    expected.iter().zip(actual).all(|(one, other)| one.abs_diff(*other) <= ROUNDING)
}

/// A picture whose shades are few, so that its file is small.
pub fn in_few_shades(picture: Picture) -> Picture {
    const LEVELS: u16 = 15;
    let level = |shade: u8| (u16::from(shade) * LEVELS + 127) / 255;
    let few = |shade: &u8| u8::try_from(level(*shade) * (255 / LEVELS)).unwrap_or(u8::MAX);
    Picture { shades: picture.shades.iter().map(few).collect(), ..picture }
}

/// Compares a page with its reference in `folder`, or makes that anew. Returns where a difference is shown.
pub fn difference(folder: &Path, name: &str, actual: &Picture) -> Option<PathBuf> {
    let path = folder.join(format!("{name}.png"));
    if approving() {
        std::fs::create_dir_all(folder).expect("the folder of the pictures");
        save(&path, size(actual), &actual.shades);
        return None;
    }
    let expected =
        image::open(&path).map_or_else(|_| image::GrayImage::new(0, 0), |picture| picture.to_luma8());
    let same = expected.dimensions() == size(actual) && alike(expected.as_raw(), &actual.shades);
    (!same).then(|| show_difference(name, &expected, actual))
}
