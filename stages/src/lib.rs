//! What a stage is, every stage that ships, and the solid geometry they share.
//!
//! # Conventions
//! Millimetres, right-handed, +z up, the front faces −y, everywhere. Sides always come in the order right (+x), left (−x),
//! back (+y), front (−y), top (+z), bottom (−z). Geometry is in `f64`. The same input gives the same bytes on any number of
//! threads. A cell is solid when its centre is inside.
//!
//! # From a surface to cubes
//! A [`Surface`](solid::Surface) is triangles as a model file has them, a [`Grid`](solid::Grid) says where cubes may lie,
//! and [`Cells`](solid::Cells) which of them are solid. Here the corner of a cube, cut off: with n cells along each edge
//! the centres inside are those with i + j + k ≤ n − 2, a tetrahedral number (OEIS A000292).
//!
//! ```
//! use glam::{DVec3, IVec3};
//! use turnhue_stages::solid::{Cells, Grid, Surface, inside, skin};
//! use turnhue_stages::{Side, Six};
//!
//! let n = 5.0;
//! let corners = vec![DVec3::ZERO, DVec3::X * n, DVec3::Y * n, DVec3::Z * n];
//! // Counter-clockwise, as seen from the air.
//! let tetrahedron = Surface::new(corners, vec![[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])?;
//!
//! let grid = Grid { origin: DVec3::ZERO, cell: 1.0, counts: IVec3::splat(5) };
//! let (cells, told): (Cells, inside::Told) = inside::solid_cells(&tetrahedron, grid);
//! assert_eq!(cells.count(), 20); // 1 + 3 + 6 + 10
//! assert_eq!(told.rim_edges, 0); // the surface has no holes
//!
//! // A staircase shows the same from both ends of an axis: ten faces to each side.
//! assert_eq!(cells.faces_by_side(), Six([10; 6]));
//! let faces = skin::outside_faces(&cells, None);
//! assert_eq!(faces.iter().filter(|face| face.side == Side::Top).count(), 10);
//! # Ok::<(), String>(())
//! ```
//!
//! # A stage
//! A chain of stages works on one [`Workpiece`](workpiece::Workpiece). A stage says which parts of it it needs and gives,
//! documents its own settings, and tells what it measured and found through a [`Shop`](stage::Shop). This one could stand
//! in any program that uses the library; [`conformance`] is the suite that every stage passes.
//!
//! ```
//! use schemars::JsonSchema;
//! use serde::{Deserialize, Serialize};
//! use turnhue_stages::Length;
//! use turnhue_stages::findings::{Fact, Unit};
//! use turnhue_stages::solid::Cells;
//! use turnhue_stages::stage::{Halt, Misfit, Shop, Stage, erase};
//! use turnhue_stages::workpiece::{Part, Workpiece};
//!
//! struct Level;
//!
//! #[derive(Serialize, Deserialize, JsonSchema)]
//! #[serde(deny_unknown_fields)]
//! struct Settings {
//!     /// Height that is kept, from the bottom of the grid; rounded up to whole cells.
//!     height: Length,
//! }
//!
//! impl Stage for Level {
//!     type Settings = Settings;
//!     const NAME: &'static str = "level";
//!     const PURPOSE: &'static str = "cuts the solid off flat";
//!     const VERSION: u32 = 1;
//!     const NEEDS: &'static [Part] = &[Part::Cells];
//!     const GIVES: &'static [Part] = &[Part::Cells];
//!
//!     fn check(settings: &Settings, _: &Shop<'_>) -> Result<(), Misfit> {
//!         if settings.height.mm() > 0.0 {
//!             return Ok(());
//!         }
//!         Err(Misfit::new("height", "nothing would be left", "ask for more than 0 mm"))
//!     }
//!
//!     fn run(settings: &Settings, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
//!         let cells = piece.cells().expect("the plan saw to it");
//!         let layers = (settings.height.mm() / cells.grid().cell).ceil() as i32;
//!         let kept = Cells::from_fn(*cells.grid(), |cell| cell.z < layers && cells.solid(cell));
//!         shop.fact(Fact::whole("cells cut off", cells.count() - kept.count(), Unit::Cells));
//!         Ok(piece.with_cells(kept))
//!     }
//! }
//!
//! // A program of its own hands such a list to the pipeline.
//! let mut stages = turnhue_stages::shipped();
//! stages.push(erase::<Level>());
//!
//! # use turnhue_stages::conformance::Trial;
//! # let grid = turnhue_stages::solid::Grid { origin: glam::DVec3::ZERO, cell: 3.0, counts: glam::IVec3::splat(4) };
//! let trial = Trial {
//!     stage: stages.last().unwrap().as_ref(),
//!     settings: serde_json::json!({ "height": "7 mm" }),
//!     files: Default::default(),
//!     piece: Workpiece::default().with_cells(Cells::from_fn(grid, |_| true)),
//! };
//! # let (folder, number) = (tempfile::tempdir()?, std::cell::Cell::new(0));
//! # let scratch = || {
//! #     number.set(number.get() + 1);
//! #     let path = folder.path().join(number.get().to_string());
//! #     std::fs::create_dir(&path).expect("the folder can be made");
//! #     path
//! # };
//! trial.suite(scratch);
//! let (piece, said) = trial.run(scratch()).unwrap();
//! assert_eq!(piece.cells().unwrap().count(), 48); // 7 mm are three layers of 3 mm
//! assert_eq!(said.facts, [Fact::whole("cells cut off", 16, Unit::Cells)]);
//! # Ok::<(), std::io::Error>(())
//! ```
//!
//! # The shipped chain
//! [`shipped`] lists the stages, each a module of [`chain`]. They share [`solid`], read and write [`formats`], and know the
//! printing [`process`]; no stage knows the job file, the screen or the pages. Runs of one program share pure work by a
//! [`memo`].

pub mod chain;
pub mod colorimetry;
pub mod conformance;
pub mod division;
pub mod findings;
pub mod formats;
pub mod marked;
pub mod memo;
pub mod mounts;
pub mod outlook;
pub mod paint;
pub mod print;
pub mod process;
mod side;
pub mod size;
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
        stage::erase::<chain::foot::Foot>(),
        stage::erase::<chain::repair::Repair>(),
        stage::erase::<chain::hollow::Hollow>(),
        stage::erase::<chain::colour::Colour>(),
        stage::erase::<chain::split::Split>(),
        stage::erase::<chain::coupon::Coupon>(),
        stage::erase::<chain::proof::Proof>(),
        stage::erase::<chain::validate::Validate>(),
        stage::erase::<chain::stand::Stand>(),
        stage::erase::<chain::case::Case>(),
        stage::erase::<chain::estimate::Estimate>(),
        stage::erase::<chain::handbuild::Handbuild>(),
    ]
}
