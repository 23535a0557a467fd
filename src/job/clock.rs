//! The time of a record: RFC 3339, given or taken from the machine.

use super::JobError;
use crate::rules::time::Instant;
use jiff::Timestamp;

/// Now in UTC, as `2026-05-04T10:30:00Z`.
pub(crate) fn now() -> String {
    Timestamp::now().strftime("%Y-%m-%dT%H:%M:%SZ").to_string()
}

/// A time as a user gave it, or now.
///
/// # Errors
/// A time that is none.
pub(crate) fn given_or_now(given: Option<&str>) -> Result<String, JobError> {
    match given {
        None => Ok(now()),
        Some(text) => {
            Instant::parse(text).map_err(|error| JobError::Time(error.to_string()))?;
            Ok(text.trim().to_owned())
        }
    }
}

/// A time as a sheet of paper shows it: `2026-05-04 10:30`.
pub(crate) fn short(time: &str) -> String {
    let time = time.replacen(['T', 't'], " ", 1);
    time.chars().take(16).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn now_is_a_whole_second_in_utc() {
        let now = now();
        assert!(
            now.len() == "2026-05-04T10:30:00Z".len() && now.ends_with('Z'),
            "{now}"
        );
        assert!(Instant::parse(&now).is_ok(), "{now}");
    }

    #[test]
    fn a_sheet_shows_minutes_and_what_is_no_time_is_refused() {
        assert_eq!(short("2026-05-04T10:30:00Z"), "2026-05-04 10:30");
        assert!(given_or_now(Some("yesterday")).is_err());
    }
}
