//! The configuration: TOML as written, settings as meant. None is needed to begin.

mod bench;
mod http;
mod messages;
mod profiles;
mod reports;
mod sources;

use std::path::Path;

use serde::Deserialize;

use crate::dossier;
use crate::model::{Asset, AssetClass, Insulation, Invalid, Joining, text};
pub use http::{Http, TlsFiles};
pub use profiles::{ProfileFileError, add_profiles};
pub use sources::{DropFolder, Sources, Station};

/// Why a configuration cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum ConfigError {
    /// The file could not be read.
    #[error("cannot read the configuration `{path}`: {why}")]
    Read {
        /// Which file.
        path: String,
        /// What the system says.
        why: std::io::Error,
    },
    /// It is not what a configuration looks like; the text shows the line.
    #[error("the configuration `{path}` is wrong:\n{why}")]
    Written {
        /// Which file.
        path: String,
        /// Line, mark and what was expected.
        why: String,
    },
}

/// The settings as meant.
#[derive(Clone, Debug, Default)]
pub struct Config {
    /// How assets are assessed.
    pub assess: dossier::Settings,
    /// What an asset first met in an import becomes.
    pub first_met: AssetClass,
    /// The numbers of the run sheet.
    pub bench: crate::bench::Settings,
    /// Where readings come from by themselves.
    pub sources: Sources,
    /// Where HTTP is served.
    pub http: Http,
    /// Who is told of findings, and when.
    pub messages: crate::watch::messages::Settings,
    /// Reports that come by themselves.
    pub reports: Vec<crate::report::Schedule>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Written {
    visits: Visits,
    first_met: FirstMet,
    thinning: Thinning,
    http: http::Table,
    bench: bench::Bench,
    source: sources::Source,
    notify: messages::Notify,
    report: Vec<reports::ReportTable>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Visits {
    gap_hours: Option<f64>,
    rated_duration_s: Option<f64>,
    least_voltage_ratio: Option<f64>,
    proof_span_days: Option<f64>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct FirstMet {
    class: Option<String>,
    kind: Option<String>,
    limit_ohm: Option<f64>,
    insulation: Option<String>,
    phases: Option<String>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Thinning {
    /// 0: never.
    keep_days: u32,
}

impl FirstMet {
    fn meant(self) -> Result<AssetClass, String> {
        let told = |invalid: Invalid| format!("first_met.{invalid}");
        if let Some(name) = self.class.filter(|name| !name.trim().is_empty()) {
            let name = text("class", &name).map_err(told)?;
            let says_more = self.kind.is_some() || self.limit_ohm.is_some();
            if says_more || self.insulation.is_some() || self.phases.is_some() {
                return Err(format!(
                    "first_met.class: expected it alone, found other keys beside it (what class \
                     `{name}` is, `ohmward class add` says)"
                ));
            }
            return Ok(AssetClass::named(name));
        }
        let mut class = AssetClass::default();
        if let Some(kind) = self.kind {
            class.kind = text("kind", &kind).map_err(told)?;
            if !Asset::is_rotating(&class.kind) {
                class.limit_ohm = None;
            }
        }
        match self.limit_ohm {
            Some(v) if !(v > 0.0 && v.is_finite()) => {
                return Err(format!("first_met.limit_ohm: expected ohms above 0, found {v}"));
            }
            Some(v) => class.limit_ohm = Some(v),
            None => {}
        }
        if let Some(word) = self.insulation {
            class.insulation = Insulation::parse(&word).map_err(told)?;
        }
        if let Some(word) = self.phases {
            class.joining = Joining::parse(&word).map_err(told)?;
        }
        Ok(class)
    }
}

impl Config {
    /// Reads a file; a missing one is the default unless it was asked for by name.
    pub fn load(path: &Path, asked_for: bool) -> Result<Self, ConfigError> {
        let text = match std::fs::read_to_string(path) {
            Ok(text) => text,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound && !asked_for => {
                return Ok(Config::default());
            }
            Err(why) => return Err(ConfigError::Read { path: path.display().to_string(), why }),
        };
        Self::parse(&text)
            .map_err(|why| ConfigError::Written { path: path.display().to_string(), why })
    }

    /// Reads the text of a configuration.
    pub fn parse(text: &str) -> Result<Self, String> {
        let written: Written = toml::from_str(text).map_err(|e| e.to_string())?;
        let mut config = Config {
            sources: sources::meant(written.source)?,
            http: written.http.meant()?,
            first_met: written.first_met.meant()?,
            messages: messages::meant(written.notify)?,
            reports: reports::meant(written.report)?,
            bench: bench::meant(&written.bench)?,
            ..Config::default()
        };
        config.assess.keep_days = Some(written.thinning.keep_days).filter(|days| *days > 0);
        let visits = &mut config.assess.visits;
        let set = |name: &str, value: Option<f64>, to: &mut f64| match value {
            Some(v) if !(v > 0.0 && v.is_finite()) => {
                Err(format!("visits.{name}: expected a number above 0, found {v}"))
            }
            Some(v) => {
                *to = v;
                Ok(())
            }
            None => Ok(()),
        };
        set("gap_hours", written.visits.gap_hours, &mut visits.gap_hours)?;
        set("rated_duration_s", written.visits.rated_duration_s, &mut visits.rated_duration_s)?;
        set(
            "least_voltage_ratio",
            written.visits.least_voltage_ratio,
            &mut visits.least_voltage_ratio,
        )?;
        set("proof_span_days", written.visits.proof_span_days, &mut visits.proof_span_days)?;
        Ok(config)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::watch::messages::Addressee;

    const SAMPLE: &str = include_str!("../../systemd/config.toml");

    #[test]
    fn the_sample_with_every_key_in_effect_is_a_configuration() {
        let live: String = SAMPLE
            .lines()
            .map(|l| {
                l.strip_prefix('#').filter(|l| !l.starts_with(' ')).unwrap_or(l).to_owned() + "\n"
            })
            .collect();
        let config = Config::parse(&live).unwrap();
        assert_eq!(config.sources.serial.len() + config.sources.folder.len(), 2);
        assert_eq!(config.assess, Config::default().assess);
        assert_eq!(config.first_met, Config::default().first_met);
        assert_eq!(config.messages.addressees.len(), 2);
        assert!(config.messages.addressees.iter().all(|a| a.kinds == Addressee::usual_kinds()));
        assert_eq!(config.bench, Config::default().bench);
        assert_eq!(config.reports.len(), 1);
        // As it is delivered it says nothing.
        let delivered = Config::parse(SAMPLE).unwrap();
        assert_eq!(delivered.sources, Sources::default());
        assert_eq!(delivered.http, Http::default());
        assert_eq!(delivered.messages, Config::default().messages);
        assert_eq!(delivered.reports, []);
    }

    #[test]
    fn the_sample_explains_every_key() {
        for table in [
            "[visits]",
            "[first_met]",
            "[http]",
            "[[source.serial]]",
            "[[source.folder]]",
            "[notify]",
            "[[notify.webhook]]",
            "[[notify.email]]",
            "[bench]",
            "[[report]]",
        ] {
            // The refusal of an unknown key names all that are known.
            let refused = Config::parse(&format!("{table}\nzz = 1\n")).unwrap_err();
            let known: Vec<&str> = refused.split('`').skip(3).step_by(2).collect();
            assert!(!known.is_empty(), "{refused}");
            let part = SAMPLE.split_once(table).unwrap().1;
            let part = part.split("\n[").next().unwrap().split("\n#[").next().unwrap();
            // Some are tables, with their own part.
            for key in known.into_iter().filter(|key| !SAMPLE.contains(&format!(".{key}]]"))) {
                assert!(part.contains(&format!("\n#{key} = ")), "{table} {key}");
            }
        }
    }

    #[test]
    fn what_cannot_be_meant_is_told_with_its_place() {
        let station = |more: &str| {
            format!("[[source.serial]]\nname = \"b\"\nport = \"p\"\nprofile = \"x\"\n{more}\n")
        };
        for (text, words) in [
            (
                station("parity = \"mark\""),
                "unknown variant `mark`, expected one of `none`, `even`",
            ),
            (
                station("data_bits = 9"),
                "source.serial `b`: `data_bits`: expected 5 to 8, found `9`",
            ),
            (station("asset = \"YT-1\""), "`asset` and `phase`: expected both or neither"),
            (station("test = \"marker\""), "`begin`: expected the tester's word"),
            (station("") + &station(""), "source `b`: expected each name once"),
            ("[http]\nlisten = \"here\"".into(), "invalid socket address"),
            ("[first_met]\nclass = \"drive motor\"\nphases = \"tied\"".into(), "expected it alone"),
            ("[http]\ntls_cert = \"c.pem\"".into(), "`tls_cert` and `tls_key`: expected both"),
        ] {
            let told = Config::parse(&text).unwrap_err();
            assert!(told.contains(words), "{told}");
        }
    }
}
