//! How well a solid of cubes keeps the form of the surface that it was made from.
//!
//! What is measured, of the source solid Ω (the points with a winding number above ½), the surface S, and the cubes C:
//!
//! - **Volume overlap**: |Ω ∩ C| / |Ω ∪ C|, from samples on a lattice around the middle of the grid. Its pitch is the
//!   finest of 0.236, 0.382, 0.618, 1.618, 2.618 … cells that takes no more than [`MOST_SAMPLES`]. These are powers of the
//!   golden ratio's fraction and their like, whose multiples fall evenly on every part of a cell (Weyl 1916); samples that
//!   cut cells into whole parts would find too much in common, for they keep a distance from the centres that decide. Each
//!   lattice cube that the boundary of Ω cuts is counted wholly or not at all, so its volume is out by no more than half,
//!   and by chance with a variance of at most ¼. With m cut cubes of N in Ω ∪ C the overlap is out by about √m / 2N:
//!   0.03 % for a ball 20 cells across, and a test holds it to 0.1 %. A form of few cells that is symmetric about the
//!   middle repeats each cut: 2.6 % for a ball 4 cells across. A flat face along the lattice is cut alike everywhere, and
//!   out by half a pitch at most.
//! - **Surface distance**: to the nearest point of the boundary ∂C from points of S, and to the nearest point of S from
//!   points of ∂C; [`SAMPLES`] of each, spread evenly over the area. Of S what lies within Ω does not count, as where
//!   shells overlap: no cube could follow it. Of ∂C what closes a hole of S does not count: there is nothing to compare it
//!   with. The mean is that of both ways' means; the 95th percentile and the largest are the larger of both ways' (the
//!   largest is the Hausdorff distance, up to sampling).
//! - **Silhouette overlap**: the shadow of S along each axis over that of C, as intersection over union. The shadow of S is
//!   that of its triangles, so that a sheet too thin for any cube throws one. Opposite sides have the same.
//!
//! The same on any number of threads; the order of triangles decides which points of S are sampled.

use glam::{DVec2, DVec3, IVec3};
use rayon::prelude::*;

use super::bins::Bins;
use super::inside::solid_cells;
use super::{Cells, Grid, Nearest, Surface, bits};

mod shadow;

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;

/// Most samples of the volume.
pub const MOST_SAMPLES: usize = 1 << 26;

/// Points on each of the two surfaces from which distances are taken.
pub const SAMPLES: usize = 1 << 16;

/// Samples that one task takes.
const TASK: usize = 1 << 10;

/// The fraction of the golden ratio, (√5 − 1) / 2.
const GOLDEN: f64 = 0.618_033_988_749_894_9;

/// How alike a form and its cubes are. Shares from 0 to 1, lengths in mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Likeness {
    /// Intersection over union of the volumes.
    pub overlap: f64,
    /// In how many places it was asked whether they are inside.
    pub samples: usize,
    /// From the surface to the cubes' boundary.
    pub to_cubes: Spread,
    /// From the cubes' boundary to the surface.
    pub to_surface: Spread,
    /// Intersection over union of the shadows along x, y and z.
    pub silhouettes: [f64; 3],
}

/// How distances are spread, in mm.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Spread {
    /// Arithmetic mean.
    pub mean: f64,
    /// 95th percentile: the least distance that at least 95 % do not exceed.
    pub high: f64,
    /// Largest.
    pub largest: f64,
}

impl Likeness {
    /// Measures it. `go_on` is asked between the steps.
    ///
    /// # Errors
    /// What `go_on` gives.
    pub fn of<E>(surface: &Surface, cells: &Cells, go_on: impl Fn() -> Result<(), E>) -> Result<Self, E> {
        let solid = solid_cells(surface, samples(cells.grid())).0;
        go_on()?;
        Self::with(&solid, surface, cells, go_on)
    }

    /// As [`Likeness::of`], given the source solid in samples.
    fn with<E>(solid: &Cells, surface: &Surface, cells: &Cells, go_on: impl Fn() -> Result<(), E>) -> Result<Self, E> {
        let overlap = overlap(solid, cells);
        let silhouettes = shadow::overlaps(surface, cells);
        go_on()?;
        let to_cubes = Spread::of(to_cubes(solid, surface, cells));
        go_on()?;
        let to_surface = Spread::of(to_surface(solid, surface, cells));
        Ok(Self { overlap, samples: solid.grid().len(), to_cubes, to_surface, silhouettes })
    }

    /// The mean of both ways' mean distances.
    #[must_use]
    pub fn mean(&self) -> f64 {
        f64::midpoint(self.to_cubes.mean, self.to_surface.mean)
    }

    /// The larger of both ways' 95th percentiles.
    #[must_use]
    pub fn high(&self) -> f64 {
        self.to_cubes.high.max(self.to_surface.high)
    }

    /// The larger of both ways' largest distances.
    #[must_use]
    pub fn largest(&self) -> f64 {
        self.to_cubes.largest.max(self.to_surface.largest)
    }
}

impl Spread {
    fn of(mut distances: Vec<f64>) -> Self {
        if distances.is_empty() {
            return Self::default();
        }
        distances.sort_unstable_by(f64::total_cmp);
        let count = distances.len();
        Self {
            mean: distances.iter().sum::<f64>() / count as f64,
            high: distances[(count * 95).div_ceil(100) - 1],
            largest: distances[count - 1],
        }
    }
}

/// The volume in common alone: [`Likeness::overlap`].
#[must_use]
pub fn overlap_of(surface: &Surface, cells: &Cells) -> f64 {
    overlap(&solid_cells(surface, samples(cells.grid())).0, cells)
}

/// The lattice on which the volume is sampled: over the same box as the grid, and up to a pitch more.
pub(crate) fn samples(grid: &Grid) -> Grid {
    let [second, third] = [GOLDEN * GOLDEN, GOLDEN * GOLDEN * GOLDEN];
    let pitches = [third, second].into_iter().chain((0..).map(|n| f64::from(n) + GOLDEN));
    let lattice = |pitch: f64| {
        let counts = (grid.counts.as_dvec3() / pitch).ceil();
        // The same on both sides of the middle, so that mirrored forms are sampled in mirrored places.
        let origin = grid.origin + grid.cell / 2.0 * (grid.counts.as_dvec3() - counts * pitch);
        (counts.element_product() <= MOST_SAMPLES as f64).then(|| Grid {
            origin,
            cell: grid.cell * pitch,
            counts: counts.as_ivec3(),
        })
    };
    // A pitch as wide as the grid takes one sample.
    pitches.into_iter().find_map(lattice).unwrap_or(*grid)
}

/// For each sample along an axis, the cell that holds it; those beyond the grid's ends are in cells that do not exist.
fn cells_of_samples(samples: &Grid, grid: &Grid, axis: usize) -> Vec<i32> {
    let (pitch, first) = (samples.cell / grid.cell, (samples.origin[axis] - grid.origin[axis]) / grid.cell);
    (0..samples.counts[axis]).map(|i| (first + (f64::from(i) + 0.5) * pitch).floor() as i32).collect()
}

/// Intersection over union of a solid in samples and one of cells on the same box; 0 if both are empty.
fn overlap(solid: &Cells, cells: &Cells) -> f64 {
    let (samples, grid) = (solid.grid(), cells.grid());
    let [of_x, of_y, of_z] = [0, 1, 2].map(|axis| cells_of_samples(samples, grid, axis));
    let [both, either] = of_z
        .par_iter()
        .enumerate()
        .map(|(k, &cell_z)| {
            let mut line = vec![0u64; of_x.len().div_ceil(64)];
            let mut spread_for = None;
            let mut counts = [0usize; 2];
            for (j, &cell_y) in of_y.iter().enumerate() {
                if spread_for != Some(cell_y) {
                    spread(cells, &of_x, cell_y, cell_z, &mut line);
                    spread_for = Some(cell_y);
                }
                for (a, b) in solid.line(j as i32, k as i32).iter().zip(&line) {
                    counts[0] += (a & b).count_ones() as usize;
                    counts[1] += (a | b).count_ones() as usize;
                }
            }
            counts
        })
        .reduce(|| [0; 2], |a, b| [a[0] + b[0], a[1] + b[1]]);
    if either == 0 { 0.0 } else { both as f64 / either as f64 }
}

/// A line of cells, one bit for each sample on it.
fn spread(cells: &Cells, of_x: &[i32], y: i32, z: i32, line: &mut [u64]) {
    line.fill(0);
    if !(0..cells.grid().counts.y).contains(&y) || !(0..cells.grid().counts.z).contains(&z) {
        return;
    }
    let words = cells.line(y, z);
    for (i, &x) in of_x.iter().enumerate() {
        let held = (0..cells.grid().counts.x).contains(&x);
        let solid = held && words[x as usize / 64] >> (x % 64) & 1 == 1;
        line[i / 64] |= u64::from(solid) << (i % 64);
    }
}

/// Distances from points of the surface to the boundary of the cubes.
fn to_cubes(solid: &Cells, surface: &Surface, cells: &Cells) -> Vec<f64> {
    let border = Border::of(cells);
    let points = points_on(surface);
    let tasks: Vec<Vec<f64>> = points
        .par_chunks(TASK)
        .map(|points| points.iter().filter(|&&p| !within(solid, p)).filter_map(|&p| border.distance(p)).collect())
        .collect();
    tasks.concat()
}

/// Whether all eight samples around a point are solid.
fn within(solid: &Cells, point: DVec3) -> bool {
    let low = ((point - solid.grid().origin) / solid.grid().cell - 0.5).floor().as_ivec3();
    (0..8).all(|n| solid.solid(low + IVec3::new(n & 1, n >> 1 & 1, n >> 2)))
}

/// Distances from points of the cubes' boundary to the surface.
fn to_surface(solid: &Cells, surface: &Surface, cells: &Cells) -> Vec<f64> {
    let nearest = Nearest::new(surface, *cells.grid());
    let points = points_on_faces(cells);
    let edge = cells.grid().cell;
    let tasks: Vec<Vec<f64>> = points
        .par_chunks(TASK)
        .map(|points| {
            let distances = points.iter().filter_map(|&point| Some((point, nearest.within(point, f64::INFINITY)?)));
            // A boundary of the source solid that has no surface within a cell is where a hole was closed.
            let counts = |&(point, distance): &(DVec3, f64)| distance <= edge || !bounds(solid, point, edge);
            distances.filter(counts).map(|(_, distance)| distance).collect()
        })
        .collect();
    tasks.concat()
}

/// Whether the samples within `reach` of a point along each axis are partly solid and partly not.
fn bounds(solid: &Cells, point: DVec3, reach: f64) -> bool {
    let grid = solid.grid();
    let reach = reach.max(grid.cell);
    let at = |point: DVec3| (point - grid.origin) / grid.cell - 0.5;
    let (low, high) = (at(point - reach).ceil().as_ivec3(), at(point + reach).floor().as_ivec3());
    let (mut some, mut all) = (false, true);
    for z in low.z..=high.z {
        for y in low.y..=high.y {
            for x in low.x..=high.x {
                let inside = solid.solid(IVec3::new(x, y, z));
                some |= inside;
                all &= inside;
            }
        }
    }
    some && !all
}

/// Points spread evenly over the area of a surface: one on each equal share of it in the order of triangles, at a place
/// in its triangle by a sequence of low discrepancy.
fn points_on(surface: &Surface) -> Vec<DVec3> {
    let area = |[a, b, c]: [DVec3; 3]| (b - a).cross(c - a).length() / 2.0;
    let whole = surface.area();
    let mut points = Vec::with_capacity(SAMPLES);
    if !(whole.is_finite() && whole > 0.0) {
        return points;
    }
    let mut before = 0.0;
    for corners in surface.each_triangle() {
        before += area(corners);
        while points.len() < SAMPLES && (points.len() as f64 + 0.5) / SAMPLES as f64 * whole < before {
            points.push(in_triangle(corners, in_square(points.len())));
        }
    }
    points
}

/// The point of a triangle at a place of the unit square, evenly: the half of the square beyond the diagonal is turned
/// over onto the other.
fn in_triangle([a, b, c]: [DVec3; 3], DVec2 { x: u, y: v }: DVec2) -> DVec3 {
    let (u, v) = if u + v > 1.0 { (1.0 - u, 1.0 - v) } else { (u, v) };
    a + u * (b - a) + v * (c - a)
}

/// Place `n` of a sequence that fills the unit square evenly: multiples of 1/g and 1/g², where g³ = g + 1 (a Kronecker
/// sequence with the plastic number).
fn in_square(n: usize) -> DVec2 {
    const PLASTIC: f64 = 1.324_717_957_244_746;
    (DVec2::new(1.0 / PLASTIC, 1.0 / (PLASTIC * PLASTIC)) * (n as f64 + 0.5)).fract()
}

/// Points spread evenly over the boundary of a solid of cubes.
fn points_on_faces(cells: &Cells) -> Vec<DVec3> {
    let grid = cells.grid();
    let faces_of = |k: i32| -> usize {
        (0..grid.counts.y).map(|j| faces(cells, j, k).map(|(_, _, line)| ones(&line)).sum::<usize>()).sum()
    };
    let of_layers: Vec<usize> = (0..grid.counts.z).into_par_iter().map(faces_of).collect();
    let whole: usize = of_layers.iter().sum();
    if whole == 0 {
        return Vec::new();
    }
    // Point n lies on the face that holds the share (n + ½) / SAMPLES of all faces, in the order of layers.
    let face_of = |n: usize| ((2 * n + 1) as u128 * whole as u128 / (2 * SAMPLES) as u128) as usize;
    let mut first = 0;
    let mut point = 0;
    let mut tasks = Vec::new();
    for (k, &count) in of_layers.iter().enumerate() {
        let start = point;
        while point < SAMPLES && face_of(point) < first + count {
            point += 1;
        }
        tasks.push((k as i32, first, start..point));
        first += count;
    }
    let parts: Vec<Vec<DVec3>> = tasks
        .into_par_iter()
        .map(|(k, first, wanted)| {
            let mut points = Vec::with_capacity(wanted.len());
            let (mut passed, mut wanted) = (first, wanted.peekable());
            for j in 0..grid.counts.y {
                for (axis, above, line) in faces(cells, j, k) {
                    let count = ones(&line);
                    if wanted.peek().is_some_and(|&n| face_of(n) < passed + count) {
                        let places: Vec<i32> =
                            (0..).zip(&line).flat_map(|(w, &word)| bits(word).map(move |b| w * 64 + b)).collect();
                        while let Some(n) = wanted.next_if(|&n| face_of(n) < passed + count) {
                            let cell = IVec3::new(places[face_of(n) - passed], j, k);
                            points.push(on_face(grid, cell, axis, above, in_square(n)));
                        }
                    }
                    passed += count;
                }
            }
            points
        })
        .collect();
    parts.concat()
}

/// The point at a place of a face: across which axis it lies, and whether above the cell or below.
fn on_face(grid: &Grid, cell: IVec3, axis: usize, above: bool, place: DVec2) -> DVec3 {
    let mut at = cell.as_dvec3();
    at[axis] += f64::from(u8::from(above));
    at[(axis + 1) % 3] += place.x;
    at[(axis + 2) % 3] += place.y;
    grid.origin + grid.cell * at
}

/// Which solid cells of a line have a face below and above along each axis: the axis, whether above, and a bit a cell.
fn faces(cells: &Cells, j: i32, k: i32) -> impl Iterator<Item = (usize, bool, Vec<u64>)> {
    let IVec3 { y: ny, z: nz, .. } = cells.grid().counts;
    let line = cells.line(j, k);
    let beside = move |j: i32, k: i32| {
        let other = ((0..ny).contains(&j) && (0..nz).contains(&k)).then(|| cells.line(j, k));
        (0..line.len()).map(|w| line[w] & !other.map_or(0, |other| other[w])).collect()
    };
    [(0, false), (0, true), (1, false), (1, true), (2, false), (2, true)].into_iter().map(move |(axis, above)| {
        let step = if above { 1 } else { -1 };
        let exposed = match axis {
            0 if above => (0..line.len())
                .map(|w| line[w] & !(line[w] >> 1 | line.get(w + 1).map_or(0, |next| next << 63)))
                .collect(),
            0 => (0..line.len())
                .map(|w| line[w] & !(line[w] << 1 | w.checked_sub(1).map_or(0, |before| line[before] >> 63)))
                .collect(),
            1 => beside(j + step, k),
            _ => beside(j, k + step),
        };
        (axis, above, exposed)
    })
}

fn ones(line: &[u64]) -> usize {
    line.iter().map(|word| word.count_ones() as usize).sum()
}

/// The boundary of a solid of cubes, ready to be asked how far it is: from a point in a cube to the nearest cube of air,
/// from one in air to the nearest solid one.
struct Border {
    /// One cell wider than the solid all around.
    solid: Cells,
    cubes: Bins,
    air: Bins,
}

impl Border {
    fn of(cells: &Cells) -> Self {
        let grid = cells.grid();
        let around = Grid { origin: grid.origin - grid.cell, cell: grid.cell, counts: grid.counts + 2 };
        let solid = Cells::from_lines(around, |j, k, line| {
            let (j, k) = (j - 1, k - 1);
            if (0..grid.counts.y).contains(&j) && (0..grid.counts.z).contains(&k) {
                for (w, &word) in cells.line(j, k).iter().enumerate() {
                    line[w] |= word << 1;
                    // The carry of the last word is nothing, where there is no word for it.
                    if let Some(next) = line.get_mut(w + 1) {
                        *next |= word >> 63;
                    }
                }
            }
        });
        let air = Cells::from_lines(around, |j, k, line| {
            for ((w, air), word) in line.iter_mut().enumerate().zip(solid.line(j, k)) {
                let held = (around.counts.x as usize - w * 64).min(64);
                *air = !word & (u64::MAX >> (64 - held));
            }
        });
        Self { cubes: Bins::solid(&solid), air: Bins::solid(&air), solid }
    }

    /// The distance in mm; `None` if there is no cube.
    fn distance(&self, point: DVec3) -> Option<f64> {
        let grid = self.solid.grid();
        let inside = self.solid.solid(((point - grid.origin) / grid.cell).floor().as_ivec3());
        let across = if inside { &self.air } else { &self.cubes };
        let to_cube = |cell: IVec3| {
            let low = grid.corner(cell);
            (point - point.clamp(low, low + grid.cell)).length_squared()
        };
        across.search(point, f64::INFINITY, 0.0, to_cube).map(f64::sqrt)
    }
}
