//! Any bytes as a 3MF model, and as the model part of a sound package, where no checksum keeps them from the XML reader:
//! read into a sound model, or refused with one line.

#![no_main]

mod models;
mod package;

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    models::check(bytes, "piece.3mf");
    models::check(&package::of(bytes), "piece.3mf");
});
