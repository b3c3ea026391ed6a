//! `proof`: predicts what the printed piece will look like, scores it, and draws it beside the design.
//!
//! The model is told in [`crate::print`]. Scores are of what each side shows to a viewer straight before it; pictures are of
//! the piece on its turntable before a viewer, and of the six sides.

use std::sync::Arc;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Length;
use crate::outlook::Outlook;
use crate::print::Around;
use crate::print::naming::names;
use crate::print::press::{Figures, Press, Printed};
use crate::print::scores::{Scores, judge};
use crate::print::view::{Subject, Turn, Viewer};
use crate::solid::Cells;
use crate::stage::{Halt, Misfit, Shop, Stage, some_cubes};
use crate::workpiece::{Part, Workpiece};

mod pictures;
mod smallest;
mod told;

/// See the module's documentation.
pub struct Proof;

/// Settings of `proof`: from where the piece is looked at, and how large the pictures are.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// From the viewer's eye to the axis of the turn, on the level, in mm. Left out: 800 mm, or four times the piece's
    /// longest side if that is more.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub distance: Option<Length>,
    /// Height of the viewer's eye above the piece's foot, in mm; may be negative. Left out: so high that the viewer looks
    /// down by about 17°.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub eye: Option<Length>,
    /// Edge of the pictures of the turn, in pixels: 64 to 2048.
    #[serde(default = "Settings::usual_pixels")]
    pub pixels: u32,
    /// Edge of the moving picture, in pixels: 64 to 1024. 0 makes none.
    #[serde(default = "Settings::usual_film")]
    pub film: u32,
}

impl Settings {
    /// All 72 steps, designed and printed, then take some 4 MB, which the summary page can hold.
    fn usual_pixels() -> u32 {
        400
    }

    fn usual_film() -> u32 {
        400
    }

    /// Where the viewer of a piece stands.
    fn viewer(&self, cells: &Cells) -> Viewer {
        let size = cells.extent().map_or(0.0, |[low, high]| f64::from((high - low + 1).max_element()));
        let size = size * cells.grid().cell;
        let height = cells.extent().map_or(0.0, |[low, high]| f64::from(high.z - low.z + 1)) * cells.grid().cell;
        let distance = self.distance.map_or(f64::max(USUAL_DISTANCE, 4.0 * size), Length::mm);
        let eye = self.eye.map_or(height / 2.0 + LOOKING_DOWN * distance, Length::mm);
        Viewer { distance, height: eye }
    }
}

/// From an eye to a piece on a shelf, in mm (common practice, no source).
const USUAL_DISTANCE: f64 = 800.0;
/// Tangent of the usual angle at which the viewer looks down.
const LOOKING_DOWN: f64 = 0.3;
/// The least and the most pixels along an edge of the turn's pictures.
const PIXELS: [u32; 2] = [64, 2048];
/// The same for the moving picture.
const FILM: [u32; 2] = [64, 1024];

impl Stage for Proof {
    type Settings = Settings;

    const NAME: &'static str = "proof";
    const PURPOSE: &'static str = "predicts what the printed piece will look like, and whether the effect will hold";
    const VERSION: u32 = 2;
    const NEEDS: &'static [Part] = &[Part::Cells, Part::Paint];
    const GIVES: &'static [Part] = &[];

    fn outlook(_: &Settings, before: Outlook) -> Outlook {
        before.after(BYTES_A_FACE * before.faces() + PICTURES, 0.0)
    }

    fn check(settings: &Settings, _: &Shop<'_>) -> Result<(), Misfit> {
        let within = |setting: &str, value: u32, [least, most]: [u32; 2]| {
            if (least..=most).contains(&value) {
                return Ok(());
            }
            Err(Misfit::new(
                setting,
                format!("a picture of {value} pixels is not drawn"),
                format!("write {least} to {most}"),
            ))
        };
        within("pixels", settings.pixels, PIXELS)?;
        if settings.film > 0 {
            within("film", settings.film, FILM)?;
        }
        match settings.distance {
            Some(distance) if !(distance.mm() > 0.0 && distance.mm() <= 1e6) => Err(Misfit::new(
                "distance",
                format!("a viewer cannot stand at {distance} from the axis"),
                "write a length above 0 mm and up to 1 km, such as 800 mm",
            )),
            _ => match settings.eye {
                Some(eye) if eye.mm().abs() > 1e6 => Err(Misfit::new(
                    "eye",
                    format!("an eye cannot be at {eye}"),
                    "write a length within 1 km, such as 300 mm",
                )),
                _ => Ok(()),
            },
        }
    }

    fn run(settings: &Settings, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        let cells = some_cubes(piece.cells().expect("the plan saw to it"))?;
        let paint = piece.paint().expect("the plan saw to it");
        let around = Arc::new(Around::of(cells, piece.void(), &paint.faces));
        let press = Press::new(*cells.grid(), around, paint, shop.process());
        let prediction = Prediction::of(&press, shop)?;
        prediction.tell(&press, cells, shop)?;
        if shop.brief() {
            return Ok(piece);
        }
        let subject = Subject::new(&prediction.printed.sheet);
        let turn = Turn::new(&subject, &settings.viewer(cells))
            .map_err(|message| Misfit::new("distance", message, "set `proof.distance` to more, or leave it out"))?;
        told::turn(&subject, &turn, &prediction, shop);
        if !shop.draft() {
            pictures::draw(settings, &subject, &turn, shop)?;
        }
        Ok(piece)
    }
}

/// Bytes a face while it is predicted: two fields of texels with six channels, their colours and names.
const BYTES_A_FACE: f64 = 64.0 * (3.0 * 24.0 + 4.0) + 200.0;
/// Bytes of the pictures while they are drawn.
const PICTURES: f64 = 40e6;

/// What is predicted of a piece.
struct Prediction {
    printed: Printed,
    names: Vec<u8>,
    stated: Scores,
    kindest: Scores,
    harshest: Scores,
}

impl Prediction {
    fn of(press: &Press<'_>, shop: &Shop<'_>) -> Result<Self, Halt> {
        let figures = Figures::stated(shop.process());
        let printed = press.print(&figures, press.texels(&figures));
        let names = names(&printed);
        let stated = Scores::with_names(&printed, &names);
        shop.go_on()?;
        let other = |figures: Figures, stated_figures: &Figures| {
            if figures == *stated_figures { stated.clone() } else { Scores::of(press, &figures) }
        };
        // The kindest end decides nothing.
        let kindest = if shop.brief() { stated.clone() } else { other(Figures::kindest(shop.process()), &figures) };
        shop.go_on()?;
        let harshest = other(Figures::harshest(shop.process()), &figures);
        shop.go_on()?;
        Ok(Self { printed, names, stated, kindest, harshest })
    }

    fn tell(&self, press: &Press<'_>, cells: &Cells, shop: &mut Shop<'_>) -> Result<(), Halt> {
        let judgement = judge(&self.stated, &self.harshest);
        told::decided(&self.stated, &judgement, shop);
        if !shop.brief() {
            told::scores(self, shop);
        }
        // What would hold is a search of its own, which a comparison of sizes has no need of.
        let smallest = if shop.brief() {
            None
        } else {
            smallest::cell_that_holds(press, smallest::spare_of(&self.stated, &self.harshest), shop)?
        };
        told::smallest(smallest, cells, shop);
        told::verdict(self, &judgement, smallest, cells, shop);
        Ok(())
    }
}

#[cfg(test)]
mod tests;
