//! Writing JPEG: baseline (ITU-T T.81, JFIF), with colours at full resolution (4:4:4), since coloured edges are what the
//! pictures of a print are about.
//!
//! Steps:
//! 1. Blocks of 8 × 8 pixels, as luma and two chromas; each through the cosine transform of Arai, Agui & Nakajima (1988), whose
//!    scaling is part of the division by the quantisation tables of Annex K.1. A block of one colour, as the ground is, needs
//!    no transform.
//! 2. Coefficients become symbols (F.1.2); all are counted.
//! 3. The Huffman codes that suit these counts (K.2), which are 8 % shorter here than those of Annex K.3.
//!
//! Rejected: the encoder of the `image` library, which takes three times as long (rounding goes through a call, and flat blocks
//! are transformed) and has the codes of Annex K.3 only. Its decoder judges in the tests.

use std::sync::LazyLock;

/// A square opaque picture of `edge` × `edge` pixels as JPEG, at a quality from 1 to 100; beyond, it is held to that. Alpha is
/// not looked at. The same picture gives the same bytes everywhere: nothing but sums and products.
///
/// # Panics
/// If there are not `edge` rows of `edge` pixels, or none, or more than 65 535.
#[must_use]
pub fn encode(rgba: &[[u8; 4]], edge: u32, quality: u8) -> Vec<u8> {
    let size = u16::try_from(edge).expect("a picture of at most 65 535 pixels along an edge").to_be_bytes();
    assert!(edge > 0 && rgba.len() == edge as usize * edge as usize, "a square picture");
    let tables = [LUMA, CHROMA].map(|table| scaled(&table, quality));
    let symbols = Symbols::of(rgba, edge as usize, &tables);
    let codes = symbols.counts.map(|counts| Code::of(&counts));

    let mut file = vec![0xff, 0xd8];
    let mut segment = |marker: u8, body: &[&[u8]]| {
        let length = (body.iter().map(|part| part.len()).sum::<usize>() + 2) as u16;
        file.extend([0xff, marker]);
        file.extend(length.to_be_bytes());
        body.iter().for_each(|part| file.extend_from_slice(part));
    };
    segment(0xe0, &[b"JFIF\0", &[1, 1, 0, 0, 1, 0, 1, 0, 0]]);
    for (number, table) in (0u8..).zip(&tables) {
        segment(0xdb, &[&[number], &ZIGZAG.map(|at| table[at])]);
    }
    segment(0xc0, &[&[8], &size, &size, &[3], &[1, 0x11, 0], &[2, 0x11, 1], &[3, 0x11, 1]]);
    // Luma's codes for the mean of blocks and for the rest, then those of the chromas.
    for (class, code) in [0x00, 0x10, 0x01, 0x11].into_iter().zip(&codes) {
        segment(0xc4, &[&[class], &code.lengths, &code.symbols]);
    }
    segment(0xda, &[&[3], &[1, 0x00], &[2, 0x11], &[3, 0x11], &[0, 63, 0]]);
    symbols.write(&codes, &mut file);
    file.extend([0xff, 0xd9]);
    file
}

/// Pixels along the edge of a block.
const SIDE: usize = 8;

/// Annex K.1: the steps of luma and of chroma, row by row.
#[rustfmt::skip]
const LUMA: [u8; 64] = [
    16, 11, 10, 16, 24, 40, 51, 61,
    12, 12, 14, 19, 26, 58, 60, 55,
    14, 13, 16, 24, 40, 57, 69, 56,
    14, 17, 22, 29, 51, 87, 80, 62,
    18, 22, 37, 56, 68, 109, 103, 77,
    24, 35, 55, 64, 81, 104, 113, 92,
    49, 64, 78, 87, 103, 121, 120, 101,
    72, 92, 95, 98, 112, 100, 103, 99,
];
#[rustfmt::skip]
const CHROMA: [u8; 64] = [
    17, 18, 24, 47, 99, 99, 99, 99,
    18, 21, 26, 66, 99, 99, 99, 99,
    24, 26, 56, 99, 99, 99, 99, 99,
    47, 66, 99, 99, 99, 99, 99, 99,
    99, 99, 99, 99, 99, 99, 99, 99,
    99, 99, 99, 99, 99, 99, 99, 99,
    99, 99, 99, 99, 99, 99, 99, 99,
    99, 99, 99, 99, 99, 99, 99, 99,
];

/// The steps at a quality, as is common practice (no source): those of Annex K.1 at 50, half of them at 75, all 1 at 100.
fn scaled(table: &[u8; 64], quality: u8) -> [u8; 64] {
    let quality = u32::from(quality.clamp(1, 100));
    let percent = if quality < 50 { 5000 / quality } else { 200 - 2 * quality };
    table.map(|step| ((u32::from(step) * percent + 50) / 100).clamp(1, 255) as u8)
}

/// Figure A.6: the places of a block from low to high frequencies.
static ZIGZAG: LazyLock<[usize; 64]> = LazyLock::new(|| {
    let mut places: Vec<usize> = (0..64).collect();
    places.sort_by_key(|&at| {
        let (row, column) = (at / SIDE, at % SIDE);
        let diagonal = row + column;
        (diagonal, if diagonal % 2 == 0 { column } else { row })
    });
    std::array::from_fn(|at| places[at])
});

/// A symbol to be coded, and the bits that follow its code.
#[derive(Clone, Copy, Debug)]
struct Token {
    /// Which of the four codes.
    code: u8,
    symbol: u8,
    bits: u16,
    count: u8,
}

/// What a picture comes to.
struct Symbols {
    tokens: Vec<Token>,
    /// How often each symbol of each code comes.
    counts: [[u32; 256]; 4],
}

impl Symbols {
    fn of(rgba: &[[u8; 4]], edge: usize, tables: &[[u8; 64]; 2]) -> Self {
        let steps = tables.map(|table| reciprocals(&table));
        let mut symbols = Self { tokens: Vec::with_capacity(edge * edge / 8), counts: [[0; 256]; 4] };
        let (zigzag, mut means) = (&*ZIGZAG, [0; 3]);
        for top in (0..edge).step_by(SIDE) {
            for left in (0..edge).step_by(SIDE) {
                let block = Block::cut(rgba, edge, top, left);
                for (channel, mean) in means.iter_mut().enumerate() {
                    let chroma = usize::from(channel > 0);
                    let coefficients = block.coefficients(channel, &steps[chroma]);
                    symbols.block(&coefficients, block.flat, chroma as u8 * 2, mean, zigzag);
                }
            }
        }
        symbols
    }

    fn push(&mut self, code: u8, run: u8, value: i32) {
        let count = (32 - value.unsigned_abs().leading_zeros()) as u8;
        // Negative numbers are coded less one (F.1.2.1).
        let bits = if value < 0 { value - 1 } else { value } as u16 & ((1u32 << count) - 1) as u16;
        let symbol = run << 4 | count;
        self.counts[usize::from(code)][usize::from(symbol)] += 1;
        self.tokens.push(Token { code, symbol, bits, count });
    }

    fn block(&mut self, coefficients: &[i32; 64], flat: bool, code: u8, mean: &mut i32, zigzag: &[usize; 64]) {
        self.push(code, 0, coefficients[0] - *mean);
        *mean = coefficients[0];
        let mut zeros = 0;
        if !flat {
            for &at in &zigzag[1..] {
                match coefficients[at] {
                    0 => zeros += 1,
                    value => {
                        for _ in 0..zeros / 16 {
                            self.push(code + 1, 15, 0);
                        }
                        self.push(code + 1, zeros % 16, value);
                        zeros = 0;
                    }
                }
            }
        }
        if flat || zeros > 0 {
            self.push(code + 1, 0, 0);
        }
    }

    fn write(&self, codes: &[Code; 4], file: &mut Vec<u8>) {
        let (mut held, mut count) = (0u64, 0u32);
        let mut out = |held: &mut u64, count: &mut u32| {
            while *count >= 8 {
                *count -= 8;
                let byte = (*held >> *count) as u8;
                file.push(byte);
                if byte == 0xff {
                    file.push(0);
                }
            }
        };
        for token in &self.tokens {
            let (code, length) = codes[usize::from(token.code)].of_symbol[usize::from(token.symbol)];
            held = (held << length | u64::from(code)) << token.count | u64::from(token.bits);
            count += u32::from(length) + u32::from(token.count);
            out(&mut held, &mut count);
        }
        // Filled up with ones.
        (held, count) = (held << 7 | 0x7f, count + 7);
        out(&mut held, &mut count);
    }
}

/// What a coefficient is multiplied with for the number of steps in it: the transform leaves each 8 · s · s times too large.
fn reciprocals(table: &[u8; 64]) -> [f32; 64] {
    let scale = |k: usize| match k {
        0 => 1.0,
        _ => libm::cos(k as f64 * std::f64::consts::PI / 16.0) * std::f64::consts::SQRT_2,
    };
    std::array::from_fn(|at| (1.0 / (8.0 * scale(at / SIDE) * scale(at % SIDE) * f64::from(table[at]))) as f32)
}

/// 8 × 8 pixels.
struct Block {
    pixels: [[[u8; 4]; SIDE]; SIDE],
    /// Whether all are equal.
    flat: bool,
}

impl Block {
    /// Beyond the picture its last row and column go on.
    fn cut(rgba: &[[u8; 4]], edge: usize, top: usize, left: usize) -> Self {
        let mut pixels = [[[0; 4]; SIDE]; SIDE];
        for (row, line) in pixels.iter_mut().enumerate() {
            let start = (top + row).min(edge - 1) * edge;
            match rgba[start..start + edge].get(left..left + SIDE) {
                Some(whole) => line.copy_from_slice(whole),
                None => *line = std::array::from_fn(|column| rgba[start + (left + column).min(edge - 1)]),
            }
        }
        let flat = pixels.as_flattened().iter().all(|&pixel| pixel == pixels[0][0]);
        Self { pixels, flat }
    }

    /// The coefficients of a channel in whole steps.
    fn coefficients(&self, channel: usize, steps: &[f32; 64]) -> [i32; 64] {
        // Rounds halves up; far below anything that can come.
        let whole = |value: f32| (value + 16384.5) as i32 - 16384;
        let mut coefficients = [0; 64];
        if self.flat {
            coefficients[0] = whole(64.0 * level(self.pixels[0][0], channel) * steps[0]);
            return coefficients;
        }
        let rows = self.pixels.map(|row| row.map(|pixel| level(pixel, channel)));
        let columns = transposed(&transform(rows));
        // Now the other way: the result lies turned back.
        let rows = transposed(&transform(columns));
        for ((coefficient, value), step) in coefficients.iter_mut().zip(rows.as_flattened()).zip(steps) {
            *coefficient = whole(value * step);
        }
        coefficients
    }
}

/// Luma or a chroma of a pixel (JFIF), about 0.
fn level([r, g, b, _]: [u8; 4], channel: usize) -> f32 {
    let [r, g, b] = [r, g, b].map(f32::from);
    match channel {
        0 => 0.299 * r + 0.587 * g + 0.114 * b - 128.0,
        1 => -0.168_736 * r - 0.331_264 * g + 0.5 * b,
        _ => 0.5 * r - 0.418_688 * g - 0.081_312 * b,
    }
}

/// Eight numbers that are reckoned with side by side.
type Lane = [f32; SIDE];

fn sum(a: Lane, b: Lane) -> Lane {
    std::array::from_fn(|at| a[at] + b[at])
}

fn difference(a: Lane, b: Lane) -> Lane {
    std::array::from_fn(|at| a[at] - b[at])
}

fn times(a: Lane, factor: f32) -> Lane {
    a.map(|value| value * factor)
}

fn transposed(rows: &[Lane; SIDE]) -> [Lane; SIDE] {
    std::array::from_fn(|row| std::array::from_fn(|column| rows[column][row]))
}

/// The cosine transform down each column, scaled (Arai, Agui & Nakajima 1988): 5 products for 8 numbers.
fn transform(d: [Lane; SIDE]) -> [Lane; SIDE] {
    const C2: f32 = 0.541_196_1;
    const C4: f32 = std::f32::consts::FRAC_1_SQRT_2;
    const C6: f32 = 0.382_683_43;
    const S: f32 = 1.306_563;
    let [s07, s16, s25, s34] = [sum(d[0], d[7]), sum(d[1], d[6]), sum(d[2], d[5]), sum(d[3], d[4])];
    let [d07, d16, d25, d34] =
        [difference(d[0], d[7]), difference(d[1], d[6]), difference(d[2], d[5]), difference(d[3], d[4])];
    // The even ones.
    let [outer, inner] = [sum(s07, s34), sum(s16, s25)];
    let [outer_less, inner_less] = [difference(s07, s34), difference(s16, s25)];
    let turned = times(sum(inner_less, outer_less), C4);
    // The odd ones.
    let [low, middle, high] = [sum(d34, d25), sum(d25, d16), sum(d16, d07)];
    let shared = times(difference(low, high), C6);
    let [low, high] = [sum(times(low, C2), shared), sum(times(high, S), shared)];
    let middle = times(middle, C4);
    let [more, less] = [sum(d07, middle), difference(d07, middle)];
    [
        sum(outer, inner),
        sum(more, high),
        sum(outer_less, turned),
        difference(less, low),
        difference(outer, inner),
        sum(less, low),
        difference(outer_less, turned),
        difference(more, high),
    ]
}

/// A Huffman code.
#[derive(Debug)]
struct Code {
    /// How many symbols have a code of each length, from 1 to 16 bits.
    lengths: [u8; 16],
    /// The symbols, those with short codes first.
    symbols: Vec<u8>,
    /// Code and length of each symbol.
    of_symbol: Box<[(u16, u8); 256]>,
}

impl Code {
    /// The shortest code for symbols that come so often, with none longer than 16 bits and none all ones (K.2).
    fn of(counts: &[u32; 256]) -> Self {
        let depths = depths(counts);
        let mut symbols: Vec<u8> = (0..=255).filter(|&symbol| counts[usize::from(symbol)] > 0).collect();
        symbols.sort_by_key(|&symbol| depths[usize::from(symbol)]);
        let lengths = limited(&depths);
        let mut of_symbol = Box::new([(0, 0); 256]);
        let (mut code, mut next) = (0u16, symbols.iter());
        for (length, &count) in (1u8..).zip(&lengths) {
            for &symbol in next.by_ref().take(usize::from(count)) {
                of_symbol[usize::from(symbol)] = (code, length);
                code += 1;
            }
            code <<= 1;
        }
        Self { lengths, symbols, of_symbol }
    }
}

/// Figure K.1: how deep each symbol lies in the tree that joins the two rarest again and again. The last one stands for the code
/// of ones, which nothing may have.
fn depths(counts: &[u32; 256]) -> [u8; 257] {
    let mut trees: Vec<(u64, Vec<usize>)> = (0..256)
        .filter(|&symbol| counts[symbol] > 0)
        .map(|symbol| (u64::from(counts[symbol]), vec![symbol]))
        .chain([(0, vec![256])])
        .collect();
    let mut depths = [0; 257];
    while trees.len() > 1 {
        // The last of the rarest, so that the one that stands for ones comes deepest.
        let mut rarest = || {
            let at = (0..trees.len()).rev().min_by_key(|&at| trees[at].0).unwrap_or(0);
            trees.remove(at)
        };
        let (a, b) = (rarest(), rarest());
        let joined = [b.1, a.1].concat();
        joined.iter().for_each(|&symbol| depths[symbol] += 1);
        trees.push((a.0 + b.0, joined));
    }
    depths
}

/// Figure K.3: how many codes of each length up to 16 there are, less the code of ones, when longer ones are shortened by taking
/// a place from shorter ones.
fn limited(depths: &[u8; 257]) -> [u8; 16] {
    let mut count = [0i32; 258];
    depths.iter().filter(|&&depth| depth > 0).for_each(|&depth| count[usize::from(depth)] += 1);
    for length in (17..count.len()).rev() {
        while count[length] > 0 {
            let shorter = (1..=length - 2).rev().find(|&shorter| count[shorter] > 0).unwrap_or(1);
            count[length] -= 2;
            count[length - 1] += 1;
            count[shorter + 1] += 2;
            count[shorter] -= 1;
        }
    }
    if let Some(longest) = (1..=16).rev().find(|&length| count[length] > 0) {
        count[longest] -= 1;
    }
    std::array::from_fn(|at| count[at + 1] as u8)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    /// Judge: the decoder of the `image` library.
    fn decode(bytes: &[u8]) -> image::RgbImage {
        image::load_from_memory_with_format(bytes, image::ImageFormat::Jpeg).unwrap().to_rgb8()
    }

    /// Cells of a few colours with a soft change across them.
    fn pattern(edge: usize) -> Vec<[u8; 4]> {
        let at = |x: usize, y: usize| match (x / 7 + y / 5) % 4 {
            0 => [200, 40 + (x % 60) as u8, 30, 255],
            1 => [40, 90, 160 + (y % 50) as u8, 255],
            2 => [230, 230, 228, 255],
            _ => [(x * y % 256) as u8, 128, 60, 255],
        };
        (0..edge * edge).map(|place| at(place % edge, place / edge)).collect()
    }

    fn root_mean_square(edge: usize, quality: u8) -> f64 {
        let picture = pattern(edge);
        let read = decode(&encode(&picture, edge as u32, quality));
        assert_eq!(read.dimensions(), (edge as u32, edge as u32));
        let squares = read.pixels().zip(&picture).map(|(a, b)| {
            (0..3).map(|channel| f64::from(a.0[channel].abs_diff(b[channel])).powi(2)).sum::<f64>() / 3.0
        });
        (squares.sum::<f64>() / (edge * edge) as f64).sqrt()
    }

    #[test]
    fn pictures_read_back() {
        for edge in [1, 7, 8, 9, 64, 101] {
            // At the best quality what is left are roundings: of the colours to luma and chroma, of 64 coefficients, and back.
            assert!(root_mean_square(edge, 100) < 1.5, "{edge}");
            // As good as the encoder of the `image` library, to a part in a hundred.
            let picture = pattern(edge);
            let mut bytes = Vec::new();
            let view: image::ImageBuffer<image::Rgba<u8>, &[u8]> =
                image::ImageBuffer::from_raw(edge as u32, edge as u32, picture.as_flattened()).unwrap();
            image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 80).encode_image(&view).unwrap();
            let theirs = decode(&bytes);
            let squares = theirs.pixels().zip(&picture).map(|(a, b)| {
                (0..3).map(|channel| f64::from(a.0[channel].abs_diff(b[channel])).powi(2)).sum::<f64>() / 3.0
            });
            let theirs = (squares.sum::<f64>() / (edge * edge) as f64).sqrt();
            let ours = root_mean_square(edge, 80);
            assert!(ours < theirs * 1.02 + 0.3, "{edge}: {ours} instead of {theirs}");
            assert!(edge < 64 || encode(&picture, edge as u32, 80).len() < bytes.len());
        }
    }

    #[test]
    fn flat_pictures_keep_their_colour() {
        for colour in [[0, 0, 0, 255], [255, 255, 255, 255], [0xe6, 0xe6, 0xe4, 255], [200, 30, 40, 255]] {
            let bytes = encode(&[colour; 24 * 24], 24, 90);
            let read = decode(&bytes);
            assert!(read.pixels().all(|p| (0..3).all(|c| p.0[c].abs_diff(colour[c]) <= 2)), "{colour:?}");
        }
    }

    #[test]
    fn the_order_of_frequencies_is_that_of_the_standard() {
        // Figure A.6, its first and last places.
        assert_eq!(ZIGZAG[..10], [0, 1, 8, 16, 9, 2, 3, 10, 17, 24]);
        assert_eq!(ZIGZAG[60..], [47, 55, 62, 63]);
    }

    #[test]
    fn codes_are_free_of_prefixes_and_no_longer_than_16_bits() {
        // Counts like the Fibonacci numbers make the deepest of trees.
        let mut counts = [0; 256];
        let (mut a, mut b) = (1u32, 1u32);
        for count in counts.iter_mut().take(40) {
            *count = a;
            (a, b) = (b, a + b);
        }
        for counts in [counts, [1; 256], std::array::from_fn(|at| u32::from(at == 7)), [0; 256]] {
            let code = Code::of(&counts);
            let used = counts.iter().filter(|&&count| count > 0).count();
            assert_eq!(code.lengths.iter().map(|&n| usize::from(n)).sum::<usize>(), used);
            // Kraft: with the code of ones left out the sum stays below 1.
            let places: u32 = (1u32..).zip(&code.lengths).map(|(length, &n)| u32::from(n) << (16 - length)).sum();
            assert!(places < 1 << 16, "{places}");
        }
    }
}
