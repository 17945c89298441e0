//! One value per series and visit: what the trend sees of the readings.

use std::sync::Arc;

use super::{Asset, Bound, Event, ReadingId, Series, Stamp, Text};

/// The value of one series at one visit.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// The reading that stands for the visit.
    pub reading: ReadingId,
    /// When it was measured.
    pub taken_at: Stamp,
    /// log10 of the ohms, as read: never corrected.
    pub log_ohm: f64,
    /// Measured, at least or at most.
    pub bound: Bound,
    /// Temperature of the insulation in °C, where known or estimated; none: not known at all.
    pub temperature_c: Option<f64>,
    /// Standard uncertainty of that temperature in kelvin: small for a winding, larger where the
    /// temperature was of the air.
    pub temperature_sd: f64,
    /// Relative humidity in per cent.
    pub humidity_pct: Option<f64>,
    /// The tester's id; empty: not stated.
    pub tester: Text,
    /// The station; empty: not stated.
    pub station: Text,
    /// Other readings of the same series and visit: retests that this one replaced, and streamed
    /// lines. Two low readings in one visit repeat each other. Of each bound the lowest few are
    /// enough: more of them say the same.
    pub retests: Vec<(f64, Bound)>,
}

/// The points of one series, in time order.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// The series.
    pub series: Arc<Series>,
    /// Its points.
    pub points: Vec<Point>,
}

/// Everything the trend may know about one asset: its lines of one setup and test voltage, and
/// what was done to it. Nothing measured after the asked-for time is in it.
#[derive(Clone, Debug, PartialEq)]
pub struct Case {
    /// The asset as known.
    pub asset: Asset,
    /// Its lines.
    pub lines: Vec<Line>,
    /// Its events in time order.
    pub events: Vec<Event>,
}
