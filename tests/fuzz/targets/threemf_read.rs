//! Any bytes as a 3MF file, and as the model part of a sound one, where no checksum keeps them from the XML reader:
//! refused with one message, or read into a mesh that keeps what `Model` promises and stays within the limits.

#![no_main]

use std::io::{Cursor, Write as _};

use libfuzzer_sys::fuzz_target;
use turnhue_stages::formats::threemf::read::{Limits, read};
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

/// Tight, so that a file that swells meets them.
const LIMITS: Limits = Limits { part_bytes: 1 << 18, triangles: 1000 };

/// Names the model part by core 2.1.1.
const RELATIONSHIPS: &[u8] = br#"<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">
<Relationship Id="r" Target="/m" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>"#;

fuzz_target!(|bytes: &[u8]| {
    check(bytes);
    check(&package(bytes));
});

fn check(file: &[u8]) {
    match read(Cursor::new(file), LIMITS) {
        Ok(model) => {
            assert!(model.triangles.len() as u64 <= LIMITS.triangles);
            assert!(model.points.len() as u64 <= 3 * LIMITS.triangles);
            assert_eq!(model.colours.len(), model.triangles.len(), "a colour, or none, for each triangle");
            assert!(model.points.iter().all(|point| point.is_finite()));
            assert!(model.triangles.iter().flatten().all(|&corner| (corner as usize) < model.points.len()));
        }
        Err(message) => assert!(!message.is_empty() && message.len() < 900 && !message.contains('\n'), "{message}"),
    }
}

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
