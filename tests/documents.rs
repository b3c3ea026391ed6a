//! The documents name files and functions; they must exist.

#![allow(clippy::unwrap_used)]

use std::fs;
use std::path::Path;

/// The texts between backticks, outside of blocks of code.
fn quoted(document: &str) -> Vec<String> {
    let text = fs::read_to_string(document).unwrap();
    let prose: String = text.split("```").step_by(2).collect();
    prose.split('`').skip(1).step_by(2).map(str::to_owned).collect()
}

/// What names a file of the project, and a function in it: `pipeline/run.rs::run`.
fn named(quoted: &str) -> Option<(&str, Option<&str>)> {
    const FLOORS: [&str; 5] = ["pipeline/", "stages/", "reports/", "jobs/", "tests/"];
    let whole_path = |path: &str| {
        Path::new(path).extension().is_some() && path.chars().all(|c| c.is_alphanumeric() || "/._-".contains(c))
    };
    let (path, function) = quoted.split_once("::").map_or((quoted, None), |(path, function)| (path, Some(function)));
    (FLOORS.iter().any(|floor| path.starts_with(floor)) && whole_path(path)).then_some((path, function))
}

#[test]
fn files_and_functions_that_the_documents_name_exist() {
    for (document, least) in [("README.md", 2), ("DEVELOPERS.md", 60), ("reports/LOOK.md", 0)] {
        let quoted = quoted(document);
        let found: Vec<_> = quoted.iter().filter_map(|text| named(text)).collect();
        assert!(found.len() >= least, "{document} names {} files", found.len());
        for (path, function) in found {
            let source = fs::read_to_string(path).unwrap_or_else(|error| panic!("{document}: {path}: {error}"));
            if let Some(function) = function {
                let defined =
                    source.contains(&format!("fn {function}(")) || source.contains(&format!("fn {function}<"));
                assert!(defined, "{document}: there is no `{function}` in {path}");
            }
        }
    }
}

/// The job that the README explains is the demo's, so that it runs.
#[test]
fn the_job_in_the_readme_is_the_demo() {
    let readme = fs::read_to_string("README.md").unwrap();
    let block = readme.split("```yaml\n").nth(1).unwrap().split("```").next().unwrap();
    let stages = turnhue_stages::shipped();
    let explained = turnhue::plan::plan_bytes("README.md", block.into(), Path::new("jobs"), &stages).unwrap();
    let demo = turnhue::plan::plan(Path::new("jobs/harbour-whelk.yaml"), &stages).unwrap();
    assert_eq!(explained.resolved(), demo.resolved());
}
