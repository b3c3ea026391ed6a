//! Grows the model of the ball that is too fine for its powder. `cargo run --example grow-ball [FILE]`
//!
//! An octahedron whose faces are cut into rows of triangles, every corner then moved out onto the sphere: points at all six
//! ends of the axes, so that the ball is exactly as wide as it should be.

use std::error::Error;
use std::fs::File;
use std::io::{BufWriter, Write};

use glam::{DVec3, IVec3};
use turnhue_stages::formats::stl;

/// Diameter in mm.
const DIAMETER: f64 = 30.0;
/// Pieces along an edge of the octahedron: the flat triangles then lie at most 0.08 mm within the sphere, an eighth of
/// the cells for which the ball is meant.
const PIECES: i32 = 16;

fn main() -> Result<(), Box<dyn Error>> {
    let path = std::env::args_os().nth(1).unwrap_or_else(|| "jobs/models/ball.stl".into());
    let mut out = BufWriter::new(File::create(path)?);
    out.write_all(&ball()?)?;
    Ok(out.flush()?)
}

/// The bytes of the model's file.
fn ball() -> Result<Vec<u8>, Box<dyn Error>> {
    let mut corners: Vec<IVec3> = Vec::new();
    let mut triangles = Vec::new();
    for octant in 0..8 {
        let sign = IVec3::new(octant & 1, octant >> 1 & 1, octant >> 2).map(|bit| 1 - 2 * bit);
        // Along the face, rows of triangles that point up and, between them, down; mirrored, they turn the other way.
        for (i, j) in (0..PIECES).flat_map(|i| (0..PIECES - i).map(move |j| (i, j))) {
            let at = |i: i32, j: i32| sign * IVec3::new(i, j, PIECES - i - j);
            let up = [at(i, j), at(i + 1, j), at(i, j + 1)];
            let down = [at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)];
            let pairs = if i + j + 2 <= PIECES { vec![up, down] } else { vec![up] };
            for [a, b, c] in pairs {
                triangles.push(if sign.x * sign.y * sign.z > 0 { [a, b, c] } else { [a, c, b] });
            }
        }
    }
    corners.extend(triangles.iter().flatten());
    corners.sort_by_key(|corner| corner.to_array());
    corners.dedup();
    let index = |corner: IVec3| corners.partition_point(|other| other.to_array() < corner.to_array()) as u32;
    let triangles: Vec<[u32; 3]> = triangles.into_iter().map(|triangle| triangle.map(index)).collect();
    // The ground is at z = 0.
    let radius = DIAMETER / 2.0;
    let points: Vec<DVec3> = corners.iter().map(|c| radius * (c.as_dvec3().normalize() + DVec3::Z)).collect();
    let mut file = Vec::new();
    stl::write(&points, &triangles, &mut file)?;
    Ok(file)
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;

    #[test]
    fn the_model_in_the_folder_is_what_grows() -> Result<(), Box<dyn Error>> {
        assert!(ball()? == include_bytes!("ball.stl"), "grow it again: cargo run --example grow-ball");
        Ok(())
    }

    #[test]
    fn it_is_a_closed_ball_of_its_size() -> Result<(), Box<dyn Error>> {
        let surface = stl::read(&ball()?)?;
        // Euler: an octahedron of n² triangles a face has 8 n² of them and 4 n² + 2 corners.
        let n = PIECES as usize;
        assert_eq!((surface.triangles().len(), surface.points().len()), (8 * n * n, 4 * n * n + 2));
        let [low, high] = surface.bounds().ok_or("empty")?;
        assert!((high - low - DVec3::splat(DIAMETER)).abs().max_element() < 1e-5 && low.z.abs() < 1e-5);
        // A little less than the ball around it, and more than the ball within, 0.08 mm smaller all around.
        let volume = |radius: f64| 4.0 / 3.0 * PI * radius.powi(3);
        assert!((volume(DIAMETER / 2.0 - 0.08)..volume(DIAMETER / 2.0)).contains(&surface.signed_volume()));
        Ok(())
    }
}
