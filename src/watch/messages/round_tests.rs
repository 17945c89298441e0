//! What goes into the outbox, and when, with a clock that is set by hand.

use jiff::civil::time;
use jiff::tz::TimeZone;
use serde_json::Value;

use super::round::Rounds;
use super::{Addressee, Hours, Settings};
use crate::model::{AssetId, Finding, FindingKind, FindingState, Phase, Stamp};
use crate::notify::{Channel, Email, SecretFile, Security, Webhook};
use crate::store::memory::MemoryStore;
use crate::store::{
    Act, Change, Fate, FindingAct, PendingMark, Posted, Reader, Turn, When, Writer,
};

use FindingKind::{BelowLimit, Declining, Imbalance, Step, Watch};

/// The harbour's clocks are an hour before UTC in winter: quiet from 21:00 to 05:00 UTC.
fn settings(channel: Channel, digest: bool) -> Settings {
    let zone = TimeZone::get("Europe/Berlin").unwrap();
    let quiet = Some((time(22, 0, 0, 0), time(6, 0, 0, 0)));
    let hours = Hours::new(zone, quiet, digest.then_some(time(7, 0, 0, 0))).unwrap();
    let addressees = vec![Addressee { channel, kinds: Addressee::usual_kinds(), digest }];
    Settings { addressees, hours }
}

fn webhook() -> Channel {
    let secret = SecretFile::new("/secret").unwrap();
    Channel::Webhook(Webhook::new("office".into(), "https://quay.example/", secret, false).unwrap())
}

fn email() -> Channel {
    let to = ["shift@quay.example".to_owned()];
    let server = ("localhost", None, Security::None);
    Channel::Email(Email::new("shift".into(), server, None, "w@quay.example", &to).unwrap())
}

/// An instant of the first days of February 2026.
fn at(day: u32, clock: &str) -> Stamp {
    Stamp::parse(&format!("2026-02-{day:02}T{clock}:00Z")).unwrap()
}

struct Quay {
    store: MemoryStore,
    rounds: Rounds,
    settings: Settings,
}

impl Quay {
    fn new(settings: Settings) -> Self {
        Quay { store: MemoryStore::default(), rounds: Rounds::default(), settings }
    }

    /// The findings of an asset as they are from now on.
    fn settle(&mut self, asset: &str, findings: &[(FindingKind, Stamp, Option<Stamp>)]) {
        let asset = AssetId::new(asset).unwrap();
        let findings: Vec<Finding> = findings
            .iter()
            .map(|&(kind, since, until)| Finding {
                asset: asset.clone(),
                kind,
                phase: Some(Phase::new("U").unwrap()),
                since,
                until,
                state: FindingState::Open,
                reason: "falls by 1.2 decades a year towards the limit".into(),
                evidence: EVIDENCE.to_owned(),
            })
            .collect();
        self.store.settle(at(1, "00:00"), &asset, PendingMark(0), &findings).unwrap();
    }

    fn act(&mut self, asset: &str, kind: FindingKind, since: Stamp, act: Act) {
        let asset = AssetId::new(asset).unwrap();
        let act = FindingAct { asset, kind, since, act, remark: "seen".into() };
        self.store.record(at(1, "00:00"), "Ines", &[Change::FindingAct(act)]).unwrap();
    }

    /// One round; the messages that it put into the outbox.
    fn round(&mut self, now: Stamp) -> Vec<Posted> {
        let before = self.store.outbox(false).unwrap().len();
        let (reader, mut writer) = (self.store.clone(), self.store.clone());
        self.rounds.round(&reader, &mut writer, now, &self.settings).unwrap();
        self.store.outbox(false).unwrap().split_off(before)
    }

    fn subjects(&mut self, now: Stamp) -> Vec<String> {
        self.round(now).iter().map(|p| p.message.subject.to_string()).collect()
    }

    fn send_all(&mut self, now: Stamp) {
        for posted in self.store.outbox(true).unwrap() {
            self.store.turn(now, posted.number, &Turn::Sent).unwrap();
        }
    }
}

const EVIDENCE: &str = r#"{"leading_phase":"U","against":"case","setup":"","test_voltage_v":500.0,
    "verdict":"declining","limit_ohm":5e6,"r40_ohm":4.3e7,"r40_lower_ohm":null,
    "r40_upper_ohm":null,"decades_per_year":-1.2,"decades_per_year_lower":null,
    "decades_per_year_upper":null,"reaches_limit_lower":"2026-05-01T00:00:00Z",
    "reaches_limit":"2026-06-01T00:00:00Z","reaches_limit_upper":"2026-08-12T00:00:00Z",
    "probability":0.97,"n_measured":5,"n_over":9,"n_under":0,"n_left_out":0,"last_ohm":6.2e7,
    "last_bound":"=","last_taken_at":"2026-02-03T08:15:00Z"}"#;

#[test]
fn a_finding_is_told_once_and_its_escalation_by_itself() {
    let mut quay = Quay::new(settings(webhook(), false));
    quay.settle("YT-1", &[(Declining, at(3, "08:15"), None), (Watch, at(2, "08:15"), None)]);
    let told = quay.round(at(3, "09:00"));
    assert_eq!(told.len(), 1);
    let origin = quay.store.origin().unwrap();
    assert_eq!(told[0].message.key, format!("{origin}/1/stated/1"));
    assert!(!told[0].message.urgent);
    let body: Value = serde_json::from_str(&told[0].message.content).unwrap();
    assert_eq!((&body["what"], &body["origin"]), (&"stated".into(), &origin.into()));
    assert_eq!(body["key"], told[0].message.key.as_str());
    assert_eq!(body["findings"][0]["asset"], "YT-1");
    assert_eq!(body["findings"][0]["limit_ohm"], 5e6);
    assert!(quay.round(at(3, "09:01")).is_empty());
    quay.send_all(at(3, "09:02"));
    // Assessed again with other numbers: the same finding.
    quay.settle("YT-1", &[(Declining, at(2, "08:15"), None)]);
    assert!(quay.round(at(3, "09:03")).is_empty());
    // Below the limit is news, also at night.
    quay.settle("YT-1", &[(Declining, at(2, "08:15"), None), (BelowLimit, at(3, "23:30"), None)]);
    let told = quay.round(at(3, "23:45"));
    assert_eq!(told.len(), 1);
    assert_eq!(told[0].message.subject, "below limit: YT-1, U");
    assert!(told[0].message.urgent);
}

#[test]
fn quiet_hours_hold_back_what_can_wait() {
    let mut quay = Quay::new(settings(webhook(), false));
    quay.settle("YT-1", &[(Declining, at(3, "20:00"), None)]);
    quay.settle("YT-2", &[(Step, at(3, "20:00"), None)]);
    quay.settle("YT-3", &[(Imbalance, at(3, "20:00"), None)]);
    assert!(quay.round(at(3, "21:00")).is_empty());
    // Closed and withdrawn before anybody was told: never told.
    quay.act("YT-2", Step, at(3, "20:00"), Act::Close);
    quay.settle("YT-3", &[]);
    assert!(quay.round(at(4, "04:59")).is_empty());
    assert_eq!(quay.subjects(at(4, "05:00")), ["declining: YT-1, U"]);
    assert!(quay.round(at(4, "05:01")).is_empty());
}

#[test]
fn an_import_of_old_data_is_one_message() {
    let mut quay = Quay::new(settings(webhook(), false));
    let old = Stamp::parse("2024-05-06T08:00:00Z").unwrap();
    for n in 0..150 {
        quay.settle(&format!("YT-{n}"), &[(Declining, old, None)]);
    }
    assert!(quay.round(at(3, "09:00")).is_empty());
    // It goes on arriving.
    for n in 150..300 {
        quay.settle(&format!("YT-{n}"), &[(BelowLimit, old, None)]);
    }
    quay.settle("YT-999", &[(Declining, old, Some(at(1, "00:00")))]);
    let later = |seconds: i64| Stamp::from_micros(at(3, "09:00").micros() + seconds * 1_000_000);
    assert!(quay.round(later(50)).is_empty());
    assert!(quay.round(later(100)).is_empty());
    let told = quay.round(later(110));
    assert_eq!(told.len(), 1);
    let message = &told[0].message;
    assert_eq!(message.subject, "findings: 150 below limit, 150 declining");
    assert_eq!((message.tells.len(), message.urgent), (300, true));
    let body: Value = serde_json::from_str(&message.content).unwrap();
    assert_eq!((body["findings"].as_array().unwrap().len(), &body["more"]), (200, &100.into()));
    assert!(body["text"].as_str().unwrap().contains("and 250 more"));
    assert!(quay.round(at(3, "12:00")).is_empty());
}

#[test]
fn what_never_rests_is_told_after_ten_minutes() {
    let mut quay = Quay::new(settings(webhook(), false));
    let old = Stamp::parse("2024-05-06T08:00:00Z").unwrap();
    let mut told = Vec::new();
    for minute in 0..=10 {
        for n in 0..3 {
            quay.settle(&format!("YT-{minute}-{n}"), &[(Declining, old, None)]);
        }
        told = quay.round(Stamp::from_micros(
            at(3, "09:00").micros() + i64::from(minute) * 59 * 1_000_000 + 10_000_000,
        ));
        assert!(told.is_empty());
    }
    told.extend(quay.round(at(3, "09:11")));
    assert_eq!(told[0].message.tells.len(), 33);
}

#[test]
fn at_most_ten_an_hour_go_singly_the_urgent_first() {
    let mut quay = Quay::new(settings(webhook(), false));
    for n in 10..22 {
        quay.settle(&format!("YT-{n}"), &[(Declining, at(3, "08:00"), None)]);
    }
    quay.settle("YT-99", &[(BelowLimit, at(3, "08:30"), None)]);
    let first = quay.subjects(at(3, "09:00"));
    assert_eq!(first.len(), 10);
    assert_eq!(first[0], "below limit: YT-99, U");
    assert_eq!(quay.subjects(at(3, "09:01")), ["findings: 3 declining"]);
    quay.settle("YT-50", &[(BelowLimit, at(3, "09:10"), None)]);
    assert!(quay.round(at(3, "09:20")).is_empty());
    // One alone needs no summary.
    assert_eq!(quay.subjects(at(3, "09:21")), ["below limit: YT-50, U"]);
    quay.settle("YT-51", &[(Declining, at(3, "09:10"), None)]);
    assert_eq!(quay.subjects(at(3, "10:30")), ["declining: YT-51, U"]);
}

#[test]
fn a_withdrawal_follows_what_was_told_and_nothing_else() {
    let mut quay = Quay::new(settings(email(), false));
    let declining = [(Declining, at(3, "08:00"), None)];
    quay.settle("YT-1", &declining);
    quay.round(at(3, "09:00"));
    // Not sent yet: whoever sends it looks whether it still holds.
    quay.settle("YT-1", &[]);
    assert!(quay.round(at(3, "09:01")).is_empty());
    quay.settle("YT-1", &declining);
    quay.send_all(at(3, "09:02"));
    quay.settle("YT-1", &[]);
    let told = quay.round(at(3, "09:03"));
    assert_eq!(told[0].message.subject, "withdrawn: declining: YT-1, U");
    assert!(told[0].message.content.starts_with("Withdrawn: "));
    quay.send_all(at(3, "09:04"));
    assert!(quay.round(at(3, "09:05")).is_empty());
    // It stands again: told again, as another message.
    quay.settle("YT-1", &declining);
    let told = quay.round(at(3, "09:06"));
    assert!(told[0].message.key.ends_with("/1/stated/2"), "{}", told[0].message.key);
}

#[test]
fn the_digest_comes_once_a_day_with_everything_that_stands() {
    let mut quay = Quay::new(settings(email(), true));
    quay.settings.addressees[0].kinds = vec![BelowLimit];
    quay.settle("YT-1", &[(BelowLimit, at(2, "08:00"), None)]);
    quay.settle("YT-2", &[(Declining, at(2, "08:00"), None), (Watch, at(2, "08:00"), None)]);
    assert_eq!(quay.subjects(at(2, "04:30")), ["below limit: YT-1, U"]);
    quay.settle("YT-3", &[(BelowLimit, at(2, "05:10"), None)]);
    quay.settings.addressees[0].kinds = vec![];
    // 07:00 at the harbour.
    let told = quay.round(at(2, "06:00"));
    assert_eq!(told.len(), 1);
    assert_eq!(told[0].message.subject, "digest of 2026-02-02: 0 new, 3 stand");
    let text = &told[0].message.content;
    assert!(text.contains("Standing from before:\n- below limit: YT-1, U"), "{text}");
    assert!(text.contains("declining: YT-2, U") && !text.contains("watch"), "{text}");
    // Another process, or the same after a restart: not again on this day.
    quay.rounds = Rounds::default();
    assert!(quay.round(at(2, "12:00")).is_empty());
    // The next day's takes the place of one that never went out.
    let told = quay.round(at(3, "06:00"));
    assert_eq!(told[0].message.subject, "digest of 2026-02-03: 0 new, 3 stand");
    let all = quay.store.outbox(false).unwrap();
    assert_eq!(all[1].fate, Fate::Dropped);
    assert!(all[1].error.contains("a newer digest"));
    // What is told in it is told.
    quay.settings.addressees[0].kinds = vec![Declining];
    assert_eq!(quay.subjects(at(4, "06:00")), ["digest of 2026-02-04: 1 new, 3 stand"]);
    assert!(quay.round(at(4, "06:01")).is_empty());
    for asset in ["YT-1", "YT-2", "YT-3"] {
        quay.settle(asset, &[]);
    }
    quay.send_all(at(5, "05:00"));
    // That nothing stands is said too: silence would look like a service that has stopped.
    assert!(quay.round(at(6, "06:00"))[0].message.content.contains("No finding stands."));
}

#[test]
fn messages_inform_and_never_reassure() {
    let mut quay = Quay::new(settings(email(), true));
    let kinds = [Declining, BelowLimit, Step, Imbalance, FindingKind::Overdue];
    for (n, kind) in kinds.into_iter().enumerate() {
        quay.settle(&format!("YT-{n}"), &[(kind, at(2, "08:00"), None)]);
    }
    let mut all = quay.round(at(2, "05:30"));
    let declining = all.iter().find(|p| p.message.subject.starts_with("declining")).unwrap();
    let text = &declining.message.content;
    assert!(
        text.starts_with(
            "YT-0: declining, phase U against case at 500 V.\n\
             Since 2026-02-02: falls by 1.2 decades a year towards the limit.\n\
             Last value 62 MΩ on 2026-02-03; 43 MΩ at 40 °C by the trend; limit 5 MΩ.\n\
             The trend reaches the limit between 2026-05-01 and 2026-08-12 (90 % interval; it \
             holds under the detector's model, which was checked on simulated fleets only).\n\n\
             This message informs; it decides nothing. Qualified people only;"
        ),
        "{text}"
    );
    let below = all.iter().find(|p| p.message.urgent).unwrap();
    assert!(below.message.content.contains("No projection: it is below the limit already."));
    all.extend(quay.round(at(2, "06:00")));
    quay.send_all(at(2, "06:01"));
    quay.settle("YT-0", &[]);
    all.extend(quay.round(at(2, "07:00")));
    assert_eq!(all.len(), 7);
    for posted in all {
        let text = &posted.message.content;
        assert!(text.contains("local rules first"), "{text}");
        for word in ["safe", "dead", "will fail", "harmless"] {
            assert!(!text.to_lowercase().contains(word), "{word}: {text}");
        }
    }
    assert!(quay.store.findings(None, When::ALWAYS).unwrap().len() == 5);
}
