use proptest::prelude::*;

use super::*;

/// Pairs of colours and their difference: Table I of Sharma, Wu & Dalal 2005 (Color Research & Application 30(1):21–30), as kept
/// in the tests of scikit-image and of colour-science.
const TABLE: [([f64; 3], [f64; 3], f64); 34] = [
    ([50.0, 2.6772, -79.7751], [50.0, 0.0, -82.7485], 2.0425),
    ([50.0, 3.1571, -77.2803], [50.0, 0.0, -82.7485], 2.8615),
    ([50.0, 2.8361, -74.02], [50.0, 0.0, -82.7485], 3.4412),
    ([50.0, -1.3802, -84.2814], [50.0, 0.0, -82.7485], 1.0),
    ([50.0, -1.1848, -84.8006], [50.0, 0.0, -82.7485], 1.0),
    ([50.0, -0.9009, -85.5211], [50.0, 0.0, -82.7485], 1.0),
    ([50.0, 0.0, 0.0], [50.0, -1.0, 2.0], 2.3669),
    ([50.0, -1.0, 2.0], [50.0, 0.0, 0.0], 2.3669),
    ([50.0, 2.49, -0.001], [50.0, -2.49, 0.0009], 7.1792),
    ([50.0, 2.49, -0.001], [50.0, -2.49, 0.001], 7.1792),
    ([50.0, 2.49, -0.001], [50.0, -2.49, 0.0011], 7.2195),
    ([50.0, 2.49, -0.001], [50.0, -2.49, 0.0012], 7.2195),
    ([50.0, -0.001, 2.49], [50.0, 0.0009, -2.49], 4.8045),
    ([50.0, -0.001, 2.49], [50.0, 0.001, -2.49], 4.8045),
    ([50.0, -0.001, 2.49], [50.0, 0.0011, -2.49], 4.7461),
    ([50.0, 2.5, 0.0], [50.0, 0.0, -2.5], 4.3065),
    ([50.0, 2.5, 0.0], [73.0, 25.0, -18.0], 27.1492),
    ([50.0, 2.5, 0.0], [61.0, -5.0, 29.0], 22.8977),
    ([50.0, 2.5, 0.0], [56.0, -27.0, -3.0], 31.903),
    ([50.0, 2.5, 0.0], [58.0, 24.0, 15.0], 19.4535),
    ([50.0, 2.5, 0.0], [50.0, 3.1736, 0.5854], 1.0),
    ([50.0, 2.5, 0.0], [50.0, 3.2972, 0.0], 1.0),
    ([50.0, 2.5, 0.0], [50.0, 1.8634, 0.5757], 1.0),
    ([50.0, 2.5, 0.0], [50.0, 3.2592, 0.335], 1.0),
    ([60.2574, -34.0099, 36.2677], [60.4626, -34.1751, 39.4387], 1.2644),
    ([63.0109, -31.0961, -5.8663], [62.8187, -29.7946, -4.0864], 1.263),
    ([61.2901, 3.7196, -5.3901], [61.4292, 2.248, -4.962], 1.8731),
    ([35.0831, -44.1164, 3.7933], [35.0232, -40.0716, 1.5901], 1.8645),
    ([22.7233, 20.0904, -46.694], [23.0331, 14.973, -42.5619], 2.0373),
    ([36.4612, 47.858, 18.3852], [36.2715, 50.5065, 21.2231], 1.4146),
    ([90.8027, -2.0831, 1.441], [91.1528, -1.6435, 0.0447], 1.4441),
    ([90.9257, -0.5406, -0.9208], [88.6381, -0.8985, -0.7239], 1.5381),
    ([6.7747, -0.2908, -2.4247], [5.8714, -0.0985, -2.2286], 0.6377),
    ([2.0776, 0.0795, -1.135], [0.9033, -0.0636, -0.5514], 0.9082),
];

#[test]
fn all_34_pairs_of_sharma_wu_and_dalal() {
    for (at, (a, b, published)) in TABLE.into_iter().enumerate() {
        let [a, b] = [a, b].map(|[l, a, b]| Lab::new(l, a, b));
        for ours in [difference(a, b), difference(b, a)] {
            assert!((ours - published).abs() < 1e-4, "pair {}: {ours}, published {published}", at + 1);
        }
    }
}

/// As `palette` has it, where it has it right: for hues whose sum is below 360°.
#[test]
fn differences_as_in_palette() {
    use palette::color_difference::Ciede2000;
    for n in 0..2000u32 {
        let at = |n: u32, of: f64| f64::from(n.wrapping_mul(2_654_435_761) >> 8) / f64::from(1 << 24) * of;
        let [a, b] = [n, n + 7000].map(|n| Lab::new(at(n, 100.0), at(3 * n, 200.0) - 100.0, at(5 * n, 100.0)));
        assert!((difference(a, b) - a.difference(b)).abs() < 1e-9, "{a:?} {b:?}");
    }
}

/// The formula of IEC 61966-2-1, level by level; and 128/255 as it is often quoted.
#[test]
fn every_level_becomes_the_light_of_the_standard() {
    for level in 0..=255u8 {
        let coded = f64::from(level) / 255.0;
        let light = if coded <= 0.040_45 { coded / 12.92 } else { libm::pow((coded + 0.055) / 1.055, 2.4) };
        assert!((linear(Srgb([level; 3]))[1] - light).abs() < 1e-12, "{level}");
        assert_eq!(srgb([light; 3]), Srgb([level; 3]));
    }
    assert!((linear(Srgb([128; 3]))[0] - 0.215_860_500_113_899_26).abs() < 1e-12);
    assert_eq!(srgb([-0.1, 0.0, 1.2]), Srgb([0, 0, 255]));
}

/// By hand from the matrix of IEC 61966-2-1 with four decimals and its white point: tolerance 0.05, since more decimals move them
/// by up to 0.03.
#[test]
fn primaries_in_cielab() {
    for (colour, by_hand) in [
        ([255, 0, 0], [53.2329, 80.1053, 67.2228]),
        ([255, 255, 0], [97.1382, -21.5608, 94.4877]),
        ([0, 255, 0], [87.7370, -86.1884, 83.1861]),
        ([0, 255, 255], [91.1165, -48.0840, -14.1278]),
        ([0, 0, 255], [32.3026, 79.1936, -107.8537]),
        ([255, 0, 255], [60.3199, 98.2497, -60.8330]),
        ([255, 255, 255], [100.0, 0.0, 0.0]),
        ([0, 0, 0], [0.0, 0.0, 0.0]),
    ] {
        let Lab { l, a, b, .. } = lab(Srgb(colour));
        for (ours, theirs) in [l, a, b].into_iter().zip(by_hand) {
            assert!((ours - theirs).abs() < 0.05, "{colour:?}: {l} {a} {b}");
        }
    }
}

proptest! {
    /// By the formula of the standard.
    #[test]
    fn light_becomes_the_nearest_level(light in 0.0..1.0f64) {
        let coded = if light <= 0.003_130_8 { 12.92 * light } else { 1.055 * libm::pow(light, 1.0 / 2.4) - 0.055 };
        let level = f64::from(srgb([light; 3]).0[0]);
        prop_assert!((coded * 255.0 - level).abs() < 0.5 + 1e-9, "{} is not {level}", coded * 255.0);
    }

    #[test]
    fn lab_and_back(colour: [u8; 3]) {
        let colour = Srgb(colour);
        prop_assert_eq!(srgb(light_of_lab(lab(colour))), colour);
    }

    #[test]
    fn a_difference_is_the_same_both_ways(a: [u8; 3], b: [u8; 3]) {
        let [a, b] = [a, b].map(|colour| lab(Srgb(colour)));
        prop_assert!((difference(a, b) - difference(b, a)).abs() < 1e-9);
        prop_assert_eq!(difference(a, a), 0.0);
    }
}
