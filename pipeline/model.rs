//! The model: from the numbers of a file to a surface in millimetres that stands up and faces the front.

use turnhue_stages::formats::stl;
use turnhue_stages::solid::Surface;

use crate::job::{Axis, ModelRequest};

/// Largest model file, in bytes: 2 GiB, about 43 million triangles of binary STL.
pub const LARGEST: u64 = 2 << 30;

/// Reads a model, brings it to millimetres, and turns it so that `up` points to +z and `facing` to −y.
///
/// # Errors
/// A message that completes "could not read the model:" and says what to do, if the bytes are not a model, or one
/// without extent along some axis.
pub fn read(bytes: &[u8], request: &ModelRequest) -> Result<Surface, String> {
    place(&stl::read(bytes)?, request)
}

fn place(surface: &Surface, request: &ModelRequest) -> Result<Surface, String> {
    let rows = rotation(request.up, request.facing);
    let mm = request.units.mm();
    // Each row picks one coordinate. Adding zero turns −0 into 0, so that equal points stay equal bit by bit.
    let placed = surface.mapped(|p| rows.map(|(axis, sign)| sign * mm * p[axis] + 0.0).into());
    let Some([low, high]) = placed.bounds() else {
        return Err("it holds no triangle; export it again".to_owned());
    };
    let size = high - low;
    match ["width (x)", "depth (y)", "height (z)"].iter().zip(size.to_array()).find(|&(_, extent)| extent <= 0.0) {
        Some((axis, _)) => {
            Err(format!("it is flat: its {axis}, as it stands, is 0 mm; give it thickness where it was made"))
        }
        None => Ok(placed),
    }
}

/// The rows of the rotation: which axis of the model, with which sign, becomes x, y and z. Right is `up × facing`, so
/// that the three stay right-handed and nothing is mirrored.
fn rotation(up: Axis, facing: Axis) -> [(usize, f64); 3] {
    let ((u, up_sign), (f, facing_sign)) = (up.parts(), facing.parts());
    let right = 3 - u - f;
    // The cross product of two axes is the third, with a plus where they follow each other in the order x, y, z, x.
    let cyclic = if (u + 1) % 3 == f { 1.0 } else { -1.0 };
    [(right, cyclic * up_sign * facing_sign), (f, -facing_sign), (u, up_sign)]
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::job::ModelUnit;

    const AXES: [Axis; 6] = [Axis::PlusX, Axis::MinusX, Axis::PlusY, Axis::MinusY, Axis::PlusZ, Axis::MinusZ];

    /// The tetrahedron of the origin and the three unit points: volume 1/6, by the determinant.
    fn corner() -> Surface {
        let points = [[0.0; 3], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].map(Into::into).to_vec();
        Surface::new(points, vec![[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]).unwrap()
    }

    fn request(up: Axis, facing: Axis, units: ModelUnit) -> ModelRequest {
        ModelRequest { file: String::new(), units, up, facing }
    }

    #[test]
    fn all_24_ways_to_stand_are_rotations() {
        let mut ways = 0;
        for up in AXES {
            for facing in AXES.into_iter().filter(|facing| facing.parts().0 != up.parts().0) {
                ways += 1;
                let placed = place(&corner(), &request(up, facing, ModelUnit::Mm)).unwrap();
                // A mirrored solid has a negative volume.
                assert!((placed.signed_volume() - 1.0 / 6.0).abs() < 1e-15, "{up:?} {facing:?}");
                for (direction, expected) in [(up, [0.0, 0.0, 1.0]), (facing, [0.0, -1.0, 0.0])] {
                    let (axis, sign) = direction.parts();
                    // The unit point of the axis goes to the direction, or against it for a minus.
                    let got = placed.points()[axis + 1].to_array();
                    assert_eq!(got, expected.map(|c: f64| c * sign + 0.0), "{up:?} {facing:?}");
                }
            }
        }
        assert_eq!(ways, 24);
    }

    #[test]
    fn the_usual_way_changes_nothing() {
        let placed = place(&corner(), &request(Axis::PlusZ, Axis::MinusY, ModelUnit::Mm)).unwrap();
        assert_eq!(placed, corner());
    }

    #[test]
    fn units_come_to_millimetres() {
        // 1 in = 25.4 mm exactly: international yard and pound agreement of 1959.
        for (units, mm) in
            [(ModelUnit::In, 25.4), (ModelUnit::Ft, 304.8), (ModelUnit::Um, 0.001), (ModelUnit::M, 1000.0)]
        {
            let placed = place(&corner(), &request(Axis::PlusZ, Axis::MinusY, units)).unwrap();
            assert_eq!(placed.points()[3].z, mm);
        }
    }

    #[test]
    fn empty_and_flat_models_are_refused() {
        let usual = request(Axis::PlusZ, Axis::MinusY, ModelUnit::Mm);
        let empty = Surface::new(Vec::new(), Vec::new()).unwrap();
        assert!(place(&empty, &usual).unwrap_err().contains("no triangle"));
        let flat = corner().mapped(|mut p| {
            p.y = 2.0;
            p
        });
        assert!(place(&flat, &usual).unwrap_err().contains("depth (y)"));
        // Standing on its side, the same direction is the height.
        assert!(place(&flat, &request(Axis::PlusY, Axis::PlusZ, ModelUnit::Mm)).unwrap_err().contains("height (z)"));
    }
}
