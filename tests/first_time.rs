//! What goes wrong on the first day: each message says what is the matter and what to do. Serial
//! ports are in `tests/daemon` and beside `sources::serial`.
#![expect(clippy::unwrap_used, reason = "a test may stop at the first failure")]

mod common;

use common::{Answer, House, declining_asset};

/// A command in a folder of its own, with the data folder as given.
fn with_data(house: &House, data: &str, args: &[&str]) -> Answer {
    let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_ohmward"));
    command.args(["--data", data]).args(args).current_dir(house.dir.path());
    common::answer(command.output().unwrap())
}

#[test]
fn the_wrong_folder() {
    let house = House::new();
    let empty = house.path("empty");
    std::fs::create_dir(&empty).unwrap();
    let told = with_data(&house, &empty, &["declining"]);
    assert_eq!(told.code, 3);
    assert!(told.err.contains("import something first, or name its folder"), "{}", told.err);
    // A file where the folder should be, and a place where nobody may make one.
    let file = house.file("notes.txt", "x");
    for data in [file.as_str(), "/proc/ohmward"] {
        let readings = house.file("a.csv", declining_asset("YT-001", 1, 9));
        let told = with_data(&house, data, &["import", &readings]);
        assert_eq!(told.code, 3);
        assert!(told.err.contains("cannot use the store at"), "{}", told.err);
        assert!(told.err.contains("--data"), "{}", told.err);
    }
}

#[test]
fn files_that_are_no_export() {
    let house = House::new();
    std::fs::create_dir(house.path("folder")).unwrap();
    house.file("empty.csv", "");
    house.file("shot.png", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR");
    house.file("report.pdf", "%PDF-1.7\n1 0 obj\n");
    house.file("notes.txt", "went to lunch\n");
    for (name, told) in [
        ("folder", "is a folder without the files of `export --all` (name the files in it"),
        ("empty.csv", "is empty: there is nothing to read"),
        ("shot.png", "is binary, not text (export it as CSV or text"),
        ("report.pdf", "`ohmward profile list` shows them"),
        ("notes.txt", "`ohmward profile list` shows them"),
        ("missing.csv", "there is no such file (check the name: it is looked for in"),
    ] {
        let answer = house.must(3, &["import", name]);
        assert!(answer.err.contains(told), "{name}: {}", answer.err);
    }
}

#[test]
fn a_mistyped_asset() {
    let house = House::new();
    let file = house.file("a.csv", declining_asset("YT-014/drive", 1, 9));
    house.must(0, &["import", &file]);
    for written in ["YT-041/drve", "yt-014", "YT-014/Drive"] {
        let told = house.must(3, &["assess", written]).err;
        assert!(told.contains("did you mean YT-014/drive?"), "{told}");
    }
    let told = house.must(3, &["history", "pump"]).err;
    assert!(told.contains("`ohmward asset list` shows all"), "{told}");
}

#[test]
fn local_times_without_a_zone() {
    let house = House::new();
    let file = house.file(
        "local.csv",
        "taken_at,asset,phase,resistance_ohm\n2026-03-02T08:15:30,YT-001,U,1e9\n",
    );
    let told = house.must(1, &["import", &file]).err;
    assert!(told.contains("with offset such as `2026-03-02T08:15:00Z`"), "{told}");
    let profile = "title = \"Local (invented)\"\nabout = \"Local times.\"\n\
        format = \"delimited\"\n[delimited]\nseparator = \";\"\n\
        [time]\ntaken_at = [\"%d.%m.%Y %H:%M\"]\n\
        [columns]\ntaken_at = [\"when\"]\nasset = [\"what\"]\nphase = [\"phase\"]\n\
        resistance = [\"ohm\"]\n[units]\nresistance = \"Ω\"\n";
    std::fs::create_dir_all(house.data().join("profiles")).unwrap();
    std::fs::write(house.data().join("profiles/local.toml"), profile).unwrap();
    let file = house.file("when.csv", "when;what;phase;ohm\n02.03.2026 08:15;YT-001;U;1e9\n");
    let answer = house.run(&["import", "--profile", "local", &file]);
    assert_eq!(answer.code, 3, "{}", answer.err);
    assert!(answer.err.contains("`time.zone` in the profile"), "{}", answer.err);
}

#[test]
fn a_second_daemon() {
    let house = House::new();
    let file = house.file("a.csv", declining_asset("YT-001", 1, 9));
    house.must(0, &["import", &file]);
    let store = ohmward::store::sqlite::SqliteStore::open(&house.data()).unwrap();
    let held = store.lock_daemon().unwrap();
    let told = house.must(3, &["serve", "--listen", "127.0.0.1:0"]).err;
    assert!(told.contains("a daemon is running on it already (stop that one first)"), "{told}");
    drop(held);
}

#[test]
fn a_copy_is_tried_and_comes_back() {
    let house = House::new();
    let file = house.file("a.csv", declining_asset("YT-001/drive", 18, 12));
    house.must(0, &["import", &file]);
    let list = house.json(&["declining"]);
    let copy = house.path("copy.db");
    let told = house.must(0, &["backup", &copy]).err;
    assert!(told.contains("restore") && told.contains("copy that folder too"), "{told}");
    house.must(3, &["backup", &copy]);
    house.must(2, &["restore", &copy]);

    // The original files are not in the copy: without them it is not whole.
    let told = house.must(1, &["restore", &copy, "--check"]).out;
    assert!(told.contains("1 of 1 are not in"), "{told}");
    let raw = house.data().join("raw");
    let raw = raw.to_str().unwrap();
    let told = house.must(0, &["restore", &copy, "--check", "--kept", raw]).out;
    assert!(
        told.contains("54 readings, 1 assets") && told.contains("each as its digest"),
        "{told}"
    );
    let to = house.path("back");
    house.must(0, &["restore", &copy, "--to", &to, "--kept", raw]);
    let told = with_data(&house, &to, &["--format", "json", "declining"]);
    assert_eq!(serde_json::from_str::<serde_json::Value>(&told.out).unwrap(), list);
    let told = house.must(3, &["restore", &copy, "--to", &to]).err;
    assert!(told.contains("there is a store already"), "{told}");

    // A copy that was damaged is not taken for good.
    let mut bytes = std::fs::read(&copy).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    std::fs::write(&copy, bytes).unwrap();
    let told = house.must(3, &["restore", &copy, "--check"]).err;
    assert!(told.contains("changed or damaged"), "{told}");
    std::fs::remove_file(house.path("copy.db.manifest")).unwrap();
    let other = house.file("other.db", "no database");
    let told = house.must(3, &["restore", &other, "--check"]).err;
    assert!(told.contains("expected a file written by `backup`"), "{told}");
}

#[test]
fn the_card_fits_a_page_and_has_every_word() {
    use ohmward::model::Verdict;
    let card = House::new().must(0, &["card"]).out;
    assert!(card.lines().count() <= 60, "{}", card.lines().count());
    assert!(card.lines().all(|line| line.chars().count() <= 78 && line.is_ascii()), "{card}");
    for verdict in Verdict::ALL {
        assert!(card.contains(&format!("\n  {:<12}", verdict.word())), "{verdict}");
    }
    for word in ["meets", "below", "cannot tell", "invalid"] {
        assert!(card.contains(&format!("\n  {word:<12}")), "{word}");
    }
    for told in ["never says that anything is safe", "four times as long", "proves a circuit dead"]
    {
        assert!(card.contains(told), "{told}");
    }
}
