//! What carries the piece: the stand, and the loose bodies between it and the motor.
//!
//! All in the piece's own coordinates, as put together, in mm: the piece stays where it is, and the stand comes to it.

use glam::DVec2;

use crate::solid::Surface;

/// The stand and its loose bodies, with what a case around them has to know.
#[derive(Clone, Debug, PartialEq)]
pub struct Mounts {
    /// The upright axis of the turn: its x and y.
    pub axis: DVec2,
    /// Height of the base's underside.
    pub foot: f64,
    /// Height of the spacer's underside: that of the panel on which all of it turns.
    pub rest: f64,
    /// Radius of the circle around the axis in which the hub turns, where it goes through the panel.
    pub hub: f64,
    /// Height of the hub's lower end; at or below `rest`.
    pub hub_end: f64,
    /// The room that piece and stand take as they turn.
    pub swept: Swept,
    /// Mass of piece and turning stand, in g.
    pub mass: f64,
    /// Torque that turns it, in N·mm, with the factor of safety.
    pub torque: f64,
    /// Radius of the base.
    pub base: f64,
    /// The bodies.
    pub bodies: Vec<Mount>,
}

/// One body, to be printed by itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Mount {
    /// A short name: `stand`, `peg`, `spacer`.
    pub name: String,
    /// What it is, in a few words.
    pub what: String,
    /// Its closed surface, where it sits when put together.
    pub surface: Surface,
}

/// A cylinder around the axis of the turn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Swept {
    /// Its radius.
    pub radius: f64,
    /// Height of its lower end.
    pub low: f64,
    /// Height of its upper end.
    pub high: f64,
}

impl Mounts {
    /// Its numbers, in the order in which they are written down.
    pub(crate) fn numbers(&self) -> [f64; 12] {
        let Self { axis, foot, rest, hub, hub_end, swept, mass, torque, base, bodies: _ } = self;
        let Swept { radius, low, high } = swept;
        [axis.x, axis.y, *foot, *rest, *hub, *hub_end, *radius, *low, *high, *mass, *torque, *base]
    }
}
