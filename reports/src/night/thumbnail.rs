//! Small pictures for cards: JPEG, square, on the page's backdrop.

use std::sync::LazyLock;

use turnhue_stages::Srgb;
use turnhue_stages::colorimetry::{linear, srgb};
use turnhue_stages::formats::{bitmap, jpeg};

use crate::pictures::Picture;

/// Pixels along the edge of a thumbnail.
pub(crate) const EDGE: usize = 240;
/// Its quality as JPEG.
const QUALITY: u8 = 82;
/// The most pixels of a picture that is made small: pictures of a run have some 200 000.
const MOST_PIXELS: u64 = 4_000_000;
/// `--backdrop` of the page in light colours.
const BACKDROP: Srgb = Srgb([0xe6, 0xe6, 0xe4]);

/// A picture made small, as part of the page: each pixel the mean light of the part of the picture that it covers. A picture
/// that is not square lies in the middle of the backdrop; one that is small already is made no larger than [`EDGE`]. Nothing
/// if it cannot be read.
pub(crate) fn of(bytes: &[u8]) -> Option<Picture> {
    let picture = bitmap::read(bytes, MOST_PIXELS).ok()?;
    let [width, height] = picture.size();
    let longest = width.max(height);
    if longest == 0 {
        return None;
    }
    let ground = linear(BACKDROP);
    let edge = EDGE.min(longest);
    let mut sums = vec![[0.0_f64; 3]; edge * edge];
    // Where the picture begins on a square of its longest side.
    let [left, above] = [(longest - width) / 2, (longest - height) / 2];
    let mut row = Vec::new();
    let columns = shares(longest, edge);
    let rows = shares(longest, edge);
    for (y, parts) in rows.iter().enumerate() {
        let inside = y.checked_sub(above).filter(|&y| y < height);
        match inside {
            Some(y) => picture.row(y, ground, &mut row),
            None => {
                row.clear();
                row.resize(width, ground);
            }
        }
        for &(to_y, share_y) in parts {
            for (x, parts) in columns.iter().enumerate() {
                let light = x.checked_sub(left).and_then(|x| row.get(x)).copied().unwrap_or(ground);
                for &(to_x, share_x) in parts {
                    let sum = &mut sums[to_y * edge + to_x];
                    for (sum, light) in sum.iter_mut().zip(light) {
                        *sum += share_x * share_y * light;
                    }
                }
            }
        }
    }
    let pixels: Vec<[u8; 4]> = sums.into_iter().map(|[r, g, b]| [code(r), code(g), code(b), 255]).collect();
    Picture::of(&jpeg::encode(&pixels, u32::try_from(edge).ok()?, QUALITY))
}

/// The code of a channel's light, within half a level of the exact one: a thousand pictures have no time for as many powers.
fn code(light: f64) -> u8 {
    const STEPS: usize = 4096;
    static CODES: LazyLock<Vec<u8>> = LazyLock::new(|| {
        #[expect(clippy::cast_precision_loss, reason = "4096 at most")]
        let code = |step: usize| srgb([step as f64 / STEPS as f64; 3]).0[0];
        (0..=STEPS).map(code).collect()
    });
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and 4096")]
    let step = (light.clamp(0.0, 1.0) * STEPS as f64 + 0.5) as usize;
    CODES[step]
}

/// For each of `from` pixels in a line the one or two of `to` wider ones that it falls into, and what share of each it fills.
fn shares(from: usize, to: usize) -> Vec<Vec<(usize, f64)>> {
    // In units of 1 ⁄ (from · to) of the line: a pixel is `to` long, a wider one `from`.
    (0..from)
        .map(|at| {
            let (begin, end) = (at * to, (at + 1) * to);
            let first = begin / from;
            (first..to)
                .map(|wide| {
                    let overlap = end.min((wide + 1) * from).saturating_sub(begin.max(wide * from));
                    #[expect(clippy::cast_precision_loss, reason = "no picture has 2^26 pixels a side")]
                    let share = overlap as f64 / from as f64;
                    (wide, share)
                })
                .take_while(|&(_, share)| share > 0.0)
                .collect()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_wide_pixel_is_filled_once() {
        for (from, to) in [(480, 240), (400, 240), (241, 240), (240, 240), (7, 3), (1, 1)] {
            let mut filled = vec![0.0; to];
            for (wide, share) in shares(from, to).into_iter().flatten() {
                filled[wide] += share;
            }
            assert!(filled.iter().all(|sum: &f64| (sum - 1.0).abs() < 1e-12), "{from} to {to}: {filled:?}");
        }
    }

    #[test]
    fn codes_are_those_of_srgb_within_one_level() {
        for level in 0..=255_u8 {
            let [light, ..] = linear(Srgb([level; 3]));
            assert!(code(light).abs_diff(level) <= 1, "{level}");
        }
        assert_eq!([code(-1.0), code(0.0), code(1.0), code(2.0), code(f64::NAN)], [0, 0, 255, 255, 0]);
    }

    /// A red square on a transparent ground: half of it is red, and the rest is the page's backdrop.
    #[test]
    fn a_picture_keeps_its_place_and_its_colours() {
        let edge = 480_u32;
        let pixels: Vec<[u8; 4]> = (0..edge * edge)
            .map(|at| if at % edge < 240 { [200, 30, 30, 255] } else { [230, 230, 228, 255] })
            .collect();
        let small = of(&jpeg::encode(&pixels, edge, 95)).unwrap_or_else(|| panic!("this is a picture"));
        assert_eq!((small.width, small.height), (240, 240));
        let bytes = small
            .address
            .split_once(',')
            .and_then(|(_, data)| base64::Engine::decode(&base64::engine::general_purpose::STANDARD, data).ok());
        let back = bitmap::read(&bytes.unwrap_or_default(), MOST_PIXELS).unwrap_or_else(|_| panic!("it can be read"));
        let mut row = Vec::new();
        back.row(120, [0.0; 3], &mut row);
        for (x, Srgb(wanted)) in [(40, Srgb([200, 30, 30])), (200, BACKDROP)] {
            let Srgb(found) = srgb(row[x]);
            assert!(found.iter().zip(wanted).all(|(a, b)| a.abs_diff(b) <= 6), "{x}: {found:?}");
        }
    }

    #[test]
    fn what_is_no_picture_gives_none() {
        for bytes in [&b""[..], b"\x89PNG\r\n\x1a\n", b"<svg/>"] {
            assert!(of(bytes).is_none());
        }
    }
}
