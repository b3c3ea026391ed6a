//! The case as upright blocks, for drawings of all of it.

use glam::{DVec2, DVec3};

use super::design::{Design, design};
use super::panel::{Panel, Purpose, Stuff};
use super::settings::Settings;
use crate::mounts::Mounts;
use crate::stage::Misfit;

/// What the motor's block is called.
pub const MOTOR: &str = "motor";

/// One panel, or another body of the case, in the coordinates of the piece, in mm, as put together.
#[derive(Clone, Debug, PartialEq)]
pub struct Block {
    /// What it is, in a few words.
    pub name: &'static str,
    /// Its lower corner along every axis.
    pub low: DVec3,
    /// Its upper corner.
    pub high: DVec3,
    /// Whether one sees through it.
    pub clear: bool,
}

/// Every panel of the case around the stand, then its battens and the motor: without joints and small holes, each as the
/// block around it; one that hub or motor go through as four blocks around a square opening.
///
/// # Errors
/// As the stage.
pub fn blocks(settings: &Settings, mounts: &Mounts) -> Result<Vec<Block>, Misfit> {
    design(settings, mounts).map(|design| of(&design, settings))
}

pub(super) fn of(design: &Design, settings: &Settings) -> Vec<Block> {
    let panels = design.panels.iter().flat_map(|panel| around_opening(self::block(panel, settings), panel));
    panels.chain(battens(design, settings)).chain([motor(design, settings)]).collect()
}

pub(super) fn block(panel: &Panel, settings: &Settings) -> Block {
    let clear = panel.stuff == Stuff::Clear;
    let seat = panel.seat;
    let outwards = seat.right.cross(seat.up) * settings.stock(panel.stuff).thickness.mm();
    let far = seat.origin + seat.right * panel.size.x + seat.up * panel.size.y + outwards;
    Block { name: panel.name, low: seat.origin.min(far), high: seat.origin.max(far), clear }
}

/// The block of a lying panel without its opening for hub or boss: in front of, behind, and beside it.
fn around_opening(block: Block, panel: &Panel) -> Vec<Block> {
    let Some(hole) = panel.holes.iter().find(|hole| matches!(hole.purpose, Purpose::Hub | Purpose::Boss)) else {
        return vec![block];
    };
    let (middle, half) = (block.low.truncate() + hole.at, hole.diameter / 2.0);
    let (low, high) = (middle - half, middle + half);
    let part = |from: DVec2, to: DVec2| Block { low: from.extend(block.low.z), high: to.extend(block.high.z), ..block };
    let (first, last) = (block.low.truncate(), block.high.truncate());
    vec![
        part(first, DVec2::new(last.x, low.y)),
        part(DVec2::new(first.x, high.y), last),
        part(DVec2::new(first.x, low.y), DVec2::new(low.x, high.y)),
        part(DVec2::new(high.x, low.y), DVec2::new(last.x, high.y)),
    ]
}

/// The battens at the left and right of the bottom, on it.
fn battens(design: &Design, settings: &Settings) -> impl Iterator<Item = Block> {
    let (t, edge, (_, long)) = (settings.thickness(), settings.body.batten.mm(), design.battens);
    let (axis, z) = (design.axis, design.floor + t);
    let half = design.outer.x / 2.0 - t;
    [-half, half - edge].into_iter().map(move |x| {
        let low = DVec3::new(axis.x + x, axis.y - long / 2.0, z);
        Block { name: "batten", low, high: low + DVec3::new(edge, long, edge), clear: false }
    })
}

fn motor(design: &Design, settings: &Settings) -> Block {
    let size = DVec3::from(settings.motor.body.map(crate::Length::mm));
    let offset = DVec2::from(settings.motor.offset.map(crate::Length::mm));
    let low = (design.axis - offset - size.truncate() / 2.0).extend(design.face - size.z);
    Block { name: MOTOR, low, high: low + size, clear: false }
}
