#![allow(clippy::unwrap_used)]

mod acts;
mod audit;
mod commission;
mod export;

use std::fs;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use super::deeds::Note;
use super::*;
use crate::clock::Moment;
use crate::digest::Digest;

/// A clock that is set by hand.
pub(super) struct Set(pub(super) AtomicU64);

impl Set {
    pub(super) fn to(seconds: u64) -> Self {
        Self(AtomicU64::new(seconds))
    }
}

impl Clock for Set {
    fn now(&self) -> Moment {
        Moment(self.0.load(Ordering::Relaxed))
    }

    fn elapsed(&self) -> Duration {
        Duration::ZERO
    }
}

pub(super) const MORNING: u64 = 1_803_893_400;

fn note(text: &str) -> Deed {
    Deed::Note(Note { text: text.to_owned(), by: None, run: None })
}

/// A ledger of segments with so many entries.
fn ledger(segments: &[usize]) -> (tempfile::TempDir, Ledger) {
    let home = tempfile::tempdir().unwrap();
    let ledger = Ledger::of(&home.path().join("C-1"));
    let clock = Set::to(MORNING);
    for (number, &entries) in segments.iter().enumerate() {
        let deeds: Vec<Deed> = (0..entries).map(|entry| note(&format!("{number}.{entry}"))).collect();
        ledger.append(&clock, &deeds).unwrap();
    }
    (home, ledger)
}

fn path(ledger: &Ledger, number: u32) -> PathBuf {
    ledger.folder().join(segments::name(number))
}

/// Changes the bytes of a segment, which are read-only for people.
fn change(ledger: &Ledger, number: u32, how: impl FnOnce(&mut Vec<u8>)) {
    let path = path(ledger, number);
    let mut bytes = fs::read(&path).unwrap();
    how(&mut bytes);
    fs::remove_file(&path).unwrap();
    fs::write(&path, bytes).unwrap();
}

/// What is said of a damaged ledger, by reading and by appending alike, for people.
fn told(ledger: &Ledger) -> Vec<String> {
    let Err(Trouble::NotWhole(faults)) = ledger.read() else { panic!("the damage was not found") };
    let fresh = Ledger::of(ledger.commission());
    let before = fs::read_dir(ledger.folder()).unwrap().count();
    let refused = fresh.append(&Set::to(MORNING), &[note("more")]).unwrap_err();
    assert_eq!(refused.faults(), faults);
    assert_eq!(fs::read_dir(ledger.folder()).unwrap().count(), before, "something was written all the same");
    assert!(faults.iter().all(|fault| !fault.what_to_do().is_empty()));
    faults.iter().map(|fault| fault.render(false)).collect()
}

#[test]
fn a_line_is_what_the_docs_say() {
    let (_home, ledger) = ledger(&[2]);
    let text = fs::read_to_string(path(&ledger, 1)).unwrap();
    // Digests by the `blake3` package of PyPI (1.0.11) over the bytes before `,"digest":"`.
    let zeros = "0".repeat(64);
    let [first, second] = [FIRST, SECOND];
    let expected = format!(
        "{{\"form\":1,\"seq\":1,\"time\":\"2027-03-01T09:30:00Z\",\"prev\":\"{zeros}\",\
         \"deed\":{{\"note\":{{\"text\":\"0.0\"}}}},\"digest\":\"{first}\"}}\n\
         {{\"form\":1,\"seq\":2,\"time\":\"2027-03-01T09:30:00Z\",\"prev\":\"{first}\",\
         \"deed\":{{\"note\":{{\"text\":\"0.1\"}}}},\"digest\":\"{second}\"}}\n"
    );
    assert_eq!(text, expected);
}

const FIRST: &str = "470e66e9668e0fa25f000abed66b1adaf3c1ef93bc57346640aa8d3ec37e6fd0";
const SECOND: &str = "cc059a5f388da230e5afdcd2ae99619331750627c90763c2d02c41d8dac7faae";

#[test]
fn what_was_appended_is_read() {
    let (_home, ledger) = ledger(&[1, 3, 2]);
    let entries = ledger.read().unwrap();
    let texts: Vec<Deed> = ["0.0", "1.0", "1.1", "1.2", "2.0", "2.1"].map(note).to_vec();
    assert_eq!(entries.iter().map(|entry| entry.deed.clone()).collect::<Vec<_>>(), texts);
    assert!(entries.iter().map(|entry| entry.seq).eq(1..=6));
    assert_eq!((entries[3].segment, entries[3].line), (2, 3));
    assert!(entries.windows(2).all(|two| two[1].prev == two[0].digest));
    // Nothing to append is nothing written, and the head is told all the same.
    let head = ledger.append(&Set::to(0), &[]).unwrap();
    assert_eq!(head, Head { seq: 6, digest: entries[5].digest });
    assert_eq!(Ledger::of(Path::new("nowhere")).read().unwrap(), []);
}

#[test]
fn many_entries_are_cut_into_segments() {
    let home = tempfile::tempdir().unwrap();
    let ledger = Ledger::of(home.path());
    let long = "x".repeat(LONG_SEGMENT / 2);
    ledger.append(&Set::to(MORNING), &vec![note(&long); 5]).unwrap();
    assert!(ledger.read().unwrap().iter().map(|entry| entry.segment).eq([1, 1, 2, 2, 3]));
}

#[test]
fn writers_that_race_lose_nothing() {
    let home = tempfile::tempdir().unwrap();
    let (writers, each) = (6, 25);
    let shared = Ledger::of(home.path());
    std::thread::scope(|scope| {
        for writer in 0..writers {
            let (home, shared) = (home.path(), &shared);
            scope.spawn(move || {
                // Every other one has a handle of its own, as another program would.
                let own = Ledger::of(home);
                let ledger = if writer % 2 == 0 { shared } else { &own };
                for entry in 0..each {
                    ledger.append(&Set::to(MORNING), &[note(&format!("{writer}.{entry}"))]).unwrap();
                }
            });
        }
    });
    let entries = Ledger::of(home.path()).read().unwrap();
    let mut texts: Vec<String> = entries
        .iter()
        .map(|entry| match &entry.deed {
            Deed::Note(note) => note.text.clone(),
            other => panic!("{other:?}"),
        })
        .collect();
    texts.sort();
    let mut expected: Vec<String> =
        (0..writers).flat_map(|writer| (0..each).map(move |entry| format!("{writer}.{entry}"))).collect();
    expected.sort();
    assert_eq!(texts, expected);
    assert!(segments::list(&shared.folder()).unwrap().unfinished.is_empty());
}

#[test]
fn a_cut_segment_is_told() {
    let (_home, ledger) = ledger(&[1, 2, 1]);
    change(&ledger, 2, |bytes| bytes.truncate(bytes.len() - 40));
    let told = told(&ledger);
    assert_eq!(told.len(), 1, "{told:#?}");
    assert!(told[0].contains("ends within a line") && told[0].contains("00000002.jsonl:2:1"), "{}", told[0]);
}

#[test]
fn a_segment_without_its_last_line_end_is_told() {
    let (_home, ledger) = ledger(&[1]);
    change(&ledger, 1, |bytes| bytes.truncate(bytes.len() - 1));
    assert!(told(&ledger)[0].contains("ends within a line"));
}

#[test]
fn an_emptied_segment_is_told() {
    let (_home, ledger) = ledger(&[1, 2, 1]);
    change(&ledger, 2, Vec::clear);
    let told = told(&ledger);
    assert!(told.len() == 1 && told[0].contains("00000002.jsonl: the segment is empty"), "{told:#?}");
}

#[test]
fn a_missing_segment_is_told() {
    let (_home, ledger) = ledger(&[1, 2, 1]);
    fs::remove_file(path(&ledger, 2)).unwrap();
    let told = told(&ledger);
    assert!(told.len() == 1 && told[0].contains("00000002.jsonl is missing"), "{told:#?}");
}

#[test]
fn a_changed_byte_is_told_where_it_is() {
    let (_home, ledger) = ledger(&[1, 2, 1]);
    change(&ledger, 2, |bytes| {
        let at = bytes.windows(3).position(|three| three == b"1.0").unwrap();
        bytes[at] ^= 1;
    });
    let told = told(&ledger);
    assert_eq!(told.len(), 1, "{told:#?}");
    assert!(told[0].contains("was changed after it was written"), "{}", told[0]);
    assert!(told[0].contains("00000002.jsonl:1:1") && told[0].contains("expected digest"), "{}", told[0]);
}

#[test]
fn an_entry_with_a_digest_of_its_own_is_found_by_the_next() {
    let (_home, ledger) = ledger(&[1, 2, 1]);
    change(&ledger, 2, |bytes| {
        let text = String::from_utf8(bytes.clone()).unwrap().replacen("1.0", "9.9", 1);
        let (line, rest) = text.split_once('\n').unwrap();
        let content = &line[..line.find(",\"digest\":\"").unwrap()];
        *bytes = format!("{content},\"digest\":\"{}\"}}\n{rest}", Digest::of(content.as_bytes())).into_bytes();
    });
    let told = told(&ledger);
    assert_eq!(told.len(), 1, "{told:#?}");
    assert!(told[0].contains("entry 2 was changed after entry 3 had been chained"), "{}", told[0]);
    assert!(told[0].contains("00000002.jsonl:2:"), "{}", told[0]);
}

#[test]
fn swapped_segments_are_told() {
    let (_home, ledger) = ledger(&[1, 1, 1, 1]);
    let aside = ledger.folder().join("aside");
    fs::rename(path(&ledger, 2), &aside).unwrap();
    fs::rename(path(&ledger, 3), path(&ledger, 2)).unwrap();
    fs::rename(&aside, path(&ledger, 3)).unwrap();
    let told = told(&ledger);
    assert!(told[0].contains("entry 3 stands where entry 2 was expected"), "{}", told[0]);
    assert!(told[0].contains("00000002.jsonl:1:"), "{}", told[0]);
}

#[test]
fn a_clock_that_goes_backwards_is_noted_and_nothing_else() {
    let (_home, ledger) = ledger(&[1]);
    ledger.append(&Set::to(MORNING - 60), &[note("earlier")]).unwrap();
    ledger.append(&Set::to(MORNING), &[note("later")]).unwrap();
    let walk = ledger.walk(&mut |_| ()).unwrap();
    assert!(walk.faults.is_empty() && walk.cautions.len() == 1);
    let said = walk.cautions[0].render(false);
    assert!(said.contains("backwards before entry 2") && said.contains("00000002.jsonl:1:"), "{said}");
}

#[test]
fn a_later_form_is_told_with_what_to_do() {
    let content = format!(r#"{{"form":7,"seq":1,"time":"?","prev":"{}","deed":{{"wish":{{}}}}"#, Digest::NONE);
    let line = format!("{content},\"digest\":\"{}\"}}\n", Digest::of(content.as_bytes()));
    let faults = read_segment("x.jsonl", line.as_bytes()).unwrap_err();
    assert!(faults[0].message().contains("form 7"), "{}", faults[0].message());
    assert!(faults[0].what_to_do().contains("a later one"));
}

#[cfg(unix)]
#[test]
fn what_is_no_file_is_no_segment() {
    let (_home, ledger) = ledger(&[1, 1]);
    let (second, aside) = (path(&ledger, 2), ledger.folder().join("aside"));
    fs::rename(&second, &aside).unwrap();
    std::os::unix::fs::symlink(&aside, &second).unwrap();
    assert!(told(&ledger)[0].contains("it is not a file"));
}

#[test]
fn inputs_are_kept_once_and_read_only() {
    let home = tempfile::tempdir().unwrap();
    let ledger = Ledger::of(home.path());
    let file = |name: &str, bytes: &[u8]| {
        let blake3 = Digest::of(bytes).to_string();
        (record::File { name: name.into(), what: "model".into(), bytes: bytes.len() as u64, blake3 }, Arc::from(bytes))
    };
    let abc = "6437b3ac38465133ffb63b75273a8db548c558465d79db03fd359c6cd5bd9d85";
    let files = [file("models/whelk.STL", b"abc"), file("whelk.stl", b"abc"), file("../a.b c", b"abc")];
    for _ in 0..2 {
        let kept = ledger.keep_inputs(&files).unwrap();
        let names: Vec<&str> = kept.iter().map(|input| input.kept.as_str()).collect();
        assert_eq!(names, [format!("{abc}.stl"), format!("{abc}.stl"), abc.to_owned()]);
    }
    let folder = home.path().join(INPUTS);
    assert_eq!(fs::read_dir(&folder).unwrap().count(), 2);
    let path = folder.join(format!("{abc}.stl"));
    assert!(fs::metadata(&path).unwrap().permissions().readonly());
    // A damaged one is made anew.
    fs::remove_file(&path).unwrap();
    fs::write(&path, b"abd").unwrap();
    ledger.keep_inputs(&files).unwrap();
    assert_eq!(fs::read(&path).unwrap(), b"abc");
    // Bytes that are not those of the digest are not taken.
    let mut wrong = file("a", b"abc");
    wrong.1 = Arc::from(&b"abd"[..]);
    assert!(matches!(ledger.keep_inputs(&[wrong]), Err(Trouble::Disk(_))));
}

/// A line with the digest that its content has, whatever it says.
fn sealed(content: &str) -> String {
    format!("{content},\"digest\":\"{}\"}}\n", Digest::of(content.as_bytes()))
}

#[test]
fn what_is_sealed_and_makes_no_sense_is_refused() {
    let line = |seq: &str, time: &str, deed: &str| {
        sealed(&format!(r#"{{"form":1,"seq":{seq},"time":"{time}","prev":"{}","deed":{deed}"#, Digest::NONE))
    };
    let (time, deed) = ("2027-03-01T09:30:00Z", r#"{"note":{"text":"a"}}"#);
    assert!(read_segment("x", line("1", time, deed).as_bytes()).is_ok());
    let order = format!(
        r#"{{"order":{{"run":"r","file":{{"name":"../../x","bytes":1,"blake3":"{}"}},"on":"2027-03-01"}}}}"#,
        Digest::NONE
    );
    for wrong in [
        line("2", time, deed),
        line("-1", time, deed),
        line("1", "2027-02-30T00:00:00Z", deed),
        line("1", time, r#"{"wish":{}}"#),
        line("1", time, r#"{"note":{"text":"a","run":".."}}"#),
        line("1", time, r#"{"note":{"text":"a","text":"b"}}"#),
        line("1", time, &order),
        line("18446744073709551615", time, deed),
        sealed("{"),
        sealed(""),
        "\n".to_owned(),
        String::new(),
    ] {
        let faults = read_segment("x", wrong.as_bytes()).unwrap_err();
        assert!(faults.iter().all(|fault| !fault.message().is_empty() && !fault.render(false).is_empty()), "{wrong}");
    }
}

proptest::proptest! {
    #[test]
    fn no_bytes_make_it_panic(mut bytes in proptest::collection::vec(proptest::prelude::any::<u8>(), 0..400), seal: bool) {
        if seal {
            let digest = Digest::of(&bytes);
            bytes.extend(format!(",\"digest\":\"{digest}\"}}\n").into_bytes());
        }
        let faults = read_segment("x", &bytes).unwrap_err();
        faults.iter().for_each(|fault| drop(fault.render(false)));
    }
}
