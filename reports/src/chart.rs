//! What charts share: scales with marks at round numbers, lines as SVG paths, and labels that keep out of each other's way.

/// A scale: a range of values laid along a range of pixels.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Scale {
    values: [f64; 2],
    pixels: [f64; 2],
}

impl Scale {
    /// Lays values, least first, along pixels; a range of values without extent is widened, so that every value has a
    /// place.
    pub(crate) fn new([least, most]: [f64; 2], pixels: [f64; 2]) -> Self {
        let values = if most > least { [least, most] } else { [least - 0.5, least + 0.5] };
        Self { values, pixels }
    }

    /// Where a value lies, in pixels.
    pub(crate) fn place(&self, value: f64) -> f64 {
        let [least, most] = self.values;
        let [from, to] = self.pixels;
        from + (value - least) / (most - least) * (to - from)
    }

    /// Round values within the scale, at most `most` and equally far apart: 1, 2 or 5 times a power of ten.
    pub(crate) fn marks(&self, most: u32) -> Vec<f64> {
        let [least, greatest] = self.values;
        let apart = (greatest - least) / f64::from(most.max(2) - 1);
        let decade = libm::pow(10.0, libm::floor(libm::log10(apart)));
        let step =
            [1.0, 2.0, 5.0, 10.0].map(|times| times * decade).into_iter().find(|&step| step >= apart * 0.999_999);
        let step = step.unwrap_or(10.0 * decade);
        // A mark that misses an end of the scale by rounding alone belongs to it.
        let first = libm::ceil(least / step - 1e-9);
        (0..most).map(|n| (first + f64::from(n)) * step).take_while(|mark| *mark <= greatest + 1e-9 * step).collect()
    }
}

/// A line through points, as the `d` of an SVG path in tenths of a pixel. Points that are no numbers part it.
pub(crate) fn path(points: impl IntoIterator<Item = [f64; 2]>) -> String {
    let mut path = String::new();
    let mut command = 'M';
    for [x, y] in points {
        if !(x.is_finite() && y.is_finite()) {
            command = 'M';
            continue;
        }
        path.push(command);
        path.push_str(&tenths(x));
        path.push(' ');
        path.push_str(&tenths(y));
        command = 'L';
    }
    path
}

/// A coordinate in tenths of a pixel, without a needless `.0`.
pub(crate) fn tenths(pixels: f64) -> String {
    let text = format!("{pixels:.1}");
    text.strip_suffix(".0").map(str::to_owned).unwrap_or(text)
}

/// Moves places along one line apart until neighbours are `apart` pixels from each other, as little as a pass upwards and
/// one downwards can, within `[from, to]` if they fit. The order is kept.
pub(crate) fn spread_apart(places: &mut [f64], apart: f64, [from, to]: [f64; 2]) {
    let mut order: Vec<_> = (0..places.len()).collect();
    order.sort_by(|&a, &b| places[a].total_cmp(&places[b]));
    let mut least = from;
    for &place in &order {
        places[place] = places[place].max(least);
        least = places[place] + apart;
    }
    let mut most = to;
    for &place in order.iter().rev() {
        places[place] = places[place].min(most);
        most = places[place] - apart;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scale_lays_its_ends_on_its_ends_and_marks_round_numbers() {
        let scale = Scale::new([0.0, 360.0], [40.0, 400.0]);
        assert_eq!([0.0, 90.0, 360.0].map(|value| scale.place(value)), [40.0, 130.0, 400.0]);
        assert_eq!(Scale::new([0.0, 60.0], [0.0, 1.0]).marks(7), [0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0]);
        assert_eq!(Scale::new([0.0, 60.0], [0.0, 1.0]).marks(4), [0.0, 20.0, 40.0, 60.0]);
        assert_eq!(Scale::new([0.31, 0.78], [0.0, 1.0]).marks(6).len(), 4);
        for most in 2..20 {
            let marks = Scale::new([-3.7, 941.0], [0.0, 1.0]).marks(most);
            assert!(!marks.is_empty() && marks.len() <= most as usize, "{most}: {marks:?}");
            assert!(marks.iter().all(|mark| (-3.7..=941.0).contains(mark)), "{most}: {marks:?}");
        }
    }

    #[test]
    fn a_scale_without_extent_has_a_place_for_its_value() {
        assert_eq!(Scale::new([3.0, 3.0], [0.0, 10.0]).place(3.0), 5.0);
    }

    #[test]
    fn a_line_is_parted_where_a_value_is_missing() {
        assert_eq!(path([[0.0, 1.0], [2.5, 3.04], [f64::NAN, 1.0], [4.0, 4.0]]), "M0 1L2.5 3M4 4");
    }

    #[test]
    fn labels_move_apart_and_stay_in_order() {
        let mut places = [50.0, 10.0, 52.0, 99.0];
        spread_apart(&mut places, 10.0, [0.0, 100.0]);
        assert_eq!(places, [50.0, 10.0, 60.0, 99.0]);
        let mut crowd = [90.0, 91.0, 92.0];
        spread_apart(&mut crowd, 10.0, [0.0, 100.0]);
        assert_eq!(crowd, [80.0, 90.0, 100.0]);
    }
}
