//! A piece that was divided into parts which are printed one by one and put together afterwards.
//!
//! All in the coordinates of the whole: every part lies where it belongs, on the grid of the whole.

mod pegged;

use std::sync::Arc;

use glam::{DVec3, IVec3};

use crate::Side;
use crate::paint::Paint;
use crate::solid::{Cells, Face, Grid, Skin};
use crate::void::Void;
use crate::workpiece::Workpiece;

/// The parts of a divided piece; none where the piece stays whole.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Division {
    /// The parts, in the order of their numbers: the first has the number 1.
    pub segments: Vec<Segment>,
}

/// A part of a divided piece.
#[derive(Clone, Debug)]
pub struct Segment {
    /// Which of the boxes between the cuts it comes from: the first along x, y and z is 0, 0, 0.
    pub home: IVec3,
    /// Pins that stand on its seams, and sockets in them.
    pub pegs: Vec<Peg>,
    /// Its own cells, void and paint.
    piece: Workpiece,
}

/// Whether something stands on a seam or goes into it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PegKind {
    /// A square post on the seam.
    Pin,
    /// The square hole that takes it.
    Socket,
}

/// A pin or a socket, in the middle of a square of cube faces.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Peg {
    /// Pin or socket.
    pub kind: PegKind,
    /// Where the faces look.
    pub side: Side,
    /// The lowest of the cells behind the faces.
    pub low: IVec3,
    /// Faces along each edge of the square.
    pub across: i32,
    /// Width of the pin or of the hole, in mm.
    pub width: f64,
    /// How far the pin stands out, or how deep the hole goes in, in mm.
    pub depth: f64,
}

impl Peg {
    /// The two axes of the seam.
    #[must_use]
    pub const fn plane(&self) -> [usize; 2] {
        [(self.side.axis() + 1) % 3, (self.side.axis() + 2) % 3]
    }

    /// The faces in whose middle it lies.
    pub fn faces(&self) -> impl Iterator<Item = Face> + use<> {
        let ([u, v], peg) = (self.plane(), *self);
        (0..peg.across * peg.across).map(move |at| {
            let mut cell = peg.low;
            cell[u] += at % peg.across;
            cell[v] += at / peg.across;
            Face { cell, side: peg.side }
        })
    }

    /// The middle of the faces, in mm.
    #[must_use]
    pub fn middle(&self, grid: &Grid) -> DVec3 {
        let mut middle = self.low.as_dvec3();
        middle[self.side.axis()] += if self.side.positive() { 1.0 } else { 0.0 };
        for axis in self.plane() {
            middle[axis] += f64::from(self.across) / 2.0;
        }
        grid.origin + grid.cell * middle
    }

    /// How far, and which way along its axis, it goes from the seam.
    #[must_use]
    pub fn reach(&self) -> DVec3 {
        match self.kind {
            PegKind::Pin => self.side.normal() * self.depth,
            PegKind::Socket => -self.side.normal() * self.depth,
        }
    }
}

impl Segment {
    /// A part of these cells, with its own void, and paint on its own outside faces.
    #[must_use]
    pub fn new(home: IVec3, piece: Workpiece, pegs: Vec<Peg>) -> Self {
        Self { home, pegs, piece }
    }

    /// Its cells, on the grid of the whole.
    ///
    /// # Panics
    /// If it was made without.
    #[must_use]
    pub fn cells(&self) -> &Cells {
        self.piece.cells().expect("a part has cells")
    }

    /// Its own cavity and openings.
    #[must_use]
    pub fn void(&self) -> Option<&Void> {
        self.piece.void()
    }

    /// The colours of its outside faces: those of the whole, and on the seams that of the inside.
    ///
    /// # Panics
    /// If it was made without.
    #[must_use]
    pub fn paint(&self) -> &Paint {
        self.piece.paint().expect("a part has paint")
    }

    /// The part as a piece of its own, without its pins and sockets.
    #[must_use]
    pub fn piece(&self) -> &Workpiece {
        &self.piece
    }

    /// The boundary of the printed part, pins and sockets and all.
    ///
    /// # Panics
    /// If it was made without cells.
    #[must_use]
    pub fn skin(&self) -> Skin {
        let hull = self.piece.hull().expect("a part has cells");
        pegged::pegged(&hull.skin, &hull.faces, self.cells().grid(), &self.pegs)
    }

    /// Box around it in mm, pins and all.
    #[must_use]
    pub fn bounds(&self) -> [DVec3; 2] {
        let grid = self.cells().grid();
        let Some([low, high]) = self.cells().extent() else { return [grid.origin; 2] };
        let mut bounds = [grid.corner(low), grid.corner(high + 1)];
        for pin in self.pegs.iter().filter(|peg| peg.kind == PegKind::Pin) {
            let tip = pin.middle(grid) + pin.reach();
            let axis = pin.side.axis();
            bounds[0][axis] = bounds[0][axis].min(tip[axis]);
            bounds[1][axis] = bounds[1][axis].max(tip[axis]);
        }
        bounds
    }
}

impl PartialEq for Segment {
    fn eq(&self, other: &Self) -> bool {
        let of = |segment: &Self| (segment.home, segment.pegs.clone());
        of(self) == of(other)
            && self.piece.cells() == other.piece.cells()
            && self.piece.void() == other.piece.void()
            && self.piece.paint() == other.piece.paint()
    }
}

/// The boundaries of all that will stand there once it is put together, as one: the skin of the whole, or those of its parts.
/// Outside faces are those of the whole's paint, or of the part's own. Empty without cells.
#[must_use]
pub fn put_together(piece: &Workpiece) -> Skin {
    let Some(parts) = piece.division().and_then(Division::parts) else {
        return piece.hull().map(|hull| hull.skin.clone()).unwrap_or_default();
    };
    let mut all = Skin::default();
    for skin in parts.iter().map(Segment::skin) {
        let first = all.points.len() as u32;
        all.points.extend(skin.points);
        all.triangles.extend(skin.triangles.iter().map(|triangle| triangle.map(|corner| corner + first)));
        all.patches.extend(skin.patches);
    }
    all
}

impl From<Vec<Segment>> for Division {
    fn from(segments: Vec<Segment>) -> Self {
        Self { segments }
    }
}

/// Shares a division.
impl Division {
    /// The parts, if the piece was divided.
    #[must_use]
    pub fn parts(&self) -> Option<&[Segment]> {
        (!self.segments.is_empty()).then_some(&self.segments)
    }
}

/// The paint of a part: the ink that a face has on the whole, and that of the inside on faces which only the cut has laid
/// bare.
#[must_use]
pub fn paint_of_part(whole: &Paint, faces: &Arc<[Face]>) -> Paint {
    let mut inked: Vec<([i32; 3], Side, u32)> =
        whole.faces.iter().zip(&whole.ink).map(|(face, &ink)| (face.cell.to_array(), face.side, ink)).collect();
    inked.sort_unstable();
    let mut colours = whole.colours.clone();
    let seam = colours.iter().position(|&colour| colour == whole.inside).unwrap_or_else(|| {
        colours.push(whole.inside);
        colours.len() - 1
    }) as u32;
    let ink = faces.iter().map(|face| {
        let key = (face.cell.to_array(), face.side);
        inked.binary_search_by_key(&key, |&(cell, side, _)| (cell, side)).map_or(seam, |at| inked[at].2)
    });
    Paint { ink: ink.collect(), colours, faces: Arc::clone(faces), guard: None, ..whole.clone() }
}
