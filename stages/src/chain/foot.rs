//! `foot`: makes the lowest layers flat enough to stand and to take an opening.
//!
//! What stands over air in the lowest layers is filled straight down: each column of cells that is solid in one of them
//! becomes solid from there to the ground. A ball, which would stand on a few cells, so stands on the disc that it is a
//! few layers up; a foot that is flat already stays as it is. Where `width` asks for more, a square pad of that width is
//! laid through these layers under the middle of the foot.
//!
//! Guarantees: nothing is taken away; nothing above the layers changes; running it again changes nothing.

use glam::IVec3;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::findings::{Fact, Finding, Place, Unit};
use crate::marked::{ON_GROUND, Sight};
use crate::solid::stability::{LEAST_TILT, Standing};
use crate::solid::{Cells, Grid};
use crate::stage::{Halt, Misfit, Shop, Stage};
use crate::workpiece::{Part, Workpiece};
use crate::{Length, Side};

/// See the module's documentation.
pub struct Foot;

/// Settings of `foot`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// How many of the lowest layers of cells become the foot; at least 1. What is solid in any of them is filled down
    /// to the ground.
    pub cells: u32,
    /// Least width of the foot, in mm: a square pad that wide, rounded up to whole cells, is laid under its middle. An
    /// opening needs its own width and a wall on either side. Left out, no pad.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub width: Option<Length>,
}

impl Stage for Foot {
    type Settings = Settings;

    const NAME: &'static str = "foot";
    const PURPOSE: &'static str = "makes the lowest layers flat enough to stand and to take an opening";
    const VERSION: u32 = 2;
    const NEEDS: &'static [Part] = &[Part::Cells];
    const GIVES: &'static [Part] = &[Part::Cells];

    fn check(settings: &Settings, _: &Shop<'_>) -> Result<(), Misfit> {
        if settings.cells == 0 {
            return Err(Misfit::new("cells", "a foot needs at least one layer of cells", "write cells: 2"));
        }
        match settings.width {
            Some(width) if width.mm() <= 0.0 => {
                Err(Misfit::new("width", format!("a foot must be wider than 0 mm, not {width}"), "leave it out"))
            }
            _ => Ok(()),
        }
    }

    fn run(settings: &Settings, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        let before = piece.cells().expect("the plan saw to it");
        let Some(layers) = Layers::of(before, settings) else { return Ok(piece) };
        let mut footed = layers.filled(before);
        if let Some(width) = settings.width {
            layers.lay_pad(&mut footed, width)?;
        }
        shop.go_on()?;
        say(before, &footed, layers, shop);
        Ok(piece.with_cells(footed))
    }
}

/// The layers that become the foot: from the lowest with a solid cell.
#[derive(Clone, Copy)]
struct Layers {
    low: i32,
    high: i32,
}

impl Layers {
    fn of(cells: &Cells, settings: &Settings) -> Option<Self> {
        let low = cells.extent()?[0].z;
        let asked = i32::try_from(settings.cells).unwrap_or(i32::MAX);
        Some(Self { low, high: low.saturating_add(asked - 1).min(cells.grid().counts.z - 1) })
    }

    /// The cells with every column filled from its highest cell in the layers to the ground.
    fn filled(self, cells: &Cells) -> Cells {
        Cells::from_lines(*cells.grid(), |j, k, words| {
            words.copy_from_slice(cells.line(j, k));
            if k >= self.low {
                for above in k + 1..=self.high {
                    words.iter_mut().zip(cells.line(j, above)).for_each(|(word, &over)| *word |= over);
                }
            }
        })
    }

    /// Lays the pad under the middle of the lowest layer, moved where it would leave the grid, and wider than asked where
    /// it would touch nothing. A foot that holds such a square anywhere already needs no pad.
    fn lay_pad(self, cells: &mut Cells, width: Length) -> Result<(), Misfit> {
        let grid = *cells.grid();
        let room = grid.counts.x.min(grid.counts.y);
        let asked = (width.mm() / grid.cell - 1e-9).ceil();
        if asked > f64::from(room) {
            return Err(too_wide(width, &grid, room));
        }
        if self.widest_square(cells) >= asked as i32 {
            return Ok(());
        }
        let twice_middle = self.twice_middle(cells);
        let pads = (asked as i32..=room).map(|across| Pad::new(across, twice_middle, &grid));
        // The widest covers the grid's shorter side; a foot that none touches lies beyond its longer one.
        let pad = pads.clone().find(|pad| self.touches(cells, *pad)).or_else(|| pads.into_iter().next());
        for cell in pad.into_iter().flat_map(|pad| pad.cells(self)) {
            cells.set(cell, true);
        }
        Ok(())
    }

    /// Cells along the widest square of columns that are solid through all layers of the filled foot.
    fn widest_square(self, cells: &Cells) -> i32 {
        let counts = cells.grid().counts;
        // The widest square whose last corner is a cell is one wider than the narrowest of those that end beside it.
        let mut before = vec![0; counts.x as usize + 1];
        let mut widest = 0;
        for j in 0..counts.y {
            let mut row = vec![0; counts.x as usize + 1];
            for i in cells.solid_between(0, counts.x - 1, j, self.high) {
                let i = i as usize;
                row[i + 1] = 1 + before[i].min(before[i + 1]).min(row[i]);
                widest = widest.max(row[i + 1]);
            }
            before = row;
        }
        widest
    }

    /// Twice the middle of the cells of the lowest layer, in cells along x and y, to the nearest half cell.
    fn twice_middle(self, cells: &Cells) -> [i32; 2] {
        let (mut sum, mut count) = ([0i64; 2], 0i64);
        for cell in cells.iter().take_while(|c| c.z <= self.low) {
            sum = [sum[0] + 2 * i64::from(cell.x) + 1, sum[1] + 2 * i64::from(cell.y) + 1];
            count += 1;
        }
        sum.map(|sum| (sum as f64 / count.max(1) as f64).round() as i32)
    }

    /// Whether a pad covers part of the foot, or touches it with a face.
    fn touches(self, cells: &Cells, pad: Pad) -> bool {
        pad.cells(self)
            .any(|cell| cells.solid(cell) || crate::Side::ALL.iter().any(|side| cells.solid(cell + side.step())))
    }
}

/// A square of cells through the layers of the foot.
#[derive(Clone, Copy)]
struct Pad {
    low: [i32; 2],
    across: i32,
}

impl Pad {
    /// As near to the middle as the grid allows; where two places are as near, the one to the left and the front.
    fn new(across: i32, twice_middle: [i32; 2], grid: &Grid) -> Self {
        let counts = [grid.counts.x, grid.counts.y];
        let low = |axis: usize| ((twice_middle[axis] - across).div_euclid(2)).clamp(0, (counts[axis] - across).max(0));
        Self { low: [low(0), low(1)], across }
    }

    fn cells(self, layers: Layers) -> impl Iterator<Item = IVec3> {
        let [x, y] = self.low.map(|low| low..low + self.across);
        (layers.low..=layers.high).flat_map(move |k| {
            y.clone().flat_map({
                let x = x.clone();
                move |j| x.clone().map(move |i| IVec3::new(i, j, k))
            })
        })
    }
}

fn too_wide(width: Length, grid: &Grid, room: i32) -> Misfit {
    let widest = Length::from_mm(f64::from(room) * grid.cell);
    Misfit::new(
        "width",
        format!("a foot {width} wide is wider than the piece, which has room for {widest}"),
        format!("make it {widest} or less, or the piece larger with `scale`"),
    )
}

/// Says what changed, and how the piece stands, solid as it is.
fn say(before: &Cells, after: &Cells, layers: Layers, shop: &mut Shop<'_>) {
    let face = after.grid().cell.powi(2);
    let area = |cells: &Cells| cells.iter().take_while(|c| c.z <= layers.low).count() as f64 * face;
    let added = after.minus(before);
    let places = added
        .iter()
        .take(1)
        .map(|cell| Place { mm: after.grid().centre(cell).to_array(), cell: Some(cell.to_array()) });
    let count = added.count();
    shop.fact(Fact::whole("cells added", count, Unit::Cells));
    shop.fact(Fact::number(
        "height of the foot",
        f64::from(layers.high - layers.low + 1) * after.grid().cell,
        Unit::Mm,
    ));
    shop.fact(Fact::number("standing area before", area(before), Unit::Mm2));
    shop.fact(Fact::number("standing area", area(after), Unit::Mm2));
    if count > 0 {
        let message = format!(
            "{count} cells were added under the piece: it stands on {:.0} mm² instead of {:.0} mm²",
            area(after),
            area(before)
        );
        let finding = Finding::note("foot-made", message, "nothing to do; fewer `foot.cells` change less").at(places);
        shop.finding_seen(finding, || {
            Sight::of_cells(after.grid(), added.iter()).from(Side::Bottom).saying("the cells that were added")
        });
    }
    let [was, is] = [before, after].map(Standing::of);
    let (Some(was), Some(is)) = (was, is) else { return };
    let tipping = is.tipping();
    shop.fact(Fact::triple("centre of mass", is.centre, Unit::Mm));
    shop.fact(Fact::number("centre of mass inside the standing area", tipping.inside, Unit::Mm));
    shop.fact(Fact::number("tipping angle before", was.tipping().angle(), Unit::Degrees));
    shop.fact(Fact::number("tipping angle", tipping.angle(), Unit::Degrees));
    shop.fact(Fact::text("tips first to the", tipping.to.to_string()));
    if let Some(finding) = is.finding(LEAST_TILT, "ask for more `foot.cells` or a larger `foot.width`") {
        // From below, where it shows what the centre of mass should lie over.
        let lowest = after.iter().take_while(|c| c.z <= layers.low);
        shop.finding_seen(finding, || Sight::of_cells(after.grid(), lowest).from(Side::Bottom).saying(ON_GROUND));
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "tests")]
mod tests {
    use std::collections::BTreeMap;

    use proptest::prelude::*;

    use super::*;
    use crate::conformance::Trial;
    use crate::findings::Value;
    use crate::solid::samples::{grid, lattice_shell, random_solid};
    use crate::stage::Outcome;

    fn footed(cells: &Cells, settings: serde_json::Value) -> Result<(Cells, Outcome), Halt> {
        let folder = tempfile::tempdir().unwrap();
        let piece = Workpiece::default().with_cells(cells.clone());
        let stage = crate::stage::erase::<Foot>();
        let trial = Trial { stage: stage.as_ref(), settings, files: BTreeMap::new(), piece };
        trial.run(folder.path().to_path_buf()).map(|(piece, outcome)| (piece.cells().unwrap().clone(), outcome))
    }

    fn number(outcome: &Outcome, name: &str) -> f64 {
        match outcome.facts.iter().find(|fact| fact.name == name).map(|fact| &fact.value) {
            Some(Value::Number(value)) => *value,
            other => panic!("{name}: {other:?}"),
        }
    }

    #[test]
    fn a_ball_stands_on_the_disc_a_few_layers_up() {
        // Layers of the lattice ball of radius 10, at heights −10, −9 and −8: points of the square lattice within √0,
        // √19 and √36 = 6 of the middle: 1, 61 and 113 (Gauss's circle problem, OEIS A057655 at 0, 19 and 36).
        let ball = lattice_shell(10, -1);
        for (cells, area) in [(1, 1.0), (2, 61.0), (3, 113.0)] {
            let (stands, outcome) = footed(&ball, serde_json::json!({ "cells": cells })).unwrap();
            assert_eq!(number(&outcome, "standing area before"), 1.0);
            assert_eq!(number(&outcome, "standing area"), area);
            assert_eq!(stands.count() - ball.count(), [0, 60, 52 + 112][cells - 1]);
        }
    }

    #[test]
    fn a_pad_is_as_wide_as_asked_and_lies_under_the_middle() {
        // A stalk of 2 × 2 in the middle of a plate that is 12 wide.
        let stalked =
            Cells::from_fn(grid([12, 12, 10]), |c| c.z >= 8 || (5..7).contains(&c.x) && (5..7).contains(&c.y));
        let (stands, outcome) = footed(&stalked, serde_json::json!({ "cells": 2, "width": "5.5 mm" })).unwrap();
        assert_eq!(number(&outcome, "standing area"), 36.0);
        assert_eq!(stands.count() - stalked.count(), 2 * (36 - 4));
        // b = 3 inside either edge, the middle from the sum over the layers by hand: 32 · 4 + 2 · 32 · 1 + 288 · 9 over
        // 32 + 64 + 288.
        let height = (32.0 * 4.0 + 64.0 * 1.0 + 288.0 * 9.0) / 384.0;
        assert!((number(&outcome, "tipping angle") - libm::atan(3.0 / height).to_degrees()).abs() < 1e-9);
        let misfit = footed(&stalked, serde_json::json!({ "cells": 2, "width": "13 mm" })).unwrap_err();
        assert!(matches!(misfit, Halt::Misfit(misfit) if misfit.setting == "width" && misfit.remedy.contains("12 mm")));
    }

    #[test]
    fn a_pad_between_legs_grows_until_it_reaches_them() {
        let table = Cells::from_fn(grid([9, 9, 6]), |c| c.z >= 4 || (c.x % 8 == 0 && c.y % 8 == 0));
        let (stands, _) = footed(&table, serde_json::json!({ "cells": 1, "width": "2 mm" })).unwrap();
        assert!(!stands.solid(IVec3::ZERO + IVec3::X + IVec3::Z) && stands.solid(IVec3::X));
        let parts = crate::solid::Components::of(&stands, crate::solid::Neighbours::Faces);
        assert_eq!(parts.len(), 1);
    }

    #[test]
    fn settings_without_sense_are_refused() {
        let cube = Cells::from_fn(grid([2, 2, 2]), |_| true);
        for (settings, wrong) in [
            (serde_json::json!({ "cells": 0 }), "cells"),
            (serde_json::json!({ "cells": 1, "width": "0 mm" }), "width"),
            (serde_json::json!({ "cells": 1, "width": "1e300 mm" }), "width"),
        ] {
            let halt = footed(&cube, settings).unwrap_err();
            assert!(matches!(halt, Halt::Misfit(misfit) if misfit.setting == wrong), "{wrong}");
        }
        let (same, _) = footed(&cube, serde_json::json!({ "cells": u32::MAX })).unwrap();
        assert_eq!(same, cube);
    }

    proptest! {
        #[test]
        fn a_foot_is_flat_takes_nothing_away_and_is_made_once(
            cells in random_solid(), layers in 1..4i32, width in proptest::option::of(1..4u32)
        ) {
            prop_assume!(cells.count() > 0);
            let counts = cells.grid().counts;
            let width = width.map(|width| width.min(counts.x.min(counts.y) as u32));
            let settings = serde_json::to_value(Settings { cells: layers as u32, width: width.map(|w| Length::from_mm(f64::from(w))) }).unwrap();
            let (stands, _) = footed(&cells, settings.clone()).unwrap();
            prop_assert_eq!(cells.minus(&stands).count(), 0);
            let low = cells.extent().unwrap()[0].z;
            for c in stands.iter().filter(|c| c.z < low + layers) {
                prop_assert!((low..c.z).all(|z| stands.solid(IVec3::new(c.x, c.y, z))));
            }
            prop_assert!(stands.minus(&cells).iter().all(|c| c.z < low + layers));
            let (again, outcome) = footed(&stands, settings).unwrap();
            prop_assert_eq!(&again, &stands);
            prop_assert_eq!(outcome.findings.iter().filter(|f| f.code == "foot-made").count(), 0);
        }
    }
}
