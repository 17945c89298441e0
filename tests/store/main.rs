//! The store: one suite that every implementation runs, the two compared on random histories, and
//! what only a database on a disk can get wrong.

#![expect(clippy::unwrap_used, reason = "tests")]

mod compared;
mod faults;
mod frozen;
mod killed;
mod suite;
mod thin;
mod words;

use ohmward::store::memory::MemoryStore;
use ohmward::store::sqlite::SqliteStore;
use words::Both;

store_suite!(memory, || {
    let store = MemoryStore::default();
    Both { writer: Box::new(store.clone()), reader: Box::new(store), _folder: None }
});

store_suite!(sqlite, || {
    let folder = tempfile::tempdir().unwrap();
    let store = SqliteStore::open(folder.path()).unwrap();
    Both {
        writer: Box::new(store.writer().unwrap()),
        reader: Box::new(store.reader().unwrap()),
        _folder: Some(folder),
    }
});

// Every entry a run of its own: what holds within one transaction must hold across them.
store_suite!(sqlite_in_small_runs, || {
    let folder = tempfile::tempdir().unwrap();
    let store = SqliteStore::open(folder.path()).unwrap();
    Both {
        writer: Box::new(store.writer().unwrap().with_part_bytes(1)),
        reader: Box::new(store.reader().unwrap()),
        _folder: Some(folder),
    }
});

store_suite!(sqlite_on_its_own_thread, || {
    let folder = tempfile::tempdir().unwrap();
    let store = SqliteStore::open(folder.path()).unwrap();
    let (writer, _thread) = store.writer().unwrap().on_a_thread().unwrap();
    Both {
        writer: Box::new(writer),
        reader: Box::new(store.reader().unwrap()),
        _folder: Some(folder),
    }
});
