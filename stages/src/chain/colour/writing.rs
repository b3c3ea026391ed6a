//! Writes the piece in its formats, and its pictures.

use std::cell::LazyCell;
use std::path::PathBuf;

use super::guard::Laid;
use super::{ORDERED, PICTURE};
use crate::Srgb;
use crate::findings::{Fact, Unit};
use crate::formats::{ColouredMesh, glb, picture, ply, stl, threemf};
use crate::memo::Key;
use crate::paint::Paint;
use crate::solid::outside::{Bands, outside};
use crate::solid::rectangles::Sewn;
use crate::solid::{Patch, Skin};
use crate::stage::{Halt, Shop};
use crate::workpiece::{Hull, Workpiece};

/// Writes all, with the cut skin where there is one; gives the path of the ordered file.
pub(super) fn write(
    shop: &mut Shop<'_>,
    piece: &Workpiece,
    hull: &Hull,
    paint: &Paint,
    guard: Option<&Laid>,
) -> Result<PathBuf, Halt> {
    let banded = guard.map(|guard| &guard.cut);
    let skin = banded.map_or(&hull.skin, |banded| &banded.skin);
    let (colours, ink) = inks(skin, paint, banded.map(|banded| banded.band.as_slice()), shop.process().bare());
    let mesh = ColouredMesh { points: &skin.points, triangles: &skin.triangles, colours: &colours, ink: &ink };
    shop.fact(Fact::whole("triangles", skin.triangles.len(), Unit::Triangles));
    // What hangs on the mesh and on which ink lies where, but on no colour.
    let recall = shop.recall();
    let inked = LazyCell::new(|| {
        let skin = banded.map_or(hull.key, |banded| banded.skin.key());
        Key::of("inked").key(skin).wholes(&ink).made()
    });
    let key = |purpose: &str| Key::of(purpose).key(*inked).made();

    let title = shop.title().to_owned();
    let path = shop.artefact(ORDERED, "the file to order: 3MF, a colour for each triangle", |out| {
        threemf::check(&mesh)?;
        let pattern = recall.of(|| key("3mf 1"), || threemf::Pattern::of(&mesh));
        pattern.write(&colours, &title, out)
    })?;
    shop.go_on()?;
    if shop.draft() {
        return Ok(path);
    }
    shop.artefact("piece.ply", "the coloured piece as PLY", |out| ply::write(&mesh, out))?;
    shop.artefact("piece.stl", "the piece without colour as STL", |out| {
        stl::write(&skin.points, &skin.triangles, out)
    })?;
    shop.artefact("piece.glb", "the piece as it looks from outside, as GLB, to look at", |out| {
        let seen = recall.of(|| key("seen 1"), || seen(piece, paint, guard, &colours));
        let Sewn { points, triangles, ink } = &*seen;
        glb::write(&ColouredMesh { points, triangles, colours: &colours, ink }, &title, out)
    })?;
    shop.go_on()?;
    if colours.len() > picture::FEW_INKS {
        for (view, image) in picture::render_all(&mesh, PICTURE) {
            shop.artefact(&view.file_name(), &what(view), |out| image.write_png(out))?;
        }
        return Ok(path);
    }
    let views = recall.of(|| key("views 1"), || picture::Views::of(&mesh, PICTURE));
    for (view, write) in views.in_colours(&colours) {
        shop.artefact(&view.file_name(), &what(view), write)?;
    }
    Ok(path)
}

/// What is seen of the piece from outside.
fn seen(piece: &Workpiece, paint: &Paint, guard: Option<&Laid>, colours: &[Srgb]) -> Sewn<u32> {
    let place = |colour: Srgb| colours.iter().position(|&c| c == colour).unwrap_or_default() as u32;
    let bands = guard.map(|guard| Bands { held: &guard.held, width: guard.width, bare: place(guard.bare) });
    let cells = piece.cells().expect("the plan saw to it");
    outside(cells, piece.void(), (&paint.faces, &paint.ink), place(paint.inside), bands)
}

fn what(view: picture::View) -> String {
    format!("the piece seen {}", view.words())
}

/// The colours of a skin and the place of each triangle's among them: `bare` in the bands where ink is held back.
pub(in crate::chain) fn inks(skin: &Skin, paint: &Paint, band: Option<&[bool]>, bare: Srgb) -> (Vec<Srgb>, Vec<u32>) {
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
