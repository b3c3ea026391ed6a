//! The stages that ship, one file or folder each.

pub mod validate;
