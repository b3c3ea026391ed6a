//! Records are kept for years: what was written once must be read again, and what cannot be read is refused plainly.

#![allow(clippy::unwrap_used)]

use std::path::{Path, PathBuf};

use turnhue_reports::record::{self, FORM, Unreadable};

const FORM_1: &str = include_str!("records/form-1.json");

/// A file of this test alone.
fn file(name: &str, content: &[u8]) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    std::fs::write(&path, content).unwrap();
    path
}

#[test]
fn a_record_of_form_1_is_read_and_written_without_loss() {
    let path = file("form-1.json", FORM_1.as_bytes());
    let read = record::read(&path).unwrap();
    assert_eq!(read.form, 1);
    let mut written = Vec::new();
    record::write(&read, &mut written).unwrap();
    assert!(written == FORM_1.as_bytes(), "the record is written in another form; raise FORM, keep this one readable");
}

#[test]
fn a_newer_form_is_refused_with_the_program_that_wrote_it() {
    let path = file("newer.json", br#"{ "form": 9000, "tool": { "name": "turnhue", "version": "7.0.0" }, "new": {} }"#);
    let refused = record::read(&path).unwrap_err();
    assert!(matches!(refused, Unreadable::Newer { form: 9000, .. }));
    let expected = format!(
        "it has form 9000, and this program reads forms up to {FORM}; use the program that wrote it, turnhue 7.0.0"
    );
    assert_eq!(refused.to_string(), expected);
    let path = file("newer-unsigned.json", br#"{ "form": 9000, "tool": 3 }"#);
    assert!(record::read(&path).unwrap_err().to_string().ends_with("use the program that wrote it"));
}

#[test]
fn what_is_no_record_is_refused() {
    for (name, content) in [
        ("empty.json", &b""[..]),
        ("list.json", b"[]"),
        ("half.json", &FORM_1.as_bytes()[..FORM_1.len() / 2]),
        ("binary.json", b"\xff\xfe\0\0"),
        ("no-form.json", br#"{ "title": "no form" }"#),
        ("deep.json", "[".repeat(100_000).as_bytes()),
    ] {
        let refused = record::read(&file(name, content)).unwrap_err();
        assert!(matches!(refused, Unreadable::NotARecord(_)), "{name}: {refused}");
    }
    assert!(matches!(record::read(Path::new("no such record")), Err(Unreadable::File(_))));
}
