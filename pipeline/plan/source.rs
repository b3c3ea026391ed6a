//! The model's health, in a line or two.

use std::convert::Infallible;

use turnhue_stages::process::Process;
use turnhue_stages::size::Doubt;
use turnhue_stages::solid::Surface;
use turnhue_stages::solid::health::Health;
use turnhue_stages::solid::self_crossings::{Effort, self_crossings};

use crate::job::ModelUnit;

/// How the model is as read, before any stage.
pub(super) fn in_words(surface: &Surface, units: ModelUnit, process: &Process) -> Vec<String> {
    let mut lines = vec![sound_or_not(surface)];
    let size = surface.bounds().map(|[low, high]| high - low).unwrap_or_default();
    if let Some(doubt) = Doubt::of(size, process, Some(units.name())) {
        lines.push(format!("before any stage sets its size, {}", doubt.in_words()));
    }
    lines
}

fn sound_or_not(surface: &Surface) -> String {
    let health = Health::of(surface);
    let bodies = match (health.bodies, health.closed_bodies) {
        (1, 1) => "1 body, closed".to_owned(),
        (1, _) => "1 body, open".to_owned(),
        (bodies, closed) if bodies == closed => format!("{bodies} bodies, all closed"),
        (bodies, closed) => format!("{bodies} bodies, {closed} of them closed"),
    };
    let holes = match health.boundary.loops.len() {
        0 => String::new(),
        1 => format!("; 1 hole with an edge of {:.1} mm", health.boundary.length()),
        holes => format!("; {holes} holes with edges of {:.1} mm in all", health.boundary.length()),
    };
    let flipped = match health.flipped_triangles {
        0 => String::new(),
        flipped => format!("; {flipped} flipped triangles"),
    };
    format!("{bodies}{holes}{flipped}; {}", crossings(surface))
}

fn crossings(surface: &Surface) -> String {
    let effort = Effort::usual(surface.triangles().len());
    let Ok(found) = self_crossings(surface, effort, || Ok::<(), Infallible>(()));
    let pairs = found.crossing + found.overlapping;
    match (pairs, found.complete) {
        (0, true) => "passes through itself nowhere".to_owned(),
        (1, true) => "1 pair of triangles passes through each other".to_owned(),
        (pairs, complete) => {
            format!("{}{pairs} pairs of triangles pass through each other", if complete { "" } else { "at least " })
        }
    }
}
