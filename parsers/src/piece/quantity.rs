//! A number with or without a unit: voltages, durations, temperatures, humidity.

use crate::fault::Fault;
use crate::piece::number::{Style, goes_on, num};
use crate::piece::unit::{self, Quantity, Unit, unit};

/// No voltage, duration or temperature is this large in its unit: an instrument's code may be.
const BEYOND: f64 = 1e30;

/// The value of a cell in the unit of its quantity. `outside` is the unit that header, units row,
/// own column or profile state; one in the cell itself goes before it.
pub(crate) fn quantity(
    cell: &str,
    quantity: Quantity,
    outside: Option<Unit>,
    style: Style,
    field: &str,
) -> Result<f64, Fault> {
    if outside == Some(Unit::MinutesSeconds)
        && let Some(value) = minutes_seconds(cell)
    {
        return Ok(value);
    }
    let number = || Fault::new("number", field, style.expected(), cell);
    let (rest, value) = num(cell, style).map_err(|_| number())?;
    let value = match unit_behind(rest, quantity, outside, style, field, cell)? {
        Unit::MinutesSeconds => return Err(Fault::new("number", field, "a time as `m:ss`", cell)),
        unit => unit.apply(value),
    };
    check(value, quantity, field, cell)
}

/// The unit that stands behind a number, else the one from outside.
pub(crate) fn unit_behind(
    rest: &str,
    quantity: Quantity,
    outside: Option<Unit>,
    style: Style,
    field: &str,
    cell: &str,
) -> Result<Unit, Fault> {
    if goes_on(rest) {
        return Err(Fault::new("number", field, style.expected(), cell));
    }
    let fault = || Fault::new("unit", field, unit::expected(quantity), cell);
    if rest.trim().is_empty() { outside } else { unit(quantity, rest) }.ok_or_else(fault)
}

/// Refuses what cannot be.
pub(crate) fn check(value: f64, quantity: Quantity, field: &str, cell: &str) -> Result<f64, Fault> {
    let (possible, expected) = match quantity {
        Quantity::Resistance => (value >= 0.0, "a resistance not below zero"),
        Quantity::TestVoltage => (value > 0.0, "a voltage above zero"),
        Quantity::DeliveredVoltage => (value >= 0.0, "a voltage not below zero"),
        Quantity::Duration => (value >= 0.0, "a duration not below zero"),
        Quantity::Temperature => (value >= -273.15, "a temperature not below absolute zero"),
        Quantity::Humidity => ((0.0..=100.0).contains(&value), "0 to 100 %"),
    };
    // The codes for infinity are resistances or nothing.
    let possible = possible && (quantity == Quantity::Resistance || value < BEYOND);
    if possible && value.is_finite() {
        Ok(value)
    } else {
        Err(Fault::new("value", field, expected, cell))
    }
}

/// `1:30` in seconds.
fn minutes_seconds(cell: &str) -> Option<f64> {
    let (minutes, seconds) = cell.split_once(':')?;
    let digits = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit());
    if !(digits(minutes) && digits(seconds) && seconds.len() == 2) {
        return None;
    }
    let (minutes, seconds) = (minutes.parse::<u32>().ok()?, seconds.parse::<u32>().ok()?);
    (seconds < 60).then_some(f64::from(minutes) * 60.0 + f64::from(seconds))
}
