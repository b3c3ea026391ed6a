//! The piece drawn from above a corner, in isometric projection, as outlines to fill.
//!
//! Seen along the diagonal of a cube, every face of every cube covers two triangles of one triangular lattice, so what hides
//! what is decided triangle by triangle, exactly: the face nearest to the viewer has it.
//!
//! Notation: `a`, `b` and `c` count cells towards the viewer, to one side, to the other and up; a corner lies at
//! `p = a − c`, `q = b − c` on the lattice, at `√3/2 (p − q)` to the right and `(p + q) / 2` down on paper, in edges of a cube.

use std::collections::BTreeMap;

use glam::{DVec2, IVec3};

use super::building::Building;
use crate::Side;

/// From where it is seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum From {
    /// From above the corner between front and right.
    FrontRight,
    /// From above the corner between back and left.
    BackLeft,
}

impl From {
    /// The sides that are seen: on the right of the picture, on its left, and the top.
    const fn sides(self) -> [Side; 3] {
        match self {
            Self::FrontRight => [Side::Right, Side::Front, Side::Top],
            Self::BackLeft => [Side::Left, Side::Back, Side::Top],
        }
    }

    /// A cell's place towards the viewer.
    fn place(self, cell: IVec3) -> [i32; 3] {
        match self {
            Self::FrontRight => [cell.x, -cell.y, cell.z],
            Self::BackLeft => [-cell.x, cell.y, cell.z],
        }
    }
}

/// A piece of a face: its side, the place of its colour, and its corners in edges of a cube, y up.
pub(super) struct Patch {
    pub(super) side: Side,
    pub(super) ink: u16,
    pub(super) corners: Vec<DVec2>,
}

/// A triangle of the lattice: the square with that lowest corner, below its diagonal or above.
type Tile = ([i32; 2], bool);

/// What shows of the piece.
pub(super) fn patches(building: &Building, from: From) -> Vec<Patch> {
    let mut nearest: BTreeMap<Tile, (i32, IVec3, usize, u16)> = BTreeMap::new();
    for z in building.low.z..building.low.z + building.counts.z {
        for (cell, shown) in building.shown_in(z) {
            let place = from.place(cell);
            let depth = place.iter().sum::<i32>();
            for (at, side) in from.sides().into_iter().enumerate() {
                let Some(ink) = shown[side] else { continue };
                for tile in tiles(place, at) {
                    let seen = nearest.entry(tile).or_insert((depth, cell, at, ink));
                    if seen.0 < depth {
                        *seen = (depth, cell, at, ink);
                    }
                }
            }
        }
    }
    // A face of which both triangles show is drawn whole, when its first one comes up.
    let mut patches = Vec::new();
    for (&tile, &(_, cell, at, ink)) in &nearest {
        let place = from.place(cell);
        let both = tiles(place, at);
        let whole = both.iter().all(|t| nearest.get(t).is_some_and(|seen| (seen.1, seen.2) == (cell, at)));
        let corners = match whole {
            true if tile == both[0].min(both[1]) => quad(place, at),
            true => continue,
            false => corners(tile),
        };
        patches.push(Patch { side: from.sides()[at], ink, corners: corners.into_iter().map(paper).collect() });
    }
    patches
}

/// The two triangles that a face covers: of the sides of [`From::sides`], that with the number `at`.
fn tiles([a, b, c]: [i32; 3], at: usize) -> [Tile; 2] {
    let (p, q) = (a - c, b - c);
    match at {
        0 => [([p, q - 1], true), ([p, q], false)],
        1 => [([p - 1, q], false), ([p, q], true)],
        _ => [([p - 1, q - 1], false), ([p - 1, q - 1], true)],
    }
}

fn quad([a, b, c]: [i32; 3], at: usize) -> Vec<[i32; 2]> {
    let (p, q) = (a - c, b - c);
    match at {
        0 => vec![[p, q - 1], [p + 1, q], [p + 1, q + 1], [p, q]],
        1 => vec![[p - 1, q], [p, q + 1], [p + 1, q + 1], [p, q]],
        _ => vec![[p - 1, q - 1], [p, q - 1], [p, q], [p - 1, q]],
    }
}

fn corners(([p, q], above): Tile) -> Vec<[i32; 2]> {
    vec![[p, q], [p + 1, q + 1], if above { [p, q + 1] } else { [p + 1, q] }]
}

fn paper([p, q]: [i32; 2]) -> DVec2 {
    let (p, q) = (f64::from(p), f64::from(q));
    DVec2::new(0.75_f64.sqrt() * (p - q), -(p + q) / 2.0)
}
