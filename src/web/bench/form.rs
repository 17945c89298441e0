//! Forms of the run sheet: fields as they were sent, commands as they are meant.

use std::collections::HashMap;

use ohmward_parsers::{Resistance, read_resistance};

use crate::bench::{Command, Plan, Point, Refusal, Seen, Value};
use crate::limits;
use crate::model::{AssetId, Bound, Invalid, Phase, Stamp, TemperatureOf, Text, text};

/// Fields as they were sent; one that was not reads as empty. A field that may be sent more than
/// once keeps all of its values.
#[derive(Clone, Debug, Default)]
pub(super) struct Fields(HashMap<String, Vec<String>>);

impl Fields {
    /// From pairs of names and values.
    pub(super) fn new(pairs: Vec<(String, String)>) -> Self {
        let mut fields: HashMap<String, Vec<String>> = HashMap::new();
        for (name, value) in pairs {
            fields.entry(name).or_default().push(value.trim().to_owned());
        }
        Fields(fields)
    }

    pub(super) fn get(&self, name: &str) -> &str {
        self.0.get(name).and_then(|values| values.first()).map_or("", String::as_str)
    }

    pub(super) fn all(&self, name: &str) -> &[String] {
        self.0.get(name).map_or(&[], Vec::as_slice)
    }

    /// What was filled in, or else what a form begins with.
    pub(super) fn or(&self, name: &str, begins: impl Into<String>) -> String {
        match self.0.contains_key(name) {
            true => self.get(name).to_owned(),
            false => begins.into(),
        }
    }

    fn text(&self, name: &'static str) -> Result<Text, Invalid> {
        text(name, self.get(name))
    }

    /// A number, with a point or a comma; none where nothing was filled in.
    fn maybe(&self, name: &'static str) -> Result<Option<f64>, Invalid> {
        let written = self.get(name);
        if written.is_empty() {
            return Ok(None);
        }
        match written.replace(',', ".").parse::<f64>() {
            Ok(number) if number.is_finite() => Ok(Some(number)),
            _ => Err(Invalid::new(name, "a number such as 23.5", written)),
        }
    }

    fn number(&self, name: &'static str) -> Result<f64, Invalid> {
        self.maybe(name)?.ok_or_else(|| Invalid::new(name, "a number such as 23.5", ""))
    }

    /// A resistance as a display shows it; none where nothing was filled in.
    fn value(&self, name: &'static str) -> Result<Option<Value>, Invalid> {
        let written = self.get(name);
        if written.is_empty() {
            return Ok(None);
        }
        let (ohms, bound) = match read_resistance(written) {
            Ok(Resistance::Measured(ohms)) => (ohms, Bound::Measured),
            Ok(Resistance::Over(ohms)) => (ohms.unwrap_or(limits::OHMS_MAX), Bound::Over),
            Ok(Resistance::Under(ohms)) => (ohms.unwrap_or(limits::OHMS_MIN), Bound::Under),
            Err(_) => {
                let expected = "what the display shows, such as `53 MΩ`, `> 550M` or `OL`";
                return Err(Invalid::new(name, expected, written));
            }
        };
        Ok(Some(Value { ohms, bound }))
    }
}

/// What was asked of a station.
#[derive(Debug)]
pub(super) enum Ask {
    /// To open a sheet.
    Open { asset: AssetId, kind: Option<Text>, energised: bool },
    /// Something of a sheet, as it was seen.
    Command { seen: Seen, command: Command },
}

/// What the fields mean.
pub(super) fn ask(fields: &Fields) -> Result<Ask, Refusal> {
    if fields.get("do") == "open" {
        let asset = AssetId::new(fields.get("asset"))?;
        let new = fields.get("new") == "yes";
        let kind = if new { Some(fields.text("kind")?) } else { None };
        return Ok(Ask::Open { asset, kind, energised: fields.get("energised") == "yes" });
    }
    let whole = |name: &'static str| {
        let written = fields.get(name);
        written.parse::<i64>().map_err(|_| Invalid::new(name, "a number of this page", written))
    };
    let opened = Stamp::from_micros(whole("opened")?);
    let version = u32::try_from(whole("version")?).unwrap_or(0);
    Ok(Ask::Command { seen: Seen { opened, version }, command: command(fields)? })
}

fn command(fields: &Fields) -> Result<Command, Refusal> {
    let reason = || fields.text("reason");
    let point = || {
        let key = fields.get("point");
        Point::parse(key).ok_or_else(|| Invalid::new("point", "a point of the sheet", key))
    };
    let test = || {
        let written = fields.get("test");
        let number = written.parse::<usize>().ok().and_then(|n| n.checked_sub(1));
        number.ok_or_else(|| Invalid::new("test", "a test of the sheet", written))
    };
    Ok(match fields.get("do") {
        "plan" => Command::Plan(plan(fields)?),
        "gear" => Command::Gear {
            tester: fields.text("tester")?,
            parts: fields
                .all("part")
                .iter()
                .map(|id| text("part", id))
                .collect::<Result<_, _>>()?,
        },
        "confirm" => Command::Confirm(point()?),
        "source" => Command::Source {
            read_v: fields.number("read_v")?,
            expected_v: fields.number("expected_v")?,
        },
        "voltage" => Command::Voltage(fields.number("volts")?),
        "prove" => Command::Prove {
            by_hand: fields.value("by_hand")?,
            expected_ohm: fields.value("expected_ohm")?.map(|value| value.ohms),
        },
        "begin" => Command::Begin,
        "end" => Command::End,
        "discharged" => Command::Discharged(fields.number("residual_v")?),
        "skip" => Command::Skip { point: point()?, reason: reason()? },
        "undo" => Command::Undo,
        "repeat" => Command::Repeat(test()?),
        "finish" => Command::Finish,
        "abandon" => Command::Abandon(reason()?),
        "void" => Command::Void { test: test()?, reason: reason()? },
        "move" => {
            let phase = match fields.get("phase") {
                "" => None,
                label => Some(Phase::new(label)?),
            };
            let test = if fields.get("test").is_empty() { None } else { Some(test()?) };
            let asset = AssetId::new(fields.get("asset"))?;
            Command::Move { test, asset, phase, reason: reason()? }
        }
        other => {
            let expected = "something that can be done on a run sheet";
            return Err(Invalid::new("do", expected, other).into());
        }
    })
}

fn plan(fields: &Fields) -> Result<Plan, Invalid> {
    let labels = fields.get("phases").split([',', ';']).map(str::trim).filter(|l| !l.is_empty());
    let temperature = match fields.maybe("temperature_c")? {
        None => None,
        Some(celsius) => Some((celsius, TemperatureOf::parse(fields.get("temperature_of"))?)),
    };
    Ok(Plan {
        phases: labels.map(Phase::new).collect::<Result<_, _>>()?,
        setup: fields.text("setup")?,
        test_voltage_v: fields.number("test_voltage_v")?,
        rated_s: fields.number("rated_s")?,
        operator: fields.text("operator")?,
        temperature,
        humidity_pct: fields.maybe("humidity_pct")?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(pairs: &[(&str, &str)]) -> Result<Command, String> {
        let pairs = pairs.iter().map(|(n, v)| ((*n).to_owned(), (*v).to_owned())).collect();
        command(&Fields::new(pairs)).map_err(|e| e.to_string())
    }

    #[test]
    fn fields_become_commands() {
        let open = asked(&[("do", "prove"), ("by_hand", "> 550 MΩ")]).unwrap();
        let value = Value { ohms: 550e6, bound: Bound::Over };
        assert_eq!(open, Command::Prove { by_hand: Some(value), expected_ohm: None });
        let known = asked(&[("do", "prove"), ("expected_ohm", "1M")]).unwrap();
        assert_eq!(known, Command::Prove { by_hand: None, expected_ohm: Some(1e6) });
        let gear = [("do", "gear"), ("tester", "BT-1"), ("part", "L-1"), ("part", "G-1")];
        let parts = vec!["L-1".into(), "G-1".into()];
        assert_eq!(asked(&gear).unwrap(), Command::Gear { tester: "BT-1".into(), parts });
        assert_eq!(asked(&[("do", "voltage"), ("volts", "0,3")]), Ok(Command::Voltage(0.3)));
        let skip = asked(&[("do", "skip"), ("point", "contact-2"), ("reason", "no clip")]);
        assert_eq!(skip, Ok(Command::Skip { point: Point::Contact(1), reason: "no clip".into() }));
    }

    #[test]
    fn what_cannot_be_meant_is_told_by_its_field() {
        for (pairs, words) in [
            (vec![("do", "voltage")], "`volts`"),
            (vec![("do", "voltage"), ("volts", "none")], "`none`"),
            (vec![("do", "prove"), ("by_hand", "good")], "what the display shows"),
            (vec![("do", "skip"), ("point", "everything")], "a point of the sheet"),
            (vec![("do", "repeat"), ("test", "0")], "a test of the sheet"),
            (vec![("do", "dance")], "something that can be done"),
        ] {
            let told = asked(&pairs).unwrap_err();
            assert!(told.contains(words), "{told}");
        }
    }
}
