//! Puts pins and sockets on the skin of a part.
//!
//! The square of cube faces in whose middle a peg lies is taken out of the skin; what is left of it around the peg becomes
//! a frame, with every point that its neighbours have on its rim, and the peg its walls and its end. Nothing is cut through
//! anything: the skin stays closed as it was, by construction.

use std::collections::{BTreeMap, BTreeSet};

use glam::DVec2;

use super::Peg;
use crate::solid::{Face, Grid, Patch, Skin};

/// The skin with its pegs. Their triangles lie on the first of the faces around each. A square that is not there in one
/// flat whole stays as it is.
pub(super) fn pegged(skin: &Skin, faces: &[Face], grid: &Grid, pegs: &[Peg]) -> Skin {
    if pegs.is_empty() {
        return skin.clone();
    }
    let number: BTreeMap<([i32; 3], crate::Side), u32> =
        faces.iter().zip(0..).map(|(face, at)| ((face.cell.to_array(), face.side), at)).collect();
    let mut taken: BTreeMap<u32, usize> = BTreeMap::new();
    for (at, peg) in pegs.iter().enumerate() {
        taken.extend(peg.faces().filter_map(|face| Some((*number.get(&(face.cell.to_array(), face.side))?, at))));
    }
    let mut around: Vec<Vec<[u32; 3]>> = vec![Vec::new(); pegs.len()];
    let mut made = Skin { points: skin.points.clone(), ..Skin::default() };
    for (&triangle, &patch) in skin.triangles.iter().zip(&skin.patches) {
        let peg = if let Patch::Outside(face) = patch { taken.get(&face) } else { None };
        match peg {
            Some(&peg) => around[peg].push(triangle),
            None => {
                made.triangles.push(triangle);
                made.patches.push(patch);
            }
        }
    }
    for (peg, triangles) in pegs.iter().zip(around) {
        let face = peg.faces().find_map(|face| number.get(&(face.cell.to_array(), face.side)));
        let Some(&face) = face else { continue };
        put(peg, grid, &triangles, Patch::Outside(face), &mut made);
    }
    without_idle_points(made)
}

/// The skin without points that no triangle has: those within the squares.
fn without_idle_points(mut skin: Skin) -> Skin {
    let mut used = vec![false; skin.points.len()];
    skin.triangles.iter().flatten().for_each(|&point| used[point as usize] = true);
    let mut kept = 0;
    let numbers: Vec<u32> = used
        .iter()
        .map(|&used| {
            let number = kept;
            kept += u32::from(used);
            number
        })
        .collect();
    let mut each = used.iter();
    skin.points.retain(|_| *each.next().unwrap_or(&false));
    skin.triangles.iter_mut().flatten().for_each(|point| *point = numbers[*point as usize]);
    skin
}

/// Puts one peg in the place of the triangles of its square.
fn put(peg: &Peg, grid: &Grid, square: &[[u32; 3]], patch: Patch, skin: &mut Skin) {
    // Seen from where the faces look, the two axes turn counter-clockwise on a side that looks along its axis.
    let [u, v] = if peg.side.positive() { peg.plane() } else { [peg.plane()[1], peg.plane()[0]] };
    let middle = peg.middle(grid);
    let sides = rim(square).and_then(|rim| {
        let flat = |point: u32| {
            DVec2::new((skin.points[point as usize] - middle)[u], (skin.points[point as usize] - middle)[v])
        };
        four_sides(&rim, flat)
    });
    let Some(sides) = sides else {
        skin.triangles.extend_from_slice(square);
        skin.patches.extend(square.iter().map(|_| patch));
        return;
    };
    let level = skin.points[sides[0][0] as usize][peg.side.axis()];
    let corner = |[a, b]: [f64; 2]| {
        let mut corner = middle;
        corner[peg.side.axis()] = level;
        corner[u] += a * peg.width / 2.0;
        corner[v] += b * peg.width / 2.0;
        corner
    };
    let foot = TURN.map(corner);
    let first = skin.points.len() as u32;
    skin.points.extend(foot);
    skin.points.extend(foot.map(|corner| corner + peg.reach()));
    let mut triangles: Vec<[u32; 3]> = Vec::new();
    for (at, side) in (0..4).zip(&sides) {
        let (foot, next) = (first + at, first + (at + 1) % 4);
        // The frame: a fan from this corner of the foot to the side before it, and the rest of the strip.
        triangles.extend(side.windows(2).map(|edge| [edge[0], edge[1], foot]));
        triangles.extend([[side[side.len() - 1], next, foot]]);
        // The wall: it looks out on a pin and in on a socket by the same turn.
        triangles.extend([[foot, next, next + 4], [foot, next + 4, foot + 4]]);
    }
    triangles.extend([[first + 4, first + 5, first + 6], [first + 4, first + 6, first + 7]]);
    skin.patches.extend(triangles.iter().map(|_| patch));
    skin.triangles.extend(triangles);
}

/// The corners of a square around its middle, counter-clockwise.
const TURN: [[f64; 2]; 4] = [[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]];

/// The rim of a square from corner to corner, the first side from the first corner of [`TURN`] to the second.
fn four_sides(rim: &[u32], flat: impl Fn(u32) -> DVec2) -> Option<[Vec<u32>; 4]> {
    let farthest = |way: [f64; 2]| {
        let along = |at: &usize| flat(rim[*at]).dot(DVec2::from_array(way));
        (0..rim.len()).max_by(|a, b| along(a).total_cmp(&along(b)))
    };
    let mut corners = [0; 4];
    for (corner, way) in corners.iter_mut().zip(TURN) {
        *corner = farthest(way)?;
    }
    let side = |at: usize| {
        let (from, to) = (corners[at], corners[(at + 1) % 4]);
        let steps = (to + rim.len() - from) % rim.len();
        (0..=steps).map(|step| rim[(from + step) % rim.len()]).collect::<Vec<u32>>()
    };
    let sides = [0, 1, 2, 3].map(side);
    (sides.iter().map(|side| side.len() - 1).sum::<usize>() == rim.len()).then_some(sides)
}

/// The points around some triangles, counter-clockwise, if they are one disc.
fn rim(triangles: &[[u32; 3]]) -> Option<Vec<u32>> {
    let edges = |&[a, b, c]: &[u32; 3]| [(a, b), (b, c), (c, a)];
    let all: BTreeSet<(u32, u32)> = triangles.iter().flat_map(edges).collect();
    let next: BTreeMap<u32, u32> = all.iter().copied().filter(|&(a, b)| !all.contains(&(b, a))).collect();
    let (&start, _) = next.first_key_value()?;
    let mut rim = vec![start];
    loop {
        let after = *next.get(rim.last()?)?;
        if after == start {
            return (rim.len() == next.len()).then_some(rim);
        }
        if rim.len() > next.len() {
            return None;
        }
        rim.push(after);
    }
}
