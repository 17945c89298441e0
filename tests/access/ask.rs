//! Requests to the byte, and accounts and tokens made by the command line.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::process::Stdio;

use serde_json::Value;

use crate::running::{DEADLINE, Place};

/// A password that is long enough; invented, as all of them here.
pub(crate) const PASSWORD: &str = "grey gull over the quay";

/// What was answered.
#[derive(Debug)]
pub(crate) struct Answer {
    pub(crate) status: u16,
    head: String,
    pub(crate) body: String,
}

impl Answer {
    /// A header's value; the first of several.
    pub(crate) fn header(&self, name: &str) -> Option<&str> {
        self.head.lines().skip(1).find_map(|line| {
            let (found, value) = line.split_once(':')?;
            found.eq_ignore_ascii_case(name).then_some(value.trim())
        })
    }

    /// A cookie that was set: its value, and its attributes.
    pub(crate) fn cookie(&self, name: &str) -> Option<(&str, &str)> {
        let set = self.header("set-cookie")?.strip_prefix(name)?.strip_prefix('=')?;
        Some(set.split_once("; ").unwrap_or((set, "")))
    }

    /// What the forms of a page send back.
    pub(crate) fn csrf(&self) -> &str {
        let (_, rest) = self.body.split_once("name=\"csrf\" value=\"").unwrap();
        rest.split_once('"').unwrap().0
    }

    pub(crate) fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|e| panic!("{e}: {}", self.body))
    }
}

/// Sends these bytes; none where the connection ends without an answer.
pub(crate) fn raw(address: SocketAddr, bytes: &[u8]) -> Option<Answer> {
    let mut stream = TcpStream::connect(address).unwrap();
    stream.set_read_timeout(Some(DEADLINE)).unwrap();
    // A server that refuses early may close before it has read all.
    stream.write_all(bytes).ok();
    answer(&mut stream)
}

/// Reads one answer; of one without a length, such as a stream, only the head.
pub(crate) fn answer(stream: &mut impl Read) -> Option<Answer> {
    let mut bytes = Vec::new();
    let mut byte = [0];
    while !bytes.ends_with(b"\r\n\r\n") {
        match stream.read(&mut byte) {
            Ok(1) => bytes.push(byte[0]),
            _ => return None,
        }
    }
    let head = String::from_utf8(bytes).unwrap();
    let mut answer = Answer { status: 0, head, body: String::new() };
    answer.status = answer.head.split(' ').nth(1).unwrap().parse().unwrap();
    let length = answer.header("content-length").map_or(0, |length| length.parse().unwrap());
    let mut body = vec![0; length];
    stream.read_exact(&mut body).ok()?;
    answer.body = String::from_utf8_lossy(&body).into_owned();
    Some(answer)
}

/// A plain request with these headers, written as `Name: value`.
pub(crate) fn ask(address: SocketAddr, line: &str, headers: &[&str], body: &str) -> Answer {
    raw(address, &request(address, line, headers, body)).unwrap()
}

/// The bytes of a plain request.
pub(crate) fn request(address: SocketAddr, line: &str, headers: &[&str], body: &str) -> Vec<u8> {
    let mut text = format!("{line} HTTP/1.1\r\n");
    if !headers.iter().any(|header| header.to_lowercase().starts_with("host:")) {
        text += &format!("Host: {address}\r\n");
    }
    for header in headers {
        text += &format!("{header}\r\n");
    }
    text += &format!("Connection: close\r\nContent-Length: {}\r\n\r\n{body}", body.len());
    text.into_bytes()
}

/// Sends a form.
pub(crate) fn form(address: SocketAddr, path: &str, headers: &[&str], body: &str) -> Answer {
    let mut all = vec!["Content-Type: application/x-www-form-urlencoded"];
    all.extend(headers);
    ask(address, &format!("POST {path}"), &all, body)
}

/// Logs in with [`PASSWORD`]; the header with the session's cookie.
pub(crate) fn logged_in(address: SocketAddr, name: &str) -> String {
    let body = format!("name={name}&password={}", PASSWORD.replace(' ', "+"));
    let answer = form(address, "/login", &[], &body);
    assert_eq!(answer.status, 303, "{answer:?}");
    let (secret, _) = answer.cookie("ohmward").unwrap();
    format!("Cookie: ohmward={secret}")
}

impl Place {
    /// Makes an account with [`PASSWORD`].
    pub(crate) fn account(&self, name: &str, role: &str) {
        self.with_password(&["account", "add", name, "--role", role]);
    }

    /// Runs a command that reads [`PASSWORD`].
    pub(crate) fn with_password(&self, args: &[&str]) {
        let mut command = self.command(args);
        let mut child = command.stdin(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
        writeln!(child.stdin.take().unwrap(), "{PASSWORD}").unwrap();
        assert!(child.wait().unwrap().success(), "{args:?}");
    }

    /// Makes a token; the header that shows it.
    pub(crate) fn token(&self, name: &str, role: &str, more: &[&str]) -> String {
        let mut args = vec!["token", "add", name, "--role", role];
        args.extend(more);
        let (code, token) = self.run(&args);
        assert_eq!(code, 0);
        format!("Authorization: Bearer {}", token.trim())
    }
}
