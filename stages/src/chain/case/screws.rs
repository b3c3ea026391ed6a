//! Screws: holes for them, how deep they may go, and the longest that fits.
//!
//! Sizes of machine screws by ISO 261 (threads), ISO 273 medium (through holes), ISO 4032 (nuts) and ISO 888 (lengths), heads
//! by ISO 7045 (pan) and ISO 7046 (countersunk), all from memory. Sizes of holes for wood screws are common practice, no
//! source: a through hole a tenth wider than the screw, and in plywood or softwood a pilot of the core's diameter, about two
//! thirds of the screw's.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Length;

/// Wood screws, countersunk.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct WoodScrew {
    /// Diameter over the thread. Default: 3 mm.
    pub size: WoodSize,
    /// Length under the head's top, in mm. Default: 16 mm.
    pub length: Length,
}

impl Default for WoodScrew {
    fn default() -> Self {
        Self { size: WoodSize::D3, length: Length::from_mm(16.0) }
    }
}

/// Usual diameters of wood screws.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum WoodSize {
    /// 2.5 mm.
    #[serde(rename = "2.5 mm")]
    D2_5,
    /// 3 mm.
    #[serde(rename = "3 mm")]
    D3,
    /// 3.5 mm.
    #[serde(rename = "3.5 mm")]
    D3_5,
    /// 4 mm.
    #[serde(rename = "4 mm")]
    D4,
    /// 4.5 mm.
    #[serde(rename = "4.5 mm")]
    D4_5,
    /// 5 mm.
    #[serde(rename = "5 mm")]
    D5,
}

/// The usual lengths of wood screws, in mm.
const WOOD_LENGTHS: [f64; 15] =
    [10.0, 12.0, 13.0, 16.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 60.0, 70.0, 80.0, 100.0];
/// What stays of the wood before a screw's point, in mm.
pub(super) const BEFORE_POINT: f64 = 1.0;
/// How many diameters a wood screw must bite at least (common practice, no source).
pub(super) const BITE: f64 = 2.5;
/// How thick an edge must be for a screw into it, in diameters of the screw (common practice, no source).
pub(super) const EDGE: f64 = 4.0;

impl WoodSize {
    /// Diameter of the screw, of the hole it passes, and of the pilot hole it is driven into, in mm.
    pub(super) const fn diameters(self) -> [f64; 3] {
        match self {
            Self::D2_5 => [2.5, 2.8, 1.5],
            Self::D3 => [3.0, 3.3, 2.0],
            Self::D3_5 => [3.5, 3.9, 2.5],
            Self::D4 => [4.0, 4.4, 2.5],
            Self::D4_5 => [4.5, 5.0, 3.0],
            Self::D5 => [5.0, 5.5, 3.5],
        }
    }
}

/// How a wood screw sits in a panel and in what lies behind it.
pub(super) struct Seat {
    /// What is left before its point; negative where it comes through.
    pub(super) left: f64,
    /// How far it bites behind the panel.
    pub(super) bite: f64,
    /// The longest usual one that does not come through.
    pub(super) longest: Option<f64>,
}

impl WoodScrew {
    /// The seat of the screw through a panel into something so deep.
    pub(super) fn seat(&self, panel: f64, behind: f64) -> Seat {
        let length = self.length.mm();
        let most = panel + behind - BEFORE_POINT;
        let longest = WOOD_LENGTHS.into_iter().rev().find(|&usual| usual <= most && usual > panel);
        Seat { left: panel + behind - length, bite: length - panel, longest }
    }

    /// The shortest usual one that bites deep enough behind a panel.
    pub(super) fn shortest(&self, panel: f64) -> Option<f64> {
        let [size, ..] = self.size.diameters();
        WOOD_LENGTHS.into_iter().find(|usual| usual - panel >= BITE * size)
    }

    /// Its name in lists.
    pub(super) fn name(&self) -> String {
        format!("countersunk wood screw {} × {} mm", self.size.diameters()[0], self.length.mm())
    }
}

/// Metric threads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Thread {
    /// M2.5.
    #[serde(rename = "M2.5")]
    M2_5,
    /// M3.
    M3,
    /// M4.
    M4,
    /// M5.
    M5,
    /// M6.
    M6,
}

/// A machine screw's sizes, in mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct MachineScrew {
    pub(super) name: &'static str,
    /// Diameter of the thread.
    pub(super) size: f64,
    /// Diameter of the hole that it passes.
    pub(super) clearance: f64,
    /// Height of a pan head.
    pub(super) pan: f64,
    /// Height of a countersunk head.
    pub(super) sunk: f64,
    /// Height of its nut.
    pub(super) nut: f64,
    /// Width of its nut over corners.
    pub(super) corners: f64,
}

/// The usual lengths of machine screws, in mm.
const MACHINE_LENGTHS: [f64; 23] = [
    4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 14.0, 16.0, 18.0, 20.0, 22.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 55.0, 60.0, 65.0,
    70.0, 80.0, 100.0,
];

impl MachineScrew {
    pub(super) const fn of(thread: Thread) -> Self {
        let (name, [size, clearance, pan, sunk, nut, corners]) = match thread {
            Thread::M2_5 => ("M2.5", [2.5, 2.9, 2.1, 1.5, 2.0, 5.45]),
            Thread::M3 => ("M3", [3.0, 3.4, 2.4, 1.65, 2.4, 6.01]),
            Thread::M4 => ("M4", [4.0, 4.5, 3.1, 2.7, 3.2, 7.66]),
            Thread::M5 => ("M5", [5.0, 5.5, 3.7, 2.7, 4.7, 8.79]),
            Thread::M6 => ("M6", [6.0, 6.6, 4.6, 3.3, 5.2, 11.05]),
        };
        Self { name, size, clearance, pan, sunk, nut, corners }
    }

    /// The longest usual one of at most so many mm.
    pub(super) fn longest(most: f64) -> Option<f64> {
        MACHINE_LENGTHS.into_iter().rev().find(|&usual| usual <= most)
    }

    /// The shortest usual one of at least so many mm; threaded rod where there is none.
    pub(super) fn shortest(least: f64) -> Option<f64> {
        MACHINE_LENGTHS.into_iter().find(|&usual| usual >= least)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_screw_that_is_named_comes_through() {
        // By hand: 6 mm of panel and 12 mm of batten less 1 mm before the point take 16 mm; 20 mm would stand out by 2.
        let screw = WoodScrew { length: Length::from_mm(20.0), ..WoodScrew::default() };
        let seat = screw.seat(6.0, 12.0);
        assert_eq!((seat.left, seat.bite, seat.longest), (-2.0, 14.0, Some(16.0)));
        // 6 mm of panel and 5 mm of batten take 10 mm.
        assert_eq!(screw.seat(6.0, 5.0).longest, Some(10.0));
        // Nothing usual is longer than 18 mm of panel and ends within 2 mm of what is behind.
        assert_eq!(screw.seat(18.0, 2.0).longest, None);
        // 2½ · 3 mm behind 6 mm: 13.5 mm, so 16.
        assert_eq!(screw.shortest(6.0), Some(16.0));
    }

    #[test]
    fn holes_grow_with_screws() {
        let sizes = [WoodSize::D2_5, WoodSize::D3, WoodSize::D3_5, WoodSize::D4, WoodSize::D4_5, WoodSize::D5];
        for [size, through, pilot] in sizes.map(WoodSize::diameters) {
            // A pilot near the core leaves the thread to bite; a through hole lets it pass.
            assert!((0.55..=0.75).contains(&(pilot / size)) && (1.05..=1.15).contains(&(through / size)), "{size}");
        }
        for thread in [Thread::M2_5, Thread::M3, Thread::M4, Thread::M5, Thread::M6] {
            let screw = MachineScrew::of(thread);
            assert_eq!(screw.name, format!("M{}", screw.size));
            assert!(screw.clearance > screw.size && screw.corners > 1.7 * screw.size);
        }
        assert_eq!(MachineScrew::longest(11.0), Some(10.0));
        assert_eq!(MachineScrew::shortest(22.4), Some(25.0));
        assert_eq!(MachineScrew::shortest(101.0), None);
    }
}
