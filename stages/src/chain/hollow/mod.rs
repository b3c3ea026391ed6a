//! `hollow`: takes out the inside, leaving a wall of at least the thickness asked for everywhere, and opens the cavity so
//! that loose powder can leave.

mod boundary;
mod cavity;
mod drawn;
mod openings;
pub(in crate::chain) mod pit;
mod shape;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use glam::{DVec3, IVec3};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::findings::{Fact, Finding, Place, Unit};
use crate::marked::Sight;
use crate::outlook::Outlook;
use crate::solid::stability::Standing;
use crate::solid::{Cells, Components, Neighbours};
use crate::stage::{Halt, Misfit, Shop, Stage, some_cubes};
use crate::units::Memory;
use crate::void::{Opening, Void};
use crate::workpiece::{Part, Workpiece};
use crate::{Length, Side};

use cavity::Lattice;
use shape::Mould;

/// See the module's documentation.
pub struct Hollow;

/// Settings of `hollow`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// Least thickness of the wall between cavity and outside, in straight distance. Need not be a whole number of cells.
    pub wall: Length,
    /// The openings through which loose powder leaves.
    pub openings: Vec<OpeningAsked>,
    /// Parts of the cavity that a ball of this width cannot reach from an opening stay solid. The process's `gap` when
    /// left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub narrowest: Option<Length>,
    /// The most memory that the cavity's lattice may take.
    #[serde(default = "Memory::usual")]
    pub memory: Memory,
}

/// An opening as asked for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OpeningAsked {
    /// The side on which it opens.
    pub side: Side,
    /// Clear width; rounded up to whole cells.
    pub width: Length,
    /// Where its middle should lie on that side, along the side's two axes in the order x, y, z. Under the middle of mass
    /// when left out. The nearest place that fits is taken.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<[Length; 2]>,
}

impl Stage for Hollow {
    type Settings = Settings;

    const NAME: &'static str = "hollow";
    const PURPOSE: &'static str = "takes out the inside behind a wall, and opens it so that loose powder can leave";
    const VERSION: u32 = 5;
    const NEEDS: &'static [Part] = &[Part::Cells];
    const GIVES: &'static [Part] = &[Part::Void];

    fn check(settings: &Settings, shop: &Shop<'_>) -> Result<(), Misfit> {
        if settings.wall.mm() <= 0.0 {
            let message = format!("a wall must be thicker than 0 mm, not {}", settings.wall);
            return Err(Misfit::new(
                "wall",
                message,
                "2.5 mm is sturdy for powder prints of a palm's size (common practice)",
            ));
        }
        if settings.openings.is_empty() {
            let message = "a cavity without an opening keeps its loose material for ever";
            return Err(Misfit::new("openings", message, "write openings: [{ side: bottom, width: 24 mm }]"));
        }
        for (at, opening) in settings.openings.iter().enumerate() {
            let least = shop.process().opening.value;
            if opening.width < least {
                let message = format!("{} is narrower than the process can empty ({least})", opening.width);
                return Err(Misfit::new(format!("openings[{at}].width"), message, format!("make it at least {least}")));
            }
        }
        if settings.narrowest.is_some_and(|n| n.mm() <= 0.0) {
            return Err(Misfit::new("narrowest", "must be above 0 mm", "leave it out to take the process's gap"));
        }
        Ok(())
    }

    fn outlook(settings: &Settings, before: Outlook) -> Outlook {
        let Some((cell, _)) = before.grid else { return before.after(0.0, 0.0) };
        let lattice = cavity::Fineness::of(cell, settings.wall.mm());
        // The cavity's walls are no larger than the outside, for any wall that leaves much of one.
        let walls = before.faces() * lattice.per_cell * lattice.per_cell;
        let keeps = before.cells() * lattice.cells_a_cell() / 8.0 + CORNERS * walls;
        let listed = LISTED * shape::blocks_listed(cell, lattice.per_cell, settings.wall.mm()) * before.faces();
        let takes = lattice.bytes(before.cells()) + SHAPING * walls + listed;
        Outlook { cavity_faces: walls, ..before.after(takes, keeps) }
    }

    fn run(settings: &Settings, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        let cells = some_cubes(piece.cells().expect("the plan saw to it"))?;
        let gap = settings.narrowest.unwrap_or(shop.process().gap.value).mm();
        fits_in_memory(settings, cells)?;
        let lattice = Lattice::new(cells, settings.wall.mm());
        shop.go_on()?;
        let room = lattice.room(settings.wall.mm());
        if room.count() == 0 {
            return Err(too_thick(settings, &lattice).into());
        }
        let opened = open(settings, cells, &room, &lattice, shop.process().opening.value)?;
        shop.go_on()?;
        let void = shaped(opened, cells, &lattice, &room, gap, shop)?;
        if void.cavity.count() == 0 {
            let message = format!("no part of the inside can be emptied through openings past a gap of {gap} mm");
            return Err(Misfit::new("openings", message, "ask for a thinner wall, or leave hollow out").into());
        }
        let left = room.minus(&void.cavity).minus(&lattice.refine(&void.shafts));
        let mut piece = piece.with_void(void);
        say(shop, &mut piece);
        say_pockets(shop, &left);
        if !shop.draft() {
            drawn::draw(&piece, shop)?;
        }
        Ok(piece)
    }
}

/// Bytes a face of the cavity that the piece keeps: a corner that lies off its place.
const CORNERS: f64 = 64.0;
/// Bytes a face of the cavity while its corners are moved.
const SHAPING: f64 = 400.0;
/// Bytes a block of air that is listed for a cell on the cavity's boundary.
const LISTED: f64 = 4.0;

fn fits_in_memory(settings: &Settings, cells: &Cells) -> Result<(), Misfit> {
    let grid = cells.grid();
    let needed = cavity::Fineness::of(grid.cell, settings.wall.mm()).bytes(grid.len() as f64);
    let needed = Memory::from_bytes(needed as u64);
    if needed <= settings.memory {
        return Ok(());
    }
    Err(Misfit::new(
        "wall",
        format!(
            "a cavity behind a wall of {} would take about {needed} of memory, more than {}",
            settings.wall, settings.memory
        ),
        "ask for a thicker wall or larger cells, or raise memory",
    ))
}

fn too_thick(settings: &Settings, lattice: &Lattice) -> Misfit {
    Misfit::new(
        "wall",
        format!(
            "a wall of {} leaves no cavity: the deepest place inside the piece lies {:.2} mm from the outside",
            settings.wall,
            lattice.deepest()
        ),
        "ask for a thinner wall, scale the piece up, or leave hollow out",
    )
}

/// Finds the place of every opening, one after the other. The cavity of the void is still empty.
fn open(settings: &Settings, cells: &Cells, room: &Cells, lattice: &Lattice, least: Length) -> Result<Void, Misfit> {
    let per_cell = lattice.per_cell;
    let mut shafts = Cells::empty(*cells.grid());
    let mut openings = Vec::new();
    for at in 0..settings.openings.len() {
        let shaft = openings::find(settings, at, least, cells, &shafts, room, per_cell)?;
        for z in shaft.low.z..=shaft.high.z {
            for y in shaft.low.y..=shaft.high.y {
                for x in shaft.low.x..=shaft.high.x {
                    shafts.set(IVec3::new(x, y, z), true);
                }
            }
        }
        openings.push(shaft.opening);
    }
    let cavity = Cells::empty(*room.grid());
    Ok(Void { shafts, openings, cavity, per_cell, moved: BTreeMap::new(), wall: settings.wall.mm() })
}

/// The void with its cavity. Where the wall cannot be held by moving corners alone, the cavity gives way by a lattice
/// cell and is shaped again. Ends, as every round takes cells away: a corner of the boundary has cavity beside it.
fn shaped(
    mut void: Void,
    cells: &Cells,
    lattice: &Lattice,
    room: &Cells,
    gap: f64,
    shop: &Shop<'_>,
) -> Result<Void, Halt> {
    let shafts = lattice.refine(&void.shafts);
    void.cavity = cavity::emptied(&room.minus(&shafts), &shafts, gap);
    let mut mould = Mould::new(cells, &void);
    loop {
        void.cavity = cavity::mended(lattice, void.cavity, &shafts, gap);
        let thin = mould.shape(&void);
        if thin.is_empty() {
            return Ok(Void { moved: mould.moved(), ..void });
        }
        for piece in thin.into_iter().flat_map(cavity::around) {
            if void.cavity.solid(piece) {
                void.cavity.set(piece, false);
            }
        }
        shop.go_on()?;
    }
}

fn say(shop: &mut Shop<'_>, piece: &mut Workpiece) {
    let hull = piece.hull().expect("the piece has cells");
    let material = hull.skin.volume();
    let (cells, void) = (piece.cells().expect("cells were hollowed"), piece.void().expect("the void was just given"));
    let solid = cells.count() as f64 * cells.grid().cell.powi(3);
    shop.fact(Fact::number("wall", void.wall, Unit::Mm));
    shop.fact(Fact::number("solid", solid / 1000.0, Unit::Cm3));
    shop.fact(Fact::number("void", (solid - material) / 1000.0, Unit::Cm3));
    shop.fact(Fact::number("material", material / 1000.0, Unit::Cm3));
    shop.fact(Fact::number("material saved", 100.0 * (1.0 - material / solid), Unit::Percent));
    shop.fact(Fact::whole("lattice cells along a cell", void.per_cell as usize, Unit::Count));
    let row = |o: &Opening| {
        let (low, high) = (o.low, o.high);
        let shaft = format!("{} – {}, {} – {}, {} – {}", low.x, high.x, low.y, high.y, low.z, high.z);
        vec![o.side.to_string(), o.width().to_string(), shaft]
    };
    say_standing(shop, cells, void, hull.skin.centre());
    let rows = void.openings.iter().map(row).collect();
    shop.fact(Fact::table("openings", &["side", "clear width, mm", "shaft along x, y, z, mm"], rows));
}

/// Says how safely the piece stands, solid and hollow. Taking out the inside lightens the piece where it is thick, which may
/// raise its centre of mass. What comes of it is for `validate` to say, of the file itself.
fn say_standing(shop: &mut Shop<'_>, cells: &Cells, void: &Void, centre: DVec3) {
    let Some(solid) = Standing::of(cells) else { return };
    // Mouths in the bottom carry nothing, but the ground meets what is round them.
    let Some(hollow) = Standing::on(&cells.minus(&void.shafts), centre) else { return };
    shop.fact(Fact::number("tipping angle while solid", solid.tipping().angle(), Unit::Degrees));
    shop.fact(Fact::number("tipping angle when hollow", hollow.tipping().angle(), Unit::Degrees));
}

/// Pockets of no more lattice cells than this are the rounding of the cavity's shape.
const ROUNDING: usize = 8;

/// Says where room for the cavity stayed solid because it cannot be emptied.
fn say_pockets(shop: &mut Shop<'_>, left: &Cells) {
    let pockets = Components::of(left, Neighbours::Faces);
    let edge3 = left.grid().cell.powi(3);
    let volume = left.count() as f64 * edge3 / 1000.0;
    shop.fact(Fact::number("pockets left solid", volume, Unit::Cm3));
    let mut large: Vec<usize> = (0..pockets.len()).filter(|&p| pockets.sizes()[p] > ROUNDING).collect();
    large.sort_by_key(|&p| std::cmp::Reverse(pockets.sizes()[p]));
    if large.is_empty() {
        return;
    }
    let places = large.iter().take(10).map(|&p| Place::at(left.grid().centre(pockets.first_cell(p))));
    let finding = Finding::note(
        "pockets-left-solid",
        format!(
            "{} pockets, {volume:.2} cm³ together, were left solid: loose powder could not leave them",
            large.len()
        ),
        "nothing to do; a thinner wall, a smaller narrowest or one more opening would hollow some of them",
    )
    .at(places);
    shop.finding_seen(finding, || {
        let meant = pockets.cells_where(|p| pockets.sizes()[p] > ROUNDING);
        Sight::of_cells(left.grid(), meant.iter()).saying("the pockets")
    });
}
