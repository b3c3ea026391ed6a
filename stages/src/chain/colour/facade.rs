//! A side as seen straight from it: where each cell lies in the view, and what is seen there.

use glam::IVec3;

use crate::Side;
use crate::formats::picture::View;
use crate::solid::Face;
use crate::void::Void;

/// The rectangle around the silhouette, one place a cell, as the view from the side shows it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Facade {
    side: Side,
    /// To the right of the view, and up in it.
    across: IVec3,
    up: IVec3,
    /// The least of the cells along `across`, the greatest along `up`.
    left: i32,
    top: i32,
    pub(super) columns: usize,
    pub(super) rows: usize,
}

/// What is seen at a place of a facade.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Seen {
    /// Nothing: it lies beside the silhouette.
    Nothing,
    /// This outside face.
    Face(u32),
    /// The inside, through an opening.
    Inside,
}

impl Facade {
    /// The facade of a piece between its lowest and its highest cell.
    pub(super) fn of(side: Side, [low, high]: [IVec3; 2]) -> Self {
        let [across, up, _] = View::Side(side).axes().map(|axis| axis.as_ivec3());
        let [left, right] = ends(low, high, across);
        let [bottom, top] = ends(low, high, up);
        let (columns, rows) = ((right - left + 1) as usize, (top - bottom + 1) as usize);
        Self { side, across, up, left, top, columns, rows }
    }

    /// The number of places.
    pub(super) fn len(&self) -> usize {
        self.columns * self.rows
    }

    /// The place of a cell, row by row from the top left.
    pub(super) fn place(&self, cell: IVec3) -> usize {
        let (column, row) = (cell.dot(self.across) - self.left, self.top - cell.dot(self.up));
        row as usize * self.columns + column as usize
    }

    /// What is seen at each place.
    pub(super) fn seen(&self, faces: &[Face], void: Option<&Void>) -> Vec<Seen> {
        let mut nearest = vec![(i32::MIN, Seen::Nothing); self.len()];
        let mut show = |cell: IVec3, seen| {
            let near = cell.dot(self.side.step());
            let held = &mut nearest[self.place(cell)];
            if near > held.0 {
                *held = (near, seen);
            }
        };
        // An opening hides what lies behind the cells that it took away, as they did.
        void.iter().flat_map(|void| void.shafts.iter()).for_each(|cell| show(cell, Seen::Inside));
        for (at, face) in faces.iter().enumerate().filter(|(_, face)| face.side == self.side) {
            show(face.cell, Seen::Face(at as u32));
        }
        nearest.into_iter().map(|(_, seen)| seen).collect()
    }
}

fn ends(low: IVec3, high: IVec3, axis: IVec3) -> [i32; 2] {
    let (a, b) = (low.dot(axis), high.dot(axis));
    [a.min(b), a.max(b)]
}
