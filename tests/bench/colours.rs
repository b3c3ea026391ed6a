//! Colours: into CIELAB, apart, and into a gamut.

use divan::counter::ItemsCount;
use divan::{Bencher, black_box};
use turnhue_stages::Srgb;
use turnhue_stages::colorimetry::gamut::{Hull, Printable};
use turnhue_stages::colorimetry::{Lab, difference, lab};

/// A thousand colours all over sRGB.
fn colours() -> Vec<Srgb> {
    (0..1000_u32).map(|n| Srgb([n * 37, n * 101, n * 211].map(|level| level as u8))).collect()
}

/// Eight patches of an invented printer whose colours are dull.
fn dull() -> Printable {
    let patches = ["#f0eee6", "#343232", "#be3c32", "#3c7846", "#323c82", "#3c8ca0", "#aa3c6e", "#dcbe46"];
    Printable::Hull(Hull::of(&patches.map(|patch| patch.parse().unwrap())).unwrap())
}

#[divan::bench]
fn lab_of_1_000_colours(bencher: Bencher<'_, '_>) {
    let colours = colours();
    let all = || colours.iter().map(|&colour| lab(black_box(colour)).l).sum::<f64>();
    bencher.counter(ItemsCount::new(colours.len())).bench_local(all);
}

#[divan::bench]
fn differences_of_1_000_pairs(bencher: Bencher<'_, '_>) {
    let colours: Vec<Lab> = colours().into_iter().map(lab).collect();
    let all = || colours.windows(2).map(|pair| difference(black_box(pair[0]), pair[1])).sum::<f64>();
    bencher.counter(ItemsCount::new(colours.len() - 1)).bench_local(all);
}

#[divan::bench]
fn in_gamut_of_1_000_colours(bencher: Bencher<'_, '_>) {
    let (colours, printable) = (colours(), dull());
    let all = || colours.iter().filter(|&&colour| printable.is_in_gamut(black_box(colour))).count();
    bencher.counter(ItemsCount::new(colours.len())).bench_local(all);
}

#[divan::bench]
fn nearest_printable_of_1_000_colours(bencher: Bencher<'_, '_>) {
    let (colours, printable) = (colours(), dull());
    let all = || colours.iter().map(|&colour| u32::from(printable.printable(black_box(colour)).0[0])).sum::<u32>();
    bencher.counter(ItemsCount::new(colours.len())).bench_local(all);
}
