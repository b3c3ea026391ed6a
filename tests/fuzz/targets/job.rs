//! Any bytes as a job file: read, or refused with at least one fault that can be shown.

#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let (draft, faults) = turnhue::job::read("job.yaml", bytes.to_vec());
    assert!(draft.is_some() || !faults.is_empty(), "a job that is not read must have a fault");
    for fault in &faults {
        assert!(!fault.message().is_empty());
    }
});
