//! Finds equal points: gives each different point a number.

use glam::DVec3;

/// The different points met so far, in the order in which they were met.
///
/// An open-addressing table with linear probing over the list of points itself: no key is kept twice. Points are the
/// same when their coordinates are; −0.0 counts as 0.0. What it gives depends on the points and their order alone.
pub(super) struct PointIndex {
    points: Vec<DVec3>,
    /// Number of the point plus one, or 0 where free; a power of two, at most half full.
    slots: Vec<u32>,
}

impl PointIndex {
    /// Expects about `points` different points. The table grows as needed, so a wrong guess costs only time.
    pub(super) fn with_capacity(points: usize) -> Self {
        Self { points: Vec::with_capacity(points), slots: vec![0; (2 * points + 2).next_power_of_two()] }
    }

    /// The number of `point`, which must be finite; `None` when there are more different points than a `u32` counts.
    pub(super) fn number(&mut self, point: DVec3) -> Option<u32> {
        let point = point + DVec3::ZERO; // −0.0 + 0.0 is 0.0
        let slot = self.slot(point);
        if let Some(number) = self.slots[slot].checked_sub(1) {
            return Some(number);
        }
        self.points.push(point);
        let next = u32::try_from(self.points.len()).ok()?;
        self.slots[slot] = next;
        if 2 * self.points.len() > self.slots.len() {
            self.grow();
        }
        Some(next - 1)
    }

    /// The point that has a number given here.
    pub(super) fn point(&self, number: u32) -> DVec3 {
        self.points[number as usize]
    }

    /// Bytes on the heap.
    #[cfg(test)]
    pub(super) fn footprint(&self) -> usize {
        self.points.capacity() * size_of::<DVec3>() + self.slots.capacity() * size_of::<u32>()
    }

    /// How many different points were met.
    pub(super) fn len(&self) -> usize {
        self.points.len()
    }

    /// The different points; number `n` is at place `n`.
    pub(super) fn into_points(self) -> Vec<DVec3> {
        self.points
    }

    /// Where `point` is, or the free slot where it belongs. There is always a free one.
    fn slot(&self, point: DVec3) -> usize {
        let last = self.slots.len() - 1;
        let mut slot = hash(point) as usize & last;
        while let Some(number) = self.slots[slot].checked_sub(1) {
            if self.points[number as usize] == point {
                break;
            }
            slot = (slot + 1) & last;
        }
        slot
    }

    fn grow(&mut self) {
        self.slots = vec![0; 2 * self.slots.len()];
        for number in 0..self.points.len() {
            let slot = self.slot(self.points[number]);
            self.slots[slot] = number as u32 + 1;
        }
    }
}

/// Two folded multiplications (the 128-bit product's halves, exclusive-or), which spread the few high bits in which
/// coordinates of a model differ over the whole word. The constants are the fractions of √2, √3 and √5.
fn hash(point: DVec3) -> u64 {
    fn fold(a: u64, b: u64) -> u64 {
        let product = u128::from(a) * u128::from(b);
        product as u64 ^ (product >> 64) as u64
    }
    let [x, y, z] = point.to_array().map(f64::to_bits);
    fold(fold(x ^ 0x6a09_e667_f3bc_c908, y ^ 0xbb67_ae85_84ca_a73b) ^ z, 0x3c6e_f372_fe94_f82b)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;

    #[test]
    fn numbers_as_an_ordered_map_would() {
        let mut index = PointIndex::with_capacity(0);
        let mut map = BTreeMap::new();
        for n in 0..20_000i64 {
            // Far fewer different points than steps, with zeros of both signs.
            let [x, y, z] = [n * 7 % 17, n * n % 17, n / 17 % 400];
            let zero = if n % 2 == 0 { 0.0 } else { -0.0 };
            let point = DVec3::new(x as f64 * 0.1, y as f64, -z as f64).map(|c| if c == 0.0 { zero } else { c });
            let next = map.len() as u32;
            let expected = *map.entry([x, y, z]).or_insert(next);
            assert_eq!(index.number(point), Some(expected), "{point}");
        }
        assert_eq!(index.len(), map.len());
        assert!(map.len() > 1000, "the table must grow often");
        assert!(index.into_points().iter().flat_map(|p| p.to_array()).all(|c| c != 0.0 || c.is_sign_positive()));
    }
}
