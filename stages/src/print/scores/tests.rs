#![allow(clippy::unwrap_used)]

use std::sync::Arc;

use glam::{DVec3, IVec3};

use super::*;
use crate::paint::Paint;
use crate::print::Around;
use crate::solid::skin::outside_faces;
use crate::solid::{Cells, Grid};

/// Six invented colours, well apart.
const SIX: [Srgb; 6] = [
    Srgb([200, 85, 61]),
    Srgb([42, 111, 151]),
    Srgb([233, 196, 106]),
    Srgb([88, 129, 87]),
    Srgb([244, 241, 222]),
    Srgb([61, 64, 91]),
];

fn painted(cells: &Cells) -> (Paint, Arc<Around>) {
    let faces: Arc<[_]> = outside_faces(cells, None).into();
    let around = Arc::new(Around::of(cells, None, &faces));
    let ink = faces.iter().map(|face| face.side as u32).collect();
    let paint = Paint { colours: SIX.to_vec(), faces, ink, sides: Six(SIX), inside: SIX[0], guard: None };
    (paint, around)
}

/// A ball of so many cells across, of cells with that edge in mm.
fn ball(across: i32, cell: f64) -> Cells {
    let grid = Grid { origin: DVec3::ZERO, cell, counts: IVec3::splat(across) };
    Cells::from_fn(grid, |c| (2 * c + 1 - across).length_squared() <= across * across)
}

fn figures(bleed: f64, radius: f64) -> Figures {
    Figures { bleed, radius, layer: 0.1 }
}

/// What the test process makes of a solid, with other figures.
fn scored(cells: &Cells, figures: &Figures) -> Scores {
    let (paint, around) = painted(cells);
    let press = Press::new(*cells.grid(), around, &paint, &crate::conformance::process());
    Scores::of(&press, figures)
}

#[test]
fn without_bleed_and_rounding_everything_is_as_designed() {
    let scores = scored(&ball(15, 2.0), &figures(0.0, 0.0));
    for (side, score) in scores.sides.iter() {
        let score = score.unwrap();
        assert!((score.own - 1.0).abs() < 1e-12 && (score.named - 1.0).abs() < 1e-12, "{side}: {score:?}");
        for (a, b) in score.designed.iter().zip(score.printed) {
            assert!((a - b).abs() < 1e-6, "{side}: {score:?}");
        }
    }
    assert_eq!(scores.separations.len(), 12);
    assert!(scores.separations.iter().all(|pair| (pair.kept() - 1.0).abs() < 1e-4));
    assert_eq!(judge(&scores, &scores).effect, Effect::Holds);
}

#[test]
fn rounding_alone_shows_a_strip_of_each_neighbour() {
    // Closed form: a strip of (1 − 1 / √2) r along each of the four edges of a cube's face.
    let cube = Cells::from_fn(Grid { origin: DVec3::ZERO, cell: 2.0, counts: IVec3::ONE }, |_| true);
    for radius in [0.1, 0.4, 1.0] {
        let strip = (1.0 - std::f64::consts::FRAC_1_SQRT_2) * radius;
        let expected = ((2.0 - 2.0 * strip) / 2.0).powi(2);
        for (side, score) in scored(&cube, &figures(0.0, radius)).sides.iter() {
            let score = score.unwrap();
            assert!((score.own - expected).abs() < 1e-6 && (score.named - expected).abs() < 1e-6, "{side}: {score:?}");
            assert!((score.area - 4.0).abs() < 1e-12);
        }
    }
}

#[test]
fn bleed_alone_leaves_a_face_among_others_what_the_closed_form_says() {
    // Stairs one cell wide and one cell high, seen from the right: each riser lies between two treads above and below, and
    // between risers left and right. So one dimension of the closed form: 1 − ratio of what leaves, erf x − (1 − e^(−x²)) /
    // (x √π) with x = a / (σ √2), plus what comes back from risers two steps on, which at a / σ = 5 is nothing.
    let stairs =
        Cells::from_fn(Grid { origin: DVec3::ZERO, cell: 1.0, counts: IVec3::new(20, 20, 20) }, |c| c.x + c.z < 20);
    let sigma = 0.2;
    let x = 1.0 / (sigma * 2f64.sqrt());
    let one_way = libm::erf(x) - (1.0 - libm::exp(-x * x)) / (x * std::f64::consts::PI.sqrt());
    let mut flat = figures(sigma, 0.0);
    flat.layer = 0.0;
    let own = scored(&stairs, &flat).sides[Side::Right].unwrap().own;
    // The outermost of 20 × 20 risers lie beside other sides as well.
    let rims = 1.0 - own / one_way;
    assert!((0.0..0.02).contains(&rims), "{own}, closed form {one_way}");
}

#[test]
fn cells_of_a_millimetre_or_less_fail_and_three_millimetres_hold() {
    // Common practice, no source: with a powder process like the demo's, 0.6 mm cells on a ball of 30 mm run together, and
    // 3 mm cells on a palm-size piece hold.
    let process = crate::conformance::process();
    let stated = Figures::stated(&process);
    for (across, cell, expected) in [(50, 0.6, Effect::Fails), (30, 3.0, Effect::Holds)] {
        let scores = scored(&ball(across, cell), &stated);
        assert_eq!(judge(&scores, &scores).effect, expected, "{across} cells of {cell} mm: {scores:?}");
    }
}

#[test]
fn a_viewer_sees_the_nearest_face_of_each_line() {
    // Silhouettes of any solid are its shadows: as many faces are seen as lines of cells hold any.
    let cells = crate::solid::samples::lattice_shell(6, 9);
    let (paint, around) = painted(&cells);
    let press = Press::new(*cells.grid(), around, &paint, &crate::conformance::process());
    let sheet = press.print(&figures(0.1, 0.1), 2).sheet;
    for side in Side::ALL {
        // OEIS A000328(6): lattice points in a disc of radius 6.
        assert_eq!(seen_from(side, &sheet).len(), 113, "{side}");
    }
}

#[test]
fn larger_cells_never_score_worse() {
    let process = crate::conformance::process();
    let stated = Figures::stated(&process);
    let shares: Vec<f64> =
        [0.6, 1.0, 2.0, 4.0].map(|cell| scored(&ball(14, cell), &stated).legibility().unwrap().0).into();
    assert!(shares.is_sorted() && shares[3] > shares[0] + 0.2, "{shares:?}");
}

#[test]
fn the_number_of_threads_changes_nothing() {
    let cells = ball(17, 1.0);
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| scored(&cells, &figures(0.3, 0.2)))
    };
    assert_eq!(on(1), on(6));
}
