//! The solid geometry that the stages share.

mod cells;
mod skin;
mod surface;

pub use cells::{Cells, Face, Grid, bits};
pub use skin::{Patch, Skin};
pub use surface::Surface;
