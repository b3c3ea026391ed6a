//! The printed surface as texels.

use std::sync::Arc;

use crate::Srgb;
use crate::print::Around;
use crate::solid::{Face, Grid};

/// The outside of a piece, as designed and as it is predicted to come out of the printer.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// Where the cells lie.
    pub grid: Grid,
    /// The outside faces, in the order of [`crate::paint::Paint::faces`].
    pub faces: Arc<[Face]>,
    /// What lies beyond each edge of each face.
    pub around: Arc<Around>,
    /// The radius to which convex edges are rounded, in mm; at most half a cell.
    pub radius: f64,
    /// The colour of each face as designed.
    pub designed: Vec<Srgb>,
    /// Texels along each edge of a face.
    pub per_edge: usize,
    /// The colour of each texel as printed, numbered as [`super`] says.
    pub printed: Vec<Srgb>,
}

impl Sheet {
    /// The place of a texel of a face.
    #[must_use]
    pub fn texel(&self, face: u32, i: usize, j: usize) -> usize {
        (face as usize * self.per_edge + j) * self.per_edge + i
    }
}
