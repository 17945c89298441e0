//! What is said at the end of a fold: projections, what would end a finding, the final verdicts.

use super::{Fold, Track};
use crate::model::{Bound, Verdict};
use crate::trend::detect::{CrossingTimes, Detection, Judged, MOST_TO_CLEAR, Notice, NoticeKind};
use crate::trend::filter::{Observation, Turn};

impl Fold<'_> {
    /// The earliest projection over the limits; open before there are two visits.
    pub(super) fn crossing(&self, track: &Track) -> CrossingTimes {
        let Some(last) = track.last.filter(|_| track.state.visits() >= 2) else {
            return CrossingTimes::default();
        };
        let (grid, projector) = (self.detector.grid(), &self.detector.projector);
        let open = |days: Option<f64>| days.unwrap_or(f64::INFINITY);
        let all = track
            .thresholds(&self.limits)
            .map(|limit| projector.crossing(grid, track.prior, &track.state, limit));
        let Some(first) = all.min_by(|a, b| open(a.mid).total_cmp(&open(b.mid))) else {
            return CrossingTimes::default();
        };
        let stamp = |days: Option<f64>| days.map(|days| last.plus_days(days));
        CrossingTimes {
            lower: stamp(first.lower),
            mid: stamp(first.mid),
            upper: stamp(first.upper),
        }
    }

    /// How many visits at the usual pace and at today's level would end what stands.
    fn clears_after(&self, track: &Track) -> Option<u32> {
        let seen = track.last_seen?;
        let grid = self.detector.grid();
        let mut hopeful = track.clone();
        let steady = Observation {
            log_ohm: track.state.level(grid).mid,
            bound: Bound::Measured,
            temperature_c: 40.0,
            temperature_sd: 0.0,
            humidity_pct: None,
            ..seen
        };
        (1..=MOST_TO_CLEAR).find(|_| {
            hopeful.state.visit(grid, track.prior, track.usual_gap, Turn::None, &steady);
            hopeful.judge(self.detector, &self.limits, self.alarm);
            !hopeful.standing.alarm && !hopeful.standing.watch
        })
    }

    pub(super) fn finish(mut self) -> Detection {
        let fewest = self.detector.settings().fewest;
        let judged = self.tracks.iter().filter_map(|track| {
            let last = track.last?;
            let standing = track.standing;
            let flagged = standing.alarm || standing.watch || track.says.below || track.says.step;
            let below = track.chance.below > track.chance.declining;
            let verdict = match standing {
                _ if track.says.below => Verdict::BelowLimit,
                s if s.alarm && below => Verdict::BelowLimit,
                s if s.alarm => Verdict::Declining,
                _ if track.says.step || standing.watch => Verdict::Watch,
                _ if track.state.visits() < fewest => Verdict::TooFew,
                _ => Verdict::Steady,
            };
            Some(Judged {
                label: track.label.clone(),
                verdict,
                chance: track.chance,
                says: track.says,
                level: track.state.level(self.detector.grid()),
                decades_per_year: track.state.rate(self.detector.grid()),
                coefficient: track.state.coefficient(track.prior),
                scatter: track.state.scatter(track.prior),
                crossing: if flagged { self.crossing(track) } else { CrossingTimes::default() },
                clears_after: if flagged { self.clears_after(track) } else { None },
                visits: track.state.visits(),
                last,
            })
        });
        let series: Vec<Judged> = judged.collect();
        let chance = |j: &Judged| j.chance.sum();
        let leading = (0..series.len())
            .rev()
            .max_by(|a, b| chance(&series[*a]).total_cmp(&chance(&series[*b])));
        // A flagged series decides before one that has too few visits.
        let verdict = series.iter().map(|j| j.verdict).max().unwrap_or(Verdict::TooFew);
        for track in &self.tracks {
            if let Some((at, station)) = track.last.zip(track.temperature_taken().cloned()) {
                let (phase, kind) =
                    (track.label.phase().cloned(), NoticeKind::TemperatureTaken(station));
                self.notices.push(Notice { at, phase, kind });
            }
        }
        self.notices.sort_by_key(|notice| notice.at);
        Detection {
            alarms: self.episodes.alarms,
            projections: self.projections,
            verdict,
            leading,
            series,
            notices: self.notices,
        }
    }
}
