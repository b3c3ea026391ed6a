//! Parts of the model that are thinner than the cells: cubes wherever they pass, joined to the body.
//!
//! # Steps
//! 1. *Cover.* Every cell whose closed cube meets a piece of the surface that no cube stands for becomes solid.
//! 2. *Root.* What is missed begins a tolerance away from the body. The cover grows along the surface, cell by cell,
//!    until it meets the body in a face, so that a fin stands on its whole root and not on a post.
//! 3. *Lost pieces.* Cubes that the repair would take away although missed surface lies by them stay: a second plate
//!    that only the covered web joins to the first, or a loose piece.
//! 4. *Runs.* Of these, what touches the rest in no face is joined to it by the straight run of cells between the two
//!    nearest cells.
//!
//! The solid is then repaired, without leave to remove what was added, and what is still missed goes round again. Each
//! round adds at least one cell to those that stay for good, so there is an end to it. What comes out is missed nowhere
//! and sound; repaired once more it stays as it is, because then nothing is missed to begin with.
//!
//! All cells decide at once and ties are broken by the distance from the middle, with mirror images taken together, so
//! a mirrored model gives mirrored cells. Only of loose pieces of exactly the same size, without a larger body, the
//! first is the body.

use std::collections::{BTreeMap, BTreeSet};

use glam::IVec3;
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::meets::cells_met;
use super::unconverted::{Missed, Piece, all_within, any_within, each_missed, longest_edge_first, middle, missed};
use super::{Repaired, Settings, counted, lumps, places_of};
use crate::Side;
use crate::findings::{Fact, Finding, Place, Unit};
use crate::marked::Sight;
use crate::solid::{Cells, Components, Neighbours, Surface};
use crate::stage::{Halt, Shop};

/// What becomes of parts that no cube stands for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Thin {
    /// They are reported.
    #[default]
    Leave,
    /// They become cubes wherever the surface passes, joined to the body.
    Thicken,
    /// They are a fault.
    Refuse,
}

/// Rounds of thickening and repairing before what is left is reported. One does unless the repair takes pieces away.
const MOST_ROUNDS: usize = 32;
/// Rounds of joining before all that is loose is joined at once.
const MOST_JOININGS: usize = 16;
/// Edge of the pieces, in cells, in which cells that a large triangle meets are looked for.
const STRIDE: f64 = 4.0;
/// Triangles that one task looks at.
const TASK: usize = 512;

/// The repaired solid, what of the surface it misses, and what was added for thin parts.
pub(super) fn repaired(
    settings: &Settings,
    surface: &Surface,
    cells: &Cells,
    tolerance: f64,
    shop: &Shop<'_>,
) -> Result<(Repaired, Vec<Missed>, Thickened), Halt> {
    let mut thick = Thickened::nothing_yet(cells);
    let mut round = 0;
    loop {
        let repaired = Repaired::of(&thick.solid, &thick.kept, settings, shop)?;
        let missed = missed(surface, &repaired.cells, tolerance, || shop.go_on())?;
        if settings.thin != Thin::Thicken || missed.is_empty() || round == MOST_ROUNDS {
            return Ok((repaired, missed, thick));
        }
        let lacking = Lacking { surface, repaired: &repaired.cells, tolerance };
        thick.take_in(&lacking, shop)?;
        round += 1;
    }
}

/// A solid with cubes for its thin parts, not yet repaired.
pub(super) struct Thickened {
    solid: Cells,
    /// Cells that must stay: those added, and those that surface would be missed without.
    kept: Cells,
    /// Cells added along the surface.
    covered: Vec<IVec3>,
    /// Cells added in straight runs.
    in_runs: Vec<IVec3>,
    /// Loose pieces joined by such runs.
    joined: usize,
}

/// What a repaired solid lacks of the surface.
struct Lacking<'a> {
    surface: &'a Surface,
    repaired: &'a Cells,
    tolerance: f64,
}

/// What the missed pieces of some triangles ask for: cells as `[z, y, x]`.
#[derive(Default)]
struct Asked {
    cover: BTreeSet<[i32; 3]>,
    lost: BTreeSet<[i32; 3]>,
}

impl Thickened {
    fn nothing_yet(cells: &Cells) -> Self {
        let kept = Cells::empty(*cells.grid());
        Self { solid: cells.clone(), kept, covered: vec![], in_runs: vec![], joined: 0 }
    }

    /// Adds cubes for what is lacking, and joins them.
    fn take_in(&mut self, lacking: &Lacking<'_>, shop: &Shop<'_>) -> Result<(), Halt> {
        let (cover, lost) = self.asked_for(lacking, shop)?;
        let cover = self.rooted(cover, lacking, shop)?.minus(&self.solid);
        self.covered.extend(cover.iter());
        self.solid = self.solid.or(&cover);
        self.kept = self.kept.or(&cover).or(&lost);
        shop.go_on()?;
        self.join(lacking.repaired, shop)
    }

    /// The cells that the missed surface passes through, and the cells there were that the repair took away.
    fn asked_for(&self, lacking: &Lacking<'_>, shop: &Shop<'_>) -> Result<(Cells, Cells), Halt> {
        let grid = self.solid.grid();
        let note = |asked: &mut Asked, piece: Piece| {
            let middle = middle(piece);
            if any_within(&self.solid, middle, lacking.tolerance) {
                let there = all_within(&self.solid, middle, lacking.tolerance);
                asked.lost.extend(there.filter(|&cell| !lacking.repaired.solid(cell)).map(key));
            } else {
                asked.cover.extend(cells_met(grid, piece).map(key));
            }
        };
        let (mut cover, mut lost) = (Cells::empty(*grid), Cells::empty(*grid));
        each_missed(
            lacking.surface,
            lacking.repaired,
            lacking.tolerance,
            || shop.go_on(),
            note,
            |asked: Asked| {
                set_all(&mut cover, &asked.cover);
                set_all(&mut lost, &asked.lost);
            },
        )?;
        Ok((cover, lost))
    }

    /// The cover, grown along the surface until it meets the solid in faces of cells, or for as far as the solid may be.
    fn rooted(&self, mut cover: Cells, lacking: &Lacking<'_>, shop: &Shop<'_>) -> Result<Cells, Halt> {
        let layers = (lacking.tolerance / cover.grid().cell).ceil() as i32 + 2;
        let mut near = cover.clone();
        for _ in 0..layers {
            near = widened(&near);
        }
        let sheet = met_among(lacking.surface, &near.minus(&self.solid), shop)?;
        let touches = |cell: IVec3| Side::ALL.iter().any(|side| self.solid.solid(cell + side.step()));
        let mut rim: Vec<IVec3> = cover.iter().collect();
        for _ in 0..layers {
            let mut next = Vec::new();
            for cell in rim.into_iter().filter(|&cell| !touches(cell)) {
                for beside in Side::ALL.map(|side| cell + side.step()) {
                    if sheet.solid(beside) && !cover.solid(beside) {
                        cover.set(beside, true);
                        next.push(beside);
                    }
                }
            }
            rim = next;
        }
        Ok(cover)
    }

    /// Joins what must stay and touches the rest in no face.
    fn join(&mut self, surviving: &Cells, shop: &Shop<'_>) -> Result<(), Halt> {
        for round in 0..=MOST_JOININGS {
            shop.go_on()?;
            let (body, loose) = parted(&self.solid, &self.kept, surviving);
            let gaps: Vec<(i64, &Vec<IVec3>)> =
                loose.par_iter().filter_map(|piece| Some((least_gap(&body, piece)?, piece))).collect();
            let Some(least) = gaps.iter().map(|&(gap, _)| gap).min() else { break };
            let middle = self.solid.extent().map_or(IVec3::ZERO, |[low, high]| low + high);
            // What is up to twice as far goes along: another piece may be nearer once it is joined, but not by much.
            let due = |&&(gap, _): &&(i64, &Vec<IVec3>)| round == MOST_JOININGS || gap <= 4 * least;
            for &(gap, piece) in gaps.iter().filter(due) {
                self.joined += 1;
                for [from, to] in nearest_pairs(&body, piece, gap, middle) {
                    for cell in run(from, to) {
                        if !self.solid.solid(cell) {
                            self.solid.set(cell, true);
                            self.in_runs.push(cell);
                        }
                        self.kept.set(cell, true);
                    }
                }
            }
        }
        Ok(())
    }

    /// Says what was added.
    pub(super) fn tell(&self, settings: &Settings, shop: &mut Shop<'_>) {
        if settings.thin != Thin::Thicken {
            return;
        }
        shop.fact(Fact::whole("cells added to thicken", self.covered.len(), Unit::Cells));
        shop.fact(Fact::whole("cells added to join thin parts", self.in_runs.len(), Unit::Cells));
        if !self.covered.is_empty() {
            let message = format!(
                "the model is thinner than a cell in places: {} were added where its surface passes",
                counted(self.covered.len(), "cell"),
            );
            let remedy = "look at the pictures: such parts come out a cube or two thick; set `repair.thin: leave` to go \
                          without them";
            let finding = Finding::note("thin-parts-thickened", message, remedy).at(self.places(&self.covered));
            shop.finding_seen(finding, || self.sight(&self.covered));
        }
        if self.joined > 0 {
            let message = format!(
                "{} without which part of the model would be missing: joined to the rest by straight runs, of {} in all",
                counted(self.joined, "loose piece"),
                counted(self.in_runs.len(), "cell"),
            );
            let remedy = "look at the pictures: a run is one cell wide and breaks easily; join the pieces in the model, \
                          or take those away that are not meant";
            let finding = Finding::caution("thin-parts-joined", message, remedy).at(self.places(&self.in_runs));
            shop.finding_seen(finding, || self.sight(&self.in_runs));
        }
    }

    fn sight(&self, cells: &[IVec3]) -> Sight {
        Sight::of_cells(self.solid.grid(), cells.iter().copied()).saying("the cells that were added")
    }

    /// Where the largest lumps of the cells begin.
    fn places(&self, cells: &[IVec3]) -> Vec<Place> {
        let mut added = Cells::empty(*self.solid.grid());
        cells.iter().for_each(|&cell| added.set(cell, true));
        let lumps: Vec<_> = lumps(&Components::of(&added, Neighbours::Corners)).collect();
        places_of(&lumps, added.grid())
    }
}

fn key(cell: IVec3) -> [i32; 3] {
    [cell.z, cell.y, cell.x]
}

fn set_all(cells: &mut Cells, keys: &BTreeSet<[i32; 3]>) {
    for &[z, y, x] in keys {
        cells.set(IVec3::new(x, y, z), true);
    }
}

/// The cells and their 26 neighbours.
fn widened(cells: &Cells) -> Cells {
    let grid = *cells.grid();
    let IVec3 { x: nx, y: ny, z: nz } = grid.counts;
    Cells::from_lines(grid, |j, k, line| {
        for (dj, dk) in (0..9).map(|n| (n % 3 - 1, n / 3 - 1)) {
            if (0..ny).contains(&(j + dj)) && (0..nz).contains(&(k + dk)) {
                line.iter_mut().zip(cells.line(j + dj, k + dk)).for_each(|(word, &other)| *word |= other);
            }
        }
        let mut before = 0;
        for at in 0..line.len() {
            let (word, after) = (line[at], line.get(at + 1).copied().unwrap_or(0));
            line[at] |= word << 1 | before >> 63 | word >> 1 | after << 63;
            before = word;
        }
        if let Some(last) = line.last_mut() {
            *last &= u64::MAX >> ((64 - nx % 64) % 64);
        }
    })
}

/// Those of the cells that the surface passes through.
fn met_among(surface: &Surface, among: &Cells, shop: &Shop<'_>) -> Result<Cells, Halt> {
    let grid = among.grid();
    let mut met = Cells::empty(*grid);
    let Some([low, high]) = among.extent() else { return Ok(met) };
    let [low, high] = [grid.corner(low), grid.corner(high + 1)];
    let count = surface.triangles().len();
    let look = |start: usize| {
        let mut found = BTreeSet::new();
        let mut pieces = Vec::new();
        for triangle in start..count.min(start + TASK) {
            pieces.push(surface.corners(triangle));
            while let Some(piece) = pieces.pop() {
                let [a, b, c] = longest_edge_first(piece);
                if a.max(b).max(c).cmplt(low).any() || a.min(b).min(c).cmpgt(high).any() {
                    continue;
                }
                if a.distance(b) > STRIDE * grid.cell {
                    let half = a.midpoint(b);
                    pieces.extend([[a, half, c], [half, b, c]]);
                } else {
                    found.extend(cells_met(grid, piece).filter(|&cell| among.solid(cell)).map(key));
                }
            }
        }
        found
    };
    shop.go_on()?;
    let tasks: Vec<usize> = (0..count).step_by(TASK).collect();
    let found: Vec<BTreeSet<[i32; 3]>> = tasks.into_par_iter().map(look).collect();
    found.iter().for_each(|keys| set_all(&mut met, keys));
    Ok(met)
}

/// The body that loose pieces are joined to, and those pieces: what must stay and touches the body in no face. The body
/// is what survived the repair, or, where nothing did, the largest piece. Pieces that need not stay are neither.
fn parted(solid: &Cells, kept: &Cells, surviving: &Cells) -> (Cells, Vec<Vec<IVec3>>) {
    let parts = Components::of(solid, Neighbours::Faces);
    let Some(largest) = parts.largest() else { return (solid.clone(), vec![]) };
    // Of the largest, with all its cells, it is enough to know whether anything survived.
    let largest_survives = parts.cells_where(|part| part == largest).zip(surviving, |a, b| a & b).count() > 0;
    let others = parts.cells_where(|part| part != largest);
    let holding = |cells: &Cells| {
        let mut flags = vec![false; parts.len()];
        let both = others.zip(cells, |a, b| a & b);
        both.iter().filter_map(|cell| parts.at(cell)).for_each(|part| flags[part] = true);
        flags
    };
    let (mut is_body, mut stays) = (holding(surviving), holding(kept));
    is_body[largest] = largest_survives;
    stays[largest] = true;
    if !is_body.contains(&true) {
        is_body[largest] = true;
    }
    let body = parts.cells_where(|part| is_body[part]);
    let mut loose: BTreeMap<usize, Vec<IVec3>> = BTreeMap::new();
    for cell in parts.cells_where(|part| stays[part] && !is_body[part]).iter() {
        let inner = Side::ALL.iter().all(|side| solid.solid(cell + side.step()));
        if let Some(part) = parts.at(cell).filter(|_| !inner) {
            loose.entry(part).or_default().push(cell);
        }
    }
    (body, loose.into_values().collect())
}

/// The least squared distance, in cells, between the centres of the piece's cells and of the body's; `None` without a
/// body.
fn least_gap(body: &Cells, piece: &[IVec3]) -> Option<i64> {
    let span = body.grid().counts.as_i64vec3().length_squared();
    let mut reach = 4;
    let mut least = loop {
        match gap(body, *piece.first()?, reach) {
            Some(found) => break found,
            None if reach > span => return None,
            None => reach *= 4,
        }
    };
    for &cell in piece {
        least = gap(body, cell, least).unwrap_or(least);
    }
    Some(least)
}

/// The least squared distance from a cell's centre to that of one of the body, up to `most`.
fn gap(body: &Cells, from: IVec3, most: i64) -> Option<i64> {
    let IVec3 { y: ny, z: nz, .. } = body.grid().counts;
    let mut least = None;
    for (k, dz) in around(from.z, nz) {
        if dz * dz > least.unwrap_or(most) {
            break;
        }
        for (j, dy) in around(from.y, ny) {
            let rest = least.unwrap_or(most) - dz * dz - dy * dy;
            if rest < 0 {
                break;
            }
            if let Some(dx) = nearest_set(body.line(j, k), from.x, rest.isqrt() as i32) {
                let found = dz * dz + dy * dy + dx * dx;
                least = Some(least.map_or(found, |least: i64| least.min(found)));
            }
        }
    }
    least
}

/// The places 0 to `count` − 1, those nearest to `from` first, with their distances.
fn around(from: i32, count: i32) -> impl Iterator<Item = (i32, i64)> {
    let both = (0..count)
        .flat_map(move |step| [(from + step, step), (from - step, step)].into_iter().skip(usize::from(step == 0)));
    both.filter(move |(at, _)| (0..count).contains(at)).map(|(at, step)| (at, i64::from(step)))
}

/// How far the nearest set bit is from a place, if it is within `reach`.
fn nearest_set(line: &[u64], from: i32, reach: i32) -> Option<i64> {
    let (from, last) = (i64::from(from), line.len() as i64 * 64 - 1);
    let (low, high) = ((from - i64::from(reach)).max(0), (from + i64::from(reach)).min(last));
    let masked = |w: i64| {
        let from = (low - w * 64).max(0);
        let to = (high - w * 64).min(63);
        line[w as usize] & (u64::MAX << from) & (u64::MAX >> (63 - to))
    };
    let words = low / 64..=high / 64;
    words.flat_map(|w| crate::solid::bits(masked(w)).map(move |bit| (w * 64 + i64::from(bit) - from).abs())).min()
}

/// The pairs of a cell of the piece and one of the body at the squared distance `gap`, by which the two are joined:
/// those nearest to the middle (twice its coordinates), with all their mirror images.
fn nearest_pairs(body: &Cells, piece: &[IVec3], gap_squared: i64, middle: IVec3) -> Vec<[IVec3; 2]> {
    let off = |cell: &IVec3| key((2 * cell - middle).abs());
    let ends = piece.iter().copied().filter(|&cell| gap(body, cell, gap_squared) == Some(gap_squared));
    let ends = nearest_of(ends.collect(), off);
    let beside = |from: IVec3| {
        let reach = gap_squared.isqrt() as i32;
        let steps = (-reach..=reach).flat_map(move |z| (-reach..=reach).map(move |y| (y, z)));
        let cells = steps.flat_map(move |(y, z)| {
            let rest = gap_squared - i64::from(y * y) - i64::from(z * z);
            let x = if rest < 0 { 0 } else { rest.isqrt() as i32 };
            let whole = rest >= 0 && i64::from(x * x) == rest;
            [x, -x].into_iter().filter(move |_| whole).map(move |x| from + IVec3::new(x, y, z))
        });
        nearest_of(cells.filter(|&cell| body.solid(cell)).collect(), off)
    };
    ends.into_iter().flat_map(|from| beside(from).into_iter().map(move |to| [from, to])).collect()
}

/// All of the cells that are least far off.
fn nearest_of(cells: Vec<IVec3>, off: impl Fn(&IVec3) -> [i32; 3]) -> Vec<IVec3> {
    let least = cells.iter().map(&off).min();
    cells.into_iter().filter(|cell| Some(off(cell)) == least).collect()
}

/// The cells whose closed cubes the straight line between the centres of two cells meets; they hang together by faces.
fn run(from: IVec3, to: IVec3) -> Vec<IVec3> {
    let way = (to - from).as_i64vec3();
    // The line is in a cube for those t in [0, 1] with |2 (cube − from) − 2 t · way| ≤ 1 along each axis, from `enter` to
    // `leave`, as fractions of whole numbers.
    let on_line = |cell: IVec3| {
        let off = 2 * (cell - from).as_i64vec3();
        let (mut enter, mut leave) = ((0, 1), (1, 1));
        for axis in (0..3).filter(|&axis| way[axis] != 0) {
            let (off, way) = (off[axis] * way[axis].signum(), 2 * way[axis].abs());
            if (off - 1) * enter.1 > enter.0 * way {
                enter = (off - 1, way);
            }
            if (off + 1) * leave.1 < leave.0 * way {
                leave = (off + 1, way);
            }
        }
        (0..3).all(|axis| way[axis] != 0 || off[axis] == 0) && enter.0 * leave.1 <= leave.0 * enter.1
    };
    let mut cells = vec![from];
    let mut next = 0;
    while next < cells.len() {
        for beside in Side::ALL.map(|side| cells[next] + side.step()) {
            if on_line(beside) && !cells.contains(&beside) {
                cells.push(beside);
            }
        }
        next += 1;
    }
    cells
}

#[cfg(test)]
mod tests;
