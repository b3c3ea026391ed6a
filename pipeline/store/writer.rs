//! Who writes to a store, and whether it is still there.
//!
//! What is being made lies in a folder of the writer's own below `unfinished/`, whose name says who that is: the boot of
//! the machine and its set of processes, the process and when it began, and something random. A folder is taken away only
//! if its writer is provably gone: same boot, same set of processes, and no process with that number that began then. No
//! clock is asked, and what cannot be told is left alone.

use std::fs;
use std::io;
use std::path::Path;

use tempfile::{NamedTempFile, TempDir};

use crate::digest::Digest;

/// Who a process is, as far as another can check it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Writer {
    /// A digest of the machine's boot and of the namespace in which its processes are numbered; process numbers mean
    /// nothing elsewhere.
    home: String,
    process: u32,
    /// In ticks since the boot.
    began: u64,
}

impl Writer {
    /// This process; `None` where the system does not say who that is.
    pub(crate) fn this() -> Option<Self> {
        let process = std::process::id();
        Some(Self { home: home()?, process, began: began(process).ok()?? })
    }

    /// From the name of a folder.
    pub(crate) fn of_folder(name: &str) -> Option<Self> {
        let mut parts = name.split('-');
        let (home, process, began) = (parts.next()?, parts.next()?, parts.next()?);
        let (_random, None) = (parts.next()?, parts.next()) else { return None };
        Some(Self { home: home.to_owned(), process: process.parse().ok()?, began: began.parse().ok()? })
    }

    /// Whether it is certain that this process is no more. `this` is who asks.
    pub(crate) fn is_gone(&self, this: &Self) -> bool {
        self.home == this.home && began(self.process).is_ok_and(|began| began != Some(self.began))
    }

    /// Whether it is certain that this process is still there.
    pub(crate) fn is_alive(&self, this: &Self) -> bool {
        self.home == this.home && began(self.process).is_ok_and(|began| began == Some(self.began))
    }
}

/// How the name begins of what this process is making.
fn prefix() -> String {
    match Writer::this() {
        Some(Writer { home, process, began }) => format!("{home}-{process}-{began}-"),
        // Whoever finds it cannot tell whose it is, and leaves it.
        None => format!("unknown-{}-", std::process::id()),
    }
}

/// Makes a folder for what this process is making; gone when it is dropped.
pub(crate) fn folder_below(unfinished: &Path) -> io::Result<TempDir> {
    fs::create_dir_all(unfinished)?;
    tempfile::Builder::new().prefix(&prefix()).rand_bytes(8).tempdir_in(unfinished)
}

/// The ending of the names of files that are being written.
const UNFINISHED: &str = ".unfinished";

/// Makes a hidden file in the folder where it will have its name, for whoever `mode` says; gone when it is dropped.
pub(crate) fn file_in(folder: &Path, kind: &str, mode: u32) -> io::Result<NamedTempFile> {
    let prefix = format!(".{kind}-{}", prefix());
    let mut builder = tempfile::Builder::new();
    builder.prefix(&prefix).suffix(UNFINISHED).rand_bytes(8);
    // Left to itself, a temporary file is for its owner alone.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(mode));
    #[cfg(not(unix))]
    let _ = mode;
    builder.tempfile_in(folder)
}

/// Takes away the hidden files in a folder that [`file_in`] made for writers that are provably gone.
pub(crate) fn sweep_files(folder: &Path) {
    let Some(this) = Writer::this() else { return };
    let Ok(entries) = fs::read_dir(folder) else { return };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let inner = name.to_str().and_then(|name| name.strip_prefix('.')?.strip_suffix(UNFINISHED)?.split_once('-'));
        let writer = inner.and_then(|(_, writer)| Writer::of_folder(writer));
        if writer.is_some_and(|writer| writer.is_gone(&this)) {
            let _ = fs::remove_file(entry.path());
        }
    }
}

/// Takes away the folders below `unfinished` whose writers are provably gone.
pub(crate) fn sweep(unfinished: &Path) {
    let Some(this) = Writer::this() else { return };
    let Ok(entries) = fs::read_dir(unfinished) else { return };
    for entry in entries.flatten() {
        let writer = entry.file_name().to_str().and_then(Writer::of_folder);
        if writer.is_some_and(|writer| writer.is_gone(&this)) {
            // Another may be at it too; what stays behind is met again next time.
            let _ = fs::remove_dir_all(entry.path());
        }
    }
}

/// Linux numbers each boot, and each set of processes that can see one another.
fn home() -> Option<String> {
    let boot = fs::read_to_string("/proc/sys/kernel/random/boot_id").ok()?;
    let processes = fs::read_link("/proc/self/ns/pid").ok()?;
    // In a time namespace of its own, a process is told other start times.
    let times = fs::read_link("/proc/self/ns/time").unwrap_or_default();
    let all = format!("{} {} {}", boot.trim(), processes.display(), times.display());
    Some(Digest::of(all.as_bytes()).to_string()[..16].to_owned())
}

/// When a process began; `None` if there is none of that number.
fn began(process: u32) -> io::Result<Option<u64>> {
    match fs::read_to_string(format!("/proc/{process}/stat")) {
        // The name of the program may hold anything, closing brackets too; the start time is the 22nd field, the 20th
        // after the name (proc_pid_stat(5)).
        Ok(stat) => {
            let began = stat.rsplit_once(')').and_then(|(_, rest)| rest.split_ascii_whitespace().nth(19)?.parse().ok());
            began.map(Some).ok_or_else(|| io::Error::other("a process says no start time"))
        }
        // A system may hide the processes of others, and then hides the first one too.
        Err(error) if error.kind() == io::ErrorKind::NotFound && fs::exists("/proc/1/stat")? => Ok(None),
        Err(error) => Err(error),
    }
}

#[cfg(all(test, target_os = "linux"))]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_writer_that_is_there_is_not_gone() {
        let this = Writer::this().unwrap();
        assert!(!this.is_gone(&this) && this.is_alive(&this));
        // The number was given to another process since.
        assert!(Writer { began: this.began + 1, ..this.clone() }.is_gone(&this));
        // No process has a number above 2²² (proc_sys_kernel(5), pid_max).
        assert!(Writer { process: 1 << 23, ..this.clone() }.is_gone(&this));
        // Of another machine nothing is known.
        let stranger = Writer { process: 1 << 23, home: "elsewhere".to_owned(), ..this.clone() };
        assert!(!stranger.is_gone(&this) && !stranger.is_alive(&this));
    }

    #[test]
    fn a_child_that_ended_is_gone() {
        let this = Writer::this().unwrap();
        let mut child = std::process::Command::new("sleep").arg("60").spawn().unwrap();
        let began = began(child.id()).unwrap().unwrap();
        let writer = Writer { process: child.id(), began, ..this.clone() };
        assert!(!writer.is_gone(&this));
        child.kill().unwrap();
        child.wait().unwrap();
        assert!(writer.is_gone(&this));
    }

    #[test]
    fn folders_say_whose_they_are() {
        let home = tempfile::tempdir().unwrap();
        let folder = folder_below(&home.path().join("unfinished")).unwrap();
        let name = folder.path().file_name().unwrap().to_str().unwrap();
        assert_eq!(Writer::of_folder(name), Writer::this());
        for name in ["", "a", "a-1-2", "a-b-2-c", "a-1-2-c-d", "unknown-1-abc"] {
            assert_eq!(Writer::of_folder(name), None, "{name}");
        }
    }
}
