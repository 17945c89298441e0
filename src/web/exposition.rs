//! Metrics as OpenMetrics text, version 1.0.0 of the standard
//! (<https://github.com/prometheus/OpenMetrics/blob/v1.0.0/specification/OpenMetrics.md>).

use std::fmt::{Display, Write};

use crate::sources::Delays;

/// The media type of the standard.
pub(super) const MEDIA: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// A text being written: families one after the other, each with its samples.
#[derive(Default)]
pub(super) struct Exposition(String);

/// Labels of a sample: names and values.
pub(super) type Labels<'a> = &'a [(&'static str, &'a str)];

impl Exposition {
    /// A counter's family; its samples follow.
    pub(super) fn counter(&mut self, name: &str, help: &str) {
        self.head(name, "counter", help);
    }

    /// A sample of a counter.
    pub(super) fn count(&mut self, name: &str, labels: Labels<'_>, value: u64) {
        self.sample(name, "_total", labels, value);
    }

    /// A gauge's family; its samples follow.
    pub(super) fn gauge(&mut self, name: &str, help: &str) {
        self.head(name, "gauge", help);
    }

    /// A sample of a gauge.
    pub(super) fn level(&mut self, name: &str, labels: Labels<'_>, value: u64) {
        self.sample(name, "", labels, value);
    }

    /// The family of a histogram of seconds; `name` ends with `_seconds`.
    pub(super) fn histogram(&mut self, name: &str, help: &str) {
        self.head(name, "histogram", help);
        self.line(format_args!("# UNIT ohmward_{name} seconds"));
    }

    /// The samples of one histogram.
    pub(super) fn delays(&mut self, name: &str, labels: Labels<'_>, delays: &Delays) {
        let upto = Delays::UPTO_MS.iter().map(|ms| (ms / 1e3).to_string());
        let mut total = 0;
        for (upto, count) in upto.chain(["+Inf".to_owned()]).zip(delays.counts()) {
            total += count;
            let mut labels = labels.to_vec();
            labels.push(("le", &upto));
            self.sample(name, "_bucket", &labels, total);
        }
        self.sample(name, "_count", labels, total);
        self.sample(name, "_sum", labels, delays.seconds());
    }

    /// The whole text.
    pub(super) fn finish(mut self) -> String {
        self.0.push_str("# EOF\n");
        self.0
    }

    fn head(&mut self, name: &str, kind: &str, help: &str) {
        self.line(format_args!("# TYPE ohmward_{name} {kind}\n# HELP ohmward_{name} {help}"));
    }

    fn sample(&mut self, name: &str, suffix: &str, labels: Labels<'_>, value: impl Display) {
        let pairs: Vec<String> =
            labels.iter().map(|(name, value)| format!("{name}=\"{}\"", escaped(value))).collect();
        match pairs.is_empty() {
            true => self.line(format_args!("ohmward_{name}{suffix} {value}")),
            false => {
                let labels = pairs.join(",");
                self.line(format_args!("ohmward_{name}{suffix}{{{labels}}} {value}"));
            }
        }
    }

    fn line(&mut self, text: std::fmt::Arguments<'_>) {
        // Writing to a text cannot fail.
        writeln!(self.0, "{text}").unwrap_or_default();
    }
}

/// A label's value: backslash, quote and line end are escaped.
fn escaped(value: &str) -> String {
    value.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n")
}
