//! The distance to a surface, likeness, and the best place of the grid.

use divan::{Bencher, black_box};
use glam::{DVec3, IVec3};
use turnhue_stages::solid::{Grid, Nearest};

use crate::pieces::ball;

/// A finely meshed ball with cells of 0.9 mm, 200 across.
#[divan::bench(sample_count = 10)]
fn nearest_put_into_bins_871_198_triangles(bencher: Bencher<'_, '_>) {
    let ball = ball(661, 660);
    bencher.bench_local(|| Nearest::new(black_box(&ball), grid()));
}

/// A thousand points about half a cell off the surface, and as many that are a quarter of the ball away from it.
#[divan::bench(sample_count = 100, args = [89.5, 45.0])]
fn nearest_of_1_000_points_at_radius(bencher: Bencher<'_, '_>, radius: f64) {
    let ball = ball(661, 660);
    let nearest = Nearest::new(&ball, grid());
    let around = |n: u32| DVec3::new(f64::from(n % 31) - 15.0, f64::from(n % 29) - 14.0, f64::from(n % 37) - 9.0);
    let points: Vec<DVec3> = (1..=1000).map(|n| around(n).normalize() * radius).collect();
    bencher.bench_local(|| points.iter().filter_map(|&point| nearest.within(black_box(point), 500.0)).sum::<f64>());
}

fn grid() -> Grid {
    Grid { origin: DVec3::splat(-90.0), cell: 0.9, counts: IVec3::splat(200) }
}
