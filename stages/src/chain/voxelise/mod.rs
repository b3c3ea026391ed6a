//! `voxelise`: rebuilds the form as a solid stack of cubes.
//!
//! A cell is solid when its centre lies inside the surface, by the generalized winding number; see
//! [`crate::solid::inside`]. The grid and the surface are moved so that the grid's lowest corner is the origin: corners
//! of cubes then lie at whole multiples of the cell, and the piece in the positive octant, as 3MF asks for.

mod best;
mod edge;
mod placing;
mod source;

use glam::{DVec3, IVec3};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use self::best::Best;
pub use self::edge::Edge;
pub use self::placing::{Anchor, Placing};
use super::likeness;
use crate::Length;
use crate::findings::{Fact, Finding, Unit};
use crate::outlook::Outlook;
use crate::solid::inside::{self, Told};
use crate::solid::{Cells, Grid};
use crate::stage::{Halt, Misfit, Shop, Stage};
use crate::units::Memory;
use crate::workpiece::{Part, Workpiece};

/// See the module's documentation.
pub struct Voxelise;

/// Settings of `voxelise`. Give either `cell` or `across`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// Edge of a cube; `advise` takes the smallest whose effect holds, found by comparing sizes before the run.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cell: Option<Edge>,
    /// Number of cubes along the piece's longest side, instead of `cell`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub across: Option<u32>,
    /// Where the grid sits.
    #[serde(default)]
    pub grid: Placing,
    /// Cells of an open model whose winding number is nearer to ½ than this may be told either way; all others are told as
    /// the exact number tells them. Larger is quicker where a model has very many holes. From 0 up to 0.5.
    #[serde(default = "usual_accuracy")]
    pub accuracy: f64,
    /// The most memory that the grid may take.
    #[serde(default = "Memory::usual")]
    pub memory: Memory,
}

impl Settings {
    /// The edge of a cube, where it is given as a length.
    fn length(&self) -> Option<Length> {
        self.cell.and_then(Edge::length)
    }
}

/// The word `advise` is for whoever compares sizes; this stage makes one piece.
fn unadvised() -> Misfit {
    let message = "`advise` names no size by itself: nothing compared any before this stage ran";
    Misfit::new("cell", message, "write a length, such as cell: 3 mm")
}

fn usual_accuracy() -> f64 {
    inside::ACCURACY
}

impl Stage for Voxelise {
    type Settings = Settings;

    const NAME: &'static str = "voxelise";
    const PURPOSE: &'static str = "rebuilds the form as a solid stack of cubes";
    const VERSION: u32 = 3;
    const NEEDS: &'static [Part] = &[Part::Surface];
    const GIVES: &'static [Part] = &[Part::Surface, Part::Cells];

    fn outlook(settings: &Settings, before: Outlook) -> Outlook {
        let longest = before.size.max_element();
        let cell =
            settings.across.map_or_else(|| settings.length().map_or(longest, Length::mm), |n| longest / f64::from(n));
        // One more than fits: where the grid sits is not known yet.
        let counts = (before.size / cell).floor() + 1.0;
        let after = Outlook { grid: Some((cell, counts)), ..before };
        let mut takes = telling(&after, 1.0).max(likeness::takes(&after));
        if settings.grid.tried().contains(&true) {
            takes = takes.max(best::takes(&after));
        }
        after.after(takes, before.surface_bytes() + after.cells() / 8.0)
    }

    fn check(settings: &Settings, _: &Shop<'_>) -> Result<(), Misfit> {
        if !(0.0..0.5).contains(&settings.accuracy) {
            let message =
                format!("the accuracy of a winding number must be from 0 to below 0.5, not {}", settings.accuracy);
            return Err(Misfit::new("accuracy", message, "leave it out for the usual one"));
        }
        match (settings.cell, settings.across) {
            (Some(Edge::Advise), None) => Err(unadvised()),
            (Some(Edge::Length(cell)), None) if cell.mm() > 0.0 => Ok(()),
            (Some(Edge::Length(cell)), None) => {
                Err(Misfit::new("cell", format!("a cell must be larger than 0 mm, not {cell}"), "write cell: 3 mm"))
            }
            (None, Some(1..)) => Ok(()),
            (None, Some(0)) => Err(Misfit::new("across", "needs at least one cube across", "write across: 60")),
            (None, None) => Err(Misfit::new("", "the size of the cubes is missing", "write cell: 3 mm, or across: 60")),
            (Some(_), Some(_)) => {
                Err(Misfit::new("across", "cell and across contradict each other", "keep one of them"))
            }
        }
    }

    fn run(settings: &Settings, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        let surface = piece.surface().expect("the plan saw to it");
        let [lo, hi] = surface.bounds().unwrap_or_default();
        let cell = cell_size(settings, hi - lo).map_err(|misfit| source::with_doubt(misfit, hi - lo, shop))?;
        let place = |shift| {
            let (low, counts) = placing::place(settings.grid, shift, [lo, hi], cell);
            Ok::<_, Misfit>((low, fits_in_memory(counts, settings, cell)?))
        };
        let (mut low, mut counts) = place(DVec3::ZERO)?;
        if settings.grid.tried().contains(&true) {
            let usual = Grid { origin: low, cell, counts };
            let best = best::find(surface, &usual, settings.grid, settings.memory, shop)?;
            say_best(shop, &best);
            (low, counts) = place(best.shift)?;
        }
        let surface = surface.mapped(|p| p - low);
        let grid = Grid { origin: DVec3::ZERO, cell, counts };
        shop.go_on()?;
        if !shop.brief() {
            source::tell(&surface, shop)?;
        }
        let (cells, told) = inside::solid_cells_within(&surface, grid, settings.accuracy);
        say(shop, &cells, &told);
        if cells.count() == 0 {
            // Not the end yet: `repair` makes cubes of a thin sheet where it is asked to.
            let message = format!(
                "no cube of {} has its centre inside the model: the form is thinner than a cell",
                Length::from_mm(cell).rounded()
            );
            let remedy = "set `repair.thin: thicken`, choose a smaller cell, or scale the piece up";
            shop.finding(Finding::caution("no-cubes", message, remedy));
            return Ok(piece.with_surface(surface).with_cells(cells));
        }
        let like = likeness::tell(&surface, &cells, shop)?;
        like.and_then(|like| likeness::caution(&like, cell)).into_iter().for_each(|caution| shop.finding(caution));
        Ok(piece.with_surface(surface).with_cells(cells))
    }
}

fn cell_size(settings: &Settings, size: DVec3) -> Result<f64, Misfit> {
    let longest = size.max_element();
    if let Some(across) = settings.across {
        let cell = longest / f64::from(across);
        if cell > 0.0 && cell.is_finite() {
            return Ok(cell);
        }
        return Err(Misfit::new(
            "across",
            format!("a piece of {longest} mm at its longest cannot be cut into {across} cubes"),
            "check the model and its units",
        ));
    }
    let cell = settings.length().ok_or_else(unadvised)?.mm();
    if cell > longest {
        return Err(Misfit::new(
            "cell",
            format!(
                "a cell of {} is larger than the whole piece ({} at its longest)",
                Length::from_mm(cell),
                Length::from_mm(longest).rounded()
            ),
            "choose a smaller cell, scale the piece up, or check the model's units",
        ));
    }
    Ok(cell)
}

/// Bytes a triangle for its edges and its patch.
const EDGES: f64 = 90.0;
/// Bytes a crossing: the word itself, twice while they are gathered, and what gathering leaves free.
const CROSSINGS: f64 = 24.0;

/// Bytes to tell inside from outside on a lattice so many times finer than the cells, beside what is told.
pub(super) fn telling(piece: &Outlook, finer: f64) -> f64 {
    EDGES * piece.triangles + CROSSINGS * piece.faces() * finer * finer / 3.0
}

/// One bit a cell for each of the few solids that are alive at once in this stage and in `repair`.
const BYTES_A_CELL: f64 = 1.0;

/// Most cells along an axis. Lattice keys hold 21 bits an axis, of which the cavity's finer lattice takes a few.
const MOST_ACROSS: f64 = 100_000.0;

fn fits_in_memory(counts: [f64; 3], settings: &Settings, cell: f64) -> Result<IVec3, Misfit> {
    let needed = counts.iter().product::<f64>() * BYTES_A_CELL;
    let widest = counts.iter().copied().fold(0.0, f64::max);
    let too_much = needed > settings.memory.bytes() as f64;
    if !too_much && widest <= MOST_ACROSS {
        return Ok(IVec3::from_array(counts.map(|n| n as i32)));
    }
    let [x, y, z] = counts.map(in_short);
    let grid = format!("a grid of {x} × {y} × {z} cells of {}", Length::from_mm(cell).rounded());
    let (message, remedy) = if too_much {
        (
            format!("{grid} would take about {}, more than the limit of {}", amount(needed), settings.memory),
            "choose a larger cell or a smaller piece, or raise memory",
        )
    } else {
        (
            format!("{grid} is longer than the {MOST_ACROSS} cells that a grid may have along an axis"),
            "choose a larger cell or a smaller piece",
        )
    };
    Err(Misfit::new(if settings.cell.is_some() { "cell" } else { "across" }, message, remedy))
}

/// A number of cells: digit by digit while somebody could count them, then as a power of ten.
fn in_short(cells: f64) -> String {
    if cells < 1e9 { format!("{cells:.0}") } else { format!("{cells:.1e}") }
}

/// An amount of memory, which may be beyond what 64 bits count.
fn amount(bytes: f64) -> String {
    let exbibyte = (1_u64 << 60) as f64;
    if bytes < exbibyte {
        Memory::from_bytes(bytes as u64).to_string()
    } else {
        format!("{:.1e} TiB", bytes / (1_u64 << 40) as f64)
    }
}

fn say_best(shop: &mut Shop<'_>, best: &Best) {
    shop.fact(Fact::whole("places tried for the grid", best.tried, Unit::Count));
    shop.fact(Fact::triple("grid moved by", best.shift, Unit::Mm));
    shop.fact(Fact::number("volume overlap gained by the place", 100.0 * (best.overlap - best.usual), Unit::Percent));
    let kept = match best.symmetric {
        [true, true, _] => "left to right and front to back",
        [true, false, _] => "left to right",
        [false, true, _] => "front to back",
        [false, false, _] => "none found",
    };
    shop.fact(Fact::text("symmetry kept by the grid", kept));
}

fn say(shop: &mut Shop<'_>, cells: &Cells, told: &Told) {
    let grid = cells.grid();
    let count = cells.count();
    shop.fact(Fact::number("cell", grid.cell, Unit::Mm));
    shop.fact(Fact::triple("grid", grid.counts.as_dvec3(), Unit::Cells));
    shop.fact(Fact::whole("cells", count, Unit::Cells));
    shop.fact(Fact::number("volume of cells", count as f64 * grid.cell.powi(3) / 1000.0, Unit::Cm3));
    let way = if told.rim_edges == 0 {
        "the surface is closed: exact crossings along lines of cells".to_owned()
    } else {
        format!(
            "the surface is open along {} edges: crossings along lines of cells, and winding numbers of the holes, one by \
             one for {} cells",
            told.rim_edges, told.summed
        )
    };
    shop.fact(Fact::text("inside told by", way));
    if told.patches_turned > 0 {
        shop.fact(Fact::whole("patches turned", told.patches_turned, Unit::Count));
        shop.finding(Finding::note(
            "patches-turned",
            format!("{} parts of the model showed their inside outwards and were turned", told.patches_turned),
            "nothing to do; mend the model if you use it elsewhere",
        ));
    }
    if told.inside_out {
        shop.finding(Finding::note(
            "model-inside-out",
            "the model was inside out and was turned",
            "nothing to do; mend the model if you use it elsewhere",
        ));
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::conformance::Trial;
    use crate::solid::Surface;

    #[test]
    fn the_word_alone_is_refused_with_what_to_write() {
        let surface = crate::solid::forms::cuboid(DVec3::ZERO, DVec3::splat(10.0));
        let stage = crate::stage::erase::<Voxelise>();
        let (settings, piece) = (serde_json::json!({ "cell": "advise" }), Workpiece::default().with_surface(surface));
        let folder = tempfile::tempdir().unwrap();
        let trial = Trial { stage: stage.as_ref(), settings, files: BTreeMap::new(), piece };
        let halt = trial.run(folder.path().to_path_buf()).map(|_| ()).unwrap_err();
        let Halt::Misfit(misfit) = halt else { panic!("{halt:?}") };
        assert!(misfit.setting == "cell" && misfit.remedy.contains("cell: 3 mm"), "{misfit:?}");
    }

    #[test]
    fn models_without_a_size_are_refused() {
        let stage = crate::stage::erase::<Voxelise>();
        let triangle = |corners: [f64; 3]| Surface::new(corners.map(DVec3::splat).to_vec(), vec![[0, 1, 2]]).unwrap();
        let none = Surface::new(Vec::new(), Vec::new()).unwrap();
        for surface in [none, triangle([7.0; 3]), triangle([0.0, 1e-323, 0.0]), triangle([-1.5e308, 0.0, 1.5e308])] {
            for settings in [serde_json::json!({ "across": 60 }), serde_json::json!({ "cell": 3.0 })] {
                let piece = Workpiece::default().with_surface(surface.clone());
                let folder = tempfile::tempdir().unwrap();
                let trial = Trial { stage: stage.as_ref(), settings, files: BTreeMap::new(), piece };
                let halt = trial.run(folder.path().to_path_buf()).map(|_| ()).unwrap_err();
                assert!(matches!(halt, Halt::Misfit(_)), "{halt:?}");
            }
        }
    }
}
