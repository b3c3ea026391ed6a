//! What a pixel shows, with the colours left open: shares of the inks' light, and how much of the ground is covered.

use std::collections::HashMap;

use crate::Srgb;
use crate::colorimetry::{linear, srgb};

/// All of the light, or of the ground. A multiple of 240, so that halves, thirds and sixteenths are whole numbers.
pub(super) const WHOLE: u32 = 240 * 273;

/// What a pixel shows.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) struct Mix {
    /// How much of the pixel is covered, in [`WHOLE`].
    cover: u32,
    /// How much of each ink's light is seen there, in [`WHOLE`], by ink.
    parts: Vec<(u32, u32)>,
}

impl Mix {
    /// The bare ground.
    pub(super) const NOTHING: Self = Self { cover: 0, parts: Vec::new() };

    /// A pixel covered so far that shows these shares of inks.
    pub(super) fn of(cover: u32, shares: impl IntoIterator<Item = (u32, u32)>) -> Self {
        let mut parts: Vec<(u32, u32)> = shares.into_iter().collect();
        parts.sort_unstable_by_key(|&(ink, _)| ink);
        parts.dedup_by(|next, kept| {
            let same = next.0 == kept.0;
            if same {
                kept.1 += next.1;
            }
            same
        });
        Self { cover, parts }
    }

    /// Red, green, blue and alpha that is not multiplied in, averaged in linear light.
    pub(super) fn rgba(&self, colours: &[Srgb]) -> [u8; 4] {
        if self.cover == 0 {
            return [0; 4];
        }
        let mut light = [0.0; 3];
        for &(ink, share) in &self.parts {
            let share = f64::from(share) / f64::from(WHOLE);
            for (sum, part) in light.iter_mut().zip(linear(colours[ink as usize])) {
                *sum += share * part;
            }
        }
        let Srgb([r, g, b]) = srgb(light);
        let alpha = (f64::from(self.cover) / f64::from(WHOLE) * 255.0).round() as u8;
        [r, g, b, alpha]
    }

    /// Whether it shows a single ink, or nothing.
    pub(super) fn is_plain(&self) -> bool {
        self.cover == 0 || self.cover == WHOLE && self.parts.len() == 1
    }

    pub(super) fn is_opaque(&self) -> bool {
        self.cover == WHOLE
    }

    /// How unlike another it is, whatever the colours: squares of differences in the light that each ink gives, and in the
    /// ground that is covered.
    pub(super) fn unlike(&self, other: &Self) -> u64 {
        let lit = |mix: &Self, share: u32| u64::from(share) * u64::from(mix.cover) / u64::from(WHOLE);
        let squared = |a: u64, b: u64| a.abs_diff(b).pow(2);
        let mut sum = squared(u64::from(self.cover), u64::from(other.cover));
        let (mut ours, mut theirs) = (self.parts.iter().peekable(), other.parts.iter().peekable());
        loop {
            let (a, b) = (ours.peek().map(|&&(ink, _)| ink), theirs.peek().map(|&&(ink, _)| ink));
            let Some(ink) = a.into_iter().chain(b).min() else { return sum };
            let ours = ours.next_if(|part| part.0 == ink).map_or(0, |part| lit(self, part.1));
            let theirs = theirs.next_if(|part| part.0 == ink).map_or(0, |part| lit(other, part.1));
            sum += squared(ours, theirs);
        }
    }

    pub(super) fn bytes(&self) -> usize {
        size_of::<Self>() + self.parts.capacity() * size_of::<(u32, u32)>()
    }
}

/// Different mixes in the order in which they were met.
#[derive(Debug, Default)]
pub(super) struct Mixes {
    places: HashMap<Mix, u32>,
    met: Vec<Mix>,
}

impl Mixes {
    /// The place of a mix.
    pub(super) fn place(&mut self, mix: &Mix) -> u32 {
        if let Some(&place) = self.places.get(mix) {
            return place;
        }
        let place = self.met.len() as u32;
        self.places.insert(mix.clone(), place);
        self.met.push(mix.clone());
        place
    }

    /// The mixes by their places.
    pub(super) fn met(&self) -> &[Mix] {
        &self.met
    }

    /// The mixes by their places.
    pub(super) fn into_met(self) -> Vec<Mix> {
        self.met
    }
}
