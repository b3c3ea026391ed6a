//! PLY (Stanford polygon format 1.0): the coloured piece as a binary little-endian file, a colour for each face.

use std::io::{self, Write};

use super::ColouredMesh;

/// Writes the mesh: coordinates in mm as `float`, and after the corners of each face its red, green, blue and alpha as
/// `uchar`, in sRGB. A `float` holds 180 mm to within 8 nm.
///
/// # Errors
/// If the mesh is not sound (an index or a colour that does not exist, a coordinate that no `f32` holds), and whatever
/// the writer meets.
pub fn write(mesh: &ColouredMesh<'_>, out: &mut dyn Write) -> io::Result<()> {
    mesh.check()?;
    super::check_single(mesh.points)?;
    let mut file = Vec::with_capacity(512 + 12 * mesh.points.len() + 17 * mesh.triangles.len());
    write!(
        file,
        "ply\nformat binary_little_endian 1.0\ncomment millimetres, +z up, the front faces -y\n\
         element vertex {}\nproperty float x\nproperty float y\nproperty float z\n\
         element face {}\nproperty list uchar int vertex_indices\n\
         property uchar red\nproperty uchar green\nproperty uchar blue\nproperty uchar alpha\nend_header\n",
        mesh.points.len(),
        mesh.triangles.len()
    )?;
    for point in mesh.points {
        let mut record = [0; 12];
        for (bytes, coordinate) in record.chunks_exact_mut(4).zip(point.as_vec3().to_array()) {
            bytes.copy_from_slice(&coordinate.to_le_bytes());
        }
        file.extend_from_slice(&record);
    }
    for (triangle, &ink) in mesh.triangles.iter().zip(mesh.ink) {
        let [red, green, blue] = mesh.colours[ink as usize].0;
        let [a, b, c] = triangle.map(u32::to_le_bytes);
        let mut record = [3; 17];
        record[1..5].copy_from_slice(&a);
        record[5..9].copy_from_slice(&b);
        record[9..13].copy_from_slice(&c);
        record[13..].copy_from_slice(&[red, green, blue, u8::MAX]);
        file.extend_from_slice(&record);
    }
    out.write_all(&file)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use glam::DVec3;

    use super::*;
    use crate::Srgb;

    #[test]
    fn a_triangle_byte_by_byte() {
        let points = [DVec3::new(0.1, -2.0, 3.0), DVec3::X, DVec3::Y];
        let colours = [Srgb([1, 2, 3]), Srgb([200, 85, 61])];
        let mesh = ColouredMesh { points: &points, triangles: &[[2, 0, 1]], colours: &colours, ink: &[1] };
        let mut file = Vec::new();
        write(&mesh, &mut file).unwrap();
        let header = "end_header\n";
        let body = file.windows(header.len()).position(|w| w == header.as_bytes()).unwrap() + header.len();
        let text = std::str::from_utf8(&file[..body]).unwrap();
        assert!(text.contains("element vertex 3\n") && text.contains("element face 1\n"), "{text}");
        let coordinates = [0.1f32, -2.0, 3.0, 1.0, 0.0, 0.0, 0.0, 1.0, 0.0].map(f32::to_le_bytes).concat();
        assert_eq!(file[body..body + 36], coordinates);
        assert_eq!(file[body + 36..], [3, 2, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0, 200, 85, 61, 255]);
    }
}
