//! Which cubes are built, and what shows of each.
//!
//! A cube shows what [`outside_faces`](crate::solid::skin::outside_faces) has of it. Shafts of openings stay open. Where
//! hidden cubes are left out, those stay that touch the air outside, or a shaft, with a face or an edge.
//!
//! Guarantees: of each part of the solid that hangs together by faces, what is built hangs together by faces. Two faces of
//! the surface that share an edge belong to one cube, to two that share a face, or to two on either side of a concave edge,
//! whose fourth cube touches the air along that edge and so is kept; so along a connected surface cubes hang together. Parts
//! whose surface is not connected, as it may be where others touch them along edges all around, are built whole.

use std::collections::BTreeMap;

use glam::IVec3;

use super::inks::Inks;
use super::settings::{Hidden, Settings, Way};
use crate::paint::Paint;
use crate::solid::{Cells, Components, Grid, Neighbours, flood_from_outside};
use crate::void::Void;
use crate::{Side, Six};

/// The ink on each side of a cube that shows; `None` where it does not.
pub(super) type Shown = Six<Option<u16>>;

/// The piece as it is built.
pub(super) struct Building {
    /// Lowest cell of the box around the piece.
    pub(super) low: IVec3,
    /// Cubes along x, y and z.
    pub(super) counts: IVec3,
    /// The cubes that are built.
    pub(super) built: Cells,
    /// The cubes that are not, since they do not show.
    pub(super) left_out: Cells,
    /// The cells that stay open for the shafts of openings.
    pub(super) shafts: Cells,
    /// The cubes that hang from above: neither they nor those beside them in their layer stand on anything.
    pub(super) hanging: Cells,
    /// What shows of the cubes that show, in the order z, y, x.
    shown: BTreeMap<[i32; 3], Shown>,
}

impl Building {
    /// `None` if there is no cube.
    pub(super) fn of(
        cells: &Cells,
        void: Option<&Void>,
        paint: &Paint,
        inks: &Inks,
        settings: &Settings,
    ) -> Option<Self> {
        let [low, high] = cells.extent()?;
        let shafts = void.map_or_else(|| Cells::empty(*cells.grid()), |void| void.shafts.clone());
        let solid = cells.minus(&shafts);
        let built = match settings.hidden {
            Hidden::Keep => solid.clone(),
            Hidden::LeaveOut => held_together(&solid, shell(&solid, &shafts)),
        };
        let mut shown: BTreeMap<[i32; 3], Shown> = BTreeMap::new();
        for (face, &ink) in paint.faces.iter().zip(&paint.ink) {
            let IVec3 { x, y, z } = face.cell;
            shown.entry([z, y, x]).or_default()[face.side] = Some(inks.of(ink));
        }
        let left_out = solid.minus(&built);
        // A print that is painted is in one piece already.
        let hanging = match settings.way {
            Way::Cubes => hanging(&built, low.z),
            Way::Paint => Cells::empty(*cells.grid()),
        };
        Some(Self { low, counts: high - low + 1, built, left_out, shafts, hanging, shown })
    }

    /// What shows of a cube.
    pub(super) fn shown(&self, cell: IVec3) -> Option<&Shown> {
        self.shown.get(&[cell.z, cell.y, cell.x])
    }

    /// Every cube that shows.
    pub(super) fn each_shown(&self) -> impl Iterator<Item = &Shown> {
        self.shown.values()
    }

    /// Every cube of a layer that shows.
    pub(super) fn shown_in(&self, z: i32) -> impl Iterator<Item = (IVec3, &Shown)> {
        let after = z.saturating_add(1);
        let range = self.shown.range([z, i32::MIN, i32::MIN]..[after, i32::MIN, i32::MIN]);
        range.map(|(&[z, y, x], shown)| (IVec3::new(x, y, z), shown))
    }

    /// Cubes that show.
    pub(super) fn showing(&self) -> usize {
        self.shown.len()
    }

    /// Parts of what is built that do not hang together by faces.
    pub(super) fn parts(&self) -> Components {
        Components::of(&self.built, Neighbours::Faces)
    }
}

/// The cubes that touch the air outside, or a shaft, with a face or an edge.
fn shell(solid: &Cells, shafts: &Cells) -> Cells {
    let air = flood_from_outside(solid);
    let open = |cell: IVec3| !solid.grid().holds(cell) || air.solid(cell) || shafts.solid(cell);
    let across = |cell: IVec3, [a, b]: [Side; 2]| open(cell + a.step() + b.step());
    Cells::from_fn(*solid.grid(), |cell| {
        solid.solid(cell)
            && (Side::ALL.iter().any(|side| open(cell + side.step())) || edges().any(|edge| across(cell, edge)))
    })
}

/// The edges of a cube, by the two sides that meet there.
fn edges() -> impl Iterator<Item = [Side; 2]> {
    let pairs = Side::ALL.into_iter().flat_map(|a| Side::ALL.into_iter().map(move |b| [a, b]));
    pairs.filter(|[a, b]| a.axis() < b.axis())
}

/// What is kept, with those parts of the solid whole that would fall apart.
fn held_together(solid: &Cells, kept: Cells) -> Cells {
    let parts = Components::of(solid, Neighbours::Faces);
    let pieces = Components::of(&kept, Neighbours::Faces);
    let mut in_part = vec![0_usize; parts.len()];
    for piece in 0..pieces.len() {
        if let Some(part) = parts.at(pieces.first_cell(piece)) {
            in_part[part] += 1;
        }
    }
    // A part without any cube that touches the air lies inside another, and is left out.
    if in_part.iter().all(|&pieces| pieces <= 1) { kept } else { kept.or(&parts.cells_where(|part| in_part[part] > 1)) }
}

/// The cubes of which no neighbour in the layer, however far, stands on a cube of the layer below.
fn hanging(built: &Cells, lowest: i32) -> Cells {
    let mut hanging = Cells::empty(*built.grid());
    for z in lowest + 1..built.grid().counts.z {
        let layer = Grid { counts: built.grid().counts.with_z(1), ..*built.grid() };
        let flat = Cells::from_lines(layer, |j, _, line| line.copy_from_slice(built.line(j, z)));
        let groups = Components::of(&flat, Neighbours::Faces);
        let mut stands = vec![false; groups.len()];
        for cell in flat.iter().filter(|cell| built.solid(cell.with_z(z - 1))) {
            if let Some(group) = groups.at(cell) {
                stands[group] = true;
            }
        }
        for cell in groups.cells_where(|group| !stands[group]).iter() {
            hanging.set(cell.with_z(z), true);
        }
    }
    hanging
}
