//! Photos by path, or by address from an object store.

use crate::photo::Limits;
use std::path::{Path, PathBuf};
#[cfg(feature = "cloud")]
use tempfile::NamedTempFile;

/// A file at hand.
#[derive(Debug)]
pub(crate) enum Fetched {
    /// It lies on this machine.
    Here(PathBuf),
    /// A copy that goes when this is dropped.
    #[cfg(feature = "cloud")]
    Copy(NamedTempFile),
}

impl Fetched {
    /// Where it is.
    pub(crate) fn path(&self) -> &Path {
        match self {
            Self::Here(path) => path,
            #[cfg(feature = "cloud")]
            Self::Copy(file) => file.path(),
        }
    }
}

/// Fetches files, and keeps the connection to the store it fetched from last.
#[derive(Debug, Default)]
pub(crate) struct Fetcher {
    #[cfg(feature = "cloud")]
    stores: super::cloud::Stores,
}

impl Fetcher {
    /// A path as it is; an address (`s3://`, `gs://`, `az://`, `file://`) as a copy.
    ///
    /// # Errors
    /// In plain words: the address cannot be used, or the store does not give the file.
    pub(crate) fn fetch(&mut self, name: &str) -> Result<Fetched, String> {
        if name.contains("://") {
            return self.fetch_address(name, Limits::default().bytes);
        }
        let path = PathBuf::from(name);
        match std::fs::metadata(&path) {
            Ok(_) => Ok(Fetched::Here(path)),
            Err(error) => Err(format!("cannot read {name}: {error}")),
        }
    }

    #[cfg(feature = "cloud")]
    fn fetch_address(&mut self, address: &str, most_bytes: u64) -> Result<Fetched, String> {
        self.stores.fetch(address, most_bytes).map(Fetched::Copy)
    }

    #[cfg(not(feature = "cloud"))]
    #[allow(clippy::unused_self)]
    fn fetch_address(&mut self, address: &str, _most_bytes: u64) -> Result<Fetched, String> {
        Err(format!(
            "cannot fetch {address}: this program was built for paths on this machine only; build it with `--features cloud`"
        ))
    }
}
