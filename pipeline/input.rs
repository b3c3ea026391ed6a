//! Reading input files: bounded, and with a remedy when it fails.

use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use crate::diagnostic::nearest;

/// Why a file could not be read, and what to do where that is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Trouble {
    pub(crate) message: String,
    pub(crate) remedy: String,
    /// There is no such file.
    pub(crate) missing: bool,
}

/// Reads a file of at most `largest` bytes. Waits for no pipe and no device: only files are read.
pub(crate) fn read(path: &Path, largest: u64) -> Result<Vec<u8>, Trouble> {
    let shown = path.display();
    let trouble = |message: String, remedy: &str| Trouble { message, remedy: remedy.to_owned(), missing: false };
    let failed = |error: io::Error| {
        let missing = error.kind() == io::ErrorKind::NotFound;
        let meant = neighbour(path).filter(|_| missing);
        let remedy = match meant {
            Some(name) => format!("there is a file `{name}` beside it: is that meant?"),
            // Where a name that leads nowhere is looked for is known to the caller alone.
            None if missing => String::new(),
            None => "see that the name leads to a file, and that you may read it".to_owned(),
        };
        Trouble { message: format!("could not read {shown}: {error}"), remedy, missing }
    };

    let about = fs::metadata(path).map_err(failed)?;
    if !about.is_file() {
        return Err(trouble(format!("could not read {shown}: it is not a file"), "name a file"));
    }
    let too_large = |size: u64| {
        let message = format!("could not read {shown}: {size} bytes are over the limit of {largest} for such a file");
        trouble(message, "use a smaller file")
    };
    if about.len() > largest {
        return Err(too_large(about.len()));
    }
    let mut bytes = Vec::new();
    File::open(path).and_then(|file| file.take(largest + 1).read_to_end(&mut bytes)).map_err(failed)?;
    if bytes.len() as u64 > largest { Err(too_large(bytes.len() as u64)) } else { Ok(bytes) }
}

/// A file in the same folder, of the same kind, with nearly the same name.
fn neighbour(path: &Path) -> Option<String> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let entries = fs::read_dir(folder).ok()?.take(1000).filter_map(|entry| entry.ok().map(|entry| entry.path()));
    let mut alike: Vec<PathBuf> = entries.filter(|other| other.extension() == path.extension()).collect();
    alike.sort();
    let stems = alike.iter().filter_map(|other| other.file_stem()?.to_str());
    let stem = nearest(path.file_stem()?.to_str()?, stems)?;
    let meant = alike.iter().find(|other| other.file_stem().is_some_and(|other| other == stem))?;
    Some(meant.file_name()?.to_str()?.to_owned())
}
