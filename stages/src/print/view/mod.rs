//! The piece as someone sees it: the six sides, a turn in front of a viewer, and which colours show on the way.
//!
//! Designed and printed pictures are drawn from one and the same finding of what is seen where, so that whatever differs
//! between them is the print. Light is flat: a colour in the picture is the colour on the piece.
//!
//! Steps:
//! 1. `order`: faces of cubes need no depths. A ray from the eye passes cells in an order that never turns back along any
//!    axis, so cells drawn from the farthest layer to the nearest, axis by axis, hide each other rightly (the painter's
//!    algorithm, which grids allow; Newell, Newell & Sancha 1972).
//! 2. `camera`: lattice corners to the picture, and places in the picture back to places on a face.
//! 3. `visible`: which face each sample sees. Edges that faces share are cut by one and the same sum, so that neither gap
//!    nor overlap can be.
//! 4. `texture`: what colour shows there, on the flat part of a face or at its rounded edge.
//! 5. `picture`: four samples a pixel, averaged in linear light.
//!
//! Not shown: that rounding also takes a little off the outline of the piece, and any shadow or gloss.

mod camera;
mod order;
mod picture;
pub mod shares;
mod sides;
mod texture;
pub mod turn;
mod visible;

use glam::DVec3;

use crate::print::Sheet;
use order::Order;
use texture::Texture;

pub use shares::{Handover, Shares};
pub use turn::{Turn, Viewer};

/// The colour behind the piece where a picture cannot be transparent: that of the summary page.
pub const BACKDROP: crate::Srgb = crate::Srgb([0xe6, 0xe6, 0xe4]);

/// A sheet made ready to be looked at, any number of times.
#[derive(Debug)]
pub struct Subject<'a> {
    sheet: &'a Sheet,
    order: Order,
    texture: Texture<'a>,
    bounds: Bounds,
}

impl<'a> Subject<'a> {
    /// Makes a sheet ready: some bytes for each face, once.
    ///
    /// # Panics
    /// If the sheet has not a designed colour for each face and a printed one for each texel.
    #[must_use]
    pub fn new(sheet: &'a Sheet) -> Self {
        let texels = sheet.faces.len() * sheet.per_edge * sheet.per_edge;
        assert!(sheet.per_edge > 0, "a face has at least one texel");
        assert_eq!((sheet.designed.len(), sheet.printed.len()), (sheet.faces.len(), texels), "colours of the sheet");
        let order = Order::of(sheet);
        let bounds = Bounds::of(&order);
        Self { sheet, order, texture: Texture::of(sheet), bounds }
    }
}

/// Where the faces lie, in cells from the grid's origin.
#[derive(Clone, Copy, Debug)]
struct Bounds {
    low: DVec3,
    high: DVec3,
    /// The greatest distance of a face from the upright axis through the middle.
    radius: f64,
}

impl Bounds {
    fn of(order: &Order) -> Self {
        let corners = || order.corners();
        let Some(first) = corners().next() else {
            return Self { low: DVec3::ZERO, high: DVec3::ZERO, radius: 0.0 };
        };
        let (low, high) = corners().fold((first, first), |(low, high), p| (low.min(p), high.max(p)));
        let middle = low.midpoint(high);
        let beside = corners().map(|p| (p - middle).truncate().length_squared()).fold(0.0, f64::max);
        Self { low, high, radius: beside.sqrt() }
    }

    fn middle(&self) -> DVec3 {
        self.low.midpoint(self.high)
    }
}

#[cfg(test)]
mod tests;
