//! Edges as the process rounds them: where on the two faces the colour comes from that shows near a convex edge.
//!
//! A convex edge of 90° is rounded to an arc of radius r that touches both faces at the distance r from the edge. The ink of
//! the two faces meets in the middle of the arc. Seen in a plane across the edge, from a direction at the angle α to the
//! face's normal, towards the other face: the point of the arc whose normal is at the angle φ to the face's is seen at
//! r · sin(φ − α) beside the arc's middle.

use std::f64::consts::FRAC_PI_4;

/// How far from the sharp edge a place of the surface is seen by a viewer straight before the face; the inverse of [`source`].
/// `from_edge` is the place's distance from the edge on the sharp faces, in mm: positive on this face, negative on the other.
/// What lies more than the radius beyond the edge is not seen: 0.
#[must_use]
pub fn seen_straight_on(from_edge: f64, radius: f64) -> f64 {
    if from_edge >= radius {
        from_edge
    } else if from_edge <= -radius {
        0.0
    } else {
        radius * (1.0 - libm::sin(FRAC_PI_4 * (1.0 - from_edge / radius)))
    }
}

/// Where the colour comes from that shows at a place near a convex edge.
///
/// `inwards` is the place's distance from the sharp edge on the face that is seen there, `radius` that of the rounding, both
/// in mm. `towards` is the direction to the viewer, projected across the edge: its part along the other face's normal, and
/// along this face's. Gives the place on the sharp faces, as a distance from their edge in mm: positive on this
/// face, negative on the other. Farther in than the radius that is `inwards` itself.
#[must_use]
pub fn source(inwards: f64, radius: f64, towards: [f64; 2]) -> f64 {
    if inwards >= radius {
        return inwards;
    }
    let length = libm::hypot(towards[0], towards[1]);
    let [sine, cosine] = [towards[0] / length, towards[1] / length];
    // The sharp place is seen at this distance beside the arc's middle.
    let seen = (radius - inwards) * cosine - radius * sine;
    let angle = libm::asin((seen / radius).clamp(-1.0, 1.0)) + libm::atan2(sine, cosine);
    if angle <= 0.0 {
        return inwards;
    }
    // Equal lengths of arc are equal lengths of ink: an eighth of a turn has what lies within r of the edge.
    (radius * (1.0 - angle / FRAC_PI_4)).max(-radius)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn straight_on_a_strip_of_the_neighbour_shows() {
        // Closed form: the arc's middle is seen at r / √2, so (1 − 1 / √2) r of the neighbour shows.
        let radius = 0.4;
        let strip = (1.0 - std::f64::consts::FRAC_1_SQRT_2) * radius;
        for (inwards, own) in [(strip * 1.001, true), (strip * 0.999, false), (1e-6, false), (0.39, true)] {
            assert_eq!(source(inwards, radius, [0.0, 1.0]) > 0.0, own, "{inwards}");
        }
        assert_eq!(source(0.5, radius, [0.0, 1.0]), 0.5);
    }

    #[test]
    fn what_is_seen_straight_on_comes_from_where_it_lies() {
        for from_edge in [-0.399, -0.1, 0.0, 0.2, 0.39, 0.7] {
            let seen = seen_straight_on(from_edge, 0.4);
            assert!((source(seen, 0.4, [0.0, 1.0]) - from_edge).abs() < 1e-9, "{from_edge}");
        }
        assert_eq!((seen_straight_on(0.3, 0.0), seen_straight_on(-0.3, 0.0)), (0.3, 0.0));
    }

    #[test]
    fn from_the_corner_both_faces_keep_their_colour() {
        for inwards in [1e-9, 0.1, 0.3] {
            assert!(source(inwards, 0.4, [1.0, 1.0]) > 0.0);
        }
        assert!(source(0.0, 0.4, [1.0, 1.0]).abs() < 1e-12);
    }
}
