//! What every model file comes to.

use turnhue_stages::formats::model::{Choice, read_within};

/// Most triangles by use of one part over and over: few, so that a file that swells meets the limit.
const REPEATED: u64 = 10_000;

/// Reads the bytes as a model: sound, or refused with one line.
pub fn check(bytes: &[u8], name: &str) {
    let mut beside = |asked: &str| {
        assert!(!asked.is_empty() && asked != ".." && !asked.contains(['/', '\\', ':', '\0']), "{asked:?} was asked for");
        Ok(vec![0; 256])
    };
    match read_within(bytes, name, &mut beside, REPEATED) {
        Ok(model) => {
            let surface = model.surface();
            let (points, triangles) = (surface.points(), surface.triangles().len());
            assert!(triangles > 0 && points.iter().all(|point| point.is_finite()));
            assert!(surface.triangles().iter().flatten().all(|&corner| (corner as usize) < points.len()));
            assert!(model.notes.iter().all(|note| note.len() < 1000 && !note.contains(char::is_control)));
            let bodies = model.bodies();
            assert_eq!(bodies.iter().map(|body| body.triangles).sum::<usize>(), triangles);
            let largest = model.into_surface(&Choice::Largest).expect("there is one");
            assert!(bodies.iter().any(|body| body.triangles == largest.triangles().len()));
        }
        Err(message) => {
            assert!(!message.is_empty() && message.len() < 1000 && !message.contains(char::is_control), "{message}");
        }
    }
}
