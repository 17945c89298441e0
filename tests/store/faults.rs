//! Folders that are not what they should be, locks, backups, kept files.

use std::fs;
use std::io::Read;
use std::path::Path;

use ohmward::store::sqlite::{FILE, SqliteStore};
use ohmward::store::{KeptFiles, Reader, StoreError, Writer};

use crate::words::*;

fn refusal(data: &Path) -> String {
    SqliteStore::open(data).unwrap_err().to_string()
}

#[test]
fn a_question_needs_a_store() {
    let folder = tempfile::tempdir().unwrap();
    let error = SqliteStore::existing(folder.path()).unwrap_err().to_string();
    assert!(error.contains("there is no store yet"), "{error}");
    assert!(!folder.path().join(FILE).exists());
    SqliteStore::open(&folder.path().join("new/deep")).unwrap();
    SqliteStore::existing(&folder.path().join("new/deep")).unwrap();
}

#[test]
fn a_newer_database_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    SqliteStore::open(folder.path()).unwrap();
    let db = rusqlite::Connection::open(folder.path().join(FILE)).unwrap();
    db.pragma_update(None, "user_version", 1_000).unwrap();
    let error = refusal(folder.path());
    assert!(error.contains("its schema is 1000, this program knows up to"), "{error}");
}

#[test]
fn what_is_not_ours_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(FILE);
    fs::write(&path, "taken_at,asset,phase\n".repeat(100)).unwrap();
    assert!(refusal(folder.path()).contains("not a database"), "{}", refusal(folder.path()));
    fs::remove_file(&path).unwrap();
    let db = rusqlite::Connection::open(&path).unwrap();
    db.execute_batch("CREATE TABLE recipes (name TEXT)").unwrap();
    assert!(refusal(folder.path()).contains("another program"), "{}", refusal(folder.path()));
    let tables: i64 = db.query_row("SELECT count(*) FROM sqlite_schema", [], |r| r.get(0)).unwrap();
    assert_eq!(tables, 1);
}

#[test]
fn an_empty_file_left_by_a_crash_is_made_a_store() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join(FILE), "").unwrap();
    let store = SqliteStore::open(folder.path()).unwrap();
    assert_eq!(store.reader().unwrap().check().unwrap(), Vec::<String>::new());
}

#[test]
fn the_installation_keeps_its_name() {
    let folder = tempfile::tempdir().unwrap();
    let origin = |()| SqliteStore::open(folder.path()).unwrap().reader().unwrap().origin().unwrap();
    let first = origin(());
    assert_eq!(first.len(), 36);
    assert_eq!(origin(()), first);
}

#[test]
fn one_daemon_a_store() {
    let folder = tempfile::tempdir().unwrap();
    let store = SqliteStore::open(folder.path()).unwrap();
    let lock = store.lock_daemon().unwrap();
    let second = store.lock_daemon().unwrap_err().to_string();
    assert!(second.contains("a daemon is running on it already"), "{second}");
    // A command may write beside it.
    let asset = first_met(id("YT-001"));
    let change = [ohmward::store::Change::Asset(asset)];
    assert_eq!(store.writer().unwrap().record(day(1), "Ines", &change).unwrap(), 1);
    drop(lock);
    store.lock_daemon().unwrap();
}

fn filled(data: &Path) -> SqliteStore {
    let store = SqliteStore::open(data).unwrap();
    let mut both = Both {
        writer: Box::new(store.writer().unwrap()),
        reader: Box::new(store.reader().unwrap()),
        _folder: None,
    };
    both.readings(day(2), &serial("bench-1"), &[plain("YT-001", "U", day(1), 5e8)]);
    store
}

#[test]
fn a_backup_is_a_store() {
    let folder = tempfile::tempdir().unwrap();
    let store = filled(folder.path());
    let copy = folder.path().join("copy");
    fs::create_dir(&copy).unwrap();
    let mut writer = store.writer().unwrap();
    writer.backup(&copy.join(FILE)).unwrap();
    let copied = SqliteStore::existing(&copy).unwrap().reader().unwrap();
    let original = store.reader().unwrap();
    assert_eq!(copied.origin().unwrap(), original.origin().unwrap());
    let it = id("YT-001");
    assert_eq!(copied.readings(&it, ALWAYS).unwrap(), original.readings(&it, ALWAYS).unwrap());
    assert_eq!(copied.check().unwrap(), Vec::<String>::new());
    let again = writer.backup(&copy.join(FILE)).unwrap_err();
    assert!(matches!(again, StoreError::File { .. }), "{again}");
    let nowhere = writer.backup(&folder.path().join("none/x.db")).unwrap_err();
    assert!(!matches!(nowhere, StoreError::Busy), "{nowhere}");
}

#[test]
fn kept_files_come_back_and_are_kept_once() {
    let folder = tempfile::tempdir().unwrap();
    let kept = KeptFiles::in_data(folder.path());
    let bytes = "taken_at;asset;R\n2026-01-01;YT-001;>2,0 GΩ\n".repeat(10_000).into_bytes();
    let file = kept.keep(&mut bytes.as_slice()).unwrap();
    assert_eq!(file.bytes, bytes.len() as u64);
    assert_eq!(file.digest, blake3::hash(&bytes).to_hex().as_str());
    assert_eq!(kept.keep(&mut bytes.as_slice()).unwrap(), file);
    let names = || fs::read_dir(folder.path().join("raw")).unwrap().count();
    assert_eq!(names(), 1);
    let mut back = Vec::new();
    kept.open(&file.digest).unwrap().read_to_end(&mut back).unwrap();
    assert_eq!(back, bytes);
    kept.verify(&file).unwrap();
    // Nothing is left of one that could not be read to its end.
    struct Torn;
    impl Read for Torn {
        fn read(&mut self, _: &mut [u8]) -> std::io::Result<usize> {
            Err(std::io::Error::other("cable out"))
        }
    }
    let torn = kept.keep(&mut Torn).unwrap_err().to_string();
    assert!(torn.contains("cable out"), "{torn}");
    assert_eq!(names(), 1);
    for name in ["../../etc/passwd", "abc"] {
        assert!(matches!(kept.open(name), Err(StoreError::Kept { .. })));
    }
}

#[test]
fn damage_to_kept_files_is_found() {
    let folder = tempfile::tempdir().unwrap();
    let store = SqliteStore::open(folder.path()).unwrap();
    let kept = store.kept();
    let [good, changed, missing] =
        ["good", "changed", "missing"].map(|text| kept.keep(&mut text.as_bytes()).unwrap());
    let mut both = Both {
        writer: Box::new(store.writer().unwrap()),
        reader: Box::new(store.reader().unwrap()),
        _folder: None,
    };
    for (i, file) in [&good, &changed, &missing].into_iter().enumerate() {
        let source = ohmward::store::Source { file: Some(file.clone()), ..serial("x") };
        both.readings(day(2), &source, &[plain("YT-001", "U", day(i as i64), 5e8)]);
    }
    let reader = store.reader().unwrap();
    assert_eq!(reader.check_kept().unwrap(), Vec::<String>::new());
    fs::copy(kept.path(&good.digest), kept.path(&changed.digest)).unwrap();
    fs::remove_file(kept.path(&missing.digest)).unwrap();
    let quick = reader.check().unwrap();
    assert_eq!(quick.len(), 1, "{quick:?}");
    let whole = reader.check_kept().unwrap();
    assert_eq!(whole.len(), 2, "{whole:?}");
    assert!(whole[0].contains(changed.digest.as_str()) && whole[0].contains(good.digest.as_str()));
}
