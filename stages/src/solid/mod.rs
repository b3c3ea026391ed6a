//! The solid geometry that the stages share.

pub mod banded;
mod bins;
mod cells;
pub mod chain;
pub mod clearance;
mod components;
mod contacts;
mod crossings;
pub mod distance;
pub mod edges;
mod forest;
#[cfg(test)]
pub(crate) mod forms;
pub mod health;
mod hinges;
pub mod inside;
pub mod likeness;
pub mod nearest;
mod numbered;
pub mod outside;
mod outward;
pub mod reach;
pub mod rectangles;
#[cfg(test)]
pub(crate) mod samples;
pub mod section;
pub mod self_crossings;
pub mod skin;
pub mod sphere;
pub mod stability;
pub mod stacked;
mod surface;
pub mod winding;

pub use cells::{Cells, Face, Grid, bits};
pub use components::{Components, Neighbours, air, enclosed_voids, flood_from_outside};
pub use contacts::{Contact, ContactCounts, ContactKind, Leave, contact_counts, contacts, make_well_composed, mend};
pub(crate) use forest::Forest;
pub use hinges::{Hinge, Hinges};
pub use likeness::Likeness;
pub use nearest::Nearest;
pub use numbered::Numbered;
pub use skin::{Patch, Skin};
pub use surface::Surface;
