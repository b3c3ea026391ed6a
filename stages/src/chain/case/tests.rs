//! Tests of the stage as a whole, around a stand whose sizes are round numbers.

#![expect(clippy::unwrap_used, reason = "tests")]

use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::AtomicBool;

use glam::{DVec2, DVec3};
use proptest::prelude::*;
use serde_json::{Value as Json, json};

use super::design::{Design, design};
use super::panel::{Panel, Purpose, Stuff};
use super::sheets::{end, nested};
use super::{Case, Settings, bending, cutlist, solids};
use crate::conformance::{Folder, process};
use crate::findings::{Severity, Value};
use crate::mounts::{Mounts, Swept};
use crate::solid::section::signed_area;
use crate::stage::{Halt, Misfit, Outcome, Shop};
use crate::workpiece::Workpiece;

fn mounts() -> Mounts {
    Mounts {
        axis: DVec2::new(30.0, 40.0),
        foot: 0.0,
        rest: -3.0,
        hub: 8.0,
        hub_end: -10.0,
        swept: Swept { radius: 90.0, low: 0.0, high: 180.0 },
        mass: 900.0,
        torque: 40.0,
        base: 50.0,
        bodies: Vec::new(),
    }
}

fn settings(json: Json) -> Settings {
    serde_json::from_value(json).unwrap()
}

fn designed(json: Json) -> (Settings, Design) {
    let settings = settings(json);
    let design = design(&settings, &mounts()).unwrap();
    (settings, design)
}

/// What the stage says of a case and makes of it in a folder; in a draft nothing is made.
fn tried(settings: Json, mounts: Mounts, folder: &std::path::Path, draft: bool) -> Result<Outcome, Halt> {
    let piece = Workpiece::default().with_mounts(mounts);
    let ready = crate::stage::erase::<Case>().read(settings).unwrap();
    let (process, files, cancel) = (process(), BTreeMap::new(), AtomicBool::new(false));
    let mut shelf = Folder::at(folder.to_path_buf());
    let shop = Shop::new(&process, &files, &[], &cancel, &mut shelf).titled("Test piece");
    let mut shop = if draft { shop.drafting() } else { shop };
    ready.check(&shop)?;
    ready.run(piece, &mut shop)?;
    Ok(shop.close())
}

fn said(settings: Json, mounts: Mounts) -> Result<Outcome, Halt> {
    tried(settings, mounts, std::path::Path::new("nowhere"), true)
}

fn outcome(settings: Json) -> Outcome {
    said(settings, mounts()).unwrap()
}

fn misfit(settings: Json) -> Misfit {
    match said(settings, mounts()) {
        Err(Halt::Misfit(misfit)) => misfit,
        other => panic!("{:?}", other.map(|outcome| outcome.findings)),
    }
}

fn number(outcome: &Outcome, name: &str) -> f64 {
    match outcome.facts.iter().find(|fact| fact.name == name).map(|fact| &fact.value) {
        Some(Value::Number(value)) => *value,
        other => panic!("{name}: {other:?}"),
    }
}

fn triple(outcome: &Outcome, name: &str) -> [f64; 3] {
    match outcome.facts.iter().find(|fact| fact.name == name).map(|fact| &fact.value) {
        Some(Value::Triple(value)) => *value,
        other => panic!("{name}: {other:?}"),
    }
}

/// What is found beside the invented motor.
fn found(settings: Json) -> Vec<(Severity, String, String)> {
    let all = outcome(settings).findings.into_iter().filter(|f| f.code != "case-motor-assumed");
    all.map(|f| (f.severity, f.code, f.remedy)).collect()
}

fn found_one(settings: Json, severity: Severity, code: &str, remedy: &str) {
    let found = found(settings);
    assert!(
        matches!(found.as_slice(), [(s, c, r)] if *s == severity && c == code && r.contains(remedy)),
        "{code}: {found:?}"
    );
}

#[test]
fn sizes_are_those_reckoned_by_hand() {
    let outcome = outcome(json!({}));
    // 2 · (90 + 15) mm inside the cover; 4 mm of sheet on each side, and a rim of 8.
    assert_eq!(number(&outcome, "inner width of the cover"), 210.0);
    // The shaft of 25 mm reaches 10 mm into a socket that begins 7 mm below the top: its face lies 22 mm below the top's
    // upper side; with a motor of 40 mm, 15 mm of room and a bottom of 6 mm: 83.
    assert_eq!(triple(&outcome, "box"), [234.0, 234.0, 83.0]);
    // 180 − (−3) + 15 of wall, and the top on it.
    assert_eq!(triple(&outcome, "cover"), [218.0, 218.0, 202.0]);
    assert_eq!(number(&outcome, "shaft in the socket"), 10.0);
    // From the top's underside at −9 to the plate's upper side at −25 + 6.
    assert_eq!(number(&outcome, "spacers between top and motor plate"), 10.0);
    assert_eq!(number(&outcome, "opening for the hub"), 18.0);
    // 300 mm² of holes of 5 mm, 19.63 mm² each: 16 of them.
    assert!((number(&outcome, "open area of the back") - 16.0 * 19.634954).abs() < 1e-3);
    // 4 mm of 1.19 g/cm³: two walls of 218 × 198, two of 210 × 198, and a top of 218 × 218 mm.
    let area = 2.0 * 198.0 * (218.0 + 210.0) + 218.0 * 218.0;
    assert!((number(&outcome, "weight of the cover") - area * 4.0 * 1.19 / 1000.0).abs() < 1e-9);
    // 0.00406 q a⁴ / D: q = 1.19e-6 kg/mm³ · 9.80665 · 4 mm, a = 210 mm, D = 2800 · 4³ / (12 (1 − 0.37²)) N·mm.
    let rigidity = 2800.0 * 64.0 / (12.0 * (1.0 - 0.1369));
    let sag = 0.00406 * 1.19e-6 * 9.80665 * 4.0 * 210f64.powi(4) / rigidity;
    assert!((number(&outcome, "sag of the cover's top") - sag).abs() < 1e-12 && sag < 0.03);
    // 0.0116 P a² / D: 1.15 kg, 222 mm, D = 3000 · 6³ / (12 · 0.91).
    let rigidity = 3000.0 * 216.0 / (12.0 * 0.91);
    let sag = 0.0116 * 1.15 * 9.80665 * 222.0 * 222.0 / rigidity;
    assert!((number(&outcome, "sag of the box's top") - sag).abs() < 1e-12);
}

#[test]
fn a_butted_box_weighs_its_panels() {
    let outcome = outcome(json!({ "box": { "joint": "butt", "vent": 0 } }));
    // Walls of 77 mm; the bottom half a mm smaller all around; the plate 80 mm (30 + 2 · (1 + 7.66 / 2) each way,
    // and then a whole number).
    let plate: f64 = 80.0;
    let panels = 234.0 * 234.0 + 2.0 * 77.0 * (234.0 + 222.0) + 221.0 * 221.0 + plate * plate;
    let strips = 8.0 * 2.0 * (209.0 + 193.0);
    let quarter = std::f64::consts::FRAC_PI_4;
    // Hub, boss, motor, pillars twice, eight wood screws into the battens.
    let holes = 18.0 * 18.0 + 13.0 * 13.0 + 4.0 * 3.4 * 3.4 + 8.0 * 4.5 * 4.5 + 6.0 * 3.3 * 3.3;
    let notch = 8.0 * 14.0;
    let battens = 2.0 * 221.0 * 12.0 * 12.0;
    let volume = 6.0 * (panels + strips - quarter * holes - notch) + battens;
    let told = number(&outcome, "weight of the box");
    assert!((told - volume * 0.68 / 1000.0).abs() < 1e-6, "{told} {}", volume * 0.68 / 1000.0);
}

/// Whether a point in the piece's coordinates is in a panel, by its outline.
fn holds(panel: &Panel, thick: f64, point: DVec3) -> bool {
    let from = point - panel.seat.origin;
    let (x, y) = (from.dot(panel.seat.right), from.dot(panel.seat.up));
    let deep = from.dot(panel.seat.right.cross(panel.seat.up));
    if !(0.0..thick).contains(&deep) {
        return false;
    }
    let next = panel.outline.iter().cycle().skip(1);
    let crossed = panel
        .outline
        .iter()
        .zip(next)
        .filter(|(a, b)| (a.y < y) != (b.y < y) && x < a.x + (b.x - a.x) * (y - a.y) / (b.y - a.y));
    crossed.count() % 2 == 1
}

#[test]
fn fingers_fill_the_shell_of_the_box_without_gap_or_overlap() {
    let (settings, design) =
        designed(json!({ "box": { "fit": 0, "finger": "11 mm" }, "board": { "thickness": "5 mm" } }));
    let walls: Vec<&Panel> = design.panels.iter().take(5).collect();
    let low = (design.axis - design.outer.truncate() / 2.0).extend(design.floor);
    let mut inside = 0;
    // Points between all lines, denser than the thickness.
    let steps = (design.outer / 2.3).ceil().as_ivec3();
    let notch = |p: DVec3| (p.x - design.outer.x / 2.0).abs() < 4.1 && p.y > design.outer.y - 5.1 && p.z < 13.1;
    for i in 0..steps.x {
        for j in 0..steps.y {
            for k in 0..steps.z {
                let p = (DVec3::new(f64::from(i), f64::from(j), f64::from(k)) + 0.517) * 2.3;
                let rim =
                    |axis: usize| p[axis] < 5.0 || (design.outer[axis] - p[axis] < 5.0 && p[axis] < design.outer[axis]);
                if p.cmpge(design.outer).any() || notch(p) {
                    continue;
                }
                let shell = rim(0) || rim(1) || design.outer.z - p.z < 5.0;
                let count = walls.iter().filter(|panel| holds(panel, settings.thickness(), low + p)).count();
                assert_eq!(count, usize::from(shell), "{p}");
                inside += count;
            }
        }
    }
    assert!(inside > 10_000);
}

#[test]
fn fit_leaves_the_gap_between_fingers() {
    let (_, tight) = designed(json!({ "box": { "fit": 0 } }));
    let (_, loose) = designed(json!({ "box": { "fit": "0.4 mm" } }));
    for (tight, loose) in tight.panels.iter().zip(&loose.panels).take(5) {
        assert_eq!(tight.size, loose.size);
        let lost = signed_area(&tight.outline) - signed_area(&loose.outline);
        // Every side of a finger gives up half the gap over the thickness of 6 mm. Sides: those of the outline that are as
        // long as a panel is thick.
        let next = tight.outline.iter().cycle().skip(1);
        let sides = tight.outline.iter().zip(next).filter(|(a, b)| (a.distance(**b) - 6.0).abs() < 1e-9).count();
        assert!((lost - sides as f64 * 0.2 * 6.0).abs() < 0.2 * 0.2 * 8.0 + 1e-6, "{}: {lost} {sides}", tight.name);
    }
}

/// The volume that two blocks share.
fn shared(a: &solids::Block, b: &solids::Block) -> f64 {
    let size = (a.high.min(b.high) - a.low.max(b.low)).max(DVec3::ZERO);
    size.element_product()
}

#[test]
fn nothing_of_a_butted_case_shares_a_place() {
    for kind in ["lid", "slip-over"] {
        let (settings, design) = designed(json!({ "box": { "joint": "butt" }, "cover": { "kind": kind } }));
        let blocks = solids::of(&design, &settings);
        for (i, a) in blocks.iter().enumerate() {
            for b in &blocks[..i] {
                assert!(shared(a, b) < 1e-6, "{kind}: {} and {}", a.name, b.name);
            }
        }
    }
}

/// Least distance of a block to an upright line.
fn beside(block: &solids::Block, axis: DVec2) -> f64 {
    let nearest = axis.clamp(block.low.truncate(), block.high.truncate());
    nearest.distance(axis)
}

#[test]
fn what_turns_is_free() {
    for kind in ["lid", "slip-over"] {
        let mounts = mounts();
        let (settings, design) = designed(json!({ "cover": { "kind": kind, "clearance": "17 mm" } }));
        for block in solids::of(&design, &settings) {
            let above = block.high.z > mounts.swept.low && block.low.z < mounts.swept.high;
            let clear = beside(&block, mounts.axis) - mounts.swept.radius;
            if above {
                assert!(clear >= if block.clear { 17.0 } else { 2.0 }, "{}: {clear}", block.name);
            } else if block.low.z >= mounts.swept.high {
                let least = if block.name == "lid strip" { 13.0 } else { 17.0 };
                assert!(block.low.z - mounts.swept.high >= least, "{}", block.name);
            }
            // The hub in the top, and above the motor plate.
            if block.high.z > mounts.hub_end && block.low.z < mounts.rest {
                assert!(beside(&block, mounts.axis) >= mounts.hub + 1.0 - 1e-9, "{}", block.name);
            }
        }
    }
}

#[test]
fn holes_stay_in_their_panels_and_off_each_other() {
    for joint in ["finger", "butt"] {
        let (_, design) = designed(json!({
            "box": { "joint": joint, "vent": 900 }, "board": { "thickness": "12 mm" }, "motor": { "shaft": "35 mm" },
            "screws": { "length": "20 mm" },
        }));
        for panel in &design.panels {
            for (n, hole) in panel.holes.iter().enumerate() {
                let radius = hole.diameter / 2.0;
                assert!(hole.at.cmpgt(DVec2::splat(radius)).all(), "{} {hole:?}", panel.name);
                assert!(hole.at.cmplt(panel.size - radius).all(), "{} {hole:?}", panel.name);
                for other in &panel.holes[..n] {
                    let apart = hole.at.distance(other.at) - radius - other.diameter / 2.0;
                    assert!(apart > 1.0, "{} {hole:?} {other:?}", panel.name);
                }
            }
        }
        let wood = design.panels.iter().flat_map(|p| &p.holes).filter(|h| h.purpose == Purpose::Wood).count();
        assert!(if joint == "butt" { wood > 20 } else { wood < 10 }, "{joint} {wood}");
    }
}

#[test]
fn each_panel_lies_on_a_sheet_of_its_stuff_and_the_waste_adds_up() {
    let (settings, design) =
        designed(json!({ "board": { "sheet": [400, 300] }, "cover": { "sheet": { "sheet": [500, 400] } } }));
    let nested = nested(&design, &settings).unwrap();
    let mut used = BTreeMap::new();
    for (panel, laid) in design.panels.iter().zip(&nested.laid) {
        assert_eq!(nested.sheets[laid.sheet], panel.stuff);
        let sheet = if panel.stuff == Stuff::Board { [400.0, 300.0] } else { [500.0, 400.0] };
        assert!(end(panel, laid).cmple(DVec2::from(sheet) - 5.0).all(), "{}", panel.name);
        *used.entry(panel.stuff).or_insert(0.0) += panel.area();
    }
    for (stuff, sheet) in [(Stuff::Board, 400.0 * 300.0), (Stuff::Clear, 500.0 * 400.0)] {
        let count = nested.count(stuff) as f64;
        assert!(count > 1.0);
        let waste = nested.waste(&design, &settings, stuff);
        assert!((waste * sheet * count + used[&stuff] - sheet * count).abs() < 1e-6);
    }
    let numbers: BTreeSet<usize> = (0..nested.sheets.len()).flat_map(|sheet| nested.on(sheet)).collect();
    assert_eq!(numbers.len(), design.panels.len());
}

#[test]
fn the_cut_list_has_every_panel_once() {
    let (settings, design) = designed(json!({}));
    let sheets = vec![0; design.panels.len()];
    let list = cutlist::cut(&design, &settings, &sheets);
    let numbers: Vec<usize> = list
        .iter()
        .flat_map(|row| row[0].split(", ").filter(|n| !n.is_empty()).map(|n| n.parse().unwrap()).collect::<Vec<_>>())
        .collect();
    assert_eq!(numbers.iter().copied().collect::<BTreeSet<_>>(), (1..=design.panels.len()).collect::<BTreeSet<_>>());
    assert_eq!(numbers.len(), design.panels.len());
    assert!(list.iter().all(|row| row.len() == cutlist::CUT.len()));
    // The kerf of 0.2 mm is added to what is finished.
    let top = list.iter().find(|row| row[1] == "box top").unwrap();
    assert_eq!([top[5].as_str(), top[6].as_str()], ["234 × 234", "234.2 × 234.2"]);
    let walls = list.iter().find(|row| row[1].starts_with("cover front")).unwrap();
    assert_eq!([walls[1].as_str(), walls[2].as_str()], ["cover front, cover back", "2"]);
    assert!(cutlist::drill(&design, &settings).iter().all(|row| row.len() == cutlist::DRILL.len()));
}

#[test]
fn a_usual_case_raises_nothing_but_the_invented_motor() {
    let findings = outcome(json!({})).findings;
    assert_eq!(findings.iter().map(|f| f.code.as_str()).collect::<Vec<_>>(), ["case-motor-assumed"]);
    assert!(found(json!({ "motor": { "mass": 300 } })).is_empty());
}

#[test]
fn what_does_not_fit_the_motor_is_found() {
    // 10 mm into the socket, 6 mm of plate and 2.4 mm of head and gap below the hub: see sizes above.
    found_one(json!({ "motor": { "shaft": "14 mm" } }), Severity::Caution, "case-shaft-too-short", "18.4 mm");
    found_one(json!({ "motor": { "shaft": "9 mm" } }), Severity::Fault, "case-shaft-too-short", "18.4 mm");
    assert!(found(json!({ "motor": { "shaft": "18.4 mm" } })).is_empty());
    found_one(json!({ "motor": { "torque": 39 } }), Severity::Fault, "case-motor-too-weak", "stronger");
    assert!(found(json!({ "motor": { "torque": 40 } })).is_empty());
    found_one(json!({ "motor": { "screw": "12 mm" } }), Severity::Fault, "case-motor-screw", "motor.screw: 10 mm");
    found_one(json!({ "motor": { "screw": "8 mm" } }), Severity::Caution, "case-motor-screw", "motor.screw: 10 mm");
    found_one(json!({ "motor": { "supply": "mains" } }), Severity::Caution, "case-mains-motor", "extra-low");
}

#[test]
fn screws_that_come_through_or_hold_badly_are_found() {
    let with = |length: &str| json!({ "screws": { "length": length } });
    found_one(with("20 mm"), Severity::Fault, "case-screw-comes-through", "screws.length: 16 mm");
    found_one(with("17.5 mm"), Severity::Fault, "case-screw-comes-through", "screws.length: 16 mm");
    found_one(with("12 mm"), Severity::Caution, "case-screw-short", "screws.length: 16 mm");
    let thick = json!({ "screws": { "size": "4 mm" } });
    found_one(thick, Severity::Caution, "case-batten-thin", "16 mm");
    found_one(json!({ "box": { "joint": "butt" } }), Severity::Caution, "case-edges-only-glued", "finger");
}

#[test]
fn what_is_too_thin_or_too_heavy_is_found() {
    let sheet = |mm: f64| json!({ "cover": { "sheet": { "thickness": mm, "sheet": [2000, 2000] } }, "board": { "sheet": [2000, 2000] } });
    found_one(sheet(1.5), Severity::Caution, "case-cover-thin", "cover.sheet.thickness");
    assert!(found(sheet(2.0)).is_empty());
    // 3 mm over 1000 mm: 0.00406 · 3.5e-5 N/mm² · 10¹² / 7299 N·mm: 19.5 mm, more than a three hundredth.
    let wide = Mounts { swept: Swept { radius: 485.0, ..mounts().swept }, ..mounts() };
    let codes: Vec<String> = said(sheet(3.0), wide).unwrap().findings.into_iter().map(|f| f.code).collect();
    assert!(codes.contains(&"case-cover-thin".to_owned()), "{codes:?}");
    found_one(json!({ "shelf": 1.5 }), Severity::Fault, "case-shelf-overloaded", "another place");
    let thin = json!({ "board": { "thickness": "3 mm" }, "screws": { "length": "13 mm" } });
    let codes: Vec<String> = found(thin).into_iter().map(|(_, code, _)| code).collect();
    assert_eq!(codes, ["case-top-thin", "case-top-sags"]);
}

#[test]
fn stock_that_is_too_small_or_too_little_is_found() {
    let small = misfit(json!({ "board": { "sheet": [300, 200] } }));
    assert_eq!(small.setting, "board.sheet");
    assert!(small.message.contains("box top of 234 × 234 mm") && small.remedy.contains("245 × 245"), "{small:?}");
    let small = misfit(json!({ "cover": { "sheet": { "sheet": [220, 180] } } }));
    assert_eq!(small.setting, "cover.sheet.sheet");
    let few = json!({ "board": { "sheet": [300, 300], "sheets": 2 } });
    found_one(few, Severity::Fault, "case-too-few-sheets", "board.sheets");
}

#[test]
fn settings_that_cannot_be_are_refused() {
    for (settings, wrong) in [
        (json!({ "box": { "size": [140, 300] } }), "box.size[0]"),
        (json!({ "box": { "size": [300, 200] } }), "box.size[1]"),
        (json!({ "box": { "height": "80 mm" } }), "box.height"),
        (json!({ "box": { "vent": 90_000 } }), "box.vent"),
        (json!({ "box": { "vent_hole": "13 mm" } }), "box.vent_hole"),
        (json!({ "cover": { "clearance": "10 mm" } }), "cover.clearance"),
        (json!({ "motor": { "holes": [[5, 0], [-20, 0]] } }), "motor.holes[0]"),
        (json!({ "motor": { "holes": [[20, 0], [20, 1]] } }), "motor.holes[1]"),
        (json!({ "motor": { "holes": [[20, 0]] } }), "motor.holes"),
        (json!({ "motor": { "circle": { "diameter": 12 } } }), "motor.circle"),
        (json!({ "motor": { "circle": { "count": 1 } } }), "motor.circle.count"),
        (json!({ "motor": { "torque": 0 } }), "motor.torque"),
        (json!({ "motor": { "mass": -1 } }), "motor.mass"),
        (json!({ "motor": { "body": [60, 60, 0] } }), "motor.body[2]"),
        (json!({ "board": { "thickness": 0 } }), "board.thickness"),
        (json!({ "board": { "density": 0 } }), "board.density"),
        (json!({ "board": { "sheets": 0 } }), "board.sheets"),
        (json!({ "cut": { "kerf": -1 } }), "cut.kerf"),
        (json!({ "shelf": 0 }), "shelf"),
    ] {
        let misfit = misfit(settings.clone());
        assert_eq!(misfit.setting, wrong, "{settings}");
        assert!(!misfit.remedy.is_empty());
    }
    let low = misfit(json!({ "box": { "height": "80 mm" } }));
    assert!(low.message.contains("motor does not fit") && low.remedy.contains("83 mm"), "{low:?}");
}

#[test]
fn files_are_there_and_lie_in_true_size() {
    let folder = tempfile::tempdir().unwrap();
    let settings = json!({ "cut": { "kerf_in": "drawing", "kerf": 3 } });
    let outcome = tried(settings, mounts(), folder.path(), false).unwrap();
    let names: Vec<&str> = outcome.artefacts.iter().map(|a| a.name.as_str()).collect();
    for name in [
        "case-cut-list.csv",
        "case-drilling-list.csv",
        "case-hardware-list.csv",
        "case-sheet-1.svg",
        "case-sheet-1.dxf",
        "case-drilling-top-a4.svg",
        "case-drilling-motor-plate-letter.svg",
        "case-drilling-a4.pdf",
        "case-section.svg",
        "case-view.png",
    ] {
        assert!(names.contains(&name), "{name}: {names:?}");
    }
    let sheet = std::fs::read_to_string(folder.path().join("case-sheet-1.svg")).unwrap();
    assert!(sheet.contains("width=\"800mm\" height=\"614mm\""), "{}", &sheet[..200]);
    // The hub's hole of 18 mm, less half a kerf of 3 mm all around.
    assert!(sheet.contains("r=\"7.5\""));
    let dxf = std::fs::read_to_string(folder.path().join("case-sheet-1.dxf")).unwrap();
    assert!(dxf.contains("\n 40\n7.5\n"));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, ..ProptestConfig::default() })]
    #[test]
    fn any_stand_and_motor_get_a_case_that_keeps_its_word(
        radius in 20.0..200.0f64, high in 20.0..400.0f64, hub in 4.0..20.0f64, below in 0.0..15.0f64,
        body in (10.0..120.0f64, 10.0..120.0f64, 10.0..90.0f64), offset in (-20.0..20.0f64, -20.0..20.0f64),
        shaft in 5.0..60.0f64, thickness in 3.0..15.0f64, butt in any::<bool>(), lid in any::<bool>(),
    ) {
        let mounts = Mounts {
            hub, hub_end: -3.0 - below, base: radius * 0.6,
            swept: Swept { radius, low: 0.0, high }, ..mounts()
        };
        let settings = settings(json!({
            "motor": { "body": [body.0, body.1, body.2], "offset": [offset.0, offset.1], "shaft": shaft },
            "board": { "thickness": thickness, "sheet": [2000, 1000] },
            "box": { "joint": if butt { "butt" } else { "finger" }, "vent": 100 },
            "cover": { "kind": if lid { "lid" } else { "slip-over" }, "sheet": { "sheet": [2000, 1000] } },
        }));
        prop_assert!(settings.check().is_ok());
        let design = design(&settings, &mounts).map_err(|m| TestCaseError::fail(format!("{m:?}")))?;
        let blocks = solids::of(&design, &settings);
        for (i, a) in blocks.iter().enumerate() {
            for b in &blocks[..i] {
                // Fingers make the blocks of the walls and the top overlap at the edges.
                let fingers = !butt && a.name.starts_with("box") && b.name.starts_with("box") && a.name != "box bottom";
                prop_assert!(fingers || shared(a, b) < 1e-6, "{} and {}", a.name, b.name);
            }
            let free = beside(a, mounts.axis);
            if a.clear && a.high.z > 0.0 && a.low.z < high {
                prop_assert!(free >= radius + 15.0 - 1e-9, "{}: {free}", a.name);
            }
            if a.high.z > mounts.hub_end && a.low.z < mounts.rest {
                prop_assert!(free >= hub, "{}: {free} in the way of the hub", a.name);
            }
        }
        // As asked, or as far as there is shaft.
        prop_assert!((design.reach - 10.0).abs() < 1e-9 || shaft < design.shaft_needed);
        for panel in &design.panels {
            let smallest = panel.outline.iter().fold(DVec2::MAX, |a, b| a.min(*b));
            let largest = panel.outline.iter().fold(DVec2::MIN, |a, b| a.max(*b));
            prop_assert_eq!(smallest, DVec2::ZERO);
            prop_assert_eq!(largest, panel.size);
        }
        prop_assert!(bending::top(&design, &settings, 1.0) > 0.0);
    }
}
