//! Files that really appear, are being written, or vanish with their folder.

use std::fs::{self, File};
use std::io::Write;
use std::path::PathBuf;
use std::thread;
use std::time::Duration;

use crate::running::{Daemon, Place, drop_file, until};

const HEADER: &str = "taken_at,asset,phase,resistance_ohm\n";

/// A daemon that watches the folder `drop`.
fn watching(place: &Place, settle_s: f64) -> (PathBuf, Daemon) {
    let folder = place.path("drop");
    fs::create_dir_all(&folder).unwrap();
    place.config(&format!(
        "[[source.folder]]\nname = \"exports\"\npath = \"{}\"\nevery_s = 0.05\nsettle_s = {settle_s}\n",
        folder.display()
    ));
    (folder, place.serve())
}

fn file(asset: &str, rows: usize) -> String {
    let row =
        |n| format!("2026-03-02T08:{:02}:{:02}Z,{asset},U,{}\n", n / 60, n % 60, 1_000_000 + n);
    HEADER.to_owned() + &(0..rows).map(row).collect::<String>()
}

fn count(folder: PathBuf) -> usize {
    fs::read_dir(folder).map(|entries| entries.count()).unwrap_or(0)
}

#[test]
fn files_go_where_they_belong() {
    let place = Place::new();
    let (folder, daemon) = watching(&place, 0.1);
    drop_file(&folder, "good.csv", &file("YT-1", 3));
    drop_file(&folder, "photo.jpg", "\u{1}\0\u{2}no text");
    drop_file(&folder, "slips.csv", &(file("YT-2", 2) + "2026-03-02T09:00:00Z,YT-2,U,much\n"));
    until("three files are put away", || (count(folder.clone()) == 2).then_some(()));
    until("they are shelved", || {
        (count(folder.join("done")) == 2 && count(folder.join("refused")) == 2).then_some(())
    });
    let reason = fs::read_to_string(folder.join("refused/photo.jpg.reason.txt")).unwrap();
    assert!(reason.contains("move it back into the folder"), "{reason}");
    let source = daemon.source("exports");
    assert_eq!((&source["accepted"], &source["rejected"]), (&5.into(), &1.into()));
    assert!(daemon.end().success());
}

#[test]
fn a_file_still_being_written_is_taken_once_and_whole() {
    let place = Place::new();
    let (folder, daemon) = watching(&place, 3.0);
    let text = file("YT-1", 200);
    let mut half = File::create(folder.join("slow.csv")).unwrap();
    for piece in text.as_bytes().chunks(400) {
        half.write_all(piece).unwrap();
        half.flush().unwrap();
        assert_eq!(daemon.source("exports")["files"], 0);
        thread::sleep(Duration::from_millis(50));
    }
    drop(half);
    daemon.until_count("exports", "files", 1);
    assert_eq!(fs::read_to_string(folder.join("done/slow.csv")).unwrap(), text);
    let source = daemon.source("exports");
    let seen = (&source["accepted"], &source["duplicate"], &source["rejected"]);
    assert_eq!(seen, (&200.into(), &0.into(), &0.into()));
    assert!(daemon.end().success());
    assert_eq!(place.export().len(), 200);
}

#[test]
fn a_folder_may_be_unmounted_and_return() {
    let place = Place::new();
    let (folder, daemon) = watching(&place, 0.1);
    drop_file(&folder, "a.csv", &file("YT-1", 1));
    daemon.until_count("exports", "files", 1);
    let away = place.path("away");
    fs::rename(&folder, &away).unwrap();
    daemon.until_trouble("exports", "is not there (create it, or mount the share)");
    drop_file(&away, "b.csv", &file("YT-2", 1));
    fs::rename(&away, &folder).unwrap();
    daemon.until_count("exports", "files", 2);
    until("all is well", || (daemon.source("exports")["state"] == "ok").then_some(()));
    assert_eq!(daemon.log().matches("is not there").count(), 1);
    assert!(daemon.end().success());
}

#[test]
fn ten_thousand_files_at_once() {
    const FILES: usize = 10_000;
    let place = Place::new();
    let folder = place.path("drop");
    fs::create_dir_all(&folder).unwrap();
    for n in 0..FILES {
        let row = format!("2026-03-02T08:15:00Z,YT-{},U,{}\n", n % 50, 1_000_000 + n);
        fs::write(folder.join(format!("{n:05}.csv")), HEADER.to_owned() + &row).unwrap();
    }
    let began = std::time::Instant::now();
    let (folder, daemon) = watching(&place, 0.1);
    // No file may take longer than the deadline; all together may.
    for most in (0..FILES).step_by(500).chain([FILES]) {
        daemon.until_count("exports", "files", most as u64);
    }
    println!("{FILES} files in {:?}", began.elapsed());
    until("all are put away", || (count(folder.clone()) == 1).then_some(()));
    assert_eq!(count(folder.join("done")), FILES);
    assert_eq!(daemon.source("exports")["accepted"], FILES);
    assert!(daemon.end().success());
    assert_eq!(place.export().len(), FILES);
}

#[test]
fn what_was_stored_before_a_crash_is_not_stored_again() {
    let place = Place::new();
    let (folder, daemon) = watching(&place, 0.1);
    drop_file(&folder, "a.csv", &file("YT-1", 5));
    daemon.until_count("exports", "files", 1);
    daemon.kill();
    // As if it had been killed between the commit and the renaming.
    fs::rename(folder.join("done/a.csv"), folder.join("a.csv")).unwrap();
    let daemon = place.serve();
    daemon.until_count("exports", "files", 1);
    let source = daemon.source("exports");
    assert_eq!((&source["accepted"], &source["duplicate"]), (&0.into(), &5.into()));
    assert!(folder.join("done/a.csv").exists());
    assert!(daemon.end().success());
    assert_eq!(place.export().len(), 5);
}
