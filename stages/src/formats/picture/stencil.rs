//! A picture whose colours are left open: which pixel shows which mix of inks. For few inks, as a palette of 256 mixes and
//! the compressed places of the pixels in it, to which any colours can be put in no time.

use std::cmp::Reverse;
use std::io::{self, Write};

use flate2::Compression;
use flate2::write::ZlibEncoder;

use super::Sketch;
use super::mix::Mix;
use crate::Srgb;

/// Colours in a palette of PNG, at most (ISO/IEC 15948, 11.2.2).
const MOST: usize = 256;

/// Plain mixes that come before any edge: more than a palette has in three shades. Walls of a cavity, seen through an
/// opening, can have any number of shades.
const PLAIN: usize = 128;

/// Of 9: what the compressor takes where nobody says otherwise. It is done once for all palettes.
const LEVEL: u32 = 6;

/// A picture with at most [`MOST`] mixes of inks, ready for colours.
#[derive(Debug)]
pub(super) struct Stencil {
    edge: u32,
    /// Those that let the ground through come first.
    mixes: Vec<Mix>,
    /// Places in `mixes`, row by row as PNG has them, compressed.
    places: Vec<u8>,
}

impl Stencil {
    /// Keeps the mixes that most pixels show, plain ones before edges up to [`PLAIN`]. A pixel with another takes the one that
    /// is least unlike: a shade of an edge, hardly ever more.
    pub(super) fn of(sketch: &Sketch) -> Self {
        let mut counts = vec![0u32; sketch.mixes.len()];
        sketch.pixels.iter().for_each(|&at| counts[at as usize] += 1);
        let by_count = |mut places: Vec<usize>| {
            places.sort_by_key(|&at| Reverse(counts[at]));
            places
        };
        let is_plain = |at: &usize| sketch.mixes[*at].is_plain();
        let (plain, edges): (Vec<usize>, Vec<usize>) = (0..counts.len()).partition(is_plain);
        let mut order = by_count(plain);
        let beyond = order.split_off(order.len().min(PLAIN));
        order.extend(by_count([beyond, edges].concat()));
        let (kept, left) = order.split_at(order.len().min(MOST));
        let mut kept = kept.to_vec();
        kept.sort_by_key(|&at| sketch.mixes[at].is_opaque());

        let mut place = vec![0u8; counts.len()];
        kept.iter().enumerate().for_each(|(to, &at)| place[at] = to as u8);
        let mixes: Vec<Mix> = kept.iter().map(|&at| sketch.mixes[at].clone()).collect();
        for &at in left {
            let unlike = |&to: &usize| sketch.mixes[at].unlike(&mixes[to]);
            place[at] = (0..mixes.len()).min_by_key(unlike).unwrap_or_default() as u8;
        }
        let places = compressed(sketch.edge as usize, sketch.pixels.iter().map(|&at| place[at as usize]));
        Self { edge: sketch.edge, mixes, places }
    }

    /// Writes the picture in these colours as PNG with a palette.
    pub(super) fn write_png(&self, colours: &[Srgb], to: &mut dyn Write) -> io::Result<()> {
        let rgba: Vec<[u8; 4]> = self.mixes.iter().map(|mix| mix.rgba(colours)).collect();
        let through = self.mixes.iter().take_while(|mix| !mix.is_opaque()).count();
        let mut encoder = png::Encoder::new(to, self.edge, self.edge);
        encoder.set_color(png::ColorType::Indexed);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.set_source_srgb(png::SrgbRenderingIntent::RelativeColorimetric);
        encoder.set_palette(rgba.iter().flat_map(|&[r, g, b, _]| [r, g, b]).collect::<Vec<u8>>());
        if through > 0 {
            encoder.set_trns(rgba[..through].iter().map(|&[.., alpha]| alpha).collect::<Vec<u8>>());
        }
        let mut writer = encoder.write_header()?;
        writer.write_chunk(png::chunk::IDAT, &self.places)?;
        Ok(writer.finish()?)
    }

    pub(super) fn bytes(&self) -> usize {
        size_of::<Self>() + self.places.capacity() + self.mixes.iter().map(Mix::bytes).sum::<usize>()
    }
}

/// Rows of bytes without a filter, as PNG compresses them (ISO/IEC 15948, 9 and 10).
fn compressed(edge: usize, places: impl Iterator<Item = u8>) -> Vec<u8> {
    let mut rows = Vec::with_capacity(edge * (edge + 1));
    for (at, place) in places.enumerate() {
        if at % edge == 0 {
            rows.push(0);
        }
        rows.push(place);
    }
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::new(LEVEL));
    let written = encoder.write_all(&rows).and_then(|()| encoder.finish());
    written.expect("a vector takes all")
}
