//! What a piece will grow to, told before anything runs: how many cells, faces and triangles there will be, and how much
//! memory each stage takes to make them.
//!
//! A stage's [`crate::stage::Stage::outlook`] reckons from the settings and from what is known before it. Extents and cells
//! are known; faces follow from the model's area: a surface with the area A and the normal n is rebuilt by cube faces of
//! A (|n_x| + |n_y| + |n_z|) in all, up to what its folds finer than a cell lose. Bytes a cell, a face or a
//! triangle are those of the data at hand, bounded from above; `tests/bench/memory.py` sets them beside what a run holds.

use glam::DVec3;

use crate::solid::Surface;
use crate::units::Memory;

/// What is known of a piece at some place in the chain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outlook {
    /// Extents of the model, in mm.
    pub size: DVec3,
    /// Points of the model.
    pub points: f64,
    /// Triangles of the model.
    pub triangles: f64,
    /// Area, in mm², of the cube faces that rebuild the model's surface.
    pub faces_area: f64,
    /// The grid, once there is one: the edge of a cell in mm, and cells along each axis.
    pub grid: Option<(f64, DVec3)>,
    /// Faces of the cavity's lattice on its walls.
    pub cavity_faces: f64,
    /// Bytes that the piece's parts take after the stage.
    pub holds: f64,
    /// Bytes that the stage takes beside them while it works.
    pub takes: f64,
}

impl Outlook {
    /// What is known of a model before the first stage.
    #[must_use]
    pub fn of(surface: &Surface) -> Self {
        let size = surface.bounds().map_or(DVec3::ZERO, |[low, high]| high - low);
        let faces_area = surface.each_triangle().map(|[a, b, c]| (b - a).cross(c - a).abs().element_sum() / 2.0).sum();
        let (points, triangles) = (surface.points().len() as f64, surface.triangles().len() as f64);
        let model = Self { size, points, triangles, faces_area, grid: None, cavity_faces: 0.0, holds: 0.0, takes: 0.0 };
        Self { holds: model.surface_bytes(), ..model }
    }

    /// Bytes of the surface: its points and the indices of its triangles.
    #[must_use]
    pub fn surface_bytes(&self) -> f64 {
        24.0 * self.points + 12.0 * self.triangles
    }

    /// Cells of the grid; 0 before there is one.
    #[must_use]
    pub fn cells(&self) -> f64 {
        self.grid.map_or(0.0, |(_, counts)| counts.element_product())
    }

    /// Cube faces on the outside; 0 before there is a grid.
    #[must_use]
    pub fn faces(&self) -> f64 {
        self.grid.map_or(0.0, |(cell, _)| self.faces_area / (cell * cell))
    }

    /// Faces of the skin: cube faces on the outside, and those of the cavity's walls.
    #[must_use]
    pub fn skin_faces(&self) -> f64 {
        self.faces() + self.cavity_faces
    }

    /// The same piece, after a stage that takes so many bytes while it works and keeps so many more.
    #[must_use]
    pub fn after(self, takes: f64, keeps: f64) -> Self {
        Self { takes, holds: self.holds + keeps, ..self }
    }

    /// The most memory that the run holds during the stage.
    #[must_use]
    pub fn peak(&self) -> Memory {
        let bytes = self.holds + self.takes;
        Memory::from_bytes(if bytes < u64::MAX as f64 { bytes as u64 } else { u64::MAX })
    }
}
