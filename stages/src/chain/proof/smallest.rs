//! The smallest cells at which the same piece, scaled, holds.

use crate::print::press::{Figures, Press};
use crate::print::scores::Scores;
use crate::stage::{Halt, Shop};

/// Cells are tried within this factor of the piece's own, either way.
const FARTHEST: f64 = 32.0;

/// Cells are found to this part of their edge.
const FINE: f64 = 0.02;

/// The smallest edge of a cell, in mm, from which on the effect holds if the piece is scaled with its cells: within 2 %,
/// rounded up to a twentieth of a millimetre. Nothing if it holds at no size, or at every size tried.
///
/// Larger cells score better. How far the weakest score is from where it holds grows smoothly with the logarithm of the
/// edge, so the place is found by the secant between one that holds and one that does not, and every answer is one that was
/// asked for: the edge given was scored, and holds.
pub(super) fn cell_that_holds(press: &Press<'_>, now: f64, shop: &Shop<'_>) -> Result<Option<f64>, Halt> {
    let (stated, harshest) = (Figures::stated(shop.process()), Figures::harshest(shop.process()));
    let spare = |factor: f64| {
        let scaled = press.scaled(press.cell() * factor);
        let scores = Scores::of(&scaled, &stated);
        // What does not hold as stated need not be asked about the worst.
        let alone = spare_of(&scores, &scores);
        if alone < 0.0 || stated == harshest { alone } else { spare_of(&scores, &Scores::of(&scaled, &harshest)) }
    };
    // From the piece's own cells in great steps to where the answer changes.
    let step: f64 = if now >= 0.0 { 0.5 } else { 2.0 };
    let (mut known, mut next) = (Try { factor: 1.0, spare: now }, 1.0);
    let found = loop {
        next *= step;
        if !(1.0 / FARTHEST..=FARTHEST).contains(&next) {
            return Ok(None);
        }
        shop.go_on()?;
        let tried = Try { factor: next, spare: spare(next) };
        if (tried.spare >= 0.0) != (known.spare >= 0.0) {
            break tried;
        }
        known = tried;
    };
    let [mut fails, mut holds] = if known.spare < 0.0 { [known, found] } else { [found, known] };
    loop {
        // Where the line between both crosses; a little beyond, for a try that holds is worth more than one that does not.
        let share = fails.spare / (fails.spare - holds.spare);
        let root = fails.factor * libm::pow(holds.factor / fails.factor, share);
        if holds.factor <= root * (1.0 + FINE) {
            return Ok(Some((holds.factor * press.cell() * 20.0).ceil() / 20.0));
        }
        shop.go_on()?;
        let factor = root * (1.0 + FINE / 3.0);
        let tried = Try { factor, spare: spare(factor) };
        if tried.spare < 0.0 {
            fails = tried;
        } else {
            holds = tried;
        }
    }
}

/// A scale that was tried.
#[derive(Clone, Copy)]
struct Try {
    factor: f64,
    /// See [`spare_of`].
    spare: f64,
}

/// What the weakest score has to spare before the piece no longer holds: 0 or more if it does.
pub(super) fn spare_of(stated: &Scores, harshest: &Scores) -> f64 {
    // As stated the weakest score must get to 1, with the harshest figures it must not fall below 0.
    let margin = |scores: &Scores| scores.margin().unwrap_or(-1.0);
    (margin(stated) - 1.0).min(margin(harshest))
}
