//! The tables `[[source.serial]]` and `[[source.folder]]`: as written, as meant.

use std::collections::BTreeSet;
use std::path::PathBuf;
use std::time::Duration;

use serde::Deserialize;
use serialport::{DataBits, FlowControl, Parity, StopBits};

use crate::intake::TestRule;
use crate::model::{AssetId, Phase, Text, Volts, text};
use crate::normalise::Surroundings;
use crate::sources::{folder, serial};

/// Where readings come from, as meant.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sources {
    /// Stations on serial ports.
    pub serial: Vec<Station>,
    /// Folders into which files are dropped.
    pub folder: Vec<DropFolder>,
}

/// A station on a serial port.
#[derive(Clone, Debug, PartialEq)]
pub struct Station {
    /// The port.
    pub port: serial::Settings,
    /// The profile of its lines.
    pub profile: String,
    /// What it says where lines are silent.
    pub around: Surroundings,
    /// How a test begins and ends.
    pub test: Option<TestRule>,
    /// What always lies on this bench.
    pub bench: Option<(AssetId, Phase, Text)>,
}

/// A folder into which files are dropped.
#[derive(Clone, Debug, PartialEq)]
pub struct DropFolder {
    /// The folder.
    pub folder: folder::Settings,
    /// The profile of its files; none: recognised.
    pub profile: Option<String>,
    /// What it says where records are silent.
    pub around: Surroundings,
}

impl DropFolder {
    /// A folder without any particulars.
    pub fn plain(name: &str, path: PathBuf) -> Self {
        let (every, settle) = (Duration::from_secs(2), Duration::from_secs(5));
        DropFolder {
            folder: folder::Settings { name: name.into(), path, every, settle },
            profile: None,
            around: Surroundings::default(),
        }
    }
}

/// `[source]`.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct Source {
    serial: Vec<SerialTable>,
    folder: Vec<FolderTable>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct SerialTable {
    name: String,
    port: String,
    #[serde(default = "baud")]
    baud: u32,
    #[serde(default = "data_bits")]
    data_bits: u8,
    #[serde(default)]
    parity: ParityWord,
    #[serde(default = "stop_bits")]
    stop_bits: u8,
    #[serde(default)]
    flow: FlowWord,
    profile: String,
    #[serde(default)]
    tester: String,
    #[serde(default)]
    operator: String,
    test_voltage_v: Option<f64>,
    #[serde(default)]
    asset: String,
    #[serde(default)]
    phase: String,
    #[serde(default)]
    setup: String,
    test: Option<TestWord>,
    #[serde(default = "pause_s")]
    pause_s: f64,
    #[serde(default)]
    begin: String,
    #[serde(default)]
    end: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct FolderTable {
    name: String,
    path: PathBuf,
    #[serde(default = "every_s")]
    every_s: f64,
    #[serde(default = "settle_s")]
    settle_s: f64,
    profile: Option<String>,
    #[serde(default)]
    tester: String,
    #[serde(default)]
    operator: String,
    #[serde(default)]
    station: String,
    test_voltage_v: Option<f64>,
}

#[derive(Clone, Copy, Debug, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
enum ParityWord {
    #[default]
    None,
    Even,
    Odd,
}

#[derive(Clone, Copy, Debug, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
enum FlowWord {
    #[default]
    None,
    Software,
    Hardware,
}

#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(rename_all = "lowercase")]
enum TestWord {
    Pause,
    Marker,
    Button,
}

const fn baud() -> u32 {
    9600
}
const fn data_bits() -> u8 {
    8
}
const fn stop_bits() -> u8 {
    1
}
const fn pause_s() -> f64 {
    5.0
}
const fn every_s() -> f64 {
    2.0
}
const fn settle_s() -> f64 {
    5.0
}

/// The sources as meant; the error names the table and what is wrong in it.
pub(super) fn meant(source: Source) -> Result<Sources, String> {
    let mut names = BTreeSet::new();
    let mut sources = Sources::default();
    for table in source.serial {
        let at = format!("source.serial `{}`", table.name);
        let station = station(table).map_err(|why| format!("{at}: {why}"))?;
        once(&mut names, &station.port.name)?;
        sources.serial.push(station);
    }
    for table in source.folder {
        let at = format!("source.folder `{}`", table.name);
        let folder = drop_folder(table).map_err(|why| format!("{at}: {why}"))?;
        once(&mut names, &folder.folder.name)?;
        sources.folder.push(folder);
    }
    Ok(sources)
}

fn once(names: &mut BTreeSet<Text>, name: &Text) -> Result<(), String> {
    match names.insert(name.clone()) {
        true => Ok(()),
        false => Err(format!("source `{name}`: expected each name once, found it twice")),
    }
}

fn station(table: SerialTable) -> Result<Station, String> {
    let data_bits = match table.data_bits {
        5 => DataBits::Five,
        6 => DataBits::Six,
        7 => DataBits::Seven,
        8 => DataBits::Eight,
        other => return Err(format!("`data_bits`: expected 5 to 8, found `{other}`")),
    };
    let stop_bits = match table.stop_bits {
        1 => StopBits::One,
        2 => StopBits::Two,
        other => return Err(format!("`stop_bits`: expected 1 or 2, found `{other}`")),
    };
    if table.baud == 0 {
        return Err("`baud`: expected bits per second, found `0`".into());
    }
    let test = match table.test {
        None => None,
        Some(TestWord::Button) => Some(TestRule::Button),
        Some(TestWord::Pause) => Some(TestRule::Pause(seconds("pause_s", table.pause_s)?)),
        Some(TestWord::Marker) if table.begin.is_empty() => {
            return Err("`begin`: expected the tester's word for the beginning of a test".into());
        }
        Some(TestWord::Marker) => Some(TestRule::Marker { begin: table.begin, end: table.end }),
    };
    let bench = match (table.asset.is_empty(), table.phase.is_empty()) {
        (true, true) => None,
        (false, false) => Some((
            AssetId::new(&table.asset).map_err(words)?,
            Phase::new(&table.phase).map_err(words)?,
            text("setup", &table.setup).map_err(words)?,
        )),
        _ => return Err("`asset` and `phase`: expected both or neither".into()),
    };
    let name = named(&table.name)?;
    let around = around(&table.tester, &table.operator, &name, table.test_voltage_v)?;
    let port = serial::Settings {
        name,
        port: table.port,
        baud: table.baud,
        data_bits,
        parity: match table.parity {
            ParityWord::None => Parity::None,
            ParityWord::Even => Parity::Even,
            ParityWord::Odd => Parity::Odd,
        },
        stop_bits,
        flow: match table.flow {
            FlowWord::None => FlowControl::None,
            FlowWord::Software => FlowControl::Software,
            FlowWord::Hardware => FlowControl::Hardware,
        },
    };
    Ok(Station { port, profile: table.profile, around, test, bench })
}

fn drop_folder(table: FolderTable) -> Result<DropFolder, String> {
    let around = around(&table.tester, &table.operator, &table.station, table.test_voltage_v)?;
    let folder = folder::Settings {
        name: named(&table.name)?,
        path: table.path,
        every: seconds("every_s", table.every_s)?,
        settle: seconds("settle_s", table.settle_s)?,
    };
    Ok(DropFolder { folder, profile: table.profile, around })
}

fn around(
    tester: &str,
    operator: &str,
    station: &str,
    test_voltage_v: Option<f64>,
) -> Result<Surroundings, String> {
    if let Some(volts) = test_voltage_v {
        Volts::new("test_voltage_v", volts).map_err(words)?;
    }
    Ok(Surroundings {
        test_voltage_v,
        tester: text("tester", tester).map_err(words)?,
        station: text("station", station).map_err(words)?,
        operator: text("operator", operator).map_err(words)?,
        taken: None,
    })
}

fn named(name: &str) -> Result<Text, String> {
    let name = text("name", name).map_err(words)?;
    match name.is_empty() || name.contains(['\n', '\r', '\t']) {
        true => Err("`name`: expected a name on one line".into()),
        false => Ok(name),
    }
}

fn seconds(key: &str, value: f64) -> Result<Duration, String> {
    match value > 0.0 && value <= 86_400.0 {
        true => Ok(Duration::from_secs_f64(value)),
        false => Err(format!("`{key}`: expected seconds above 0 and up to a day, found `{value}`")),
    }
}

fn words(invalid: crate::model::Invalid) -> String {
    invalid.to_string()
}
