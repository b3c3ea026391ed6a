//! The skin of the printed solid: the triangles between material and air.

use glam::DVec3;

/// What a triangle of the skin lies on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Patch {
    /// An outside cube face: its place in [`crate::paint::Paint::faces`].
    Outside(u32),
    /// The cavity, or the shaft of an opening.
    Inside,
}

/// The boundary of the printed solid: closed, each edge shared by exactly two triangles that run along it in opposite
/// directions, normals outwards.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Skin {
    /// Points in mm.
    pub points: Vec<DVec3>,
    /// Triangles, counter-clockwise seen from the air.
    pub triangles: Vec<[u32; 3]>,
    /// What each triangle lies on.
    pub patches: Vec<Patch>,
}
