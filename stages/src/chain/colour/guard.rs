//! Holds ink back along edges between colours, so that what runs over an edge runs onto bare material.
//!
//! `best` predicts the print without a band and with bands of several widths, on both faces or on the one with the stronger
//! ink, and takes the one with the best margin ([`Scores::margin`]): how far the weakest score is on its way from failing to
//! holding, which is what the verdict hangs on. A band costs ink, and so colour: where none gains [`NOTICEABLE`] at least,
//! nothing is done.
//!
//! Limit: the prediction lays ink to any width. A process file does not say how fine the printer's dots are; a band narrower
//! than a few of them comes out ragged.

use std::borrow::Cow;
use std::fmt;
use std::sync::Arc;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::value::MapAccessDeserializer;
use serde::de::{self, Deserializer, MapAccess, Visitor};
use serde::{Deserialize, Serialize, Serializer};

use super::writing::inks;
use crate::findings::{Fact, Finding, Unit};
use crate::formats::{ColouredMesh, threemf};
use crate::paint::{Guard, GuardOn, Paint};
use crate::print::Around;
use crate::print::press::{Figures, Press, held_edges};
use crate::print::scores::Scores;
use crate::process::Process;
use crate::solid::Skin;
use crate::solid::banded::{Banded, banded};
use crate::stage::{Halt, Misfit, Shop};
use crate::workpiece::Workpiece;
use crate::{Length, Srgb};

/// What a job says about a guard band.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum GuardWish {
    /// No band.
    #[default]
    None,
    /// The best band, if one is worth it.
    Best,
    /// This band.
    Band(GuardBand),
}

/// A band as a job writes it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(inline)]
pub struct GuardBand {
    /// Its width on a face, in mm; below half a cell.
    pub width: Length,
    /// On which of the two faces at an edge: `both`, or the `stronger` ink's.
    #[serde(default = "GuardBand::both")]
    pub on: GuardOn,
}

impl GuardBand {
    const fn both() -> GuardOn {
        GuardOn::Both
    }
}

/// A band is worth it from this gain of margin on: a twentieth of the way from failing to holding. It answers to about 1 %
/// of the area more that is named right, or to 1.25 % more of the separation (common practice, no source: below that no two prints
/// are alike).
const NOTICEABLE: f64 = 0.05;

/// The widths tried, as multiples of the bleed: thinner ones hold nothing back, wider ones leave more bare than runs.
const WIDTHS: [f64; 5] = [0.25, 0.5, 0.75, 1.0, 1.5];

/// The widest band tried, as a share of a cell: a face shall stay mostly ink.
const WIDEST: f64 = 0.25;

/// How many times as many triangles a face with bands on all sides has.
const GROWTH: f64 = 5.0;

impl GuardWish {
    /// How many times more there may be to hold and to write.
    pub(super) fn growth(&self) -> f64 {
        if *self == Self::None { 1.0 } else { GROWTH }
    }
}

/// A guard that was laid.
pub(super) struct Laid {
    /// The skin cut along it.
    pub(super) cut: Banded,
    /// Which edges of each face have a band.
    pub(super) held: Vec<[bool; 4]>,
    /// How wide it is, in mm.
    pub(super) width: f64,
    /// The bare material that it shows.
    pub(super) bare: Srgb,
}

/// Lays the guard that the job wishes: puts it on the paint and gives the skin cut along it, or does neither, and says why.
pub(super) fn lay(
    wish: &GuardWish,
    paint: &mut Paint,
    piece: &Workpiece,
    skin: &Skin,
    shop: &mut Shop<'_>,
) -> Result<Option<Laid>, Halt> {
    let cells = piece.cells().expect("the plan saw to it");
    let cell = cells.grid().cell;
    let around = || Arc::new(Around::of(cells, piece.void(), &paint.faces));
    let (guard, around) = match *wish {
        GuardWish::None => return Ok(None),
        GuardWish::Band(band) => (checked(band, cell)?, around()),
        GuardWish::Best => {
            let around = around();
            match best(paint, cells.grid(), &around, shop)? {
                Some(guard) => (guard, around),
                None => return Ok(None),
            }
        }
    };
    shop.go_on()?;
    let held = held_edges(paint, &around, guard);
    let Some(cut) = banded(skin, &paint.faces, cells.grid(), &held, guard.width) else {
        shop.finding(Finding::note(
            "guard-left-out",
            "the surface could not be cut along the guard band, and the piece is coloured without one",
            "leave `colour.guard` out",
        ));
        return Ok(None);
    };
    if let Some(limit) = beyond_limits(&cut, paint, shop.process())? {
        shop.finding(Finding::caution(
            "guard-left-out",
            format!("with a guard band the file would have {limit}, and the piece is coloured without one"),
            "leave `colour.guard` out, or make `voxelise.cell` larger",
        ));
        return Ok(None);
    }
    say(&cut, guard, shop);
    paint.guard = Some(guard);
    Ok(Some(Laid { cut, held, width: guard.width, bare: shop.process().bare() }))
}

fn checked(band: GuardBand, cell: f64) -> Result<Guard, Misfit> {
    let width = band.width.mm();
    if width > 0.0 && width < cell / 2.0 {
        return Ok(Guard { width, on: band.on });
    }
    Err(Misfit::new(
        "guard.width",
        format!(
            "a guard band must be wider than 0 mm and narrower than half a cell ({}), not {}",
            Length::from_mm(cell / 2.0).rounded(),
            band.width
        ),
        "write a width of about the process's `bleed`, or `guard: best`",
    ))
}

/// What of the file's limits a cut skin would break.
fn beyond_limits(cut: &Banded, paint: &Paint, process: &Process) -> Result<Option<String>, Halt> {
    let (triangles, most) = (cut.skin.triangles.len() as u64, process.most_triangles.value);
    if triangles > most {
        return Ok(Some(format!("{triangles} triangles, and the process takes {most} at most")));
    }
    let (colours, ink) = inks(&cut.skin, paint, Some(&cut.band), process.bare());
    let mesh = ColouredMesh { points: &cut.skin.points, triangles: &cut.skin.triangles, colours: &colours, ink: &ink };
    let mut file = Vec::new();
    let halt = |error| Halt::Shelf { name: super::ORDERED.to_owned(), error };
    threemf::write(&mesh, "", &mut file).map_err(halt)?;
    let (bytes, most) = (file.len() as u64 + LONGEST_TITLE, process.most_bytes.value);
    Ok((bytes > most).then(|| format!("{bytes} bytes, and the process takes {most} at most")))
}

/// What a title adds to a file at most, in bytes, far above any that is written.
const LONGEST_TITLE: u64 = 4096;

/// A band that was tried.
struct Tried {
    guard: Guard,
    margin: f64,
    scores: Scores,
}

/// The best band, if one is worth it.
fn best(
    paint: &Paint,
    grid: &crate::solid::Grid,
    around: &Arc<Around>,
    shop: &mut Shop<'_>,
) -> Result<Option<Guard>, Halt> {
    let process = shop.process().clone();
    let figures = Figures::stated(&process);
    let score = |guard: Option<Guard>| {
        let paint = Paint { guard, ..paint.clone() };
        let scores = Scores::of(&Press::new(*grid, Arc::clone(around), &paint, &process), &figures);
        (scores.margin().unwrap_or_default(), scores)
    };
    let (margin, without) = score(None);
    let mut tried: Vec<Tried> = Vec::new();
    for width in widths(figures.bleed, grid.cell) {
        for on in [GuardOn::Both, GuardOn::Stronger] {
            shop.go_on()?;
            let guard = Guard { width, on };
            let (margin, scores) = score(Some(guard));
            tried.push(Tried { guard, margin, scores });
        }
    }
    let row = |width: String, on: &str, margin: f64, scores: &Scores| {
        let percent = |share: f64| format!("{:.1}", share * 100.0);
        let named = scores.legibility().map_or_else(String::new, |(named, _)| percent(named));
        let kept = scores.least_separation().map_or_else(String::new, |pair| percent(pair.kept()));
        vec![width, on.to_owned(), named, kept, percent(margin)]
    };
    let mut rows = vec![row("none".to_owned(), "", margin, &without)];
    rows.extend(tried.iter().map(|t| row(format!("{:.2}", t.guard.width), word(t.guard.on), t.margin, &t.scores)));
    shop.fact(Fact::table(
        "guard bands tried",
        &["width, mm", "on", "named right, %", "separation kept, %", "way from failing to holding, %"],
        rows,
    ));
    // Of equal ones the first, which is the narrowest.
    let best = tried.into_iter().reduce(|best, other| if other.margin > best.margin { other } else { best });
    let gain = best.as_ref().map_or(0.0, |best| best.margin - margin);
    shop.fact(Fact::number("guard gain", gain.max(0.0) * 100.0, Unit::Percent));
    if let Some(best) = best.filter(|_| gain >= NOTICEABLE) {
        return Ok(Some(best.guard));
    }
    shop.finding(Finding::note(
        "guard-no-gain",
        format!(
            "no guard band makes the effect noticeably surer (the best gains {:.1} % of the way from failing to holding, and \
             {:.0} % would count): the piece is coloured without one",
            gain.max(0.0) * 100.0,
            NOTICEABLE * 100.0
        ),
        "nothing needs doing; `guard: none` saves the trying",
    ));
    Ok(None)
}

/// The widths to try, to the hundredth of a mm, rising.
fn widths(bleed: f64, cell: f64) -> Vec<f64> {
    let widths = WIDTHS.map(|share| (share * bleed * 100.0).round() / 100.0);
    let mut widths: Vec<f64> = widths.into_iter().filter(|&width| width > 0.0 && width <= WIDEST * cell).collect();
    widths.dedup();
    widths
}

const fn word(on: GuardOn) -> &'static str {
    match on {
        GuardOn::Both => "both",
        GuardOn::Stronger => "stronger",
    }
}

fn say(cut: &Banded, guard: Guard, shop: &mut Shop<'_>) {
    let area = |&[a, b, c]: &[u32; 3]| {
        let [a, b, c] = [a, b, c].map(|i| cut.skin.points[i as usize]);
        (b - a).cross(c - a).length() / 2.0
    };
    let bare: f64 = cut.skin.triangles.iter().zip(&cut.band).filter(|(_, band)| **band).map(|(t, _)| area(t)).sum();
    shop.fact(Fact::number("guard width", guard.width, Unit::Mm));
    shop.fact(Fact::text("guard on", word(guard.on)));
    shop.fact(Fact::number("guard area", bare / 100.0, Unit::Cm2));
}

impl Serialize for GuardWish {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::None => serializer.serialize_str("none"),
            Self::Best => serializer.serialize_str("best"),
            Self::Band(band) => band.serialize(serializer),
        }
    }
}

impl<'de> Deserialize<'de> for GuardWish {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct WishVisitor;
        impl<'de> Visitor<'de> for WishVisitor {
            type Value = GuardWish;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("`none`, `best`, or a map such as { width: 0.2 mm, on: both }")
            }

            fn visit_str<E: de::Error>(self, word: &str) -> Result<GuardWish, E> {
                match word {
                    "none" => Ok(GuardWish::None),
                    "best" => Ok(GuardWish::Best),
                    _ => Err(E::invalid_value(de::Unexpected::Str(word), &self)),
                }
            }

            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<GuardWish, A::Error> {
                GuardBand::deserialize(MapAccessDeserializer::new(map)).map(GuardWish::Band)
            }
        }
        deserializer.deserialize_any(WishVisitor)
    }
}

impl JsonSchema for GuardWish {
    fn schema_name() -> Cow<'static, str> {
        "Guard".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "description": "none, best, or the width of a band and the faces it lies on",
            "anyOf": [{ "enum": ["none", "best"] }, GuardBand::json_schema(generator)]
        })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use std::collections::BTreeMap;

    use glam::{DVec3, IVec3};
    use serde_json::{Value, json};

    use super::*;
    use crate::chain::colour::Colour;
    use crate::chain::validate::Validate;
    use crate::conformance::{Folder, process};
    use crate::findings::Severity;
    use crate::formats::threemf::read;
    use crate::solid::{Cells, Grid};
    use crate::stage::{Outcome, erase};

    fn staircase(cell: f64) -> Workpiece {
        let grid = Grid { origin: DVec3::ZERO, cell, counts: IVec3::splat(6) };
        Workpiece::default().with_cells(Cells::from_fn(grid, |c| c.x + c.y + c.z < 7))
    }

    fn coloured(cell: f64, guard: &Value, process: &Process) -> Result<(Workpiece, Outcome, Outcome), Halt> {
        spoilt(cell, guard, process, None)
    }

    /// What is done to the triangles' colours in the file before it is measured.
    type Spoil<'a> = &'a dyn Fn(&mut Vec<Srgb>);

    /// Colours the staircase, spoils the file, and measures it; what both stages said.
    fn spoilt(
        cell: f64,
        guard: &Value,
        process: &Process,
        spoil: Option<Spoil<'_>>,
    ) -> Result<(Workpiece, Outcome, Outcome), Halt> {
        let folder = tempfile::tempdir().unwrap();
        let (files, cancel) = (BTreeMap::new(), std::sync::atomic::AtomicBool::new(false));
        let mut shelf = Folder::at(folder.path().to_owned());
        let colour = erase::<Colour>()
            .read(json!({
                "right": "tomato", "left": "teal", "back": "gold", "front": "seagreen", "top": "ivory", "bottom": "indigo",
                "guard": guard,
            }))
            .unwrap();
        let mut shop = Shop::new(process, &files, &[], &cancel, &mut shelf);
        let piece = colour.run(staircase(cell), &mut shop)?;
        let said = shop.close();
        if let Some(spoil) = spoil {
            let path = &piece.order().unwrap().path;
            let limits = read::Limits { part_bytes: 1 << 24, triangles: 1 << 20 };
            let model = read::read(std::io::Cursor::new(std::fs::read(path).unwrap()), limits).unwrap();
            let mut colours: Vec<Srgb> = model.colours.iter().map(|colour| colour.unwrap()).collect();
            spoil(&mut colours);
            let ink: Vec<u32> = (0..colours.len() as u32).collect();
            let (points, triangles) = (&model.points, &model.triangles);
            let mesh = ColouredMesh { points, triangles, colours: &colours, ink: &ink };
            threemf::write(&mesh, "", &mut std::fs::File::create(path).unwrap()).unwrap();
        }
        let mut shop = Shop::new(process, &files, &[], &cancel, &mut shelf);
        let piece = erase::<Validate>().read(json!({})).unwrap().run(piece, &mut shop)?;
        Ok((piece, said, shop.close()))
    }

    fn fact<'a>(outcome: &'a Outcome, name: &str) -> &'a crate::findings::Value {
        &outcome.facts.iter().find(|fact| fact.name == name).unwrap_or_else(|| panic!("{name}")).value
    }

    #[test]
    fn a_guarded_piece_passes_validation() {
        for on in ["both", "stronger"] {
            let guard = json!({ "width": "0.3 mm", "on": on });
            let (piece, said, measured) = coloured(3.0, &guard, &process()).unwrap();
            assert!(piece.paint().unwrap().guard.is_some());
            let faults = measured.findings.iter().filter(|finding| finding.severity == Severity::Fault);
            assert_eq!(faults.collect::<Vec<_>>(), Vec::<&Finding>::new());
            let crate::findings::Value::Number(bare) = fact(&said, "guard area") else { panic!() };
            assert!(*bare > 0.0);
            // What the file shows bare is what was left bare, measured anew.
            let crate::findings::Value::Number(found) = fact(&measured, "area of guard bands") else { panic!() };
            assert!((found - bare).abs() < 1e-6, "{found} {bare}");
        }
    }

    #[test]
    fn a_wrong_colour_is_found_among_bands() {
        const BARE: Srgb = Srgb([0xff; 3]);
        let inked = |colours: &mut Vec<Srgb>| *colours.iter_mut().find(|c| **c != BARE).unwrap() = BARE;
        let filled = |colours: &mut Vec<Srgb>| {
            let at = colours.iter().position(|&c| c == BARE).unwrap();
            // A face's core comes before its bands.
            colours[at] = colours[..at].iter().rev().copied().find(|&c| c != BARE).unwrap();
        };
        let mixed = |colours: &mut Vec<Srgb>| *colours.iter_mut().find(|c| **c != BARE).unwrap() = Srgb([1, 2, 3]);
        let spoils: [(Spoil<'_>, &str); 3] =
            [(&inked, "wrong-colour"), (&filled, "guard-wrong"), (&mixed, "wrong-colour")];
        for (spoil, code) in spoils {
            let (_, _, measured) = spoilt(3.0, &json!({ "width": "0.4 mm" }), &process(), Some(spoil)).unwrap();
            let found = measured.findings.iter().any(|f| f.code == code && f.severity == Severity::Fault);
            assert!(found, "{code}: {:?}", measured.findings);
        }
    }

    #[test]
    fn widths_that_make_no_sense_are_refused() {
        for width in ["0 mm", "-1 mm", "1.5 mm", "2 mm"] {
            match coloured(3.0, &json!({ "width": width }), &process()) {
                Err(Halt::Misfit(misfit)) => assert_eq!(misfit.setting, "guard.width"),
                other => panic!("{width}: {:?}", other.map(|o| o.1)),
            }
        }
        for guard in [json!("some"), json!({ "on": "both" }), json!({ "width": "1 mm", "on": "left" }), json!(3)] {
            assert!(serde_json::from_value::<GuardWish>(guard.clone()).is_err(), "{guard}");
        }
    }

    #[test]
    fn a_file_beyond_its_limits_is_written_without_bands() {
        let narrow = |change: fn(&mut Process)| {
            let mut process = process();
            change(&mut process);
            let (piece, said, _) = coloured(3.0, &json!({ "width": "0.3 mm" }), &process).unwrap();
            assert!(piece.paint().unwrap().guard.is_none());
            assert!(said.findings.iter().any(|finding| finding.code == "guard-left-out"), "{:?}", said.findings);
        };
        narrow(|process| process.most_triangles.value = 1000);
        narrow(|process| process.most_bytes.value = 10_000);
    }

    #[test]
    fn where_nothing_is_gained_nothing_is_done() {
        // Without bleed there is nothing to hold back; with much of it on small cells a band is tried and judged.
        let mut dry = process();
        dry.bleed.value = Length::from_mm(0.0);
        let (piece, said, _) = coloured(3.0, &json!("best"), &dry).unwrap();
        assert_eq!(piece.paint().unwrap().guard, None);
        assert!(said.findings.iter().any(|finding| finding.code == "guard-no-gain"));

        let (piece, said, _) = coloured(1.0, &json!("best"), &process()).unwrap();
        let crate::findings::Value::Table { rows, .. } = fact(&said, "guard bands tried") else { panic!() };
        // Widths up to a quarter of a cell: 0.08, 0.15 and 0.22 mm of 0.3 mm, on both faces or one.
        assert_eq!(rows.len(), 1 + 3 * 2);
        let crate::findings::Value::Number(gain) = fact(&said, "guard gain") else { panic!() };
        assert_eq!(piece.paint().unwrap().guard.is_some(), *gain >= 100.0 * NOTICEABLE);
    }
}
