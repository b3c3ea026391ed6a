//! Reads a job file, plans, runs, records.
//!
//! A job goes through phases, each with a type of its own, so that a job with a fault cannot reach the runner:
//!
//! 1. bytes → [`job::Text`]: guarded YAML, every value with its place;
//! 2. → [`job::Draft`]: what the job asks for, as far as it could be read;
//! 3. → [`plan::Plan`]: every file read, every stage known, every setting checked, every need met;
//! 4. → [`run::Published`]: a run folder with the artefacts and the record, whole or not at all.
//!
//! Every fault found on the way is a [`diagnostic::Diagnostic`] with its place in the job file; all are shown at once.
//!
//! ```
//! use std::path::Path;
//! use turnhue::plan::plan_bytes;
//!
//! let job = b"commission: a/b\ntitle: Whelk\nstages: [holow]\n".to_vec();
//! let faults = plan_bytes("whelk.yaml", job, Path::new("."), &turnhue_stages::shipped()).err().unwrap();
//! // The model and the process are missing, the name of the commission is no folder, and the stage is not known.
//! assert_eq!(faults.len(), 4);
//! assert!(faults[0].render(false).contains("whelk.yaml:1:1"));
//! ```
//!
//! A plan without faults runs. Here the demo's model becomes cubes, and its run folder appears below `into`:
//!
//! ```
//! use std::path::Path;
//! use std::sync::atomic::AtomicBool;
//! use turnhue::clock::{Clock as _, SystemClock};
//! use turnhue::{events::Silence, plan::plan_bytes, run, store::Store};
//! use turnhue_stages::units::Memory;
//!
//! let job = br#"
//! commission: tour
//! title: Whelk in large cubes
//! model: { file: models/whelk.stl, units: mm, up: +z, facing: -y }
//! process: processes/powder-full-colour.yaml
//! stages:
//!   - scale:    { height: 18 cm }
//!   - voxelise: { cell: 9 mm }
//! "#;
//! let plan = plan_bytes("tour.yaml", job.to_vec(), Path::new("jobs"), &turnhue_stages::shipped()).unwrap();
//! assert!(plan.in_words().starts_with("tour: Whelk in large cubes"));
//!
//! let folder = tempfile::tempdir()?;
//! let (clock, cancel) = (SystemClock::start(), AtomicBool::new(false));
//! let store = Store::open(&folder.path().join(".store"), clock.now()).unwrap();
//! let surroundings =
//!     run::Surroundings { into: folder.path(), store: &store, clock: &clock, cancel: &cancel, memory: Memory::usual() };
//! let published = run::run(&plan, &surroundings, &mut Silence).unwrap();
//! assert!(published.folder.join(run::RECORD).is_file());
//! assert_eq!(published.order, None); // `colour` makes the file to order
//! # Ok::<(), std::io::Error>(())
//! ```
//!
//! The stages are an argument: a program that uses the library hands its own list to [`plan::plan`] or [`cli::main`].

pub mod advise;
pub mod calibrate;
pub mod cli;
pub mod clock;
pub mod diagnostic;
pub mod digest;
mod disk;
pub mod events;
pub mod exit;
pub mod explain;
mod input;
pub mod job;
pub mod ledger;
pub mod model;
pub mod night;
pub mod package;
pub mod pages;
pub mod plan;
pub mod reproduce;
pub mod run;
pub mod schema;
mod shelf;
pub mod store;
mod terminal;
