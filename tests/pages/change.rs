//! The form that changes an asset, and those that take it out of service or into another one: who
//! may, what is wrong beside its field, and what comes of it.

use serde_json::{Value, json};

use crate::ask::{Answer, ask, form, logged_in};
use crate::running::{Daemon, Place};

/// A service with two machines and somebody who manages.
struct Quay {
    place: Place,
    daemon: Daemon,
    session: String,
}

impl Quay {
    fn open() -> Self {
        let place = Place::new();
        for (id, more) in [("YT-1/drive", "5.25e6"), ("YT-O1/drive", "5e6")] {
            let add = ["asset", "add", id, "--kind", "drive motor", "--limit", more];
            assert_eq!(place.run(&add).0, 0);
        }
        place.account("Moira", "manage");
        let daemon = place.serve();
        let session = logged_in(daemon.address(), "Moira");
        Quay { place, daemon, session }
    }

    fn page(&self, path: &str) -> Answer {
        let headers = [&self.session, "Accept: text/html"];
        ask(self.daemon.address(), &format!("GET {path}"), &headers, "")
    }

    /// Sends a form of the page of an asset as a browser would, with some fields filled in anew.
    fn sends(&self, id: &str, to: &str, page: &Answer, filled: &[(&str, &str)]) -> Answer {
        let mut fields = vec![("csrf".to_owned(), page.csrf().to_owned())];
        for (name, value) in hidden(&page.body) {
            let own = name.trim_start_matches("was_").to_owned();
            fields.push((own, value.clone()));
            fields.push((name, value));
        }
        fields.retain(|(name, _)| !filled.iter().any(|(new, _)| new == name));
        fields.extend(filled.iter().map(|(n, v)| ((*n).to_owned(), (*v).to_owned())));
        let pairs: Vec<String> =
            fields.iter().map(|(name, value)| format!("{name}={}", encoded(value))).collect();
        let headers = [&self.session, "Accept: text/html"];
        form(self.daemon.address(), &format!("/asset/{id}/{to}"), &headers, &pairs.join("&"))
    }

    /// Looks at the page of an asset and sends one of its forms, which goes through.
    fn does(&self, id: &str, to: &str, filled: &[(&str, &str)], done: &str) {
        let page = self.page(&format!("/asset/{id}/change"));
        let answer = self.sends(id, to, &page, filled);
        let on = format!("/asset/{id}?done={done}");
        assert_eq!((answer.status, answer.header("location")), (303, Some(&*on)), "{answer:?}");
    }

    fn asset(&self, id: &str) -> Value {
        let (_, out) = self.place.run(&["asset", "show", id, "--format", "json"]);
        serde_json::from_str::<Value>(&out).unwrap()[0].clone()
    }
}

/// The fields that say what the form began with.
fn hidden(page: &str) -> Vec<(String, String)> {
    let fields = page.split("<input type=\"hidden\" name=\"was_").skip(1);
    let field = |part: &str| {
        let (name, rest) = part.split_once("\" value=\"").unwrap();
        (format!("was_{name}"), rest.split_once('"').unwrap().0.to_owned())
    };
    fields.map(field).collect()
}

fn encoded(value: &str) -> String {
    let byte = |b: u8| match b {
        b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' => (b as char).to_string(),
        b => format!("%{b:02X}"),
    };
    value.bytes().map(byte).collect()
}

const ID: &str = "YT-1%2Fdrive";

#[test]
fn what_is_known_of_an_asset_is_changed_in_the_name_of_who_did_it() {
    let quay = Quay::open();
    let page = quay.page("/asset/YT-1%2Fdrive");
    assert!(page.body.contains("href=\"/asset/YT-1%2Fdrive/change\""), "{page:?}");
    let filled = [
        ("limit_ohm", "10 MΩ"),
        ("more_limits", "100 Ω/V at 800 V\r\n1 MΩ as read"),
        ("phases", "tied"),
        ("interval_days", "90"),
        ("remark", "rewound in May, invented"),
    ];
    quay.does(ID, "change", &filled, "asset");
    let asset = quay.asset("YT-1/drive");
    assert_eq!((&asset["limit_ohm"], &asset["phases"]), (&1e7.into(), &"tied".into()));
    let limits = json!(["80 kΩ isolation (100 Ω/V at 800 V)", "1 MΩ as read"]);
    assert_eq!((&asset["more_limits"], &asset["interval_days"]), (&limits, &90.into()));
    assert_eq!(asset["kind"], "drive motor");
    let audit = ask(quay.daemon.address(), "GET /v1/audit?limit=1", &[&quay.session], "");
    let row = &audit.json()[0];
    assert_eq!((&row["who"], &row["subject"]), (&"Moira".into(), &"YT-1/drive".into()));
    assert_eq!(row["before"]["interval_days"], Value::Null);
    // The page says what stands now, and sent again as it is it changes nothing.
    quay.does(ID, "change", &[], "unchanged");
    assert_eq!(quay.asset("YT-1/drive"), asset);
    assert!(quay.daemon.end().success());
}

#[test]
fn what_is_wrong_stands_beside_its_field_and_nothing_is_recorded() {
    let quay = Quay::open();
    let before = quay.asset("YT-1/drive");
    let page = quay.page("/asset/YT-1%2Fdrive/change");
    let filled = [("limit_ohm", "plenty"), ("interval_days", "soon"), ("site", "North quay")];
    let answer = quay.sends(ID, "change", &page, &filled);
    assert_eq!(answer.status, 422);
    for (field, words) in [
        ("limit_ohm", "expected a resistance such as “5 MΩ”, found “plenty”"),
        ("interval_days", "expected a whole number from 1 to 100000, or nothing, found “soon”"),
    ] {
        let beside = format!("<p id=\"{field}-more\" class=\"wrong\">{words}</p>");
        assert!(answer.body.contains(&beside), "{field}: {}", answer.body);
    }
    assert!(answer.body.contains("Nothing was recorded."));
    // What was filled in is still there, also beside what the form began with.
    assert!(answer.body.contains("name=\"site\" value=\"North quay\""));
    assert!(answer.body.contains("name=\"was_limit_ohm\" value=\"5.25 MΩ\""));
    assert_eq!(quay.asset("YT-1/drive"), before);
    let answer = quay.sends(ID, "change", &answer, &[("csrf", "0"), ("site", "x")]);
    assert_eq!(answer.status, 403);
    assert_eq!(quay.page("/asset/YT-999/change").status, 404);
    assert!(quay.daemon.end().success());
}

/// Two people change different things at once: both hold.
#[test]
fn what_somebody_else_changed_meanwhile_stays() {
    let quay = Quay::open();
    let page = quay.page("/asset/YT-1%2Fdrive/change");
    let add = ["asset", "add", "YT-1/drive", "--site", "North quay"];
    assert_eq!(quay.place.run(&add).0, 0);
    let answer = quay.sends(ID, "change", &page, &[("remark", "seen, invented")]);
    assert_eq!(answer.status, 303, "{answer:?}");
    let asset = quay.asset("YT-1/drive");
    assert_eq!(
        (&asset["site"], &asset["remark"]),
        (&"North quay".into(), &"seen, invented".into())
    );
    assert!(quay.daemon.end().success());
}

#[test]
fn an_asset_is_retired_and_comes_back_with_a_reason() {
    let quay = Quay::open();
    let page = quay.page("/asset/YT-1%2Fdrive/change");
    let answer = quay.sends(ID, "standing", &page, &[("do", "retire"), ("why", " ")]);
    assert_eq!(answer.status, 422);
    assert!(answer.body.contains("expected the reason: it is kept with the change"), "{answer:?}");
    assert_eq!(quay.asset("YT-1/drive")["standing"], "in service");
    let retire = [("do", "retire"), ("why", "scrapped, invented"), ("at", "2026-03-02 08:15")];
    quay.does(ID, "standing", &retire, "retired");
    assert_eq!(quay.asset("YT-1/drive")["standing"], "retired");
    let page = quay.page("/asset/YT-1%2Fdrive");
    let words = "retired since 2026-03-02 (by Moira): scrapped, invented";
    assert!(page.body.contains(words), "{page:?}");
    // A second time it is not.
    let page = quay.page("/asset/YT-1%2Fdrive/change");
    let again = quay.sends(ID, "standing", &page, &[("do", "retire"), ("why", "again")]);
    assert_eq!(again.status, 422);
    quay.does(ID, "standing", &[("do", "return"), ("why", "kept after all")], "returned");
    assert_eq!(quay.asset("YT-1/drive")["standing"], "in service");
    assert!(quay.daemon.end().success());
}

#[test]
fn an_asset_is_merged_into_another_and_taken_apart() {
    let quay = Quay::open();
    let wrong = "YT-O1%2Fdrive";
    let page = quay.page("/asset/YT-O1%2Fdrive/change");
    for (into, words) in [
        ("YT-999", "there is no asset “YT-999”"),
        ("YT-O1/drive", "“YT-O1/drive” is already the same"),
        ("", "expected a name on one line"),
    ] {
        let merge = [("do", "merge"), ("into", into), ("reason", "a letter for a zero")];
        let answer = quay.sends(wrong, "standing", &page, &merge);
        assert_eq!(answer.status, 422);
        assert!(answer.body.contains(words), "{into}: {answer:?}");
    }
    let merge = [("do", "merge"), ("into", "YT-1/drive"), ("reason", "a letter for a zero")];
    quay.does(wrong, "standing", &merge, "merged");
    assert_eq!(quay.asset("YT-O1/drive")["standing"], "merged");
    // The page of both is that of the one that stays, and leads to where it is taken apart.
    let page = quay.page("/asset/YT-1%2Fdrive");
    assert!(page.body.contains("“YT-O1/drive” is the same"), "{page:?}");
    assert!(page.body.contains("href=\"/asset/YT-O1%2Fdrive/change\""), "{page:?}");
    // Not in a ring.
    let page = quay.page("/asset/YT-1%2Fdrive/change");
    let ring = [("do", "merge"), ("into", "YT-O1/drive"), ("reason", "round")];
    assert_eq!(quay.sends(ID, "standing", &page, &ring).status, 422);
    quay.does(wrong, "standing", &[("do", "unmerge"), ("reason", "another motor")], "unmerged");
    assert_eq!(quay.asset("YT-O1/drive")["standing"], "in service");
    assert!(quay.daemon.end().success());
}
