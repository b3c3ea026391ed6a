//! 3MF (3D Manufacturing Format, core specification 1.4 with the materials and properties extension 1.2): the file that
//! is ordered. Reader and writer share nothing, so that what is read back is a check of what was written.

pub mod read;
mod write;

pub use write::write;
