//! The reply as it is sent: in our words, or in the shop's own around them.

use super::reply::reply_parts;
use crate::Result;
use crate::batch::BatchError;
use crate::batch::shown::shown;
use crate::batch::summary::BatchResult;
use crate::files;
use std::path::Path;

/// What a template may hold.
const PLACES: [&str; 8] = [
    "customer", "order", "set", "see", "cannot", "send", "cautions", "reply",
];

/// Longer files are no letters.
const MOST_BYTES: u64 = 1 << 20;

/// The shop's letter; without one, ours.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Letter {
    template: Option<String>,
}

impl Letter {
    /// Reads a template.
    ///
    /// # Errors
    /// A file that is no text, names a place that there is not, or leaves out the cautions.
    pub(crate) fn read(path: &Path) -> Result<Self> {
        let failed = |detail: String| BatchError::ReplyTemplate {
            path: shown(path),
            detail,
        };
        let text = files::read_text(path, MOST_BYTES).map_err(|error| failed(error.to_string()))?;
        let text = text.trim_start_matches('\u{feff}').to_owned();
        check(&text).map_err(failed)?;
        Ok(Self {
            template: Some(text),
        })
    }

    /// The reply for one set, ending with a newline.
    pub(crate) fn reply(&self, lot: &BatchResult, set: usize) -> String {
        let about = &lot.plan.sets[set];
        let parts = reply_parts(lot, set).parts;
        let client = &about.client;
        let customer = client.customer.as_deref().unwrap_or_default();
        let order = client.order.as_deref().unwrap_or_default();
        let whole = parts
            .iter()
            .filter(|part| !part.is_empty())
            .cloned()
            .collect::<Vec<_>>()
            .join("\n");
        let Some(template) = &self.template else {
            let hello = match customer {
                "" => String::new(),
                name => format!("Dear {name},\n\n"),
            };
            let about = match order {
                "" => String::new(),
                order => format!(" Your order: {order}."),
            };
            return format!("{hello}Thank you for the photos.{about}\n\n{whole}");
        };
        let [see, cannot, send, cautions] = &parts;
        let values = [
            customer,
            order,
            &about.name,
            see,
            cannot,
            send,
            cautions,
            &whole,
        ];
        let reply = filled(template, |place| {
            let at = PLACES.iter().position(|known| *known == place)?;
            Some(values[at].trim_end())
        });
        format!("{}\n", reply.trim_end())
    }
}

/// Every `{place}` filled in, what was filled in not looked at again.
fn filled<'v>(template: &str, value: impl Fn(&str) -> Option<&'v str>) -> String {
    let mut out = String::new();
    let mut rest = template;
    while let Some(open) = rest.find('{') {
        let (before, after) = rest.split_at(open);
        out.push_str(before);
        let end = after.find('}');
        match end.and_then(|end| Some((end, value(&after[1..end])?))) {
            Some((end, value)) => {
                out.push_str(value);
                rest = &after[end + 1..];
            }
            None => {
                out.push('{');
                rest = &after[1..];
            }
        }
    }
    out + rest
}

fn check(template: &str) -> std::result::Result<(), String> {
    let mut named = Vec::new();
    for after in template.split('{').skip(1) {
        let place = after.split('}').next().unwrap_or_default();
        if !PLACES.contains(&place) || !after.contains('}') {
            let known: Vec<String> = PLACES.iter().map(|place| format!("{{{place}}}")).collect();
            return Err(format!(
                "`{{{}` is no place to fill in; there are {}",
                place.chars().take(30).collect::<String>(),
                known.join(", ")
            ));
        }
        named.push(place);
    }
    let has = |place| named.contains(&place);
    let is_whole = has("reply") || (has("see") && has("cautions"));
    if !is_whole {
        return Err(
            "it must hold {reply}, or at least {see} and {cautions}: nobody is told to move gears without the cautions"
                .into(),
        );
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_filled_once_and_unknown_ones_are_named() {
        let told = |place: &str| match place {
            "customer" => Some("{order}"),
            "see" => Some("high"),
            _ => None,
        };
        assert_eq!(
            filled("Hello {customer}: {see}. {", told),
            "Hello {order}: high. {"
        );
        assert!(check("Hi {customer}, {reply}").is_ok());
        assert!(check("{see}{send}{cautions}").is_ok());
        assert!(
            check("Hi {name}, {reply}")
                .unwrap_err()
                .contains("{customer}")
        );
        assert!(check("Hi {see}").unwrap_err().contains("{cautions}"));
        assert!(check("Hi {reply").is_err());
    }
}
