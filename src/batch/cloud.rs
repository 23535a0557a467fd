//! Object stores: `s3://`, `gs://`, `az://` and `file://`.

use object_store::{ObjectStore, ObjectStoreExt as _, ObjectStoreScheme, parse_url_opts};
use std::fmt;
use std::io::Write as _;
use tempfile::NamedTempFile;
use tokio::runtime::{Builder, Runtime};

/// The store fetched from last: requests of one run mostly name one.
#[derive(Default)]
pub(super) struct Stores {
    runtime: Option<Runtime>,
    last: Option<(String, Box<dyn ObjectStore>)>,
}

impl fmt::Debug for Stores {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let last = self.last.as_ref().map(|(name, _)| name);
        f.debug_struct("Stores").field("last", &last).finish()
    }
}

impl Stores {
    /// A copy of the file at `address`. Keys and regions come from the environment, under the names
    /// that each store's own tools use.
    ///
    /// # Errors
    /// In plain words: the address cannot be used, the file is too large, or the store does not
    /// give it.
    pub(super) fn fetch(
        &mut self,
        address: &str,
        most_bytes: u64,
    ) -> Result<NamedTempFile, String> {
        let failed = |error: &dyn fmt::Display| format!("cannot fetch {address}: {error}");
        let Ok(url) = address.parse() else {
            return Err(failed(&"it is no address; write it like s3://BUCKET/PATH"));
        };
        let (_, place) = ObjectStoreScheme::parse(&url)
            .map_err(|_| failed(&"only s3://, gs://, az:// and file:// are known"))?;
        let name = store_name(address);
        if self.last.as_ref().is_none_or(|(last, _)| *last != name) {
            // Names that are no text are no settings of any store.
            let settings = std::env::vars_os().filter_map(|(key, value)| {
                Some((key.into_string().ok()?, value.into_string().ok()?))
            });
            let (store, _) = parse_url_opts(&url, settings).map_err(|error| failed(&error))?;
            self.last = Some((name, store));
        }
        let Some((_, store)) = &self.last else {
            return Err(failed(&"no store"));
        };
        if self.runtime.is_none() {
            let runtime = Builder::new_current_thread().enable_all().build();
            self.runtime = Some(runtime.map_err(|error| failed(&error))?);
        }
        let Some(runtime) = &self.runtime else {
            return Err(failed(&"no runtime"));
        };
        let bytes = runtime
            .block_on(async {
                let got = store.get(&place).await.map_err(|error| in_a_line(&error))?;
                let size = got.meta.size;
                if size > most_bytes {
                    return Err(format!(
                        "it has {} MB; at most {} MB are opened",
                        size.div_ceil(1_000_000),
                        most_bytes / 1_000_000
                    ));
                }
                got.bytes().await.map_err(|error| in_a_line(&error))
            })
            .map_err(|error| failed(&error))?;
        let mut file = NamedTempFile::new().map_err(|error| failed(&error))?;
        file.write_all(&bytes).map_err(|error| failed(&error))?;
        Ok(file)
    }
}

/// A store's error without the whole answer of its server.
fn in_a_line(error: &object_store::Error) -> String {
    if matches!(error, object_store::Error::NotFound { .. }) {
        return "it is not there".into();
    }
    let text = error.to_string();
    text.lines().next().unwrap_or_default().to_owned()
}

/// Scheme and bucket of an address.
fn store_name(address: &str) -> String {
    let (scheme, rest) = address.split_once("://").unwrap_or(("", address));
    let bucket = rest.split('/').next().unwrap_or_default();
    format!("{scheme}://{bucket}")
}
