//! The tables `[notify]`, `[[notify.webhook]]` and `[[notify.email]]`: as written, as meant.

use std::collections::BTreeSet;

use jiff::civil::Time;
use jiff::tz::TimeZone;
use serde::Deserialize;

use crate::model::{FindingKind, Invalid, Text, text};
use crate::notify::{Channel, Email, SecretFile, Security, Webhook};
use crate::watch::messages::{Addressee, Hours, Settings};

/// `[notify]`.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct Notify {
    zone: Option<String>,
    quiet_from: Option<String>,
    quiet_until: Option<String>,
    digest_at: Option<String>,
    webhook: Vec<WebhookTable>,
    email: Vec<EmailTable>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct WebhookTable {
    name: String,
    url: String,
    secret_file: String,
    #[serde(default)]
    allow_private: bool,
    kinds: Option<Vec<String>>,
    #[serde(default)]
    digest: bool,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct EmailTable {
    name: String,
    host: String,
    port: Option<u16>,
    #[serde(default = "tls")]
    tls: String,
    #[serde(default)]
    user: String,
    #[serde(default)]
    password_file: String,
    from: String,
    to: Vec<String>,
    kinds: Option<Vec<String>>,
    #[serde(default)]
    digest: bool,
}

fn tls() -> String {
    Security::Implicit.word().to_owned()
}

/// Who is told and when, as meant; the error names the table and what is wrong in it.
pub(super) fn meant(written: Notify) -> Result<Settings, String> {
    let hours = hours(&written).map_err(|why| format!("notify: {why}"))?;
    let mut addressees = Vec::new();
    for table in written.webhook {
        let at = format!("notify.webhook `{}`", table.name);
        addressees.push(webhook(table).map_err(|why| format!("{at}: {why}"))?);
    }
    for table in written.email {
        let at = format!("notify.email `{}`", table.name);
        addressees.push(email(table).map_err(|why| format!("{at}: {why}"))?);
    }
    let mut names = BTreeSet::new();
    for addressee in &addressees {
        let name = addressee.channel.name();
        if !names.insert(name) {
            return Err(format!("notify `{name}`: expected each name once, found it twice"));
        }
        if addressee.digest && !hours.have_digest() {
            return Err(format!(
                "notify `{name}`: `digest`: expected a time for it, `digest_at` in [notify]"
            ));
        }
    }
    Ok(Settings { addressees, hours })
}

fn hours(written: &Notify) -> Result<Hours, String> {
    let time = |field: &str, text: &Option<String>| -> Result<Option<Time>, String> {
        let Some(text) = text else { return Ok(None) };
        let expected = || format!("`{field}`: expected a time like `22:00`, found `{text}`");
        text.parse().map(Some).map_err(|_| expected())
    };
    let quiet = match (
        time("quiet_from", &written.quiet_from)?,
        time("quiet_until", &written.quiet_until)?,
    ) {
        (None, None) => None,
        (Some(from), Some(until)) => Some((from, until)),
        _ => return Err("`quiet_from` and `quiet_until`: expected both or neither".to_owned()),
    };
    let digest_at = time("digest_at", &written.digest_at)?;
    let zone = match &written.zone {
        Some(name) => TimeZone::get(name)
            .map_err(|_| format!("`zone`: expected a name like `Europe/Berlin`, found `{name}`"))?,
        None if quiet.is_some() || digest_at.is_some() => {
            return Err("`zone`: expected the time zone of the other times".to_owned());
        }
        None => TimeZone::UTC,
    };
    Hours::new(zone, quiet, digest_at)
}

fn webhook(table: WebhookTable) -> Result<Addressee, String> {
    let secret = SecretFile::new(&table.secret_file).map_err(|e| format!("`secret_file`: {e}"))?;
    let channel = Webhook::new(name(&table.name)?, &table.url, secret, table.allow_private)?;
    let (kinds, digest) = (kinds(table.kinds)?, table.digest);
    Ok(Addressee { channel: Channel::Webhook(channel), kinds, digest })
}

fn email(table: EmailTable) -> Result<Addressee, String> {
    let security = Security::parse(&table.tls).map_err(|e| e.to_string())?;
    let login = match (table.user.is_empty(), table.password_file.is_empty()) {
        (true, true) => None,
        (false, false) => {
            let password = SecretFile::new(&table.password_file)
                .map_err(|e| format!("`password_file`: {e}"))?;
            Some((Text::from(table.user), password))
        }
        _ => return Err("`user` and `password_file`: expected both or neither".to_owned()),
    };
    let server = (table.host.as_str(), table.port, security);
    let channel = Email::new(name(&table.name)?, server, login, &table.from, &table.to)?;
    let (kinds, digest) = (kinds(table.kinds)?, table.digest);
    Ok(Addressee { channel: Channel::Email(channel), kinds, digest })
}

fn name(name: &str) -> Result<Text, String> {
    match text("name", name) {
        Ok(name) if !name.is_empty() && !name.contains(['\n', '\r', '\t']) => Ok(name),
        Ok(_) => Err("`name`: expected a name on one line".to_owned()),
        Err(e) => Err(e.to_string()),
    }
}

fn kinds(words: Option<Vec<String>>) -> Result<Vec<FindingKind>, String> {
    let Some(words) = words else { return Ok(Addressee::usual_kinds()) };
    let each = words.iter().map(|word| FindingKind::parse(word));
    let told = |e: Invalid| format!("`kinds`: expected {}, found `{}`", e.expected, e.found);
    each.collect::<Result<_, _>>().map_err(told)
}

#[cfg(test)]
mod tests {
    use crate::config::Config;

    #[test]
    fn what_cannot_be_meant_is_told_with_its_place() {
        let hook = |more: &str| {
            format!(
                "[[notify.webhook]]\nname = \"h\"\nurl = \"https://quay.example/\"\n\
                 secret_file = \"/s\"\n{more}\n"
            )
        };
        let mail = |more: &str| {
            format!(
                "[[notify.email]]\nname = \"m\"\nhost = \"mail.quay.example\"\n\
                 from = \"w@quay.example\"\nto = [\"a@quay.example\"]\n{more}\n"
            )
        };
        for (text, words) in [
            (hook("kinds = [\"down\"]"), "notify.webhook `h`: `kinds`: expected one of declining"),
            (hook("secret = \"word\""), "unknown field `secret`"),
            (hook("digest = true"), "notify `h`: `digest`: expected a time for it"),
            (hook("") + &hook(""), "notify `h`: expected each name once"),
            (mail("password = \"word\""), "unknown field `password`"),
            (mail("user = \"w\""), "`user` and `password_file`: expected both or neither"),
            (mail("tls = \"maybe\""), "expected one of implicit, starttls, none"),
            (mail("tls = \"none\""), "expected `implicit` or `starttls`"),
            ("[notify]\nquiet_from = \"22:00\"".into(), "expected both or neither"),
            ("[notify]\ndigest_at = \"07:00\"".into(), "`zone`: expected the time zone"),
            (
                "[notify]\nzone = \"Quay\"\ndigest_at = \"07:00\"".into(),
                "`zone`: expected a name like",
            ),
            (
                "[notify]\nzone = \"UTC\"\ndigest_at = \"7 o'clock\"".into(),
                "`digest_at`: expected a time like `22:00`",
            ),
        ] {
            let told = Config::parse(&text).unwrap_err();
            assert!(told.contains(words), "{told}");
        }
        let config = Config::parse(&(hook("kinds = []") + &mail(""))).unwrap();
        let [hook, mail] = config.messages.addressees.as_slice() else { panic!() };
        assert!(hook.kinds.is_empty());
        assert_eq!(mail.kinds.len(), 7);
    }
}
