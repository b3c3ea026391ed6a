#![allow(clippy::unwrap_used)]

use std::f64::consts::PI;

use glam::IVec3;
use proptest::prelude::*;

use super::*;
use crate::Six;
use crate::solid::skin::outside_faces;
use crate::solid::winding::solid_angle;
use crate::solid::{Skin, forms};

/// OEIS A000605: number of points of norm at most n in the cubic lattice, n = 1 … 20.
const A000605: [usize; 20] = [
    7, 33, 123, 257, 515, 925, 1419, 2109, 3071, 4169, 5575, 7153, 9171, 11513, 14147, 17077, 20479, 24405, 28671,
    33401,
];
/// OEIS A000328: the same in the square lattice. Each line of the grid meets a ball in one run, so this is the number of
/// faces that look to each side.
const A000328: [usize; 20] =
    [5, 13, 29, 49, 81, 113, 149, 197, 253, 317, 377, 441, 529, 613, 709, 797, 901, 1009, 1129, 1257];

/// A grid of unit cells whose centres are the lattice points within `reach` of the origin.
fn lattice(reach: i32) -> Grid {
    Grid { origin: DVec3::splat(-f64::from(reach) - 0.5), cell: 1.0, counts: IVec3::splat(2 * reach + 1) }
}

/// The definition: the sum of all solid angles.
fn winding(surface: &Surface, point: DVec3) -> f64 {
    surface.each_triangle().map(|t| solid_angle(t, point)).sum::<f64>() / (4.0 * PI)
}

#[test]
fn balls_have_as_many_cells_as_there_are_lattice_points() {
    for n in 1..=20 {
        // No lattice point has a squared norm between n² and n² + 1. With 6 cuts faces lie less than 7e-4 of the radius
        // inside, which is the room that is left at n = 20.
        let radius = (f64::from(n * n) + 0.6).sqrt();
        let (cells, told) = solid_cells(&forms::sphere(radius, 6), lattice(n + 1));
        let at = n as usize - 1;
        assert_eq!(cells.count(), A000605[at], "n = {n}");
        assert_eq!(cells.faces_by_side(), Six([A000328[at]; 6]), "n = {n}");
        assert_eq!(told, Told::default());
        let skin = Skin::of(&cells, None, &outside_faces(&cells, None));
        let edges = skin.triangles.len() * 3 / 2;
        assert_eq!(skin.points.len() + skin.triangles.len() - edges, 2, "Euler characteristic of ball {n}");
    }
}

#[test]
fn lines_through_edges_and_corners_count_once() {
    // Corners, edges and diagonals of the box all lie on lines of cell centres, which see both ends of it.
    let (cells, _) = solid_cells(&forms::cuboid(DVec3::splat(-3.0), DVec3::splat(3.0)), lattice(5));
    // By the tie rule a centre on a face belongs to one of the two sides: six or seven along each axis, the same on all
    // lines.
    let [lo, hi] = cells.extent().unwrap();
    let size = hi - lo + 1;
    assert_eq!(cells.count() as i32, size.element_product(), "{size}");
    assert!((6..=7).contains(&size.min_element()) && (6..=7).contains(&size.max_element()), "{size}");
}

#[test]
fn overlapping_shells_do_not_punch_holes() {
    let one = forms::sphere(6.3, 4);
    let other = one.mapped(|p| p + DVec3::new(5.0, 1.0, 0.5));
    let (both, _) = solid_cells(&forms::together(&[one.clone(), other.clone()]), lattice(14));
    let union = solid_cells(&one, lattice(14)).0.or(&solid_cells(&other, lattice(14)).0);
    assert_eq!(both, union);
}

#[test]
fn an_inside_out_model_is_turned() {
    let ball = forms::sphere(6.3, 4);
    let turned = forms::with_triangles(&ball, ball.triangles().iter().map(|&[a, b, c]| [a, c, b]).collect());
    let (cells, told) = solid_cells(&turned, lattice(8));
    assert!(told.inside_out);
    assert_eq!(cells, solid_cells(&ball, lattice(8)).0);
}

/// A horn of revolution about z, open at its wide top: a point at the bottom, a radius of z³/`height`² above.
fn horn(height: f64) -> Surface {
    const AROUND: u32 = 24;
    const UP: u32 = 12;
    let mut points = vec![DVec3::ZERO];
    let mut triangles = Vec::new();
    for ring in 1..=UP {
        let z = height * f64::from(ring) / f64::from(UP);
        for i in 0..AROUND {
            let angle = 2.0 * PI * f64::from(i) / f64::from(AROUND);
            points.push(
                DVec3::new(libm::cos(angle), libm::sin(angle), 0.0) * (z.powi(3) / height.powi(2)) + DVec3::Z * z,
            );
        }
        let at = |ring: u32, i: u32| if ring == 0 { 0 } else { 1 + (ring - 1) * AROUND + i % AROUND };
        for i in 0..AROUND {
            triangles.push([at(ring, i), at(ring - 1, i), at(ring, i + 1)]);
            triangles.push([at(ring - 1, i), at(ring - 1, i + 1), at(ring, i + 1)]);
        }
    }
    Surface::new(points, triangles).unwrap()
}

#[test]
fn where_an_open_model_lies_does_not_turn_it_inside_out() {
    // Cones from the origin over the triangles of an open model add up to a volume of either sign.
    for offset in [DVec3::ZERO, DVec3::new(3.0, -2.0, 300.0), DVec3::Z * -300.0, DVec3::splat(1e6)] {
        // Off the horn's planes of symmetry, lest a winding number is one half but for rounding.
        let grid =
            Grid { origin: offset + DVec3::new(-12.37, -12.43, 0.41), cell: 1.0, counts: IVec3::new(25, 25, 12) };
        let open = horn(12.0).mapped(|p| p + offset);
        let (cells, told) = solid_cells(&open, grid);
        assert!(!told.inside_out, "at {offset}");
        assert!(cells.count() > 100, "{} cells at {offset}", cells.count());
        let turned = forms::with_triangles(&open, open.triangles().iter().map(|&[a, b, c]| [a, c, b]).collect());
        let (other, told) = solid_cells(&turned, grid);
        assert!(told.inside_out, "at {offset}");
        assert_eq!(other, cells, "at {offset}");
    }
}

#[test]
fn triangles_without_area_add_nothing() {
    let ball = forms::sphere(6.3, 3);
    let (cells, _) = solid_cells(&ball, lattice(8));
    // A point, and needles along each axis: through cell centres and beside them, with corners of their own.
    for way in [DVec3::ZERO, DVec3::X, DVec3::Y, DVec3::Z, DVec3::new(1.0, 1.0, 0.0), DVec3::new(0.0, 1.0, -1.0)] {
        for start in [DVec3::new(-7.0, 2.0, 7.0), DVec3::new(-6.9, 1.8, 7.2), DVec3::new(1.0, 0.0, 0.0)] {
            let needle = Surface::new(vec![start, start + way, start + way * 3.0], vec![[0, 1, 2]]).unwrap();
            let (other, _) = solid_cells(&forms::together(&[ball.clone(), needle]), lattice(8));
            assert_eq!(other, cells, "needle from {start} along {way}");
        }
    }
    let needle =
        Surface::new(vec![DVec3::ZERO, DVec3::X, DVec3::X * 3.0], vec![[0, 1, 2], [1, 1, 1], [0, 2, 2]]).unwrap();
    assert_eq!(solid_cells(&needle, lattice(5)).0.count(), 0);
}

#[test]
fn a_sheet_has_no_inside() {
    // A winding number above one half needs more than a half space of solid angle.
    let sheet = Surface::new(vec![DVec3::ZERO, DVec3::X * 7.3, DVec3::new(0.2, 5.1, 3.3)], vec![[0, 1, 2]]).unwrap();
    assert_eq!(solid_cells(&sheet, lattice(8)).0.count(), 0);
}

#[test]
fn coordinates_far_from_the_grid_do_no_harm() {
    let ball = forms::sphere(6.3, 3);
    let (cells, _) = solid_cells(&ball, lattice(8));
    for far in [1e12, 1e150, 1e300] {
        let other = forms::cuboid(DVec3::splat(far), DVec3::splat(2.0 * far));
        assert_eq!(solid_cells(&forms::together(&[ball.clone(), other]), lattice(8)).0, cells, "{far:e}");
    }
    let one = Grid { origin: DVec3::splat(-0.5), cell: 1.0, counts: IVec3::ONE };
    assert_eq!(solid_cells(&ball, one).0.count(), 1);
    // All around the grid.
    let around = forms::cuboid(DVec3::splat(-1e12), DVec3::splat(1e12));
    assert_eq!(solid_cells(&around, lattice(3)).0.count(), 343);
}

#[test]
fn a_void_shell_stays_void() {
    let outer = forms::sphere(8.3, 4);
    let inner = forms::sphere(4.3, 4);
    let inner = forms::with_triangles(&inner, inner.triangles().iter().map(|&[a, b, c]| [a, c, b]).collect());
    let (cells, _) = solid_cells(&forms::together(&[outer, inner]), lattice(10));
    // Lattice points with 18.49 < |p|² ≤ 68.89: balls of squared radius 68 and 18.
    let within = |r2: i32| {
        let axis = || -9..=9;
        axis()
            .flat_map(|x| axis().flat_map(move |y| axis().map(move |z| x * x + y * y + z * z)))
            .filter(|&d| d <= r2)
            .count()
    };
    assert_eq!(cells.count(), within(68) - within(18));
}

#[test]
fn an_open_ball_is_closed_by_winding_number_as_the_plain_sum_says() {
    let ball = forms::sphere(6.3, 4);
    for keep in [0.95, 0.8, 0.6] {
        let below = |t: &[u32; 3]| t.iter().all(|&i| ball.points()[i as usize].z < 6.3 * (2.0 * keep - 1.0));
        let open = forms::with_triangles(&ball, ball.triangles().iter().copied().filter(below).collect());
        agrees_with_the_plain_sum(&open, lattice(8));
    }
}

#[test]
fn a_soup_of_loose_patches_agrees_with_the_plain_sum() {
    // Every eighth triangle is missing and every point is its owner's alone: all edges are rims.
    let ball = forms::sphere(5.3, 3);
    let kept: Vec<[DVec3; 3]> = ball.each_triangle().enumerate().filter(|(i, _)| i % 8 != 3).map(|(_, t)| t).collect();
    let triangles = (0..kept.len() as u32).map(|t| [3 * t, 3 * t + 1, 3 * t + 2]).collect();
    let soup = Surface::new(kept.into_iter().flatten().collect(), triangles).unwrap();
    agrees_with_the_plain_sum(&soup, lattice(7));
}

fn agrees_with_the_plain_sum(surface: &Surface, grid: Grid) {
    let (cells, told) = solid_cells(surface, grid);
    assert!(told.rim_edges > 0);
    for i in 0..grid.len() as i32 {
        let [nx, ny, _] = grid.counts.to_array();
        let cell = IVec3::new(i % nx, i / nx % ny, i / nx / ny);
        let exact = winding(surface, grid.centre(cell));
        if (exact - 0.5).abs() > 2.0 * ACCURACY {
            assert_eq!(cells.solid(cell), exact > 0.5, "{cell}: winding number {exact}");
        }
    }
}

#[test]
fn cells_are_told_within_the_accuracy_asked_for() {
    let ball = forms::sphere(6.3, 4);
    let below = |t: &[u32; 3]| t.iter().all(|&i| ball.points()[i as usize].z < 2.0);
    let open = forms::with_triangles(&ball, ball.triangles().iter().copied().filter(below).collect());
    let grid = lattice(8).refined(2);
    for accuracy in [0.2, 0.02, 1e-3] {
        let (cells, _) = solid_cells_within(&open, grid, accuracy);
        for at in solid_cells(&open, grid).0.zip(&cells, |a, b| a ^ b).iter() {
            let exact = winding(&open, grid.centre(at));
            assert!((exact - 0.5).abs() <= accuracy, "{at}: {exact}");
        }
    }
}

/// A box whose sides share no points, as drawing programs export it, with some of them turned.
fn box_of_loose_sides(turned: &[usize]) -> Surface {
    let cuboid = forms::cuboid(DVec3::splat(-4.2), DVec3::splat(4.3));
    let mut corners: Vec<[DVec3; 3]> = cuboid.each_triangle().collect();
    for &side in turned {
        // Two triangles a side, one after the other.
        corners[2 * side].swap(1, 2);
        corners[2 * side + 1].swap(1, 2);
    }
    let mut points: Vec<DVec3> = Vec::new();
    let mut triangles = Vec::new();
    for pair in corners.chunks(2) {
        // The two triangles of a side share points with each other, and with nothing else.
        let first = points.len() as u32;
        let mut own: Vec<DVec3> = Vec::new();
        for triangle in pair {
            triangles.push(triangle.map(|corner| {
                let at = own.iter().position(|&p| p == corner).unwrap_or_else(|| {
                    own.push(corner);
                    own.len() - 1
                });
                first + at as u32
            }));
        }
        points.extend(own);
    }
    Surface::new(points, triangles).unwrap()
}

#[test]
fn patches_that_show_their_back_are_turned() {
    let (whole, told) = solid_cells(&box_of_loose_sides(&[]), lattice(6));
    assert_eq!((told.patches_turned, whole.count()), (0, 9 * 9 * 9));
    for turned in [vec![0], vec![3], vec![1, 4], vec![0, 2, 5]] {
        let (cells, told) = solid_cells(&box_of_loose_sides(&turned), lattice(6));
        assert_eq!(told.patches_turned, turned.len(), "{turned:?}");
        assert_eq!(cells, whole, "{turned:?}");
    }
    // All of them: the model is inside out.
    let (cells, told) = solid_cells(&box_of_loose_sides(&[0, 1, 2, 3, 4, 5]), lattice(6));
    assert_eq!((told.patches_turned, told.inside_out), (0, true));
    assert_eq!(cells, whole);
}

#[test]
fn a_body_that_is_inside_out_beside_others_is_turned() {
    let one = forms::sphere(3.3, 3);
    let other = forms::with_triangles(&one, one.triangles().iter().map(|&[a, b, c]| [a, c, b]).collect());
    let beside = other.mapped(|p| p + DVec3::X * 8.0);
    let grid = Grid { counts: IVec3::new(17, 9, 9), ..lattice(4) };
    let (cells, told) = solid_cells(&forms::together(&[one.clone(), beside]), grid);
    assert_eq!(told.patches_turned, 1);
    assert_eq!(cells.count(), 2 * solid_cells(&one, lattice(4)).0.count());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn order_and_turning_of_triangles_do_not_matter(seed in any::<u64>(), flips in 1usize..40) {
        let torus = forms::torus(6.0, 2.6, 24);
        let mut triangles = torus.triangles().to_vec();
        let mut state = seed | 1;
        let mut random = |n: usize| {
            // xorshift64 (Marsaglia 2003).
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state % n as u64) as usize
        };
        for i in (1..triangles.len()).rev() {
            triangles.swap(i, random(i + 1));
        }
        let mut flipped = std::collections::BTreeSet::new();
        for _ in 0..flips {
            flipped.insert(random(triangles.len()));
        }
        for &t in &flipped {
            triangles[t].swap(1, 2);
        }
        let (cells, told) = solid_cells(&forms::with_triangles(&torus, triangles), lattice(10));
        prop_assert_eq!(told.turned, flipped.len());
        prop_assert_eq!(cells, solid_cells(&torus, lattice(10)).0);
    }

    #[test]
    fn turning_the_model_turns_the_cells(x in -1.0..1.0f64, y in -1.0..1.0f64, z in -1.0..1.0f64) {
        let ball = forms::torus(6.0, 2.6, 24).mapped(|p| p + DVec3::new(x, y, z));
        let (cells, _) = solid_cells(&ball, lattice(11));
        // A quarter turn about z: (x, y) to (−y, x).
        let turned = ball.mapped(|p| DVec3::new(-p.y, p.x, p.z));
        let (other, _) = solid_cells(&turned, lattice(11));
        let last = lattice(11).counts.x - 1;
        for cell in cells.iter() {
            prop_assert!(other.solid(IVec3::new(last - cell.y, cell.x, cell.z)));
        }
        prop_assert_eq!(cells.count(), other.count());
    }
}

#[test]
fn mass_properties_of_published_shapes() {
    // Torus R = 3, r = 1: V = 2π²Rr² (Pappus). At 40 cells a unit the error of counting centres is far below 0.1 %.
    let torus = forms::torus(3.0, 1.0, 400);
    let grid = Grid { origin: DVec3::new(-4.1, -4.1, -1.1), cell: 0.025, counts: IVec3::new(328, 328, 88) };
    let volume = solid_cells(&torus, grid).0.count() as f64 * 0.025f64.powi(3);
    assert!((volume / (6.0 * PI * PI) - 1.0).abs() < 1e-3, "{volume}");
    // A corner tetrahedron: V = 1/6, middle of mass at 1/4 on each axis.
    let corners = vec![DVec3::ZERO, DVec3::X, DVec3::Y, DVec3::Z];
    let tetrahedron = Surface::new(corners, vec![[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]).unwrap();
    let grid = Grid { origin: DVec3::ZERO, cell: 0.01, counts: IVec3::splat(101) };
    let (cells, _) = solid_cells(&tetrahedron, grid);
    let count = cells.count() as f64;
    assert!((count * 1e-6 * 6.0 - 1.0).abs() < 0.03, "{count}");
    let middle = cells.iter().map(|c| grid.centre(c)).sum::<DVec3>() / count;
    assert!((middle - 0.25).abs().max_element() < 0.005, "{middle}");
}
