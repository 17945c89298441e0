//! The table `[http]`: where the service is reached, and by whom.

use std::net::SocketAddr;
use std::path::PathBuf;

use serde::Deserialize;

/// Where HTTP is served, as meant.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Http {
    /// The address; none: the default.
    pub listen: Option<SocketAddr>,
    /// Certificate and key; none: without TLS.
    pub tls: Option<TlsFiles>,
    /// Whether all requests come through a proxy that speaks TLS and tells the client's address.
    pub behind_proxy: bool,
}

/// Files of a certificate.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TlsFiles {
    /// The certificate and those up to its root, as PEM.
    pub cert: PathBuf,
    /// Its private key, as PEM.
    pub key: PathBuf,
}

/// `[http]` as written.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct Table {
    listen: Option<SocketAddr>,
    tls_cert: Option<PathBuf>,
    tls_key: Option<PathBuf>,
    behind_proxy: bool,
}

impl Table {
    pub(super) fn meant(self) -> Result<Http, String> {
        let tls = match (self.tls_cert, self.tls_key) {
            (None, None) => None,
            (Some(cert), Some(key)) => Some(TlsFiles { cert, key }),
            _ => return Err("http: `tls_cert` and `tls_key`: expected both or neither".into()),
        };
        Ok(Http { listen: self.listen, tls, behind_proxy: self.behind_proxy })
    }
}
