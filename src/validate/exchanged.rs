//! Cells that stand in each other's columns: neither would do where it is, and each would where the other is.

use super::columns::Column;
use super::nhs_number;
use super::row::{RowCheck, YES_OR_NO};
use super::rows::Against;
use super::times::LAST_TIME;
use super::visit::{GO_AHEADS, HAIRS};

/// The pairs of columns of a row whose cells are exchanged, each column in one pair at most. Texts such as names
/// would do anywhere, so nothing is said of them.
pub(super) fn exchanged(check: &RowCheck<'_>, against: &Against<'_>) -> Vec<(Column, Column)> {
    let mut pairs: Vec<(Column, Column)> = Vec::new();
    for (at, one) in Column::ALL.into_iter().enumerate() {
        for other in Column::ALL.into_iter().skip(at + 1) {
            let is_paired = |column| pairs.iter().any(|pair| pair.0 == column || pair.1 == column);
            if !is_paired(one) && !is_paired(other) && are_exchanged(one, other, check, against) {
                pairs.push((one, other));
            }
        }
    }
    pairs
}

fn are_exchanged(one: Column, other: Column, check: &RowCheck<'_>, against: &Against<'_>) -> bool {
    let (first, second) = (check.cell(one), check.cell(other));
    if first.is_empty() || second.is_empty() {
        return false;
    }
    if (one, other) == (Column::HospitalNo, Column::NhsNo) {
        let is_none = matches!(nhs_number::digits(second), Err(nhs_number::Refusal::NotDigits));
        return is_none && nhs_number::digits(first).is_ok();
    }
    let fits = |column, cell| fits(column, cell, check, against);
    fits(one, first) == Some(false)
        && fits(other, second) == Some(false)
        && fits(one, second) == Some(true)
        && fits(other, first) == Some(true)
}

/// Whether a cell would do in a column; `None` where nothing can be said of it.
fn fits(column: Column, cell: &str, check: &RowCheck<'_>, against: &Against<'_>) -> Option<bool> {
    let is = |name: &str| name.to_lowercase() == cell.to_lowercase();
    match column {
        Column::Date | Column::Born => Some(against.form.dates.read(cell).is_some()),
        Column::NextVisit => Some(against.form.next_visit(cell).is_some()),
        Column::Arrive | Column::DrugsReady | Column::LeaveBy => {
            Some(against.form.times.read(cell, LAST_TIME).is_some())
        }
        Column::Bay => Some(against.bays?.iter().any(|bay| is(&bay.name))),
        Column::Chair => Some(against.bays?.iter().flat_map(|bay| &bay.chairs).any(|chair| is(chair))),
        Column::Regimen => Some(against.regimens?.iter().any(|regimen| is(&regimen.code))),
        Column::Cap => Some(against.caps?.iter().any(|cap| is(&cap.size))),
        Column::Language => Some(against.at_hand.languages.iter().any(|language| is(language))),
        Column::Cycle => Some(cell.len() <= 2 && cell.bytes().all(|byte| byte.is_ascii_digit())),
        Column::Cooled | Column::OwnCap | Column::LargePrint | Column::Isolate => {
            Some(check.is_word(cell, &YES_OR_NO))
        }
        Column::Hair => Some(check.is_word(cell, &HAIRS)),
        Column::GoAhead => Some(check.is_word(cell, &GO_AHEADS)),
        Column::HospitalNo | Column::NhsNo | Column::FamilyName | Column::GivenName | Column::Alert => None,
    }
}
