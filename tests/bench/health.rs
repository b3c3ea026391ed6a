//! The health of a source: its topology, and where it passes through itself.

use std::convert::Infallible;

use divan::{Bencher, black_box};
use glam::DVec3;
use turnhue_stages::solid::Surface;
use turnhue_stages::solid::health::Health;
use turnhue_stages::solid::self_crossings::{Effort, SelfCrossings, self_crossings};

use crate::pieces::{ball, torn};

/// Rings and sectors of balls of about 218 000, 436 000 and 871 000 triangles.
const BALLS: [u32; 3] = [331, 467, 661];

#[divan::bench(sample_count = 10, args = BALLS)]
fn health_ball(bencher: Bencher<'_, '_>, across: u32) {
    health(bencher, &ball(across, across - 1));
}

#[divan::bench(sample_count = 10, args = BALLS)]
fn health_torn_ball(bencher: Bencher<'_, '_>, across: u32) {
    health(bencher, &torn(&ball(across, across - 1), 50));
}

#[divan::bench(sample_count = 5)]
fn health_million_loose_triangles(bencher: Bencher<'_, '_>) {
    health(bencher, &loose(1_000_000));
}

fn health(bencher: Bencher<'_, '_>, surface: &Surface) {
    bencher.bench_local(|| Health::of(black_box(surface)));
}

#[divan::bench(sample_count = 10, args = BALLS)]
fn self_crossings_ball(bencher: Bencher<'_, '_>, across: u32) {
    crossings(bencher, &ball(across, across - 1));
}

#[divan::bench(sample_count = 5)]
fn self_crossings_million_loose_triangles(bencher: Bencher<'_, '_>) {
    crossings(bencher, &loose(1_000_000));
}

/// Every box overlaps every other: the search ends before it is complete.
#[divan::bench(sample_count = 2)]
fn self_crossings_hostile(bencher: Bencher<'_, '_>) {
    crossings(bencher, &fan(300_000));
}

fn crossings(bencher: Bencher<'_, '_>, surface: &Surface) {
    let effort = Effort::usual(surface.triangles().len());
    bencher.bench_local(|| -> SelfCrossings {
        let Ok(found) = self_crossings(black_box(surface), effort, || Ok::<(), Infallible>(()));
        found
    });
}

/// Triangles on a lattice, each by itself.
fn loose(count: u32) -> Surface {
    let points = (0..count).flat_map(|n| {
        let corner = DVec3::new(f64::from(n % 100), f64::from(n / 100 % 100), f64::from(n / 10_000));
        [corner, corner + DVec3::new(0.5, 0.1, 0.0), corner + DVec3::new(0.0, 0.5, 0.3)]
    });
    Surface::new(points.collect(), (0..count).map(|n| [3 * n, 3 * n + 1, 3 * n + 2]).collect()).unwrap()
}

/// Long slanted triangles, one a little above the other.
fn fan(count: u32) -> Surface {
    let points = (0..count).flat_map(|n| {
        let up = DVec3::Z * f64::from(n) * 1e-4;
        [up, DVec3::new(100.0, 1.0, 100.0) + up, DVec3::new(1.0, 100.0, 100.0) + up]
    });
    Surface::new(points.collect(), (0..count).map(|n| [3 * n, 3 * n + 1, 3 * n + 2]).collect()).unwrap()
}
