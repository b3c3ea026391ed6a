use std::cell::RefCell;
use std::fs;

use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};
use turnhue_reports::record::Verdict;

use super::commission::{Commission, SMALL, TALL, name, replace};
use super::{MORNING, Set};
use crate::ledger::audit::{Audit, KnownHead, audit};
use crate::ledger::deeds::{Build, Deed, Redrawn};
use crate::ledger::export::{ExportRequest, export};
use crate::ledger::{Trouble, seal_file};

fn look(commission: &Commission) -> Audit {
    audit(&commission.folder, None).unwrap()
}

/// The faults of a commission that has some, for people.
fn told(commission: &Commission) -> Vec<String> {
    let faults = look(commission).faults;
    assert!(faults.iter().all(|fault| !fault.what_to_do().is_empty()), "{faults:#?}");
    faults.iter().map(|fault| fault.render(false)).collect()
}

fn only(commission: &Commission) -> String {
    let mut told = told(commission);
    assert_eq!(told.len(), 1, "{told:#?}");
    told.remove(0)
}

#[test]
fn a_whole_commission_is_whole() {
    let commission = Commission::new().with_the_rest();
    let audit = look(&commission);
    assert!(audit.is_whole() && audit.cautions.is_empty(), "{:#?} {:#?}", audit.faults, audit.cautions);
    // Two inputs, three files of each run, two of the night.
    assert_eq!((audit.entries, audit.files), (8, 10));
    let head = audit.head.unwrap();
    assert!(audit.to_string().contains(&head.digest.to_string()), "{audit}");
}

#[test]
fn a_flipped_byte_anywhere_is_found() {
    let commission = Commission::new().with_the_rest();
    let files = commission.files();
    let flips = (any::<prop::sample::Index>(), any::<prop::sample::Index>(), 1..=255_u8);
    let seen = RefCell::new(0);
    let mut runner = TestRunner::new(Config { cases: 1000, failure_persistence: None, ..Config::default() });
    let done = runner.run(&flips, |(file, at, mask)| {
        let path = file.get(&files);
        let bytes = fs::read(path).unwrap();
        let at = at.index(bytes.len());
        let mut flipped = bytes.clone();
        flipped[at] ^= mask;
        replace(path, &flipped);
        let found = !look(&commission).is_whole();
        replace(path, &bytes);
        *seen.borrow_mut() += 1;
        prop_assert!(found, "{}: byte {at} ^ {mask:#x}", path.display());
        Ok(())
    });
    assert!(done.is_ok(), "{done:?}");
    assert_eq!(*seen.borrow(), 1000);
    assert!(look(&commission).is_whole());
}

#[test]
fn a_cut_file_and_a_longer_one_are_found() {
    let commission = Commission::new().with_the_rest();
    for path in commission.files() {
        let bytes = fs::read(&path).unwrap();
        for changed in [&bytes[..bytes.len() - 1], &[], &[&bytes[..], b"\n"].concat()] {
            replace(&path, changed);
            assert!(!look(&commission).is_whole(), "{} with {} bytes", path.display(), changed.len());
        }
        replace(&path, &bytes);
    }
    assert!(look(&commission).is_whole());
}

#[test]
fn every_missing_file_is_named() {
    let commission = Commission::new().with_the_rest();
    // The newest segment is not known to be missing unless its head is.
    let newest = commission.folder.join("ledger/00000007.jsonl");
    for path in commission.files() {
        let aside = commission.folder.parent().unwrap().join("aside");
        fs::rename(&path, &aside).unwrap();
        let faults: String = look(&commission).faults.iter().map(|fault| fault.render(false)).collect();
        let name = path.file_name().unwrap().to_str().unwrap();
        assert!(path == newest || faults.contains("missing") && faults.contains(name), "{}: {faults}", path.display());
        fs::rename(&aside, &path).unwrap();
    }
}

#[test]
fn a_missing_run_folder_is_named_once() {
    let commission = Commission::new();
    fs::remove_dir_all(commission.folder.join(TALL)).unwrap();
    let told = only(&commission);
    assert!(told.contains(TALL) && told.contains("missing") && told.contains("entry 2"), "{told}");
}

#[test]
fn what_was_added_is_named() {
    let commission = Commission::new();
    for place in
        ["extra.txt", "ledger/extra.jsonl", "inputs/extra.stl", "nights/extra", "nights/night/x", "small-1a2b3c4d/x"]
    {
        let path = commission.folder.join(place);
        fs::write(&path, "x").unwrap();
        let told = only(&commission);
        assert!(told.contains(place) && told.contains("added"), "{told}");
        fs::remove_file(&path).unwrap();
    }
    let folder = commission.folder.join("20270301-093000-1a2b3c4d");
    fs::create_dir(&folder).unwrap();
    assert!(only(&commission).contains("no entry names the folder"));
}

#[test]
fn what_a_stopped_writer_left_is_a_caution() {
    let commission = Commission::new();
    for place in [".run.unfinished", "ledger/.segment-ab.unfinished", "inputs/.input-ab.unfinished"] {
        fs::write(commission.folder.join(place), "x").unwrap();
    }
    // An input that was kept before its run was recorded.
    fs::write(commission.folder.join(format!("inputs/{}.txt", crate::digest::Digest::of(b"x"))), "x").unwrap();
    let audit = look(&commission);
    assert!(audit.is_whole(), "{:#?}", audit.faults);
    assert_eq!(audit.cautions.len(), 4, "{:#?}", audit.cautions);
}

#[cfg(unix)]
#[test]
fn a_link_is_not_the_file() {
    let commission = Commission::new();
    let (path, aside) = (commission.folder.join(SMALL).join("piece.3mf"), commission.folder.with_extension("aside"));
    fs::rename(&path, &aside).unwrap();
    std::os::unix::fs::symlink(&aside, &path).unwrap();
    assert!(only(&commission).contains("is not a file"));
}

#[test]
fn a_known_head_finds_a_cut_tail_and_a_new_ledger() {
    let commission = Commission::new().with_the_rest();
    let head = look(&commission).head.unwrap().digest.to_string();
    let known: KnownHead = head[..16].parse().unwrap();
    assert!(audit(&commission.folder, Some(&known)).unwrap().is_whole());
    fs::remove_file(commission.folder.join("ledger/00000007.jsonl")).unwrap();
    assert!(audit(&commission.folder, None).unwrap().is_whole(), "a cut tail alone looks whole");
    let found = audit(&commission.folder, Some(&known)).unwrap();
    assert!(found.faults.len() == 1 && found.faults[0].message().contains(&head[..16]), "{:#?}", found.faults);
    for wrong in ["", "abc", "0123456789abcdeg", &"0".repeat(65)] {
        assert!(wrong.parse::<KnownHead>().is_err(), "{wrong}");
    }
}

#[test]
fn pages_that_were_drawn_anew_are_the_later_ones() {
    let commission = Commission::new();
    let folder = commission.folder.join(SMALL);
    replace(&folder.join("summary.html"), b"<!doctype html><title>New</title>");
    assert!(only(&commission).contains("summary.html was changed"));
    let tool = Build { name: "turnhue".into(), version: "0.2.0".into(), blake3: None };
    let files = vec![seal_file(&folder, "summary.html").unwrap()];
    commission.append(&[Deed::Redrawn(Redrawn { run: name(SMALL), tool, files })]);
    assert!(look(&commission).is_whole());
}

/// Puts files into a folder of a run and enters them as drawn anew.
fn packed(commission: &Commission, names: &[&str]) {
    let run = commission.folder.join(SMALL);
    fs::create_dir_all(run.join("order")).unwrap();
    let sealed = |name: &&str| {
        fs::write(run.join(name), format!("what is in {name}")).unwrap();
        seal_file(&run, name).unwrap()
    };
    let files = names.iter().map(sealed).collect();
    let tool = Build { name: "turnhue".into(), version: "0.2.0".into(), blake3: None };
    commission.append(&[Deed::Redrawn(Redrawn { run: name(SMALL), tool, files })]);
}

#[test]
fn files_in_a_folder_of_a_run_are_looked_at_too() {
    let commission = Commission::new();
    packed(&commission, &["order/a.txt", "order/b.txt", "order.zip"]);
    let found = look(&commission);
    assert!(found.is_whole(), "{:#?}", found.faults);
    assert_eq!(found.files, 10 + 3);
    let order = commission.folder.join(SMALL).join("order");
    replace(&order.join("a.txt"), b"another text");
    assert!(only(&commission).contains("a.txt was changed"));
    packed(&commission, &["order/a.txt", "order/b.txt", "order.zip"]);
    fs::write(order.join("c.txt"), "more").unwrap();
    assert!(only(&commission).contains("c.txt was added"));
    fs::remove_file(order.join("c.txt")).unwrap();
    fs::remove_file(order.join("b.txt")).unwrap();
    assert!(only(&commission).contains("b.txt is missing"));
    // A package without it takes the place of the older one, in an export too.
    packed(&commission, &["order/a.txt", "order.zip"]);
    assert!(look(&commission).is_whole());
    let home = tempfile::tempdir().unwrap();
    let to = home.path().join("HB-1");
    let request =
        ExportRequest { commission: commission.folder.clone(), to: to.clone(), by: None, licence: None, epoch: None };
    assert_eq!(export(&request).unwrap(), commission.files().len());
    assert!(audit(&to, None).unwrap().is_whole());
    fs::remove_dir_all(&order).unwrap();
    assert!(only(&commission).contains("order is missing"));
    fs::write(&order, "a file in the place of the folder").unwrap();
    assert_eq!(told(&commission).len(), 2);
}

#[test]
fn a_run_of_the_same_name_does_not_hide_what_was_ordered() {
    let commission = Commission::new().with_the_rest();
    let run = commission.run(SMALL, Verdict::ReadyToOrder, &[]);
    replace(&commission.folder.join(SMALL).join("piece.3mf"), b"another piece");
    let Deed::Run(mut run) = run else { panic!() };
    run.files = crate::ledger::seal(&commission.folder.join(SMALL)).unwrap();
    commission.ledger_anew().append(&Set::to(MORNING + 9000), &[Deed::Run(run)]).unwrap();
    let told = only(&commission);
    assert!(told.contains("piece.3mf was changed") && told.contains("entry 6"), "{told}");
}

#[test]
fn a_folder_without_a_ledger_is_refused() {
    let home = tempfile::tempdir().unwrap();
    assert!(matches!(audit(home.path(), None), Err(Trouble::Wrong(_))));
}
