//! The bodies between the cuts, one for each part.
//!
//! In each box between the planes lie one or more bodies. The largest becomes a part; every other, and a largest one that is a
//! crumb, goes with a neighbour across the plane if
//! - the two together still fit,
//! - they do not touch themselves in an edge or a corner, and
//! - the bit gets out of its layer straight, with nothing of the piece in its way: else the parts would lock each other in.
//!
//! What finds no such neighbour is a part of its own. Bodies within a box have no face in common, so a bit that goes with a
//! neighbour never meets what is left of its box.

use glam::IVec3;

use super::cuts::Cuts;
use crate::Side;
use crate::solid::{Cells, Components, Neighbours, contact_counts};

/// A part in the making.
#[derive(Clone, Debug)]
pub(super) struct Body {
    /// The box that it comes from.
    pub(super) home: IVec3,
    pub(super) cells: Cells,
}

/// A body with less than this share of the mean of all boxes is a crumb.
const CRUMB: usize = 20;

/// Divides the cells, in the order in which parts are numbered: layers from the bottom up, in each rows from the front to the
/// back, in each from left to right.
pub(super) fn divided(cells: &Cells, cuts: &Cuts) -> Vec<Body> {
    let mut bodies: Vec<Option<Body>> = Vec::new();
    let mut bits: Vec<usize> = Vec::new();
    let boxes = IVec3::from_array([0, 1, 2].map(|axis| cuts.planes[axis].len() as i32 + 1));
    let crumb = cells.count() / (boxes.x * boxes.y * boxes.z) as usize / CRUMB;
    for home in
        (0..boxes.z).flat_map(|k| (0..boxes.y).flat_map(move |j| (0..boxes.x).map(move |i| IVec3::new(i, j, k))))
    {
        let inside = in_box(cells, cuts, home);
        let found = Components::of(&inside, Neighbours::Faces);
        for component in 0..found.len() {
            let size = found.sizes()[component];
            if Some(component) != found.largest() || size < crumb {
                bits.push(bodies.len());
            }
            bodies.push(Some(Body { home, cells: found.cells_where(|c| c == component) }));
        }
    }
    let size = |bodies: &[Option<Body>], at: usize| bodies[at].as_ref().map_or(0, |body| body.cells.count());
    bits.sort_by_key(|&at| size(&bodies, at));
    let mut grown = vec![false; bodies.len()];
    for at in bits {
        // What others went with stays where it is.
        if grown[at] {
            continue;
        }
        if let Some((other, joined)) = home_for(cells, cuts, &bodies, at) {
            bodies[at] = None;
            grown[other] = true;
            if let Some(body) = &mut bodies[other] {
                body.cells = joined;
            }
        }
    }
    bodies.into_iter().flatten().collect()
}

/// The first and the last layer of a box along an axis.
fn layers(cuts: &Cuts, axis: usize, home: i32, last: i32) -> [i32; 2] {
    let planes = &cuts.planes[axis];
    let first = if home == 0 { 0 } else { planes[home as usize - 1] };
    [first, planes.get(home as usize).map_or(last, |next| next - 1)]
}

fn in_box(cells: &Cells, cuts: &Cuts, home: IVec3) -> Cells {
    let counts = cells.grid().counts;
    let [x, y, z] = [0, 1, 2].map(|axis| layers(cuts, axis, home[axis], counts[axis] - 1));
    Cells::from_lines(*cells.grid(), |j, k, words| {
        if (y[0]..=y[1]).contains(&j) && (z[0]..=z[1]).contains(&k) {
            for i in cells.solid_between(x[0], x[1], j, k) {
                words[i as usize / 64] |= 1 << (i % 64);
            }
        }
    })
}

/// The neighbour with which a bit can go that has the most faces in common with it, and what the two make.
fn home_for(whole: &Cells, cuts: &Cuts, bodies: &[Option<Body>], at: usize) -> Option<(usize, Cells)> {
    let bit = bodies[at].as_ref()?;
    let mut shared: Vec<(usize, usize, Side)> = Vec::new();
    for (number, other) in bodies.iter().enumerate().filter(|(number, _)| *number != at) {
        let Some(other) = other else { continue };
        let away = (other.home - bit.home).abs();
        if away.element_sum() != 1 {
            continue;
        }
        let axis = (0..3).find(|&axis| away[axis] == 1).unwrap_or(0);
        let side = Side::along(axis, other.home[axis] > bit.home[axis]);
        let faces = bit.cells.iter().filter(|&cell| other.cells.solid(cell + side.step())).count();
        if faces > 0 {
            shared.push((faces, number, side));
        }
    }
    shared.sort_by_key(|&(faces, number, _)| (std::cmp::Reverse(faces), number));
    shared.into_iter().find_map(|(_, number, side)| {
        let joined = bodies[number].as_ref()?.cells.or(&bit.cells);
        let [low, high] = joined.extent()?;
        let fits = (high - low + 1).cmple(cuts.most).all();
        (fits && contact_counts(&joined).total() == 0 && gets_out(whole, cuts, bit, side)).then_some((number, joined))
    })
}

/// Whether a bit gets out of its layer towards a side without meeting anything else of the piece on its way.
fn gets_out(whole: &Cells, cuts: &Cuts, bit: &Body, side: Side) -> bool {
    let axis = side.axis();
    let [first, last] = layers(cuts, axis, bit.home[axis], whole.grid().counts[axis] - 1);
    bit.cells.iter().all(|cell| {
        let steps = if side.positive() { last - cell[axis] } else { cell[axis] - first };
        (1..=steps).map(|n| cell + n * side.step()).all(|ahead| !whole.solid(ahead) || bit.cells.solid(ahead))
    })
}
