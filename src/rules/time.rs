//! Instants as photos and logs write them, only to tell which of two came first.

use super::RulesError;
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

/// A point in time, in UTC or, without an offset, in the clock of the workshop.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Instant(Timestamp);

impl Instant {
    /// Reads an RFC 3339 time; the seconds and the offset may be missing.
    ///
    /// # Errors
    /// Anything else.
    pub(crate) fn parse(text: &str) -> Result<Self, RulesError> {
        Self::read(text.trim()).ok_or_else(|| {
            RulesError::Job(format!(
                "`{text}` is no time; write it like 2026-05-04T10:30:00 or with an offset, 2026-05-04T10:30:00+02:00"
            ))
        })
    }

    fn read(text: &str) -> Option<Self> {
        // A day alone, which the calendar would take for its first second, is no time.
        text.split_once(['T', 't', ' '])?;
        let at = text.parse::<Timestamp>().or_else(|_| {
            let local: DateTime = text.parse()?;
            TimeZone::UTC.to_timestamp(local)
        });
        at.ok().map(Self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 3339, 5.8: the same instant written with two offsets, and counts of `date -u -d … +%s`.
    #[test]
    fn instants_agree_with_the_standard() {
        let at = |text| Instant::parse(text).unwrap();
        assert_eq!(at("1996-12-19T16:39:57-08:00"), at("1996-12-20T00:39:57Z"));
        assert_eq!(at("1970-01-01T00:00:00Z").0.as_second(), 0);
        assert_eq!(at("2026-05-04T10:30:00Z").0.as_second(), 1_777_890_600);
        assert_eq!(
            at("2024-02-29T23:59:59Z").0.as_second() + 1,
            at("2024-03-01T00:00:00Z").0.as_second()
        );
        assert!(at("2026-05-04 10:30") < at("2026-05-04T10:30:01.5"));
        assert_eq!(at("2026-05-04t10:30"), at("2026-05-04T12:30+02:00"));
        assert_eq!(at("2026-05-04 10:30z"), at("2026-05-04T10:30:00"));
    }

    #[test]
    fn what_is_no_time_is_refused() {
        for text in [
            "",
            "yesterday",
            "2026-13-01T00:00",
            "2026-05-04",
            "2026-05-04T25:00:00",
            "+T:",
        ] {
            assert!(Instant::parse(text).is_err(), "{text}");
        }
    }
}
