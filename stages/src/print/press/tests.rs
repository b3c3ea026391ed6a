#![allow(clippy::unwrap_used)]

use glam::{DVec3, IVec3};

use super::*;
use crate::conformance;
use crate::paint::GuardOn;
use crate::solid::Cells;
use crate::solid::skin::outside_faces;

const RED: Srgb = Srgb([200, 60, 40]);
const WHITE: Srgb = Srgb([255; 3]);

/// A slab whose faces are white but for those that `red` picks.
fn slab(red: impl Fn(IVec3) -> bool) -> (Grid, Paint, Arc<Around>) {
    let grid = Grid { origin: DVec3::ZERO, cell: 1.0, counts: IVec3::new(9, 9, 1) };
    let cells = Cells::from_fn(grid, |_| true);
    let faces: Arc<[_]> = outside_faces(&cells, None).into();
    let around = Arc::new(Around::of(&cells, None, &faces));
    let ink = faces.iter().map(|face| u32::from(face.side == Side::Top && red(face.cell))).collect();
    let paint = Paint { colours: vec![WHITE, RED], faces, ink, sides: Six([WHITE; 6]), inside: WHITE, guard: None };
    (grid, paint, around)
}

fn figures(bleed: f64) -> Figures {
    Figures { bleed, radius: 0.0, layer: 0.0 }
}

fn printed(press: &Press<'_>, figures: &Figures, cell: IVec3, at: [usize; 2], n: usize) -> Srgb {
    let sheet = press.print(figures, n).sheet;
    let face = sheet.faces.iter().position(|f| f.side == Side::Top && f.cell == cell).unwrap() as u32;
    sheet.printed[sheet.texel(face, at[0], at[1])]
}

#[test]
fn solid_patches_come_out_as_designed_on_white_and_tinted_on_other_material() {
    let (grid, paint, around) = slab(|_| true);
    let mut process = conformance::process();
    let middle = IVec3::new(4, 4, 0);
    let press = Press::new(grid, Arc::clone(&around), &paint, &process);
    assert_eq!(printed(&press, &figures(0.2), middle, [1, 1], 3), RED);
    process.base =
        Some(Figure { value: Srgb([230, 220, 190]), range: None, basis: "invented for the test".to_owned() });
    let press = Press::new(grid, around, &paint, &process);
    let Srgb(tinted) = printed(&press, &figures(0.2), middle, [1, 1], 3);
    assert!(tinted.iter().zip(RED.0).all(|(&a, b)| a <= b) && tinted[0] < RED.0[0], "{tinted:?}");
}

#[test]
fn inks_mix_by_what_they_absorb() {
    // On the line between red and white there is half of the red ink (error function at 0), so K / S is half of red's.
    let (grid, paint, around) = slab(|c| c.x < 4);
    let press = Press::new(grid, around, &paint, &conformance::process());
    let at_line =
        [3, 4].map(|x| printed(&press, &figures(0.5), IVec3::new(x, 4, 0), [if x == 3 { 7 } else { 0 }, 4], 8));
    let half = pigment::absorption(linear(RED)).map(|a| a / 2.0);
    let Srgb(expected) = crate::colorimetry::srgb(pigment::reflected(half));
    let [Srgb(before), Srgb(after)] = at_line;
    for i in 0..3 {
        assert!(before[i] <= expected[i] && expected[i] <= after[i], "{before:?} {expected:?} {after:?}");
        assert!(after[i] - before[i] < 30);
    }
}

#[test]
fn a_guard_band_holds_ink_back_from_the_line() {
    let (grid, mut paint, around) = slab(|c| c.x < 4);
    // Without bleed: bare material in the band, ink beyond it. White has no ink to hold back.
    paint.guard = Some(Guard { width: 0.25, on: GuardOn::Both });
    let press = Press::new(grid, Arc::clone(&around), &paint, &conformance::process());
    let at = |x: usize| printed(&press, &figures(0.0), IVec3::new(3, 4, 0), [x, 2], 4);
    assert_eq!((at(3), at(2)), (WHITE, RED));
    paint.guard = Some(Guard { width: 0.25, on: GuardOn::Stronger });
    let press = Press::new(grid, around, &paint, &conformance::process());
    let shares = press.print(&figures(0.0), 4).shares;
    let white = paint.faces.iter().position(|f| f.side == Side::Top && f.cell == IVec3::new(4, 4, 0)).unwrap() as u32;
    assert!(shares.of_face(white).iter().all(|s| (s[Side::Top as usize] - 1.0).abs() < 1e-6));
}

#[test]
fn a_guard_takes_as_much_ink_as_its_bands_have_area() {
    // One red face among white ones: its core is (1 − 2 w)², and each of four neighbours loses a band of w.
    let (grid, mut paint, around) = slab(|c| c == IVec3::new(4, 4, 0));
    let width = 0.15;
    paint.guard = Some(Guard { width, on: GuardOn::Both });
    let press = Press::new(grid, around, &paint, &conformance::process());
    let expected = paint.faces.len() as f64 - (1.0 - (1.0 - 2.0 * width).powi(2)) - 4.0 * width;
    for (n, bleed) in [(1, 0.0), (2, 0.3), (3, 0.1), (5, 0.3)] {
        let shares = press.print(&figures(bleed), n).shares;
        let laid: f64 = shares.values().iter().map(|s| f64::from(s.iter().sum::<f32>())).sum::<f64>() / (n * n) as f64;
        assert!((laid - expected).abs() < 1e-3, "{n} texels, bleed {bleed}: {laid}, not {expected}");
    }
}
