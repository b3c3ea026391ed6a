//! Where the solid hangs on one cell, and whether that cell bears it.
//!
//! Cells that hang on each other in a row, each a hinge ([`Hinges`]), are one neck. The larger part of the piece holds it;
//! the smaller is carried. Its weight bends the neck about the middle of the hinge, and so does a hand that pulls at the
//! part's farthest cell. A square section with the edge a has the section modulus a³/6, so that the bending stress is
//!
//! > σ = 6 M / a³ with M = m g l
//!
//! (any text on the strength of materials). The lever l is the distance of the carried part's centre of mass from the
//! hinge, measured level: upright, across z; lying on its back or front, across y; lying on a side, across x. The handling
//! load pulls across the line to the farthest cell. Levers end in the middle of the hinge, so where it is part of a wall
//! they are up to half a cell too long. The safety factor is the strength over the sum of the larger of the
//! stresses under own weight and the one under the handling load.
//!
//! It is an estimate. The piece is taken as solid, the section as the cell's; notches, shear, twist, layers and flaws of
//! the material are left out.

use glam::{DVec3, IVec3};

use super::MOST_LISTED;
use crate::findings::{Fact, Finding, Place, Unit};
use crate::process::Process;
use crate::solid::{Cells, Forest, Grid, Hinge, Hinges};
use crate::stage::{Halt, Shop};
use crate::units::Force;

/// Standard gravity in m/s² (3rd CGPM, 1901).
const GRAVITY: f64 = 9.80665;

/// What a neck has to bear.
pub(super) struct Demand {
    pub(super) handling: Force,
    /// The least safety factor that is no reason to worry.
    pub(super) least_safety: f64,
}

/// A place where part of the solid hangs on one cell.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Neck {
    /// The cell that bears most.
    cell: IVec3,
    /// How many cells in a row the part hangs on.
    length: usize,
    /// What hangs on it, in g.
    mass: f64,
    stress: Stress,
}

/// Bending stress in MPa.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Stress {
    /// Under own weight, standing.
    upright: f64,
    /// Under own weight, lying on whichever side is the worst.
    lying: f64,
    /// Under the handling load.
    handling: f64,
}

impl Stress {
    fn most(self) -> f64 {
        self.upright.max(self.lying) + self.handling
    }
}

/// Says where the solid hangs on one cell, and how safely.
pub(super) fn tell(cells: &Cells, demand: &Demand, shop: &mut Shop<'_>) -> Result<(), Halt> {
    let hinges = Hinges::of(cells);
    shop.go_on()?;
    let necks = necks(&hinges, cells.grid(), demand, shop.process());
    let strength = shop.process().strength.as_ref().map(|figure| figure.value);
    shop.fact(Fact::whole("one-cell necks", necks.len(), Unit::Count));
    let Some(weakest) = necks.first() else { return Ok(()) };
    shop.fact(Fact::number("handling load", demand.handling.newtons(), Unit::Newton));
    shop.fact(Fact::number("mass on the weakest neck", weakest.mass, Unit::Gram));
    shop.fact(Fact::number("bending stress in the weakest neck", weakest.stress.most(), Unit::Megapascal));
    if let Some(strength) = strength {
        shop.fact(Fact::number("safety factor of the weakest neck", strength / weakest.stress.most(), Unit::One));
    }
    shop.fact(table(&necks, cells.grid(), strength));
    shop.finding(finding(&necks, cells.grid(), demand, strength));
    Ok(())
}

/// The necks, weakest first. The farthest cell is looked for where it may matter: for those that can be among the listed;
/// the others are taken to reach to the far corner of the box around what they carry, which is no nearer.
fn necks(hinges: &Hinges, grid: &Grid, demand: &Demand, process: &Process) -> Vec<Neck> {
    let mut necks: Vec<(Neck, &Hinge)> = rows(hinges.found())
        .into_iter()
        .filter_map(|row| {
            let neck = |hinge: &&Hinge| Neck::new(hinge, far_corner(hinge), row.len(), grid, demand, process);
            let hinges = row.iter().map(|&at| &hinges.found()[at]);
            hinges.map(|hinge| (neck(&hinge), hinge)).max_by(|a, b| a.0.stress.most().total_cmp(&b.0.stress.most()))
        })
        .collect();
    // Stable, so that equals stay in the order of their cells.
    let weakest_first = |a: &(Neck, &Hinge), b: &(Neck, &Hinge)| b.0.stress.most().total_cmp(&a.0.stress.most());
    necks.sort_by(weakest_first);
    for (neck, hinge) in necks.iter_mut().take(2 * MOST_LISTED) {
        *neck = Neck::new(hinge, hinges.farthest(hinge), neck.length, grid, demand, process);
    }
    necks.sort_by(weakest_first);
    necks.into_iter().map(|(neck, _)| neck).collect()
}

/// The hinges that hang on each other, row by row.
fn rows(hinges: &[Hinge]) -> Vec<Vec<usize>> {
    let order = |cell: IVec3| [cell.z, cell.y, cell.x];
    let mut forest = Forest::of(hinges.len());
    for (at, hinge) in hinges.iter().enumerate() {
        for step in IVec3::AXES {
            if let Ok(next) = hinges.binary_search_by_key(&order(hinge.cell + step), |other| order(other.cell)) {
                forest.join(at, next);
            }
        }
    }
    let roots = forest.roots();
    let mut rows: Vec<Vec<usize>> = vec![Vec::new(); hinges.len()];
    for (at, &root) in roots.iter().enumerate() {
        rows[root].push(at);
    }
    rows.retain(|row| !row.is_empty());
    rows
}

/// The corner, farthest from the hinge, of the box around what hangs on it.
fn far_corner(hinge: &Hinge) -> IVec3 {
    let [low, high] = hinge.load.within;
    IVec3::select((hinge.cell - low).cmpge(high - hinge.cell), low, high)
}

impl Neck {
    fn new(hinge: &Hinge, farthest: IVec3, length: usize, grid: &Grid, demand: &Demand, process: &Process) -> Self {
        let edge = grid.cell;
        // 1 g/cm³ = 1 mg/mm³.
        let mass = hinge.load.cells as f64 * edge.powi(3) * process.density.value / 1000.0;
        let weight = mass / 1000.0 * GRAVITY;
        let lever = (hinge.load.centre - hinge.cell.as_dvec3() - 0.5) * edge;
        // Level with gravity along an axis.
        let across = |axis: usize| {
            let mut level = lever;
            level[axis] = 0.0;
            level.length()
        };
        let reach = (farthest - hinge.cell).as_dvec3().length() * edge;
        let bending = |moment: f64| 6.0 * moment / edge.powi(3);
        let stress = Stress {
            upright: bending(weight * across(2)),
            lying: bending(weight * across(0).max(across(1))),
            handling: bending(demand.handling.newtons() * reach),
        };
        Self { cell: hinge.cell, length, mass, stress }
    }

    fn place(&self, grid: &Grid) -> Place {
        Place { mm: grid.centre(self.cell).to_array(), cell: Some(self.cell.to_array()) }
    }
}

fn table(necks: &[Neck], grid: &Grid, strength: Option<f64>) -> Fact {
    let row = |neck: &Neck| {
        let DVec3 { x, y, z } = grid.centre(neck.cell);
        let Stress { upright, lying, handling } = neck.stress;
        let factor =
            strength.map_or_else(|| "–".to_owned(), |strength| format!("{:.2}", strength / neck.stress.most()));
        let numbers = [neck.mass, upright, lying, handling].map(|number| format!("{number:.3}"));
        let [mass, upright, lying, handling] = numbers;
        vec![format!("{x:.1}, {y:.1}, {z:.1}"), neck.length.to_string(), mass, upright, lying, handling, factor]
    };
    let columns = [
        "place x, y, z, mm",
        "cells in a row",
        "carried, g",
        "bending upright, MPa",
        "bending lying, MPa",
        "bending in handling, MPa",
        "safety factor",
    ];
    Fact::table("weakest necks", &columns, necks.iter().take(MOST_LISTED).map(row).collect())
}

fn finding(necks: &[Neck], grid: &Grid, demand: &Demand, strength: Option<f64>) -> Finding {
    let weakest = &necks[0];
    let DVec3 { x, y, z } = grid.centre(weakest.cell);
    let many = if necks.len() == 1 {
        "a part of the piece hangs".to_owned()
    } else {
        format!("{} parts of the piece hang", necks.len())
    };
    let bears = format!(
        "{many} on one cell; the weakest, at ({x:.1}, {y:.1}, {z:.1}) mm, carries {:.2} g and bends with {:.2} MPa under its \
         own weight and a handling load of {} at its farthest cell (6 M / a³, an estimate)",
        weakest.mass,
        weakest.stress.most(),
        demand.handling,
    );
    let places = |count: usize| necks.iter().take(count.min(MOST_LISTED)).map(|neck| neck.place(grid));
    let Some(strength) = strength else {
        let remedy = "write the material's bending `strength` into the process file to have a safety factor";
        return Finding::note("necks", format!("{bears}; the process file gives no strength"), remedy)
            .at(places(necks.len()));
    };
    let factor = strength / weakest.stress.most();
    let weak = necks.iter().filter(|neck| strength / neck.stress.most() < demand.least_safety).count();
    let least = demand.least_safety;
    if weak == 0 {
        let message = format!("{bears}; the safety factor is {factor:.2}, not below {least}");
        return Finding::note("necks", message, "nothing to do; hold the piece by its larger part")
            .at(places(necks.len()));
    }
    let message = format!(
        "{bears}: against a strength of {strength} MPa a safety factor of {factor:.2}, below {least}{}",
        if weak == 1 { String::new() } else { format!(", as in {weak} places") }
    );
    let remedy = "thicken the model there, or make the cells larger with `voxelise.cell`; or hold the piece by its larger \
                  part and lower `repair.handling_load`";
    Finding::caution("weak-neck", message, remedy).at(places(weak))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conformance::process;
    use crate::solid::samples::grid;

    fn necks_of(cells: &Cells, handling: f64) -> Vec<Neck> {
        let demand = Demand { handling: Force::from_newtons(handling), least_safety: 3.0 };
        necks(&Hinges::of(cells), cells.grid(), &demand, &process())
    }

    #[test]
    fn a_boom_bends_as_a_cantilever_does() {
        // A block of 5 × 5 × 5 cells of 3 mm, and a boom of 6 cells that sticks out of its right side. Worked by hand for
        // the first cell of the boom: five cells of 27 mm³ at 1.5 g/cm³ are 0.2025 g, their weight 1.98585e-3 N, the lever
        // from its middle to theirs 3 cells = 9 mm; M = 0.01787263 N mm, over 27 / 6 mm³ gives 3.971695e-3 MPa. A hand
        // of 5 N at the end, 5 cells away: 75 N mm, 16.66667 MPa. The last of the block's own cells bears one more:
        // 6 cells, 0.243 g, lever 3.5 cells.
        let boom = |c: IVec3| c.x < 5 || (c.y == 2 && c.z == 2);
        let mut cells = Cells::from_fn(grid([11, 5, 5]), boom);
        cells = Cells::from_fn(Grid { cell: 3.0, ..*cells.grid() }, |c| cells.solid(c));
        let necks = necks_of(&cells, 5.0);
        let [neck] = necks.as_slice() else { panic!("{necks:?}") };
        // The boom's end cell carries nothing; the block's own cell next to it is a hinge too.
        assert_eq!((neck.cell, neck.length), (IVec3::new(4, 2, 2), 6));
        let weight = 0.243e-3 * 9.80665;
        assert!((neck.mass - 0.243).abs() < 1e-12);
        assert!((neck.stress.upright - weight * 10.5 / 4.5).abs() < 1e-12);
        // Lying on its left or right side the boom stands upright and hangs or presses straight; on its back it bends.
        assert!((neck.stress.lying - neck.stress.upright).abs() < 1e-12);
        assert!((neck.stress.handling - 5.0 * 18.0 / 4.5).abs() < 1e-12);
        let by_hand = Neck::new(
            &Hinges::of(&cells).found()[1],
            IVec3::new(10, 2, 2),
            1,
            cells.grid(),
            &Demand { handling: Force::from_newtons(5.0), least_safety: 3.0 },
            &process(),
        );
        assert!((by_hand.stress.upright - 3.971_695e-3).abs() < 1e-8 && (by_hand.mass - 0.2025).abs() < 1e-12);
        assert!((by_hand.stress.handling - 16.666_67).abs() < 1e-5);
    }

    #[test]
    fn a_straight_post_does_not_bend_under_its_weight_until_it_lies() {
        // A cube of 3 cells on a post of 3 cells on a plate of 7 × 7, which holds it: upright the centre lies over the post.
        let cells = Cells::from_fn(grid([7, 7, 7]), |c| match c.z {
            0 => true,
            1..=3 => c.x == 3 && c.y == 3,
            _ => c.truncate().cmpge(glam::IVec2::splat(2)).all() && c.truncate().cmple(glam::IVec2::splat(4)).all(),
        });
        let necks = necks_of(&cells, 0.0);
        let [neck] = necks.as_slice() else { panic!("{necks:?}") };
        assert!(neck.stress.upright.abs() < 1e-15);
        // The cell of the plate under the post carries all 30, whose centre lies (27 · 5 + 3 + 2 + 1) / 30 above it.
        assert_eq!((neck.cell, neck.length), (IVec3::new(3, 3, 0), 5));
        assert!((neck.mass - 30.0 * 1.5e-3).abs() < 1e-12);
        let lever = (27.0 * 5.0 + 3.0 + 2.0 + 1.0) / 30.0;
        assert!((neck.stress.lying - 30.0 * 1.5e-6 * 9.80665 * lever * 6.0).abs() < 1e-12);
    }

    #[test]
    fn a_thick_piece_has_no_neck() {
        assert!(necks_of(&Cells::from_fn(grid([6, 2, 2]), |_| true), 5.0).is_empty());
        let ring = Cells::from_fn(grid([5, 5, 1]), |c| c.x % 4 == 0 || c.y % 4 == 0);
        assert!(necks_of(&ring, 5.0).is_empty());
    }
}
