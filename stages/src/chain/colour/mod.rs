//! `colour`: gives every outside face the colour of the side it faces, and writes the piece in colour.
//!
//! 1. `settings` say what each side carries: a colour, a gradient, or a picture.
//! 2. A side is looked at straight from it (`facade`). A picture is laid on the silhouette there, and each face takes the
//!    mean of the light on its footprint (`footprints`); a gradient gives each face the mean of its stretch (`ramp`). A
//!    face that something hides takes what lies at its place too: it shows as the piece turns.
//! 3. Bands and spots are laid over that (`laying`).
//! 4. Ink is held back along edges between colours, where the job wishes (`guard`).
//! 5. The piece is written (`writing`), with a sheet to fold of two neighbouring sides (`folded`).
//!
//! Facts: `outside faces`, `outside area`, `faces by side`, `inside colour`, `colours`, `triangles`; with pictures or
//! gradients `carried by each side`, and with pictures `pictures kept` and the largest of its two differences.

mod facade;
mod folded;
mod footprints;
mod guard;
mod laying;
mod palette;
mod ramp;
mod settings;
mod telling;
mod writing;

pub(in crate::chain) use self::writing::inks;

use std::sync::Arc;

pub use self::folded::Folded;
pub use self::guard::{GuardBand, GuardWish};
use self::laying::Dressed;
pub use self::settings::{Axis, Band, Coat, Fit, Gradient, Mix, Over, PictureFile, Settings, Spot, Stop};
use crate::Six;
use crate::formats::bitmap;
use crate::outlook::Outlook;
use crate::paint::Paint;
use crate::stage::{Halt, Misfit, Shop, Stage, some_cubes};
use crate::workpiece::{Hull, OrderedFile, Part, Workpiece};

/// See the module's documentation.
pub struct Colour;

/// The name of the file that is ordered.
const ORDERED: &str = "piece.3mf";
/// Edge of the pictures, in pixels.
const PICTURE: u32 = 480;

impl Stage for Colour {
    type Settings = Settings;

    const NAME: &'static str = "colour";
    const PURPOSE: &'static str = "colours every outside face by the side it faces, and writes the piece";
    const VERSION: u32 = 5;
    const NEEDS: &'static [Part] = &[Part::Cells];
    const GIVES: &'static [Part] = &[Part::Paint, Part::Order];

    fn files(settings: &Settings) -> Vec<String> {
        settings.pictures().map(|(_, picture)| picture.file.clone()).collect()
    }

    fn outlook(settings: &Settings, before: Outlook) -> Outlook {
        let faces = before.skin_faces() * settings.guard.growth();
        let pictures = if settings.pictures().next().is_some() { bitmap::MOST_BYTES } else { 0.0 };
        before.after((BUILDING * faces + PICTURES).max(pictures), HELD * faces)
    }

    fn check(settings: &Settings, shop: &Shop<'_>) -> Result<(), Misfit> {
        settings.check()?;
        settings.pictures().try_for_each(|(side, picture)| laying::read(side, picture, shop).map(drop))
    }

    fn run(settings: &Settings, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        let cell = some_cubes(piece.cells().expect("the plan saw to it"))?.grid().cell;
        let hull = piece.hull().expect("the plan saw to it");
        let (dressed, mut paint) = lay(settings, &piece, &hull, shop)?;
        palette::say(shop, &paint)?;
        shop.go_on()?;
        let guard = guard::lay(&settings.guard, &mut paint, &piece, &hull.skin, shop)?;
        let path = writing::write(shop, &piece, &hull, &paint, guard.as_ref())?;
        folded::write(settings.folded.as_ref(), &dressed, &paint, cell, shop)?;
        let order = OrderedFile { name: ORDERED.to_owned(), path };
        Ok(piece.with_paint(paint).with_order(order))
    }
}

/// Lays on the faces what the settings say, and tells of it.
fn lay(
    settings: &Settings,
    piece: &Workpiece,
    hull: &Hull,
    shop: &mut Shop<'_>,
) -> Result<(Six<Dressed>, Paint), Halt> {
    let cells = some_cubes(piece.cells().expect("the plan saw to it"))?;
    let extent = cells.extent().expect("there are some cubes");
    let dressed = laying::dress(settings, &hull.faces, piece.void(), extent, shop)?;
    let (paint, covered) = laying::paint(settings, &dressed, Arc::clone(&hull.faces), cells.grid(), extent[0]);
    telling::tell(shop, settings, &dressed, &paint, &covered, cells.grid().cell);
    shop.go_on()?;
    Ok((dressed, paint))
}

/// Bytes a face of the skin that the piece keeps: the face, a point, two triangles and where they are from, their colour.
const HELD: f64 = 100.0;
/// Bytes a face while the skin is made and written.
const BUILDING: f64 = 150.0;
/// Bytes of the pictures while they are drawn.
const PICTURES: f64 = 32e6;

#[cfg(test)]
mod tests;
