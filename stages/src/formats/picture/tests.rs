#![allow(clippy::unwrap_used)]

use glam::DVec3;

use super::*;
use crate::{Side, Srgb};

/// One colour a side, in the order of the sides.
const COLOURS: [Srgb; 6] = [
    Srgb([0xc8, 0x55, 0x3d]),
    Srgb([0x2a, 0x6f, 0x97]),
    Srgb([0xe9, 0xc4, 0x6a]),
    Srgb([0x58, 0x81, 0x57]),
    Srgb([0xf4, 0xf1, 0xde]),
    Srgb([0x3d, 0x40, 0x5b]),
];

/// Every face of each block, coloured by its side.
#[derive(Default)]
struct Blocks {
    points: Vec<DVec3>,
    triangles: Vec<[u32; 3]>,
    ink: Vec<u32>,
}

impl Blocks {
    fn of(boxes: &[[DVec3; 2]]) -> Self {
        let mut blocks = Self::default();
        for &[low, high] in boxes {
            Side::ALL.iter().for_each(|&side| blocks.face(side, low, high));
        }
        blocks
    }

    fn cube() -> Self {
        Self::of(&[[DVec3::splat(-5.0), DVec3::splat(5.0)]])
    }

    fn face(&mut self, side: Side, low: DVec3, high: DVec3) {
        let axis = side.axis();
        let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
        let first = self.points.len() as u32;
        for [at_u, at_v] in [[low[u], low[v]], [high[u], low[v]], [high[u], high[v]], [low[u], high[v]]] {
            let mut corner = DVec3::ZERO;
            corner[axis] = if side.positive() { high[axis] } else { low[axis] };
            corner[u] = at_u;
            corner[v] = at_v;
            self.points.push(corner);
        }
        let turns = if side.positive() { [[0, 1, 2], [0, 2, 3]] } else { [[0, 2, 1], [0, 3, 2]] };
        self.triangles.extend(turns.map(|turn| turn.map(|i| first + i)));
        self.ink.extend([side as u32; 2]);
    }

    fn mesh(&self) -> ColouredMesh<'_> {
        ColouredMesh { points: &self.points, triangles: &self.triangles, colours: &COLOURS, ink: &self.ink }
    }
}

fn count(image: &Image, rgba: [u8; 4]) -> usize {
    image.pixels().iter().filter(|&&p| p == rgba).count()
}

fn opaque(Srgb([r, g, b]): Srgb) -> [u8; 4] {
    [r, g, b, 255]
}

#[test]
fn each_side_of_a_cube_is_a_square_of_exactly_its_colour() {
    let blocks = Blocks::cube();
    let pixels = 200;
    // Closed form: of the eight views the corner ones are the widest, √2 edges wide and
    // sin(e)·√2 + cos(e) = 1.467 edges high, which has to fit into 92 % of the picture.
    let [sine, cosine] = View::ELEVATION;
    let edge = f64::from(pixels) * 0.92 / (sine * 2f64.sqrt() + cosine);
    for side in Side::ALL {
        let image = render(&blocks.mesh(), View::Side(side), pixels);
        let inside = count(&image, opaque(COLOURS[side as usize])) as f64;
        assert!((edge - 2.0).powi(2) <= inside && inside <= edge.powi(2), "{side}: {inside} of {edge}²");
        let (middle, corner) = (image.pixels()[100 * 200 + 100], image.pixels()[0]);
        assert_eq!((middle, corner), (opaque(COLOURS[side as usize]), [0; 4]), "{side}");
    }
}

#[test]
fn a_corner_view_shows_sides_in_proportion_to_how_they_face_the_viewer() {
    // Closed form: a unit square with normal n has the area |n·d| seen in parallel from d.
    let blocks = Blocks::cube();
    for (view, sides) in [
        (View::FrontRight, [Side::Right, Side::Front, Side::Top]),
        (View::BackLeft, [Side::Left, Side::Back, Side::Top]),
    ] {
        let image = render(&blocks.mesh(), view, 800);
        let towards = view.towards().abs();
        let mut colours: Vec<[u8; 4]> = image.pixels().iter().copied().filter(|p| p[3] == 255).collect();
        colours.sort_unstable();
        let mut seen: Vec<usize> = colours.chunk_by(|a, b| a == b).map(<[_]>::len).filter(|&n| n > 1000).collect();
        seen.sort_unstable();
        let total: usize = seen.iter().sum();
        let mut expected = sides.map(|side| towards[side.axis()] / towards.element_sum());
        expected.sort_unstable_by(f64::total_cmp);
        assert_eq!(seen.len(), 3, "{view:?}");
        for (share, expected) in seen.iter().map(|&n| n as f64 / total as f64).zip(expected) {
            assert!((share - expected).abs() < 0.004, "{view:?}: {share} instead of {expected}");
        }
    }
}

#[test]
fn left_right_up_and_down_are_where_they_belong() {
    // A long block along +x, +y, +z each, so that every picture says which way its axes run.
    let arms = Blocks::of(&[
        [DVec3::ZERO, DVec3::new(9.0, 1.0, 1.0)],
        [DVec3::ZERO, DVec3::new(1.0, 6.0, 1.0)],
        [DVec3::ZERO, DVec3::new(1.0, 1.0, 3.0)],
    ]);
    // Where the picture's left, right, upper and lower end lies, along the side's axes.
    let cases = [
        (Side::Right, DVec3::Y, DVec3::Z),
        (Side::Left, -DVec3::Y, DVec3::Z),
        (Side::Back, -DVec3::X, DVec3::Z),
        (Side::Front, DVec3::X, DVec3::Z),
        (Side::Top, DVec3::X, DVec3::Y),
        (Side::Bottom, DVec3::X, -DVec3::Y),
    ];
    for (side, right, up) in cases {
        let view = View::Side(side);
        assert_eq!(view.axes(), [right, up, side.normal()], "{side}");
        let image = render(&arms.mesh(), view, 300);
        let solid = |x: usize, y: usize| image.pixels()[y * 300 + x][3] == 255;
        let columns: Vec<usize> = (0..300).filter(|&x| (0..300).any(|y| solid(x, y))).collect();
        let rows: Vec<usize> = (0..300).filter(|&y| (0..300).any(|x| solid(x, y))).collect();
        // The body of the arms is at the low end of every axis: there the picture is solid across both arms.
        let (x, y) = (columns[if right.element_sum() > 0.0 { 3 } else { columns.len() - 4 }], {
            rows[if up.element_sum() > 0.0 { rows.len() - 4 } else { 3 }]
        });
        assert!(solid(x, rows[3]) && solid(x, rows[rows.len() - 4]), "{side}: the upright arm");
        assert!(solid(columns[3], y) && solid(columns[columns.len() - 4], y), "{side}: the level arm");
        let wide = columns.len() as f64 / rows.len() as f64;
        let arms = DVec3::new(9.0, 6.0, 3.0);
        assert!((wide - arms.dot(right.abs()) / arms.dot(up.abs())).abs() < 0.05, "{side}: {wide}");
    }
    for view in View::ALL {
        let [right, up, towards] = view.axes();
        assert!((right.cross(up) - towards).length() < 1e-15 && (towards.length() - 1.0).abs() < 1e-15, "{view:?}");
    }
}

#[test]
fn the_nearer_wins_whatever_the_order() {
    let near = [DVec3::new(-2.0, -8.0, -2.0), DVec3::new(2.0, -6.0, 2.0)];
    let far = [DVec3::splat(-5.0), DVec3::splat(5.0)];
    let mut pictures = Vec::new();
    for (boxes, near_first) in [([near, far], true), ([far, near], false)] {
        let mut blocks = Blocks::of(&boxes);
        // The near block is black: its first twelve triangles, or its last.
        let range = if near_first { 0..12 } else { 12..24 };
        blocks.ink[range].fill(6);
        let colours: Vec<Srgb> = COLOURS.into_iter().chain([Srgb([0; 3])]).collect();
        let mesh = ColouredMesh { colours: &colours, ..blocks.mesh() };
        let front = render(&mesh, View::Side(Side::Front), 240);
        assert_eq!(front.pixels()[120 * 240 + 120], [0, 0, 0, 255]);
        assert_eq!(count(&render(&mesh, View::Side(Side::Back), 240), [0, 0, 0, 255]), 0);
        pictures.push(front);
    }
    assert_eq!(pictures[0], pictures[1]);
}

#[test]
fn neighbours_at_one_depth_leave_no_seam() {
    // Four cubes in a plane make one flat square: every pixel inside it has the one colour.
    let cubes: Vec<[DVec3; 2]> = (0..4)
        .map(|i| DVec3::new(f64::from(i % 2), 0.0, f64::from(i / 2)) * 3.1)
        .map(|low| [low, low + DVec3::splat(3.1)])
        .collect();
    let blocks = Blocks::of(&cubes);
    let image = render(&blocks.mesh(), View::Side(Side::Front), 157);
    for line in image.pixels().chunks(157) {
        let mut solid = line.iter().skip_while(|p| p[3] < 255).take_while(|p| p[3] == 255).copied();
        let edge = solid.next();
        assert!(edge.is_none() || solid.filter(|&p| p != opaque(COLOURS[Side::Front as usize])).count() <= 1);
    }
}

#[test]
fn a_step_gets_a_dark_line_on_the_farther_face_and_nowhere_else() {
    let blocks = Blocks::of(&[
        [DVec3::ZERO, DVec3::new(10.0, 10.0, 10.0)],
        [DVec3::new(0.0, -4.0, 0.0), DVec3::new(5.0, 0.0, 10.0)],
    ]);
    let image = render(&blocks.mesh(), View::Side(Side::Front), 300);
    let row: Vec<[u8; 4]> = image.pixels()[150 * 300..151 * 300].to_vec();
    let colour = opaque(COLOURS[Side::Front as usize]);
    let first = row.iter().position(|&p| p == colour).unwrap();
    let last = row.iter().rposition(|&p| p == colour).unwrap();
    let dark: Vec<usize> = (first..=last).filter(|&x| row[x] != colour).collect();
    let middle = (first + last) / 2;
    assert!(!dark.is_empty() && dark.len() <= 2, "{dark:?}");
    assert!(dark.iter().all(|&x| (middle..=middle + 2).contains(&x) && row[x][1] < colour[1]), "{dark:?} at {middle}");
}

#[test]
fn half_covered_pixels_mix_in_linear_light() {
    // IEC 61966-2-1: half black, half white light is sRGB 188 (0.5 → 187.5), not 128.
    let mut band = Band::new(1, BAND_ROWS);
    band.clear(0);
    for (at, (near, shows)) in band.near.iter_mut().zip(&mut band.shows).enumerate() {
        *near = 0.0;
        *shows = 1 + (at % 2) as u32;
    }
    let shown = [0, 1].map(|ink| camera::Shown { ink, light: mix::WHOLE });
    let (mut mixes, mut pixels) = (Mixes::default(), [0]);
    resolve::resolve(&band, &shown, &mut mixes, &mut pixels);
    let colours = [Srgb([255; 3]), Srgb([0; 3])];
    assert_eq!(mixes.met()[pixels[0] as usize].rgba(&colours), [188, 188, 188, 255]);
}

/// A staircase of cubes, each face in its side's colour.
fn stairs() -> Blocks {
    let cubes = (0..6).flat_map(|i| (0..6).flat_map(move |j| (0..=(i + j) / 2).map(move |k| [i, j, k])));
    let boxes: Vec<[DVec3; 2]> =
        cubes.map(|at| DVec3::from_array(at.map(f64::from)) * 3.0).map(|low| [low, low + DVec3::splat(3.0)]).collect();
    Blocks::of(&boxes)
}

/// The pixels of a PNG, whatever its kind.
fn read_png(bytes: &[u8]) -> Vec<[u8; 4]> {
    let mut decoder = png::Decoder::new(io::Cursor::new(bytes));
    decoder.set_transformations(png::Transformations::ALPHA);
    let mut reader = decoder.read_info().unwrap();
    let mut read = vec![0; reader.output_buffer_size().unwrap()];
    reader.next_frame(&mut read).unwrap();
    read.as_chunks().0.to_vec()
}

#[test]
fn views_in_other_colours_are_the_views_of_a_mesh_in_these_colours() {
    let blocks = stairs();
    let other: Vec<Srgb> = COLOURS.iter().map(|Srgb([r, g, b])| Srgb([255 - g, *b, r / 2])).collect();
    for views in [Views::of(&blocks.mesh(), 300), Views::of(&ColouredMesh { colours: &other, ..blocks.mesh() }, 300)] {
        for colours in [&COLOURS[..], &other] {
            let images = render_all(&ColouredMesh { colours, ..blocks.mesh() }, 300);
            for ((view, write), (same, image)) in views.in_colours(colours).zip(images) {
                let mut file = Vec::new();
                write(&mut file).unwrap();
                let read = read_png(&file);
                assert_eq!((view, read.len()), (same, image.pixels().len()));
                // At most a hundredth of the pixels, all on edges, take the look of another that is much alike.
                let off: Vec<u8> = read.iter().zip(image.pixels()).map(|(a, b)| farthest(*a, *b)).collect();
                let moved = off.iter().filter(|&&off| off > 2).count();
                assert!(moved * 100 <= read.len(), "{view:?}: {moved} of {}", read.len());
                assert!(off.iter().all(|&off| off < 32), "{view:?}: {:?}", off.iter().max());
            }
        }
    }
}

/// The largest difference of a channel, each multiplied by alpha.
fn farthest(a: [u8; 4], b: [u8; 4]) -> u8 {
    let over = |[r, g, b, alpha]: [u8; 4]| [r, g, b, 255].map(|v| (u32::from(v) * u32::from(alpha) / 255) as u8);
    over(a).iter().zip(over(b)).map(|(a, b)| a.abs_diff(b)).max().unwrap()
}

#[test]
fn the_png_reads_back_as_it_was_drawn() {
    let image = render(&Blocks::cube().mesh(), View::FrontRight, 64);
    let mut bytes = Vec::new();
    image.write_png(&mut bytes).unwrap();
    let mut reader = png::Decoder::new(io::Cursor::new(&bytes)).read_info().unwrap();
    let mut read = vec![0; reader.output_buffer_size().unwrap()];
    let info = reader.next_frame(&mut read).unwrap();
    assert_eq!((info.width, info.height, info.color_type), (64, 64, png::ColorType::Rgba));
    assert_eq!(read, image.pixels().as_flattened());
    assert!(image.pixels().iter().any(|p| (1..255).contains(&p[3])), "no soft edge");
}

#[test]
fn pictures_do_not_depend_on_the_number_of_threads() {
    let blocks =
        Blocks::of(&[[DVec3::ZERO, DVec3::new(3.0, 9.0, 4.0)], [DVec3::new(3.0, 2.0, 1.0), DVec3::new(7.0, 5.0, 8.0)]]);
    let draw = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| render_all(&blocks.mesh(), 130))
    };
    let one = draw(1);
    assert_eq!(one, draw(5));
    for (view, image) in one {
        assert_eq!(image, render(&blocks.mesh(), view, 130), "{view:?}");
    }
}

#[test]
fn odd_meshes_give_a_picture() {
    let empty = ColouredMesh { points: &[], triangles: &[], colours: &COLOURS, ink: &[] };
    assert_eq!(count(&render(&empty, View::FrontRight, 10), [0; 4]), 100);
    let point = [DVec3::splat(7.0)];
    let degenerate = ColouredMesh { points: &point, triangles: &[[0, 0, 0]], colours: &COLOURS, ink: &[0] };
    assert_eq!(render(&degenerate, View::BackLeft, 0).edge(), 1);
    for (size, pixels) in [(1e-9, 33), (1e12, 33), (1.0, 1)] {
        let cube = Blocks::of(&[[DVec3::ZERO, DVec3::splat(size)]]);
        assert!(render(&cube.mesh(), View::Side(Side::Top), pixels).pixels().iter().any(|p| p[3] > 0), "{size}");
    }
}

#[test]
fn the_files_have_the_names_of_the_run_folder() {
    let names = View::ALL.map(View::file_name);
    assert_eq!(
        names,
        [
            "view-right.png",
            "view-left.png",
            "view-back.png",
            "view-front.png",
            "view-top.png",
            "view-bottom.png",
            "view-corner-front-right.png",
            "view-corner-back-left.png"
        ]
    );
}
