use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use glam::{DVec3, IVec3};

use super::*;
use crate::colorimetry::gamut::Hull;
use crate::conformance::{self, Folder};
use crate::findings::{Severity, Value};
use crate::process::Figure;
use crate::solid::{Cells, Grid, skin};
use crate::stage::Outcome;

fn six(colours: [&str; 6]) -> Six<Srgb> {
    Six(colours.map(|colour| colour.parse().expect("a colour")))
}

fn palette(colours: [&str; 6]) -> Palette {
    Palette::with(six(colours), Six([true; 6]), &Printable::Every)
}

fn close_ones() -> [&'static str; 6] {
    ["#c8553d", "#2a6f97", "#c06a3f", "#588157", "#f4f1de", "#3d405b"]
}

/// The patches of a dull printer, as in the tests of the gamut.
fn dull() -> Vec<Srgb> {
    [
        [240, 238, 230],
        [52, 50, 50],
        [190, 60, 50],
        [60, 120, 70],
        [50, 60, 130],
        [60, 140, 160],
        [170, 60, 110],
        [220, 190, 70],
    ]
    .map(Srgb)
    .to_vec()
}

/// What is said of a cube with these colours.
fn said_of(colours: [&str; 6], gamut: Option<Vec<Srgb>>, change: impl FnOnce(&mut Paint)) -> Outcome {
    let sides = six(colours);
    let grid = Grid { origin: DVec3::ZERO, cell: 3.0, counts: IVec3::ONE };
    let faces: Arc<[_]> = skin::outside_faces(&Cells::from_fn(grid, |_| true), None).into();
    let ink = faces.iter().map(|face| face.side as u32).collect();
    let mut paint = Paint { colours: sides.0.to_vec(), faces, ink, sides, inside: sides.0[0], guard: None };
    change(&mut paint);
    let mut process = conformance::process();
    process.gamut = gamut.map(|value| Figure { value, range: None, basis: String::new() });
    let (files, never, mut shelf) = (Default::default(), AtomicBool::new(false), Folder::at(Default::default()));
    let mut shop = Shop::new(&process, &files, &[], &never, &mut shelf);
    say(&mut shop, &paint).expect("nobody asked to stop");
    shop.close()
}

fn rows(said: &Outcome, name: &str) -> Vec<Vec<String>> {
    let fact = said.facts.iter().find(|fact| fact.name == name).expect("it is said");
    let Value::Table { columns, rows } = &fact.value else { panic!("{name} is a table") };
    assert!(rows.iter().all(|row| row.len() == columns.len()));
    rows.clone()
}

/// The six of sRGB: gaps reckoned with colour-science 0.4.7 from its own sRGB; red and yellow 64.308, yellow and green 23.402,
/// green and blue 83.183, cyan and magenta 57.983; with its Machado matrices yellow and green are 4.070 apart for protan, 8.655
/// for deutan.
#[test]
fn gaps_are_those_of_colour_science() {
    let said = said_of(["#f00", "#0ff", "#ff0", "#f0f", "#0f0", "#00f"], None, |_| {});
    let rows = rows(&said, "colours of neighbouring sides");
    assert_eq!(rows.len(), 12);
    let row = |sides: &str| rows.iter().find(|row| row[0] == sides).expect("they are neighbours").clone();
    assert_eq!(row("right and back")[1..3], ["64.3", "64.3"]);
    assert_eq!(row("left and front")[1], "58.0");
    assert_eq!(row("back and top")[1..5], ["23.4", "23.4", "4.1", "8.7"]);
    assert!(!rows.iter().any(|row| row[0] == "right and left" || row[0] == "top and bottom"));
    let [close] = &said.findings[..] else { panic!("{:?}", said.findings) };
    assert_eq!((close.code.as_str(), close.severity), ("colours-too-close", Severity::Note));
    assert!(close.message.contains("back and top"), "{}", close.message);
}

#[test]
fn colours_that_cannot_be_printed_are_told_with_the_nearest() {
    let said = said_of(["#c8553d", "#0000ff", "#d8b850", "#588157", "#eceae0", "#45455b"], Some(dull()), |_| {});
    let rows = rows(&said, "printable colours");
    let hull = Printable::Hull(Hull::of(&dull()).expect("it spans a volume"));
    for (side, row) in Side::ALL.into_iter().zip(&rows) {
        assert_eq!(row[0], side.to_string());
        let [chosen, printed] = [&row[1], &row[2]].map(|colour| colour.parse::<Srgb>().expect("a colour"));
        assert!(hull.is_in_gamut(printed));
        assert_eq!(row[3], format!("{:.1}", difference(lab(chosen), lab(printed))));
    }
    let left = said.findings.iter().find(|finding| finding.message.contains("of left")).expect("blue is out");
    assert_eq!((left.code.as_str(), left.severity), ("out-of-gamut", Severity::Caution));
    assert!(left.remedy.contains(&format!("set `colour.left: \"{}\"`", rows[1][2])), "{}", left.remedy);
    assert!(!said.findings.iter().any(|finding| finding.message.contains("of back")), "{:?}", said.findings);
}

#[test]
fn where_colours_are_far_apart_nothing_is_found() {
    let said = said_of(["#8c2d19", "#6fb3d9", "#f2d479", "#1f4e79", "#faf7ea", "#202020"], None, |_| {});
    assert_eq!(said.findings, [], "{:?}", rows(&said, "colours of neighbouring sides"));
}

#[test]
fn a_suggestion_keeps_the_hues_and_widens_the_smallest_gap() {
    let hull = Printable::Hull(Hull::of(&dull()).expect("it spans a volume"));
    for printable in [Printable::Every, hull] {
        let palette = Palette::with(six(close_ones()), Six([true; 6]), &printable);
        let better = suggestion::wider(&palette, &printable).expect("there is room");
        assert!(better.after >= better.before + NOTICEABLE);
        let after = Palette::with(better.colours, Six([true; 6]), &printable);
        let smallest = neighbours().map(|sides| after.gap(sides).weighed()).fold(f64::INFINITY, f64::min);
        assert!((smallest - better.after).abs() < 1e-9, "{smallest}, promised {}", better.after);
        for side in Side::ALL {
            assert!(printable.is_in_gamut(better.colours[side]), "{side}");
            let [chosen, found] = [palette.chosen[side], better.colours[side]].map(lab);
            let [before, now] = [chosen, found].map(|Lab { a, b, .. }| libm::hypot(a, b));
            if before >= GREY && better.colours[side] != palette.printed[side] {
                let turn = (libm::atan2(chosen.b, chosen.a) - libm::atan2(found.b, found.a)).to_degrees().abs();
                assert!(turn.min(360.0 - turn) <= HUE, "{side}: {turn}°");
                assert!(now > 0.45 * before, "{side}: {before} to {now}");
            }
        }
        let words = better.in_words();
        assert!(
            Side::ALL.iter().all(|side| words.contains(&format!("{side}: \"{}\"", better.colours[*side]))),
            "{words}"
        );
    }
}

/// With the same colour on opposite sides there are three colours, and every triple of choices can be tried.
#[test]
fn no_triple_of_choices_has_a_wider_smallest_gap() {
    let palette = palette(["#c8553d", "#c8553d", "#c06a3f", "#c06a3f", "#a05050", "#a05050"]);
    let (found, brute) = suggestion::widest_and_brute_force(&palette);
    assert!((found - brute).abs() < 1e-12, "{found}, by trying all {brute}");
    let better = suggestion::wider(&palette, &Printable::Every).expect("there is room");
    assert_eq!(better.colours[Side::Right], better.colours[Side::Left], "the same colours stay the same");
}

#[test]
fn greys_stay_grey() {
    let palette = palette(["#808080", "#2a6f97", "#888888", "#588157", "#f4f1de", "#3d405b"]);
    let better = suggestion::wider(&palette, &Printable::Every).expect("there is room");
    for side in [Side::Right, Side::Back] {
        let Lab { a, b, .. } = lab(better.colours[side]);
        assert!(libm::hypot(a, b) < 2.0);
    }
}

/// A side with more than one colour is no setting to paste, and stays as it is.
#[test]
fn sides_with_many_colours_are_left_alone() {
    let said = said_of(close_ones(), None, |paint| {
        paint.colours.push(Srgb([1, 2, 3]));
        let front = paint.faces.iter().position(|face| face.side == Side::Front).expect("a cube has a front");
        paint.ink[front] = 6;
    });
    let close = said.findings.iter().find(|finding| finding.code == "colours-too-close").expect("right and back");
    assert!(close.remedy.contains("back: \"#"), "{}", close.remedy);
    assert!(!close.remedy.contains("front"), "{}", close.remedy);
}

/// What `same-colour` tells already is not told again.
#[test]
fn the_same_colour_twice_is_no_small_gap() {
    let mut colours = ["#8c2d19", "#6fb3d9", "#f2d479", "#1f4e79", "#faf7ea", "#202020"];
    colours[2] = colours[0];
    let said = said_of(colours, None, |_| {});
    assert_eq!(said.findings, []);
    assert_eq!(rows(&said, "colours of neighbouring sides")[0][1..], ["0.0"; 5]);
}
