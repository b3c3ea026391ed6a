//! Which cubes of the outside no part of the source surface stands behind: a hole that was closed by winding number, a
//! bridge, a foot.
//!
//! A cube counts if it has a face to air and the surface comes nowhere within the tolerance of the ball in it, that is,
//! within the tolerance and half a cell of its middle.
//!
//! Guarantees, for tolerances of at least half a cell: around a closed surface no cube of its own counts, since between
//! its centre, inside, and that of its neighbour, outside, the surface is crossed within one cell of the first; nor does
//! a cube that the surface passes through, which is within 0.87 cells of its centre everywhere.

use std::collections::BTreeMap;

use glam::{DVec3, IVec3};
use rayon::prelude::*;

use super::unconverted::Piece;
use crate::Side;
use crate::solid::nearest::Nearest;
use crate::solid::{Cells, Components, Neighbours, Surface};
use crate::stage::{Halt, Shop};

/// Cubes that hang together and have no source near them.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Sourceless {
    /// The cubes, z slowest, x fastest.
    pub cells: Vec<IVec3>,
    /// Area of their faces to air, in mm².
    pub area: f64,
    /// Lowest corner of the box around them, in mm.
    pub low: DVec3,
    /// Highest corner of the box around them, in mm.
    pub high: DVec3,
    /// The cube nearest to their middle.
    pub place: IVec3,
}

/// Layers of cells that are looked at between two looks at whether the run should stop.
const BATCH: usize = 16;

/// The cubes without source within `tolerance` mm, the largest area first.
pub(super) fn sourceless(
    surface: &Surface,
    cells: &Cells,
    tolerance: f64,
    shop: &Shop<'_>,
) -> Result<Vec<Sourceless>, Halt> {
    let grid = *cells.grid();
    let outer = outer(cells);
    let nearest = Nearest::new(surface, grid);
    let reach = tolerance + grid.cell / 2.0;
    let mut found = Cells::empty(grid);
    let layers: Vec<i32> = (0..grid.counts.z).collect();
    for batch in layers.chunks(BATCH) {
        shop.go_on()?;
        let far = |&k: &i32| -> Vec<IVec3> {
            let lines = (0..grid.counts.y)
                .flat_map(|j| outer.solid_between(0, grid.counts.x - 1, j, k).map(move |i| IVec3::new(i, j, k)));
            lines.filter(|&cell| !nearest.any_within(grid.centre(cell), reach)).collect()
        };
        let far: Vec<Vec<IVec3>> = batch.par_iter().map(far).collect();
        far.into_iter().flatten().for_each(|cell| found.set(cell, true));
    }
    Ok(clusters(&found, cells))
}

/// The solid cells with a face to air, or to the outside of the grid.
fn outer(cells: &Cells) -> Cells {
    let IVec3 { y: ny, z: nz, .. } = cells.grid().counts;
    Cells::from_lines(*cells.grid(), |j, k, line| {
        let own = cells.line(j, k);
        for (w, word) in line.iter_mut().enumerate() {
            let before = if w > 0 { own[w - 1] >> 63 } else { 0 };
            let after = own.get(w + 1).map_or(0, |next| next << 63);
            let mut inner = (own[w] << 1 | before) & (own[w] >> 1 | after);
            for (j, k) in [(j - 1, k), (j + 1, k), (j, k - 1), (j, k + 1)] {
                let on_grid = (0..ny).contains(&j) && (0..nz).contains(&k);
                inner &= if on_grid { cells.line(j, k)[w] } else { 0 };
            }
            *word = own[w] & !inner;
        }
    })
}

/// The cubes that hang together, also by edges and corners, in clusters.
fn clusters(found: &Cells, solid: &Cells) -> Vec<Sourceless> {
    let parts = Components::of(found, Neighbours::Corners);
    let mut members: BTreeMap<usize, Vec<IVec3>> = BTreeMap::new();
    for cell in found.iter() {
        members.entry(parts.at(cell).unwrap_or_default()).or_default().push(cell);
    }
    let mut clusters: Vec<Sourceless> = members.into_values().map(|cells| cluster(cells, solid)).collect();
    clusters.sort_by(|a, b| b.area.total_cmp(&a.area));
    clusters
}

fn cluster(cells: Vec<IVec3>, solid: &Cells) -> Sourceless {
    let grid = solid.grid();
    let faces: usize = cells.iter().map(|&cell| sides_to_air(cell, solid).count()).sum();
    let (low, high) = cells.iter().fold((IVec3::MAX, IVec3::MIN), |(low, high), &c| (low.min(c), high.max(c)));
    let sum = cells.iter().map(|cell| cell.as_i64vec3()).sum::<glam::I64Vec3>();
    let off = |cell: &IVec3| (cell.as_i64vec3() * cells.len() as i64 - sum).length_squared();
    let place = cells.iter().copied().min_by_key(off).unwrap_or(low);
    let area = faces as f64 * grid.cell.powi(2);
    Sourceless { area, low: grid.corner(low), high: grid.corner(high + 1), place, cells }
}

fn sides_to_air(cell: IVec3, solid: &Cells) -> impl Iterator<Item = Side> {
    Side::ALL.into_iter().filter(move |side| !solid.solid(cell + side.step()))
}

impl Sourceless {
    /// The faces to air, in triangles.
    pub(super) fn patch(&self, solid: &Cells) -> Vec<Piece> {
        let grid = solid.grid();
        let half = grid.cell / 2.0;
        let face = |cell: IVec3, side: Side| {
            let middle = grid.centre(cell) + half * side.normal();
            let axis = side.axis();
            let [u, v] = [1, 2].map(|n| half * DVec3::AXES[(axis + n) % 3]);
            let [a, b, c, d] = [middle - u - v, middle + u - v, middle + u + v, middle - u + v];
            [[a, b, c], [a, c, d]]
        };
        self.cells.iter().flat_map(|&cell| sides_to_air(cell, solid).flat_map(move |side| face(cell, side))).collect()
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::super::tests::{codes, number, run, whole};
    use super::super::{Settings, Thin};
    use super::*;
    use crate::Length;
    use crate::findings::Severity;
    use crate::solid::forms::{cuboid, sphere, torus, with_triangles};
    use crate::solid::inside::solid_cells;
    use crate::solid::samples::grid;

    #[test]
    fn the_cubes_that_close_a_missing_side_have_no_source() {
        // A box of 20 mm without its right side. The winding number closes it level, so the outermost layer is whole; of
        // it, the middles of cubes within 1 + ½ mm of the other sides are those of the outermost two rows.
        let closed = cuboid(DVec3::ZERO, DVec3::splat(20.0));
        let open = with_triangles(&closed, closed.triangles()[2..].to_vec());
        let (cells, _) = solid_cells(&open, grid([20, 20, 20]));
        assert_eq!(cells.count(), 20 * 20 * 20);
        let (_, outcome) = run(&Settings::default(), &cells, open.clone()).unwrap();
        assert_eq!(codes(&outcome), [(Severity::Caution, "no-source")]);
        assert_eq!(whole(&outcome, "cubes without source"), 16 * 16);
        assert_eq!(number(&outcome, "outside without source"), 256.0);
        let finding = &outcome.findings[0];
        assert!(finding.message.contains("on the right side, 1.0 × 16.0 × 16.0 mm in extent"), "{}", finding.message);
        assert_eq!(finding.picture.as_deref(), Some("no-source-1-right.png"));
        assert_eq!(finding.places[0].cell.unwrap()[0], 19);
        // The closed box has none, with the least tolerance that there is.
        let strict = Settings { tolerance: Some(Length::from_mm(0.5)), ..Settings::default() };
        let (_, outcome) = run(&strict, &cells, closed).unwrap();
        assert_eq!(codes(&outcome), []);
    }

    #[test]
    fn a_run_of_cells_through_the_air_is_told() {
        // Two boxes 12 mm apart, joined because their surface asks for it.
        let boxes = [0.0, 18.0].map(|x| cuboid(DVec3::new(x, 0.0, 0.0), DVec3::new(x + 6.0, 5.0, 5.0)));
        let surface = crate::solid::forms::together(&boxes);
        let (cells, _) = solid_cells(&surface, grid([24, 5, 5]));
        let settings = Settings { thin: Thin::Thicken, ..Settings::default() };
        let (_, outcome) = run(&settings, &cells, surface).unwrap();
        // Of the 12 cubes of the run, the middles of the first two at each end are within 1 + ½ mm of their box.
        assert_eq!(whole(&outcome, "cubes without source"), 8);
        assert_eq!(number(&outcome, "outside without source"), 32.0);
    }

    proptest! {
        #[test]
        fn closed_forms_have_source_all_around(x in 0.0..1.0, y in 0.0..1.0, z in 0.0..1.0, radius in 2.0..9.0, tube in 0.6..2.0) {
            let middle = DVec3::new(x, y, z) + 12.0;
            for form in [sphere(radius, 3), torus(radius, tube, 24)] {
                let surface = form.mapped(|p| p + middle);
                let (cells, _) = solid_cells(&surface, grid([24, 24, 24]));
                let nearest = Nearest::new(&surface, *cells.grid());
                let outer = outer(&cells);
                let slowly = Cells::from_fn(*cells.grid(), |c| cells.solid(c) && sides_to_air(c, &cells).count() > 0);
                prop_assert_eq!(&outer, &slowly);
                for cell in outer.iter() {
                    prop_assert!(nearest.any_within(cells.grid().centre(cell), 1.0), "{}", cell);
                }
            }
        }
    }
}
