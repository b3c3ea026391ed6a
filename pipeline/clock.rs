//! The only place that asks what time it is. Results never depend on it; the record names it.

use std::str::FromStr;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

/// Tells the time.
pub trait Clock: Sync {
    /// The present moment.
    fn now(&self) -> Moment;

    /// Time since some fixed point, never running backwards.
    fn elapsed(&self) -> Duration;
}

/// A moment in UTC: seconds since 1970-01-01T00:00:00Z, leap seconds not counted (POSIX time).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Moment(pub u64);

impl Moment {
    /// RFC 3339: `2027-03-01T09:30:00Z`.
    #[must_use]
    pub fn rfc3339(self) -> String {
        let ([year, month, day], [hour, minute, second]) = self.civil();
        format!("{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}Z")
    }

    /// For file names: `20270301-093000`.
    #[must_use]
    pub fn compact(self) -> String {
        let ([year, month, day], [hour, minute, second]) = self.civil();
        format!("{year:04}{month:02}{day:02}-{hour:02}{minute:02}{second:02}")
    }

    /// Date and time of day in the proleptic Gregorian calendar. Years are counted from 1 March, so that the leap day
    /// is the last of its year, in cycles of 400 years = 146 097 days.
    fn civil(self) -> ([u64; 3], [u64; 3]) {
        const CYCLE: u64 = 146_097;
        /// Days from 0000-03-01 to 1970-01-01.
        const EPOCH: u64 = 719_468;
        let days = self.0 / 86_400 + EPOCH;
        let (cycle, day) = (days / CYCLE, days % CYCLE);
        // A leap day every 4 years (1 461 days), none every 100 (36 524 days), one more at the cycle's end.
        let year = (day - day / 1_460 + day / 36_524 - day / (CYCLE - 1)) / 365;
        let day = day - (365 * year + year / 4 - year / 100);
        // From March on, months run 31, 30, 31, 30, 31 days: 153 in five.
        let month = (5 * day + 2) / 153;
        let day = day - (153 * month + 2) / 5 + 1;
        let month = if month < 10 { month + 3 } else { month - 9 };
        let year = cycle * 400 + year + u64::from(month <= 2);
        let second = self.0 % 86_400;
        ([year, month, day], [second / 3600, second / 60 % 60, second % 60])
    }
}

impl FromStr for Moment {
    type Err = String;

    /// Reads what [`Moment::rfc3339`] writes, and nothing else: no fractions, no zones but `Z`.
    fn from_str(text: &str) -> Result<Self, String> {
        let read = || {
            let digits = |range: std::ops::Range<usize>| {
                let digits = text.get(range)?;
                if digits.bytes().all(|b| b.is_ascii_digit()) { digits.parse::<u64>().ok() } else { None }
            };
            let [year, month, day] = [digits(0..4)?, digits(5..7)?, digits(8..10)?];
            let [hour, minute, second] = [digits(11..13)?, digits(14..16)?, digits(17..19)?];
            let days = days_to(year, month, day)?;
            Some(Self(days * 86_400 + hour * 3600 + minute * 60 + second))
        };
        // What is no date, such as 30 February, comes back as another one.
        read()
            .filter(|moment| moment.rfc3339() == text)
            .ok_or_else(|| format!("'{text}' is no moment in UTC such as 2027-03-01T09:30:00Z"))
    }
}

/// Days from 1970-01-01 to a date, the other way around than [`Moment::civil`]; none before.
fn days_to(year: u64, month: u64, day: u64) -> Option<u64> {
    let (year, month) = if month > 2 { (year, month - 3) } else { (year.checked_sub(1)?, month + 9) };
    let days = 365 * year + year / 4 - year / 100 + year / 400 + (153 * month + 2) / 5 + day;
    days.checked_sub(719_469)
}

/// The system's clock.
#[derive(Clone, Copy, Debug)]
pub struct SystemClock {
    start: Instant,
}

impl SystemClock {
    /// Starts it.
    #[must_use]
    #[expect(clippy::disallowed_methods, reason = "the one clock of the program")]
    pub fn start() -> Self {
        Self { start: Instant::now() }
    }
}

impl Clock for SystemClock {
    #[expect(clippy::disallowed_methods, reason = "the one clock of the program")]
    fn now(&self) -> Moment {
        // A clock set before 1970 is a clock that is not set.
        Moment(SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |time| time.as_secs()))
    }

    fn elapsed(&self) -> Duration {
        self.start.elapsed()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_are_those_of_date_1() {
        // GNU date -u -d @N, coreutils.
        for (seconds, text) in [
            (0, "1970-01-01T00:00:00Z"),
            (951_782_399, "2000-02-28T23:59:59Z"),
            (951_782_400, "2000-02-29T00:00:00Z"),
            (1_709_251_199, "2024-02-29T23:59:59Z"),
            (1_709_251_200, "2024-03-01T00:00:00Z"),
            (1_803_893_400, "2027-03-01T09:30:00Z"),
            (4_107_542_399, "2100-02-28T23:59:59Z"),
            (4_107_542_400, "2100-03-01T00:00:00Z"),
            (13_574_563_200, "2400-02-29T00:00:00Z"),
        ] {
            assert_eq!(Moment(seconds).rfc3339(), text);
            assert_eq!(text.parse(), Ok(Moment(seconds)));
        }
        for wrong in [
            "2027-02-29T00:00:00Z",
            "2027-00-01T00:00:00Z",
            "2027-01-00T00:00:00Z",
            "1969-12-31T23:59:59Z",
            "0000-01-01T00:00:00Z",
            "2027-03-01T24:00:00Z",
            "2027-03-01T09:30:60Z",
            "2027-03-01T09:30:00+01:00",
            "2027-03-01t09:30:00Z",
            "2027-+3-01T09:30:00Z",
            "2027-03-01",
            "",
        ] {
            assert!(wrong.parse::<Moment>().is_err(), "{wrong}");
        }
        assert_eq!(Moment(1_803_893_400).compact(), "20270301-093000");
    }
}
