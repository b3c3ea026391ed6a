//! A model's surface: indexed triangles in millimetres. It may be open, self-crossing, or of many shells; nothing here
//! assumes that it is closed.

use glam::DVec3;

/// Indexed triangles in millimetres, +z up, front facing −y.
///
/// Every index is below `points.len()` and every coordinate is finite; [`Surface::new`] checks both.
#[derive(Clone, Debug, PartialEq)]
pub struct Surface {
    points: Vec<DVec3>,
    triangles: Vec<[u32; 3]>,
}

impl Surface {
    /// Checks indices and coordinates.
    ///
    /// # Errors
    /// A plain message if an index is out of range or a coordinate is not finite.
    pub fn new(points: Vec<DVec3>, triangles: Vec<[u32; 3]>) -> Result<Self, String> {
        if let Some(at) = points.iter().position(|p| !p.is_finite()) {
            return Err(format!("point {at} has a coordinate that is not a finite number"));
        }
        if let Some(at) = triangles.iter().position(|t| t.iter().any(|&i| i as usize >= points.len())) {
            return Err(format!("triangle {at} names a point that does not exist ({} points)", points.len()));
        }
        Ok(Self { points, triangles })
    }

    /// The points.
    #[must_use]
    pub fn points(&self) -> &[DVec3] {
        &self.points
    }

    /// The triangles as point indices, counter-clockwise seen from outside where the model is consistent.
    #[must_use]
    pub fn triangles(&self) -> &[[u32; 3]] {
        &self.triangles
    }

    /// The corners of triangle `t`.
    #[must_use]
    pub fn corners(&self, t: usize) -> [DVec3; 3] {
        self.triangles[t].map(|i| self.points[i as usize])
    }

    /// The corners of every triangle.
    pub fn each_triangle(&self) -> impl Iterator<Item = [DVec3; 3]> {
        self.triangles.iter().map(|t| t.map(|i| self.points[i as usize]))
    }

    /// Lowest and highest corner of the box around the triangles, or `None` without triangles.
    #[must_use]
    pub fn bounds(&self) -> Option<[DVec3; 2]> {
        let mut corners = self.each_triangle().flatten();
        let first = corners.next()?;
        Some(corners.fold([first, first], |[lo, hi], p| [lo.min(p), hi.max(p)]))
    }

    /// The same triangles with every point mapped. The map must keep coordinates finite.
    #[must_use]
    pub fn mapped(&self, map: impl Fn(DVec3) -> DVec3) -> Self {
        Self { points: self.points.iter().map(|&p| map(p)).collect(), triangles: self.triangles.clone() }
    }

    /// Signed volume by the divergence theorem; meaningful for closed, consistently turned surfaces only.
    #[must_use]
    pub fn signed_volume(&self) -> f64 {
        self.each_triangle().map(|[a, b, c]| a.dot(b.cross(c)) / 6.0).sum()
    }

    /// Area of all triangles.
    #[must_use]
    pub fn area(&self) -> f64 {
        self.each_triangle().map(|[a, b, c]| (b - a).cross(c - a).length() / 2.0).sum()
    }
}
