//! The settings of `case`, and what can be said of them without the piece.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::panel::Stuff;
use super::screws::{MachineScrew, Thread, WoodScrew};
use crate::Length;
use crate::stage::Misfit;

/// Settings of `case`.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Settings {
    /// The motor and how it is fixed. Left out, an invented one is taken, and the run says so.
    pub motor: Motor,
    /// What the box is made of.
    pub board: Board,
    /// The box.
    #[serde(rename = "box")]
    pub body: Body,
    /// The clear cover.
    pub cover: Cover,
    /// The wood screws that hold the box's bottom, and its corners where they are butted.
    pub screws: WoodScrew,
    /// How panels are cut.
    pub cut: Cut,
    /// Load that the shelf may carry, in kg, by whoever made it. Left out, the load is told and not judged.
    pub shelf: Option<f64>,
}

/// The motor that turns the stand.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Motor {
    /// Its body below the face that is screwed on: width (x), depth (y) and length (z), in mm; for a round one twice its
    /// diameter. Default: 60 × 60 × 40 mm.
    pub body: [Length; 3],
    /// Where the shaft is, from the middle of the body along x and y, in mm. Default: in the middle.
    pub offset: [Length; 2],
    /// How far the shaft stands out above the face, in mm. Default: 25 mm.
    pub shaft: Length,
    /// How far the shaft should reach into the socket of the stand, in mm. Default: 10 mm.
    pub reach: Length,
    /// Diameter of the boss around the shaft, for which the motor plate has a hole, in mm. Default: 12 mm.
    pub boss: Length,
    /// Threaded holes in the face on a circle around the shaft. Default: 4 on a circle of 50 mm; not used where `holes` is
    /// given.
    pub circle: HoleCircle,
    /// Threaded holes in the face one by one, from the shaft along x and y, in mm.
    pub holes: Vec<[Length; 2]>,
    /// Thread of these holes. Default: M3.
    pub thread: Thread,
    /// Depth of the thread in them, in mm: a longer screw would press on what lies inside. Default: 5 mm.
    pub thread_depth: Length,
    /// Length of the screws, in mm. Left out, the longest usual one that fits.
    pub screw: Option<Length>,
    /// Torque that it holds at its slow shaft, in N·mm, by its maker. Left out, it is told what is needed.
    pub torque: Option<f64>,
    /// Its mass, in g. Default: 250 g.
    pub mass: f64,
    /// What feeds it. Default: `extra-low`.
    pub supply: Supply,
}

/// What feeds a motor.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Supply {
    /// Safety extra-low voltage from a tested plug-in supply or a battery.
    #[default]
    ExtraLow,
    /// The mains.
    Mains,
}

/// Holes spread evenly on a circle around the shaft.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct HoleCircle {
    /// Diameter of the circle through their middles, in mm. Default: 50 mm.
    pub diameter: Length,
    /// How many. Default: 4.
    pub count: u32,
    /// Direction of the first, in degrees from +x (the right) towards +y (the back). Default: 45.
    pub first: f64,
}

/// A flat material and the sheets that it comes in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Board {
    /// What it is, in words. Default: birch plywood.
    pub material: String,
    /// Its thickness as measured, in mm. Default: 6 mm.
    pub thickness: Length,
    /// Its density, in g/cm³. Default: 0.68.
    pub density: f64,
    /// Width and height of a sheet in stock, in mm. Default: 800 × 600 mm.
    pub sheet: [Length; 2],
    /// How many sheets are in stock. Left out, as many as it takes.
    pub sheets: Option<u32>,
    /// Whether panels must lie with their height along the height of the sheet, since its grain shows. Default: false.
    pub grain: bool,
}

/// A clear flat material and the sheets that it comes in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Clear {
    /// What it is, in words. Default: clear acrylic.
    pub material: String,
    /// Its thickness as measured, in mm. Default: 4 mm.
    pub thickness: Length,
    /// Its density, in g/cm³. Default: 1.19.
    pub density: f64,
    /// Width and height of a sheet in stock, in mm. Default: 800 × 600 mm.
    pub sheet: [Length; 2],
    /// How many sheets are in stock. Left out, as many as it takes.
    pub sheets: Option<u32>,
}

/// The box.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Body {
    /// How panels meet at its edges. Default: `finger`.
    pub joint: Joint,
    /// Width of a finger, in mm, to the nearest that divides the edge into an odd number. Default: 12 mm.
    pub finger: Length,
    /// Gap between a finger and its notch, in mm; negative for a press fit. Default: 0.1 mm.
    pub fit: Length,
    /// Outer width (x) and depth (y), in mm. Left out, what the cover, the stand and the motor need.
    pub size: Option<[Length; 2]>,
    /// Outer height, in mm. Left out, what the motor needs.
    pub height: Option<Length>,
    /// What the top stands out beyond the cover, in mm. Default: 8 mm.
    pub rim: Length,
    /// Room around and below the motor, for air and cables, in mm. Default: 15 mm.
    pub room: Length,
    /// Gap around the stand's hub in the top, in mm. Default: 1 mm.
    pub opening: Length,
    /// Edge of the square battens into which the bottom is screwed, in mm. Default: 12 mm.
    pub batten: Length,
    /// Diameter of the cable, in mm. Default: 6 mm.
    pub cable: Length,
    /// Open area of the holes in the back, and as much again in the bottom, in mm². Default: 300.
    pub vent: f64,
    /// Diameter of these holes, in mm; at most 12 mm, so that no finger gets in. Default: 5 mm.
    pub vent_hole: Length,
}

/// How panels meet.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Joint {
    /// Interlocking fingers, glued: for a laser or a router.
    #[default]
    Finger,
    /// Edge against face, glued, and screwed where the panel is thick enough: for a saw.
    Butt,
}

/// The clear cover.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Cover {
    /// How it opens. Default: `slip-over`.
    pub kind: CoverKind,
    /// Least distance to what turns, in mm. Default: 15 mm.
    pub clearance: Length,
    /// Gap between the cover and the strips that hold its place, in mm. Default: 0.5 mm.
    pub play: Length,
    /// What it is made of.
    pub sheet: Clear,
}

/// How a cover opens.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CoverKind {
    /// Five panels glued, lifted off whole; strips on the box hold its place.
    #[default]
    SlipOver,
    /// Four walls that stay, and a lid with strips beneath that hold its place.
    Lid,
}

/// How panels are cut.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Cut {
    /// Width of what the cut takes away, in mm. Default: 0.2 mm, a laser's; a router's is its bit, a saw's 2 to 3 mm.
    pub kerf: Length,
    /// Who allows for it. Default: `cutter`.
    pub kerf_in: KerfIn,
    /// Least distance between panels on a sheet beside the kerf, in mm. Default: 2 mm.
    pub between: Length,
    /// Rim of a sheet that is not used, in mm. Default: 5 mm.
    pub margin: Length,
}

/// Who allows for the kerf.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum KerfIn {
    /// The cutter's program; lines are drawn at the finished size.
    #[default]
    Cutter,
    /// The drawing: lines lie half a kerf outside what stays.
    Drawing,
}

const fn mm(mm: f64) -> Length {
    Length::from_mm(mm)
}

impl Default for Motor {
    fn default() -> Self {
        Self {
            body: [mm(60.0), mm(60.0), mm(40.0)],
            offset: [mm(0.0); 2],
            shaft: mm(25.0),
            reach: mm(10.0),
            boss: mm(12.0),
            circle: HoleCircle::default(),
            holes: Vec::new(),
            thread: Thread::M3,
            thread_depth: mm(5.0),
            screw: None,
            torque: None,
            mass: 250.0,
            supply: Supply::ExtraLow,
        }
    }
}

impl Default for HoleCircle {
    fn default() -> Self {
        Self { diameter: mm(50.0), count: 4, first: 45.0 }
    }
}

impl Default for Board {
    fn default() -> Self {
        Self {
            material: "birch plywood".to_owned(),
            thickness: mm(6.0),
            density: 0.68,
            sheet: [mm(800.0), mm(600.0)],
            sheets: None,
            grain: false,
        }
    }
}

impl Default for Clear {
    fn default() -> Self {
        Self {
            material: "clear acrylic".to_owned(),
            thickness: mm(4.0),
            density: 1.19,
            sheet: [mm(800.0), mm(600.0)],
            sheets: None,
        }
    }
}

impl Clear {
    /// The same as a board, without grain.
    fn board(&self) -> Board {
        let Self { material, thickness, density, sheet, sheets } = self.clone();
        Board { material, thickness, density, sheet, sheets, grain: false }
    }
}

impl Default for Body {
    fn default() -> Self {
        Self {
            joint: Joint::Finger,
            finger: mm(12.0),
            fit: mm(0.1),
            size: None,
            height: None,
            rim: mm(8.0),
            room: mm(15.0),
            opening: mm(1.0),
            batten: mm(12.0),
            cable: mm(6.0),
            vent: 300.0,
            vent_hole: mm(5.0),
        }
    }
}

impl Default for Cover {
    fn default() -> Self {
        Self { kind: CoverKind::SlipOver, clearance: mm(15.0), play: mm(0.5), sheet: Clear::default() }
    }
}

impl Default for Cut {
    fn default() -> Self {
        Self { kerf: mm(0.2), kerf_in: KerfIn::Cutter, between: mm(2.0), margin: mm(5.0) }
    }
}

/// Width of the strips that hold the place of the cover and of its lid, in mm.
pub(super) const STRIP: f64 = 8.0;
/// Least distance of a strip on the box to what turns above it, in mm.
const STRIP_FREE: f64 = 2.0;

impl Settings {
    /// The first setting that makes no sense, whatever the piece.
    pub(super) fn check(&self) -> Result<(), Misfit> {
        let Self { motor, board, body, cover, screws, cut, shelf } = self;
        for (setting, value, [low, high]) in [
            ("motor.body[0]", motor.body[0], [5.0, 1000.0]),
            ("motor.body[1]", motor.body[1], [5.0, 1000.0]),
            ("motor.body[2]", motor.body[2], [5.0, 1000.0]),
            ("motor.offset[0]", motor.offset[0], [-500.0, 500.0]),
            ("motor.offset[1]", motor.offset[1], [-500.0, 500.0]),
            ("motor.shaft", motor.shaft, [1.0, 500.0]),
            ("motor.reach", motor.reach, [1.0, 200.0]),
            ("motor.boss", motor.boss, [1.0, 500.0]),
            ("motor.circle.diameter", motor.circle.diameter, [1.0, 1000.0]),
            ("motor.thread_depth", motor.thread_depth, [1.0, 100.0]),
            ("box.finger", body.finger, [2.0, 200.0]),
            ("box.fit", body.fit, [-0.5, 1.0]),
            ("box.rim", body.rim, [0.0, 200.0]),
            ("box.room", body.room, [5.0, 500.0]),
            ("box.opening", body.opening, [0.2, 50.0]),
            ("box.batten", body.batten, [6.0, 60.0]),
            ("box.cable", body.cable, [1.0, 30.0]),
            ("box.vent_hole", body.vent_hole, [1.0, 12.0]),
            ("cover.clearance", cover.clearance, [0.0, 500.0]),
            ("cover.play", cover.play, [0.0, 5.0]),
            ("cut.kerf", cut.kerf, [0.0, 10.0]),
            ("cut.between", cut.between, [0.0, 100.0]),
            ("cut.margin", cut.margin, [0.0, 200.0]),
            ("screws.length", screws.length, [6.0, 100.0]),
        ] {
            within(setting, value, low, high)?;
        }
        check_sheet("board", board)?;
        check_sheet("cover.sheet", &cover.sheet.board())?;
        check_motor(motor)?;
        let strip = STRIP + cover.play.mm() + STRIP_FREE;
        if cover.clearance.mm() < strip {
            let message = format!(
                "the strips that hold the cover's place need {strip} mm beside what turns, and the clearance is {}",
                cover.clearance
            );
            return Err(Misfit::new("cover.clearance", message, format!("make it {strip} mm or more")));
        }
        if !(0.0..=1e5).contains(&body.vent) {
            return Err(Misfit::new("box.vent", "an open area lies between 0 and 100 000 mm²", "leave it out for 300"));
        }
        match shelf {
            Some(kg) if !(*kg > 0.0 && kg.is_finite()) => {
                Err(Misfit::new("shelf", "a shelf carries more than 0 kg", "write what its maker says, in kg"))
            }
            _ => Ok(()),
        }
    }

    /// What panels of a stuff are cut from.
    pub(super) fn stock(&self, stuff: Stuff) -> Board {
        match stuff {
            Stuff::Board => self.board.clone(),
            Stuff::Clear => self.cover.sheet.board(),
        }
    }

    /// Thickness of the box's panels.
    pub(super) fn thickness(&self) -> f64 {
        self.board.thickness.mm()
    }
}

fn within(setting: &str, value: Length, low: f64, high: f64) -> Result<(), Misfit> {
    if (low..=high).contains(&value.mm()) {
        return Ok(());
    }
    let message = format!("it must lie between {low} and {high} mm, and is {value}");
    Err(Misfit::new(setting, message, "write a length in that range, or leave it out"))
}

fn check_sheet(setting: &str, board: &Board) -> Result<(), Misfit> {
    within(&format!("{setting}.thickness"), board.thickness, 1.0, 40.0)?;
    within(&format!("{setting}.sheet[0]"), board.sheet[0], 50.0, 10_000.0)?;
    within(&format!("{setting}.sheet[1]"), board.sheet[1], 50.0, 10_000.0)?;
    if !(0.05..=20.0).contains(&board.density) {
        let message = format!("a density of {} g/cm³ is none of a panel", board.density);
        return Err(Misfit::new(format!("{setting}.density"), message, "write it in g/cm³, such as 0.68"));
    }
    if board.sheets == Some(0) {
        let message = "no sheet is in stock";
        return Err(Misfit::new(format!("{setting}.sheets"), message, "leave it out, or write how many there are"));
    }
    Ok(())
}

fn check_motor(motor: &Motor) -> Result<(), Misfit> {
    if motor.holes.is_empty() && !(2..=12).contains(&motor.circle.count) {
        let message = format!("a motor is held by 2 to 12 screws, not {}", motor.circle.count);
        return Err(Misfit::new("motor.circle.count", message, "write how many threaded holes its face has"));
    }
    if !motor.circle.first.is_finite() {
        return Err(Misfit::new("motor.circle.first", "it is no angle", "write degrees, such as 45"));
    }
    if motor.holes.len() == 1 || motor.holes.len() > 12 {
        let message = format!("a motor is held by 2 to 12 screws, not {}", motor.holes.len());
        return Err(Misfit::new("motor.holes", message, "write the middle of each threaded hole of its face"));
    }
    if !(motor.mass >= 0.0 && motor.mass < 1e6) {
        return Err(Misfit::new("motor.mass", "it is no mass of a motor", "write it in g"));
    }
    match motor.torque {
        Some(torque) if !(torque > 0.0 && torque.is_finite()) => {
            Err(Misfit::new("motor.torque", "a motor turns with more than 0 N·mm", "write it in N·mm, or leave it out"))
        }
        _ => check_holes(motor),
    }
}

/// The plate must hold together between the boss and each hole, and between the holes.
fn check_holes(motor: &Motor) -> Result<(), Misfit> {
    let screw = MachineScrew::of(motor.thread);
    let holes = motor.fixing();
    let boss = motor.boss.mm() / 2.0 + BOSS_FREE;
    // A hole's edge is a hole's diameter away from the next (common practice, no source).
    let (apart, from_boss) = (2.0 * screw.clearance, boss + 1.5 * screw.clearance);
    for (i, at) in holes.iter().enumerate() {
        let setting = if motor.holes.is_empty() { "motor.circle".to_owned() } else { format!("motor.holes[{i}]") };
        if at.length() < from_boss {
            let message = format!(
                "a hole {:.1} mm from the shaft leaves no plate beside the hole for the boss of {}",
                at.length(),
                motor.boss
            );
            return Err(Misfit::new(
                setting,
                message,
                format!(
                    "holes lie {from_boss:.1} mm from the shaft or farther; a smaller `motor.boss` lets them nearer"
                ),
            ));
        }
        if !at.is_finite() || at.length() > 500.0 {
            return Err(Misfit::new(setting, "a hole lies within 500 mm of the shaft", "write mm from the shaft"));
        }
        if holes[..i].iter().any(|other| other.distance(*at) < apart) {
            let message =
                format!("two holes lie nearer to each other than {apart:.1} mm, and the plate would break there");
            return Err(Misfit::new(setting, message, "write each hole once, or fewer of them"));
        }
    }
    Ok(())
}

/// Gap around the boss in the motor plate, in mm.
pub(super) const BOSS_FREE: f64 = 0.5;

impl Motor {
    /// The middles of the holes in its face, from the shaft.
    pub(super) fn fixing(&self) -> Vec<glam::DVec2> {
        if !self.holes.is_empty() {
            return self.holes.iter().map(|at| at.map(Length::mm).into()).collect();
        }
        let HoleCircle { diameter, count, first } = self.circle;
        let hole = |i: u32| {
            let angle = (first + 360.0 * f64::from(i) / f64::from(count)).to_radians();
            glam::DVec2::new(libm::cos(angle), libm::sin(angle)) * (diameter.mm() / 2.0)
        };
        (0..count).map(hole).collect()
    }

    /// Half of the room that its body takes around the shaft along x and y, as far to one side as to the other.
    pub(super) fn half(&self) -> glam::DVec2 {
        let half = |i: usize| self.body[i].mm() / 2.0 + self.offset[i].mm().abs();
        glam::DVec2::new(half(0), half(1))
    }
}
