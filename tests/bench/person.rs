//! A person at a bench: fills in forms, works the tester, reads the sheet.

use serde_json::Value;

use crate::running::{Daemon, Place, until};
use crate::tester::Tester;

/// A bench with a tester and a service; everything in it is invented.
pub(crate) struct Bench {
    pub(crate) place: Place,
    pub(crate) tester: Tester,
    pub(crate) daemon: Option<Daemon>,
}

pub(crate) const ASSET: &str = "YT-014/drive";

/// Six earlier monthly visits of a sound drive, all on scale.
fn history() -> String {
    let mut out = "taken_at,asset,phase,resistance_ohm,bound,test_voltage_v,duration_s,\
                   temperature_c,temperature_of,tester,setup\n"
        .to_owned();
    for month in 1..=6 {
        for (phase, ohms) in [("U", 4.1e8), ("V", 3.9e8), ("W", 4.0e8)] {
            let ohms = ohms * (1.0 + 0.02 * f64::from(month % 3));
            out += &format!(
                "2026-0{month}-05T08:00:00Z,{ASSET},{phase},{ohms},=,500,1,22,winding,BT-1,\
                 others grounded\n"
            );
        }
    }
    out
}

/// What the tester streams: ohms, volts, seconds.
pub(crate) fn reply(ohms: &str, seconds: f64) -> String {
    format!("{ohms},501.5,{seconds}\r\n")
}

/// Over-range, as instruments write it (SCPI: +infinity).
pub(crate) const OVER: &str = "9.9E37";

impl Bench {
    pub(crate) fn new() -> Self {
        Self::with("")
    }

    /// With more lines in the station's table.
    pub(crate) fn with(more: &str) -> Self {
        let place = Place::new();
        let tester = Tester::plugged(&place, "tester");
        let port = tester.path.display();
        place.config(&format!(
            "[visits]\nrated_duration_s = 1.0\n[bench]\nleast_discharge_s = 0.0\n\
             [[source.serial]]\nname = \"bench-1\"\nport = \"{port}\"\nprofile = \"quay-scpi\"\n\
             tester = \"BT-1\"\n{more}\n"
        ));
        let assets = "asset,kind,rated_voltage_v,limit_ohm,insulation,phases\n\
                      YT-014/drive,drive motor,400,5000000,thermosetting,separable\n\
                      YT-015/drive,drive motor,400,5000000,thermosetting,separable\n\
                      YT-014/pack,traction battery,400,,none,unknown\n";
        let gear = "gear,kind,category,rated_voltage_v,lowest_ohm,remark\n\
                    BT-1,tester,CAT III,1000,10000,\nL-1,lead,CAT III,1000,,\n\
                    L-2,lead,CAT II,300,,\nR-1,known resistance,,1000,,1 MΩ\n";
        for (name, text) in
            [("assets.csv", assets), ("gear.csv", gear), ("readings.csv", &history())]
        {
            std::fs::write(place.path(name), text).unwrap();
            let (code, said) = place.run(&["import", place.path(name).to_str().unwrap()]);
            assert!(code <= 1, "{name}: {code} {said}");
        }
        let daemon = Some(place.serve());
        let mut bench = Bench { place, tester, daemon };
        bench.connected(1);
        bench
    }

    pub(crate) fn daemon(&self) -> &Daemon {
        self.daemon.as_ref().unwrap()
    }

    /// Waits until the port was opened for the `n`-th time by this daemon.
    pub(crate) fn connected(&mut self, n: u64) {
        self.daemon.as_ref().unwrap().until_count("bench-1", "openings", n);
        self.tester.send("\r\n");
    }

    /// The sheet as programs see it.
    pub(crate) fn sheet(&self) -> Value {
        self.daemon().get("/v1/bench/bench-1")
    }

    pub(crate) fn live(&self) -> Value {
        self.daemon().get("/v1/bench/bench-1/live")
    }

    /// The page as a person sees it.
    pub(crate) fn page(&self) -> String {
        let (status, _, body) =
            self.daemon().request("GET /bench/bench-1\r\nAccept: text/html", b"").unwrap();
        assert_eq!(status, 200, "{body}");
        body
    }

    /// What comes next.
    pub(crate) fn next(&self) -> String {
        self.sheet()["next"].as_str().unwrap_or("nothing").to_owned()
    }

    /// Sends a form of the sheet as it is now; answers status and page.
    pub(crate) fn send(&self, fields: &[(&str, &str)]) -> (u16, String) {
        let live = self.live();
        let seen =
            [("opened", live["opened"].to_string()), ("version", live["version"].to_string())];
        self.send_as("Ines", &seen, fields)
    }

    /// Sends a form with what somebody has seen of the sheet.
    pub(crate) fn send_as(
        &self,
        who: &str,
        seen: &[(&str, String)],
        fields: &[(&str, &str)],
    ) -> (u16, String) {
        let seen = seen.iter().map(|(n, v)| (*n, v.as_str()));
        let pairs: Vec<String> = seen
            .chain(fields.iter().copied())
            .map(|(name, value)| format!("{name}={}", encoded(value)))
            .collect();
        let head = format!(
            "POST /bench/bench-1\r\nContent-Type: application/x-www-form-urlencoded\r\n\
             Accept: text/html\r\nOhmward-Operator: {who}"
        );
        let (status, _, body) = self.daemon().request(&head, pairs.join("&").as_bytes()).unwrap();
        (status, body)
    }

    /// A form that has to go through; says what comes next.
    pub(crate) fn ok(&self, fields: &[(&str, &str)]) -> String {
        let (status, body) = self.send(fields);
        assert_eq!(status, 303, "{fields:?}: {}", alert(&body));
        self.next()
    }

    /// A form that has to be refused, with these words.
    pub(crate) fn refused(&self, fields: &[(&str, &str)], words: &str) {
        let before = self.live()["version"].clone();
        let (status, body) = self.send(fields);
        assert!((400..500).contains(&status), "{fields:?}: {status}");
        assert!(alert(&body).contains(words), "{fields:?}: {}", alert(&body));
        assert_eq!(self.live()["version"], before);
    }

    /// Streams a value and waits until the station shows it.
    pub(crate) fn show(&mut self, ohms: &str, seconds: f64) {
        self.tester.send(reply(ohms, seconds));
        let wanted = if ohms == OVER { 1e12 } else { ohms.parse::<f64>().unwrap().max(1e3) };
        until(&format!("the sheet shows {ohms}; {}", self.live()), || {
            (self.live()["value"]["resistance_ohm"].as_f64()? == wanted).then_some(())
        });
    }

    /// From nothing to the first proof, on an asset.
    pub(crate) fn isolated(&self, asset: &str) {
        self.ok(&[("do", "open"), ("asset", asset)]);
        self.ok(&[
            ("do", "plan"),
            ("phases", "U, V"),
            ("setup", "others grounded"),
            ("test_voltage_v", "500"),
            ("rated_s", "1"),
            ("temperature_c", "22"),
            ("temperature_of", "winding"),
            ("operator", "Ines"),
        ]);
        self.ok(&[("do", "gear"), ("tester", "BT-1"), ("part", "L-1"), ("part", "R-1")]);
        self.ok(&[("do", "confirm"), ("point", "isolated")]);
        self.ok(&[("do", "source"), ("read_v", "23.8"), ("expected_v", "24")]);
        self.ok(&[("do", "voltage"), ("volts", "0.2")]);
        self.ok(&[("do", "source"), ("read_v", "23.9"), ("expected_v", "24")]);
        let next = self.ok(&[("do", "confirm"), ("point", "disconnected")]);
        assert_eq!(next, "open-before");
    }

    /// Proves the tester from its stream; says what comes next.
    pub(crate) fn prove(&mut self) -> String {
        self.show(OVER, 1.0);
        self.ok(&[("do", "prove")]);
        self.show("0", 1.0);
        self.ok(&[("do", "prove")]);
        self.show("1.02E6", 1.0);
        self.ok(&[("do", "prove"), ("expected_ohm", "1 MΩ")])
    }

    /// A test from contact to its release, on a phase that comes next.
    pub(crate) fn test(&mut self, number: usize, ohms: &str) -> String {
        let contact = format!("contact-{number}");
        assert_eq!(self.ok(&[("do", "confirm"), ("point", &contact)]), format!("test-{number}"));
        let before = self.accepted();
        self.tester.send(reply(ohms, 0.5));
        self.tester.send(reply(ohms, 1.0));
        self.daemon().until_count("bench-1", "accepted", before + 2);
        self.ok(&[("do", "end")])
    }

    /// Waits for the discharge and reports what remains.
    pub(crate) fn discharge(&self) -> String {
        until("the discharge is over", || (self.live()["left_s"].as_f64()? <= 0.0).then_some(()));
        self.ok(&[("do", "discharged"), ("residual_v", "3")])
    }

    pub(crate) fn accepted(&self) -> u64 {
        self.daemon().source("bench-1")["accepted"].as_u64().unwrap_or(0)
    }

    /// The lines of the tray, as a person lists them.
    pub(crate) fn tray(&self) -> usize {
        let (_, out) = self.place.run(&["tray", "list", "--format", "json"]);
        serde_json::from_str::<Value>(&out).unwrap().as_array().unwrap().len()
    }
}

/// The words of a page's alerts.
pub(crate) fn alert(page: &str) -> String {
    let parts = page.split("role=\"alert\"").skip(1);
    parts.filter_map(|part| part.split("</div>").next()).collect::<Vec<_>>().join("\n")
}

fn encoded(value: &str) -> String {
    let byte = |b: u8| match b {
        b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' => (b as char).to_string(),
        b => format!("%{b:02X}"),
    };
    value.bytes().map(byte).collect()
}
