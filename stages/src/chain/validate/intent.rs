//! What the job asked for: the only thing that is taken from the workpiece. Everything else is measured on the file.

use std::sync::OnceLock;

use glam::{DVec3, IVec3};

use crate::division::{Peg, PegKind};
use crate::memo::Key;
use crate::paint::Paint;
use crate::solid::{Face, Grid};
use crate::void::{Opening, Void};
use crate::workpiece::faces_key;
use crate::{Side, Srgb};

/// How far in mm a point of the file may lie off where the job has it: more than rounding to three decimals leaves
/// (5e-4), far less than the smallest cell (some 0.1).
pub(super) const NEAR: f64 = 2e-3;

/// The form that the job asked for.
pub(super) struct Form<'a> {
    grid: Grid,
    /// The faces that are painted.
    faces: &'a [Face],
    /// Places in `faces`, sorted by cell and side, once somebody looks for one.
    by_cell: OnceLock<Vec<u32>>,
    /// The openings, with the boxes of their shafts.
    pub(super) openings: &'a [Opening],
    /// The wall in mm between cavity and outside, where there is a void.
    pub(super) wall: Option<f64>,
    /// Pins and sockets, where it is a part of a divided piece.
    pub(super) pegs: Option<&'a [Peg]>,
}

/// What the job asked for.
pub(super) struct Intent<'a> {
    pub(super) form: Form<'a>,
    paint: &'a Paint,
    /// The colour of the bare material.
    bare: Srgb,
}

impl<'a> Intent<'a> {
    /// `wall`, where given, stands before that of the void.
    pub(super) fn new(grid: &Grid, paint: &'a Paint, void: Option<&'a Void>, wall: Option<f64>, bare: Srgb) -> Self {
        let form = Form {
            grid: *grid,
            faces: &paint.faces,
            by_cell: OnceLock::new(),
            openings: void.map_or(&[][..], |void| &void.openings),
            wall: void.map(|void| wall.unwrap_or(void.wall)),
            pegs: None,
        };
        Self { form, paint, bare }
    }

    /// Of a part of a divided piece, with its pins and sockets.
    pub(super) fn of_part(self, pegs: &'a [Peg]) -> Self {
        Self { form: Form { pegs: Some(pegs), ..self.form }, ..self }
    }

    /// The colour asked for on the painted face `f`.
    pub(super) fn colour(&self, f: usize) -> Srgb {
        self.paint.colours[self.paint.ink[f] as usize]
    }

    /// The colour asked for inside.
    pub(super) fn inside(&self) -> Srgb {
        self.paint.inside
    }

    /// Whether the job asked for guard bands.
    pub(super) fn guarded(&self) -> bool {
        self.paint.guard.is_some()
    }

    /// Where the painted face `f` is to be left bare.
    pub(super) fn bands(&self, f: usize) -> Bands {
        let none = Bands { bare: self.bare, width: 0.0, low: [false; 3], high: [false; 3] };
        // Where ink and material have one colour, a band does not show.
        let Some(guard) = self.paint.guard.filter(|_| self.colour(f) != self.bare) else { return none };
        let mut bands = Bands { width: guard.width, ..none };
        let across = self.form.face(f).1.axis();
        for side in Side::ALL.into_iter().filter(|side| side.axis() != across) {
            // At the rim of an opening a face is left whole.
            let Some(beside) = self.form.beside(f, side) else { return none };
            let held = guard.holds_back(self.colour(f), self.colour(beside));
            let ends = if side.positive() { &mut bands.high } else { &mut bands.low };
            ends[side.axis()] = held;
        }
        bands
    }
}

impl Form<'_> {
    /// The digest of all of it.
    pub(super) fn key(&self) -> Key {
        let Grid { origin, cell, counts } = self.grid;
        let mut key =
            Key::of("form").points(&[origin]).number(cell).list(counts.to_array().map(i32::to_le_bytes).into_iter());
        key = key.key(faces_key(self.faces)).whole(self.openings.len() as u64);
        for Opening { side, low, high } in self.openings {
            key = key.whole(*side as u64).points(&[*low, *high]);
        }
        // No wall is asked for with less than none.
        key = key.number(self.wall.unwrap_or(-1.0)).whole(self.pegs.map_or(0, |pegs| pegs.len() as u64 + 1));
        for peg in self.pegs() {
            key = key.whole(peg.side as u64).whole(u64::from(peg.across.unsigned_abs()));
            key = key.whole(u64::from(peg.kind == PegKind::Pin)).points(&[peg.middle(&self.grid)]);
            key = key.number(peg.width).number(peg.depth);
        }
        key.made()
    }

    /// The pins and sockets.
    pub(super) fn pegs(&self) -> &[Peg] {
        self.pegs.unwrap_or_default()
    }

    /// The middle of the foot of a pin, or of the mouth of a socket.
    pub(super) fn middle_of(&self, peg: &Peg) -> DVec3 {
        peg.middle(&self.grid)
    }

    /// The pin or socket on which a triangle lies: in the square around its foot, on its walls, or on its end.
    pub(super) fn peg_under(&self, corners: &[DVec3; 3]) -> Option<usize> {
        self.pegs().iter().position(|peg| {
            let (axis, middle) = (peg.side.axis(), peg.middle(&self.grid));
            let off = corners.map(|corner| corner - middle);
            let flat = off.iter().all(|off| off[axis].abs() <= NEAR);
            let half = if flat { f64::from(peg.across) * self.grid.cell } else { peg.width } / 2.0;
            let tip = peg.reach()[axis];
            off.iter().all(|off| {
                let along = (tip.min(0.0) - NEAR..=tip.max(0.0) + NEAR).contains(&off[axis]);
                along && peg.plane().iter().all(|&across| off[across].abs() <= half + NEAR)
            })
        })
    }

    /// Whether the painted face `f` makes room for a pin or a socket.
    pub(super) fn in_peg(&self, f: usize) -> bool {
        let (cell, side) = self.face(f);
        self.pegs().iter().any(|peg| {
            let [u, v] = peg.plane();
            let within = |axis: usize| (0..peg.across).contains(&(cell[axis] - peg.low[axis]));
            peg.side == side && cell[side.axis()] == peg.low[side.axis()] && within(u) && within(v)
        })
    }

    /// Edge of a cell in mm.
    pub(super) fn cell(&self) -> f64 {
        self.grid.cell
    }

    /// Number of cells along each axis.
    pub(super) fn counts(&self) -> IVec3 {
        self.grid.counts
    }

    /// Lowest corner of the grid in mm.
    pub(super) fn origin(&self) -> DVec3 {
        self.grid.origin
    }

    /// Edge in mm of the regions into which findings are sorted.
    pub(super) fn region(&self) -> f64 {
        4.0 * self.grid.cell
    }

    /// Number of faces that are painted.
    pub(super) fn faces(&self) -> usize {
        self.faces.len()
    }

    /// The painted face `f`.
    pub(super) fn face(&self, f: usize) -> (IVec3, Side) {
        (self.faces[f].cell, self.faces[f].side)
    }

    /// The middle in mm of the painted face `f`.
    pub(super) fn face_middle(&self, f: usize) -> DVec3 {
        let (cell, side) = self.face(f);
        self.grid.origin + self.grid.cell * (cell.as_dvec3() + 0.5 + 0.5 * side.normal())
    }

    /// The painted face of a cell on a side.
    pub(super) fn find(&self, cell: IVec3, side: Side) -> Option<usize> {
        let at = |&f: &u32| key(self.faces[f as usize].cell, self.faces[f as usize].side);
        let by_cell = self.by_cell.get_or_init(|| {
            let mut by_cell: Vec<u32> = (0..self.faces.len() as u32).collect();
            by_cell.sort_unstable_by_key(at);
            by_cell
        });
        let found = by_cell.binary_search_by_key(&key(cell, side), at).ok()?;
        Some(by_cell[found] as usize)
    }

    /// The painted face with which the surface goes on beyond the edge of face `f` towards a side: around the edge if there
    /// is air beside the cell, else straight on, else up the cell that stands there.
    fn beside(&self, f: usize, towards: Side) -> Option<usize> {
        let (cell, side) = self.face(f);
        let beside = cell + towards.step();
        let around = self.find(cell, towards);
        around.or_else(|| self.find(beside, side)).or_else(|| self.find(beside + side.step(), towards.opposite()))
    }

    /// Whether the painted face `f` has been cut away by an opening.
    pub(super) fn in_mouth(&self, f: usize) -> bool {
        let (cell, side) = self.face(f);
        let centre = self.grid.centre(cell);
        self.openings.iter().any(|o| o.side == side && centre.cmpgt(o.low).all() && centre.cmplt(o.high).all())
    }
}

/// Where a face is to be left bare.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Bands {
    /// The colour that shows there.
    pub(super) bare: Srgb,
    width: f64,
    /// Along each axis whether there is a band at the face's low end,
    low: [bool; 3],
    /// and at its high end.
    high: [bool; 3],
}

impl Bands {
    /// The area of the bands on a face, in mm²: that of the face less that of the rectangle which they leave.
    pub(super) fn area(&self, side: Side, cell: f64) -> f64 {
        let left = |axis: usize| {
            cell - self.width * (f64::from(u8::from(self.low[axis])) + f64::from(u8::from(self.high[axis])))
        };
        let core: f64 = (0..3).filter(|&axis| axis != side.axis()).map(left).product();
        cell * cell - core
    }

    /// Whether places, in mm from the cell's lowest corner, all lie in one of the bands.
    pub(super) fn hold(&self, places: &[DVec3; 3], cell: f64) -> bool {
        let within = self.width + NEAR;
        (0..3).any(|axis| {
            self.low[axis] && places.iter().all(|place| place[axis] <= within)
                || self.high[axis] && places.iter().all(|place| place[axis] >= cell - within)
        })
    }
}

fn key(cell: IVec3, side: Side) -> ([i32; 3], Side) {
    (cell.to_array(), side)
}
