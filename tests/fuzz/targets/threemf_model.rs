//! Any bytes as a 3MF model, and as the model part of a sound package, where no checksum keeps them from the XML reader:
//! read into a sound model, or refused with one line.

#![no_main]

mod models;

use std::io::{Cursor, Write as _};

use libfuzzer_sys::fuzz_target;
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

/// Names the model part by core 2.1.1.
const RELATIONSHIPS: &[u8] = br#"<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">
<Relationship Id="r" Target="/m" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>"#;

fuzz_target!(|bytes: &[u8]| {
    models::check(bytes, "piece.3mf");
    models::check(&package(bytes), "piece.3mf");
});

/// A package with these bytes as its model part, as they are.
fn package(model: &[u8]) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let stored = SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    for (name, bytes) in [("_rels/.rels", RELATIONSHIPS), ("m", model)] {
        zip.start_file(name, stored).expect("a new name");
        zip.write_all(bytes).expect("memory takes all");
    }
    zip.finish().expect("memory takes all").into_inner()
}
