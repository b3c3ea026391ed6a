//! A fixed part of a night's variants, for one of several machines.

use std::fmt;
use std::num::NonZeroU32;
use std::str::FromStr;

/// One of so many shares: `3/8` is the third of eight. The shares of a night are the same on every machine; each variant is
/// in exactly one of them, and no share has more than one variant more than another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Share {
    number: NonZeroU32,
    of: NonZeroU32,
}

impl Share {
    /// The share of that number, counted from 1, of so many.
    ///
    /// # Errors
    /// If there is no such share.
    pub fn new(number: u32, of: u32) -> Result<Self, String> {
        match (NonZeroU32::new(number), NonZeroU32::new(of)) {
            (Some(number), Some(of)) if number <= of => Ok(Self { number, of }),
            _ => Err(format!("there is no share {number} of {of}: write one of 1/{0} to {0}/{0}", of.max(1))),
        }
    }

    /// Its number, counted from 1.
    #[must_use]
    pub const fn number(self) -> u32 {
        self.number.get()
    }

    /// How many shares there are.
    #[must_use]
    pub const fn of(self) -> u32 {
        self.of.get()
    }

    /// The places in a sorted list of so many that it has.
    pub(super) fn range(self, count: usize) -> std::ops::Range<usize> {
        let until = |shares: u32| (count as u128 * u128::from(shares) / u128::from(self.of())) as usize;
        until(self.number() - 1)..until(self.number())
    }
}

impl fmt::Display for Share {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.number, self.of)
    }
}

impl FromStr for Share {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let numbers = text.split_once('/').and_then(|(number, of)| Some((number.trim().parse().ok()?, of.trim().parse().ok()?)));
        let (number, of) = numbers.ok_or_else(|| format!("'{text}' is not a share: write 3/8 for the third of eight"))?;
        Self::new(number, of)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn shares_as_people_write_them() {
        assert_eq!("3/8".parse(), Share::new(3, 8));
        assert_eq!(" 1 / 1 ".parse(), Share::new(1, 1));
        assert_eq!(Share::new(3, 8).unwrap().to_string(), "3/8");
        for wrong in ["", "3", "/", "3/", "/8", "0/8", "9/8", "3/0", "0/0", "-1/8", "1.5/8", "3/8/1", "99999999999/1"] {
            assert!(wrong.parse::<Share>().is_err(), "{wrong}");
        }
        assert!("9/8".parse::<Share>().unwrap_err().contains("1/8 to 8/8"));
    }

    proptest! {
        /// Every place is in one share, in order, and none has more than one more than another.
        #[test]
        fn shares_are_a_partition(count in 0_usize..30_000, of in 1_u32..3000) {
            let ranges: Vec<_> = (1..=of).map(|number| Share::new(number, of).unwrap().range(count)).collect();
            prop_assert_eq!(ranges[0].start, 0);
            prop_assert_eq!(ranges[ranges.len() - 1].end, count);
            prop_assert!(ranges.windows(2).all(|pair| pair[0].end == pair[1].start));
            let (least, most) = (count / of as usize, count.div_ceil(of as usize));
            prop_assert!(ranges.iter().all(|range| (least..=most).contains(&range.len())));
        }
    }
}
