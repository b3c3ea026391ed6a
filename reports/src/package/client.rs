//! The sheet for the client: what the piece shows as it turns, its measures, and how to care for it.

use askama::Template;
use turnhue_stages::Side;

use super::{Ordered, Undrawn, counted, fact, value};
use crate::facts;
use crate::record::Record;
use crate::said;
use crate::shell::Shell;
use crate::views::{self, CornerView, Pictures, Shot, SideView};

/// The stage that makes what carries the piece.
const STAND: &str = "stand";

/// Digits of a digest that people compare.
const SHORT: usize = 16;

#[derive(Template)]
#[template(path = "client-sheet.html", whitespace = "minimize")]
struct Page<'a> {
    record: &'a Record,
    shell: Shell,
    corners: Vec<CornerView>,
    /// The four upright sides in the order of a turn, then top and bottom.
    sides: [Vec<SideView>; 2],
    figures: Vec<(&'static str, String)>,
    /// What the stand was made for: name and value.
    stand: Vec<(String, String)>,
    care: Vec<Advice>,
    /// The beginning of the digest of each ordered file.
    files: Vec<(&'a str, String)>,
}

/// A heading and what to do.
type Advice = (&'static str, &'static str);

pub(super) fn draw(record: &Record, ordered: &[Ordered<'_>], pictures: Pictures<'_>) -> Result<String, Undrawn> {
    let told = crate::colours::of_sides(record);
    let (ends, turning) = views::sides(record, told, pictures)
        .into_iter()
        .partition(|view| matches!(view.side, Side::Top | Side::Bottom));
    let page = Page {
        record,
        shell: Shell::of(record)?.on(record.package.as_ref().and_then(|package| package.paper).map(super::Paper::word)),
        corners: views::corners(record, pictures),
        sides: [turning, ends],
        figures: figures(record, ordered.len()),
        stand: stand(record),
        care: CARE.to_vec(),
        files: ordered
            .iter()
            .map(|ordered| (ordered.file.name.as_str(), ordered.file.blake3.chars().take(SHORT).collect()))
            .collect(),
    };
    Ok(page.render()?)
}

/// The measures for which a client asks.
fn figures(record: &Record, parts: usize) -> Vec<(&'static str, String)> {
    let known = |name: &'static str, fact: &str| value(record, fact).map(|value| (name, value));
    let mut figures = Vec::new();
    figures.extend(known("Width × depth × height", "size"));
    figures.extend(known("Weight, without stand", "weight"));
    figures.extend(known("Cubes", "cells after repair").or_else(|| known("Cubes", "cells")));
    figures.extend(known("Edge of a cube", "cell"));
    figures.extend((parts > 1).then(|| ("Printed in", counted(parts, "part", "parts"))));
    figures.push(("Printed by", record.process.family.name().to_owned()));
    figures
}

/// What the stand says that matters to whoever sets the piece up: how fast it may turn, what room it needs, what it weighs.
fn stand(record: &Record) -> Vec<(String, String)> {
    const ASKED: [(&str, &str); 6] = [
        ("Turns a minute, at least", "slowest recommended speed"),
        ("Turns a minute, at most", "fastest recommended speed"),
        ("Room that it needs: diameter", "swept diameter"),
        ("Room that it needs: height", "swept height"),
        ("Weight with its stand", "weight that turns"),
        ("Tips over at a tilt of", "tipping angle on the stand"),
    ];
    let Some((_, stage)) = facts::stage(record, STAND) else { return Vec::new() };
    let said = |&(label, name): &(&str, &str)| Some((label.to_owned(), said::value(facts::fact(stage, name)?)));
    ASKED.iter().filter_map(said).collect()
}

/// Care of a piece that is looked at: common practice for coloured prints, no source.
const CARE: [Advice; 6] = [
    (
        "Light",
        "No direct sun and no spotlight close by: pigments fade, and warmth can bend thin walls. A room’s own light is fine, and a \
         lamp from the side shows the change best.",
    ),
    ("Dust", "A soft dry brush, from the top down, with no pressure on single cubes. No cloth: it catches on corners."),
    (
        "Water",
        "No water, no cleaners, no solvents, and not in a bath, a kitchen or outdoors: colours run and the material softens.",
    ),
    (
        "Lifting",
        "With both hands at the base, from below. Never by an arm, an edge or the top; take it off its stand before you carry it.",
    ),
    (
        "Where it stands",
        "Level, firm, and below head height, where nobody brushes past: corners are sharp, and what falls can hurt. The shelf must \
         carry piece, stand and case together.",
    ),
    (
        "Children and animals",
        "It is no toy. Cubes can break off and be swallowed: keep it from children under three, from pets, and from food.",
    ),
];

impl Page<'_> {
    /// How the piece looks as it turns, in words: the sides in order with their colours.
    fn turns(&self) -> bool {
        self.sides[0].len() == 4
    }

    /// Whether a speed is known.
    fn has_speed(&self) -> bool {
        self.stand.iter().any(|(name, _)| name.starts_with("Turns"))
    }

    /// What a side carries beside its colour, if it was told.
    #[allow(clippy::unused_self, reason = "called from the template")]
    fn is_hollow(&self) -> bool {
        fact(self.record, "void").is_some()
    }
}
