//! What is measured: the demo, and forms that are easily made larger.

use std::f64::consts::{PI, TAU};
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use glam::DVec3;
use serde_json::{Value, json};
use tempfile::TempDir;
use turnhue::plan::{Plan, plan};
use turnhue_stages::conformance::Trial;
use turnhue_stages::formats::stl;
use turnhue_stages::shipped;
use turnhue_stages::solid::Surface;
use turnhue_stages::stage::AnyStage;
use turnhue_stages::workpiece::Workpiece;

static STAGES: LazyLock<Vec<Box<dyn AnyStage>>> = LazyLock::new(shipped);

/// A folder that goes away when it is dropped.
pub(crate) fn folder() -> TempDir {
    tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap()
}

/// A run of one stage.
pub(crate) fn trial(stage: &str, settings: Value, piece: Workpiece) -> Trial<'static> {
    let stage = STAGES.iter().find(|s| s.name() == stage).unwrap().as_ref();
    let files = stage.read(settings.clone()).unwrap().files();
    let files = files.into_iter().map(|name| (name.clone(), std::fs::read(jobs().join(name)).unwrap().into()));
    Trial { stage, settings, files: files.collect(), piece }
}

/// A piece that has gone through some stages, and the folder with what they wrote.
pub(crate) struct Begun {
    pub(crate) piece: Workpiece,
    _files: TempDir,
}

impl Begun {
    /// Takes a surface through a chain of stages and their settings.
    pub(crate) fn with<'a>(surface: Surface, chain: impl IntoIterator<Item = (&'a str, Value)>) -> Self {
        let files = folder();
        let piece = Workpiece::default().with_surface(surface);
        let piece = chain.into_iter().fold(piece, |piece, (stage, settings)| {
            trial(stage, settings, piece).run(files.path().to_owned()).unwrap().0
        });
        Self { piece, _files: files }
    }

    /// The demo's piece before a stage, and the stage's settings.
    pub(crate) fn demo(stage: &str) -> (Self, Value) {
        let chain = demo_chain();
        let at = chain.iter().position(|(name, _)| name == stage).unwrap();
        let before = chain[..at].iter().map(|(name, settings)| (name.as_str(), settings.clone()));
        (Self::with(stl::read(&demo_model()).unwrap(), before), chain[at].1.clone())
    }
}

fn jobs() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("jobs")
}

/// The demo's job, planned.
pub(crate) fn demo_plan() -> Plan {
    plan(&jobs().join("harbour-whelk.yaml"), &STAGES).unwrap_or_else(|faults| panic!("{faults:#?}"))
}

/// The bytes of the demo's model.
pub(crate) fn demo_model() -> Vec<u8> {
    std::fs::read(jobs().join("models/whelk.stl")).unwrap()
}

/// The demo's stages with their settings.
fn demo_chain() -> Vec<(String, Value)> {
    let resolved = demo_plan().resolved();
    let stages = resolved["stages"].as_array().unwrap();
    stages.iter().flat_map(|stage| stage.as_object().unwrap().clone()).collect()
}

/// Settings of `hollow` for a ball.
pub(crate) fn hollow() -> Value {
    json!({ "wall": "2.5 mm", "openings": [{ "side": "bottom", "width": "24 mm" }] })
}

/// Where the ball stands, in mm below its middle.
const GROUND: f64 = -80.0;

/// A ball of 180 mm, flat below so that it stands, in `2 · around · (rings − 1)` triangles.
pub(crate) fn ball(around: u32, rings: u32) -> Surface {
    let ring = |k: u32| {
        let (sin, cos) = libm::sincos(PI * f64::from(k) / f64::from(rings));
        (0..around).map(move |i| {
            let (y, x) = libm::sincos(TAU * f64::from(i) / f64::from(around));
            DVec3::new(90.0 * sin * x, 90.0 * sin * y, (-90.0 * cos).max(GROUND))
        })
    };
    let points = [DVec3::new(0.0, 0.0, GROUND), DVec3::new(0.0, 0.0, 90.0)];
    let points = points.into_iter().chain((1..rings).flat_map(ring)).collect();
    let at = |k: u32, i: u32| match k {
        0 => 0,
        k if k == rings => 1,
        k => 2 + (k - 1) * around + i % around,
    };
    let quads = (0..rings).flat_map(|k| (0..around).map(move |i| (k, i)));
    let triangles = quads.flat_map(|(k, i)| {
        let [a, b, c, d] = [at(k, i), at(k, i + 1), at(k + 1, i + 1), at(k + 1, i)];
        [[a, b, c], [a, c, d]].into_iter().filter(|[a, b, c]| a != b && b != c && c != a)
    });
    Surface::new(points, triangles.collect()).unwrap()
}

/// A surface without every so many-th of its triangles: each leaves a hole with a rim of its own.
pub(crate) fn torn(surface: &Surface, every: usize) -> Surface {
    let (_, triangles) =
        surface.triangles().iter().enumerate().filter(|(i, _)| i % every > 0).unzip::<_, _, Vec<_>, _>();
    Surface::new(surface.points().to_vec(), triangles).unwrap()
}
