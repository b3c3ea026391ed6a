//! `split`: divides a piece that is too large for the printer into parts that are printed one by one and joined.
//!
//! 1. The piece is cut along planes between cells, as few as make every part fit, where the cuts show least (`cuts`).
//! 2. Bits that a cut leaves loose go with a neighbour across the seam, if they can; each part is one body (`bodies`).
//! 3. Two pins of different width and their sockets hold the parts of a seam in place (`seams`).
//! 4. A hollow piece has its parts hollowed one by one, with a wall along the seam as well; an opening through each seam lets
//!    powder out before joining, and leads from cavity to cavity afterwards (`cavities`).
//! 5. Each part is written, and pictured among the others (`written`).
//!
//! Guarantees: put together, the parts are cell for cell the whole piece, and no cell is in two of them; every part is one
//! body by faces where the piece is; a part never touches itself in an edge or a corner where the piece does not; outside
//! faces keep their colour, and faces on a seam get that of the inside; parts join in straight moves, those in a row along x
//! first, then rows along y, then layers along z.
//!
//! Not guaranteed: that loose bits are few. What cannot go with a neighbour becomes a part of its own.
//!
//! Facts: `parts`, `cuts`, `seam on show`, `parts of the piece` (a table).

mod bodies;
mod cavities;
mod cuts;
mod inside;
mod seams;
mod written;

#[cfg(test)]
mod tests;

use std::sync::Arc;

use glam::DVec3;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Length;
use crate::division::{Division, Segment, paint_of_part};
use crate::findings::{Fact, Finding, Place, Unit};
use crate::outlook::Outlook;
use crate::process::Process;
use crate::solid::Cells;
use crate::stage::{Halt, Misfit, Shop, Stage, some_cubes};
use crate::units::Memory;
use crate::void::Void;
use crate::workpiece::{Part, Workpiece};
use bodies::Body;
use cuts::{Cuts, Demand};
use seams::{Measures, Seam};

/// See the module's documentation.
pub struct Split;

/// Settings of `split`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Settings {
    /// The room in which a part must fit, along x, y and z of the machine, in mm; parts may be turned by quarters. Default: the
    /// process's `build_volume`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub build: Option<[Length; 3]>,
    /// How much of that room stays free on every side, in mm. Default: nothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub margin: Option<Length>,
    /// The pins that hold parts in place.
    pub pins: Pins,
    /// Clear width of the openings through seams, in mm; rounded up to whole cells. Default: the process's `opening`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub opening: Option<Length>,
    /// The most memory that the cavities' lattice may take.
    pub memory: Memory,
}

impl Default for Settings {
    fn default() -> Self {
        Self { build: None, margin: None, pins: Pins::default(), opening: None, memory: Memory::usual() }
    }
}

/// The pins that hold parts in place.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Pins {
    /// Width of the wider pin of a seam, in mm. Default: 4 mm, or twice the process's `minimum_wall` if that is more.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub width: Option<Length>,
    /// How far pins stand out of the seam, in mm. Default: as their width.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub height: Option<Length>,
    /// Gap between a pin and its socket on every side and at its end, in mm. Default: the process's `clearance`, or 0.3 mm
    /// (common practice, no source).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clearance: Option<Length>,
}

impl Stage for Split {
    type Settings = Settings;

    const NAME: &'static str = "split";
    const PURPOSE: &'static str =
        "divides a piece that is too large for the printer into parts that are joined afterwards";
    const VERSION: u32 = 2;
    const NEEDS: &'static [Part] = &[Part::Cells, Part::Paint];
    const GIVES: &'static [Part] = &[Part::Division, Part::Order];

    fn outlook(_: &Settings, before: Outlook) -> Outlook {
        let parts = before.cells() / 8.0 * USUAL_PARTS + HELD * before.skin_faces();
        before.after(WORKING * before.skin_faces() + PICTURES + before.cells(), parts)
    }

    fn check(settings: &Settings, shop: &Shop<'_>) -> Result<(), Misfit> {
        let room = room(settings, shop.process());
        if let Some(least) = room.to_array().into_iter().find(|&side| side <= 0.0) {
            let message = format!("the margin leaves {} of the room for a part", Length::from_mm(least).rounded());
            return Err(Misfit::new("margin", message, "make `split.margin` smaller, or `split.build` larger"));
        }
        if settings.margin.is_some_and(|margin| margin.mm() < 0.0) {
            return Err(Misfit::new("margin", "a margin must not be negative", "leave it out"));
        }
        let least = shop.process().opening.value;
        if let Some(opening) = settings.opening.filter(|&opening| opening < least) {
            let message = format!("{opening} is narrower than the process can empty ({least})");
            return Err(Misfit::new("opening", message, format!("make it at least {least}, or leave it out")));
        }
        Measures::of(&settings.pins, shop.process()).map(drop)
    }

    fn run(settings: &Settings, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        let measures = Measures::of(&settings.pins, shop.process())?;
        let cells = some_cubes(piece.cells().expect("the plan saw to it"))?;
        let cell = cells.grid().cell;
        let [low, high] = cells.extent().expect("there are some cubes");
        let room = room(settings, shop.process());
        let size = (high - low + 1).as_dvec3() * cell;
        if let Some(turn) = cuts::turn_that_fits(size, room) {
            stays_whole(shop, size, room, turn);
            return Ok(piece.undivided());
        }
        let demand = Demand {
            room,
            pin: measures.height,
            block: measures.block(cell),
            apart: measures.apart(cell),
            wall: wall(piece.void()),
        };
        let cuts = cuts::find(cells, piece.void(), &demand)?;
        shop.go_on()?;
        let bodies = bodies::divided(cells, &cuts);
        too_many(bodies.len())?;
        shop.go_on()?;
        let shafts = piece.void().map(|void| &void.shafts);
        let seams = seams::between(&bodies, cells.grid(), shafts, &measures);
        let voids = cavities::dug(settings, piece.void(), &bodies, &seams, shop)?;
        let division = Arc::new(assembled(&piece, bodies, &seams, voids));
        shop.go_on()?;
        say(shop, &cuts, &seams, &division, cells);
        if piece.paint().is_some_and(|paint| paint.guard.is_some()) {
            shop.finding(Finding::note(
                "parts-without-guard",
                "the parts are coloured without the guard bands of the whole",
                "nothing needs doing; colours run over edges as far as the process lets them",
            ));
        }
        let orders = written::write(shop, &division)?;
        Ok(piece.with_division(division).with_orders(orders))
    }
}

/// Parts of the usual division, for the outlook; and bytes a face of the skin that parts hold, and take while written.
const USUAL_PARTS: f64 = 8.0;
const HELD: f64 = 150.0;
const WORKING: f64 = 600.0;
/// Bytes of the picture while it is drawn.
const PICTURES: f64 = 32e6;

/// More parts than this are no sculpture that anybody would put together: the room is too small by far.
const MOST_PARTS: usize = 64;

fn room(settings: &Settings, process: &Process) -> DVec3 {
    let build = settings.build.unwrap_or(process.build_volume.value);
    DVec3::from_array(build.map(Length::mm)) - 2.0 * settings.margin.map_or(0.0, Length::mm)
}

fn wall(void: Option<&Void>) -> f64 {
    void.map_or(0.0, |void| void.wall)
}

fn too_many(parts: usize) -> Result<(), Misfit> {
    if parts <= MOST_PARTS {
        return Ok(());
    }
    Err(Misfit::new(
        "build",
        format!("the piece would come in {parts} parts; {MOST_PARTS} are the most"),
        "scale the piece down, or choose a process with a larger `build_volume`",
    ))
}

fn stays_whole(shop: &mut Shop<'_>, size: DVec3, room: DVec3, turn: &str) {
    shop.fact(Fact::whole("parts", 1, Unit::Count));
    let message =
        format!("the piece of {} fits the room of {} {turn}: it stays whole", millimetres(size), millimetres(room));
    shop.finding(Finding::note("stays-whole", message, "nothing needs doing; `split` may be left out"));
}

fn millimetres(size: DVec3) -> String {
    format!("{:.1} × {:.1} × {:.1} mm", size.x, size.y, size.z)
}

/// The parts, with their paint and pegs.
fn assembled(whole: &Workpiece, bodies: Vec<Body>, seams: &[Seam], voids: Vec<Option<Void>>) -> Division {
    let paint = whole.paint().expect("the plan saw to it");
    let segment = |(number, (body, void)): (usize, (Body, Option<Void>))| {
        let part = Workpiece::default().with_cells(body.cells);
        let part = if let Some(void) = void { part.with_void(void) } else { part };
        let faces = part.hull().map(|hull| Arc::clone(&hull.faces)).unwrap_or_default();
        let part = part.with_paint(paint_of_part(paint, &faces));
        Segment::new(body.home, part, seams.iter().flat_map(|seam| seam.pegs_of(number)).collect())
    };
    Division { segments: bodies.into_iter().zip(voids).enumerate().map(segment).collect() }
}

fn say(shop: &mut Shop<'_>, cuts: &Cuts, seams: &[Seam], division: &Division, cells: &Cells) {
    let grid = cells.grid();
    shop.fact(Fact::whole("parts", division.segments.len(), Unit::Count));
    shop.fact(Fact::whole("cuts", cuts.planes.iter().map(Vec::len).sum(), Unit::Count));
    shop.fact(Fact::number("seam on show", cuts.shows as f64 * grid.cell, Unit::Mm));
    let density = shop.process().density.value;
    let row = |(at, segment): (usize, &Segment)| {
        let [low, high] = segment.bounds();
        let size = high - low;
        let joined: Vec<String> = seams.iter().filter_map(|seam| Some((seam.other(at)? + 1).to_string())).collect();
        vec![
            (at + 1).to_string(),
            segment.cells().count().to_string(),
            format!("{:.1} × {:.1} × {:.1}", size.x, size.y, size.z),
            format!("{:.1}", segment.skin().volume() / 1000.0 * density),
            if segment.void().is_some_and(|void| void.cavity.count() > 0) { "hollow" } else { "solid" }.to_owned(),
            joined.join(", "),
            segment.pegs.len().to_string(),
        ]
    };
    shop.fact(Fact::table(
        "parts of the piece",
        &["part", "cells", "size, mm", "weight, g", "inside", "joined to", "pins and sockets"],
        division.segments.iter().enumerate().map(row).collect(),
    ));
    shop.finding(Finding::caution(
        "joined-by-hand",
        format!(
            "the piece comes in {} parts, which lie in their files as they lie in the piece: parts of a row are joined first \
             (left to right), then rows (front to back), then layers (bottom to top)",
            division.segments.len()
        ),
        "try every joint dry and clear sockets of loose powder before gluing; glue with good ventilation and gloves, as the \
         adhesive's safety sheet says; hold heavy parts until the joint has set",
    ));
    let bare: Vec<&Seam> = seams.iter().filter(|seam| seam.pins.len() < 2).collect();
    if !bare.is_empty() {
        let pairs: Vec<String> = bare.iter().map(|seam| format!("{}–{}", seam.lower + 1, seam.upper + 1)).collect();
        shop.finding(
            Finding::caution(
                "seam-without-pins",
                format!("there is no room for two pins on the seams between parts {}", pairs.join(", ")),
                "make `split.pins.width` or `split.pins.height` smaller; or line these parts up by hand as they are glued",
            )
            .at(bare.iter().map(|seam| Place::at(seam.middle(grid)))),
        );
    }
    let loose: Vec<usize> =
        (0..division.segments.len()).filter(|&at| seams.iter().all(|s| s.other(at).is_none())).collect();
    if !loose.is_empty() && division.segments.len() > 1 {
        let numbers: Vec<String> = loose.iter().map(|at| (at + 1).to_string()).collect();
        let middle = |&at: &usize| {
            let [low, high] = division.segments[at].bounds();
            Place::at(low.midpoint(high))
        };
        shop.finding(
            Finding::caution(
                "part-without-seam",
                format!(
                    "nothing joins parts {} to the rest: they were no part of the piece's one body",
                    numbers.join(", ")
                ),
                "put `repair` before `colour`",
            )
            .at(loose.iter().map(middle)),
        );
    }
}
