#![allow(clippy::unwrap_used)]

use std::fs;

use turnhue_reports::record::{File as RecordFile, Tool, Verdict};
use turnhue_stages::conformance;

use super::*;

const OLD: &str = "\
# An invented process. Put your bureau's own figures here.
name: Full-colour powder (demo)
family: binder-jetting
build_volume: { value: [250 mm, 380 mm, 200 mm], basis: invented for the demo }
layer: { value: 0.1 mm, basis: common practice }
minimum_wall: { value: 2 mm, basis: common practice }
detail: { value: 0.6 mm, basis: invented for the demo }
gap: { value: 1.5 mm, basis: invented for the demo }
opening: { value: 8 mm, basis: common practice }
bleed: { value: 0.3 mm, basis: invented for the demo }
edge_radius: { value: 0.2 mm, basis: invented for the demo }
tolerance: { value: 0.3 mm, basis: common practice }
density: { value: 1.5, basis: invented for the demo }   # g/cm³
strength: { value: 12, basis: invented for the demo }   # bending strength, MPa
most_triangles: { value: 1000000, basis: invented for the demo }
most_bytes: { value: 64000000, basis: invented for the demo }
";
/// 2027-03-01T09:30:00Z, by GNU date.
const NOW: Moment = Moment(1_803_893_400);
const RUN: &str = "20270220-101500-0a1b2c3d";

fn ladders() -> Ladders {
    Ladders {
        cells: vec![3.2, 2.4, 1.7, 1.3, 0.94, 0.69],
        lines: vec![1.8, 1.3, 0.95, 0.7, 0.5],
        gaps: vec![0.1, 0.2, 0.3, 0.4],
        walls: vec![3.0, 2.5, 2.0, 1.7],
    }
}

fn record(stage: &str) -> Record {
    let artefact = |name: &str, blake3: &str| RecordFile {
        name: name.to_owned(),
        what: String::new(),
        bytes: 3,
        blake3: blake3.to_owned(),
    };
    let mut process = conformance::process();
    process.name = "Full-colour powder (demo)".to_owned();
    Record {
        form: record::FORM,
        commission: "C-1".to_owned(),
        run: RUN.to_owned(),
        title: "Whelk".to_owned(),
        verdict: Verdict::NotValidated,
        order: None,
        orders: Vec::new(),
        tool: Tool { name: "turnhue".to_owned(), version: "0.1.0".to_owned() },
        variant: None,
        started: None,
        seconds: None,
        job: None,
        resolved: serde_json::Value::Null,
        process,
        inputs: vec![],
        advice: None,
        package: None,
        stages: vec![StageRecord {
            name: stage.to_owned(),
            version: 1,
            settings: serde_json::Value::Null,
            needs: vec![],
            gives: vec![],
            seconds: None,
            key: None,
            facts: ladders().facts(),
            findings: vec![],
            artefacts: vec![artefact("coupon.3mf", "0123456789abcdef0123456789abcdef")],
        }],
    }
}

/// A folder with a run, a process file, and a request of the first patches and lines.
struct Bench(tempfile::TempDir);

impl Bench {
    fn new(process: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("old.yaml"), process).unwrap();
        record::write(&record("coupon"), fs::File::create(folder.path().join(RECORD)).unwrap()).unwrap();
        Self(folder)
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn request(&self, read: [&str; 4]) -> Request {
        let choice = |text: &str| (!text.is_empty()).then(|| text.parse().unwrap());
        let [patch, line, slot, fin] = read.map(choice);
        Request {
            run: self.0.path().to_owned(),
            process: self.path("old.yaml"),
            read: [(Row::Cells, patch), (Row::Lines, line), (Row::Fits, slot), (Row::Thicknesses, fin)],
            into: self.path("new.yaml"),
            replace: false,
        }
    }

    fn calibrate(&self, read: [&str; 4]) -> Result<String, String> {
        match calibrate(&self.request(read), NOW) {
            Ok(written) => Ok(fs::read_to_string(written.path).unwrap()),
            Err(Refusal::Wrong(faults)) => Err(faults.iter().map(|f| f.render(false)).collect()),
            Err(Refusal::Disk(fault)) => Err(format!("disk: {}", fault.render(false))),
        }
    }
}

/// The file without what is in the lines of these fields.
fn without<'a>(text: &'a str, fields: &[&str]) -> Vec<&'a str> {
    text.lines().filter(|line| !fields.iter().any(|field| line.starts_with(field))).collect()
}

fn process_in(text: &str) -> Process {
    serde_json::from_value(Text::parse("new.yaml", text.as_bytes().to_vec()).unwrap().value().clone()).unwrap()
}

#[test]
fn figures_change_and_nothing_else_does() {
    let new = Bench::new(OLD).calibrate(["4", "3", "0.3 mm", "2"]).unwrap();
    let fields = ["bleed", "clearance", "minimum_wall"];
    assert_eq!(without(&new, &fields), without(OLD, &fields));
    let process = process_in(&new);
    let clearance = process.clearance.unwrap();
    assert_eq!((clearance.value, clearance.range.unwrap()[0]), (Length::from_mm(0.3), Length::from_mm(0.2)));
    assert_eq!(process.minimum_wall.value, Length::from_mm(2.5));
    // Patch 4 reads and 5 does not: σ between 0.94 and 1.3 mm over 2.7; line 3 and not 4: between 0.7 and 0.95 over 1.47.
    let [low, high] = process.bleed.range.unwrap().map(Length::mm);
    assert!((low - (0.94 / reading::reading_cell()).max(0.7 / reading::reading_line())).abs() < 1e-3, "{low}");
    assert!((high - (1.3 / reading::reading_cell()).min(0.95 / reading::reading_line())).abs() < 1e-3, "{high}");
    assert_eq!(
        process.bleed.basis,
        "read off coupon of run 20270220-101500-0a1b2c3d (digest 0123456789abcdef) on 2027-03-01: patch 4 (1.3 mm), line 3 \
         (0.95 mm)"
    );
}

#[test]
fn every_way_to_write_a_process_file_is_kept() {
    // Blocks with comments, ranges that are there, texts over several lines; another end of lines; and JSON.
    let blocks = OLD
        .replace(
            "bleed: { value: 0.3 mm, basis: invented for the demo }",
            "bleed:   # { look here }\n  value: 300 um # measured?\n  range: [0.1 mm,\n    0.5 mm]\n  basis: >\n    of\n    old\n  # end",
        )
        .replace("minimum_wall: {", "# walls\nminimum_wall:\n  {")
        .replace("tolerance: {", "clearance:\n  basis: 'it''s guessed'\n  value: 1\ntolerance: {");
    let comments =
        ["# { look here }", "# measured?", "# end", "# walls", "# g/cm³", "Put your bureau's own figures here"];
    let json = serde_json::to_string_pretty(&process_in(OLD)).unwrap();
    for (name, old) in [("blocks", blocks.clone()), ("crlf", blocks.replace('\n', "\r\n")), ("json", json)] {
        let new = Bench::new(&old).calibrate(["5", "", "2", "3"]).unwrap_or_else(|said| panic!("{name}: {said}"));
        let [before, after] = [process_in(&old), process_in(&new)];
        assert_eq!(after.clearance.unwrap().value, Length::from_mm(0.2), "{name}");
        assert!(after.bleed.basis.contains("patch 5 (0.94 mm)"), "{name}");
        assert_eq!((before.layer, before.strength), (after.layer, after.strength), "{name}");
        for comment in comments.iter().filter(|comment| old.contains(**comment)) {
            assert!(new.contains(comment), "{name}: {comment} is lost in\n{new}");
        }
        assert_eq!(old.contains("\r\n"), new.contains("\r\n"));
        // A second reading of the new file is as good.
        assert!(Bench::new(&new).calibrate(["2", "", "", "1"]).is_ok(), "{name}");
    }
}

#[test]
fn a_file_that_is_there_is_not_written_over() {
    let bench = Bench::new(OLD);
    fs::write(bench.path("new.yaml"), "mine").unwrap();
    let said = bench.calibrate(["1", "", "", ""]).unwrap_err();
    assert!(said.contains("is there already") && said.contains("--replace"), "{said}");
    assert_eq!(fs::read_to_string(bench.path("new.yaml")).unwrap(), "mine");
    let request = Request { replace: true, ..bench.request(["1", "", "", ""]) };
    assert!(calibrate(&request, NOW).is_ok());
    assert!(fs::read_to_string(bench.path("new.yaml")).unwrap().contains("read off coupon"));
    // Nothing else is left in the folder.
    assert_eq!(fs::read_dir(bench.0.path()).unwrap().count(), 3);
}

#[test]
fn nonsense_is_refused_with_what_to_do() {
    let bench = Bench::new(OLD);
    for (read, expected) in [
        (["", "", "", ""], "nothing was read off"),
        (["9", "", "", ""], "--smallest-patch: the coupon has no patch 9"),
        (["0.95 mm", "", "", ""], "row C has 1 (3.2 mm), 2 (2.4 mm)"),
        (["1", "5", "", ""], "contradict each other"),
        (["", "", "5", "7"], "--first-sliding: the coupon has no slot 5"),
    ] {
        let said = bench.calibrate(read).unwrap_err();
        assert!(said.contains(expected), "{said}");
        assert!(!bench.path("new.yaml").exists());
    }
    for text in ["0", "-3", "none", "three", "1 kg", "-1 mm", "nan", "inf"] {
        assert!(text.parse::<Choice>().is_err(), "{text}");
    }
    assert_eq!(".9mm".parse(), Ok(Choice::Size(Length::from_mm(0.9))));
}

#[test]
fn what_cannot_be_read_is_told() {
    let bench = Bench::new("name: x\n");
    let said = bench.calibrate(["1", "", "", ""]).unwrap_err();
    assert!(said.contains("old.yaml:1:1") && said.contains("missing field"), "{said}");

    let bench = Bench::new(OLD);
    record::write(&record("colour"), fs::File::create(bench.path(RECORD)).unwrap()).unwrap();
    let said = bench.calibrate(["1", "", "", ""]).unwrap_err();
    assert!(said.contains("made no coupon: its chain is colour"), "{said}");
    let mut damaged = record("coupon");
    damaged.stages[0].facts.remove(0);
    record::write(&damaged, fs::File::create(bench.path(RECORD)).unwrap()).unwrap();
    let said = bench.calibrate(["1", "", "", ""]).unwrap_err();
    assert!(said.contains("it has no fact `coupon patches`"), "{said}");
    fs::remove_file(bench.path(RECORD)).unwrap();
    assert!(bench.calibrate(["1", "", "", ""]).unwrap_err().contains("could not read the record"));

    let bench = Bench::new(OLD);
    let request = Request { into: bench.path("no such folder/new.yaml"), ..bench.request(["1", "", "", ""]) };
    assert!(matches!(calibrate(&request, NOW), Err(Refusal::Disk(_))));
}

#[test]
fn another_process_and_open_ends_are_cautions() {
    let bench = Bench::new(&OLD.replace("Full-colour powder (demo)", "Another"));
    let written = calibrate(&bench.request(["6", "", "1", ""]), NOW).unwrap();
    let said: String = written.cautions.iter().map(|caution| caution.render(false)).collect();
    for expected in ["made for the process 'Full-colour powder (demo)'", "every patch or line held", "narrowest slot"] {
        assert!(said.contains(expected), "{said}");
    }
    assert!(written.to_string().contains("clearance     new: 0.1 mm (0 mm to 0.1 mm)"), "{written}");
}
