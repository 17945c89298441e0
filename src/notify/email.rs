//! Messages by e-mail: one plain text to a mail server, encrypted unless the server is this machine.

use std::time::{Duration, UNIX_EPOCH};

use lettre::message::header::{ContentType, HeaderName, HeaderValue, MIME_VERSION_1_0};
use lettre::message::{Mailbox, Message};
use lettre::transport::smtp::authentication::Credentials;
use lettre::transport::smtp::client::{Tls, TlsParameters};
use lettre::{SmtpTransport, Transport};
use sha2::{Digest, Sha256};

use super::signature::hex;
use super::{Outgoing, SecretFile, SendError, TIME, one_line};
use crate::model::{Text, words};

words!(
    /// How the way to the mail server is kept secret.
    Security, "tls", {
        /// Encrypted from the first byte (RFC 8314; port 465).
        Implicit => "implicit",
        /// Encrypted after a first word, and given up where the server cannot (RFC 3207; port 587).
        StartTls => "starttls",
        /// Not at all: a server on this machine only.
        None => "none",
    }
);

impl Security {
    /// The usual port.
    pub const fn port(self) -> u16 {
        match self {
            Security::Implicit => 465,
            Security::StartTls => 587,
            Security::None => 25,
        }
    }
}

/// People who are told by e-mail.
#[derive(Clone, Debug, PartialEq)]
pub struct Email {
    /// Its name in the configuration.
    pub name: Text,
    /// The mail server.
    pub host: Text,
    /// Its port.
    pub port: u16,
    /// How the way to it is kept secret.
    pub security: Security,
    /// User and password at the server; none: it asks for none.
    pub login: Option<(Text, SecretFile)>,
    from: Mailbox,
    to: Vec<Mailbox>,
}

impl Email {
    /// Checks server and addresses; the error says what was expected.
    pub fn new(
        name: Text,
        (host, port, security): (&str, Option<u16>, Security),
        login: Option<(Text, SecretFile)>,
        from: &str,
        to: &[String],
    ) -> Result<Self, String> {
        let is_name = |c: char| c.is_ascii_alphanumeric() || ".-:_".contains(c);
        if host.is_empty() || !host.chars().all(is_name) {
            return Err(format!("`host`: expected the name of a mail server, found `{host}`"));
        }
        let here = host == "localhost"
            || host.parse::<std::net::IpAddr>().is_ok_and(|address| address.is_loopback());
        if security == Security::None && !here {
            return Err(format!(
                "`tls`: expected `implicit` or `starttls` for `{host}`: mail is sent without only \
                 to a server on this machine"
            ));
        }
        if to.is_empty() {
            return Err("`to`: expected one address or more, found none".to_owned());
        }
        let mailbox = |field: &str, text: &str| {
            let wrong = |why| format!("`{field}`: expected an address, found `{text}`: {why}");
            text.parse::<Mailbox>().map_err(|e| wrong(e.to_string()))
        };
        Ok(Email {
            name,
            host: host.into(),
            port: port.unwrap_or(security.port()),
            security,
            login,
            from: mailbox("from", from)?,
            to: to.iter().map(|text| mailbox("to", text)).collect::<Result<_, _>>()?,
        })
    }

    pub(super) fn send(&self, message: &Outgoing<'_>) -> Result<(), SendError> {
        let mail = self.mail(message)?;
        self.transport()?.send(&mail).map(drop).map_err(|e| network(&e))
    }

    fn mail(&self, message: &Outgoing<'_>) -> Result<Message, SendError> {
        let content = |e: lettre::error::Error| SendError::Content(e.to_string());
        let sent = UNIX_EPOCH + Duration::from_micros(message.at.micros().max(0) as u64);
        // The same message sent again is the same mail: many readers show it once.
        let id = hex(&Sha256::digest(format!("{}/{}", self.name, message.key)))[..32].to_owned();
        let mut mail = Message::builder()
            .from(self.from.clone())
            .date(sent)
            .message_id(Some(format!("<{id}@{}>", self.from.email.domain())))
            .subject(one_line(message.subject))
            .header(MIME_VERSION_1_0)
            .header(ContentType::TEXT_PLAIN);
        // RFC 3834: nobody's absence is to be answered to a program.
        if let Ok(name) = HeaderName::new_from_ascii("Auto-Submitted".to_owned()) {
            mail = mail.raw_header(HeaderValue::new(name, "auto-generated".to_owned()));
        }
        for to in &self.to {
            mail = mail.to(to.clone());
        }
        mail.body(message.content.to_owned()).map_err(content)
    }

    fn transport(&self) -> Result<SmtpTransport, SendError> {
        let parameters = || TlsParameters::new(self.host.to_string()).map_err(|e| network(&e));
        let tls = match self.security {
            Security::Implicit => Tls::Wrapper(parameters()?),
            Security::StartTls => Tls::Required(parameters()?),
            Security::None => Tls::None,
        };
        let mut builder = SmtpTransport::builder_dangerous(self.host.as_str())
            .port(self.port)
            .tls(tls)
            .timeout(Some(TIME));
        if let Some((user, password)) = &self.login {
            builder = builder.credentials(Credentials::new(user.to_string(), password.read()?));
        }
        Ok(builder.build())
    }
}

/// An error with what lies behind it, on one line.
fn network(error: &lettre::transport::smtp::Error) -> SendError {
    let mut text = error.to_string();
    let mut inner = std::error::Error::source(error);
    while let Some(cause) = inner {
        let cause_text = cause.to_string();
        if !text.contains(&cause_text) {
            text = format!("{text}: {cause_text}");
        }
        inner = cause.source();
    }
    SendError::Network(one_line(&text))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Stamp;

    fn email(host: &str, security: Security, to: &[&str]) -> Result<Email, String> {
        let to: Vec<String> = to.iter().map(ToString::to_string).collect();
        Email::new("office".into(), (host, None, security), None, "Quay <quay@quay.example>", &to)
    }

    #[test]
    fn mail_leaves_this_machine_encrypted_or_not_at_all() {
        let to = ["a@quay.example"];
        for (host, security, port) in [
            ("mail.quay.example", Security::Implicit, 465),
            ("mail.quay.example", Security::StartTls, 587),
            ("localhost", Security::None, 25),
            ("::1", Security::None, 25),
        ] {
            assert_eq!(email(host, security, &to).unwrap().port, port);
        }
        for host in ["mail.quay.example", "127.0.0.1.quay.example", "192.0.2.1"] {
            let told = email(host, Security::None, &to).unwrap_err();
            assert!(told.contains("expected `implicit` or `starttls`"), "{told}");
        }
    }

    #[test]
    fn what_is_no_address_is_refused() {
        for to in ["", "quay", "a@quay.example\r\nBcc: x@y.example", "a@b@c", "<a@b.example"] {
            let told = email("localhost", Security::None, &[to]).unwrap_err();
            assert!(told.contains("`to`: expected an address"), "{told}");
        }
        assert!(email("localhost", Security::None, &[]).is_err());
        assert!(email("mail quay", Security::Implicit, &["a@quay.example"]).is_err());
    }

    #[test]
    fn no_header_can_be_slipped_in() {
        let email = email("localhost", Security::None, &["a@quay.example"]).unwrap();
        let message = |key, at| Outgoing {
            key,
            subject: "below limit: YT-1\r\nBcc: x@y.example\r\n\r\nbody",
            content: "Größe\r\n.\r\nQUIT",
            at: Stamp::from_micros(at),
        };
        let text = |message| String::from_utf8(email.mail(&message).unwrap().formatted()).unwrap();
        let mail = text(message("k", 1_772_440_000_000_000));
        let (head, _) = mail.split_once("\r\n\r\n").unwrap();
        let names: Vec<&str> = head
            .split("\r\n")
            .filter(|line| !line.starts_with(' '))
            .map(|line| line.split(':').next().unwrap())
            .collect();
        assert!(!names.contains(&"Bcc"), "{head}");
        for name in ["From", "To", "Subject", "Date", "Message-ID", "MIME-Version"] {
            assert_eq!(names.iter().filter(|n| **n == name).count(), 1, "{name}: {head}");
        }
        // The name under which it travels does not hang on the time.
        let id =
            |mail: &str| mail.lines().find(|l| l.starts_with("Message-ID")).unwrap().to_owned();
        assert_eq!(id(&mail), id(&text(message("k", 0))));
        assert_ne!(id(&mail), id(&text(message("l", 0))));
    }
}
