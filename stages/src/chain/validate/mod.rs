//! `validate`: reads back the file that will be ordered and measures it anew.
//!
//! The file is read from disk each time, all of it, and every colour in it looked at. What is measured of the mesh alone is
//! the same for every palette of a piece: it is kept by the digest of the mesh as it was read, if there is a memo.
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
//! 7. Of a divided piece each part is measured so, and its pins and sockets (`pegs`); what is told of the piece is told of
//!    all of them together (`parts`).
//! 8. From each side, all outside surface seen has that side's colour (`views`).

mod bodies;
mod closed;
mod colours;
mod intent;
mod mass;
mod mesh;
mod outside;
mod parts;
mod pegs;
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

use crate::division::Division;
use crate::findings::{Fact, Finding};
use crate::formats::threemf::read::{self, Limits};
use crate::memo::{Key, Recall, Weigh};
use crate::outlook::Outlook;
use crate::process::Process;
use crate::stage::{Halt, Misfit, Shop, Stage};
use crate::workpiece::{Part, Workpiece};
use crate::{Length, Six};
use colours::Faces;
use intent::{Form, Intent};
use mesh::{Coloured, Mesh};
use said::Said;
use tree::Tree;
use views::Rays;

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
    const VERSION: u32 = 6;
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
        if let Some(segments) = piece.division().and_then(Division::parts) {
            parts::check(settings, segments, piece.orders(), shop)?;
            return Ok(piece);
        }
        let order = piece.order().expect("the plan saw to it");
        let (file, bytes) = match read_back(&order.path, shop.recall()) {
            Ok(read) => read,
            Err(message) => {
                shop.finding(unreadable(&order.name, &message));
                return Ok(piece);
            }
        };
        shop.go_on()?;
        let wall = settings.wall.map(Length::mm);
        let intent = Intent::new(cells.grid(), paint, piece.void(), wall, shop.process().bare());
        measure(&file, bytes, &intent, shop.process(), shop.recall()).tell(shop);
        shop.go_on()?;
        Ok(piece)
    }
}

/// The mesh in a file on disk, and the file's size in bytes.
fn read_back(path: &Path, recall: Recall<'_>) -> Result<(Coloured, u64), String> {
    let file = File::open(path).map_err(|error| error.to_string())?;
    let bytes = file.metadata().map_err(|error| error.to_string())?.len();
    let model = read::read_recalling(BufReader::new(file), LIMITS, recall)?;
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

/// Measures the file against what was asked for.
fn measure(file: &Coloured, bytes: u64, intent: &Intent<'_>, process: &Process, recall: Recall<'_>) -> Said {
    let mut said = Said::default();
    mass::check_file(&file.mesh, bytes, process, &mut said);
    let measured = recall
        .of(|| Measured::key(&file.mesh, &intent.form, process), || Measured::of(&file.mesh, &intent.form, process));
    said.add(&measured.surface);
    if let Some(body) = &measured.body {
        colours::check(file, &body.assigned, intent, &mut said);
        pegs::check(&file.mesh, &body.assigned, &intent.form, &mut said);
        said.add(&body.walls);
        if let Some(rays) = &body.rays {
            let others = |side| views::others(side, rays, file, &body.assigned, intent);
            views::check(&views::see(rays, file, &body.assigned, intent), others, &mut said);
        }
    }
    said
}

/// All that is measured without a look at any colour, so that it holds for whatever palette the mesh comes in.
struct Measured {
    /// What is said of the surface, before anything is said of colours.
    surface: Said,
    /// Without a body there is no outside to measure; the finding about it is among what is said of the surface.
    body: Option<Body>,
}

/// What there is only where the surface holds a body.
struct Body {
    assigned: Vec<Faces>,
    /// What is said of inside and walls, after what is said of colours.
    walls: Said,
    rays: Option<Six<Rays>>,
}

impl Measured {
    fn key(mesh: &Mesh, form: &Form<'_>, process: &Process) -> Key {
        // No colour of the process plays a part, but its figures do; written as in the record, they are all there.
        let process = serde_json::to_vec(process).unwrap_or_else(|error| panic!("a process must be JSON: {error}"));
        let key = Key::of("measured 1").points(&mesh.points).triangles(&mesh.triangles);
        key.key(form.key()).bytes(&process).made()
    }

    fn of(mesh: &Mesh, form: &Form<'_>, process: &Process) -> Self {
        let mut surface = Said::default();
        let topology = closed::check(mesh, form.region(), &mut surface);
        let parts = bodies::measure(mesh, &topology);
        let has_body = bodies::check(&parts, process, form.region(), &mut surface);
        let mass = mass::Mass::of(mesh);
        mass.check(process, &mut surface);
        if !has_body {
            return Self { surface, body: None };
        }
        // Parts stand when they are put together.
        if form.pegs.is_none() {
            standing::check(mesh, &mass, &mut surface);
        }
        let outside = outside::flood(mesh, &topology, &parts, form.openings);
        outside::check(mesh, &topology, &outside, form.openings, process, &mut surface);
        Self { surface, body: Some(Body::of(mesh, &outside, form, process)) }
    }
}

impl Body {
    fn of(mesh: &Mesh, outside: &[bool], form: &Form<'_>, process: &Process) -> Self {
        let assigned = colours::assign(mesh, outside, form);
        let mut walls = Said::default();
        if outside.iter().all(|&o| o) {
            walls.facts.push(Fact::text("inside", "solid: the piece has no cavity"));
        }
        let cavity = outside::cavity(mesh, outside, form);
        wall::check_wall(mesh, outside, &cavity, form, process, &mut walls);
        let rays = Tree::new(mesh, |_| true).map(|tree| {
            wall::check_thickness(mesh, &tree, &assigned, form, process, &mut walls);
            views::look(&tree, form)
        });
        Self { assigned, walls, rays }
    }
}

impl Weigh for Measured {
    fn bytes(&self) -> usize {
        let body = |body: &Body| {
            let rays = body.rays.iter().flat_map(|rays| rays.iter()).map(|(_, rays)| rays.bytes());
            body.walls.bytes() + body.assigned.capacity() * size_of::<Faces>() + rays.sum::<usize>()
        };
        self.surface.bytes() + self.body.as_ref().map_or(0, body)
    }
}
