//! One stream into the store: whole lines, one decoder and normaliser per connection, and a commit
//! for whatever has come since the last one.

mod lines;
mod test;

use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::{Duration, Instant};

use ohmward_parsers::{self as raw, Parsed, Profile, RawReading, Stream};

use super::parcels::Packer;
use crate::limits;
use crate::model::{Alias, AssetClass, Gear, Stamp, TemperatureOf, Text};
use crate::normalise::{Belongs, Identify, Normaliser, OnBench, Surroundings};
use crate::sources::{Chunk, Connection, Standing};
use crate::store::{Entry, Parcel, Source, TrayItem};
use lines::{Line, Lines};
use test::{Part, Test};

pub use test::TestRule;

/// How the lines of a station are to be understood.
#[derive(Clone)]
pub struct StreamRule {
    /// What a line looks like.
    pub profile: Profile,
    /// What the station says where lines are silent.
    pub around: Surroundings,
    /// How a test begins and ends, where lines don't say how long the voltage was applied.
    pub test: Option<TestRule>,
    /// What lies on the bench, where lines don't say.
    pub identify: Option<Arc<dyn Identify + Send + Sync>>,
    /// What an asset first met becomes.
    pub class: AssetClass,
}

/// What came of the chunks of one connection since the last commit.
#[derive(Debug)]
pub struct Group {
    /// Where it came from.
    pub source: Source,
    /// Its records, with their lines.
    pub parcel: Parcel,
    /// When each record arrived, by a clock that is never set.
    pub read_at: Vec<Instant>,
}

/// Makes groups of chunks.
pub struct StreamIntake {
    rule: StreamRule,
    standing: Arc<Standing>,
    normaliser: Normaliser,
    open: Option<Open>,
    /// The first chunk of the next connection.
    put_back: Option<Chunk>,
}

/// The state of one connection.
struct Open {
    connection: Arc<Connection>,
    lines: Lines,
    decoder: Option<Stream>,
    test: Test,
    /// When the last line arrived.
    last: Stamp,
}

/// A clock that goes back by less than this is being adjusted, not set (µs).
const ADJUSTED: i64 = 1_000_000;

impl StreamIntake {
    /// For one station; its registers are given by [`StreamIntake::know`].
    pub fn new(rule: StreamRule, standing: Arc<Standing>) -> Self {
        let normaliser = Normaliser::new(&[], &[], rule.around.clone());
        StreamIntake { rule, standing, normaliser, open: None, put_back: None }
    }

    /// Takes note of aliases and testers as they are now.
    pub fn know(&mut self, aliases: &[Alias], gear: &[Gear]) {
        self.normaliser = Normaliser::new(aliases, gear, self.rule.around.clone());
    }

    /// Waits for chunks, at most so long, and makes a group of all that are there. None: nothing
    /// came. The error says that nothing will come any more.
    pub fn next(
        &mut self,
        queue: &Receiver<Chunk>,
        wait: Duration,
    ) -> Result<Option<Group>, RecvTimeoutError> {
        let first = match self.put_back.take() {
            Some(chunk) => chunk,
            None => match queue.recv_timeout(wait) {
                Ok(chunk) => chunk,
                Err(RecvTimeoutError::Timeout) => return Ok(None),
                Err(gone) => {
                    self.close();
                    return Err(gone);
                }
            },
        };
        let connection = Arc::clone(&first.connection);
        let mut parcel = Parcel::default();
        let mut read_at = Vec::new();
        let mut next = Some(first);
        while let Some(chunk) = next {
            if chunk.connection != connection {
                self.put_back = Some(chunk);
                break;
            }
            self.take(&chunk, &mut parcel);
            read_at.resize(parcel.entries.len(), chunk.read_at);
            let full = parcel.entries.len() >= limits::STREAM_GROUP;
            next = if full { None } else { queue.try_recv().ok() };
        }
        let source = self.source(&connection);
        Ok((!parcel.entries.is_empty()).then_some(Group { source, parcel, read_at }))
    }

    fn source(&self, connection: &Connection) -> Source {
        Source {
            kind: "serial".into(),
            name: connection.name().into(),
            profile: self.rule.profile.name().into(),
            file: None,
        }
    }

    fn take(&mut self, chunk: &Chunk, parcel: &mut Parcel) {
        let same = self.open.as_ref().is_some_and(|o| o.connection == chunk.connection);
        if !same {
            self.close();
            self.open = Some(Open {
                connection: Arc::clone(&chunk.connection),
                lines: Lines::default(),
                decoder: None,
                test: Test::default(),
                last: Stamp::MIN,
            });
        }
        let Some(open) = &mut self.open else { return };
        let Open { lines, decoder, test, last, .. } = open;
        let mut reading = Reading {
            rule: &self.rule,
            name: &self.standing.name,
            normaliser: &mut self.normaliser,
            decoder,
            test,
            last,
            chunk,
            parcel,
        };
        lines.push(chunk, &self.standing.tally, &mut |line| reading.line(line));
    }

    /// A connection ended: its last line will never be whole.
    fn close(&mut self) {
        if let Some(mut open) = self.open.take() {
            open.lines.tear(&self.standing.tally);
        }
    }
}

/// Reads the lines of one chunk.
struct Reading<'a> {
    rule: &'a StreamRule,
    name: &'a Text,
    normaliser: &'a mut Normaliser,
    decoder: &'a mut Option<Stream>,
    test: &'a mut Test,
    last: &'a mut Stamp,
    chunk: &'a Chunk,
    parcel: &'a mut Parcel,
}

impl Reading<'_> {
    fn line(&mut self, line: Line<'_>) {
        let part = match &self.rule.test {
            Some(rule) => self.test.see(rule, line.bytes, self.chunk.after()),
            None => Part::Value(None),
        };
        let Part::Value(seconds) = part else { return };
        let arrived = self.arrival();
        let mut parsed = self.parse(line);
        let bench = self.rule.identify.as_deref();
        let mut belongs = Belongs::Nobody;
        for raw in &mut parsed.readings {
            raw.duration_s = raw.duration_s.or(seconds);
            if let Some(bench) = bench {
                belongs = bench.identify(arrived, raw.duration_s);
            }
            if let Belongs::To(on_bench) = &belongs {
                fill(raw, on_bench);
            }
        }
        let bytes_at = |_| line.bytes.to_vec();
        let mut packer = Packer { normaliser: self.normaliser, arrived, bytes_at: &bytes_at };
        let mut entries = packer.pack(&mut parsed).entries;
        for (_, entry) in &mut entries {
            if let Entry::Reading(value) | Entry::Tray(TrayItem { reading: value, .. }) = entry {
                bench.inspect(|bench| bench.saw(value, &belongs));
                if belongs == Belongs::Aside {
                    *entry = Entry::Aside;
                }
            }
        }
        self.parcel.lines.extend(entries.iter().map(|_| line.bytes.to_vec()));
        self.parcel.entries.extend(entries);
    }

    /// When the line arrived. No two lines of a connection arrive at one instant: equal values
    /// would be taken for one reading.
    fn arrival(&mut self) -> Stamp {
        let (arrived, last) = (self.chunk.arrived.micros(), self.last.micros());
        if arrived > last {
            *self.last = self.chunk.arrived;
        } else if last - arrived < ADJUSTED {
            *self.last = Stamp::from_micros(last + 1);
        } else {
            tracing::warn!(
                source = %self.name,
                "the clock of this machine was set back from {} to {}: lines without a time of \
                 their own carry the new one",
                self.last, self.chunk.arrived
            );
            *self.last = self.chunk.arrived;
        }
        *self.last
    }

    /// What a line says. Its place is that in the connection, whatever the decoder counts.
    fn parse(&mut self, line: Line<'_>) -> Parsed {
        let mut parsed = Parsed::default();
        if self.decoder.is_none() {
            match Stream::open(&self.rule.profile, &[]) {
                Ok(stream) => *self.decoder = Some(stream),
                Err(e) => tracing::error!(source = %self.name, "{e}"),
            }
        }
        if let Some(stream) = self.decoder {
            stream.push(line.bytes, &mut parsed);
            stream.push(b"\n", &mut parsed);
            // A stream that refuses one line is not refused for good: each line is kept, and the
            // header that it waits for may still come.
            if stream.refusal().is_some() {
                *self.decoder = None;
            }
        }
        for reading in &mut parsed.readings {
            (reading.place.record, reading.place.offset) = (line.record, line.offset);
        }
        for reject in &mut parsed.rejects {
            (reject.place.record, reject.place.offset) = (line.record, line.offset);
        }
        parsed
    }
}

/// What the bench knows, where the line does not say itself whose it is.
fn fill(raw: &mut RawReading, bench: &OnBench) {
    if !raw.asset.is_empty() {
        return;
    }
    let or = |own: &mut Text, known: &str| {
        if own.is_empty() {
            *own = known.into();
        }
    };
    or(&mut raw.asset, bench.asset.as_str());
    or(&mut raw.phase, bench.phase.as_str());
    or(&mut raw.setup, &bench.setup);
    or(&mut raw.tester, &bench.tester);
    or(&mut raw.operator, &bench.operator);
    raw.test_voltage_v = raw.test_voltage_v.or(bench.test_voltage_v);
    raw.duration_s = raw.duration_s.or(bench.seconds);
    raw.humidity_pct = raw.humidity_pct.or(bench.humidity_pct);
    if raw.temperature_c.is_none()
        && let Some((celsius, of)) = bench.temperature
    {
        raw.temperature_c = Some(celsius);
        raw.temperature_of = Some(match of {
            TemperatureOf::Winding => raw::TemperatureOf::Winding,
            TemperatureOf::Ambient => raw::TemperatureOf::Ambient,
        });
    }
}
