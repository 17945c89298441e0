//! A program that takes webhooks: a plain HTTP server on a thread, with answers as the test wants.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::{Arc, Mutex};
use std::thread;

use serde_json::Value;

use crate::running::until;

/// One request as it came.
#[derive(Clone, Debug)]
pub(crate) struct Request {
    /// Names in lower case.
    pub(crate) headers: BTreeMap<String, String>,
    pub(crate) body: String,
}

impl Request {
    pub(crate) fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap()
    }
}

/// Takes requests until the test ends.
pub(crate) struct Receiver {
    pub(crate) address: SocketAddr,
    taken: Arc<Mutex<Vec<Request>>>,
}

impl Receiver {
    /// Answers each request, counted from 1, with what `answer` says.
    pub(crate) fn new(answer: impl Fn(usize) -> String + Send + 'static) -> Self {
        Receiver::at("127.0.0.1:0".parse().unwrap(), answer)
    }

    /// The same at an address that is known before.
    pub(crate) fn at(
        address: SocketAddr,
        answer: impl Fn(usize) -> String + Send + 'static,
    ) -> Self {
        let listener = TcpListener::bind(address).unwrap();
        let address = listener.local_addr().unwrap();
        let taken: Arc<Mutex<Vec<Request>>> = Arc::default();
        let all = Arc::clone(&taken);
        thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                let Some(request) = read(&stream) else { continue };
                let n = {
                    let mut all = all.lock().unwrap();
                    all.push(request);
                    all.len()
                };
                // The other side may have been killed meanwhile.
                (&stream).write_all(answer(n).as_bytes()).ok();
            }
        });
        Receiver { address, taken }
    }

    /// One that takes everything.
    pub(crate) fn willing() -> Self {
        Receiver::new(|_| answer(204, ""))
    }

    pub(crate) fn taken(&self) -> Vec<Request> {
        self.taken.lock().unwrap().clone()
    }

    /// Waits for so many requests.
    pub(crate) fn until(&self, n: usize) -> Vec<Request> {
        until(&format!("{n} requests have come"), || {
            let taken = self.taken();
            (taken.len() >= n).then_some(taken)
        })
    }

    /// The table of the configuration that names it.
    pub(crate) fn table(&self, name: &str, secret: &str) -> String {
        table(name, self.address, secret)
    }
}

/// A webhook on this machine.
pub(crate) fn table(name: &str, address: SocketAddr, secret: &str) -> String {
    format!(
        "[[notify.webhook]]\nname = \"{name}\"\nurl = \"http://{address}/hook\"\n\
         secret_file = \"{secret}\"\nallow_private = true\n"
    )
}

/// An answer with a body.
pub(crate) fn answer(status: u16, body: &str) -> String {
    let length = body.len();
    format!("HTTP/1.1 {status} x\r\nContent-Length: {length}\r\nConnection: close\r\n\r\n{body}")
}

/// None where the other side says nothing.
fn read(stream: &TcpStream) -> Option<Request> {
    let mut reader = BufReader::new(stream);
    let mut headers = BTreeMap::new();
    loop {
        let mut line = String::new();
        if reader.read_line(&mut line).ok()? == 0 {
            return None;
        }
        match line.trim_end().split_once(": ") {
            Some((name, value)) => headers.insert(name.to_lowercase(), value.to_owned()),
            None if line.trim_end().is_empty() => break,
            None => headers.insert("request".to_owned(), line.trim_end().to_owned()),
        };
    }
    let length = headers.get("content-length").map_or(0, |n| n.parse().unwrap());
    let mut body = vec![0; length];
    reader.read_exact(&mut body).ok()?;
    Some(Request { headers, body: String::from_utf8(body).unwrap() })
}
