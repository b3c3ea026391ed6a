#![allow(clippy::unwrap_used)]

use glam::IVec3;
use proptest::prelude::*;

use super::*;
use crate::Side;
use crate::solid::Cells;
use crate::solid::samples::{grid, random_solid};
use crate::solid::skin::outside_faces;

/// A solid with one channel of colourant: 1 on the faces that `inked` picks.
struct Sample {
    faces: Vec<Face>,
    around: Around,
    kinds: Vec<u32>,
    field: Field<1>,
}

impl Sample {
    fn new(cells: &Cells, per_edge: usize, inked: impl Fn(&Face) -> bool + Sync) -> Self {
        let faces = outside_faces(cells, None);
        let around = Around::of(cells, None, &faces);
        let kinds = faces.iter().map(|face| u32::from(inked(face))).collect();
        let field = Field::from_faces(faces.len(), per_edge, |face, texels| {
            texels.fill([f32::from(u8::from(inked(&faces[face as usize])))]);
        });
        Self { faces, around, kinds, field }
    }

    fn spread(&self, sigma: f64) -> Field<1> {
        let reach = Reach { level: sigma, upright: sigma };
        spread(&self.field, &self.kinds, &self.faces, &self.around, reach)
    }

    fn place(&self, cell: IVec3, side: Side) -> u32 {
        self.faces.iter().position(|face| *face == Face { cell, side }).unwrap() as u32
    }
}

fn block(counts: [i32; 3]) -> Cells {
    Cells::from_fn(grid(counts), |_| true)
}

fn total(field: &Field<1>) -> f64 {
    field.values().iter().map(|[v]| f64::from(*v)).sum()
}

fn mean(field: &Field<1>, face: u32) -> f64 {
    let texels = field.of_face(face);
    texels.iter().map(|[v]| f64::from(*v)).sum::<f64>() / texels.len() as f64
}

/// Mean over a texel of the Gaussian's share beyond an edge at 0, from `a` to `b` in units of σ, by closed form: the
/// antiderivative of Φ is x Φ(x) + φ(x).
fn mean_of_half_plane(a: f64, b: f64) -> f64 {
    let antiderivative =
        |x: f64| x * 0.5 * libm::erfc(-x * FRAC_1_SQRT_2) + libm::exp(-0.5 * x * x) / (2.0 * PI).sqrt();
    (antiderivative(b) - antiderivative(a)) / (b - a)
}

#[test]
fn over_a_straight_edge_it_is_the_half_planes_error_function() {
    // ½ (1 + erf(x / (σ √2))) on a flat top, across x = 8 and across y = 8, and over the convex edge of the slab.
    for (axis, sigma, n) in [(0, 0.4, 5), (1, 0.11, 8), (0, 1.3, 2)] {
        let sample = Sample::new(&block([16, 16, 2]), n, |f| f.side == Side::Top && f.cell[axis] >= 8);
        let spread = sample.spread(sigma);
        for x in 5..11 {
            let mut cell = IVec3::new(8, 8, 1);
            cell[axis] = x;
            let face = sample.place(cell, Side::Top);
            for step in 0..n {
                // Top looks along z: its first axis is x, its second y.
                let texel = if axis == 0 { n + step } else { step * n + 1 };
                let at = |s: usize| (f64::from(x - 8) + s as f64 / n as f64) / sigma;
                let expected = mean_of_half_plane(at(step), at(step + 1));
                let found = f64::from(spread.of_face(face)[texel][0]);
                assert!((found - expected).abs() < 1e-4, "axis {axis}, σ {sigma}, x {x}: {found}, not {expected}");
            }
        }
    }
}

#[test]
fn a_lone_square_keeps_what_the_closed_form_says() {
    // Mean own share of a square of edge a among others: (erf x − (1 − e^(−x²)) / (x √π))², x = a / (σ √2); in its middle
    // erf(a / (2 √2 σ))². Tabulated for a / σ = 2.5, 5, 20 (an integral and a Monte Carlo run of 10⁶ samples agree).
    for (ratio, mean_share, middle_share) in
        [(2.5, 0.4657, 0.6220), (5.0, 0.7063, 0.9753), (6.667, 0.7750, 0.9983), (20.0, 0.9218, 1.0)]
    {
        let n = 9;
        let middle = IVec3::new(6, 6, 0);
        let sample = Sample::new(&block([13, 13, 1]), n, |f| f.side == Side::Top && f.cell == middle);
        let spread = sample.spread(1.0 / ratio);
        let face = sample.place(middle, Side::Top);
        let found = mean(&spread, face);
        assert!((found - mean_share).abs() < 2e-4, "a / σ = {ratio}: {found}, not {mean_share}");
        // The middle texel's mean lies a little below its centre's value.
        let centre = f64::from(spread.of_face(face)[n * n / 2][0]);
        assert!(centre <= middle_share + 1e-4 && centre > middle_share - 0.01, "a / σ = {ratio}: {centre}");
    }
}

#[test]
fn an_edge_or_an_inside_corner_is_crossed_as_if_unfolded() {
    // The unfolded surface is flat, so the half-plane's error function holds over a convex and a concave edge too.
    let (n, sigma) = (6, 0.3);
    let stair = Cells::from_fn(grid([8, 5, 8]), |c| c.x < 4 || c.z < 4);
    let sample = Sample::new(&stair, n, |f| f.side == Side::Right && f.cell.x == 3);
    let spread = sample.spread(sigma);
    let texel =
        |cell: [i32; 3], side: Side, at: usize| f64::from(spread.of_face(sample.place(cell.into(), side))[at][0]);
    for step in 0..n {
        let at = |s: usize| s as f64 / n as f64 / sigma;
        let expected = mean_of_half_plane(-at(step + 1), -at(step));
        // Onto the tread, away from the riser: along x, the first axis of a top.
        let tread = texel([4, 2, 3], Side::Top, 2 * n + step);
        // Onto the top of the upper step, towards −x.
        let top = texel([3, 2, 7], Side::Top, 2 * n + (n - 1 - step));
        for found in [tread, top] {
            assert!((found - expected).abs() < 1e-4, "{found}, not {expected}");
        }
    }
}

#[test]
fn nothing_moves_without_bleed() {
    let sample = Sample::new(&block([3, 3, 3]), 4, |f| f.side == Side::Top);
    assert_eq!(sample.spread(0.0), sample.field);
}

#[test]
fn left_and_right_front_and_back_come_out_alike() {
    let sample = Sample::new(&block([2, 2, 2]), 4, |f| f.side == Side::Top);
    let spread = sample.spread(0.5);
    let of_side = |side: Side| -> f64 {
        (0..sample.faces.len()).filter(|&f| sample.faces[f].side == side).map(|f| mean(&spread, f as u32)).sum()
    };
    let shares = [Side::Right, Side::Left, Side::Back, Side::Front].map(of_side);
    assert!(shares.iter().all(|s| (s - shares[0]).abs() < 1e-5 && *s > 0.1), "{shares:?}");
}

#[test]
fn the_number_of_threads_changes_nothing() {
    let ball = crate::solid::samples::lattice_shell(9, -1);
    let sample = Sample::new(&ball, 4, |f| f.side == Side::Right);
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| sample.spread(0.4))
    };
    assert_eq!(on(1), on(5));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    #[test]
    fn nothing_is_lost_and_nothing_falls_below_zero(
        cells in random_solid(), sigma in 0.02..3.0f64, n in 1..6usize, side in 0..6usize,
    ) {
        let sample = Sample::new(&cells, n, |f| f.side as usize == side);
        let spread = sample.spread(sigma);
        let (before, after) = (total(&sample.field), total(&spread));
        prop_assert!((before - after).abs() <= 1e-5 * before + 1e-6, "{before} became {after}");
        prop_assert!(spread.values().iter().all(|&[v]| (0.0..=1.0001).contains(&v)));
    }
}
