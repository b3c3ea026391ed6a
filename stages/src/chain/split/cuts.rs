//! Where a piece is cut: planes between cells, as few as make every part fit, where the cuts show least.
//!
//! Along each axis the planes are chosen by dynamic programming over all places between the first layer and the last: the
//! least sum of what the planes cost and of what the stretches between them cost, with the fewest stretches none of which is
//! longer than the room. A plane costs what it shows: the unit edges along which it crosses a flat outside face, faces that
//! look down apart. Along an edge or an inside corner of the surface it shows nothing. To that come penalties for planes with
//! no room for two pins, and for stretches far shorter than the rest. A plane through the shaft of an opening, or through
//! the wall around it, is not taken.
//!
//! Planes of different axes do not know of each other; what a part loses by that is for `bodies` to mend. Rejected: cutting
//! along stepped surfaces of least show (a minimum cut in a graph of cells): the seam would hide better, but parts would
//! lock each other in.

use glam::{DVec3, IVec3};
use rayon::prelude::*;

use crate::Side;
use crate::solid::Cells;
use crate::stage::Misfit;
use crate::void::Void;

/// The cuts through a piece.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Cuts {
    /// For each axis the first layers behind its planes, rising.
    pub(super) planes: [Vec<i32>; 3],
    /// The most layers of a part along each axis.
    pub(super) most: IVec3,
    /// Unit edges of the cells along which the planes show.
    pub(super) shows: usize,
}

/// What is asked of the parts.
#[derive(Clone, Copy, Debug)]
pub(super) struct Demand {
    /// The room of the machine along its axes, in mm.
    pub(super) room: DVec3,
    /// How far pins stand out, in mm.
    pub(super) pin: f64,
    /// Cells along each edge of the square that a pin needs.
    pub(super) block: i32,
    /// How many cells the squares of two pins lie apart.
    pub(super) apart: i32,
    /// The wall around openings, in mm.
    pub(super) wall: f64,
}

/// The ways to lay a part into the machine: which of the machine's axes each of its own lies along.
const TURNS: [([usize; 3], &str); 6] = [
    ([0, 1, 2], "as it stands"),
    ([1, 0, 2], "turned a quarter about z"),
    ([0, 2, 1], "laid on its back"),
    ([2, 1, 0], "laid on its side"),
    ([2, 0, 1], "laid on its back and turned a quarter about z"),
    ([1, 2, 0], "laid on its side and turned a quarter about z"),
];

/// Sums of binary fractions of a millimetre leave 1e-12; no machine tells 1e-3.
const EXACT: f64 = 1e-6;

/// What a unit edge on show costs, by the side of a layer more or less than the mean stretch, squared.
const EDGE: i64 = 1000;
/// A plane on which two pins find no room: as much as so many edges on show.
const NO_PINS: i64 = 500 * EDGE;
/// A stretch shorter than this share of the longest: as much as so many edges.
const SHORT_SHARE: i32 = 4;
const SHORT: i64 = 200 * EDGE;
/// A plane just behind the inner end of an opening's shaft, where no cavity would be left behind it.
const SHALLOW: i64 = 1000 * EDGE;

/// How a piece of that size fits the room in one, if it does.
pub(super) fn turn_that_fits(size: DVec3, room: DVec3) -> Option<&'static str> {
    let fits = |turn: &[usize; 3]| (0..3).all(|axis| size[axis] <= room[turn[axis]] + EXACT);
    TURNS.iter().find(|(turn, _)| fits(turn)).map(|(_, words)| *words)
}

/// Finds the cuts.
pub(super) fn find(cells: &Cells, void: Option<&Void>, demand: &Demand) -> Result<Cuts, Misfit> {
    let [low, high] = cells.extent().unwrap_or_default();
    let counts = high - low + 1;
    let cell = cells.grid().cell;
    let mut planes: [Option<Vec<Plane>>; 3] = [None, None, None];
    let mut best: Option<((i64, i64), Cuts)> = None;
    let mut blocked = false;
    for (turn, _) in TURNS {
        let Some(most) = most_layers(counts, cell, demand, turn) else { continue };
        let mut found: [Stretches; 3] = Default::default();
        let mut whole = true;
        for axis in 0..3 {
            let (n, most) = (counts[axis], most[axis]);
            let planes = planes[axis].get_or_insert_with(|| planes_along(cells, void, axis, [low, high], demand));
            match cheapest(planes, n, most) {
                Some(stretches) => found[axis] = stretches,
                None => whole = false,
            }
        }
        if !whole {
            blocked = true;
            continue;
        }
        let boxes = found.iter().map(|stretches| stretches.ends.len() as i64 + 1).product();
        let merit = (boxes, found.iter().map(|stretches| stretches.cost).sum());
        if best.as_ref().is_none_or(|(least, _)| merit < *least) {
            let planes = std::array::from_fn(|axis| found[axis].ends.iter().map(|end| low[axis] + end).collect());
            best = Some((merit, Cuts { planes, most, shows: found.iter().map(|stretches| stretches.shows).sum() }));
        }
    }
    best.map(|(_, cuts)| cuts).ok_or_else(|| if blocked { through_openings() } else { too_small(cell, demand) })
}

fn too_small(cell: f64, demand: &Demand) -> Misfit {
    let room = demand.room;
    Misfit::new(
        "build",
        format!(
            "not even a single cube of {cell} mm with a pin of {} mm on it fits the room of {} × {} × {} mm for a part",
            demand.pin, room.x, room.y, room.z
        ),
        "make `voxelise.cell` or `split.pins.height` smaller, or choose a process with a larger `build_volume`",
    )
}

fn through_openings() -> Misfit {
    Misfit::new(
        "build",
        "every way to divide the piece cuts through an opening or the wall around it",
        "move the opening with `hollow.openings[].at`, make it smaller, or scale the piece down",
    )
}

/// The most layers of a part along each axis, laid into the machine so: all where they fit at once. Where a part is cut, a pin
/// may stand out of it.
fn most_layers(counts: IVec3, cell: f64, demand: &Demand, turn: [usize; 3]) -> Option<IVec3> {
    let mut most = IVec3::ZERO;
    for axis in 0..3 {
        let room = demand.room[turn[axis]] + EXACT;
        let whole = f64::from(counts[axis]) * cell <= room;
        most[axis] = if whole { counts[axis] } else { ((room - demand.pin) / cell).floor() as i32 };
    }
    most.cmpge(IVec3::ONE).all().then_some(most)
}

/// A place for a cut: before a layer.
#[derive(Clone, Copy, Debug)]
struct Plane {
    shows: usize,
    /// Nothing where it must not be cut.
    cost: Option<i64>,
}

/// The planes along an axis, from the one before the second layer on.
fn planes_along(
    cells: &Cells,
    void: Option<&Void>,
    axis: usize,
    [low, high]: [IVec3; 2],
    demand: &Demand,
) -> Vec<Plane> {
    let plane = |layer: i32| {
        let crossing = Crossing::of(cells, axis, layer, [low, high]);
        let mut cost = crossing.shows as i64 * EDGE;
        if !crossing.has_room_for_pins(demand) {
            cost += NO_PINS;
        }
        let near = void.map_or(Near::Clear, |void| near_shafts(void, axis, layer, demand.wall, cells.grid().cell));
        let cost = match near {
            Near::Clear => Some(cost),
            Near::Behind => Some(cost + SHALLOW),
            Near::Through => None,
        };
        Plane { shows: crossing.shows, cost }
    };
    (low[axis] + 1..=high[axis]).into_par_iter().map(plane).collect()
}

/// How near a plane comes to an opening's shaft.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Near {
    Clear,
    /// So close behind its inner end that no cavity has room there.
    Behind,
    /// Through the shaft, or through the wall around it.
    Through,
}

fn near_shafts(void: &Void, axis: usize, layer: i32, wall: f64, cell: f64) -> Near {
    let ring = (wall / cell - 1e-9).ceil() as i32;
    let grid = void.shafts.grid();
    let near = |opening: &crate::void::Opening| {
        let at = |place: f64| ((place - grid.origin[axis]) / cell).round() as i32;
        // The first layer of the shaft, and the first behind it.
        let (first, past) = (at(opening.low[axis]), at(opening.high[axis]));
        if opening.side.axis() != axis {
            let through = layer > first - ring && layer < past + ring;
            return if through { Near::Through } else { Near::Clear };
        }
        let behind = 2 * ring + 2;
        let (inner, way) = if opening.side.positive() { (first, -1) } else { (past, 1) };
        if layer > first && layer < past {
            Near::Through
        } else if (0..=behind).contains(&((layer - inner) * way)) {
            Near::Behind
        } else {
            Near::Clear
        }
    };
    void.openings.iter().map(near).max().unwrap_or(Near::Clear)
}

/// What a plane crosses.
struct Crossing {
    /// Cells across.
    size: [i32; 2],
    /// Where there are cells on both sides of it.
    joined: Vec<bool>,
    /// Unit edges along which it crosses a flat outside face.
    shows: usize,
}

impl Crossing {
    fn of(cells: &Cells, axis: usize, layer: i32, [low, high]: [IVec3; 2]) -> Self {
        let [u, v] = [(axis + 1) % 3, (axis + 2) % 3];
        let size = [high[u] - low[u] + 1, high[v] - low[v] + 1];
        let step = Side::along(axis, true).step();
        // A face that looks down is not seen.
        let around = Side::ALL.into_iter().filter(|side| side.axis() != axis && *side != Side::Bottom);
        let around: Vec<IVec3> = around.map(Side::step).collect();
        let mut crossing = Self { size, joined: vec![false; (size[0] * size[1]) as usize], shows: 0 };
        for b in 0..size[1] {
            for a in 0..size[0] {
                let mut cell = IVec3::ZERO;
                (cell[axis], cell[u], cell[v]) = (layer - 1, low[u] + a, low[v] + b);
                if cells.solid(cell) && cells.solid(cell + step) {
                    crossing.joined[(b * size[0] + a) as usize] = true;
                    let flat = |way: &&IVec3| !cells.solid(cell + **way) && !cells.solid(cell + step + **way);
                    crossing.shows += around.iter().filter(flat).count();
                }
            }
        }
        crossing
    }

    /// Whether two pins find room where the cells are joined.
    fn has_room_for_pins(&self, demand: &Demand) -> bool {
        let [nu, nv] = self.size;
        // How large a square of joined cells ends here (the dynamic programme over rows).
        let mut largest = vec![0; nu as usize];
        let (mut low, mut high) = (IVec3::splat(i32::MAX), IVec3::splat(i32::MIN));
        for b in 0..nv {
            let mut diagonal = 0;
            for a in 0..nu {
                let above = largest[a as usize];
                let left = if a > 0 { largest[a as usize - 1] } else { 0 };
                let joined = self.joined[(b * nu + a) as usize];
                largest[a as usize] = if joined { 1 + above.min(left).min(diagonal) } else { 0 };
                diagonal = above;
                if largest[a as usize] >= demand.block {
                    (low, high) = (low.min(IVec3::new(a, b, 0)), high.max(IVec3::new(a, b, 0)));
                }
            }
        }
        low.x <= high.x && (high - low).max_element() >= demand.apart
    }
}

/// Where an axis is cut, in layers from the first; what that costs, and shows.
#[derive(Clone, Debug, Default)]
struct Stretches {
    ends: Vec<i32>,
    cost: i64,
    shows: usize,
}

/// The cheapest of the ways to cut `n` layers into the fewest stretches of at most `most` each; `planes` lie before the second
/// layer and on. Nothing if none avoids the planes that must not be cut.
fn cheapest(planes: &[Plane], n: i32, most: i32) -> Option<Stretches> {
    let fewest = (n + most - 1) / most;
    (fewest..=n).find_map(|stretches| cheapest_with(planes, n, most, stretches))
}

fn cheapest_with(planes: &[Plane], n: i32, most: i32, stretches: i32) -> Option<Stretches> {
    let length = |layers: i32| {
        let off = i64::from(layers * stretches - n);
        let short = if layers * SHORT_SHARE < most.min(n) { SHORT } else { 0 };
        off * off / i64::from(stretches * stretches) + short
    };
    // For each number of stretches and each end of the last: the least cost, and where the last begins.
    let mut rows: Vec<Vec<Option<(i64, i32)>>> = vec![vec![None; n as usize + 1]];
    rows[0][0] = Some((0, 0));
    for number in 1..=stretches {
        let before = &rows[number as usize - 1];
        let reach = |end: i32| {
            if end == 0 || (end == n) != (number == stretches) {
                return None;
            }
            let cost = if end == n { 0 } else { planes[end as usize - 1].cost? };
            let from = (end - most).max(0)..end;
            from.filter_map(|start| Some((before[start as usize]?.0 + length(end - start) + cost, start))).min()
        };
        rows.push((0..=n).map(reach).collect());
    }
    let cost = rows[stretches as usize][n as usize]?.0;
    let mut ends = Vec::new();
    let mut end = n;
    for number in (1..=stretches).rev() {
        end = rows[number as usize][end as usize]?.1;
        ends.push(end);
    }
    ends.pop();
    ends.reverse();
    let shows = ends.iter().map(|&end| planes[end as usize - 1].shows).sum();
    Some(Stretches { ends, cost, shows })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::solid::samples::{grid, random_solid};

    fn plane(cost: Option<i64>) -> Plane {
        Plane { shows: 0, cost }
    }

    /// Every way to cut, one after the other.
    fn brute(planes: &[Plane], n: i32, most: i32) -> Option<(usize, i64)> {
        let ways = 1_u32 << (n - 1);
        let way = |cut: u32| {
            let ends: Vec<i32> = (1..n).filter(|end| cut >> (end - 1) & 1 == 1).chain([n]).collect();
            let (count, mut start, mut cost) = (ends.len() as i32, 0, 0);
            for &end in &ends {
                let layers = end - start;
                if layers > most {
                    return None;
                }
                let off = i64::from(layers * count - n);
                cost += off * off / i64::from(count * count);
                cost += if layers * SHORT_SHARE < most.min(n) { SHORT } else { 0 };
                cost += if end == n { 0 } else { planes[end as usize - 1].cost? };
                start = end;
            }
            Some((ends.len(), cost))
        };
        (0..ways).filter_map(way).min()
    }

    proptest! {
        #[test]
        fn the_cheapest_of_the_fewest_stretches(
            costs in prop::collection::vec(prop::option::weighted(0.8, 0..900_000_i64), 1..9), most in 1..9,
        ) {
            let planes: Vec<Plane> = costs.into_iter().map(plane).collect();
            let n = planes.len() as i32 + 1;
            let found = cheapest(&planes, n, most);
            prop_assert_eq!(found.as_ref().map(|s| (s.ends.len() + 1, s.cost)), brute(&planes, n, most));
            if let Some(found) = found {
                let bounds: Vec<i32> = [0].into_iter().chain(found.ends).chain([n]).collect();
                prop_assert!(bounds.windows(2).all(|pair| pair[0] < pair[1] && pair[1] - pair[0] <= most));
            }
        }

        /// By the definition: pairs of coplanar outside faces on either side of the plane.
        #[test]
        fn a_plane_shows_where_it_crosses_flat_faces(solid in random_solid(), axis in 0..3_usize) {
            let Some([low, high]) = solid.extent() else { return Ok(()) };
            let open = |cell: IVec3, side: Side| solid.solid(cell) && !solid.solid(cell + side.step());
            for layer in low[axis] + 1..=high[axis] {
                let mut shows = 0;
                for cell in solid.iter().filter(|cell| cell[axis] == layer - 1) {
                    let next = cell + Side::along(axis, true).step();
                    let flat = |side: &Side| open(cell, *side) && open(next, *side);
                    let seen = Side::ALL.into_iter().filter(|s| s.axis() != axis && *s != Side::Bottom);
                    shows += seen.filter(flat).count();
                }
                prop_assert_eq!(Crossing::of(&solid, axis, layer, [low, high]).shows, shows);
            }
        }
    }

    /// A tower on a broad base: the cut runs around the foot of the tower, where it shows nothing, and not half way up.
    #[test]
    fn the_inside_corner_hides_the_seam() {
        let solid = Cells::from_fn(grid([12, 12, 20]), |c| c.z < 9 || (c.x >= 3 && c.x < 9 && c.y >= 3 && c.y < 9));
        let demand = Demand { room: DVec3::new(12.0, 12.0, 15.0), pin: 1.0, block: 2, apart: 3, wall: 0.0 };
        let cuts = find(&solid, None, &demand).unwrap();
        assert_eq!(cuts.planes, [vec![], vec![], vec![9]]);
        assert_eq!(cuts.shows, 0);
    }
}
