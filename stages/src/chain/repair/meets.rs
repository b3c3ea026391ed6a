//! Which cells a triangle passes through.
//!
//! A triangle and a closed box are apart exactly if they are apart along one of thirteen axes: the box's three, the
//! triangle's normal, and the nine products of their edges (Akenine-Möller 2001, "Fast 3D triangle-box overlap
//! testing", Journal of Graphics Tools 6(1)). Touching counts as meeting, so that the cells of a connected surface
//! hang together by their faces, and a surface that lies between two layers of cells takes both.

use glam::{DVec3, IVec3};

use super::unconverted::Piece;
use crate::solid::Grid;

/// The cells of the grid whose closed cubes the piece meets.
pub(super) fn cells_met(grid: &Grid, piece: Piece) -> impl Iterator<Item = IVec3> + use<> {
    // In cells from the grid's corner: cube i fills [i, i+1].
    let piece = piece.map(|corner| (corner - grid.origin) / grid.cell);
    let [a, b, c] = piece;
    let first = (a.min(b).min(c).ceil().as_ivec3() - 1).max(IVec3::ZERO);
    let last = a.max(b).max(c).floor().as_ivec3().min(grid.counts - 1);
    let cells = (first.z..=last.z)
        .flat_map(move |k| (first.y..=last.y).flat_map(move |j| (first.x..=last.x).map(move |i| IVec3::new(i, j, k))));
    cells.filter(move |&cell| meets(cell, piece))
}

/// Whether the closed cube of a cell and the triangle have a point in common; coordinates in cells.
fn meets(cell: IVec3, piece: Piece) -> bool {
    let [a, b, c] = piece.map(|corner| corner - (cell.as_dvec3() + 0.5));
    let edges = [b - a, c - b, a - c];
    let apart_along = |axis: DVec3| {
        let (a, b, c) = (axis.dot(a), axis.dot(b), axis.dot(c));
        // Half the cube's width along the axis.
        let reach = axis.abs().element_sum() / 2.0;
        a.min(b).min(c) > reach || a.max(b).max(c) < -reach
    };
    let own = DVec3::AXES;
    !own.into_iter().any(apart_along)
        && !apart_along(edges[0].cross(edges[1]))
        && !edges.iter().any(|&edge| own.iter().any(|&axis| apart_along(axis.cross(edge))))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::solid::samples::grid;

    fn point() -> impl Strategy<Value = DVec3> {
        (0.0..4.0, 0.0..4.0, 0.0..4.0).prop_map(|(x, y, z)| DVec3::new(x, y, z))
    }

    /// Distance of the cube [cell, cell + 1]³ from a point of the triangle, the least of many spread over it.
    fn least_gap(cell: IVec3, [a, b, c]: Piece, parts: i32) -> f64 {
        let low = cell.as_dvec3();
        let gap = |p: DVec3| (low - p).max(p - (low + 1.0)).max(DVec3::ZERO).length();
        let spread = (0..=parts).flat_map(|u| (0..=parts - u).map(move |v| (u, v)));
        let of = f64::from(parts);
        spread.map(|(u, v)| gap(a + (b - a) * f64::from(u) / of + (c - a) * f64::from(v) / of)).fold(f64::MAX, f64::min)
    }

    proptest! {
        #[test]
        fn cells_met_are_those_that_points_of_the_triangle_lie_in(a in point(), b in point(), c in point()) {
            let met: Vec<IVec3> = cells_met(&grid([4, 4, 4]), [a, b, c]).collect();
            let parts = 200;
            // Points of the triangle lie no farther than that from one of those that were looked at.
            let spacing = (a.distance(b) + b.distance(c) + c.distance(a)) / f64::from(parts);
            for n in 0..64 {
                let cell = IVec3::new(n % 4, n / 4 % 4, n / 16);
                let gap = least_gap(cell, [a, b, c], parts);
                prop_assert!(gap > 0.0 || met.contains(&cell), "{} is missing", cell);
                prop_assert!(gap <= spacing || !met.contains(&cell), "{} is {} off", cell, gap);
            }
        }
    }

    #[test]
    fn a_triangle_between_two_layers_meets_both() {
        let piece = [[1.0, 1.0, 2.0], [2.0, 1.0, 2.0], [1.0, 2.0, 2.0]].map(DVec3::from);
        let met: Vec<IVec3> = cells_met(&grid([4, 4, 4]), piece).collect();
        // The corners touch what lies around them; the hypotenuse touches the corner (2, 2) of none of its cells.
        let columns = [[0, 0], [1, 0], [2, 0], [0, 1], [1, 1], [2, 1], [0, 2], [1, 2]];
        let wanted: Vec<IVec3> =
            [1, 2].into_iter().flat_map(|k| columns.map(move |[i, j]| IVec3::new(i, j, k))).collect();
        assert_eq!(met, wanted);
    }
}
