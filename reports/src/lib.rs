//! The record of a run, and the pages drawn from it.
//!
//! Pages are drawn from the record and the artefacts alone, so those of an old run can be drawn again.

pub mod record;
