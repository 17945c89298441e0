//! Speed and size of the store: `cargo bench --bench store -- import|export|stream|query|all`.
//!
//! `import` compares with `sqlite3 .import` into the same natural key, when that program is there.
//! The fleet is invented. Nothing is asserted: rates hold on one machine only.

#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a bench, read by a person")]

use std::io::Write;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use ohmward::model::{
    Asset, AssetId, Bound, Facts, Phase, Precision, Reading, Series, Stamp, TemperatureOf, Text,
    TimeDoubt, Volts,
};
use ohmward::store::sqlite::{FILE, SqliteStore};
use ohmward::store::{Change, Entry, KeptFile, Parcel, Reader, RecordPlace, Source, When, Writer};

const ASSETS: u64 = 10_000;
const VISITS: u64 = 100;
const START: i64 = 1_577_872_800_000_000;

/// The fleet's series, each shared by its readings as a parser would.
fn fleet(assets: u64) -> Vec<Arc<Series>> {
    let mut all = Vec::new();
    for asset in 0..assets {
        for phase in ["U", "V", "W"] {
            all.push(Arc::new(Series {
                asset: AssetId::new(&format!("YT-{asset:05}")).unwrap(),
                phase: Phase::new(phase).unwrap(),
                against: "case".into(),
                setup: Text::default(),
                test_voltage: Some(Volts::new("test_voltage_v", 500.0).unwrap()),
            }));
        }
    }
    all
}

/// Reading number `i` in time order: every asset in turn, three phases a minute apart.
fn reading(fleet: &[Arc<Series>], i: u64) -> Reading {
    let n = fleet.len() as u64;
    let (visit, at) = (i / n, i % n);
    let mut x = (i + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    x ^= x >> 29;
    let over = x % 1000 < 230;
    let ohms = if over {
        2e9
    } else {
        (10_f64.powf(7.0 + (x >> 20) as f64 % 2.2e3 / 1e3) / 1e4).round() * 1e4
    };
    let taken = START + (visit * 14 * 86_400 + at * 40) as i64 * 1_000_000;
    Reading::new(Facts {
        series: fleet[at as usize].clone(),
        taken_at: Stamp::from_micros(taken),
        precision: Precision::Fine,
        time_doubt: TimeDoubt::None,
        ohms,
        bound: if over { Bound::Over } else { Bound::Measured },
        delivered_voltage_v: None,
        duration_s: Some(60.0),
        temperature_c: Some(((x >> 7) % 300) as f64 / 10.0),
        temperature_of: Some(TemperatureOf::Winding),
        humidity_pct: Some(((x >> 9) % 60 + 30) as f64),
        tester: Text::from(["T-1", "T-2", "T-3"][(at / 3 % 3) as usize]),
        operator: "kq".into(),
        station: Text::default(),
        remark: Text::default(),
    })
    .unwrap()
}

fn parcels(fleet: &[Arc<Series>], rows: u64) -> impl Iterator<Item = Parcel> + '_ {
    (0..rows).step_by(4096).map(move |from| Parcel {
        entries: (from..(from + 4096).min(rows))
            .map(|i| {
                let place = RecordPlace { record: i + 2, part: 0 };
                (place, Entry::Reading(reading(fleet, i)))
            })
            .collect(),
        lines: Vec::new(),
    })
}

fn file(name: &str) -> Source {
    let digest = blake3::hash(name.as_bytes()).to_hex().as_str().into();
    let file = Some(KeptFile { digest, bytes: 1 });
    Source { kind: "file".into(), name: name.into(), profile: "canonical".into(), file }
}

/// Peak resident memory of this process in MB, as the kernel counts it.
fn peak_mb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|l| l.starts_with("VmHWM")).unwrap_or("");
    line.split_whitespace().nth(1).and_then(|n| n.parse::<u64>().ok()).unwrap_or(0) / 1024
}

/// Seconds that this process has spent on the processors, user and system.
fn cpu_seconds() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let after = stat.rsplit(')').next().unwrap_or("");
    let ticks = after.split_whitespace().skip(11).take(2).filter_map(|n| n.parse::<f64>().ok());
    ticks.sum::<f64>() / 100.0
}

fn import(data: &Path, rows: u64, again: bool) {
    let store = SqliteStore::open(data).unwrap();
    let fleet = fleet(ASSETS);
    let started = Instant::now();
    let made = parcels(&fleet, rows).map(|p| p.entries.len()).sum::<usize>();
    println!("making {made} readings alone: {:.2} s", started.elapsed().as_secs_f64());
    for again in [false, true].into_iter().take(1 + usize::from(again)) {
        // The readings are made on a thread of their own, as a parser does.
        let (started, cpu) = (Instant::now(), cpu_seconds());
        let receipt = std::thread::scope(|scope| {
            let (send, receive) = std::sync::mpsc::sync_channel(3);
            let fleet = &fleet;
            scope.spawn(move || parcels(fleet, rows).try_for_each(|p| send.send(p)));
            let writer = store.writer().unwrap();
            let mut writer = match std::env::var("PART_MIB").ok().and_then(|n| n.parse().ok()) {
                Some::<usize>(mib) => writer.with_part_bytes(mib << 20),
                None => writer,
            };
            writer
                .receive(
                    Stamp::from_micros(START),
                    &file("fleet.csv"),
                    &Asset::first_met,
                    &mut receive.into_iter(),
                )
                .unwrap()
        });
        let took = started.elapsed().as_secs_f64();
        println!(
            "{}: {rows} readings in {took:.2} s ({:.2} s of processor), {:.0} k/s; accepted {}, \
             duplicate {}; peak {} MB",
            if again { "the same again" } else { "import" },
            cpu_seconds() - cpu,
            rows as f64 / took / 1e3,
            receipt.accepted,
            receipt.duplicate,
            peak_mb(),
        );
    }
    let bytes = std::fs::metadata(data.join(FILE)).unwrap().len();
    println!("{:.1} bytes per reading, {} MB in all", bytes as f64 / rows as f64, bytes >> 20);
}

/// The same readings through the `sqlite3` program, with nothing but the natural key.
fn anchor(folder: &Path, rows: u64) {
    let fleet = fleet(ASSETS);
    let csv = folder.join("fleet.csv");
    let mut out = std::io::BufWriter::new(std::fs::File::create(&csv).unwrap());
    for i in 0..rows {
        let r = reading(&fleet, i);
        let s = &r.series;
        writeln!(
            out,
            "{},{},{},{},,{},{},500,,60,{},winding,{},{},kq,,",
            r.taken_at,
            s.asset,
            s.phase,
            s.against,
            r.ohms,
            r.bound,
            r.temperature_c.unwrap(),
            r.humidity_pct.unwrap(),
            r.tester
        )
        .unwrap();
    }
    drop(out);
    let script = format!(
        "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL;\n\
         CREATE TABLE r (taken_at TEXT, asset TEXT, phase TEXT, against TEXT, setup TEXT, ohm REAL, \
         bound TEXT, volts REAL, delivered REAL, duration REAL, temperature REAL, of TEXT, \
         humidity REAL, tester TEXT, operator TEXT, station TEXT, remark TEXT, \
         PRIMARY KEY (asset, phase, against, setup, volts, taken_at, tester, bound, ohm, duration)) \
         WITHOUT ROWID;\n.mode csv\n.import {} r\n",
        csv.display()
    );
    let started = Instant::now();
    let child = std::process::Command::new("sqlite3")
        .arg(folder.join("anchor.db"))
        .stdin(std::process::Stdio::piped())
        .stdout(std::process::Stdio::null())
        .spawn();
    let Ok(mut child) = child else {
        println!("no `sqlite3` program here: no anchor");
        return;
    };
    child.stdin.take().unwrap().write_all(script.as_bytes()).unwrap();
    assert!(child.wait().unwrap().success());
    let took = started.elapsed().as_secs_f64();
    println!("sqlite3 .import: {rows} rows in {took:.2} s, {:.0} k/s", rows as f64 / took / 1e3);
}

fn percentiles(name: &str, mut times: Vec<Duration>) {
    times.sort_unstable();
    let at = |q: f64| times[((times.len() - 1) as f64 * q) as usize].as_micros();
    let total: Duration = times.iter().sum();
    let rate = times.len() as f64 / total.as_secs_f64();
    println!("{name}: {rate:.0}/s, p50 {} µs, p99 {} µs", at(0.5), at(0.99));
}

fn stream(data: &Path) {
    let store = SqliteStore::open(data).unwrap();
    let fleet = fleet(ASSETS);
    // Raw flushes on the same disk, in the same run.
    let mut raw = std::fs::File::create(data.join("raw.bin")).unwrap();
    raw.write_all(&vec![0; 1 << 20]).unwrap();
    let flushes = (0..2000_u64).map(|i| {
        use std::os::unix::fs::FileExt;
        let started = Instant::now();
        raw.write_all_at(&[i as u8; 4096], i % 256 * 4096).unwrap();
        raw.sync_data().unwrap();
        started.elapsed()
    });
    percentiles("raw 4 KiB overwrite and flush", flushes.collect());
    let mut writer = store.writer().unwrap();
    let mut next = 4_000_000_u64;
    for group in [1, 64, 512] {
        let times = (0..30_000 / (group + 14)).map(|_| {
            let source = Source {
                kind: "serial".into(),
                name: "bench-1".into(),
                profile: "tagged".into(),
                file: None,
            };
            let mut parcel = Parcel::default();
            for _ in 0..group {
                next += 1;
                let place = RecordPlace { record: next, part: 0 };
                parcel.entries.push((place, Entry::Reading(reading(&fleet, next))));
                parcel.lines.push(b"YT-00001 U 500V >2.00GOhm 60s 21.5C".to_vec());
            }
            let started = Instant::now();
            writer
                .receive(
                    Stamp::from_micros(START),
                    &source,
                    &Asset::first_met,
                    &mut std::iter::once(parcel),
                )
                .unwrap();
            started.elapsed()
        });
        percentiles(&format!("durable receive of {group}"), times.collect());
    }
}

fn query(data: &Path) {
    let store = SqliteStore::existing(data).unwrap();
    let reader = store.reader().unwrap();
    let mut rows = 0;
    let times = (0..20_000_u64).map(|i| {
        let id = AssetId::new(&format!("YT-{:05}", i.wrapping_mul(7919) % ASSETS)).unwrap();
        let started = Instant::now();
        rows += reader.readings(&id, When::ALWAYS).unwrap().len();
        started.elapsed()
    });
    percentiles("readings of an asset", times.collect());
    println!("  ({} readings each)", rows / 20_000);
    let started = Instant::now();
    let pending = reader.pending().unwrap().len();
    println!("pending: {pending} assets in {:?}", started.elapsed());
    let started = Instant::now();
    let found = reader.find(ohmward::model::ReadingId { batch: 1, record: 1_500_000, part: 0 });
    println!("find by id: {} in {:?}", found.unwrap().is_some(), started.elapsed());
    let started = Instant::now();
    let uses = reader.uses_of_tester(
        "T-1",
        Stamp::from_micros(START),
        Stamp::from_micros(START + 86_400_000_000),
    );
    println!("uses of a tester in a day: {} in {:?}", uses.unwrap().len(), started.elapsed());
    let started = Instant::now();
    let mut count = 0_u64;
    reader
        .for_each_reading(When::ALWAYS, &mut |_| {
            count += 1;
            Ok(())
        })
        .unwrap();
    println!("all by time: {count} in {:?}; peak {} MB", started.elapsed(), peak_mb());
    let started = Instant::now();
    let wrong = reader.check().unwrap();
    println!("check: {} complaints in {:?}", wrong.len(), started.elapsed());
    let mut writer = store.writer().unwrap();
    let times = (0..200).map(|i| {
        let started = Instant::now();
        let asset = Asset {
            remark: format!("{i}").into(),
            ..Asset::first_met(AssetId::new("YT-00007").unwrap())
        };
        writer.record(Stamp::from_micros(START), "kq", &[Change::Asset(asset)]).unwrap();
        started.elapsed()
    });
    percentiles("durable change of an asset", times.collect());
}

fn main() {
    let words: Vec<String> = std::env::args().skip(1).filter(|a| a != "--bench").collect();
    let what = words.first().map_or("import", String::as_str);
    let rows = words.get(1).and_then(|n| n.parse().ok()).unwrap_or(3 * ASSETS * VISITS);
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    if matches!(what, "anchor" | "all") {
        anchor(folder.path(), rows);
    }
    if what != "anchor" {
        import(
            &data,
            if what == "stream" { 1_500_000 } else { rows },
            matches!(what, "again" | "all"),
        );
    }
    if matches!(what, "stream" | "all") {
        stream(&data);
    }
    if matches!(what, "query" | "all") {
        query(&data);
    }
}
