//! A data folder of its own for each test, and the real binary working in it.
#![allow(dead_code, reason = "each test binary uses a part of this")]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// A data folder with the binary that works in it.
pub(crate) struct House {
    pub(crate) dir: tempfile::TempDir,
}

/// What a command answered.
pub(crate) struct Answer {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl House {
    pub(crate) fn new() -> Self {
        House { dir: tempfile::tempdir().unwrap() }
    }

    pub(crate) fn data(&self) -> PathBuf {
        self.dir.path().join("data")
    }

    pub(crate) fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_ohmward"));
        command.arg("--data").arg(self.data()).args(args);
        command.env("OHMWARD_BY", "the tests").env("TZ", "UTC").current_dir(self.dir.path());
        command
    }

    /// Runs a command and returns its answer, whatever it is.
    pub(crate) fn run(&self, args: &[&str]) -> Answer {
        answer(self.command(args).output().unwrap())
    }

    /// Runs a command that must end with this code.
    pub(crate) fn must(&self, code: i32, args: &[&str]) -> Answer {
        let answer = self.run(args);
        assert_eq!(answer.code, code, "{args:?}\n--- out\n{}\n--- err\n{}", answer.out, answer.err);
        answer
    }

    /// Runs a command that prints JSON, whatever its code.
    pub(crate) fn json(&self, args: &[&str]) -> serde_json::Value {
        let mut with_format = vec!["--format", "json"];
        with_format.extend(args);
        let answer = self.run(&with_format);
        serde_json::from_str(&answer.out)
            .unwrap_or_else(|e| panic!("{args:?}: {e}\n{}\n{}", answer.out, answer.err))
    }

    /// Writes a file into the test's folder and returns its path.
    pub(crate) fn file(&self, name: &str, content: impl AsRef<[u8]>) -> String {
        let path = self.dir.path().join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(&path, content).unwrap();
        path.to_string_lossy().into_owned()
    }

    pub(crate) fn path(&self, name: &str) -> String {
        self.dir.path().join(name).to_string_lossy().into_owned()
    }
}

pub(crate) fn answer(output: Output) -> Answer {
    Answer {
        code: output.status.code().unwrap_or(-1),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// The files below a folder with their content, by name.
pub(crate) fn contents(folder: &Path) -> Vec<(String, String)> {
    let mut out: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .map(|p| {
            let name = p.file_name().unwrap().to_string_lossy().into_owned();
            (name, std::fs::read_to_string(&p).unwrap())
        })
        .collect();
    out.sort();
    out
}

/// Canonical rows of three phases, monthly, with one phase that declines from a month on.
pub(crate) fn declining_asset(asset: &str, months: usize, from: usize) -> String {
    let mut rows =
        String::from("taken_at,asset,phase,resistance_ohm,bound,test_voltage_v,temperature_c\n");
    for month in 0..months {
        let (year, m) = (2024 + month / 12, month % 12 + 1);
        for (i, phase) in ["U", "V", "W"].into_iter().enumerate() {
            let (ohms, bound) = match (phase, month.checked_sub(from)) {
                ("V", Some(n)) => (4e8 * 10f64.powf(-0.28 * n as f64), "="),
                _ => (550e6, ">"),
            };
            rows.push_str(&format!(
                "{year}-{m:02}-10T09:{:02}:00Z,{asset},{phase},{},{bound},500,22\n",
                i * 2,
                ohms.round()
            ));
        }
    }
    rows
}
