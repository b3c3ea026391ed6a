//! What the piece rests on: the collar under the level ring around the opening.

use glam::{DVec2, DVec3, IVec3};

use super::settings::Settings;
use super::way::Mouth;
use crate::Length;
use crate::solid::{Cells, Grid, Skin};
use crate::stage::Misfit;
use crate::void::Void;

/// The collar is set back by this from where the piece is no longer level, in mm, or by the clearance where that is more: it
/// neither shows nor touches what reaches lower.
const BACK: f64 = 0.5;
/// The widest rest that is taken where nobody asks for more, in mm: it carries any piece that a palm holds.
const WIDEST: f64 = 10.0;

/// The plate on which the piece rests, seen from above.
#[derive(Clone, Debug)]
pub(super) struct Collar {
    /// Its half widths around the axis.
    pub(super) half: DVec2,
    /// Width of the rest around the opening.
    pub(super) ledge: f64,
    /// Area on which the piece rests, in mm².
    pub(super) area: f64,
    /// The polygon over which the piece would tip, counter-clockwise.
    pub(super) support: Vec<DVec2>,
}

impl Collar {
    pub(super) fn of(
        settings: &Settings,
        clearance: f64,
        cells: &Cells,
        void: &Void,
        skin: &Skin,
        mouth: &Mouth,
    ) -> Result<Self, Misfit> {
        let layer = Layer::of(cells, void, mouth);
        let ledge = settings.collar.ledge.map_or_else(|| layer.usual_ledge(clearance), Length::mm);
        let half = mouth.half() + ledge;
        if let Some(place) = below(skin, mouth, half + clearance) {
            return Err(in_the_way(settings, mouth, ledge, layer.usual_ledge(clearance), place));
        }
        let rests: Vec<[DVec2; 2]> = layer.rests(mouth.axis() - half, mouth.axis() + half).collect();
        let area = rests.iter().map(|[low, high]| (*high - *low).element_product()).sum();
        let corners = rests.iter().flat_map(|[l, h]| [*l, DVec2::new(h.x, l.y), *h, DVec2::new(l.x, h.y)]);
        Ok(Self { half, ledge, area, support: convex_hull(corners.collect()) })
    }

    /// How far inside the nearest edge of what carries the piece a place lies; below 0 outside.
    pub(super) fn inside(&self, place: DVec2) -> f64 {
        inside(&self.support, place)
    }
}

fn in_the_way(settings: &Settings, mouth: &Mouth, ledge: f64, usual: f64, place: DVec3) -> Misfit {
    let ledge = Length::from_mm(ledge).rounded();
    let message = format!(
        "a collar with a rest {ledge} wide would run into the piece, which reaches {:.2} mm below the opening at x = {:.1}, \
         y = {:.1} mm",
        mouth.z - place.z,
        place.x,
        place.y
    );
    let usual = Length::from_mm(usual).rounded();
    if settings.collar.ledge.is_some() && usual < ledge {
        return Misfit::new("collar.ledge", message, format!("make it at most {usual}, or leave it out"));
    }
    let n = mouth.number;
    Misfit::new(
        "",
        message,
        format!("give the piece a flat `foot`, or move the opening with `hollow.openings[{n}].at`"),
    )
}

/// Below a mouth: the lowest place of the skin over a rectangle around it, below the mouth's plane.
fn below(skin: &Skin, mouth: &Mouth, half: DVec2) -> Option<DVec3> {
    // A cube that only shares an edge with the rectangle, or the plane with the mouth, is not in the way.
    const TOUCHING: f64 = 1e-6;
    let (low, high) = (mouth.axis() - half + TOUCHING, mouth.axis() + half - TOUCHING);
    let corners = skin.triangles.iter().map(|t| t.map(|i| skin.points[i as usize]));
    let meets = |t: &[DVec3; 3]| {
        let least = t.iter().fold(DVec3::INFINITY, |low, p| low.min(*p));
        let most = t.iter().fold(DVec3::NEG_INFINITY, |high, p| high.max(*p));
        least.z < mouth.z - TOUCHING && least.truncate().cmplt(high).all() && most.truncate().cmpgt(low).all()
    };
    // Below the mouth's plane there are cube faces alone, which lie along the axes: a box that meets is a face that meets.
    let lowest = |t: [DVec3; 3]| t.into_iter().min_by(|a, b| a.z.total_cmp(&b.z));
    corners.filter(meets).filter_map(lowest).min_by(|a, b| a.z.total_cmp(&b.z))
}

/// The layer of cells whose undersides lie in the mouth's plane.
struct Layer<'a> {
    cells: &'a Cells,
    void: &'a Void,
    grid: Grid,
    k: i32,
    /// The shaft's cells, from and up to.
    low: [i32; 2],
    high: [i32; 2],
}

impl<'a> Layer<'a> {
    fn of(cells: &'a Cells, void: &'a Void, mouth: &Mouth) -> Self {
        let grid = *cells.grid();
        let at = |place: f64, origin: f64| ((place - origin) / grid.cell).round() as i32;
        Self {
            cells,
            void,
            grid,
            k: at(mouth.z, grid.origin.z),
            low: [at(mouth.low.x, grid.origin.x), at(mouth.low.y, grid.origin.y)],
            high: [at(mouth.high.x, grid.origin.x) - 1, at(mouth.high.y, grid.origin.y) - 1],
        }
    }

    /// Whether the piece is level with the mouth in that column of cells, with nothing below.
    fn level(&self, i: i32, j: i32) -> bool {
        let cell = IVec3::new(i, j, self.k);
        let below = || (0..self.k).any(|k| self.cells.solid(IVec3::new(i, j, k)));
        self.cells.solid(cell) && !self.void.shafts.solid(cell) && !below()
    }

    /// How many rings of cells around the shaft are level throughout.
    fn rings(&self) -> i32 {
        let most = (WIDEST / self.grid.cell) as i32 + 1;
        let whole = |n: i32| {
            let [x, y] = [0, 1].map(|axis| (self.low[axis] - n)..=(self.high[axis] + n));
            let sides = x.clone().flat_map(|i| [(i, *y.start()), (i, *y.end())]);
            let ends = y.clone().flat_map(|j| [(*x.start(), j), (*x.end(), j)]);
            sides.chain(ends).all(|(i, j)| self.level(i, j))
        };
        (1..=most).take_while(|&n| whole(n)).count() as i32
    }

    fn usual_ledge(&self, clearance: f64) -> f64 {
        // An opening has at least one whole ring of wall around it.
        let level = f64::from(self.rings().max(1)) * self.grid.cell;
        (level - clearance.max(BACK)).max(level / 2.0).min(WIDEST)
    }

    /// The parts of level faces within a rectangle.
    fn rests(&self, low: DVec2, high: DVec2) -> impl Iterator<Item = [DVec2; 2]> + '_ {
        let counts = self.grid.counts;
        let first = ((low - self.grid.origin.truncate()) / self.grid.cell).floor().as_ivec2();
        let last = ((high - self.grid.origin.truncate()) / self.grid.cell).ceil().as_ivec2();
        let (x, y) = (first.x.max(0)..last.x.min(counts.x), first.y.max(0)..last.y.min(counts.y));
        let columns = y.flat_map(move |j| x.clone().map(move |i| (i, j)));
        columns.filter(|&(i, j)| self.level(i, j)).filter_map(move |(i, j)| {
            let corner = |i, j| self.grid.corner(IVec3::new(i, j, self.k)).truncate();
            let (from, to) = (corner(i, j).max(low), corner(i + 1, j + 1).min(high));
            from.cmplt(to).all().then_some([from, to])
        })
    }
}

/// The monotone chain (Andrew 1979), counter-clockwise.
fn convex_hull(mut points: Vec<DVec2>) -> Vec<DVec2> {
    points.sort_unstable_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
    points.dedup();
    let half = |points: &mut dyn Iterator<Item = DVec2>| {
        let mut kept: Vec<DVec2> = Vec::new();
        for point in points {
            while let [.., before, last] = kept[..] {
                if (last - before).perp_dot(point - before) > 0.0 {
                    break;
                }
                kept.pop();
            }
            kept.push(point);
        }
        kept.pop();
        kept
    };
    let mut hull = half(&mut points.iter().copied());
    hull.extend(half(&mut points.iter().rev().copied()));
    hull
}

/// How far a place lies inside the nearest of the lines along a counter-clockwise polygon; below 0 outside.
pub(super) fn inside(polygon: &[DVec2], place: DVec2) -> f64 {
    let ends = polygon.iter().zip(polygon.iter().cycle().skip(1));
    ends.map(|(&a, &b)| (b - a).perp_dot(place - a) / (b - a).length()).fold(f64::INFINITY, f64::min)
}
