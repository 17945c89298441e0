//! JSON: one object a line, or an array of objects; keys as the canonical columns.
//!
//! ```text
//!  {"taken_at":"2026-03-02T08:15:00Z","asset":"YT-014","phase":"U","resistance_ohm":5.5e8,"bound":">"}
//! ```
//! Values may be texts or numbers; `null` is "not stated". Everything else is as in the canonical
//! CSV, by the same code.

use std::fmt;

use serde::Deserialize;
use serde::de::{MapAccess, Visitor};
use serde_json::Value;

use crate::fault::{Fault, Wrong};
use crate::format::canonical::{COLUMNS, Row, reading};
use crate::format::{Decoder, Format, Record, put};
use crate::profile::Profile;
use crate::raw::{Parsed, Place, RawReading};

/// Names of unknown keys that are told; more are the same message again.
const TOLD_KEYS: usize = 32;

/// Keys of one object: three times as many as are known. They are compared with each other.
const KEYS: usize = 3 * COLUMNS.len();

/// The row of `FORMATS`.
pub(crate) struct JsonLines;

impl Format for JsonLines {
    fn name(&self) -> &'static str {
        "jsonl"
    }

    fn about(&self) -> &'static str {
        "one JSON object a line, keys as the canonical columns"
    }

    fn open(&self, _: &Profile) -> Result<Box<dyn Decoder>, Wrong> {
        Ok(Box::new(Lines::default()))
    }
}

#[derive(Default)]
struct Lines {
    warnings: Vec<String>,
}

impl Decoder for Lines {
    fn take(&mut self, record: Record<'_>, out: &mut Parsed) -> Result<(), Fault> {
        if record.text.trim().is_empty() {
            out.silent += 1;
            return Ok(());
        }
        let outcome = serde_json::from_str::<Object>(record.text)
            .map_err(|error| {
                let expected = format!("one JSON object on the line ({error})");
                Fault::new("json", "", expected, record.text)
            })
            .and_then(|object| object.reading(record.place, &mut self.warnings));
        put(record, outcome, out);
        Ok(())
    }

    fn warnings(&self) -> &[String] {
        &self.warnings
    }
}

/// The readings of a JSON array of objects, as an HTTP request may hold it; the record is the
/// element's number from 1. Answers the warnings, each once.
///
/// # Errors
/// When the text is not a JSON array as a whole.
pub fn json_array(bytes: &[u8], out: &mut Parsed) -> Result<Vec<String>, serde_json::Error> {
    let elements: Vec<&serde_json::value::RawValue> = serde_json::from_slice(bytes)?;
    let mut warnings = Vec::new();
    for (index, element) in elements.iter().enumerate() {
        let text = element.get();
        let offset = (text.as_ptr() as usize - bytes.as_ptr() as usize) as u64;
        let place = Place { record: index as u64 + 1, part: 0, offset, len: text.len() as u64 };
        let outcome = serde_json::from_str::<Object>(text)
            .map_err(|error| Fault::new("json", "", format!("a JSON object ({error})"), text))
            .and_then(|object| object.reading(place, &mut warnings));
        put(Record { text, bytes: text.as_bytes(), place }, outcome, out);
    }
    Ok(warnings)
}

/// Keys and values in order, so that a key written twice is seen.
struct Object(Vec<(String, Value)>);

impl Object {
    fn reading(&self, place: Place, warnings: &mut Vec<String>) -> Result<RawReading, Fault> {
        let mut texts = [const { String::new() }; COLUMNS.len()];
        for (at, (key, value)) in self.0.iter().enumerate() {
            if self.0[..at].iter().any(|(before, _)| before == key) {
                return Err(Fault::new("json", key, "each key once", &value.to_string()));
            }
            let Some(column) = COLUMNS.iter().position(|known| known == key) else {
                let told = format!("key `{key}` is not known: kept in the raw record only");
                if warnings.len() < TOLD_KEYS && !warnings.contains(&told) {
                    warnings.push(told);
                }
                continue;
            };
            texts[column] = match value {
                Value::Null => String::new(),
                Value::String(text) => text.trim().to_owned(),
                Value::Number(number) => number.to_string(),
                other => {
                    return Err(Fault::new("json", key, "a text or a number", &other.to_string()));
                }
            };
        }
        for required in ["taken_at", "asset", "phase", "resistance_ohm"] {
            if !self.0.iter().any(|(key, _)| key == required) {
                return Err(Fault::new("json", required, format!("the key `{required}`"), ""));
            }
        }
        let row: Row<'_> = std::array::from_fn(|column| texts[column].as_str());
        reading(&row, place)
    }
}

impl<'de> Deserialize<'de> for Object {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Object, D::Error> {
        struct Pairs;
        impl<'de> Visitor<'de> for Pairs {
            type Value = Object;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an object")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Object, A::Error> {
                let mut pairs = Vec::new();
                while let Some(pair) = map.next_entry()? {
                    if pairs.len() == KEYS {
                        let told = format!("more than {KEYS} keys");
                        return Err(serde::de::Error::custom(told));
                    }
                    pairs.push(pair);
                }
                Ok(Object(pairs))
            }
        }
        deserializer.deserialize_map(Pairs)
    }
}
