use std::panic;

use proptest::prelude::*;

use super::*;
use crate::colorimetry::{Lab, difference, lab};

/// A printer whose colours follow from its channels by a plain formula, so that what its profile must give is known: with
/// red, green and blue of 0 to 1, L* = 20 + 80 m, a* = 60 (r − g), b* = 60 ((r + g) / 2 − b), m their mean. Black ink takes
/// all three down. In the tables (lut16Type, ISO 15076-1, 10.10) multilinear interpolation gives that formula exactly.
pub(crate) fn invented(inks: &[u8; 4]) -> Vec<u8> {
    let cmyk = inks == b"CMYK";
    let channels: u8 = if cmyk { 4 } else { 3 };
    let corners = (0..1 << channels).flat_map(|n| {
        let ink = |at: u8| f64::from(n >> (channels - 1 - at) & 1);
        let [r, g, b] = [0, 1, 2].map(|at: u8| if cmyk { (1.0 - ink(at)) * (1.0 - ink(3)) } else { ink(at) });
        let lab = [20.0 + 80.0 * (r + g + b) / 3.0, 60.0 * (r - g), 60.0 * ((r + g) / 2.0 - b)];
        // The encoding of lut16Type in version 2 (ICC.1:2001-04, 6.5.10): L* of 100 is FF00, a* and b* of 0 are 8000.
        [lab[0] * 652.8, (lab[1] + 128.0) * 256.0, (lab[2] + 128.0) * 256.0].map(|code| code.round() as u16)
    });
    let from_inks = table(channels, 3, 2, corners);
    let grid = 33u32;
    let inverse = (0..grid.pow(3)).flat_map(|n| {
        let code = |n: u32| f64::from(n % grid) / f64::from(grid - 1) * 65535.0;
        let (m, a, b) =
            ((code(n / grid / grid) / 652.8 - 20.0) / 80.0, code(n / grid) / 256.0 - 128.0, code(n) / 256.0 - 128.0);
        // r + g + b = 3 m; r + g − 2 b = b* / 30; r − g = a* / 60.
        let blue = m - b / 90.0;
        let (sum, apart) = (3.0 * m - blue, a / 60.0);
        let rgb = [(sum + apart) / 2.0, (sum - apart) / 2.0, blue].map(|level| level.clamp(0.0, 1.0));
        let inks = if cmyk { vec![1.0 - rgb[0], 1.0 - rgb[1], 1.0 - rgb[2], 0.0] } else { rgb.to_vec() };
        inks.into_iter().map(|ink| (ink * 65535.0).round() as u16)
    });
    let to_inks = table(3, channels, grid as u8, inverse);
    profile(b"prtr", inks, &[(b"A2B0", &from_inks), (b"A2B1", &from_inks), (b"B2A0", &to_inks), (b"B2A1", &to_inks)])
}

/// A lut16Type without curves.
fn table(inputs: u8, outputs: u8, grid: u8, entries: impl Iterator<Item = u16>) -> Vec<u8> {
    let mut bytes = b"mft2\0\0\0\0".to_vec();
    bytes.extend([inputs, outputs, grid, 0]);
    for at in 0..9 {
        bytes.extend(if at % 4 == 0 { 0x1_0000_u32 } else { 0 }.to_be_bytes());
    }
    bytes.extend([0, 2, 0, 2]);
    let line = [0, 0, 0xff, 0xff];
    (0..inputs).for_each(|_| bytes.extend(line));
    entries.for_each(|entry| bytes.extend(entry.to_be_bytes()));
    (0..outputs).for_each(|_| bytes.extend(line));
    bytes
}

/// A profile of version 2 with Lab as its connection space.
fn profile(class: &[u8; 4], inks: &[u8; 4], tags: &[(&[u8; 4], &[u8])]) -> Vec<u8> {
    let mut bytes = vec![0; 128];
    bytes[8] = 2;
    bytes[12..16].copy_from_slice(class);
    bytes[16..20].copy_from_slice(inks);
    bytes[20..24].copy_from_slice(b"Lab ");
    bytes[24..36].copy_from_slice(&[7, 235, 0, 3, 0, 1, 0, 0, 0, 0, 0, 0]);
    bytes[36..40].copy_from_slice(b"acsp");
    // D50, as s15Fixed16.
    bytes[68..80].copy_from_slice(&[0, 0, 0xf6, 0xd6, 0, 1, 0, 0, 0, 0, 0xd3, 0x2d]);
    bytes.extend((tags.len() as u32).to_be_bytes());
    let mut at = 128 + 4 + 12 * tags.len();
    for (name, content) in tags {
        bytes.extend(*name);
        bytes.extend((at as u32).to_be_bytes());
        bytes.extend((content.len() as u32).to_be_bytes());
        at += content.len();
    }
    tags.iter().for_each(|(_, content)| bytes.extend(*content));
    let size = (bytes.len() as u32).to_be_bytes();
    bytes[..4].copy_from_slice(&size);
    bytes
}

fn read(inks: &[u8; 4]) -> Profile {
    Profile::read(&invented(inks)).expect("the invented profile is in order")
}

/// Black of the invented printer is L* = 20, which is #303030 in sRGB; white stays. Both are grey, and so the same under any
/// white point.
#[test]
fn the_ends_of_grey_are_those_of_the_printer() {
    for inks in [b"RGB ", b"CMYK"] {
        let profile = read(inks);
        for (colour, printed) in [([0; 3], [0x30; 3]), ([255; 3], [255; 3])] {
            let found = profile.proofed(Srgb(colour));
            assert!(found.0.iter().zip(printed).all(|(a, b)| a.abs_diff(b) <= 1), "{inks:?}: {found}");
        }
    }
}

/// What the formula holds stays, within what two tables of 33 steps and eight bits take.
#[test]
fn what_can_be_printed_stays() {
    for inks in [b"RGB ", b"CMYK"] {
        let profile = read(inks);
        for colour in [[128, 128, 128], [170, 120, 100], [100, 120, 150], [140, 150, 110], [200, 190, 180]] {
            let found = profile.proofed(Srgb(colour));
            let apart = difference(lab(found), lab(Srgb(colour)));
            assert!(apart < 1.0, "{inks:?} {colour:?}: {found}, {apart}");
        }
    }
}

/// The printer's purest red has r = 1 and g = b = 0, which is L* = 46.7, a* = 60, b* = 30: no proof has more chroma than the
/// corners of the printer's cube do, √(60² + 60²).
#[test]
fn vivid_colours_come_out_duller() {
    for inks in [b"RGB ", b"CMYK"] {
        let profile = read(inks);
        for vivid in [[255, 0, 0], [0, 255, 0], [0, 0, 255], [255, 0, 255], [0, 255, 255]] {
            let [before, after] = [Srgb(vivid), profile.proofed(Srgb(vivid))].map(lab);
            let chroma = |Lab { a, b, .. }: Lab| libm::hypot(a, b);
            assert!(chroma(after) < 85.0 + 2.0 && difference(before, after) > 2.0, "{vivid:?}: {after:?}");
        }
    }
}

/// Whole but for its tables for the relative colorimetric intent.
#[test]
fn the_perceptual_tables_do_where_there_are_no_others() {
    for inks in [b"RGB ", b"CMYK"] {
        let without: Vec<u8> = invented(inks);
        let renamed = |from: &[u8; 4], to: &[u8; 4], bytes: Vec<u8>| {
            let at = bytes.windows(4).position(|word| word == from).expect("it is there");
            [&bytes[..at], to, &bytes[at + 4..]].concat()
        };
        let without = renamed(b"B2A1", b"xxxx", renamed(b"A2B1", b"xxxx", without));
        let [with, without] = [invented(inks), without].map(|bytes| Profile::read(&bytes).expect("both are in order"));
        assert_eq!(without.proofed(Srgb([200, 30, 90])), with.proofed(Srgb([200, 30, 90])));
    }
    assert!(Profile::read(&small(b"RGB ")).is_ok() && Profile::read(&small(b"CMYK")).is_ok());
}

#[test]
fn wrong_profiles_say_what_is_wrong() {
    let whole = invented(b"RGB ");
    let refused = |bytes: &[u8]| Profile::read(bytes).expect_err("must be refused");
    assert!(refused(b"").contains("is no ICC profile"));
    assert!(refused(&[0; 500]).contains("is no ICC profile"));
    assert!(refused(&whole[..200]).contains("is cut off: it promises"));
    let changed = |at: usize, to: &[u8]| {
        let mut bytes = whole.clone();
        bytes[at..at + to.len()].copy_from_slice(to);
        refused(&bytes)
    };
    assert!(changed(12, b"mntr").contains("is for a screen, not the output profile of a printer"));
    assert!(changed(12, b"scnr").contains("is for a scanner"));
    assert!(changed(16, b"GRAY").contains("not RGB or CMYK"));
    assert!(changed(16, b"CMYK").contains("from 3 channels to 3"));
    assert!(refused(&profile(b"prtr", b"RGB ", &[])).contains("has no table to inks"));
    assert!(changed(128, &u32::MAX.to_be_bytes()).contains("is damaged"));
    // A screen's, as the library writes it.
    let screen = ColorProfile::new_srgb().encode().expect("it can be written");
    assert!(refused(&screen).contains("is for a screen"));
}

/// Cut anywhere in its head, and at many places in its tables.
#[test]
fn cut_profiles_are_refused() {
    let whole = invented(b"RGB ");
    for length in (0..400).chain((400..whole.len()).step_by(997)) {
        let mut cut = whole[..length].to_vec();
        assert!(Profile::read(&cut).is_err(), "{length}");
        // Also where the header agrees with the length.
        if length >= 132 {
            let size = (length as u32).to_be_bytes();
            cut[..4].copy_from_slice(&size);
            assert!(Profile::read(&cut).is_err(), "{length}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    /// Whatever is changed, and mostly in the head, where it matters: used, or refused with one line.
    #[test]
    fn spoilt_profiles_never_panic(
        cmyk: bool,
        spoilt in proptest::collection::vec((prop_oneof![0..200usize, 0..20_000usize], any::<u8>()), 1..6),
    ) {
        let mut bytes = small(if cmyk { b"CMYK" } else { b"RGB " });
        for (at, byte) in spoilt {
            let at = at % bytes.len();
            bytes[at] = byte;
        }
        match panic::catch_unwind(|| Profile::read(&bytes).map(|profile| profile.proofed(Srgb([200, 30, 90])))) {
            Ok(read) => prop_assert!(read.err().is_none_or(|message| message.len() < 300 && !message.contains('\n'))),
            Err(_) => prop_assert!(false, "it panicked"),
        }
    }
}

/// A profile of some hundred bytes, so that what is spoilt is seldom a mere entry of a table.
fn small(inks: &[u8; 4]) -> Vec<u8> {
    let channels = if inks == b"CMYK" { 4 } else { 3 };
    let from_inks = table(channels, 3, 2, (0..3 << channels).map(|n| n * 1000));
    let to_inks = table(3, channels, 2, (0..u16::from(channels) * 8).map(|n| n * 1000));
    profile(b"prtr", inks, &[(b"A2B0", &from_inks), (b"B2A0", &to_inks)])
}
