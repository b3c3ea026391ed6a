//! Where cubes meet in an edge or a corner alone, and how to mend it.
//!
//! A solid of cubes is *well-composed* when its boundary is a 2-manifold (Latecki 1997, "3D well-composed pictures",
//! CVIU; Siqueira, Latecki, Tustison, Gallier & Gee 2008, "Topological repairing of 3D digital images", JMIV). That is
//! so exactly when none of three configurations occurs, here called contacts:
//!
//! - four cells round an edge of which exactly a diagonal pair is solid ([`ContactKind::Edge`]);
//! - eight cells round a corner of which exactly a body-diagonal pair is solid ([`ContactKind::Corner`]);
//! - eight cells round a corner of which exactly a body-diagonal pair is air ([`ContactKind::AirCorner`]).
//!
//! # How contacts are mended
//! [`mend`] looks for the fewest cells to change (see its module `fewest`). Where only some cells may change, as in the
//! cavity, and where the search is too long, [`make_well_composed`] mends in rounds. Each round looks at every cell of every contact that may change, and works out what changing it would do
//! ([`Merit`]). A cell changes if no cell that shares a contact's block with it has a better merit, so all cells decide
//! at once and in whatever order they are asked.
//!
//! 1. *Descent.* Only cells whose change lessens the contacts (corners count twice) take part.
//! 2. *Force.* Where descent is stuck, the best air cells of the contacts that are left become solid whatever it costs,
//!    and stay so for good. Only if no air cell may be added, the best solid cells are removed, and stay so for good.
//!
//! It ends: descent lowers a number that is never negative, and each forced change takes a cell out of play for ever. It
//! ends without contacts if every cell may be added: a contact always has an air cell on the grid, so none is ever
//! removed for good, and force always finds a cell until no contact is left. The same holds if every solid cell may be
//! removed and none may be added.
//!
//! Merits look alike from both sides of a mirror across x, y or z, so a mirrored solid is mended to the mirror image.
//!
//! Rejected: the randomised repair of Siqueira et al., because chance spoils symmetry; and taking the change that lessens
//! the contacts most, added or removed, because it tears thin sheets apart (a gyroid sheet thinner than a cell, 4796 cells
//! in 2 pieces, came out in 78 pieces with 2310 cells changed; adding first leaves it in 2, with 3663 changed).

mod fewest;
mod symmetry;

use glam::{DVec3, IVec3};
use rayon::prelude::*;

pub use fewest::mend;

use super::{Cells, Grid, air, bits};

/// How cells meet where the boundary of a solid is not a 2-manifold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ContactKind {
    /// Two solid cells meet in an edge along this axis (0 for x, 1 for y, 2 for z), with air on both sides of it.
    Edge {
        /// The axis along which the edge runs.
        axis: usize,
    },
    /// Two solid cells meet in a corner, with nothing but air round it.
    Corner,
    /// Two cells of air meet in a corner, with nothing but solid round it.
    AirCorner,
}

/// A place where cells meet in an edge or a corner alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Contact {
    /// How they meet.
    pub kind: ContactKind,
    /// The lowest cell of the 2×2 cells round the edge, or of the 2×2×2 round the corner.
    pub low: IVec3,
}

impl Contact {
    /// Size in cells of the block round the edge or corner.
    fn size(self) -> IVec3 {
        let mut size = IVec3::splat(2);
        if let ContactKind::Edge { axis } = self.kind {
            size[axis] = 1;
        }
        size
    }

    /// The four cells round the edge, or the eight round the corner.
    pub fn cells(self) -> impl Iterator<Item = IVec3> {
        let IVec3 { x, y, z } = self.size();
        let steps = (0..z).flat_map(move |k| (0..y).flat_map(move |j| (0..x).map(move |i| IVec3::new(i, j, k))));
        steps.map(move |step| self.low + step)
    }

    /// Sorts by lowest cell, z slowest.
    fn sorted(&self) -> ([i32; 3], ContactKind) {
        (grid_order(self.low), self.kind)
    }

    /// The middle of the block, in half cells from the middle of cell 0.
    fn twice_middle(self) -> IVec3 {
        2 * self.low + self.size() - 1
    }

    /// Whether the blocks of two contacts have a cell in common.
    fn shares_a_cell(self, other: Self) -> bool {
        self.low.cmplt(other.low + other.size()).all() && other.low.cmplt(self.low + self.size()).all()
    }

    /// The middle of the edge, or the corner, in mm.
    #[must_use]
    pub fn place(self, grid: &Grid) -> DVec3 {
        grid.origin + grid.cell * (self.low.as_dvec3() + self.size().as_dvec3() / 2.0)
    }
}

/// How many contacts of each kind there are.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ContactCounts {
    /// Edges at which exactly a diagonal pair of cells is solid.
    pub edges: usize,
    /// Corners at which exactly a body-diagonal pair of cells is solid.
    pub corners: usize,
    /// Corners at which exactly a body-diagonal pair of cells is air.
    pub air_corners: usize,
}

impl ContactCounts {
    /// All of them.
    #[must_use]
    pub fn total(self) -> usize {
        self.edges + self.corners + self.air_corners
    }
}

/// Every contact of a solid, by lowest cell's line, z slowest.
#[must_use]
pub fn contacts(cells: &Cells) -> Vec<Contact> {
    let layers: Vec<Vec<Contact>> = (0..cells.grid().counts.z)
        .into_par_iter()
        .map(|k| {
            let mut found = Vec::new();
            scan_layer(cells, k, |kind, [w, j], mask| {
                found.extend(bits(mask).map(|bit| Contact { kind, low: IVec3::new(w * 64 + bit, j, k) }));
            });
            found
        })
        .collect();
    layers.concat()
}

/// How many contacts a solid has.
#[must_use]
pub fn contact_counts(cells: &Cells) -> ContactCounts {
    let add = |a: ContactCounts, b: ContactCounts| ContactCounts {
        edges: a.edges + b.edges,
        corners: a.corners + b.corners,
        air_corners: a.air_corners + b.air_corners,
    };
    (0..cells.grid().counts.z)
        .into_par_iter()
        .map(|k| {
            let mut counts = ContactCounts::default();
            scan_layer(cells, k, |kind, _, mask| {
                let count = match kind {
                    ContactKind::Edge { .. } => &mut counts.edges,
                    ContactKind::Corner => &mut counts.corners,
                    ContactKind::AirCorner => &mut counts.air_corners,
                };
                *count += mask.count_ones() as usize;
            });
            counts
        })
        .reduce(ContactCounts::default, add)
}

/// Finds the contacts whose lowest cell lies in layer `k`, 64 at a time: tells `found` their kind, the word and line of
/// their lowest cells, and a bit for each.
///
/// Off the grid is air. No contact reaches there: the solid cells of a contact span its whole block.
fn scan_layer(cells: &Cells, k: i32, mut found: impl FnMut(ContactKind, [i32; 2], u64)) {
    let IVec3 { y: ny, z: nz, .. } = cells.grid().counts;
    let line = |j: i32, k: i32| if j < ny && k < nz { cells.line(j, k) } else { &[] };
    for j in 0..ny {
        let lines = [line(j, k), line(j + 1, k), line(j, k + 1), line(j + 1, k + 1)];
        for w in 0..lines[0].len() {
            let word = |line: &[u64], w: usize| line.get(w).copied().unwrap_or(0);
            // The cells at each place of the line, for the four lines (y, z), (y+1, z), (y, z+1), (y+1, z+1) ...
            let [a, b, c, d] = lines.map(|line| word(line, w));
            if a | b | c | d == 0 {
                continue;
            }
            // ... and their neighbours at x+1.
            let [e, f, g, h] = lines.map(|line| word(line, w) >> 1 | word(line, w + 1) << 63);
            let masks = [
                (ContactKind::Edge { axis: 0 }, diagonal([a, b, c, d])),
                (ContactKind::Edge { axis: 1 }, diagonal([a, e, c, g])),
                (ContactKind::Edge { axis: 2 }, diagonal([a, e, b, f])),
                (ContactKind::Corner, body_diagonal([a, b, c, d, e, f, g, h])),
                (ContactKind::AirCorner, body_diagonal([a, b, c, d, e, f, g, h].map(|cells| !cells))),
            ];
            for (kind, mask) in masks.into_iter().filter(|&(_, mask)| mask != 0) {
                found(kind, [w as i32, j], mask);
            }
        }
    }
}

/// Where exactly a diagonal pair of four cells is set, `p` opposite `s` and `q` opposite `r`.
fn diagonal([p, q, r, s]: [u64; 4]) -> u64 {
    (p & s & !q & !r) | (q & r & !p & !s)
}

/// Where exactly a body-diagonal pair of eight cells is set, the first opposite the last and so on inwards.
fn body_diagonal(cells: [u64; 8]) -> u64 {
    let any = |skip: usize| (0..4).filter(|&i| i != skip).fold(0, |any, i| any | cells[i] | cells[7 - i]);
    (0..4).fold(0, |found, i| found | (cells[i] & cells[7 - i] & !any(i)))
}

/// Which cells may change when contacts are mended.
#[derive(Clone, Debug)]
pub struct Leave {
    /// Cells that may become solid.
    pub add: Cells,
    /// Cells that may become air.
    pub remove: Cells,
}

impl Leave {
    /// Every cell of the grid may change.
    #[must_use]
    pub fn any(grid: Grid) -> Self {
        let all = air(&Cells::empty(grid));
        Self { add: all.clone(), remove: all }
    }

    /// Only these cells may change, and only from solid to air.
    #[must_use]
    pub fn to_remove(cells: Cells) -> Self {
        Self { add: Cells::empty(*cells.grid()), remove: cells }
    }

    /// Only these cells may change, and only from air to solid.
    #[must_use]
    pub fn to_add(cells: Cells) -> Self {
        Self { remove: Cells::empty(*cells.grid()), add: cells }
    }
}

/// Changes few cells so that no contact is left, as far as the leave goes; gives the number of contacts that are left.
///
/// None is left if every cell may be added, or if every solid cell may be removed and none may be added; then the
/// boundary of the solid is a 2-manifold. A solid without contacts stays as it is. See the notes of this module.
///
/// # Panics
/// If the leave is for another grid.
pub fn make_well_composed(cells: &mut Cells, leave: Leave) -> usize {
    for set in [&leave.add, &leave.remove] {
        assert_eq!(set.grid(), cells.grid(), "the leave must lie on the solid's grid");
    }
    let middle = cells.extent().map_or(IVec3::ZERO, |[low, high]| low + high);
    let mut mender = Mender { cells, leave, middle, patterns: patterns() };
    loop {
        let contacts = contacts(mender.cells);
        let candidates = mender.candidates(&contacts);
        let goes_on =
            mender.descend(&candidates) || mender.force(&candidates, false) || mender.force(&candidates, true);
        if !goes_on {
            return contacts.len();
        }
    }
}

/// What changing a cell would do. The lesser is the better.
///
/// No two cells near each other have the same merit unless they are mirror images in the middle of the solid.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Merit {
    /// Whether it takes material away. Adding comes first, so that nothing that converted is lost while mending.
    removes: bool,
    /// Contacts after less contacts before.
    change: i32,
    /// Face neighbours that are unlike the cell after the change: the fewer, the smoother.
    unlike: usize,
    /// Twice the distance from the middle of the solid along z, y and x.
    off_middle: [i32; 3],
}

/// A cell that may change, with its merit.
type Candidate = (IVec3, Merit);

/// The order of cells in a grid: z slowest, x fastest.
fn grid_order(cell: IVec3) -> [i32; 3] {
    [cell.z, cell.y, cell.x]
}

/// The steps from a cell to itself and its 26 neighbours.
fn block_steps() -> impl Iterator<Item = IVec3> {
    (0..27).map(|n| IVec3::new(n % 3, n / 3 % 3, n / 9) - 1)
}

/// A contact as seen from a cell that takes part in it: the contact is there if, of the cells in `block`, exactly those
/// in `pair` are solid, or exactly the others. Bits are in the order of [`block_steps`].
struct Pattern {
    block: u32,
    pair: u32,
    weight: i32,
    /// From the cell to the far end of the block.
    across: IVec3,
}

impl Pattern {
    /// Whether the contact is there, given the solid ones of 27 cells.
    fn is_there(&self, near: u32) -> bool {
        near & self.block == self.pair || near & self.block == self.block & !self.pair
    }

    /// The contact, which must be there.
    fn contact(&self, cell: IVec3, near: u32) -> Contact {
        let kind = match (0..3).find(|&axis| self.across[axis] == 0) {
            Some(axis) => ContactKind::Edge { axis },
            None if near & self.block == self.pair => ContactKind::Corner,
            None => ContactKind::AirCorner,
        };
        Contact { kind, low: cell + self.across.min(IVec3::ZERO) }
    }
}

/// Every contact in which the middle one of 3×3×3 cells can take part: 12 edges, and 4 body diagonals at 8 corners.
fn patterns() -> Vec<Pattern> {
    let bit = |step: IVec3| 1u32 << (step.x + 1 + 3 * (step.y + 1) + 9 * (step.z + 1));
    let mut patterns = Vec::new();
    for across in block_steps() {
        let block: Vec<IVec3> = block_steps().filter(|&s| s * s == s * across).collect();
        let mask = block.iter().fold(0, |mask, &step| mask | bit(step));
        // Weight 2 lets a corner be mended by adding one cell, which leaves an edge, and then another.
        let (pairs, weight) = match block.len() {
            4 => (1, 1),
            8 => (4, 2),
            _ => continue,
        };
        let pair = |&step: &IVec3| Pattern { block: mask, pair: bit(step) | bit(across - step), weight, across };
        patterns
            .extend(block.iter().filter(|&&step| grid_order(step) < grid_order(across - step)).take(pairs).map(pair));
    }
    patterns
}

struct Mender<'a> {
    cells: &'a mut Cells,
    leave: Leave,
    /// Sum of the lowest and highest solid cell.
    middle: IVec3,
    patterns: Vec<Pattern>,
}

impl Mender<'_> {
    /// The cells of contacts that may change, in grid order.
    fn candidates(&self, contacts: &[Contact]) -> Vec<Candidate> {
        let mut cells: Vec<IVec3> =
            contacts.iter().flat_map(|contact| contact.cells()).filter(|&c| self.may_change(c)).collect();
        cells.sort_unstable_by_key(|&c| grid_order(c));
        cells.dedup();
        cells.into_par_iter().map(|cell| (cell, self.merit(cell))).collect()
    }

    fn may_change(&self, cell: IVec3) -> bool {
        if self.cells.solid(cell) { self.leave.remove.solid(cell) } else { self.leave.add.solid(cell) }
    }

    fn merit(&self, cell: IVec3) -> Merit {
        let removes = self.cells.solid(cell);
        let unlike = crate::Side::ALL.iter().filter(|side| self.cells.solid(cell + side.step()) == removes).count();
        let off = (2 * cell - self.middle).abs();
        Merit { removes, change: self.change(cell), unlike, off_middle: grid_order(off) }
    }

    /// By how much the contacts would grow if the cell changed.
    fn change(&self, cell: IVec3) -> i32 {
        const MIDDLE: u32 = 1 << 13;
        let near = block_steps().enumerate().fold(0, |near, (n, s)| near | u32::from(self.cells.solid(cell + s)) << n);
        let contacts = |near: u32| -> i32 { self.patterns.iter().filter(|p| p.is_there(near)).map(|p| p.weight).sum() };
        contacts(near ^ MIDDLE) - contacts(near)
    }

    fn flip(&mut self, cell: IVec3) {
        self.cells.set(cell, !self.cells.solid(cell));
    }

    /// Changes the cells that lessen the contacts most; says whether there were any.
    fn descend(&mut self, candidates: &[Candidate]) -> bool {
        let improving: Vec<Candidate> = candidates.iter().filter(|(_, merit)| merit.change < 0).copied().collect();
        let unbeaten = unbeaten(&improving);
        let mut lessened = false;
        for &cell in &unbeaten {
            // Mirror images side by side change together or not at all; the first of them speaks for all.
            let images: Vec<IVec3> = near(&unbeaten, cell, |&c| c).copied().collect();
            if images[0] == cell {
                let change: i32 = images.iter().map(|&image| self.change_and_flip(image)).sum();
                if change < 0 {
                    lessened = true;
                } else {
                    images.iter().for_each(|&image| self.flip(image));
                }
            }
        }
        lessened
    }

    fn change_and_flip(&mut self, cell: IVec3) -> i32 {
        let change = self.change(cell);
        self.flip(cell);
        change
    }

    /// Removes the best cells, or adds the best ones, whatever that does to the contacts, and keeps them so for good;
    /// says whether there were any.
    fn force(&mut self, candidates: &[Candidate], removes: bool) -> bool {
        let eligible: Vec<Candidate> =
            candidates.iter().filter(|(_, merit)| merit.removes == removes).copied().collect();
        for cell in unbeaten(&eligible) {
            self.flip(cell);
            let back = if removes { &mut self.leave.add } else { &mut self.leave.remove };
            back.set(cell, false);
        }
        !eligible.is_empty()
    }
}

/// The candidates near which there is none with a better merit.
fn unbeaten(candidates: &[Candidate]) -> Vec<IVec3> {
    candidates
        .par_iter()
        .filter(|&&(cell, merit)| near(candidates, cell, |&(c, _)| c).all(|&(_, other)| merit <= other))
        .map(|&(cell, _)| cell)
        .collect()
}

/// Those of the things, which lie in grid order, whose cell shares a block of 2×2×2 with the given cell.
fn near<T>(things: &[T], cell: IVec3, cell_of: impl Fn(&T) -> IVec3 + Copy) -> impl Iterator<Item = &T> {
    (-1..=1).flat_map(move |dz| (-1..=1).map(move |dy| IVec3::new(-1, dy, dz))).flat_map(move |step| {
        let first = cell + step;
        let start = things.partition_point(|thing| grid_order(cell_of(thing)) < grid_order(first));
        let last = grid_order(first + 2 * IVec3::X);
        things[start..].iter().take_while(move |&thing| grid_order(cell_of(thing)) <= last)
    })
}

#[cfg(test)]
mod tests;
