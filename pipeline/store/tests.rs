#![allow(clippy::unwrap_used)]

use std::collections::BTreeSet;
use std::io::Write as _;
use std::os::unix::fs::{MetadataExt, PermissionsExt};
use std::process::{Child, Command, Stdio};
use std::thread;

use glam::{DVec3, IVec3};
use turnhue_reports::record;
use turnhue_stages::findings::{Fact, Finding, Unit};
use turnhue_stages::paint::Paint;
use turnhue_stages::solid::{Cells, Grid, Surface};
use turnhue_stages::stage::{Artefact, Outcome, Shelf};
use turnhue_stages::units::Memory;
use turnhue_stages::void::Void;
use turnhue_stages::{Six, Srgb};

use super::*;

/// 2027-01-15T08:00:00Z.
const MORNING: Moment = Moment(1_800_000_000);

fn open(folder: &Path) -> Store {
    Store::open(folder, MORNING).unwrap_or_else(|fault| panic!("{}", fault.render(false)))
}

fn key(name: &str) -> Key {
    Key::of([name.as_bytes()])
}

fn surface() -> Surface {
    Surface::new(vec![DVec3::ZERO, DVec3::X, DVec3::Y], vec![[0, 1, 2]]).unwrap()
}

fn cells() -> Cells {
    let grid = Grid { origin: DVec3::ZERO, cell: 1.0, counts: IVec3::splat(4) };
    Cells::from_fn(grid, |c| c.x + c.y + c.z < 8)
}

fn void(cells: &Cells) -> Void {
    let (shafts, mut cavity) = (Cells::empty(*cells.grid()), Cells::empty(*cells.grid()));
    cavity.set(IVec3::ONE, true);
    Void { shafts, openings: vec![], cavity, per_cell: 1, moved: BTreeMap::new(), wall: 1.0 }
}

/// What a stage did that said a fact and made one file.
fn done(name: &str, before: &Workpiece, after: Workpiece, artefacts: &[&str]) -> Done {
    let artefacts =
        artefacts.iter().map(|name| Artefact { name: (*name).to_owned(), what: "a file".to_owned() }).collect();
    let facts = vec![Fact::number("volume", 0.1 + 0.2, Unit::Cm3)];
    let findings = vec![Finding::note("code", "message", "remedy")];
    Done {
        key: key(name),
        stage: "test".to_owned(),
        version: 1,
        seconds: 1.5,
        outcome: Outcome { facts, findings, artefacts },
        before: before.clone(),
        after,
    }
}

fn write(draft: &mut Draft, name: &str, bytes: &[u8]) {
    draft.create(name).unwrap().write_all(bytes).unwrap();
}

/// Publishes a result that makes cells and a file with these bytes.
fn publish(store: &Store, name: &str, bytes: &[u8]) -> io::Result<Entry> {
    let before = Workpiece::default();
    let after = before.clone().with_cells(cells());
    let mut draft = store.draft([])?;
    write(&mut draft, "a.bin", bytes);
    store.publish(draft, &done(name, &before, after, &["a.bin"]))
}

fn in_words(store: &Store) -> String {
    store.notices().iter().map(|notice| notice.render(false)).collect()
}

/// Every file below a folder, with its bytes.
fn all_below(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut files = BTreeMap::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            files.extend(all_below(&path));
        } else {
            files.insert(path.clone(), fs::read(&path).unwrap());
        }
    }
    files
}

#[test]
fn a_chain_comes_back_as_it_was() {
    let home = tempfile::tempdir().unwrap();
    let store = open(&home.path().join("runs/.store"));
    let start = Workpiece::default().with_surface(surface());

    let voxels = start.clone().with_cells(cells());
    let first = store.publish(store.draft([]).unwrap(), &done("voxelise", &start, voxels.clone(), &[])).unwrap();
    let hollow = voxels.clone().with_void(void(&cells()));
    let _ = hollow.hull();
    let second = store.publish(store.draft([]).unwrap(), &done("hollow", &voxels, hollow.clone(), &[])).unwrap();

    let mut draft = store.draft([]).unwrap();
    write(&mut draft, "piece.3mf", b"to order");
    let faces = hollow.hull().unwrap().faces.clone();
    let paint = Paint {
        colours: vec![Srgb([1, 2, 3])],
        ink: vec![0; faces.len()],
        faces,
        sides: Six([Srgb([4, 5, 6]); 6]),
        inside: Srgb([7, 8, 9]),
        guard: None,
    };
    let order = OrderedFile { name: "piece.3mf".to_owned(), path: draft.path("piece.3mf") };
    let coloured = hollow.clone().with_paint(paint).with_order(order);
    let third = store.publish(draft, &done("colour", &hollow, coloured.clone(), &["piece.3mf"])).unwrap();
    let settled = store.settled(coloured.clone(), &third);
    assert_eq!(fs::read(&settled.order().unwrap().path).unwrap(), b"to order");
    drop(store);

    let store = open(&home.path().join("runs/.store"));
    let found = ["voxelise", "hollow", "colour"].map(|name| store.find(&key(name)).unwrap());
    assert_eq!(found, [first, second, third]);
    assert_eq!(found[2].facts, [Fact::number("volume", 0.1 + 0.2, Unit::Cm3)]);
    // BLAKE3 of "to order", by `b3sum`'s own crate.
    assert_eq!(found[2].artefacts[0].blake3, blake3::hash(b"to order").to_hex().to_string());

    let again = store.piece(start.clone(), &found).unwrap();
    assert_eq!(again.surface(), start.surface());
    assert_eq!((again.cells(), again.void()), (coloured.cells(), coloured.void()));
    assert_eq!((again.paint(), again.order()), (coloured.paint(), settled.order()));
    // What was handed through is shared still.
    assert!(std::ptr::eq(again.surface().unwrap(), start.surface().unwrap()));
    let faces = Arc::clone(&again.paint().unwrap().faces);
    assert!(Arc::ptr_eq(&faces, &again.hull().unwrap().faces));
    // Half of the chain is half of the piece.
    let half = store.piece(start, &found[..2]).unwrap();
    assert!(half.void().is_some() && half.paint().is_none());
    assert_eq!(in_words(&store), "");
}

#[test]
fn parts_that_are_gone_do_not_come_back() {
    let home = tempfile::tempdir().unwrap();
    let store = open(home.path());
    let start = Workpiece::default();
    let voxels = start.clone().with_cells(cells());
    let hollow = voxels.clone().with_void(void(&cells()));
    let _ = hollow.hull();
    let solid = hollow.clone().with_cells(cells());
    let scaled = solid.clone().with_surface(surface());
    let mut chain = Vec::new();
    for (name, before, after) in
        [("a", &start, &voxels), ("b", &voxels, &hollow), ("c", &hollow, &solid), ("d", &solid, &scaled)]
    {
        chain.push(store.publish(store.draft([]).unwrap(), &done(name, before, after.clone(), &[])).unwrap());
        let again = store.piece(start.clone(), &chain).unwrap();
        for part in Part::ALL {
            assert_eq!(again.has(part), after.has(part), "{part} after {name}");
        }
    }
}

#[test]
fn a_draft_knows_the_names_that_are_taken() {
    let home = tempfile::tempdir().unwrap();
    let store = open(home.path());
    let entry = publish(&store, "first", b"abc").unwrap();
    let mut draft = store.draft(&entry.artefacts).unwrap();
    assert_eq!(draft.create("a.bin").err().unwrap().kind(), io::ErrorKind::AlreadyExists);
    assert_eq!(fs::read(draft.path("a.bin")).unwrap(), b"abc");
    for name in ["", ".", "..", "../x", "a/b", "a/", "/x"] {
        assert!(draft.create(name).is_err(), "{name}");
    }
    write(&mut draft, "b.bin", b"");
    assert!(draft.create("b.bin").is_err());
    let strange = record::File { blake3: "no digest".to_owned(), ..entry.artefacts[0].clone() };
    assert!(store.draft([&strange]).is_err());
    drop(draft);
    drop(store);
    assert_eq!(fs::read_dir(home.path().join("unfinished")).unwrap().count(), 0);
}

#[test]
fn files_are_kept_once_and_cannot_be_written() {
    let home = tempfile::tempdir().unwrap();
    let store = open(&home.path().join("store"));
    for name in ["first", "second", "third"] {
        publish(&store, name, b"abc").unwrap();
    }
    let path = store.file(Digest::of(b"abc")).unwrap();
    let about = fs::metadata(&path).unwrap();
    assert_eq!(about.permissions().mode() & 0o222, 0);
    assert_eq!(store.usage().unwrap().files, Heap { count: 1, bytes: 3 });
    // Nobody holds it any more.
    assert_eq!(about.nlink(), 1);
    assert_eq!(store.place(Digest::of(b"abc"), &home.path().join("a")).unwrap(), Placed::Linked);
    assert_eq!(fs::metadata(home.path().join("a")).unwrap().ino(), about.ino());
    let again = store.place(Digest::of(b"abc"), &home.path().join("a")).unwrap_err();
    assert!(matches!(again, NotPlaced::Target(error) if error.kind() == io::ErrorKind::AlreadyExists));
    let nowhere = store.place(Digest::of(b"abc"), &home.path().join("no/such")).unwrap_err();
    assert!(matches!(nowhere, NotPlaced::Target(_)));
    assert!(matches!(store.place(Digest::of(b"no"), &home.path().join("b")), Err(NotPlaced::Absent)));
}

/// Linux has a file system of its own in `/dev/shm`, to which no file elsewhere can have a further name.
#[test]
fn where_links_are_refused_files_are_copied() {
    let home = tempfile::tempdir().unwrap();
    let Ok(other) = tempfile::tempdir_in("/dev/shm") else { return };
    let store = open(home.path());
    publish(&store, "first", b"abc").unwrap();
    if fs::metadata(home.path()).unwrap().dev() == fs::metadata(other.path()).unwrap().dev() {
        return;
    }
    let target = other.path().join("a");
    assert_eq!(store.place(Digest::of(b"abc"), &target).unwrap(), Placed::Copied);
    assert_eq!(fs::read(&target).unwrap(), b"abc");
    assert_eq!(fs::metadata(&target).unwrap().permissions().mode() & 0o222, 0);
    // Damaged since it was checked: found by the copy, and nothing is left at the target.
    spoil(&store.file(Digest::of(b"abc")).unwrap(), b"abd");
    fs::remove_file(&target).unwrap();
    assert!(matches!(store.place(Digest::of(b"abc"), &target), Err(NotPlaced::Absent)));
    assert!(!target.exists() && in_words(&store).contains("damaged"));
}

/// Puts other bytes in the place of a file that is only read, or was set aside.
fn spoil(path: &Path, bytes: &[u8]) {
    let _ = fs::remove_file(path);
    fs::write(path, bytes).unwrap();
}

#[test]
fn every_spoilt_byte_of_a_result_is_found() {
    let home = tempfile::tempdir().unwrap();
    let store = open(home.path());
    publish(&store, "first", b"abc").unwrap();
    let path = store.folders.result(&key("first"));
    let sound = fs::read(&path).unwrap();
    let is_there =
        || store.find(&key("first")).is_some_and(|entry| store.piece(Workpiece::default(), [&entry]).is_some());
    assert!(is_there());
    let flipped = (0..sound.len()).map(|at| {
        let mut bytes = sound.clone();
        bytes[at] ^= 1 << (at % 8);
        bytes
    });
    let cut = (0..sound.len()).map(|at| sound[..at].to_vec());
    let others = [[&sound[..], &[0]].concat(), vec![0; sound.len()], vec![0xff; sound.len()]];
    for (number, spoilt) in flipped.chain(cut).chain(others).enumerate() {
        spoil(&path, &spoilt);
        assert!(!is_there(), "{number}");
        assert!(!path.exists(), "{number}");
        let told = in_words(&store);
        assert!(told.contains("a result in the store is damaged") && told.contains("aside"), "{number}: {told}");
    }
    // All were kept to be looked at; what is made again is sound.
    assert_eq!(store.usage().unwrap().aside.count, 2 * sound.len() as u64 + 3);
    publish(&store, "first", b"abc").unwrap();
    assert!(is_there());
}

#[test]
fn a_result_under_the_name_of_another_is_found() {
    let home = tempfile::tempdir().unwrap();
    let store = open(home.path());
    publish(&store, "first", b"abc").unwrap();
    publish(&store, "second", b"abc").unwrap();
    fs::copy(store.folders.result(&key("first")), home.path().join("copy")).unwrap();
    fs::rename(home.path().join("copy"), store.folders.result(&key("second"))).unwrap();
    assert!(store.find(&key("second")).is_none());
    assert!(in_words(&store).contains("result of key"));
}

#[test]
fn spoilt_files_are_found_and_made_again() {
    let home = tempfile::tempdir().unwrap();
    let bytes = b"some bytes";
    publish(&open(home.path()), "first", bytes).unwrap();
    for (number, spoilt) in [&b""[..], b"some byte", b"some bytez", &[0; 10], b"some bytes!"].iter().enumerate() {
        let store = open(home.path());
        let path = store.folders.file(Digest::of(bytes));
        spoil(&path, spoilt);
        // Another size shows at once, other bytes when they are wanted.
        assert_eq!(store.find(&key("first")).is_some(), spoilt.len() == bytes.len(), "{number}");
        assert_eq!(store.file(Digest::of(bytes)), None, "{number}");
        assert!(in_words(&store).contains("a file by digest in the store is damaged"), "{number}");
        assert!(!path.exists() && store.find(&key("first")).is_none(), "{number}");
        assert!(publish(&store, "first", bytes).is_ok());
        assert!(store.find(&key("first")).is_some() && store.file(Digest::of(bytes)).is_some(), "{number}");
    }
    // What is no file at all is not waited for.
    let store = open(home.path());
    let path = store.folders.file(Digest::of(bytes));
    fs::remove_file(&path).unwrap();
    assert!(Command::new("mkfifo").arg(&path).status().unwrap().success());
    assert_eq!(store.file(Digest::of(bytes)), None);
    assert!(in_words(&store).contains("not a file"));
}

/// Of the size that it should have, under its name, and nobody has looked at it yet: no later stage may read that.
#[test]
fn what_is_published_takes_the_place_of_what_is_damaged() {
    let home = tempfile::tempdir().unwrap();
    publish(&open(home.path()), "first", b"abc").unwrap();
    let path =
        home.path().join("files").join(&Digest::of(b"abc").to_string()[..2]).join(Digest::of(b"abc").to_string());
    spoil(&path, b"abd");
    let store = open(home.path());
    publish(&store, "second", b"abc").unwrap();
    assert_eq!(fs::read(&path).unwrap(), b"abc");
    assert!(in_words(&store).contains("it has another digest than its name"));
}

#[test]
fn a_damaged_order_takes_its_result_with_it() {
    let home = tempfile::tempdir().unwrap();
    let before = Workpiece::default();
    let make = |store: &Store| {
        let mut draft = store.draft([]).unwrap();
        write(&mut draft, "piece.3mf", b"abc");
        let order = OrderedFile { name: "piece.3mf".to_owned(), path: draft.path("piece.3mf") };
        let after = before.clone().with_order(order);
        store.publish(draft, &done("order", &before, after, &["piece.3mf"])).unwrap()
    };
    make(&open(home.path()));
    let store = open(home.path());
    spoil(&store.folders.file(Digest::of(b"abc")), b"abd");
    let entry = store.find(&key("order")).unwrap();
    assert!(store.piece(before.clone(), [&entry]).is_none());
    assert!(store.find(&key("order")).is_none());
    make(&store);
    assert!(store.piece(before.clone(), [&store.find(&key("order")).unwrap()]).is_some());
}

#[test]
fn who_comes_first_counts_and_a_difference_is_told() {
    let home = tempfile::tempdir().unwrap();
    let store = open(home.path());
    let first = publish(&store, "first", b"abc").unwrap();
    assert_eq!(publish(&store, "first", b"abc").unwrap(), first);
    assert_eq!(in_words(&store), "");
    assert_eq!(publish(&store, "first", b"other").unwrap(), first);
    assert!(in_words(&store).contains("came to another result"));
}

#[test]
fn what_cannot_be_kept_is_refused_and_leaves_nothing() {
    let home = tempfile::tempdir().unwrap();
    let store = open(home.path());
    let before = Workpiece::default();
    let mut endless = done("endless", &before, before.clone(), &[]);
    endless.outcome.facts.push(Fact::number("volume", f64::INFINITY, Unit::Cm3));
    let sound = done("sound", &before, before.clone(), &[]);
    let missing = done("missing", &before, before.clone(), &["no.bin"]);
    let order = OrderedFile { name: "no.3mf".to_owned(), path: PathBuf::new() };
    let ordered = done("ordered", &before, before.clone().with_order(order), &[]);
    let all = [&endless, &sound, &missing, &ordered];
    let answers = store.publish_all(all.map(|done| (store.draft([]).unwrap(), done)));
    assert_eq!(answers.iter().map(Result::is_ok).collect::<Vec<_>>(), [false, true, false, false]);
    assert!(answers[0].as_ref().unwrap_err().to_string().contains("not finite"));
    for (done, there) in all.into_iter().zip([false, true, false, false]) {
        assert_eq!(store.find(&done.key).is_some(), there);
    }
    let own = store.usage().unwrap().unfinished;
    assert_eq!((own.count, own.bytes), (1, 0));
}

#[test]
fn a_draft_that_was_taken_away_publishes_nothing() {
    let home = tempfile::tempdir().unwrap();
    let store = open(home.path());
    let mut draft = store.draft([]).unwrap();
    write(&mut draft, "a.bin", b"abc");
    fs::remove_dir_all(home.path().join("unfinished")).unwrap();
    let before = Workpiece::default();
    assert!(store.publish(draft, &done("first", &before, before.clone(), &["a.bin"])).is_err());
    assert!(store.find(&key("first")).is_none());
    // The next one begins anew.
    assert!(publish(&store, "second", b"abc").is_ok());
}

/// Also as root, whom no permission stops: a file lies where a folder should be.
#[test]
fn a_store_that_cannot_be_written_can_be_read() {
    let home = tempfile::tempdir().unwrap();
    publish(&open(home.path()), "first", b"abc").unwrap();
    fs::remove_dir(home.path().join("unfinished")).unwrap();
    fs::write(home.path().join("unfinished"), "").unwrap();
    fs::write(home.path().join("aside"), "").unwrap();
    let store = open(home.path());
    assert!(store.find(&key("first")).is_some() && store.file(Digest::of(b"abc")).is_some());
    assert!(store.draft([]).is_err());
    spoil(&store.folders.result(&key("first")), b"");
    assert!(store.find(&key("first")).is_none());
    assert!(in_words(&store).contains("delete"));
}

/// As an ordinary user; root writes all the same.
#[test]
fn a_folder_that_is_only_read_is_no_hindrance_to_reading() {
    let home = tempfile::tempdir().unwrap();
    publish(&open(home.path()), "first", b"abc").unwrap();
    let lock = |mode| {
        for folder in ["", "results", "files", "unfinished"] {
            fs::set_permissions(home.path().join(folder), fs::Permissions::from_mode(mode)).unwrap();
        }
    };
    lock(0o555);
    let store = open(home.path());
    assert!(store.find(&key("first")).is_some());
    let drafted = store.draft([]);
    let writable = fs::write(home.path().join("probe"), "").is_ok();
    lock(0o755);
    assert_eq!(drafted.is_ok(), writable);
}

#[test]
fn only_a_store_is_opened_as_one() {
    let home = tempfile::tempdir().unwrap();
    let refused = |folder: &Path| Store::open(folder, MORNING).unwrap_err().render(false);
    let form = home.path().join("a/form");
    drop(open(&home.path().join("a")));
    fs::write(&form, "turnhue store, form 2\n").unwrap();
    assert!(refused(&home.path().join("a")).contains("form 2"));
    for damaged in ["", "\0\0\0", "turnhue store, form", "turnhue store, form x\n", "turnhue store, form 0\n"] {
        fs::write(&form, damaged).unwrap();
        assert!(refused(&home.path().join("a")).contains("expected a first line"), "{damaged}");
    }
    // The user's own folder does not become a store.
    fs::create_dir(home.path().join("b")).unwrap();
    fs::write(home.path().join("b/letter.txt"), "").unwrap();
    assert!(refused(&home.path().join("b")).contains("letter.txt"));
    assert!(refused(&home.path().join("b/letter.txt")).contains("could not open"));
}

#[test]
fn using_a_result_stamps_it_once_a_day() {
    let home = tempfile::tempdir().unwrap();
    publish(&open(home.path()), "first", b"abc").unwrap();
    let day = DAY.as_secs();
    // The clock may run backwards, and stamps do not.
    for (now, stamp) in [(0, 0), (day - 1, 0), (day, day), (1, day), (3 * day, 3 * day)] {
        let store = Store::open(home.path(), Moment(MORNING.0 + now)).unwrap();
        store.find(&key("first")).unwrap();
        let about = fs::metadata(store.folders.result(&key("first"))).unwrap();
        assert_eq!(about.mtime() as u64, MORNING.0 + stamp, "{now}");
    }
}

fn wish(keep: u64, spared: &Spared) -> Wish<'_> {
    Wish { keep: Memory::from_bytes(keep), spared, of_others: false, dry: false }
}

#[test]
fn what_was_used_longest_ago_goes_first() {
    let home = tempfile::tempdir().unwrap();
    for (day, name) in ["c", "a", "d", "b"].into_iter().enumerate() {
        let store = Store::open(&home.path().join("store"), Moment(MORNING.0 + day as u64 * DAY.as_secs())).unwrap();
        publish(&store, name, name.as_bytes()).unwrap();
    }
    let store = open(&home.path().join("store"));
    store.place(Digest::of(b"a"), &home.path().join("run")).unwrap();
    let spared = Spared { keys: BTreeSet::from([key("c")]), digests: BTreeSet::from([Digest::of(b"d")]) };
    let there = || ["a", "b", "c", "d"].map(|name| store.find(&key(name)).is_some());
    let kept = || ["a", "b", "c", "d"].map(|name| store.file(Digest::of(name.as_bytes())).is_some());
    let whole = store.usage().unwrap().kept().bytes();

    // Fits: nothing goes. A byte too much: `a`, for `c` is named by a record; its file lies in a run folder.
    assert_eq!(store.tidy(&wish(whole, &spared)).unwrap().results.count, 0);
    let look = store.tidy(&Wish { dry: true, ..wish(whole - 1, &spared) }).unwrap();
    assert_eq!(there(), [true; 4]);
    let tidied = store.tidy(&wish(whole - 1, &spared)).unwrap();
    assert_eq!((there(), kept()), ([false, true, true, true], [true; 4]));
    assert_eq!(Tidied { dry: false, ..look }, tidied);
    assert!(tidied.in_words().starts_with("removed 1 ("));
    // All that may go: the file of `d` is named by a record.
    let tidied = store.tidy(&wish(0, &spared)).unwrap();
    assert_eq!((there(), kept()), ([false, false, true, false], [true, false, true, true]));
    assert!(tidied.in_words().contains("more than 0 B is left"));
    // Records told otherwise, and the run deleted.
    fs::remove_file(home.path().join("run")).unwrap();
    let tidied = store.tidy(&wish(0, &Spared::default())).unwrap();
    assert_eq!((tidied.left.kept(), kept()), (Memory::from_bytes(0), [false; 4]));
    assert_eq!(in_words(&store), "");
    // And all can be made again.
    assert!(publish(&store, "a", b"a").is_ok() && store.find(&key("a")).is_some());
}

#[test]
fn a_file_of_two_results_goes_with_the_second() {
    let home = tempfile::tempdir().unwrap();
    let store = open(home.path());
    publish(&store, "a", b"shared").unwrap();
    publish(&store, "b", b"shared").unwrap();
    let whole = store.usage().unwrap().kept().bytes();
    store.tidy(&wish(whole - 1, &Spared::default())).unwrap();
    assert!(store.file(Digest::of(b"shared")).is_some());
    store.tidy(&wish(0, &Spared::default())).unwrap();
    assert!(store.file(Digest::of(b"shared")).is_none());
}

#[test]
fn tidying_sets_aside_what_is_damaged() {
    let home = tempfile::tempdir().unwrap();
    let store = open(home.path());
    publish(&store, "a", b"abc").unwrap();
    spoil(&store.folders.result(&key("a")), b"no result");
    let look = store.tidy(&Wish { dry: true, ..wish(1 << 20, &Spared::default()) }).unwrap();
    assert_eq!((look.files.count, look.left.aside.count), (1, 0));
    let tidied = store.tidy(&wish(1 << 20, &Spared::default())).unwrap();
    assert_eq!((tidied.files.count, tidied.left.results.count, tidied.left.aside.count), (1, 0, 1));
}

#[test]
fn leftovers_go_once_their_writer_is_gone() {
    let home = tempfile::tempdir().unwrap();
    drop(open(home.path()));
    let mut racer = racer("hold", home.path());
    let held = || {
        let folders = fs::read_dir(home.path().join("unfinished"));
        folders.map_or(0, |folders| folders.filter(|f| f.as_ref().is_ok_and(|f| f.path().join("0").exists())).count())
    };
    while held() == 0 {
        thread::sleep(Duration::from_millis(5));
    }
    drop(open(home.path()));
    assert_eq!(held(), 1);
    racer.kill().unwrap();
    racer.wait().unwrap();
    // Of another machine, and of nobody known.
    for stranger in ["elsewhere-1-2-abc", "unknown-1-abc", "letters"] {
        fs::create_dir(home.path().join("unfinished").join(stranger)).unwrap();
    }
    let store = open(home.path());
    assert_eq!(held(), 0);
    let tidied = store.tidy(&wish(0, &Spared::default())).unwrap();
    assert_eq!(tidied.left.unfinished.count, 3);
    let draft = store.draft([]).unwrap();
    let tidied = store.tidy(&Wish { of_others: true, ..wish(0, &Spared::default()) }).unwrap();
    assert_eq!((tidied.unfinished.count, tidied.left.unfinished.count), (3, 1));
    assert!(draft.folder().exists());
}

/// Publishes, finds and reads the same results over and over, as others do; nothing that is found is ever wrong.
fn race(store: &Store, rounds: usize, lasting: bool) {
    for round in 0..rounds {
        let name = format!("result {}", round % 10);
        let bytes = vec![round as u8 % 10; 10_000 + round % 10];
        let made = publish(store, &name, &bytes).unwrap();
        assert_eq!(made.digests().collect::<Vec<_>>(), [Digest::of(&bytes)]);
        let found = store.find(&key(&name));
        assert!(!lasting || found.is_some());
        let Some(found) = found else { continue };
        assert!(found.says_the_same(&made));
        if let Some(piece) = store.piece(Workpiece::default(), [&found]) {
            assert_eq!(piece.cells(), Some(&cells()));
        }
        if let Some(path) = store.file(Digest::of(&bytes))
            && let Ok(read) = fs::read(path)
        {
            assert_eq!(read, bytes);
        }
    }
}

#[test]
fn threads_race_for_the_same_results() {
    let home = tempfile::tempdir().unwrap();
    let store = open(home.path());
    thread::scope(|scope| {
        for _ in 0..6 {
            scope.spawn(|| race(&store, 20, true));
        }
    });
    assert_eq!(in_words(&store), "");
    let usage = store.usage().unwrap();
    assert_eq!((usage.results.count, usage.files.count, usage.unfinished.bytes), (10, 10, 0));
}

#[test]
fn processes_race_and_one_is_stopped_and_one_killed() {
    let home = tempfile::tempdir().unwrap();
    let mut racers: Vec<Child> = (0..4).map(|_| racer("race", home.path())).collect();
    let signal = |racer: &Child, signal: &str| {
        assert!(Command::new("kill").args([signal, &racer.id().to_string()]).status().unwrap().success());
    };
    thread::sleep(Duration::from_millis(100));
    signal(&racers[0], "-STOP");
    racers[1].kill().unwrap();
    racers[1].wait().unwrap();
    for racer in &mut racers[2..] {
        assert!(racer.wait().unwrap().success());
    }
    let before = all_below(&home.path().join("results"));
    signal(&racers[0], "-CONT");
    assert!(racers[0].wait().unwrap().success());
    // Who was stopped changed nothing by going on.
    assert_eq!(all_below(&home.path().join("results")), before);
    let store = open(home.path());
    for number in 0..10 {
        let entry = store.find(&key(&format!("result {number}"))).unwrap();
        assert!(store.piece(Workpiece::default(), [&entry]).is_some());
        assert!(entry.digests().all(|digest| store.file(digest).is_some()));
    }
    let usage = store.usage().unwrap();
    assert_eq!((usage.results.count, usage.unfinished.count, usage.aside.count), (10, 0, 0));
    assert_eq!(in_words(&store), "");
}

#[test]
fn tidying_races_with_those_who_publish() {
    let home = tempfile::tempdir().unwrap();
    let store = open(home.path());
    thread::scope(|scope| {
        let racing: Vec<_> = (0..2).map(|_| scope.spawn(|| race(&open(home.path()), 40, false))).collect();
        while racing.iter().any(|racing| !racing.is_finished()) {
            store.tidy(&wish(0, &Spared::default())).unwrap();
        }
    });
    assert_eq!(in_words(&store), "");
    assert_eq!(store.usage().unwrap().aside.count, 0);
    // What is there now is whole.
    for number in 0..10 {
        if let Some(entry) = store.find(&key(&format!("result {number}"))) {
            assert!(entry.digests().all(|digest| store.file(digest).is_some()));
        }
    }
}

/// Says to a process of this test what it is to do, and where.
const TASK: &str = "TURNHUE_TEST_OF_STORE";
const FOLDER: &str = "TURNHUE_TEST_OF_STORE_IN";

/// This test program once more, doing as told.
fn racer(task: &str, folder: &Path) -> Child {
    let mut command = Command::new(std::env::current_exe().unwrap());
    command.args(["store::tests::as_told", "--exact"]).env(TASK, task).env(FOLDER, folder);
    command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap()
}

/// Does nothing, unless it was started by another test.
#[test]
fn as_told() {
    let Ok(task) = std::env::var(TASK) else { return };
    let store = open(Path::new(&std::env::var_os(FOLDER).unwrap()));
    match task.as_str() {
        "race" => race(&store, 60, true),
        "hold" => {
            let mut draft = store.draft([]).unwrap();
            write(&mut draft, "a.bin", b"abc");
            // Until it is killed.
            thread::sleep(Duration::from_secs(60));
        }
        other => panic!("what is {other}?"),
    }
}
