//! The program from the outside: exit codes, what is printed where, what is on the disk afterwards.
#![allow(clippy::unwrap_used, missing_docs)]

#[path = "own-stages/workshop.rs"]
mod workshop;

use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use serde_json::Value;
use turnhue::exit;
use workshop::{HEAD, Workshop};

/// The program with the stages that ship.
fn turnhue() -> Command {
    Command::new(env!("CARGO_BIN_EXE_turnhue"))
}

/// The program with the stages of the tests, which Cargo builds beside the tests.
fn own_stages() -> PathBuf {
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

impl Said {
    fn json(&self) -> Vec<Value> {
        self.out.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    }
}

fn said(mut command: Command) -> Said {
    let output = command.output().unwrap();
    Said {
        code: u8::try_from(output.status.code().unwrap()).unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Runs `own-stages COMMAND ARGUMENTS…` in the workshop's folder.
fn own(shop: &Workshop, arguments: &[&str]) -> Said {
    let mut command = Command::new(own_stages());
    command.current_dir(shop.path("")).args(arguments);
    said(command)
}

const GOOD: &str = "blocks\npack\nvalidate";

#[test]
fn a_good_piece_is_ready_to_order() {
    let shop = Workshop::new();
    shop.job(GOOD);
    let said = own(&shop, &["run", "job.yaml"]);
    assert_eq!(said.code, exit::READY, "{}", said.err);
    assert!(said.out.starts_with("C-1: ready to order\n"), "{}", said.out);
    let runs = runs_of(&shop);
    assert_eq!(runs.len(), 1);
    for file in ["run.json", "summary.html", "piece.txt"] {
        assert!(runs[0].join(file).is_file(), "{file}");
    }
    let digest = runs[0].file_name().unwrap().to_str().unwrap().strip_prefix("job-").unwrap();
    assert!(digest.len() == 8 && digest.bytes().all(|b| b.is_ascii_hexdigit()));
}

/// The run folders of the commission.
fn runs_of(shop: &Workshop) -> Vec<PathBuf> {
    let Ok(entries) = fs::read_dir(shop.path("runs/C-1")) else { return Vec::new() };
    entries.map(|entry| entry.unwrap().path()).filter(|path| path.join("run.json").is_file()).collect()
}

#[test]
fn the_record_holds_what_went_in_and_came_out() {
    let shop = Workshop::new();
    shop.job("blocks\nprice: { rates: rates.yaml }\npack\nvalidate");
    let json = own(&shop, &["run", "job.yaml", "--json", "--quiet"]).json();
    let run = shop.path(json[0]["run"].as_str().unwrap());
    let record: Value = serde_json::from_slice(&fs::read(run.join("run.json")).unwrap()).unwrap();
    assert_eq!(record["verdict"], "ready-to-order");
    assert_eq!(record["order"], "piece.txt");
    // Defaults are filled in.
    assert_eq!(record["resolved"]["stages"][0]["blocks"]["size"], "3 mm");
    assert_eq!(record["resolved"]["model"]["facing"], "-y");
    // Every input and artefact with the digest that its file has.
    let inputs = record["inputs"].as_array().unwrap();
    let names: Vec<_> = inputs.iter().map(|input| input["name"].as_str().unwrap()).collect();
    assert_eq!(names, ["model.stl", "process.yaml", "rates.yaml"]);
    let artefacts = record["stages"][2]["artefacts"].as_array().unwrap();
    let files =
        inputs.iter().map(|input| (shop.path(""), input)).chain(artefacts.iter().map(|made| (run.clone(), made)));
    for (folder, file) in files {
        let bytes = fs::read(folder.join(file["name"].as_str().unwrap())).unwrap();
        assert_eq!(file["bytes"], bytes.len());
        assert_eq!(file["blake3"], blake3::hash(&bytes).to_hex().as_str());
    }
    assert_eq!(record["stages"][3]["facts"][0]["value"]["whole"], 3);
}

#[test]
fn json_is_one_object_a_job_with_paths_that_exist() {
    let shop = Workshop::new();
    shop.job(GOOD);
    shop.put("bad.yaml", "title: x\n");
    let said = own(&shop, &["run", "--json", "bad.yaml", "job.yaml", "--into", "elsewhere"]);
    // One that fails does not stop the others; the worst code counts.
    assert_eq!(said.code, exit::WRONG_JOB);
    let json = said.json();
    assert_eq!(json.len(), 2);
    assert_eq!(json[0]["job"], "bad.yaml");
    assert!(json[0]["run"].is_null() && json[0]["verdict"].is_null());
    assert_eq!(json[0]["faults"][0]["line"], 1);
    assert_eq!(json[1]["verdict"], "ready-to-order");
    assert!(json[1]["run"].as_str().unwrap().starts_with("elsewhere"));
    for key in ["run", "summary", "order"] {
        assert!(shop.path(json[1][key].as_str().unwrap()).exists(), "{key}");
    }
}

#[test]
fn a_piece_with_faults_exits_1_and_says_what_to_do() {
    let shop = Workshop::new();
    shop.job("blocks\npack\nvalidate: { strict: true }");
    let said = own(&shop, &["run", "job.yaml", "--quiet"]);
    assert_eq!(said.code, exit::FAULTS);
    assert!(said.err.contains("fault (validate, too-plain): The piece is too plain."), "{}", said.err);
    assert!(said.err.contains("what to do: Raise `blocks.size`."), "{}", said.err);
    assert_eq!(said.out, "");
    assert!(shop.path("runs/C-1").is_dir());
}

#[test]
fn without_validate_a_caution_is_said() {
    let shop = Workshop::new();
    shop.job("blocks\npack");
    let said = own(&shop, &["run", "job.yaml", "--json"]);
    assert_eq!(said.code, exit::READY);
    assert_eq!(said.json()[0]["verdict"], "not-validated");
    assert!(said.err.contains("caution: nothing measured the file to order"), "{}", said.err);
}

#[test]
fn a_wrong_job_exits_2_and_writes_nothing() {
    let shop = Workshop::new();
    shop.job("blokcs");
    let before = shop.content();
    let said = own(&shop, &["run", "job.yaml"]);
    assert_eq!(said.code, exit::WRONG_JOB);
    assert!(said.err.contains("job.yaml:6:5") && said.err.contains("- blokcs"), "{}", said.err);
    assert_eq!(own(&shop, &["run", "none.yaml"]).code, exit::WRONG_JOB);
    assert_eq!(own(&shop, &["check", "job.yaml"]).code, exit::WRONG_JOB);
    assert_eq!(shop.content(), before);
}

#[test]
fn settings_that_do_not_fit_the_model_exit_2_at_their_place() {
    let shop = Workshop::new();
    shop.job("blocks\nbore: { wall: 11 mm }\npack");
    let said = own(&shop, &["run", "job.yaml"]);
    assert_eq!(said.code, exit::WRONG_JOB);
    assert!(said.err.contains("could not run bore: a wall of 11 mm is thicker than the piece"), "{}", said.err);
    assert!(said.err.contains("job.yaml:7:19") && said.err.contains("at most 10 mm"), "{}", said.err);
    assert!(runs_of(&shop).is_empty());
}

#[test]
fn what_else_fails_exits_3_and_leaves_no_run() {
    let shop = Workshop::new();
    for (kind, part) in [
        ("mishap: { kind: panic }", "the stage `mishap` panicked"),
        ("mishap: { kind: disk }", "could not write or read back half.txt: the disk is full"),
        ("vow", "the stage `vow` promised paint"),
    ] {
        shop.job(&format!("blocks\npack\n{kind}"));
        let said = own(&shop, &["run", "job.yaml"]);
        assert_eq!(said.code, exit::FAILED, "{kind}");
        assert!(said.err.contains(part), "{kind}: {}", said.err);
        assert!(runs_of(&shop).is_empty(), "{kind}");
    }
}

#[test]
fn a_folder_that_cannot_be_written_shows_before_the_work() {
    let shop = Workshop::new();
    shop.put("runs", "a file in the folder's place");
    // This stage would wait for an hour.
    shop.job("mishap: { kind: wait }");
    let said = own(&shop, &["run", "job.yaml"]);
    assert_eq!(said.code, exit::FAILED);
    assert!(
        said.err.contains("could not make a run folder in runs") && said.err.contains("--into DIR"),
        "{}",
        said.err
    );
    assert_eq!(fs::read(shop.path("runs")).unwrap(), b"a file in the folder's place");
}

#[cfg(unix)]
#[test]
fn a_stopped_run_leaves_no_run_and_says_how_to_go_on() {
    let shop = Workshop::new();
    shop.job("blocks\npack\nmishap: { kind: wait }");
    let mut program = std::process::Command::new(own_stages());
    program.args(["run", "job.yaml", "job.yaml", "--quiet"]);
    stops(&shop, program, "-INT");
}

/// As a script's `&` starts it: interrupts are ignored, and a request to end is heard all the same.
#[cfg(target_os = "linux")]
#[test]
fn a_request_to_end_is_heard_where_interrupts_are_ignored() {
    let shop = Workshop::new();
    shop.job("blocks\npack\nmishap: { kind: wait }");
    let mut shell = std::process::Command::new("sh");
    shell.args(["-c", "trap '' INT; exec \"$@\"", "sh"]).arg(own_stages()).args(["run", "job.yaml", "--quiet"]);
    stops(&shop, shell, "-TERM");
}

/// Starts a run that waits, asks it to stop, and sees that it does so well.
fn stops(shop: &Workshop, mut program: std::process::Command, signal: &str) {
    let mut child = program
        .current_dir(shop.path(""))
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    // The stage writes this file, then waits.
    while !shop.holds("half.txt") {
        std::thread::sleep(std::time::Duration::from_millis(20));
        assert!(child.try_wait().unwrap().is_none(), "ended by itself");
    }
    assert!(std::process::Command::new("kill").args([signal, &child.id().to_string()]).status().unwrap().success());
    for _ in 0..3000 {
        if child.try_wait().unwrap().is_some() {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    if child.try_wait().unwrap().is_none() {
        child.kill().unwrap();
        panic!("not stopped within a minute");
    }
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(exit::STOPPED.into()));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(said.contains("the run was stopped") && said.contains("goes on from there"), "{said}");
    assert!(runs_of(shop).is_empty());
    assert!(!shop.holds("half.txt"), "nothing unfinished is left");
}

#[test]
fn one_that_fails_does_not_stop_the_others() {
    let shop = Workshop::new();
    shop.job("mishap: { kind: panic }");
    shop.put("good.yaml", format!("{HEAD}  - blocks\n  - pack\n  - validate\n"));
    let said = own(&shop, &["run", "job.yaml", "good.yaml", "--json"]);
    assert_eq!(said.code, exit::FAILED);
    assert_eq!(said.json()[1]["verdict"], "ready-to-order");
}

#[test]
fn check_lists_variants_and_takes_patterns() {
    let shop = Workshop::new();
    let job = std::fs::read_to_string(shop.job(GOOD)).unwrap();
    shop.put("night.yaml", job + "variants: { every: { blocks.size: [3 mm, 4 mm] } }\n");
    let said = own(&shop, &["check", "nig*.yaml"]);
    assert_eq!(said.code, exit::READY);
    for part in ["variants 2 (2 combined)", "1. size-3mm", "blocks.size 4 mm"] {
        assert!(said.out.contains(part), "{part}: {}", said.out);
    }
    let said = own(&shop, &["check", "night.yaml", "--share", "2/2", "--json"]);
    let said: Value = serde_json::from_str(&said.out).unwrap();
    assert_eq!(said["variants"]["listed"][0]["changes"]["blocks.size"], "4 mm");
    assert_eq!(own(&shop, &["check", "none*.yaml"]).code, exit::WRONG_JOB);
}

#[test]
fn check_says_the_chain_in_words() {
    let shop = Workshop::new();
    shop.job(GOOD);
    let before = shop.content();
    let said = own(&shop, &["check", "job.yaml"]);
    assert_eq!(said.code, exit::READY);
    for part in [
        "C-1: Whelk",
        "4 triangles, 10.0 × 10.0 × 10.0 mm",
        "1 body, closed; passes through itself nowhere",
        "binder jetting (BJT)",
        "takes cells",
        "size: 3 mm",
    ] {
        assert!(said.out.contains(part), "{part}: {}", said.out);
    }
    assert!(!said.out.contains("is the model in"), "{}", said.out);
    assert_eq!(shop.content(), before);
}

#[test]
fn check_doubts_a_unit_that_makes_no_sense() {
    let shop = Workshop::new();
    let job = GOOD.lines().map(|line| format!("  - {line}\n")).collect::<String>();
    shop.put("job.yaml", HEAD.replace("units: mm", "units: um") + &job);
    let said = own(&shop, &["check", "job.yaml"]);
    assert_eq!(said.code, exit::READY);
    for part in ["0.01 × 0.01 × 0.01 mm", "very small", "is the model in mm, not um (10 mm at its longest)"] {
        assert!(said.out.contains(part), "{part}: {}", said.out);
    }
}

#[test]
fn stages_lists_every_setting_with_unit_and_default() {
    let shop = Workshop::new();
    assert!(own(&shop, &["stages"]).out.contains("blocks    Makes one block\n"));
    let said = own(&shop, &["stages", "blocks"]);
    assert!(said.out.contains("size: length (mm, or with a unit: 3 mm, 18 cm, 7 in); default 3 mm"), "{}", said.out);
    let said = own(&shop, &["stages", "bore"]);
    for part in ["wall: length", "; required", "side: right | left | back | front | top | bottom", "How wide."] {
        assert!(said.out.contains(part), "{part}: {}", said.out);
    }
    let said = own(&shop, &["stages", "stretch"]);
    for part in ["  exactly one of:\n    height: length", "7 in)\n        To this height.", "    factor: number\n"] {
        assert!(said.out.contains(part), "{part}: {}", said.out);
    }
    assert!(own(&shop, &["stages", "pack"]).out.contains("It takes no settings."));
    let said = own(&shop, &["stages", "blokcs"]);
    assert_eq!(said.code, exit::WRONG_JOB);
    assert!(said.err.contains("is `blocks` meant?"), "{}", said.err);
}

#[test]
fn every_reference_in_the_schema_leads_somewhere() {
    fn references<'a>(value: &'a Value, found: &mut Vec<&'a str>) {
        match value {
            Value::Object(map) => {
                found.extend(map.get("$ref").and_then(Value::as_str));
                map.values().for_each(|value| references(value, found));
            }
            Value::Array(items) => items.iter().for_each(|item| references(item, found)),
            _ => {}
        }
    }
    let own = own(&Workshop::new(), &["schema"]);
    let mut shipped = turnhue();
    shipped.arg("schema");
    for said in [own, said(shipped)] {
        let schema: Value = serde_json::from_str(&said.out).unwrap();
        let mut found = Vec::new();
        references(&schema, &mut found);
        for reference in found {
            let pointer = reference.strip_prefix('#').unwrap();
            assert!(schema.pointer(pointer).is_some(), "{reference}");
        }
    }
}

#[test]
fn report_draws_the_page_of_an_old_run_anew() {
    let shop = Workshop::new();
    shop.job(GOOD);
    let json = own(&shop, &["run", "job.yaml", "--json"]).json();
    let (run, summary) = (json[0]["run"].as_str().unwrap(), json[0]["summary"].as_str().unwrap());
    let drawn = fs::read(shop.path(summary)).unwrap();
    fs::write(shop.path(summary), "spoilt").unwrap();
    let said = own(&shop, &["report", run]);
    assert_eq!((said.code, said.out.trim_end()), (exit::READY, summary), "{}", said.err);
    assert_eq!(fs::read(shop.path(summary)).unwrap(), drawn);
    assert_eq!(own(&shop, &["report", "nowhere"]).code, exit::WRONG_JOB);
}

#[test]
fn threads_change_nothing() {
    let shop = Workshop::new();
    shop.job(GOOD);
    let pieces = ["1", "4"].map(|threads| {
        let json = own(&shop, &["run", "job.yaml", "--json", "--threads", threads]).json();
        fs::read(shop.path(json[0]["order"].as_str().unwrap())).unwrap()
    });
    assert_eq!(pieces[0], pieces[1]);
}

#[test]
fn help_names_the_exit_codes_and_a_wrong_command_line_exits_2() {
    for arguments in [&["--help"][..], &["run", "--help"], &["check", "--help"]] {
        let mut command = turnhue();
        command.args(arguments);
        let said = said(command);
        assert_eq!(said.code, exit::READY);
        assert!(said.out.contains("0  ready to order"), "{}", said.out);
    }
    for arguments in [&["run"][..], &["walk"], &["run", "--threads", "0", "x"], &[]] {
        let mut command = turnhue();
        command.args(arguments);
        assert_eq!(said(command).code, exit::WRONG_JOB, "{arguments:?}");
    }
}

#[test]
fn no_colour_reaches_a_file() {
    let shop = Workshop::new();
    shop.job("blokcs");
    assert!(!own(&shop, &["run", "job.yaml"]).err.contains('\u{1b}'));
}

#[cfg(unix)]
#[test]
fn paths_that_are_not_text_are_paths() {
    use std::os::unix::ffi::OsStrExt;
    let shop = Workshop::new();
    let odd = std::ffi::OsStr::from_bytes(b"\xff.yaml");
    fs::rename(shop.job(GOOD), shop.path("").join(odd)).unwrap();
    let run = |job: &std::ffi::OsStr| {
        let mut command = Command::new(own_stages());
        command.current_dir(shop.path("")).arg("run").arg(job).arg("--into").arg(std::ffi::OsStr::from_bytes(b"\xfe"));
        said(command).code
    };
    assert_eq!(run(odd), exit::READY);
    assert_eq!(run(std::ffi::OsStr::from_bytes(b"\xfd.yaml")), exit::WRONG_JOB);
}

#[cfg(target_os = "linux")]
#[test]
fn output_that_cannot_be_written_is_no_panic() {
    let shop = Workshop::new();
    shop.job(GOOD);
    let run = |arguments: &[&str], out: fs::File, err: fs::File| {
        let mut command = std::process::Command::new(own_stages());
        command.current_dir(shop.path("")).args(arguments).stdout(out).stderr(err);
        u8::try_from(command.status().unwrap().code().unwrap()).unwrap()
    };
    let full = || fs::OpenOptions::new().write(true).open(Path::new("/dev/full")).unwrap();
    let closed = || {
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        fs::File::from(std::os::fd::OwnedFd::from(writer))
    };
    for arguments in [&["run", "job.yaml", "--json"][..], &["check", "job.yaml"], &["stages"], &["schema"], &["--help"]]
    {
        assert_eq!(run(arguments, full(), full()), exit::FAILED, "{arguments:?}");
        // Whoever read has heard enough.
        assert_eq!(run(arguments, closed(), closed()), exit::READY, "{arguments:?}");
    }
    shop.job("blokcs");
    assert_eq!(run(&["run", "job.yaml"], closed(), full()), exit::WRONG_JOB);
}

#[test]
fn a_coupon_is_read_into_a_process_file() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    let in_jobs = |arguments: &[&str]| {
        let mut command = turnhue();
        command.current_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("jobs")).args(arguments);
        said(command)
    };
    let ran = in_jobs(&["run", "coupon.yaml", "--json", "--quiet", "--into", path("runs").to_str().unwrap()]);
    assert_eq!(ran.code, exit::READY, "{}", ran.err);
    let run = ran.json()[0]["run"].as_str().unwrap().to_owned();
    let (new, process) = (path("new.yaml"), "processes/powder-full-colour.yaml");
    let calibrate = |read: &[&str]| {
        let fixed = ["calibrate", &run, "--process", process, "--into", new.to_str().unwrap()];
        in_jobs(&[&fixed, read].concat())
    };

    // What makes no sense writes nothing and says what there is.
    let wrong = calibrate(&["--smallest-patch", "12"]);
    assert_eq!(wrong.code, exit::WRONG_JOB);
    assert!(wrong.err.contains("the coupon has no patch 12") && wrong.err.contains("row C has 1 ("), "{}", wrong.err);
    assert_eq!(calibrate(&["--smallest-patch", "three"]).code, exit::WRONG_JOB);
    assert!(!new.exists());

    let right = calibrate(&["--smallest-patch", "5", "--first-sliding", "3"]);
    assert_eq!(right.code, exit::READY, "{}", right.err);
    assert!(right.out.contains("bleed") && right.out.contains("clearance"), "{}", right.out);
    let text = fs::read_to_string(&new).unwrap();
    assert!(text.contains("read off coupon of run") && text.contains("# bending strength, MPa"), "{text}");

    // The same again would write over it.
    assert_eq!(calibrate(&["--smallest-patch", "5"]).code, exit::WRONG_JOB);
    assert_eq!(calibrate(&["--smallest-patch", "5", "--replace"]).code, exit::READY);
}
