//! Moments and days: when something happened, in UTC and on the clock on the wall.
//!
//! Written as RFC 3339 says, with the local offset: `2026-03-12T09:14:22.125+01:00`. The calendar is the proleptic
//! Gregorian one (the algorithm for days is the usual one of eras of 400 years).

use std::fmt;
use std::str::FromStr;
use thiserror::Error;

const MS_PER_DAY: i64 = 86_400_000;
const MS_PER_MINUTE: i64 = 60_000;
/// Years 0001 to 9999.
const LEAST_DAY: i64 = -719_162;
const LAST_DAY: i64 = 2_932_896;
/// Widest offset that RFC 3339 can write, in minutes.
const WIDEST: i64 = 23 * 60 + 59;

/// Why a text is no moment or day.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum MomentError {
    /// Not a date and time.
    #[error("\"{0}\" is no moment; write it like 2026-03-12T09:14:22+01:00")]
    Moment(String),
    /// Not a date.
    #[error("\"{0}\" is no day; write it like 2026-03-12")]
    Day(String),
}

/// A day of the calendar.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Day {
    /// Days since 1970-01-01.
    since_1970: i64,
}

impl Day {
    /// The day so many days later.
    #[must_use]
    pub fn plus(self, days: i64) -> Self {
        Self {
            since_1970: self
                .since_1970
                .saturating_add(days)
                .clamp(LEAST_DAY, LAST_DAY),
        }
    }

    /// Days from this day to another; negative if the other is earlier.
    pub fn days_to(self, other: Self) -> i64 {
        other.since_1970 - self.since_1970
    }

    fn parts(self) -> (i64, i64, i64) {
        let z = self.since_1970 + 719_468;
        let era = z.div_euclid(146_097);
        let day_of_era = z.rem_euclid(146_097);
        let year_of_era =
            (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
        let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
        let shifted = (5 * day_of_year + 2) / 153;
        let day = day_of_year - (153 * shifted + 2) / 5 + 1;
        let month = if shifted < 10 {
            shifted + 3
        } else {
            shifted - 9
        };
        (year_of_era + era * 400 + i64::from(month <= 2), month, day)
    }

    fn of(year: i64, month: i64, day: i64) -> Option<Self> {
        if !(1..=9999).contains(&year) || !(1..=12).contains(&month) || day < 1 {
            return None;
        }
        let y = if month <= 2 { year - 1 } else { year };
        let era = y.div_euclid(400);
        let year_of_era = y.rem_euclid(400);
        let shifted = if month > 2 { month - 3 } else { month + 9 };
        let day_of_year = (153 * shifted + 2) / 5 + day - 1;
        let day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
        let made = Self {
            since_1970: era * 146_097 + day_of_era - 719_468,
        };
        // The 31st of a shorter month comes back as another day.
        (made.parts() == (year, month, day)).then_some(made)
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (year, month, day) = self.parts();
        write!(f, "{year:04}-{month:02}-{day:02}")
    }
}

impl fmt::Debug for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for Day {
    type Err = MomentError;

    fn from_str(text: &str) -> Result<Self, MomentError> {
        let fail = || MomentError::Day(text.chars().take(40).collect());
        let mut parts = text.split('-');
        let (Some(y), Some(m), Some(d), None) =
            (parts.next(), parts.next(), parts.next(), parts.next())
        else {
            return Err(fail());
        };
        let number = |part: &str, length: usize| {
            (part.len() == length && part.bytes().all(|b| b.is_ascii_digit()))
                .then(|| part.parse::<i64>().ok())
                .flatten()
        };
        match (number(y, 4), number(m, 2), number(d, 2)) {
            (Some(y), Some(m), Some(d)) => Self::of(y, m, d).ok_or_else(fail),
            _ => Err(fail()),
        }
    }
}

/// A moment, to the millisecond, with the offset of the local clock.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Moment {
    milliseconds: i64,
    offset: i16,
}

impl Moment {
    /// A moment from milliseconds since 1970-01-01T00:00:00Z and the minutes by which the local clock is ahead of UTC.
    /// Values that cannot be written are moved to the nearest that can.
    pub fn new(milliseconds: i64, offset_minutes: i16) -> Self {
        let offset = i64::from(offset_minutes).clamp(-WIDEST, WIDEST);
        let margin = MS_PER_DAY;
        Self {
            milliseconds: milliseconds.clamp(
                LEAST_DAY * MS_PER_DAY + margin,
                (LAST_DAY + 1) * MS_PER_DAY - 1 - margin,
            ),
            offset: i16::try_from(offset).unwrap_or(0),
        }
    }

    /// Milliseconds since 1970-01-01T00:00:00Z.
    pub fn milliseconds(self) -> i64 {
        self.milliseconds
    }

    /// Minutes by which the local clock is ahead of UTC.
    pub fn offset_minutes(self) -> i16 {
        self.offset
    }

    /// The day on the calendar on the wall.
    pub fn day(self) -> Day {
        Day {
            since_1970: self.local().div_euclid(MS_PER_DAY),
        }
    }

    /// The time on the clock on the wall, as "10:42".
    pub fn clock(self) -> String {
        let minutes = self.local().rem_euclid(MS_PER_DAY) / MS_PER_MINUTE;
        format!("{:02}:{:02}", minutes / 60, minutes % 60)
    }

    /// The moment so many milliseconds later, by the same clock.
    #[must_use]
    pub fn plus(self, milliseconds: i64) -> Self {
        Self::new(self.milliseconds.saturating_add(milliseconds), self.offset)
    }

    fn local(self) -> i64 {
        self.milliseconds + i64::from(self.offset) * MS_PER_MINUTE
    }
}

impl fmt::Display for Moment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let ms = self.local().rem_euclid(MS_PER_DAY);
        let sign = if self.offset < 0 { '-' } else { '+' };
        let offset = self.offset.unsigned_abs();
        write!(
            f,
            "{}T{:02}:{:02}:{:02}.{:03}{sign}{:02}:{:02}",
            self.day(),
            ms / 3_600_000,
            ms / MS_PER_MINUTE % 60,
            ms / 1000 % 60,
            ms % 1000,
            offset / 60,
            offset % 60,
        )
    }
}

impl fmt::Debug for Moment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for Moment {
    type Err = MomentError;

    fn from_str(text: &str) -> Result<Self, MomentError> {
        parse(text).ok_or_else(|| MomentError::Moment(text.chars().take(40).collect()))
    }
}

fn parse(text: &str) -> Option<Moment> {
    let day: Day = text.get(..10)?.parse().ok()?;
    if !matches!(text.as_bytes().get(10)?, b'T' | b't' | b' ') {
        return None;
    }
    let two = |at: usize| {
        let part = text.get(at..at + 2)?;
        part.bytes()
            .all(|b| b.is_ascii_digit())
            .then(|| part.parse::<i64>().ok())
            .flatten()
    };
    let colon = |at: usize| (text.as_bytes().get(at) == Some(&b':')).then_some(());
    let hour = two(11).filter(|h| *h < 24)?;
    colon(13)?;
    let minute = two(14).filter(|m| *m < 60)?;
    colon(16)?;
    let second = two(17).filter(|s| *s < 60)?;
    let rest = text.get(19..)?;
    let (fraction, offset) = match rest.strip_prefix('.') {
        Some(rest) => {
            let end = rest.bytes().position(|b| !b.is_ascii_digit())?;
            rest.split_at(end)
        }
        None => ("", rest),
    };
    if rest.starts_with('.') && fraction.is_empty() {
        return None;
    }
    let millis: i64 = format!("{fraction:0<3}").get(..3)?.parse().ok()?;
    let offset = if offset.eq_ignore_ascii_case("z") {
        0
    } else {
        let sign = match offset.as_bytes().first()? {
            b'+' => 1,
            b'-' => -1,
            _ => return None,
        };
        let at = text.len() - offset.len();
        if offset.len() != 6 {
            return None;
        }
        colon(at + 3)?;
        sign * (two(at + 1).filter(|h| *h < 24)? * 60 + two(at + 4).filter(|m| *m < 60)?)
    };
    let local = day.since_1970 * MS_PER_DAY
        + hour * 3_600_000
        + minute * MS_PER_MINUTE
        + second * 1000
        + millis;
    let moment = Moment::new(local - offset * MS_PER_MINUTE, i16::try_from(offset).ok()?);
    (moment.local() == local).then_some(moment)
}

macro_rules! as_text {
    ($type:ident) => {
        impl serde::Serialize for $type {
            fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.collect_str(self)
            }
        }
        impl<'de> serde::Deserialize<'de> for $type {
            fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                let text = <std::borrow::Cow::<'de, str> as serde::Deserialize>::deserialize(deserializer)?;
                text.parse().map_err(serde::de::Error::custom)
            }
        }
        impl schemars::JsonSchema for $type {
            fn schema_name() -> std::borrow::Cow<'static, str> {
                stringify!($type).into()
            }
            fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
                schemars::json_schema!({ "type": "string" })
            }
        }
    };
}
pub(crate) use as_text;

as_text!(Day);
as_text!(Moment);

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn days_of_the_calendar() {
        let day = |text: &str| text.parse::<Day>();
        assert_eq!(day("1970-01-01").unwrap().since_1970, 0);
        // 2000 is a leap year, 1900 is not: 2000-03-01 is day 11017.
        assert_eq!(day("2000-03-01").unwrap().since_1970, 11_017);
        assert!(day("2000-02-29").is_ok());
        for wrong in [
            "1900-02-29",
            "2026-02-30",
            "2026-13-01",
            "26-1-1",
            "",
            "2026-01-01x",
            "+026-01-01",
        ] {
            assert!(day(wrong).is_err(), "{wrong}");
        }
        assert_eq!(day("2026-02-25").unwrap().plus(7).to_string(), "2026-03-04");
    }

    #[test]
    fn a_moment_keeps_its_offset() {
        let text = "2026-03-12T00:14:22.125+01:30";
        let moment: Moment = text.parse().unwrap();
        assert_eq!(moment.to_string(), text);
        assert_eq!(moment.day().to_string(), "2026-03-12");
        assert_eq!(moment.clock(), "00:14");
        let utc: Moment = "2026-03-11T22:44:22.125Z".parse().unwrap();
        assert_eq!(utc.milliseconds(), moment.milliseconds());
        for wrong in [
            "2026-03-12",
            "2026-03-12T25:00:00Z",
            "2026-03-12T10:00:00",
            "2026-03-12T10:00:00.Z",
            "2026-03-12T1é:00:00Z",
            "0001-01-01T00:00:00+23:59",
        ] {
            assert!(wrong.parse::<Moment>().is_err(), "{wrong}");
        }
    }

    proptest! {
        #[test]
        fn what_is_written_is_read(ms in any::<i64>(), offset in any::<i16>(), days in any::<i64>()) {
            let moment = Moment::new(ms, offset);
            prop_assert_eq!(moment.to_string().parse::<Moment>().unwrap(), moment);
            let day = moment.day().plus(days);
            prop_assert_eq!(day.to_string().parse::<Day>().unwrap(), day);
        }

        #[test]
        fn no_text_panics(text in ".{0,40}") {
            let _ = text.parse::<Moment>();
            let _ = text.parse::<Day>();
        }
    }
}
