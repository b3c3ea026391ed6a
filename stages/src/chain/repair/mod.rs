//! `repair`: makes the solid of cubes sound, and tells what of the model no cube stands for, and which cubes stand for
//! nothing of the model; or makes cubes for what is too thin.
//!
//! # Steps
//! 0. *Thin parts*, where asked: see the notes of `thin`, which goes through all steps until nothing is missed.
//! 1. *Islands.* Pieces that do not even touch at a corner are told apart (26 neighbours); all but the largest go, or what
//!    else [`Islands`] says (`islands`).
//! 2. *Voids.* Air that is not reached from outside through faces of cells (6 neighbours) is filled.
//! 3. *Contacts.* Where cubes meet in an edge or a corner alone, cells are added or removed until the boundary is a
//!    2-manifold; see [`crate::solid::mend`].
//! 4. If step 3 changed anything, steps 1 and 2 once more; and again from step 3 if a bridge brought new contacts.
//! 5. *Necks.* Where the solid hangs on one cell is told, with the stress there (`necks`).
//!
//! Without bridges, all of it holds together afterwards without going round again. Step 4 works on a solid without contacts. A piece that
//! it drops has no cell that touches another piece, so no block of 2×2×2 cells mixes the two, and no contact can arise. A
//! void that it fills has no cell that touches other air, not even at a corner, or that would be a contact; so every block
//! that held some of it becomes wholly solid. Dropping makes no void, save by joining an island's cells to a void around
//! it, and voids are filled last; filling makes no island.
//! Each round with bridges joins pieces, and mending parts none that it can help.

mod islands;
mod meets;
mod necks;
mod sourceless;
mod thin;
mod told;
mod unconverted;

#[cfg(test)]
mod tests;

use glam::IVec3;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use self::islands::Bridge;
pub use self::islands::Islands;
use self::necks::Demand;
pub use self::thin::Thin;
use crate::Length;
use crate::findings::{Fact, Finding, Place, Unit};
use crate::marked::Sight;
use crate::outlook::Outlook;
use crate::solid::{Cells, Components, Contact, Grid, Neighbours, contacts, enclosed_voids, mend};
use crate::stage::{Halt, Misfit, Shop, Stage, some_cubes};
use crate::units::Force;
use crate::workpiece::{Part, Workpiece};

/// Places that are listed one by one; the others are added up.
const MOST_LISTED: usize = 10;

/// Rounds of mending and joining; without bridges the first leaves nothing to do.
const MOST_ROUNDS: usize = 16;

/// Solids that are alive at once while contacts are mended, and while places are looked for.
const SETS: f64 = 8.0;
/// Bytes a run of cells along x, of which there is about one for two faces that look along x.
const RUNS: f64 = 48.0;
/// Bytes a triangle of the model while cubes are compared with it: it lies in two bins, or eight at most.
const BINS: f64 = 100.0;
/// Bytes a face of the piece while places are drawn on it.
const DRAWING: f64 = 200.0;

/// The stage `repair`.
pub struct Repair;

/// The settings of `repair`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Settings {
    /// Which pieces stay where the solid is in several: `largest`, the one with the most cells (of equals the lowest, then
    /// the one further to the front, then to the left); `{ at-least: 20 }`, also those of so many cells; `all`; or
    /// `bridge`, all, joined by the shortest straight runs of cells.
    pub islands: Islands,
    /// What becomes of air that is shut in: filled, or kept and reported.
    pub voids: Voids,
    /// What becomes of places where cubes meet in an edge or a corner alone: mended by adding or removing cells, or
    /// reported as a fault.
    pub contacts: Contacts,
    /// What becomes of parts of the model that no cube stands for, because they are thinner or sharper than the cells
    /// can follow: they are left out and reported; thickened, which makes cubes wherever the surface passes and joins
    /// them to the body, as well as loose pieces that would be taken away; or refused, which makes a place larger than a
    /// cube face a fault.
    pub thin: Thin,
    /// How far, in mm, the model's surface may lie from the cubes before it counts as not converted; at least half a
    /// cell. Left out: one cell. On a form that is nowhere thinner or sharper than the cells can follow, no point of the
    /// surface is farther than half a cell's diagonal (0.87 cells) from the cubes, so what lies more than one cell off
    /// is truly missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tolerance: Option<Length>,
    /// What a hand may pull at the farthest cell of a part that hangs on one cell, in N. The stress that this makes is an
    /// estimate.
    pub handling_load: Force,
    /// The least safety factor of such a part, above 0: the process's strength over the stress. Below it, it is a caution.
    pub least_safety: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            islands: Islands::default(),
            voids: Voids::default(),
            contacts: Contacts::default(),
            thin: Thin::default(),
            tolerance: None,
            // What lifts half a kilogram, and a factor for brittle material: common practice, no source.
            handling_load: Force::from_newtons(5.0),
            least_safety: 3.0,
        }
    }
}

/// What becomes of air that is shut in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Voids {
    /// It becomes solid.
    #[default]
    Fill,
    /// It stays, and is reported.
    Keep,
}

/// What becomes of cubes that meet in an edge or a corner alone.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Contacts {
    /// Cells are added or removed until there are none.
    #[default]
    Mend,
    /// They stay, and are a fault.
    Report,
}

impl Stage for Repair {
    type Settings = Settings;

    const NAME: &'static str = "repair";
    const PURPOSE: &'static str = "drops or joins islands, fills enclosed voids, mends contacts, thickens or reports what did not convert, and finds necks";
    const VERSION: u32 = 4;
    const NEEDS: &'static [Part] = &[Part::Surface, Part::Cells];
    const GIVES: &'static [Part] = &[Part::Cells];

    fn outlook(_: &Settings, before: Outlook) -> Outlook {
        let mending = SETS * before.cells() / 8.0 + RUNS * before.faces() / 3.0;
        let comparing = BINS * before.triangles + DRAWING * before.faces();
        before.after((mending + comparing).max(super::likeness::takes(&before)), 0.0)
    }

    fn check(settings: &Settings, _: &Shop<'_>) -> Result<(), Misfit> {
        if settings.islands == Islands::AtLeast(0) {
            return Err(Misfit::new(
                "islands",
                "a piece has at least one cell",
                "write islands: { at-least: 20 }, or all",
            ));
        }
        if settings.handling_load.newtons() < 0.0 {
            let message = format!("a handling load must not be negative, but is {}", settings.handling_load);
            return Err(Misfit::new("handling_load", message, "5 N is what lifts half a kilogram"));
        }
        if !(settings.least_safety > 0.0 && settings.least_safety.is_finite()) {
            let message = format!("a safety factor must be above 0, not {}", settings.least_safety);
            return Err(Misfit::new("least_safety", message, "leave it out for 3"));
        }
        match settings.tolerance {
            Some(tolerance) if tolerance.mm() <= 0.0 => Err(Misfit::new(
                "tolerance",
                format!("the tolerance must be above 0 mm, not {tolerance}"),
                "leave `tolerance` out for one cell",
            )),
            _ => Ok(()),
        }
    }

    fn run(settings: &Settings, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        let surface = piece.surface().expect("the plan saw to it");
        let cells = piece.cells().expect("the plan saw to it");
        let tolerance = tolerance(settings, cells.grid())?;
        let (repaired, missed, thickened) = thin::repaired(settings, surface, cells, tolerance, shop)?;
        some_cubes(&repaired.cells)?;
        repaired.tell(cells, settings, shop);
        let demand = Demand { handling: settings.handling_load, least_safety: settings.least_safety };
        necks::tell(&repaired.cells, &demand, shop)?;
        thickened.tell(settings, shop);
        let report = told::Report { surface, before: cells, after: &repaired.cells, tolerance, thin: settings.thin };
        report.tell(&missed, shop)?;
        if repaired.cells != *cells {
            super::likeness::tell(surface, &repaired.cells, shop)?;
        }
        Ok(piece.with_cells(repaired.cells))
    }
}

/// The tolerance in mm.
fn tolerance(settings: &Settings, grid: &Grid) -> Result<f64, Misfit> {
    let Some(asked) = settings.tolerance else { return Ok(grid.cell) };
    if asked.mm() < grid.cell / 2.0 {
        let cell = Length::from_mm(grid.cell);
        return Err(Misfit::new(
            "tolerance",
            format!("a tolerance of {asked} is below half a cell of {cell}: the steps between cubes alone are as high"),
            format!("make it {cell} or leave it out, or make `voxelise.cell` smaller"),
        ));
    }
    Ok(asked.mm())
}

/// A connected set of cells that was taken away, filled, or left.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Lump {
    cells: usize,
    first: IVec3,
}

/// The repaired solid, and what was found and done.
struct Repaired {
    cells: Cells,
    /// Pieces taken away, and their cells.
    islands: Vec<Lump>,
    taken: Cells,
    /// Runs of cells that join pieces.
    bridges: Vec<Bridge>,
    /// Enclosed voids filled, and their cells.
    voids: Vec<Lump>,
    filled: Cells,
    /// Contacts found, mended or not.
    contacts: Vec<Contact>,
    /// Cells that mending added and removed.
    mended: [usize; 2],
}

impl Repaired {
    /// Repairs a solid; mending a contact does not take away the cells that are `kept`.
    fn of(cells: &Cells, kept: &Cells, settings: &Settings, shop: &Shop<'_>) -> Result<Self, Halt> {
        let mut repaired = Self {
            cells: cells.clone(),
            islands: vec![],
            taken: Cells::empty(*cells.grid()),
            bridges: vec![],
            voids: vec![],
            filled: Cells::empty(*cells.grid()),
            contacts: vec![],
            mended: [0; 2],
        };
        repaired.tidy(settings);
        // A bridge may touch what it passes; mending that may leave pieces that a bridge reaches. No round comes back to an
        // earlier solid, as each has fewer pieces; the limit is for what mending cannot help but part.
        for _ in 0..MOST_ROUNDS {
            shop.go_on()?;
            let found = contacts(&repaired.cells);
            if found.is_empty() {
                break;
            }
            repaired.contacts.extend(found);
            if settings.contacts == Contacts::Report {
                break;
            }
            repaired.mend(kept);
            shop.go_on()?;
            repaired.tidy(settings);
        }
        Ok(repaired)
    }

    /// Drops islands and fills voids, where asked.
    fn tidy(&mut self, settings: &Settings) {
        let sorted = islands::sort(&self.cells, settings.islands);
        if !sorted.removed.is_empty() {
            self.taken = self.taken.or(&self.cells.minus(&sorted.cells));
        }
        self.islands.extend(sorted.removed);
        self.bridges.extend(sorted.bridges);
        self.cells = sorted.cells;
        if settings.voids == Voids::Fill {
            let voids = enclosed_voids(&self.cells);
            self.voids.extend(lumps(&Components::of(&voids, Neighbours::Faces)));
            self.filled = self.filled.or(&voids);
            self.cells = self.cells.or(&voids);
        }
    }

    fn mend(&mut self, kept: &Cells) {
        let before = self.cells.clone();
        mend(&mut self.cells, Some(kept));
        self.mended[0] += self.cells.minus(&before).count();
        self.mended[1] += before.minus(&self.cells).count();
    }

    /// Says what was found and done.
    fn tell(&self, before: &Cells, settings: &Settings, shop: &mut Shop<'_>) {
        let cells_of = |lumps: &[Lump]| lumps.iter().map(|lump| lump.cells).sum();
        let mended = if settings.contacts == Contacts::Mend { self.contacts.len() } else { 0 };
        for (name, value, unit) in [
            ("islands removed", self.islands.len(), Unit::Count),
            ("cells in islands removed", cells_of(&self.islands), Unit::Cells),
            ("bridges", self.bridges.len(), Unit::Count),
            ("cells in bridges", self.bridges.iter().map(|bridge| bridge.length as usize).sum(), Unit::Cells),
            ("enclosed voids filled", self.voids.len(), Unit::Count),
            ("cells in enclosed voids filled", cells_of(&self.voids), Unit::Cells),
            ("contacts mended", mended, Unit::Count),
            ("cells added in mending contacts", self.mended[0], Unit::Cells),
            ("cells removed in mending contacts", self.mended[1], Unit::Cells),
            ("cells added", self.cells.minus(before).count(), Unit::Cells),
            ("cells removed", before.minus(&self.cells).count(), Unit::Cells),
            ("cells after repair", self.cells.count(), Unit::Cells),
        ] {
            shop.fact(Fact::whole(name, value, unit));
        }
        let grid = self.cells.grid();
        if let Some(finding) = self.about_islands(cells_of(&self.islands)) {
            shop.finding_seen(finding, || Sight::of_cells(grid, self.taken.iter()).saying("what was taken away"));
        }
        if let Some(finding) = self.about_bridges() {
            let cells = self.bridges.iter().flat_map(|bridge| bridge.cells());
            shop.finding_seen(finding, || Sight::of_cells(grid, cells).saying("the runs of cells"));
        }
        if let Some(finding) = self.about_loose_pieces(settings) {
            shop.finding(finding);
        }
        if let Some(finding) = self.about_voids(settings, cells_of(&self.voids)) {
            shop.finding_seen(finding, || Sight::of_cells(grid, self.filled.iter()));
        }
        if let Some(finding) = self.about_contacts(settings) {
            shop.finding(finding);
        }
    }

    fn about_loose_pieces(&self, settings: &Settings) -> Option<Finding> {
        if settings.islands == Islands::Largest {
            return None;
        }
        let pieces: Vec<Lump> = lumps(&Components::of(&self.cells, Neighbours::Corners)).collect();
        (pieces.len() > 1).then(|| {
            let loose = format!("the solid is in {} loose pieces that touch nowhere", pieces.len());
            let (message, remedy) = match settings.islands {
                Islands::Bridge => (
                    format!("{loose}, and no straight run of cells along an axis joins them"),
                    "join the pieces in the model, shift the grid with `voxelise.grid`, or set `repair.islands: largest`",
                ),
                _ => (loose, "set `repair.islands: largest` or `bridge`, or join the pieces in the model"),
            };
            Finding::caution("loose-pieces", message, remedy).at(places_of(&pieces, self.cells.grid()))
        })
    }

    fn about_bridges(&self) -> Option<Finding> {
        let grid = self.cells.grid();
        let longest = self.bridges.iter().map(|bridge| bridge.length).max()?;
        let message = format!(
            "loose pieces were joined with {} one cell wide, the longest of {}",
            counted(self.bridges.len(), "straight run"),
            counted(longest as usize, "cell"),
        );
        let remedy =
            "look at the pictures, and at what the findings say of necks; thicken the model where a run is too weak";
        let place = |bridge: &Bridge| Place {
            mm: grid.centre(bridge.first()).to_array(),
            cell: Some(bridge.first().to_array()),
        };
        Some(Finding::caution("pieces-bridged", message, remedy).at(self.bridges.iter().take(MOST_LISTED).map(place)))
    }

    fn about_islands(&self, removed: usize) -> Option<Finding> {
        let grid = self.cells.grid();
        (removed > 0).then(|| {
            let share = percent(removed as f64, (removed + self.cells.count()) as f64);
            let message = format!(
                "{} that touched the rest nowhere {} taken away, {} in all ({share:.1} % of the solid)",
                counted(self.islands.len(), "piece"),
                if self.islands.len() == 1 { "was" } else { "were" },
                counted(removed, "cell"),
            );
            let remedy = "if a piece should stay, thicken what joins it in the model or make `voxelise.cell` smaller";
            // A hundredth of the solid is a part that one would miss; specks of a scan are far below.
            let finding = if share >= 1.0 { Finding::caution } else { Finding::note };
            finding("islands-removed", message, remedy).at(places_of(&self.islands, grid))
        })
    }

    fn about_voids(&self, settings: &Settings, filled: usize) -> Option<Finding> {
        let grid = self.cells.grid();
        if settings.voids == Voids::Keep {
            let voids: Vec<Lump> = lumps(&Components::of(&enclosed_voids(&self.cells), Neighbours::Faces)).collect();
            return (!voids.is_empty()).then(|| {
                let message = format!(
                    "{} of air {} shut in the solid: nothing that fills it while printing can leave",
                    counted(voids.len(), "pocket"),
                    if voids.len() == 1 { "is" } else { "are" }
                );
                Finding::caution("voids-kept", message, "set `repair.voids: fill`").at(places_of(&voids, grid))
            });
        }
        (filled > 0).then(|| {
            let message = format!(
                "{} of air shut in the solid {} filled, {} in all",
                counted(self.voids.len(), "pocket"),
                if self.voids.len() == 1 { "was" } else { "were" },
                counted(filled, "cell"),
            );
            let remedy = "nothing to do; `hollow` makes a cavity that can be emptied, where material is to be saved";
            Finding::note("voids-filled", message, remedy).at(places_of(&self.voids, grid))
        })
    }

    fn about_contacts(&self, settings: &Settings) -> Option<Finding> {
        if self.contacts.is_empty() {
            return None;
        }
        let found = counted(self.contacts.len(), "place");
        let places = self.contacts.iter().take(MOST_LISTED).map(|contact| Place {
            mm: contact.place(self.cells.grid()).to_array(),
            cell: Some(contact.low.to_array()),
        });
        let finding = match settings.contacts {
            Contacts::Mend => {
                let [added, removed] = self.mended.map(|cells| counted(cells, "cell"));
                let message = format!(
                    "{found} where cubes met in an edge or a corner alone, mended with {added} added and {removed} removed"
                );
                Finding::note(
                    "contacts-mended",
                    message,
                    "nothing to do; look at the pictures if the form matters there",
                )
            }
            Contacts::Report => {
                let message = format!(
                    "{found} where cubes meet in an edge or a corner alone: the piece would break there, and its surface \
                     is not a manifold"
                );
                Finding::fault("contacts-left", message, "set `repair.contacts: mend`")
            }
        };
        Some(finding.at(places))
    }
}

/// The components as lumps, in their order.
fn lumps(components: &Components) -> impl Iterator<Item = Lump> {
    let lump = |(at, &cells): (usize, &usize)| Lump { cells, first: components.first_cell(at) };
    components.sizes().iter().enumerate().map(lump)
}

/// Where the largest lumps begin.
fn places_of(lumps: &[Lump], grid: &Grid) -> Vec<Place> {
    let mut largest = lumps.to_vec();
    largest.sort_by_key(|lump| std::cmp::Reverse(lump.cells));
    let place = |lump: &Lump| Place { mm: grid.centre(lump.first).to_array(), cell: Some(lump.first.to_array()) };
    largest.iter().take(MOST_LISTED).map(place).collect()
}

/// A number with its noun.
fn counted(number: usize, noun: &str) -> String {
    format!("{number} {noun}{}", if number == 1 { "" } else { "s" })
}

/// A part in per cent of the whole; 0 if there is no whole.
fn percent(part: f64, whole: f64) -> f64 {
    if whole > 0.0 { 100.0 * part / whole } else { 0.0 }
}
