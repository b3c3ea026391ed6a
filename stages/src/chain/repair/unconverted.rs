//! Which parts of a surface no cube stands for.
//!
//! Each triangle is halved across its longest edge until a piece is known to lie wholly within the tolerance of a solid
//! cube, or is small enough to be judged by its middle. Pieces beyond the tolerance are gathered in boxes as wide as the
//! tolerance, and boxes that touch make one place.
//!
//! Guarantees: no piece of surface that lies wholly within the tolerance is reported; a piece that lies wholly beyond is;
//! areas are out by at most the pieces astride the limit, whose edges are no longer than half the tolerance.

use std::collections::BTreeMap;

use glam::{DVec3, IVec3};
use rayon::prelude::*;

use crate::solid::{Cells, Forest, Grid, Surface};
use crate::stage::Halt;

/// A triangle of the surface, or a piece of one, in mm.
pub(super) type Piece = [DVec3; 3];

/// Longest edge, in tolerances, of a piece that may be noted as missed without halving it. The middles of two pieces that
/// touch are then at most 4/3 · ¾ = 1 tolerance apart, so that their boxes touch too.
const SMALL: f64 = 0.75;
/// Longest edge, in tolerances, of a piece that is judged by its middle if it lies astride the limit.
const SMALLEST: f64 = 0.5;
/// Triangles that one task looks at.
const TASK: usize = 512;
/// Triangles between two looks at whether the run should stop.
const BATCH: usize = 128 * TASK;

/// A connected part of the surface that no cube stands for.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Missed {
    /// Its area in mm²; of a thin sheet both faces count.
    pub area: f64,
    /// Lowest corner of the box around it, in mm.
    pub low: DVec3,
    /// Highest corner of the box around it, in mm.
    pub high: DVec3,
    /// A place on it, in mm, as near to its middle as there is one.
    pub place: DVec3,
    /// The boxes that it lies in, sorted: see [`Spots`].
    boxes: Vec<[i32; 3]>,
}

impl Missed {
    /// Whether it has a box at a place on missed surface, or beside it.
    fn holds(&self, place: DVec3, tolerance: f64) -> bool {
        let [z, y, x] = box_of(place, tolerance);
        let beside = |n: i32| [z + n / 9 - 1, y + n / 3 % 3 - 1, x + n % 3 - 1];
        // The box itself first: it nearly always decides.
        [13].into_iter().chain(0..27).any(|n| self.boxes.binary_search(&beside(n)).is_ok())
    }
}

/// The parts of the surface that are farther than `tolerance` (mm, positive) from every solid cube, largest first.
pub(super) fn missed(
    surface: &Surface,
    cells: &Cells,
    tolerance: f64,
    go_on: impl Fn() -> Result<(), Halt>,
) -> Result<Vec<Missed>, Halt> {
    let mut spots = Spots::new();
    let note = |found: &mut Spots, piece| {
        let spot = Spot::of(piece);
        if spot.area > 0.0 {
            let key = box_of(spot.middle(), tolerance);
            found.entry(key).and_modify(|there| there.take_in(&spot)).or_insert(spot);
        }
    };
    each_missed(surface, cells, tolerance, go_on, note, |found: Spots| {
        for (key, spot) in found {
            spots.entry(key).and_modify(|there| there.take_in(&spot)).or_insert(spot);
        }
    })?;
    Ok(clusters(&spots))
}

/// Looks at every missed piece of the surface, none longer than [`SMALL`] tolerances. Pieces of some triangles are
/// noted in one `T`, on any thread; `fold` gets these in the order of the triangles.
pub(super) fn each_missed<T: Default + Send>(
    surface: &Surface,
    cells: &Cells,
    tolerance: f64,
    go_on: impl Fn() -> Result<(), Halt>,
    note: impl Fn(&mut T, Piece) + Sync,
    fold: impl FnMut(T),
) -> Result<(), Halt> {
    Survey { surface, cells, tolerance, whole: SMALL * tolerance }.walk(go_on, note, fold)
}

/// The surface of a missed part, for drawing: triangles that are missed as a whole come in one piece.
pub(super) fn patch_of(
    part: &Missed,
    surface: &Surface,
    cells: &Cells,
    tolerance: f64,
    go_on: impl Fn() -> Result<(), Halt>,
) -> Result<Vec<Piece>, Halt> {
    let survey = Survey { surface, cells, tolerance, whole: f64::INFINITY };
    let mut patch = Vec::new();
    let note = |found: &mut Vec<Piece>, piece| {
        if part.holds(middle(piece), tolerance) {
            found.push(piece);
        }
    };
    survey.walk(go_on, note, |found| patch.extend(found))?;
    Ok(patch)
}

/// Missed surface by box of the tolerance's width: boxes as `[z, y, x]`.
type Spots = BTreeMap<[i32; 3], Spot>;

/// The box that a place lies in.
fn box_of(place: DVec3, tolerance: f64) -> [i32; 3] {
    let [x, y, z] = (place / tolerance).floor().as_ivec3().to_array();
    [z, y, x]
}

/// Missed surface in one box.
#[derive(Clone, Copy, Debug)]
struct Spot {
    area: f64,
    /// Middle times area.
    moment: DVec3,
    low: DVec3,
    high: DVec3,
}

impl Spot {
    fn of(piece: Piece) -> Self {
        let area = area(piece);
        let [a, b, c] = piece;
        Self { area, moment: area * middle(piece), low: a.min(b).min(c), high: a.max(b).max(c) }
    }

    fn take_in(&mut self, other: &Self) {
        self.area += other.area;
        self.moment += other.moment;
        self.low = self.low.min(other.low);
        self.high = self.high.max(other.high);
    }

    fn middle(&self) -> DVec3 {
        self.moment / self.area
    }
}

struct Survey<'a> {
    surface: &'a Surface,
    cells: &'a Cells,
    tolerance: f64,
    /// Longest edge, in mm, of a piece that may be noted as missed without halving it.
    whole: f64,
}

impl Survey<'_> {
    /// Notes every missed piece: see [`each_missed`].
    fn walk<T: Default + Send>(
        &self,
        go_on: impl Fn() -> Result<(), Halt>,
        note: impl Fn(&mut T, Piece) + Sync,
        mut fold: impl FnMut(T),
    ) -> Result<(), Halt> {
        let count = self.surface.triangles().len();
        for first in (0..count).step_by(BATCH) {
            go_on()?;
            let tasks: Vec<usize> = (first..count.min(first + BATCH)).step_by(TASK).collect();
            let look = |start: usize| {
                let mut found = T::default();
                self.look(start..count.min(start + TASK), |piece| note(&mut found, piece));
                found
            };
            let found: Vec<T> = tasks.into_par_iter().map(look).collect();
            found.into_iter().for_each(&mut fold);
        }
        Ok(())
    }

    /// Notes what is missed of some triangles.
    fn look(&self, triangles: std::ops::Range<usize>, mut note: impl FnMut(Piece)) {
        let mut pieces = Vec::new();
        for triangle in triangles {
            pieces.push(self.surface.corners(triangle));
            while let Some(piece) = pieces.pop() {
                if self.judge(piece, &mut pieces) {
                    note(piece);
                }
            }
        }
    }

    /// Whether a piece is missed; puts back its halves if that cannot be told yet.
    fn judge(&self, piece: Piece, pieces: &mut Vec<Piece>) -> bool {
        let middle = middle(piece);
        let radius = piece.iter().map(|&corner| corner.distance(middle)).fold(0.0, f64::max);
        if radius < self.tolerance && any_within(self.cells, middle, self.tolerance - radius) {
            return false;
        }
        let [a, b, c] = longest_edge_first(piece);
        let longest = a.distance(b);
        if longest <= self.whole && !any_within(self.cells, middle, self.tolerance + radius) {
            return true;
        }
        if longest > SMALLEST * self.tolerance {
            let half = a.midpoint(b);
            pieces.extend([[a, half, c], [half, b, c]]);
            return false;
        }
        !any_within(self.cells, middle, self.tolerance)
    }
}

pub(super) fn middle([a, b, c]: Piece) -> DVec3 {
    (a + b + c) / 3.0
}

fn area([a, b, c]: Piece) -> f64 {
    (b - a).cross(c - a).length() / 2.0
}

/// The same triangle, turned so that its longest edge joins the first two corners.
pub(super) fn longest_edge_first([a, b, c]: Piece) -> Piece {
    let [ab, bc, ca] = [a.distance_squared(b), b.distance_squared(c), c.distance_squared(a)];
    if ab >= bc && ab >= ca {
        [a, b, c]
    } else if bc >= ca {
        [b, c, a]
    } else {
        [c, a, b]
    }
}

/// Whether a solid cube, its boundary included, comes within `radius` (mm) of the point.
pub(super) fn any_within(cells: &Cells, point: DVec3, radius: f64) -> bool {
    let grid = cells.grid();
    if cells.solid(((point - grid.origin) / grid.cell).floor().as_ivec3()) {
        return true;
    }
    spans_within(grid, point, radius).any(|(j, k, span)| any_set(cells.line(j, k), span))
}

/// The solid cubes, their boundaries included, that come within `radius` (mm) of the point.
pub(super) fn all_within(cells: &Cells, point: DVec3, radius: f64) -> impl Iterator<Item = IVec3> {
    let spans = spans_within(cells.grid(), point, radius).filter(|(_, _, span)| !span.is_empty());
    spans.flat_map(move |(j, k, span)| {
        cells.solid_between(*span.start(), *span.end(), j, k).map(move |i| IVec3::new(i, j, k))
    })
}

/// The lines of the grid that come within `radius` of the point, as `j` and `k`, with the cells on each that do.
fn spans_within(
    grid: &Grid,
    point: DVec3,
    radius: f64,
) -> impl Iterator<Item = (i32, i32, std::ops::RangeInclusive<i32>)> + use<> {
    // In cells from the grid's corner.
    let at = (point - grid.origin) / grid.cell;
    let reach = radius / grid.cell;
    // Cube i fills [i, i+1]: it comes within r of x if i+1 >= x-r and i <= x+r.
    let span =
        |x: f64, r: f64, count: i32| ((x - r).ceil() as i32 - 1).max(0)..=((x + r).floor() as i32).min(count - 1);
    // How far x lies outside [i, i+1].
    let gap = |x: f64, i: i32| (f64::from(i) - x).max(x - f64::from(i + 1)).max(0.0);
    let IVec3 { x: nx, y: ny, z: nz } = grid.counts;
    span(at.z, reach, nz).flat_map(move |k| {
        let layer = reach * reach - gap(at.z, k).powi(2);
        span(at.y, layer.max(0.0).sqrt(), ny).map(move |j| {
            let line = (layer - gap(at.y, j).powi(2)).max(0.0);
            (j, k, span(at.x, line.sqrt(), nx))
        })
    })
}

/// Whether a bit of the line is set between two places, both included.
fn any_set(line: &[u64], places: std::ops::RangeInclusive<i32>) -> bool {
    if places.is_empty() {
        return false;
    }
    let (first, last) = (*places.start() as usize, *places.end() as usize);
    (first / 64..=last / 64).any(|w| {
        let from = first.saturating_sub(w * 64);
        let to = (last - w * 64).min(63);
        line[w] & (u64::MAX << from) & (u64::MAX >> (63 - to)) != 0
    })
}

/// Puts together the spots whose boxes touch; largest first, equals in the order of their first boxes.
fn clusters(spots: &Spots) -> Vec<Missed> {
    let boxes: Vec<(&[i32; 3], &Spot)> = spots.iter().collect();
    let mut forest = Forest::of(boxes.len());
    for (at, &(&[z, y, x], _)) in boxes.iter().enumerate() {
        for n in 0..13 {
            // The 13 neighbours that come before; the others come to this box from their side.
            let before = [z + n / 9 - 1, y + n / 3 % 3 - 1, x + n % 3 - 1];
            if let Ok(other) = boxes.binary_search_by_key(&&before, |&(key, _)| key) {
                forest.join(at, other);
            }
        }
    }
    let mut members: BTreeMap<usize, Vec<(&[i32; 3], &Spot)>> = BTreeMap::new();
    for (&spot, root) in boxes.iter().zip(forest.roots()) {
        members.entry(root).or_default().push(spot);
    }
    let mut clusters: Vec<Missed> = members.values().map(|spots| cluster(spots)).collect();
    clusters.sort_by(|a, b| b.area.total_cmp(&a.area));
    clusters
}

/// One place out of the spots that make it, in order; there is at least one.
fn cluster(spots: &[(&[i32; 3], &Spot)]) -> Missed {
    let mut all = *spots[0].1;
    spots[1..].iter().for_each(|(_, spot)| all.take_in(spot));
    let off = |spot: &Spot| spot.middle().distance_squared(all.middle());
    let nearest = spots.iter().fold(spots[0].1, |best, &(_, spot)| if off(spot) < off(best) { spot } else { best });
    let boxes = spots.iter().map(|&(&key, _)| key).collect();
    Missed { area: all.area, low: all.low, high: all.high, place: nearest.middle(), boxes }
}
