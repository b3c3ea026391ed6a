//! The file formats that the stages read and write.

pub mod animation;
pub mod bitmap;
pub mod drawing;
pub mod glb;
pub mod jpeg;
pub mod model;
pub mod picture;
pub mod ply;
mod points;
pub mod stl;
pub mod threemf;

use std::io;

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
    pub ink: &'a [u32],
}

impl ColouredMesh<'_> {
    /// Checks what every writer relies on: a colour that exists for each triangle, beside what [`check_mesh`] checks.
    fn check(&self) -> io::Result<()> {
        check_mesh(self.points, self.triangles)?;
        if self.ink.len() != self.triangles.len() {
            return Err(invalid(format!("{} triangles, but {} colours", self.triangles.len(), self.ink.len())));
        }
        match self.ink.iter().position(|&ink| ink as usize >= self.colours.len()) {
            Some(at) => Err(invalid(format!("triangle {at} has a colour that does not exist"))),
            None => Ok(()),
        }
    }
}

/// Checks that coordinates are finite, that triangles name points that exist, and that 32 bits count both.
fn check_mesh(points: &[DVec3], triangles: &[[u32; 3]]) -> io::Result<()> {
    if triangles.len().max(points.len()) > u32::MAX as usize {
        return Err(invalid("more triangles or points than the format can count; use larger cells".to_owned()));
    }
    if let Some(at) = points.iter().position(|p| !p.is_finite()) {
        return Err(invalid(format!("point {at} has a coordinate that is not a finite number")));
    }
    match triangles.iter().position(|t| t.iter().any(|&i| i as usize >= points.len())) {
        Some(at) => Err(invalid(format!("triangle {at} names a point that does not exist"))),
        None => Ok(()),
    }
}

/// Checks that coordinates are within the range of `f32`, for the formats that hold no more.
fn check_single(points: &[DVec3]) -> io::Result<()> {
    match points.iter().position(|p| !p.as_vec3().is_finite()) {
        Some(at) => Err(invalid(format!("point {at} has a coordinate beyond the range of a single-precision number"))),
        None => Ok(()),
    }
}

fn invalid(message: String) -> io::Error {
    io::Error::new(io::ErrorKind::InvalidInput, message)
}
