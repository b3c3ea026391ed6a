//! The parts put together, in section: cut through a pin, each in a tint and hatched another way than its neighbours.

use glam::DVec2;

use crate::Srgb;
use crate::chain::cut::{
    FOOT, HEAD, NAMES, Named, SHEET, Scale, THIN, bounds, broader, hatch, head, name_all, spot, upright,
};
use crate::division::{Division, Segment};
use crate::formats::drawing::{Drawing, Layer, svg};
use crate::solid::section::outlines;
use crate::stage::{Halt, Shop};

/// What parts are drawn in, one after the other.
const TINTS: [Srgb; 4] =
    [Srgb([0xc9, 0xc2, 0xb2]), Srgb([0xb4, 0xc3, 0xc9]), Srgb([0xc4, 0xcb, 0xb0]), Srgb([0xcf, 0xb9, 0xb4])];

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

pub(super) fn drawing(division: &Division, title: &str) -> Option<Drawing> {
    let (first, pegs) = (division.segments.first()?, division.segments.iter().flat_map(|segment| &segment.pegs));
    let grid = first.cells().grid();
    let [low, high] = first.bounds();
    let middle = low.midpoint(high);
    let (through, axis) = pegs.clone().next().map_or((middle, 2), |peg| (peg.middle(grid), peg.side.axis()));
    let (plane, from) = upright(through, if axis == 2 { broader(first.cells())? } else { axis });
    let cut = |(number, segment): (usize, &Segment)| {
        let skin = segment.skin();
        let outlines = outlines(&skin.points, &skin.triangles, plane);
        Cut { number, outlines, falling: segment.home.element_sum() % 2 == 1 }
    };
    let cuts: Vec<Cut> = (1..).zip(&division.segments).map(cut).filter(|cut| !cut.outlines.is_empty()).collect();
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
    let pin = if pegs.clone().next().is_none() { "the middle of part 1" } else { "a pin" };
    head(&mut drawing, &name, &format!("Put together and cut through {pin}, seen from the {from}"), scale);
    Some(drawing)
}
