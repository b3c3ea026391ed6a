//! A 3MF package around any model part.

use std::io::{Cursor, Write as _};

use zip::ZipWriter;
use zip::write::SimpleFileOptions;

/// Names the model part by core 2.1.1.
const RELATIONSHIPS: &[u8] = br#"<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">
<Relationship Id="r" Target="/m" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>"#;

/// A package with these bytes as its model part, as they are.
pub fn of(model: &[u8]) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let stored = SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    for (name, bytes) in [("_rels/.rels", RELATIONSHIPS), ("m", model)] {
        zip.start_file(name, stored).expect("a new name");
        zip.write_all(bytes).expect("memory takes all");
    }
    zip.finish().expect("memory takes all").into_inner()
}
