//! The pictures: six sides, the turn, and the film.

use super::Settings;
use crate::print::view::{Subject, Turn};
use crate::stage::{Halt, Shop};

/// Edge of the pictures of the sides, in pixels: that of the standard views.
const SIDE: u32 = 480;

/// Quality of the pictures of the turn, of 100.
const QUALITY: u8 = 75;

/// Draws them.
pub(super) fn draw(
    settings: &Settings,
    subject: &Subject<'_>,
    turn: &Turn<'_>,
    shop: &mut Shop<'_>,
) -> Result<(), Halt> {
    for pictures in subject.sides(SIDE) {
        for (image, how) in [(&pictures.designed, "designed"), (&pictures.printed, "printed")] {
            let (name, what) =
                (format!("proof-{how}-{}.png", pictures.side), format!("the {} side as {how}", pictures.side));
            shop.artefact(&name, &what, |out| image.write_png(out))?;
        }
    }
    turn.frames(settings.pixels, QUALITY, |step, designed, printed| {
        shop.go_on()?;
        for (bytes, how) in [(designed, "designed"), (printed, "printed")] {
            let name = format!("turn-{how}-{step:03}.jpg");
            shop.artefact(&name, &format!("the piece as {how}, turned by {}°", step * 5), |out| {
                out.write_all(&bytes)
            })?;
        }
        Ok::<(), Halt>(())
    })?;
    if settings.film > 0 {
        let film = turn.film(settings.film);
        shop.artefact("turn.png", "the printed piece turning, to post: a moving PNG", |out| out.write_all(&film?))?;
    }
    Ok(())
}
