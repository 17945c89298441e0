//! How the daemon starts, changes and ends.

use std::fs;
use std::os::unix::net::UnixDatagram;
use std::time::Duration;

use crate::bench::{Tester, reply};
use crate::running::{DEADLINE, Place, until};
use crate::serial::open;

const JSON: &str = "application/json";

#[test]
fn a_second_daemon_on_the_same_store_is_refused() {
    let place = Place::new();
    let daemon = place.serve();
    let out = place.command(&["serve", "--listen", "127.0.0.1:0"]).output().unwrap();
    assert_eq!(out.status.code(), Some(3));
    let said = String::from_utf8(out.stderr).unwrap();
    assert!(said.contains("a daemon is running on it already (stop that one first)"), "{said}");
    // The first one is not disturbed, and another may follow it.
    daemon.get("/v1/assets");
    assert!(daemon.end().success());
    assert!(place.serve().end().success());
}

#[test]
fn an_address_in_use_is_named() {
    let place = Place::new();
    let daemon = place.serve();
    let address = daemon.address().to_string();
    let other = Place::new();
    let out = other.command(&["serve", "--listen", &address]).output().unwrap();
    assert_eq!(out.status.code(), Some(3));
    let said = String::from_utf8(out.stderr).unwrap();
    assert!(said.contains(&format!("cannot listen on `{address}`")), "{said}");
}

#[test]
fn sigterm_stores_what_was_read() {
    let place = Place::new();
    let mut tester = Tester::plugged(&place, "tester");
    place.config(&tester.table("bench-1", "YT-1"));
    let daemon = place.serve();
    open(&daemon, "bench-1", &mut tester, 1);
    let lines: String = (1..=3_000).map(|n| reply(1_000_000 + n)).collect();
    tester.send(&lines);
    daemon.until_count("bench-1", "bytes", 2 + lines.len() as u64);
    assert!(daemon.end().success());
    assert_eq!(place.export().len(), 3_000);
}

#[test]
fn sighup_changes_what_changed_and_a_wrong_file_changes_nothing() {
    let place = Place::new();
    let mut one = Tester::plugged(&place, "one");
    let mut two = Tester::plugged(&place, "two");
    let first = one.table("bench-1", "YT-1");
    place.config(&first);
    let daemon = place.serve();
    open(&daemon, "bench-1", &mut one, 1);

    place.config(&(first.clone() + "[[source.serial]]\nname = \"bench-2\"\nprt = \"x\"\n"));
    daemon.signal("HUP");
    until("the wrong file is told", || daemon.log().contains("is kept as it was").then_some(()));
    let log = daemon.log();
    assert!(log.contains("unknown field `prt`"), "{log}");

    place.config(&(first + &two.table("bench-2", "YT-2")));
    daemon.signal("HUP");
    until("the new station is there", || (!daemon.source("bench-2").is_null()).then_some(()));
    open(&daemon, "bench-2", &mut two, 1);
    one.send(reply(1_000_000));
    two.send(reply(2_000_000));
    daemon.until_count("bench-1", "accepted", 1);
    daemon.until_count("bench-2", "accepted", 1);
    // The station that did not change was left alone.
    assert_eq!(daemon.source("bench-1")["openings"], 1);

    place.config(&two.table("bench-2", "YT-3"));
    daemon.signal("HUP");
    until("the old station is gone", || daemon.source("bench-1").is_null().then_some(()));
    open(&daemon, "bench-2", &mut two, 1);
    two.send(reply(3_000_000));
    daemon.until_count("bench-2", "accepted", 1);
    assert_eq!(daemon.get("/v1/readings?asset=YT-3").as_array().unwrap().len(), 1);
    assert!(daemon.end().success());
}

#[test]
fn what_another_process_writes_is_assessed() {
    let place = Place::new();
    let daemon = place.serve();
    let file = place.path("readings.csv");
    fs::write(
        &file,
        "taken_at,asset,phase,resistance_ohm\n2026-03-01T08:00:00Z,YT-1,U,1e6\n\
         2026-03-02T08:00:00Z,YT-1,U,1e6\n",
    )
    .unwrap();
    let (code, _) = place.run(&["import", file.to_str().unwrap()]);
    assert_eq!(code, 0);
    until("the daemon finds it", || {
        (!daemon.get("/v1/declining").as_array().unwrap().is_empty()).then_some(())
    });
    assert!(daemon.end().success());
}

#[test]
fn what_a_killed_daemon_left_undone_is_done_by_the_next() {
    let place = Place::new();
    let daemon = place.serve();
    for day in 1..=2 {
        let reading = format!(
            "[{{\"taken_at\":\"2026-03-0{day}T08:00:00Z\",\"asset\":\"YT-1\",\"phase\":\"U\",\
             \"resistance_ohm\":1e6}}]"
        );
        assert_eq!(daemon.post(JSON, &reading).0, 200);
    }
    // Perhaps before the watch came round, perhaps after.
    daemon.kill();
    let daemon = place.serve();
    until("the finding is there", || {
        (daemon.get("/v1/declining").as_array().unwrap().len() == 1).then_some(())
    });
    assert!(daemon.end().success());
}

#[test]
fn systemd_is_told() {
    let place = Place::new();
    let path = place.path("notify");
    let socket = UnixDatagram::bind(&path).unwrap();
    socket.set_read_timeout(Some(DEADLINE)).unwrap();
    let daemon = place.serve_with(|command| {
        command.env("NOTIFY_SOCKET", &path).env("WATCHDOG_USEC", "400000");
    });
    let told = |what: &str| {
        until(&format!("`{what}` is told"), || {
            let mut buffer = [0; 512];
            let n = socket.recv(&mut buffer).unwrap();
            String::from_utf8_lossy(&buffer[..n]).contains(what).then_some(())
        });
    };
    told("READY=1");
    told("WATCHDOG=1");
    told("WATCHDOG=1");
    daemon.signal("HUP");
    told("RELOADING=1");
    told("READY=1");
    daemon.signal("TERM");
    told("STOPPING=1");
    drop(daemon);
}

#[test]
fn check_says_what_a_person_should_know_of_the_configuration() {
    let place = Place::new();
    place.config(
        "[[source.serial]]\nname = \"bench-1\"\nport = \"/dev/ttyUSB7\"\nprofile = \"quay-scpi\"\n",
    );
    let (code, said) = place.run(&["--format", "json", "check"]);
    assert_eq!(code, 1);
    assert!(said.contains("take a name from /dev/serial/by-id"), "{said}");
    place.config(
        "[[source.serial]]\nname = \"bench-1\"\nport = \"/dev/ttyUSB7\"\nprofile = \"none\"\n",
    );
    let (code, said) = place.run(&["--format", "json", "check"]);
    assert_eq!(code, 1);
    assert!(said.contains("there is no profile `none`"), "{said}");
    let out = place.command(&["serve"]).output().unwrap();
    assert_eq!(out.status.code(), Some(3));
}

#[test]
fn a_connection_left_open_does_not_keep_it_from_ending() {
    let place = Place::new();
    let daemon = place.serve();
    let idle = std::net::TcpStream::connect(daemon.address()).unwrap();
    let mut half = std::net::TcpStream::connect(daemon.address()).unwrap();
    std::io::Write::write_all(&mut half, b"POST /v1/readings HTTP/1.1\r\nContent-Le").unwrap();
    std::thread::sleep(Duration::from_millis(50));
    daemon.end();
    drop((idle, half));
}
