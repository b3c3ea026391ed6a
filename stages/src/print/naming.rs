//! Which side's colour an observer takes a colour for.

use std::sync::atomic::{AtomicU64, Ordering};

use rayon::prelude::*;

use crate::colorimetry::{Lab, difference, lab};
use crate::print::press::Printed;
use crate::{Side, Six, Srgb};

/// Bits a channel that colours are told apart by: steps of 4 of 255, ΔE00 of about 1.
const BITS: u32 = 6;

/// The colours of the six sides, and which of them is nearest to a colour by ΔE00.
struct Nearest {
    sides: Six<Lab>,
    /// For each colour asked for so far the place of the nearest side, plus 1, and the difference as `f32`.
    known: Vec<AtomicU64>,
}

impl Nearest {
    fn new(sides: &Six<Srgb>) -> Self {
        let known = (0..1usize << (3 * BITS)).map(|_| AtomicU64::new(0)).collect();
        Self { sides: Six(sides.0.map(lab)), known }
    }

    /// The nearest side and the difference to it; of equal ones the first.
    fn of(&self, colour: Srgb) -> (Side, f64) {
        let cut = colour.0.map(|level| usize::from(level >> (8 - BITS)));
        let slot = &self.known[(cut[0] << (2 * BITS)) | (cut[1] << BITS) | cut[2]];
        // Whoever finds it first, the answer is the same: it follows from the slot alone.
        let mut known = slot.load(Ordering::Relaxed);
        if known == 0 {
            let middle = cut.map(|c| (c << (8 - BITS) | 1 << (7 - BITS)) as u8);
            let (side, apart) = self.search(lab(Srgb(middle)));
            known = (side as u64 + 1) | (u64::from((apart as f32).to_bits()) << 32);
            slot.store(known, Ordering::Relaxed);
        }
        (Side::ALL[(known as u32 - 1) as usize], f64::from(f32::from_bits((known >> 32) as u32)))
    }

    fn search(&self, colour: Lab) -> (Side, f64) {
        let apart = self.sides.iter().map(|(side, &own)| (side, difference(colour, own)));
        apart.min_by(|a, b| a.1.total_cmp(&b.1)).expect("there are six sides")
    }
}

/// For each texel the side whose colour it is taken for. A face is known by the colour that it would have alone, every other
/// side by the colour of that side; nearest by ΔE00. Colours that are equal, or nearly (ΔE00 below 1), count as the face's own.
#[must_use]
pub fn names(printed: &Printed) -> Vec<u8> {
    let nearest = Nearest::new(&printed.solid);
    let sheet = &printed.sheet;
    let texels = sheet.per_edge * sheet.per_edge;
    let mut names = vec![0; sheet.printed.len()];
    let faces = names.par_chunks_exact_mut(texels).with_min_len(256).zip(sheet.printed.par_chunks_exact(texels));
    faces.enumerate().for_each(|(face, (names, colours))| {
        let side = sheet.faces[face].side;
        let alone = printed.alone[face];
        let own = lab(alone);
        let mut last: Option<(Srgb, Side)> = None;
        for (name, &colour) in names.iter_mut().zip(colours) {
            let named = match last {
                Some((before, named)) if before == colour => named,
                _ if colour == alone => side,
                _ => {
                    let (found, apart) = nearest.of(colour);
                    if found == side || own_is_nearer(own, colour, apart) { side } else { found }
                }
            };
            last = Some((colour, named));
            *name = named as u8;
        }
    });
    names
}

fn own_is_nearer(own: Lab, colour: Srgb, apart: f64) -> bool {
    difference(own, lab(colour)) <= apart + 1.0
}
