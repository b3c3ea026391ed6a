//! The parts put together, in section: cut through the pin that shows the most of them, each in a tint and hatched another way
//! than its neighbours. Without a pin there is no section.

use glam::DVec2;

use crate::Srgb;
use crate::chain::cut::{
    FOOT, HEAD, NAMES, Named, SHEET, Scale, THIN, bounds, broader, hatch, head, name_all, spot, upright,
};
use crate::division::{Division, Peg, PegKind, Segment};
use crate::formats::drawing::{Drawing, Layer, svg};
use crate::solid::Skin;
use crate::solid::section::{Upright, area, outlines};
use crate::stage::{Halt, Shop};

/// What parts are drawn in, one after the other.
const TINTS: [Srgb; 4] =
    [Srgb([0xc9, 0xc2, 0xb2]), Srgb([0xb4, 0xc3, 0xc9]), Srgb([0xc4, 0xcb, 0xb0]), Srgb([0xcf, 0xb9, 0xb4])];

/// Most pins of which the planes through them are compared.
const MOST_TRIED: usize = 32;
/// Left of the section.
const MARGIN: f64 = 8.0;

/// Draws the section as an artefact.
pub(super) fn draw(shop: &mut Shop<'_>, division: &Division) -> Result<(), Halt> {
    let Some(drawing) = drawing(division, shop.title()) else { return Ok(()) };
    let name = shop.free_name("parts-section.svg");
    let text = svg::text(&drawing);
    shop.artefact(&name, "the parts put together, in section through a pin: SVG", |out| {
        out.write_all(text.as_bytes())
    })?;
    shop.go_on()
}

/// What the plane cuts of a part.
struct Cut {
    number: usize,
    outlines: Vec<Vec<DVec2>>,
    /// Hatched the other way: neighbours along an axis differ.
    falling: bool,
}

/// The parts as the plane cuts them.
fn cut(division: &Division, skins: &[Skin], plane: Upright) -> Vec<Cut> {
    let parts = (1..).zip(division.segments.iter().zip(skins));
    let cut = |(number, (segment, skin)): (usize, (&Segment, &Skin))| Cut {
        number,
        outlines: outlines(&skin.points, &skin.triangles, plane),
        falling: segment.home.element_sum() % 2 == 1,
    };
    parts.map(cut).filter(|cut| !cut.outlines.is_empty()).collect()
}

fn shown(cuts: &[Cut]) -> f64 {
    cuts.iter().map(|cut| area(&cut.outlines)).sum()
}

pub(super) fn drawing(division: &Division, title: &str) -> Option<Drawing> {
    let first = division.segments.first()?.cells();
    let skins: Vec<Skin> = division.segments.iter().map(Segment::skin).collect();
    let pins = division.segments.iter().flat_map(|segment| &segment.pegs).filter(|peg| peg.kind == PegKind::Pin);
    let broad = broader(first)?;
    // Along the pin where it lies level, and where it stands along the broader way.
    let along = |peg: &Peg| if peg.side.axis() == 2 { broad } else { peg.side.axis() };
    let planes = pins.take(MOST_TRIED).map(|peg| upright(peg.middle(first.grid()), along(peg)));
    let tried = planes.map(|(plane, from)| (cut(division, &skins, plane), from));
    // Of pins on planes that show as much the first.
    let (cuts, from) =
        tried.reduce(|best, other| if shown(&other.0) > shown(&best.0) + 1e-9 { other } else { best })?;
    let all: Vec<Vec<DVec2>> = cuts.iter().flat_map(|cut| cut.outlines.iter().cloned()).collect();
    let [low, high] = bounds(&all)?;

    let room = DVec2::new(SHEET.x - NAMES - MARGIN, SHEET.y - HEAD - FOOT);
    let scale = Scale::that_fits(high - low, room);
    let size = (high - low) * scale.factor();
    let name =
        if title.is_empty() { "The parts in section".to_owned() } else { format!("The parts in section · {title}") };
    let mut drawing = Drawing::new(name.clone(), SHEET.x, size.y + HEAD + FOOT);
    let corner = DVec2::new(MARGIN + (room.x - size.x) / 2.0, FOOT);
    let place = |p: DVec2| corner + (p - low) * scale.factor();
    let mut named = Vec::new();
    for Cut { number, outlines, falling } in &cuts {
        let placed: Vec<Vec<DVec2>> =
            outlines.iter().map(|outline| outline.iter().map(|&p| place(p)).collect()).collect();
        let colour = TINTS[(number - 1) % TINTS.len()];
        drawing.fill(Layer::Note, colour, Some(THIN), placed.clone());
        hatch(&mut drawing, &placed, *falling);
        named.extend(spot(&placed).map(|at| Named { at, colour, name: format!("part {number}") }));
    }
    name_all(&mut drawing, named, SHEET.x - NAMES + 2.0);
    head(&mut drawing, &name, &format!("Put together and cut through a pin, seen from the {from}"), scale);
    Some(drawing)
}
