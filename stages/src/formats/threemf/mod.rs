//! 3MF (3D Manufacturing Format, core specification 1.4 with the materials and properties extension 1.2): the file that
//! is ordered, and a form in which models come. Reader and writer share nothing, so that what is read back is a check of
//! what was written.

pub(super) mod model;
mod package;
pub mod read;
mod write;

pub use write::{Pattern, check, write};
