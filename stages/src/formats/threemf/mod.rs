//! 3MF (3D Manufacturing Format, core specification 1.4 with the materials and properties extension 1.2): the file that
//! is ordered.

mod write;

pub use write::write;
