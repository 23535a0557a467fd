//! Instants as photos and logs write them, only to tell which of two came first.

use super::RulesError;

/// Seconds since 1970-01-01T00:00:00, in UTC or, without an offset, in the clock of the workshop.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Instant(i64);

impl Instant {
    /// Reads an RFC 3339 time; the seconds and the offset may be missing.
    ///
    /// # Errors
    /// Anything else.
    pub fn parse(text: &str) -> Result<Self, RulesError> {
        Self::read(text.trim()).ok_or_else(|| {
            RulesError::Job(format!(
                "`{text}` is no time; write it like 2026-05-04T10:30:00 or with an offset, 2026-05-04T10:30:00+02:00"
            ))
        })
    }

    fn read(text: &str) -> Option<Self> {
        let (date, time) = text.split_once(['T', 't', ' '])?;
        let [year, month, day] = numbers(date, '-')?;
        let zone = time.find(['Z', 'z', '+', '-']).unwrap_or(time.len());
        let (clock, zone) = time.split_at(zone);
        let clock = clock.split('.').next()?;
        let [hour, minute, second] = match clock.matches(':').count() {
            1 => numbers::<2>(clock, ':').map(|[h, m]| [h, m, 0])?,
            _ => numbers(clock, ':')?,
        };
        let east_minutes = match zone.get(..1) {
            None | Some("Z" | "z") => 0,
            Some(sign) => {
                let [hours, minutes] = numbers(&zone[1..], ':')?;
                (hours * 60 + minutes) * if sign == "-" { -1 } else { 1 }
            }
        };
        let plausible = (1..=12).contains(&month)
            && (1..=31).contains(&day)
            && (1970..=9999).contains(&year)
            && hour < 24
            && minute < 60
            && second <= 60;
        plausible.then(|| {
            Self(
                days_from_1970(year, month, day) * 86_400
                    + (hour * 60 + minute - east_minutes) * 60
                    + second,
            )
        })
    }
}

fn numbers<const N: usize>(text: &str, between: char) -> Option<[i64; N]> {
    let parts: Vec<i64> = text
        .split(between)
        .map(|part| {
            let digits = !part.is_empty() && part.len() <= 4;
            (digits && part.bytes().all(|b| b.is_ascii_digit()))
                .then(|| part.parse().ok())
                .flatten()
        })
        .collect::<Option<_>>()?;
    parts.try_into().ok()
}

/// Days from 1970-01-01 in the Gregorian calendar, counting years from March so that the leap day
/// is the last of its year.
fn days_from_1970(year: i64, month: i64, day: i64) -> i64 {
    let (year, month) = if month < 3 {
        (year - 1, month + 9)
    } else {
        (year, month - 3)
    };
    let whole_days = 365 * year + year / 4 - year / 100 + year / 400;
    whole_days + (153 * month + 2) / 5 + day - 1 - 719_468
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 3339, 5.8: the same instant written with two offsets, and counts of `date -u -d … +%s`.
    #[test]
    fn instants_agree_with_the_standard() {
        let at = |text| Instant::parse(text).unwrap();
        assert_eq!(at("1996-12-19T16:39:57-08:00"), at("1996-12-20T00:39:57Z"));
        assert_eq!(at("1970-01-01T00:00:00Z").0, 0);
        assert_eq!(at("2026-05-04T10:30:00Z").0, 1_777_890_600);
        assert_eq!(
            at("2024-02-29T23:59:59Z").0 + 1,
            at("2024-03-01T00:00:00Z").0
        );
        assert!(at("2026-05-04 10:30") < at("2026-05-04T10:30:01.5"));
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
