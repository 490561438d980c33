//! Which page stands where on which sheet of paper.
//!
//! The printer is asked to turn sheets over their long edge, as office printers do unasked. A staff
//! sheet has a blank back, so that two of them never share a sheet. Lengths are in points from the
//! lower left corner, as PDF counts; nothing here draws.

/// The size of a page or a sheet, in points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Size {
    /// From left to right.
    pub width: f32,
    /// From bottom to top.
    pub height: f32,
}

impl Size {
    /// A size given in mm.
    #[must_use]
    pub fn mm(width: f32, height: f32) -> Self {
        Self { width: points(width), height: points(height) }
    }

    /// The sheet with its long side across.
    const fn across(self) -> Self {
        Self { width: self.height, height: self.width }
    }

    pub(super) const fn is_landscape(self) -> bool {
        self.width > self.height
    }

    /// Whether a page of this size goes onto `room`; half a millimetre is forgiven, because A5 is
    /// not quite half of A4.
    fn fits(self, room: Self) -> bool {
        let spare = points(0.5);
        self.width <= room.width + spare && self.height <= room.height + spare
    }
}

/// Millimetres as points.
#[must_use]
pub fn points(mm: f32) -> f32 {
    mm * (72.0 / 25.4)
}

/// A page on one side of a sheet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placed {
    /// The document, counted from 0.
    pub document: usize,
    /// Its page, counted from 0.
    pub page: usize,
    /// Where the page's lower left corner lies while the sheet is read upright.
    pub at: (f32, f32),
    /// The page's size.
    pub size: Size,
}

/// A sheet of paper.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// Its size; both sides have it.
    pub size: Size,
    /// What stands on the front.
    pub front: Vec<Placed>,
    /// What stands on the back, read upright; empty: the back is blank.
    pub back: Vec<Placed>,
    /// Whether the sheet is cut in two, halfway along its long side.
    pub cut: bool,
    /// Where stamps stand on the front: the middle of each, and the lower edge that it stands above.
    /// A card that is cut out has one of its own.
    pub stamps: Vec<(f32, f32)>,
}

impl Sheet {
    /// Whether the back is printed upside down: a sheet that lies across turns over its long edge top
    /// to bottom, and cut cards are then read by turning them like a page.
    #[must_use]
    pub fn back_is_turned(&self) -> bool {
        self.size.is_landscape()
    }
}

/// A document's pages, as imposition needs them.
#[derive(Clone, Copy, Debug)]
pub struct Pages<'a> {
    /// The document, counted from 0.
    pub document: usize,
    /// The size of each page.
    pub sizes: &'a [Size],
}

/// A sheet for each page, all backs blank.
pub fn one_sided(pages: Pages<'_>) -> impl Iterator<Item = Sheet> + '_ {
    (0..pages.sizes.len()).filter_map(move |page| whole(pages, page, None))
}

/// A sheet for every two pages.
pub fn two_sided(pages: Pages<'_>) -> impl Iterator<Item = Sheet> + '_ {
    (0..pages.sizes.len()).step_by(2).filter_map(move |page| whole(pages, page, Some(page + 1)))
}

fn whole(pages: Pages<'_>, front: usize, back: Option<usize>) -> Option<Sheet> {
    let size = *pages.sizes.get(front)?;
    let place = |page: usize| {
        let size = *pages.sizes.get(page)?;
        Some(Placed { document: pages.document, page, at: (0.0, 0.0), size })
    };
    Some(Sheet {
        size,
        front: place(front).into_iter().collect(),
        back: back.and_then(place).into_iter().collect(),
        cut: false,
        stamps: vec![(size.width / 2.0, 0.0)],
    })
}

/// Whether a page is a whole sheet of `paper` (given upright), upright or on its side.
#[must_use]
pub fn is_whole(page: Size, paper: Size) -> bool {
    let fills = |sheet: Size| page.fits(sheet) && sheet.fits(page);
    fills(paper) || fills(paper.across())
}

/// Whether every page of a document goes onto half a sheet of `paper` (given upright).
#[must_use]
pub fn is_half(pages: Pages<'_>, paper: Size) -> bool {
    pages.sizes.iter().all(|size| size.fits(half(paper.across())))
}

/// Cards of up to two pages, two to a sheet of `paper` that lies across, in their order: the second
/// page of a card is behind its first.
#[must_use]
pub fn two_up(cards: &[Pages<'_>], paper: Size) -> Vec<Sheet> {
    let size = paper.across();
    let side = |pair: &[Pages<'_>], page: usize, columns: [usize; 2]| {
        let placed =
            pair.iter().zip(columns).filter_map(|(card, column)| in_column(*card, page, column, size));
        placed.collect::<Vec<_>>()
    };
    let sheet = |pair: &[Pages<'_>]| {
        let front = side(pair, 0, [0, 1]);
        let stamps = front.iter().map(|card| (card.at.0 + card.size.width / 2.0, card.at.1)).collect();
        Sheet { size, front, back: side(pair, 1, [1, 0]), cut: true, stamps }
    };
    cards.chunks(2).map(sheet).collect()
}

/// The page in the middle of the left (0) or right (1) half of a sheet.
fn in_column(card: Pages<'_>, page: usize, column: usize, sheet: Size) -> Option<Placed> {
    let size = *card.sizes.get(page)?;
    let room = half(sheet);
    let left = if column == 0 { 0.0 } else { room.width };
    let at = (left + (room.width - size.width) / 2.0, (room.height - size.height) / 2.0);
    Some(Placed { document: card.document, page, at, size })
}

fn half(across: Size) -> Size {
    Size { width: across.width / 2.0, ..across }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn a4() -> Size {
        Size::mm(210.0, 297.0)
    }

    fn a5() -> Size {
        Size::mm(148.0, 210.0)
    }

    fn column(placed: &Placed) -> &'static str {
        if placed.at.0 < a4().across().width / 2.0 { "left" } else { "right" }
    }

    #[test]
    fn a_cards_second_page_is_behind_its_first() {
        let sizes = [a5(), a5()];
        let cards = [0, 1, 2].map(|document| Pages { document, sizes: &sizes });
        let sheets = two_up(&cards, a4());
        assert_eq!(sheets.len(), 2);
        let sides = |side: &[Placed]| -> Vec<(usize, usize, &str)> {
            side.iter().map(|placed| (placed.document, placed.page, column(placed))).collect()
        };
        assert_eq!(sides(&sheets[0].front), [(0, 0, "left"), (1, 0, "right")]);
        assert_eq!(sides(&sheets[0].back), [(0, 1, "right"), (1, 1, "left")]);
        assert_eq!(sides(&sheets[1].front), [(2, 0, "left")]);
        assert_eq!(sides(&sheets[1].back), [(2, 1, "right")]);
        assert!(sheets.iter().all(|sheet| sheet.cut && sheet.back_is_turned()));
    }

    #[test]
    fn cards_of_one_page_have_a_blank_back() {
        let one = [a5()];
        let two = [a5(), a5()];
        let cards = [Pages { document: 0, sizes: &one }, Pages { document: 1, sizes: &two }];
        let sheets = two_up(&cards, a4());
        assert_eq!(sheets[0].back.len(), 1);
        assert_eq!(sheets[0].back[0].document, 1);
        assert!(two_up(&cards[..1], a4())[0].back.is_empty());
    }

    #[test]
    fn a_card_lies_in_the_middle_of_its_half_and_never_across_the_cut() {
        let sizes = [a5()];
        let cards = [0, 1].map(|document| Pages { document, sizes: &sizes });
        for placed in &two_up(&cards, a4())[0].front {
            let middle = points(148.5);
            let (left, right) = (placed.at.0, placed.at.0 + placed.size.width);
            assert!(right <= middle || left >= middle, "{left} to {right}");
            let beside = (left % middle, (middle - right % middle) % middle);
            assert!(
                (beside.0 - points(0.25)).abs() < 0.01 && (beside.1 - points(0.25)).abs() < 0.01,
                "{beside:?}"
            );
        }
    }

    #[test]
    fn staff_sheets_are_one_sided_and_large_cards_two_sided() {
        let sizes = [a4(), a4(), a4()];
        let pages = Pages { document: 7, sizes: &sizes };
        let fronts: Vec<usize> = one_sided(pages).map(|sheet| sheet.front[0].page).collect();
        assert_eq!(fronts, [0, 1, 2]);
        assert!(one_sided(pages).all(|sheet| sheet.back.is_empty()));
        let backs: Vec<Option<usize>> =
            two_sided(pages).map(|sheet| sheet.back.first().map(|placed| placed.page)).collect();
        assert_eq!(backs, [Some(1), None]);
        assert!(two_sided(pages).all(|sheet| !sheet.back_is_turned()));
    }

    #[test]
    fn half_a_letter_is_half_of_letter_and_a5_is_not() {
        let letter = Size::mm(215.9, 279.4);
        let is_half_of = |size: Size, paper: Size| is_half(Pages { document: 0, sizes: &[size] }, paper);
        assert!(is_half_of(Size::mm(139.7, 215.9), letter));
        assert!(!is_half_of(a5(), letter), "148 mm is more than half of 279.4 mm");
        assert!(is_half_of(a5(), a4()));
        assert!(is_whole(a4(), a4()) && is_whole(a4().across(), a4()));
        assert!(!is_whole(letter, a4()) && !is_whole(a5(), a4()));
        assert!(!is_half_of(a4(), a4()));
    }
}
