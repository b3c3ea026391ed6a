//! The solid geometry that the stages share.

mod cells;
mod components;
mod contacts;
mod forest;
#[cfg(test)]
pub(crate) mod samples;
mod skin;
mod surface;

pub use cells::{Cells, Face, Grid, bits};
pub use components::{Components, Neighbours, air, enclosed_voids, flood_from_outside};
pub use contacts::{Contact, ContactCounts, ContactKind, Leave, contact_counts, contacts, make_well_composed};
pub(crate) use forest::Forest;
pub use skin::{Patch, Skin};
pub use surface::Surface;
