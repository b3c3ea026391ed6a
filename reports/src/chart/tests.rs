#![allow(clippy::unwrap_used)]

use askama::Template;
use proptest::prelude::*;
use quick_xml::events::Event;

use super::*;

/// A chart by itself, as the template writes it.
#[derive(Template)]
#[template(path = "chart.svg")]
struct Alone<'a> {
    drawing: &'a Drawing,
}

/// A field of 100 by 50 pixels, 20 from the left and 10 from above.
const FRAME: Frame = Frame { width: 130, height: 80, left: 20, right: 10, above: 10, below: 20, grid: false };

fn percent(value: f64) -> String {
    format!("{value} %")
}

/// An element: its name, its attributes, its words.
type Element = (String, Vec<(String, String)>, String);

/// The elements of a chart with their attributes and words, read by `quick-xml`.
fn read(drawing: &Drawing) -> Vec<Element> {
    let svg = format!("<svg>{}</svg>", Alone { drawing }.render().unwrap());
    let mut reader = quick_xml::Reader::from_str(&svg);
    let mut elements: Vec<Element> = Vec::new();
    loop {
        match reader.read_event().unwrap_or_else(|wrong| panic!("{wrong}: {svg}")) {
            Event::Start(start) => {
                let attributes = start.attributes().map(|attribute| {
                    let attribute = attribute.unwrap();
                    (attribute.key.as_ref().to_owned(), attribute.value.into_owned())
                });
                elements.push((start.name().as_ref().to_owned(), attributes.collect(), String::new()));
            }
            Event::Text(text) => elements.last_mut().unwrap().2 += &text,
            Event::GeneralRef(reference) => elements.last_mut().unwrap().2 += &format!("&{};", &*reference),
            Event::Eof => return elements,
            _ => {}
        }
    }
}

fn attribute<'a>(attributes: &'a [(String, String)], name: &str) -> &'a str {
    attributes.iter().find(|(key, _)| key == name).map_or("", |(_, value)| value)
}

/// By hand: across, 0 to 200 lies on 20 to 120 pixels, half a pixel a unit; up, 0 to 60 lies on 60 to 10 pixels.
#[test]
fn values_and_marks_lie_where_they_are_reckoned_by_hand() {
    let points = [[0.0, 0.0], [50.0, 30.0], [200.0, 60.0]];
    let across = Axis::marked([0.0, 200.0], vec![(0.0, "none".into()), (100.0, "half\nway".into())]);
    let up = Axis::round([0.0, 60.0], 4, percent);
    let series =
        [Along::line("line", points), Along::at([100.0, 30.0], |place| vec![Shape::path("sign", square(place, 32))])];
    let drawing = draw(&FRAME, across, up, &series).unwrap();
    let elements = read(&drawing);
    let paths = |class: &str| -> Vec<&str> {
        let such =
            elements.iter().filter(|(name, attributes, _)| name == "path" && attribute(attributes, "class") == class);
        such.map(|(_, attributes, _)| attribute(attributes, "d")).collect()
    };
    assert_eq!(paths("line"), ["M20 60L45 35L120 10"]);
    assert_eq!(paths("sign"), ["M66.8 31.8h6.4v6.4h-6.4Z"]);
    assert!(paths("grid").is_empty());
    let marks: Vec<_> = elements.iter().filter(|(name, ..)| name == "text").collect();
    // 8 pixels from the axis; the library rounds to a tenth.
    let expected = [
        ("0 %", 12.0, 60.0),
        ("20 %", 12.0, 60.0 - 50.0 / 3.0),
        ("40 %", 12.0, 60.0 - 100.0 / 3.0),
        ("60 %", 12.0, 10.0),
        ("none", 20.0, 68.0),
        ("half", 70.0, 68.0),
        ("way", 70.0, 68.0),
    ];
    assert_eq!(marks.len(), expected.len());
    for ((_, at, words), (expected, x, y)) in marks.iter().zip(expected) {
        assert_eq!(words, expected);
        let off = [("x", x), ("y", y)].map(|(name, exact)| attribute(at, name).parse::<f64>().unwrap() - exact);
        assert!(off.iter().all(|off| off.abs() < 0.11), "{words}: {off:?}");
    }
    let down = |at: usize| attribute(&marks[at].1, "dy").trim_end_matches("em").parse::<f64>().unwrap();
    assert!((down(6) - down(5) - 1.35).abs() < 1e-9);
    assert_eq!([0, 4].map(|at| attribute(&marks[at].1, "text-anchor")), ["end", "middle"]);
}

#[test]
fn a_grid_runs_across_the_field_and_has_no_axis() {
    let frame = Frame { grid: true, ..FRAME };
    let up = Axis::round([0.0, 60.0], 4, percent);
    let drawing = draw(&frame, Axis::marked([0.0, 1.0], vec![(0.5, String::new())]), up, &[]).unwrap();
    let lines: Vec<_> = drawing.shapes.iter().filter(|shape| shape.class == "grid").collect();
    assert_eq!(lines.len(), 5);
    assert!(!drawing.has("axis"));
    assert!(lines.iter().any(|line| line.attributes[0].1.starts_with("M70 60L70 10")), "{lines:?}");
}

/// Steps of 1, 2 or 5 times a power of ten, by hand.
#[test]
fn marks_stand_at_round_values() {
    let marks = |ends, most| Axis::round(ends, most, percent).marks.into_iter().map(|(at, _)| at).collect::<Vec<_>>();
    assert_eq!(marks([0.0, 60.0], 7), [0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0]);
    assert_eq!(marks([0.0, 48.0], 6), [0.0, 10.0, 20.0, 30.0, 40.0]);
    assert_eq!(marks([83.0, 98.0], 5), [85.0, 90.0, 95.0]);
    assert_eq!(marks([284.0, 307.0], 5), [285.0, 290.0, 295.0, 300.0, 305.0]);
    assert_eq!(marks([-0.2, 2.7], 4), [0.0, 1.0, 2.0]);
}

proptest! {
    /// Whatever the ends are: an end, no more marks than asked for, none outside, and a place for every value.
    #[test]
    fn an_axis_takes_any_ends(least in any::<f64>(), most in any::<f64>(), value in any::<f64>(), marks in 2_usize..12) {
        let up = Axis::round([least, most], marks, percent);
        prop_assert!(up.marks.len() <= marks, "{:?}", up.marks);
        let [from, to] = up.ends();
        prop_assert!(from < to);
        let slack = 1e-9 * (to - from);
        prop_assert!(up.marks.iter().all(|&(mark, _)| (from - slack..=to + slack).contains(&mark)), "{:?}", up);
        let sign = |(x, y): Place| vec![Shape::path("sign", square((x, y), 1)).with("data-y", &y)];
        let series = [Along::at([0.5, value], sign)];
        let drawing = draw(&FRAME, Axis::marked([0.0, 1.0], Vec::new()), up, &series).unwrap();
        let y: i32 = drawing.shapes.iter().find(|shape| shape.class == "sign").unwrap().attributes[1].1.parse().unwrap();
        prop_assert!(value.is_nan() || (100..=600).contains(&y), "{y}");
    }

    #[test]
    fn an_axis_near_the_usual_has_marks(least in -1e6..1e6_f64, extent in 1e-3..1e6_f64) {
        let axis = Axis::round([least, least + extent], 6, percent);
        prop_assert!((2..=6).contains(&axis.marks.len()), "{axis:?}");
    }
}

#[test]
fn an_axis_without_extent_has_a_place_for_its_value() {
    let axis = Axis::round([3.0, 3.0], 5, percent);
    assert_eq!(axis.ends(), [2.5, 3.5]);
    assert_eq!(axis.map(&3.0, (0, 100)), 50);
}

#[test]
fn an_axis_between_the_farthest_numbers_has_places() {
    let axis = Axis::round([f64::MIN, f64::INFINITY], 5, percent);
    assert_eq!([f64::MIN, 0.0, f64::MAX].map(|value| axis.map(&value, (0, 100))), [0, 50, 100]);
}

#[test]
fn words_of_a_job_never_become_markup() {
    let evil = "</text><script>alert(1)</script>\" onload='x' & <b>";
    let across = Axis::marked([0.0, 1.0], vec![(0.5, evil.to_owned())]);
    let up = Axis::marked([0.0, 1.0], vec![(0.5, evil.to_owned())]);
    let shapes = |place| vec![Shape::path("sign", square(place, 32)).with("data-row", evil).titled(evil.to_owned())];
    let drawing = draw(&FRAME, across, up, &[Along::at([0.5, 0.5], shapes)]).unwrap();
    let elements = read(&drawing);
    let names: std::collections::BTreeSet<_> = elements.iter().map(|(name, ..)| name.as_str()).collect();
    assert_eq!(names.into_iter().collect::<Vec<_>>(), ["path", "svg", "text", "title"]);
    assert!(elements.iter().flat_map(|(_, attributes, _)| attributes).all(|(name, _)| !name.starts_with("on")));
    let said = elements.iter().filter(|(_, _, words)| words.contains("alert(1)")).count();
    assert_eq!(said, 3);
}

#[test]
fn labels_move_apart_and_stay_in_order() {
    let mut places = [50, 10, 52, 99];
    spread_apart(&mut places, 10, [0, 100]);
    assert_eq!(places, [50, 10, 60, 99]);
    let mut crowd = [90, 91, 92];
    spread_apart(&mut crowd, 10, [0, 100]);
    assert_eq!(crowd, [80, 90, 100]);
}

#[test]
fn a_frame_without_a_field_makes_no_chart_and_no_panic() {
    let frame = Frame { left: 200, ..FRAME };
    let _ = draw(&frame, Axis::marked([0.0, 1.0], Vec::new()), Axis::marked([0.0, 1.0], Vec::new()), &[]);
}
