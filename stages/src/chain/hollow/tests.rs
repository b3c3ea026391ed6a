#![allow(clippy::unwrap_used)]

use std::collections::BTreeMap;

use glam::{DVec3, IVec3};

use super::*;
use crate::conformance::Trial;
use crate::solid::inside::solid_cells;
use crate::solid::skin::outside_faces;
use crate::solid::{Grid, Patch, Skin, Surface, forms};
use crate::stage::Outcome;

/// A piece made from a surface in `cell` mm cubes, with the surface's lowest corner at the origin.
fn piece(surface: &Surface, cell: f64) -> Workpiece {
    let [lo, hi] = surface.bounds().unwrap();
    let counts = ((hi - lo) / cell).ceil().as_ivec3();
    let grid = Grid { origin: DVec3::ZERO, cell, counts };
    let (cells, _) = solid_cells(&surface.mapped(|p| p - lo), grid);
    Workpiece::default().with_cells(cells)
}

/// A ball with a flat foot.
fn footed_ball(diameter: f64) -> Surface {
    let radius = diameter / 2.0;
    forms::sphere(radius, 5).mapped(|p| DVec3::new(p.x, p.y, p.z.max(-0.9 * radius)))
}

fn hollowed(piece: &Workpiece, settings: serde_json::Value) -> Result<(Workpiece, Outcome), Halt> {
    let folder = tempfile::tempdir().unwrap();
    let stage = crate::stage::erase::<Hollow>();
    let trial = Trial { stage: stage.as_ref(), settings, files: BTreeMap::new(), piece: piece.clone() };
    trial.run(folder.path().to_path_buf())
}

fn asked(wall: f64, width: f64) -> serde_json::Value {
    serde_json::json!({ "wall": wall, "openings": [{ "side": "bottom", "width": width }] })
}

fn skin(piece: &Workpiece) -> Skin {
    let (cells, void) = (piece.cells().unwrap(), piece.void());
    Skin::of(cells, void, &outside_faces(cells, void))
}

fn number(outcome: &Outcome, name: &str) -> f64 {
    let fact = outcome.facts.iter().find(|f| f.name == name).unwrap();
    let crate::findings::Value::Number(value) = fact.value else { panic!("{name} is a number") };
    value
}

/// The distance from a point to the nearest cell of air, by looking at every cell nearby: the definition.
fn clearance(cells: &Cells, point: DVec3, reach: f64) -> f64 {
    let grid = cells.grid();
    let lo = ((point - grid.origin - reach) / grid.cell).floor().as_ivec3();
    let hi = ((point - grid.origin + reach) / grid.cell).floor().as_ivec3();
    let mut least = f64::INFINITY;
    for z in lo.z..=hi.z {
        for y in lo.y..=hi.y {
            for x in lo.x..=hi.x {
                let cell = IVec3::new(x, y, z);
                if !cells.solid(cell) {
                    let nearest = point.clamp(grid.corner(cell), grid.corner(cell + 1));
                    least = least.min((point - nearest).length());
                }
            }
        }
    }
    least
}

/// A block of cubes with a slot from the left right above its lowest layer, `deep` cubes deep.
fn slotted(across: i32, deep: i32) -> Workpiece {
    let grid = Grid { origin: DVec3::ZERO, cell: 3.0, counts: IVec3::new(across, 10, 12) };
    Workpiece::default().with_cells(Cells::from_fn(grid, |c| c.z != 1 || c.x >= deep))
}

#[test]
fn an_opening_does_not_come_out_into_air() {
    // Four cubes of opening and one of wall on either side need six that are material in the layer above as well.
    for deep in 1..=5 {
        let halt = hollowed(&slotted(10, deep), asked(2.5, 12.0)).map(|_| ());
        if deep < 5 {
            assert!(halt.is_ok(), "{deep}: {halt:?}");
        } else {
            assert!(matches!(halt, Err(Halt::Misfit(_))), "{deep}: {halt:?}");
        }
    }
    let (piece, _) = hollowed(&slotted(16, 8), asked(2.5, 12.0)).unwrap();
    let opening = &piece.void().unwrap().openings[0];
    assert!(opening.low.x >= 9.0 * 3.0, "{opening:?}");
    keeps_the_wall(&piece);
}

/// Every triangle of the cavity, sampled densely, keeps the wall. The shaft is left out: it reaches the outside.
fn keeps_the_wall(piece: &Workpiece) {
    let (cells, void) = (piece.cells().unwrap(), piece.void().unwrap());
    let skin = skin(piece);
    let shaft = |p: DVec3| void.openings.iter().any(|o| p.cmpge(o.low - 1e-9).all() && p.cmple(o.high + 1e-9).all());
    for (triangle, _) in skin.triangles.iter().zip(&skin.patches).filter(|(_, p)| **p == Patch::Inside) {
        let corners = triangle.map(|i| skin.points[i as usize]);
        if corners.iter().all(|&c| shaft(c)) {
            continue;
        }
        for i in 0..=12 {
            for j in 0..=12 - i {
                let [a, b, c] = [i, j, 12 - i - j].map(|w| f64::from(w) / 12.0);
                let point = corners[0] * a + corners[1] * b + corners[2] * c;
                let wall = clearance(cells, point, void.wall + cells.grid().cell);
                assert!(wall >= void.wall - 1e-6, "wall of {wall} mm at {point}");
            }
        }
    }
}

/// The material that the exact Euclidean offset would leave, counted at the middles of `parts`³ pieces a cell. The wall
/// must be a whole number of pieces, or flat walls are counted wrong.
fn exact_material(piece: &Workpiece, parts: i32) -> f64 {
    let (cells, void) = (piece.cells().unwrap(), piece.void().unwrap());
    let grid = cells.grid();
    let edge = grid.cell / f64::from(parts);
    assert!((void.wall / edge).fract() < 1e-9, "the sampling must divide the wall");
    let mut material = 0usize;
    for cell in cells.minus(&void.shafts).iter() {
        for at in 0..parts.pow(3) {
            let piece = IVec3::new(at % parts, at / parts % parts, at / parts / parts);
            let point = grid.corner(cell) + edge * (piece.as_dvec3() + 0.5);
            material += usize::from(clearance(cells, point, void.wall) < void.wall);
        }
    }
    material as f64 * edge.powi(3)
}

#[test]
fn a_wall_need_not_be_a_whole_number_of_cells() {
    let (piece, outcome) = hollowed(&piece(&footed_ball(48.0), 3.0), asked(2.5, 9.0)).unwrap();
    keeps_the_wall(&piece);
    let material = skin(&piece).volume();
    assert!((number(&outcome, "material") * 1000.0 - material).abs() < 1e-6 * material);
    let exact = exact_material(&piece, 6);
    assert!(material <= 1.05 * exact, "{material} mm³ against {exact} mm³");
}

#[test]
fn flat_walls_and_sharp_edges_come_out_exactly() {
    // A cube of 42 mm with a wall of 2.5 mm: a cavity of 37³ mm³, and the shaft of 9 × 9 mm² through the wall.
    let (piece, outcome) =
        hollowed(&piece(&forms::cuboid(DVec3::ZERO, DVec3::splat(42.0)), 3.0), asked(2.5, 9.0)).unwrap();
    let by_hand = 37f64.powi(3) + 81.0 * 2.5;
    assert!((number(&outcome, "void") * 1000.0 - by_hand).abs() < 1e-6 * by_hand);
    assert!((skin(&piece).volume() - (42f64.powi(3) - by_hand)).abs() < 1e-6 * by_hand);
}

#[test]
fn walls_thinner_and_thicker_than_a_cell() {
    // Diameter, wall, cell, parts a cell for counting the exact offset.
    for (ball, wall, cell, parts) in [
        (40.0, 2.0, 3.0, 3),
        (40.0, 2.5, 2.0, 4),
        (40.0, 2.5, 1.5, 3),
        (80.0, 6.0, 3.0, 2),
        (40.0, 2.5, 4.0, 8),
        (50.0, 2.5, 2.5, 4),
    ] {
        let (piece, _) = hollowed(&piece(&footed_ball(ball), cell), asked(wall, 7.5)).unwrap();
        keeps_the_wall(&piece);
        let (material, exact) = (skin(&piece).volume(), exact_material(&piece, parts));
        assert!(material <= 1.05 * exact, "wall {wall}, cell {cell}: {material} mm³ against {exact} mm³");
    }
}

/// The same triangles however the mould came to the cavity, and no more material given up than has to be.
#[test]
fn a_cavity_that_gave_way_is_shaped_as_if_it_had_been_so_from_the_start() {
    let piece = piece(&footed_ball(36.0), 2.5);
    let cells = piece.cells().unwrap();
    let lattice = Lattice::new(cells, 2.5);
    let shafts = Cells::empty(*cells.grid());
    let cavity = lattice.room(2.5);
    let mut void =
        Void { shafts, openings: vec![], cavity, per_cell: lattice.per_cell, moved: BTreeMap::new(), wall: 2.5 };
    let mut mould = Mould::new(cells, &void);
    mould.shape(&void);
    let before = mould.moved();
    assert!(mould.shape(&void).is_empty(), "nothing changed, and nothing is thin");
    assert_eq!(mould.moved(), before);
    // A bite out of one side.
    let [low, high] = void.cavity.extent().unwrap();
    let bite = Cells::from_fn(*void.cavity.grid(), |cell| cell.x - low.x < 3 && 2 * cell.z > low.z + high.z);
    void.cavity = void.cavity.minus(&bite);
    assert!(mould.shape(&void).is_empty());
    let again = Void { moved: mould.moved(), ..void.clone() };
    keeps_the_wall(&piece.clone().with_void(again));
    let mut anew = Mould::new(cells, &void);
    assert!(anew.shape(&void).is_empty());
    let (kept, anew) = (mould.moved(), anew.moved());
    assert!(kept.keys().eq(anew.keys()));
    // Far from the bite nothing differs.
    let far = |at: &[i32; 3]| at[2] > low.x + 8;
    assert!(kept.iter().filter(|(at, _)| far(at)).all(|(at, point)| anew[at] == *point));
}

#[test]
fn a_slanted_block_keeps_the_wall_too() {
    let turn = glam::DQuat::from_euler(glam::EulerRot::XYZ, 0.5, 0.6, 0.3);
    let block = forms::cuboid(DVec3::splat(-18.0), DVec3::splat(18.0)).mapped(|p| turn * p);
    let foot = forms::cuboid(DVec3::new(-9.0, -9.0, -30.0), DVec3::new(9.0, 9.0, 0.0));
    let (piece, _) = hollowed(&piece(&forms::together(&[block, foot]), 3.0), asked(2.5, 9.0)).unwrap();
    keeps_the_wall(&piece);
    let (material, exact) = (skin(&piece).volume(), exact_material(&piece, 6));
    assert!(material <= 1.05 * exact, "{material} mm³ against {exact} mm³");
}

#[test]
fn a_lobe_behind_a_narrow_neck_stays_solid() {
    // Two blocks of 24 mm joined by a bar of 9 mm: with a wall of 3 mm its cavity is 3 mm wide.
    let low = forms::cuboid(DVec3::ZERO, DVec3::splat(24.0));
    let high = low.mapped(|p| p + DVec3::new(0.0, 0.0, 36.0));
    let bar = forms::cuboid(DVec3::new(7.5, 7.5, 12.0), DVec3::new(16.5, 16.5, 48.0));
    let both = piece(&forms::together(&[low, bar, high]), 1.5);
    let settings = |narrowest: f64| {
        let mut settings = asked(3.0, 9.0);
        settings["narrowest"] = narrowest.into();
        settings
    };
    let (wide, outcome) = hollowed(&both, settings(2.0)).unwrap();
    assert!(outcome.findings.is_empty(), "{:?}", outcome.findings);
    // Two cavities of 18³ mm³ and the neck of 3 × 3 × 18 mm³ between them, and the shaft through the wall of 3 mm; the
    // neck's ends round off where it meets the blocks.
    let void = number(&outcome, "void") * 1000.0;
    let by_hand = 2.0 * 18f64.powi(3) + 3.0 * 3.0 * 18.0 + 9.0 * 9.0 * 3.0;
    assert!((void / by_hand - 1.0).abs() < 0.01, "{void} mm³ against {by_hand} mm³");
    keeps_the_wall(&wide);

    let (narrow, outcome) = hollowed(&both, settings(5.0)).unwrap();
    assert_eq!(outcome.findings[0].code, "pockets-left-solid");
    let left = number(&outcome, "pockets left solid") * 1000.0;
    assert!(left >= 18f64.powi(3), "{left} mm³ left solid");
    keeps_the_wall(&narrow);
    assert!(outcome.findings[0].places.iter().any(|p| p.mm[2] > 18.0), "the upper lobe is named");
}

#[test]
fn what_does_not_fit_is_said_with_what_would() {
    let ball = piece(&footed_ball(40.0), 2.0);
    let misfit = |settings| match hollowed(&ball, settings).unwrap_err() {
        Halt::Misfit(misfit) => misfit,
        other => panic!("{other:?}"),
    };
    let wide = misfit(asked(2.5, 36.0));
    assert_eq!(wide.setting, "openings[0]");
    assert!(wide.remedy.contains("the widest opening that fits there is"), "{}", wide.remedy);
    assert!(wide.remedy.contains("`foot`"), "{}", wide.remedy);
    let thick = misfit(asked(25.0, 8.0));
    assert_eq!(thick.setting, "wall");
    assert!(thick.message.contains("leaves no cavity"), "{}", thick.message);
    assert_eq!(misfit(asked(-1.0, 8.0)).setting, "wall");
    // A wall of a thousandth of a cell asks for a lattice of 10¹³ cells.
    let thin = misfit(asked(0.002, 8.0));
    assert!(thin.setting == "wall" && thin.message.contains("TiB"), "{}", thin.message);
    assert_eq!(misfit(asked(2.5, 3.0)).setting, "openings[0].width");
    assert_eq!(misfit(serde_json::json!({ "wall": 2.5, "openings": [] })).setting, "openings");
}

#[test]
fn settings_out_of_all_proportion_are_refused_at_once() {
    let block = piece(&forms::cuboid(DVec3::ZERO, DVec3::splat(40.0)), 2.0);
    for (wall, width, setting) in [(1e12, 10.0, "wall"), (3.0, 1e12, "openings[0]")] {
        match hollowed(&block, asked(wall, width)) {
            Err(Halt::Misfit(misfit)) => assert_eq!(misfit.setting, setting, "{wall}, {width}: {misfit:?}"),
            other => panic!("{wall}, {width}: {other:?}"),
        }
    }
}

#[test]
fn one_cell_has_no_inside_and_cells_smaller_than_the_wall_do() {
    let one = piece(&forms::cuboid(DVec3::ZERO, DVec3::splat(20.0)), 20.0);
    assert_eq!(one.cells().unwrap().count(), 1);
    assert!(matches!(hollowed(&one, asked(2.5, 8.0)), Err(Halt::Misfit(_))));
    // A lattice as fine as the cells.
    let (fine, _) = hollowed(&piece(&forms::cuboid(DVec3::ZERO, DVec3::splat(24.0)), 1.0), asked(3.0, 8.0)).unwrap();
    assert_eq!(fine.void().unwrap().per_cell, 1);
    assert!(skin(&fine).is_closed());
    keeps_the_wall(&fine);
}

#[test]
fn openings_go_on_any_side_and_where_they_are_asked() {
    let block = piece(&forms::cuboid(DVec3::ZERO, DVec3::splat(40.0)), 2.0);
    for side in Side::ALL {
        let settings =
            serde_json::json!({ "wall": 3.0, "openings": [{ "side": side, "width": 10.0, "at": [14.0, 22.0] }] });
        let (piece, _) = hollowed(&block, settings).unwrap();
        let opening = &piece.void().unwrap().openings[0];
        assert_eq!(opening.side, side);
        assert!((opening.width() - 10.0).abs() < 1e-9);
        assert!((opening.mouth() - if side.positive() { 40.0 } else { 0.0 }).abs() < 1e-9);
        let middle = (opening.low + opening.high) / 2.0;
        let across: Vec<f64> = (0..3).filter(|&a| a != side.axis()).map(|a| middle[a]).collect();
        assert!((across[0] - 14.0).abs() <= 1.0 && (across[1] - 22.0).abs() <= 1.0, "{side}: {across:?}");
        keeps_the_wall(&piece);
    }
    let two = serde_json::json!({ "wall": 3.0, "openings": [{ "side": "bottom", "width": 10.0 }, { "side": "bottom", "width": 8.0 }] });
    let (piece, _) = hollowed(&block, two).unwrap();
    assert_eq!(piece.void().unwrap().openings.len(), 2);
    keeps_the_wall(&piece);
}

#[test]
fn every_opening_opens_to_the_outside_and_none_into_another() {
    let block = piece(&forms::cuboid(DVec3::ZERO, DVec3::new(40.0, 36.0, 44.0)), 2.0);
    let sets: [&[(Side, f64)]; 4] = [
        &[(Side::Bottom, 10.0), (Side::Bottom, 8.0), (Side::Bottom, 6.0)],
        &[(Side::Bottom, 24.0), (Side::Front, 24.0), (Side::Left, 24.0)],
        &Side::ALL.map(|side| (side, 16.0)),
        &[(Side::Top, 28.0), (Side::Right, 28.0)],
    ];
    for set in sets {
        let openings: Vec<_> =
            set.iter().map(|(side, width)| serde_json::json!({ "side": side, "width": width })).collect();
        // Wall in lattice cells: one cell and a half, and less than one.
        for wall in [3.0, 1.5] {
            let (piece, _) = hollowed(&block, serde_json::json!({ "wall": wall, "openings": openings })).unwrap();
            let (void, grid) = (piece.void().unwrap(), piece.cells().unwrap().grid());
            let (low, high) = (grid.corner(IVec3::ZERO), grid.corner(grid.counts));
            for opening in &void.openings {
                let outside = if opening.side.positive() { high } else { low }[opening.side.axis()];
                assert!((opening.mouth() - outside).abs() < 1e-9, "{opening:?} opens inside");
            }
            let shafts: f64 = void.openings.iter().map(|o| (o.high - o.low).element_product()).sum();
            assert_eq!(void.shafts.count() as f64 * grid.cell.powi(3), shafts, "openings overlap");
            assert!(skin(&piece).is_closed(), "{set:?} with a wall of {wall}");
            keeps_the_wall(&piece);
        }
    }
}

#[test]
fn a_hollow_block_tips_where_its_walls_say() {
    // A block of 40 × 40 × 100 mm with walls of exactly 4 mm and a shaft of 12 × 12 through the floor: by hand, the
    // centre of mass lies at Σ Vᵢ zᵢ / Σ Vᵢ over block, cavity and shaft, in the middle across. It stands on 40 × 40.
    let block = piece(&forms::cuboid(DVec3::ZERO, DVec3::new(40.0, 40.0, 100.0)), 4.0);
    let (_, outcome) = hollowed(&block, asked(4.0, 12.0)).unwrap();
    let (whole, cavity, shaft) = (40.0 * 40.0 * 100.0, 32.0 * 32.0 * 92.0, 12.0 * 12.0 * 4.0);
    let height = (whole * 50.0 - cavity * 50.0 - shaft * 2.0) / (whole - cavity - shaft);
    let degrees = |b: f64, h: f64| libm::atan(b / h).to_degrees();
    assert!((number(&outcome, "tipping angle while solid") - degrees(20.0, 50.0)).abs() < 1e-9);
    let angle = number(&outcome, "tipping angle when hollow");
    // An even number of cells cannot be centred under an odd one: the shaft lies half a cell off at most.
    assert!((angle - degrees(20.0, height)).abs() < 0.05, "{angle} for {}", degrees(20.0, height));
}
