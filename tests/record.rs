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

/// The commission's page.
fn page(shop: &Workshop) -> String {
    fs::read_to_string(shop.path("runs/C-1/commission.html")).unwrap()
}

#[test]
fn the_page_tells_what_each_command_recorded() {
    let (shop, run) = with_run();
    let name = run.rsplit('/').next().unwrap().to_owned();
    let tells = |words: &str| {
        let page = page(&shop);
        assert!(page.contains(words), "{words}: {page}");
    };
    tells("In the making");
    tells(&format!("turnhue choose runs/C-1/{name} --why REASON"));
    tells(&format!("href=\"{name}/summary.html\""));
    succeeds(&shop, &["choose", &run, "--why", "it is <b>round</b>"]);
    tells("Chosen");
    tells("it is &#60;b&#62;round&#60;/b&#62;");
    succeeds(&shop, &["order", &run, "--bureau", "Bureau One", "--on", "2027-03-02"]);
    tells("Ordered on 2\u{a0}March 2027");
    succeeds(&shop, &["deliver", &run, "--to", "the library", "--on", "2027-03-20"]);
    tells("Delivered on 20\u{a0}March 2027");
    succeeds(&shop, &["verify", "C-1"]);
    tells("were as recorded");
    succeeds(&shop, &["note", "C-1", "arrived whole"]);
    tells("arrived whole");
    tells("Files were not checked");

    for command in [&["report", &run][..], &["run", "job.yaml"], &["history", "C-1", "--page"]] {
        fs::remove_file(shop.path("runs/C-1/commission.html")).unwrap();
        succeeds(&shop, command);
        tells("arrived whole");
    }
    assert_eq!(succeeds(&shop, &["history", "C-1", "--page"]), "runs/C-1/commission.html\n");
    // It is no part of the record: without it, or with another, the record is whole.
    fs::write(shop.path("runs/C-1/commission.html"), "another").unwrap();
    succeeds(&shop, &["verify", "C-1"]);
    tells("were as recorded");
}

#[test]
fn a_copy_keeps_the_page_that_it_came_with() {
    let (shop, _) = with_run();
    succeeds(&shop, &["export", "C-1", "--to", "handed-on"]);
    let copied = || fs::read_to_string(shop.path("handed-on/ro-crate-preview.html")).unwrap();
    let before = copied();
    assert!(before.contains("were as recorded when this copy was made") && !before.contains("turnhue choose"));
    succeeds(&shop, &["verify", "handed-on"]);
    succeeds(&shop, &["note", "handed-on", "read it"]);
    assert_eq!(copied(), before);
    assert_eq!(fs::read_to_string(shop.path("handed-on/commission.html")).unwrap(), before);
    assert_eq!(own(&shop, &["history", "handed-on", "--page"]).code, i32::from(exit::WRONG_JOB));
}

#[test]
fn damage_is_told_on_the_page_by_whoever_looked() {
    let (shop, run) = with_run();
    let piece = shop.path(&run).join("piece.txt");
    fs::remove_file(&piece).unwrap();
    assert_eq!(own(&shop, &["verify", "C-1"]).code, i32::from(exit::FAULTS));
    let told = page(&shop);
    assert!(told.contains("Not whole") && told.contains("piece.txt is missing"), "{told}");
    assert!(!told.contains(&format!("{run}/piece.txt")), "where the commission lies is nobody's business");

    let segment = shop.path("runs/C-1/ledger/00000001.jsonl");
    let mut bytes = fs::read(&segment).unwrap();
    bytes[10] ^= 1;
    fs::remove_file(&segment).unwrap();
    fs::write(&segment, bytes).unwrap();
    assert_eq!(own(&shop, &["note", "C-1", "hello"]).code, i32::from(exit::FAULTS));
    assert_eq!(page(&shop), told, "what recorded nothing draws nothing");
    for command in [&["history", "C-1", "--page"][..], &["verify", "C-1"]] {
        own(&shop, command);
        let told = page(&shop);
        assert!(told.contains("Not whole") && told.contains("ledger/00000001.jsonl, line 1"), "{command:?}: {told}");
    }
}

#[test]
fn a_page_that_cannot_be_drawn_fails_nothing() {
    let (shop, run) = with_run();
    fs::remove_file(shop.path("runs/C-1/commission.html")).unwrap();
    fs::create_dir_all(shop.path("runs/C-1/commission.html/in-the-way")).unwrap();
    for command in [&["note", "C-1", "hello"][..], &["choose", &run, "--why", "round"], &["run", "job.yaml"]] {
        let said = own(&shop, command);
        assert_eq!(said.code, i32::from(exit::READY), "{command:?}: {}", said.err);
        assert!(said.err.contains("could not draw the page") && said.err.contains("commission.html"), "{}", said.err);
    }
    assert_eq!(own(&shop, &["history", "C-1", "--page"]).code, i32::from(exit::FAILED));
}

#[test]
fn a_share_of_a_night_leaves_the_page_to_whoever_puts_shares_together() {
    let shop = Workshop::new();
    shop.job("blocks\npack\nvalidate");
    let job = fs::read_to_string(shop.path("job.yaml")).unwrap();
    shop.put("night.yaml", job + "variants: { every: { blocks.size: [3 mm, 4 mm] } }\n");
    for share in ["1/2", "2/2"] {
        own(&shop, &["run", "night.yaml", "--share", share]);
        assert!(!shop.path("runs/C-1/commission.html").exists(), "{share}");
    }
    own(&shop, &["compare", "night.yaml"]);
    let page = page(&shop);
    assert!(page.contains("href=\"nights/night/index.html\"") && page.contains("2 variants"), "{page}");
}
