//! The stages that ship, one file or folder each.

pub(crate) mod assembly;
pub mod case;
pub mod colour;
pub mod coupon;
mod cut;
pub mod estimate;
pub mod foot;
pub mod handbuild;
pub mod hollow;
mod likeness;
pub mod proof;
pub mod repair;
pub mod scale;
pub mod split;
pub mod stand;
pub mod validate;
pub mod voxelise;
