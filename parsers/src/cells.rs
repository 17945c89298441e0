//! Cells by field → a raw reading: the one place where all generic formats meet.

use crate::fault::Fault;
use crate::fields::Field;
use crate::piece::quantity::quantity;
use crate::piece::resistance::{self, resistance};
use crate::piece::time::Order;
use crate::piece::unit::{self, Unit, unit};
use crate::profile::rules::Rules;
use crate::raw::{Bound, Place, RawReading, Resistance, Taken, TemperatureOf, Text};

/// The texts of one record by field; empty where it says nothing.
pub(crate) struct Cells<'a> {
    text: [&'a str; Field::COUNT],
    /// Remarks behind the first.
    more_remarks: Vec<&'a str>,
}

/// What a stream says of its fields once for all records.
#[derive(Clone, Debug)]
pub(crate) struct Header {
    /// Unit from header or units row, else from the profile, by [`Field::index`].
    pub(crate) units: [Option<Unit>; Field::COUNT],
    /// What a person knows the field by: the column's name in this stream.
    pub(crate) names: [Text; Field::COUNT],
}

impl Header {
    /// The profile's own units and the plain names.
    pub(crate) fn of(rules: &Rules) -> Header {
        let mut names = [const { Text::const_new("") }; Field::COUNT];
        for (index, name) in names.iter_mut().enumerate() {
            *name = Field::at(index).name().into();
        }
        Header { units: rules.units, names }
    }

    pub(crate) fn name(&self, field: Field) -> &str {
        &self.names[field.index()]
    }
}

impl<'a> Cells<'a> {
    pub(crate) fn new() -> Cells<'a> {
        Cells { text: [""; Field::COUNT], more_remarks: Vec::new() }
    }

    /// Puts a text to a field, trimmed; a second remark is kept beside the first.
    pub(crate) fn set(&mut self, field: Field, text: &'a str) {
        let text = text.trim();
        let place = &mut self.text[field.index()];
        if field == Field::Remark && !place.is_empty() {
            if !text.is_empty() {
                self.more_remarks.push(text);
            }
        } else {
            *place = text;
        }
    }

    /// Puts a text only where the record itself said nothing.
    pub(crate) fn set_default(&mut self, field: Field, text: &'a str) {
        if self.get(field).is_empty() {
            self.set(field, text);
        }
    }

    pub(crate) fn get(&self, field: Field) -> &'a str {
        self.text[field.index()]
    }

    fn remark(&self) -> Text {
        let mut remark: Text = self.get(Field::Remark).into();
        for more in &self.more_remarks {
            remark.push_str("; ");
            remark.push_str(more);
        }
        remark
    }
}

/// Makes readings of cells, by the rules of a profile and the header of a stream.
pub(crate) struct Maker<'a> {
    pub(crate) rules: &'a Rules,
    pub(crate) header: &'a Header,
}

impl Maker<'_> {
    /// The one reading of a record that has a field for its resistance.
    pub(crate) fn reading(
        &self,
        cells: &Cells<'_>,
        place: Place,
        order: &mut Order,
    ) -> Result<RawReading, Fault> {
        let mut reading = self.circumstances(cells, place, order)?;
        let cell = cells.get(Field::Resistance);
        let name = self.header.name(Field::Resistance);
        if self.is_empty(cell) {
            return Err(Fault::new("empty", name, "a resistance", cell));
        }
        let outside = self.outside(cells, Field::Resistance)?;
        reading.resistance = self.resistance(cell, outside, cells, reading.test_voltage_v, name)?;
        Ok(reading)
    }

    /// Whether a cell says that there is no resistance in it.
    pub(crate) fn is_empty(&self, cell: &str) -> bool {
        cell.is_empty() || self.rules.empty.iter().any(|mark| mark == cell)
    }

    /// A resistance; its range limit is that of the record, of the test voltage, of the profile.
    pub(crate) fn resistance(
        &self,
        cell: &str,
        outside: Option<Unit>,
        cells: &Cells<'_>,
        test_voltage_v: Option<f64>,
        name: &str,
    ) -> Result<Resistance, Fault> {
        let bound = self.bound(cells)?;
        let stated = match cells.get(Field::FullScale) {
            "" => None,
            text => Some(self.full_scale(text, outside)?),
        };
        let full_scale = stated.or_else(|| self.rules.range_at(test_voltage_v));
        resistance(cell, &self.rules.resistance, outside, bound, full_scale, name)
    }

    fn full_scale(&self, text: &str, outside: Option<Unit>) -> Result<f64, Fault> {
        let name = self.header.name(Field::FullScale);
        let unit = self.header.units[Field::FullScale.index()].or(outside);
        let plain =
            resistance::Rules { style: self.rules.resistance.style, ..resistance::Rules::PLAIN };
        match resistance(text, &plain, unit, None, None, name)? {
            Resistance::Measured(ohms) => Ok(ohms),
            _ => Err(Fault::new("number", name, "the range limit as a resistance", text)),
        }
    }

    fn bound(&self, cells: &Cells<'_>) -> Result<Option<Bound>, Fault> {
        match cells.get(Field::Bound) {
            "" => Ok(None),
            text if self.rules.bounds.contains_key(text) => Ok(self.rules.bounds[text]),
            text => match resistance::mark(text) {
                Ok(("", bound)) => Ok(Some(bound)),
                _ => {
                    let name = self.header.name(Field::Bound);
                    Err(Fault::new("bound", name, "`=`, `>` or `<`", text))
                }
            },
        }
    }

    /// Everything of a reading but its resistance, for which `Over(None)` stands in.
    pub(crate) fn circumstances(
        &self,
        cells: &Cells<'_>,
        place: Place,
        order: &mut Order,
    ) -> Result<RawReading, Fault> {
        let constants = &self.rules.constants;
        let text = |field: Field, constant: &Option<String>| -> Text {
            match cells.get(field) {
                "" => constant.as_deref().unwrap_or("").into(),
                written => written.into(),
            }
        };
        let mapped = |label: Text, map: &std::collections::BTreeMap<String, String>| -> Text {
            map.get(label.as_str()).map_or(label, |to| to.as_str().into())
        };
        let mut phase = text(Field::Phase, &constants.phase);
        let mut against = text(Field::Against, &constants.against);
        if let Some((one, other)) = self.rules.pairs.get(phase.as_str()) {
            (phase, against) = (one.as_str().into(), other.as_str().into());
        }
        Ok(RawReading {
            place,
            taken: self.taken(cells, order)?,
            asset: text(Field::Asset, &constants.asset),
            phase: mapped(phase, &self.rules.phases),
            against: mapped(against, &self.rules.against),
            setup: text(Field::Setup, &constants.setup),
            resistance: Resistance::Over(None),
            test_voltage_v: self.value(cells, Field::TestVoltage)?.or(constants.test_voltage_v),
            delivered_voltage_v: self.value(cells, Field::DeliveredVoltage)?,
            duration_s: self.value(cells, Field::Duration)?.or(constants.duration_s),
            temperature_c: self.value(cells, Field::Temperature)?,
            temperature_of: self.temperature_of(cells)?,
            humidity_pct: self.value(cells, Field::Humidity)?,
            tester: text(Field::Tester, &constants.tester),
            operator: text(Field::Operator, &constants.operator),
            station: text(Field::Station, &constants.station),
            remark: cells.remark(),
        })
    }

    fn taken(&self, cells: &Cells<'_>, order: &mut Order) -> Result<Option<Taken>, Fault> {
        let rules = &self.rules.time;
        let (whole, date) = (cells.get(Field::TakenAt), cells.get(Field::Date));
        if !whole.is_empty() {
            let name = self.header.name(Field::TakenAt);
            return rules.whole(whole, order, name).map(Some);
        }
        if !date.is_empty() {
            let name = |field| self.header.name(field);
            let clock = (name(Field::Time), cells.get(Field::Time));
            return rules.parts((name(Field::Date), date), clock, order).map(Some);
        }
        let has_clock = !(rules.whole.is_empty() && rules.date.is_empty());
        if has_clock && !self.rules.time_optional {
            let field = if rules.whole.is_empty() { Field::Date } else { Field::TakenAt };
            return Err(Fault::new("time", self.header.name(field), "a time", ""));
        }
        Ok(None)
    }

    fn value(&self, cells: &Cells<'_>, field: Field) -> Result<Option<f64>, Fault> {
        let (cell, style) = (cells.get(field), self.rules.resistance.style);
        match field.quantity() {
            Some(kind) if !self.is_empty(cell) => {
                let outside = self.outside(cells, field)?;
                quantity(cell, kind, outside, style, self.header.name(field)).map(Some)
            }
            _ => Ok(None),
        }
    }

    /// The unit of a field that stands outside its cell: in a field of its own, else in the
    /// header, else in the profile.
    pub(crate) fn outside(&self, cells: &Cells<'_>, field: Field) -> Result<Option<Unit>, Fault> {
        let from_header = self.header.units[field.index()];
        let (Some(unit_field), Some(kind)) = (field.unit_field(), field.quantity()) else {
            return Ok(from_header);
        };
        match cells.get(unit_field) {
            "" => Ok(from_header),
            text => unit(kind, text).map(Some).ok_or_else(|| {
                Fault::new("unit", self.header.name(unit_field), unit::expected(kind), text)
            }),
        }
    }

    fn temperature_of(&self, cells: &Cells<'_>) -> Result<Option<TemperatureOf>, Fault> {
        match cells.get(Field::TemperatureOf) {
            "" => Ok(self.rules.temperature_of()),
            "winding" => Ok(Some(TemperatureOf::Winding)),
            "ambient" => Ok(Some(TemperatureOf::Ambient)),
            text => {
                let name = self.header.name(Field::TemperatureOf);
                Err(Fault::new("word", name, "`winding` or `ambient`", text))
            }
        }
    }
}
