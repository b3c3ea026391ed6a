//! Job files by pattern: a shell usually makes names of `jobs/*.yaml`, but not every shell, and not within quotes.

use std::path::{Path, PathBuf};

use glob::MatchOptions;

/// The files that these arguments name: a pattern that names no file itself stands for those that match it, sorted. One
/// that matches none stays, so that it is missed where it is read.
#[must_use]
pub fn named(arguments: &[PathBuf]) -> Vec<PathBuf> {
    arguments.iter().flat_map(|argument| matching(argument).unwrap_or_else(|| vec![argument.clone()])).collect()
}

/// Whether a name that leads nowhere was meant as a pattern.
pub(super) fn is_pattern(name: &str) -> bool {
    name.contains(['*', '?', '['])
}

fn matching(argument: &Path) -> Option<Vec<PathBuf>> {
    let pattern = argument.to_str().filter(|name| is_pattern(name) && !argument.exists())?;
    // As a shell has it: `*` neither crosses folders nor finds what is hidden.
    let options =
        MatchOptions { case_sensitive: true, require_literal_separator: true, require_literal_leading_dot: true };
    let found = glob::glob_with(pattern, options).ok()?;
    let mut files: Vec<PathBuf> = found.filter_map(Result::ok).filter(|path| path.is_file()).collect();
    files.sort();
    (!files.is_empty()).then_some(files)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use std::fs;

    use super::*;

    #[test]
    fn patterns_stand_for_files_in_order() {
        let folder = tempfile::tempdir().unwrap();
        for name in ["b.yaml", "a.yaml", "a[1].yaml", ".c.yaml", "note.txt"] {
            fs::write(folder.path().join(name), "").unwrap();
        }
        fs::create_dir(folder.path().join("folder.yaml")).unwrap();
        let found = |names: &[&str]| -> Vec<String> {
            let arguments: Vec<_> = names.iter().map(|name| folder.path().join(name)).collect();
            let files = named(&arguments);
            files.iter().map(|path| path.file_name().unwrap().to_string_lossy().into_owned()).collect()
        };
        assert_eq!(found(&["*.yaml"]), ["a.yaml", "a[1].yaml", "b.yaml"]);
        assert_eq!(found(&["?.yaml", "note.txt"]), ["a.yaml", "b.yaml", "note.txt"]);
        assert_eq!(found(&["[b-z].yaml"]), ["b.yaml"]);
        // A file of that very name is meant itself.
        assert_eq!(found(&["a[1].yaml"]), ["a[1].yaml"]);
        // What matches nothing, or is no pattern, stays.
        assert_eq!(found(&["*.yml", "***", "gone.yaml"]), ["*.yml", "***", "gone.yaml"]);
    }
}
