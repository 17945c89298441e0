//! Findings reach people: over real HTTP and real SMTP, once, whatever happens on the way.

use std::fs;
use std::io::Write;
use std::net::TcpListener;
use std::process::Command;
use std::sync::mpsc::channel;

use ohmward::clock::{Clock, WallClock};
use ohmward::notify::signature;
use serde_json::{Value, json};

use crate::postman::{Postman, Way};
use crate::receiver::{Receiver, answer, table};
use crate::running::{Daemon, Place, until};

const SECRET: &str = "Ladekran 7";

fn secret(place: &Place) -> String {
    let path = place.path("secret");
    fs::write(&path, format!("{SECRET}\n")).unwrap();
    path.display().to_string()
}

/// Two values below the limit within the last days.
fn post_low(daemon: &Daemon, asset: &str) {
    let low = |days: f64| {
        let at = WallClock.now().plus_days(-days).to_string();
        json!({"taken_at": at, "asset": asset, "phase": "U", "resistance_ohm": 1e6,
            "test_voltage_v": 500, "temperature_c": 40, "temperature_of": "winding",
            "duration_s": 60})
    };
    daemon.post("application/json", &json!([low(2.0), low(1.0)]).to_string());
}

fn messages(daemon: &Daemon) -> Value {
    let health = daemon.request("GET /healthz", b"").unwrap().2;
    serde_json::from_str::<Value>(&health).unwrap()["messages"].clone()
}

fn until_counted(daemon: &Daemon, counter: &str, least: u64) {
    until(&format!("{least} {counter}; {}", messages(daemon)), || {
        (messages(daemon)[counter].as_u64()? >= least).then_some(())
    });
}

fn outbox(place: &Place) -> Vec<Value> {
    serde_json::from_str(&place.run(&["--format", "json", "outbox", "list"]).1).unwrap()
}

/// Sends a test message; code and what was said.
fn test(place: &Place, name: &str, set: impl FnOnce(&mut Command)) -> (i32, String) {
    let mut command = place.command(&["notify", "test", name]);
    set(&mut command);
    let out = command.output().unwrap();
    (out.status.code().unwrap(), String::from_utf8(out.stderr).unwrap())
}

#[test]
fn a_finding_reaches_a_program_once_and_signed() {
    let place = Place::new();
    let receiver = Receiver::willing();
    place.config(&receiver.table("office", &secret(&place)));
    let daemon = place.serve();
    post_low(&daemon, "YT-1");
    let request = receiver.until(1).remove(0);
    until_counted(&daemon, "sent", 1);
    assert_eq!(request.headers["request"], "POST /hook HTTP/1.1");
    assert_eq!(request.headers["content-type"], "application/json");
    let body = request.json();
    assert_eq!((&body["what"], &body["subject"]), (&"stated".into(), &"below limit: YT-1".into()));
    assert_eq!(body["findings"][0]["finding"], "below limit");
    assert!(body["text"].as_str().unwrap().contains("Qualified people only"), "{body}");
    assert_eq!(request.headers["idempotency-key"], body["key"].to_string());
    let at: i64 = request.headers["ohmward-timestamp"].parse().unwrap();
    let expected = signature(SECRET.as_bytes(), at, &request.body);
    assert_eq!(request.headers["ohmward-signature"], expected);

    // The same finding again is not told again, also after a restart.
    assert!(daemon.end().success());
    let daemon = place.serve();
    post_low(&daemon, "YT-1");
    post_low(&daemon, "YT-2");
    let all = receiver.until(2);
    assert_eq!(all[1].json()["findings"][0]["asset"], "YT-2");
    until_counted(&daemon, "sent", 1);
    let metrics = daemon.request("GET /metrics", b"").unwrap().2;
    assert!(metrics.contains("ohmward_messages_sent_total 1\n"), "{metrics}");
    assert!(daemon.end().success());
    assert_eq!(receiver.taken().len(), 2);
    let all = outbox(&place);
    assert!(all.iter().all(|m| m["fate"] == "sent" && m["tries"] == 1 && m["error"] == ""));
}

#[test]
fn a_receiver_that_was_down_is_told_once_when_it_is_back() {
    let place = Place::new();
    let address = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    place.config(&table("office", address, &secret(&place)));
    let daemon = place.serve();
    post_low(&daemon, "YT-1");
    until_counted(&daemon, "failed", 1);
    let waiting = outbox(&place).remove(0);
    assert_eq!((&waiting["fate"], &waiting["tries"]), (&"waiting".into(), &1.into()));
    assert!(waiting["error"].as_str().unwrap().contains("refused"), "{waiting}");
    assert!(waiting["due_at"].as_str() > waiting["posted_at"].as_str());
    // It is back, and not well yet.
    let receiver = Receiver::at(address, |n| match n {
        1 => answer(503, "warming\r\nup"),
        _ => answer(200, "{}"),
    });
    assert_eq!(place.run(&["outbox", "retry"]).0, 0);
    receiver.until(1);
    until_counted(&daemon, "failed", 2);
    assert_eq!(place.run(&["outbox", "retry"]).0, 0);
    until_counted(&daemon, "sent", 1);
    let keys: Vec<Value> = receiver.taken().iter().map(|r| r.json()["key"].clone()).collect();
    assert_eq!(keys[0], keys[1]);
    let sent = outbox(&place).remove(0);
    assert_eq!((&sent["fate"], &sent["tries"]), (&"sent".into(), &3.into()));
    assert_eq!(sent["error"], "expected a status from 200 to 299, found 503: warming up");
    assert_eq!(place.run(&["outbox", "retry", "1"]).0, 3);
    assert!(daemon.end().success());
}

#[test]
fn a_program_killed_before_it_noted_the_answer_sends_the_same_again() {
    let place = Place::new();
    let (asking, asked) = channel();
    let (killing, killed) = channel::<()>();
    let receiver = Receiver::new(move |n| {
        if n == 1 {
            asking.send(()).unwrap();
            killed.recv().unwrap();
        }
        answer(200, "")
    });
    place.config(&receiver.table("office", &secret(&place)));
    let daemon = place.serve();
    post_low(&daemon, "YT-1");
    asked.recv().unwrap();
    daemon.kill();
    killing.send(()).unwrap();
    let daemon = place.serve();
    let all = receiver.until(2);
    until_counted(&daemon, "sent", 1);
    assert_eq!(all[0].body, all[1].body);
    assert_eq!(all[0].headers["idempotency-key"], all[1].headers["idempotency-key"]);
    assert!(daemon.end().success());
    assert_eq!(receiver.taken().len(), 2);
}

#[test]
fn a_server_that_never_answers_keeps_nobody_waiting() {
    let place = Place::new();
    let silent = TcpListener::bind("127.0.0.1:0").unwrap();
    let receiver = Receiver::willing();
    let secret = secret(&place);
    let silent_table = table("silent", silent.local_addr().unwrap(), &secret);
    place.config(&(silent_table + &receiver.table("office", &secret)));
    let daemon = place.serve();
    post_low(&daemon, "YT-1");
    receiver.until(1);
    until_counted(&daemon, "sent", 1);
    // Its message is under way; the end waits for it a little and not for ever.
    assert!(daemon.end().success());
    let fates: Vec<Value> = outbox(&place).iter().map(|m| m["fate"].clone()).collect();
    assert_eq!(fates, ["waiting", "sent"]);
}

#[test]
fn what_is_closed_before_it_was_sent_is_not_sent() {
    let place = Place::new();
    let address = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    place.config(&table("office", address, &secret(&place)));
    let daemon = place.serve();
    post_low(&daemon, "YT-1");
    until_counted(&daemon, "failed", 1);
    let close = ["finding", "close", "YT-1", "below limit", "--remark", "rewound"];
    assert_eq!(place.run(&close).0, 0);
    let receiver = Receiver::at(address, |_| answer(200, ""));
    assert_eq!(place.run(&["outbox", "retry"]).0, 0);
    until_counted(&daemon, "dropped", 1);
    assert!(daemon.end().success());
    assert!(receiver.taken().is_empty());
    assert_eq!(outbox(&place)[0]["error"], "what it tells stands no longer");
}

#[test]
fn a_reload_changes_who_is_told() {
    let place = Place::new();
    let (one, two) = (Receiver::willing(), Receiver::willing());
    let secret = secret(&place);
    place.config(&one.table("one", &secret));
    let daemon = place.serve();
    post_low(&daemon, "YT-1");
    one.until(1);
    place.config(&two.table("two", &secret));
    daemon.signal("HUP");
    // A channel that is new is told of what stands.
    two.until(1);
    assert!(daemon.end().success());
    assert_eq!((one.taken().len(), two.taken().len()), (1, 1));
}

#[test]
fn messages_go_where_they_may_and_no_further() {
    let place = Place::new();
    let secret = secret(&place);
    let other = Receiver::willing();
    let away = format!("HTTP/1.1 302 x\r\nLocation: http://{}/\r\n\r\n", other.address);
    let endless = answer(500, &"no ".repeat(4_000_000));
    let receiver = Receiver::new(move |n| match n {
        1 => answer(200, ""),
        2 => away.clone(),
        _ => endless.clone(),
    });
    let hook = |name: &str, url: &str, allow: bool| {
        format!(
            "[[notify.webhook]]\nname = \"{name}\"\nurl = \"{url}\"\nallow_private = {allow}\n\
             secret_file = \"{secret}\"\n"
        )
    };
    let port = receiver.address.port();
    place.config(
        &[
            hook("fine", &format!("http://localhost:{port}/"), true),
            hook("named", &format!("https://localhost:{port}/"), false),
            hook("mapped", &format!("https://[::ffff:127.0.0.1]:{port}/"), false),
            hook("decimal", &format!("https://2130706433:{port}/"), false),
            hook("cloud", "http://169.254.169.254/latest", true),
        ]
        .concat(),
    );
    let told = |name: &str, code: i32, words: &str| {
        let (found, said) = test(&place, name, |_| ());
        assert!(found == code && said.contains(words), "{name}: {found} {said}");
        assert!(said.len() < 600, "{said}");
    };
    told("fine", 0, "`fine` has taken the test message");
    told("fine", 3, "found 302 (redirects are not followed");
    told("fine", 3, "found 500: no no no");
    for name in ["named", "mapped", "decimal"] {
        told(name, 3, "it is in this machine's own network (`allow_private = true` allows it)");
    }
    told("cloud", 3, "no message is sent to `169.254.169.254`: it is link-local");
    told("nobody", 3, "there is no channel `nobody` (there are fine, named");
    assert_eq!((receiver.taken().len(), other.taken().len()), (3, 0));
    assert_eq!(receiver.taken()[0].json()["what"], "test");
}

#[test]
fn mail_is_sent_encrypted_with_a_password_from_a_file() {
    for (way, word) in [(Way::Implicit, "implicit"), (Way::StartTls, "starttls")] {
        let place = Place::new();
        let secret = secret(&place);
        let postman = Postman::new(&place, way);
        let more = format!("tls = \"{word}\"\nuser = \"quay\"\npassword_file = \"{secret}\"");
        place.config(&postman.table("shift", &more));
        let trust = |command: &mut Command| {
            command.env("SSL_CERT_FILE", &postman.certificate);
        };
        let (code, said) = test(&place, "shift", trust);
        assert_eq!(code, 0, "{said}");
        let mail = postman.until(1).remove(0);
        // RFC 4616: the password of the PLAIN mechanism, in base64.
        let login = ("AUTH PLAIN AHF1YXkATGFkZWtyYW4gNw==".to_owned(), true);
        assert!(mail.commands.contains(&login), "{:?}", mail.commands);
        let told = |word: &str| mail.commands.iter().find(|(line, _)| line.starts_with(word));
        assert!(told("MAIL").unwrap().1);
        assert_eq!(told("RCPT").unwrap().0, "RCPT TO:<shift@quay.example>");
        assert_eq!(mail.header("Subject"), "test message");
        assert_eq!(mail.header("Auto-Submitted"), "auto-generated");
        assert!(mail.text.contains("reach `shift`"), "{}", mail.text);
        // A certificate that nobody vouches for.
        let (code, said) = test(&place, "shift", |_| ());
        assert_eq!(code, 3, "{said}");
        assert!(said.to_lowercase().contains("certificate"), "{said}");
        assert_eq!(postman.taken().len(), 1);
    }
}

#[test]
fn mail_is_not_sent_where_the_server_cannot_encrypt() {
    let place = Place::new();
    let secret = secret(&place);
    let postman = Postman::new(&place, Way::Plain);
    let login = format!("user = \"quay\"\npassword_file = \"{secret}\"");
    place.config(&postman.table("shift", &format!("tls = \"starttls\"\n{login}")));
    let (code, said) = test(&place, "shift", |_| ());
    assert_eq!(code, 3, "{said}");
    assert!(said.to_lowercase().contains("starttls"), "{said}");
    assert!(postman.taken().is_empty());
}

#[test]
fn a_finding_reaches_people_by_mail() {
    let place = Place::new();
    let postman = Postman::new(&place, Way::Plain);
    place.config(&postman.table("shift", "tls = \"none\""));
    let daemon = place.serve();
    post_low(&daemon, "Kran Süd/1\u{2028}x");
    let mail = postman.until(1).remove(0);
    assert_eq!(mail.header("To"), "shift@quay.example");
    // RFC 2047: what is not ASCII is encoded, and a line cannot be broken.
    assert!(mail.header("Subject").contains("=?utf-8?"), "{}", mail.header("Subject"));
    assert!(mail.header("Message-ID").ends_with("@quay.example>"), "{}", mail.text);
    assert!(mail.text.contains("two values running are below the limit"), "{}", mail.text);
    until_counted(&daemon, "sent", 1);
    assert!(daemon.end().success());
    let shown = place.run(&["outbox", "show", "1"]).1;
    assert!(shown.contains("Qualified people only"), "{shown}");
}

#[test]
fn check_names_secrets_that_are_missing_or_open_to_all() {
    let place = Place::new();
    let path = place.path("nothing").display().to_string();
    place.config(&table("office", "127.0.0.1:9".parse().unwrap(), &path));
    let (code, said) = place.run(&["check"]);
    assert_eq!(code, 1);
    assert!(said.contains("notify `office`: cannot read the secret"), "{said}");
    fs::File::create(&path).unwrap().write_all(b"x\n").unwrap();
    let (code, said) = place.run(&["check"]);
    assert_eq!(code, 1);
    assert!(said.contains("everybody on this machine can read"), "{said}");
}
