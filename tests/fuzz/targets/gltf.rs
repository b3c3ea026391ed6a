//! Any bytes as a glTF file, as a GLB file, and as the document of a sound GLB file with a buffer: read into a sound
//! model, or refused with one line; no file is asked for but by a plain name.

#![no_main]

mod models;

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    models::check(bytes, "piece.glb");
    models::check(&[b"{", bytes].concat(), "piece.gltf");
    models::check(&binary(bytes), "piece.glb");
});

/// A GLB file with these bytes as its document, and 256 bytes of small numbers as its buffer (glTF 2.0.1, 4.4).
fn binary(document: &[u8]) -> Vec<u8> {
    let buffer: Vec<u8> = (0..64_u8).flat_map(|n| f32::from(n % 7).to_le_bytes()).collect();
    let length = 12 + 8 + document.len() + 8 + buffer.len();
    let mut file = b"glTF\x02\0\0\0".to_vec();
    file.extend((length as u32).to_le_bytes());
    for (kind, bytes) in [(b"JSON", document), (b"BIN\0", &buffer)] {
        file.extend((bytes.len() as u32).to_le_bytes());
        file.extend(kind);
        file.extend(bytes);
    }
    file
}
