//! Draws the pictures of `jobs/two-faces.yaml`, day and night, and the stone that carries them. `cargo run --example
//! draw-faces [FOLDER]`
//!
//! All three are invented. The pictures have a few bold forms: a cell of the piece is eight pixels.

use std::error::Error;
use std::f64::consts::TAU;
use std::fmt::Write as _;
use std::fs;
use std::path::PathBuf;

/// Pixels across and down.
const SIZE: [u32; 2] = [240, 320];
/// Samples along the edge of a pixel.
const SAMPLES: u32 = 4;

type Colour = [u8; 3];
type Draw = fn(f64, f64) -> Colour;

fn main() -> Result<(), Box<dyn Error>> {
    let folder = PathBuf::from(std::env::args().nth(1).unwrap_or_else(|| "jobs/pictures".to_owned()));
    for (name, draw) in PICTURES {
        fs::write(folder.join(name), png(&pixels(draw))?)?;
    }
    fs::write(folder.join(STONE), stone())?;
    Ok(())
}

const PICTURES: [(&str, Draw); 2] = [("day.png", day), ("night.png", night)];
const STONE: &str = "stone.obj";

/// The colour at a place of the day: x from 0 to 3, y down from 0 to 4.
fn day(x: f64, y: f64) -> Colour {
    const SKY: [Colour; 2] = [[0x8f, 0xc9, 0xe8], [0xf2, 0xe8, 0xc4]];
    const SUN: Colour = [0xf4, 0xa6, 0x24];
    const FAR: Colour = [0x8a, 0xb0, 0x7d];
    const NEAR: Colour = [0x3f, 0x7d, 0x4e];
    const PATH: Colour = [0xe8, 0xd8, 0xb0];
    let near = 3.0 - 0.35 * libm::sin(1.5 * x + 2.6);
    let far = 2.5 - 0.4 * libm::sin(1.9 * x - 0.4);
    if y > near {
        let middle = 1.5 + 0.35 * libm::sin(3.0 * y);
        return if (x - middle).abs() < 0.12 + 0.28 * (y - near) { PATH } else { NEAR };
    }
    if y > far {
        return FAR;
    }
    let (dx, dy) = (x - 2.0, y - 1.15);
    let (from, turn) = (libm::hypot(dx, dy), libm::atan2(dy, dx) / TAU);
    let ray = (turn * 12.0 + 0.25).rem_euclid(1.0) < 0.5;
    if from < 0.5 || (ray && (0.62..0.95).contains(&from)) { SUN } else { between(SKY, y / 2.8) }
}

/// The colour at a place of the night.
fn night(x: f64, y: f64) -> Colour {
    const SKY: [Colour; 2] = [[0x14, 0x1c, 0x46], [0x4a, 0x44, 0x86]];
    const MOON: Colour = [0xf6, 0xee, 0xc2];
    const SEA: [Colour; 2] = [[0x1e, 0x5a, 0x7c], [0x12, 0x3a, 0x5a]];
    const SAIL: Colour = [0xd9, 0x5d, 0x4b];
    const HULL: Colour = [0x2a, 0x18, 0x14];
    const STARS: [[f64; 2]; 5] = [[2.2, 0.45], [2.6, 1.35], [1.75, 1.2], [0.35, 1.9], [2.35, 2.1]];
    let waves = 3.05 + 0.1 * libm::sin(TAU * x / 0.75);
    if y > waves {
        let band = ((y - 3.05 - 0.1 * libm::sin(TAU * x / 0.75)) / 0.3) as u32 % 2;
        return SEA[band as usize];
    }
    // A boat: a hull between two heights, and a sail that is a triangle.
    if (2.75..3.1).contains(&y) && (x - 1.5).abs() < 0.95 - (y - 2.75) {
        return HULL;
    }
    if (1.4..2.65).contains(&y) && x > 1.45 && x < 1.45 + 0.65 * (y - 1.4) {
        return SAIL;
    }
    let moon = libm::hypot(x - 0.95, y - 0.9) < 0.55 && libm::hypot(x - 1.2, y - 0.75) > 0.45;
    let star = STARS.iter().any(|[a, b]| (x - a).abs() + (y - b).abs() < 0.14);
    if moon || star { MOON } else { between(SKY, y / 3.0) }
}

fn between([from, to]: [Colour; 2], share: f64) -> Colour {
    let mix = |c: usize| f64::from(from[c]) + share.clamp(0.0, 1.0) * (f64::from(to[c]) - f64::from(from[c]));
    [0, 1, 2].map(|c| mix(c).round() as u8)
}

/// Red, green and blue of every pixel, row by row.
fn pixels(draw: Draw) -> Vec<u8> {
    let [width, height] = SIZE;
    let mean = |x: u32, y: u32| {
        let mut sum = [0u32; 3];
        for sample in 0..SAMPLES * SAMPLES {
            let at = |pixel: u32, n: u32| (f64::from(pixel * SAMPLES + n) + 0.5) / f64::from(80 * SAMPLES);
            let colour = draw(at(x, sample % SAMPLES), at(y, sample / SAMPLES));
            sum.iter_mut().zip(colour).for_each(|(sum, channel)| *sum += u32::from(channel));
        }
        sum.map(|sum| (sum / (SAMPLES * SAMPLES)) as u8)
    };
    (0..height).flat_map(|y| (0..width).flat_map(move |x| mean(x, y))).collect()
}

fn png(pixels: &[u8]) -> Result<Vec<u8>, png::EncodingError> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, SIZE[0], SIZE[1]);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::High);
    let mut writer = encoder.write_header()?;
    writer.write_image_data(pixels)?;
    writer.finish()?;
    Ok(bytes)
}

/// An upright stone, 90 mm wide and 120 mm high, standing on its flat end: rings of one form, closed above and below.
fn stone() -> String {
    const AROUND: usize = 36;
    /// Height in mm, and half width.
    const RINGS: [[f64; 2]; 9] = [
        [0.0, 37.0],
        [4.0, 41.0],
        [12.0, 44.0],
        [30.0, 45.0],
        [90.0, 45.0],
        [106.0, 43.0],
        [114.0, 38.0],
        [119.0, 28.0],
        [120.0, 18.0],
    ];
    let mut text = "# A stone, invented: draw_faces.rs makes it. Millimetres, +z up.\n".to_owned();
    let mut put = |line: std::fmt::Arguments<'_>| text.write_fmt(line).expect("a string takes all");
    for [height, half] in RINGS {
        for n in 0..AROUND {
            let turn = TAU * n as f64 / AROUND as f64;
            put(format_args!("v {:.3} {:.3} {height}\n", half * libm::cos(turn), half * libm::sin(turn)));
        }
    }
    let at = |ring: usize, n: usize| ring * AROUND + n % AROUND + 1;
    for ring in 1..RINGS.len() {
        for n in 0..AROUND {
            let [a, b, c, d] = [at(ring - 1, n), at(ring - 1, n + 1), at(ring, n + 1), at(ring, n)];
            put(format_args!("f {a} {b} {c} {d}\n"));
        }
    }
    let end = |ring: usize, up: bool| -> String {
        let corners = (0..AROUND).map(|n| at(ring, if up { n } else { AROUND - 1 - n }).to_string());
        corners.collect::<Vec<_>>().join(" ")
    };
    put(format_args!("f {}\nf {}\n", end(0, false), end(RINGS.len() - 1, true)));
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By pixels: how a picture is packed may change with the packer.
    #[test]
    fn what_lies_in_the_folder_is_what_is_drawn() -> Result<(), Box<dyn Error>> {
        let again = "draw it again: cargo run --example draw-faces";
        for (name, draw) in PICTURES {
            let mut reader =
                png::Decoder::new(std::io::Cursor::new(fs::read(format!("jobs/pictures/{name}"))?)).read_info()?;
            let mut found = vec![0; reader.output_buffer_size().ok_or("too large")?];
            reader.next_frame(&mut found)?;
            assert!(found == pixels(draw), "{name}: {again}");
        }
        assert!(fs::read_to_string(format!("jobs/pictures/{STONE}"))? == stone(), "{again}");
        Ok(())
    }
}
