//! Which texel shows at a place on a face, on its flat part or at a rounded edge.

use super::camera::{OnFace, Row};
use super::visible::Run;
use crate::Side;
use crate::print::{Bend, Edge, Sheet, rounding};

/// Steps of the table of rounded edges: along the direction, and along the distance from the edge.
const STEPS: usize = 64;

/// How a sheet's faces are looked up.
#[derive(Debug)]
pub(super) struct Texture<'a> {
    sheet: &'a Sheet,
    /// The radius of edges, in cells.
    radius: f64,
    arc: Arc,
}

impl<'a> Texture<'a> {
    pub(super) fn of(sheet: &'a Sheet) -> Self {
        let radius = (sheet.radius / sheet.grid.cell).clamp(0.0, 0.5);
        // A sheet without cells has no cell size that means anything.
        Self { sheet, radius: if radius.is_finite() { radius } else { 0.0 }, arc: Arc::new() }
    }

    /// Calls with each sample of a run and the texel that it sees.
    #[inline]
    pub(super) fn each(&self, rays: &Row, run: Run, mut each: impl FnMut(usize, usize)) {
        let face = self.sheet.faces[run.face as usize];
        let on = rays.on(face.cell, face.side);
        let [[low_u, high_u], [low_v, high_v]] = self.flat(run.face);
        let (n, first) = (self.sheet.per_edge, self.sheet.texel(run.face, 0, 0));
        let per_edge = n as f64;
        for sample in run.from..run.to {
            let place = on.at(sample);
            let [u, v] = place;
            let flat = u >= low_u && u <= high_u && v >= low_v && v <= high_v;
            let texel = if flat {
                first + texel(v * per_edge, n) * n + texel(u * per_edge, n)
            } else {
                self.at_edge(run.face, face.side, place, &on)
            };
            each(sample, texel);
        }
    }

    /// From where to where a face is flat, along its first and its second axis.
    fn flat(&self, face: u32) -> [[f64; 2]; 2] {
        let [low_u, high_u, low_v, high_v] = self.rounded(face);
        let low = |rounded: bool| if rounded { self.radius } else { f64::NEG_INFINITY };
        let high = |rounded: bool| if rounded { 1.0 - self.radius } else { f64::INFINITY };
        [[low(low_u), high(high_u)], [low(low_v), high(high_v)]]
    }

    /// Which edges of a face are rounded.
    fn rounded(&self, face: u32) -> [bool; 4] {
        let convex = |beside: Option<crate::print::Beside>| beside.is_some_and(|b| b.bend == Bend::Convex);
        self.sheet.around.of_face(face).map(convex)
    }

    /// The texel that shows at a place beside a rounded edge, of this face or of the one around the corner. Where two
    /// rounded edges meet, the nearer one decides.
    fn at_edge(&self, face: u32, side: Side, place: [f64; 2], on: &OnFace) -> usize {
        let n = self.sheet.per_edge;
        let texel = |v: f64| texel(v * n as f64, n);
        let inwards =
            |edge: Edge| if edge as usize % 2 == 1 { 1.0 - place[edge as usize / 2] } else { place[edge as usize / 2] };
        let rounded = self.rounded(face);
        let rounded = Edge::ALL.into_iter().filter(|&edge| rounded[edge as usize]);
        let Some(edge) = rounded.min_by(|&a, &b| inwards(a).total_cmp(&inwards(b))) else {
            return self.sheet.texel(face, texel(place[0]), texel(place[1]));
        };
        let (across, high) = (edge as usize / 2, edge as usize % 2 == 1);
        let [along_axis, ahead] = on.towards.from(place, across);
        let towards = [if high { along_axis } else { -along_axis }, ahead];
        let source = self.radius * self.arc.source(inwards(edge) / self.radius, towards);
        if source >= 0.0 {
            let mut seen = place;
            seen[across] = if high { 1.0 - source } else { source };
            return self.sheet.texel(face, texel(seen[0]), texel(seen[1]));
        }
        let Some(beside) = self.sheet.around.beyond(face, edge) else { return self.sheet.texel(face, 0, 0) };
        // Around a convex edge lies another face of the same cube: the place along the edge is the same.
        let other = edge.outwards(side);
        let mut seen = [0.0; 2];
        let deep = if side.positive() { 1.0 + source } else { -source };
        seen[(side.axis() + 5 - other.axis()) % 3] = deep;
        let along = (side.axis() + 2 - across) % 3;
        seen[(along + 5 - other.axis()) % 3] = place[1 - across];
        self.sheet.texel(beside.face, texel(seen[0]), texel(seen[1]))
    }
}

/// The number of the texel of `n` at a place counted in texels.
fn texel(v: f64, n: usize) -> usize {
    (v as i32).clamp(0, n as i32 - 1) as usize
}

/// [`rounding::source`] for a radius of 1 as a table, since the same few directions and distances come up again and again.
#[derive(Debug)]
struct Arc(Vec<[f32; STEPS + 1]>);

impl Arc {
    fn new() -> Self {
        let part = |step: usize| step as f64 / STEPS as f64;
        let line = |step: usize| {
            // Along the face itself nothing is seen of it; a hair before that the function still has a value to go on from.
            let beside = (2.0 * part(step) - 1.0).clamp(-1.0 + 1e-9, 1.0 - 1e-9);
            std::array::from_fn(|at| rounding::source(part(at), 1.0, [beside, 1.0 - beside.abs()]) as f32)
        };
        Self((0..=STEPS).map(line).collect())
    }

    /// As [`rounding::source`] with a radius of 1, between the table's values; `inwards` from 0 to 1.
    fn source(&self, inwards: f64, [beside, ahead]: [f64; 2]) -> f64 {
        // The direction as a place on the square |beside| + ahead = 1 instead of on a circle: no roots, no angles.
        let direction = beside / (beside.abs() + ahead);
        let step = |v: f64| {
            let scaled = (v * STEPS as f64).clamp(0.0, STEPS as f64);
            let whole = (scaled as usize).min(STEPS - 1);
            (whole, scaled - whole as f64)
        };
        let ((line, below), (at, past)) = (step((direction + 1.0) / 2.0), step(inwards));
        let between = |line: &[f32; STEPS + 1]| f64::from(line[at]) * (1.0 - past) + f64::from(line[at + 1]) * past;
        between(&self.0[line]) * (1.0 - below) + between(&self.0[line + 1]) * below
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_keeps_to_the_function() {
        let arc = Arc::new();
        let (mut worst, mut sum) = (0.0f64, 0.0);
        for step in 0..=500 {
            let (sine, cosine) = libm::sincos((f64::from(step) / 250.0 - 1.0) * std::f64::consts::FRAC_PI_2 * 0.999);
            for at in 0..=300 {
                let inwards = f64::from(at) / 300.0;
                let exact = rounding::source(inwards, 1.0, [sine, cosine]);
                let off = (arc.source(inwards, [sine, cosine]) - exact).abs();
                (worst, sum) = (worst.max(off), sum + off);
            }
        }
        // At the arc's outline the function's slope is infinite: within one step, √(2 / 64) of a radian, 0.23 r.
        assert!(worst < 0.25 && sum / (501.0 * 301.0) < 0.003, "{worst} {}", sum / (501.0 * 301.0));
    }
}
