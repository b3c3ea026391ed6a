//! Any bytes as a PLY file, as they are and with a sound first line: read into a sound model, or refused with one line.

#![no_main]

mod models;

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    models::check(bytes, "piece.ply");
    models::check(&[b"ply\n", bytes].concat(), "piece.ply");
});
