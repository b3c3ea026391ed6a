//! A skin whose outside faces are cut along bands beside some of their edges.
//!
//! A face with bands becomes a core and, along each edge with a band, a trapezoid whose slanted ends meet the next band, or
//! run straight to the next edge where that has none. Where a cut ends on an edge, the face beyond takes the same point in.
//! A piece with more than four points becomes a fan around its middle.
//!
//! Guarantees, for a closed skin (`tests` in this file check each on random solids): the cut skin is closed, encloses the
//! same volume, and no triangle lacks area; bands have the exact area of the strips beside their edges.

use glam::DVec3;

use super::{Face, Grid, Patch, Skin, skin::split};

/// A skin with bands.
#[derive(Clone, Debug, PartialEq)]
pub struct Banded {
    /// The skin; faces keep their numbers.
    pub skin: Skin,
    /// For each triangle whether it lies in a band.
    pub band: Vec<bool>,
}

/// How far, in cells, a corner of a face may lie from where its grid has it: coordinates are reckoned to 1e-15, and the
/// nearest other points of a skin lie a sixteenth of a cell off.
const NEAR: f64 = 1e-6;

/// Cuts bands of `width` mm, more than nothing and less than half a cell, into the outside faces of a skin. `held` tells for
/// each face which of its edges have one: at the low and the high end of its first axis, then of its second (the axes after
/// the one along which it looks). Gives nothing if the skin does not have the faces' corners where the grid has them.
#[must_use]
pub fn banded(skin: &Skin, faces: &[Face], grid: &Grid, held: &[[bool; 4]], width: f64) -> Option<Banded> {
    let by_face = ByFace::new(skin, faces.len());
    let rings: Vec<Ring> =
        (0..faces.len()).map(|f| Ring::new(skin, by_face.of(f), faces[f], grid, held[f])).collect::<Option<_>>()?;
    let cuts = Cuts::new(&rings, skin.points.len() as u32);
    let mut cutter = Cutter { banded: inside_of(skin), cuts: &cuts, share: width / grid.cell };
    cutter.place_cuts();
    for (face, ring) in rings.iter().enumerate() {
        cutter.face(face as u32, ring);
    }
    Some(cutter.banded)
}

/// What of a skin is not outside, with all its points.
fn inside_of(skin: &Skin) -> Banded {
    let inside = skin.triangles.iter().zip(&skin.patches).filter(|(_, patch)| **patch == Patch::Inside);
    let triangles: Vec<[u32; 3]> = inside.map(|(&triangle, _)| triangle).collect();
    let count = triangles.len();
    let skin = Skin { points: skin.points.clone(), triangles, patches: vec![Patch::Inside; count] };
    Banded { skin, band: vec![false; count] }
}

/// The triangles of each outside face.
struct ByFace {
    starts: Vec<usize>,
    triangles: Vec<[u32; 3]>,
}

impl ByFace {
    fn new(skin: &Skin, faces: usize) -> Self {
        let of = |patch: &Patch| if let Patch::Outside(face) = patch { Some(*face as usize) } else { None };
        let mut starts = vec![0; faces + 1];
        for face in skin.patches.iter().filter_map(of) {
            starts[face + 1] += 1;
        }
        for at in 1..starts.len() {
            starts[at] += starts[at - 1];
        }
        let mut next = starts.clone();
        let mut triangles = vec![[0; 3]; starts[faces]];
        for (&triangle, patch) in skin.triangles.iter().zip(&skin.patches) {
            if let Some(face) = of(patch) {
                triangles[next[face]] = triangle;
                next[face] += 1;
            }
        }
        Self { starts, triangles }
    }

    fn of(&self, face: usize) -> &[[u32; 3]] {
        &self.triangles[self.starts[face]..self.starts[face + 1]]
    }
}

/// The points around a face, counter-clockwise from the air: four sides, each with its points from its corner on.
struct Ring {
    sides: [Vec<u32>; 4],
    /// Whether a band lies along the side.
    held: [bool; 4],
    /// The middle point of a face that is a fan already.
    hub: Option<u32>,
}

impl Ring {
    fn new(skin: &Skin, triangles: &[[u32; 3]], face: Face, grid: &Grid, held: [bool; 4]) -> Option<Self> {
        let edges: Vec<[u32; 2]> = triangles.iter().flat_map(|&[a, b, c]| [[a, b], [b, c], [c, a]]).collect();
        let rim: Vec<[u32; 2]> = edges.iter().copied().filter(|&[a, b]| !edges.contains(&[b, a])).collect();
        let hub = triangles.iter().flatten().copied().find(|&point| rim.iter().all(|edge| edge[0] != point));

        let axis = face.side.axis();
        let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
        let low = grid.corner(face.cell);
        let place = |point: u32| {
            let at = (skin.points[point as usize] - low) / grid.cell;
            [at[u], at[v]]
        };
        let near = |a: f64, b: f64| (a - b).abs() < NEAR;
        let is_corner = |point: u32| place(point).iter().all(|&at| near(at, 0.0) || near(at, 1.0));
        let mut at = rim.iter().find(|edge| is_corner(edge[0]))?[0];
        let mut sides: [Vec<u32>; 4] = Default::default();
        let mut side = 0;
        for _ in 0..rim.len() {
            sides.get_mut(side)?.push(at);
            at = rim.iter().find(|edge| edge[0] == at)?[1];
            side += usize::from(is_corner(at));
        }
        if side != 4 {
            return None;
        }
        let corners = [0, 1, 2, 3].map(|i: usize| place(sides[i][0]));
        let lies_at = |i: usize| {
            let [a, b] = [corners[i], corners[(i + 1) % 4]];
            [(0, 0.0), (0, 1.0), (1, 0.0), (1, 1.0)].into_iter().position(|(k, end)| near(a[k], end) && near(b[k], end))
        };
        let places = [lies_at(0)?, lies_at(1)?, lies_at(2)?, lies_at(3)?];
        Some(Self { sides, held: places.map(|edge| held[edge]), hub })
    }

    fn corner(&self, i: usize) -> u32 {
        self.sides[i % 4][0]
    }

    /// Where the corner of the core lies that belongs to corner `i`.
    fn core(&self, i: usize) -> Core {
        let [before, after] = [(i + 3) % 4, i];
        match [self.held[before], self.held[after]] {
            [false, false] => Core::Corner,
            [true, true] => Core::Within,
            [true, false] => Core::On([self.corner(i), self.corner(i + 1)]),
            [false, true] => Core::On([self.corner(i), self.corner(i + 3)]),
        }
    }
}

/// Where a corner of a core lies.
enum Core {
    /// On the face's own.
    Corner,
    /// On an edge that has no band: a band's width from the first point towards the second.
    On([u32; 2]),
    /// Within the face.
    Within,
}

/// The places on edges where cuts end: for each a band's width from the first point towards the second.
struct Cuts {
    sorted: Vec<[u32; 2]>,
    /// The number of the first one's point.
    first: u32,
}

impl Cuts {
    fn new(rings: &[Ring], first: u32) -> Self {
        let of = |ring: &Ring| [0, 1, 2, 3].map(|i| if let Core::On(cut) = ring.core(i) { Some(cut) } else { None });
        let mut sorted: Vec<[u32; 2]> = rings.iter().flat_map(of).flatten().collect();
        sorted.sort_unstable();
        sorted.dedup();
        Self { sorted, first }
    }

    fn point(&self, cut: [u32; 2]) -> Option<u32> {
        self.sorted.binary_search(&cut).ok().map(|place| self.first + place as u32)
    }
}

struct Cutter<'a> {
    banded: Banded,
    cuts: &'a Cuts,
    /// Width of a band as a share of an edge.
    share: f64,
}

impl Cutter<'_> {
    fn at(&self, point: u32) -> DVec3 {
        self.banded.skin.points[point as usize]
    }

    fn add(&mut self, place: DVec3) -> u32 {
        let number = self.banded.skin.points.len() as u32;
        self.banded.skin.points.push(place);
        number
    }

    fn place_cuts(&mut self) {
        for &[near, far] in &self.cuts.sorted {
            let place = self.at(near).lerp(self.at(far), self.share);
            self.banded.skin.points.push(place);
        }
    }

    /// The points along a side of a face, from its corner to the next, which is not among them: the face's own, and where
    /// cuts end.
    fn along(&self, ring: &Ring, side: usize) -> Vec<u32> {
        let [from, to] = [ring.corner(side), ring.corner(side + 1)];
        let mut points = ring.sides[side].clone();
        points.extend(self.cuts.point([from, to]));
        points.extend(self.cuts.point([to, from]));
        let start = self.at(from);
        points.sort_by(|&a, &b| (self.at(a) - start).length().total_cmp(&(self.at(b) - start).length()));
        points
    }

    fn face(&mut self, face: u32, ring: &Ring) {
        let core = [0, 1, 2, 3].map(|i| self.core_corner(ring, i));
        let sides = [0, 1, 2, 3].map(|side| self.along(ring, side));
        let mut middle = Vec::with_capacity(8);
        for side in 0..4 {
            middle.push(core[side]);
            if !ring.held[side] {
                let taken = [ring.corner(side), core[side], core[(side + 1) % 4]];
                middle.extend(sides[side].iter().filter(|point| !taken.contains(point)));
            }
        }
        self.piece(&middle, face, false, ring.hub);
        for side in (0..4).filter(|&side| ring.held[side]) {
            let mut band = sides[side].clone();
            band.extend([ring.corner(side + 1), core[(side + 1) % 4], core[side]]);
            self.piece(&band, face, true, None);
        }
    }

    fn core_corner(&mut self, ring: &Ring, i: usize) -> u32 {
        let corner = ring.corner(i);
        match ring.core(i) {
            Core::Corner => corner,
            Core::On(cut) => self.cuts.point(cut).unwrap_or(corner),
            Core::Within => {
                let at = self.at(corner);
                let [next, last] = [ring.corner(i + 1), ring.corner(i + 3)].map(|other| self.at(other) - at);
                self.add(at + (next + last) * self.share)
            }
        }
    }

    fn piece(&mut self, ring: &[u32], face: u32, band: bool, hub: Option<u32>) {
        let mut triangle = |corners: [u32; 3]| {
            self.banded.skin.triangles.push(corners);
            self.banded.skin.patches.push(Patch::Outside(face));
            self.banded.band.push(band);
        };
        if let (&[a, b, c, d], None) = (ring, hub) {
            let places = [a, b, c, d].map(|point| self.banded.skin.points[point as usize]);
            split(places).into_iter().for_each(|corners| triangle(corners.map(|i| ring[i])));
            return;
        }
        let middle =
            ring.iter().map(|&point| self.banded.skin.points[point as usize]).sum::<DVec3>() / ring.len() as f64;
        let hub = hub.unwrap_or(self.banded.skin.points.len() as u32);
        for (i, &from) in ring.iter().enumerate() {
            triangle([hub, from, ring[(i + 1) % ring.len()]]);
        }
        if hub as usize == self.banded.skin.points.len() {
            self.banded.skin.points.push(middle);
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::paint::{Guard, GuardOn, Paint};
    use crate::print::{Around, press::held_edges};
    use crate::solid::samples::{listed, random_solid};
    use crate::solid::skin::outside_faces;
    use crate::solid::{Cells, Leave, make_well_composed};
    use crate::{Six, Srgb};

    /// A colour a face, one of three, by its place.
    fn paint(faces: Vec<Face>, of: impl Fn(usize, &Face) -> u32) -> Paint {
        let colours = vec![Srgb([200, 40, 40]), Srgb([20, 20, 90]), Srgb([240, 240, 200])];
        let ink = faces.iter().enumerate().map(|(at, face)| of(at, face)).collect();
        Paint { sides: Six([colours[0]; 6]), inside: colours[0], colours, faces: faces.into(), ink, guard: None }
    }

    fn cut(cells: &Cells, paint: &Paint, guard: Guard) -> (Banded, Vec<[bool; 4]>) {
        let skin = Skin::of(cells, None, &paint.faces);
        let held = held_edges(paint, &Around::of(cells, None, &paint.faces), guard);
        (banded(&skin, &paint.faces, cells.grid(), &held, guard.width).unwrap(), held)
    }

    fn area(skin: &Skin, triangle: usize) -> f64 {
        let [a, b, c] = skin.triangles[triangle].map(|i| skin.points[i as usize]);
        (b - a).cross(c - a).length() / 2.0
    }

    #[test]
    fn one_cube_keeps_its_cores() {
        // Closed form: a band of w on all four sides leaves a core of (a − 2w)²; a = 1 here.
        let cells = listed(&[[0, 0, 0]]);
        let paint = paint(outside_faces(&cells, None), |_, face| face.side.axis() as u32);
        let width = 0.15;
        let (cube, _) = cut(&cells, &paint, Guard { width, on: GuardOn::Both });
        assert!(cube.skin.is_closed());
        assert!((cube.skin.volume() - 1.0).abs() < 1e-12);
        let core: f64 = (0..cube.band.len()).filter(|&t| !cube.band[t]).map(|t| area(&cube.skin, t)).sum();
        assert!((core - 6.0 * (1.0 - 2.0 * width) * (1.0 - 2.0 * width)).abs() < 1e-12);
        assert_eq!(cube.skin.triangles.len(), 6 * 10);
    }

    #[test]
    fn the_stronger_ink_gives_way() {
        // The dark pair has bands on all sides, the pale one none, the red one towards the pale one alone.
        let cells = listed(&[[0, 0, 0]]);
        let paint = paint(outside_faces(&cells, None), |_, face| face.side.axis() as u32);
        let (cube, held) = cut(&cells, &paint, Guard { width: 0.2, on: GuardOn::Stronger });
        assert!(cube.skin.is_closed());
        let of = |axis: usize| held[paint.faces.iter().position(|face| face.side.axis() == axis).unwrap()];
        assert_eq!(of(0).iter().filter(|&&held| held).count(), 2);
        assert_eq!((of(1), of(2)), ([true; 4], [false; 4]));
    }

    proptest! {
        #[test]
        fn cut_skins_are_closed_and_bands_have_their_area(
            mut cells in random_solid(), inks in proptest::collection::vec(0u32..3, 600), width in 0.02f64..0.49, both: bool,
        ) {
            let leave = Leave::any(*cells.grid());
            make_well_composed(&mut cells, leave);
            let paint = paint(outside_faces(&cells, None), |at, _| inks[at % inks.len()]);
            let on = if both { GuardOn::Both } else { GuardOn::Stronger };
            let (cut, held) = cut(&cells, &paint, Guard { width, on });
            prop_assert!(cut.skin.is_closed());
            prop_assert!((cut.skin.volume() - cells.count() as f64).abs() < 1e-6);
            let mut areas = vec![[0.0; 2]; paint.faces.len()];
            for (t, patch) in cut.skin.patches.iter().enumerate() {
                let area = area(&cut.skin, t);
                prop_assert!(area > 1e-6);
                if let Patch::Outside(face) = patch {
                    areas[*face as usize][usize::from(cut.band[t])] += area;
                    let [a, b, c] = cut.skin.triangles[t].map(|i| cut.skin.points[i as usize]);
                    let normal = (b - a).cross(c - a).normalize();
                    prop_assert!((normal - paint.faces[*face as usize].side.normal()).length() < 1e-9);
                }
            }
            for ([core, band], held) in areas.into_iter().zip(held) {
                let left = |low: bool, high: bool| 1.0 - width * (f64::from(u8::from(low)) + f64::from(u8::from(high)));
                let expected = left(held[0], held[1]) * left(held[2], held[3]);
                prop_assert!((core - expected).abs() < 1e-9 && (core + band - 1.0).abs() < 1e-9);
            }
        }
    }
}
