//! What the machine may do to the daemon: a full disk, a store that somebody else holds.

use std::fs;
use std::process::Command;

use rusqlite::{Connection, TransactionBehavior};

use crate::bench::{Tester, reply};
use crate::running::{Place, drop_file, until};
use crate::serial::open;

const JSON: &str = "application/json";

fn reading(asset: &str, ohms: u64) -> String {
    format!(
        "[{{\"taken_at\":\"2026-03-02T08:00:00Z\",\"asset\":\"{asset}\",\"phase\":\"U\",\
         \"resistance_ohm\":{ohms}}}]"
    )
}

/// Held longer than the store waits: requests are refused, lines and files wait, and all of it is
/// stored once the store is free.
#[test]
fn a_store_held_by_another_process_loses_nothing() {
    let place = Place::new();
    let folder = place.path("drop");
    fs::create_dir_all(&folder).unwrap();
    let mut tester = Tester::plugged(&place, "tester");
    place.config(&format!(
        "{}[[source.folder]]\nname = \"exports\"\npath = \"{}\"\nevery_s = 0.05\nsettle_s = 0.1\n",
        tester.table("bench-1", "BENCH"),
        folder.display()
    ));
    let daemon = place.serve();
    open(&daemon, "bench-1", &mut tester, 1);
    let mut other = Connection::open(place.path("data/ohmward.db")).unwrap();
    let held = other.transaction_with_behavior(TransactionBehavior::Immediate).unwrap();
    tester.send(reply(1_000_000));
    drop_file(
        &folder,
        "a.csv",
        "taken_at,asset,phase,resistance_ohm\n2026-03-02T08:00:00Z,FILE,U,1e6\n",
    );
    let (status, answer) = daemon.post(JSON, &reading("HTTP", 1_000_000));
    assert_eq!(status, 503, "{answer}");
    assert!(answer["error"].as_str().unwrap().contains("in use by another process"), "{answer}");
    daemon.until_trouble("bench-1", "in use by another process");
    assert_eq!(daemon.request("GET /healthz", b"").unwrap().0, 200);
    drop(held);
    daemon.until_count("bench-1", "accepted", 1);
    daemon.until_count("exports", "accepted", 1);
    assert_eq!(daemon.post(JSON, &reading("HTTP", 1_000_000)).0, 200);
    until("all is well", || (daemon.get("/healthz")["status"] == "ok").then_some(()));
    assert!(daemon.end().success());
    assert_eq!(place.export().len(), 3);
}

/// A file system of a few megabytes, where one may be mounted.
struct SmallDisk<'a>(&'a Place);

impl<'a> SmallDisk<'a> {
    fn mounted(place: &'a Place) -> Option<Self> {
        let data = place.path("data");
        fs::create_dir_all(&data).unwrap();
        let mut mount = Command::new("mount");
        mount.args(["-t", "tmpfs", "-o", "size=4m", "tmpfs"]).arg(&data);
        mount.output().is_ok_and(|out| out.status.success()).then_some(SmallDisk(place))
    }
}

impl Drop for SmallDisk<'_> {
    fn drop(&mut self) {
        Command::new("umount").arg("-l").arg(self.0.path("data")).status().unwrap();
    }
}

/// Nothing is acknowledged that is not stored; with room again everything goes on by itself.
#[test]
fn a_full_disk_loses_nothing() {
    let place = Place::new();
    let Some(_disk) = SmallDisk::mounted(&place) else {
        println!("skipped: no small file system can be mounted here (needs root)");
        return;
    };
    let mut tester = Tester::plugged(&place, "tester");
    place.config(&tester.table("bench-1", "BENCH"));
    let daemon = place.serve();
    open(&daemon, "bench-1", &mut tester, 1);
    assert_eq!(daemon.post(JSON, &reading("BEFORE", 1_000_000)).0, 200);
    let ballast = place.path("data/ballast");
    // Filled to the last byte.
    fs::write(&ballast, vec![0; 8 * 1024 * 1024]).unwrap_err();
    let mut refused = Vec::new();
    let mut stored = 1;
    // What is already allotted to the log may still take a few.
    until("the disk is felt", || {
        let asset = format!("HTTP-{stored}");
        let (status, answer) = daemon.post(JSON, &reading(&asset, 1_000_000));
        match status {
            200 => stored += 1,
            503 => refused.push((asset, answer)),
            other => panic!("{other}: {answer}"),
        }
        (!refused.is_empty()).then_some(())
    });
    assert!(refused[0].1["error"].as_str().unwrap().contains("disk is full"), "{refused:?}");
    // Lines that are taken in as they come: the answer is the same, and so is the remedy.
    const LINES: usize = 3_000;
    let row = |n: usize| {
        let (hour, minute, second) = (n / 3_600, n / 60 % 60, n % 60);
        format!("2026-03-03T{hour:02}:{minute:02}:{second:02}Z,LINES,U,{}\n", 1_000_000 + n)
    };
    let lines = "taken_at,asset,phase,resistance_ohm\n".to_owned()
        + &(0..LINES).map(row).collect::<String>();
    let head = "POST /v1/readings\r\nContent-Type: text/csv";
    let (status, head, answer) = daemon.request(head, lines.as_bytes()).unwrap();
    assert!(status == 503 && answer.contains("disk is full"), "{status} {answer}");
    assert!(head.contains("retry-after: 60"), "{head}");
    tester.send(reply(1_000_000));
    daemon.until_trouble("bench-1", "disk is full");
    fs::remove_file(&ballast).unwrap();
    daemon.until_count("bench-1", "accepted", 1);
    assert_eq!(daemon.post(JSON, &reading(&refused[0].0, 1_000_000)).0, 200);
    assert_eq!(daemon.post("text/csv", &lines).0, 200);
    assert!(daemon.end().success());
    assert_eq!(place.export().len(), stored + 2 + LINES);
}
