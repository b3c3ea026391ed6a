//! Writes the coloured piece as 3MF.
//!
//! Section numbers are those of the core specification 1.4.0 and, with an M, of the materials and properties extension
//! 1.2.1.
//!
//! Guarantees:
//! - The same mesh and title give the same bytes: entries carry no time and no system's traits.
//! - Coordinates are rounded to 1e-6 mm, a thousandth of what any printer places, for short text; but if that made two
//!   different points equal, all are written in the shortest form that reads back to the same `f64`. So different points
//!   are always different in the file.
//! - The same mesh in other colours gives the same bytes but for the colours: see [`Pattern`].
//! - Nothing is moved, merged or left out: the file's points and triangles are the mesh's, in its order.
//!
//! Not guaranteed: that the mesh is closed, manifold or in the positive octant. That is for the caller.

use std::io::{self, Write};

use glam::DVec3;
use quick_xml::escape::escape;
use rayon::prelude::*;

use super::package::{Ends, Packed, Part, package};
use crate::Srgb;
use crate::formats::ColouredMesh;
use crate::formats::points::PointIndex;
use crate::memo::Weigh;

/// Which kinds of part the package holds (Open Packaging Conventions; core 2.1, annex C.2).
const CONTENT_TYPES: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">
 <Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>
 <Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>
</Types>
"#;

/// Where the package begins (core 2.1.1, annex C.1).
const RELATIONSHIPS: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">
 <Relationship Target="/3D/3dmodel.model" Id="model" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>
</Relationships>
"#;

/// Resource of the colours; ids are unique across all kinds of resource (3.4.2), groups come before their users.
const COLOUR_GROUP: u32 = 1;
/// Resource of the piece.
const OBJECT: u32 = 2;

/// What coordinates are rounded to is 1 mm divided by this.
const STEPS_PER_MM: f64 = 1e6;
/// Coordinates up to this can be rounded: beyond it, a `f64` times [`STEPS_PER_MM`] no longer counts single steps.
const LARGEST_ROUNDED_MM: f64 = 1e9;

/// Points or triangles whose text is compressed at a time: some 250 kB of it, next to which the 32 kB that a compressor
/// looks back are little. Fixed, so that the bytes are the same on any number of threads.
const STRETCH: usize = 4096;

/// The most bytes that the text of a point or a triangle takes.
const LONGEST: usize = 100;

/// Writes the mesh as one object in millimetres, with a colour for each triangle, under the title. Characters that XML
/// forbids are left out of the title.
///
/// # Errors
/// If the mesh is not sound (an index or a colour that does not exist, a coordinate that is not finite), if its text
/// would be longer than 4 GiB, and whatever the writer meets.
pub fn write(mesh: &ColouredMesh<'_>, title: &str, out: &mut dyn Write) -> io::Result<()> {
    check(mesh)?;
    Pattern::of(mesh).write(mesh.colours, title, out)
}

/// Checks that a mesh can be written.
///
/// # Errors
/// As [`write()`], for the mesh.
pub fn check(mesh: &ColouredMesh<'_>) -> io::Result<()> {
    mesh.check()
}

/// A mesh and which of the colours lies on which triangle, but not what these colours are: most of the file by far, and
/// the same for all palettes of a piece.
#[derive(Debug)]
pub struct Pattern {
    /// The model part from the object on.
    packed: Packed,
    /// How many colours it takes at least.
    colours: usize,
}

impl Weigh for Pattern {
    fn bytes(&self) -> usize {
        self.packed.held()
    }
}

impl Pattern {
    /// The pattern of a mesh that [`check`] accepts. Compresses on all threads.
    #[must_use]
    pub fn of(mesh: &ColouredMesh<'_>) -> Self {
        let colours = mesh.ink.iter().max().map_or(1, |&ink| ink as usize + 1);
        Self { packed: pack(mesh), colours }
    }

    /// Writes the file, with these colours for the pattern's. See [`write()`].
    ///
    /// # Errors
    /// If there are fewer colours than the pattern has, and as [`write()`].
    pub fn write(&self, colours: &[Srgb], title: &str, out: &mut dyn Write) -> io::Result<()> {
        if colours.len() < self.colours {
            let message = format!("{} colours, but the mesh needs {}", colours.len(), self.colours);
            return Err(io::Error::new(io::ErrorKind::InvalidInput, message));
        }
        let [types, relationships] = [CONTENT_TYPES, RELATIONSHIPS].map(|part| Packed::of(part.as_bytes(), Ends::Last));
        let head = Packed::of(head(colours, title).as_bytes(), Ends::GoesOn);
        out.write_all(&package(&[
            Part { name: "[Content_Types].xml", text: &[&types] },
            Part { name: "_rels/.rels", text: &[&relationships] },
            Part { name: "3D/3dmodel.model", text: &[&head, &self.packed] },
        ])?)
    }
}

/// The model part (3.4) up to the object: metadata, and the colours.
fn head(colours: &[Srgb], title: &str) -> String {
    let group: String = colours.iter().map(|colour| format!("   <m:color color=\"{colour}\"/>\n")).collect();
    format!(
        r#"<?xml version="1.0" encoding="UTF-8"?>
<model unit="millimeter" xml:lang="en-US" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02" xmlns:m="http://schemas.microsoft.com/3dmanufacturing/material/2015/02">
 <metadata name="Title">{}</metadata>
 <metadata name="Application">Turnhue {}</metadata>
 <resources>
  <m:colorgroup id="{COLOUR_GROUP}">
{group}"#,
        escape(allowed_in_xml(title)),
        env!("CARGO_PKG_VERSION")
    )
}

/// The model part from the end of the colours on: the object, and the build.
fn pack(mesh: &ColouredMesh<'_>) -> Packed {
    // An object whose triangles have properties must carry pid and pindex itself (chapter 4).
    let before = format!(
        r#"  </m:colorgroup>
  <object id="{OBJECT}" type="model" pid="{COLOUR_GROUP}" pindex="0">
   <mesh>
    <vertices>
"#
    );
    let after = format!(
        r#"    </triangles>
   </mesh>
  </object>
 </resources>
 <build>
  <item objectid="{OBJECT}"/>
 </build>
</model>
"#
    );
    let mut packed = Packed::of(before.as_bytes(), Ends::GoesOn);
    let vertices = stretches(mesh.points.par_chunks(STRETCH), vertices(mesh.points));
    let between = Packed::of(b"    </vertices>\n    <triangles>\n", Ends::GoesOn);
    let painted = mesh.triangles.par_chunks(STRETCH).zip(mesh.ink.par_chunks(STRETCH));
    let triangles = stretches(painted, append_triangles);
    let after = Packed::of(after.as_bytes(), Ends::Last);
    vertices.iter().chain([&between]).chain(&triangles).chain([&after]).for_each(|next| packed.append(next));
    packed
}

/// Compresses the text that `append` makes of each stretch.
fn stretches<T: Send>(
    items: impl IndexedParallelIterator<Item = T>,
    append: impl Fn(&mut Vec<u8>, T) + Sync,
) -> Vec<Packed> {
    let pack = |text: &mut Vec<u8>, item| {
        text.clear();
        append(text, item);
        Packed::of(text, Ends::GoesOn)
    };
    items.map_init(|| Vec::with_capacity(STRETCH * LONGEST), pack).collect()
}

/// The characters of the text that XML 1.0 allows (its production 2, `Char`).
fn allowed_in_xml(text: &str) -> String {
    let allowed =
        |c: &char| !matches!(c, '\0'..='\u{8}' | '\u{b}' | '\u{c}' | '\u{e}'..='\u{1f}' | '\u{fffe}' | '\u{ffff}');
    text.chars().filter(allowed).collect()
}

/// What writes a stretch of points.
fn vertices(points: &[DVec3]) -> impl Fn(&mut Vec<u8>, &[DVec3]) + Sync {
    let append = if rounding_keeps_apart(points) { append_rounded } else { append_shortest };
    move |text, points| {
        for point in points {
            for (name, coordinate) in [&b"<vertex x=\""[..], b"\" y=\"", b"\" z=\""].iter().zip(point.to_array()) {
                text.extend_from_slice(name);
                append(text, coordinate);
            }
            text.extend_from_slice(b"\"/>\n");
        }
    }
}

/// Writes a stretch of triangles (4.1.4): `p1` alone colours the whole triangle.
fn append_triangles(text: &mut Vec<u8>, (triangles, ink): (&[[u32; 3]], &[u32])) {
    let group = format!("\" pid=\"{COLOUR_GROUP}\" p1=\"");
    for (triangle, &ink) in triangles.iter().zip(ink) {
        for (name, &point) in [&b"<triangle v1=\""[..], b"\" v2=\"", b"\" v3=\""].iter().zip(triangle) {
            text.extend_from_slice(name);
            append_whole(text, u64::from(point), 1);
        }
        text.extend_from_slice(group.as_bytes());
        append_whole(text, u64::from(ink), 1);
        text.extend_from_slice(b"\"/>\n");
    }
}

/// Whether points that differ still differ when rounded. Points that are equal may stay so: some meshes hold a place
/// twice on purpose, so that no edge is shared by four triangles.
fn rounding_keeps_apart(points: &[DVec3]) -> bool {
    let different = |map: fn(DVec3) -> DVec3| {
        let mut index = PointIndex::with_capacity(points.len());
        for &point in points {
            index.number(map(point));
        }
        index.len()
    };
    points.iter().all(|p| p.abs().max_element() <= LARGEST_ROUNDED_MM)
        && different(|p| p) == different(|p| (p * STEPS_PER_MM).round())
}

/// The coordinate in whole steps, as a decimal without trailing zeros.
fn append_rounded(text: &mut Vec<u8>, coordinate: f64) {
    const STEPS: u64 = STEPS_PER_MM as u64;
    let steps = (coordinate * STEPS_PER_MM).round();
    if steps < 0.0 {
        text.push(b'-');
    }
    let steps = steps.abs() as u64;
    append_whole(text, steps / STEPS, 1);
    let fraction = steps % STEPS;
    if fraction > 0 {
        text.push(b'.');
        append_whole(text, fraction, 6);
        while text.last() == Some(&b'0') {
            text.pop();
        }
    }
}

/// The shortest decimal that reads back to the same `f64`, with an exponent, which keeps it below 25 characters.
fn append_shortest(text: &mut Vec<u8>, coordinate: f64) {
    let coordinate = coordinate + 0.0; // −0.0 is the same place as 0.0
    write!(text, "{coordinate:e}").expect("a vector takes all");
}

/// A whole number with at least `digits` digits.
fn append_whole(text: &mut Vec<u8>, mut number: u64, digits: usize) {
    let mut buffer = [b'0'; 20]; // u64::MAX has 20 digits
    let mut at = buffer.len();
    while number > 0 {
        at -= 1;
        buffer[at] = b'0' + (number % 10) as u8;
        number /= 10;
    }
    text.extend_from_slice(&buffer[at.min(buffer.len() - digits)..]);
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use std::io::{Cursor, Read};

    use quick_xml::Reader;
    use quick_xml::events::Event;

    use super::*;
    use crate::Srgb;

    const CORNERS: [DVec3; 4] = [DVec3::ZERO, DVec3::X, DVec3::Y, DVec3::Z];
    const TETRAHEDRON: [[u32; 3]; 4] = [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]];
    const COLOURS: [Srgb; 2] = [Srgb([200, 85, 61]), Srgb([0, 255, 10])];

    fn tetrahedron(points: &[DVec3]) -> ColouredMesh<'_> {
        ColouredMesh { points, triangles: &TETRAHEDRON, colours: &COLOURS, ink: &[0, 1, 1, 0] }
    }

    fn written(mesh: &ColouredMesh<'_>, title: &str) -> Vec<u8> {
        let mut package = Vec::new();
        write(mesh, title, &mut package).unwrap();
        package
    }

    fn model_part(package: &[u8]) -> String {
        let mut archive = zip::ZipArchive::new(Cursor::new(package)).unwrap();
        let mut text = String::new();
        archive.by_name("3D/3dmodel.model").unwrap().read_to_string(&mut text).unwrap();
        text
    }

    /// The attributes of every element of that name, in the file's order.
    fn elements(model: &str, name: &str) -> Vec<Vec<(String, String)>> {
        let mut reader = Reader::from_str(model);
        let mut found = Vec::new();
        loop {
            match reader.read_event().unwrap() {
                Event::Start(tag) | Event::Empty(tag) if tag.name().as_ref() == name => {
                    let attributes = tag.attributes().map(|a| a.unwrap());
                    found.push(attributes.map(|a| (a.key.as_ref().to_owned(), a.value.into_owned())).collect());
                }
                Event::Eof => return found,
                _ => {}
            }
        }
    }

    fn coordinates(model: &str) -> Vec<DVec3> {
        let number = |(_, text): &(String, String)| text.parse::<f64>().unwrap();
        elements(model, "vertex").iter().map(|a| DVec3::new(number(&a[0]), number(&a[1]), number(&a[2]))).collect()
    }

    #[test]
    fn points_triangles_and_colours_come_back_in_order() {
        let model = model_part(&written(&tetrahedron(&CORNERS), "A piece"));
        assert_eq!(coordinates(&model), CORNERS);
        let triangles = elements(&model, "triangle");
        for ((attributes, corners), ink) in triangles.iter().zip(TETRAHEDRON).zip([0, 1, 1, 0]) {
            let [a, b, c] = corners;
            let expected = [("v1", a), ("v2", b), ("v3", c), ("pid", 1), ("p1", ink)];
            assert_eq!(*attributes, expected.map(|(key, value)| (key.to_owned(), value.to_string())));
        }
        let colours: Vec<_> = elements(&model, "m:color").iter().map(|a| a[0].1.clone()).collect();
        assert_eq!(colours, ["#c8553d", "#00ff0a"]);
        // Core specification 1.4, chapter 4: an object whose triangles have properties gives pid and pindex.
        let object = elements(&model, "object").remove(0);
        assert!(object.contains(&("pid".to_owned(), "1".to_owned())), "{object:?}");
        assert!(object.contains(&("pindex".to_owned(), "0".to_owned())), "{object:?}");
    }

    #[test]
    fn the_same_piece_gives_the_same_bytes() {
        let mesh = tetrahedron(&CORNERS);
        assert_eq!(written(&mesh, "A piece"), written(&mesh, "A piece"));
    }

    #[test]
    fn other_colours_change_nothing_but_the_colours() {
        let pattern = Pattern::of(&tetrahedron(&CORNERS));
        let write = |colours: &[Srgb]| {
            let mut file = Vec::new();
            pattern.write(colours, "A piece", &mut file).map(|()| file)
        };
        assert_eq!(write(&COLOURS).unwrap(), written(&tetrahedron(&CORNERS), "A piece"));
        let other = model_part(&write(&[Srgb([1, 2, 3]), COLOURS[1]]).unwrap());
        assert_eq!(other.replace("#010203", "#c8553d"), model_part(&write(&COLOURS).unwrap()));
        assert!(write(&COLOURS[..1]).is_err());
    }

    #[test]
    fn long_meshes_keep_their_order_on_any_number_of_threads() {
        let points: Vec<DVec3> = (0..3 * STRETCH + 7).map(|i| DVec3::new(i as f64 / 8.0, 1.0, -2.5)).collect();
        let triangles: Vec<[u32; 3]> = (2..points.len() as u32).map(|i| [i - 2, i - 1, i]).collect();
        let ink: Vec<u32> = (0..triangles.len() as u32).map(|i| i / 5 % 2).collect();
        let mesh = ColouredMesh { points: &points, triangles: &triangles, colours: &COLOURS, ink: &ink };
        let on = |threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            pool.install(|| written(&mesh, "Long"))
        };
        let file = on(1);
        assert!(file == on(3) && file == on(8));
        let model = model_part(&file);
        assert_eq!(coordinates(&model), points);
        let found = elements(&model, "triangle");
        assert_eq!(found.len(), triangles.len());
        for ((attributes, corners), ink) in found.iter().zip(&triangles).zip(&ink) {
            let numbers: Vec<u32> = attributes.iter().map(|(_, value)| value.parse().unwrap()).collect();
            assert_eq!(numbers, [corners[0], corners[1], corners[2], 1, *ink]);
        }
    }

    #[test]
    fn a_title_cannot_leave_its_element() {
        let title = "<script>\u{0}\u{b}&\"' ]]> \u{ffff}Wellhornschnecke für Zoë\u{1f41a}";
        let model = model_part(&written(&tetrahedron(&CORNERS), title));
        let escaped = "<metadata name=\"Title\">&lt;script&gt;&amp;&quot;&apos; ]]&gt; Wellhornschnecke für Zoë\u{1f41a}</metadata>";
        assert!(model.contains(escaped), "{}", &model[..600]);
        assert_eq!(elements(&model, "metadata").len(), 2);
    }

    #[test]
    fn coordinates_are_short_and_within_half_a_step() {
        let points = [
            DVec3::new(0.1 + 0.2, -0.0, 1e-7),
            DVec3::new(-123.456_789_4, 1.0 / 3.0, 12.000_000_4),
            DVec3::new(-2e-6, 999_999.999_999, 5e-7),
            DVec3::new(1e9, -1e9, 0.05),
        ];
        let model = model_part(&written(&tetrahedron(&points), ""));
        assert!(model.contains(r#"<vertex x="0.3" y="0" z="0"/>"#), "{model}");
        assert!(model.contains(r#"<vertex x="-123.456789" y="0.333333" z="12"/>"#), "{model}");
        assert!(model.contains(r#"<vertex x="-0.000002" y="999999.999999" z="0.000001"/>"#), "{model}");
        assert!(model.contains(r#"<vertex x="1000000000" y="-1000000000" z="0.05"/>"#), "{model}");
        for (read, point) in coordinates(&model).iter().zip(points) {
            assert!((*read - point).abs().max_element() <= 0.5e-6 + 1e-12, "{read} {point}");
        }
    }

    #[test]
    fn different_points_stay_different() {
        // Closer together than the step, and beyond what can be counted in steps: exact to the last bit.
        for far in [1.0, 1e300] {
            let points = [DVec3::ZERO, DVec3::new(far, 0.1, -0.0), DVec3::new(far, 0.1 + 1e-9, 0.0), DVec3::Z / 3.0];
            assert_eq!(coordinates(&model_part(&written(&tetrahedron(&points), ""))), points);
        }
        // A place held twice on purpose does not make the file longer.
        let twice = [DVec3::ZERO, DVec3::splat(0.1 + 0.2), DVec3::splat(0.1 + 0.2), DVec3::Z];
        let read = coordinates(&model_part(&written(&tetrahedron(&twice), "")));
        assert_eq!(read, [DVec3::ZERO, DVec3::splat(0.3), DVec3::splat(0.3), DVec3::Z]);
    }

    #[test]
    fn whole_numbers() {
        for (number, digits, expected) in [(0, 1, "0"), (7, 1, "7"), (1050, 1, "1050"), (50, 6, "000050")] {
            let mut text = Vec::new();
            append_whole(&mut text, number, digits);
            assert_eq!(text, expected.as_bytes());
        }
        let mut text = Vec::new();
        append_whole(&mut text, u64::MAX, 1);
        assert_eq!(text, u64::MAX.to_string().as_bytes());
    }

    #[test]
    fn unsound_meshes_are_refused() {
        let sound = tetrahedron(&CORNERS);
        let nan = [DVec3::NAN; 4];
        let unsound = [
            ColouredMesh { points: &CORNERS[..3], ..sound },
            ColouredMesh { points: &nan, ..sound },
            ColouredMesh { ink: &[0, 1, 2, 0], ..sound },
            ColouredMesh { ink: &[0], ..sound },
            ColouredMesh { colours: &[], ..sound },
        ];
        for mesh in unsound {
            let error = write(&mesh, "", &mut io::sink()).unwrap_err();
            assert_eq!(error.kind(), io::ErrorKind::InvalidInput);
        }
    }
}
