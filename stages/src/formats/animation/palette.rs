//! The 256 colours that suit a film best.
//!
//! The box of colours whose spread is greatest is cut in two at its mean, across the channel in which it is spread most,
//! until there are enough boxes (variance-based cuts after Wan, Prusinkiewicz & Wong 1988, in place of the median of
//! Heckbert 1982): large flat areas soon have a colour of their own, and none is spent on what few pixels have.

use crate::Srgb;

/// Colours beside that of the ground.
const COLOURS: usize = 255;

/// Bits of each channel by which a pixel's nearest colour is looked up.
const BITS: u32 = 6;

/// The colours of a picture, thinned out.
pub(super) fn seen(rgba: &[[u8; 4]], edge: usize, thinned: usize) -> Vec<u32> {
    let rows = rgba.chunks(edge.max(1)).step_by(thinned);
    rows.flat_map(|row| row.iter().step_by(thinned).map(|&[r, g, b, _]| u32::from_be_bytes([0, r, g, b]))).collect()
}

/// Colours by number; the first is that of the ground.
#[derive(Debug)]
pub(super) struct Palette(Vec<Srgb>);

impl Palette {
    pub(super) fn of(mut pixels: Vec<u32>, ground: Srgb) -> Self {
        pixels.sort_unstable();
        let counted = pixels.chunk_by(|a, b| a == b).map(|same| {
            let [_, r, g, b] = same[0].to_be_bytes();
            Counted { colour: [r, g, b], count: same.len() as u64 }
        });
        let mut counted: Vec<Counted> = counted.filter(|c| c.colour != ground.0).collect();
        let mut boxes = vec![Bin::of(&counted, 0, counted.len())];
        while boxes.len() < COLOURS {
            let widest =
                (0..boxes.len()).fold(0, |best, at| if boxes[at].spread > boxes[best].spread { at } else { best });
            if boxes[widest].spread <= 0.0 {
                break;
            }
            let [low, high] = boxes[widest].cut(&mut counted);
            boxes[widest] = low;
            boxes.push(high);
        }
        let colours = boxes.iter().filter(|b| b.from < b.to).map(|b| b.colour(&counted));
        Self(std::iter::once(ground).chain(colours).collect())
    }

    /// As a PLTE chunk holds them.
    pub(super) fn bytes(&self) -> Vec<u8> {
        self.0.iter().flat_map(|colour| colour.0).collect()
    }

    pub(super) fn index(&self) -> Index<'_> {
        Index { palette: self, known: vec![None; 1 << (3 * BITS)] }
    }
}

/// A colour and how many pixels have it.
#[derive(Clone, Copy, Debug)]
struct Counted {
    colour: [u8; 3],
    count: u64,
}

/// A run of the counted colours.
#[derive(Clone, Copy, Debug)]
struct Bin {
    from: usize,
    to: usize,
    mean: [f64; 3],
    /// The channel in which it is spread most.
    widest: usize,
    /// The sum of squared distances from the mean in that channel.
    spread: f64,
}

impl Bin {
    fn of(counted: &[Counted], from: usize, to: usize) -> Self {
        let (mut total, mut sums, mut squares) = (0u64, [0u64; 3], [0u64; 3]);
        for c in &counted[from..to] {
            total += c.count;
            for (channel, code) in c.colour.map(u64::from).into_iter().enumerate() {
                sums[channel] += c.count * code;
                squares[channel] += c.count * code * code;
            }
        }
        let over = total.max(1) as f64;
        let mean = sums.map(|sum| sum as f64 / over);
        let spread = |channel: usize| squares[channel] as f64 - mean[channel] * sums[channel] as f64;
        let widest = (1..3).fold(0, |best, channel| if spread(channel) > spread(best) { channel } else { best });
        // What is left of a lone colour by rounding is no spread.
        let one = counted[from..to].iter().all(|c| c.colour[widest] == counted[from].colour[widest]);
        Self { from, to, mean, widest, spread: if one { 0.0 } else { spread(widest) } }
    }

    /// Cuts at the mean; puts the colours into the order of the halves.
    fn cut(&self, counted: &mut [Counted]) -> [Self; 2] {
        let own = &mut counted[self.from..self.to];
        own.sort_unstable_by_key(|c| (c.colour[self.widest], c.colour));
        let at = self.from + own.partition_point(|c| f64::from(c.colour[self.widest]) <= self.mean[self.widest]);
        [Self::of(counted, self.from, at), Self::of(counted, at, self.to)]
    }

    /// The colour that most of its pixels have, or else the mean of them.
    fn colour(&self, counted: &[Counted]) -> Srgb {
        let own = &counted[self.from..self.to];
        let total: u64 = own.iter().map(|c| c.count).sum();
        match own.iter().find(|c| 2 * c.count > total) {
            Some(most) => Srgb(most.colour),
            None => Srgb(self.mean.map(|code| code.round() as u8)),
        }
    }
}

/// Finds the nearest colour of a palette, and remembers it for all colours that agree in their upper bits.
#[derive(Debug)]
pub(super) struct Index<'a> {
    palette: &'a Palette,
    known: Vec<Option<u8>>,
}

impl Index<'_> {
    pub(super) fn nearest(&mut self, [r, g, b, _]: [u8; 4]) -> u8 {
        let colours = &self.palette.0;
        if [r, g, b] == colours[0].0 {
            return 0;
        }
        let cut = 8 - BITS;
        let key = [r, g, b].iter().fold(0, |key, code| key << BITS | usize::from(code >> cut));
        let middle = [r, g, b].map(|code| i32::from(code >> cut << cut | 1 << (cut - 1)));
        *self.known[key].get_or_insert_with(|| {
            let apart = |colour: &Srgb| -> i32 {
                colour.0.iter().zip(middle).map(|(&code, middle)| (i32::from(code) - middle).pow(2)).sum()
            };
            let nearest = (0..colours.len()).min_by_key(|&at| apart(&colours[at]));
            nearest.unwrap_or(0) as u8
        })
    }
}
