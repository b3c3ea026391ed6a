//! The exit codes of the program.

/// Every piece is ready to order; or, where a chain has no `validate`, no stage found a fault, which is said as a
/// caution.
pub const READY: u8 = 0;
/// A piece has faults: the record says which, and what to do.
pub const FAULTS: u8 = 1;
/// A job or its inputs are wrong; nothing was written for it.
pub const WRONG_JOB: u8 = 2;
/// Something else failed: a file could not be written, the ledger is damaged, or the program has a defect.
pub const FAILED: u8 = 3;

/// Somebody asked to stop, by Ctrl-C or as a queue does. What is done is kept, and the same command goes on from there. The
/// number is that of `EX_TEMPFAIL` in sysexits.h(3), which queues take as a request to try again.
pub const STOPPED: u8 = 75;

/// What `--help` says about them.
pub const HELP: &str = "\
Exit codes (of several jobs, the worst):
  0  ready to order; without `validate` in the chain: no fault found, said as a caution
  1  the piece has faults
  2  the job, its inputs or the command line are wrong; nothing was written
  3  something else failed: writing, a damaged ledger, a defect
  75 stopped; the same command goes on from there";
