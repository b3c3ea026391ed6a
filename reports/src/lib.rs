//! The record of a run, and the pages drawn from it.
//!
//! Pages are drawn from the record and the artefacts alone, so those of an old run can be drawn again:
//!
//! ```no_run
//! use std::path::Path;
//! use turnhue_reports::{record, summary};
//!
//! let run = Path::new("runs/HB-2027-03/whelk");
//! let record = record::read(&run.join("run.json"))?;
//! let page = summary::draw(&record, &|picture| std::fs::read(run.join(picture)).ok())?;
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod address;
pub mod advice;
pub mod amounts;
mod answers;
mod cautions;
mod chart;
mod colours;
pub mod commission;
mod cost;
mod curve;
mod facts;
mod files;
mod in_the_round;
mod inside;
mod mounting;
pub mod night;
mod numbers;
pub mod package;
mod palette;
mod pictures;
pub mod print_model;
mod proof;
pub mod record;
mod said;
mod script;
mod shell;
pub mod summary;
mod turntable;
mod views;
