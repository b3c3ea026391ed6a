#![allow(clippy::unwrap_used)]

use std::collections::BTreeMap;
use std::io::Cursor;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use glam::{DVec3, IVec3};
use image::{DynamicImage, ImageFormat, Rgb, RgbImage};
use proptest::prelude::*;
use serde_json::{Value, json};

use super::*;
use crate::conformance::{Folder, Trial};
use crate::findings;
use crate::formats::ColouredMesh;
use crate::formats::picture::{View, render};
use crate::paint::Paint;
use crate::solid::{Cells, Face, Grid};
use crate::stage::{Outcome, erase};
use crate::{Side, Srgb};

const RED: [u8; 3] = [255, 0, 0];
const GREEN: [u8; 3] = [0, 255, 0];
const BLUE: [u8; 3] = [0, 0, 255];
const WHITE: [u8; 3] = [255; 3];
const BLACK: [u8; 3] = [0; 3];
/// IEC 61966-2-1: half the light of white is 0.7354 of the code, 187.5 of 255.
const HALF: [u8; 3] = [188; 3];

fn picture<const W: usize, const H: usize>(rows: [[[u8; 3]; W]; H]) -> RgbImage {
    RgbImage::from_fn(W as u32, H as u32, |x, y| Rgb(rows[y as usize][x as usize]))
}

fn png(picture: RgbImage) -> Arc<[u8]> {
    let mut bytes = Cursor::new(Vec::new());
    DynamicImage::from(picture).write_to(&mut bytes, ImageFormat::Png).unwrap();
    bytes.into_inner().into()
}

/// A block of cells of 2 mm, somewhere in the middle of its grid.
fn block(x: i32, y: i32, z: i32) -> Cells {
    let size = IVec3::new(x, y, z);
    let grid = Grid { origin: DVec3::new(7.0, -3.0, 1.0), cell: 2.0, counts: size + IVec3::new(3, 4, 5) };
    Cells::from_fn(grid, |cell| (cell - LOW).cmpge(IVec3::ZERO).all() && (cell - LOW).cmplt(size).all())
}

/// The lowest cell of every block.
const LOW: IVec3 = IVec3::new(1, 2, 3);

/// Sides of one colour, and what is set besides; the picture is `a.png`.
fn settings(set: &Value) -> Value {
    let mut settings = json!({
        "right": "#d00000", "left": "#0050ff", "back": "#ffd000", "front": "#00a000", "top": "#ffffff", "bottom": "#000000",
    });
    settings.as_object_mut().unwrap().extend(set.as_object().unwrap().clone());
    settings
}

struct Run {
    paint: Paint,
    said: Outcome,
    hull: Arc<Hull>,
}

/// What the stage does, but for the search for a better palette and the files, which take their time.
fn run(cells: Cells, picture: RgbImage, set: &Value) -> Run {
    let folder = tempfile::tempdir().unwrap();
    let files = BTreeMap::from([("a.png".to_owned(), png(picture))]);
    let (process, never) = (crate::conformance::process(), AtomicBool::new(false));
    let mut shelf = Folder::at(folder.path().to_path_buf());
    let mut shop = Shop::new(&process, &files, &[], &never, &mut shelf);
    let settings: Settings = serde_json::from_value(settings(set)).unwrap();
    Colour::check(&settings, &shop).unwrap();
    let piece = Workpiece::default().with_cells(cells);
    let hull = piece.hull().unwrap();
    let (_, paint) = lay(&settings, &piece, &hull, &mut shop).unwrap();
    let said = shop.close();
    Run { paint, said, hull }
}

impl Run {
    /// The colour of a cell's face; the cell is counted from the lowest of the piece.
    fn at(&self, side: Side, cell: [i32; 3]) -> [u8; 3] {
        let face = Face { cell: LOW + IVec3::from_array(cell), side };
        let at = self.paint.faces.iter().position(|&f| f == face).unwrap_or_else(|| panic!("no {face:?}"));
        self.paint.colours[self.paint.ink[at] as usize].0
    }

    fn number(&self, name: &str) -> f64 {
        let fact = self.said.facts.iter().find(|fact| fact.name == name).unwrap_or_else(|| panic!("no '{name}'"));
        let findings::Value::Number(number) = fact.value else { panic!("{fact:?}") };
        number
    }

    fn codes(&self) -> Vec<&str> {
        self.said.findings.iter().map(|finding| finding.code.as_str()).collect()
    }
}

/// The colours a sixth in from the corners of the silhouette, as a view of the piece has them.
fn corners_of_view(done: &Run, side: Side) -> [[u8; 3]; 4] {
    let (colours, ink) = writing::inks(&done.hull.skin, &done.paint, None, Srgb(WHITE));
    let (points, triangles) = (&done.hull.skin.points, &done.hull.skin.triangles);
    let mesh = ColouredMesh { points, triangles, colours: &colours, ink: &ink };
    let view = render(&mesh, View::Side(side), 90);
    let edge = view.edge() as usize;
    let solid = |at: &usize| view.pixels()[*at][3] == 255;
    let xs: Vec<usize> = (0..edge * edge).filter(solid).map(|at| at % edge).collect();
    let ys: Vec<usize> = (0..edge * edge).filter(solid).map(|at| at / edge).collect();
    let ends = |v: &[usize]| [*v.iter().min().unwrap(), *v.iter().max().unwrap()];
    let ([left, right], [top, bottom]) = (ends(&xs), ends(&ys));
    let inset = (right - left) / 6;
    [
        [left + inset, top + inset],
        [right - inset, top + inset],
        [left + inset, bottom - inset],
        [right - inset, bottom - inset],
    ]
    .map(|[x, y]| [0, 1, 2].map(|c| view.pixels()[y * edge + x][c]))
}

#[test]
fn a_picture_stands_upright_and_unmirrored_on_every_side() {
    let corners = picture([[RED, BLACK, GREEN], [BLACK; 3], [BLUE, BLACK, WHITE]]);
    // Worked out by hand, from where whoever looks at the side stands: upper left, upper right, lower left, lower right.
    let cases = [
        (Side::Right, [[2, 0, 2], [2, 2, 2], [2, 0, 0], [2, 2, 0]]),
        (Side::Left, [[0, 2, 2], [0, 0, 2], [0, 2, 0], [0, 0, 0]]),
        (Side::Back, [[2, 2, 2], [0, 2, 2], [2, 2, 0], [0, 2, 0]]),
        (Side::Front, [[0, 0, 2], [2, 0, 2], [0, 0, 0], [2, 0, 0]]),
        (Side::Top, [[0, 2, 2], [2, 2, 2], [0, 0, 2], [2, 0, 2]]),
        (Side::Bottom, [[0, 0, 0], [2, 0, 0], [0, 2, 0], [2, 2, 0]]),
    ];
    for (side, corner_cells) in cases {
        let done = run(block(3, 3, 3), corners.clone(), &json!({ side.word(): { "picture": "a.png" } }));
        assert_eq!(corner_cells.map(|cell| done.at(side, cell)), [RED, GREEN, BLUE, WHITE], "{side}");
        // The view of the piece shows the same: the middle of each corner cell, in the picture's own place.
        let seen = corners_of_view(&done, side);
        assert_eq!(seen, [RED, GREEN, BLUE, WHITE], "view from the {side}");
    }
}

#[test]
fn two_halves_and_their_mirror() {
    let halves = picture([[BLACK, BLACK, WHITE, WHITE]; 2]);
    let done = run(block(2, 1, 1), halves, &json!({ "front": { "picture": "a.png" }, "back": { "picture": "a.png" } }));
    assert_eq!([done.at(Side::Front, [0, 0, 0]), done.at(Side::Front, [1, 0, 0])], [BLACK, WHITE]);
    // Whoever looks at the back has the piece's right at the left hand.
    assert_eq!([done.at(Side::Back, [1, 0, 0]), done.at(Side::Back, [0, 0, 0])], [BLACK, WHITE]);
    // The mean of what is seen is half the light.
    assert_eq!(done.paint.sides[Side::Front], Srgb(HALF));
    assert_eq!(done.paint.sides[Side::Right], Srgb([0xd0, 0, 0]));
    assert!(done.codes().contains(&"same-colour"), "{:?}", done.codes());
}

#[test]
fn the_mean_is_that_of_light() {
    let checks = RgbImage::from_fn(8, 8, |x, y| Rgb(if (x + y) % 2 == 0 { BLACK } else { WHITE }));
    let done = run(block(2, 1, 2), checks, &json!({ "front": { "picture": "a.png" } }));
    assert_eq!(done.at(Side::Front, [1, 0, 1]), HALF);
    // Closed form: every quarter of a cell is one pixel, as far from the mean as black or white from the light ½.
    let lightness = 116.0 * libm::cbrt(0.5) - 16.0;
    // Sharma, Wu & Dalal 2005, eq. 15 and 22 for greys: ΔL′ / S_L.
    let grey = |a: f64, b: f64| {
        let mid = ((a + b) / 2.0 - 50.0).powi(2);
        (a - b).abs() / (1.0 + 0.015 * mid / (20.0 + mid).sqrt())
    };
    let expected = (grey(lightness, 0.0) + grey(lightness, 100.0)) / 2.0;
    let found = done.number("largest mean ΔE00 of detail lost below a cell");
    assert!((found - expected).abs() < 0.01, "{found} instead of {expected}");
    assert!(done.number("largest mean ΔE00 of a picture at cell resolution") < 0.2);
    assert!(done.codes().contains(&"picture-detail-lost"), "{:?}", done.codes());
}

#[test]
fn a_pixel_on_the_border_counts_for_both_by_its_parts() {
    // Three pixels on two cells: (1 + ½·0) / 1.5 and (½·0 + 1) / 1.5 of the light, the code 213.
    let thirds = picture([[RED, BLACK, BLUE]; 3]);
    let done = run(block(2, 1, 2), thirds, &json!({ "front": { "picture": "a.png" } }));
    let code = (255.0 * (1.055 * libm::pow(2.0 / 3.0, 1.0 / 2.4) - 0.055)).round() as u8;
    assert_eq!(done.at(Side::Front, [0, 0, 0]), [code, 0, 0]);
    assert_eq!(done.at(Side::Front, [1, 0, 1]), [0, 0, code]);
}

#[test]
fn a_picture_of_another_shape_is_cropped_or_stands_on_its_ground() {
    let rows = picture([[RED; 2], [GREEN; 2], [BLUE; 2], [WHITE; 2]]);
    let fill = run(block(4, 1, 2), rows.clone(), &json!({ "front": { "picture": "a.png" } }));
    // Two cells a pixel across; of the four rows the half in the middle is left: one row of the piece shows green, one blue.
    let front = |done: &Run, z| (0..4).map(|x| done.at(Side::Front, [x, 0, z])).collect::<Vec<_>>();
    assert_eq!((front(&fill, 1), front(&fill, 0)), (vec![GREEN; 4], vec![BLUE; 4]));
    assert!(fill.codes().contains(&"picture-coarse"), "{:?}", fill.codes());
    let asked = json!({ "front": { "picture": { "file": "a.png", "fit": "whole", "ground": "#000" } } });
    let whole = run(block(4, 1, 4), rows, &asked);
    for (z, colour) in [(3, RED), (2, GREEN), (1, BLUE), (0, WHITE)] {
        assert_eq!(front(&whole, z), [BLACK, colour, colour, BLACK], "{z}");
    }
}

#[test]
fn what_is_hidden_takes_the_picture_at_its_place() {
    // A table with a far wall under it: the front of the wall's lower cell lies behind the legs' column.
    let grid = Grid { origin: DVec3::ZERO, cell: 1.0, counts: IVec3::new(5, 7, 6) };
    let cells = Cells::from_fn(grid, |cell| {
        let at = cell - LOW;
        let wall = at.y == 2 && (0..3).contains(&at.x) && (0..2).contains(&at.z);
        let post = at.y == 0 && at.x == 1 && (0..2).contains(&at.z);
        wall || post || (at.z == 0 && at.x == 1 && (0..3).contains(&at.y))
    });
    let colours = picture([[RED, GREEN, BLUE], [WHITE, BLACK, [128; 3]]]);
    let done = run(cells, colours, &json!({ "front": { "picture": "a.png" } }));
    assert_eq!(done.at(Side::Front, [1, 0, 1]), GREEN);
    assert_eq!(done.at(Side::Front, [1, 2, 1]), GREEN);
    assert_eq!(done.at(Side::Front, [0, 2, 1]), RED);
    assert_eq!(done.at(Side::Front, [2, 2, 0]), [128; 3]);
}

#[test]
fn gradients_give_each_face_the_mean_of_its_stretch() {
    let code = |light: f64| {
        let code = if light <= 0.003_130_8 { 12.92 * light } else { 1.055 * libm::pow(light, 1.0 / 2.4) - 0.055 };
        [(255.0 * code).round() as u8; 3]
    };
    let blank = picture([[WHITE]]);
    let along =
        |set: Value| json!({ "front": { "gradient": set }, "top": { "gradient": set }, "bottom": { "gradient": set } });
    let plain = json!({ "from": "black", "to": "white", "along": "z" });
    let done = run(block(1, 1, 4), blank.clone(), &along(plain));
    for z in 0..4 {
        assert_eq!(done.at(Side::Front, [0, 0, z]), code((f64::from(z) + 0.5) / 4.0), "{z}");
    }
    assert_eq!([done.at(Side::Top, [0, 0, 3]), done.at(Side::Bottom, [0, 0, 0])], [WHITE, BLACK]);
    // Up and down again within one cell: half the light.
    let peak = json!({ "from": "black", "to": "black", "along": "x", "stops": [{ "at": 0.3, "colour": "white" }] });
    let done = run(block(1, 2, 1), blank.clone(), &along(peak));
    assert_eq!(done.at(Side::Front, [0, 0, 0]), HALF);
    // CIE 015:2018: L* 50 is the light 0.1842, the code 118.9.
    let lab = json!({ "from": "black", "to": "white", "along": "y", "mix": "lab" });
    let done = run(block(1, 3, 1), blank, &along(lab));
    assert_eq!([done.at(Side::Top, [0, 1, 0]), done.at(Side::Front, [0, 0, 0])], [[119; 3], BLACK]);
}

#[test]
fn bands_and_spots_lie_over_the_sides_in_their_order() {
    let set = json!({ "front": { "picture": "a.png" }, "over": [
        { "band": { "from": "2 mm", "to": "4 mm", "colour": "red" } },
        { "spot": { "low": [0, 0, 0], "high": ["2 mm", "1 mm", "6 mm"], "colour": "lime", "sides": ["front", "left"] } },
        { "band": { "from": "4 mm", "to": "8 mm", "colour": "blue", "sides": ["left"] } },
        { "band": { "from": "40 mm", "to": "50 mm", "colour": "gold" } },
    ] });
    // Cells of 2 mm: the middles are at 1, 3 and 5 mm.
    let done = run(block(2, 2, 3), picture([[WHITE; 2]; 3]), &set);
    let front = |x, z| done.at(Side::Front, [x, 0, z]);
    assert_eq!([0, 1, 2].map(|z| front(0, z)), [GREEN; 3]);
    assert_eq!([0, 1, 2].map(|z| front(1, z)), [WHITE, RED, WHITE]);
    assert_eq!([0, 1, 2].map(|z| done.at(Side::Left, [0, 0, z])), [GREEN, GREEN, BLUE]);
    assert_eq!([0, 1, 2].map(|z| done.at(Side::Left, [0, 1, z])), [[0, 0x50, 255], RED, BLUE]);
    assert_eq!(done.at(Side::Top, [0, 0, 2]), WHITE);
    let nothing = done.said.findings.iter().find(|finding| finding.code == "nothing-under").unwrap();
    assert!(nothing.message.contains("over[3]"), "{nothing:?}");
    // Of six places four show another colour than the white of the picture.
    let off = done.number("largest mean ΔE00 of a picture at cell resolution");
    let [lime, red] = ["lime", "red"].map(|name| {
        let lab = |name: &str| crate::colorimetry::lab(name.parse().unwrap());
        crate::colorimetry::difference(lab(name), lab("white"))
    });
    assert!((off - (3.0 * lime + red) / 6.0).abs() < 1e-9, "{off}");
}

fn misfit(set: &Value) -> String {
    let stage = erase::<Colour>();
    let folder = tempfile::tempdir().unwrap();
    let said = match stage.read(settings(set)) {
        Err(misfit) => misfit,
        Ok(_) => {
            let files = BTreeMap::from([("a.png".to_owned(), Arc::from(&b"not a picture"[..]))]);
            let piece = Workpiece::default().with_cells(block(2, 2, 2));
            let trial = Trial { stage: stage.as_ref(), settings: settings(set), files, piece };
            match trial.run(folder.path().to_path_buf()) {
                Err(Halt::Misfit(misfit)) => misfit,
                other => panic!("{set}: {other:?}"),
            }
        }
    };
    format!("{}: {} / {}", said.setting, said.message, said.remedy)
}

#[test]
fn settings_without_sense_say_where_and_what_to_do() {
    let gradient =
        |stops: Value| json!({ "left": { "gradient": { "from": "red", "to": "blue", "along": "z", "stops": stops } } });
    let band = |from: &str, to: &str| json!({ "over": [{ "band": { "from": from, "to": to, "colour": "red" } }] });
    let spot = |high: Value| json!({ "over": [{ "spot": { "low": [0, 0, 0], "high": high, "colour": "red" } }] });
    for (set, parts) in [
        (
            json!({ "left": "#12345" }),
            vec!["left: ", "'#12345' is not a colour", "#rrggbb", "or a gradient or a picture"],
        ),
        (json!({ "left": "faces/a.PNG" }), vec!["left: ", "{ picture: faces/a.PNG }"]),
        (json!({ "left": 7 }), vec!["left: ", "a colour such as", "gradient: {", "picture: faces/right.png"]),
        (json!({ "left": {} }), vec!["left: ", "expected a colour such as"]),
        (
            json!({ "left": { "pict": "a.png" } }),
            vec!["left", "unknown field `pict`, expected `gradient` or `picture`"],
        ),
        (
            json!({ "left": { "picture": { "file": "a.png", "fit": "big" } } }),
            vec!["left.picture.fit: ", "`big`", "`whole`"],
        ),
        (json!({ "left": { "picture": 3 } }), vec!["left.picture: ", "a picture file such as"]),
        (
            json!({ "left": { "gradient": { "from": "red", "to": "blu", "along": "z" } } }),
            vec!["left.gradient.to: ", "'blu'"],
        ),
        (
            json!({ "left": { "gradient": { "from": "red", "along": "z" } } }),
            vec!["left.gradient: ", "missing field `to`"],
        ),
        (json!({ "left": { "picture": "a.png" } }), vec!["left.picture: the picture a.png is not a picture in PNG"]),
        (
            gradient(json!([{ "at": 0.5, "colour": "red" }, { "at": 0.5, "colour": "red" }])),
            vec!["stops[1].at: ", "0.5 and 1"],
        ),
        (gradient(json!([{ "at": 1, "colour": "red" }])), vec!["left.gradient.stops[0].at: "]),
        (
            band("45 mm", "30 mm"),
            vec!["over[0].band.to: ", "from 45 mm to 30 mm is upside down", "`to` must be more than `from`"],
        ),
        (band("3 mm", "3 mm"), vec!["over[0].band.to: ", "holds nothing"]),
        (spot(json!([5, 0, 5])), vec!["over[0].spot.high[1]: a spot along y from 0 mm to 0 mm holds nothing"]),
        (spot(json!([5, 5, -5])), vec!["over[0].spot.high[2]: ", "upside down"]),
        (spot(json!([5, 5])), vec!["over[0].spot.high: ", "an array of length 3"]),
        (
            json!({ "over": [{ "band": { "from": 0, "to": 3, "colour": "red", "sides": [] } }] }),
            vec!["over[0].band.sides: no side is named"],
        ),
        (json!({ "over": [{ "stripe": {} }] }), vec!["over[0]", "unknown variant `stripe`, expected `band` or `spot`"]),
        (json!({ "folded": { "sides": ["left", "right"] } }), vec!["folded.sides: ", "two neighbours"]),
        (json!({ "folded": { "sides": ["top", "right"] } }), vec!["folded.sides: "]),
        (json!({ "folded": { "strips": 1 } }), vec!["folded.strips: ", "2 to 40"]),
        (json!({ "folded": { "width": "1 mm" } }), vec!["folded.width: ", "3 to 60 mm"]),
        (json!({ "folded": { "width": "5 mm", "strips": 8 } }), vec!["folded.width: ", "contradict"]),
    ] {
        let said = misfit(&set);
        parts.iter().for_each(|part| assert!(said.contains(part), "'{part}' is not in: {said}"));
    }
    let many = json!({ "over": vec![json!({ "band": { "from": 0, "to": 3, "colour": "red" } }); 257] });
    assert!(misfit(&many).contains("over: 257 bands and spots"));
}

#[test]
fn every_form_survives_a_round_trip() {
    let set = settings(&json!({
        "right": { "picture": "a.png" },
        "left": { "picture": { "file": "b.jpg", "fit": "whole", "ground": "teal" } },
        "back": { "gradient": { "from": "red", "to": "blue", "along": "x", "mix": "lab", "stops": [{ "at": 0.5, "colour": "gold" }] } },
        "over": [{ "spot": { "low": [0, 0, 0], "high": ["2 mm", "1 mm", "6 mm"], "colour": "lime", "sides": ["front"] } }],
        "folded": { "sides": ["back", "right"], "width": "9 mm" },
    }));
    let read: Settings = serde_json::from_value(set).unwrap();
    assert_eq!(Colour::files(&read), ["a.png", "b.jpg"]);
    let kept = serde_json::to_value(&read).unwrap();
    assert_eq!(kept["left"], json!({ "picture": { "file": "b.jpg", "fit": "whole", "ground": "#008080" } }));
    assert_eq!(kept["front"], "#00a000");
    assert_eq!(serde_json::from_value::<Settings>(kept).unwrap(), read);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Area means lose no light: where a picture fills its rectangle exactly, the mean over the cells is that of the pixels.
    #[test]
    fn no_light_is_lost(cells in [1..6_i32, 1..6_i32], times in 1..5_u32, over in 1..4_u32, seed: u64) {
        let [columns, rows] = cells.map(|n| n as u32 * times);
        // Both edges have the same number of pixels a cell: times / over where that is whole, times otherwise.
        let divides = columns % over == 0 && rows % over == 0;
        let [width, height] = if divides { [columns / over, rows / over] } else { [columns, rows] };
        let code = |x: u32, y: u32, c: u64| {
            (seed.wrapping_mul(u64::from(x * 7919 + y * 104_729) + c * 31 + 1).wrapping_add(c) >> 29) as u8
        };
        let picture = RgbImage::from_fn(width, height, |x, y| Rgb([code(x, y, 0), code(x, y, 1), code(x, y, 2)]));
        let bitmap = bitmap::read(&png(picture), 1 << 20).map_err(|said| TestCaseError::fail(said.join(" ")))?;
        let solid = block(cells[0], 1, cells[1]);
        let faces = crate::solid::skin::outside_faces(&solid, None);
        let facade = facade::Facade::of(Side::Front, solid.extent().unwrap());
        let seen = facade.seen(&faces, None);
        let laid = footprints::lay(&bitmap, Fit::Fill, [0.5; 3], &facade, &seen);
        let mut pixels = Vec::new();
        let mut row = Vec::new();
        for y in 0..height as usize {
            bitmap.row(y, [0.5; 3], &mut row);
            pixels.extend_from_slice(&row);
        }
        let (of_cells, of_pixels) = (footprints::mean(laid.light.iter()), footprints::mean(pixels.iter()));
        for c in 0..3 {
            prop_assert!((of_cells[c] - of_pixels[c]).abs() < 1e-12, "{of_cells:?} {of_pixels:?}");
        }
        prop_assert!((laid.shown - 1.0).abs() < 1e-9, "{}", laid.shown);
    }
}
