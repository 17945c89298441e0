//! What is refused before anybody looks at who sends it: other sites' pages that send changes, and
//! names that were bent towards this machine.

use std::net::{IpAddr, SocketAddr};

use axum::extract::{ConnectInfo, Request};
use axum::http::uri::Authority;
use axum::http::{HeaderMap, StatusCode, Version, header};

use super::{Reach, is_safe};
use crate::web::refusal::Refusal;

/// The site a browser sends a request from, in a word (Fetch Metadata Request Headers, W3C).
const FETCH_SITE: &str = "sec-fetch-site";

/// Where proxies note whom they asked for, the nearest last.
const FORWARDED_FOR: &str = "x-forwarded-for";

/// Checks where a request comes from.
pub(in crate::web) fn admit(reach: Reach, request: &Request) -> Result<(), Refusal> {
    let headers = request.headers();
    // A page of another site whose name was bent towards this machine sends that site's name.
    if !reach.beyond && !reach.behind_proxy && !names(request).all(is_loopback) {
        return Err(Refusal::new(
            StatusCode::MISDIRECTED_REQUEST,
            "expected a `Host` that names this machine, such as `localhost` or `127.0.0.1`",
        ));
    }
    if !is_safe(request.method()) && !is_same_origin(headers) {
        return Err(Refusal::new(
            StatusCode::FORBIDDEN,
            "a page of another site sent this: changes are taken from this service's own pages \
             and from programs",
        ));
    }
    Ok(())
}

/// Every name under which the service is asked; an empty one where none is given, which only the
/// HTTP that no browser speaks any more allows (RFC 9112, section 3.2).
fn names(request: &Request) -> impl Iterator<Item = &str> {
    let mut hosts = request.headers().get_all(header::HOST).iter().peekable();
    let missing = hosts.peek().is_none() && request.version() > Version::HTTP_10;
    let hosts = hosts.map(|host| host.to_str().unwrap_or_default());
    hosts.chain(request.uri().authority().map(Authority::as_str)).chain(missing.then_some(""))
}

fn is_loopback(name: &str) -> bool {
    let Ok(authority) = name.parse::<Authority>() else {
        return false;
    };
    let host = authority.host().to_ascii_lowercase();
    let bare = host.trim_start_matches('[').trim_end_matches(']');
    match bare.parse::<IpAddr>() {
        Ok(address) => address.to_canonical().is_loopback(),
        Err(_) => host == "localhost" || host.ends_with(".localhost"),
    }
}

/// Browsers say where a change comes from; programs say nothing.
fn is_same_origin(headers: &HeaderMap) -> bool {
    let text = |name: &str| headers.get(name).map(|value| value.to_str().unwrap_or_default());
    if let Some(site) = text(FETCH_SITE) {
        return matches!(site, "same-origin" | "none");
    }
    match text(header::ORIGIN.as_str()) {
        None => true,
        Some(origin) => {
            let origin = origin.split_once("://").map(|(_, authority)| authority);
            let host = text(header::HOST.as_str());
            origin.zip(host).is_some_and(|(origin, host)| origin.eq_ignore_ascii_case(host))
        }
    }
}

/// Who sent a request; behind a proxy the last address that was noted on the way, which is the one
/// that the proxy itself saw.
pub(in crate::web) fn client(reach: Reach, request: &Request) -> SocketAddr {
    let peer = request.extensions().get::<ConnectInfo<SocketAddr>>();
    let peer = peer.map_or(SocketAddr::from(([0, 0, 0, 0], 0)), |ConnectInfo(peer)| *peer);
    if !reach.behind_proxy {
        return peer;
    }
    let noted = request.headers().get_all(FORWARDED_FOR).iter().next_back();
    let noted =
        noted.and_then(|value| value.to_str().ok()?.rsplit(',').next()?.trim().parse().ok());
    noted.map_or(peer, |address: IpAddr| SocketAddr::new(address, 0))
}

#[cfg(test)]
mod tests {
    use axum::body::Body;

    use super::*;

    fn request(method: &str, uri: &str, headers: &[(&str, &str)]) -> Request {
        let mut request = Request::builder().method(method).uri(uri);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        request.body(Body::empty()).unwrap()
    }

    #[test]
    fn this_machine_is_asked_by_its_own_names_alone() {
        let asked = |uri: &str, host: &[(&str, &str)]| {
            admit(Reach::LOCAL, &request("GET", uri, host)).is_ok()
        };
        for host in ["localhost", "LOCALHOST:8040", "127.0.0.1:8040", "[::1]:8040", "a.localhost"] {
            assert!(asked("/", &[("host", host)]), "{host}");
        }
        let others =
            ["", "harbour.example", "127.0.0.1.harbour.example", "192.0.2.1", "localhost."];
        for host in others {
            assert!(!asked("/", &[("host", host)]), "{host}");
        }
        assert!(!asked("/", &[]));
        assert!(!asked("/", &[("host", "localhost"), ("host", "harbour.example")]));
        assert!(!asked("http://harbour.example/", &[("host", "localhost")]));
        let beyond = Reach { beyond: true, tls: true, ..Reach::LOCAL };
        let named = request("GET", "/", &[("host", "harbour.example")]);
        assert!(admit(beyond, &named).is_ok());
    }

    #[test]
    fn changes_come_from_own_pages_and_programs() {
        let sent = |method: &str, more: (&str, &str)| {
            let headers = [("host", "localhost:8040"), more];
            admit(Reach::LOCAL, &request(method, "/v1/readings", &headers)).is_ok()
        };
        for more in [
            ("accept", "*/*"),
            ("sec-fetch-site", "same-origin"),
            ("sec-fetch-site", "none"),
            ("origin", "http://localhost:8040"),
        ] {
            assert!(sent("POST", more), "{more:?}");
        }
        for more in [
            ("sec-fetch-site", "cross-site"),
            ("sec-fetch-site", "same-site"),
            ("origin", "null"),
            ("origin", "http://harbour.example"),
            ("origin", "http://localhost:3000"),
        ] {
            assert!(!sent("POST", more) && !sent("DELETE", more), "{more:?}");
            assert!(sent("GET", more), "{more:?}");
        }
    }

    #[test]
    fn only_behind_a_proxy_is_a_noted_address_believed() {
        let noted = [("x-forwarded-for", "198.51.100.9, 203.0.113.5")];
        let request = request("GET", "/", &noted);
        assert!(client(Reach::LOCAL, &request).ip().is_unspecified());
        let behind = Reach { behind_proxy: true, ..Reach::LOCAL };
        assert_eq!(client(behind, &request).ip().to_string(), "203.0.113.5");
    }
}
