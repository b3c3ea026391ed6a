//! Whether the size of a piece makes sense, and which unit would make it so.

use glam::DVec3;

use crate::Length;
use crate::process::Process;

/// The longest extent in mm that makes sense for a sculpture of cubes, from and to: from a bead to a figure larger than a
/// person. Common practice, no source. A process with a larger build volume raises the upper one.
pub const SENSIBLE: [f64; 2] = [10.0, 2000.0];

/// The units of models with their mm (1 in = 25.4 mm and 1 ft = 304.8 mm exactly: international yard and pound agreement
/// of 1959), the ones that are met most often first.
const UNITS: [(&str, f64); 6] = [("mm", 1.0), ("m", 1000.0), ("in", 25.4), ("cm", 10.0), ("ft", 304.8), ("um", 0.001)];

/// A size that makes no sense.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// Width, depth and height in mm.
    pub size: DVec3,
    /// What would make it sensible, the likeliest first; empty if no unit does.
    pub guesses: Vec<Guess>,
}

/// A unit that may be meant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Guess {
    /// The unit that the job would say now.
    pub said: &'static str,
    /// The unit that would be meant.
    pub meant: &'static str,
    /// The longest extent in mm that the piece would have.
    pub longest: f64,
}

impl Doubt {
    /// Doubts a size in mm for a process. `said` is the unit that the job names, where that is known; otherwise either the
    /// job or the model has mm. `None` if the size makes sense.
    #[must_use]
    pub fn of(size: DVec3, process: &Process, said: Option<&str>) -> Option<Self> {
        let longest = size.max_element();
        let room = process.build_volume.value.map(Length::mm);
        let most = room.into_iter().fold(SENSIBLE[1], f64::max);
        let sensible = SENSIBLE[0]..=most;
        if sensible.contains(&longest) {
            return None;
        }
        let pairs = UNITS.iter().flat_map(|now| UNITS.iter().map(move |then| (now, then))).filter(|(now, then)| {
            now.0 != then.0 && said.map_or(now.0 == "mm" || then.0 == "mm", |said| said == now.0)
        });
        let guesses = pairs.filter_map(|(now, then)| {
            let factor = then.1 / now.1;
            let guess = Guess { said: now.0, meant: then.0, longest: longest * factor };
            sensible.contains(&guess.longest).then(|| (guess, fits(size * factor, room)))
        });
        let mut guesses: Vec<(Guess, bool)> = guesses.collect();
        // A size that the process can print is the likelier one.
        guesses.sort_by_key(|&(_, fits)| !fits);
        Some(Self { size, guesses: guesses.into_iter().map(|(guess, _)| guess).take(MOST_GUESSES).collect() })
    }

    /// The doubt as a sentence without its full stop.
    #[must_use]
    pub fn in_words(&self) -> String {
        let [x, y, z] = self.size.to_array().map(short);
        let kind = if self.size.max_element() < SENSIBLE[0] { "small" } else { "large" };
        let size = format!("this piece would be {x} × {y} × {z} mm, which is very {kind} for a sculpture");
        if self.guesses.is_empty() { size } else { format!("{size}; {}", self.guesses_in_words()) }
    }

    /// The units that may be meant, as a question.
    #[must_use]
    pub fn guesses_in_words(&self) -> String {
        let guess = |guess: &Guess| {
            format!("in {}, not {} ({} mm at its longest)", guess.meant, guess.said, short(guess.longest))
        };
        let guesses: Vec<String> = self.guesses.iter().map(guess).collect();
        format!("is the model {}?", guesses.join(", or "))
    }
}

/// Units that are offered at most.
const MOST_GUESSES: usize = 2;

/// Whether a box fits into a room, its sides along the room's, in whatever order.
fn fits(size: DVec3, room: [f64; 3]) -> bool {
    let sorted = |mut sides: [f64; 3]| {
        sides.sort_by(f64::total_cmp);
        sides
    };
    sorted(size.to_array()).iter().zip(sorted(room)).all(|(&side, room)| side <= room)
}

/// A length in three digits or a little more, without zeros behind.
fn short(mm: f64) -> String {
    let digits = match mm {
        100.0.. => 0,
        10.0..100.0 => 1,
        1.0..10.0 => 2,
        0.0001..1.0 => 4,
        _ => return format!("{mm:.1e}"),
    };
    if mm >= 1e9 {
        return format!("{mm:.1e}");
    }
    let text = format!("{mm:.digits$}");
    if digits == 0 { text } else { text.trim_end_matches('0').trim_end_matches('.').to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conformance::process;

    fn doubt(size: [f64; 3], said: Option<&str>) -> Option<Doubt> {
        Doubt::of(size.into(), &process(), said)
    }

    fn meant(size: [f64; 3], said: Option<&str>) -> Vec<[&'static str; 2]> {
        doubt(size, said).unwrap_or_else(|| panic!("{size:?}")).guesses.iter().map(|g| [g.said, g.meant]).collect()
    }

    #[test]
    fn sizes_of_sculptures_raise_no_doubt() {
        for longest in [10.0, 180.0, 2000.0] {
            assert_eq!(doubt([longest / 2.0, longest, 1e-3], None), None);
        }
        // A process that prints 4 m pieces makes them sensible.
        let mut large = process();
        large.build_volume.value = [4000.0; 3].map(Length::from_mm);
        assert_eq!(Doubt::of(DVec3::splat(3000.0), &large, None), None);
        assert!(Doubt::of(DVec3::splat(3000.0), &process(), None).is_some());
    }

    #[test]
    fn units_that_make_sense_are_guessed() {
        // 0.18 m; 7 in; 20 cm. The test process prints 250 × 380 × 200 mm.
        assert_eq!(meant([0.1, 0.08, 0.18], Some("mm")), [["mm", "m"], ["mm", "ft"]]);
        assert_eq!(meant([3.0, 2.0, 7.0], Some("mm")), [["mm", "in"], ["mm", "cm"]]);
        // 180 mm as m, in and cm: 180 000, 4572 and 1800 mm, of which the last may be.
        assert_eq!(meant([1e5, 5e4, 1.8e5], Some("m")), [["m", "mm"], ["m", "cm"]]);
        assert_eq!(meant([2540.0, 1270.0, 4572.0], Some("in")), [["in", "mm"], ["in", "cm"]]);
        // Where nobody says the unit of the job, one of the two is mm.
        assert_eq!(meant([0.1, 0.08, 0.18], None), [["mm", "m"], ["mm", "ft"]]);
        assert!(meant([1e5, 5e4, 1.8e5], None).contains(&["m", "mm"]));
        // A model of the solar system.
        assert_eq!(meant([1e15; 3], None), [] as [[&str; 2]; 0]);
        assert_eq!(meant([0.0; 3], None), [] as [[&str; 2]; 0]);
    }

    #[test]
    fn doubts_in_words() {
        let words = |size| doubt(size, Some("mm")).map(|doubt| doubt.in_words()).unwrap_or_default();
        assert_eq!(
            words([0.1, 0.08, 0.18]),
            "this piece would be 0.1 × 0.08 × 0.18 mm, which is very small for a sculpture; is the model in m, not mm \
             (180 mm at its longest), or in ft, not mm (54.9 mm at its longest)?"
        );
        assert_eq!(
            words([1e12, 1e12, 1e12]),
            "this piece would be 1.0e12 × 1.0e12 × 1.0e12 mm, which is very large for a sculpture"
        );
    }
}
