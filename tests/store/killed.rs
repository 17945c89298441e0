//! A process killed while it writes: what it had acknowledged is there, and giving everything again
//! leaves each reading once. This shows that a crash of the program is safe; the system's write
//! cache survives it, so it says nothing of a power cut.

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Command, Stdio};

use ohmward::model::Reading;
use ohmward::store::sqlite::SqliteStore;

use crate::words::*;

const FOLDER: &str = "OHMWARD_TEST_KILLED_IN";
const DELIVERIES: usize = 24;
const READINGS: usize = 40;

/// Delivery `n`: some coarse equal readings, some plain ones.
fn delivery(n: usize) -> Vec<Reading> {
    let asset = format!("YT-{:03}", n % 7);
    let plain = (0..READINGS - 2)
        .map(|i| plain(&asset, ["U", "V", "W"][i % 3], day((n * READINGS + i) as i64), 5e8));
    let coarse = (0..2).map(|_| on_day(&asset, day(100_000 + n as i64), 5e8));
    plain.chain(coarse).collect()
}

fn open(folder: &Path) -> Both {
    let store = SqliteStore::open(folder).unwrap();
    Both {
        // Five readings a commit, so that most kills fall into the middle of a delivery.
        writer: Box::new(store.writer().unwrap().with_part_bytes(200)),
        reader: Box::new(store.reader().unwrap()),
        _folder: None,
    }
}

/// The process that is killed: says `done n` after each delivery.
#[test]
#[ignore = "run by the test below in a process of its own"]
fn child() {
    let folder = std::env::var(FOLDER).unwrap();
    let mut store = open(Path::new(&folder));
    for n in 0..DELIVERIES {
        store.readings(day(0), &file(&format!("{n}.csv")), &delivery(n));
        let mut out = std::io::stdout().lock();
        writeln!(out, "\ndone {n}").unwrap();
        out.flush().unwrap();
    }
}

#[test]
fn what_was_acknowledged_stays_and_nothing_is_there_twice() {
    for round in 0..5 {
        let folder = tempfile::tempdir().unwrap();
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args(["killed::child", "--exact", "--ignored", "--nocapture"])
            .env(FOLDER, folder.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut acknowledged = 0;
        // Killed at once after some deliveries, wherever it then is in the next.
        for line in BufReader::new(child.stdout.take().unwrap()).lines() {
            acknowledged += usize::from(line.unwrap().starts_with("done "));
            if acknowledged == 1 + 4 * round {
                child.kill().unwrap();
                break;
            }
        }
        child.wait().unwrap();
        assert_eq!(acknowledged, 1 + 4 * round);

        let mut store = open(folder.path());
        assert_eq!(complaints(&store), Vec::<String>::new());
        for n in 0..DELIVERIES {
            let again = store.readings(day(1), &file(&format!("{n}.csv")), &delivery(n));
            assert_eq!(again.accepted + again.duplicate, READINGS as u64);
            if n < acknowledged {
                assert_eq!(again.accepted, 0, "delivery {n} was acknowledged");
            }
        }
        let mut count = 0;
        let each = &mut |_: &_| {
            count += 1;
            Ok(())
        };
        store.reader.for_each_reading(ALWAYS, each).unwrap();
        assert_eq!(count, DELIVERIES * READINGS);
        assert_eq!(complaints(&store), Vec::<String>::new());
        assert_eq!(store.waiting().len(), 7);
    }
}

/// What `check` says, but for the files that these deliveries only claim to have kept.
fn complaints(store: &Both) -> Vec<String> {
    let mut all = store.reader.check().unwrap();
    all.retain(|complaint| !complaint.starts_with("kept file"));
    all
}
