//! The printed surface, predicted: colour runs sideways, edges are rounded, and the bare material shows through.
//!
//! The model, its limits and its sources are told for makers, with the formulas, in `reports/templates/print-model.html`, the
//! page `print-model.html` of every run with a prediction. What changes here changes there.
//!
//! # Coordinates on a face
//! A face looks along an axis `a`; its own axes are `u = (a + 1) mod 3` and `v = (a + 2) mod 3`, both counted upwards. Its
//! edges are numbered 0: low `u`, 1: high `u`, 2: low `v`, 3: high `v` ([`Edge`]). A face is cut into `n × n` equal texels;
//! texel `(i, j)` lies at `u` in `[i, i + 1] · cell / n`, `v` likewise with `j`, and is stored at `(face · n + j) · n + i`.

pub mod around;
pub mod naming;
pub mod press;
pub mod rounding;
pub mod scores;
pub mod sheet;
pub mod spread;
pub mod view;

pub use around::{Around, Bend, Beside, Edge};
pub use sheet::Sheet;
