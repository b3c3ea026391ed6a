//! How the outside faces hang together: across each edge of a face, the face that the surface goes on with.

use glam::IVec3;
use rayon::prelude::*;

use crate::Side;
use crate::solid::{Cells, Face};
use crate::void::Void;

/// An edge of a face; see [`super`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Edge {
    /// The edge at the low end of the face's first axis.
    LowU,
    /// The edge at the high end of the face's first axis.
    HighU,
    /// The edge at the low end of the face's second axis.
    LowV,
    /// The edge at the high end of the face's second axis.
    HighV,
}

impl Edge {
    /// All edges of a face, in their order.
    pub const ALL: [Self; 4] = [Self::LowU, Self::HighU, Self::LowV, Self::HighV];

    /// The side to which the edge lies on a face that looks to `side`.
    #[must_use]
    pub const fn outwards(self, side: Side) -> Side {
        Side::along((side.axis() + 1 + self as usize / 2) % 3, self as usize % 2 == 1)
    }

    /// The edge on the other side of the face.
    #[must_use]
    pub const fn across(self) -> Self {
        Self::ALL[self as usize ^ 1]
    }

    /// Whether the edge lies at the high end of its axis.
    #[must_use]
    pub const fn is_high(self) -> bool {
        self as usize % 2 == 1
    }

    /// The edge of a face that looks to `side` which lies to the side `outwards`, across another axis.
    #[must_use]
    pub const fn towards(side: Side, outwards: Side) -> Self {
        let second = (outwards.axis() + 3 - side.axis()) % 3 == 2;
        Self::ALL[second as usize * 2 + outwards.positive() as usize]
    }
}

/// How the surface turns at an edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bend {
    /// Away from the viewer: material on one side of a corner.
    Convex,
    /// Not at all: both faces lie in one plane.
    Flat,
    /// Towards the viewer: an inside corner.
    Concave,
}

/// What lies beyond an edge of a face.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Beside {
    /// The other face: its place among the faces.
    pub face: u32,
    /// The other face's edge.
    pub edge: Edge,
    /// How the surface turns there.
    pub bend: Bend,
}

/// For each outside face what lies beyond its four edges.
///
/// Guarantees (`tests` in this file): the neighbour's neighbour across its edge is the face itself; on a well-composed solid
/// without a void every edge has a neighbour. Where four faces share an edge, the surface goes on around the material; an
/// edge has no neighbour there if the next face looks into air that is shut in.
#[derive(Clone, Debug, PartialEq)]
pub struct Around {
    beside: Vec<[Option<Beside>; 4]>,
}

impl Around {
    /// Finds what lies beyond each edge of the outside faces of cells (see [`crate::solid::skin::outside_faces`]). Beyond
    /// the rim of an opening nothing does: its walls are not outside.
    #[must_use]
    pub fn of(cells: &Cells, void: Option<&Void>, faces: &[Face]) -> Self {
        let index = FaceIndex::new(cells, faces);
        let solid = |cell: IVec3| cells.solid(cell) && !void.is_some_and(|void| void.shafts.solid(cell));
        let beyond = |face: &Face| {
            Edge::ALL.map(|edge| {
                let (next, bend) = step(face, edge.outwards(face.side), solid);
                let place = index.place(next)?;
                Some(Beside { face: place, edge: edge_back(face.side, edge, bend, next.side), bend })
            })
        };
        Self { beside: faces.par_iter().with_min_len(4096).map(beyond).collect() }
    }

    /// What lies beyond an edge of the face; nothing at the rim of an opening.
    #[must_use]
    pub fn beyond(&self, face: u32, edge: Edge) -> Option<Beside> {
        self.beside[face as usize][edge as usize]
    }

    /// What lies beyond the four edges of the face.
    #[must_use]
    pub fn of_face(&self, face: u32) -> &[Option<Beside>; 4] {
        &self.beside[face as usize]
    }
}

/// The face with which the surface goes on, and how it turns.
fn step(face: &Face, outwards: Side, solid: impl Fn(IVec3) -> bool) -> (Face, Bend) {
    let beside = face.cell + outwards.step();
    if !solid(beside) {
        return (Face { cell: face.cell, side: outwards }, Bend::Convex);
    }
    let above = beside + face.side.step();
    if solid(above) {
        (Face { cell: above, side: outwards.opposite() }, Bend::Concave)
    } else {
        (Face { cell: beside, side: face.side }, Bend::Flat)
    }
}

/// The edge of the next face on which the first one lies.
fn edge_back(side: Side, edge: Edge, bend: Bend, next: Side) -> Edge {
    match bend {
        Bend::Flat => Edge::towards(next, edge.outwards(side).opposite()),
        Bend::Convex => Edge::towards(next, side),
        Bend::Concave => Edge::towards(next, side.opposite()),
    }
}

/// The place of each face, by cell and side.
struct FaceIndex {
    /// For each line of cells along x, in order of y then z and for each side, where its faces begin in `cells`.
    starts: Vec<u32>,
    order: Vec<u32>,
    cells: Vec<i32>,
    counts: IVec3,
}

impl FaceIndex {
    fn new(cells: &Cells, faces: &[Face]) -> Self {
        let counts = cells.grid().counts;
        let lines = counts.y as usize * counts.z as usize;
        let line = |face: &Face| (face.side as usize * lines) + (face.cell.z * counts.y + face.cell.y) as usize;
        let mut starts = vec![0u32; 6 * lines + 1];
        for face in faces {
            starts[line(face) + 1] += 1;
        }
        for at in 1..starts.len() {
            starts[at] += starts[at - 1];
        }
        let mut next = starts.clone();
        let mut order = vec![0u32; faces.len()];
        for (place, face) in faces.iter().enumerate() {
            let slot = &mut next[line(face)];
            order[*slot as usize] = place as u32;
            *slot += 1;
        }
        for range in starts.windows(2) {
            order[range[0] as usize..range[1] as usize].sort_unstable_by_key(|&f| faces[f as usize].cell.x);
        }
        let cells = order.iter().map(|&f| faces[f as usize].cell.x).collect();
        Self { starts, order, cells, counts }
    }

    fn place(&self, face: Face) -> Option<u32> {
        let lines = self.counts.y as usize * self.counts.z as usize;
        let line = face.side as usize * lines + (face.cell.z * self.counts.y + face.cell.y) as usize;
        let range = self.starts[line] as usize..self.starts[line + 1] as usize;
        let at = self.cells[range.clone()].binary_search(&face.cell.x).ok()?;
        Some(self.order[range.start + at])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::solid::{Grid, skin::outside_faces};
    use glam::DVec3;
    use proptest::prelude::*;

    fn solid(counts: IVec3, solid: impl Fn(IVec3) -> bool + Sync) -> Cells {
        Cells::from_fn(Grid { origin: DVec3::ZERO, cell: 1.0, counts }, solid)
    }

    fn bends(cells: &Cells) -> [usize; 3] {
        let faces = outside_faces(cells, None);
        let around = Around::of(cells, None, &faces);
        let mut bends = [0; 3];
        for face in 0..faces.len() as u32 {
            for beside in around.of_face(face).iter().flatten() {
                bends[beside.bend as usize] += 1;
            }
        }
        bends
    }

    #[test]
    fn edges_of_known_shapes() {
        // A cube has 12 edges, each met from two faces. An L of three cubes has 28 edges of cubes on its boundary (see
        // `cube_shapes.csv` of the project's reference values: E = 28): 20 convex, 1 concave, the others flat.
        assert_eq!(bends(&solid(IVec3::ONE, |_| true)), [24, 0, 0]);
        let [convex, flat, concave] = bends(&solid(IVec3::new(2, 2, 1), |c| c.x + c.y < 2));
        assert_eq!((convex + flat + concave, concave), (56, 2));
    }

    fn beside_each_edge(cells: &Cells) -> Vec<Option<Beside>> {
        let faces = outside_faces(cells, None);
        let around = Around::of(cells, None, &faces);
        let check = |face: u32, edge: Edge| {
            let beside = around.beyond(face, edge)?;
            let back = around.beyond(beside.face, beside.edge);
            assert_eq!(back, Some(Beside { face, edge, bend: beside.bend }));
            Some(beside)
        };
        (0..faces.len() as u32).flat_map(|face| Edge::ALL.map(|edge| check(face, edge))).collect()
    }

    proptest! {
        #[test]
        fn the_neighbour_has_the_face_for_its_neighbour(bits in proptest::collection::vec(any::<bool>(), 64)) {
            let mut cells = solid(IVec3::splat(4), |c| bits[(c.x + 4 * (c.y + 4 * c.z)) as usize]);
            beside_each_edge(&cells);
            crate::solid::mend(&mut cells, None);
            prop_assert!(beside_each_edge(&cells).iter().all(Option::is_some));
        }
    }
}
