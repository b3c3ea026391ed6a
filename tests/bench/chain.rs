//! Each stage and what it rests on, and the whole chain.

use std::sync::atomic::AtomicBool;

use divan::{Bencher, black_box};
use serde_json::json;
use tempfile::TempDir;
use turnhue::advise::advise;
use turnhue::clock::{Clock as _, SystemClock};
use turnhue::events::Silence;
use turnhue::run::{Surroundings, run};
use turnhue::store::Store;
use turnhue_stages::conformance::Trial;
use turnhue_stages::solid::skin::outside_faces;
use turnhue_stages::solid::{Skin, Surface};
use turnhue_stages::units::Memory;

use crate::pieces::{Begun, ball, demo_plan, folder, hollow, torn, trial};

/// Planning, running, recording, and the summary.
#[divan::bench(sample_count = 10)]
fn whole_demo(bencher: Bencher<'_, '_>) {
    let (clock, cancel) = (SystemClock::start(), AtomicBool::new(false));
    bencher.with_inputs(folder).bench_local_refs(|folder| {
        let store = Store::open(&folder.path().join(".store"), clock.now()).unwrap();
        let memory = Memory::usual();
        let surroundings = Surroundings { into: folder.path(), store: &store, clock: &clock, cancel: &cancel, memory };
        run(&demo_plan().without_advice(), &surroundings, &mut Silence).unwrap()
    });
}

/// The dozen sizes of the cell that the demo compares.
#[divan::bench(sample_count = 3)]
fn advise_demo(bencher: Bencher<'_, '_>) {
    let (cancel, plan) = (AtomicBool::new(false), demo_plan());
    bencher.with_inputs(folder).bench_local_refs(|folder| advise(&plan, folder.path(), &cancel, &mut Silence).unwrap());
}

#[divan::bench(sample_count = 10, args = ["scale", "voxelise", "repair", "hollow", "colour", "proof", "validate", "estimate"])]
fn demo(bencher: Bencher<'_, '_>, stage: &str) {
    let (begun, settings) = Begun::demo(stage);
    measure(bencher, &trial(stage, settings, begun.piece.clone()));
}

#[divan::bench(sample_count = 5, args = [100, 200])]
fn voxelise_ball(bencher: Bencher<'_, '_>, across: u32) {
    voxelise(bencher, ball(330, 330), across);
}

#[divan::bench(sample_count = 5, args = [100, 200])]
fn voxelise_torn_ball(bencher: Bencher<'_, '_>, across: u32) {
    voxelise(bencher, torn(&ball(330, 330), 50), across);
}

fn voxelise(bencher: Bencher<'_, '_>, surface: Surface, across: u32) {
    let begun = Begun::with(surface, []);
    measure(bencher, &trial("voxelise", json!({ "across": across }), begun.piece));
}

#[divan::bench(sample_count = 5, args = ["leave", "thicken"])]
fn repair_torn_ball(bencher: Bencher<'_, '_>, thin: &str) {
    let begun = Begun::with(torn(&ball(660, 661), 50), [("voxelise", json!({ "across": 200 }))]);
    measure(bencher, &trial("repair", json!({ "thin": thin }), begun.piece));
}

#[divan::bench(sample_count = 5, args = [100, 200])]
fn hollow_ball(bencher: Bencher<'_, '_>, across: u32) {
    let begun = Begun::with(ball(330, 330), [("voxelise", json!({ "across": across }))]);
    measure(bencher, &trial("hollow", hollow(), begun.piece));
}

#[divan::bench(sample_count = 10)]
fn mesh_demo(bencher: Bencher<'_, '_>) {
    mesh(bencher, &Begun::demo("colour").0);
}

#[divan::bench(sample_count = 10, args = [100, 200])]
fn mesh_hollow_ball(bencher: Bencher<'_, '_>, across: u32) {
    let stages = [("voxelise", json!({ "across": across })), ("hollow", hollow())];
    mesh(bencher, &Begun::with(ball(330, 330), stages));
}

fn mesh(bencher: Bencher<'_, '_>, begun: &Begun) {
    let (cells, void) = (begun.piece.cells().unwrap(), begun.piece.void());
    bencher.bench_local(|| Skin::of(cells, void, black_box(&outside_faces(cells, void))));
}

/// Runs a trial in a new folder each time.
fn measure(bencher: Bencher<'_, '_>, trial: &Trial<'_>) {
    bencher.with_inputs(folder).bench_local_refs(|folder: &mut TempDir| trial.run(folder.path().to_owned()).unwrap());
}
