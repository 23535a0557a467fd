//! The time of a record: RFC 3339, given or taken from the machine.

use super::JobError;
use crate::rules::time::Instant;
use std::time::{SystemTime, UNIX_EPOCH};

/// Now in UTC, as `2026-05-04T10:30:00Z`.
pub fn now() -> String {
    let seconds = SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .map_or(0, |since| since.as_secs());
    written(seconds)
}

/// A time as a user gave it, or now.
///
/// # Errors
/// A time that is none.
pub fn given_or_now(given: Option<&str>) -> Result<String, JobError> {
    match given {
        None => Ok(now()),
        Some(text) => {
            Instant::parse(text).map_err(|error| JobError::Time(error.to_string()))?;
            Ok(text.trim().to_owned())
        }
    }
}

/// Seconds since 1970 as a UTC time, by counting days in the Gregorian calendar from March on.
fn written(seconds: u64) -> String {
    let (days, rest) = (seconds / 86_400, seconds % 86_400);
    // Days since 0000-03-01.
    let days = days + 719_468;
    let era = days / 146_097;
    let of_era = days % 146_097;
    let year_of_era = (of_era - of_era / 1_460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let month_from_march = (5 * of_year + 2) / 153;
    let day = of_year - (153 * month_from_march + 2) / 5 + 1;
    let month = if month_from_march < 10 {
        month_from_march + 3
    } else {
        month_from_march - 9
    };
    let year = era * 400 + year_of_era + u64::from(month <= 2);
    format!(
        "{year:04}-{month:02}-{day:02}T{:02}:{:02}:{:02}Z",
        rest / 3600,
        rest / 60 % 60,
        rest % 60
    )
}

/// A time as a sheet of paper shows it: `2026-05-04 10:30`.
pub fn short(time: &str) -> String {
    let time = time.replacen(['T', 't'], " ", 1);
    time.chars().take(16).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Counts of `date -u -d … +%s`.
    #[test]
    fn seconds_become_dates() {
        assert_eq!(written(0), "1970-01-01T00:00:00Z");
        assert_eq!(written(1_777_890_600), "2026-05-04T10:30:00Z");
        assert_eq!(written(951_782_399), "2000-02-28T23:59:59Z");
        assert_eq!(written(951_782_400), "2000-02-29T00:00:00Z");
        assert_eq!(short("2026-05-04T10:30:00Z"), "2026-05-04 10:30");
        assert!(given_or_now(Some("yesterday")).is_err());
    }
}
