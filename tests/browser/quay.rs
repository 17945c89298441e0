//! A store of invented machines of the invented harbour Kestrel Quay, served for one test.

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::Stdio;
use std::sync::LazyLock;

use crate::driver::Browser;
use crate::running::{Daemon, Place};

/// The store is made once; every test works on a copy of its own.
static STORE: LazyLock<Place> = LazyLock::new(|| {
    let place = Place::new();
    let files = [
        ("assets.csv", ASSETS.to_owned()),
        ("gear.csv", GEAR.to_owned()),
        ("proofs.csv", PROOFS.to_owned()),
        ("readings.csv", readings()),
        ("torn.csv", TORN.to_owned()),
    ];
    for (name, content) in files {
        fs::write(place.path(name), content).unwrap();
        let path = place.path(name);
        let (code, said) = place.run(&["import", path.to_str().unwrap()]);
        assert!(code <= 1, "{name}: {code} {said}");
    }
    place.run(&["declining"]);
    place
});

const ASSETS: &str = "asset,kind,rated_voltage_v,limit_ohm,insulation,phases,site,remark
YT-001/drive,drive motor,400,5000000,thermosetting,separable,North yard,steady
YT-002/drive,drive motor,400,5000000,thermosetting,separable,North yard,declines on V
YT-003/drive,drive motor,400,5000000,thermosetting,separable,South yard,below the limit
RMG-1/hoist,hoist motor,690,5000000,thermosetting,tied,Crane row,tested weekly
";

const GEAR: &str = "gear,kind,category,rated_voltage_v,full_scale_ohm,lowest_ohm,due,remark
HT-5,tester,CAT III,1000,550000000,10000,2099-01-01,
HT-6,tester,CAT III,1000,550000000,10000,2020-01-01,
L-2,lead,CAT II,300,,,,thin
";

const PROOFS: &str = "at,tester,kind,value,unit,passed,moment,remark
2024-05-01T08:00:00Z,HT-5,open,,,true,before,
";

/// A letter O for a zero, and a label that names no winding.
const TORN: &str = "taken_at,asset,phase,resistance_ohm,bound,test_voltage_v
2025-01-20T08:00:00Z,YT-001/drive,U,55O000000,=,500
2025-01-20T08:02:00Z,slot 14,L1,410000000,=,500
";

/// Monthly tests of the tractors, weekly ones of the crane over three years. Month `m` is 30 days.
fn readings() -> String {
    let mut out =
        "taken_at,asset,phase,resistance_ohm,bound,test_voltage_v,duration_s,temperature_c,\
         temperature_of,tester,operator,station\n"
            .to_owned();
    let mut visit = |asset: &str, day: i64, values: [(f64, &str); 3]| {
        for (phase, (ohms, bound)) in ["U", "V", "W"].into_iter().zip(values) {
            let at = ohmward::model::Stamp::from_micros((19_700 + day) * 86_400_000_000)
                .plus_days(0.375);
            let ohms = ohms.round();
            out += &format!(
                "{at},{asset},{phase},{ohms},{bound},500,60,22,winding,HT-5,M. Invented,B1\n"
            );
        }
    };
    const OVER: (f64, &str) = (550e6, ">");
    // A wobble that is the same every time.
    let wobble = |n: i64| 10f64.powf(0.03 * ((n * 37 % 11) as f64 - 5.0) / 5.0);
    for month in 0..14 {
        let day = month * 30;
        visit("YT-001/drive", day, [OVER; 3]);
        let fallen = |from: i64, by: f64| match month - from {
            n if n <= 0 => OVER,
            n => (4e8 * 10f64.powf(-by * n as f64) * wobble(n), "="),
        };
        visit("YT-002/drive", day + 1, [OVER, fallen(8, 0.28), OVER]);
        visit("YT-003/drive", day + 2, [OVER, OVER, fallen(7, 0.4)]);
    }
    for week in 0..60 {
        visit("RMG-1/hoist", week * 7, [0, 1, 2].map(|p| (3e8 * wobble(week * 3 + p), "=")));
    }
    out
}

/// A service with that store, and a browser that looks at it.
pub(crate) struct Quay {
    pub(crate) browser: Browser,
    pub(crate) daemon: Daemon,
    _place: Place,
}

impl Quay {
    pub(crate) fn open() -> Self {
        Quay::with(&[])
    }

    /// The same with these accounts: name, role; the password is the name and more.
    pub(crate) fn with(accounts: &[(&str, &str)]) -> Self {
        let place = Place::new();
        copied(&STORE.path("data"), &place.path("data"));
        for (name, role) in accounts {
            let mut add = place.command(&["account", "add", name, "--role", role]);
            let mut child = add.stdin(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
            writeln!(child.stdin.take().unwrap(), "{}", password(name)).unwrap();
            assert!(child.wait().unwrap().success(), "the account of {name}");
        }
        let daemon = place.serve();
        Quay { browser: Browser::open(daemon.address()), daemon, _place: place }
    }

    /// The same, where somebody has said who they are.
    pub(crate) fn named() -> Self {
        let quay = Quay::open();
        quay.browser.go("/who");
        quay.browser.field("Your name").write("M. Invented");
        quay.browser.button("That is me").click();
        quay.browser.until_says("M. Invented");
        quay
    }
}

/// The password of an invented account.
pub(crate) fn password(name: &str) -> String {
    format!("{name} of Kestrel Quay, invented")
}

fn copied(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap().map(Result::unwrap) {
        let (from, to) = (entry.path(), to.join(entry.file_name()));
        if from.is_dir() {
            copied(&from, &to);
        } else {
            fs::copy(&from, &to).unwrap();
        }
    }
}
