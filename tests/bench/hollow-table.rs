//! How long `hollow` takes on the demo's whelk, and what comes out, for cells of 3 to 5 mm and walls of 2 to 6.5 mm:
//!
//! ```sh
//! cargo run --release -p turnhue-stages --example hollow-table
//! cargo run --release -p turnhue-stages --example hollow-table -- 3:2 2.5:2.5    # these alone, cell:wall
//! ```
//!
//! A table in CSV. On one thread, seconds are those of the processor.
#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::disallowed_methods)]

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::LazyLock;
use std::time::Instant;

use serde_json::{Value, json};
use turnhue_stages::conformance::Trial;
use turnhue_stages::findings;
use turnhue_stages::formats::stl;
use turnhue_stages::shipped;
use turnhue_stages::stage::{Halt, Outcome};
use turnhue_stages::workpiece::Workpiece;

fn main() {
    let asked: Vec<(f64, f64)> = std::env::args().skip(1).map(|pair| cell_and_wall(&pair)).collect();
    let asked = if asked.is_empty() { all() } else { asked };
    println!("cell mm,wall mm,s on one thread,s on all threads,material cm³,left solid cm³,corners");
    let (mut before, mut seconds) = (None, Vec::new());
    for (cell, wall) in asked {
        let piece = match before.take() {
            Some((of, piece)) if of == cell => piece,
            _ => whelk(cell),
        };
        let settings = json!({ "wall": wall, "openings": [{ "side": "bottom", "width": "24 mm" }] });
        let alone = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
        let (on_one, made) = alone.install(|| timed(processor_time, || stage("hollow", &settings, &piece)));
        let (on_all, _) = timed(wall_time, || stage("hollow", &settings, &piece));
        match made {
            Ok((hollow, outcome)) => {
                let corners = hollow.void().unwrap().moved.len();
                let [material, left] = ["material", "pockets left solid"].map(|name| number(&outcome, name));
                println!("{cell},{wall},{on_one:.3},{on_all:.3},{material:.3},{left:.3},{corners}");
            }
            Err(halt) => println!("{cell},{wall},{on_one:.3},{on_all:.3},{halt:?}"),
        }
        seconds.push(on_one);
        before = Some((cell, piece));
    }
    let mean = seconds.iter().sum::<f64>() / seconds.len() as f64;
    println!("mean {mean:.3} s on one thread, longest {:.3} s", seconds.iter().copied().fold(0.0, f64::max));
}

/// Every cell with every wall.
fn all() -> Vec<(f64, f64)> {
    let walls = || (4..=13).map(|half| f64::from(half) / 2.0);
    (6..=10).flat_map(|half| walls().map(move |wall| (f64::from(half) / 2.0, wall))).collect()
}

fn cell_and_wall(pair: &str) -> (f64, f64) {
    let (cell, wall) = pair.split_once(':').expect("cell:wall in mm, as in 3:2.5");
    (cell.parse().unwrap(), wall.parse().unwrap())
}

/// The demo's piece of cubes of that edge, in mm.
fn whelk(cell: f64) -> Workpiece {
    let jobs = Path::new(env!("CARGO_MANIFEST_DIR")).join("../jobs");
    let surface = stl::read(&std::fs::read(jobs.join("models/whelk.stl")).unwrap()).unwrap();
    let chain =
        [("scale", json!({ "height": "180 mm" })), ("voxelise", json!({ "cell": cell })), ("repair", json!({}))];
    let begun = Workpiece::default().with_surface(surface);
    chain.iter().fold(begun, |piece, (name, settings)| stage(name, settings, &piece).unwrap().0)
}

fn stage(name: &str, settings: &Value, piece: &Workpiece) -> Result<(Workpiece, Outcome), Halt> {
    let stages = shipped();
    let stage = stages.iter().find(|stage| stage.name() == name).unwrap().as_ref();
    let folder = tempfile::tempdir().unwrap();
    let trial = Trial { stage, settings: settings.clone(), files: BTreeMap::new(), piece: piece.clone() };
    trial.run(folder.path().to_path_buf())
}

/// Seconds by a clock, and what was made.
fn timed<T>(clock: fn() -> f64, work: impl FnOnce() -> T) -> (f64, T) {
    let start = clock();
    let made = work();
    (clock() - start, made)
}

fn wall_time() -> f64 {
    static START: LazyLock<Instant> = LazyLock::new(Instant::now);
    START.elapsed().as_secs_f64()
}

/// The processor's time that this thread took, where Linux tells it: other programs do not count.
fn processor_time() -> f64 {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    let nanoseconds = told.and_then(|line| line.split(' ').next()?.parse::<f64>().ok());
    nanoseconds.map_or_else(wall_time, |n| n / 1e9)
}

fn number(outcome: &Outcome, name: &str) -> f64 {
    match outcome.facts.iter().find(|fact| fact.name == name).unwrap().value {
        findings::Value::Number(value) => value,
        ref other => panic!("{name} is {other:?}"),
    }
}
