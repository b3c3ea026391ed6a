//! The smallest cells at which the same piece, scaled, holds.

use crate::print::press::{Figures, Press};
use crate::print::scores::{Effect, Scores, judge};
use crate::stage::{Halt, Shop};

/// Cells are tried within this factor of the piece's own, either way.
const FARTHEST: f64 = 32.0;

/// Cells are found to this part of their edge.
const FINE: f64 = 0.02;

/// The smallest edge of a cell, in mm, from which on the effect holds if the piece is scaled with its cells: within 2 %,
/// rounded up to a twentieth of a millimetre. Nothing if it holds at no size, or at every size tried.
///
/// Larger cells score better, so the place is found by halving between one that holds and one that does not.
pub(super) fn cell_that_holds(press: &Press<'_>, now: Effect, shop: &Shop<'_>) -> Result<Option<f64>, Halt> {
    let (stated, harshest) = (Figures::stated(shop.process()), Figures::harshest(shop.process()));
    let holds = |cell: f64| {
        let scaled = press.scaled(cell);
        let scores = Scores::of(&scaled, &stated);
        // What does not hold as stated need not be asked about the worst.
        let alone = judge(&scores, &scores).effect == Effect::Holds;
        alone && (stated == harshest || judge(&scores, &Scores::of(&scaled, &harshest)).effect == Effect::Holds)
    };
    let own = press.cell();
    let held = now == Effect::Holds;
    // From the piece's own cells in great steps to where the answer changes, then by halves.
    let step: f64 = if held { 0.5 } else { 2.0 };
    let (mut known, mut factor) = (1.0, step);
    while holds(own * factor) == held {
        shop.go_on()?;
        known = factor;
        factor *= step;
        if !(1.0 / FARTHEST..=FARTHEST).contains(&factor) {
            return Ok(None);
        }
    }
    let (mut fails, mut holding) = if held { (factor, known) } else { (known, factor) };
    while holding / fails > 1.0 + FINE {
        shop.go_on()?;
        let between = (holding * fails).sqrt();
        if holds(own * between) {
            holding = between;
        } else {
            fails = between;
        }
    }
    Ok(Some((holding * own * 20.0).ceil() / 20.0))
}
