//! Times this project's side of `tests/bench/peers/run`: reading a model and telling its cells, and distances in a ball.
//!
//!     ours cells MODEL.stl ACROSS     one line of JSON: seconds to read, seconds to voxelise, cells along each axis, cells
//!     ours distances N                one line of JSON: seconds, and the sum of squared distances, in a ball on N³ cells
//!     ours squared CELLS X Y Z OUT    from a file of a byte a cell (x fastest), 1 for those to measure to, a file of squared
//!                                     distances between centres in cells, four bytes each, low byte first
//!     ours colours IN OUT             from a file of nine numbers a line of work (eight-bit sRGB, then two colours in CIELAB) the
//!                                     sRGB colour in CIELAB, its linear light as seen by protan, deutan and tritan eyes, and the
//!                                     ΔE00 of the two: thirteen numbers, all of eight bytes, low byte first
//!     ours proofs PROFILE IN OUT      from a file of three bytes a colour the colours that a printer's ICC profile gives for them
#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::disallowed_methods)]

use std::time::Instant;

use glam::{DVec3, IVec3};
use serde_json::{Value, json};
use turnhue_stages::Srgb;
use turnhue_stages::colorimetry::deficiency::Deficiency;
use turnhue_stages::colorimetry::profile::Profile;
use turnhue_stages::colorimetry::{Lab, difference, lab, linear};
use turnhue_stages::formats::stl;
use turnhue_stages::solid::distance::Distances;
use turnhue_stages::solid::{Cells, Grid, inside};

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let said = match words[..] {
        ["cells", model, across] => cells(model, across.parse().unwrap()),
        ["distances", n] => distances(n.parse().unwrap()),
        ["squared", cells, x, y, z, out] => squared(cells, IVec3::from([x, y, z].map(|n| n.parse().unwrap())), out),
        ["colours", read, out] => colours(read, out),
        ["proofs", profile, read, out] => proofs(profile, read, out),
        _ => panic!("the words are those at the top of this file"),
    };
    println!("{said}");
}

fn cells(model: &str, across: i32) -> Value {
    let start = Instant::now();
    let surface = stl::read(&std::fs::read(model).unwrap()).unwrap();
    let read = start.elapsed();
    let [low, high] = surface.bounds().unwrap();
    let cell = (high - low).max_element() / f64::from(across);
    let counts = ((high - low) / cell - 1e-9).ceil().as_ivec3();
    let (cells, told) = inside::solid_cells(&surface, Grid { origin: low, cell, counts });
    let seconds = (start.elapsed() - read).as_secs_f64();
    let counts = counts.to_array();
    json!({
        "read": read.as_secs_f64(), "voxelise": seconds, "origin": low.to_array(), "cell": cell, "counts": counts,
        "triangles": surface.triangles().len(), "rim_edges": told.rim_edges, "summed": told.summed,
        "cells": cells.count(),
        "lines": cells.iter().map(|c| (c.z * counts[1] + c.y) * counts[0] + c.x).fold(0u64, |sum, at| {
            // A digest that a few lines of numpy can repeat.
            sum.wrapping_add((at as u64 + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15))
        }).to_string(),
    })
}

/// Distances from the cells of a ball that fills most of the grid to the air around it, between centres.
fn distances(n: i32) -> Value {
    let grid = Grid { origin: DVec3::ZERO, cell: 1.0, counts: IVec3::splat(n) };
    let radius = f64::from(n) * 0.45;
    let air =
        Cells::from_fn(grid, |cell| (cell.as_dvec3() + 0.5 - f64::from(n) / 2.0).length_squared() > radius * radius);
    let start = Instant::now();
    let distances = Distances::to_centres(&air);
    let seconds = start.elapsed().as_secs_f64();
    let sum: u64 = (0..n)
        .flat_map(|k| (0..n).flat_map(move |j| (0..n).map(move |i| IVec3::new(i, j, k))))
        .map(|cell| u64::from(distances.squared_halves(cell) / 4))
        .sum();
    json!({ "seconds": seconds, "sum": sum })
}

/// Squared distances of every cell to the nearest of those marked in a file.
fn squared(cells: &str, counts: IVec3, out: &str) -> Value {
    let bytes = std::fs::read(cells).unwrap();
    let at = |c: IVec3| ((c.z * counts.y + c.y) * counts.x + c.x) as usize;
    let marked = Cells::from_fn(Grid { origin: DVec3::ZERO, cell: 1.0, counts }, |cell| bytes[at(cell)] == 1);
    let distances = Distances::to_centres(&marked);
    let every =
        (0..bytes.len() as i32).map(|n| IVec3::new(n % counts.x, n / counts.x % counts.y, n / counts.x / counts.y));
    let squares: Vec<u8> = every.flat_map(|cell| (distances.squared_halves(cell) / 4).to_le_bytes()).collect();
    std::fs::write(out, squares).unwrap();
    json!({ "cells": bytes.len() })
}

/// Colours in CIELAB, as seen with a deficiency, and differences.
fn colours(read: &str, out: &str) -> Value {
    let numbers: Vec<f64> = std::fs::read(read)
        .unwrap()
        .chunks_exact(8)
        .map(|bytes| f64::from_le_bytes(bytes.try_into().unwrap()))
        .collect();
    let mut found = Vec::new();
    for of in numbers.chunks_exact(9) {
        let colour = Srgb([of[0] as u8, of[1] as u8, of[2] as u8]);
        let Lab { l, a, b, .. } = lab(colour);
        found.extend([l, a, b]);
        found.extend(Deficiency::ALL.iter().flat_map(|deficiency| deficiency.light(linear(colour))));
        found.push(difference(Lab::new(of[3], of[4], of[5]), Lab::new(of[6], of[7], of[8])));
    }
    std::fs::write(out, found.iter().flat_map(|number| number.to_le_bytes()).collect::<Vec<u8>>()).unwrap();
    json!({ "colours": found.len() / 13 })
}

/// Colours as a printer's profile gives them.
fn proofs(profile: &str, read: &str, out: &str) -> Value {
    let profile = Profile::read(&std::fs::read(profile).unwrap()).unwrap();
    let colours = std::fs::read(read).unwrap();
    let proofs: Vec<u8> =
        colours.chunks_exact(3).flat_map(|colour| profile.proofed(Srgb(colour.try_into().unwrap())).0).collect();
    std::fs::write(out, &proofs).unwrap();
    json!({ "colours": proofs.len() / 3 })
}
