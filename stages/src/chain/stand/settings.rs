//! What a job may say of the stand, and which of it makes no sense.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Length;
use crate::process::{Figure, Process};
use crate::stage::Misfit;

/// Settings of `stand`. All may be left out.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Settings {
    /// Which of `hollow.openings` the stand goes into, counted from 1. Default: of those in the bottom, the one nearest to
    /// the centre of mass.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub opening: Option<usize>,
    /// Gap between the post and the opening, on each side, in mm. Default: the process's `clearance`, as a coupon gives it;
    /// where the process names none, 0.35 mm (common practice).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clearance: Option<Length>,
    /// The post that goes up inside.
    pub post: Post,
    /// The plate on which the piece rests.
    pub collar: Collar,
    /// The disc on which all stands.
    pub base: Base,
    /// The motor's shaft.
    pub shaft: Shaft,
    /// The body between shaft and base.
    pub peg: Peg,
    /// The washer between base and panel.
    pub spacer: Spacer,
    /// The printer that makes the stand.
    pub printer: Printer,
    /// How it turns.
    pub turn: Turn,
    /// The motor, where it is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub motor: Option<Motor>,
}

/// The post that goes up inside.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Post {
    /// Air left between the post and what is above it, in mm, so that the piece rests on the collar. Default: 1 mm, or
    /// twice the process's `tolerance` where that is more.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gap: Option<Length>,
    /// Least width of the post, in mm: where the cavity narrows it goes on in steps down to there, and then in a tip that
    /// is no higher than this. Default: 6 mm.
    pub least: Length,
    /// How far the post must reach into the piece, in mm, to hold it. Default: the opening's width.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reach: Option<Length>,
    /// How far the post reaches at most, in mm. Default: to the ceiling.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub most: Option<Length>,
}

/// The plate on which the piece rests.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Collar {
    /// Height of the piece's lowest place above the base, in mm; at least 1 mm. Default: 8 mm.
    pub lift: Length,
    /// Width of the rest around the opening, in mm. Default: as wide as the piece is level there, set back so that it does
    /// not show, and at most 10 mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ledge: Option<Length>,
}

/// The disc on which all stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Base {
    /// Its thickness, in mm. Default: 6 mm, or as thick as the recess for the peg needs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub thickness: Option<Length>,
    /// Its diameter, in mm. Default: from `tilt`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub diameter: Option<Length>,
    /// The tilt, in degrees, that piece and stand must bear without tipping over. Default: 10, at which household appliances
    /// are tried (IEC 60335-1, from memory).
    pub tilt: f64,
}

/// The section of a shaft.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Section {
    /// Four flats.
    Square,
    /// Six flats.
    Hex,
    /// Round with one flat.
    Flatted,
    /// Round: held by friction, glue or a screw.
    Round,
}

/// The motor's shaft.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Shaft {
    /// Its section: `square`, `hex`, `flatted` (round with one flat) or `round`. Default: `flatted`.
    pub shape: Section,
    /// Its size across flats, or its diameter where it is round, in mm. Default: 6 mm.
    pub across: Length,
    /// Of a `flatted` shaft, from the flat to the other side, in mm. Default: 11/12 of the diameter (5.5 of 6 mm).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub flat: Option<Length>,
    /// How far it goes into the socket, in mm. Default: 12 mm.
    pub length: Length,
    /// Gap between shaft and socket, on each side, in mm. Default: 0.15 mm (common practice).
    pub clearance: Length,
}

/// The body between shaft and base.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Peg {
    /// Wall around the socket, in mm. Default: 2.4 mm, or the printer's `smallest_wall` where that is more.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wall: Option<Length>,
    /// How high its head goes up into the base, in mm. Default: 6 mm.
    pub grip: Length,
    /// Gap between head and recess, on each side, in mm. Default: 0.2 mm (common practice).
    pub clearance: Length,
    /// Thickness of the panel that it goes through, in mm. Default: 6 mm.
    pub panel: Length,
}

/// The washer between base and panel.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Spacer {
    /// Its thickness, in mm. Default: 2 mm.
    pub thickness: Length,
    /// Its outer diameter, in mm: what piece and stand tip over. Default: 2 mm less than the base.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub diameter: Option<Length>,
    /// Gap between the peg and its hole, on each side, in mm. Default: 0.3 mm.
    pub play: Length,
    /// Coefficient of friction on what turns on it. Default: 0.15, acetal copolymer on steel.
    pub friction: Figure<f64>,
}

/// The printer that makes the stand.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Printer {
    /// Its build volume along x, y and z, in mm. Default: 220 × 220 × 250 mm.
    pub build: [Length; 3],
    /// Width of its nozzle, or of the finest line that it draws, in mm. Default: 0.4 mm.
    pub nozzle: Length,
    /// Thinnest wall that it makes, in mm. Default: 1.2 mm, three lines of 0.4 mm.
    pub smallest_wall: Length,
    /// Density of what it prints, in g/cm³. Default: 1.24, of polylactide.
    pub density: f64,
    /// Share of the inside that it fills, above 0 up to 1. Default: 1: solid, for weight low down.
    pub filled: f64,
    /// What these figures rest on.
    pub basis: String,
}

/// How it turns.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Turn {
    /// Turns a minute. Default: 2.
    pub speed: f64,
    /// Seconds in which it comes to that speed. Default: 2.
    pub start: f64,
    /// By how many degrees the panel may be out of level. Default: 1.
    pub slope: f64,
    /// By how much more than what is reckoned the motor must give. Default: 2.
    pub factor: f64,
}

/// The motor, where it is known.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Motor {
    /// The torque that it gives for hours on end at its shaft, in N·mm.
    pub torque: f64,
}

impl Default for Post {
    fn default() -> Self {
        Self { gap: None, least: Length::from_mm(6.0), reach: None, most: None }
    }
}

impl Default for Collar {
    fn default() -> Self {
        Self { lift: Length::from_mm(8.0), ledge: None }
    }
}

impl Default for Base {
    fn default() -> Self {
        Self { thickness: None, diameter: None, tilt: crate::solid::stability::LEAST_TILT }
    }
}

impl Default for Shaft {
    fn default() -> Self {
        let [across, length, clearance] = [6.0, 12.0, 0.15].map(Length::from_mm);
        Self { shape: Section::Flatted, across, flat: None, length, clearance }
    }
}

impl Default for Peg {
    fn default() -> Self {
        let [grip, clearance, panel] = [6.0, 0.2, 6.0].map(Length::from_mm);
        Self { wall: None, grip, clearance, panel }
    }
}

impl Default for Spacer {
    fn default() -> Self {
        let basis = "acetal copolymer on steel, static: CRC Materials Science and Engineering Handbook, Table 399";
        let friction = Figure { value: 0.15, range: None, basis: basis.to_owned() };
        Self { thickness: Length::from_mm(2.0), diameter: None, play: Length::from_mm(0.3), friction }
    }
}

impl Default for Printer {
    fn default() -> Self {
        Self {
            build: [220.0, 220.0, 250.0].map(Length::from_mm),
            nozzle: Length::from_mm(0.4),
            smallest_wall: Length::from_mm(1.2),
            density: 1.24,
            filled: 1.0,
            basis: "material extrusion of polylactide, common practice".to_owned(),
        }
    }
}

impl Default for Turn {
    fn default() -> Self {
        Self { speed: 2.0, start: 2.0, slope: 1.0, factor: 2.0 }
    }
}

/// Gap on each side at which two printed parts slide into each other where nobody measured it: common practice.
const USUAL_CLEARANCE: f64 = 0.35;
/// The longest length that a setting may ask for, in mm.
const LONGEST: f64 = 1000.0;

impl Settings {
    /// The gap on each side between post and opening, and what it rests on.
    pub(super) fn clearance(&self, process: &Process) -> (f64, String) {
        match (self.clearance, &process.clearance) {
            (Some(asked), _) => (asked.mm(), "asked for in `stand.clearance`".to_owned()),
            (None, Some(figure)) => (figure.value.mm(), format!("the process's clearance: {}", figure.basis)),
            (None, None) => (USUAL_CLEARANCE, "common practice; a coupon would tell".to_owned()),
        }
    }

    /// Air above the post.
    pub(super) fn gap(&self, process: &Process) -> f64 {
        self.post.gap.map_or_else(|| (2.0 * process.tolerance.value.mm()).max(1.0), Length::mm)
    }

    /// Wall around the socket.
    pub(super) fn peg_wall(&self) -> f64 {
        self.peg.wall.map_or_else(|| self.printer.smallest_wall.mm().max(2.4), Length::mm)
    }

    /// What cannot be, whatever the piece.
    pub(super) fn check(&self) -> Result<(), Misfit> {
        self.check_lengths()?;
        self.check_numbers()?;
        let least = self.printer.smallest_wall;
        if least < self.printer.nozzle {
            let message = format!("a wall of {least} is thinner than the nozzle's {}", self.printer.nozzle);
            return Err(Misfit::new("printer.smallest_wall", message, "make it two or three times the nozzle"));
        }
        if let Some(wall) = self.peg.wall.filter(|&wall| wall < least) {
            return Err(too_thin("peg.wall", "the wall around the socket", wall.mm(), least));
        }
        self.check_shaft()
    }

    fn check_shaft(&self) -> Result<(), Misfit> {
        let Shaft { shape, across, flat: Some(flat), .. } = &self.shaft else { return Ok(()) };
        if *shape != Section::Flatted {
            let message = "only a `flatted` shaft has one flat";
            return Err(Misfit::new("shaft.flat", message, "leave it out, or write shape: flatted"));
        }
        if across.mm() / 2.0 < flat.mm() && flat < across {
            return Ok(());
        }
        let message = format!(
            "a shaft of {across} has its flat between half of that and {across} from the other side, not {flat}"
        );
        Err(Misfit::new("shaft.flat", message, "measure from the flat to the other side"))
    }

    fn check_lengths(&self) -> Result<(), Misfit> {
        let some = |name, length: Length, least: f64| (name, Some(length), least);
        let [x, y, z] = self.printer.build;
        for (name, length, least) in [
            ("clearance", self.clearance, 0.0),
            ("post.gap", self.post.gap, 0.0),
            some("post.least", self.post.least, 1.0),
            ("post.reach", self.post.reach, 0.0),
            ("post.most", self.post.most, 1.0),
            some("collar.lift", self.collar.lift, 1.0),
            ("collar.ledge", self.collar.ledge, 0.5),
            ("base.thickness", self.base.thickness, 1.0),
            ("base.diameter", self.base.diameter, 5.0),
            some("shaft.across", self.shaft.across, 1.0),
            some("shaft.length", self.shaft.length, 2.0),
            some("shaft.clearance", self.shaft.clearance, 0.0),
            ("peg.wall", self.peg.wall, 0.1),
            some("peg.grip", self.peg.grip, 2.0),
            some("peg.clearance", self.peg.clearance, 0.0),
            some("peg.panel", self.peg.panel, 0.5),
            some("spacer.thickness", self.spacer.thickness, 0.2),
            ("spacer.diameter", self.spacer.diameter, 5.0),
            some("spacer.play", self.spacer.play, 0.0),
            some("printer.build[0]", x, 10.0),
            some("printer.build[1]", y, 10.0),
            some("printer.build[2]", z, 10.0),
            some("printer.nozzle", self.printer.nozzle, 0.01),
            some("printer.smallest_wall", self.printer.smallest_wall, 0.01),
        ] {
            let Some(length) = length else { continue };
            let most = if name.starts_with("printer.build") { 1e5 } else { LONGEST };
            if !(least..=most).contains(&length.mm()) {
                let message = format!("must lie between {least} and {most} mm, not {length}");
                return Err(Misfit::new(name, message, "leave it out for what is usual"));
            }
        }
        Ok(())
    }

    fn check_numbers(&self) -> Result<(), Misfit> {
        let friction = &self.spacer.friction;
        let ends = friction.range.unwrap_or([friction.value; 2]);
        for (name, number, [least, most], unit) in [
            ("base.tilt", self.base.tilt, [0.0, 60.0], "°"),
            ("spacer.friction.value", friction.value, [0.0, 2.0], ""),
            ("spacer.friction.range[0]", ends[0], [0.0, friction.value], ""),
            ("spacer.friction.range[1]", ends[1], [friction.value, 2.0], ""),
            // From a light foam to the densest element.
            ("printer.density", self.printer.density, [0.01, 23.0], "g/cm³"),
            ("printer.filled", self.printer.filled, [0.01, 1.0], ""),
            ("turn.speed", self.turn.speed, [0.01, 1000.0], "rpm"),
            ("turn.start", self.turn.start, [0.01, 3600.0], "s"),
            ("turn.slope", self.turn.slope, [0.0, 30.0], "°"),
            ("turn.factor", self.turn.factor, [1.0, 100.0], ""),
            ("motor.torque", self.motor.as_ref().map_or(1.0, |motor| motor.torque), [0.001, 1e6], "N·mm"),
        ] {
            if !(least..=most).contains(&number) {
                let message = format!("must lie between {least} and {most} {unit}, not {number}").replace(" ,", ",");
                return Err(Misfit::new(name, message, "leave it out for what is usual"));
            }
        }
        Ok(())
    }
}

/// A wall that the stand's printer cannot make.
pub(super) fn too_thin(setting: &str, what: &str, wall: f64, least: Length) -> Misfit {
    let wall = Length::from_mm(wall).rounded();
    Misfit::new(
        setting,
        format!("{what} would be {wall} thick, and the stand's printer makes none thinner than {least}"),
        "give it more room, or put in a printer with a smaller `printer.smallest_wall`",
    )
}
