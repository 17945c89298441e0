//! The audit: who changed what, when, and what it was before and after. Nothing is written for it:
//! registers are rows that are never overwritten, so what was before is the row before.

use std::collections::HashMap;

use super::{LimitRow, Row};
use crate::model::{
    Access, Account, Alias, Asset, AssetClass, Correction, CorrectionKind, Event, Gear, Proof,
    ReadingId, Stamp, Text, Token,
};
use crate::store::{Act, Change, FindingAct, Reader, Result, SheetStep};

/// Names of fields and what stood in them.
pub type Fields = Vec<(&'static str, String)>;

/// One thing that somebody did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Audited {
    /// When it was recorded.
    pub at: Stamp,
    /// Who did it; `service` for what the service itself noted.
    pub who: Text,
    /// What was changed, or what happened.
    pub what: &'static str,
    /// Which one.
    pub subject: String,
    /// What was different before; empty where there was nothing.
    pub before: Fields,
    /// What is different after; empty where nothing is left.
    pub after: Fields,
}

/// What a change leaves behind.
struct Told {
    what: &'static str,
    subject: String,
    /// What it replaces has the same, within `what`; none where nothing is ever replaced.
    key: Option<String>,
    /// All that stands now; none where it was taken back.
    now: Option<Fields>,
}

/// Stands for a secret: that it changed is told, never what it is.
const SECRET: &str = "secret";

/// Everything that people did from `since` on and that was known at `known_at`, oldest first.
///
/// # Errors
/// When the store cannot be read.
pub fn audit(reader: &dyn Reader, since: Stamp, known_at: Stamp) -> Result<Vec<Audited>> {
    let wanted = |at: Stamp| since <= at && at <= known_at;
    let mut all = Vec::new();
    let mut standing: HashMap<(&'static str, String), Fields> = HashMap::new();
    for past in reader.changes()? {
        let Told { what, subject, key, now } = told(past.row.value);
        let key = key.map(|key| (what, key));
        let before = key.as_ref().and_then(|key| standing.remove(key)).unwrap_or_default();
        if past.by_person && wanted(past.row.mark.recorded_at) {
            let (before, after) = different(&before, now.as_ref());
            let (at, who) = (past.row.mark.recorded_at, past.row.mark.by);
            all.push(Audited { at, who, what, subject, before, after });
        }
        if let (Some(key), Some(now)) = (key, now) {
            standing.insert(key, now);
        }
    }
    for entered in reader.entered_by_hand()? {
        if wanted(entered.mark.recorded_at) {
            let id = ReadingId { batch: entered.value, record: 1, part: 0 };
            let after = entered_fields(reader, id)?;
            let (at, who) = (entered.mark.recorded_at, entered.mark.by);
            let (subject, before) = (id.to_string(), Vec::new());
            all.push(Audited { at, who, what: "reading entered", subject, before, after });
        }
    }
    for row in reader.accesses(since, crate::store::When::ALWAYS)? {
        if wanted(row.mark.recorded_at) {
            let Access { kind, name, client, times } = row.value;
            let mut after = vec![("client", client.to_string())];
            if times > 1 {
                after.push(("times", times.to_string()));
            }
            let (at, who, what) = (row.mark.recorded_at, row.mark.by, kind.word());
            let (subject, before) = (name.into(), Vec::new());
            all.push(Audited { at, who, what, subject, before, after });
        }
    }
    all.sort_by_key(|audited| audited.at);
    Ok(all)
}

fn entered_fields(reader: &dyn Reader, id: ReadingId) -> Result<Fields> {
    let Some(stored) = reader.find(id)? else {
        return Ok(Vec::new());
    };
    let reading = &stored.reading;
    let mut fields = vec![("taken_at", reading.taken_at.to_string())];
    if !stored.in_tray {
        fields.push(("asset", reading.series.asset.to_string()));
        fields.push(("phase", reading.series.phase.to_string()));
    }
    fields.push(("bound", reading.bound.word().to_owned()));
    fields.push(("resistance_ohm", reading.ohms.to_string()));
    Ok(fields)
}

/// The fields that are not the same before and after, and not empty on both sides.
fn different(before: &Fields, after: Option<&Fields>) -> (Fields, Fields) {
    let none = Fields::new();
    let after = after.unwrap_or(&none);
    let others = |fields: &Fields, than: &Fields| -> Fields {
        let is_other = |field: &&(&'static str, String)| {
            than.iter().find(|other| other.0 == field.0) != Some(field) && !field.1.is_empty()
        };
        let masked = |(name, value): &(&'static str, String)| {
            (*name, if *name == SECRET { "…".to_owned() } else { value.clone() })
        };
        fields.iter().filter(is_other).map(masked).collect()
    };
    (others(before, after), others(after, before))
}

fn row<R: Row>(row: &R, but: &[&str]) -> Fields {
    let fields = R::COLUMNS.iter().copied().zip(row.write());
    fields.filter(|(name, _)| !but.contains(name)).collect()
}

fn told(change: Change) -> Told {
    match change {
        Change::Class(class) => of_class(&class),
        Change::Asset(asset) => of_asset(&asset),
        Change::Event(event) => of_event(&event, true),
        Change::EventVoid(event) => of_event(&event, false),
        Change::Gear(gear) => of_gear(&gear),
        Change::Proof(proof) => of_proof(&proof, true),
        Change::ProofVoid(proof) => of_proof(&proof, false),
        Change::Alias(alias) => of_alias(&alias, true),
        Change::AliasVoid(alias) => of_alias(&alias, false),
        Change::Correction(correction) => of_correction(correction),
        Change::FindingAct(act) => of_act(act),
        Change::Step(step) => of_step(step),
        Change::Account(account) => of_account(account),
        Change::Token(token) => of_token(token),
        Change::Access(Access { kind, name, .. }) => {
            Told { what: kind.word(), subject: name.into(), key: None, now: None }
        }
    }
}

fn of_class(class: &AssetClass) -> Told {
    let subject = class.name.to_string();
    Told { what: "class", key: Some(subject.clone()), subject, now: Some(row(class, &["class"])) }
}

fn of_asset(asset: &Asset) -> Told {
    let mut fields = row(asset, &["asset"]);
    let limits = asset.more_limits.iter().map(|limit| {
        let limit = LimitRow { asset: asset.id.clone(), limit: *limit };
        let cells = row(&limit, &["asset"]).into_iter().map(|(_, value)| value);
        cells.filter(|value| !value.is_empty()).collect::<Vec<_>>().join(" ")
    });
    fields.push(("more_limits", limits.collect::<Vec<_>>().join("; ")));
    let subject = asset.id.to_string();
    Told { what: "asset", key: Some(subject.clone()), subject, now: Some(fields) }
}

fn of_event(event: &Event, stands: bool) -> Told {
    let subject = format!("{} {} {}", event.asset, event.at, event.kind.word());
    let now = stands.then(|| row(event, &["at", "asset"]));
    Told { what: "event", key: Some(subject.clone()), subject, now }
}

fn of_gear(gear: &Gear) -> Told {
    let subject = gear.id.to_string();
    Told { what: "gear", key: Some(subject.clone()), subject, now: Some(row(gear, &["gear"])) }
}

/// Proofs never replace each other.
fn of_proof(proof: &Proof, stands: bool) -> Told {
    let key = Some(proof.write().join("\0"));
    let now = stands.then(|| row(proof, &["at", "tester"]));
    Told { what: "proof", subject: format!("{} {}", proof.tester, proof.at), key, now }
}

fn of_alias(alias: &Alias, stands: bool) -> Told {
    let own = if alias.written.is_empty() { alias.asset.as_str() } else { "" };
    let key = format!("{}\0{}\0{own}\0{:?}", alias.written, alias.phase_written, alias.from);
    let subject = format!("{} {}", alias.written, alias.phase_written).trim().to_owned();
    let now = stands.then(|| row(alias, &["written", "phase_written"]));
    Told { what: "alias", subject, key: Some(key), now }
}

fn of_correction(Correction { reading, kind, reason }: Correction) -> Told {
    let (class, mut fields) = match &kind {
        CorrectionKind::Void => ("void", vec![("kind", "void".to_owned())]),
        CorrectionKind::Restore => ("void", vec![("kind", "restore".to_owned())]),
        CorrectionKind::Overrule => ("overrule", vec![("kind", "overrule".to_owned())]),
        CorrectionKind::Move { asset, phase } => (
            "move",
            vec![
                ("kind", "move".to_owned()),
                ("asset", asset.to_string()),
                ("phase", phase.to_string()),
            ],
        ),
    };
    fields.push(("reason", reason.into()));
    let subject = reading.to_string();
    let key = Some(format!("{subject} {class}"));
    Told { what: "reading corrected", subject, key, now: Some(fields) }
}

fn of_act(FindingAct { asset, kind, since, act, remark }: FindingAct) -> Told {
    let act = match act {
        Act::Acknowledge => "acknowledged",
        Act::Close => "closed",
    };
    let subject = format!("{asset} {kind} {since}");
    let fields = vec![("answer", act.to_owned()), ("remark", remark.into())];
    Told { what: "finding", key: Some(subject.clone()), subject, now: Some(fields) }
}

fn of_step(SheetStep { sheet, number, at, act, details }: SheetStep) -> Told {
    let fields = vec![
        ("step", number.to_string()),
        ("done", at.to_string()),
        ("act", act.into()),
        ("details", details),
    ];
    let subject = format!("{} {}", sheet.station, sheet.opened);
    Told { what: "run sheet", subject, key: None, now: Some(fields) }
}

fn state(revoked: bool) -> (&'static str, String) {
    ("state", if revoked { "revoked" } else { "counts" }.to_owned())
}

fn of_account(Account { name, role, password, revoked }: Account) -> Told {
    let secret = (SECRET, password.as_str().to_owned());
    let fields = vec![("role", role.word().to_owned()), state(revoked), secret];
    Told { what: "account", key: Some(name.to_string()), subject: name.into(), now: Some(fields) }
}

fn of_token(Token { name, role, key: _, digest, expires, revoked }: Token) -> Told {
    let fields = vec![
        ("role", role.word().to_owned()),
        ("expires", expires.map(|at| at.to_string()).unwrap_or_default()),
        state(revoked),
        (SECRET, digest.as_str().to_owned()),
    ];
    Told { what: "token", key: Some(name.to_string()), subject: name.into(), now: Some(fields) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{AssetId, EventKind, Role};
    use crate::registry::Office;
    use crate::store::Writer;
    use crate::store::memory::MemoryStore;

    fn day(n: i64) -> Stamp {
        Stamp::parse("2026-03-01").unwrap().plus_days(n as f64)
    }

    /// What happened, one line each.
    fn lines(store: &MemoryStore, since: Stamp, known_at: Stamp) -> Vec<String> {
        let shown = |fields: Fields| {
            fields.into_iter().map(|(n, v)| format!("{n} {v}")).collect::<Vec<_>>().join(", ")
        };
        let all = audit(store, since, known_at).unwrap().into_iter().map(|a| {
            let Audited { who, what, subject, before, after, .. } = a;
            format!("{who}: {what} {subject}: {} -> {}", shown(before), shown(after))
        });
        all.collect()
    }

    #[test]
    fn each_change_is_told_with_what_was_before() {
        let store = MemoryStore::default();
        let mut writer = store.clone();
        let mut asset = Asset::first_met(AssetId::new("YT-1").unwrap());
        writer.record(day(1), "Ines", &[Change::Asset(asset.clone())]).unwrap();
        asset.limit_ohm = Some(1e6);
        asset.site = "North quay".into();
        writer.record(day(2), "Moira", &[Change::Asset(asset)]).unwrap();
        let event = Event {
            at: day(0),
            asset: AssetId::new("YT-1").unwrap(),
            kind: EventKind::parse("dried").unwrap(),
            remark: "oven".into(),
        };
        writer.record(day(3), "Ines", &[Change::Event(event.clone())]).unwrap();
        writer.record(day(4), "Moira", &[Change::EventVoid(event)]).unwrap();
        let reader = store.clone();
        let mut office = Office { reader: &reader, writer: &mut writer, now: day(5), by: "Moira" };
        office.add_account("Ines", Role::Read, "over the harbour").unwrap();
        office.now = day(6);
        office.set_role("Ines", Role::Bench).unwrap();
        office.now = day(7);
        office.set_password("Ines", "under the harbour").unwrap();
        office.now = day(8);
        office.revoke_account("Ines").unwrap();
        let told = lines(&store, day(2), Stamp::MAX);
        assert_eq!(
            told,
            [
                "Moira: asset YT-1: limit_ohm 5000000 -> limit_ohm 1000000, site North quay",
                "Ines: event YT-1 2026-03-01T00:00:00Z dried:  -> kind dried, remark oven",
                "Moira: event YT-1 2026-03-01T00:00:00Z dried: kind dried, remark oven -> ",
                "Moira: account Ines:  -> role read, state counts, secret …",
                "Moira: account Ines: role read -> role bench",
                "Moira: account Ines: secret … -> secret …",
                "Moira: account Ines: state counts -> state revoked",
            ]
        );
        assert_eq!(lines(&store, Stamp::MIN, day(3)).len(), 3);
    }
}
