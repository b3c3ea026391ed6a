//! JPEG (ITU-T T.81), written with the `image` library. Colours are kept at full resolution (4:4:4), since the coloured
//! edges are what the pictures are about.

use image::codecs::jpeg::JpegEncoder;
use image::{ImageBuffer, Rgba};

/// A square opaque picture of `edge` × `edge` pixels as JPEG, at a quality from 1 to 100. Alpha is not looked at.
///
/// # Panics
/// If there are not `edge` rows of `edge` pixels, or none, or more than 65 535.
#[must_use]
pub fn encode(rgba: &[[u8; 4]], edge: u32, quality: u8) -> Vec<u8> {
    let view: ImageBuffer<Rgba<u8>, &[u8]> =
        ImageBuffer::from_raw(edge, edge, rgba.as_flattened()).expect("a square picture");
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, quality).encode_image(&view).expect("a buffer takes every byte");
    bytes
}
