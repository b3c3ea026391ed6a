//! Any bytes as a job file: read, or refused with faults that can be shown.

#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let (draft, faults) = turnhue::job::read("job.yaml", bytes.to_vec());
    assert!(draft.is_some() || !faults.is_empty(), "nothing was read, and nothing said why");
    let variants = draft.and_then(|draft| draft.variants);
    for variant in variants.iter().flat_map(|variants| &variants.list) {
        assert!((1..=60).contains(&variant.name().len()), "{}", variant.name());
    }
    let cautions = variants.iter().flat_map(|variants| &variants.cautions);
    for fault in faults.iter().chain(cautions) {
        assert!(!fault.message().is_empty());
        assert!(fault.render(false).contains("job.yaml"), "the place is not shown: {}", fault.message());
    }
});
