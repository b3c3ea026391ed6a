//! Animated PNG (W3C, Portable Network Graphics, third edition: acTL, fcTL and fdAT), in 256 colours, looped.
//!
//! Frames are compressed side by side, each as a PNG of its own by the `png` library, and their data then strung together;
//! the library's own animation writer compresses one after the other.

mod palette;

use std::io;

use png::chunk::{ChunkType, IDAT, fdAT};
use rayon::prelude::*;

use crate::Srgb;
use palette::Palette;

/// Frames drawn before the first of them is written.
const AHEAD: usize = 12;

/// Of how many frames one is looked at to choose the colours.
const LOOKED_AT: usize = 6;

/// Of how many pixels along each axis one is looked at to choose the colours.
const THINNED: usize = 2;

/// Writes a film of square pictures of `edge` × `edge` pixels that plays for ever, `steps` of them in `seconds`. `draw`
/// gives the picture of a step on an easel; it is asked for some twice, and on any thread. `ground` always keeps its
/// colour. The same pictures give the same bytes on any number of threads.
///
/// # Errors
/// If the writer fails, as it does for a film without frames or pictures without pixels.
pub fn write<E>(
    edge: u32,
    steps: usize,
    seconds: u16,
    ground: Srgb,
    easel: impl Fn() -> E + Sync + Send,
    draw: impl Fn(&mut E, usize) -> &[[u8; 4]] + Sync + Send,
) -> io::Result<Vec<u8>> {
    if steps == 0 {
        return Err(super::invalid("a film has at least one picture".to_owned()));
    }
    let sampled: Vec<usize> = (0..steps).step_by(LOOKED_AT).collect();
    let seen: Vec<Vec<u32>> = sampled
        .par_iter()
        .map_init(&easel, |easel, &step| palette::seen(draw(easel, step), edge as usize, THINNED))
        .collect();
    let palette = Palette::of(seen.concat(), ground);

    let mut bytes = Vec::new();
    let mut encoder = encoder(&mut bytes, edge);
    encoder.set_source_srgb(png::SrgbRenderingIntent::RelativeColorimetric);
    encoder.set_palette(palette.bytes());
    let mut writer = encoder.write_header()?;
    let count = u32::try_from(steps).map_err(io::Error::other)?;
    writer.write_chunk(AC_TL, &[count, 0].map(u32::to_be_bytes).concat())?;
    let mut sequence = 0u32;
    let mut number = || {
        sequence += 1;
        (sequence - 1).to_be_bytes()
    };
    let all: Vec<usize> = (0..steps).collect();
    for some in all.chunks(AHEAD) {
        let frames: Vec<io::Result<Vec<u8>>> = some
            .par_iter()
            .map_init(
                || (easel(), palette.index()),
                |(easel, index), &step| {
                    let pixels: Vec<u8> = draw(easel, step).iter().map(|&pixel| index.nearest(pixel)).collect();
                    compress(&pixels, edge)
                },
            )
            .collect();
        for (&step, frame) in some.iter().zip(frames) {
            let frame = frame?;
            writer.write_chunk(FC_TL, &control(number(), edge, seconds, count))?;
            if step == 0 {
                writer.write_chunk(IDAT, &frame)?;
            } else {
                writer.write_chunk(fdAT, &[number().as_slice(), &frame].concat())?;
            }
        }
    }
    writer.finish()?;
    Ok(bytes)
}

const AC_TL: ChunkType = ChunkType(*b"acTL");
const FC_TL: ChunkType = ChunkType(*b"fcTL");

/// A frame's control: its number, size, place, how long it stays, and that it replaces what was there.
fn control(number: [u8; 4], edge: u32, seconds: u16, frames: u32) -> Vec<u8> {
    let [size, zero] = [edge, 0].map(u32::to_be_bytes);
    let frames = u16::try_from(frames).unwrap_or(u16::MAX);
    let [over, under] = [seconds, frames].map(u16::to_be_bytes);
    [number.as_slice(), &size, &size, &zero, &zero, &over, &under, &[0, 0]].concat()
}

fn encoder(to: &mut Vec<u8>, edge: u32) -> png::Encoder<'static, &mut Vec<u8>> {
    let mut encoder = png::Encoder::new(to, edge, edge);
    encoder.set_color(png::ColorType::Indexed);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Balanced);
    encoder.set_filter(png::Filter::NoFilter);
    encoder
}

/// The compressed data of a frame.
fn compress(pixels: &[u8], edge: u32) -> io::Result<Vec<u8>> {
    let mut file = Vec::new();
    let mut encoder = encoder(&mut file, edge);
    // Needed for the file to be whole; nothing reads it.
    encoder.set_palette(vec![0; 3 * 256]);
    encoder.write_header()?.write_image_data(pixels)?;
    let mut data = Vec::new();
    // Behind the signature: chunks of length, name, data and check sum.
    let mut rest = &file[8..];
    while let Some((head, behind)) = rest.split_at_checked(8) {
        let length = u32::from_be_bytes([head[0], head[1], head[2], head[3]]) as usize;
        let Some((body, next)) = behind.split_at_checked(length) else { break };
        if head[4..] == IDAT.0 {
            data.extend_from_slice(body);
        }
        rest = next.get(4..).unwrap_or_default();
    }
    Ok(data)
}

#[cfg(test)]
mod tests;
