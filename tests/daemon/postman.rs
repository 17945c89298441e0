//! A mail server: SMTP (RFC 5321) with STARTTLS (RFC 3207) or TLS from the first byte (RFC 8314),
//! as much of it as one message needs.

use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::thread;

use rustls::pki_types::{PrivateKeyDer, PrivatePkcs8KeyDer};
use rustls::{ServerConfig, ServerConnection, StreamOwned};

use crate::running::{Place, until};

/// How the way to it is kept secret.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Way {
    Implicit,
    StartTls,
    Plain,
}

/// One mail as it came.
#[derive(Clone, Debug)]
pub(crate) struct Mail {
    /// The commands before the text, and whether each came over TLS.
    pub(crate) commands: Vec<(String, bool)>,
    pub(crate) text: String,
}

impl Mail {
    /// A header, unfolded.
    pub(crate) fn header(&self, name: &str) -> String {
        let head = self.text.split("\r\n\r\n").next().unwrap().replace("\r\n ", " ");
        let line = head.lines().find_map(|line| line.strip_prefix(&format!("{name}: ")));
        line.unwrap_or_default().to_owned()
    }
}

/// Takes mail until the test ends.
pub(crate) struct Postman {
    pub(crate) address: SocketAddr,
    /// The certificate by which it is known.
    pub(crate) certificate: PathBuf,
    taken: Arc<Mutex<Vec<Mail>>>,
}

impl Postman {
    pub(crate) fn new(place: &Place, way: Way) -> Self {
        let names = vec!["localhost".to_owned()];
        let rcgen::CertifiedKey { cert, signing_key } =
            rcgen::generate_simple_self_signed(names).unwrap();
        let certificate = place.path("certificate.pem");
        fs::write(&certificate, cert.pem()).unwrap();
        let key = PrivateKeyDer::Pkcs8(PrivatePkcs8KeyDer::from(signing_key.serialize_der()));
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        let config = ServerConfig::builder_with_provider(provider)
            .with_safe_default_protocol_versions()
            .unwrap()
            .with_no_client_auth()
            .with_single_cert(vec![cert.der().clone()], key)
            .unwrap();
        let config = Arc::new(config);
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let taken: Arc<Mutex<Vec<Mail>>> = Arc::default();
        let all = Arc::clone(&taken);
        thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                if let Some(mail) = serve(stream, way, &config) {
                    all.lock().unwrap().push(mail);
                }
            }
        });
        Postman { address, certificate, taken }
    }

    pub(crate) fn taken(&self) -> Vec<Mail> {
        self.taken.lock().unwrap().clone()
    }

    /// Waits for so many mails.
    pub(crate) fn until(&self, n: usize) -> Vec<Mail> {
        until(&format!("{n} mails have come"), || {
            let taken = self.taken();
            (taken.len() >= n).then_some(taken)
        })
    }

    /// The table of the configuration that names it.
    pub(crate) fn table(&self, name: &str, more: &str) -> String {
        format!(
            "[[notify.email]]\nname = \"{name}\"\nhost = \"localhost\"\nport = {}\n\
             from = \"Kestrel Quay <watch@quay.example>\"\nto = [\"shift@quay.example\"]\n{more}\n",
            self.address.port()
        )
    }
}

fn secured(stream: TcpStream, config: &Arc<ServerConfig>) -> Box<dyn Stream> {
    let connection = ServerConnection::new(Arc::clone(config)).unwrap();
    Box::new(StreamOwned::new(connection, stream))
}

trait Stream: Read + Write {}
impl<T: Read + Write> Stream for T {}

/// One conversation; none where no mail came of it.
fn serve(stream: TcpStream, way: Way, config: &Arc<ServerConfig>) -> Option<Mail> {
    let raw = stream.try_clone().unwrap();
    let mut tls = way == Way::Implicit;
    let first: Box<dyn Stream> = if tls { secured(stream, config) } else { Box::new(stream) };
    let mut peer = BufReader::new(first);
    let mut commands = Vec::new();
    say(&mut peer, "220 quay.example ready")?;
    loop {
        let line = line(&mut peer)?;
        commands.push((line.clone(), tls));
        let word = line.split(' ').next().unwrap().to_uppercase();
        match word.as_str() {
            "EHLO" => {
                let offer = if way == Way::StartTls && !tls { "STARTTLS" } else { "AUTH PLAIN" };
                say(&mut peer, &format!("250-quay.example\r\n250-8BITMIME\r\n250 {offer}"))?;
            }
            "STARTTLS" if way == Way::StartTls => {
                say(&mut peer, "220 go ahead")?;
                peer = BufReader::new(secured(raw.try_clone().unwrap(), config));
                tls = true;
            }
            "AUTH" => say(&mut peer, "235 welcome")?,
            "DATA" => {
                say(&mut peer, "354 go on")?;
                break;
            }
            "MAIL" | "RCPT" => say(&mut peer, "250 fine")?,
            _ => say(&mut peer, "502 not here")?,
        }
    }
    let mut text = String::new();
    loop {
        let line = line(&mut peer)?;
        if line == "." {
            break;
        }
        text += &format!("{}\r\n", line.strip_prefix('.').unwrap_or(&line));
    }
    say(&mut peer, "250 taken")?;
    Some(Mail { commands, text })
}

fn say(peer: &mut BufReader<Box<dyn Stream>>, words: &str) -> Option<()> {
    let stream = peer.get_mut();
    stream.write_all(format!("{words}\r\n").as_bytes()).ok()?;
    stream.flush().ok()
}

fn line(peer: &mut BufReader<Box<dyn Stream>>) -> Option<String> {
    let mut line = String::new();
    match peer.read_line(&mut line).ok()? {
        0 => None,
        _ => Some(line.trim_end_matches(['\r', '\n']).to_owned()),
    }
}
