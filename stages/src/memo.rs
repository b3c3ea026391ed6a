//! Pure work that runs of one program share: the pictures, the text and the measurements of a piece whose colours alone
//! differ from one run to the next.
//!
//! A [`Memo`] is handed in by [`crate::stage::Shop::with_memo`]. What it holds is found by the digest of everything that
//! the work hangs on and by what it is for, never by an address, so nothing that it gives can be out of date.
//!
//! Guarantees:
//! - Results are the same bits with a memo and without one. Without one the same work is done and handed over in the same
//!   way; the tests run whole chains both ways.
//! - It holds no more bytes than its limit, as the values weigh themselves ([`Weigh`]); what was not asked for the longest
//!   goes first. What somebody still uses lives on until it is dropped, outside of the limit.
//! - Two threads that ask for the same thing make it once: the second waits. A thread of rayon never waits, for it may
//!   have been given this very task while it waits within the work that it would be waiting for: it does the work again.
//! - Work that fails or panics leaves nothing behind, and whoever waited for it does it instead.

use std::any::{Any, TypeId};
use std::collections::BTreeMap;
use std::convert::Infallible;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};

use glam::DVec3;

/// Bytes that a memo counts for keeping a value, beside the value's own.
const ENTRY: usize = 256;

/// What a memo can hold.
pub trait Weigh: Send + Sync + 'static {
    /// The bytes that it takes, with all that it owns.
    fn bytes(&self) -> usize;
}

impl Weigh for Vec<u8> {
    fn bytes(&self) -> usize {
        self.capacity()
    }
}

/// The digest of all that some work hangs on, with what the work is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Key([u8; 32]);

/// Makes a [`Key`]. What has a length is taken in with it, so that no two lists of parts of the same kinds read alike; and
/// keys of one purpose are made of the same kinds.
#[derive(Clone, Debug)]
pub struct KeyMaker(blake3::Hasher);

impl Key {
    /// Begins a key for work of that purpose: a name of its own in the program, with a number that is raised when the work
    /// changes.
    #[must_use]
    pub fn of(purpose: &str) -> KeyMaker {
        KeyMaker(blake3::Hasher::new()).bytes(purpose.as_bytes())
    }
}

/// Numbers that become bytes at a time while a key is made.
const AT_A_TIME: usize = 1024;

impl KeyMaker {
    /// Takes in bytes.
    #[must_use]
    pub fn bytes(mut self, bytes: &[u8]) -> Self {
        self.0.update(&(bytes.len() as u64).to_le_bytes());
        self.0.update(bytes);
        self
    }

    /// Takes in another key.
    #[must_use]
    pub fn key(mut self, key: Key) -> Self {
        self.0.update(&key.0);
        self
    }

    /// Takes in a whole number.
    #[must_use]
    pub fn whole(mut self, number: u64) -> Self {
        self.0.update(&number.to_le_bytes());
        self
    }

    /// Takes in a number, bit by bit: 0 and −0 are two.
    #[must_use]
    pub fn number(self, number: f64) -> Self {
        self.whole(number.to_bits())
    }

    /// Takes in a list of words of some bytes each.
    #[must_use]
    pub fn list<const N: usize>(mut self, words: impl ExactSizeIterator<Item = [u8; N]>) -> Self {
        self.0.update(&(words.len() as u64).to_le_bytes());
        let mut held = Vec::with_capacity(N * AT_A_TIME);
        for word in words {
            held.extend_from_slice(&word);
            if held.len() >= N * AT_A_TIME {
                self.0.update(&held);
                held.clear();
            }
        }
        self.0.update(&held);
        self
    }

    /// Takes in a list of whole numbers.
    #[must_use]
    pub fn wholes(self, numbers: &[u32]) -> Self {
        self.list(numbers.iter().map(|number| number.to_le_bytes()))
    }

    /// Takes in points, bit by bit.
    #[must_use]
    pub fn points(self, points: &[DVec3]) -> Self {
        self.list(points.iter().map(|point| {
            let mut word = [0; 24];
            for (bytes, coordinate) in word.chunks_exact_mut(8).zip(point.to_array()) {
                bytes.copy_from_slice(&coordinate.to_le_bytes());
            }
            word
        }))
    }

    /// Takes in triangles.
    #[must_use]
    pub fn triangles(self, triangles: &[[u32; 3]]) -> Self {
        self.list(triangles.iter().map(|corners| {
            let mut word = [0; 12];
            for (bytes, corner) in word.chunks_exact_mut(4).zip(corners) {
                bytes.copy_from_slice(&corner.to_le_bytes());
            }
            word
        }))
    }

    /// The key.
    #[must_use]
    pub fn made(self) -> Key {
        Key(*self.0.finalize().as_bytes())
    }
}

/// Work that has been done, for whoever asks for it again. See the module's documentation.
#[derive(Debug)]
pub struct Memo {
    limit: usize,
    state: Mutex<State>,
    /// Some work has ended.
    ended: Condvar,
}

/// The kind of a value is part of its name: a key can never give a value of another kind.
type Name = (TypeId, Key);

#[derive(Debug, Default)]
struct State {
    slots: BTreeMap<Name, Slot>,
    /// The values that are held, by when they were asked for last.
    asked: BTreeMap<u64, Name>,
    /// Counts the questions.
    now: u64,
    bytes: usize,
}

#[derive(Debug)]
enum Slot {
    /// Somebody is at it.
    Making,
    Held {
        value: Arc<dyn Any + Send + Sync>,
        bytes: usize,
        asked: u64,
    },
}

/// What a question comes to.
enum Answer {
    Held(Arc<dyn Any + Send + Sync>),
    /// Nobody has it: whoever asked is to make it.
    Yours,
    /// Somebody is at it.
    Wait,
}

impl State {
    fn ask(&mut self, name: Name) -> Answer {
        self.now += 1;
        let now = self.now;
        match self.slots.get_mut(&name) {
            None => {
                self.slots.insert(name, Slot::Making);
                Answer::Yours
            }
            Some(Slot::Making) => Answer::Wait,
            Some(Slot::Held { value, asked, .. }) => {
                self.asked.remove(asked);
                self.asked.insert(now, name);
                *asked = now;
                Answer::Held(Arc::clone(value))
            }
        }
    }

    /// Keeps a value that was made, and lets go of the oldest until there is room.
    fn keep(&mut self, name: Name, value: Arc<dyn Any + Send + Sync>, bytes: usize, limit: usize) {
        if bytes > limit {
            return;
        }
        while self.bytes + bytes > limit {
            let Some((_, oldest)) = self.asked.pop_first() else { break };
            if let Some(Slot::Held { bytes, .. }) = self.slots.remove(&oldest) {
                self.bytes -= bytes;
            }
        }
        self.now += 1;
        self.asked.insert(self.now, name);
        self.slots.insert(name, Slot::Held { value, bytes, asked: self.now });
        self.bytes += bytes;
    }
}

/// The right to make a value; gives it back when dropped, also by a panic.
struct Turn<'a> {
    memo: &'a Memo,
    name: Name,
}

impl Drop for Turn<'_> {
    fn drop(&mut self) {
        let mut state = self.memo.lock();
        if matches!(state.slots.get(&self.name), Some(Slot::Making)) {
            state.slots.remove(&self.name);
        }
        drop(state);
        self.memo.ended.notify_all();
    }
}

impl Memo {
    /// Holds nothing yet, and never more than so many bytes.
    #[must_use]
    pub fn new(limit: usize) -> Self {
        Self { limit, state: Mutex::default(), ended: Condvar::new() }
    }

    /// The most bytes that it holds.
    #[must_use]
    pub fn limit(&self) -> usize {
        self.limit
    }

    /// The bytes that it holds now.
    #[must_use]
    pub fn bytes(&self) -> usize {
        self.lock().bytes
    }

    /// The state is whole between any two statements that can panic, so a lock that was held by a panic still serves.
    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn get<T: Weigh, E>(&self, key: Key, make: impl FnOnce() -> Result<T, E>) -> Result<Arc<T>, E> {
        let name = (TypeId::of::<T>(), key);
        let mut state = self.lock();
        loop {
            match state.ask(name) {
                Answer::Held(value) => {
                    return Ok(value.downcast().unwrap_or_else(|_| unreachable!("a value's kind is part of its name")));
                }
                Answer::Yours => break,
                Answer::Wait if rayon::current_thread_index().is_some() => {
                    drop(state);
                    return make().map(Arc::new);
                }
                Answer::Wait => state = self.ended.wait(state).unwrap_or_else(PoisonError::into_inner),
            }
        }
        drop(state);
        let turn = Turn { memo: self, name };
        let value = Arc::new(make()?);
        let bytes = value.bytes() + ENTRY;
        self.lock().keep(name, value.clone(), bytes, self.limit);
        drop(turn);
        Ok(value)
    }
}

/// A memo, or none: what stages ask for work that may have been done. Copied freely.
#[derive(Clone, Copy, Debug, Default)]
pub struct Recall<'a>(Option<&'a Memo>);

impl<'a> Recall<'a> {
    /// Recalls nothing: all work is done anew.
    pub const NOTHING: Recall<'static> = Recall(None);

    /// Recalls what a memo holds.
    #[must_use]
    pub fn from(memo: &'a Memo) -> Self {
        Self(Some(memo))
    }

    /// Whether there is a memo, so that a key will be asked for.
    #[must_use]
    pub fn remembers(self) -> bool {
        self.0.is_some()
    }

    /// What `make` makes, or has made before for the same key. `make` must be pure: what it gives may hang on nothing that
    /// the key does not hold. The key is made only if there is a memo.
    pub fn of<T: Weigh>(self, key: impl FnOnce() -> Key, make: impl FnOnce() -> T) -> Arc<T> {
        let made = self.try_of(key, || Ok::<T, Infallible>(make()));
        made.unwrap_or_else(|never| match never {})
    }

    /// As [`Recall::of`], for work that may fail; a failure is not kept.
    ///
    /// # Errors
    /// As `make`.
    pub fn try_of<T: Weigh, E>(
        self,
        key: impl FnOnce() -> Key,
        make: impl FnOnce() -> Result<T, E>,
    ) -> Result<Arc<T>, E> {
        match self.0 {
            Some(memo) => memo.get(key(), make),
            None => make().map(Arc::new),
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use std::panic::{AssertUnwindSafe, catch_unwind};
    use std::sync::Barrier;
    use std::sync::atomic::{AtomicUsize, Ordering};
    use std::time::Duration;

    use proptest::prelude::*;

    use super::*;

    fn key(number: u64) -> Key {
        Key::of("test").whole(number).made()
    }

    #[test]
    fn what_was_made_is_given_again() {
        let memo = Memo::new(10_000);
        let recall = Recall::from(&memo);
        let made = AtomicUsize::new(0);
        let ask = |number| {
            recall.of(
                || key(number),
                || {
                    made.fetch_add(1, Ordering::Relaxed);
                    vec![number as u8; 100]
                },
            )
        };
        assert!(Arc::ptr_eq(&ask(1), &ask(1)));
        assert_eq!(*ask(2), vec![2; 100]);
        assert_eq!(made.load(Ordering::Relaxed), 2);
        assert_eq!(memo.bytes(), 2 * (100 + ENTRY));
        assert!(!Arc::ptr_eq(&Recall::NOTHING.of(|| key(1), || vec![1u8]), &ask(1)));
    }

    #[test]
    fn the_oldest_goes_first_and_what_is_too_large_is_not_kept() {
        let memo = Memo::new(3 * (100 + ENTRY));
        let recall = Recall::from(&memo);
        let made = |number: u64, size: usize| {
            let mut made = false;
            recall.of(
                || key(number),
                || {
                    made = true;
                    vec![0u8; size]
                },
            );
            made
        };
        assert!(made(1, 100) && made(2, 100) && made(3, 100));
        assert!(!made(1, 100)); // 2 is now the oldest
        assert!(made(4, 100) && !made(1, 100) && !made(3, 100) && made(2, 100));
        assert!(made(5, 10_000) && made(5, 10_000));
        assert!(!made(2, 100), "a value that is too large pushes nothing out");
    }

    proptest! {
        #[test]
        fn the_limit_holds_and_what_is_counted_is_there(asked in prop::collection::vec((0..12u64, 0..600usize), 1..80)) {
            let memo = Memo::new(2000);
            for (number, size) in asked {
                let value = Recall::from(&memo).of(|| key(number), || vec![number as u8; size]);
                prop_assert!(value.iter().all(|&byte| u64::from(byte) == number));
                let state = memo.lock();
                let counted: usize =
                    state.slots.values().map(|slot| match slot { Slot::Held { bytes, .. } => *bytes, Slot::Making => 0 }).sum();
                prop_assert!(state.bytes <= 2000 && state.bytes == counted);
                prop_assert_eq!(state.asked.len(), state.slots.len());
            }
        }
    }

    #[test]
    fn threads_that_ask_for_the_same_make_it_once() {
        let (memo, made, begin) = (Memo::new(1 << 20), AtomicUsize::new(0), Barrier::new(8));
        std::thread::scope(|scope| {
            for _ in 0..8 {
                scope.spawn(|| {
                    begin.wait();
                    let value = Recall::from(&memo).of(
                        || key(7),
                        || {
                            std::thread::sleep(Duration::from_millis(30));
                            made.fetch_add(1, Ordering::Relaxed);
                            vec![7u8]
                        },
                    );
                    assert_eq!(*value, [7]);
                });
            }
        });
        assert_eq!(made.load(Ordering::Relaxed), 1);
    }

    #[test]
    fn a_thread_of_rayon_never_waits_for_itself() {
        let memo = Memo::new(1 << 20);
        let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
        // The only thread asks, within the work, for what it is at.
        let value = pool
            .install(|| Recall::from(&memo).of(|| key(1), || Recall::from(&memo).of(|| key(1), || vec![1u8]).to_vec()));
        assert_eq!(*value, [1]);
    }

    #[test]
    fn work_that_panics_leaves_nothing_behind() {
        let memo = Memo::new(1 << 20);
        let begun = Barrier::new(2);
        std::thread::scope(|scope| {
            scope.spawn(|| {
                let panics = || -> Vec<u8> {
                    begun.wait();
                    std::thread::sleep(Duration::from_millis(30));
                    panic!("meant by the test")
                };
                let ended = catch_unwind(AssertUnwindSafe(|| Recall::from(&memo).of(|| key(1), panics)));
                assert!(ended.is_err());
            });
            begun.wait();
            assert_eq!(*Recall::from(&memo).of(|| key(1), || vec![9u8]), [9]);
        });
        assert_eq!(memo.bytes(), 1 + ENTRY);
        let failed: Result<Arc<Vec<u8>>, &str> = Recall::from(&memo).try_of(|| key(2), || Err("no"));
        assert_eq!(failed, Err("no"));
        assert_eq!(*Recall::from(&memo).of(|| key(2), || vec![2u8]), [2]);
    }

    #[test]
    fn keys_tell_parts_apart() {
        let keys = [
            Key::of("a").made(),
            Key::of("b").made(),
            Key::of("a").bytes(b"xy").bytes(b"z").made(),
            Key::of("a").bytes(b"x").bytes(b"yz").made(),
            Key::of("a").number(0.0).made(),
            Key::of("a").number(-0.0).made(),
            Key::of("a").wholes(&[1, 2]).wholes(&[]).made(),
            Key::of("a").wholes(&[1]).wholes(&[2]).made(),
            Key::of("a").points(&[DVec3::X]).made(),
            Key::of("a").points(&[DVec3::Y]).made(),
        ];
        for (at, key) in keys.iter().enumerate() {
            assert!(!keys[..at].contains(key), "{at}");
        }
        // Cut into pieces or whole, a list has one digest.
        let long: Vec<u32> = (0..3000).collect();
        let bytes: Vec<u8> = long.iter().flat_map(|n| n.to_le_bytes()).collect();
        let mut whole = blake3::Hasher::new();
        whole.update(&1u64.to_le_bytes()).update(b"a").update(&3000u64.to_le_bytes()).update(&bytes);
        assert_eq!(Key::of("a").wholes(&long).made().0, *whole.finalize().as_bytes());
    }
}
