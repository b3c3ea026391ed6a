//! The skin of the printed solid: the triangles between material and air.
//!
//! Guarantees, for cells without edge or corner contacts (`tests` in this file check each on random solids):
//! - every edge lies in exactly two triangles, which run along it in opposite directions;
//! - normals look into the air; no triangle has two equal corners;
//! - an outside cube face is two triangles, or a fan around its middle where the shaft of an opening meets it.
//!
//! Not guaranteed: that triangles of the cavity never cross each other. Each corner stays within half a lattice cell of
//! its place, which prevents all but contrived cases; `validate` measures the result.

use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};

use glam::{DVec3, IVec3};

use super::{Cells, Face, bits};
use crate::Side;
use crate::memo::Key;
use crate::void::Void;

/// What a triangle of the skin lies on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Patch {
    /// An outside cube face: its place in [`crate::paint::Paint::faces`].
    Outside(u32),
    /// The cavity, or the shaft of an opening.
    Inside,
}

/// The boundary of the printed solid.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Skin {
    /// Points in mm.
    pub points: Vec<DVec3>,
    /// Triangles, counter-clockwise seen from the air.
    pub triangles: Vec<[u32; 3]>,
    /// What each triangle lies on.
    pub patches: Vec<Patch>,
}

/// Every cube face that the air outside reaches, side by side in the order of [`Side::ALL`]. The faces that an opening
/// takes away are not among them.
#[must_use]
pub fn outside_faces(cells: &Cells, void: Option<&Void>) -> Vec<Face> {
    let air = super::flood_from_outside(cells);
    let taken = |cell| void.is_some_and(|v| v.shafts.solid(cell));
    let open = |cell: IVec3| !cells.grid().holds(cell) || air.solid(cell);
    let faces_to = |side: Side| {
        cells.iter().filter(move |&c| open(c + side.step()) && !taken(c)).map(move |cell| Face { cell, side })
    };
    Side::ALL.into_iter().flat_map(faces_to).collect()
}

impl Skin {
    /// The skin of cells less their void. `outside` are the faces of [`outside_faces`].
    #[must_use]
    pub fn of(cells: &Cells, void: Option<&Void>, outside: &[Face]) -> Self {
        let mut sewing = Sewing::new(cells, void);
        let mut whole: Vec<(Face, Patch)> = Vec::with_capacity(outside.len());
        if let Some(void) = void {
            each_cavity_face(void, |face| sewing.quad(face.cell, face.side, 1, Patch::Inside));
            shaft_walls(cells, void, &mut sewing, &mut whole);
        }
        sewing.fine = sewing.ids.len();
        whole.extend(outside.iter().enumerate().map(|(i, &face)| (face, Patch::Outside(i as u32))));
        whole.extend(faces_to_enclosed_air(cells, outside.len(), void).into_iter().map(|face| (face, Patch::Inside)));
        for (face, patch) in whole {
            sewing.whole_face(face, patch);
        }
        sewing.skin
    }

    /// The digest of points, triangles and what these lie on.
    #[must_use]
    pub fn key(&self) -> Key {
        let patch = |patch: &Patch| match patch {
            Patch::Outside(face) => u64::from(*face) + 1,
            Patch::Inside => 0,
        };
        let patches = self.patches.iter().map(|p| patch(p).to_le_bytes());
        Key::of("skin").points(&self.points).triangles(&self.triangles).list(patches).made()
    }

    /// The volume inside, in mm³, by the divergence theorem.
    #[must_use]
    pub fn volume(&self) -> f64 {
        self.tetrahedra().map(|(volume, _)| volume).sum()
    }

    /// The centre of mass of what is inside, in mm; the origin if there is no volume.
    #[must_use]
    pub fn centre(&self) -> DVec3 {
        let add = |(volume, moment): (f64, DVec3), (v, m): (f64, DVec3)| (volume + v, moment + v * m);
        let (volume, moment) = self.tetrahedra().fold((0.0, DVec3::ZERO), add);
        if volume == 0.0 { DVec3::ZERO } else { moment / volume }
    }

    /// Signed volume and middle of the tetrahedra between the origin and each triangle.
    fn tetrahedra(&self) -> impl Iterator<Item = (f64, DVec3)> + '_ {
        self.triangles.iter().map(|t| {
            let [a, b, c] = t.map(|i| self.points[i as usize]);
            (a.dot(b.cross(c)) / 6.0, (a + b + c) / 4.0)
        })
    }
}

/// Calls back with each face between the cavity and material, as a face of the lattice cell on the material's side.
pub fn each_cavity_face(void: &Void, mut each: impl FnMut(Face)) {
    let cavity = &void.cavity;
    let IVec3 { y: ny, z: nz, .. } = cavity.grid().counts;
    let line = |j: i32, k: i32| {
        if (0..ny).contains(&j) && (0..nz).contains(&k) { cavity.line(j, k) } else { &[] as &[u64] }
    };
    let word = |line: &[u64], w: usize| line.get(w).copied().unwrap_or(0);
    for (k, j) in (0..nz).flat_map(|k| (0..ny).map(move |j| (k, j))) {
        let here = line(j, k);
        for (w, &cells) in here.iter().enumerate().filter(|(_, cells)| **cells != 0) {
            // For each side, the cells that have no cavity there.
            let bare = Side::ALL.map(|side| {
                let beside = match (side.step().x, side.step().y, side.step().z) {
                    (1, ..) => cells >> 1 | word(here, w + 1) << 63,
                    (-1, ..) => cells << 1 | w.checked_sub(1).map_or(0, |w| word(here, w) >> 63),
                    (_, dy, dz) => word(line(j + dy, k + dz), w),
                };
                cells & !beside
            });
            for bit in bits(bare.iter().fold(0, |any, bare| any | bare)) {
                let cell = IVec3::new(w as i32 * 64 + bit, j, k);
                for (side, bare) in Side::ALL.into_iter().zip(bare) {
                    let other = cell + side.step();
                    if bare >> bit & 1 == 1 && !void.shafts.solid(other.div_euclid(IVec3::splat(void.per_cell))) {
                        each(Face { cell: other, side: side.opposite() });
                    }
                }
            }
        }
    }
}

/// The walls of the shafts: whole where they are all material, piece by piece where they open into the cavity.
fn shaft_walls(cells: &Cells, void: &Void, sewing: &mut Sewing<'_>, whole: &mut Vec<(Face, Patch)>) {
    let n = void.per_cell;
    for shaft in void.shafts.iter() {
        for side in Side::ALL {
            let cell = shaft + side.step();
            if !cells.solid(cell) || void.shafts.solid(cell) {
                continue;
            }
            let face = Face { cell, side: side.opposite() };
            let pieces: Vec<IVec3> = pieces(face, n).filter(|&p| !void.cavity.solid(p)).collect();
            if pieces.len() == (n * n) as usize {
                whole.push((face, Patch::Inside));
            } else {
                for piece in pieces {
                    sewing.quad(piece, face.side, 1, Patch::Inside);
                }
            }
        }
    }
}

/// The lattice cells behind a cube face, `n` along each edge.
fn pieces(face: Face, n: i32) -> impl Iterator<Item = IVec3> {
    let axis = face.side.axis();
    let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
    (0..n * n).map(move |at| {
        let mut cell = face.cell * n;
        cell[axis] += if face.side.positive() { n - 1 } else { 0 };
        cell[u] += at % n;
        cell[v] += at / n;
        cell
    })
}

/// Faces to air that is shut in between the cells, where nothing filled it.
fn faces_to_enclosed_air(cells: &Cells, outside: usize, void: Option<&Void>) -> Vec<Face> {
    let all: usize = cells.faces_by_side().0.iter().sum();
    let taken: usize = void.map_or(0, |v| {
        let mouth = |c: IVec3| Side::ALL.iter().filter(|s| !cells.solid(c + s.step())).count();
        v.shafts.iter().map(mouth).sum()
    });
    if all == outside + taken {
        return Vec::new();
    }
    let shut = super::enclosed_voids(cells);
    let mut faces = Vec::new();
    for air in shut.iter() {
        for side in Side::ALL {
            let cell = air + side.step();
            if cells.solid(cell) && !void.is_some_and(|v| v.shafts.solid(cell)) {
                faces.push(Face { cell, side: side.opposite() });
            }
        }
    }
    faces
}

/// The corners of a face of a block with edge `size` whose lowest corner is `low`, counter-clockwise from the air.
fn corners(low: IVec3, side: Side, size: i32) -> [IVec3; 4] {
    let axis = side.axis();
    let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
    let at = |a: i32, b: i32| {
        let mut corner = low;
        corner[axis] += if side.positive() { size } else { 0 };
        corner[u] += a * size;
        corner[v] += b * size;
        corner
    };
    if side.positive() { [at(0, 0), at(1, 0), at(1, 1), at(0, 1)] } else { [at(0, 0), at(0, 1), at(1, 1), at(1, 0)] }
}

/// The lattice corners of a lattice cell's face, counter-clockwise from the air.
#[must_use]
pub fn face_corners(face: Face) -> [IVec3; 4] {
    corners(face.cell, face.side, 1)
}

/// Splits a quad along its shorter diagonal, into the places of its corners.
#[must_use]
pub fn split(quad: [DVec3; 4]) -> [[usize; 3]; 2] {
    if (quad[0] - quad[2]).length_squared() <= (quad[1] - quad[3]).length_squared() {
        [[0, 1, 2], [0, 2, 3]]
    } else {
        [[1, 2, 3], [1, 3, 0]]
    }
}

/// Puts faces together with shared points.
struct Sewing<'a> {
    cells: &'a Cells,
    void: Option<&'a Void>,
    per_cell: i32,
    ids: HashMap<u64, u32, BuildHasherDefault<Mix>>,
    /// Points of faces smaller than a cell; they are the first ones.
    fine: usize,
    skin: Skin,
}

impl<'a> Sewing<'a> {
    fn new(cells: &'a Cells, void: Option<&'a Void>) -> Self {
        let per_cell = void.map_or(1, |v| v.per_cell);
        Self { cells, void, per_cell, ids: HashMap::default(), fine: 0, skin: Skin::default() }
    }

    fn place(&self, corner: IVec3) -> DVec3 {
        self.void.map_or_else(|| self.cells.grid().corner(corner), |void| void.corner(corner))
    }

    fn point(&mut self, corner: IVec3) -> u32 {
        let next = self.skin.points.len() as u32;
        let id = *self.ids.entry(key(corner)).or_insert(next);
        if id == next {
            let place = self.place(corner);
            self.skin.points.push(place);
        }
        id
    }

    fn triangle(&mut self, triangle: [u32; 3], patch: Patch) {
        self.skin.triangles.push(triangle);
        self.skin.patches.push(patch);
    }

    /// A face of the block of lattice cells with its lowest corner at `low`.
    fn quad(&mut self, low: IVec3, side: Side, size: i32, patch: Patch) {
        let ids = corners(low, side, size).map(|c| self.point(c));
        for triangle in split(ids.map(|i| self.skin.points[i as usize])) {
            self.triangle(triangle.map(|i| ids[i]), patch);
        }
    }

    /// A whole cube face; a fan where smaller faces end on its edges.
    fn whole_face(&mut self, face: Face, patch: Patch) {
        let (n, low) = (self.per_cell, face.cell * self.per_cell);
        let around = corners(low, face.side, n);
        let mut ring = Vec::new();
        for (i, &from) in around.iter().enumerate() {
            let step = (around[(i + 1) % 4] - from) / n;
            ring.push(from);
            ring.extend((1..n).map(|s| from + step * s).filter(|&c| self.is_fine(c)));
        }
        if ring.len() == 4 {
            return self.quad(low, face.side, n, patch);
        }
        let ids: Vec<u32> = ring.into_iter().map(|c| self.point(c)).collect();
        let middle = ids.iter().map(|&i| self.skin.points[i as usize]).sum::<DVec3>() / ids.len() as f64;
        let hub = self.skin.points.len() as u32;
        self.skin.points.push(middle);
        for (i, &from) in ids.iter().enumerate() {
            self.triangle([hub, from, ids[(i + 1) % ids.len()]], patch);
        }
    }

    /// Whether a face smaller than a cell ends in this corner.
    fn is_fine(&self, corner: IVec3) -> bool {
        self.ids.get(&key(corner)).is_some_and(|&id| (id as usize) < self.fine)
    }
}

/// 21 bits a coordinate: lattices up to two million cells wide.
fn key(corner: IVec3) -> u64 {
    corner.x as u64 | (corner.y as u64) << 21 | (corner.z as u64) << 42
}

/// A hasher for lattice keys: one multiplication, the high bits folded down.
#[derive(Default)]
struct Mix(u64);

impl Hasher for Mix {
    fn finish(&self) -> u64 {
        self.0
    }

    fn write(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.write_u64(u64::from(byte));
        }
    }

    fn write_u64(&mut self, key: u64) {
        let mixed = (self.0 ^ key).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        self.0 = mixed ^ (mixed >> 29);
    }
}

#[cfg(test)]
mod tests;
