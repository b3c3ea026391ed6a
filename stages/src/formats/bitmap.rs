//! Reads pictures that people give: PNG, JPEG and WebP, as the content says and not the file's ending.
//!
//! Guarantees:
//! - A picture is taken whole or refused: one that was cut off, that moves, or whose colours are those of a press (CMYK)
//!   is refused with what to do about it.
//! - Nothing is allocated for pixels before their number is known to be within the limit.
//! - Its EXIF orientation is applied, so that up is where the camera had it; and its colour profile, so that its colours
//!   are sRGB ([`Bitmap::profile`]).

mod profile;

use std::io::Cursor;

use image::codecs::{jpeg::JpegDecoder, png::PngDecoder, webp::WebPDecoder};
use image::{DynamicImage, ImageBuffer, ImageDecoder, ImageError, ImageFormat, Limits, Pixel};

pub use self::profile::Profile;
use crate::Srgb;
use crate::colorimetry::linear;

/// The most pixels of a picture that a job may name: more than most cameras take, within a workstation's memory.
pub const MOST_PIXELS: u64 = 64_000_000;
/// Bytes a pixel, at most; a picture of 16 bits a channel may have fewer pixels for it.
const PIXEL_BYTES: u64 = 4;
/// Bytes that the largest picture takes while it is read: its pixels, and twice that while it is decoded or turned upright.
pub const MOST_BYTES: f64 = (3 * PIXEL_BYTES * MOST_PIXELS) as f64;

/// Longest message of a decoder that is passed on, in characters.
const LONGEST_MESSAGE: usize = 120;

/// A picture: 8 or 16 bits a channel, grey or colour, with or without alpha.
#[derive(Clone, Debug)]
pub struct Bitmap {
    pixels: DynamicImage,
    /// The light of each code of a channel, from 0 to 1.
    light: Vec<f64>,
    profile: Profile,
}

/// Reads a picture of at most so many pixels.
///
/// # Errors
/// What is wrong with the file, as a fragment behind "the picture FILE", and what to do.
pub fn read(bytes: &[u8], most_pixels: u64) -> Result<Bitmap, [String; 2]> {
    let format = image::guess_format(bytes).ok();
    match format {
        Some(ImageFormat::Png) => {
            // The limits of the bytes beside the pixels: text and profiles.
            let decoder = PngDecoder::with_limits(Cursor::new(bytes), beside()).map_err(broken)?;
            let moves = decoder.is_apng().map_err(broken)?;
            decode(decoder, moves, most_pixels)
        }
        Some(ImageFormat::Jpeg) => {
            check_jpeg(bytes)?;
            decode(JpegDecoder::new(Cursor::new(bytes)).map_err(broken)?, false, most_pixels)
        }
        Some(ImageFormat::WebP) => {
            let decoder = WebPDecoder::new(Cursor::new(bytes)).map_err(broken)?;
            let moves = decoder.has_animation();
            decode(decoder, moves, most_pixels)
        }
        other => Err(not_a_picture(bytes, other)),
    }
}

fn beside() -> Limits {
    let mut limits = Limits::default();
    limits.max_alloc = Some(16 << 20);
    limits
}

fn decode(mut decoder: impl ImageDecoder, moves: bool, most_pixels: u64) -> Result<Bitmap, [String; 2]> {
    if moves {
        return refused("moves: it holds several pictures in turn", "give one still picture");
    }
    let (width, height) = decoder.dimensions();
    if width == 0 || height == 0 {
        return refused(&format!("has no area: it is {width} × {height} pixels"), "save it anew");
    }
    let pixels = u64::from(width) * u64::from(height);
    if pixels.max(decoder.total_bytes() / PIXEL_BYTES) > most_pixels {
        let remedy = "make it smaller: a few pixels for each cell are enough";
        let message = format!(
            "has {width} × {height} pixels; {most_pixels} in all are the most that are read, and half of that in 16 bits"
        );
        return refused(&message, remedy);
    }
    let mut limits = Limits::default();
    // What the decoder's own buffers take beside the pixels is a small multiple of a row; JPEG and WebP hold the planes.
    limits.max_alloc = Some(pixels.saturating_mul(24).saturating_add(16 << 20));
    decoder.set_limits(limits).map_err(broken)?;
    let orientation = decoder.orientation().map_err(broken)?;
    let profile = decoder.icc_profile().map_err(broken)?;
    let mut pixels = DynamicImage::from_decoder(decoder).map_err(broken)?;
    pixels.apply_orientation(orientation);
    let profile = profile.map_or(Profile::None, |profile| profile::apply(&mut pixels, &profile));
    let light = match &pixels {
        DynamicImage::ImageLuma8(_)
        | DynamicImage::ImageLumaA8(_)
        | DynamicImage::ImageRgb8(_)
        | DynamicImage::ImageRgba8(_) => light_of_8_bits(),
        DynamicImage::ImageLuma16(_)
        | DynamicImage::ImageLumaA16(_)
        | DynamicImage::ImageRgb16(_)
        | DynamicImage::ImageRgba16(_) => light_of_16_bits(),
        _ => return refused("has pixels in floating point", "save it with 8 or 16 bits a channel"),
    };
    Ok(Bitmap { pixels, light, profile })
}

impl Bitmap {
    /// Pixels across and down, upright.
    #[must_use]
    pub fn size(&self) -> [usize; 2] {
        [self.pixels.width() as usize, self.pixels.height() as usize]
    }

    /// What became of the colour profile within the file.
    #[must_use]
    pub fn profile(&self) -> Profile {
        self.profile
    }

    /// The linear light of a row of pixels, counted from the top, laid over a ground: alpha mixes light.
    ///
    /// # Panics
    /// If there is no such row.
    pub fn row(&self, y: usize, ground: [f64; 3], row: &mut Vec<[f64; 3]>) {
        row.clear();
        let light = &self.light;
        match &self.pixels {
            DynamicImage::ImageLuma8(pixels) => lay_row(pixels, y, light, ground, row),
            DynamicImage::ImageLumaA8(pixels) => lay_row(pixels, y, light, ground, row),
            DynamicImage::ImageRgb8(pixels) => lay_row(pixels, y, light, ground, row),
            DynamicImage::ImageRgba8(pixels) => lay_row(pixels, y, light, ground, row),
            DynamicImage::ImageLuma16(pixels) => lay_row(pixels, y, light, ground, row),
            DynamicImage::ImageLumaA16(pixels) => lay_row(pixels, y, light, ground, row),
            DynamicImage::ImageRgb16(pixels) => lay_row(pixels, y, light, ground, row),
            DynamicImage::ImageRgba16(pixels) => lay_row(pixels, y, light, ground, row),
            _ => unreachable!("`read` refuses all others"),
        }
    }
}

fn lay_row<P>(
    pixels: &ImageBuffer<P, Vec<P::Subpixel>>,
    y: usize,
    light: &[f64],
    ground: [f64; 3],
    row: &mut Vec<[f64; 3]>,
) where
    P: Pixel,
    P::Subpixel: Into<usize>,
{
    let channels = usize::from(P::CHANNEL_COUNT);
    let width = pixels.width() as usize * channels;
    let opaque = light.len() - 1;
    row.extend(pixels.as_raw()[y * width..(y + 1) * width].chunks_exact(channels).map(|pixel| {
        let [r, g, b, alpha] = P::from_slice(pixel).to_rgba().0.map(Into::<usize>::into);
        let over = [light[r], light[g], light[b]];
        if alpha == opaque {
            return over;
        }
        let share = alpha as f64 / opaque as f64;
        std::array::from_fn(|c| ground[c] + share * (over[c] - ground[c]))
    }));
}

fn light_of_8_bits() -> Vec<f64> {
    (0..=u8::MAX).map(|code| linear(Srgb([code; 3]))[0]).collect()
}

/// IEC 61966-2-1, as `linear` has it for eight bits.
fn light_of_16_bits() -> Vec<f64> {
    let light = |code: f64| if code <= 0.04045 { code / 12.92 } else { libm::pow((code + 0.055) / 1.055, 2.4) };
    (0..=u16::MAX).map(|code| light(f64::from(code) / f64::from(u16::MAX))).collect()
}

/// Walks through the segments of a JPEG file (ITU-T T.81, annex B) up to its end: the decoder fills what is missing with
/// grey, and turns the inks of a press into light as if it knew the press.
fn check_jpeg(bytes: &[u8]) -> Result<(), [String; 2]> {
    let mut at = 2;
    while let Some(found) = bytes.get(at..).and_then(|rest| rest.iter().position(|&byte| byte == 0xff)) {
        at += found + 1;
        let Some(&marker) = bytes.get(at) else { break };
        match marker {
            // Fill bytes stay for the next turn; stuffed and restart markers stand within the scan and have no length.
            0xff => continue,
            0x00 | 0x01 | 0xd0..=0xd8 => at += 1,
            0xd9 => return Ok(()),
            _ => {
                let Some(&[high, low]) = bytes.get(at + 1..at + 3) else { break };
                let frame = matches!(marker, 0xc0..=0xcf) && !matches!(marker, 0xc4 | 0xc8 | 0xcc);
                if frame && bytes.get(at + 8) == Some(&4) {
                    let remedy = "save it as RGB, in sRGB: what a press's inks look like hangs on the press";
                    return refused("is in CMYK", remedy);
                }
                at += 1 + usize::from(u16::from_be_bytes([high, low])).max(2);
            }
        }
    }
    refused("ends before its end: a part of it is missing", "copy it anew, or save it anew from the original")
}

fn refused<T>(what: &str, remedy: &str) -> Result<T, [String; 2]> {
    Err([what.to_owned(), remedy.to_owned()])
}

#[expect(clippy::needless_pass_by_value, reason = "what `map_err` hands on")]
fn broken(error: ImageError) -> [String; 2] {
    let said = error.to_string().replace(char::is_control, " ");
    let message: String = said.chars().take(LONGEST_MESSAGE).collect();
    match error {
        ImageError::Limits(_) => {
            [format!("takes more memory than its pixels need: {message}"), "save it anew as PNG".to_owned()]
        }
        ImageError::Unsupported(_) => {
            [format!("is of a kind that is not read: {message}"), "save it as a plain PNG or JPEG in sRGB".to_owned()]
        }
        _ => [format!("is broken: {message}"), "copy it anew, or save it anew from the original".to_owned()],
    }
}

fn not_a_picture(bytes: &[u8], format: Option<ImageFormat>) -> [String; 2] {
    let what = match format {
        _ if bytes.is_empty() => "is empty".to_owned(),
        Some(format) => format!("holds a picture in the format {format:?}, not PNG, JPEG or WebP"),
        None => "is not a picture in PNG, JPEG or WebP".to_owned(),
    };
    [what, "save it as PNG, JPEG or WebP; a new ending alone does not change what is in a file".to_owned()]
}

#[cfg(test)]
mod tests;
