//! The fields that a record can fill, by the names that profiles use.

use serde::Deserialize;

use crate::piece::unit::Quantity;

/// One thing that a column, placeholder, key or position can hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Field {
    TakenAt,
    Date,
    Time,
    Asset,
    Phase,
    Against,
    Setup,
    Resistance,
    ResistanceUnit,
    Bound,
    FullScale,
    TestVoltage,
    TestVoltageUnit,
    DeliveredVoltage,
    DeliveredVoltageUnit,
    Duration,
    DurationUnit,
    Temperature,
    TemperatureUnit,
    TemperatureOf,
    Humidity,
    Tester,
    Operator,
    Station,
    Remark,
}

use Field::*;

impl Field {
    /// How many there are.
    pub(crate) const COUNT: usize = Field::ALL.len();

    /// All of them with their names, in the order of their numbers.
    const ALL: [(Field, &str); 25] = [
        (TakenAt, "taken_at"),
        (Date, "date"),
        (Time, "time"),
        (Asset, "asset"),
        (Phase, "phase"),
        (Against, "against"),
        (Setup, "setup"),
        (Resistance, "resistance"),
        (ResistanceUnit, "resistance_unit"),
        (Bound, "bound"),
        (FullScale, "full_scale"),
        (TestVoltage, "test_voltage"),
        (TestVoltageUnit, "test_voltage_unit"),
        (DeliveredVoltage, "delivered_voltage"),
        (DeliveredVoltageUnit, "delivered_voltage_unit"),
        (Duration, "duration"),
        (DurationUnit, "duration_unit"),
        (Temperature, "temperature"),
        (TemperatureUnit, "temperature_unit"),
        (TemperatureOf, "temperature_of"),
        (Humidity, "humidity"),
        (Tester, "tester"),
        (Operator, "operator"),
        (Station, "station"),
        (Remark, "remark"),
    ];

    /// All of them.
    pub(crate) fn all() -> impl Iterator<Item = Field> {
        Field::ALL.iter().map(|(field, _)| *field)
    }

    /// Its place in a row of cells.
    pub(crate) fn index(self) -> usize {
        self as usize
    }

    /// The field at a place in a row of cells.
    pub(crate) fn at(index: usize) -> Field {
        Field::ALL[index].0
    }

    /// As profiles write it.
    pub(crate) fn name(self) -> &'static str {
        Field::ALL[self.index()].1
    }

    /// The field of a name.
    pub(crate) fn named(name: &str) -> Option<Field> {
        Field::ALL.iter().find(|(_, known)| *known == name).map(|&(field, _)| field)
    }

    /// What its unit is a unit of; none: it holds no quantity.
    pub(crate) fn quantity(self) -> Option<Quantity> {
        match self {
            Resistance | FullScale => Some(Quantity::Resistance),
            TestVoltage => Some(Quantity::TestVoltage),
            DeliveredVoltage => Some(Quantity::DeliveredVoltage),
            Duration => Some(Quantity::Duration),
            Temperature => Some(Quantity::Temperature),
            Humidity => Some(Quantity::Humidity),
            _ => None,
        }
    }

    /// The field that holds its unit in the same record.
    pub(crate) fn unit_field(self) -> Option<Field> {
        match self {
            Resistance => Some(ResistanceUnit),
            TestVoltage => Some(TestVoltageUnit),
            DeliveredVoltage => Some(DeliveredVoltageUnit),
            Duration => Some(DurationUnit),
            Temperature => Some(TemperatureUnit),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_in_the_order_of_the_numbers() {
        for (index, &(field, name)) in Field::ALL.iter().enumerate() {
            assert_eq!(field.index(), index, "{name}");
            assert_eq!(Field::named(name), Some(field));
        }
    }
}
