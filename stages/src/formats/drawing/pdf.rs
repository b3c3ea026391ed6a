//! Writes drawings as PDF, a page each, in true size.

use std::io::{self, Write};

use super::Drawing;

/// Writes the drawings as the pages of one document.
///
/// # Errors
/// Whatever the writer meets.
pub fn write(pages: &[Drawing], title: &str, out: &mut dyn Write) -> io::Result<()> {
    let _ = (pages, title, out);
    Err(io::Error::other("not written yet"))
}
