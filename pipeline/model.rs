//! The model: from the numbers of a file to a surface in millimetres that stands up and faces the front.

use std::sync::{Arc, OnceLock};

use serde_json::{Value, json};
use turnhue_stages::findings::Finding;
use turnhue_stages::formats::model::{self, Beside, Body, Choice, FileUnit, Format, Model, Stance};
use turnhue_stages::outlook::Outlook;
use turnhue_stages::solid::Surface;
use turnhue_stages::workpiece::{Part, Workpiece};

use crate::job::{Axis, ModelRequest, ModelUnit};

/// Largest model file, in bytes: 2 GiB, about 43 million triangles of binary STL.
pub const LARGEST: u64 = 2 << 30;

/// A model in its place, and what was taken from the job or from the file.
#[derive(Debug)]
pub struct Placed {
    /// The chosen bodies in millimetres, +z up, the front facing −y.
    pub surface: Arc<Surface>,
    /// What is known of it before the first stage.
    pub outlook: Outlook,
    /// What the file is.
    pub format: Format,
    /// The unit of the file's numbers.
    pub units: ModelUnit,
    /// The direction of the model that points up.
    pub up: Axis,
    /// The direction of the model that its front faces.
    pub facing: Axis,
    /// The bodies that were chosen.
    pub chosen: Choice,
    /// What the reader passed over, a line each.
    pub notes: Vec<String>,
    /// All bodies as they stand, where the file keeps several apart or not all were chosen.
    bodies: Option<Vec<Body>>,
    digest: OnceLock<[u8; 32]>,
}

impl Placed {
    /// A digest of the surface, bit by bit.
    #[must_use]
    pub fn digest(&self) -> &[u8; 32] {
        self.digest.get_or_init(|| {
            let bytes = Workpiece::default().with_surface(Arc::clone(&self.surface)).to_bytes(Part::Surface);
            *blake3::hash(&bytes.unwrap_or_default()).as_bytes()
        })
    }

    /// All bodies of the file as they stand, in mm; those that were not chosen too.
    #[must_use]
    pub fn bodies(&self) -> Vec<Body> {
        self.bodies.clone().unwrap_or_else(|| model::pieces(&self.surface))
    }

    /// What the reader passed over, as findings.
    pub(crate) fn findings(&self) -> impl Iterator<Item = Finding> {
        let remedy = "if that is not meant, export the model again another way";
        self.notes.iter().map(move |note| Finding::note("model-as-read", format!("the model: {note}"), remedy))
    }

    /// For the record: what the job says, what it leaves out filled in, and what the file turned out to be.
    pub(crate) fn resolved(&self, file: &str) -> Value {
        json!({
            "file": file,
            "units": self.units,
            "up": self.up,
            "facing": self.facing,
            "bodies": self.chosen,
            "format": self.format.to_string(),
            "notes": self.notes,
        })
    }
}

/// Why a model cannot be taken, and which of the job's settings is concerned.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// The file: the message completes "could not read the model:" and says what to do.
    File(String),
    /// The unit is neither in the job nor in a file of this format.
    NoUnit(Format),
    /// The front would face up or down.
    FacesUp,
    /// A body is chosen that is not there.
    NoBody(String),
}

/// Reads a model from the bytes of its file, brings it to millimetres, and turns it so that `up` points to +z and
/// `facing` to −y. What the job leaves out comes from the file, where its format says it. `beside` is asked for the
/// buffers that a glTF file names.
///
/// # Errors
/// See [`Refusal`].
pub fn read(bytes: &[u8], request: &ModelRequest, beside: Beside<'_>) -> Result<Placed, Refusal> {
    place(model::read(bytes, &request.file, beside).map_err(Refusal::File)?, request)
}

/// Beyond this, in mm, and nearer to nothing than its inverse, what is reckoned from a model would leave the range of
/// `f64`: a volume is a product of three lengths.
const FARTHEST: f64 = 1e100;

fn place(model: Model, request: &ModelRequest) -> Result<Placed, Refusal> {
    let units = request.units.or(model.unit.map(unit)).ok_or(Refusal::NoUnit(model.format))?;
    let (up, facing) = directions(model.stance.unwrap_or(Stance::ZUp));
    let (up, facing) = (request.up.unwrap_or(up), request.facing.unwrap_or(facing));
    if up.is_along(facing) {
        return Err(Refusal::FacesUp);
    }
    let rows = rotation(up, facing);
    let mm = units.mm();
    // Each row picks one coordinate. Adding zero turns −0 into 0, so that equal points stay equal bit by bit.
    let mut model = model.mapped(|p| rows.map(|(axis, sign)| sign * mm * p[axis] + 0.0).into());
    if model.surface().points().iter().any(|p| p.abs().max_element() > FARTHEST) {
        return Err(Refusal::File(
            "it has a coordinate beyond 1e100 mm; repair the model, or check `units`".to_owned(),
        ));
    }
    let (format, notes) = (model.format, std::mem::take(&mut model.notes));
    let listed = model.keeps_bodies_apart() || request.bodies != Choice::All;
    let bodies = listed.then(|| model.bodies());
    let surface = model.into_surface(&request.bodies).map_err(Refusal::NoBody)?;
    check_extent(&surface)?;
    let outlook = Outlook::of(&surface);
    let surface = Arc::new(surface);
    Ok(Placed {
        surface,
        outlook,
        format,
        units,
        up,
        facing,
        chosen: request.bodies.clone(),
        notes,
        bodies,
        digest: OnceLock::new(),
    })
}

fn check_extent(surface: &Surface) -> Result<(), Refusal> {
    let Some([low, high]) = surface.bounds() else {
        return Err(Refusal::File("it holds no triangle; export it again".to_owned()));
    };
    let size = high - low;
    match ["width (x)", "depth (y)", "height (z)"]
        .iter()
        .zip(size.to_array())
        .find(|&(_, extent)| extent < FARTHEST.recip())
    {
        Some((axis, _)) => Err(Refusal::File(format!(
            "it is flat: its {axis}, as it stands, is 0 mm; give it thickness where it was made"
        ))),
        None => Ok(()),
    }
}

const fn unit(unit: FileUnit) -> ModelUnit {
    match unit {
        FileUnit::Micrometre => ModelUnit::Um,
        FileUnit::Millimetre => ModelUnit::Mm,
        FileUnit::Centimetre => ModelUnit::Cm,
        FileUnit::Metre => ModelUnit::M,
        FileUnit::Inch => ModelUnit::In,
        FileUnit::Foot => ModelUnit::Ft,
    }
}

/// Up and front of a format.
const fn directions(stance: Stance) -> (Axis, Axis) {
    match stance {
        Stance::ZUp => (Axis::PlusZ, Axis::MinusY),
        Stance::YUp => (Axis::PlusY, Axis::PlusZ),
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

    /// The tetrahedron of the origin and the unit points of y, x and z: volume 1/6, by the determinant. In the order in
    /// which its triangles name the points, so that it is read back as it is.
    fn corner() -> Surface {
        let points = [[0.0; 3], [0.0, 1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]].map(Into::into).to_vec();
        Surface::new(points, vec![[0, 1, 2], [0, 2, 3], [0, 3, 1], [2, 1, 3]]).unwrap()
    }

    /// Where the unit point of each axis stands among them.
    const UNIT_POINTS: [usize; 3] = [2, 1, 3];

    fn request(up: Axis, facing: Axis, units: ModelUnit) -> ModelRequest {
        let file = "piece.stl".to_owned();
        ModelRequest { file, units: Some(units), up: Some(up), facing: Some(facing), bodies: Choice::All }
    }

    /// The surface as text, which keeps every digit of a coordinate.
    fn text(surface: &Surface) -> String {
        let mut text = "solid\n".to_owned();
        for corners in surface.each_triangle() {
            let corners: String = corners.iter().map(|p| format!("vertex {} {} {}\n", p.x, p.y, p.z)).collect();
            text += &format!("facet normal 0 0 0\nouter loop\n{corners}endloop\nendfacet\n");
        }
        text + "endsolid\n"
    }

    fn read_text(text: &str, request: &ModelRequest) -> Result<Placed, Refusal> {
        read(text.as_bytes(), request, &mut |name| panic!("{name} was asked for"))
    }

    fn placed(surface: &Surface, request: &ModelRequest) -> Result<Surface, String> {
        match read_text(&text(surface), request) {
            Ok(placed) => Ok((*placed.surface).clone()),
            Err(Refusal::File(message)) => Err(message),
            Err(other) => panic!("{other:?}"),
        }
    }

    #[test]
    fn all_24_ways_to_stand_are_rotations() {
        let mut ways = 0;
        for up in AXES {
            for facing in AXES.into_iter().filter(|facing| facing.parts().0 != up.parts().0) {
                ways += 1;
                let placed = placed(&corner(), &request(up, facing, ModelUnit::Mm)).unwrap();
                // A mirrored solid has a negative volume.
                assert!((placed.signed_volume() - 1.0 / 6.0).abs() < 1e-15, "{up:?} {facing:?}");
                for (direction, expected) in [(up, [0.0, 0.0, 1.0]), (facing, [0.0, -1.0, 0.0])] {
                    let (axis, sign) = direction.parts();
                    // The unit point of the axis goes to the direction, or against it for a minus.
                    let got = placed.points()[UNIT_POINTS[axis]].to_array();
                    assert_eq!(got, expected.map(|c: f64| c * sign + 0.0), "{up:?} {facing:?}");
                }
            }
        }
        assert_eq!(ways, 24);
    }

    #[test]
    fn the_usual_way_changes_nothing() {
        let placed = placed(&corner(), &request(Axis::PlusZ, Axis::MinusY, ModelUnit::Mm)).unwrap();
        assert_eq!(placed, corner());
    }

    #[test]
    fn units_come_to_millimetres() {
        // 1 in = 25.4 mm exactly: international yard and pound agreement of 1959.
        for (units, mm) in
            [(ModelUnit::In, 25.4), (ModelUnit::Ft, 304.8), (ModelUnit::Um, 0.001), (ModelUnit::M, 1000.0)]
        {
            let placed = placed(&corner(), &request(Axis::PlusZ, Axis::MinusY, units)).unwrap();
            assert_eq!(placed.points()[3].z, mm);
        }
    }

    #[test]
    fn empty_and_flat_models_are_refused() {
        let usual = request(Axis::PlusZ, Axis::MinusY, ModelUnit::Mm);
        let empty = Surface::new(Vec::new(), Vec::new()).unwrap();
        assert!(placed(&empty, &usual).unwrap_err().contains("no triangle"));
        let flat = corner().mapped(|mut p| {
            p.y = 2.0;
            p
        });
        assert!(placed(&flat, &usual).unwrap_err().contains("depth (y)"));
        // Standing on its side, the same direction is the height.
        assert!(placed(&flat, &request(Axis::PlusY, Axis::PlusZ, ModelUnit::Mm)).unwrap_err().contains("height (z)"));
    }
}
