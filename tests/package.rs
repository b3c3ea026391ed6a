//! The package of an order, from the outside: what a run puts into it, what `verify` and `reproduce` say of it, the command
//! that makes it later, and what happens where it cannot be made.
#![allow(clippy::unwrap_used, missing_docs)]

#[path = "own-stages/workshop.rs"]
mod workshop;

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::Read;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use sha2::{Digest, Sha256};
use turnhue::exit;
use workshop::{HEAD, Workshop};

/// The program with the stages of the tests, which Cargo builds beside the tests.
fn program() -> PathBuf {
    let tests = std::env::current_exe().unwrap();
    let built = tests.parent().unwrap().parent().unwrap();
    let program = built.join("examples").join(format!("own-stages{}", std::env::consts::EXE_SUFFIX));
    assert!(program.is_file(), "build the program of the tests first: cargo build --example own-stages");
    program
}

struct Said {
    code: u8,
    out: String,
    err: String,
}

fn said(command: &mut Command) -> Said {
    let output = command.output().unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    let code = output.status.code().and_then(|code| code.try_into().ok()).unwrap();
    Said { code, out: text(output.stdout), err: text(output.stderr) }
}

fn own(shop: &Workshop, arguments: &[&str]) -> Said {
    said(Command::new(program()).current_dir(shop.path("")).args(arguments))
}

/// Runs a job of these stages, with more lines behind them; gives the run folders.
fn run(shop: &Workshop, stages: &str, more: &str, code: u8) -> Vec<PathBuf> {
    let stages: String = stages.lines().map(|line| format!("  - {line}\n")).collect();
    shop.put("job.yaml", format!("{HEAD}{stages}{more}"));
    let said = own(shop, &["run", "job.yaml"]);
    assert_eq!(said.code, code, "{}", said.err);
    let entries = fs::read_dir(shop.path("runs/C-1")).unwrap().map(|entry| entry.unwrap().path());
    let mut runs: Vec<PathBuf> = entries.filter(|path| path.join("run.json").is_file()).collect();
    runs.sort();
    runs
}

const GOOD: &str = "blocks\npack\nvalidate";

/// A workshop with a run that is ready to order.
fn ready() -> (Workshop, PathBuf) {
    let shop = Workshop::new();
    let run = run(&shop, GOOD, "", exit::READY).remove(0);
    (shop, run)
}

fn files_in(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    entries.map(|path| (path.file_name().unwrap().to_str().unwrap().to_owned(), fs::read(&path).unwrap())).collect()
}

/// The files in a ZIP file, which must all lie in one folder and carry no time.
fn unpacked(path: &Path) -> (String, BTreeMap<String, Vec<u8>>) {
    let mut zip = zip::ZipArchive::new(File::open(path).unwrap()).unwrap();
    let (mut top, mut files) = (String::new(), BTreeMap::new());
    for at in 0..zip.len() {
        let mut entry = zip.by_index(at).unwrap();
        let time = entry.last_modified().unwrap();
        assert_eq!((time.year(), time.month(), time.day(), time.hour(), time.second()), (1980, 1, 1, 0, 0));
        let whole = entry.name().unwrap().into_owned();
        let (folder, name) = whole.split_once('/').map(|(a, b)| (a.to_owned(), b.to_owned())).unwrap();
        assert!(top.is_empty() || top == folder);
        top = folder;
        let mut bytes = Vec::new();
        entry.read_to_end(&mut bytes).unwrap();
        files.insert(name, bytes);
    }
    (top, files)
}

#[test]
fn a_run_that_is_ready_has_its_package() {
    let (_shop, run) = ready();
    let files = files_in(&run.join("order"));
    let names: Vec<&str> = files.keys().map(String::as_str).collect();
    let expected = [
        "client-sheet.html",
        "digests-blake3.txt",
        "digests-sha256.txt",
        "label.html",
        "label.svg",
        "order-sheet.html",
        "piece.txt",
    ];
    assert_eq!(names, expected);
    assert_eq!(files["piece.txt"], fs::read(run.join("piece.txt")).unwrap());
    let (top, zipped) = unpacked(&run.join("order.zip"));
    assert_eq!(zipped, files);
    assert_eq!(top, format!("C-1-{}", run.file_name().unwrap().to_str().unwrap()));
    // Every file but the lists stands in both lists, as `b3sum` and `sha256sum` have it.
    let lists = ["digests-blake3.txt", "digests-sha256.txt"];
    for list in lists {
        let text = String::from_utf8(files[list].clone()).unwrap();
        let mut listed: Vec<&str> = text.lines().map(|line| line.split_once("  ").unwrap().1).collect();
        for line in text.lines() {
            let (digest, name) = line.split_once("  ").unwrap();
            let is = match list {
                "digests-blake3.txt" => blake3::hash(&files[name]).to_hex().to_string(),
                _ => Sha256::digest(&files[name]).iter().map(|byte| format!("{byte:02x}")).collect(),
            };
            assert_eq!(digest, is, "{name}");
        }
        listed.sort_unstable();
        assert_eq!(listed, names.iter().copied().filter(|name| !lists.contains(name)).collect::<Vec<_>>());
    }
    let sheet = String::from_utf8(files["order-sheet.html"].clone()).unwrap();
    assert!(sheet.contains("Whelk") && sheet.contains(blake3::hash(b"abc").to_hex().as_str()));
}

#[test]
fn the_same_job_gives_the_same_package_wherever_it_is_made() {
    let [(_first, a), (_second, b)] = [ready(), ready()];
    assert_eq!(fs::read(a.join("order.zip")).unwrap(), fs::read(b.join("order.zip")).unwrap());
}

#[test]
fn what_is_not_ready_has_none_and_gets_none() {
    for (stages, code, why) in [
        ("blocks\npack\nvalidate: { strict: true }", exit::FAULTS, "has faults"),
        ("blocks\npack", exit::READY, "nothing measured the file to order"),
    ] {
        let shop = Workshop::new();
        let run = run(&shop, stages, "", code).remove(0);
        assert!(!run.join("order").exists() && !run.join("order.zip").exists(), "{stages}");
        let said = own(&shop, &["pack", run.to_str().unwrap()]);
        assert_eq!(said.code, exit::FAULTS, "{}", said.err);
        assert!(said.err.contains(why), "{}", said.err);
        assert!(!run.join("order").exists() && !run.join("order.zip").exists(), "{stages}");
        assert_eq!(own(&shop, &["verify", "C-1"]).code, exit::READY);
    }
}

#[test]
fn a_stage_that_takes_the_place_leaves_the_run_whole() {
    let shop = Workshop::new();
    let run = run(&shop, "blocks\npack\nmishap: { kind: parcel }\nvalidate", "", exit::READY).remove(0);
    assert_eq!(fs::read(run.join("order.zip")).unwrap(), b"half");
    assert!(!run.join("order").exists() && run.join("summary.html").is_file());
    assert_eq!(own(&shop, &["verify", "C-1"]).code, exit::READY);
}

#[test]
fn verify_notices_what_is_done_to_a_package() {
    let (shop, run) = ready();
    let verify = || own(&shop, &["verify", "C-1"]);
    assert_eq!(verify().code, exit::READY, "{}", verify().err);
    for name in ["order/order-sheet.html", "order/digests-blake3.txt", "order.zip"] {
        let path = run.join(name);
        let mut bytes = fs::read(&path).unwrap();
        bytes[20] ^= 1;
        fs::write(&path, &bytes).unwrap();
        let found = verify();
        assert_eq!(found.code, exit::FAULTS, "{name}");
        assert!(found.err.contains("was changed") && found.err.contains(name), "{}", found.err);
        bytes[20] ^= 1;
        fs::write(&path, &bytes).unwrap();
        fs::rename(&path, shop.path("aside")).unwrap();
        assert!(verify().err.contains("is missing"), "{}", verify().err);
        fs::rename(shop.path("aside"), &path).unwrap();
        assert_eq!(verify().code, exit::READY, "{}", verify().err);
    }
    fs::write(run.join("order/extra.txt"), "x").unwrap();
    assert!(verify().err.contains("extra.txt was added"), "{}", verify().err);
    fs::remove_file(run.join("order/extra.txt")).unwrap();
    fs::create_dir(run.join("order/deeper")).unwrap();
    assert!(verify().err.contains("deeper was added"), "{}", verify().err);
    fs::remove_dir(run.join("order/deeper")).unwrap();
    fs::remove_dir_all(run.join("order")).unwrap();
    assert!(verify().err.contains("order is missing"), "{}", verify().err);
    // The command makes it anew, byte for byte.
    let zip = fs::read(run.join("order.zip")).unwrap();
    assert_eq!(own(&shop, &["pack", run.to_str().unwrap()]).code, exit::READY);
    assert_eq!(fs::read(run.join("order.zip")).unwrap(), zip);
    assert_eq!(verify().code, exit::READY, "{}", verify().err);
}

#[test]
fn an_order_is_exported_and_reproduced_with_the_rest() {
    let (shop, run) = ready();
    let said = own(&shop, &["reproduce", run.to_str().unwrap()]);
    assert_eq!(said.code, exit::READY, "{}{}", said.out, said.err);
    assert!(said.out.contains("reproduced"), "{}", said.out);
    let said = own(&shop, &["export", "C-1", "--to", "handed-on"]);
    assert_eq!(said.code, exit::READY, "{}", said.err);
    let copy = shop.path("handed-on").join(run.file_name().unwrap());
    assert_eq!(files_in(&copy.join("order")), files_in(&run.join("order")));
    assert_eq!(own(&shop, &["verify", "handed-on"]).code, exit::READY);
    let crate_ = fs::read_to_string(shop.path("handed-on/ro-crate-metadata.json")).unwrap();
    assert!(crate_.contains("/order/order-sheet.html\""));
}

#[test]
fn variants_are_packed_when_somebody_asks() {
    let shop = Workshop::new();
    let runs = run(&shop, GOOD, "variants:\n  every:\n    blocks.size: [2 mm, 3 mm]\n", exit::READY);
    assert_eq!(runs.len(), 2);
    assert!(runs.iter().all(|run| !run.join("order").exists() && !run.join("order.zip").exists()));
    let said = own(&shop, &["pack", runs[0].to_str().unwrap()]);
    assert_eq!(said.code, exit::READY, "{}", said.err);
    assert!(said.out.lines().all(|path| Path::new(path).exists()), "{}", said.out);
    assert!(runs[0].join("order/order-sheet.html").is_file() && !runs[1].join("order").exists());
    let verify = own(&shop, &["verify", "C-1"]);
    assert_eq!(verify.code, exit::READY, "{}", verify.err);
    assert!(own(&shop, &["history", "C-1"]).out.contains("drawn anew"));
    // Once is enough: the same again changes nothing, and is not written down again.
    let entries = own(&shop, &["history", "C-1", "--json"]).out;
    assert_eq!(own(&shop, &["pack", runs[0].to_str().unwrap()]).code, exit::READY);
    assert_eq!(own(&shop, &["history", "C-1", "--json"]).out, entries);
    let said = own(&shop, &["reproduce", runs[0].to_str().unwrap()]);
    assert_eq!(said.code, exit::READY, "{}{}", said.out, said.err);
}

#[test]
fn another_folder_takes_a_package_once() {
    let (shop, run) = ready();
    let pack = || own(&shop, &["pack", run.to_str().unwrap(), "--into", "for/the-bureau"]);
    let first = pack();
    assert_eq!(first.code, exit::READY, "{}", first.err);
    assert_eq!(fs::read(shop.path("for/the-bureau/order.zip")).unwrap(), fs::read(run.join("order.zip")).unwrap());
    let again = pack();
    assert_eq!(again.code, exit::WRONG_JOB);
    assert!(again.err.contains("is there already"), "{}", again.err);
    let left: Vec<_> =
        fs::read_dir(shop.path("for/the-bureau")).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(left.len(), 2, "{left:?}");
    assert_eq!(own(&shop, &["pack", "nowhere"]).code, exit::WRONG_JOB);
}

/// A file that is not the one of the record any more is not packed, and the old package stays.
#[test]
fn a_changed_file_is_not_packed() {
    let (shop, run) = ready();
    let before = fs::read(run.join("order.zip")).unwrap();
    fs::remove_file(run.join("piece.txt")).unwrap();
    fs::write(run.join("piece.txt"), "abd").unwrap();
    let said = own(&shop, &["pack", run.to_str().unwrap()]);
    assert_eq!(said.code, exit::FAILED);
    assert!(said.err.contains("was changed since it was made"), "{}", said.err);
    assert_eq!(fs::read(run.join("order.zip")).unwrap(), before);
    let hidden = fs::read_dir(&run)
        .unwrap()
        .filter(|entry| entry.as_ref().unwrap().file_name().to_str().is_some_and(|name| name.starts_with('.')));
    assert_eq!(hidden.count(), 0);
}

/// A disk that takes no more than so many bytes of a file, as a shell can ask for: nothing is left of what did not fit.
#[cfg(unix)]
#[test]
fn a_package_that_does_not_fit_leaves_nothing() {
    let limited = |shop: &Workshop, arguments: &str| {
        // Blocks of 512 bytes: a record fits, a sheet does not. The signal that goes with it is passed over.
        let script = format!("trap '' XFSZ; ulimit -f 20; exec {} {arguments}", program().display());
        said(Command::new("sh").current_dir(shop.path("")).args(["-c", &script]))
    };
    let (shop, run) = ready();
    let before = (files_in(&run.join("order")), fs::read(run.join("order.zip")).unwrap());
    let failed = limited(&shop, &format!("pack {}", run.display()));
    assert_eq!(failed.code, exit::FAILED, "{}", failed.err);
    assert_eq!((files_in(&run.join("order")), fs::read(run.join("order.zip")).unwrap()), before);
    assert_eq!(own(&shop, &["verify", "C-1"]).code, exit::READY, "{}", own(&shop, &["verify", "C-1"]).err);
    let failed = limited(&shop, &format!("pack {} --into elsewhere", run.display()));
    assert_eq!(failed.code, exit::FAILED, "{}", failed.err);
    assert_eq!(fs::read_dir(shop.path("elsewhere")).unwrap().count(), 0);
    // A whole run: there is none, and the next one is whole.
    let shop = Workshop::new();
    shop.job(GOOD);
    let failed = limited(&shop, "run job.yaml");
    assert_eq!(failed.code, exit::FAILED, "{}", failed.err);
    assert!(!shop.holds("order.zip") && !shop.holds("run.json"));
    assert_eq!(own(&shop, &["run", "job.yaml"]).code, exit::READY);
    assert!(shop.holds("order.zip"));
}

#[test]
fn what_a_job_tells_for_the_package_goes_onto_its_sheets() {
    let shop = Workshop::new();
    let package = "package:\n  copies: 2\n  from: |\n    Studio Kestrel\n    Harbour Lane 1\n  to: \"<script>alert(1)</script>\"\n  \
                   note: '\"><img src=x>'\n  paper: a4\n";
    let run = run(&shop, GOOD, package, exit::READY).remove(0);
    for name in ["order-sheet.html", "client-sheet.html", "label.html", "label.svg"] {
        let sheet = fs::read_to_string(run.join("order").join(name)).unwrap();
        assert!(!sheet.contains("<script") && !sheet.contains("<img src=x"), "{name}");
        assert_eq!(sheet.contains("@page { size: A4;"), name != "label.svg", "{name}");
    }
    let sheet = fs::read_to_string(run.join("order/order-sheet.html")).unwrap();
    assert!(sheet.contains("Studio Kestrel\nHarbour Lane 1"));
    // It is in the record, from which the package comes out again, and in the job with its defaults.
    let record: serde_json::Value = serde_json::from_slice(&fs::read(run.join("run.json")).unwrap()).unwrap();
    assert_eq!((&record["package"]["copies"], &record["resolved"]["package"]["paper"]), (&2.into(), &"a4".into()));
    let before = files_in(&run.join("order"));
    assert_eq!(own(&shop, &["pack", run.to_str().unwrap()]).code, exit::READY);
    assert_eq!(files_in(&run.join("order")), before);
    let said = own(&shop, &["reproduce", run.to_str().unwrap()]);
    assert_eq!(said.code, exit::READY, "{}{}", said.out, said.err);
}

/// Each mistake at its line, all at once; nothing is made.
#[test]
fn mistakes_in_what_is_told_show_with_their_lines() {
    let shop = Workshop::new();
    let stages = "  - blocks\n  - pack\n  - validate\n";
    let package = "package:\n  copies: 0\n  form: me\n  note: ''\n  finishing: [a, '']\n  paper: a5\n";
    shop.put("job.yaml", format!("{HEAD}{stages}{package}"));
    let said = own(&shop, &["check", "job.yaml"]);
    assert_eq!(said.code, exit::WRONG_JOB);
    for words in ["the key `form` is not known", "is `from` meant?", "`a5` is not known here"] {
        assert!(said.err.contains(words), "{words}: {}", said.err);
    }
    let package = "package:\n  copies: 0\n  note: ''\n  finishing: [a, '']\n";
    shop.put("job.yaml", format!("{HEAD}{stages}{package}"));
    let said = own(&shop, &["check", "job.yaml"]);
    assert_eq!(said.code, exit::WRONG_JOB);
    for words in [
        "job.yaml:10:",
        "from 1 to 10000 copies can be ordered, not 0",
        "job.yaml:11:",
        "job.yaml:12:",
        "this is empty",
    ] {
        assert!(said.err.contains(words), "{words}: {}", said.err);
    }
    // The bare key says nothing, which is fine.
    run(&shop, GOOD, "package:\n", exit::READY);
}
