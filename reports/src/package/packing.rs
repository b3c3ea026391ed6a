//! Where a piece is weakest, in words and in pictures, and how it is packed so that it arrives whole.

use std::io::Cursor;

use png::{Decoder, Limits, Transformations};
use turnhue_stages::findings::{Place, Unit, Value};

use super::{fact, number, size, table};
use crate::numbers;
use crate::pictures::Picture;
use crate::record::Record;
use crate::views::Pictures;

/// Most places that are listed and marked.
const MOST: usize = 8;

/// Padding on every side, in mm: common practice for parcels, no source.
const PADDING: f64 = 50.0;

/// Largest picture of the piece that is looked into, in bytes once it is unpacked.
const LARGEST: usize = 64 << 20;

/// A place that breaks first.
pub(super) struct Weak {
    /// Where, in words and in mm.
    pub(super) place: String,
    /// Why it is weak.
    pub(super) why: String,
}

/// Two pictures of the piece with the places marked on them.
pub(super) struct Marked {
    /// The picture.
    pub(super) picture: Picture,
    /// From where it was taken.
    pub(super) from: &'static str,
    /// Number and place of each mark, in pixels.
    pub(super) marks: Vec<(usize, [f64; 2])>,
    /// The radius of a mark, in pixels.
    pub(super) radius: f64,
}

impl Marked {
    /// Where the number of a mark stands: odd ones on its right, even ones on its left, so that two near each other can be read.
    pub(super) fn beside(&self, number: &usize, at: &[f64; 2]) -> String {
        let off = if number.is_multiple_of(2) { -1.5 } else { 1.5 };
        format!("{:.1}", at[0] + off * self.radius)
    }

    /// How high a number is.
    pub(super) fn letters(&self) -> String {
        format!("{:.1}", 1.8 * self.radius)
    }
}

/// What is said of packing.
pub(super) struct Packing {
    /// The weakest places, the weakest first.
    pub(super) weak: Vec<Weak>,
    /// How many there are besides.
    pub(super) more: usize,
    /// Where they are, in pictures.
    pub(super) marked: Vec<Marked>,
    /// The least that is weak of a piece without weak places.
    pub(super) thinnest: Option<String>,
    /// The box, in words.
    pub(super) parcel: Option<String>,
}

impl Packing {
    pub(super) fn of(record: &Record, pictures: Pictures<'_>) -> Self {
        let (places, more) = places(record);
        // Records of old have places around the middle of the piece.
        let within = |bounds: &[f64; 3]| {
            places.iter().all(|(place, _)| place.mm.iter().zip(bounds).all(|(at, most)| (0.0..=*most).contains(at)))
        };
        let bounds = bounds(record).filter(within);
        let weak =
            places.iter().map(|(place, why)| Weak { place: in_words(place, bounds), why: why.clone() }).collect();
        let marked = bounds.map_or_else(Vec::new, |bounds| marked(record, &places, bounds, pictures));
        Self {
            weak,
            more,
            marked,
            thinnest: super::value(record, "thinnest wall").or_else(|| super::value(record, "thinnest part")),
            parcel: size(record).map(|size| numbers::millimetres(&size.map(|edge| (edge + 2.0 * PADDING).ceil()))),
        }
    }

    /// The padding on every side.
    #[allow(clippy::unused_self, reason = "called from the template")]
    pub(super) fn padding(&self) -> String {
        numbers::millimetres(&[PADDING])
    }
}

/// The weakest places with why they are so, and how many there are besides: parts that hang on one cell, then thin ones.
fn places(record: &Record) -> (Vec<(Place, String)>, usize) {
    let mut found: Vec<(Place, String)> = Vec::new();
    let mut all = 0;
    for (_, finding) in record.findings() {
        let why = match finding.code.as_str() {
            "weak-neck" | "necks" => "a part hangs on a single cube here",
            "thin-part" => "the piece is thin here",
            _ => continue,
        };
        all += finding.places.len();
        found.extend(
            finding.places.iter().map(|place| (*place, said_of(record, place).unwrap_or_else(|| why.to_owned()))),
        );
    }
    // A neck may stand in two findings.
    let mut seen: Vec<[i64; 3]> = Vec::new();
    let before = found.len();
    found.retain(|(place, _)| {
        #[allow(clippy::cast_possible_truncation, reason = "saturates; a tenth of a millimetre is near enough")]
        let at = place.mm.map(|mm| (mm * 10.0).round() as i64);
        let new = place.mm.iter().all(|mm| mm.is_finite()) && !seen.contains(&at);
        seen.push(at);
        new
    });
    all -= before - found.len();
    found.truncate(MOST);
    let more = all - found.len();
    (found, more)
}

/// What the table of necks says of a place.
fn said_of(record: &Record, place: &Place) -> Option<String> {
    let grid = table(record, "weakest necks")?;
    let [x, y, z] = place.mm;
    let row = grid.row(&format!("{x:.1}, {y:.1}, {z:.1}"))?;
    let carried = grid.number(row, "carried")?;
    Some(format!("a part of {} hangs on a single cube here", numbers::quantity(carried, Some(Unit::Gram))))
}

/// The upper corner of the piece, where its lower one is known to be the origin: where no layer of the grid was lost or added
/// since it was made.
fn bounds(record: &Record) -> Option<[f64; 3]> {
    let (size, cell) = (size(record)?, number(record, "cell", Unit::Mm)?);
    let Value::Triple(counts) = fact(record, "grid")?.value else { return None };
    let same = size.iter().zip(counts).all(|(edge, count)| (edge - count * cell).abs() < cell / 2.0);
    same.then_some(size)
}

/// Where a place is: `high up, at the front right; x 70.5, y 76.5, z 151.5 mm`.
fn in_words(place: &Place, bounds: Option<[f64; 3]>) -> String {
    let [x, y, z] = place.mm.map(numbers::measured);
    let mm = format!("x {x}, y {y}, z {z} mm");
    let Some(bounds) = bounds else { return mm };
    let third = |axis: usize| match place.mm[axis] / bounds[axis] {
        part if part < 1.0 / 3.0 => 0,
        part if part > 2.0 / 3.0 => 2,
        _ => 1,
    };
    let height = ["low down", "half way up", "high up"][third(2)];
    let across = ["left", "", "right"][third(0)];
    let along = ["front", "", "back"][third(1)];
    let level = match (along, across) {
        ("", "") => "in the middle".to_owned(),
        ("", side) | (side, "") => format!("towards the {side}"),
        (along, across) => format!("towards the {along} {across}"),
    };
    format!("{height}, {level} ({mm})")
}

/// The places on the pictures from the front and from the right, which between them tell all three coordinates.
fn marked(record: &Record, places: &[(Place, String)], bounds: [f64; 3], pictures: Pictures<'_>) -> Vec<Marked> {
    if places.is_empty() {
        return Vec::new();
    }
    let listed = |name: &str| record.stages.iter().flat_map(|stage| &stage.artefacts).any(|file| file.name == name);
    let view = |(name, from, axis): (&str, &'static str, usize)| {
        let bytes = listed(name).then(|| pictures(name)).flatten()?;
        let (picture, silhouette) = (Picture::of(&bytes)?, silhouette(&bytes)?);
        let [[left, top], [right, bottom]] = silhouette;
        let at = |place: &Place| {
            let part = |axis: usize| (place.mm[axis] / bounds[axis]).clamp(0.0, 1.0);
            [left + part(axis) * (right - left), bottom - part(2) * (bottom - top)]
                .map(|at| libm::round(at * 10.0) / 10.0)
        };
        let marks = (1..).zip(places).map(|(number, (place, _))| (number, at(place))).collect();
        let radius = f64::from(picture.width) * 0.035;
        Some(Marked { picture, from, marks, radius: libm::round(radius * 10.0) / 10.0 })
    };
    // From the right the piece's front is on the left: y grows to the right.
    [("view-front.png", "from the front", 0), ("view-right.png", "from the right", 1)]
        .into_iter()
        .filter_map(view)
        .collect()
}

/// The box around what a picture shows before its transparent ground, in pixels: its upper left and its lower right corner.
fn silhouette(bytes: &[u8]) -> Option<[[f64; 2]; 2]> {
    let mut decoder = Decoder::new_with_limits(Cursor::new(bytes), Limits { bytes: LARGEST });
    decoder.set_transformations(Transformations::EXPAND | Transformations::ALPHA | Transformations::STRIP_16);
    let mut reader = decoder.read_info().ok()?;
    let mut pixels = vec![0; reader.output_buffer_size().filter(|&size| size <= LARGEST)?];
    let frame = reader.next_frame(&mut pixels).ok()?;
    let samples = frame.color_type.samples();
    if samples != 4 && samples != 2 {
        return None;
    }
    let mut around: Option<[[u32; 2]; 2]> = None;
    for (y, row) in (0..).zip(pixels.chunks_exact(frame.line_size).take(frame.height as usize)) {
        for (x, pixel) in (0..).zip(row.chunks_exact(samples).take(frame.width as usize)) {
            // Half covered: an edge runs through its middle.
            if pixel[samples - 1] >= 128 {
                let [low, high] = around.get_or_insert([[x, y], [x, y]]);
                *low = [low[0].min(x), low[1].min(y)];
                *high = [high[0].max(x), high[1].max(y)];
            }
        }
    }
    around.map(|[low, high]| [low.map(f64::from), high.map(|end| f64::from(end) + 1.0)])
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// A picture of 20 × 10 pixels, clear but for a box.
    fn picture([left, top, right, bottom]: [usize; 4]) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, 20, 10);
        encoder.set_color(png::ColorType::Rgba);
        encoder.set_depth(png::BitDepth::Eight);
        let pixel = |at: usize| {
            let inside = (left..right).contains(&(at % 20)) && (top..bottom).contains(&(at / 20));
            [10, 20, 30, if inside { 255 } else { 0 }]
        };
        let pixels: Vec<u8> = (0..200).flat_map(pixel).collect();
        encoder.write_header().unwrap().write_image_data(&pixels).unwrap();
        bytes
    }

    #[test]
    fn the_silhouette_is_the_box_around_what_is_not_clear() {
        assert_eq!(silhouette(&picture([3, 2, 17, 9])), Some([[3.0, 2.0], [17.0, 9.0]]));
        assert_eq!(silhouette(&picture([0, 0, 20, 10])), Some([[0.0, 0.0], [20.0, 10.0]]));
        assert_eq!(silhouette(&picture([0, 0, 0, 0])), None);
        let whole = picture([3, 2, 17, 9]);
        assert_eq!(silhouette(&whole[..whole.len() / 2]), None);
        assert_eq!(silhouette(b"\x89PNG\r\n\x1a\n"), None);
    }

    #[test]
    fn places_are_told_in_words() {
        let at = |mm: [f64; 3]| in_words(&Place { mm, cell: None }, Some([90.0, 60.0, 150.0]));
        assert!(at([10.0, 5.0, 140.0]).starts_with("high up, towards the front left ("));
        assert!(at([45.0, 30.0, 75.0]).starts_with("half way up, in the middle ("));
        assert!(at([80.0, 30.0, 1.0]).starts_with("low down, towards the right ("));
        assert!(at([45.0, 55.0, 1.0]).starts_with("low down, towards the back ("));
        assert_eq!(in_words(&Place { mm: [1.0, 2.5, 3.0], cell: None }, None), "x 1, y 2.5, z 3 mm");
    }
}
