//! When a test began that a bare stream tells nothing about but its values.

use std::time::Duration;

/// How a test begins and ends on a stream of bare values.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TestRule {
    /// With the first line after a pause of this length.
    Pause(Duration),
    /// With a line that starts with `begin`, until one that starts with `end` (empty: until the
    /// next begins).
    Marker {
        /// The tester's word for the beginning.
        begin: String,
        /// The tester's word for the end.
        end: String,
    },
    /// With a person's word on the run sheet, which counts the seconds itself.
    Button,
}

/// The test going on, if any.
#[derive(Debug, Default)]
pub(super) struct Test {
    began: Option<Duration>,
    last: Option<Duration>,
}

/// What a line is to a test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Part {
    /// A marker: no value.
    Marker,
    /// A value, so many seconds after the beginning; none outside of any test.
    Value(Option<f64>),
}

impl Test {
    /// Looks at a line that came `after` the opening of the connection.
    pub(super) fn see(&mut self, rule: &TestRule, line: &[u8], after: Duration) -> Part {
        let last = self.last.replace(after);
        match rule {
            TestRule::Button => {}
            TestRule::Pause(pause) => {
                if last.is_none_or(|last| after.saturating_sub(last) >= *pause) {
                    self.began = Some(after);
                }
            }
            TestRule::Marker { begin, end } => {
                let line = line.trim_ascii_start();
                if line.starts_with(begin.as_bytes()) {
                    self.began = Some(after);
                    return Part::Marker;
                }
                if !end.is_empty() && line.starts_with(end.as_bytes()) {
                    self.began = None;
                    return Part::Marker;
                }
            }
        }
        // Tenths of a second: a tester's lines come no more exactly than that.
        let tenths = |time: Duration| (time.as_secs_f64() * 10.0).round() / 10.0;
        Part::Value(self.began.map(|began| tenths(after.saturating_sub(began))))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parts(rule: &TestRule, lines: &[(&str, u64)]) -> Vec<Part> {
        let mut test = Test::default();
        let see = |&(line, millis): &(&str, u64)| {
            test.see(rule, line.as_bytes(), Duration::from_millis(millis))
        };
        lines.iter().map(see).collect()
    }

    #[test]
    fn the_first_value_after_a_pause_begins_a_test() {
        let rule = TestRule::Pause(Duration::from_secs(5));
        let lines = [("1", 2_000), ("2", 3_040), ("3", 62_000), ("4", 63_000), ("5", 67_999)];
        let seconds = [0.0, 1.0, 0.0, 1.0, 6.0];
        assert_eq!(parts(&rule, &lines), seconds.map(|s| Part::Value(Some(s))));
    }

    #[test]
    fn markers_begin_and_end_a_test() {
        let rule = TestRule::Marker { begin: "START".into(), end: "END".into() };
        let lines = [("9", 0), ("START 500V", 1_000), ("1", 2_000), ("END", 3_000), ("2", 4_000)];
        let expected = [
            Part::Value(None),
            Part::Marker,
            Part::Value(Some(1.0)),
            Part::Marker,
            Part::Value(None),
        ];
        assert_eq!(parts(&rule, &lines), expected);
    }
}
