//! What a stage is, every stage that ships, and the solid geometry they share.
//!
//! Conventions, everywhere: millimetres, right-handed, +z up, the front faces −y. Sides always come in the order right
//! (+x), left (−x), back (+y), front (−y), top (+z), bottom (−z). Geometry is in `f64`. The same input gives the same
//! bytes on any number of threads.

pub mod chain;
pub mod conformance;
pub mod findings;
pub mod formats;
pub mod paint;
pub mod process;
mod side;
pub mod solid;
pub mod stage;
pub mod units;
pub mod void;
pub mod workpiece;

pub use paint::Srgb;
pub use side::{Side, Six};
pub use units::Length;

/// Every stage that ships, in the order in which a job usually runs them.
#[must_use]
pub fn shipped() -> Vec<Box<dyn stage::AnyStage>> {
    vec![
        stage::erase::<chain::scale::Scale>(),
        stage::erase::<chain::voxelise::Voxelise>(),
        stage::erase::<chain::repair::Repair>(),
        stage::erase::<chain::hollow::Hollow>(),
        stage::erase::<chain::colour::Colour>(),
        stage::erase::<chain::validate::Validate>(),
        stage::erase::<chain::estimate::Estimate>(),
    ]
}
