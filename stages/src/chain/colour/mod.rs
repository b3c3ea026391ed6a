//! `colour`: gives every outside face the colour of the side it faces, and writes the piece in colour.

mod guard;

use std::sync::Arc;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::findings::{Fact, Finding, Unit};
use crate::formats::{ColouredMesh, picture, ply, stl, threemf};
use crate::outlook::Outlook;
use crate::paint::Paint;
use crate::process::Process;
use crate::solid::banded::Banded;
use crate::solid::{Patch, Skin};
use crate::stage::{Halt, Shop, Stage, some_cubes};
use crate::workpiece::{OrderedFile, Part, Workpiece};
use crate::{Side, Six, Srgb};

/// See the module's documentation.
pub struct Colour;

/// The name of the file that is ordered.
const ORDERED: &str = "piece.3mf";
/// Edge of the pictures, in pixels.
const PICTURE: u32 = 480;

/// Settings of `colour`: a colour for each side, as `"#rrggbb"`, `"#rgb"` or a CSS colour name.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// Faces that look to +x.
    pub right: Srgb,
    /// Faces that look to −x.
    pub left: Srgb,
    /// Faces that look to +y.
    pub back: Srgb,
    /// Faces that look to −y.
    pub front: Srgb,
    /// Faces that look up.
    pub top: Srgb,
    /// Faces that look down.
    pub bottom: Srgb,
    /// The cavity, and the shafts of its openings.
    #[serde(default = "Settings::default_inside")]
    pub inside: Srgb,
    /// A band without ink along edges between colours, so that running colour stays on its own side: `none`, `best` (the
    /// width that the print prediction rates best, if any is worth it), or `{ width: 0.2 mm, on: both }`, on both faces or on
    /// the `stronger`.
    #[serde(default)]
    pub guard: guard::Wish,
}

impl Settings {
    fn default_inside() -> Srgb {
        Srgb([0xff; 3])
    }

    fn sides(&self) -> Six<Srgb> {
        Six([self.right, self.left, self.back, self.front, self.top, self.bottom])
    }
}

impl Stage for Colour {
    type Settings = Settings;

    const NAME: &'static str = "colour";
    const PURPOSE: &'static str = "colours every outside face by the side it faces, and writes the piece";
    const VERSION: u32 = 2;
    const NEEDS: &'static [Part] = &[Part::Cells];
    const GIVES: &'static [Part] = &[Part::Paint, Part::Order];

    fn outlook(settings: &Settings, before: Outlook) -> Outlook {
        let faces = before.skin_faces() * settings.guard.growth();
        before.after(BUILDING * faces + PICTURES, HELD * faces)
    }

    fn run(settings: &Settings, mut piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        let cell = some_cubes(piece.cells().expect("the plan saw to it"))?.grid().cell;
        let hull = piece.hull().expect("the plan saw to it");
        let mut paint = paint(settings, Arc::clone(&hull.faces));
        say(shop, settings, &paint, cell);
        shop.go_on()?;
        let banded = guard::lay(&settings.guard, &mut paint, &piece, &hull.skin, shop)?;
        let path = write(shop, &hull.skin, &paint, banded.as_ref())?;
        let order = OrderedFile { name: ORDERED.to_owned(), path };
        Ok(piece.with_paint(paint).with_order(order))
    }
}

/// Bytes a face of the skin that the piece keeps: the face, a point, two triangles and where they are from, their colour.
const HELD: f64 = 100.0;
/// Bytes a face while the skin is made and written.
const BUILDING: f64 = 150.0;
/// Bytes of the pictures while they are drawn.
const PICTURES: f64 = 32e6;

fn paint(settings: &Settings, faces: Arc<[crate::solid::Face]>) -> Paint {
    let sides = settings.sides();
    let mut colours: Vec<Srgb> = sides.0.into_iter().chain([settings.inside]).collect();
    colours.sort_unstable();
    colours.dedup();
    let place = sides.0.map(|colour| colours.partition_point(|&c| c < colour) as u32);
    let ink = faces.iter().map(|face| place[face.side as usize]).collect();
    Paint { colours, faces, ink, sides, inside: settings.inside, guard: None }
}

/// Writes the piece in its formats, and its pictures; gives the path of the ordered file.
fn write(shop: &mut Shop<'_>, skin: &Skin, paint: &Paint, banded: Option<&Banded>) -> Result<std::path::PathBuf, Halt> {
    let skin = banded.map_or(skin, |banded| &banded.skin);
    let (colours, ink) = inks(skin, paint, banded.map(|banded| banded.band.as_slice()), shop.process());
    let mesh = ColouredMesh { points: &skin.points, triangles: &skin.triangles, colours: &colours, ink: &ink };
    shop.fact(Fact::whole("triangles", skin.triangles.len(), Unit::Triangles));
    let title = shop.title().to_owned();
    let path = shop.artefact(ORDERED, "the file to order: 3MF, a colour for each triangle", |out| {
        threemf::write(&mesh, &title, out)
    })?;
    shop.go_on()?;
    if shop.draft() {
        return Ok(path);
    }
    shop.artefact("piece.ply", "the coloured piece as PLY", |out| ply::write(&mesh, out))?;
    shop.artefact("piece.stl", "the piece without colour as STL", |out| {
        stl::write(&skin.points, &skin.triangles, out)
    })?;
    shop.go_on()?;
    for (view, image) in picture::render_all(&mesh, PICTURE) {
        shop.artefact(&view.file_name(), &format!("the piece seen {}", view.words()), |out| image.write_png(out))?;
    }
    Ok(path)
}

/// The colours of a skin and the place of each triangle's among them: where a guard holds ink back, the bare material's.
fn inks(skin: &Skin, paint: &Paint, band: Option<&[bool]>, process: &Process) -> (Vec<Srgb>, Vec<u32>) {
    let mut colours = paint.colours.clone();
    let mut place = |colour: Srgb| {
        colours.iter().position(|&c| c == colour).unwrap_or_else(|| {
            colours.push(colour);
            colours.len() - 1
        }) as u32
    };
    let inside = place(paint.inside);
    let bare = band.map_or(inside, |_| place(process.bare()));
    let ink = |(triangle, patch): (usize, &Patch)| match patch {
        Patch::Outside(_) if band.is_some_and(|band| band[triangle]) => bare,
        Patch::Outside(face) => paint.ink[*face as usize],
        Patch::Inside => inside,
    };
    let ink = skin.patches.iter().enumerate().map(ink).collect();
    (colours, ink)
}

fn say(shop: &mut Shop<'_>, settings: &Settings, paint: &Paint, cell: f64) {
    let mut counts = Six([0usize; 6]);
    for face in paint.faces.iter() {
        counts[face.side] += 1;
    }
    let sides = settings.sides();
    let row = |side: Side| {
        let area = counts[side] as f64 * cell * cell / 100.0;
        vec![side.to_string(), sides[side].to_string(), counts[side].to_string(), format!("{area:.2}")]
    };
    shop.fact(Fact::whole("outside faces", paint.faces.len(), Unit::Faces));
    shop.fact(Fact::number("outside area", paint.faces.len() as f64 * cell * cell / 100.0, Unit::Cm2));
    shop.fact(Fact::table("faces by side", &["side", "colour", "faces", "area, cm²"], Side::ALL.map(row).to_vec()));
    shop.fact(Fact::text("inside colour", settings.inside.to_string()));
    for (i, a) in Side::ALL.into_iter().enumerate() {
        for b in Side::ALL.into_iter().skip(i + 1).filter(|&b| sides[a] == sides[b]) {
            shop.finding(Finding::caution(
                "same-colour",
                format!(
                    "{a} and {b} have the same colour {}: no change shows when the piece turns from one to the other",
                    sides[a]
                ),
                format!("choose another colour for {b}, unless that is what you want"),
            ));
        }
    }
}
