//! The stages that ship, one file or folder each.

mod repair;

pub use repair::Repair;
