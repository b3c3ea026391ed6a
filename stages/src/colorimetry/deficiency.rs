//! Colours as seen with a colour-vision deficiency: the simulation of Machado, Oliveira & Fernandes (2009, IEEE TVCG
//! 15(6):1291–1298) at severity 1, where one kind of cone is missing.
//!
//! The matrices work on linear light, and what falls below 0 or above 1 is cut. Each keeps grey as it is. The model is of
//! the average observer; for tritan vision its authors call it an approximation. Most people with a deficiency have a milder
//! form, so what is told apart here they tell apart too.

use super::{Lab, lab_of_light, linear};
use crate::Srgb;

/// A kind of colour-vision deficiency.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Deficiency {
    /// The cones for long waves are missing: reds darken and are taken for greens.
    Protan,
    /// The cones for middle waves are missing: greens are taken for reds. The most frequent.
    Deutan,
    /// The cones for short waves are missing: blues are taken for greens. Rare.
    Tritan,
}

impl Deficiency {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Protan, Self::Deutan, Self::Tritan];

    /// The adjective: `protan`, `deutan` or `tritan`.
    #[must_use]
    pub const fn word(self) -> &'static str {
        ["protan", "deutan", "tritan"][self as usize]
    }

    /// Rows for red, green and blue.
    const fn matrix(self) -> [[f64; 3]; 3] {
        match self {
            Self::Protan => [
                [0.152_286, 1.052_583, -0.204_868],
                [0.114_503, 0.786_281, 0.099_216],
                [-0.003_882, -0.048_116, 1.051_998],
            ],
            Self::Deutan => [
                [0.367_322, 0.860_646, -0.227_968],
                [0.280_085, 0.672_501, 0.047_413],
                [-0.011_820, 0.042_940, 0.968_881],
            ],
            Self::Tritan => [
                [1.255_528, -0.076_749, -0.178_779],
                [-0.078_411, 0.930_809, 0.147_602],
                [0.004_733, 0.691_367, 0.303_900],
            ],
        }
    }

    /// Linear light that looks to anybody as `light` looks to somebody with this deficiency.
    #[must_use]
    pub fn light(self, [r, g, b]: [f64; 3]) -> [f64; 3] {
        self.matrix().map(|[m, n, o]| (m * r + n * g + o * b).clamp(0.0, 1.0))
    }

    /// A colour in CIELAB, as seen with this deficiency.
    #[must_use]
    pub fn lab(self, colour: Srgb) -> Lab {
        lab_of_light(self.light(linear(colour)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colorimetry::difference;

    /// The primaries and secondaries of sRGB.
    const SIX: [(char, Srgb); 6] = [
        ('R', Srgb([255, 0, 0])),
        ('Y', Srgb([255, 255, 0])),
        ('G', Srgb([0, 255, 0])),
        ('C', Srgb([0, 255, 255])),
        ('B', Srgb([0, 0, 255])),
        ('M', Srgb([255, 0, 255])),
    ];

    fn closest(seen: impl Fn(Srgb) -> Lab) -> (f64, String) {
        let mut least = (f64::INFINITY, String::new());
        for (i, (a, first)) in SIX.into_iter().enumerate() {
            for (b, second) in SIX.into_iter().skip(i + 1) {
                let apart = difference(seen(first), seen(second));
                if apart < least.0 {
                    least = (apart, format!("{a}{b}"));
                }
            }
        }
        least
    }

    /// The closest of the six to one another, reckoned with colour-science 0.4.7 (its copy of the authors' matrices, its sRGB,
    /// its ΔE00).
    #[test]
    fn the_closest_primaries_are_those_that_colour_science_finds() {
        let plain = closest(crate::colorimetry::lab);
        let found = Deficiency::ALL.map(|deficiency| closest(|colour| deficiency.lab(colour)));
        for ((apart, pair), (published, theirs)) in
            [plain].iter().chain(&found).zip([(23.402, "YG"), (4.070, "YG"), (8.655, "YG"), (9.272, "CG")])
        {
            let theirs: String = if *pair == theirs { theirs.into() } else { theirs.chars().rev().collect() };
            assert_eq!(*pair, theirs);
            assert!((apart - published).abs() < 0.01, "{pair}: {apart}, published {published}");
        }
    }

    /// Rows that sum to 1 keep grey: the authors' matrices do to 1e-6.
    #[test]
    fn greys_stay_as_they_are() {
        for deficiency in Deficiency::ALL {
            for level in [0.0, 0.2, 1.0] {
                for seen in deficiency.light([level; 3]) {
                    assert!((seen - level).abs() < 2e-6, "{deficiency:?} {level}: {seen}");
                }
            }
        }
    }
}
