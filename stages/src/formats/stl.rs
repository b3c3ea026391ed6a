//! STL, binary and text: reading models, and writing the uncoloured piece.
//!
//! STL has no units, no colours and no connections: just triangles, each with its three corners written out. Corners
//! with equal coordinates become one point here. Normals and attribute bytes are not read: a triangle's own turn says
//! where it looks.
//!
//! `stl_io` serves as the reference in the tests alone. Its entry point tells text from binary by the first line, which
//! binary files that begin with `solid` mislead, its text form refuses what people have in their folders (no name,
//! upper case, a byte-order mark, several solids), and its writer hands on number by number.

use std::io::{self, Write};

use glam::DVec3;

use super::model::{About, Builder, Gathered, quoted};
use crate::solid::Surface;

/// Header and triangle count of the binary form, in bytes.
const PREAMBLE: usize = 84;
/// One triangle of the binary form: normal, three corners, attributes, in bytes.
const RECORD: usize = 50;
/// How far to look for a zero byte, which text never has and a binary header or count always has.
const SNIFF: usize = 1024;

/// Reads a model in the units in which it was drawn; the form, text or binary, is found out. Allocates no more than a
/// small multiple of the file's own size, whatever the file promises.
///
/// # Errors
/// A message that completes "could not read the model:" and says what to do, if the file is cut off, is longer than it
/// says, has a coordinate that is not a finite number, holds no triangle, or is no STL at all.
pub fn read(bytes: &[u8]) -> Result<Surface, String> {
    // The shortest triangle that can be written, in text, takes 60 bytes.
    let mut builder = Builder::new(bytes.len() as u64);
    read_into(bytes, &mut builder)?;
    let Gathered { points, triangles, .. } = builder.finish();
    if triangles.is_empty() {
        return Err("the STL file holds no triangles; export the model again".to_owned());
    }
    Surface::new(points, triangles)
}

/// As [`read`], for a builder; each solid of a text file is a body.
pub(super) fn read_into(bytes: &[u8], builder: &mut Builder) -> Result<About, String> {
    match Form::of(bytes) {
        Form::Binary => read_binary(bytes, builder),
        Form::Text(text) => read_text(text, builder),
    }?;
    Ok(About::default())
}

/// Whether the length is that of a binary file with as many triangles as it says, which no other file has by chance.
pub(super) fn is_binary(bytes: &[u8]) -> bool {
    promised(bytes).is_some_and(|(count, length)| count > 0 && length == bytes.len() as u64)
}

/// Writes the binary form: coordinates as `f32`, normals from the triangles' turn, a header of 80 zeros.
///
/// # Errors
/// If the mesh names points that do not exist or has coordinates that no `f32` holds, and whatever the writer meets.
pub fn write(points: &[DVec3], triangles: &[[u32; 3]], out: &mut dyn Write) -> io::Result<()> {
    super::check_mesh(points, triangles)?;
    super::check_single(points)?;
    let mut file = Vec::with_capacity(PREAMBLE + RECORD * triangles.len());
    file.resize(PREAMBLE - 4, 0);
    file.extend_from_slice(&(triangles.len() as u32).to_le_bytes());
    for triangle in triangles {
        let [a, b, c] = triangle.map(|i| points[i as usize]);
        let normal = (b - a).cross(c - a).normalize_or_zero();
        let mut record = [0; RECORD];
        let numbers = [normal, a, b, c].into_iter().flat_map(|v| v.as_vec3().to_array());
        for (bytes, number) in record.chunks_exact_mut(4).zip(numbers) {
            bytes.copy_from_slice(&number.to_le_bytes());
        }
        file.extend_from_slice(&record);
    }
    out.write_all(&file)
}

enum Form<'a> {
    Binary,
    /// From the word `solid` on.
    Text(&'a [u8]),
}

impl<'a> Form<'a> {
    /// The size decides first: a length that agrees with the count is binary, also when the header says `solid`.
    fn of(bytes: &'a [u8]) -> Self {
        if promised(bytes).is_some_and(|(_, length)| length == bytes.len() as u64) {
            return Self::Binary;
        }
        let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes).trim_ascii_start();
        let solid = text.get(..5).is_some_and(|word| word.eq_ignore_ascii_case(b"solid"));
        if solid && !bytes[..bytes.len().min(SNIFF)].contains(&0) { Self::Text(text) } else { Self::Binary }
    }
}

/// The triangle count of a binary file, and the length that it asks for.
fn promised(bytes: &[u8]) -> Option<(u32, u64)> {
    let count = u32::from_le_bytes(bytes.get(80..PREAMBLE)?.try_into().ok()?);
    Some((count, PREAMBLE as u64 + RECORD as u64 * u64::from(count)))
}

fn read_binary(bytes: &[u8], builder: &mut Builder) -> Result<(), String> {
    let (count, length) = promised(bytes).ok_or_else(|| {
        format!("{} bytes are too few for an STL file; check that the export or download has finished", bytes.len())
    })?;
    let there = bytes.len() as u64;
    if there != length {
        let (what, remedy) = if there < length {
            ("the STL file is cut off, or not an STL file", "export or download it again")
        } else {
            ("the STL file is longer than it says, or not an STL file", "export it again")
        };
        return Err(format!(
            "{what}: its header promises {count} triangles, which take {length} bytes, but it has {there}; {remedy}"
        ));
    }
    builder.make_room(count as usize);
    for record in bytes[PREAMBLE..].chunks_exact(RECORD) {
        let (numbers, _) = record[12..48].as_chunks::<4>();
        let coordinate = |at: usize| f64::from(f32::from_le_bytes(numbers[at]));
        let corners = [0, 3, 6].map(|at| DVec3::new(coordinate(at), coordinate(at + 1), coordinate(at + 2)));
        add(corners, builder)?;
    }
    Ok(())
}

fn read_text(text: &[u8], builder: &mut Builder) -> Result<(), String> {
    let mut words = Words { rest: text };
    // A triangle in the form in which programs write it takes about 260 bytes, and at the very least 60.
    builder.make_room(text.len() / 260);
    while let Some(word) = words.next() {
        expect(word, "solid", builder)?;
        builder.begin_body(std::str::from_utf8(words.rest_of_line()).ok());
        loop {
            let word = words.next().ok_or_else(|| cut_off(builder))?;
            if word.eq_ignore_ascii_case(b"endsolid") {
                words.rest_of_line();
                break;
            }
            expect(word, "facet", builder)?;
            let corners = read_facet(&mut words, builder)?;
            add(corners, builder)?;
        }
    }
    Ok(())
}

/// What follows the word `facet`. The normal is passed over: programs write `nan` there for triangles without area.
fn read_facet(words: &mut Words<'_>, builder: &Builder) -> Result<[DVec3; 3], String> {
    let mut next = || words.next().ok_or_else(|| cut_off(builder));
    expect(next()?, "normal", builder)?;
    for _ in 0..3 {
        next()?;
    }
    expect(next()?, "outer", builder)?;
    expect(next()?, "loop", builder)?;
    let mut corners = [DVec3::ZERO; 3];
    for corner in &mut corners {
        expect(next()?, "vertex", builder)?;
        for axis in 0..3 {
            corner[axis] = number(next()?, builder)?;
        }
    }
    expect(next()?, "endloop", builder)?;
    expect(next()?, "endfacet", builder)?;
    Ok(corners)
}

fn number(word: &[u8], builder: &Builder) -> Result<f64, String> {
    std::str::from_utf8(word)
        .ok()
        .and_then(|word| word.parse().ok())
        .ok_or_else(|| unexpected(word, "a number", builder))
}

fn expect(word: &[u8], expected: &str, builder: &Builder) -> Result<(), String> {
    if word.eq_ignore_ascii_case(expected.as_bytes()) {
        Ok(())
    } else {
        Err(unexpected(word, &format!("'{expected}'"), builder))
    }
}

fn unexpected(word: &[u8], expected: &str, builder: &Builder) -> String {
    let word = quoted(word);
    format!(
        "the text STL file has '{word}' where {expected} should be, at triangle {}; export it again, as binary STL if \
         there is the choice",
        builder.len() + 1
    )
}

fn cut_off(builder: &Builder) -> String {
    format!(
        "the text STL file is cut off: it ends without 'endsolid' after {} whole triangles; export or download it again",
        builder.len()
    )
}

/// The words of a text file, parted by white space.
struct Words<'a> {
    rest: &'a [u8],
}

impl<'a> Words<'a> {
    /// Takes the rest of the line: the name of a solid.
    fn rest_of_line(&mut self) -> &'a [u8] {
        let end = self.rest.iter().position(|b| matches!(b, b'\n' | b'\r')).unwrap_or(self.rest.len());
        let (line, rest) = self.rest.split_at(end);
        self.rest = rest;
        line
    }
}

impl<'a> Iterator for Words<'a> {
    type Item = &'a [u8];

    fn next(&mut self) -> Option<&'a [u8]> {
        let text = self.rest.trim_ascii_start();
        let end = text.iter().position(u8::is_ascii_whitespace).unwrap_or(text.len());
        let (word, rest) = text.split_at(end);
        self.rest = rest;
        (!word.is_empty()).then_some(word)
    }
}

/// Adds a triangle, its corners made one with equal ones.
fn add(corners: [DVec3; 3], builder: &mut Builder) -> Result<(), String> {
    let at = builder.len() + 1;
    let mut triangle = [0; 3];
    for (number, corner) in triangle.iter_mut().zip(corners) {
        *number = builder.point(corner, || format!("triangle {at}"))?;
    }
    builder.triangle(triangle)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// A tetrahedron of volume 1/6, in the form in which most programs write text.
    const TEXT: &str = "solid a piece
 facet normal 0 0 -1\n  outer loop\n   vertex 0 0 0\n   vertex 0 1 0\n   vertex 1 0 0\n  endloop\n endfacet
 facet normal 0 -1 0\n  outer loop\n   vertex 0 0 0\n   vertex 1 0 0\n   vertex 0 0 1\n  endloop\n endfacet
 facet normal -1 0 0\n  outer loop\n   vertex 0 0 0\n   vertex 0 0 1\n   vertex 0 1 0\n  endloop\n endfacet
 facet normal 1 1 1\n  outer loop\n   vertex 1 0 0\n   vertex 0 1e0 0\n   vertex 0 -0.0 1\n  endloop\n endfacet
endsolid a piece
";

    fn tetrahedron() -> Surface {
        let points = vec![DVec3::ZERO, DVec3::Y, DVec3::X, DVec3::Z];
        Surface::new(points, vec![[0, 1, 2], [0, 2, 3], [0, 3, 1], [2, 1, 3]]).unwrap()
    }

    fn binary(surface: &Surface) -> Vec<u8> {
        let mut file = Vec::new();
        write(surface.points(), surface.triangles(), &mut file).unwrap();
        file
    }

    /// The message, which must be one line, not too long, and say what to do.
    fn refused(bytes: &[u8]) -> String {
        let message = read(bytes).unwrap_err();
        assert!(message.len() < 250 && !message.contains('\n'), "{message}");
        assert!(["again", "repair", "finished"].iter().any(|remedy| message.contains(remedy)), "{message}");
        message
    }

    #[test]
    fn what_is_written_is_read() {
        let file = binary(&tetrahedron());
        assert_eq!(file.len(), 84 + 4 * 50);
        assert!(!file.starts_with(b"solid"));
        assert_eq!(read(&file).unwrap(), tetrahedron());
    }

    #[test]
    fn stl_io_reads_the_same_as_is_read_here() {
        let file = binary(&tetrahedron());
        let reference = stl_io::read_stl(&mut io::Cursor::new(&file)).unwrap();
        let surface = read(&file).unwrap();
        let points: Vec<DVec3> = reference.vertices.iter().map(|v| DVec3::from_array(v.0.map(f64::from))).collect();
        assert_eq!(surface.points(), points);
        for (face, triangle) in reference.faces.iter().zip(surface.triangles()) {
            assert_eq!(face.vertices, triangle.map(|i| i as usize));
        }
        assert_eq!(reference.faces[0].normal.0, [0.0, 0.0, -1.0]);
        let third = 3f64.sqrt().recip() as f32;
        assert!(reference.faces[3].normal.0.iter().all(|n| (n - third).abs() < 1e-6));
    }

    #[test]
    fn text_as_programs_and_people_write_it() {
        let no_name = TEXT.replace(" a piece", "");
        let (first, second) = TEXT.split_at(TEXT.match_indices("facet normal").nth(2).unwrap().0);
        let forms = [
            TEXT.to_owned(),
            no_name.clone(),
            TEXT.to_uppercase(),
            format!("\u{feff}{TEXT}"),
            format!("\n  {TEXT}"),
            TEXT.replace('\n', "\r\n"),
            TEXT.replace('\n', "\r"),
            TEXT.replace("a piece", "facet normal für Zoë"),
            TEXT.replace("1 1 1\n", "nan nan nan\n"),
            format!("{first}endsolid\n\nsolid another\n{second}"),
        ];
        for form in forms {
            assert_eq!(read(form.as_bytes()), Ok(tetrahedron()), "{form}");
        }
        let twice = read(format!("{no_name}{no_name}").as_bytes()).unwrap();
        assert_eq!((twice.points().len(), twice.triangles().len()), (4, 8));
    }

    #[test]
    fn binary_that_begins_with_solid_is_binary() {
        let mut file = binary(&tetrahedron());
        file[..16].copy_from_slice(b"solid a piece \n ");
        assert_eq!(read(&file).unwrap(), tetrahedron());
        let message = refused(&file[..200]);
        assert!(message.contains("284 bytes, but it has 200"), "{message}");
    }

    #[test]
    fn damaged_binary_files() {
        let file = binary(&tetrahedron());
        assert!(refused(b"").contains("0 bytes"));
        assert!(refused(&file[..83]).contains("83 bytes"));
        assert!(refused(&file[..283]).contains("4 triangles, which take 284 bytes, but it has 283"));
        assert!(refused(&[&file[..], b"more"].concat()).contains("longer than it says"));
        assert!(refused(&[0; 84]).contains("no triangles"));
        let mut huge = file.clone();
        huge[80..84].copy_from_slice(&4_000_000_000u32.to_le_bytes());
        assert!(refused(&huge).contains("4000000000 triangles, which take 200000000084 bytes, but it has 284"));
        for not_finite in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
            let mut file = file.clone();
            file[84 + 2 * 50 + 44..][..4].copy_from_slice(&not_finite.to_le_bytes());
            assert!(refused(&file).contains("triangle 3 has a coordinate that is not a finite number"));
        }
    }

    #[test]
    fn damaged_text_files() {
        // Cut at the end of any line but the last, and in the middle of any word.
        for (at, _) in TEXT.trim_end().match_indices('\n') {
            assert!(refused(&TEXT.as_bytes()[..at]).contains("cut off"), "{}", &TEXT[..at]);
        }
        for cut in 0..TEXT.rfind("endsolid").unwrap() + 7 {
            refused(&TEXT.as_bytes()[..cut]);
        }
        assert!(refused(b"solid nothing\nendsolid nothing\n").contains("no triangles"));
        for (good, bad, message) in [
            ("1e0", "nan", "triangle 4 has a coordinate that is not a finite number"),
            ("1e0", "-inf", "triangle 4 has a coordinate that is not a finite number"),
            ("1e0", "1e999", "triangle 4 has a coordinate that is not a finite number"),
            ("1e0", "1,0", "'1,0' where a number should be, at triangle 4"),
            ("1e0", "\u{7}<b>", "'<b>' where a number should be"),
            ("1e0 0\n", "1e0\n", "'vertex' where a number should be"),
            ("  endloop", "vertex 9 9 9 endloop", "'vertex' where 'endloop' should be, at triangle 1"),
            ("endsolid", "endsolid\nsolids", "'solids' where 'solid' should be"),
        ] {
            let text = TEXT.replacen(good, bad, 1);
            assert!(refused(text.as_bytes()).contains(message), "{}", refused(text.as_bytes()));
        }
    }

    #[test]
    fn unsound_meshes_are_not_written() {
        let far = DVec3::splat(1e39); // f32::MAX is 3.4e38
        for (points, triangle) in [([DVec3::NAN; 3], [0, 1, 2]), ([DVec3::ONE; 3], [0, 1, 3]), ([far; 3], [0, 1, 2])] {
            let error = write(&points, &[triangle], &mut io::sink()).unwrap_err();
            assert_eq!(error.kind(), io::ErrorKind::InvalidInput);
        }
    }

    /// What reading held on the heap at its end, in bytes. Vectors only grow, so it is the most that one of them held.
    fn footprint(bytes: &[u8]) -> usize {
        let mut builder = Builder::new(u64::MAX);
        let _ = read_into(bytes, &mut builder);
        builder.footprint()
    }

    #[derive(Clone, Debug)]
    enum Harm {
        Cut(usize),
        Flip(usize, u8),
        Repeat(usize, usize),
    }

    fn harm() -> impl Strategy<Value = Harm> {
        prop_oneof![
            any::<usize>().prop_map(Harm::Cut),
            (any::<usize>(), any::<u8>()).prop_map(|(at, mask)| Harm::Flip(at, mask)),
            (any::<usize>(), 1usize..400).prop_map(|(at, length)| Harm::Repeat(at, length)),
        ]
    }

    fn harmed(mut file: Vec<u8>, harms: Vec<Harm>) -> Vec<u8> {
        for harm in harms {
            let length = file.len().max(1);
            match harm {
                Harm::Cut(at) => file.truncate(at % (length + 1)),
                Harm::Flip(at, mask) => file.iter_mut().skip(at % length).take(1).for_each(|byte| *byte ^= mask),
                Harm::Repeat(at, count) => {
                    let at = (at % length).min(file.len());
                    let again = file[at..file.len().min(at + count)].to_vec();
                    file.splice(at..at, again);
                }
            }
        }
        file
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(2000) })]

        #[test]
        fn harmed_files_never_panic_or_swell(text: bool, harms in prop::collection::vec(harm(), 1..6)) {
            let file = if text { TEXT.as_bytes().to_vec() } else { binary(&tetrahedron()) };
            let file = harmed(file, harms);
            if let Ok(surface) = read(&file) {
                prop_assert!(surface.points().iter().all(|p| p.is_finite()));
                prop_assert!(surface.triangles().len() <= file.len() / 50);
            }
            prop_assert!(footprint(&file) <= 8 * file.len() + 64);
        }

        #[test]
        fn any_bytes_are_read_or_refused(bytes: Vec<u8>, solid: bool) {
            let file = if solid { [b"solid ", &bytes[..]].concat() } else { bytes };
            prop_assert!(read(&file).is_err());
        }

        #[test]
        fn any_soup_survives_the_round_trip(
            soup in prop::collection::vec(prop::array::uniform9(-1e6f32..1e6), 1..40)
        ) {
            let points: Vec<DVec3> =
                soup.iter().flat_map(|t| t.as_chunks::<3>().0).map(|c| DVec3::from_array(c.map(f64::from))).collect();
            let triangles: Vec<[u32; 3]> = (0..soup.len() as u32).map(|t| [3 * t, 3 * t + 1, 3 * t + 2]).collect();
            let soup = Surface::new(points, triangles).unwrap();
            let read = read(&binary(&soup)).unwrap();
            prop_assert!(read.each_triangle().eq(soup.each_triangle()));
        }
    }
}
