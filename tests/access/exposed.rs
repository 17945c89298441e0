//! Beyond this machine: refused without accounts and TLS, and what TLS and a proxy change.

use std::fs;
use std::net::TcpListener;
use std::sync::Arc;

use rcgen::{CertificateParams, CertifiedIssuer, IsCa, KeyPair};
use ureq::tls::{Certificate, RootCerts, TlsConfig};

use crate::ask::{PASSWORD, ask};
use crate::running::{Daemon, Place, until};

/// An address of this machine where nobody else serves HTTPS.
const OWN: &str = "127.0.0.77";

/// A root and a certificate of its own for `localhost`, in the data folder; the root as PEM.
fn certificates(place: &Place, name: &str) -> String {
    let mut root = CertificateParams::new(Vec::new()).unwrap();
    root.is_ca = IsCa::Ca(rcgen::BasicConstraints::Unconstrained);
    let root = CertifiedIssuer::self_signed(root, KeyPair::generate().unwrap()).unwrap();
    let key = KeyPair::generate().unwrap();
    let params = CertificateParams::new(vec!["localhost".to_owned(), OWN.to_owned()]).unwrap();
    let cert = params.signed_by(&key, &root).unwrap();
    fs::create_dir_all(place.path("data")).unwrap();
    fs::write(place.path(&format!("data/{name}-cert.pem")), cert.pem()).unwrap();
    let key_file = place.path(&format!("data/{name}-key.pem"));
    fs::write(&key_file, key.serialize_pem()).unwrap();
    let mode = std::os::unix::fs::PermissionsExt::from_mode(0o600);
    fs::set_permissions(&key_file, mode).unwrap();
    root.pem()
}

/// A client that trusts this root alone.
fn client(root: &str) -> ureq::Agent {
    let root = Certificate::from_pem(root.as_bytes()).unwrap();
    let tls = TlsConfig::builder().root_certs(RootCerts::Specific(Arc::new(vec![root]))).build();
    let config = ureq::Agent::config_builder().tls_config(tls).http_status_as_error(false);
    config.max_redirects(0).build().into()
}

fn refused(place: &Place, listen: &str) -> String {
    let out = place.command(&["serve", "--listen", listen]).output().unwrap();
    assert_eq!(out.status.code(), Some(3), "{out:?}");
    String::from_utf8(out.stderr).unwrap()
}

#[test]
fn other_machines_are_served_with_accounts_and_tls_or_a_proxy_only() {
    let place = Place::new();
    for listen in ["0.0.0.0:0", "[::]:0", "192.0.2.1:8040"] {
        let said = refused(&place, listen);
        assert!(said.contains("`tls_cert` and `tls_key`"), "{said}");
        assert!(said.contains("behind_proxy = true"), "{said}");
        assert!(said.contains("ohmward account add"), "{said}");
    }
    place.account("Moira", "manage");
    let said = refused(&place, "0.0.0.0:0");
    assert!(said.contains("a certificate") && !said.contains("account"), "{said}");
    // A token alone is nobody who could look after the service.
    let other = Place::new();
    other.token("gateway", "manage", &[]);
    other.config("[http]\nbehind_proxy = true\n");
    for listen in ["0.0.0.0:0", "127.0.0.1:0"] {
        let said = refused(&other, listen);
        assert!(said.contains("ohmward account add") && !said.contains("tls_cert"), "{said}");
    }
    let (code, said) = other.run(&["check"]);
    assert!(code == 1 && said.contains("ohmward account add"), "{said}");
    place.config("[http]\nbehind_proxy = true\n");
    let daemon = Daemon::start(place.command(&["serve", "--listen", "0.0.0.0:0"]));
    let at = ([127, 0, 0, 1], daemon.address().port()).into();
    assert_eq!(ask(at, "GET /v1/assets", &["Host: harbour.example"], "").status, 401);
    // The last account that goes leaves it closed.
    assert_eq!(place.run(&["account", "revoke", "Moira"]).0, 0);
    assert_eq!(ask(at, "GET /v1/assets", &["Host: harbour.example"], "").status, 401);
    assert!(daemon.end().success());
}

#[test]
fn a_certificate_serves_tls_and_is_renewed_without_a_stop() {
    let place = Place::new();
    let root = certificates(&place, "first");
    let table = |name: &str| {
        place.config(&format!(
            "[http]\ntls_cert = \"{name}-cert.pem\"\ntls_key = \"{name}-key.pem\"\n"
        ));
    };
    table("first");
    place.account("Moira", "manage");
    let (code, said) = place.run(&["check"]);
    assert_eq!(code, 0, "{said}");
    let daemon = Daemon::start(place.command(&["serve", "--listen", "0.0.0.0:0"]));
    let url = |path: &str| format!("https://localhost:{}{path}", daemon.address().port());
    let agent = client(&root);
    let mut health = agent.get(url("/healthz")).call().unwrap();
    assert_eq!(health.status(), 200);
    // On another port than that of HTTPS it would speak for what else the machine serves.
    assert!(!health.headers().contains_key("strict-transport-security"));
    assert!(health.body_mut().read_to_string().unwrap().contains("\"status\":\"ok\""));
    let form = [("name", "Moira"), ("password", PASSWORD)];
    let login = agent.post(url("/login")).send_form(form).unwrap();
    let cookie = login.headers()["set-cookie"].to_str().unwrap().to_owned();
    assert!(cookie.starts_with("__Host-ohmward="), "{cookie}");
    assert!(cookie.ends_with("; Path=/; HttpOnly; SameSite=Strict; Secure"), "{cookie}");
    let session = cookie.split(';').next().unwrap();
    let assets = agent.get(url("/v1/assets")).header("Cookie", session).call().unwrap();
    assert_eq!(assets.status(), 200);
    // Whoever does not trust this root, or speaks without TLS, gets nothing.
    let second = certificates(&place, "second");
    assert!(client(&second).get(url("/healthz")).call().is_err());
    let plain = ([127, 0, 0, 1], daemon.address().port()).into();
    assert!(crate::ask::raw(plain, b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n").is_none());

    // A wrong file changes nothing; a right one is taken without a stop.
    table("missing");
    daemon.signal("HUP");
    until("the wrong certificate is named", || {
        daemon.log().contains("missing-cert.pem").then_some(())
    });
    assert_eq!(client(&root).get(url("/healthz")).call().unwrap().status(), 200);
    table("second");
    daemon.signal("HUP");
    until("the new certificate is served", || {
        client(&second).get(url("/healthz")).call().is_ok().then_some(())
    });
    let assets = client(&second).get(url("/v1/assets")).header("Cookie", session).call().unwrap();
    assert_eq!(assets.status(), 200);
    assert!(daemon.end().success());
    // With a wrong one it does not start, and `check` says so.
    table("missing");
    assert!(refused(&place, "127.0.0.1:0").contains("missing-cert.pem"));
    let (code, said) = place.run(&["check"]);
    assert!(code == 1 && said.contains("missing-cert.pem"), "{said}");
}

#[test]
fn on_the_port_of_https_browsers_are_told_to_come_by_tls_alone() {
    if let Err(why) = TcpListener::bind((OWN, 443)) {
        println!("skipped: {OWN}:443 cannot be served here ({why})");
        return;
    }
    let place = Place::new();
    let root = certificates(&place, "own");
    place.config("[http]\ntls_cert = \"own-cert.pem\"\ntls_key = \"own-key.pem\"\n");
    let daemon = Daemon::start(place.command(&["serve", "--listen", &format!("{OWN}:443")]));
    for path in ["/healthz", "/nothing", "/"] {
        let answer = client(&root).get(format!("https://{OWN}{path}")).call().unwrap();
        // RFC 6797, section 6.1: the time alone, and nothing of other machines of the domain.
        assert_eq!(answer.headers()["strict-transport-security"], "max-age=604800", "{path}");
    }
    assert!(daemon.end().success());
}
