#![allow(clippy::unwrap_used)]

use std::convert::Infallible;

use proptest::prelude::*;

use super::*;
use crate::solid::forms;

fn found(surface: &Surface) -> SelfCrossings {
    let effort = Effort::usual(surface.triangles().len());
    self_crossings(surface, effort, || Ok::<(), Infallible>(())).unwrap()
}

fn counts(surface: &Surface) -> [usize; 2] {
    let found = found(surface);
    assert!(found.complete);
    assert!(found.shown.as_flattened().iter().all(|triangle| surface.triangles().contains(triangle)));
    assert_eq!(found.shown.is_empty(), found.crossing + found.overlapping == 0);
    [found.crossing, found.overlapping]
}

/// By another road, in whole numbers, which are exact: the insides of two convex sets are apart when and only when some
/// plane separates them (Rockafellar 1970, theorem 11.3). The difference of two triangles is a polytope whose sides are
/// those of the triangles and the pairs of their edges; of triangles in one plane, a polygon with their edges.
fn by_separation(a: [[i64; 3]; 3], b: [[i64; 3]; 3]) -> Meeting {
    let sub = |p: [i64; 3], q: [i64; 3]| std::array::from_fn::<i64, 3, _>(|k| p[k] - q[k]);
    let cross =
        |p: [i64; 3], q: [i64; 3]| [p[1] * q[2] - p[2] * q[1], p[2] * q[0] - p[0] * q[2], p[0] * q[1] - p[1] * q[0]];
    let dot = |p: [i64; 3], q: [i64; 3]| (0..3).map(|k| i128::from(p[k]) * i128::from(q[k])).sum::<i128>();
    let edges = |t: [[i64; 3]; 3]| [sub(t[1], t[0]), sub(t[2], t[1]), sub(t[0], t[2])];
    let normals = [a, b].map(|t| cross(edges(t)[0], edges(t)[1]));
    if normals.contains(&[0; 3]) {
        return Meeting::Apart;
    }
    let separates = |axis: [i64; 3]| {
        let span = |t: [[i64; 3]; 3]| {
            let at = t.map(|p| dot(p, axis));
            [*at.iter().min().unwrap(), *at.iter().max().unwrap()]
        };
        let [[a_low, a_high], [b_low, b_high]] = [span(a), span(b)];
        axis != [0; 3] && (a_high <= b_low || b_high <= a_low)
    };
    if cross(normals[0], normals[1]) == [0; 3] {
        let one_plane = dot(sub(b[0], a[0]), normals[0]) == 0;
        let across = edges(a).into_iter().chain(edges(b)).map(|edge| cross(edge, normals[0]));
        return if one_plane && !across.into_iter().any(separates) { Meeting::Overlapping } else { Meeting::Apart };
    }
    let pairs = edges(a).into_iter().flat_map(|e| edges(b).map(|f| cross(e, f)));
    if normals.into_iter().chain(pairs).any(separates) { Meeting::Apart } else { Meeting::Crossing }
}

/// Every pair, by separation; coordinates must be whole.
fn by_brute_force(surface: &Surface) -> [usize; 2] {
    let whole: Vec<[[i64; 3]; 3]> =
        surface.each_triangle().map(|t| t.map(|p| p.to_array().map(|x| x as i64))).collect();
    let triangles = surface.triangles();
    let mut counts = [0; 2];
    for a in 0..whole.len() {
        for b in a + 1..whole.len() {
            if triangles[a].iter().any(|p| triangles[b].contains(p)) {
                continue;
            }
            match by_separation(whole[a], whole[b]) {
                Meeting::Apart => {}
                Meeting::Crossing => counts[0] += 1,
                Meeting::Overlapping => counts[1] += 1,
            }
        }
    }
    counts
}

/// The surface with its coordinates as whole numbers of thousandths.
fn in_thousandths(surface: &Surface) -> Surface {
    surface.mapped(|p| (p * 1000.0).round())
}

fn cuboid(low: [f64; 3], high: [f64; 3]) -> Surface {
    forms::cuboid(low.into(), high.into())
}

#[test]
fn a_closed_form_does_not_cross_itself() {
    for surface in [forms::sphere(40.0, 5), forms::torus(30.0, 10.0, 60), cuboid([0.0; 3], [1.0, 2.0, 3.0])] {
        assert_eq!(counts(&surface), [0, 0]);
    }
}

#[test]
fn a_triangle_through_another_crosses_it() {
    let floor = [[0.0, 0.0, 0.0], [4.0, 0.0, 0.0], [0.0, 4.0, 0.0]];
    let with = |other: [[f64; 3]; 3]| {
        let points = floor.into_iter().chain(other).map(DVec3::from_array).collect();
        counts(&Surface::new(points, vec![[0, 1, 2], [3, 4, 5]]).unwrap())
    };
    // Through the middle; a corner on the floor; a side on the floor; above; in the floor beside it, and inside it.
    assert_eq!(with([[1.0, 1.0, -1.0], [1.0, 1.0, 1.0], [2.0, 1.0, 1.0]]), [1, 0]);
    assert_eq!(with([[1.0, 1.0, 0.0], [1.0, 1.0, 1.0], [2.0, 1.0, 1.0]]), [0, 0]);
    assert_eq!(with([[1.0, 1.0, 0.0], [2.0, 1.0, 0.0], [2.0, 1.0, 1.0]]), [0, 0]);
    assert_eq!(with([[1.0, 1.0, 1e-300], [2.0, 1.0, 1e-300], [2.0, 1.0, 1.0]]), [0, 0]);
    assert_eq!(with([[4.0, 4.0, 0.0], [2.0, 2.0, 0.0], [4.0, 0.0, 0.0]]), [0, 0]);
    assert_eq!(with([[1.0, 1.0, 0.0], [2.0, 1.0, 0.0], [1.0, 2.0, 0.0]]), [0, 1]);
    // A needle without area through the floor.
    assert_eq!(with([[1.0, 1.0, -1.0], [1.0, 1.0, 0.5], [1.0, 1.0, 1.0]]), [0, 0]);
    // Through the floor's plane beside the floor, and through its corner and side alone.
    assert_eq!(with([[3.0, 3.0, -1.0], [3.0, 3.0, 1.0], [4.0, 3.0, 1.0]]), [0, 0]);
    assert_eq!(with([[0.0, 0.0, -1.0], [0.0, 0.0, 1.0], [-1.0, -1.0, 1.0]]), [0, 0]);
    assert_eq!(with([[2.0, 2.0, -1.0], [2.0, 2.0, 1.0], [3.0, 3.0, 1.0]]), [0, 0]);
}

#[test]
fn two_boxes_that_overlap_cross_as_brute_force_says() {
    let boxes = [
        // A corner within; a bar through; sides in one plane; side by side; the same place.
        [[1.0, 1.0, 1.0], [4.0, 5.0, 6.0]],
        [[1.0, 1.0, -1.0], [2.0, 2.0, 4.0]],
        [[1.0, 0.0, 0.0], [5.0, 2.0, 2.0]],
        [[3.0, 0.0, 0.0], [5.0, 3.0, 3.0]],
        [[0.0, 0.0, 0.0], [3.0, 3.0, 3.0]],
    ];
    for [low, high] in boxes {
        let both = forms::together(&[cuboid([0.0; 3], [3.0; 3]), cuboid(low, high)]);
        assert_eq!(counts(&both), by_brute_force(&both), "{low:?} {high:?}");
    }
    // By hand: the bar's four sides, of two triangles each, pass the floor and the lid of the box, and the square of each
    // passage lies across the diagonal from (0, 0) to (3, 3) of that floor or lid, or touches it: both triangles of each
    // are passed by the two sides next to each of the square's corners off the diagonal.
    let bar = forms::together(&[cuboid([0.0; 3], [3.0; 3]), cuboid([1.0, 1.0, -1.0], [2.0, 2.0, 4.0])]);
    assert!(counts(&bar)[0] >= 16, "{:?}", counts(&bar));
    assert_eq!(counts(&bar)[1], 0);
}

#[test]
fn forms_with_many_crossings_cross_as_brute_force_says() {
    let ball = in_thousandths(&forms::sphere(40.0, 3));
    let moved = |by: [f64; 3]| ball.mapped(|p| p + DVec3::from_array(by) * 1000.0);
    let slid = ball.mapped(|p| DVec3::new(p.x, -p.y, p.z));
    for other in [moved([13.0, 0.0, 0.0]), moved([1.0, 2.0, 3.0]), moved([0.0; 3]), moved([80.0, 0.0, 0.0]), slid] {
        let both = forms::together(&[ball.clone(), other]);
        let expected = by_brute_force(&both);
        assert_eq!(counts(&both), expected);
    }
}

#[test]
fn what_cannot_be_counted_is_counted_in_part() {
    // Slanted triangles one above the other, whose boxes all overlap, and a stack of crosses among them.
    let count = 4000u32;
    let points = (0..count).flat_map(|n| {
        let up = DVec3::Z * f64::from(n) * 1e-3;
        let turn = if n % 2 == 0 { 0.0 } else { 10.0 };
        [up, DVec3::new(100.0, 1.0, 100.0 + turn) + up, DVec3::new(1.0, 100.0, 100.0 - turn) + up]
    });
    let surface = Surface::new(points.collect(), (0..count).map(|n| [3 * n, 3 * n + 1, 3 * n + 2]).collect()).unwrap();
    let whole = found(&surface);
    assert!(whole.complete && whole.crossing > 100_000, "{whole:?}");
    let few = |effort| self_crossings(&surface, effort, || Ok::<(), Infallible>(())).unwrap();
    let part = few(Effort { whole: 1 << 20, leaf: 1 << 12 });
    assert!(!part.complete && part.crossing > 0 && part.crossing < whole.crossing, "{part:?}");
    // Heavy leaves wait and are counted once.
    assert_eq!(few(Effort { whole: 1 << 30, leaf: 1 << 10 }), whole);
    let one_thread = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    assert_eq!(one_thread.install(|| few(Effort { whole: 1 << 20, leaf: 1 << 12 })), part);
}

#[test]
fn a_stop_is_heeded_and_odd_surfaces_are_harmless() {
    let ball = forms::sphere(40.0, 3);
    assert_eq!(self_crossings(&ball, Effort::usual(8), || Err("stop")), Err("stop"));
    let surface = |points: &[[f64; 3]], triangles: &[[u32; 3]]| {
        Surface::new(points.iter().copied().map(DVec3::from_array).collect(), triangles.to_vec()).unwrap()
    };
    assert_eq!(counts(&surface(&[], &[])), [0, 0]);
    assert_eq!(counts(&surface(&[[7.0; 3]], &[[0, 0, 0]; 20])), [0, 0]);
    assert_eq!(counts(&surface(&[[-1.5e308; 3], [0.0; 3], [1.5e308, 0.0, 1e300]], &[[0, 1, 2]; 9])), [0, 0]);
}

/// Small whole coordinates, so that every kind of touching comes up.
fn small_triangle() -> impl Strategy<Value = [[i64; 3]; 3]> {
    prop::array::uniform3(prop::array::uniform3(0..5i64))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(20_000))]

    #[test]
    fn pairs_meet_as_separation_says(a in small_triangle(), b in small_triangle()) {
        let [first, second] = [a, b].map(|t| t.map(|p| DVec3::from_array(p.map(|x| x as f64))));
        prop_assert_eq!(meeting(&Plane::of(first), second), by_separation(a, b));
    }
}

proptest! {
    #[test]
    fn soups_cross_as_brute_force_says(
        soup in prop::collection::vec(prop::array::uniform3(prop::array::uniform3(0..30i64)), 1..120),
        turn in any::<u64>(),
    ) {
        let points: Vec<DVec3> =
            soup.iter().flatten().map(|p| DVec3::from_array(p.map(|x| x as f64))).collect();
        let mut triangles: Vec<[u32; 3]> = (0..soup.len() as u32).map(|n| [3 * n, 3 * n + 1, 3 * n + 2]).collect();
        let surface = Surface::new(points.clone(), triangles.clone()).unwrap();
        let expected = by_brute_force(&surface);
        prop_assert_eq!(counts(&surface), expected);
        // Neither the order of triangles nor their turn matters.
        let by = turn as usize % triangles.len();
        triangles.rotate_left(by);
        for (n, triangle) in triangles.iter_mut().enumerate() {
            if turn >> (n % 64) & 1 > 0 {
                triangle.swap(0, 1);
            }
            triangle.rotate_left((turn as usize).wrapping_add(n) % 3);
        }
        prop_assert_eq!(counts(&Surface::new(points, triangles).unwrap()), expected);
    }
}

#[test]
fn the_line_of_a_crossing_lies_in_both_triangles() {
    // By hand: at x = 1 the level triangle holds y from 0 to 3, and the upright one, at height 0, y from −1 to 2.
    let level = [[0.0, 0.0, 0.0], [4.0, 0.0, 0.0], [0.0, 4.0, 0.0]].map(DVec3::from);
    let upright = [[1.0, -1.0, 0.0], [1.0, 2.0, 1.0], [1.0, 2.0, -1.0]].map(DVec3::from);
    let [a, b] = line_between(level, upright).unwrap();
    let (low, high) = if a.y < b.y { (a, b) } else { (b, a) };
    assert!(
        low.distance(DVec3::new(1.0, 0.0, 0.0)) < 1e-12 && high.distance(DVec3::new(1.0, 2.0, 0.0)) < 1e-12,
        "{low} {high}"
    );
    assert_eq!(line_between(level, level), None);
    assert_eq!(line_between(level, level.map(|p| p + DVec3::Z)), None);
}
