//! Draws the page of a night from the runs that lie in a commission's folder, for the checks in a browser and for measuring:
//! `night COMMISSION-FOLDER [VARIANTS]`. With a number, the runs are repeated under other names until there are so many.
//! Writes `nights/trial/` there, and says where the page is.

#![allow(clippy::print_stdout)]

use std::error::Error;
use std::path::Path;
use std::{env, fs};

use turnhue_reports::night::{self, Made, Night, Outcome, Row, Rule};
use turnhue_reports::record;

/// What the runs are compared in, where no job says what its variants change.
const CHANGES: [&str; 4] = ["voxelise.cell", "hollow.wall", "scale.height", "colour.front"];

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
    let mut rows = Vec::new();
    for run in &names {
        let record = record::read(&folder.join(run).join("run.json"))?;
        title.clone_from(&record.title);
        let setting = |path: &str| {
            let (stage, name) = path.split_once('.')?;
            let value = record.stages.iter().find(|known| known.name == stage)?.settings.get(name)?;
            Some((path.to_owned(), value.as_str().map_or_else(|| value.to_string(), str::to_owned)))
        };
        let changes: Vec<_> = CHANGES.iter().filter_map(|path| setting(path)).collect();
        let name = changes.iter().map(|(_, value)| value.replace(' ', "")).collect::<Vec<_>>().join("-");
        rows.push(Row { name, changes, run: run.clone(), outcome: Outcome::Made(Box::new(Made::of(&record))) });
    }
    let real = rows.len();
    for copy in real..wanted {
        let mut row = rows[copy % real].clone();
        row.name = format!("{}-{}", row.name, copy / real);
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
