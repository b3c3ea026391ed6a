//! Files that survive a power cut: names that stay in their folder, digests taken while writing, and bringing to the disk
//! what a name promises.

use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Component, Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

/// Refuses a name that is not one of a file in the folder at hand.
pub(crate) fn plain_name(name: &str) -> io::Result<()> {
    let mut parts = Path::new(name).components();
    // A part that is the whole name: `a/` and `a/.` have one part too.
    if matches!((parts.next(), parts.next()), (Some(Component::Normal(part)), None) if part == name) {
        return Ok(());
    }
    Err(io::Error::new(io::ErrorKind::InvalidInput, format!("'{name}' is not a plain file name")))
}

/// Writes to a file and takes its size and digest on the way.
#[derive(Debug)]
pub(crate) struct Hashing<'a> {
    pub(crate) file: File,
    pub(crate) written: &'a mut Written,
}

/// What has been written of a file.
#[derive(Clone, Debug, Default)]
pub(crate) struct Written {
    pub(crate) bytes: u64,
    pub(crate) hasher: blake3::Hasher,
}

impl Write for Hashing<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let count = self.file.write(bytes)?;
        self.written.hasher.update(&bytes[..count]);
        self.written.bytes += count as u64;
        Ok(count)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

/// Reads all of a file into `to` and gives what was read.
pub(crate) fn copy_hashing(mut from: &File, mut to: impl Write) -> io::Result<Written> {
    let mut written = Written::default();
    let mut buffer = vec![0; 1 << 17];
    loop {
        let count = match from.read(&mut buffer) {
            Ok(0) => return Ok(written),
            Ok(count) => count,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
            Err(error) => return Err(error),
        };
        written.hasher.update(&buffer[..count]);
        written.bytes += count as u64;
        to.write_all(&buffer[..count])?;
    }
}

/// Brings the names in a folder to the disk, where the system can.
pub(crate) fn sync_folder(folder: &Path) -> io::Result<()> {
    if cfg!(unix) { File::open(folder)?.sync_all() } else { Ok(()) }
}

/// Brings what is in a file to the disk, and makes it one that is only read from now on.
pub(crate) fn seal(path: &Path) -> io::Result<()> {
    let file = File::options().write(true).open(path)?;
    let mut permissions = file.metadata()?.permissions();
    permissions.set_readonly(true);
    file.set_permissions(permissions)?;
    file.sync_all()
}

/// So many threads wait for the disk at once. A disk serves them together: on ext4 a hundred files one after the other
/// took 480 ms, by sixteen threads 12 to 130 ms.
const MOST_WAITING: usize = 16;

/// Does what waits for the disk to many paths at once; gives an answer for each, in order.
pub(crate) fn all_at_once(paths: &[PathBuf], act: impl Fn(&Path) -> io::Result<()> + Sync) -> Vec<io::Result<()>> {
    let next = AtomicUsize::new(0);
    let work = || {
        let mut done = Vec::new();
        loop {
            let at = next.fetch_add(1, Ordering::Relaxed);
            let Some(path) = paths.get(at) else { return done };
            done.push((at, act(path)));
        }
    };
    // The last of them is this thread.
    let helpers = paths.len().min(MOST_WAITING).saturating_sub(1);
    let mut done = thread::scope(|scope| {
        let others: Vec<_> =
            (0..helpers).filter_map(|_| thread::Builder::new().spawn_scoped(scope, work).ok()).collect();
        let mut done = work();
        for other in others {
            done.extend(other.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)));
        }
        done
    });
    done.sort_unstable_by_key(|(at, _)| *at);
    done.into_iter().map(|(_, answer)| answer).collect()
}

/// Gives a file a further name, unless somebody has that name already; tells whether it did.
pub(crate) fn link(from: &Path, to: &Path) -> io::Result<bool> {
    match fs::hard_link(from, to) {
        Ok(()) => Ok(true),
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => Ok(false),
        Err(error) => Err(error),
    }
}

/// Whether a further name was refused since the file system has no such thing, not here or not any more: other reasons
/// would stop a copy too.
pub(crate) fn links_are_refused(error: &io::Error) -> bool {
    use io::ErrorKind::{CrossesDevices, PermissionDenied, TooManyLinks, Unsupported};
    matches!(error.kind(), CrossesDevices | PermissionDenied | TooManyLinks | Unsupported)
}
