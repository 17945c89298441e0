//! The readings as a table: the columns of the canonical CSV with their types, units and meanings.

use super::table::{Column, Table};
use super::walk::Row;

/// One row per reading.
pub static READINGS: Table<Row> = Table {
    meaning: "one insulation-resistance reading a row, by time, then series",
    columns: &[
        Column::time("taken_at", "when it was measured", |r| Some(r.reading.taken_at)),
        Column::text("asset", "what was tested; empty: not known yet", |r| r.asset.as_str().into()),
        Column::text("phase", "what the live lead was on", |r| r.phase.as_str().into()),
        Column::text("against", "what the other lead was on: `case` or another phase", |r| {
            r.reading.series.against.as_str().into()
        }),
        Column::text(
            "setup",
            "what else makes readings comparable: other phases floating, grounded or guarded, \
             what was disconnected",
            |r| r.reading.series.setup.as_str().into(),
        ),
        Column::number(
            "resistance_ohm",
            "ohm",
            "the resistance as read; with a bound the end of the range, not a measured value",
            |r| Some(r.reading.ohms),
        ),
        Column::text(
            "bound",
            "`=` measured, `>` over-range (at least), `<` under-range (at most)",
            |r| r.reading.bound.word().into(),
        ),
        Column::number("test_voltage_v", "V", "nominal test voltage", |r| {
            r.reading.series.test_voltage.map(|v| v.get())
        }),
        Column::number("delivered_voltage_v", "V", "what the tester delivered under load", |r| {
            r.reading.delivered_voltage_v
        }),
        Column::number("duration_s", "s", "time of applied voltage until the value", |r| {
            r.reading.duration_s
        }),
        Column::number("temperature_c", "°C", "temperature at the test", |r| {
            r.reading.temperature_c
        }),
        Column::text("temperature_of", "what that is of: `winding` or `ambient`", |r| {
            r.reading.temperature_of.map_or("", |of| of.word()).into()
        }),
        Column::number("humidity_pct", "%", "relative humidity", |r| r.reading.humidity_pct),
        Column::text("tester", "the instrument", |r| r.reading.tester.as_str().into()),
        Column::text("operator", "who measured", |r| r.reading.operator.as_str().into()),
        Column::text("station", "where", |r| r.reading.station.as_str().into()),
        Column::text("remark", "free text", |r| r.reading.remark.as_str().into()),
    ],
};
