//! Writes the piece in its formats, and its pictures.

use std::path::PathBuf;

use super::{ORDERED, PICTURE};
use crate::Srgb;
use crate::findings::{Fact, Unit};
use crate::formats::{ColouredMesh, picture, ply, stl, threemf};
use crate::paint::Paint;
use crate::solid::banded::Banded;
use crate::solid::{Patch, Skin};
use crate::stage::{Halt, Shop};

/// Writes all, with the cut skin where there is one; gives the path of the ordered file.
pub(super) fn write(shop: &mut Shop<'_>, skin: &Skin, paint: &Paint, banded: Option<&Banded>) -> Result<PathBuf, Halt> {
    let skin = banded.map_or(skin, |banded| &banded.skin);
    let (colours, ink) = inks(skin, paint, banded.map(|banded| banded.band.as_slice()), shop.process().bare());
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

/// The colours of a skin and the place of each triangle's among them: `bare` in the bands where ink is held back.
pub(super) fn inks(skin: &Skin, paint: &Paint, band: Option<&[bool]>, bare: Srgb) -> (Vec<Srgb>, Vec<u32>) {
    let mut colours = paint.colours.clone();
    let mut place = |colour: Srgb| {
        let known = colours.iter().position(|&c| c == colour);
        known.unwrap_or_else(|| {
            colours.push(colour);
            colours.len() - 1
        }) as u32
    };
    let inside = place(paint.inside);
    let bare = band.map_or(inside, |_| place(bare));
    let ink = |(triangle, patch): (usize, &Patch)| match patch {
        Patch::Outside(_) if band.is_some_and(|band| band[triangle]) => bare,
        Patch::Outside(face) => paint.ink[*face as usize],
        Patch::Inside => inside,
    };
    let ink = skin.patches.iter().enumerate().map(ink).collect();
    (colours, ink)
}
