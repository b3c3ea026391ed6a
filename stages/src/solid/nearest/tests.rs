//! Distances against closed forms, and against all triangles one by one.

use glam::{DVec3, IVec3};
use proptest::prelude::*;

use super::*;
use crate::solid::forms::{cuboid, sphere, together};

fn grid(cell: f64) -> Grid {
    Grid { origin: DVec3::ZERO, cell, counts: IVec3::splat(8) }
}

/// The distance to the nearest triangle: to the closest of its corners, of the feet of perpendiculars on its edges, and of
/// the foot on its plane, found by solving for it.
fn by_brute_force(point: DVec3, surface: &Surface) -> f64 {
    surface
        .each_triangle()
        .map(|[a, b, c]| {
            let mut least = [a, b, c].map(|p| p.distance(point)).into_iter().fold(f64::INFINITY, f64::min);
            for (p, q) in [(a, b), (b, c), (c, a)] {
                let t = (point - p).dot(q - p) / (q - p).length_squared();
                if t > 0.0 && t < 1.0 {
                    least = least.min(p.lerp(q, t).distance(point));
                }
            }
            // Cramer's rule for the two coordinates of the foot on the plane.
            let (u, v, w) = (b - a, c - a, point - a);
            let det = u.dot(u) * v.dot(v) - u.dot(v).powi(2);
            let s = (w.dot(u) * v.dot(v) - w.dot(v) * u.dot(v)) / det;
            let t = (w.dot(v) * u.dot(u) - w.dot(u) * u.dot(v)) / det;
            if s > 0.0 && t > 0.0 && s + t < 1.0 {
                least = least.min((a + s * u + t * v).distance(point));
            }
            least
        })
        .fold(f64::INFINITY, f64::min)
}

#[test]
fn a_triangle_is_met_at_its_face_its_edges_and_its_corners() {
    let corners = [DVec3::ZERO, DVec3::new(4.0, 0.0, 0.0), DVec3::new(0.0, 3.0, 0.0)];
    let triangle = Surface::new(corners.to_vec(), vec![[0, 1, 2]]).unwrap();
    let nearest = Nearest::new(&triangle, grid(1.0));
    // By hand; the long edge is the line 3x + 4y = 12, of which (4, 3) is 12 / 5 off.
    for (point, distance) in [
        ([1.0, 1.0, 2.0], 2.0),
        ([1.0, 1.0, -2.0], 2.0),
        ([2.0, -1.5, 2.0], 2.5),
        ([-2.0, 1.0, 0.0], 2.0),
        ([4.0, 3.0, 0.0], 2.4),
        ([-3.0, -4.0, 12.0], 13.0),
        ([7.0, 0.0, 4.0], 5.0),
        ([0.0, 7.0, 3.0], 5.0),
        ([0.5, 0.5, 0.0], 0.0),
    ] {
        let found = nearest.within(DVec3::from_array(point), 100.0).unwrap();
        assert!((found - distance).abs() < 1e-12, "{point:?}: {found}, not {distance}");
    }
}

#[test]
fn a_box_seen_from_inside_from_outside_and_from_far_away() {
    let nearest_to = |surface: &Surface, cell: f64, point: [f64; 3]| {
        Nearest::new(surface, grid(cell)).within(DVec3::from_array(point), f64::INFINITY)
    };
    let surface = cuboid(DVec3::ZERO, DVec3::new(10.0, 20.0, 30.0));
    // Bins finer than a thirtieth of the box, as large as it, and larger.
    for cell in [0.2, 1.0, 7.0, 100.0] {
        for (point, distance) in [
            ([5.0, 10.0, 15.0], 5.0),
            ([5.0, 10.0, 29.0], 1.0),
            ([10.0, 10.0, 10.0], 0.0),
            ([13.0, 24.0, 30.0], 5.0),
            ([-2.0, -3.0, -6.0], 7.0),
            ([5.0, 10.0, 1e6], 1e6 - 30.0),
        ] {
            let found = nearest_to(&surface, cell, point).unwrap();
            assert!((found - distance).abs() < 1e-9 * distance.max(1.0), "{point:?} with {cell} mm: {found}");
        }
    }
    // From a ball of radius 5, an octahedron cut four times: its faces lie inside it by no more than 1 − cos of an edge,
    // which is π / 2 / 16 and longer than a face's circumradius.
    let ball = sphere(5.0, 4);
    let nearest = Nearest::new(&ball, grid(0.3));
    let sag = 5.0 * (1.0 - libm::cos(std::f64::consts::PI / 32.0));
    for (point, distance) in [(DVec3::ZERO, 5.0), (DVec3::splat(1.0), 5.0 - 3f64.sqrt()), (DVec3::Y * 80.0, 75.0)] {
        let found = nearest.within(point, 1e3).unwrap();
        assert!((found - distance).abs() <= sag, "{point}: {found}");
    }
}

#[test]
fn the_limit_itself_counts() {
    let surface = cuboid(DVec3::ZERO, DVec3::splat(10.0));
    let nearest = Nearest::new(&surface, grid(1.0));
    let point = DVec3::new(12.0, 5.0, 5.0);
    assert_eq!(nearest.within(point, 2.0), Some(2.0));
    assert_eq!(nearest.within(point, 2.0 - 1e-9), None);
    assert!(nearest.any_within(point, 2.0) && !nearest.any_within(point, 2.0 - 1e-9));
    assert!(nearest.any_within(DVec3::new(10.0, 3.0, 7.0), 0.0));
    assert_eq!(nearest.within(point, -1.0), None);
    assert_eq!(nearest.within(DVec3::NAN, 5.0), None);
}

#[test]
fn surfaces_without_size_or_with_too_much_of_it() {
    let none = Surface::new(Vec::new(), Vec::new()).unwrap();
    assert_eq!(Nearest::new(&none, grid(1.0)).within(DVec3::ZERO, 1e9), None);
    // A triangle that is a point, and one that is a line.
    let flat = |corners: [f64; 3]| Surface::new(corners.map(|x| DVec3::X * x).to_vec(), vec![[0, 1, 2]]).unwrap();
    for (surface, distance) in [(flat([1.0; 3]), 2.0), (flat([-9.0, 1.0, -4.0]), 2.0), (flat([1.0, 1.0, 0.0]), 2.0)] {
        assert_eq!(Nearest::new(&surface, grid(0.1)).within(DVec3::X * 3.0, 9.0), Some(distance));
    }
    // Needles in every direction over a lattice that would have 1e27 bins, and a box wider than any number.
    let far = |n: u32| DVec3::new(f64::from(n % 7) - 3.0, f64::from(n % 5) - 2.0, f64::from(n % 3) - 1.0) * 1e8;
    let points: Vec<DVec3> = (0..300).map(far).collect();
    let needles = Surface::new(points, (0..100).map(|n| [n, n + 100, n + 200]).collect()).unwrap();
    let nearest = Nearest::new(&needles, grid(0.1));
    assert!(nearest.entries.len() <= ENTRIES_A_TRIANGLE * 100 + ENTRIES_BESIDES);
    let point = DVec3::new(1e7, 3e7, -2e7);
    assert!((nearest.within(point, 1e9).unwrap() - by_brute_force(point, &needles)).abs() < 1.0);
    let endless = flat([-1.5e308, 0.0, 1.5e308]);
    assert_eq!(Nearest::new(&endless, grid(0.1)).entries.len(), 1);
}

/// Triangles of many sizes, anywhere in a box of 20 mm.
fn soup() -> impl Strategy<Value = Surface> {
    let corner = || prop::array::uniform3(-10.0..10.0f64).prop_map(DVec3::from_array);
    let triangle = (corner(), corner(), corner(), prop_oneof![Just(0.01), Just(0.2), Just(1.0)]);
    prop::collection::vec(triangle, 1..40).prop_map(|triangles| {
        let parts: Vec<Surface> = triangles
            .into_iter()
            .map(|(a, b, c, size)| {
                Surface::new(vec![a, a + (b - a) * size, a + (c - a) * size], vec![[0, 1, 2]]).unwrap()
            })
            .collect();
        together(&parts)
    })
}

proptest! {
    #[test]
    fn the_distance_is_that_of_brute_force(
        surface in soup(),
        cell in prop_oneof![Just(0.25), Just(1.0), Just(3.7), Just(50.0)],
        points in prop::collection::vec(prop::array::uniform3(-30.0..30.0f64), 1..20),
        at_most in 0.0..30.0f64,
    ) {
        let nearest = Nearest::new(&surface, grid(cell));
        let [low, _] = surface.bounds().unwrap();
        // Besides points anywhere, some on the lattice's own corners.
        let corners = points.iter().map(|p| low + (DVec3::from_array(*p) / cell).round() * cell);
        for point in points.iter().copied().map(DVec3::from_array).chain(corners) {
            let truth = by_brute_force(point, &surface);
            let found = nearest.within(point, f64::INFINITY).unwrap();
            prop_assert!((found - truth).abs() < 1e-9 * (1.0 + truth), "{found}, not {truth}, at {point}");
            if (truth - at_most).abs() > 1e-9 {
                prop_assert_eq!(nearest.within(point, at_most).is_some(), truth < at_most);
                prop_assert_eq!(nearest.any_within(point, at_most), truth < at_most);
            }
        }
    }
}
