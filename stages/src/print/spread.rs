//! How colourant runs along the surface: a Gaussian, unfolded over edges.
//!
//! The surface is crossed by belts: rows of faces around an axis, each face joined to the next by an edge along that axis.
//! Unfolded, a belt is flat, and a face lies on two of them. Colourant is spread along the belts of one axis after the
//! other. On a flat surface, and around any straight edge, that is exactly the Gaussian in the plane, since it is the
//! product of two along its axes; at a corner, where three belts meet, the order would matter, so two orders are averaged
//! that mirror each other left to right.
//!
//! Guarantees (`tests` in this file): the total of every channel is kept; means over texels are those of the exact
//! Gaussian on a plane, however coarse the texels, because the kernel is its mean over the texel that gives and the texel
//! that takes; at the rim of an opening the belt is mirrored, so nothing is lost there.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

use rayon::prelude::*;

use crate::print::{Around, Edge};
use crate::solid::Face;

/// Values of texels, `C` channels each, numbered as [`super`] says.
#[derive(Clone, Debug, PartialEq)]
pub struct Field<const C: usize> {
    per_edge: usize,
    values: Vec<[f32; C]>,
}

impl<const C: usize> Field<C> {
    /// A field with `per_edge` texels along each edge of a face, filled face by face by `fill`.
    pub fn from_faces(faces: usize, per_edge: usize, fill: impl Fn(u32, &mut [[f32; C]]) + Sync) -> Self {
        let texels = per_edge * per_edge;
        let mut values = vec![[0.0; C]; faces * texels];
        let filled = values.par_chunks_exact_mut(texels).with_min_len(FACES_A_PIECE).enumerate();
        filled.for_each(|(face, texels)| fill(face as u32, texels));
        Self { per_edge, values }
    }

    /// The texels of all faces.
    #[must_use]
    pub fn values(&self) -> &[[f32; C]] {
        &self.values
    }

    /// The texels of a face.
    #[must_use]
    pub fn of_face(&self, face: u32) -> &[[f32; C]] {
        let texels = self.per_edge * self.per_edge;
        &self.values[face as usize * texels..][..texels]
    }

    /// Texels along each edge of a face.
    #[must_use]
    pub fn per_edge(&self) -> usize {
        self.per_edge
    }
}

/// Faces that a thread takes at a time.
const FACES_A_PIECE: usize = 256;

/// How far colourant runs, in cells.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reach {
    /// Standard deviation along the belts around z, which run level.
    pub level: f64,
    /// Standard deviation along the belts around x and y, which run up and down.
    pub upright: f64,
}

/// Beyond so many cells nothing of a face's own colour is left, and the kernel is held there.
pub const FARTHEST: f64 = 4.0;

/// The kind of a face that is not filled evenly.
pub const MIXED: u32 = u32::MAX;

/// Spreads the field. `kinds` tells for each face what lies on it: faces of one kind are filled alike and evenly, so that
/// among themselves nothing changes; [`MIXED`] faces are each of a kind of its own.
#[must_use]
pub fn spread<const C: usize>(
    field: &Field<C>,
    kinds: &[u32],
    faces: &[Face],
    around: &Around,
    reach: Reach,
) -> Field<C> {
    let kernel = |sigma: f64| Kernel::new(sigma.min(FARTHEST) * field.per_edge as f64);
    let (level, upright) = (kernel(reach.level), kernel(reach.upright));
    if level.is_none() && upright.is_none() {
        return field.clone();
    }
    let surface = Belts { faces, around };
    let start = State { field: field.clone(), kinds: kinds.to_vec() };
    let ways = [[0, 1], [1, 0]].map(|axes| {
        axes.into_iter().fold(start.clone(), |at, axis| match &upright {
            Some(kernel) => surface.along(&at, axis, kernel),
            None => at,
        })
    });
    let mixed = State::mean(ways);
    match &level {
        Some(kernel) => surface.along(&mixed, 2, kernel).field,
        None => mixed.field,
    }
}

/// A field on its way, and which faces no colourant of another kind has reached yet.
#[derive(Clone)]
struct State<const C: usize> {
    field: Field<C>,
    kinds: Vec<u32>,
}

impl<const C: usize> State<C> {
    fn mean([mut one, other]: [Self; 2]) -> Self {
        one.field.values.par_iter_mut().with_min_len(1 << 14).zip(&other.field.values).for_each(|(a, b)| {
            for (a, b) in a.iter_mut().zip(b) {
                *a = 0.5 * (*a + b);
            }
        });
        for (a, b) in one.kinds.iter_mut().zip(&other.kinds) {
            if a != b {
                *a = MIXED;
            }
        }
        one
    }
}

/// Weights by distance in texels, from 0 up; they and their mirror image sum to 1.
struct Kernel(Vec<f32>);

impl Kernel {
    /// The Gaussian with that standard deviation in texels, averaged over the texel that gives and the one that takes.
    /// Nothing if it does not reach beyond a texel.
    fn new(sigma: f64) -> Option<Self> {
        // A ten-thousandth of a texel moves less than a twenty-thousandth of a texel's ink.
        if sigma < 1e-4 {
            return None;
        }
        // Second antiderivative of the Gaussian: x Φ(x / σ) + σ φ(x / σ).
        let twice = |x: f64| {
            let t = x / sigma;
            x * 0.5 * libm::erfc(-t * FRAC_1_SQRT_2) + sigma * libm::exp(-0.5 * t * t) / (2.0 * PI).sqrt()
        };
        let reach = (4.0 * sigma).ceil() as usize + 1;
        let weight = |d: usize| {
            let d = d as f64;
            (twice(d + 1.0) - 2.0 * twice(d) + twice(d - 1.0)).max(0.0)
        };
        let weights: Vec<f64> = (0..=reach).map(weight).collect();
        let total = weights[0] + 2.0 * weights[1..].iter().sum::<f64>();
        Some(Self(weights.into_iter().map(|w| (w / total) as f32).collect()))
    }

    fn reach(&self) -> usize {
        self.0.len() - 1
    }
}

/// The surface as belts around the three axes.
struct Belts<'a> {
    faces: &'a [Face],
    around: &'a Around,
}

impl Belts<'_> {
    /// Spreads along the belts around an axis.
    fn along<const C: usize>(&self, from: &State<C>, axis: usize, kernel: &Kernel) -> State<C> {
        let n = from.field.per_edge;
        let texels = n * n;
        let mut values = vec![[0.0; C]; from.field.values.len()];
        let mut kinds = vec![MIXED; from.kinds.len()];
        let pieces = values.par_chunks_mut(texels * FACES_A_PIECE).zip(kinds.par_chunks_mut(FACES_A_PIECE)).enumerate();
        pieces.for_each_init(Strip::default, |strip, (piece, (values, kinds))| {
            for (at, (texels, kind)) in values.chunks_exact_mut(texels).zip(kinds).enumerate() {
                let face = (piece * FACES_A_PIECE + at) as u32;
                *kind = self.face(from, face, axis, kernel, strip, texels);
            }
        });
        State { field: Field { per_edge: n, values }, kinds }
    }

    /// Spreads onto one face; gives its kind, if it stays as it was.
    fn face<const C: usize>(
        &self,
        from: &State<C>,
        face: u32,
        axis: usize,
        kernel: &Kernel,
        strip: &mut Strip<C>,
        out: &mut [[f32; C]],
    ) -> u32 {
        let (n, kind) = (from.field.per_edge, from.kinds[face as usize]);
        let normal = self.faces[face as usize].side.axis();
        let steps = kernel.reach().div_ceil(n);
        let walks = (normal != axis).then(|| across(normal, axis).map(|edge| self.walk(face, edge, steps)));
        let untouched = |walks: &[Vec<Entered>; 2]| {
            kind != MIXED && walks.iter().flatten().all(|step| from.kinds[step.face as usize] == kind)
        };
        match walks {
            Some(walks) if !untouched(&walks) => {
                strip.gather(self, &from.field, face, axis, kernel.reach(), &walks);
                strip.convolve(kernel, n, row_is_first(normal, axis), out);
                MIXED
            }
            _ => {
                out.copy_from_slice(from.field.of_face(face));
                kind
            }
        }
    }

    /// The faces beyond an edge, one after the other, each with the edge by which it is entered. At a rim the way turns
    /// back.
    fn walk(&self, face: u32, edge: Edge, steps: usize) -> Vec<Entered> {
        let mut at = Entered { face, by: edge.across() };
        (0..steps)
            .map(|_| {
                let leave = at.by.across();
                at = match self.around.beyond(at.face, leave) {
                    Some(beside) => Entered { face: beside.face, by: beside.edge },
                    None => Entered { face: at.face, by: leave },
                };
                at
            })
            .collect()
    }
}

/// A face on a belt and the edge by which the belt comes in.
#[derive(Clone, Copy)]
struct Entered {
    face: u32,
    by: Edge,
}

/// The two edges of a face across a belt around `axis`: where its row begins, and where it ends.
fn across(normal: usize, axis: usize) -> [Edge; 2] {
    if row_is_first(normal, axis) { [Edge::LowU, Edge::HighU] } else { [Edge::LowV, Edge::HighV] }
}

/// Whether the belt around `axis` runs along the first of the two axes of a face that looks along `normal`.
fn row_is_first(normal: usize, axis: usize) -> bool {
    (normal + 2) % 3 == axis
}

/// A face with what lies before and behind it on its belt: place by place along the belt, lanes side by side.
struct Strip<const C: usize> {
    texels: Vec<[f32; C]>,
    /// One place of the result, lane by lane.
    sums: Vec<[f32; C]>,
}

impl<const C: usize> Default for Strip<C> {
    fn default() -> Self {
        Self { texels: Vec::new(), sums: Vec::new() }
    }
}

impl<const C: usize> Strip<C> {
    fn gather(
        &mut self,
        belts: &Belts<'_>,
        field: &Field<C>,
        face: u32,
        axis: usize,
        reach: usize,
        walks: &[Vec<Entered>; 2],
    ) {
        let n = field.per_edge;
        self.texels.clear();
        self.texels.resize((2 * reach + n) * n, [0.0; C]);
        let mut lay = |start: isize, face: u32, upwards: bool| {
            let first = row_is_first(belts.faces[face as usize].side.axis(), axis);
            let texels = field.of_face(face);
            for step in 0..n {
                let place = start + step as isize + reach as isize;
                if place < 0 || place as usize >= 2 * reach + n {
                    continue;
                }
                let row = if upwards { step } else { n - 1 - step };
                let lanes = &mut self.texels[place as usize * n..][..n];
                if first {
                    lanes.iter_mut().enumerate().for_each(|(lane, to)| *to = texels[lane * n + row]);
                } else {
                    lanes.copy_from_slice(&texels[row * n..][..n]);
                }
            }
        };
        lay(0, face, true);
        for (at, (before, behind)) in walks[0].iter().zip(&walks[1]).enumerate() {
            let far = ((at + 1) * n) as isize;
            // Walking down the belt, a face that is entered at its high end lies the same way round.
            lay(-far, before.face, before.by.is_high());
            lay(far, behind.face, !behind.by.is_high());
        }
    }

    fn convolve(&mut self, kernel: &Kernel, n: usize, first: bool, out: &mut [[f32; C]]) {
        let reach = kernel.reach();
        self.sums.resize(n, [0.0; C]);
        let texels = self.texels.as_flattened();
        let lanes = n * C;
        for place in 0..n {
            let row = |at: usize| &texels[at * lanes..][..lanes];
            let sums = self.sums.as_flattened_mut();
            for (sum, value) in sums.iter_mut().zip(row(place + reach)) {
                *sum = kernel.0[0] * value;
            }
            for (d, &weight) in kernel.0.iter().enumerate().skip(1) {
                for ((sum, a), b) in sums.iter_mut().zip(row(place + reach - d)).zip(row(place + reach + d)) {
                    *sum += weight * (a + b);
                }
            }
            for (lane, &sum) in self.sums.iter().enumerate() {
                out[if first { lane * n + place } else { place * n + lane }] = sum;
            }
        }
    }
}

#[cfg(test)]
mod tests;
