//! The record of a commission from the outside: what a run writes into it, the commands that read and write it, and their
//! exit codes.
#![allow(clippy::unwrap_used, missing_docs)]

#[path = "own-stages/workshop.rs"]
mod workshop;

use std::fs;
use std::path::PathBuf;

use assert_cmd::Command;
use serde_json::Value;
use turnhue::exit;
use workshop::Workshop;

/// The program with the stages of the tests, which Cargo builds beside the tests.
fn program() -> PathBuf {
    let tests = std::env::current_exe().unwrap();
    let built = tests.parent().unwrap().parent().unwrap();
    let program = built.join("examples").join(format!("own-stages{}", std::env::consts::EXE_SUFFIX));
    assert!(program.is_file(), "build the program of the tests first: cargo build --example own-stages");
    program
}

struct Said {
    code: i32,
    out: String,
    err: String,
}

fn own(shop: &Workshop, arguments: &[&str]) -> Said {
    let output = Command::new(program()).current_dir(shop.path("")).args(arguments).output().unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    Said { code: output.status.code().unwrap(), out: text(output.stdout), err: text(output.stderr) }
}

/// A workshop with a good run; gives the run's folder, as the program is told it.
fn with_run() -> (Workshop, String) {
    let shop = Workshop::new();
    shop.job("blocks\npack\nvalidate");
    let said = own(&shop, &["run", "job.yaml", "--json"]);
    assert_eq!(said.code, i32::from(exit::READY), "{}", said.err);
    let said: Value = serde_json::from_str(said.out.lines().next().unwrap()).unwrap();
    let run = said["run"].as_str().unwrap().to_owned();
    (shop, run)
}

fn succeeds(shop: &Workshop, arguments: &[&str]) -> String {
    let said = own(shop, arguments);
    assert_eq!(said.code, i32::from(exit::READY), "{arguments:?}: {}", said.err);
    said.out
}

#[test]
fn a_commission_is_recorded_told_verified_and_exported() {
    let (shop, run) = with_run();
    succeeds(&shop, &["choose", &run, "--why", "it is round"]);
    succeeds(&shop, &["order", &run, "--bureau", "Bureau One", "--price", "31.20 EUR", "--on", "2027-03-02"]);
    succeeds(&shop, &["deliver", &run, "--to", "the library"]);
    succeeds(&shop, &["note", "C-1", "arrived whole", "--by", "Ada"]);

    let history = succeeds(&shop, &["history", "C-1"]);
    for words in ["ready to order", "chosen", "ordered on 2027-03-02 from Bureau One", "delivered", "arrived whole"] {
        assert!(history.contains(words), "{words}: {history}");
    }
    let lines = succeeds(&shop, &["history", "C-1", "--json"]);
    let last: Value = serde_json::from_str(lines.lines().last().unwrap()).unwrap();
    assert_eq!(last["deed"]["note"]["by"], "Ada");

    let head = last["digest"].as_str().unwrap();
    let found = succeeds(&shop, &["verify", "C-1", "--head", head]);
    assert!(found.contains(": whole\n") && found.contains(head), "{found}");
    succeeds(&shop, &["export", "C-1", "--to", "handed-on", "--by", "Studio Kestrel"]);
    assert!(shop.path("handed-on/ro-crate-metadata.json").is_file());
    succeeds(&shop, &["verify", "handed-on", "--head", head]);
}

#[test]
fn what_is_not_whole_has_an_exit_code_of_its_own() {
    let (shop, run) = with_run();
    let piece = shop.path(&run).join("piece.txt");
    let bytes = fs::read(&piece).unwrap();
    fs::remove_file(&piece).unwrap();
    fs::write(&piece, [&bytes[..], b" "].concat()).unwrap();
    let found = own(&shop, &["verify", "C-1", "--json"]);
    assert_eq!(found.code, i32::from(exit::FAULTS), "{}", found.err);
    let found: Value = serde_json::from_str(&found.out).unwrap();
    assert_eq!(found["whole"], false);
    assert!(found["faults"][0]["message"].as_str().unwrap().contains("piece.txt was changed"), "{found}");

    let refused = own(&shop, &["order", &run]);
    assert_eq!(refused.code, i32::from(exit::FAULTS));
    assert!(refused.err.contains("piece.txt was changed") && refused.out.is_empty(), "{}", refused.err);
    assert_eq!(own(&shop, &["export", "C-1", "--to", "new"]).code, i32::from(exit::FAULTS));
    assert!(!shop.path("new").exists());
}

#[test]
fn a_damaged_ledger_takes_no_more_entries_and_is_told_by_line() {
    let (shop, run) = with_run();
    let segment = shop.path("runs/C-1/ledger/00000001.jsonl");
    let mut bytes = fs::read(&segment).unwrap();
    bytes[10] ^= 1;
    fs::remove_file(&segment).unwrap();
    fs::write(&segment, bytes).unwrap();
    for arguments in [
        &["note", "C-1", "hello"][..],
        &["history", "C-1"],
        &["verify", "C-1"],
        &["deliver", &run],
        &["export", "C-1", "--to", "new"],
    ] {
        let said = own(&shop, arguments);
        assert_eq!(said.code, i32::from(exit::FAULTS), "{arguments:?}: {}", said.err);
        assert!(said.err.contains("00000001.jsonl:1:1"), "{arguments:?}: {}", said.err);
    }
    assert_eq!(fs::read_dir(shop.path("runs/C-1/ledger")).unwrap().count(), 1);
}

#[test]
fn what_is_not_there_is_a_wrong_command_line() {
    let shop = Workshop::new();
    let before = shop.content();
    for arguments in [
        &["verify", "C-1"][..],
        &["history", "C-1"],
        &["note", "C-1", "hello"],
        &["order", "runs/C-1/none"],
        &["order", "runs/C-1/none", "--on", "yesterday"],
        &["verify", "C-1", "--head", "abc"],
        &["export", "C-1", "--to", "new"],
    ] {
        let said = own(&shop, arguments);
        assert_eq!(said.code, i32::from(exit::WRONG_JOB), "{arguments:?}: {}", said.err);
        assert!(!said.err.is_empty() && said.out.is_empty(), "{arguments:?}");
    }
    assert_eq!(shop.content(), before, "something was made");
}
