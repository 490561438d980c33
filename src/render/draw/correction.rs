//! The correction for a printer that the printer check showed to be off: one matrix around each sheet.
//!
//! A printer puts the point p of a page at s p + o on the paper. So the page is drawn with every point p at
//! (p - o) / s, and the paper then has it where it belongs.

use super::imposition::{Size, points};
use super::printer_check::{BAR, FRAMES};
use crate::unit_rules::Printer;

/// How far a printer is off.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correction {
    /// How much longer a length comes out, across and up the paper held upright; 1 on a true printer.
    scale: (f32, f32),
    /// How far the lower left corner of the page lies from that of the paper, in points.
    offset: (f32, f32),
}

impl Correction {
    /// What the measures of a printed printer check say; `None` where the printer is true.
    #[must_use]
    pub fn of(printer: &Printer) -> Option<Self> {
        let mm = |tenths: u16| f32::from(tenths) / 10.0;
        let scale = (mm(printer.bar_across) / BAR, mm(printer.bar_up) / BAR);
        let offset = (
            points(mm(printer.frame_left) - FRAMES[1] * scale.0),
            points(mm(printer.frame_bottom) - FRAMES[1] * scale.1),
        );
        (*printer != Printer::default()).then_some(Self { scale, offset })
    }

    /// The matrix for a sheet of this size (ISO 32000-1, 8.3.4).
    ///
    /// A sheet that lies across is turned by the printer, and nothing says which way: its lengths are
    /// corrected about its middle, and it is not moved.
    #[must_use]
    pub fn matrix(&self, sheet: Size) -> [f32; 6] {
        if sheet.is_landscape() {
            let (across, up) = (self.scale.1, self.scale.0);
            let kept = |length: f32, scale: f32| length / 2.0 * (1.0 - 1.0 / scale);
            return [1.0 / across, 0.0, 0.0, 1.0 / up, kept(sheet.width, across), kept(sheet.height, up)];
        }
        let (across, up) = self.scale;
        [1.0 / across, 0.0, 0.0, 1.0 / up, -self.offset.0 / across, -self.offset.1 / up]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Where a printer that was measured so puts a point of a sheet, in mm.
    fn printed(printer: &Printer, sheet: Size, (x, y): (f32, f32)) -> (f32, f32) {
        let correction = Correction::of(printer).expect("the printer is off");
        let [a, _, _, d, e, f] = correction.matrix(sheet);
        let drawn = (points(x) * a + e, points(y) * d + f);
        let (scale, offset) = (correction.scale, correction.offset);
        ((drawn.0 * scale.0 + offset.0) / points(1.0), (drawn.1 * scale.1 + offset.1) / points(1.0))
    }

    #[test]
    fn a_corrected_page_comes_out_where_it_belongs() {
        let printer = Printer { bar_across: 970, bar_up: 985, frame_left: 128, frame_bottom: 91 };
        for point in [(10.0, 10.0), (105.0, 148.5), (200.0, 287.0)] {
            let found = printed(&printer, Size::mm(210.0, 297.0), point);
            assert!((found.0 - point.0).abs() < 0.01 && (found.1 - point.1).abs() < 0.01, "{found:?}");
        }
    }

    #[test]
    fn a_true_printer_is_left_alone() {
        assert_eq!(Correction::of(&Printer::default()), None);
    }

    #[test]
    fn a_sheet_that_lies_across_keeps_its_middle() {
        let printer = Printer { bar_across: 970, bar_up: 985, ..Printer::default() };
        let sheet = Size::mm(297.0, 210.0);
        let [a, _, _, d, e, f] = Correction::of(&printer).expect("off").matrix(sheet);
        let middle = (sheet.width / 2.0, sheet.height / 2.0);
        assert!((middle.0 * a + e - middle.0).abs() < 0.01 && (middle.1 * d + f - middle.1).abs() < 0.01);
        assert!(
            (a * 0.985 - 1.0).abs() < 1e-5 && (d * 0.97 - 1.0).abs() < 1e-5,
            "its length is the paper's height"
        );
    }
}
