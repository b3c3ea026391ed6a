//! Likeness against closed forms, figures from elsewhere, and cubes one by one.

use glam::{DVec3, IVec3};
use proptest::prelude::*;

use super::*;
use crate::solid::forms::{cuboid, sphere, together, with_triangles};
use crate::solid::samples::{grid, lattice_shell, random_solid};

fn likeness(surface: &Surface, cells: &Cells) -> Likeness {
    Likeness::of(surface, cells, || Ok::<(), ()>(())).unwrap()
}

/// The cells from `low` up to `high` of a grid of 1 mm at the origin.
fn cube(counts: i32, low: i32, high: i32) -> Cells {
    Cells::from_fn(grid(IVec3::splat(counts)), |c| c.min_element() >= low && c.max_element() < high)
}

#[track_caller]
fn near(found: f64, wanted: f64, within: f64) {
    assert!((found - wanted).abs() <= within, "{found}, not {wanted} within {within}");
}

#[test]
fn a_box_of_cubes_is_itself() {
    let like = likeness(&cuboid(DVec3::splat(1.0), DVec3::splat(11.0)), &cube(12, 1, 11));
    assert_eq!((like.overlap, like.silhouettes), (1.0, [1.0; 3]));
    assert!(like.largest() < 1e-12);
    // 12 cells in steps of 0.236 cells: 51 an axis.
    assert_eq!(like.samples, 51 * 51 * 51);
}

#[test]
fn a_box_moved_by_a_quarter_of_a_cell() {
    let off = DVec3::X * 0.25;
    let like = likeness(&cuboid(DVec3::splat(1.0) + off, DVec3::splat(11.0) + off), &cube(12, 1, 11));
    // 9.75 of 10.25 mm are common; the samples see steps of 0.236, places in the shadow fall evenly on both sides.
    near(like.overlap, 9.75 / 10.25, 0.236 / 10.25);
    for (silhouette, wanted) in like.silhouettes.into_iter().zip([1.0, 9.75 / 10.25, 9.75 / 10.25]) {
        near(silhouette, wanted, 1e-12);
    }
    // One face is ¼ outside: 100 mm² of ¼. One is inside, and as far from the cubes' face or from their sides, whichever
    // is nearer: ∫ (10 − 2s)² ds for s up to ¼. Of the four sides a strip of ¼ × 10 mm stands out: 40 · ¼² / 2.
    let t: f64 = 0.25;
    let inside = 100.0 * t - 20.0 * t.powi(2) + 4.0 / 3.0 * t.powi(3);
    let mean = (25.0 + inside + 40.0 * t.powi(2) / 2.0) / 600.0;
    near(like.to_cubes.mean, mean, 2e-4);
    // Seen from the cubes it is the same in a mirror.
    near(like.to_surface.mean, mean, 2e-4);
    near(like.mean(), mean, 2e-4);
    assert_eq!((like.high(), like.largest()), (0.25, 0.25));
}

#[test]
fn a_ball_and_the_lattice_ball() {
    // OEIS A000605: 4169 points within 10. Polyhedron of 32768 faces, up to 0.0008 of its radius inside the ball.
    let cells = lattice_shell(10, -1);
    assert_eq!(cells.count(), 4169);
    let surface = sphere(10.0, 6).mapped(|p| p + 10.5);
    let like = likeness(&surface, &cells);
    // With the true ball, by numeric integration with NumPy: 48³ places in each cell, 40 × 40 on each of 1902 faces; the
    // way to the cubes by SciPy's cKDTree over the faces from 200 000 random points of the sphere.
    near(like.overlap, 0.92845, 0.001);
    near(like.to_surface.mean, 0.24626, 0.003);
    near(like.to_surface.high, 0.5481, 0.01);
    near(like.to_surface.largest, 0.7924, 0.01);
    near(like.to_cubes.mean, 0.16637, 0.003);
    near(like.to_cubes.high, 0.3792, 0.01);
    near(like.to_cubes.largest, 0.4972, 0.01);
    like.silhouettes.into_iter().for_each(|silhouette| near(silhouette, 0.94324, 0.004));
}

#[test]
fn coarser_samples_measure_the_same() {
    // Off the lattice's symmetry: 4195 cells and an overlap of 0.93076, by the same integration.
    let middle = DVec3::new(10.63, 10.87, 10.71);
    let cells = Cells::from_fn(grid(IVec3::splat(22)), |c| (c.as_dvec3() + 0.5).distance(middle) <= 10.0);
    assert_eq!(cells.count(), 4195);
    let surface = sphere(10.0, 6).mapped(|p| p + middle);
    for (pitch, within) in [(GOLDEN.powi(3), 0.001), (GOLDEN.powi(2), 0.002), (GOLDEN, 0.003), (1.0 + GOLDEN, 0.015)] {
        let counts = (cells.grid().counts.as_dvec3() / pitch).ceil().as_ivec3();
        let solid = solid_cells(&surface, Grid { origin: DVec3::ZERO, cell: pitch, counts }).0;
        near(overlap(&solid, &cells), 0.93076, within);
    }
}

#[test]
fn the_lattice_of_samples_is_bounded_and_holds_the_grid() {
    // √5 − 2 and (3 − √5) / 2 are the third and second power of the golden ratio's fraction.
    let [third, second] = [5f64.sqrt() - 2.0, (3.0 - 5f64.sqrt()) / 2.0];
    for (counts, pitch) in
        [(95, third), (97, second), (154, second), (156, GOLDEN), (500, 1.0 + GOLDEN), (1024, 2.0 + GOLDEN)]
    {
        let grid = grid(IVec3::splat(counts));
        let samples = samples(&grid);
        near(samples.cell, pitch, 1e-12);
        assert!(samples.len() <= MOST_SAMPLES);
        near(samples.centre(IVec3::ZERO).midpoint(samples.centre(samples.counts - 1)).x, f64::from(counts) / 2.0, 1e-9);
        // Whatever the grid holds, it lies within half a pitch of a sample.
        assert!(samples.origin.cmple(DVec3::ZERO).all() && samples.origin.cmpgt(DVec3::splat(-pitch / 2.0)).all());
    }
}

#[test]
fn what_closes_a_hole_is_not_compared() {
    // A box without its bottom, filled.
    let whole = cuboid(DVec3::splat(1.0), DVec3::splat(21.0));
    let down = |t: &&[u32; 3]| t.iter().all(|&i| whole.points()[i as usize].z == 1.0);
    let open = with_triangles(&whole, whole.triangles().iter().filter(|t| !down(t)).copied().collect());
    assert_eq!(open.triangles().len(), 10);
    let cells = solid_cells(&open, grid(IVec3::splat(22))).0;
    let like = likeness(&open, &cells);
    // Ten millimetres would be the middle of the bottom. The winding number of ½ bulges upwards a little: the sides
    // below it have no cubes.
    assert!(like.to_surface.largest < 1.001, "{like:?}");
    // A box of cubes with no model near it is no closing of a hole.
    let far = likeness(&cuboid(DVec3::splat(1.0), DVec3::splat(5.0)), &cube(22, 12, 21));
    assert!(far.to_surface.mean > 12.0 && far.overlap == 0.0 && far.silhouettes == [0.0; 3], "{far:?}");
}

#[test]
fn surface_within_the_solid_is_not_compared() {
    let surface =
        together(&[cuboid(DVec3::splat(1.0), DVec3::splat(11.0)), cuboid(DVec3::splat(3.0), DVec3::splat(9.0))]);
    let like = likeness(&surface, &cube(12, 1, 11));
    assert_eq!(like.overlap, 1.0);
    assert!(like.largest() < 1e-12, "{like:?}");
}

#[test]
fn a_sheet_without_cubes_shows_in_its_shadow() {
    // A sheet of 10 × 10 mm, 0.1 mm thick, beside a box of 10 × 10 × 10 mm. No centre of a cell lies in it.
    let sheet = cuboid(DVec3::new(11.0, 5.7, 1.0), DVec3::new(21.0, 5.8, 11.0));
    let surface = together(&[cuboid(DVec3::splat(1.0), DVec3::splat(11.0)), sheet]);
    let cells = Cells::from_fn(grid([22, 12, 12]), |c| c.min_element() >= 1 && c.max_element() < 11);
    let like = likeness(&surface, &cells);
    near(like.silhouettes[0], 1.0, 1e-12);
    near(like.silhouettes[1], 0.5, 1e-12);
    // It is 0.1 of 10 mm high there, which falls on a place or not: 1/8 of 11 mm at most.
    near(like.silhouettes[2], 100.0 / 101.0, 0.012);
    near(like.to_cubes.largest, 10.0, 0.1);
    assert!(like.to_surface.largest < 1e-12);
}

#[test]
fn a_sheet_of_no_volume_has_no_overlap() {
    let flat = Surface::new(vec![DVec3::ONE, DVec3::ONE * 2.0, DVec3::ONE * 3.0], vec![[0, 1, 2]]).unwrap();
    let like = likeness(&flat, &cube(4, 1, 3));
    assert_eq!((like.overlap, like.to_cubes), (0.0, Spread::default()));
}

#[test]
fn percentiles_by_nearest_rank() {
    let spread = Spread::of((1..=100).rev().map(f64::from).collect());
    assert_eq!(spread, Spread { mean: 50.5, high: 95.0, largest: 100.0 });
    assert_eq!(Spread::of(vec![2.0]), Spread { mean: 2.0, high: 2.0, largest: 2.0 });
    assert_eq!(Spread::of(Vec::new()), Spread::default());
}

#[test]
fn points_are_spread_evenly_over_a_surface() {
    // Two triangles of one and three quarters of the area.
    let corners = [
        DVec3::ZERO,
        DVec3::X,
        DVec3::Y,
        DVec3::new(4.0, 0.0, 5.0),
        DVec3::new(7.0, 0.0, 5.0),
        DVec3::new(4.0, 1.0, 5.0),
    ];
    let points = points_on(&Surface::new(corners.to_vec(), vec![[0, 1, 2], [3, 4, 5]]).unwrap());
    assert_eq!(points.len(), SAMPLES);
    let first: Vec<DVec3> = points.iter().copied().filter(|p| p.z == 0.0).collect();
    assert_eq!(first.len(), SAMPLES / 4);
    // Centroid and mean square of a triangle's coordinate: 1/3 and 1/6.
    near(first.iter().map(|p| p.x).sum::<f64>() / first.len() as f64, 1.0 / 3.0, 1e-3);
    near(first.iter().map(|p| p.y * p.y).sum::<f64>() / first.len() as f64, 1.0 / 6.0, 1e-3);
}

/// The distance from a point to the boundary of a solid, over every face.
fn to_every_face(cells: &Cells, point: DVec3) -> f64 {
    let mut least = f64::INFINITY;
    for cell in cells.iter() {
        for side in crate::Side::ALL {
            if !cells.solid(cell + side.step()) {
                let (axis, out) = (side.step().abs().as_dvec3(), side.step().as_dvec3());
                let middle = cells.grid().centre(cell) + 0.5 * out;
                let along = (point - middle).abs() - 0.5 * (DVec3::ONE - axis);
                least = least.min(along.max(DVec3::ZERO).length());
            }
        }
    }
    least
}

proptest! {
    #[test]
    fn the_boundary_is_as_far_as_its_nearest_face(
        cells in random_solid(),
        shares in prop::collection::vec(prop::array::uniform3(-0.5..1.5f64), 1..8),
    ) {
        let border = Border::of(&cells);
        for share in shares {
            let point = DVec3::from_array(share) * cells.grid().counts.as_dvec3();
            let wanted = to_every_face(&cells, point);
            match border.distance(point) {
                Some(found) => prop_assert!((found - wanted).abs() < 1e-9, "{found}, not {wanted}, at {point}"),
                None => prop_assert_eq!(cells.count(), 0),
            }
        }
    }

    #[test]
    fn points_on_cubes_lie_on_their_faces_evenly(cells in random_solid()) {
        let points = points_on_faces(&cells);
        prop_assert_eq!(points.len(), if cells.count() == 0 { 0 } else { SAMPLES });
        let mut of_sides = [0usize; 3];
        for point in &points {
            // On a face one coordinate is whole, and the cells on both its sides differ.
            let axis = (0..3).find(|&axis| point[axis].fract() == 0.0).unwrap();
            let mut beside = [*point; 2];
            beside[0][axis] -= 0.5;
            beside[1][axis] += 0.5;
            let [below, above] = beside.map(|p| cells.solid(p.floor().as_ivec3()));
            prop_assert!(below != above);
            of_sides[axis] += 1;
        }
        let faces = cells.faces_by_side();
        let whole: usize = faces.0.iter().sum();
        for (axis, of_axis) in of_sides.into_iter().enumerate() {
            let wanted = (faces.0[2 * axis] + faces.0[2 * axis + 1]) * SAMPLES / whole.max(1);
            // Each face gets its share, but for one point.
            prop_assert!(of_axis.abs_diff(wanted) <= whole, "{of_axis} of axis {axis}, not {wanted}");
        }
    }
}
