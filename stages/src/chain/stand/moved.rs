//! Where the opening would have to be for the axis to go through the centre of mass.

use glam::{DVec2, IVec3};

use super::way::Mouth;
use crate::solid::Cells;
use crate::void::Void;

/// A better place for an opening.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Better {
    /// Its middle, in the coordinates of `hollow.openings[].at`.
    pub(super) at: DVec2,
    /// How far off the axis the centre of mass would be, in mm. What the opening itself takes out is left out.
    pub(super) off: f64,
}

/// The place nearest to `centre` for an opening as wide and as deep as the one at hand, if one is nearer: as `hollow` asks, the
/// bottom is whole and level there, with the ring of wall around, and the cavity lies above all of it.
pub(super) fn better(cells: &Cells, void: &Void, mouth: &Mouth, centre: DVec2) -> Option<Better> {
    let grid = cells.grid();
    let place = |at: f64, origin: f64| ((at - origin) / grid.cell).round() as i32;
    let across = place(mouth.high.x, mouth.low.x);
    let layers = place(mouth.z, grid.origin.z)..=place(mouth.end, grid.origin.z) - 1;
    let ring = (void.wall / grid.cell - 1e-9).ceil() as i32;
    let middle = |a: i32, b: i32| {
        let [low, high] =
            [IVec3::new(a, b, 0), IVec3::new(a + across, b + across, 0)].map(|c| grid.corner(c).truncate());
        (low + high) / 2.0
    };
    let own = |cell: IVec3| {
        let middle = grid.centre(cell).truncate();
        middle.cmpgt(mouth.low).all() && middle.cmplt(mouth.high).all()
    };
    let fits = |a: i32, b: i32| {
        let square =
            |by: i32| (b - by..b + across + by).flat_map(move |j| (a - by..a + across + by).map(move |i| (i, j)));
        // What the opening at hand took out is material once it has moved.
        let whole = |cell: IVec3| cells.solid(cell) && (!void.shafts.solid(cell) || own(cell));
        let mut below = square(0).flat_map(|(i, j)| (0..*layers.start()).map(move |k| IVec3::new(i, j, k)));
        let walled = layers.clone().all(|k| square(ring).all(|(i, j)| whole(IVec3::new(i, j, k))));
        walled
            && below.all(|cell| !cells.solid(cell))
            && square(0).all(|(i, j)| {
                let over = IVec3::new(i, j, layers.end() + 1);
                let n = void.per_cell;
                (0..n * n).all(|at| void.cavity.solid(over * n + IVec3::new(at % n, at / n, 0)))
            })
    };
    let now = (mouth.axis() - centre).length();
    let counts = grid.counts;
    let places = (0..=counts.y - across).flat_map(|b| (0..=counts.x - across).map(move |a| (a, b)));
    let nearer = places.map(|(a, b)| (a, b, (middle(a, b) - centre).length()));
    // A quarter of a cell less is what snapping could not have given by chance.
    let mut nearer: Vec<_> = nearer.filter(|&(.., off)| off < now - grid.cell / 4.0).collect();
    nearer.sort_by(|x, y| x.2.total_cmp(&y.2));
    let (a, b, off) = nearer.into_iter().find(|&(a, b, _)| fits(a, b))?;
    Some(Better { at: middle(a, b), off })
}
