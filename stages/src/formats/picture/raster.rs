//! Filling triangles with samples, nearest wins.
//!
//! Corners are snapped to a fixed-point lattice, so that triangles with a common edge neither overlap nor gape: a sample
//! belongs to a triangle if it lies inside its three edge functions (J. Pineda, "A parallel algorithm for polygon
//! rasterization", SIGGRAPH 1988), and a sample right on an edge belongs to the triangle to the right of or below it.
//! Row by row the edge functions are solved for the first and the last sample, so the inner loop only compares depths.

use super::SAMPLES;

/// Steps of the fixed-point lattice from sample to sample.
pub(super) const FIXED: i32 = 256;

/// A triangle of the picture that looks towards the viewer.
#[derive(Clone, Copy, Debug)]
pub(super) struct Triangle {
    /// x to the right and y down, in steps of the lattice; clockwise in the picture.
    at: [[i32; 2]; 3],
    /// How near each corner is, in samples.
    near: [f32; 3],
    /// What it shows: a place among [`super::camera::Drawn::shown`], counted from 1.
    pub(super) shows: u32,
}

impl Triangle {
    /// A triangle whose corners run counter-clockwise as seen on a page with y up; `None` if it looks away or is seen
    /// edge on.
    pub(super) fn facing(at: [[i32; 2]; 3], near: [f32; 3]) -> Option<Self> {
        // With y down the turn is reversed: swapping two corners makes the edge functions positive inside.
        let triangle = Self { at: [at[0], at[2], at[1]], near: [near[0], near[2], near[1]], shows: 0 };
        (triangle.doubled_area() > 0).then_some(triangle)
    }

    fn doubled_area(&self) -> i64 {
        let [a, b, c] = self.at;
        Edge::new(a, b).at(c)
    }

    /// First and last row of samples that it may touch.
    pub(super) fn rows(&self) -> [i32; 2] {
        let ys = self.at.map(|p| p[1]);
        let [lo, hi] = [ys[0].min(ys[1]).min(ys[2]), ys[0].max(ys[1]).max(ys[2])];
        [first_sample(lo), last_sample(hi)]
    }

    fn columns(&self) -> [i32; 2] {
        let xs = self.at.map(|p| p[0]);
        let [lo, hi] = [xs[0].min(xs[1]).min(xs[2]), xs[0].max(xs[1]).max(xs[2])];
        [first_sample(lo), last_sample(hi)]
    }

    /// Nearness as a plane over the picture.
    fn plane(&self) -> Plane {
        let [a, b, c] = self.at.map(|p| p.map(f64::from));
        let [za, zb, zc] = self.near.map(f64::from);
        let (bx, by, bz) = (b[0] - a[0], b[1] - a[1], zb - za);
        let (cx, cy, cz) = (c[0] - a[0], c[1] - a[1], zc - za);
        let area = bx * cy - by * cx;
        Plane { start: a, near: za, x: (bz * cy - by * cz) / area, y: (bx * cz - bz * cx) / area }
    }
}

/// The first sample whose middle is at or past a lattice coordinate.
fn first_sample(v: i32) -> i32 {
    (v - FIXED / 2 + FIXED - 1).div_euclid(FIXED)
}

/// The last sample whose middle is at or before a lattice coordinate.
fn last_sample(v: i32) -> i32 {
    (v - FIXED / 2).div_euclid(FIXED)
}

/// The lattice coordinate of a sample's middle.
fn middle(sample: i32) -> i32 {
    sample * FIXED + FIXED / 2
}

struct Plane {
    start: [f64; 2],
    near: f64,
    x: f64,
    y: f64,
}

impl Plane {
    fn at(&self, x: i32, y: i32) -> f64 {
        self.near + self.x * (f64::from(x) - self.start[0]) + self.y * (f64::from(y) - self.start[1])
    }
}

/// The edge function `x·dx + y·dy + constant`: positive to the right of the edge as one walks along it with y down.
#[derive(Clone, Copy)]
struct Edge {
    dx: i64,
    dy: i64,
    constant: i64,
}

impl Edge {
    fn new(a: [i32; 2], b: [i32; 2]) -> Self {
        let ([ax, ay], [bx, by]) = (a.map(i64::from), b.map(i64::from));
        let (dx, dy) = (ay - by, bx - ax);
        Self { dx, dy, constant: -(ax * dx + ay * dy) }
    }

    /// The same with the edge itself left out, if it is neither a left nor a top one.
    fn with_rule(self) -> Self {
        let owned = self.dx > 0 || (self.dx == 0 && self.dy > 0);
        if owned { self } else { Self { constant: self.constant - 1, ..self } }
    }

    fn at(self, [x, y]: [i32; 2]) -> i64 {
        self.dx * i64::from(x) + self.dy * i64::from(y) + self.constant
    }

    /// Cuts a run of samples in the row at `y` to those where the function is not negative.
    fn cut(self, y: i32, [first, last]: [i32; 2]) -> [i32; 2] {
        let value = self.at([middle(0), y]);
        let step = self.dx * i64::from(FIXED);
        // value + step · sample ≥ 0
        match step {
            1.. => [first.max((-value + step - 1).div_euclid(step) as i32), last],
            0 if value < 0 => [first, first - 1],
            0 => [first, last],
            _ => [first, last.min(value.div_euclid(-step) as i32)],
        }
    }
}

/// A band of the picture, in samples, with a rim of one pixel all around.
pub(super) struct Band {
    /// Samples in a row.
    pub(super) stride: usize,
    /// How near each sample is; minus infinity where there is nothing.
    pub(super) near: Vec<f32>,
    /// What each sample shows, as [`Triangle::shows`]; 0 where there is nothing.
    pub(super) shows: Vec<u32>,
    /// The row of samples, in the picture, of the band's first.
    top: i32,
}

impl Band {
    /// A band of a picture `edge` pixels wide.
    pub(super) fn new(edge: usize, rows: usize) -> Self {
        let stride = (edge + 2) * SAMPLES as usize;
        let len = stride * (rows + 2) * SAMPLES as usize;
        Self { stride, near: vec![f32::NEG_INFINITY; len], shows: vec![0; len], top: 0 }
    }

    /// Empties the band and moves it to the pixel row `first`.
    pub(super) fn clear(&mut self, first: usize) {
        self.near.fill(f32::NEG_INFINITY);
        self.shows.fill(0);
        self.top = (first as i32 - 1) * SAMPLES;
    }

    /// Fills a triangle where it is nearer than what is there.
    pub(super) fn fill(&mut self, triangle: &Triangle) {
        let [a, b, c] = triangle.at;
        let edges = [Edge::new(a, b), Edge::new(b, c), Edge::new(c, a)].map(Edge::with_rule);
        let plane = triangle.plane();
        let slope = (plane.x * f64::from(FIXED)) as f32;
        let [first_row, last_row] = triangle.rows();
        let [first_column, last_column] = triangle.columns();
        let columns = [first_column.max(-SAMPLES), last_column.min(self.stride as i32 - SAMPLES - 1)];
        let bottom = self.top + (self.near.len() / self.stride) as i32 - 1;
        for row in first_row.max(self.top)..=last_row.min(bottom) {
            let y = middle(row);
            let [first, last] = edges.iter().fold(columns, |run, edge| edge.cut(y, run));
            if first > last {
                continue;
            }
            let start = (row - self.top) as usize * self.stride + (first + SAMPLES) as usize;
            let run = start..start + (last - first + 1) as usize;
            let near_first = plane.at(middle(first), y) as f32;
            let samples = self.near[run.clone()].iter_mut().zip(&mut self.shows[run]);
            for (step, (near, shows)) in samples.enumerate() {
                let here = near_first + slope * step as f32;
                if here > *near {
                    *near = here;
                    *shows = triangle.shows;
                }
            }
        }
    }
}
