//! The demo's pictures: a turn, the film, the six sides, and the shares of what is seen.

use std::convert::Infallible;
use std::sync::Arc;

use divan::{Bencher, black_box};
use turnhue_stages::print::view::{Subject, Turn, Viewer};
use turnhue_stages::print::{Around, Sheet};
use turnhue_stages::{Side, Srgb};

use crate::pieces::Begun;

/// Texels along each edge of a face.
const PER_EDGE: usize = 8;

/// The painted demo, as if it were printed without any bleed. What a texel's colour is makes no difference to the time,
/// except a little for the film.
fn sheet() -> Sheet {
    let (begun, _) = Begun::demo("validate");
    let (cells, paint) = (begun.piece.cells().unwrap(), begun.piece.paint().unwrap());
    let around = Around::of(cells, begun.piece.void(), &paint.faces);
    let designed: Vec<Srgb> = paint.ink.iter().map(|&ink| paint.colours[ink as usize]).collect();
    let printed = designed.iter().flat_map(|&colour| std::iter::repeat_n(colour, PER_EDGE * PER_EDGE)).collect();
    Sheet {
        grid: *cells.grid(),
        faces: paint.faces.clone(),
        around: Arc::new(around),
        radius: 0.2,
        designed,
        per_edge: PER_EDGE,
        printed,
    }
}

const VIEWER: Viewer = Viewer { distance: 800.0, height: 330.0 };

#[divan::bench(sample_count = 5, args = [420, 640])]
fn turn(bencher: Bencher<'_, '_>, pixels: u32) {
    let sheet = sheet();
    bencher.bench_local(|| {
        let subject = Subject::new(&sheet);
        let turn = Turn::new(&subject, &VIEWER).unwrap();
        let hand_on = |_, designed, printed| {
            black_box((designed, printed));
            Ok::<(), Infallible>(())
        };
        turn.frames(pixels, 75, hand_on).unwrap();
    });
}

#[divan::bench(sample_count = 5)]
fn film(bencher: Bencher<'_, '_>) {
    let sheet = sheet();
    let subject = Subject::new(&sheet);
    let turn = Turn::new(&subject, &VIEWER).unwrap();
    bencher.bench_local(|| turn.film(400).unwrap());
}

#[divan::bench(sample_count = 10)]
fn sides(bencher: Bencher<'_, '_>) {
    let sheet = sheet();
    let subject = Subject::new(&sheet);
    bencher.bench_local(|| subject.sides(480));
}

#[divan::bench(sample_count = 10)]
fn shares(bencher: Bencher<'_, '_>) {
    let sheet = sheet();
    let subject = Subject::new(&sheet);
    let texels = PER_EDGE * PER_EDGE;
    let names: Vec<Option<Side>> =
        sheet.faces.iter().flat_map(|face| std::iter::repeat_n(Some(face.side), texels)).collect();
    bencher.bench_local(|| subject.shares(&names, 16.7));
}
