//! Jobs with mistakes: each is shown where it is, with what to do, and nothing is written.
#![allow(clippy::unwrap_used, missing_docs)]

#[path = "own-stages/stages.rs"]
mod stages;
#[path = "own-stages/workshop.rs"]
mod workshop;

use std::path::Path;
use std::time::Duration;

use proptest::prelude::*;
use turnhue::clock::{Clock, SystemClock};
use turnhue::diagnostic::Diagnostic;
use turnhue::plan::{plan, plan_bytes};
use workshop::{HEAD, Workshop};

/// The faults of a job file, each as "line:column message / what to do".
fn faults_of(shop: &Workshop, job: impl AsRef<[u8]>) -> Vec<String> {
    let path = shop.put("job.yaml", job);
    let before = shop.content();
    let faults = plan(&path, &stages::all()).err().unwrap_or_default();
    assert_eq!(shop.content(), before, "planning wrote something");
    faults.iter().map(in_short).collect()
}

fn in_short(fault: &Diagnostic) -> String {
    let shown = fault.render(false);
    let place = fault.place().map_or(String::new(), |place| {
        assert!(shown.contains(place.text().lines().next().unwrap_or_default()), "the line is not shown: {shown}");
        let (line, column) = place.line_and_column();
        format!("{line}:{column} ")
    });
    format!("{place}{} / {}", fault.message(), fault.what_to_do())
}

/// The only fault of a job with these stages.
fn fault_of(stages: &str) -> String {
    let shop = Workshop::new();
    let stages: String = stages.lines().map(|line| format!("  - {line}\n")).collect();
    let faults = faults_of(&shop, format!("{HEAD}{stages}"));
    assert_eq!(faults.len(), 1, "{faults:#?}");
    faults[0].clone()
}

fn shows(fault: &str, parts: &[&str]) {
    for part in parts {
        assert!(fault.contains(part), "'{part}' is not in: {fault}");
    }
}

#[test]
fn the_job_that_the_others_spoil_is_in_order() {
    let shop = Workshop::new();
    let path = shop.job("blocks\nbore: { wall: 2 mm, mouths: [{ side: top, width: 1 cm }] }\nprice: { rates: rates.yaml }\npack\nvalidate");
    assert!(plan(&path, &stages::all()).is_ok());
}

#[test]
fn two_mistakes_show_two_places() {
    let faults = faults_of(&Workshop::new(), format!("{HEAD}  - blokcs\n  - bore: {{ wall: thick }}\n"));
    assert_eq!(faults.len(), 2, "{faults:#?}");
    shows(&faults[0], &["6:5", "no stage `blokcs`", "is `blocks` meant?"]);
    shows(&faults[1], &["7:19", "'thick' is not a length", "turnhue stages bore"]);
}

#[test]
fn mistakes_in_every_part_show_together() {
    let job = "\
commission: a/b
titel: Whelk
model: { file: none.stl, units: furlong, upp: +z }
process: none.yaml
stages:
  - bore: { wal: 2 parsec, mouths: [{ side: botom, width: 2 cm }] }
  - price: { rates: rate.yaml }
  - pack
  - pack
variants: {}
";
    let faults = faults_of(&Workshop::new(), job);
    let places: Vec<&str> = faults.iter().map(|fault| fault.split(' ').next().unwrap()).collect();
    // The missing title; commission, misspelt title, unit, `upp`, process, `wal`, `botom`, rates, `pack` twice, variants.
    assert_eq!(
        places,
        ["1:1", "1:13", "2:1", "3:33", "3:42", "4:10", "6:13", "6:45", "7:21", "9:5", "10:1"],
        "{faults:#?}"
    );
    shows(&faults[2], &["`titel`", "is `title` meant?"]);
    shows(&faults[4], &["`upp`", "is `up` meant?"]);
    shows(&faults[6], &["`wal`", "is `wall` meant?"]);
    shows(&faults[7], &["botom", "is `bottom` meant?"]);
    shows(&faults[8], &["rate.yaml", "`rates.yaml`"]);
    shows(&faults[9], &["`pack` comes twice"]);
    shows(&faults[10], &["nothing is listed here", "voxelise.cell: [2 mm, 3 mm]"]);
}

#[test]
fn an_unknown_stage_or_setting_shows_the_nearest_name() {
    shows(&fault_of("blocsk"), &["6:5", "no stage `blocsk`", "is `blocks` meant?"]);
    shows(&fault_of("paint"), &["6:5", "the stages are `stretch`, `blocks`"]);
    shows(&fault_of("blocks: { siez: 3 mm }"), &["6:15", "`siez` is not known", "is `size` meant?"]);
    shows(&fault_of("blocks: { colour: red }"), &["6:15", "known here: `size`"]);
    shows(&fault_of("pack: { size: 3 mm }"), &["6:13", "nothing can be set here"]);
}

#[test]
fn a_choice_of_settings_takes_one() {
    shows(&fault_of("stretch: { heigth: 1 mm }"), &["6:16", "`heigth` is not known here", "is `height` meant?"]);
    shows(&fault_of("stretch: { height: tall }"), &["6:24", "'tall' is not a length"]);
    for settings in ["", ": { height: 1, factor: 2 }"] {
        let fault = fault_of(&format!("stretch{settings}"));
        shows(&fault, &["6:5", "exactly one setting must be given", "turnhue stages stretch"]);
    }
}

#[test]
fn a_missing_setting_shows_at_its_stage() {
    shows(&fault_of("blocks\nbore: { mouths: [] }"), &["7:5", "missing field `wall`", "turnhue stages bore"]);
    shows(&fault_of("blocks\nbore"), &["7:5", "missing field `wall`"]);
    let fault = fault_of("blocks\nbore: { wall: 2, mouths: [{ side: top }] }");
    shows(&fault, &["7:33", "missing field `width`"]);
}

#[test]
fn a_wrong_order_shows_what_makes_the_part() {
    let fault = fault_of("pack\nblocks");
    shows(&fault, &["6:5", "`pack` needs cells, which no stage before it makes", "put `blocks` before `pack`"]);
    let fault = fault_of("bore: { wall: 2 }");
    shows(&fault, &["6:5", "`bore` needs cells", "`blocks` makes cells: put it before `bore`"]);
    // The lack of cells is said once, and what could not be read is given the benefit of the doubt.
    shows(&fault_of("bore: { wall: 2 }\npack"), &["6:5"]);
    shows(&fault_of("blokcs\npack"), &["6:5", "no stage"]);
}

#[test]
fn a_length_without_sense_shows_what_to_write() {
    shows(&fault_of("blocks: { size: 3 parsec }"), &["6:21", "'3 parsec' is not a length", "mm, cm, m, in, ft or um"]);
    shows(&fault_of("blocks: { size: [3] }"), &["expected a length such as 3 mm"]);
    shows(&fault_of("blocks: { size: -3 mm }"), &["6:21", "has no size", "more than 0 mm"]);
    shows(&fault_of("blocks: 3 mm"), &["6:13", "must be a map"]);
}

#[test]
fn a_stage_is_a_name_or_one_name_with_settings() {
    shows(&fault_of("[blocks]"), &["6:5", "not a stage"]);
    shows(&fault_of("{ blocks: {}, pack: {} }"), &["`blocks` and `pack` stand in one entry", "a dash of its own"]);
    let shop = Workshop::new();
    let empty = faults_of(&shop, format!("{}stages: []\n", HEAD.replace("stages:\n", "")));
    shows(&empty[0], &["5:1", "the chain has no stage"]);
    let word = faults_of(&shop, format!("{}stages: blocks\n", HEAD.replace("stages:\n", "")));
    shows(&word[0], &["5:9", "expected a sequence"]);
    assert!(plan(&shop.put("job.yaml", format!("{HEAD}  - blocks:\n")), &stages::all()).is_ok());
}

#[test]
fn commissions_that_lead_elsewhere_are_refused() {
    for name in ["../x", "a/b", "..", "/tmp", ".hidden", "'a\\b'", "CON", "2027"] {
        let faults = faults_of(&Workshop::new(), format!("{}  - blocks\n", HEAD.replace("C-1", name)));
        assert_eq!(faults.len(), 1, "{name}: {faults:#?}");
        shows(&faults[0], &["1:13"]);
    }
}

#[test]
fn models_that_are_none_are_refused() {
    let shop = Workshop::new();
    let fault = |name: &str, bytes: Option<Vec<u8>>| {
        if let Some(bytes) = bytes {
            shop.put(name, bytes);
        }
        let job = format!("{}  - blocks\n", HEAD.replace("model.stl", name));
        let faults = faults_of(&shop, job);
        assert_eq!(faults.len(), 1, "{name}: {faults:#?}");
        shows(&faults[0], &["3:16"]);
        faults[0].clone()
    };
    shows(&fault("modle.stl", None), &["modle.stl: No such file", "`model.stl` beside it"]);
    shows(&fault("model.obj", None), &["model.obj: No such file"]);
    shows(&fault("letter.txt", Some(b"Dear Sir".to_vec())), &["begins with 'Dear'", "STL, PLY, OBJ, 3MF and glTF"]);
    shows(&fault("empty.stl", Some(Vec::new())), &["could not read the model"]);
    let whole = workshop::tetrahedron(10.0);
    shows(&fault("cut.stl", Some(whole[..200].to_vec())), &["could not read the model"]);
    let mut promising = whole.clone();
    promising[80..84].copy_from_slice(&4_000_000_000_u32.to_le_bytes());
    shows(&fault("promising.stl", Some(promising)), &["could not read the model"]);
    let mut endless = whole.clone();
    endless[96..100].copy_from_slice(&f32::NAN.to_le_bytes());
    shows(&fault("nan.stl", Some(endless)), &["could not read the model"]);
    shows(&fault("none.stl", Some(vec![0; 84])), &["could not read the model"]);
    shows(&fault("point.stl", Some(workshop::tetrahedron(0.0))), &["is flat: its width (x)"]);
    std::fs::create_dir(shop.path("folder.stl")).unwrap();
    shows(&fault("folder.stl", None), &["not a file"]);
}

#[test]
fn how_a_model_stands_must_make_sense() {
    let shop = Workshop::new();
    let fault = |model: &str| {
        let job = format!("{}  - blocks\n", HEAD.replace("{ file: model.stl, units: mm }", model));
        faults_of(&shop, job).join("\n")
    };
    shows(&fault("{ file: model.stl }"), &["3:1", "the unit of the model is not known: an STL file", "units: mm"]);
    shows(&fault("{ file: model.stl, units: mm, up: +y }"), &["cannot face along the axis that points up", "up: +z"]);
    shows(&fault("{ file: model.stl, units: mm, up: z }"), &["3:42", "`z` is not known here", "`+z`"]);
    shows(&fault("model.stl"), &["3:8", "expected a map such as"]);
}

#[test]
fn a_process_that_cannot_be_is_refused_where_it_stands() {
    let shop = Workshop::new();
    let process = std::fs::read_to_string(shop.path("process.yaml")).unwrap();
    let path = shop.job("blocks");
    let fault = |process: String| {
        shop.put("process.yaml", process);
        let faults = plan(&path, &stages::all()).err().unwrap();
        assert_eq!(faults.len(), 1, "{faults:#?}");
        let shown = faults[0].render(false);
        shows(&shown, &["process.yaml:", "while reading the process file named in"]);
        shown
    };
    shows(
        &fault(process.replace("layer: { value: 0.1", "layer: { value: -1")),
        &["`layer` must be above 0 mm", ":4:17"],
    );
    shows(&fault(process.replace("density", "densty")), &["`densty` is not known", "is `density` meant?"]);
    shows(&fault(process.replace("binder-jetting", "binder-jeting")), &["is `binder-jetting` meant?"]);
    shows(&fault("a: &b [*b]".to_owned()), &["anchors"]);

    let bleed = |figure: &str| fault(process.replace("bleed: { value: 0.3 mm,", &format!("bleed: {{ {figure},")));
    let place = |column: usize| {
        let line = process.lines().position(|line| line.starts_with("bleed")).unwrap() + 1;
        format!("process.yaml:{line}:{column}")
    };
    shows(&bleed("value: -0.3 mm"), &["`bleed` must not be negative, but is -0.3 mm", &place(17)]);
    shows(&bleed("value: 60 mm"), &["`bleed` must be at most 50 mm, not 60 mm", "that you have measured"]);
    shows(&bleed("value: 1e999"), &["finite"]);
    let ordered = "least first: `range: [least, most]`";
    shows(&bleed("value: 0.3 mm, range: [0.4 mm, 0.2 mm]"), &["runs from 0.4 mm down to 0.2 mm", ordered, &place(25)]);
    shows(
        &bleed("value: 0.3 mm, range: [0.4 mm, 0.5 mm]"),
        &["does not hold its value, 0.3 mm", "least ≤ value ≤ most"],
    );
    shows(&bleed("value: 0.3 mm, range: [0.4 mm]"), &["expected an array of length 2"]);
    let with = |line: &str| fault(format!("{process}{line}\n"));
    shows(&with("clearance: { value: -1 mm, basis: t }"), &["`clearance` must not be negative"]);
    shows(&with("base: { value: '#101010', basis: t }"), &["`base` #101010 has a lightness L* of 5"]);
    shows(&with("gamut: { value: [red, black], basis: t }"), &["`gamut` needs at least 4 different colours", "has 2"]);
    shows(&with("gamut: { value: [black, '#444', '#888', white], basis: t }"), &["`gamut` spans no volume"]);
    let forms = ["'rde' is not a colour", "\"#rrggbb\" or \"#rgb\" in quotes", "a CSS colour name such as teal"];
    shows(&with("gamut: { value: [red, rde], basis: t }"), &forms);
}

#[test]
fn a_profile_that_cannot_be_used_is_refused_where_it_is_named() {
    let shop = Workshop::new();
    let process = std::fs::read_to_string(shop.path("process.yaml")).unwrap();
    let line = process.lines().count() + 1;
    shop.put("process.yaml", format!("{process}profile: {{ value: printer.icc, basis: from the bureau }}\n"));
    let path = shop.job("blocks");
    let fault = |profile: Option<&[u8]>| {
        if let Some(bytes) = profile {
            shop.put("printer.icc", bytes);
        }
        let faults = plan(&path, &stages::all()).err().unwrap();
        assert_eq!(faults.len(), 1, "{faults:#?}");
        let shown = faults[0].render(false);
        shows(&shown, &[&format!("process.yaml:{line}:19"), "while reading the process file named in"]);
        shown
    };
    shows(&fault(None), &["could not read", "printer.icc", "relative to the process file's folder"]);
    let remedy = "ask the bureau for its RGB or CMYK output profile";
    shows(&fault(Some(b"no profile")), &["the profile printer.icc is no ICC profile", remedy]);
    shows(&fault(Some(&vec![0; (10 << 20) + 1])), &["over the limit of 10485760"]);
    let head = |class: &[u8; 4], promised: u32| {
        let mut bytes = vec![0; 132];
        bytes[..4].copy_from_slice(&promised.to_be_bytes());
        bytes[8] = 2;
        for (at, word) in [(12, class), (16, b"RGB "), (20, b"Lab "), (36, b"acsp")] {
            bytes[at..at + 4].copy_from_slice(word);
        }
        bytes[68..80].copy_from_slice(&[0, 0, 0xf6, 0xd6, 0, 1, 0, 0, 0, 0, 0xd3, 0x2d]);
        bytes
    };
    shows(&fault(Some(&head(b"prtr", 4000))), &["is cut off: it promises 4000 bytes, but has 132", remedy]);
    shows(&fault(Some(&head(b"mntr", 132))), &["is for a screen, not the output profile of a printer", remedy]);
    shows(&fault(Some(&head(b"prtr", 132))), &["has no table to inks", remedy]);
}

#[test]
fn files_that_settings_name_pass_the_guard_first() {
    let shop = Workshop::new();
    let path = shop.job("price: { rates: rates.yaml }");
    for (rates, part) in [("a: &b [1]\nc: [*b, *b]", "anchors"), (&"[".repeat(100_000), "nested deeper")] {
        shop.put("rates.yaml", rates);
        let faults = plan(&path, &stages::all()).err().unwrap();
        shows(&faults[0].render(false), &[part, "rates.yaml:1:", "job.yaml:6:21"]);
    }
    shop.put("rates.yaml", vec![b'#'; (1 << 20) + 1]);
    let faults = plan(&path, &stages::all()).err().unwrap();
    shows(&in_short(&faults[0]), &["6:21", "over the limit of 1048576"]);
}

#[test]
fn text_made_to_hurt_is_refused() {
    let shop = Workshop::new();
    let bomb = "a: &a [x, x]\nb: &b [*a, *a]\nc: &c [*b, *b]\n";
    shows(&faults_of(&shop, bomb)[0], &["1:4", "anchors"]);
    shows(&faults_of(&shop, "a: 1\nb: 2\na: 3\n")[0], &["3:1", "`a` comes twice"]);
    shows(&faults_of(&shop, b"title: ok\nx: \xff\xfe")[0], &["job.yaml:2: is not UTF-8 text from byte 13 on"]);
    shows(&faults_of(&shop, "a: 1\n---\nb: 2\n")[0], &["2:1", "second document"]);
    shows(&faults_of(&shop, vec![b' '; (1 << 20) + 1])[0], &["1048577 bytes are over the limit of 1048576"]);
    shows(&faults_of(&shop, "a: [1\n")[0], &["is not YAML"]);
    shows(&faults_of(&shop, "a: .inf\n")[0], &["1:4", "finite"]);
}

#[test]
fn duplicate_keys_show_both_lines() {
    let shop = Workshop::new();
    let path = shop.put("job.yaml", "title: a\ncommission: b\ntitle: c\n");
    let shown = plan(&path, &stages::all()).err().unwrap()[0].render(false);
    shows(&shown, &["title: a", "first here", "title: c", "again here"]);
}

/// Texts whose cost could grow faster than their length. The bound is loose: all pass in a hundredth of it.
#[test]
fn no_text_takes_long() {
    let mebibyte = |piece: &str| piece.repeat(((1 << 20) - 16) / piece.len());
    let nested_blocks: String = (0..1400).map(|depth| format!("{}a:\n", " ".repeat(depth))).collect();
    for text in [
        "[".repeat(100_000),
        mebibyte("["),
        mebibyte("{"),
        mebibyte("{a: "),
        mebibyte("- "),
        mebibyte("? "),
        mebibyte("[a, "),
        mebibyte("&a "),
        mebibyte("!a "),
        mebibyte("a"),
        mebibyte("\""),
        mebibyte("a: "),
        mebibyte("- a\n"),
        mebibyte("%"),
        mebibyte("#"),
        mebibyte("\n"),
        mebibyte("--- "),
        format!("[{}]", mebibyte("a,")),
        format!("stages: [{}]", mebibyte("a,")),
        format!("stages:\n{}", "- {a: 1}\n".repeat(100_000)),
        format!("? {}", mebibyte("x")),
        (0..90_000).map(|n| format!("k{n}: 1\n")).collect(),
        nested_blocks,
    ] {
        let clock = SystemClock::start();
        let name = Path::new("job.yaml");
        let _ = plan_bytes("job.yaml", text.clone().into_bytes(), name, &stages::all());
        let taken = clock.elapsed();
        assert!(taken < Duration::from_secs(10), "{text:.20}… took {taken:?}");
    }
}

proptest! {
    #[test]
    fn any_bytes_are_read_or_refused(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        for fault in turnhue::job::read("job.yaml", bytes).1 {
            prop_assert!(!fault.render(false).is_empty());
        }
    }

    /// Texts that come near to jobs get farther than bytes do.
    #[test]
    fn any_yaml_like_text_is_read_or_refused(
        pieces in proptest::collection::vec(
            prop::sample::select(vec![
                "commission", "title", "model", "stages", ": ", ":", "\n", "\n  ", "- ", "{", "}", "[", "]", ", ", "é", "\u{feff}",
                "&a", "*a", "!t", "'", "\"", "#", "|", ">", "? ", "---", "1", ".nan", "1e999", "~", "\t", "\r\n", "blocks", "%",
            ]),
            0..60,
        ),
    ) {
        let (_, faults) = turnhue::job::read("job.yaml", pieces.concat().into_bytes());
        for fault in faults {
            let shown = fault.render(false);
            prop_assert!(!shown.is_empty());
        }
    }
}
