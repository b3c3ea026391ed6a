//! What may be set.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Length;
use crate::stage::Misfit;

/// Settings of `handbuild`. Times and quantities are common practice, without a source: build ten cubes, and write in your own.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Settings {
    /// What is made by hand: `cubes`, the piece from real cubes; or `paint`, the colours on a single-colour print.
    pub way: Way,
    /// What becomes of cubes of which no side shows: `keep` builds them too; `leave-out` builds a hollow piece, and keeps of
    /// them only what joins the others face to face.
    pub hidden: Hidden,
    /// Edge of a cube, in mm, where the piece is built at another size than it is printed. Default: the cell.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cube: Option<Length>,
    /// Edge of a cube on the paper, in mm: 5 to 20. Default: as large as keeps the sheets few.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub square: Option<Length>,
    /// The most colours to paint with: 1 to 60. More are put together by nearest. Default: the piece's own, if they are not
    /// more than 60; then 12.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub colours: Option<u32>,
    /// Seconds to take a cube, glue it and set it.
    pub seconds_a_cube: f64,
    /// Seconds to paint a face once, without the time that paint takes to dry.
    pub seconds_a_face: f64,
    /// Area that a litre of paint covers once, in m²: as on the label.
    pub spread: f64,
    /// Coats of paint.
    pub coats: u32,
    /// Paint that stays in brush and pot, in per cent of what is needed.
    pub waste: f64,
    /// Cubes to buy beside those that are needed, in per cent of them.
    pub spare: f64,
    /// Thickness of the glue between two cubes, in mm.
    pub glue: Length,
    /// Density of the real cubes, in g/cm³. Left out, nothing is said of their weight.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub density: Option<f64>,
    /// Whether each page is also written as an SVG file of its own.
    pub svg: bool,
}

/// What is made by hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Way {
    /// The piece, from real cubes.
    Cubes,
    /// The colours, on a single-colour print.
    Paint,
}

/// What becomes of cubes of which no side shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Hidden {
    /// They are built too.
    Keep,
    /// They are left out, but for those that join the others.
    LeaveOut,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            way: Way::Cubes,
            hidden: Hidden::Keep,
            cube: None,
            square: None,
            colours: None,
            seconds_a_cube: 20.0,
            seconds_a_face: 10.0,
            spread: 10.0,
            coats: 2,
            waste: 15.0,
            spare: 3.0,
            glue: Length::from_mm(0.1),
            density: None,
            svg: true,
        }
    }
}

/// Edges of a cube on the paper, in mm: below 5 mm its letters cannot be read.
pub(super) const SQUARES: [f64; 2] = [5.0, 20.0];
/// More colours than this nobody mixes and keeps apart by hand (common practice, no source).
pub(super) const MOST_COLOURS: u32 = 60;
/// What they are put together to where nothing is asked for.
pub(super) const USUAL_COLOURS: u32 = 12;

impl Settings {
    /// Looks for what makes no sense.
    pub(super) fn check(&self) -> Result<(), Misfit> {
        self.check_lengths()?;
        if self.way == Way::Paint && self.hidden == Hidden::LeaveOut {
            return Err(Misfit::new(
                "hidden",
                "a print that is painted comes with its inside",
                "take `hidden` out, or build from real cubes with `way: cubes`",
            ));
        }
        if self.colours.is_some_and(|colours| !(1..=MOST_COLOURS).contains(&colours)) {
            return Err(Misfit::new(
                "colours",
                format!("nobody paints with {} colours by hand", self.colours.unwrap_or_default()),
                format!("write 1 to {MOST_COLOURS}, or leave it out"),
            ));
        }
        if !(1..=20).contains(&self.coats) {
            return Err(Misfit::new("coats", format!("{} coats make no sense", self.coats), "write 1 to 20"));
        }
        let numbers = [
            ("seconds_a_cube", self.seconds_a_cube, [0.0, 3600.0], "write 0 to 3600 s, such as 20"),
            ("seconds_a_face", self.seconds_a_face, [0.0, 3600.0], "write 0 to 3600 s, such as 10"),
            ("spread", self.spread, [0.1, 100.0], "write 0.1 to 100 m² a litre, such as 10"),
            ("waste", self.waste, [0.0, 500.0], "write 0 to 500 %, such as 15"),
            ("spare", self.spare, [0.0, 500.0], "write 0 to 500 %, such as 3"),
            ("glue", self.glue.mm(), [0.0, 2.0], "write 0 to 2 mm, such as 0.1 mm"),
            ("density", self.density.unwrap_or(1.0), [0.01, 25.0], "write 0.01 to 25 g/cm³, or leave it out"),
        ];
        match numbers.into_iter().find(|(_, value, [least, most], _)| !(*least..=*most).contains(value)) {
            Some((setting, value, _, remedy)) => Err(Misfit::new(setting, format!("{value} makes no sense"), remedy)),
            None => Ok(()),
        }
    }

    fn check_lengths(&self) -> Result<(), Misfit> {
        if let Some(cube) = self.cube.filter(|cube| !(0.5..=500.0).contains(&cube.mm())) {
            return Err(Misfit::new(
                "cube",
                format!("nobody builds from cubes of {cube} by hand"),
                "write 0.5 to 500 mm, such as 10 mm, or leave it out for the cell",
            ));
        }
        match self.square.filter(|square| !(SQUARES[0]..=SQUARES[1]).contains(&square.mm())) {
            Some(square) => Err(Misfit::new(
                "square",
                format!("letters in a square of {square} cannot be read, or fill no sheet"),
                format!("write {} to {} mm, or leave it out", SQUARES[0], SQUARES[1]),
            )),
            None => Ok(()),
        }
    }
}
