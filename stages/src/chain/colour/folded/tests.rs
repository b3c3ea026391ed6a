#![allow(clippy::unwrap_used)]

use quick_xml::Reader;
use quick_xml::events::Event;

use super::*;

const GROUND: Srgb = Srgb([10, 20, 30]);
const OTHER: Srgb = Srgb([200, 100, 50]);

/// A face of one colour, with another in its first column.
fn face(columns: usize, rows: usize, colour: Srgb) -> Face {
    let shown = (0..columns * rows).map(|place| Some(if place % columns == 0 { OTHER } else { colour })).collect();
    Face { columns, rows, shown }
}

fn sheet(plan: &Plan, paper: Paper, title: &str) -> String {
    Sheet { plan, paper, pair: PAIRS[0], title, picture: "AAAA", cell: 3.0 }.svg()
}

/// Names of all elements, if the text is XML throughout; and all words.
fn parsed(svg: &str) -> (Vec<String>, String) {
    let mut reader = Reader::from_str(svg);
    let (mut names, mut words, mut depth) = (Vec::new(), String::new(), 0);
    loop {
        match reader.read_event().unwrap() {
            Event::Start(tag) => {
                depth += 1;
                tag.attributes().for_each(|attribute| drop(attribute.unwrap()));
                names.push(tag.name().as_ref().to_owned());
            }
            Event::Empty(tag) => {
                tag.attributes().for_each(|attribute| drop(attribute.unwrap()));
                names.push(tag.name().as_ref().to_owned());
            }
            Event::Text(text) => words.push_str(&text),
            Event::End(_) => depth -= 1,
            Event::Eof => break,
            _ => {}
        }
    }
    assert_eq!(depth, 0);
    (names, words)
}

#[test]
fn the_page_has_the_size_of_the_paper_and_a_bar_of_50_mm() {
    let plan = Plan::new(&[face(20, 30, GROUND), face(14, 30, GROUND)], Folded::default()).unwrap();
    for (paper, size) in [(A4, ["210", "297"]), (LETTER, ["215.9", "279.4"])] {
        let svg = sheet(&plan, paper, "A piece");
        let lies = svg.contains(&format!(
            "width=\"{}mm\" height=\"{}mm\" viewBox=\"0 0 {} {}\"",
            size[1], size[0], size[1], size[0]
        ));
        let stands = svg.contains(&format!(
            "width=\"{}mm\" height=\"{}mm\" viewBox=\"0 0 {} {}\"",
            size[0], size[1], size[0], size[1]
        ));
        assert!(lies || stands, "{}", &svg[..300]);
        let bar = svg.split("<path d=\"M").find(|path| path.contains("H")).unwrap();
        let number = |text: &str| text.parse::<f64>().unwrap();
        let from = number(bar.split(' ').next().unwrap());
        let to = number(bar.split('H').nth(1).unwrap().split('M').next().unwrap());
        assert!((to - from - 50.0).abs() < 1e-9, "{from} {to}");
    }
}

#[test]
fn a_title_stays_text() {
    let plan = Plan::new(&[face(4, 4, GROUND), face(4, 4, GROUND)], Folded::default()).unwrap();
    let svg = sheet(&plan, A4, "<script>alert(1)</script> & \"it\" \u{0}\u{ffff} — Wellhornschnecke");
    let (names, _) = parsed(&svg);
    let known = ["svg", "title", "rect", "g", "text", "image", "path"];
    assert!(names.iter().all(|name| known.contains(&name.as_str())), "{names:?}");
    assert!(svg.contains("&lt;script&gt;alert(1)&lt;/script&gt; &amp; "), "{svg}");
    assert!(!svg.contains(['\0', '\u{ffff}']));
    assert!(sheet(&plan, A4, &"long ".repeat(99)).contains('…'));
}

#[test]
fn mountains_and_valleys_are_told_apart_without_colour_and_take_turns() {
    let asked = Folded { strips: Some(5), ..Folded::default() };
    let plan = Plan::new(&[face(10, 10, GROUND), face(10, 10, GROUND)], asked).unwrap();
    let svg = sheet(&plan, A4, "");
    let dashes = |kind: Fold| kind.stroke();
    assert_ne!(dashes(Fold::Mountain), dashes(Fold::Valley));
    // Ten strips have nine folds: five after a strip of the first side, four after one of the second.
    for (kind, count) in [(Fold::Mountain, 5), (Fold::Valley, 4)] {
        let end = format!("\" fill=\"none\" {}/>", kind.stroke());
        let line = svg.lines().find(|line| line.starts_with("<path d=\"M") && line.ends_with(&end)).unwrap();
        // Each fold is drawn across, and as a mark above and below.
        assert_eq!(line.matches('V').count(), 3 * count);
    }
    let text = parsed(&svg).1;
    assert!(text.contains("F1") && text.contains("R5") && !text.contains("R6"), "{text}");
}

#[test]
fn strips_are_the_two_sides_in_turn() {
    let asked = Folded { strips: Some(4), ..Folded::default() };
    let (a, b) = (face(8, 4, Srgb([255, 0, 0])), face(4, 4, Srgb([0, 0, 255])));
    let plan = Plan::new(&[a, b], asked).unwrap();
    let faces = [face(8, 4, Srgb([255, 0, 0])), face(4, 4, Srgb([0, 0, 255]))];
    let picture = image::load_from_memory(&plan.picture(&faces)).unwrap().into_rgb8();
    let strip = picture.width() / 8;
    let middle = picture.height() / 2;
    // Two columns a strip. The narrower side has two columns of bare paper on either side.
    let at = |n: u32, quarter: u32| picture.get_pixel(n * strip + quarter * strip / 4, middle).0;
    let red = [255, 0, 0];
    let blue = [0, 0, 255];
    assert_eq!([at(0, 1), at(0, 3), at(2, 1), at(6, 3)], [OTHER.0, red, red, red]);
    assert_eq!(
        [at(1, 1), at(1, 3), at(3, 1), at(3, 3), at(5, 3), at(7, 1)],
        [PAPER.0, PAPER.0, OTHER.0, blue, blue, PAPER.0]
    );
}

#[test]
fn strips_fit_the_paper_and_have_the_width_asked_for() {
    for (columns, rows) in [(1, 1), (60, 60), (200, 20), (5, 90)] {
        let faces = || [face(columns, rows, GROUND), face(columns, rows, GROUND)];
        for asked in [Folded::default(), Folded { strips: Some(40), ..Folded::default() }] {
            let plan = Plan::new(&faces(), asked).unwrap();
            for paper in [A4, LETTER] {
                let svg = sheet(&plan, paper, "");
                let image = svg.lines().find(|line| line.starts_with("<image")).unwrap();
                let of = |name: &str| {
                    image
                        .split(&format!(" {name}=\""))
                        .nth(1)
                        .unwrap()
                        .split('"')
                        .next()
                        .unwrap()
                        .parse::<f64>()
                        .unwrap()
                };
                let [short, long] = paper.edges;
                let page =
                    if svg.contains(&format!("width=\"{}mm\"", mm(long))) { [long, short] } else { [short, long] };
                assert!(
                    of("x") >= MARGIN - 1e-3 && of("x") + of("width") <= page[0] - MARGIN + 1e-3,
                    "{columns} {rows}"
                );
                assert!(of("y") + of("height") <= page[1] - MARGIN - FOOT + 1e-3, "{columns} {rows}");
                // The sides keep their shape.
                let shape = of("width") / 2.0 / of("height") * rows as f64 / columns as f64;
                assert!((shape - 1.0).abs() < 0.01, "{shape}");
            }
        }
    }
    let asked = Folded { width: Some(Length::from_mm(15.0)), ..Folded::default() };
    let plan = Plan::new(&[face(20, 20, GROUND), face(20, 20, GROUND)], asked).unwrap();
    let svg = sheet(&plan, A4, "");
    assert!(svg.contains(&format!(" width=\"{}\"", mm(30.0 * f64::from(plan.strips)))), "{}", plan.strips);
    let narrow =
        Plan::new(&[face(2, 60, GROUND), face(2, 60, GROUND)], Folded { width: Some(Length::from_mm(60.0)), ..asked });
    assert!(narrow.is_err_and(|misfit| misfit.setting == "folded.width" && misfit.message.contains("too wide")));
}
