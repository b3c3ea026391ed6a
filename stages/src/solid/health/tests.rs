#![allow(clippy::unwrap_used)]

use std::f64::consts::TAU;

use proptest::prelude::*;

use super::*;
use crate::solid::forms;

fn flipped(surface: &Surface, which: &[usize]) -> Surface {
    let mut triangles = surface.triangles().to_vec();
    which.iter().for_each(|&t| triangles[t].swap(0, 1));
    forms::with_triangles(surface, triangles)
}

/// A strip of squares that is turned over once before its ends are joined, each square of two triangles.
fn mobius(squares: u32) -> Surface {
    let points = (0..squares).flat_map(|n| {
        let (sin, cos) = libm::sincos(TAU * f64::from(n) / f64::from(squares));
        let (lift, reach) = libm::sincos(TAU * f64::from(n) / f64::from(squares) / 2.0);
        [-1.0, 1.0].map(|side| DVec3::new((5.0 + side * reach) * cos, (5.0 + side * reach) * sin, side * lift))
    });
    let triangles = (0..squares).flat_map(|n| {
        let [a, b] = [2 * n, 2 * n + 1];
        let [c, d] = if n + 1 < squares { [a + 2, b + 2] } else { [1, 0] };
        [[a, c, b], [b, c, d]]
    });
    Surface::new(points.collect(), triangles.collect()).unwrap()
}

#[test]
fn a_closed_box_is_sound() {
    let health = Health::of(&forms::cuboid(DVec3::ZERO, DVec3::splat(2.0)));
    let expected = Health {
        triangles: 12,
        bodies: 1,
        closed_bodies: 1,
        boundary: Boundary::default(),
        branching_edges: 0,
        flipped_patches: 0,
        flipped_triangles: 0,
        one_sided: 0,
        repeated: 0,
        without_area: 0,
    };
    assert_eq!(health, expected);
}

#[test]
fn a_box_without_a_side_has_one_hole_of_four_edges() {
    // The last two triangles of `forms::cuboid` are its bottom; the middle of the hole is the middle of that square.
    let edge = 3.0;
    let open = without(&forms::cuboid(DVec3::ZERO, DVec3::splat(edge)), &[10, 11]);
    let health = Health::of(&open);
    assert_eq!((health.bodies, health.closed_bodies, health.boundary.loops.len()), (1, 0, 1));
    let hole = health.boundary.loops[0];
    assert_eq!((hole.edges, hole.closed, hole.length), (4, true, 4.0 * edge));
    assert_eq!(hole.middle, DVec3::new(edge / 2.0, edge / 2.0, 0.0));
    let mut corners = health.boundary.points(&hole).to_vec();
    corners.sort_unstable();
    assert_eq!(corners, [0, 1, 2, 3]);
    assert_eq!((health.boundary.edges(), health.boundary.length()), (4, 12.0));
}

#[test]
fn holes_that_touch_in_a_point_are_two() {
    // Two triangles of an octahedron that share one corner: each hole has three edges of √2.
    let octahedron = forms::sphere(1.0, 0);
    let health = Health::of(&without(&octahedron, &[0, 2]));
    assert_eq!(health.boundary.loops.len(), 2);
    for hole in &health.boundary.loops {
        assert_eq!((hole.edges, hole.closed), (3, true));
        assert!((hole.length - 3.0 * 2f64.sqrt()).abs() < 1e-12);
    }
}

#[test]
fn holes_come_longest_first() {
    let parts = [2.0, 5.0, 3.0].map(|edge| {
        let at = DVec3::splat(20.0 * edge);
        without(&forms::cuboid(at, at + edge), &[10, 11])
    });
    let health = Health::of(&forms::together(&parts));
    let lengths: Vec<f64> = health.boundary.loops.iter().map(|hole| hole.length).collect();
    assert_eq!((health.bodies, health.closed_bodies), (3, 0));
    assert_eq!(lengths, [20.0, 12.0, 8.0]);
}

#[test]
fn a_wall_between_two_rooms_branches_and_a_fin_ends() {
    // A box with its diagonal wall: the wall's four edges have three triangles, where the box itself has two.
    let block = forms::cuboid(DVec3::ZERO, DVec3::splat(2.0));
    let mut triangles = block.triangles().to_vec();
    triangles.extend([[0, 1, 7], [0, 7, 6]]);
    let health = Health::of(&forms::with_triangles(&block, triangles));
    assert_eq!((health.branching_edges, health.boundary.loops.len(), health.closed_bodies), (4, 0, 1));
    // A fin on one edge: an open line of two edges, from one end of the edge to the other.
    let mut points = block.points().to_vec();
    points.push(DVec3::new(-1.0, -1.0, 1.0));
    let mut triangles = block.triangles().to_vec();
    triangles.push([0, 4, 8]);
    let health = Health::of(&Surface::new(points, triangles).unwrap());
    assert_eq!((health.branching_edges, health.closed_bodies), (1, 0));
    let [line] = health.boundary.loops[..] else { panic!("{:?}", health.boundary) };
    assert_eq!((line.edges, line.closed), (2, false));
    assert!((line.length - 2.0 * 3f64.sqrt()).abs() < 1e-12);
    assert_eq!(health.boundary.points(&line).len(), 3);
}

#[test]
fn a_mobius_strip_has_one_side_and_one_edge() {
    for squares in [5, 8, 21] {
        let health = Health::of(&mobius(squares));
        assert_eq!((health.bodies, health.one_sided, health.flipped_patches), (1, 1, 0), "{squares}");
        let [edge] = health.boundary.loops[..] else { panic!("{:?}", health.boundary) };
        assert_eq!((edge.edges, edge.closed), (2 * squares as usize, true));
    }
}

#[test]
fn repeats_are_counted_once_each_and_hide_nothing() {
    let open = without(&forms::cuboid(DVec3::ZERO, DVec3::splat(3.0)), &[10, 11]);
    let sound = Health::of(&open);
    let mut triangles = open.triangles().to_vec();
    // The same way, turned, and three of one; one of them at the hole, whose edge a repeat would hide.
    let [a, b, c] = triangles[0];
    triangles.extend([[b, c, a], [b, a, c]]);
    for t in [4, 6] {
        let [a, b, c] = triangles[t];
        triangles.push([c, b, a]);
    }
    let health = Health::of(&forms::with_triangles(&open, triangles));
    assert_eq!(health.repeated, 4);
    assert_eq!(health, Health { triangles: 14, repeated: 4, ..sound });
}

#[test]
fn triangles_without_area_are_counted() {
    let points = [[0., 0., 0.], [100., 0., 0.], [0., 100., 0.], [50., 0., 0.], [50., 1e-9, 0.], [50., 1e-11, 0.]];
    let surface = |triangles: &[[u32; 3]]| {
        Surface::new(points.map(DVec3::from_array).to_vec(), [&[[0, 1, 2]], triangles].concat()).unwrap()
    };
    // Two equal corners; three in a line; 10⁻¹¹ of the extent off the line; 10⁻¹³ off it.
    for (triangle, expected) in [([0, 0, 1], 1), ([0, 1, 3], 1), ([0, 1, 4], 0), ([0, 1, 5], 1)] {
        assert_eq!(Health::of(&surface(&[triangle])).without_area, expected, "{triangle:?}");
    }
    assert_eq!(Health::of(&surface(&[[1, 1, 1]])).bodies, 1);
}

#[test]
fn a_flipped_patch_is_found_with_its_triangles() {
    let ball = forms::sphere(10.0, 4);
    // Two caps round opposite corners of the octahedron, and one triangle by itself.
    let near = |t: usize, x: f64| ball.corners(t).iter().all(|p| p.x * x > 8.5);
    let caps: Vec<usize> = (0..ball.triangles().len()).filter(|&t| near(t, 1.0) || near(t, -1.0)).collect();
    let alone = (0..ball.triangles().len()).find(|&t| ball.corners(t).iter().all(|p| p.y > 9.0)).unwrap();
    let which = [caps.as_slice(), &[alone]].concat();
    assert!(caps.len() > 20);
    let health = Health::of(&flipped(&ball, &which));
    assert_eq!((health.flipped_patches, health.flipped_triangles), (3, which.len()));
    assert_eq!((health.bodies, health.closed_bodies, health.one_sided), (1, 1, 0));
    // Turned as a whole, neighbours agree.
    let all: Vec<usize> = (0..ball.triangles().len()).collect();
    assert_eq!(Health::of(&flipped(&ball, &all)), Health::of(&ball));
}

#[test]
fn odd_surfaces_have_a_health_too() {
    let surface = |points: &[[f64; 3]], triangles: &[[u32; 3]]| {
        Surface::new(points.iter().copied().map(DVec3::from_array).collect(), triangles.to_vec()).unwrap()
    };
    let none = Health::of(&surface(&[], &[]));
    assert_eq!((none.triangles, none.bodies, none.closed_bodies), (0, 0, 0));
    let degenerate = Health::of(&surface(&[[7.0; 3]], &[[0, 0, 0]; 3]));
    assert_eq!((degenerate.triangles, degenerate.bodies, degenerate.without_area), (3, 0, 3));
    let one = Health::of(&surface(&[[0.0; 3], [3.0, 0.0, 0.0], [0.0, 4.0, 0.0]], &[[0, 1, 2]]));
    assert_eq!((one.bodies, one.closed_bodies, one.boundary.loops.len()), (1, 0, 1));
    assert_eq!(one.boundary.length(), 12.0);
    let huge = surface(&[[-1.5e308; 3], [0.0; 3], [1.5e308, 0.0, 1e300]], &[[0, 1, 2], [2, 1, 0]]);
    assert_eq!((Health::of(&huge).repeated, Health::of(&huge).boundary.edges()), (1, 3));
}

#[test]
fn many_loose_triangles_are_many_holes() {
    let count = 100_000u32;
    let points = (0..count).flat_map(|n| {
        let at = DVec3::X * f64::from(n);
        [at, at + DVec3::X * 0.3, at + DVec3::Y * 0.4]
    });
    let triangles = (0..count).map(|n| [3 * n, 3 * n + 1, 3 * n + 2]).collect();
    let health = Health::of(&Surface::new(points.collect(), triangles).unwrap());
    assert_eq!((health.bodies, health.closed_bodies), (count as usize, 0));
    assert_eq!(health.boundary.loops.len(), count as usize);
    assert!((health.boundary.length() - 1.2 * f64::from(count)).abs() < 1e-6);
}

/// A ball with holes, flipped triangles and repeats.
fn worn(left_out: &[usize], turned: &[usize], again: &[usize]) -> Surface {
    // Bent, so that no two patches have the same area and either could be the one to turn.
    let bend = |p: DVec3| DVec3::new(p.x + 0.03 * p.y * p.y, 1.3 * p.y + 0.2 * p.z, p.z + 0.001 * p.x.powi(3));
    let ball = forms::sphere(10.0, 3).mapped(bend);
    let count = ball.triangles().len();
    let mut ball = flipped(&ball, &turned.iter().map(|t| t % count).collect::<Vec<_>>());
    let mut triangles = ball.triangles().to_vec();
    triangles.extend(again.iter().map(|t| ball.triangles()[t % count]));
    ball = forms::with_triangles(&ball, triangles);
    without(&ball, &left_out.iter().map(|t| (t % count) as u32).collect::<Vec<_>>())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn order_does_not_matter(
        left_out in prop::collection::vec(0..512usize, 0..60),
        turned in prop::collection::vec(0..512usize, 0..12),
        again in prop::collection::vec(0..512usize, 0..6),
        seed in any::<u64>(),
    ) {
        let surface = worn(&left_out, &turned, &again);
        let shuffled = shuffled(&surface, seed);
        let (mut one, mut other) = (Health::of(&surface), Health::of(&shuffled));
        let lines = |surface: &Surface, health: &Health| -> Vec<Vec<DVec3>> {
            let line = |one| health.boundary.points(one).iter().map(|&p| surface.points()[p as usize]).collect();
            health.boundary.loops.iter().map(line).collect()
        };
        prop_assert_eq!(lines(&surface, &one), lines(&shuffled, &other));
        prop_assert!(one.boundary.loops.iter().all(|line| line.closed));
        prop_assert_eq!(one.boundary.length(), other.boundary.length());
        (one.boundary, other.boundary) = Default::default();
        prop_assert_eq!(one, other);
    }

    /// Euler's formula for a surface in one piece without handles: V − E + F = 2 − holes, where no two holes touch.
    #[test]
    fn holes_are_counted_as_euler_does(which in prop::collection::vec(0..512usize, 0..40)) {
        let ball = forms::sphere(10.0, 3);
        let mut taken: Vec<u32> = Vec::new();
        let mut touched = vec![false; ball.points().len()];
        for t in which {
            let corners = ball.triangles()[t];
            if corners.iter().all(|&c| !touched[c as usize]) {
                corners.iter().for_each(|&c| touched[c as usize] = true);
                taken.push(t as u32);
            }
        }
        let torn = without(&ball, &taken);
        let health = Health::of(&torn);
        let (points, faces) = (torn.points().len() as i64, torn.triangles().len() as i64);
        let edges = (3 * faces + health.boundary.edges() as i64) / 2;
        prop_assert_eq!(points - edges + faces, 2 - health.boundary.loops.len() as i64);
        prop_assert_eq!(health.boundary.loops.len(), taken.len());
    }
}

/// The same surface with points and triangles in another order, each triangle from another corner.
fn shuffled(surface: &Surface, seed: u64) -> Surface {
    // Steele, Lea & Flood 2014: the finaliser of SplitMix64.
    let scrambled = |mut z: u64| {
        z = (z ^ seed ^ z >> 30).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ z >> 27).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ z >> 31
    };
    let order = |count: usize, salt: u64| {
        let mut order: Vec<usize> = (0..count).collect();
        order.sort_by_key(|&n| scrambled(n as u64 + salt));
        order
    };
    let points = order(surface.points().len(), 1 << 40);
    let mut numbers = vec![0u32; points.len()];
    for (new, &old) in (0..).zip(&points) {
        numbers[old] = new;
    }
    let triangles = order(surface.triangles().len(), 1 << 50).into_iter().map(|t| {
        let mut triangle = surface.triangles()[t].map(|corner| numbers[corner as usize]);
        triangle.rotate_left((scrambled(t as u64) % 3) as usize);
        triangle
    });
    Surface::new(points.iter().map(|&old| surface.points()[old]).collect(), triangles.collect()).unwrap()
}
