//! What every report says of itself: from when it is, how it was made, what it rests on, and what
//! whoever acts on it must keep to.

use super::document::{Block, Section};
use crate::dossier::Settings;
use crate::dossier::words::SAFETY;
use crate::model::Stamp;
use crate::store::When;
use crate::trend::words::ASSUMPTIONS;
use crate::trend::{detect, filter};
use crate::visits;

/// How a report came about.
#[derive(Clone, Debug)]
pub struct About<'a> {
    /// The date of the document; nothing measured later is in it.
    pub as_of: Stamp,
    /// Only what was recorded by then; [`Stamp::MAX`]: all that is known.
    pub known_at: Stamp,
    /// The UUID of the installation.
    pub origin: String,
    /// How assets are assessed.
    pub settings: &'a Settings,
}

impl About<'_> {
    /// Which rows count.
    pub fn when(&self) -> When {
        When { as_of: self.as_of, known_at: self.known_at }
    }

    /// From when the report is, in a line.
    pub(super) fn subtitle(&self) -> String {
        let measured = format!("everything measured up to {}", minute(self.as_of));
        match self.known_at {
            Stamp::MAX => format!("{measured}, as known when this was made"),
            known_at => format!("{measured}, as it was known on {}", minute(known_at)),
        }
    }

    pub(super) fn foot(&self, subject: &str) -> String {
        format!("{subject}, {} · ohmward {}", self.as_of.date(), env!("CARGO_PKG_VERSION"))
    }

    /// The options that ask for the same again.
    pub(super) fn options(&self) -> String {
        let known = match self.known_at {
            Stamp::MAX => String::new(),
            known_at => format!(" --known-at {known_at}"),
        };
        format!("--as-of {}{known}", self.as_of)
    }

    /// What a reader must know before the numbers are used.
    pub(super) fn assumptions(&self) -> Section {
        let more = "A projection says when the trend reaches the limit if it goes on as it does: \
                    never when insulation fails. A trend is a warning also above the limit. \
                    Over-range readings are used as what they are, “at least so much”: they are \
                    never taken for the number.";
        Section::new(
            "What the numbers rest on",
            vec![Block::Text(ASSUMPTIONS.into()), Block::Text(more.into())],
        )
    }

    pub(super) fn cautions(&self) -> Section {
        Section::new("Before anybody acts on this", vec![Block::Caution(SAFETY.into())])
    }

    /// Every setting, so that another engineer can do it again.
    pub(super) fn settings(&self) -> Vec<(String, String)> {
        let visits::Settings {
            gap_hours,
            rated_duration_s,
            least_voltage_ratio,
            proof_span_days,
            winding_sd,
            ambient_sd,
            unstated_sd,
        } = &self.settings.visits;
        let detect::Settings {
            filter,
            alarm,
            watch,
            clear,
            drop,
            imbalance,
            visit_hours,
            fewest,
            near_days,
            learnt_priors,
            learnt_testers,
        } = &self.settings.trend.detector;
        let filter::Settings { rates, horizon_days, sigmas, onset, .. } = filter;
        let list = |all: &mut dyn Iterator<Item = String>| all.collect::<Vec<_>>().join(", ");
        let used = |yes: bool| if yes { "used" } else { "shown only" };
        let rows = [
            ("visit", format!("ends after {gap_hours} h without a reading")),
            ("rated duration", format!("{rated_duration_s} s of applied voltage")),
            (
                "sagged voltage",
                format!("below {least_voltage_ratio} of nominal, high readings only"),
            ),
            ("failed proof", format!("reaches at most {proof_span_days} days, back or forward")),
            (
                "temperature uncertainty",
                format!(
                    "winding {winding_sd} K, ambient {ambient_sd} K, not stated {unstated_sd} K"
                ),
            ),
            (
                "a finding",
                format!(
                    "opens at {alarm} (higher where there are several series), watch at {watch}, ends below {clear}; needs {fewest} visits"
                ),
            ),
            ("sudden drop", format!("{drop} decades below the usual level, twice running")),
            (
                "imbalance",
                format!("{imbalance} decades, our own choice: no published limit exists"),
            ),
            (
                "decline rates considered",
                format!("{} decades a year", list(&mut rates.iter().map(f64::to_string))),
            ),
            ("horizon", format!("{horizon_days} days")),
            (
                "scatter of readings (weight)",
                format!(
                    "{} decades",
                    list(&mut sigmas.iter().map(|(s, weight)| format!("{s} ({weight})")))
                ),
            ),
            ("onsets of decline assumed", format!("{onset} a year")),
            (
                "visits that confirm one another",
                format!("within {near_days} days; pauses over {visit_hours} h part them"),
            ),
            (
                "learnt from the fleet",
                format!(
                    "priors {}, tester offsets {}",
                    used(*learnt_priors),
                    used(*learnt_testers)
                ),
            ),
        ];
        rows.into_iter().map(|(name, value)| (name.to_owned(), value)).collect()
    }
}

/// An instant to the minute: `2026-03-02 08:15 UTC`.
pub(super) fn minute(at: Stamp) -> String {
    format!("{} UTC", short_minute(at))
}

/// The same without its zone, for tables that say it once.
pub(super) fn short_minute(at: Stamp) -> String {
    match at {
        Stamp::MAX | Stamp::MIN => at.to_string(),
        at => at.to_string().chars().take(16).collect::<String>().replacen('T', " ", 1),
    }
}
