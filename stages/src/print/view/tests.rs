#![allow(clippy::unwrap_used)]

use std::f64::consts::FRAC_1_SQRT_2;
use std::sync::Arc;

use glam::IVec3;
use proptest::prelude::*;

use super::camera::Camera;
use super::picture::{Easel, Ground};
use super::shares::handovers;
use super::turn::STEPS;
use super::*;
use crate::formats::picture::{MARGIN, View};
use crate::print::{Around, Edge};
use crate::solid::skin::outside_faces;
use crate::solid::{Cells, Grid};
use crate::{Side, Srgb};

const COLOURS: [Srgb; 6] = [
    Srgb([0xc8, 0x55, 0x3d]),
    Srgb([0x2a, 0x6f, 0x97]),
    Srgb([0xe9, 0xc4, 0x6a]),
    Srgb([0x58, 0x81, 0x57]),
    Srgb([0xf4, 0xf1, 0xde]),
    Srgb([0x3d, 0x40, 0x5b]),
];

const PER_EDGE: usize = 4;

/// A solid whose faces have the colours of their sides, printed exactly as designed.
fn sheet(counts: IVec3, cell: f64, radius: f64, solid: impl Fn(IVec3) -> bool + Sync) -> Sheet {
    let cells = Cells::from_fn(Grid { origin: DVec3::new(-3.0, 7.0, 0.5), cell, counts }, solid);
    let faces = outside_faces(&cells, None);
    let around = Around::of(&cells, None, &faces);
    let designed: Vec<Srgb> = faces.iter().map(|face| COLOURS[face.side as usize]).collect();
    let printed = designed.iter().flat_map(|&c| std::iter::repeat_n(c, PER_EDGE * PER_EDGE)).collect();
    Sheet {
        grid: *cells.grid(),
        faces: faces.into(),
        around: Arc::new(around),
        radius,
        designed,
        per_edge: PER_EDGE,
        printed,
    }
}

fn cube(cell: f64, radius: f64) -> Sheet {
    sheet(IVec3::ONE, cell, radius, |_| true)
}

/// An uneven solid: a step, a hole and an overhang.
fn uneven() -> Sheet {
    sheet(IVec3::new(5, 4, 6), 2.0, 0.3, |c| (c.x * 7 + c.y * 3 + c.z * c.z * 5) % 4 != 0 || c.z == 0)
}

fn names(sheet: &Sheet) -> Vec<Option<Side>> {
    sheet.faces.iter().flat_map(|face| std::iter::repeat_n(Some(face.side), sheet.per_edge * sheet.per_edge)).collect()
}

fn opaque(Srgb([r, g, b]): Srgb) -> [u8; 4] {
    [r, g, b, 255]
}

/// Pixels for a cell in the pictures of the sides of a lone cube: the highest of the standard views takes 92 % of the
/// picture; it is sin(e) · √2 + cos(e) cells high (`formats/picture/tests.rs`).
fn side_scale(pixels: u32) -> f64 {
    let [sine, cosine] = View::ELEVATION;
    f64::from(pixels) * (1.0 - 2.0 * MARGIN) / (sine * 2f64.sqrt() + cosine)
}

/// The middle of a texel, in cells from the face's cell.
fn texel_middle(side: Side, i: usize, j: usize) -> DVec3 {
    let mut place = DVec3::ZERO;
    let part = |at: usize| (at as f64 + 0.5) / PER_EDGE as f64;
    place[side.axis()] = f64::from(u8::from(side.positive()));
    place[(side.axis() + 1) % 3] = part(i);
    place[(side.axis() + 2) % 3] = part(j);
    place
}

/// The pixel at which a place of a lone cube is seen from a side.
fn pixel(side: Side, place: DVec3, pixels: u32) -> usize {
    let [right, up, _] = View::Side(side).axes();
    let from = place - DVec3::splat(0.5);
    let [x, y] = [right, -up].map(|axis| f64::from(pixels) / 2.0 + from.dot(axis) * side_scale(pixels));
    y as usize * pixels as usize + x as usize
}

#[test]
fn each_side_of_a_cube_is_a_square_of_its_colour() {
    let sheet = cube(3.0, 0.0);
    for pictures in Subject::new(&sheet).sides(200) {
        let colour = opaque(COLOURS[pictures.side as usize]);
        let edge = side_scale(200);
        for image in [&pictures.designed, &pictures.printed] {
            let whole = image.pixels().iter().filter(|&&p| p == colour).count() as f64;
            assert!((edge - 2.0).powi(2) <= whole && whole <= edge.powi(2), "{}: {whole} of {edge}²", pictures.side);
            assert_eq!(image.pixels()[0], [0; 4]);
        }
    }
}

#[test]
fn a_face_has_the_size_of_similar_triangles() {
    // Seen level from the distance d, the front of a cube of edge s is seen with the tangent s/2 / (d − s/2) to each side of
    // its middle. The cylinder that the cube sweeps has the radius r = s/√2, is seen with the tangent r / √(d² − r²) to
    // each side (the tangent to a circle), s/2 / (d − r) above and below.
    let (s, d, pixels) = (60.0, 150.0, 900);
    let r = s * FRAC_1_SQRT_2;
    let widest = (r / (d * d - r * r).sqrt()).max(s / 2.0 / (d - r));
    let expected = f64::from(pixels) * (1.0 - 2.0 * MARGIN) * (s / 2.0 / (d - s / 2.0)) / widest;
    let sheet = cube(s, 0.0);
    let subject = Subject::new(&sheet);
    let turn = Turn::new(&subject, &Viewer { distance: d, height: s / 2.0 }).unwrap();
    assert!(turn.elevation().abs() < 1e-12);
    let mut easel = Easel::new(pixels, Ground::Clear);
    for (quarter, side) in [Side::Front, Side::Right, Side::Back, Side::Left].into_iter().enumerate() {
        easel.draw(&subject, &turn.camera(quarter * STEPS / 4, pixels));
        let colour = opaque(COLOURS[side as usize]);
        let n = pixels as usize;
        let across = easel.pair.designed[n / 2 * n..][..n].iter().filter(|&&p| p == colour).count() as f64;
        let down = easel.pair.designed.iter().skip(n / 2).step_by(n).filter(|&&p| p == colour).count() as f64;
        assert!((across - expected).abs() <= 1.0 && (down - expected).abs() <= 1.0, "{across} × {down}: {expected}");
        let others = easel.pair.designed.iter().filter(|&&p| p[3] == 255 && p != colour).count();
        assert_eq!(others, 0, "{side}: seen level from straight before it, nothing else shows");
    }
}

#[test]
fn the_piece_shows_front_right_back_and_left_in_turn() {
    let sheet = cube(3.0, 0.0);
    let subject = Subject::new(&sheet);
    let turn = Turn::new(&subject, &Viewer { distance: 100.0, height: 1.5 }).unwrap();
    let mut easel = Easel::new(100, Ground::Clear);
    let order = [Side::Front, Side::Right, Side::Back, Side::Left, Side::Front];
    for (quarter, pair) in order.windows(2).enumerate() {
        easel.draw(&subject, &turn.camera(quarter * STEPS / 4 + STEPS / 8, 100));
        // What comes next comes from the right of the picture.
        let row = &easel.pair.printed[50 * 100..51 * 100];
        assert_eq!([row[35], row[65]], [0, 1].map(|at| opaque(COLOURS[pair[at] as usize])), "{pair:?}");
    }
}

#[test]
fn the_nearer_hides_the_farther() {
    // A wall of 5 × 5 behind a lone cube before its middle.
    let solid = |c: IVec3| c.y == 3 || c == IVec3::new(2, 0, 2);
    let mut sheet = sheet(IVec3::new(5, 4, 5), 1.0, 0.0, solid);
    for (face, colour) in sheet.faces.iter().zip(&mut sheet.designed) {
        if face.cell.y == 0 {
            *colour = Srgb([0; 3]);
        }
    }
    let subject = Subject::new(&sheet);
    let black = |rgba: &[[u8; 4]]| rgba.iter().filter(|&&p| p == [0, 0, 0, 255]).count();
    let sides = subject.sides(150);
    assert_eq!(sides[Side::Front as usize].designed.pixels()[75 * 150 + 75], [0, 0, 0, 255]);
    assert_eq!(black(sides[Side::Back as usize].designed.pixels()), 0);
    let turn = Turn::new(&subject, &Viewer { distance: 30.0, height: 2.5 }).unwrap();
    let mut easel = Easel::new(150, Ground::Clear);
    for (step, some) in [(0, true), (STEPS / 2, false)] {
        easel.draw(&subject, &turn.camera(step, 150));
        assert_eq!(black(&easel.pair.designed) > 0, some, "step {step}");
    }
}

#[test]
fn a_strip_of_the_neighbour_shows_at_a_rounded_edge() {
    // Closed form: straight on, (1 − 1/√2) · r of the neighbour shows.
    let (radius, pixels) = (0.3, 1600);
    let sheet = cube(1.0, radius);
    let [designed, printed] = {
        let front = Subject::new(&sheet).sides(pixels).swap_remove(Side::Front as usize);
        [front.designed, front.printed]
    };
    let expected = (1.0 - FRAC_1_SQRT_2) * radius * side_scale(pixels);
    let n = pixels as usize;
    let count = |image: &crate::formats::picture::Image, side: Side, row: bool| {
        let seen = |at: usize| image.pixels()[if row { n / 2 * n + at } else { at * n + n / 2 }];
        (0..n).filter(|&at| seen(at) == opaque(COLOURS[side as usize])).count() as f64
    };
    for (side, row) in [(Side::Right, true), (Side::Left, true), (Side::Top, false), (Side::Bottom, false)] {
        let strip = count(&printed, side, row);
        // A pixel at either end is mixed; the table that stands for the arc is good to a part in a hundred.
        assert!((strip - expected).abs() < 1.0 + 0.01 * expected, "{side}: {strip} instead of {expected}");
        assert_eq!(count(&designed, side, row), 0.0);
    }
}

#[test]
fn texels_lie_where_their_numbers_say() {
    let mark = Srgb([250, 0, 250]);
    let pixels = 240;
    for (side, i, j) in Side::ALL.into_iter().flat_map(|side| [(side, 3, 0), (side, 1, 2)]) {
        let mut sheet = cube(5.0, 0.0);
        let face = sheet.faces.iter().position(|face| face.side == side).unwrap();
        let texel = sheet.texel(face as u32, i, j);
        sheet.printed[texel] = mark;
        let picture = Subject::new(&sheet).sides(pixels).swap_remove(side as usize).printed;
        assert_eq!(picture.pixels()[pixel(side, texel_middle(side, i, j), pixels)], opaque(mark), "{side} {i} {j}");
        let marked = picture.pixels().iter().filter(|&&p| p == opaque(mark)).count() as f64;
        let texel = side_scale(pixels) / PER_EDGE as f64;
        assert!(((texel - 2.0).powi(2)..=texel.powi(2)).contains(&marked), "{side}: {marked}");
    }
}

#[test]
fn around_an_edge_the_neighbours_texels_show_in_their_places() {
    let (mark, radius, pixels) = (Srgb([250, 0, 250]), 0.4, 400);
    for (side, edge) in Side::ALL.into_iter().flat_map(|side| Edge::ALL.map(|edge| (side, edge))) {
        let mut sheet = cube(1.0, radius);
        let other = edge.outwards(side);
        let face = sheet.faces.iter().position(|face| face.side == other).unwrap() as u32;
        let along = 3 - side.axis() - other.axis();
        // The neighbour's texels at the edge, in the third place along it.
        let near = |place: DVec3| (place[side.axis()] - f64::from(u8::from(side.positive()))).abs() < 0.2;
        for (i, j) in (0..PER_EDGE).flat_map(|i| (0..PER_EDGE).map(move |j| (i, j))) {
            let place = texel_middle(other, i, j);
            if near(place) && (place[along] - 0.625).abs() < 0.01 {
                let texel = sheet.texel(face, i, j);
                sheet.printed[texel] = mark;
            }
        }
        let picture = Subject::new(&sheet).sides(pixels).swap_remove(side as usize).printed;
        for part in 0..PER_EDGE {
            // Half way into the strip that shows.
            let mut place = DVec3::splat((part as f64 + 0.5) / PER_EDGE as f64);
            place[side.axis()] = 0.5;
            let inwards = (1.0 - FRAC_1_SQRT_2) * radius * 0.7;
            place[other.axis()] = if other.positive() { 1.0 - inwards } else { inwards };
            let corner = part == 0 || part == PER_EDGE - 1;
            let expected = opaque(if part == 2 { mark } else { COLOURS[other as usize] });
            let seen = picture.pixels()[pixel(side, place, pixels)];
            assert!(corner || seen == expected, "{side} {edge:?} {part}: {seen:?}");
        }
    }
}

#[test]
fn without_rounding_or_bleed_the_print_is_the_design() {
    let sheet = Sheet { radius: 0.0, ..uneven() };
    let subject = Subject::new(&sheet);
    assert!(subject.sides(90).iter().all(|side| side.designed == side.printed));
    let turn = Turn::new(&subject, &Viewer { distance: 70.0, height: 20.0 }).unwrap();
    let mut steps = 0;
    turn.frames(60, 80, |step, designed, printed| {
        assert_eq!(step, steps);
        steps += 1;
        (designed == printed).then_some(()).ok_or(step)
    })
    .unwrap();
    assert_eq!(steps, STEPS);
    let subject = Subject::new(&sheet);
    let rounded = Sheet { radius: 0.4, ..sheet.clone() };
    assert_ne!(Subject::new(&rounded).sides(90), subject.sides(90));
}

#[test]
fn nothing_depends_on_the_number_of_threads() {
    let sheet = uneven();
    let all = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| {
            let subject = Subject::new(&sheet);
            let turn = Turn::new(&subject, &Viewer { distance: 70.0, height: 20.0 }).unwrap();
            let mut frames = Vec::new();
            turn.frames(70, 80, |_, designed, printed| {
                frames.extend([designed, printed]);
                Ok::<(), ()>(())
            })
            .unwrap();
            (subject.sides(50), frames, turn.film(40).unwrap(), subject.shares(&names(&sheet), turn.elevation()))
        })
    };
    assert_eq!(all(1), all(5));
}

#[test]
fn a_failing_receiver_ends_the_turn() {
    let sheet = cube(1.0, 0.0);
    let subject = Subject::new(&sheet);
    let turn = Turn::new(&subject, &Viewer { distance: 10.0, height: 0.5 }).unwrap();
    assert_eq!(turn.frames(20, 80, |step, _, _| if step == 3 { Err(step) } else { Ok(()) }), Err(3));
}

#[test]
fn a_viewer_must_stand_clear_of_the_piece() {
    let sheet = sheet(IVec3::new(4, 4, 10), 10.0, 0.0, |_| true);
    let subject = Subject::new(&sheet);
    let put = |distance, height| Turn::new(&subject, &Viewer { distance, height });
    // The piece reaches 20 · √2 mm from its axis and is 100 mm high.
    let message = put(15.0, 50.0).unwrap_err();
    assert!(message.contains("reaches 28 mm") && message.contains("64 mm is far enough"), "{message}");
    assert!(put(64.0, 50.0).is_ok() && put(64.0, -9.0).is_ok() && put(64.0, 400.0).is_ok());
    // Right before the foot of the tall piece, looking up: the foot lies beside the eye.
    assert!(put(30.0, 0.0).is_err());
    assert!(put(0.0, 90.0).is_err() && put(0.0, 400.0).is_ok());
    for [distance, height] in [[f64::NAN, 0.0], [f64::INFINITY, 0.0], [-1.0, 0.0], [100.0, f64::NAN]] {
        assert!(put(distance, height).is_err(), "{distance} {height}");
    }
}

#[test]
fn odd_sheets_give_pictures() {
    let viewer = |size: f64| Viewer { distance: 5.0 * size, height: size };
    let draw = |sheet: &Sheet, size: f64, pixels: u32| {
        let subject = Subject::new(sheet);
        let turn = Turn::new(&subject, &viewer(size)).unwrap();
        let mut bytes = 0;
        turn.frames(pixels, 80, |_, designed, printed| {
            bytes += designed.len() + printed.len();
            Ok::<(), ()>(())
        })
        .unwrap();
        assert!(bytes > 0 && !turn.film(pixels).unwrap().is_empty());
        let shares = subject.shares(&names(sheet), 10.0);
        (subject.sides(pixels), shares)
    };
    let empty = Sheet {
        grid: Grid { origin: DVec3::ZERO, cell: 1.0, counts: IVec3::ZERO },
        ..sheet(IVec3::ONE, 1.0, 0.1, |_| false)
    };
    let (sides, shares) = draw(&empty, 100.0, 9);
    assert!(sides.iter().all(|side| side.printed.pixels().iter().all(|&p| p == [0; 4])));
    assert!(shares.iter().all(|at| at.designed.0 == [0.0; 6] && at.named.0 == [0.0; 6]));
    assert!(handovers(&shares).iter().all(|h| h.designed.is_none() && h.printed.is_none()));
    assert_eq!(handovers(&[]), handovers(&shares));
    for size in [1e-9, 1e9] {
        let (sides, _) = draw(&cube(size, size / 5.0), size, 33);
        assert_eq!(sides[3].designed.pixels()[16 * 33 + 16], opaque(COLOURS[3]), "{size}");
    }
    let (sides, _) = draw(&uneven(), 12.0, 1);
    assert_eq!(sides[0].printed.edge(), 1);
}

#[test]
fn a_cube_shows_two_sides_as_sine_to_cosine() {
    let sheet = cube(7.0, 0.0);
    let subject = Subject::new(&sheet);
    for at in subject.shares(&names(&sheet), 0.0) {
        // The closed form, with the platform's own angle functions as judge.
        #[allow(clippy::disallowed_methods)]
        let (sine, cosine) = at.azimuth.to_radians().sin_cos();
        for shares in [&at.designed, &at.named] {
            let right = shares[Side::Right] - shares[Side::Left];
            let front = shares[Side::Front] - shares[Side::Back];
            assert!((right * cosine - front * sine).abs() < 1e-12, "{at:?}");
            assert!((shares.0.iter().sum::<f64>() - 1.0).abs() < 1e-12);
            assert_eq!((shares[Side::Top], shares[Side::Bottom]), (0.0, 0.0));
        }
    }
}

#[test]
fn shares_of_a_cube_seen_from_above() {
    // Projected areas |dx| : |dy| : |dz|; azimuth 30°, elevation 20° as worked out in the project's reference values.
    let sheet = cube(1.0, 0.0);
    let subject = Subject::new(&sheet);
    let at = &subject.shares(&names(&sheet), 20.0)[6];
    let close =
        |side: Side, share: f64| (at.designed[side] - share).abs() < 5e-5 && (at.named[side] - share).abs() < 5e-5;
    assert!(close(Side::Front, 0.5006) && close(Side::Right, 0.2890) && close(Side::Top, 0.2104), "{at:?}");
    // From the direction (1, −1, 1): a third each.
    let at = &subject.shares(&names(&sheet), libm::atan(FRAC_1_SQRT_2).to_degrees())[9];
    for side in [Side::Front, Side::Right, Side::Top] {
        assert!((at.designed[side] - 1.0 / 3.0).abs() < 1e-12, "{at:?}");
    }
}

#[test]
fn a_cube_hands_over_within_53_degrees() {
    // sin θ / (sin θ + cos θ) is 25 % at atan ⅓ and 75 % at atan 3.
    let expected = (libm::atan(3.0) - libm::atan(1.0 / 3.0)).to_degrees();
    let mut sheet = cube(1.0, 0.0);
    let turn = Subject::new(&sheet).shares(&names(&sheet), 0.0);
    let sides = [Side::Front, Side::Right, Side::Back, Side::Left, Side::Front];
    let found = handovers(&turn);
    assert_eq!(found.len(), 4);
    for (handover, pair) in found.iter().zip(sides.windows(2)) {
        assert_eq!([handover.from, handover.to], [pair[0], pair[1]]);
        for angle in [handover.designed, handover.printed] {
            assert!((angle.unwrap() - expected).abs() < 1e-9, "{handover:?}");
        }
    }
    // Where half of every side is named as the next one, none ever has three quarters to itself.
    sheet.radius = 0.0;
    let mixed: Vec<Option<Side>> = names(&sheet)
        .into_iter()
        .enumerate()
        .map(|(texel, name)| if texel % 2 == 0 { name } else { Some(Side::Top) })
        .collect();
    let turn = Subject::new(&sheet).shares(&mixed, 0.0);
    assert!(turn.iter().all(|at| (at.named[Side::Top] - 0.5).abs() < 0.2));
    let nameless = vec![None; sheet.printed.len()];
    let turn = Subject::new(&sheet).shares(&nameless, 0.0);
    assert!(handovers(&turn).iter().all(|h| h.designed.is_some() && h.printed.is_none()));
}

/// The first face that a ray meets, by trying each.
fn first_met(sheet: &Sheet, from: DVec3, to: DVec3) -> Option<(f64, u32)> {
    let mut nearest: Option<(f64, u32)> = None;
    for (at, face) in sheet.faces.iter().enumerate() {
        let axis = face.side.axis();
        let sign = if face.side.positive() { 1.0 } else { -1.0 };
        if to[axis] * sign >= 0.0 {
            continue;
        }
        let low = face.cell.as_dvec3();
        let depth = (low[axis] + f64::from(u8::from(face.side.positive())) - from[axis]) / to[axis];
        let place = from + to * depth - low;
        let inside = [1, 2].iter().all(|next| (0.0..1.0).contains(&place[(axis + next) % 3]));
        if inside && nearest.is_none_or(|(best, _)| depth < best) {
            nearest = Some((depth, at as u32));
        }
    }
    nearest
}

fn random(bits: &[bool]) -> Sheet {
    sheet(IVec3::splat(4), 1.5, 0.0, |c| bits[(c.x + 4 * (c.y + 4 * c.z)) as usize])
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn every_pixel_shows_the_face_that_its_ray_meets_first(
        bits in proptest::collection::vec(any::<bool>(), 64),
        step in 0..STEPS,
        distance in 8.0..40.0f64,
        height in -20.0..40.0f64,
    ) {
        let mut sheet = random(&bits);
        // Each face has a colour of its own.
        sheet.designed = (0..sheet.faces.len() as u32).map(|at| Srgb([1 + (at % 200) as u8, (at / 200) as u8, 9])).collect();
        let subject = Subject::new(&sheet);
        let pixels = 40;
        let turn = Turn::new(&subject, &Viewer { distance, height });
        let cameras: Vec<Camera> = turn.iter().map(|turn| turn.camera(step, pixels)).collect();
        for camera in cameras {
            let mut easel = Easel::new(pixels, Ground::Clear);
            easel.draw(&subject, &camera);
            for (at, pixel) in easel.pair.designed.iter().enumerate() {
                let (x, y) = ((at % 40) as f64, (at / 40) as f64);
                let beside = |x: f64, y: f64| {
                    let [from, to] = camera.row(x, y).first();
                    first_met(&sheet, from, to).map_or([0; 4], |(_, face)| opaque(sheet.designed[face as usize]))
                };
                let samples = [(0.375, 0.125), (0.875, 0.375), (0.125, 0.625), (0.625, 0.875)];
                let met = samples.map(|(dx, dy)| beside(x + dx, y + dy));
                if met.iter().all(|&colour| colour == met[0]) {
                    prop_assert_eq!(*pixel, met[0]);
                }
                let covered = met.iter().filter(|colour| colour[3] > 0).count();
                prop_assert_eq!(usize::from(pixel[3]), covered * 255 / 4);
            }
        }
    }

    #[test]
    fn shares_are_those_that_rays_find(bits in proptest::collection::vec(any::<bool>(), 64), step in 0..STEPS, elevation in -60.0..60.0f64) {
        let sheet = random(&bits);
        prop_assume!(!sheet.faces.is_empty());
        let shares = &Subject::new(&sheet).shares(&names(&sheet), elevation)[step];
        // From points of each face towards the viewer: those that meet nothing on their way are seen.
        let (sine, cosine) = libm::sincos((step as f64 * 5.0).to_radians());
        let (up, level) = libm::sincos(elevation.to_radians());
        let towards = DVec3::new(level * sine, -level * cosine, up);
        let mut areas = [0.0; 6];
        let points = 24;
        for face in sheet.faces.iter() {
            let area = face.side.normal().dot(towards);
            if area <= 1e-9 {
                continue;
            }
            let seen = (0..points * points).filter(|at| {
                let (axis, part) = (face.side.axis(), |k: i32| (f64::from(k) + 0.5) / f64::from(points));
                let mut place = face.cell.as_dvec3();
                place[axis] += f64::from(u8::from(face.side.positive()));
                place[(axis + 1) % 3] += part(at % points);
                place[(axis + 2) % 3] += part(at / points);
                // From afar towards the point: the first face on the way must lie there.
                let met = first_met(&sheet, place + towards * 100.0, -towards);
                met.is_some_and(|(depth, _)| depth > 100.0 - 1e-6)
            });
            areas[face.side as usize] += area * seen.count() as f64 / f64::from(points * points);
        }
        let total: f64 = areas.iter().sum();
        for side in Side::ALL {
            let expected = areas[side as usize] / total;
            prop_assert!((shares.designed[side] - expected).abs() < 0.03, "{side}: {} for {expected}", shares.designed[side]);
            prop_assert!((shares.named[side] - shares.designed[side]).abs() < 1e-9);
        }
    }
}
