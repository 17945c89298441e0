//! A bench station's tester on a real pseudo-terminal, under a name that stays.

use std::fs::{self, File};
use std::io::{ErrorKind, Write};
use std::os::unix::fs::symlink;
use std::path::PathBuf;

use rustix::io::ioctl_fionbio;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};

use crate::running::{Place, until};

/// The tester's end of a line; the station opens `path`.
pub(crate) struct Tester {
    pub(crate) path: PathBuf,
    master: Option<File>,
}

/// A bench instrument that replies with ohms and volts, and knows neither time nor asset.
const PROFILE: &str = r#"
title = "Bare replies of a bench instrument (invented)"
format = "instrument"
[instrument]
values = ["resistance", "delivered_voltage"]
[units]
resistance = "Ω"
delivered_voltage = "V"
[constants]
test_voltage_v = 500.0
"#;

impl Tester {
    pub(crate) fn plugged(place: &Place, name: &str) -> Self {
        let profiles = place.path("data/profiles");
        fs::create_dir_all(&profiles).unwrap();
        fs::write(profiles.join("bare.toml"), PROFILE).unwrap();
        let mut tester = Tester { path: place.path(name), master: None };
        tester.plug();
        tester
    }

    /// Plugs it in: another terminal under the same name.
    pub(crate) fn plug(&mut self) {
        // No child may inherit it: then pulling the plug would end nothing.
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let master = openpt(flags).unwrap();
        grantpt(&master).unwrap();
        unlockpt(&master).unwrap();
        let name = ptsname(&master, Vec::new()).unwrap().into_string().unwrap();
        ioctl_fionbio(&master, true).unwrap();
        fs::remove_file(&self.path).ok();
        symlink(name, &self.path).unwrap();
        self.master = Some(File::from(master));
    }

    /// What becomes of the line when whoever read it was killed. A real port forgets the lock of a
    /// process that is gone; a pseudo-terminal keeps it while its other end is open, and lets only
    /// root pass: so it is another terminal.
    pub(crate) fn outlive_a_kill(&mut self) {
        self.plug();
    }

    /// Pulls the plug: the name goes with it.
    pub(crate) fn unplug(&mut self) {
        self.master = None;
        fs::remove_file(&self.path).unwrap();
    }

    /// Sends bytes; waits while the line is full.
    pub(crate) fn send(&mut self, bytes: impl AsRef<[u8]>) {
        let mut rest = bytes.as_ref();
        until("the line takes bytes", || {
            rest = &rest[self.try_send(rest)..];
            rest.is_empty().then_some(())
        });
    }

    /// Sends what the line takes.
    pub(crate) fn try_send(&mut self, bytes: &[u8]) -> usize {
        match self.master.as_mut().unwrap().write(bytes) {
            Ok(n) => n,
            Err(e) if matches!(e.kind(), ErrorKind::WouldBlock | ErrorKind::Interrupted) => 0,
            Err(e) => panic!("{e}"),
        }
    }

    /// The station's table in a configuration: bare values of one winding, a pause ends a test.
    pub(crate) fn table(&self, name: &str, asset: &str) -> String {
        format!(
            "[[source.serial]]\nname = \"{name}\"\nport = \"{}\"\nprofile = \"bare\"\n\
             asset = \"{asset}\"\nphase = \"U\"\ntest = \"pause\"\npause_s = 3600.0\n\n",
            self.path.display()
        )
    }
}

/// A reply of the instrument: ohms, volts.
pub(crate) fn reply(ohms: u64) -> String {
    format!("{ohms},500\r\n")
}
