//! The solid geometry that the stages share.

mod cells;
mod components;
mod forest;
mod skin;
mod surface;

pub use cells::{Cells, Face, Grid, bits};
pub use components::{Components, Neighbours, air, enclosed_voids, flood_from_outside};
pub use skin::{Patch, Skin};
pub use surface::Surface;
