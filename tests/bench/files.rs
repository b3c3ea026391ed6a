//! Reading and writing files, and drawing pictures.

use std::io::{Cursor, sink};

use divan::counter::BytesCount;
use divan::{Bencher, black_box};
use turnhue_stages::Srgb;
use turnhue_stages::formats::{ColouredMesh, picture, ply, stl, threemf};
use turnhue_stages::solid::skin::outside_faces;
use turnhue_stages::solid::{Patch, Skin};

use crate::pieces::{Begun, ball, demo_model};

#[divan::bench(sample_count = 20)]
fn read_stl_demo(bencher: Bencher<'_, '_>) {
    read_stl(bencher, &demo_model());
}

#[divan::bench(sample_count = 5)]
fn read_stl_871_198_triangles(bencher: Bencher<'_, '_>) {
    let ball = ball(661, 660);
    let mut file = Vec::new();
    stl::write(ball.points(), ball.triangles(), &mut file).unwrap();
    read_stl(bencher, &file);
}

fn read_stl(bencher: Bencher<'_, '_>, file: &[u8]) {
    bencher.counter(BytesCount::of_slice(file)).bench_local(|| stl::read(black_box(file)).unwrap());
}

/// The demo's skin in seven colours.
struct Demo {
    skin: Skin,
    ink: Vec<u32>,
}

/// The order does not matter here.
const COLOURS: [Srgb; 7] = [
    Srgb([0xc8, 0x55, 0x3d]),
    Srgb([0x2a, 0x6f, 0x97]),
    Srgb([0xe9, 0xc4, 0x6a]),
    Srgb([0x58, 0x81, 0x57]),
    Srgb([0xf4, 0xf1, 0xde]),
    Srgb([0x3d, 0x40, 0x5b]),
    Srgb([0xed, 0xe6, 0xd6]),
];

impl Demo {
    fn new() -> Self {
        let begun = Begun::demo("colour").0;
        let (cells, void) = (begun.piece.cells().unwrap(), begun.piece.void());
        let faces = outside_faces(cells, void);
        let skin = Skin::of(cells, void, &faces);
        let ink = skin.patches.iter().map(|patch| match patch {
            Patch::Outside(face) => faces[*face as usize].side as u32,
            Patch::Inside => 6,
        });
        Self { ink: ink.collect(), skin }
    }

    fn mesh(&self) -> ColouredMesh<'_> {
        let Skin { points, triangles, .. } = &self.skin;
        ColouredMesh { points, triangles, colours: &COLOURS, ink: &self.ink }
    }
}

#[divan::bench(sample_count = 10)]
fn write_3mf(bencher: Bencher<'_, '_>) {
    let demo = Demo::new();
    bencher.bench_local(|| threemf::write(black_box(&demo.mesh()), "Demo", &mut sink()).unwrap());
}

#[divan::bench(sample_count = 10)]
fn read_3mf(bencher: Bencher<'_, '_>) {
    let demo = Demo::new();
    let mut file = Vec::new();
    threemf::write(&demo.mesh(), "Demo", &mut file).unwrap();
    let limits = threemf::read::Limits { part_bytes: 1 << 28, triangles: 1 << 20 };
    bencher.bench_local(|| threemf::read::read(Cursor::new(black_box(&file)), limits).unwrap());
}

#[divan::bench(sample_count = 10)]
fn write_ply(bencher: Bencher<'_, '_>) {
    let demo = Demo::new();
    bencher.bench_local(|| ply::write(black_box(&demo.mesh()), &mut sink()).unwrap());
}

/// Six sides and two corners, and their files.
#[divan::bench(sample_count = 10)]
fn draw_pictures(bencher: Bencher<'_, '_>) {
    let demo = Demo::new();
    bencher.bench_local(|| {
        for (_, image) in picture::render_all(black_box(&demo.mesh()), 480) {
            image.write_png(&mut sink()).unwrap();
        }
    });
}
