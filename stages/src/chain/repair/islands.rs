//! Which pieces of a solid stay, and how loose ones are joined.
//!
//! Pieces that do not even touch at a corner are told apart (26 neighbours). A bridge is a straight run of air cells along
//! one axis that meets a piece with a face at either end. Pieces are joined as by Kruskal (1956): of all pairs that a
//! bridge can join, the one with the shortest bridge first, until no bridge joins anything more. Of bridges as short as
//! each other the one whose first cell is lowest goes first, then furthest to the front, then to the left, then the one
//! along x before y before z.

use std::collections::BTreeMap;

use glam::IVec3;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Lump, lumps};
use crate::Side;
use crate::solid::{Cells, Components, Forest, Neighbours};

/// Which pieces stay.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Islands {
    /// The piece with the most cells.
    #[default]
    Largest,
    /// All pieces, loose as they are.
    All,
    /// Pieces of so many cells and more, loose as they are, and the largest.
    AtLeast(u32),
    /// All pieces, each joined to the others by the shortest straight run of cells that reaches.
    Bridge,
}

/// A straight run of cells that joins two pieces.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Bridge {
    pub(super) length: i32,
    /// Lowest cell, as `[z, y, x]`.
    first: [i32; 3],
    axis: usize,
}

impl Bridge {
    /// Its lowest cell.
    pub(super) fn first(self) -> IVec3 {
        let [z, y, x] = self.first;
        IVec3::new(x, y, z)
    }

    /// Its cells.
    pub(super) fn cells(self) -> impl Iterator<Item = IVec3> {
        (0..self.length).map(move |n| self.first() + n * IVec3::AXES[self.axis])
    }
}

/// The cells that stay, with those that join them.
pub(super) struct Sorted {
    pub(super) cells: Cells,
    /// Pieces taken away.
    pub(super) removed: Vec<Lump>,
    pub(super) bridges: Vec<Bridge>,
}

/// Takes away the pieces that are not wanted, and joins the others where asked.
pub(super) fn sort(cells: &Cells, islands: Islands) -> Sorted {
    let keep = |least: usize| {
        let pieces = Components::of(cells, Neighbours::Corners);
        let largest = pieces.largest();
        let stays = |at: usize| Some(at) == largest || pieces.sizes()[at] >= least;
        let removed = lumps(&pieces).enumerate().filter(|&(at, _)| !stays(at)).map(|(_, lump)| lump).collect();
        Sorted { cells: pieces.cells_where(stays), removed, bridges: vec![] }
    };
    match islands {
        Islands::Largest => keep(usize::MAX),
        Islands::AtLeast(least) => keep(least as usize),
        Islands::All => Sorted { cells: cells.clone(), removed: vec![], bridges: vec![] },
        Islands::Bridge => bridged(cells.clone()),
    }
}

fn bridged(mut cells: Cells) -> Sorted {
    let mut bridges = Vec::new();
    loop {
        let pieces = Components::of(&cells, Neighbours::Corners);
        // A bridge may itself be reached by pieces that reached nothing before.
        let chosen = spanning(&pieces, shortest(&cells, &pieces));
        if chosen.is_empty() {
            return Sorted { cells, removed: vec![], bridges };
        }
        for cell in chosen.iter().flat_map(|bridge| bridge.cells()) {
            cells.set(cell, true);
        }
        bridges.extend(chosen);
    }
}

/// The shortest bridge of each pair of pieces that has one.
fn shortest(cells: &Cells, pieces: &Components) -> BTreeMap<[usize; 2], Bridge> {
    let mut found: BTreeMap<[usize; 2], Bridge> = BTreeMap::new();
    let Some(largest) = pieces.largest() else { return found };
    // Of every pair one piece at least is not the largest, so looking out from those sees all bridges.
    for from in pieces.cells_where(|at| at != largest).iter() {
        for side in Side::ALL {
            let Some((bridge, to)) = look_out(cells, from, side) else { continue };
            let (Some(a), Some(b)) = (pieces.at(from), pieces.at(to)) else { continue };
            if a != b {
                let held = found.entry([a.min(b), a.max(b)]).or_insert(bridge);
                *held = bridge.min(*held);
            }
        }
    }
    found
}

/// The air between a cell and the first solid one that is seen from it, and that one; `None` if there is no air, or
/// nothing else to see.
fn look_out(cells: &Cells, from: IVec3, side: Side) -> Option<(Bridge, IVec3)> {
    let mut to = from + side.step();
    let mut length = 0;
    while !cells.solid(to) {
        if !cells.grid().holds(to) {
            return None;
        }
        to += side.step();
        length += 1;
    }
    let low = if side.positive() { from } else { to } + IVec3::AXES[side.axis()];
    (length > 0).then_some((Bridge { length, first: [low.z, low.y, low.x], axis: side.axis() }, to))
}

/// The bridges that join as many pieces as can be, shortest first.
fn spanning(pieces: &Components, bridges: BTreeMap<[usize; 2], Bridge>) -> Vec<Bridge> {
    let mut bridges: Vec<(Bridge, [usize; 2])> = bridges.into_iter().map(|(pair, bridge)| (bridge, pair)).collect();
    bridges.sort_unstable();
    let mut joined = Forest::of(pieces.len());
    let mut chosen = Vec::new();
    for (bridge, [a, b]) in bridges {
        if joined.root(a) != joined.root(b) {
            joined.join(a, b);
            chosen.push(bridge);
        }
    }
    chosen
}
