//! Draws the page of a night from the runs that lie in a commission's folder, for the checks in a browser and for measuring:
//! `night COMMISSION-FOLDER [VARIANTS]`. With a number, the runs are repeated with settings and figures that are invented until
//! there are so many.
//! Writes `nights/trial/` there, and says where the page is.

#![allow(clippy::print_stdout)]

use std::error::Error;
use std::path::Path;
use std::{env, fs};

use turnhue_reports::night::{self, Made, Night, Outcome, Row, Rule};
use turnhue_reports::record::{self, Record, Verdict};
use turnhue_stages::findings::Value;

/// What the runs are compared in, where no job says what its variants change.
const CHANGES: [&str; 4] = ["voxelise.cell", "hollow.wall", "scale.height", "colour.front"];

/// A run as a variant.
fn row(run: &str, record: &Record) -> Row {
    let setting = |path: &&str| {
        let (stage, name) = path.split_once('.')?;
        let value = record.stages.iter().find(|known| known.name == stage)?.settings.get(name)?;
        Some(((*path).to_owned(), value.as_str().map_or_else(|| value.to_string(), str::to_owned)))
    };
    let changes: Vec<_> = CHANGES.iter().filter_map(setting).collect();
    let name = changes.iter().map(|(_, value)| value.replace(' ', "")).collect::<Vec<_>>().join("-");
    Row { name, changes, run: run.to_owned(), outcome: Outcome::Made(Box::new(Made::of(record))) }
}

/// The same run as if it had been made with other settings: larger cells are cheaper, easier to read and less like the model,
/// large pieces dearer and easier to read, thick walls heavier, and none is quite as one would expect. All of it is invented.
fn invented(record: &Record, number: usize) -> Record {
    let mut record = record.clone();
    // The digits of a number in steps that have no common factor, as low-discrepancy sequences have it.
    let along = |step: f64| (number as f64 * step).fract();
    let cells = [2.0, 2.5, 3.0, 3.5, 4.0, 5.0];
    let cell = cells[number % 6];
    let wall = 2.0 + 0.5 * (number / 6 % 4) as f64;
    let height = 120.0 + (along(0.754_877_666) * 120.0).floor();
    let front = ["#588157", "#bc4749", "#386fa4"][number / 24 % 3];
    let size = (height / 180.0).powi(2);
    let spread = |step: f64, wide: f64| wide * (along(step) - 0.5);
    let legibility = (28.0 + 6.0 * cell + 0.2 * (height - 120.0) + spread(0.569_840_291, 14.0)).clamp(5.0, 99.5);
    let price = 40.0 + size * (150.0 + 40.0 * wall - 12.0 * cell) + spread(0.618_033_989, 40.0);
    for stage in &mut record.stages {
        if let Some(settings) = stage.settings.as_object_mut() {
            for (path, value) in CHANGES.iter().zip([
                format!("{cell} mm"),
                format!("{wall} mm"),
                format!("{height} mm"),
                front.to_owned(),
            ]) {
                if let Some(name) = path.strip_prefix(&format!("{}.", stage.name)) {
                    settings.insert(name.to_owned(), value.into());
                }
            }
        }
        for fact in &mut stage.facts {
            let number = match fact.name.as_str() {
                "legibility" => legibility,
                "separation kept" => (70.0 + 4.0 * cell + spread(0.430_159_709, 10.0)).min(99.0),
                "volume overlap" => 99.0 - 2.6 * cell + spread(0.414_213_562, 4.0),
                "weight" => size * (170.0 + 108.0 * wall) + spread(0.732_050_808, 20.0),
                "thinnest wall" | "thinnest part" => wall,
                "cell" => cell,
                "price" => {
                    let amount = format!("{price:.2}");
                    fact.value = Value::Money { amount, currency: "EUR".to_owned() };
                    continue;
                }
                _ => continue,
            };
            fact.value = Value::Number(number);
        }
    }
    record
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = env::args().skip(1);
    let folder = arguments.next().ok_or("name the folder of a commission")?;
    let folder = Path::new(&folder);
    let wanted: usize = arguments.next().map_or(Ok(0), |count| count.parse())?;

    let mut names = Vec::new();
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        if entry.path().join("run.json").is_file() {
            names.push(entry.file_name().to_string_lossy().into_owned());
        }
    }
    names.sort();
    let mut title = String::new();
    let mut records = Vec::new();
    for run in &names {
        let record = record::read(&folder.join(run).join("run.json"))?;
        title.clone_from(&record.title);
        records.push((run, record));
    }
    let is_ready = |at: &usize| records[*at].1.verdict == Verdict::ReadyToOrder;
    let ready: Vec<usize> = (0..records.len()).filter(is_ready).collect();
    let mut rows: Vec<Row> = records.iter().map(|(run, record)| row(run, record)).collect();
    for copy in rows.len()..wanted {
        // One in nine is taken from any run, the others from those that are ready to order.
        let from = if copy % 9 == 0 || ready.is_empty() { copy / 9 % records.len() } else { ready[copy % ready.len()] };
        let (run, record) = &records[from];
        let mut row = row(run, &invented(record, copy));
        row.name = format!("{}-{copy}", row.name);
        rows.push(row);
    }
    let (failed, waiting) =
        ("no place on the bottom is wide enough for an opening of 90 mm", "the run was stopped before");
    for (name, outcome) in [
        ("3mm-wide-opening", Outcome::Failed { why: failed.to_owned(), remedy: "take a smaller `width`".to_owned() }),
        ("4mm-late", Outcome::NotRun { why: waiting.to_owned(), remedy: "run the job again: it goes on".to_owned() }),
    ] {
        rows.push(Row { name: name.to_owned(), changes: Vec::new(), run: String::new(), outcome });
    }
    let rules: Vec<Rule> = serde_json::from_str(
        r#"[
            { "lowest": "price", "where": { "legibility": "at least 95 %", "likeness": "at least 85 %" } },
            { "lowest": "price", "where": { "legibility": "at least 60 %", "weight": "at most 500 g" } }
        ]"#,
    )?;
    let commission = folder.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let drawn = night::draw(&Night { title, commission, job: "trial".to_owned(), rows, rules }, &|run, name| {
        fs::read(folder.join(run).join(name)).ok()
    })?;
    let into = folder.join("nights/trial");
    fs::create_dir_all(&into)?;
    for (name, text) in [(night::PAGE, &drawn.page), (night::TABLE, &drawn.table), (night::DATA, &drawn.data)] {
        fs::write(into.join(name), text)?;
    }
    println!("{}", into.join(night::PAGE).display());
    Ok(())
}
