#![expect(clippy::unwrap_used, reason = "tests")]

use std::collections::BTreeMap;
use std::f64::consts::PI;
use std::io::{self, Write};
use std::path::PathBuf;
use std::sync::atomic::AtomicBool;

use glam::{DMat3, DVec3};
use proptest::prelude::*;

use super::unconverted::{Missed, missed};
use super::*;
use crate::findings::{Severity, Value};
use crate::process::Process;
use crate::solid::samples::{grid, lattice_shell, listed, mirrored, random_solid};
use crate::solid::{Surface, air, contact_counts, flood_from_outside};
use crate::stage::{Outcome, Shelf};

/// A shelf that keeps nothing.
struct NoShelf;

impl Shelf for NoShelf {
    fn create(&mut self, _: &str) -> io::Result<Box<dyn Write + '_>> {
        Ok(Box::new(io::sink()))
    }

    fn path(&self, name: &str) -> PathBuf {
        name.into()
    }
}

/// A process invented for the tests; `repair` does not look at it.
fn process() -> Process {
    let figure = |value: serde_json::Value| serde_json::json!({ "value": value, "basis": "invented for the tests" });
    let mut fields = serde_json::json!({ "name": "test", "family": "binder-jetting" });
    for length in ["layer", "minimum_wall", "detail", "gap", "opening", "bleed", "edge_radius", "tolerance"] {
        fields[length] = figure("1 mm".into());
    }
    fields["build_volume"] = figure(serde_json::json!([100, 100, 100]));
    fields["density"] = figure(1.0.into());
    fields["most_triangles"] = figure(1000.into());
    fields["most_bytes"] = figure(1000.into());
    serde_json::from_value(fields).unwrap()
}

pub(super) fn run(settings: &Settings, cells: &Cells, surface: Surface) -> Result<(Cells, Outcome), Halt> {
    let (process, files, cancel, mut shelf) = (process(), BTreeMap::new(), AtomicBool::new(false), NoShelf);
    let mut shop = Shop::new(&process, &files, &[], &cancel, &mut shelf);
    Repair::check(settings, &shop)?;
    let piece = Workpiece::default().with_surface(surface).with_cells(cells.clone());
    let piece = Repair::run(settings, piece, &mut shop)?;
    crate::marked::show(&piece, &mut shop)?;
    Ok((piece.cells().unwrap().clone(), shop.close()))
}

/// Runs with default settings on cells alone, without a surface.
fn repaired(cells: &Cells) -> (Cells, Outcome) {
    run(&Settings::default(), cells, no_surface()).unwrap()
}

fn no_surface() -> Surface {
    Surface::new(vec![], vec![]).unwrap()
}

pub(super) fn whole(outcome: &Outcome, name: &str) -> i64 {
    match outcome.facts.iter().find(|fact| fact.name == name).map(|fact| &fact.value) {
        Some(Value::Whole(value)) => *value,
        other => panic!("{name}: {other:?}"),
    }
}

pub(super) fn number(outcome: &Outcome, name: &str) -> f64 {
    match outcome.facts.iter().find(|fact| fact.name == name).map(|fact| &fact.value) {
        Some(Value::Number(value)) => *value,
        other => panic!("{name}: {other:?}"),
    }
}

pub(super) fn codes(outcome: &Outcome) -> Vec<(Severity, &str)> {
    outcome.findings.iter().map(|finding| (finding.severity, finding.code.as_str())).collect()
}

/// Whether a solid is in one piece, without shut-in air and without contacts.
pub(super) fn is_sound(cells: &Cells) -> bool {
    contact_counts(cells).total() == 0
        && Components::of(cells, Neighbours::Faces).len() == 1
        && flood_from_outside(cells) == air(cells)
}

#[test]
fn settings_may_be_left_out_and_survive_a_round_trip() {
    assert_eq!(serde_json::from_str::<Settings>("{}").unwrap(), Settings::default());
    let written = r#"{"islands":"all","voids":"keep","contacts":"report","thin":"thicken","tolerance":"2 mm","handling_load":"5 N","least_safety":3.0}"#;
    let settings: Settings = serde_json::from_str(written).unwrap();
    assert_eq!(serde_json::to_string(&settings).unwrap(), written);
    assert!(serde_json::from_str::<Settings>(r#"{"island":"all"}"#).is_err());
}

#[test]
fn what_was_added_and_taken_away_is_told() {
    // A 5×5×5 cube with one shut-in cell, a second cube that meets it in an edge, and a loose cell.
    let solid = |c: IVec3| (c.max_element() < 5 && c != IVec3::splat(2)) || (c.min_element() >= 5 && c.z == 5);
    let cells = Cells::from_fn(grid([9, 7, 9]), |c| solid(c) || c == IVec3::new(8, 0, 8));
    let (sound, outcome) = repaired(&cells);
    assert!(is_sound(&sound));
    assert_eq!(whole(&outcome, "islands removed"), 1);
    assert_eq!(whole(&outcome, "cells in islands removed"), 1);
    assert_eq!(whole(&outcome, "enclosed voids filled"), 1);
    assert_eq!(whole(&outcome, "cells in enclosed voids filled"), 1);
    // The cubes meet in the corner of (4,4,4) and (5,5,5) alone.
    assert_eq!(whole(&outcome, "contacts mended"), 1);
    let (added, removed) = (whole(&outcome, "cells added"), whole(&outcome, "cells removed"));
    assert_eq!(added, 1 + whole(&outcome, "cells added in mending contacts"));
    assert_eq!(removed, 1 + whole(&outcome, "cells removed in mending contacts"));
    assert_eq!(whole(&outcome, "cells after repair"), cells.count() as i64 + added - removed);
    assert_eq!(sound.count() as i64, whole(&outcome, "cells after repair"));
    let notes = ["islands-removed", "voids-filled", "contacts-mended"].map(|code| (Severity::Note, code));
    // What mending joined hangs on one cell.
    assert_eq!(codes(&outcome), [&notes[..], &[(Severity::Note, "necks")]].concat());
    assert_eq!(outcome.findings[0].places[0].cell, Some([8, 0, 8]));
    assert_eq!(outcome.findings[1].places[0].mm, [2.5; 3]);
    assert_eq!(outcome.findings[2].places[0].mm, [5.0; 3]);
}

#[test]
fn what_is_kept_is_reported() {
    let solid = |c: IVec3| c.max_element() < 3 && c != IVec3::ONE;
    let cells = Cells::from_fn(grid([6, 6, 3]), |c| solid(c) || c == IVec3::new(3, 3, 0) || c == IVec3::new(5, 5, 0));
    let settings =
        Settings { islands: Islands::All, voids: Voids::Keep, contacts: Contacts::Report, ..Settings::default() };
    let (same, outcome) = run(&settings, &cells, no_surface()).unwrap();
    assert_eq!(same, cells);
    let wanted =
        [(Severity::Caution, "loose-pieces"), (Severity::Caution, "voids-kept"), (Severity::Fault, "contacts-left")];
    assert_eq!(codes(&outcome), wanted);
    assert_eq!(outcome.findings[2].places[0].mm, [3.0, 3.0, 0.5]);
}

#[test]
fn without_any_cube_the_run_stops() {
    let halt = run(&Settings::default(), &Cells::empty(grid([4, 4, 4])), no_surface()).unwrap_err();
    assert!(matches!(halt, Halt::Misfit(misfit) if misfit.message.contains("no cube is left")));
}

#[test]
fn a_tolerance_without_sense_is_refused() {
    for mm in [-1.0, 0.0, 0.49] {
        let settings = Settings { tolerance: Some(Length::from_mm(mm)), ..Settings::default() };
        let halt = run(&settings, &listed(&[[0; 3]]), no_surface()).unwrap_err();
        assert!(matches!(halt, Halt::Misfit(misfit) if misfit.setting == "tolerance"), "{mm}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn a_repaired_solid_is_sound_and_stays_as_it_is(cells in random_solid()) {
        prop_assume!(cells.count() > 0);
        let (sound, _) = repaired(&cells);
        prop_assert!(is_sound(&sound));
        let (again, outcome) = repaired(&sound);
        prop_assert_eq!(again, sound);
        prop_assert!(outcome.findings.iter().all(|finding| finding.code == "necks"));
    }

    #[test]
    fn each_setting_alone_does_what_it_says(cells in random_solid()) {
        prop_assume!(cells.count() > 0);
        let keep = Settings { islands: Islands::All, voids: Voids::Keep, contacts: Contacts::Report, ..Settings::default() };
        let (largest, _) = run(&Settings { islands: Islands::Largest, ..keep }, &cells, no_surface()).unwrap();
        prop_assert_eq!(Components::of(&largest, Neighbours::Corners).len(), 1);
        prop_assert_eq!(largest.minus(&cells).count(), 0);
        let (filled, _) = run(&Settings { voids: Voids::Fill, ..keep }, &cells, no_surface()).unwrap();
        prop_assert_eq!(flood_from_outside(&filled), flood_from_outside(&cells));
        prop_assert_eq!(flood_from_outside(&filled), air(&filled));
        let (mended, _) = run(&Settings { contacts: Contacts::Mend, ..keep }, &cells, no_surface()).unwrap();
        prop_assert_eq!(contact_counts(&mended).total(), 0);
    }

    #[test]
    fn a_mirrored_solid_is_repaired_to_the_mirror_image(cells in random_solid(), axis in 0..3usize) {
        // Which of equally large pieces stays is decided by their order, which a mirror turns round: keep all here.
        prop_assume!(cells.count() > 0);
        let settings = Settings { islands: Islands::All, ..Settings::default() };
        let (sound, _) = run(&settings, &cells, no_surface()).unwrap();
        let (image, _) = run(&settings, &mirrored(&cells, axis), no_surface()).unwrap();
        prop_assert_eq!(image, mirrored(&sound, axis));
    }
}

/// A parallelogram out of two triangles.
pub(super) fn sheet(corner: [f64; 3], along: [f64; 3], across: [f64; 3]) -> Surface {
    let [p, u, v] = [corner, along, across].map(DVec3::from);
    Surface::new(vec![p, p + u, p + u + v, p + v], vec![[0, 1, 2], [0, 2, 3]]).unwrap()
}

fn missed_of(surface: &Surface, cells: &Cells, tolerance: f64) -> Vec<Missed> {
    missed(surface, cells, tolerance, || Ok(())).unwrap()
}

#[test]
fn a_sheet_that_stands_off_a_box_is_missed_beyond_the_tolerance() {
    // A box of 10×10×10 cells of 1 mm, and a sheet 6 mm wide that runs 7 mm out of its right side. Every point of the
    // sheet at x = 10 + d is d away from the box, so with a tolerance t, 6 · (7 − t) mm² are missed.
    let cells = Cells::from_fn(grid([20, 10, 10]), |c| c.x < 10);
    for tolerance in [0.5, 1.0, 2.5, 6.0] {
        let missed = missed_of(&sheet([4.0, 2.0, 5.0], [13.0, 0.0, 0.0], [0.0, 6.0, 0.0]), &cells, tolerance);
        let [part] = missed.as_slice() else { panic!("{missed:?}") };
        // Out by at most the pieces astride the limit: half a tolerance to either side.
        let (wanted, slack) = (6.0 * (7.0 - tolerance), 6.0 * tolerance / 2.0);
        assert!((part.area - wanted).abs() <= slack, "{tolerance}: {} for {wanted}", part.area);
        assert!((part.high - DVec3::new(17.0, 8.0, 5.0)).length() < 1e-12);
        assert!(part.low.x >= 10.0 + tolerance / 2.0 && part.place.x > 10.0 + tolerance);
    }
    assert!(missed_of(&sheet([4.0, 2.0, 5.0], [13.0, 0.0, 0.0], [0.0, 6.0, 0.0]), &cells, 7.0).is_empty());
}

#[test]
fn two_sheets_are_two_places_largest_first_and_told_with_their_side() {
    let cells = Cells::from_fn(grid([20, 10, 20]), |c| (5..15).contains(&c.x) && c.z < 10);
    let sheets = [
        sheet([0.0, 2.0, 5.0], [5.0, 0.0, 0.0], [0.0, 2.0, 0.0]),
        sheet([8.0, 3.0, 10.0], [4.0, 0.0, 0.0], [0.0, 0.0, 9.0]),
        // The floor of the box, which is not missed.
        sheet([5.0, 0.0, 0.0], [10.0, 0.0, 0.0], [0.0, 10.0, 0.0]),
    ];
    let points = sheets.iter().flat_map(|sheet| sheet.points()).copied().collect();
    let triangles = (0..3u32).flat_map(|n| sheets[0].triangles().iter().map(move |t| t.map(|i| i + 4 * n))).collect();
    let both = Surface::new(points, triangles).unwrap();
    let (_, outcome) = run(&Settings::default(), &cells, both.clone()).unwrap();
    assert_eq!(codes(&outcome)[..2], [(Severity::Caution, "not-converted"); 2]);
    assert!(outcome.findings[0].message.contains("on the top side"), "{}", outcome.findings[0].message);
    assert!(outcome.findings[1].message.contains("on the left side"), "{}", outcome.findings[1].message);
    // 4 · (9 − 1) and 2 · (5 − 1) mm², each out by at most half a millimetre's width.
    let area = number(&outcome, "surface not converted");
    assert!((area - 40.0).abs() <= 0.5 * (4.0 + 2.0), "{area}");
    assert!((number(&outcome, "share of the surface not converted") - 100.0 * area / both.area()).abs() < 1e-9);
    assert_eq!(whole(&outcome, "places not converted"), 2);
    // Both sheets stick out, and are drawn from where they show.
    let pictures = outcome.findings[..2].iter().map(|finding| finding.picture.as_deref().unwrap());
    let made: Vec<&str> = outcome.artefacts.iter().map(|artefact| artefact.name.as_str()).collect();
    assert_eq!(made[..2], ["not-converted-1-front.png", "not-converted-2-bottom.png"]);
    assert!(pictures.eq(made[..2].iter().copied()));
}

#[test]
fn a_part_lost_with_its_island_is_told_as_such() {
    let cells = Cells::from_fn(grid([30, 3, 3]), |c| c.x < 9 || c.x >= 27);
    let plate = sheet([27.0, 0.0, 1.5], [3.0, 0.0, 0.0], [0.0, 3.0, 0.0]);
    let (_, outcome) = run(&Settings::default(), &cells, plate).unwrap();
    let told = outcome.findings.iter().find(|finding| finding.code == "not-converted").unwrap();
    assert!(told.message.contains("taken away as an island"), "{}", told.message);
}

/// A sphere of many small triangles.
fn sphere(middle: DVec3, radius: f64, steps: u32) -> Surface {
    let at = |i: u32, j: u32| {
        let (lon, lat) = (PI * f64::from(i) / f64::from(steps), PI * f64::from(j) / f64::from(steps));
        middle + radius * DVec3::new(libm::sin(lat) * libm::cos(lon), libm::sin(lat) * libm::sin(lon), libm::cos(lat))
    };
    let points: Vec<DVec3> = (0..2 * steps).flat_map(|i| (0..=steps).map(move |j| at(i, j))).collect();
    let name = |i: u32, j: u32| (i % (2 * steps)) * (steps + 1) + j;
    let quads = (0..2 * steps).flat_map(|i| (0..steps).map(move |j| [(i, j), (i, j + 1), (i + 1, j + 1), (i + 1, j)]));
    let triangles = quads.flat_map(|q| {
        let [a, b, c, d] = q.map(|(i, j)| name(i, j));
        [[a, b, c], [a, c, d]]
    });
    Surface::new(points, triangles.collect()).unwrap()
}

#[test]
fn a_thick_form_is_missed_nowhere() {
    // The bound of half a cell's diagonal holds where a ball of that radius inside the form touches the surface.
    for n in 1..=20 {
        let ball = lattice_shell(n, -1);
        let skin = sphere(DVec3::splat(f64::from(n) + 0.5), f64::from(n), 40);
        assert_eq!(missed_of(&skin, &ball, 3f64.sqrt() / 2.0), vec![], "n = {n}");
    }
}

fn three(low: f64, high: f64) -> impl Strategy<Value = [f64; 3]> {
    let number = move || low..high;
    (number(), number(), number()).prop_map(<[f64; 3]>::from)
}

proptest! {
    #[test]
    fn a_turned_box_is_missed_at_its_sharp_corners_at_most(turn in three(-3.0, 3.0), half in three(2.0, 6.0)) {
        let turn = DMat3::from_rotation_z(turn[0]) * DMat3::from_rotation_y(turn[1]) * DMat3::from_rotation_x(turn[2]);
        let (middle, half) = (DVec3::splat(12.0), DVec3::from(half));
        let cells = Cells::from_fn(grid([24, 24, 24]), |c| {
            (turn.transpose() * (c.as_dvec3() + 0.5 - middle)).abs().cmple(half).all()
        });
        for axis in 0..3 {
            for sign in [-1.0, 1.0] {
                let [mut corner, mut along, mut across] = [-half, DVec3::ZERO, DVec3::ZERO];
                corner[axis] *= sign;
                along[(axis + 1) % 3] = 2.0 * half[(axis + 1) % 3];
                across[(axis + 2) % 3] = 2.0 * half[(axis + 2) % 3];
                let face = sheet((middle + turn * corner).into(), (turn * along).into(), (turn * across).into());
                // A tip at each of the face's four corners, none larger than a cube face.
                let missed = missed_of(&face, &cells, 1.0);
                prop_assert!(missed.len() <= 4 && missed.iter().all(|tip| tip.area < 1.0), "{:?}", missed);
            }
        }
    }
}

/// Every way to set what repair does to cells.
fn any_settings() -> impl Strategy<Value = Settings> {
    let islands = prop_oneof![
        Just(Islands::Largest),
        Just(Islands::All),
        (1..12u32).prop_map(Islands::AtLeast),
        Just(Islands::Bridge)
    ];
    let voids = prop_oneof![Just(Voids::Fill), Just(Voids::Keep)];
    let contacts = prop_oneof![3 => Just(Contacts::Mend), 1 => Just(Contacts::Report)];
    (islands, voids, contacts).prop_map(|(islands, voids, contacts)| Settings {
        islands,
        voids,
        contacts,
        ..Settings::default()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn repairing_a_repaired_solid_changes_nothing(cells in random_solid(), settings in any_settings()) {
        prop_assume!(cells.count() > 0);
        let (once, _) = run(&settings, &cells, no_surface()).unwrap();
        let (twice, outcome) = run(&settings, &once, no_surface()).unwrap();
        prop_assert_eq!(&twice, &once);
        for name in ["cells added", "cells removed", "contacts mended", "bridges", "islands removed"] {
            prop_assert_eq!(whole(&outcome, name), 0, "{}", name);
        }
        if settings.contacts == Contacts::Mend {
            prop_assert_eq!(contact_counts(&once).total(), 0);
        }
        if settings.voids == Voids::Fill {
            prop_assert_eq!(flood_from_outside(&once), air(&once));
        }
    }

    #[test]
    fn bridges_join_all_that_see_each_other(cells in random_solid()) {
        prop_assume!(cells.count() > 0);
        let sorted = islands::sort(&cells, Islands::Bridge);
        prop_assert_eq!(cells.minus(&sorted.cells).count(), 0);
        let added: i32 = sorted.bridges.iter().map(|bridge| bridge.length).sum();
        prop_assert!(sorted.cells.minus(&cells).count() as i32 <= added);
        // No piece sees another along an axis any more: looked at cell by cell.
        let pieces = Components::of(&sorted.cells, Neighbours::Corners);
        for cell in sorted.cells.iter() {
            for step in IVec3::AXES {
                let seen = (1..200).map(|n| cell + n * step).find(|&c| sorted.cells.solid(c));
                prop_assert!(seen.is_none_or(|seen| pieces.at(seen) == pieces.at(cell)));
            }
        }
    }
}

#[test]
fn pieces_stay_by_size() {
    let cells = Cells::from_fn(grid([12, 2, 1]), |c| [0, 1, 2, 4, 5, 7, 9, 11].contains(&c.x) && (c.x < 6 || c.y == 0));
    for (islands, left) in [
        (Islands::Largest, 6),
        (Islands::AtLeast(100), 6),
        (Islands::AtLeast(4), 10),
        (Islands::AtLeast(1), 13),
        (Islands::All, 13),
    ] {
        let (kept, outcome) = run(&Settings { islands, ..Settings::default() }, &cells, no_surface()).unwrap();
        assert_eq!(kept.count(), left, "{islands:?}");
        assert_eq!(codes(&outcome).contains(&(Severity::Caution, "loose-pieces")), left > 6, "{islands:?}");
    }
    let asked: Settings = serde_json::from_value(serde_json::json!({ "islands": { "at-least": 20 } })).unwrap();
    assert_eq!(asked.islands, Islands::AtLeast(20));
    for wrong in [
        serde_json::json!({ "islands": { "at-least": 0 } }),
        serde_json::json!({ "handling_load": "-1 N" }),
        serde_json::json!({ "least_safety": 0 }),
    ] {
        let settings: Settings = serde_json::from_value(wrong.clone()).unwrap();
        assert!(matches!(run(&settings, &cells, no_surface()), Err(Halt::Misfit(_))), "{wrong}");
    }
}

#[test]
fn the_shortest_run_joins_and_what_none_reaches_is_told() {
    // Two slabs, the upper one cell longer to the left, and a cell off to the right that sees only the upper: the slabs
    // are two apart everywhere, and joined at the lowest cell furthest to the front and left.
    let cells = Cells::from_fn(grid([9, 3, 4]), |c| match c.z {
        0 => (1..5).contains(&c.x),
        3 => c.x < 5 || c == IVec3::new(8, 1, 3),
        _ => false,
    });
    let settings = Settings { islands: Islands::Bridge, ..Settings::default() };
    let (joined, outcome) = run(&settings, &cells, no_surface()).unwrap();
    let added: Vec<IVec3> = joined.minus(&cells).iter().collect();
    let wanted = [[1, 0, 1], [1, 0, 2], [5, 1, 3], [6, 1, 3], [7, 1, 3]].map(IVec3::from_array);
    assert_eq!(added, wanted);
    assert_eq!((whole(&outcome, "bridges"), whole(&outcome, "cells in bridges")), (2, 5));
    assert!(codes(&outcome).contains(&(Severity::Caution, "pieces-bridged")));
    // Two cells that share no line along an axis.
    let apart = listed(&[[0, 0, 0], [3, 2, 1]]);
    let (same, outcome) = run(&settings, &apart, no_surface()).unwrap();
    assert_eq!(same, apart);
    let told = outcome.findings.iter().find(|finding| finding.code == "loose-pieces").unwrap();
    assert!(told.message.contains("no straight run"), "{}", told.message);
}

#[test]
fn a_part_on_a_weak_neck_is_told_with_what_it_bears() {
    // The conformance process has 1.5 g/cm³ and 10 MPa; this one 1 g/cm³ and none.
    let cells = Cells::from_fn(grid([20, 5, 5]), |c| c.x < 5 || (c.y == 2 && c.z == 2));
    let (_, outcome) = repaired(&cells);
    assert_eq!(whole(&outcome, "one-cell necks"), 1);
    assert!(codes(&outcome).contains(&(Severity::Note, "necks")), "{:?}", codes(&outcome));
    // 15 cells of 1 mm³ hang on the block's own cell.
    assert!((number(&outcome, "mass on the weakest neck") - 0.015).abs() < 1e-12);
    // 6 · (5 N · 15 mm + 0.015 g · g · 8 mm), in MPa.
    let stress = 6.0 * (5.0 * 15.0 + 0.015e-3 * 9.80665 * 8.0);
    assert!((number(&outcome, "bending stress in the weakest neck") - stress).abs() < 1e-9);
}
