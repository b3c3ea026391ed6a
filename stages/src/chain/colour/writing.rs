//! Writes the piece in its formats, and its pictures.

use std::path::PathBuf;

use super::{ORDERED, PICTURE};
use crate::findings::{Fact, Unit};
use crate::formats::{ColouredMesh, picture, ply, stl, threemf};
use crate::paint::Paint;
use crate::solid::{Patch, Skin};
use crate::stage::{Halt, Shop};

/// Writes all; gives the path of the ordered file.
pub(super) fn write(shop: &mut Shop<'_>, skin: &Skin, paint: &Paint) -> Result<PathBuf, Halt> {
    let inside = paint.colours.iter().position(|&c| c == paint.inside).unwrap_or_default() as u32;
    let ink: Vec<u32> = skin
        .patches
        .iter()
        .map(|patch| match patch {
            Patch::Outside(face) => paint.ink[*face as usize],
            Patch::Inside => inside,
        })
        .collect();
    let mesh = ColouredMesh { points: &skin.points, triangles: &skin.triangles, colours: &paint.colours, ink: &ink };
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
