//! Which mirrors a solid looks the same in, and a way to look at it that does not depend on how it was mirrored.

use std::cmp::Ordering;

use glam::IVec3;

use crate::solid::Cells;

/// Mirrors across x, y and z, each or not.
type Mirrors = [bool; 3];

/// Every combination of the three; the first is to look straight.
const MIRRORS: [Mirrors; 8] = [
    [false, false, false],
    [true, false, false],
    [false, true, false],
    [true, true, false],
    [false, false, true],
    [true, false, true],
    [false, true, true],
    [true, true, true],
];

/// How a solid relates to its images in mirrors through the middle of the box around it.
#[derive(Clone, Debug)]
pub(super) struct Symmetry {
    /// Sum of the lowest and highest solid cell.
    middle: IVec3,
    /// The mirrors in which the solid looks the same; to look straight is among them.
    same: Vec<Mirrors>,
    /// The mirrors in which the solid comes first of all its images: all images are seen alike through theirs.
    view: Mirrors,
}

impl Symmetry {
    /// Of a solid in the box from `low` to `high`.
    pub(super) fn of(cells: &Cells, [low, high]: [IVec3; 2]) -> Self {
        let compare = |a: Mirrors, b: Mirrors| compared(cells, [low, high], a, b);
        let same = MIRRORS.into_iter().filter(|&m| m == MIRRORS[0] || compare(m, MIRRORS[0]).is_eq()).collect();
        let first = |a, b| if compare(b, a).is_lt() { b } else { a };
        let view = MIRRORS.into_iter().reduce(first).unwrap_or(MIRRORS[0]);
        Self { middle: low + high, same, view }
    }

    /// Whether the solid looks the same in any mirror at all.
    pub(super) fn has_images(&self) -> bool {
        self.same.len() > 1
    }

    /// A cell and its images, without repeats, in the order in which the first image of the solid has them.
    pub(super) fn orbit(&self, cell: IVec3) -> Vec<IVec3> {
        let mut orbit: Vec<IVec3> = Vec::with_capacity(self.same.len());
        for image in self.same.iter().map(|&mirrors| mirrored(cell, self.middle, mirrors)) {
            if !orbit.contains(&image) {
                orbit.push(image);
            }
        }
        orbit.sort_unstable_by_key(|&image| self.order(2 * image));
        orbit
    }

    /// Orders places in the same way in every image of the solid. `twice` counts half cells from the middle of cell 0.
    pub(super) fn order(&self, twice: IVec3) -> [i32; 3] {
        let seen = mirrored(twice, 2 * self.middle, self.view);
        [seen.z, seen.y, seen.x]
    }
}

fn mirrored(cell: IVec3, middle: IVec3, mirrors: Mirrors) -> IVec3 {
    let at = |axis: usize| if mirrors[axis] { middle[axis] - cell[axis] } else { cell[axis] };
    IVec3::new(at(0), at(1), at(2))
}

/// Compares two images of a solid, 64 cells at a time; stops at the first difference.
fn compared(cells: &Cells, [low, high]: [IVec3; 2], a: Mirrors, b: Mirrors) -> Ordering {
    let size = high - low + 1;
    let word = |mirrors: Mirrors, j: i32, k: i32, w: i32| {
        let line = mirrored(low + IVec3::new(0, j, k), low + high, mirrors);
        let words = cells.line(line.y, line.z);
        if mirrors[0] {
            // Bit 0 is the highest cell; what lies below the box is air.
            bits_from(words, high.x - 64 * w - 63).reverse_bits()
        } else {
            bits_from(words, low.x + 64 * w)
        }
    };
    for k in 0..size.z {
        for j in 0..size.y {
            for w in 0..(size.x + 63) / 64 {
                match word(a, j, k, w).cmp(&word(b, j, k, w)) {
                    Ordering::Equal => {}
                    other => return other,
                }
            }
        }
    }
    Ordering::Equal
}

/// 64 bits of a line from a place on, which may lie before it or go past its end.
fn bits_from(line: &[u64], start: i32) -> u64 {
    let word = |w: i32| usize::try_from(w).ok().and_then(|w| line.get(w)).copied().unwrap_or(0);
    let (w, shift) = (start.div_euclid(64), start.rem_euclid(64));
    let high = if shift == 0 { 0 } else { word(w + 1) << (64 - shift) };
    word(w) >> shift | high
}
