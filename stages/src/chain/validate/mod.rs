//! `validate`: reads back the file that will be ordered and measures it anew.
//!
//! Nothing here uses the code that made the file: the reader, the topology, the flood that tells outside from inside,
//! the distances, the rays are all its own. From the workpiece it takes only what the job asked for: the size of the
//! cells, the colour of each cube face and of the inside, the wall, and where the openings are.
//!
//! 1. The surface is closed, turned outwards, and touches itself nowhere (`closed`).
//! 2. It is one body, and no cavity is sealed (`bodies`).
//! 3. Volume, surface, size, centre of mass, weight; the piece fits the machine, the file its limits (`mass`). It stands
//!    on its lowest facets, and tips over at a safe angle only (`standing`).
//! 4. The openings are where they should be and wide enough; the inside is reached through nothing else (`outside`).
//! 5. Each outside triangle lies on a painted cube face and has its colour, or is bare and lies in a guard band that the job
//!    asked for; each face is there, and its bands have their area (`colours`).
//! 6. The wall between cavity and outside is as thick as asked, by the exact distance of triangles; the thinnest part
//!    of the piece by rays (`wall`).
//! 7. From each side, all outside surface seen has that side's colour (`views`).

mod bodies;
mod closed;
mod colours;
mod intent;
mod mass;
mod mesh;
mod outside;
mod said;
mod separation;
mod standing;
mod tree;
mod views;
mod wall;

#[cfg(test)]
mod tests;

use std::fs::File;
use std::io::BufReader;
use std::path::Path;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Length;
use crate::findings::{Fact, Finding};
use crate::formats::threemf::read::{self, Limits};
use crate::outlook::Outlook;
use crate::process::Process;
use crate::stage::{Halt, Misfit, Shop, Stage};
use crate::workpiece::{Part, Workpiece};
use intent::Intent;
use mesh::Mesh;
use said::Said;
use tree::Tree;

/// What reading the file may cost, whatever the process allows: 1 GiB of text and ten million triangles, far above any
/// piece that could be ordered and well within a workstation's memory.
const LIMITS: Limits = Limits { part_bytes: 1 << 30, triangles: 10_000_000 };

/// Bytes a face of the skin: the file and its text, then two triangles in points, edges and trees.
const MEASURING: f64 = 700.0;

/// Coordinates beyond this many mm are no piece. Below it, volumes of triangles of a micron still add up in `f64`.
const FARTHEST: f64 = 1e6;

/// The stage.
pub struct Validate;

/// Settings of `validate`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Settings {
    /// Wall to demand between cavity and outside, in mm. Default: the wall that `hollow` was asked for.
    pub wall: Option<Length>,
}

impl Stage for Validate {
    type Settings = Settings;

    const NAME: &'static str = "validate";
    const PURPOSE: &'static str = "reads back the file that will be ordered and measures it anew";
    const VERSION: u32 = 4;
    const NEEDS: &'static [Part] = &[Part::Cells, Part::Paint, Part::Order];
    const GIVES: &'static [Part] = &[];

    fn outlook(_: &Settings, before: Outlook) -> Outlook {
        before.after(MEASURING * before.skin_faces(), 0.0)
    }

    fn check(settings: &Settings, _: &Shop<'_>) -> Result<(), Misfit> {
        match settings.wall {
            Some(wall) if wall.mm() <= 0.0 => Err(Misfit::new(
                "wall",
                format!("a wall must be above 0 mm, not {wall}"),
                "leave it out to demand the wall that `hollow` was asked for",
            )),
            _ => Ok(()),
        }
    }

    fn run(settings: &Settings, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        let cells = piece.cells().expect("the plan saw to it");
        let paint = piece.paint().expect("the plan saw to it");
        let order = piece.order().expect("the plan saw to it");
        let (mesh, bytes) = match read_back(&order.path) {
            Ok(read) => read,
            Err(message) => {
                shop.finding(unreadable(&order.name, &message));
                return Ok(piece);
            }
        };
        shop.go_on()?;
        let wall = settings.wall.map(Length::mm);
        let intent = Intent::new(cells.grid(), paint, piece.void(), wall, shop.process().bare());
        measure(&mesh, bytes, &intent, shop.process()).tell(shop);
        shop.go_on()?;
        Ok(piece)
    }
}

/// The mesh in a file on disk, and the file's size in bytes.
fn read_back(path: &Path) -> Result<(Mesh, u64), String> {
    let file = File::open(path).map_err(|error| error.to_string())?;
    let bytes = file.metadata().map_err(|error| error.to_string())?.len();
    let model = read::read(BufReader::new(file), LIMITS)?;
    if let Some(point) = model.points.iter().find(|p| p.abs().max_element() > FARTHEST) {
        return Err(format!("it has a point at {point} mm, more than a kilometre away"));
    }
    Ok((model.into(), bytes))
}

fn unreadable(name: &str, message: &str) -> Finding {
    Finding::fault(
        "file-unreadable",
        format!("the ordered file '{name}' could not be read back: {message}"),
        "do not order it; check that the disk is sound and has room, and run the job again",
    )
}

/// Measures the mesh against what was asked for.
fn measure(mesh: &Mesh, bytes: u64, intent: &Intent<'_>, process: &Process) -> Said {
    let mut said = Said::default();
    mass::check_file(mesh, bytes, process, &mut said);
    let topology = closed::check(mesh, intent.region(), &mut said);
    let parts = bodies::measure(mesh, &topology);
    let has_body = bodies::check(&parts, process, intent.region(), &mut said);
    let mass = mass::Mass::of(mesh);
    mass.check(process, &mut said);
    if !has_body {
        // Without a body there is no outside to measure; the finding about it has been said.
        return said;
    }
    standing::check(mesh, &mass, &mut said);

    let outside = outside::flood(mesh, &topology, &parts, intent.openings);
    outside::check(mesh, &topology, &outside, intent.openings, process, &mut said);
    let assigned = colours::assign(mesh, &outside, intent);
    colours::check(mesh, &assigned, intent, &mut said);
    if outside.iter().all(|&o| o) {
        said.facts.push(Fact::text("inside", "solid: the piece has no cavity"));
    }
    let cavity = outside::cavity(mesh, &outside, intent);
    wall::check_wall(mesh, &outside, &cavity, intent, process, &mut said);
    if let Some(tree) = Tree::new(mesh, |_| true) {
        wall::check_thickness(mesh, &tree, &assigned, intent, process, &mut said);
        views::check(&views::look(mesh, &tree, &assigned, intent), &mut said);
    }
    said
}
