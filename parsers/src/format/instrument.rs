//! Instrument reply: numbers by position, as IEEE 488.2 response messages give them.
//!
//! ```text
//!  +5.500E+08,+5.12E+02,60;+9.9E37,+5.12E+02,60
//!      1          1     1  2  3
//! ```
//! 1 NR1, NR2 or NR3 numeric response data, `,` between them; the profile says which is what
//! 2 `;` joins replies: each is a reading, `part` counting them
//! 3 the SCPI code for infinity, over-range; 9.91E37, not-a-number, is a reject as resistance and
//! "not stated" elsewhere

use serde::Deserialize;

use crate::cells::{Cells, Header, Maker};
use crate::fault::{Fault, Wrong};
use crate::fields::Field;
use crate::format::{Decoder, Format, Record, put};
use crate::piece::number::plain;
use crate::piece::resistance::is_not_a_number;
use crate::piece::time::Order;
use crate::profile::Profile;
use crate::raw::{Parsed, Place, RawReading};

/// Replies that one record may join: more is noise, and each would be a reject of its own.
const REPLIES: usize = 64;

/// The table `[instrument]` of a profile.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Layout {
    /// The field at each position; `_` for one that is not needed.
    values: Vec<String>,
    /// Lines that begin so carry no reading: echoes and prompts.
    #[serde(default)]
    skip: Vec<String>,
}

/// The row of `FORMATS`.
pub(crate) struct InstrumentReply;

impl Format for InstrumentReply {
    fn name(&self) -> &'static str {
        "instrument"
    }

    fn about(&self) -> &'static str {
        "numbers by position as a bench instrument replies (IEEE 488.2 and SCPI codes)"
    }

    fn open(&self, profile: &Profile) -> Result<Box<dyn Decoder>, Wrong> {
        let layout = profile.written().instrument.clone().unwrap_or_default();
        let mut values = Vec::new();
        for name in &layout.values {
            values.push(match Field::named(name) {
                Some(field) => Some(field),
                None if name == "_" => None,
                None => return Err(Wrong::new("a field or `_` in `instrument.values`", name)),
            });
        }
        if !values.contains(&Some(Field::Resistance)) {
            return Err(Wrong::new(
                "`resistance` in `instrument.values`",
                layout.values.join(", "),
            ));
        }
        let header = Header::of(profile.rules());
        let order = Order::default();
        Ok(Box::new(Replies { profile: profile.clone(), skip: layout.skip, values, header, order }))
    }
}

struct Replies {
    profile: Profile,
    skip: Vec<String>,
    values: Vec<Option<Field>>,
    header: Header,
    order: Order,
}

impl Decoder for Replies {
    fn take(&mut self, record: Record<'_>, out: &mut Parsed) -> Result<(), Fault> {
        let text = record.text.trim();
        if text.is_empty() || self.skip.iter().any(|start| text.starts_with(start.as_str())) {
            out.silent += 1;
            return Ok(());
        }
        let count = text.split(';').count();
        if count > REPLIES {
            let expected = format!("at most {REPLIES} replies joined by `;`");
            put(record, Err(Fault::new("columns", "", expected, &format!("{count}: {text}"))), out);
            return Ok(());
        }
        for (part, reply) in (0..).zip(text.split(';')) {
            let place = Place { part, ..record.place };
            let outcome = self.reply(reply, place);
            put(Record { place, ..record }, outcome, out);
        }
        Ok(())
    }
}

impl Replies {
    fn reply(&mut self, reply: &str, place: Place) -> Result<RawReading, Fault> {
        let count = reply.split(',').count();
        if count != self.values.len() {
            let expected = format!("{} values separated by `,`", self.values.len());
            return Err(Fault::new("columns", "", expected, &format!("{count}: {reply}")));
        }
        let mut cells = Cells::new();
        for (field, value) in self.values.iter().zip(reply.split(',')) {
            let Some(field) = field else { continue };
            let value = value.trim();
            let nothing = *field != Field::Resistance
                && field.quantity().is_some()
                && plain(value).is_some_and(is_not_a_number);
            cells.set(*field, if nothing { "" } else { value.trim_matches('"') });
        }
        let maker = Maker { rules: self.profile.rules(), header: &self.header };
        maker.reading(&cells, place, &mut self.order)
    }
}
