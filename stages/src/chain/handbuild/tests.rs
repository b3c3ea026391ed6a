#![expect(clippy::unwrap_used, reason = "tests")]

use std::collections::{BTreeMap, BTreeSet};

use glam::{DVec2, DVec3, IVec3};
use proptest::prelude::*;
use serde_json::json;

use super::building::Building;
use super::inks::{Inks, letter};
use super::isometric::{From, patches};
use super::list::Kind;
use super::sheet::{Cut, HEIGHT, WIDTH, fitted, wrapped};
use super::*;
use crate::conformance::Trial;
use crate::findings::{Finding, Value};
use crate::formats::drawing::{Mark, Shape};
use crate::paint::Paint;
use crate::solid::samples::{grid, lattice_shell, listed, random_solid};
use crate::solid::{Cells, Components, Neighbours, flood_from_outside, skin::outside_faces};
use crate::stage::{Outcome, erase};
use crate::void::{Opening, Void};
use crate::{Side, Six, Srgb};

const SIDES: [Srgb; 6] = [
    Srgb([0xc8, 0x55, 0x3d]),
    Srgb([0x2a, 0x6f, 0x97]),
    Srgb([0xe9, 0xc4, 0x6a]),
    Srgb([0x58, 0x81, 0x57]),
    Srgb([0xf4, 0xf1, 0xde]),
    Srgb([0x3d, 0x40, 0x5b]),
];

/// A colour a side.
fn plain(cells: &Cells, void: Option<&Void>) -> Paint {
    let faces = outside_faces(cells, void);
    let ink = faces.iter().map(|face| face.side as u32).collect();
    Paint { colours: SIDES.into(), faces: faces.into(), ink, sides: Six(SIDES), inside: Srgb([255; 3]), guard: None }
}

fn painted(cells: &Cells) -> Workpiece {
    let paint = plain(cells, None);
    Workpiece::default().with_cells(cells.clone()).with_paint(paint)
}

fn made(piece: Workpiece, settings: serde_json::Value) -> Result<(Outcome, BTreeMap<String, String>), Halt> {
    let folder = tempfile::tempdir().unwrap();
    let stage = erase::<Handbuild>();
    let trial = Trial { stage: stage.as_ref(), settings, files: BTreeMap::new(), piece };
    let (_, outcome) = trial.run(folder.path().to_path_buf())?;
    let text = |name: &String| String::from_utf8_lossy(&std::fs::read(folder.path().join(name)).unwrap()).into_owned();
    let files = outcome.artefacts.iter().map(|made| (made.name.clone(), text(&made.name))).collect();
    Ok((outcome, files))
}

fn whole(outcome: &Outcome, name: &str) -> i64 {
    match outcome.facts.iter().find(|fact| fact.name == name).map(|fact| &fact.value) {
        Some(Value::Whole(value)) => *value,
        other => panic!("{name}: {other:?}"),
    }
}

fn number(outcome: &Outcome, name: &str) -> f64 {
    match outcome.facts.iter().find(|fact| fact.name == name).map(|fact| &fact.value) {
        Some(Value::Number(value)) => *value,
        other => panic!("{name}: {other:?}"),
    }
}

fn codes(outcome: &Outcome) -> Vec<&str> {
    outcome.findings.iter().map(|finding: &Finding| finding.code.as_str()).collect()
}

fn building(cells: &Cells, void: Option<&Void>, hidden: Hidden) -> (Building, Inks) {
    let paint = plain(cells, void);
    let inks = Inks::of_paint(&paint, None);
    let settings = Settings { hidden, ..Settings::default() };
    (Building::of(cells, void, &paint, &inks, &settings).unwrap(), inks)
}

/// The sheets of all layers.
fn sheets(building: &Building, inks: &Inks, cut: &Cut) -> Vec<Drawing> {
    let sheets = Sheets::new(building, inks, cut, "Test", 1.0, 1);
    sheet::tiles(building, cut).iter().map(|tile| sheets.draw(tile, 1)).collect()
}

/// Squares of that size and colour on a sheet.
fn squares(sheet: &Drawing, size: f64, colour: Srgb) -> usize {
    let of_mark = |mark: &Mark| match &mark.shape {
        Shape::Lines(lines) if mark.fill == Some(colour) => lines
            .iter()
            .filter(|line| {
                line.points.len() == 4 && (line.points[2] - line.points[0] - DVec2::splat(size)).length() < 1e-9
            })
            .count(),
        _ => 0,
    };
    sheet.marks.iter().map(of_mark).sum()
}

#[test]
fn a_ball_of_cubes_has_the_faces_and_cubes_of_the_lattice_ball() {
    // Points of norm up to 4, 6 and 9 (OEIS A000605), and faces to each side (OEIS A000328).
    for (n, cubes, faces) in [(4, 257, 49), (6, 925, 113), (9, 3071, 253)] {
        let (outcome, files) = made(painted(&lattice_shell(n, -1)), json!({})).unwrap();
        assert_eq!(whole(&outcome, "cubes by hand"), cubes);
        assert_eq!(whole(&outcome, "faces to paint"), 6 * faces);
        let rows: Vec<&str> = files["handbuild-list.csv"].lines().filter(|row| row.starts_with("faces by")).collect();
        for (at, row) in rows.iter().enumerate() {
            let mut counts = [0; 6];
            counts[at] = faces;
            let counts = counts.map(|n| n.to_string()).join(",");
            let wanted = format!("{},{},{counts},{faces},", letter(at), SIDES[at]);
            assert!(row.starts_with(&format!("faces by colour,,{wanted}")), "{row}");
        }
        assert_eq!(rows.len(), 6);
        // A layer a sheet, and the first pages.
        let pages = whole(&outcome, "pages") as usize;
        assert_eq!(files.keys().filter(|name| name.ends_with(".svg")).count(), pages);
        assert!((i64::from(2 * n + 1) + 2..=i64::from(2 * n + 1) + 3).contains(&(pages as i64)));
    }
}

#[test]
fn a_cube_of_cubes_falls_into_the_kinds_that_everybody_counts() {
    // A painted cube cut into n³: 8 corners, 12 (n − 2) at edges, 6 (n − 2)² in faces, (n − 2)³ inside: an old puzzle.
    for n in 2..6_i64 {
        let side = n as i32;
        let cells = Cells::from_fn(grid(IVec3::splat(side)), |_| true);
        let (building, inks) = building(&cells, None, Hidden::Keep);
        let list = List::of(&building, &inks, 10.0, &Settings::default());
        let m = (n - 2) as usize;
        assert_eq!(list.kinds, [m * m * m, 6 * m * m, 12 * m, 0, 8, 0, 0, 0, 0, 0]);
        // 3 n² (n − 1) faces on which two meet, each with 100 mm² and 0.1 mm of glue.
        assert_eq!(list.joints as i64, 3 * n * n * (n - 1));
        assert!((list.glue - list.joints as f64 * 0.01).abs() < 1e-9);
    }
}

#[test]
fn there_are_ten_kinds_of_cubes() {
    // The 64 choices of sides by kind; Burnside's lemma gives (2⁶ + 6·2³ + 3·2⁴ + 6·2³ + 8·2²)/24 = 10.
    let mut kinds = [0; 10];
    for mask in 0..64 {
        kinds[Kind::of(|side| mask >> side as u32 & 1 == 1) as usize] += 1;
    }
    assert_eq!(kinds, [1, 6, 12, 3, 8, 12, 12, 3, 6, 1]);
    assert_eq!((64 + 6 * 8 + 3 * 16 + 6 * 8 + 8 * 4) / 24, Kind::ALL.len());
}

#[test]
fn paint_and_hours_by_hand() {
    // One cube of 100 mm: six faces of 0.01 m²; at 10 m²/l a coat of one face takes 1 ml, two coats of six 12 ml, and 25 %
    // more is 15 ml. Six faces, two coats, 30 s each: 6 min; the cube 90 s. At 0.5 g/cm³ it weighs 500 g.
    let settings = json!({
        "cube": "10 cm", "spread": 10, "coats": 2, "waste": 25, "seconds_a_face": 30, "seconds_a_cube": 90, "density": 0.5,
        "spare": 10,
    });
    let (outcome, _) = made(painted(&listed(&[[0, 0, 0]])), settings).unwrap();
    assert!((number(&outcome, "paint") - 15.0).abs() < 1e-9);
    assert!((number(&outcome, "area to paint") - 600.0).abs() < 1e-9);
    assert!((number(&outcome, "hours to paint") - 0.1).abs() < 1e-12);
    assert!((number(&outcome, "hours to build") - 0.025).abs() < 1e-12);
    assert!((number(&outcome, "weight by hand") - 500.0).abs() < 1e-9);
    // A tenth of a cube to spare is one cube.
    assert_eq!(whole(&outcome, "cubes to buy"), 2);
    let (outcome, _) = made(painted(&listed(&[[0, 0, 0]])), json!({ "way": "paint" })).unwrap();
    assert_eq!(number(&outcome, "hours to build") + number(&outcome, "glue"), 0.0);
}

#[test]
fn what_does_not_show_is_left_out_of_a_block() {
    // Of a block of n³ an (n − 2)³ inside touches no air, not even along an edge.
    for (n, inside) in [(2, 0), (3, 1), (5, 27), (8, 216)] {
        let cells = Cells::from_fn(grid(IVec3::splat(n)), |_| true);
        let (building, _) = building(&cells, None, Hidden::LeaveOut);
        assert_eq!(building.left_out.count(), inside);
        assert_eq!(building.built.count(), (n * n * n) as usize - inside);
    }
}

#[test]
fn a_stair_keeps_the_cubes_that_join_its_steps() {
    // A stair of one-cube steps against a wall, four wide. Its steps touch along edges only; the cubes under them join them.
    let stair = Cells::from_fn(grid([12, 4, 12]), |c| c.z <= c.x);
    let (kept, inks) = building(&stair, None, Hidden::LeaveOut);
    let visible = Cells::from_fn(*stair.grid(), |c| kept.shown(c).is_some());
    assert_eq!(kept.parts().len(), 1);
    assert!(kept.left_out.count() > 0);
    // Of the inside of the stair, what lies just below a step is kept, and does not show.
    let joining = IVec3::new(6, 1, 5);
    assert!(kept.built.solid(joining) && !visible.solid(joining));
    assert!(!kept.built.solid(IVec3::new(6, 1, 4)));
    assert_eq!(inks.all.len(), 6);
}

#[test]
fn a_shaft_stays_open_and_its_walls_are_kept() {
    let cells = Cells::from_fn(grid([9, 9, 9]), |_| true);
    let within = |c: IVec3| (4..5).contains(&c.x) && (4..5).contains(&c.y) && c.z < 3;
    let void = Void {
        shafts: Cells::from_fn(*cells.grid(), within),
        openings: vec![Opening { side: Side::Bottom, low: DVec3::new(4.0, 4.0, 0.0), high: DVec3::new(5.0, 5.0, 3.0) }],
        cavity: Cells::from_fn(cells.grid().refined(1), |c| {
            c.cmpge(IVec3::splat(3)).all() && c.cmplt(IVec3::splat(6)).all()
        }),
        per_cell: 1,
        moved: BTreeMap::new(),
        wall: 3.0,
    };
    let (building, inks) = building(&cells, Some(&void), Hidden::LeaveOut);
    let wall = IVec3::new(3, 4, 1);
    assert!(building.built.solid(wall) && building.shown(wall).is_none(), "the wall of the shaft");
    assert!(building.built.solid(IVec3::new(4, 4, 3)), "the end of the shaft");
    let list = List::of(&building, &inks, 1.0, &Settings::default());
    assert_eq!((list.open, list.cubes + list.left_out + list.open), (3, 729));
    // The mouth takes one face away.
    assert_eq!(list.faces, 6 * 81 - 1);

    let piece =
        Workpiece::default().with_cells(cells.clone()).with_void(void.clone()).with_paint(plain(&cells, Some(&void)));
    let (outcome, files) = made(piece, json!({})).unwrap();
    assert!(codes(&outcome).contains(&"shaft-stays-open"));
    // Three rings on the lowest three layers' sheets, and the key's on the first page.
    assert_eq!(files.values().map(|svg| svg.matches("<circle").count()).sum::<usize>(), 3 + 1);
}

#[test]
fn what_hangs_from_above_is_found() {
    // A gallows: a foot, a post, a beam, and a rope of two cubes below its end.
    let mut gallows: Vec<[i32; 3]> = (0..5).map(|z| [0, 0, z]).collect();
    gallows.extend((1..4).map(|x| [x, 0, 4]));
    gallows.extend([[3, 0, 3], [3, 0, 2]]);
    let cells = listed(&gallows);
    let (building, _) = building(&cells, None, Hidden::Keep);
    let hanging: Vec<[i32; 3]> = building.hanging.iter().map(|c| c.to_array()).collect();
    // The upper cube of the rope stands on the lower one, which hangs.
    assert_eq!(hanging, [[3, 0, 2]]);
    let (outcome, _) = made(painted(&cells), json!({})).unwrap();
    let finding = outcome.findings.iter().find(|finding| finding.code == "hangs-from-above").unwrap();
    assert_eq!(finding.places[0].cell, Some([3, 0, 2]));
}

#[test]
fn a_print_to_paint_is_in_one_piece_and_has_no_cubes_to_buy() {
    let (outcome, files) =
        made(painted(&listed(&[[0, 0, 0], [0, 0, 1], [1, 0, 1]])), json!({ "way": "paint" })).unwrap();
    assert_eq!((whole(&outcome, "cubes to buy"), whole(&outcome, "cubes that hang from above")), (0, 0));
    assert!(files["handbuild-001.svg"].contains("to paint by hand on a single-colour print"));
}

#[test]
fn loose_parts_are_told() {
    let (outcome, _) = made(painted(&listed(&[[0, 0, 0], [1, 1, 0]])), json!({})).unwrap();
    assert!(codes(&outcome).contains(&"loose-by-hand"));
}

#[test]
fn letters_look_like_no_numbers() {
    let all: Vec<String> = (0..60).map(letter).collect();
    assert_eq!((all[0].as_str(), all[23].as_str(), all[24].as_str(), all[48].as_str()), ("A", "Z", "AA", "BA"));
    assert!(all.iter().all(|letter| !letter.contains(['I', 'O'])));
    assert_eq!(all.iter().collect::<BTreeSet<_>>().len(), 60);
}

/// A block whose front shows a ramp of greys, a column each, and the rest of it is white.
fn ramp(levels: i32) -> Workpiece {
    let cells = Cells::from_fn(grid([levels, 1, 4]), |_| true);
    let mut paint = plain(&cells, None);
    paint.colours = (0..levels).map(|n| Srgb([(n * 255 / (levels - 1)) as u8; 3])).collect();
    let white = (levels - 1) as u32;
    paint.ink = paint.faces.iter().map(|f| if f.side == Side::Front { f.cell.x as u32 } else { white }).collect();
    Workpiece::default().with_cells(cells).with_paint(paint)
}

#[test]
fn many_colours_are_put_together_and_that_is_told() {
    let (outcome, _) = made(ramp(60), json!({})).unwrap();
    assert_eq!(
        (whole(&outcome, "colours to paint with"), codes(&outcome).contains(&"colours-put-together")),
        (60, false)
    );
    let (outcome, _) = made(ramp(61), json!({})).unwrap();
    assert_eq!(
        (whole(&outcome, "colours to paint with"), codes(&outcome).contains(&"colours-put-together")),
        (12, true)
    );
    let mut last = f64::INFINITY;
    for most in [1, 2, 4, 8, 16, 32] {
        let (outcome, _) = made(ramp(128), json!({ "colours": most })).unwrap();
        let mean = number(&outcome, "mean ΔE00 of colours put together");
        assert!(whole(&outcome, "colours to paint with") == most && mean < last, "{most}: {mean}");
        last = mean;
    }
}

#[test]
fn far_apart_colours_are_not_put_together() {
    // Three clusters, each of greys, reds and blues a level apart: three colours cannot be chosen better, and no group mixes.
    let cells = Cells::from_fn(grid([30, 1, 1]), |_| true);
    let mut paint = plain(&cells, None);
    let around = |n: u8| match n / 10 {
        0 => Srgb([120 + n; 3]),
        1 => Srgb([200 + n, 20, 20]),
        _ => Srgb([20, 20, 190 + n]),
    };
    paint.colours = (0..30).map(around).collect();
    paint.ink = paint.faces.iter().map(|face| face.cell.x as u32).collect();
    let inks = Inks::of_paint(&paint, Some(3));
    let group = |n: u32| inks.of(n);
    for n in 0..30 {
        assert_eq!(group(n), group(n / 10 * 10), "{n}");
    }
    assert!(inks.loss.unwrap().most < 3.0);
    assert!(inks.all.iter().all(|ink| paint.colours.contains(&ink.colour)));
    assert_eq!(inks.all.iter().map(inks::Ink::total).sum::<usize>(), paint.faces.len());
}

#[test]
fn a_layer_is_cut_into_the_fewest_sheets() {
    let cut = |x, y, settings: &Settings| Cut::of(IVec3::new(x, y, 1), settings, 1);
    // 176 × 210 mm hold 35 × 42 squares of 5 mm.
    let usual = Settings::default();
    assert_eq!(cut(35, 42, &usual).tiles, [1, 1]);
    assert_eq!(cut(36, 42, &usual).tiles, [2, 1]);
    assert_eq!(cut(36, 43, &usual).tiles, [2, 2]);
    // A small piece is drawn large, and tiles are of one size.
    assert_eq!(cut(5, 5, &usual), Cut { square: 12.0, tiles: [1, 1], across: [5, 5] });
    assert_eq!(cut(52, 40, &usual), Cut { square: 5.25, tiles: [2, 1], across: [26, 40] });
    // With two letters in a field, 27 × 32 squares of 6.5 mm.
    assert_eq!(Cut::of(IVec3::new(27, 32, 1), &usual, 2).tiles, [1, 1]);
    assert_eq!(Cut::of(IVec3::new(28, 32, 1), &usual, 2).tiles, [2, 1]);
    let large = Settings { square: Some(Length::from_mm(20.0)), ..Settings::default() };
    assert_eq!(cut(10, 10, &large).tiles, [2, 1]);
}

#[test]
fn sheets_fit_both_papers() {
    for paper in Paper::ALL {
        let [width, height] = paper.size();
        assert!(width >= WIDTH + 20.0 - 1e-9 && height >= HEIGHT + 20.0 - 1e-9, "{paper:?}");
    }
    let (building, inks) = building(&lattice_shell(30, -1), None, Hidden::Keep);
    let cut = Cut::of(building.counts, &Settings::default(), 1);
    let all = sheets(&building, &inks, &cut);
    assert!(all.len() > 61);
    for point in all.iter().flat_map(|sheet| &sheet.marks).flat_map(|mark| match &mark.shape {
        Shape::Lines(lines) => lines.iter().flat_map(|line| line.points.clone()).collect(),
        Shape::Circle { centre, radius } => vec![centre - radius, centre + radius],
        Shape::Words { at, .. } => vec![*at],
    }) {
        assert!(
            point.cmpge(DVec2::splat(-1e-9)).all() && point.cmple(DVec2::new(WIDTH, HEIGHT) + 1e-9).all(),
            "{point}"
        );
    }
}

#[test]
fn words_keep_to_their_room() {
    for line in wrapped("one two three four five six seven", 2.5, 20.0) {
        assert!(crate::formats::drawing::pdf::width(&line, 2.5) <= 20.0, "{line}");
    }
    assert_eq!(fitted("short", 2.5, 100.0), "short");
    assert!(fitted(&"W".repeat(200), 2.5, 100.0).ends_with('…'));
}

#[test]
fn settings_without_sense_are_refused() {
    let cube = painted(&listed(&[[0, 0, 0]]));
    for (settings, wrong) in [
        (json!({ "way": "paint", "hidden": "leave-out" }), "hidden"),
        (json!({ "cube": "0 mm" }), "cube"),
        (json!({ "square": "4 mm" }), "square"),
        (json!({ "colours": 0 }), "colours"),
        (json!({ "colours": 61 }), "colours"),
        (json!({ "coats": 0 }), "coats"),
        (json!({ "spread": 0 }), "spread"),
        (json!({ "waste": -1 }), "waste"),
        (json!({ "spare": -1 }), "spare"),
        (json!({ "glue": "3 mm" }), "glue"),
        (json!({ "density": 0 }), "density"),
        (json!({ "seconds_a_cube": -1 }), "seconds_a_cube"),
        (json!({ "seconds_a_face": 1e9 }), "seconds_a_face"),
    ] {
        let halt = made(cube.clone(), settings.clone()).unwrap_err();
        assert!(matches!(&halt, Halt::Misfit(misfit) if misfit.setting == wrong), "{settings}: {halt:?}");
    }
}

#[test]
fn too_many_cubes_or_pages_are_refused() {
    let halt = made(painted(&Cells::from_fn(grid([100, 100, 21]), |_| true)), json!({})).unwrap_err();
    let Halt::Misfit(misfit) = halt else { panic!("{halt:?}") };
    // 210 000 cubes of 1 mm: ∛1.05 = 1.0164 mm and half a tenth, rounded to tenths.
    assert!(misfit.message.starts_with("210000 cubes") && misfit.remedy.contains("1.1 mm"), "{misfit:?}");
    let tower = painted(&Cells::from_fn(grid([30, 30, 200]), |_| true));
    let halt = made(tower, json!({ "square": "20 mm" })).unwrap_err();
    assert!(matches!(halt, Halt::Misfit(misfit) if misfit.setting == "square"));
    let none = Workpiece::default().with_cells(Cells::empty(grid([2, 2, 2])));
    let none = none.with_paint(plain(&Cells::empty(grid([2, 2, 2])), None));
    assert!(matches!(made(none, json!({})), Err(Halt::Misfit(_))));
}

/// What is seen from above a corner, looked for from each face along the diagonal, cell by cell: the middle of each of a
/// face's two triangles is seen if no cell lies before it.
fn seen(cells: &Cells, toward: IVec3) -> usize {
    let sides = Side::ALL.into_iter().filter(|side| side.step().dot(toward) > 0);
    let mut count = 0;
    for side in sides {
        for cell in cells.iter().filter(|&c| !cells.solid(c + side.step())) {
            let axis = side.axis();
            let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
            for (a, b) in [(1.0 / 3.0, 2.0 / 3.0), (2.0 / 3.0, 1.0 / 3.0)] {
                // The triangles of a face lie on either side of the diagonal that the view runs along.
                let mut from = cell.as_dvec3();
                from[axis] += if side.positive() { 1.0 } else { 0.0 };
                from[u] += if toward[u] > 0 { a } else { 1.0 - a };
                from[v] += if toward[v] > 0 { b } else { 1.0 - b };
                let free = (1..400).all(|step| {
                    let at = from + toward.as_dvec3() * (f64::from(step) * 0.05);
                    !cells.solid(at.floor().as_ivec3())
                });
                count += usize::from(free);
            }
        }
    }
    count
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Every cube on one sheet, once; letters by side are the faces; and nothing is lost.
    #[test]
    fn sheets_show_every_cube_and_every_face_once(cells in random_solid(), leave_out in any::<bool>()) {
        prop_assume!(cells.count() > 0);
        let hidden = if leave_out { Hidden::LeaveOut } else { Hidden::Keep };
        let (building, inks) = building(&cells, None, hidden);
        let cut = Cut::of(building.counts, &Settings::default(), 1);
        let sheets = sheets(&building, &inks, &cut);
        let drawn = |colour| sheets.iter().map(|sheet| squares(sheet, cut.square, colour)).sum::<usize>();
        let faces = outside_faces(&cells, None);
        let visible: BTreeSet<[i32; 3]> = faces.iter().map(|face| face.cell.to_array()).collect();
        prop_assert_eq!(drawn(layer::WHITE), visible.len());
        prop_assert_eq!(drawn(layer::WHITE) + drawn(layer::HIDDEN), building.built.count());
        prop_assert_eq!(building.built.count() + building.left_out.count(), cells.count());
        for side in Side::ALL {
            let of_side = faces.iter().filter(|face| face.side == side).count();
            let fields: usize = sheets.iter().map(|sheet| squares(sheet, cut.square / 3.0, SIDES[side as usize])).sum();
            prop_assert_eq!(fields, of_side, "{}", side);
            let letter = letter(inks.all.iter().position(|ink| ink.colour == SIDES[side as usize]).unwrap_or(99));
            let is_letter = |mark: &&Mark| matches!(&mark.shape, Shape::Words { words, .. } if *words == letter);
            // On each sheet once more, in the foot.
            let letters = sheets.iter().flat_map(|sheet| &sheet.marks).filter(is_letter).count();
            prop_assert_eq!(letters, if of_side == 0 { 0 } else { of_side + sheets.len() });
        }
    }

    /// Nothing that shows is left out, nothing is added, and what hung together still does.
    #[test]
    fn leaving_out_changes_nothing_that_shows(cells in random_solid()) {
        prop_assume!(cells.count() > 0);
        let (building, _) = building(&cells, None, Hidden::LeaveOut);
        prop_assert_eq!(building.built.minus(&cells).count(), 0);
        let air = flood_from_outside(&cells);
        let open = |c: IVec3| !cells.grid().holds(c) || air.solid(c);
        for cell in building.left_out.iter() {
            prop_assert!(Side::ALL.iter().all(|side| !open(cell + side.step())));
        }
        let (before, after) = (Components::of(&cells, Neighbours::Faces), Components::of(&building.built, Neighbours::Faces));
        let parts: BTreeSet<Option<usize>> = (0..after.len()).map(|part| before.at(after.first_cell(part))).collect();
        prop_assert_eq!(parts.len(), after.len(), "a part fell apart");
    }

    #[test]
    fn a_picture_shows_what_a_ray_along_the_diagonal_meets(bits in any::<u64>()) {
        let cells = Cells::from_fn(grid([4, 4, 4]), |c| bits >> (c.x + 4 * c.y + 16 * c.z) & 1 == 1);
        prop_assume!(cells.count() > 0);
        // Faces to enclosed air are not painted, and are not seen from outside either.
        let (building, _) = building(&cells, None, Hidden::Keep);
        for (from, toward) in [(From::FrontRight, IVec3::new(1, -1, 1)), (From::BackLeft, IVec3::new(-1, 1, 1))] {
            let triangles: usize = patches(&building, from).iter().map(|patch| patch.corners.len() - 2).sum();
            prop_assert_eq!(triangles, seen(&cells, toward));
        }
    }
}
