//! Keeping results and finding them again. The disk is that of the target folder.

use std::io::Write;

use divan::counter::{BytesCount, ItemsCount};
use divan::{Bencher, black_box};
use turnhue::clock::Moment;
use turnhue::store::{Done, Draft, Entry, Key, Store};
use turnhue_stages::findings::{Fact, Unit};
use turnhue_stages::stage::{Artefact, Outcome, Shelf};
use turnhue_stages::workpiece::{Part, Workpiece};

use crate::pieces::{Begun, folder};

/// A result with two facts and five files of 20 kB, as of a stage that draws pictures.
fn drawn(store: &Store, number: usize) -> (Draft, Done) {
    let mut draft = store.draft([]).unwrap();
    let names: Vec<String> = (0..5).map(|picture| format!("{picture}.png")).collect();
    for name in &names {
        let bytes = format!("{number} {name} ").repeat(20_000 / 10);
        draft.create(name).unwrap().write_all(bytes.as_bytes()).unwrap();
    }
    let artefacts = names.into_iter().map(|name| Artefact { name, what: "a picture".to_owned() }).collect();
    let facts = vec![Fact::number("a", number as f64, Unit::Mm), Fact::text("b", "words ".repeat(20))];
    let done = Done {
        key: Key::of([&number.to_le_bytes()[..]]),
        stage: "draw".to_owned(),
        version: 1,
        seconds: 0.1,
        outcome: Outcome { facts, findings: vec![], artefacts },
        before: Workpiece::default(),
        after: Workpiece::default(),
    };
    (draft, done)
}

fn publish(store: &Store, numbers: std::ops::Range<usize>) -> Vec<Entry> {
    let drawn: Vec<(Draft, Done)> = numbers.map(|number| drawn(store, number)).collect();
    let (drafts, done): (Vec<Draft>, Vec<Done>) = drawn.into_iter().unzip();
    store.publish_all(drafts.into_iter().zip(&done)).into_iter().collect::<Result<_, _>>().unwrap()
}

/// Results published together, five files each.
#[divan::bench(args = [1, 10, 100], sample_count = 5, sample_size = 1)]
fn publish_results(bencher: Bencher<'_, '_>, count: usize) {
    let home = folder();
    let store = Store::open(home.path(), Moment(0)).unwrap();
    let mut next = 0;
    bencher.counter(ItemsCount::new(count)).bench_local(|| {
        next += count;
        publish(&store, next - count..next)
    });
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn find_1000_results(bencher: Bencher<'_, '_>) {
    let home = folder();
    let store = Store::open(home.path(), Moment(0)).unwrap();
    let keys: Vec<Key> = publish(&store, 0..1000).iter().map(|entry| entry.key).collect();
    bencher.counter(ItemsCount::new(1000_usize)).bench_local(|| {
        assert!(keys.iter().all(|key| store.find(black_box(key)).is_some()));
    });
}

#[divan::bench(sample_count = 5, sample_size = 1)]
fn place_5000_files(bencher: Bencher<'_, '_>) {
    let home = folder();
    let store = Store::open(&home.path().join("store"), Moment(0)).unwrap();
    let files: Vec<_> = publish(&store, 0..1000).iter().flat_map(|entry| entry.digests().collect::<Vec<_>>()).collect();
    let mut round = 0;
    bencher.counter(ItemsCount::new(files.len())).bench_local(|| {
        round += 1;
        let run = home.path().join(round.to_string());
        std::fs::create_dir(&run).unwrap();
        for (number, file) in files.iter().enumerate() {
            store.place(*file, &run.join(number.to_string())).unwrap();
        }
    });
}

/// The parts of the demo's hollow piece, to bytes and back.
#[divan::bench(args = [Part::Surface, Part::Cells, Part::Void], sample_count = 20)]
fn part_to_bytes(bencher: Bencher<'_, '_>, part: Part) {
    let piece = Begun::demo("colour").0.piece;
    let bytes = piece.to_bytes(part).unwrap();
    bencher.counter(BytesCount::of_slice(&bytes)).bench_local(|| black_box(&piece).to_bytes(part));
}

#[divan::bench(args = [Part::Surface, Part::Cells, Part::Void], sample_count = 20)]
fn part_from_bytes(bencher: Bencher<'_, '_>, part: Part) {
    let piece = Begun::demo("colour").0.piece;
    let bytes = piece.to_bytes(part).unwrap();
    bencher
        .counter(BytesCount::of_slice(&bytes))
        .with_inputs(|| piece.clone())
        .bench_local_values(|piece| piece.with_bytes(part, black_box(&bytes)).unwrap());
}
