//! The workpiece: what goes through the chain. Its parts never change once made and are shared, so that a hundred
//! variants which differ in colour alone hold one voxelised solid.

use std::fmt;
use std::path::PathBuf;
use std::sync::Arc;

use crate::paint::Paint;
use crate::solid::{Cells, Surface};
use crate::void::Void;

/// A part of the workpiece that a stage may need or give.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Part {
    /// The model's triangles in mm.
    Surface,
    /// The solid of cubes.
    Cells,
    /// The cavity and its openings.
    Void,
    /// A colour for every outside face.
    Paint,
    /// The file that will be ordered, on disk.
    Order,
}

impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Surface => "a surface",
            Self::Cells => "cells",
            Self::Void => "a void",
            Self::Paint => "paint",
            Self::Order => "an ordered file",
        })
    }
}

/// The file that will be ordered, as it lies on disk. What is in it is for `validate` to find out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OrderedFile {
    /// Its name in the run folder.
    pub name: String,
    /// Where it lies now.
    pub path: PathBuf,
}

/// The piece so far. A missing part has not been made yet.
#[derive(Clone, Debug, Default)]
pub struct Workpiece {
    /// The model's triangles in mm, as read, then scaled and turned.
    pub surface: Option<Arc<Surface>>,
    /// The outer solid of cubes, without regard to the void.
    pub cells: Option<Arc<Cells>>,
    /// The cavity and its openings, inside the solid.
    pub void: Option<Arc<Void>>,
    /// A colour for every outside face, and the inside colour.
    pub paint: Option<Arc<Paint>>,
    /// The file that will be ordered.
    pub order: Option<Arc<OrderedFile>>,
}

impl Workpiece {
    /// Whether the part is there.
    #[must_use]
    pub fn has(&self, part: Part) -> bool {
        match part {
            Part::Surface => self.surface.is_some(),
            Part::Cells => self.cells.is_some(),
            Part::Void => self.void.is_some(),
            Part::Paint => self.paint.is_some(),
            Part::Order => self.order.is_some(),
        }
    }
}
