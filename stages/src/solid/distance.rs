//! Exact Euclidean distance on a lattice: from the centre of each cell to the nearest point of a set of closed cubes, or
//! to the nearest of a set of centres.
//!
//! Distances are squared and in units of half a lattice edge, so they are whole numbers: between two cells that differ by
//! (i, j, k) the squared distance is g(i) + g(j) + g(k), where g(n) = (2n)² to a centre; to a cube g(0) = 0 and g(n) =
//! (2|n| − 1)². The sum is separable, so three passes along the axes do (Felzenszwalb & Huttenlocher 2012, Theory of
//! Computing 8: lower envelope of parabolas). A closed cube is not a parabola's point; but its two ends are, each shared
//! with the neighbour, and they lie halfway between the places at which the envelope is asked. So for cubes the parabolas
//! stand at the cell boundaries, with the lower height of the two cells that meet there.

use glam::IVec3;
use rayon::prelude::*;

use super::{Cells, Grid};

/// Squared distances, one a lattice cell.
#[derive(Clone, Debug)]
pub struct Distances {
    grid: Grid,
    /// y slowest, x fastest.
    squared: Vec<u32>,
}

/// Farther than any lattice that fits into memory is wide, and small enough to add to.
const FAR: u32 = u32::MAX / 4;

/// What distance is taken to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum To {
    Centres,
    Cubes,
}

impl To {
    /// The share of one axis in a squared distance, in half edges: to what lies so many cells off.
    pub(super) fn squared_halves(self, cells: i32) -> u32 {
        let halves = 2 * cells.unsigned_abs();
        (if self == Self::Cubes { halves.saturating_sub(1) } else { halves }).pow(2)
    }
}

/// What lies beyond the lattice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Beyond {
    /// Cubes of the set, all around.
    Cubes,
    /// Nothing.
    Nothing,
}

impl Distances {
    /// From each cell's centre to the nearest of the cubes.
    #[must_use]
    pub fn to_cubes(cubes: &Cells, beyond: Beyond) -> Self {
        Self::to(To::Cubes, cubes, beyond)
    }

    /// From each cell's centre to the nearest of the cells' centres.
    #[must_use]
    pub fn to_centres(cells: &Cells) -> Self {
        Self::to(To::Centres, cells, Beyond::Nothing)
    }

    pub(super) fn to(to: To, cells: &Cells, beyond: Beyond) -> Self {
        let grid = *cells.grid();
        let [nx, ny, nz] = grid.counts.to_array().map(|n| n as usize);
        let edge = if beyond == Beyond::Cubes { 0 } else { FAR };

        let mut along_y = vec![0u32; nx * ny * nz];
        along_y.par_chunks_mut((nx * ny).max(1)).enumerate().for_each(|(k, layer)| {
            for (j, line) in layer.chunks_mut(nx).enumerate() {
                along_line(to, line, cells.line(j as i32, k as i32), edge);
            }
            let mut envelope = Envelope::default();
            for i in 0..nx {
                envelope.pass(to, edge, ny, |j| layer[j * nx + i]);
                envelope.write(ny, |j, d| layer[j * nx + i] = d);
            }
        });

        let mut squared = vec![0u32; nx * ny * nz];
        squared.par_chunks_mut((nx * nz).max(1)).enumerate().for_each(|(j, layer)| {
            for (k, line) in layer.chunks_mut(nx).enumerate() {
                let start = (k * ny + j) * nx;
                line.copy_from_slice(&along_y[start..start + nx]);
            }
            let mut envelope = Envelope::default();
            for i in 0..nx {
                envelope.pass(to, edge, nz, |k| layer[k * nx + i]);
                envelope.write(nz, |k, d| layer[k * nx + i] = d);
            }
        });
        Self { grid, squared }
    }

    /// The squared distance of a cell's centre, in squares of half a lattice edge.
    #[must_use]
    pub fn squared_halves(&self, cell: IVec3) -> u32 {
        let [nx, nz] = [self.grid.counts.x as usize, self.grid.counts.z as usize];
        self.squared[(cell.y as usize * nz + cell.z as usize) * nx + cell.x as usize]
    }

    /// The square of a distance, in squares of half a lattice edge, both in mm. A cell is that far off if its own is no
    /// less.
    pub(super) fn squared_halves_of(distance: f64, edge: f64) -> f64 {
        // A distance that is a whole number of half edges may come out a rounding error too large.
        (2.0 * distance / edge).powi(2) * (1.0 - 1e-12)
    }

    /// The cells whose centres are at least `distance` mm away.
    #[must_use]
    pub fn at_least(&self, distance: f64) -> Cells {
        let least = Self::squared_halves_of(distance, self.grid.cell);
        Cells::from_lines(self.grid, |j, k, words| {
            let nx = self.grid.counts.x as usize;
            let start = (j as usize * self.grid.counts.z as usize + k as usize) * nx;
            for (i, &squared) in self.squared[start..start + nx].iter().enumerate() {
                words[i / 64] |= u64::from(f64::from(squared) >= least) << (i % 64);
            }
        })
    }

    /// The largest distance, in mm.
    #[must_use]
    pub fn largest(&self) -> f64 {
        let squared = self.squared.par_iter().copied().max().unwrap_or(0);
        f64::from(squared).sqrt() * self.grid.cell / 2.0
    }
}

/// Squared distances along one line of bits.
fn along_line(to: To, line: &mut [u32], words: &[u64], edge: u32) {
    let first = if to == To::Cubes { 1 } else { 2 };
    let cube = |i: usize| words[i / 64] >> (i % 64) & 1 == 1;
    let squared = |gap: Option<u32>| gap.map_or(FAR, |halves| halves.saturating_mul(halves).min(FAR));
    let start = if edge == 0 { Some(first) } else { None };
    // Half edges from the centre to the nearest cube on the left, then on the right.
    let mut gap = start;
    for (i, d) in line.iter_mut().enumerate() {
        gap = if cube(i) { Some(0) } else { gap };
        *d = squared(gap);
        gap = gap.map(|g| if g == 0 { first } else { g + 2 });
    }
    let mut gap = start;
    for (i, d) in line.iter_mut().enumerate().rev() {
        gap = if cube(i) { Some(0) } else { gap };
        *d = (*d).min(squared(gap));
        gap = gap.map(|g| if g == 0 { first } else { g + 2 });
    }
}

/// The lower envelope of parabolas along a line, in half edges: cell `i` is asked at `2i`; a parabola of its own stands
/// there too, the one of its boundary with the cell before at `2i − 1`.
#[derive(Default)]
struct Envelope {
    /// Heights of the cells themselves.
    own: Vec<u32>,
    /// Parabolas on the envelope: position and height.
    sites: Vec<(i64, i64)>,
    /// From which asked position on each is lowest.
    from: Vec<i64>,
}

impl Envelope {
    fn pass(&mut self, to: To, edge: u32, count: usize, height: impl Fn(usize) -> u32) {
        self.own.clear();
        self.own.extend((0..count).map(height));
        self.sites.clear();
        self.from.clear();
        if to == To::Centres {
            for cell in 0..count {
                if self.own[cell] < FAR {
                    self.add(2 * cell as i64, i64::from(self.own[cell]));
                }
            }
            return;
        }
        for boundary in 0..=count {
            let before = if boundary == 0 { edge } else { self.own[boundary - 1] };
            let behind = if boundary == count { edge } else { self.own[boundary] };
            let lower = before.min(behind);
            if lower < FAR {
                self.add(2 * boundary as i64 - 1, i64::from(lower));
            }
        }
    }

    fn add(&mut self, at: i64, height: i64) {
        loop {
            let Some(&(p, h)) = self.sites.last() else {
                self.sites.push((at, height));
                self.from.push(0);
                return;
            };
            // Lower than the last one from the first position x with height + (x − at)² < h + (x − p)² on.
            let meet = (height + at * at - h - p * p).div_euclid(2 * (at - p)) + 1;
            let meet = meet.max(0);
            if meet <= self.from[self.from.len() - 1] {
                self.sites.pop();
                self.from.pop();
                continue;
            }
            self.sites.push((at, height));
            self.from.push(meet);
            return;
        }
    }

    fn write(&self, count: usize, mut write: impl FnMut(usize, u32)) {
        let mut lowest = 0;
        for i in 0..count {
            let x = 2 * i as i64;
            while lowest + 1 < self.from.len() && self.from[lowest + 1] <= x {
                lowest += 1;
            }
            let through = self.sites.get(lowest).map_or(i64::from(FAR), |&(at, height)| height + (x - at) * (x - at));
            write(i, self.own[i].min(through.min(i64::from(FAR)) as u32));
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use glam::DVec3;
    use proptest::prelude::*;

    fn grid(counts: IVec3) -> Grid {
        Grid { origin: DVec3::ZERO, cell: 1.0, counts }
    }

    /// By looking at every cube: the definition.
    fn brute(cubes: &Cells, from: IVec3) -> u32 {
        let g = |n: i32| if n == 0 { 0 } else { (2 * n.unsigned_abs() - 1).pow(2) };
        cubes.iter().map(|c| g(c.x - from.x) + g(c.y - from.y) + g(c.z - from.z)).min().unwrap_or(FAR)
    }

    proptest! {
        #[test]
        fn agrees_with_looking_at_every_cube(
            nx in 1i32..70, ny in 1i32..9, nz in 1i32..9,
            seeds in proptest::collection::vec((0i32..70, 0i32..9, 0i32..9), 0..12),
        ) {
            let counts = IVec3::new(nx, ny, nz);
            let mut cubes = Cells::empty(grid(counts));
            for (x, y, z) in seeds {
                cubes.set(IVec3::new(x % nx, y % ny, z % nz), true);
            }
            let distances = Distances::to_cubes(&cubes, Beyond::Nothing);
            for z in 0..nz { for y in 0..ny { for x in 0..nx {
                let at = IVec3::new(x, y, z);
                prop_assert_eq!(distances.squared_halves(at), brute(&cubes, at), "{}", at);
            }}}
        }

        #[test]
        fn agrees_with_looking_at_every_centre(
            nx in 1i32..70, ny in 1i32..9, nz in 1i32..9,
            seeds in proptest::collection::vec((0i32..70, 0i32..9, 0i32..9), 0..12),
        ) {
            let counts = IVec3::new(nx, ny, nz);
            let mut cells = Cells::empty(grid(counts));
            for (x, y, z) in seeds {
                cells.set(IVec3::new(x % nx, y % ny, z % nz), true);
            }
            let distances = Distances::to_centres(&cells);
            for z in 0..nz { for y in 0..ny { for x in 0..nx {
                let at = IVec3::new(x, y, z);
                let least = cells.iter().map(|c| (c - at).length_squared() as u32 * 4).min().unwrap_or(FAR);
                prop_assert_eq!(distances.squared_halves(at), least, "{}", at);
            }}}
        }

        #[test]
        fn cubes_beyond_the_lattice_count_when_asked(nx in 1i32..9, ny in 1i32..9, nz in 1i32..9) {
            let counts = IVec3::new(nx, ny, nz);
            let distances = Distances::to_cubes(&Cells::empty(grid(counts)), Beyond::Cubes);
            for z in 0..nz { for y in 0..ny { for x in 0..nx {
                let at = IVec3::new(x, y, z);
                let to_edge = at.min(counts - 1 - at).min_element() as u32;
                prop_assert_eq!(distances.squared_halves(at), (2 * to_edge + 1).pow(2));
            }}}
        }
    }

    #[test]
    fn squared_distances_between_centres_as_published() {
        // Histogram of squared distances from the middle of 5 × 5 × 5 points, and one line with three features: by
        // scipy 1.17 and edt 3 and by brute force.
        let mut middle = Cells::empty(grid(IVec3::splat(5)));
        middle.set(IVec3::splat(2), true);
        let distances = Distances::to_centres(&middle);
        let mut histogram = [0; 13];
        for at in crate::solid::air(&Cells::empty(grid(IVec3::splat(5)))).iter() {
            histogram[distances.squared_halves(at) as usize / 4] += 1;
        }
        assert_eq!(histogram, [1, 6, 12, 8, 6, 24, 24, 0, 12, 24, 0, 0, 8]);
        let features = Cells::from_fn(grid(IVec3::new(10, 1, 1)), |c| [1, 2, 7].contains(&c.x));
        let line = Distances::to_centres(&features);
        let squared: Vec<u32> = (0..10).map(|x| line.squared_halves(IVec3::new(x, 0, 0)) / 4).collect();
        assert_eq!(squared, [1, 0, 0, 1, 4, 4, 1, 0, 1, 4]);
    }

    #[test]
    fn a_single_cube_in_the_middle() {
        // Closed form: from (0,0,0) to the cube [2,3]³ the nearest corner (2,2,2) lies 1.5 edges off on each axis.
        let mut cubes = Cells::empty(grid(IVec3::splat(5)));
        cubes.set(IVec3::splat(2), true);
        let distances = Distances::to_cubes(&cubes, Beyond::Nothing);
        assert_eq!(distances.squared_halves(IVec3::ZERO), 27);
        assert_eq!(distances.squared_halves(IVec3::new(2, 2, 0)), 9);
        assert_eq!(distances.squared_halves(IVec3::splat(2)), 0);
        assert!((distances.largest() - 27f64.sqrt() / 2.0).abs() < 1e-15);
    }
}
