//! Writes a drawing as DXF, for laser cutters and routers.

use std::io::{self, Write};

use super::Drawing;

/// Writes the drawing.
///
/// # Errors
/// Whatever the writer meets.
pub fn write(drawing: &Drawing, out: &mut dyn Write) -> io::Result<()> {
    let _ = (drawing, out);
    Err(io::Error::other("not written yet"))
}
