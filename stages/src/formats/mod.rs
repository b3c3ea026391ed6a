//! The file formats that the stages read and write.

pub mod picture;

use glam::DVec3;

use crate::Srgb;

/// A mesh with a colour for each triangle, as the writers take it.
#[derive(Clone, Copy, Debug)]
pub struct ColouredMesh<'a> {
    /// Points in mm.
    pub points: &'a [DVec3],
    /// Triangles, counter-clockwise seen from the air.
    pub triangles: &'a [[u32; 3]],
    /// The colours in use; never empty.
    pub colours: &'a [Srgb],
    /// For each triangle the place of its colour in `colours`.
    pub ink: &'a [u16],
}
