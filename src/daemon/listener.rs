//! Where HTTP is served: who may be reached at all, TLS, and the limits on connections.

use std::net::{SocketAddr, TcpListener};
use std::path::Path;
use std::sync::Arc;

use axum::Router;
use axum::extract::connect_info::IntoMakeServiceWithConnectInfo;
use axum_server::Handle;
use axum_server::tls_rustls::{RustlsAcceptor, RustlsConfig};
use tokio::task::JoinHandle;

use super::DaemonError;
use super::door::Door;
use crate::config::{Http, TlsFiles};
use crate::limits;
use crate::registry::Keys;
use crate::web::Reach;

/// The port of HTTPS (RFC 9110, section 4.2.2).
const HTTPS: u16 = 443;

/// Whether the service may be reached there by what is configured and who has an account.
///
/// # Errors
/// What is missing.
pub fn reach(address: SocketAddr, http: &Http, keys: &Keys) -> Result<Reach, DaemonError> {
    let reach = Reach {
        beyond: !address.ip().to_canonical().is_loopback(),
        tls: http.tls.is_some(),
        behind_proxy: http.behind_proxy,
        // It holds for all ports of the machine's name (RFC 6797, section 8.3): only a service on
        // the port of HTTPS itself may speak for the machine.
        tls_alone: http.tls.is_some() && address.port() == HTTPS,
    };
    let mut missing = Vec::new();
    if reach.beyond && !reach.tls && !reach.behind_proxy {
        missing.push(
            "a certificate (`tls_cert` and `tls_key` in `[http]`), or `behind_proxy = true` where \
             a proxy speaks TLS",
        );
    }
    if (reach.beyond || reach.behind_proxy) && keys.accounts.is_empty() {
        missing.push("an account (`ohmward account add NAME --role manage`)");
    }
    match missing.is_empty() {
        true => Ok(reach),
        false => Err(DaemonError::Exposed { address, missing: missing.join(", and ") }),
    }
}

/// Reads a certificate and its key.
pub(super) async fn tls(files: &TlsFiles, data: &Path) -> Result<RustlsConfig, DaemonError> {
    let (cert, key) = (data.join(&files.cert), data.join(&files.key));
    let loaded = RustlsConfig::from_pem_file(&cert, &key).await;
    let config = loaded.map_err(|why| DaemonError::Certificate { cert, key, why })?;
    // HTTP/1.1 alone is spoken here.
    let mut inner = (*config.get_inner()).clone();
    inner.alpn_protocols = vec![b"http/1.1".to_vec()];
    config.reload_from_config(Arc::new(inner));
    Ok(config)
}

/// What a person should know of certificate and key before they are used, in words.
pub fn certificate_problems(http: &Http, data: &Path) -> Vec<String> {
    let Some(files) = &http.tls else {
        return Vec::new();
    };
    let mut problems = Vec::new();
    let runtime = tokio::runtime::Builder::new_current_thread().build();
    match runtime.map(|runtime| runtime.block_on(tls(files, data))) {
        Err(why) => problems.push(why.to_string()),
        Ok(Err(why)) => problems.push(why.to_string()),
        Ok(Ok(_)) => {}
    }
    let key = data.join(&files.key);
    let mode =
        std::fs::metadata(&key).map(|m| std::os::unix::fs::PermissionsExt::mode(&m.permissions()));
    if mode.is_ok_and(|mode| mode & 0o007 != 0) {
        problems.push(format!(
            "http: everybody on this machine may read the key `{}` (chmod o= it)",
            key.display()
        ));
    }
    problems
}

/// The listener while it serves.
pub(super) struct Serving {
    /// Where.
    pub(super) address: SocketAddr,
    task: JoinHandle<std::io::Result<()>>,
    handle: Handle<SocketAddr>,
    tls: Option<RustlsConfig>,
}

impl Serving {
    /// Begins to serve.
    pub(super) async fn start(
        listener: TcpListener,
        http: &Http,
        data: &Path,
        reach: Reach,
        routes: Router,
    ) -> Result<Self, DaemonError> {
        let tls = match &http.tls {
            Some(files) => Some(tls(files, data).await?),
            None => None,
        };
        let address = listener.local_addr()?;
        let handle = Handle::new();
        let mut server = axum_server::from_tcp(listener)?
            .http1_only()
            .handle(handle.clone())
            .acceptor(Door::new(reach));
        server
            .http_builder()
            .http1()
            .header_read_timeout(limits::HEAD_TIME)
            .max_headers(limits::HEADERS)
            .max_buf_size(limits::HEAD_BYTES);
        let routes: IntoMakeServiceWithConnectInfo<_, SocketAddr> =
            routes.into_make_service_with_connect_info();
        let task = match &tls {
            None => tokio::spawn(server.serve(routes)),
            Some(config) => {
                let config = config.clone();
                let server = server.map(|door| RustlsAcceptor::new(config).acceptor(door));
                tokio::spawn(server.serve(routes))
            }
        };
        Ok(Serving { address, task, handle, tls })
    }

    /// How it is spoken to.
    pub(super) fn scheme(&self) -> &'static str {
        if self.tls.is_some() { "https" } else { "http" }
    }

    /// Takes certificate and key from their files again; wrong ones change nothing.
    pub(super) async fn renew(&self, http: &Http, data: &Path) {
        if http.tls.is_some() != self.tls.is_some() {
            tracing::warn!("`http.tls_cert` and `http.tls_key` come and go with the next start");
        }
        if let (Some(current), Some(files)) = (&self.tls, &http.tls) {
            match tls(files, data).await {
                Ok(new) => current.reload_from_config(new.get_inner()),
                Err(why) => tracing::error!("the certificate is kept as it was: {why}"),
            }
        }
    }

    /// Takes no more connections, and lets requests that were begun come to their end; what is to
    /// be waited for.
    pub(super) fn close(self) -> JoinHandle<std::io::Result<()>> {
        self.handle.graceful_shutdown(None);
        self.task
    }
}
