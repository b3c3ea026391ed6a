//! Which face each sample of the picture sees.

use glam::DVec3;

use super::camera::{Camera, Row};
use super::order::{Drawn, NONE, Order};

/// Where the samples of a pixel lie: each in a row of its own, this far from the pixel's left edge.
pub(super) type Pattern = &'static [f64];

/// Four samples on a turned square, so that upright and level edges, of which cubes have most, are drawn in five shades.
pub(super) const TURNED: Pattern = &[0.375, 0.875, 0.125, 0.625];

/// One sample in the middle.
pub(super) const SINGLE: Pattern = &[0.5];

/// The face that each sample sees. Can be used for one view after another.
#[derive(Debug)]
pub(super) struct Visible {
    pattern: Pattern,
    edge: usize,
    /// Row by row of samples.
    faces: Vec<u32>,
    /// The samples of each row outside which nothing is seen: the first, and the one after the last.
    spans: Vec<[u32; 2]>,
    /// The crossings of a face's edges with the rows.
    crossings: Vec<[f64; 2]>,
}

impl Visible {
    pub(super) fn new(pixels: u32, pattern: Pattern) -> Self {
        let (edge, rows) = (pixels as usize, pixels as usize * pattern.len());
        let nothing = [pixels, 0];
        Self { pattern, edge, faces: vec![NONE; edge * rows], spans: vec![nothing; rows], crossings: Vec::new() }
    }

    /// Looks at the faces. Calls with each face that looks to the viewer and the number of samples that it would have if
    /// nothing hid it.
    pub(super) fn look(&mut self, order: &Order, camera: &Camera, mut covered: impl FnMut(Drawn, u32)) {
        self.clear();
        order.far_to_near(
            camera.eye(),
            |cell, side| camera.faces(cell, side),
            |drawn| {
                let count = self.fill(drawn.face, corners(&drawn).map(|corner| camera.place(corner)));
                covered(drawn, count);
            },
        );
    }

    fn clear(&mut self) {
        let nothing = [self.edge as u32, 0];
        for (faces, span) in self.faces.chunks_mut(self.edge).zip(&mut self.spans) {
            if span[0] < span[1] {
                faces[span[0] as usize..span[1] as usize].fill(NONE);
            }
            *span = nothing;
        }
    }

    /// Fills a four-sided face, whose corners are given in turn; gives the number of its samples.
    fn fill(&mut self, face: u32, corners: [[f64; 2]; 4]) -> u32 {
        let samples = self.pattern.len();
        // The first row of samples at or below a place; a sample on an edge belongs to what is below or to the right of it.
        let (rows, down) = (self.spans.len(), samples as f64);
        let row = |y: f64| ceil(y * down - 0.5, rows);
        let rows = corners.map(|[_, y]| row(y));
        let first = rows.into_iter().fold(usize::MAX, usize::min);
        let last = rows.into_iter().fold(0, usize::max);
        self.crossings.clear();
        self.crossings.resize(last - first, [f64::INFINITY, f64::NEG_INFINITY]);
        for at in 0..4 {
            let (mut a, mut b) = ((corners[at], rows[at]), (corners[(at + 1) % 4], rows[(at + 1) % 4]));
            if b.0[1] < a.0[1] {
                std::mem::swap(&mut a, &mut b);
            }
            // Reckoned from the upper end, whichever of the two faces at the edge asks.
            let ([ax, ay], [bx, by]) = (a.0, b.0);
            let slope = (bx - ax) / (by - ay);
            for (row, [low, high]) in (a.1..b.1).zip(&mut self.crossings[a.1 - first..]) {
                let x = ax + ((row as f64 + 0.5) / down - ay) * slope;
                *low = low.min(x);
                *high = high.max(x);
            }
        }
        let mut count = 0;
        for (row, &[low, high]) in (first..last).zip(&self.crossings) {
            let beside = self.pattern[row % samples];
            let [from, to] = [low, high].map(|x| ceil(x - beside, self.edge));
            if from < to {
                let span = &mut self.spans[row];
                *span = [span[0].min(from as u32), span[1].max(to as u32)];
                self.faces[row * self.edge + from..row * self.edge + to].fill(face);
                count += (to - from) as u32;
            }
        }
        count
    }

    /// Pixels along each edge of the picture.
    pub(super) fn edge(&self) -> usize {
        self.edge
    }

    /// The pixels of a row outside which nothing is seen: the first, and the one after the last.
    pub(super) fn span(&self, pixels: usize) -> std::ops::Range<usize> {
        let samples = self.pattern.len();
        let spans = &self.spans[pixels * samples..(pixels + 1) * samples];
        let [first, last] = spans.iter().fold([self.edge as u32, 0], |[a, b], s| [a.min(s[0]), b.max(s[1])]);
        first as usize..last.max(first) as usize
    }

    /// The samples of a row of pixels: for each row of samples the rays through it, and runs of samples of one face.
    pub(super) fn runs(&self, camera: &Camera, pixels: usize, mut each: impl FnMut(&Row, Run)) {
        let samples = self.pattern.len();
        for (row, beside) in (pixels * samples..).zip(self.pattern) {
            let [first, last] = self.spans[row].map(|x| x as usize);
            if first >= last {
                continue;
            }
            let rays = camera.row(*beside, (row as f64 + 0.5) / samples as f64);
            let mut from = first;
            for same in self.faces[row * self.edge + first..row * self.edge + last].chunk_by(|a, b| a == b) {
                let to = from + same.len();
                if same[0] != NONE {
                    each(&rays, Run { face: same[0], from, to });
                }
                from = to;
            }
        }
    }
}

/// Samples beside each other that see one face.
#[derive(Clone, Copy, Debug)]
pub(super) struct Run {
    pub(super) face: u32,
    /// The first.
    pub(super) from: usize,
    /// The one after the last.
    pub(super) to: usize,
}

/// The least whole number that is not below `v`, held between 0 and `most`.
fn ceil(v: f64, most: usize) -> usize {
    let whole = v as i64;
    (whole + i64::from(v > whole as f64)).clamp(0, most as i64) as usize
}

/// The corners of a face in turn.
fn corners(drawn: &Drawn) -> [DVec3; 4] {
    let axis = drawn.side.axis();
    let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
    [[0, 0], [1, 0], [1, 1], [0, 1]].map(|[at_u, at_v]| {
        let mut corner = drawn.cell;
        corner[axis] += i32::from(drawn.side.positive());
        corner[u] += at_u;
        corner[v] += at_v;
        corner.as_dvec3()
    })
}
