//! Any bytes as a segment of a ledger, as they are and with every line sealed: read, or refused with faults that can be
//! shown.

#![no_main]

use libfuzzer_sys::fuzz_target;
use turnhue::ledger::{history, read_segment};

const SEAL: &[u8] = b",\"digest\":\"";

fuzz_target!(|bytes: &[u8]| {
    read(bytes);
    // A digest is not guessed: what comes after it is reached by sealing what comes before.
    let mut sealed = Vec::new();
    for line in bytes.split(|&b| b == b'\n').filter(|line| !line.is_empty()) {
        let end = line.windows(SEAL.len()).rposition(|window| window == SEAL).unwrap_or(line.len());
        sealed.extend(&line[..end]);
        sealed.extend(SEAL);
        sealed.extend(blake3::hash(&line[..end]).to_hex().bytes());
        sealed.extend(b"\"}\n");
    }
    read(&sealed);
});

fn read(bytes: &[u8]) {
    match read_segment("00000001.jsonl", bytes) {
        Ok(entries) => {
            assert!(!entries.is_empty(), "an empty segment was taken");
            assert!((1..).zip(&entries).all(|(seq, entry)| entry.seq == seq), "a gap was taken");
            entries.iter().for_each(|entry| assert!(!history::in_words(entry).is_empty()));
        }
        Err(faults) => {
            assert!(!faults.is_empty(), "nothing was read, and nothing said why");
            faults.iter().for_each(|fault| assert!(fault.render(false).contains("00000001.jsonl") || !fault.message().is_empty()));
        }
    }
}
