//! Any bytes as an OBJ file: read into a sound model, or refused with one line.

#![no_main]

mod models;

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| models::check(&[b"v 0 0 0\n", bytes].concat(), "piece.obj"));
