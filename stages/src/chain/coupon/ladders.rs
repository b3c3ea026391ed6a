//! Which sizes a coupon has where the settings do not say: around what the process file expects, so that the true figure
//! is bracketed even if it is a few times smaller or larger.

use super::reading::{Ladders, reading_cell, reading_line};
use crate::process::Process;

/// Sizes in a row.
const STEPS: i32 = 8;
/// The largest patch and line measure so many times what should just read, and the smallest the fraction [`SMALLEST`] of it.
const LARGEST: f64 = 4.0;
const SMALLEST: f64 = 0.45;
/// Fins as shares of the minimum wall.
const WALLS: [f64; 8] = [1.5, 1.25, 1.0, 0.85, 0.7, 0.55, 0.45, 0.35];

/// The sizes for a process, in mm.
pub(super) fn of_process(process: &Process) -> Ladders {
    // A process that is said not to bleed at all still has a smallest detail, over which colours can run.
    let sigma = process.bleed.value.mm().max(process.detail.value.mm() / 4.0);
    let gap = (process.tolerance.value.mm() / 3.0 / 0.05).round().max(1.0) * 0.05;
    let falling = |reads: f64| {
        let ratio = SMALLEST / LARGEST;
        (0..STEPS)
            .map(|i| two_digits(LARGEST * reads * libm::pow(ratio, f64::from(i) / f64::from(STEPS - 1))))
            .collect()
    };
    Ladders {
        cells: falling(sigma * reading_cell()),
        lines: falling(sigma * reading_line()),
        gaps: (1..=STEPS).map(|i| (f64::from(i) * gap * 1000.0).round() / 1000.0).collect(),
        walls: WALLS.map(|share| two_digits(share * process.minimum_wall.value.mm())).into(),
    }
}

/// A length with two digits that count.
fn two_digits(mm: f64) -> f64 {
    let steps = if mm >= 1.0 { 10.0 } else { 100.0 };
    (mm * steps).round().max(1.0) / steps
}
