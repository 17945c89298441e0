//! The unit of each quantity: where the file states it, and the question where it does not.

use super::ask::{Asker, candidate};
use super::columns::{Col, Role};
use super::content::Content;
use super::numbers::{Style, number};
use super::sheet::Sheet;
use super::times;
use crate::fields::Field;
use crate::header::split_unit;
use crate::piece::unit::{Quantity, Unit, unit};

/// Quantity, its key, the fields that hold it, the units to choose from.
pub(super) const QUANTITIES: [(Quantity, &str, &[Field], &[&str]); 6] = [
    (Quantity::Resistance, "resistance", &[Field::Resistance], &["Ω", "kΩ", "MΩ", "GΩ", "TΩ"]),
    (Quantity::TestVoltage, "test_voltage", &[Field::TestVoltage], &["V", "kV"]),
    (Quantity::DeliveredVoltage, "delivered_voltage", &[Field::DeliveredVoltage], &["V", "kV"]),
    (Quantity::Duration, "duration", &[Field::Duration], &["s", "min", "m:ss"]),
    (Quantity::Temperature, "temperature", &[Field::Temperature], &["°C", "°F", "K"]),
    (Quantity::Humidity, "humidity", &[Field::Humidity], &["%"]),
];

/// One quantity, where its unit may be stated.
pub(super) struct Units<'a> {
    pub(super) kind: Quantity,
    pub(super) key: &'static str,
    pub(super) choice: &'a [&'a str],
    pub(super) cols: &'a [Col],
    pub(super) contents: &'a [Content],
    pub(super) sheet: &'a Sheet,
    pub(super) by_place: bool,
}

/// What is known of a unit.
pub(super) enum Decided {
    /// The parser finds it where it stands.
    Nothing,
    /// For `[units]`, why, and whether it overrules what the header states.
    Unit(String, String, bool),
    Ignore,
}

impl Units<'_> {
    /// The unit of the columns and values that `of` and `values` name.
    pub(super) fn decide(
        &self,
        of: &dyn Fn(&Col) -> bool,
        values: &[&str],
        style: &Style,
        asker: &mut Asker<'_>,
    ) -> Decided {
        let mut bare: Vec<String> = Vec::new();
        let mut in_header: Vec<String> = Vec::new();
        let mut found_by_parser = true;
        for (at, col) in self.cols.iter().enumerate().filter(|(_, col)| of(col)) {
            let content = &self.contents[at];
            let plain: Vec<&String> = content
                .distinct
                .iter()
                .filter(|cell| match number(cell) {
                    Some(number) => number.rest.is_empty(),
                    // A mark needs no unit, a clock-like duration does.
                    None => false,
                } || (self.kind == Quantity::Duration && times::is_clock(cell)))
                .collect();
            if plain.is_empty() || self.has_column(col) {
                continue;
            }
            match col.unit.as_deref().filter(|text| unit(self.kind, text).is_some()) {
                Some(text) => {
                    in_header.push(text.to_owned());
                    let behind = split_unit(&col.name).1 == Some(text);
                    found_by_parser &= !self.by_place && (behind || self.sheet.units.is_some());
                }
                None => bare.extend(plain.into_iter().cloned()),
            }
        }
        let without = |value: &&&str| number(value).is_some_and(|number| number.rest.is_empty());
        bare.extend(values.iter().filter(without).map(|value| (*value).to_owned()));
        let milli = |text: &String| {
            self.kind == Quantity::Resistance
                && matches!(unit(self.kind, text), Some(Unit::Scale(factor)) if factor < 1.0)
        };
        if let Some(text) = in_header.iter().find(|text| milli(text)) {
            let unsure = format!(
                "the header says `{text}`, which is thousandths of an ohm: no insulation is that low"
            );
            let mut candidates = vec![candidate("mΩ", "it is as it says")];
            // Several resistances a row go by their names, and a name's unit counts.
            if !self.cols.iter().any(|col| matches!(col.role, Role::Several(_))) {
                candidates.insert(0, candidate("MΩ", "it is meant as megohms"));
            }
            return match asker.ask("units.resistance", &unsure, candidates) {
                Some(answer) => Decided::Unit(answer, "answered".to_owned(), true),
                None => Decided::Nothing,
            };
        }
        if bare.is_empty() {
            let one = in_header.windows(2).all(|pair| pair[0] == pair[1]);
            return match in_header.first() {
                Some(text) if !found_by_parser && one => {
                    Decided::Unit(text.clone(), "from the header".to_owned(), false)
                }
                // Differing units that no key can state are asked for: see `bare`.
                Some(_) if !found_by_parser => self.ask(&in_header, asker),
                _ => Decided::Nothing,
            };
        }
        let value = |cell: &String| number(cell).and_then(|number| style.value(number.digits));
        let least = bare.iter().filter_map(value).fold(f64::INFINITY, f64::min);
        let all_numbers = bare.iter().all(|cell| value(cell).is_some());
        match self.kind {
            // An insulation tester applies tens of volts to some kilovolts (common practice, no
            // published source): from 50 on it can only be volts.
            Quantity::TestVoltage if all_numbers && least >= 50.0 => {
                Decided::Unit("V".to_owned(), "from 50 on it can only be volts".to_owned(), false)
            }
            Quantity::Humidity if all_numbers && least > 1.0 => {
                Decided::Unit("%".to_owned(), "humidity has no other unit".to_owned(), false)
            }
            _ => self.ask(&bare, asker),
        }
    }

    fn ask(&self, bare: &[String], asker: &mut Asker<'_>) -> Decided {
        let samples: Vec<&String> = bare.iter().take(3).collect();
        let told = samples.iter().map(|s| format!("`{s}`")).collect::<Vec<_>>().join(", ");
        let unsure = format!("no unit is stated for {} such as {told}", self.key.replace('_', " "));
        let clock = bare.iter().all(|cell| times::is_clock(cell));
        let mut candidates: Vec<_> = self
            .choice
            .iter()
            .filter(|text| (**text == "m:ss") == clock)
            .map(|text| {
                let first = samples.first().map_or("", |s| s.as_str());
                candidate(text, &format!("`{first}` is {first} {text}"))
            })
            .collect();
        if self.kind != Quantity::Resistance {
            candidates.push(candidate("ignore", "leave this column out"));
        }
        match asker.ask(&format!("units.{}", self.key), &unsure, candidates) {
            Some(answer) if answer == "ignore" => Decided::Ignore,
            Some(answer) => Decided::Unit(answer, "answered".to_owned(), false),
            None => Decided::Nothing,
        }
    }

    /// Whether each filled cell of the column has its unit in a column beside it.
    fn has_column(&self, col: &Col) -> bool {
        let field = match col.role {
            Role::Field(field) => field.unit_field(),
            Role::Several(_) => Some(Field::ResistanceUnit),
            _ => None,
        };
        let Some(at) =
            self.cols.iter().position(|c| field.is_some_and(|f| c.role == Role::Field(f)))
        else {
            return self.sheet.pairs.iter().any(|pair| Some(pair.field) == field);
        };
        let own = self.cols.iter().position(|c| c == col).unwrap_or(at);
        self.sheet.rows.iter().all(|row| {
            let filled = |at: usize| row.get(at).is_some_and(|cell| !cell.is_empty());
            !filled(own) || filled(at) || number(&row[own]).is_none()
        })
    }
}
