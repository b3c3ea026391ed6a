//! Colours of the same hues that lie farther apart. See the module above for what is sought, and how.

use std::collections::BTreeMap;

use super::{GAP, GAP_DEFICIENT, GREY, HUE, NOTICEABLE, Palette, Seen, neighbours};
use crate::colorimetry::gamut::Printable;
use crate::colorimetry::{Lab, difference, lab, light_of_lab, srgb};
use crate::{Side, Six, Srgb};

/// Steps of lightness that are tried, from [`DARKEST`] on.
const LIGHTNESS_STEP: f64 = 5.0;
/// Below this L* print hardly shows a hue, and above [`LIGHTEST`] it is paper.
const DARKEST: f64 = 20.0;
const LIGHTEST: f64 = 95.0;
/// Chroma is tried at these shares of the chosen one: never below half, lest the colour lose its name.
const CHROMA: [f64; 6] = [0.5, 0.7, 0.85, 1.0, 1.25, 1.6];
/// So many steps of the search for each gap; a search that takes longer counts as found nothing.
const EFFORT: u32 = 200_000;

/// Colours whose smallest gap is wider.
pub(super) struct Wider {
    pub(super) colours: Six<Srgb>,
    /// Those that are suggested: sides with one colour.
    plain: Six<bool>,
    /// The smallest gap before and after, weighed as in [`Seen::weighed`].
    pub(super) before: f64,
    pub(super) after: f64,
}

impl Wider {
    /// The remedy, with lines of settings ready to paste.
    pub(super) fn in_words(&self) -> String {
        let sides = Side::ALL.into_iter().filter(|&side| self.plain[side]);
        let settings: Vec<String> = sides.map(|side| format!("{side}: \"{}\"", self.colours[side])).collect();
        format!(
            "these colours have the same hues and lie farther apart, the smallest gap {:.1} where it is {:.1} (gaps of a \
             deficiency counted {:.0} times): `colour: {{ {} }}`",
            self.after,
            self.before,
            GAP / GAP_DEFICIENT,
            settings.join(", ")
        )
    }
}

/// Finds such colours, if they gain noticeably.
pub(super) fn wider(palette: &Palette, printable: &Printable) -> Option<Wider> {
    let search = Search::new(palette, printable);
    let before = search.smallest_gap(&search.start())?;
    let mut found = search.widest()?;
    let after = search.smallest_gap(&found)?;
    if after < before + NOTICEABLE {
        return None;
    }
    search.draw_near(&mut found, after);
    let colours = Six::from_fn(|side| search.inks[search.ink_of[side]].choices[found[search.ink_of[side]]].colour);
    Some(Wider { colours, plain: palette.plain, before, after })
}

/// A colour that may be taken.
struct Choice {
    colour: Srgb,
    seen: Seen,
    /// ΔE00 to the chosen colour.
    off: f64,
}

/// One colour of the piece, on one side or on several, and what may take its place. The first choice is what is printed now.
struct Ink {
    choices: Vec<Choice>,
}

struct Search {
    inks: Vec<Ink>,
    ink_of: Six<usize>,
    /// For each pair of inks that lie on neighbouring sides, the lower first: gaps of all their choices.
    gaps: BTreeMap<(usize, usize), Gaps>,
}

/// Weighed gaps, a row for each choice of the first ink.
struct Gaps {
    columns: usize,
    gaps: Vec<f64>,
}

impl Gaps {
    fn at(&self, row: usize, column: usize) -> f64 {
        self.gaps[row * self.columns + column]
    }
}

/// For each ink the place of its choice.
type Taken = Vec<usize>;

impl Search {
    fn new(palette: &Palette, printable: &Printable) -> Self {
        let mut inks: Vec<Ink> = Vec::new();
        let mut known: Vec<(Srgb, bool)> = Vec::new();
        let ink_of = Six::from_fn(|side| {
            let key = (palette.chosen[side], palette.plain[side]);
            known.iter().position(|&other| other == key).unwrap_or_else(|| {
                known.push(key);
                inks.push(Ink { choices: choices(palette, side, printable) });
                known.len() - 1
            })
        });
        let mut gaps = BTreeMap::new();
        for (a, b) in neighbours() {
            let (a, b) = (ink_of[a].min(ink_of[b]), ink_of[a].max(ink_of[b]));
            if a != b && palette_differs(&known, a, b) {
                gaps.entry((a, b)).or_insert_with(|| all_gaps(&inks[a], &inks[b]));
            }
        }
        Self { inks, ink_of, gaps }
    }

    /// As it is printed now.
    fn start(&self) -> Taken {
        vec![0; self.inks.len()]
    }

    fn smallest_gap(&self, taken: &Taken) -> Option<f64> {
        self.gaps.iter().map(|(&(a, b), gaps)| gaps.at(taken[a], taken[b])).min_by(f64::total_cmp)
    }

    /// Choices with the largest smallest gap.
    fn widest(&self) -> Option<Taken> {
        let mut levels: Vec<f64> = self.gaps.values().flat_map(|gaps| gaps.gaps.iter().copied()).collect();
        levels.sort_unstable_by(f64::total_cmp);
        levels.dedup();
        let (mut best, mut low, mut high) = (None, 0, levels.len());
        while low < high {
            let middle = usize::midpoint(low, high);
            match self.with_gaps_of(levels[middle]) {
                Some(taken) => (best, low) = (Some(taken), middle + 1),
                None => high = middle,
            }
        }
        best
    }

    /// Choices all of whose gaps are `least` at least.
    fn with_gaps_of(&self, least: f64) -> Option<Taken> {
        let allowed = Allowed::new(self, least);
        let domains: Vec<u128> = self.inks.iter().map(|ink| all(ink.choices.len())).collect();
        let (mut taken, mut effort) = (self.start(), EFFORT);
        allowed.settle(&domains, all(self.inks.len()), &mut taken, &mut effort).then_some(taken)
    }

    /// Ink by ink, takes the choice nearest to the chosen colour that keeps the smallest gap, until nothing changes.
    fn draw_near(&self, taken: &mut Taken, least: f64) {
        // Each change brings a colour nearer, so it ends; the bound says when at the latest.
        for _ in 0..20 {
            let mut changed = false;
            for ink in 0..self.inks.len() {
                let choices = &self.inks[ink].choices;
                let keeps = |choice: usize| {
                    self.gaps.iter().all(|(&(a, b), gaps)| {
                        let gap = match ink {
                            _ if ink == a => gaps.at(choice, taken[b]),
                            _ if ink == b => gaps.at(taken[a], choice),
                            _ => return true,
                        };
                        gap >= least
                    })
                };
                let nearest = (0..choices.len())
                    .filter(|&choice| keeps(choice))
                    .min_by(|&a, &b| choices[a].off.total_cmp(&choices[b].off));
                if let Some(nearest) = nearest.filter(|&nearest| choices[nearest].off < choices[taken[ink]].off) {
                    taken[ink] = nearest;
                    changed = true;
                }
            }
            if !changed {
                break;
            }
        }
    }
}

/// Whether two inks are of different colours: a plain side and one with pictures may share theirs.
fn palette_differs(known: &[(Srgb, bool)], a: usize, b: usize) -> bool {
    known[a].0 != known[b].0
}

/// What may take the place of a side's colour.
fn choices(palette: &Palette, side: Side, printable: &Printable) -> Vec<Choice> {
    let chosen = lab(palette.chosen[side]);
    let choice = |colour: Srgb| {
        let seen = Seen::of(colour);
        Choice { colour, seen, off: difference(chosen, seen.plain) }
    };
    let mut choices = vec![choice(palette.printed[side])];
    if !palette.plain[side] {
        return choices;
    }
    let chroma = libm::hypot(chosen.a, chosen.b);
    let shares = if chroma < GREY { &[1.0][..] } else { &CHROMA[..] };
    let steps = ((LIGHTEST - DARKEST) / LIGHTNESS_STEP) as u32;
    for lightness in (0..=steps).map(|step| DARKEST + LIGHTNESS_STEP * f64::from(step)) {
        for share in shares {
            let wanted = Lab::new(lightness, share * chosen.a, share * chosen.b);
            let colour = srgb(light_of_lab(wanted));
            if choices.len() < u128::BITS as usize && keeps_hue(wanted, lab(colour)) && printable.is_in_gamut(colour) {
                choices.push(choice(colour));
            }
        }
    }
    choices
}

/// Whether a colour that was cut to sRGB and rounded is still what was wanted: within [`HUE`], or as grey.
fn keeps_hue(wanted: Lab, found: Lab) -> bool {
    // Two units are some levels: more was cut than rounded.
    let off = libm::hypot(libm::hypot(wanted.l - found.l, wanted.a - found.a), wanted.b - found.b);
    let chroma = libm::hypot(wanted.a, wanted.b);
    let turn = libm::atan2(wanted.a * found.b - wanted.b * found.a, wanted.a * found.a + wanted.b * found.b);
    off < 2.0 && (chroma < GREY || turn.abs().to_degrees() <= HUE)
}

fn all_gaps(a: &Ink, b: &Ink) -> Gaps {
    let gaps = a.choices.iter().flat_map(|a| b.choices.iter().map(|b| a.seen.weighed(&b.seen)));
    Gaps { columns: b.choices.len(), gaps: gaps.collect() }
}

fn all(count: usize) -> u128 {
    if count >= u128::BITS as usize { u128::MAX } else { (1 << count) - 1 }
}

/// Which choices go together at some least gap: for each pair of inks, in both orders, a bit for each choice of the second, a row
/// for each of the first.
struct Allowed(BTreeMap<(usize, usize), Vec<u128>>);

impl Allowed {
    fn new(search: &Search, least: f64) -> Self {
        let mut allowed = BTreeMap::new();
        for (&(a, b), gaps) in &search.gaps {
            let mut there = vec![0u128; search.inks[a].choices.len()];
            let mut back = vec![0u128; search.inks[b].choices.len()];
            for (row, there) in there.iter_mut().enumerate() {
                for (column, back) in back.iter_mut().enumerate() {
                    if gaps.at(row, column) >= least {
                        *there |= 1 << column;
                        *back |= 1 << row;
                    }
                }
            }
            allowed.insert((a, b), there);
            allowed.insert((b, a), back);
        }
        Self(allowed)
    }

    /// Settles the inks that are still open, whose choices are the bits of `domains`: the one with the fewest first, and for
    /// each of its choices what the others may still take.
    fn settle(&self, domains: &[u128], open: u128, taken: &mut Taken, effort: &mut u32) -> bool {
        let inks = (0..domains.len()).filter(|&ink| open >> ink & 1 == 1);
        let Some(ink) = inks.min_by_key(|&ink| domains[ink].count_ones()) else { return true };
        let rest = open & !(1 << ink);
        let mut left = domains[ink];
        while left != 0 {
            if *effort == 0 {
                return false;
            }
            *effort -= 1;
            let choice = left.trailing_zeros() as usize;
            left &= left - 1;
            let narrowed: Vec<u128> = domains
                .iter()
                .enumerate()
                .map(|(other, &domain)| match self.0.get(&(ink, other)) {
                    Some(rows) if rest >> other & 1 == 1 => domain & rows[choice],
                    _ => domain,
                })
                .collect();
            taken[ink] = choice;
            if narrowed.iter().all(|&domain| domain != 0) && self.settle(&narrowed, rest, taken, effort) {
                return true;
            }
        }
        false
    }
}

/// The largest smallest gap as it is found, and by trying every triple of choices of a palette of three colours.
#[cfg(test)]
pub(super) fn widest_and_brute_force(palette: &Palette) -> (f64, f64) {
    let search = Search::new(palette, &Printable::Every);
    let counts: Vec<usize> = search.inks.iter().map(|ink| ink.choices.len()).collect();
    let triples = (0..counts.iter().product())
        .map(|n: usize| vec![n % counts[0], n / counts[0] % counts[1], n / counts[0] / counts[1]]);
    let brute = triples.filter_map(|taken| search.smallest_gap(&taken)).fold(0.0, f64::max);
    let found = search.widest().and_then(|taken| search.smallest_gap(&taken));
    (found.unwrap_or_default(), brute)
}
