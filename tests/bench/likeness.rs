//! The distance to a surface, likeness, and the best place of the grid.

use divan::{Bencher, black_box};
use glam::{DVec3, IVec3};
use serde_json::json;
use turnhue_stages::solid::inside::solid_cells;
use turnhue_stages::solid::{Grid, Likeness, Nearest, Surface};

use crate::pieces::{Begun, ball, folder, torn, trial};

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

#[divan::bench(sample_count = 10)]
fn likeness_of_demo(bencher: Bencher<'_, '_>) {
    let (begun, _) = Begun::demo("repair");
    let (surface, cells) = (begun.piece.surface().unwrap(), begun.piece.cells().unwrap());
    bencher.bench_local(|| Likeness::of(black_box(surface), cells, || Ok::<(), ()>(())).unwrap());
}

#[divan::bench(sample_count = 5)]
fn likeness_of_871_198_triangles_200_across(bencher: Bencher<'_, '_>) {
    measure(bencher, &ball(661, 660));
}

#[divan::bench(sample_count = 5)]
fn likeness_of_torn_ball_200_across(bencher: Bencher<'_, '_>) {
    measure(bencher, &torn(&ball(661, 660), 50));
}

fn measure(bencher: Bencher<'_, '_>, surface: &Surface) {
    let cells = solid_cells(surface, grid()).0;
    bencher.bench_local(|| Likeness::of(black_box(surface), &cells, || Ok::<(), ()>(())).unwrap());
}

/// The whole stage, with the places tried, for the ball of 217 800 triangles.
#[divan::bench(sample_count = 5, args = [50, 100, 200])]
fn best_place_of_ball(bencher: Bencher<'_, '_>, across: u32) {
    let begun = Begun::with(ball(330, 330), []);
    let trial = trial("voxelise", json!({ "across": across, "grid": "best" }), begun.piece);
    bencher.with_inputs(folder).bench_local_refs(|folder| trial.run(folder.path().to_owned()).unwrap());
}
