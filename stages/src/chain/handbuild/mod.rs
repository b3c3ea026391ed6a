//! `handbuild`: the same piece to build from real cubes, or to paint by hand on a single-colour print.
//!
//! A drawing for each layer, from the foot up (`layer`), behind pages with pictures, a key, a shopping list and cautions
//! (`front`); the same list as CSV. Sheets fit both A4 and Letter. `building` says which cubes are built, `inks` which
//! letter a colour has, `list` what is needed. The piece itself goes through unchanged.
//!
//! Guarantees: each cube that is built is drawn on one sheet, once; letters by side and colour are the faces that `colour`
//! painted, each once, but that colours may have been put together; cubes built, left out and kept open add up to the
//! solid's cells.

mod advice;
mod building;
mod front;
mod inks;
mod isometric;
mod key;
mod layer;
mod list;
mod settings;
mod sheet;
mod told;

#[cfg(test)]
mod tests;

pub use settings::{Hidden, Settings, Way};

use crate::Length;
use crate::formats::drawing::{Drawing, Paper, pdf, svg};
use crate::outlook::Outlook;
use crate::stage::{Halt, Misfit, Shop, Stage, some_cubes};
use crate::workpiece::{Part, Workpiece};
use building::Building;
use inks::Inks;
use layer::Sheets;
use list::List;
use sheet::Cut;

/// See the module's documentation.
pub struct Handbuild;

/// More cubes than this nobody sets by hand, and more pages nobody prints (common practice, no source: at 20 s a cube,
/// half a year of working days; four packs of paper).
const MOST_CUBES: usize = 200_000;
const MOST_PAGES: usize = 2000;
/// Bytes that a face, a letter and its field, and a cube's square take in drawings, on the sheets and again on paper.
const BYTES_A_FACE: f64 = 2000.0;
const BYTES_A_CELL: f64 = 600.0;

impl Stage for Handbuild {
    type Settings = Settings;

    const NAME: &'static str = "handbuild";
    const PURPOSE: &'static str = "draws the piece layer by layer, to build from real cubes or to paint by hand";
    const VERSION: u32 = 2;
    const NEEDS: &'static [Part] = &[Part::Cells, Part::Paint];
    const GIVES: &'static [Part] = &[];

    fn outlook(_: &Settings, before: Outlook) -> Outlook {
        // A piece with more cubes than are drawn stops the run before anything is drawn.
        let cells = before.cells().min(4.0 * MOST_CUBES as f64);
        before.after(BYTES_A_FACE * before.faces().min(6.0 * MOST_CUBES as f64) + BYTES_A_CELL * cells, 0.0)
    }

    fn check(settings: &Settings, _: &Shop<'_>) -> Result<(), Misfit> {
        settings.check()
    }

    fn run(settings: &Settings, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        settings.check()?;
        // Nothing of it is said beside other sizes, most of which nobody would build by hand.
        if shop.brief() {
            return Ok(piece);
        }
        let cells = some_cubes(piece.cells().expect("the plan saw to it"))?;
        let paint = piece.paint().expect("the plan saw to it");
        few_enough(cells.count(), cells.grid().cell)?;
        let inks = Inks::of_paint(paint, settings.colours);
        shop.go_on()?;
        let building = Building::of(cells, piece.void(), paint, &inks, settings).expect("there are cubes");
        let edge = settings.cube.map_or(cells.grid().cell, Length::mm);
        let list = List::of(&building, &inks, edge, settings);
        let plan = Plan::of(&building, &inks, &list, settings, shop)?;
        told::say(&building, &inks, &list, &plan, settings, shop);
        if !shop.draft() {
            write(&building, &inks, &list, &plan, settings, shop)?;
        }
        Ok(piece)
    }
}

fn few_enough(cubes: usize, cell: f64) -> Result<(), Misfit> {
    if cubes <= MOST_CUBES {
        return Ok(());
    }
    // Cubes go with the third power of the cell.
    let larger = cell * libm::cbrt(cubes as f64 / MOST_CUBES as f64);
    Err(Misfit::new(
        "",
        format!("{cubes} cubes are more than the {MOST_CUBES} that are drawn to be set by hand"),
        format!("set `voxelise.cell` to {:.1} mm or more, or take `handbuild` out", larger + 0.05),
    ))
}

/// How the sheets are cut, and how many there are.
struct Plan {
    cut: Cut,
    tiles: Vec<sheet::Tile>,
    first: usize,
}

impl Plan {
    fn of(building: &Building, inks: &Inks, list: &List, settings: &Settings, shop: &Shop<'_>) -> Result<Self, Misfit> {
        let cut = Cut::of(building.counts, settings, inks.longest());
        let tiles = sheet::tiles(building, &cut);
        let first =
            front::pages(&front::Content { building, inks, list, settings, title: &title(shop), cut: &cut }, None)
                .len();
        let plan = Self { cut, tiles, first };
        if plan.pages() > MOST_PAGES {
            return Err(Misfit::new(
                "square",
                format!("the sheets would be {} pages, more than the {MOST_PAGES} that are drawn", plan.pages()),
                "set a smaller `handbuild.square`, or a larger `voxelise.cell`",
            ));
        }
        Ok(plan)
    }

    fn pages(&self) -> usize {
        self.first + self.tiles.len()
    }
}

/// What the sheets are headed by.
fn title(shop: &Shop<'_>) -> String {
    if shop.title().is_empty() { "Untitled piece".to_owned() } else { shop.title().to_owned() }
}

fn write(
    building: &Building,
    inks: &Inks,
    list: &List,
    plan: &Plan,
    settings: &Settings,
    shop: &mut Shop<'_>,
) -> Result<(), Halt> {
    let title = title(shop);
    let content = front::Content { building, inks, list, settings, title: &title, cut: &plan.cut };
    let pictures = front::Pictures::of(building);
    let mut sheets = front::pages(&content, Some(&pictures));
    let pages = plan.pages();
    sheets.iter_mut().enumerate().for_each(|(n, sheet)| layer::number_page(sheet, n + 1, pages));
    let drawn = Sheets::new(building, inks, &plan.cut, &title, list.edge, pages);
    for tile in &plan.tiles {
        shop.go_on()?;
        sheets.push(drawn.draw(tile, sheets.len() + 1));
    }
    for paper in Paper::ALL {
        shop.go_on()?;
        let what = format!("the piece layer by layer, to make by hand: {pages} pages of {}", front::paper(paper));
        let on_paper: Vec<Drawing> = sheets.iter().map(|sheet| sheet::on_paper(sheet, paper)).collect();
        // A chain may have sheets to build and sheets to paint.
        let name = shop.free_name(&format!("handbuild-{}.pdf", paper.word()));
        shop.artefact(&name, &what, |out| pdf::write(&on_paper, &title, out))?;
    }
    let name = shop.free_name("handbuild-list.csv");
    shop.artefact(&name, "what to buy and to paint, as a table", |out| list.write(inks, out))?;
    if settings.svg {
        let digits = pages.to_string().len().max(3);
        for (n, sheet) in sheets.iter().enumerate() {
            shop.go_on()?;
            let what = format!("page {} of the piece layer by layer", n + 1);
            let name = shop.free_name(&format!("handbuild-{:0digits$}.svg", n + 1));
            shop.artefact(&name, &what, |out| svg::write(sheet, out))?;
        }
    }
    Ok(())
}
