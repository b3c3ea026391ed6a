//! Reads a 3MF file: one mesh in millimetres with a colour for each triangle.
//!
//! What is read: the package's start part; meshes; components and build items with their transforms; units; base
//! materials and colour groups, as one colour for each triangle. What is not: textures, composites, gradients within a
//! triangle, and every extension beside materials. A file that needs one of those is refused, never read in part.
//!
//! The reader takes a file as hostile. It unpacks no more than [`Limits::part_bytes`] of any part, places no more than
//! [`Limits::triangles`], expands no entity, reads no document type, and follows components only to objects defined
//! before them, so that none can contain itself.
//!
//! Section numbers in the code are those of the 3MF core specification 1.4.0 and of the materials and properties
//! extension 1.2.1.

mod assembly;
pub(super) mod document;
pub(super) mod package;
pub(super) mod xml;

#[cfg(test)]
mod tests;

use std::io::{Read, Seek};

use glam::DVec3;

use crate::Srgb;
use crate::memo::Recall;

/// What a file may cost to read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Most bytes that one part of the package may unpack to. Memory in use stays within a small multiple of it.
    pub part_bytes: u64,
    /// Most triangles that the build may hold, every use of an object counted; and three times as many points.
    pub triangles: u64,
}

/// The build of a 3MF file as one mesh.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Model {
    /// Points in mm, finite; in the order of the file, item after item.
    pub points: Vec<DVec3>,
    /// Triangles, counter-clockwise seen from the air; every index is below `points.len()`.
    pub triangles: Vec<[u32; 3]>,
    /// The colour of each triangle, where it has one.
    pub colours: Vec<Option<Srgb>>,
}

/// Longest message, in characters: no element or attribute that a writer means is near it.
const LONGEST_MESSAGE: usize = 200;

/// Reads a 3MF file.
///
/// # Errors
/// A plain message of one line that says which element is wrong and what was expected.
pub fn read(file: impl Read + Seek, limits: Limits) -> Result<Model, String> {
    read_recalling(file, limits, Recall::NOTHING)
}

/// As [`read`]. The file is unpacked and checked as ever; but the points and triangles of a mesh are not read again where
/// the same text was read before. Colours are.
///
/// # Errors
/// As [`read`].
pub fn read_recalling(file: impl Read + Seek, limits: Limits, recall: Recall<'_>) -> Result<Model, String> {
    read_build(file, limits, recall).map_err(|message| in_one_line(&message))
}

fn read_build(file: impl Read + Seek, limits: Limits, recall: Recall<'_>) -> Result<Model, String> {
    let (_, part) = package::Package::open(file, limits.part_bytes)?.start_part()?;
    let document = document::parse(&part, recall)?;
    assembly::place(&document, limits.triangles)
}

/// A message quotes the file, in which a name may hold line ends and be as long as the part.
fn in_one_line(message: &str) -> String {
    let mut line: String =
        message.chars().take(LONGEST_MESSAGE).map(|c| if c.is_control() { ' ' } else { c }).collect();
    if message.chars().nth(LONGEST_MESSAGE).is_some() {
        line.push('…');
    }
    line
}
