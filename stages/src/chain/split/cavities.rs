//! The cavities of the parts of a hollow piece, and the openings between them.
//!
//! Each part is hollowed by itself behind the wall of the whole, so that there is a wall along its seams: something to glue,
//! and to hold pins. An opening of the whole stays in the part that has it. Through each seam goes one more opening, through
//! the same cells of both parts, where both have a cavity behind: powder leaves each part through it before they are joined,
//! and the cavity of the piece is one again afterwards. Where only one of the two has, it opens alone if it has no other way
//! out. What has none stays solid.

use glam::IVec3;

use super::bodies::Body;
use super::seams::Seam;
use super::{Settings, wall};
use crate::Length;
use crate::chain::hollow::pit::{self, Fit, Mouths, Pit};
use crate::findings::{Fact, Unit};
use crate::solid::Cells;
use crate::stage::{Halt, Misfit, Shop};
use crate::units::Memory;
use crate::void::{Opening, Void};

/// The void of each part, where it has one.
pub(super) fn dug(
    settings: &Settings,
    void: Option<&Void>,
    bodies: &[Body],
    seams: &[Seam],
    shop: &mut Shop<'_>,
) -> Result<Vec<Option<Void>>, Halt> {
    let Some(whole) = void else { return Ok(vec![None; bodies.len()]) };
    fits_in_memory(settings, whole, bodies)?;
    let mut pits: Vec<Pit> = Vec::with_capacity(bodies.len());
    for (number, body) in bodies.iter().enumerate() {
        let mut pit = Pit::new(without_bosses(body, number, seams), wall(void));
        for opening in &whole.openings {
            let shaft = shaft_in(opening, whole, &body.cells);
            if shaft.count() > 0 {
                pit.take(opening, &shaft);
            }
        }
        pits.push(pit);
        shop.go_on()?;
    }
    let width = settings.opening.unwrap_or(shop.process().opening.value);
    open_seams(&mut pits, bodies, seams, width, shop)?;
    let gap = shop.process().gap.value;
    let mut voids = Vec::with_capacity(pits.len());
    for pit in pits {
        voids.push(pit.dug(gap, shop)?);
        shop.go_on()?;
    }
    let solid: Vec<usize> = (0..voids.len()).filter(|&part| !is_hollow(voids[part].as_ref())).collect();
    if !solid.is_empty() {
        shop.finding(pit::left_solid(&solid));
    }
    Ok(voids.into_iter().map(|void| void.filter(|void| void.shafts.count() > 0)).collect())
}

fn is_hollow(void: Option<&Void>) -> bool {
    void.is_some_and(|void| void.cavity.count() > 0)
}

fn fits_in_memory(settings: &Settings, whole: &Void, bodies: &[Body]) -> Result<(), Misfit> {
    let Some(body) = bodies.first() else { return Ok(()) };
    // All parts keep their room, of a bit a lattice cell; one at a time is measured.
    let one = Pit::bytes(body.cells.grid(), whole.wall);
    let needed = Memory::from_bytes((one * (1.0 + bodies.len() as f64 / 24.0)) as u64);
    if needed <= settings.memory {
        return Ok(());
    }
    Err(Misfit::new(
        "memory",
        format!("the cavities of the parts would take about {needed} of memory, more than {}", settings.memory),
        "raise `split.memory`, or ask for a thicker `hollow.wall` or larger cells",
    ))
}

/// The cells of a part from whose outside its wall is measured: those around pins and sockets count as outside.
fn without_bosses(body: &Body, number: usize, seams: &[Seam]) -> Cells {
    let mut cells = body.cells.clone();
    for cell in seams.iter().flat_map(|seam| seam.bosses(number)) {
        if cells.solid(cell) {
            cells.set(cell, false);
        }
    }
    cells
}

/// The cells of a part that the shaft of an opening of the whole takes away.
fn shaft_in(opening: &Opening, whole: &Void, part: &Cells) -> Cells {
    let grid = part.grid();
    let within = |cell: IVec3| {
        let middle = grid.centre(cell);
        middle.cmpgt(opening.low).all() && middle.cmplt(opening.high).all()
    };
    Cells::from_fn(*grid, |cell| part.solid(cell) && whole.shafts.solid(cell) && within(cell))
}

/// Opens every seam behind which both parts have room; then, for parts that nothing leads into, one behind which they have.
fn open_seams(
    pits: &mut [Pit],
    bodies: &[Body],
    seams: &[Seam],
    width: Length,
    shop: &mut Shop<'_>,
) -> Result<(), Halt> {
    let Some(body) = bodies.first() else { return Ok(()) };
    let cell = body.cells.grid().cell;
    let across = ((width.mm() / cell - 1e-9).ceil() as i32).max(1);
    let mut through = 0;
    for seam in seams {
        shop.go_on()?;
        if !(pits[seam.lower].has_room() && pits[seam.upper].has_room()) {
            continue;
        }
        let mouths = [seam.lower, seam.upper].map(|part| pits[part].mouths(seam.side(part), across));
        if let Some(fits) = best_pair(&mouths, seam, body) {
            pits[seam.lower].open(&fits[0]);
            pits[seam.upper].open(&fits[1]);
            through += 1;
        }
    }
    for (part, pit) in pits.iter_mut().enumerate().filter(|(_, pit)| !pit.is_open() && pit.has_room()) {
        shop.go_on()?;
        let own = seams.iter().filter(|seam| seam.other(part).is_some());
        let fit = own.filter_map(|seam| best_alone(&pit.mouths(seam.side(part), across), seam, part, body));
        if let Some(fit) = fit.reduce(|most, other| if other.open() > most.open() { other } else { most }) {
            pit.open(&fit);
        }
    }
    shop.fact(Fact::whole("openings through seams", through, Unit::Count));
    Ok(())
}

/// Shafts through the same cells of both parts: those with the most of both cavities behind them, then nearest to the seam's
/// middle.
fn best_pair(mouths: &[Mouths; 2], seam: &Seam, body: &Body) -> Option<[Fit; 2]> {
    let layer = seam.cells.first()?[seam.axis];
    let middle = seam.middle(body.cells.grid());
    let mut best: Option<((i32, f64), [Fit; 2])> = None;
    for place in mouths[0].places() {
        let Some(lower) = mouths[0].fit(place, layer) else { continue };
        let Some(upper) = mouths[1].fit(place, layer + 1) else { continue };
        let off = off_the_middle(&lower, middle, seam.axis);
        let merit = (-lower.open().min(upper.open()), off);
        if best.as_ref().is_none_or(|(least, _)| merit < *least) {
            best = Some((merit, [lower, upper]));
        }
    }
    best.map(|(_, fits)| fits)
}

/// A shaft from a seam into one of its parts.
fn best_alone(mouths: &Mouths, seam: &Seam, part: usize, body: &Body) -> Option<Fit> {
    let layer = seam.cells.first()?[seam.axis] + i32::from(part == seam.upper);
    let middle = seam.middle(body.cells.grid());
    let mut best: Option<((i32, f64), Fit)> = None;
    for place in mouths.places() {
        let Some(fit) = mouths.fit(place, layer) else { continue };
        let merit = (-fit.open(), off_the_middle(&fit, middle, seam.axis));
        if best.as_ref().is_none_or(|(least, _)| merit < *least) {
            best = Some((merit, fit));
        }
    }
    best.map(|(_, fit)| fit)
}

/// How far off the middle of a seam a shaft lies, squared.
fn off_the_middle(fit: &Fit, middle: glam::DVec3, axis: usize) -> f64 {
    let mut off = fit.middle() - middle;
    off[axis] = 0.0;
    off.length_squared()
}
