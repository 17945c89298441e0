//! The columns of each register: what a row means and how it is spelled.

use super::table::{Cells, Row};
use crate::limits::LONGEST_INTERVAL;
use crate::model::{
    Alias, Asset, AssetClass, AssetId, Correction, CorrectionKind, Event, EventKind, Gear,
    GearKind, Insulation, Invalid, Isolation, Joining, Limit, LimitMeaning, Phase, Proof,
    ProofKind, ProofMoment, Range, ReadingId, Stamp, Text, Training, text,
};

fn number(value: Option<f64>) -> String {
    value.map(|v| v.to_string()).unwrap_or_default()
}

fn time(value: Option<Stamp>) -> String {
    value.map(|v| v.to_string()).unwrap_or_default()
}

fn positive(column: &'static str, value: Option<f64>) -> Result<Option<f64>, Invalid> {
    match value {
        Some(v) if v <= 0.0 => Err(Invalid::new(column, "a number above 0, or nothing", v)),
        _ => Ok(value),
    }
}

fn whole(column: &'static str, cells: &Cells<'_>) -> Result<Option<u32>, Invalid> {
    match cells.text(column) {
        "" => Ok(None),
        text => match text.parse::<u32>() {
            Ok(v) if (1..=LONGEST_INTERVAL).contains(&v) => Ok(Some(v)),
            _ => {
                let expected = format!("a whole number from 1 to {LONGEST_INTERVAL}, or nothing");
                Err(Invalid::new(column, expected, text))
            }
        },
    }
}

fn truth(column: &'static str, cells: &Cells<'_>) -> Result<Option<bool>, Invalid> {
    match cells.text(column).to_lowercase().as_str() {
        "" => Ok(None),
        "true" | "yes" | "1" | "passed" | "pass" => Ok(Some(true)),
        "false" | "no" | "0" | "failed" | "fail" => Ok(Some(false)),
        other => Err(Invalid::new(column, "`true` or `false`", other)),
    }
}

fn insulation(cells: &Cells<'_>) -> Result<Insulation, Invalid> {
    match cells.text("insulation") {
        "" => Ok(Insulation::Unknown),
        word => Insulation::parse(word),
    }
}

fn joining(cells: &Cells<'_>) -> Result<Joining, Invalid> {
    match cells.text("phases") {
        "" => Ok(Joining::Unknown),
        word => Joining::parse(word),
    }
}

/// Ranges as they are written in one cell: `250 V: 1e9; 500 V: 2e9`, in ohm.
fn ranges(written: &str) -> Result<Vec<Range>, Invalid> {
    let parts = written.split(';').map(str::trim).filter(|part| !part.is_empty());
    ranges_of(parts.map(|part| {
        let (volts, ohms) = part.split_once(':')?;
        let volts = volts.trim().trim_end_matches('V').trim_end().parse().ok()?;
        Some((volts, ohms.trim().parse().ok()?))
    }))
    .ok_or_else(|| Invalid::new("ranges", "`250 V: 1e9; 500 V: 2e9`, each once, in ohm", written))
}

/// Ranges by rising test voltage; none where one makes no sense or a voltage stands twice.
pub fn ranges_of(all: impl Iterator<Item = Option<(f64, f64)>>) -> Option<Vec<Range>> {
    let mut ranges = all
        .map(|pair| {
            let (test_voltage_v, full_scale_ohm) = pair?;
            let good = |v: f64| v > 0.0 && v.is_finite();
            (good(test_voltage_v) && good(full_scale_ohm))
                .then_some(Range { test_voltage_v, full_scale_ohm })
        })
        .collect::<Option<Vec<_>>>()?;
    ranges.sort_by(|a, b| a.test_voltage_v.total_cmp(&b.test_voltage_v));
    let twice = ranges.windows(2).any(|pair| pair[0].test_voltage_v == pair[1].test_voltage_v);
    (!twice).then_some(ranges)
}

fn required_time(cells: &Cells<'_>, column: &'static str) -> Result<Stamp, Invalid> {
    cells.time(column)?.ok_or_else(|| Invalid::new(column, "a time like 2026-03-02T08:15:00Z", ""))
}

fn required_text(cells: &Cells<'_>, column: &'static str) -> Result<Text, Invalid> {
    let value = text(column, cells.text(column))?;
    if value.is_empty() {
        return Err(Invalid::new(column, "a text", ""));
    }
    Ok(value)
}

/// IEEE Std 43: 5 MΩ at 40 °C for random-wound windings and form-wound ones below 1 kV, 100 MΩ for
/// form-wound ones above; the default of a rotating machine whose file names no limit.
pub(super) fn default_limit(kind: &str, rated_voltage_v: Option<f64>) -> Option<f64> {
    Asset::is_rotating(kind)
        .then(|| if rated_voltage_v.is_some_and(|v| v >= 1_000.0) { 1e8 } else { 5e6 })
}

impl Row for Asset {
    const NAME: &'static str = "assets";
    const COLUMNS: &'static [&'static str] = &[
        "asset",
        "kind",
        "rated_voltage_v",
        "limit_ohm",
        "insulation",
        "phases",
        "site",
        "remark",
        "class",
        "interval_days",
        "discharge_wait_s",
        "training",
    ];
    const REQUIRED: &'static [&'static str] = &["asset"];

    fn read(cells: &Cells<'_>) -> Result<Self, Invalid> {
        let silent = Asset::silent(AssetId::new(cells.text("asset"))?);
        let class = text("class", cells.text("class"))?;
        let rated_voltage_v = positive("rated_voltage_v", cells.number("rated_voltage_v")?)?;
        let mut kind = text("kind", cells.text("kind"))?;
        let mut limit_ohm = positive("limit_ohm", cells.number("limit_ohm")?)?;
        // What an asset of a class is silent about, its class says.
        if class.is_empty() {
            if kind.is_empty() {
                kind = AssetClass::default().kind;
            }
            limit_ohm = limit_ohm.or_else(|| default_limit(&kind, rated_voltage_v));
        }
        Ok(Asset {
            kind,
            rated_voltage_v,
            limit_ohm,
            insulation: insulation(cells)?,
            joining: joining(cells)?,
            site: text("site", cells.text("site"))?,
            remark: text("remark", cells.text("remark"))?,
            class,
            interval_days: whole("interval_days", cells)?,
            discharge_s: whole("discharge_wait_s", cells)?,
            training: match cells.text("training") {
                "" => None,
                known => Some(Training::parse(known)?),
            },
            ..silent
        })
    }

    fn write(&self) -> Vec<String> {
        vec![
            self.id.to_string(),
            self.kind.to_string(),
            number(self.rated_voltage_v),
            number(self.limit_ohm),
            self.insulation.to_string(),
            self.joining.to_string(),
            self.site.to_string(),
            self.remark.to_string(),
            self.class.to_string(),
            number(self.interval_days.map(f64::from)),
            number(self.discharge_s.map(f64::from)),
            self.training.as_ref().map(Training::to_string).unwrap_or_default(),
        ]
    }
}

impl Row for AssetClass {
    const NAME: &'static str = "classes";
    const COLUMNS: &'static [&'static str] = &[
        "class",
        "kind",
        "limit_ohm",
        "as_read_ohm",
        "ohm_per_volt",
        "working_voltage_v",
        "insulation",
        "phases",
        "interval_days",
        "discharge_wait_s",
        "remark",
    ];
    const REQUIRED: &'static [&'static str] = &["class", "kind"];

    fn read(cells: &Cells<'_>) -> Result<Self, Invalid> {
        let kind = required_text(cells, "kind")?;
        let (per_volt, volts) = (
            positive("ohm_per_volt", cells.number("ohm_per_volt")?)?,
            positive("working_voltage_v", cells.number("working_voltage_v")?)?,
        );
        let isolation = match (per_volt, volts) {
            (Some(ohm_per_volt), Some(working_voltage_v)) => {
                Some(Isolation { ohm_per_volt, working_voltage_v })
            }
            (None, None) => None,
            _ => {
                let expected = "a number beside `working_voltage_v`, or neither";
                return Err(Invalid::new("ohm_per_volt", expected, cells.text("ohm_per_volt")));
            }
        };
        Ok(AssetClass {
            name: required_text(cells, "class")?,
            limit_ohm: positive("limit_ohm", cells.number("limit_ohm")?)?
                .or_else(|| default_limit(&kind, None)),
            kind,
            as_read_ohm: positive("as_read_ohm", cells.number("as_read_ohm")?)?,
            isolation,
            insulation: insulation(cells)?,
            joining: joining(cells)?,
            interval_days: whole("interval_days", cells)?,
            discharge_s: whole("discharge_wait_s", cells)?,
            remark: text("remark", cells.text("remark"))?,
        })
    }

    fn write(&self) -> Vec<String> {
        vec![
            self.name.to_string(),
            self.kind.to_string(),
            number(self.limit_ohm),
            number(self.as_read_ohm),
            number(self.isolation.map(|i| i.ohm_per_volt)),
            number(self.isolation.map(|i| i.working_voltage_v)),
            self.insulation.to_string(),
            self.joining.to_string(),
            number(self.interval_days.map(f64::from)),
            number(self.discharge_s.map(f64::from)),
            self.remark.to_string(),
        ]
    }
}

/// A limit beside the one at 40 °C: `as read`, or vehicle isolation in ohm per volt.
#[derive(Clone, Debug, PartialEq)]
pub struct LimitRow {
    /// The asset it stands on.
    pub asset: AssetId,
    /// The limit.
    pub limit: Limit,
}

impl Row for LimitRow {
    const NAME: &'static str = "limits";
    const COLUMNS: &'static [&'static str] =
        &["asset", "meaning", "limit_ohm", "ohm_per_volt", "working_voltage_v"];
    const REQUIRED: &'static [&'static str] = &["asset", "meaning"];

    fn read(cells: &Cells<'_>) -> Result<Self, Invalid> {
        let asset = AssetId::new(cells.text("asset"))?;
        let needed = |column| {
            positive(column, cells.number(column)?)?
                .ok_or_else(|| Invalid::new(column, "a number above 0", ""))
        };
        let limit = match cells.text("meaning") {
            "as read" => Limit { ohms: needed("limit_ohm")?, meaning: LimitMeaning::AsRead },
            "isolation" => {
                let (ohm_per_volt, working_voltage_v) =
                    (needed("ohm_per_volt")?, needed("working_voltage_v")?);
                let meaning = LimitMeaning::Isolation { ohm_per_volt, working_voltage_v };
                Limit { ohms: ohm_per_volt * working_voltage_v, meaning }
            }
            other => return Err(Invalid::new("meaning", "`as read` or `isolation`", other)),
        };
        Ok(LimitRow { asset, limit })
    }

    fn write(&self) -> Vec<String> {
        let (ohms, per_volt, volts) = match self.limit.meaning {
            LimitMeaning::Isolation { ohm_per_volt, working_voltage_v } => {
                (None, Some(ohm_per_volt), Some(working_voltage_v))
            }
            _ => (Some(self.limit.ohms), None, None),
        };
        vec![
            self.asset.to_string(),
            self.limit.meaning.word().into(),
            number(ohms),
            number(per_volt),
            number(volts),
        ]
    }
}

impl Row for Event {
    const NAME: &'static str = "events";
    const COLUMNS: &'static [&'static str] = &["at", "asset", "kind", "remark"];
    const REQUIRED: &'static [&'static str] = &["at", "asset", "kind"];

    fn read(cells: &Cells<'_>) -> Result<Self, Invalid> {
        Ok(Event {
            at: required_time(cells, "at")?,
            asset: AssetId::new(cells.text("asset"))?,
            kind: EventKind::parse(cells.text("kind"))?,
            remark: text("remark", cells.text("remark"))?,
        })
    }

    fn write(&self) -> Vec<String> {
        vec![
            self.at.to_string(),
            self.asset.to_string(),
            self.kind.word().into(),
            self.remark.to_string(),
        ]
    }
}

impl Row for Gear {
    const NAME: &'static str = "gear";
    const COLUMNS: &'static [&'static str] = &[
        "gear",
        "kind",
        "category",
        "rated_voltage_v",
        "full_scale_ohm",
        "lowest_ohm",
        "due",
        "remark",
        "ranges",
        "proof_days",
    ];
    const REQUIRED: &'static [&'static str] = &["gear", "kind"];

    fn read(cells: &Cells<'_>) -> Result<Self, Invalid> {
        Ok(Gear {
            id: required_text(cells, "gear")?,
            kind: GearKind::parse(cells.text("kind"))?,
            category: text("category", cells.text("category"))?,
            rated_voltage_v: positive("rated_voltage_v", cells.number("rated_voltage_v")?)?,
            full_scale_ohm: positive("full_scale_ohm", cells.number("full_scale_ohm")?)?,
            lowest_ohm: positive("lowest_ohm", cells.number("lowest_ohm")?)?,
            due: cells.time("due")?,
            remark: text("remark", cells.text("remark"))?,
            ranges: ranges(cells.text("ranges"))?,
            proof_days: whole("proof_days", cells)?,
        })
    }

    fn write(&self) -> Vec<String> {
        vec![
            self.id.to_string(),
            self.kind.to_string(),
            self.category.to_string(),
            number(self.rated_voltage_v),
            number(self.full_scale_ohm),
            number(self.lowest_ohm),
            time(self.due),
            self.remark.to_string(),
            self.ranges
                .iter()
                .map(|r| format!("{} V: {}", r.test_voltage_v, r.full_scale_ohm))
                .collect::<Vec<_>>()
                .join("; "),
            number(self.proof_days.map(f64::from)),
        ]
    }
}

impl Row for Proof {
    const NAME: &'static str = "proofs";
    const COLUMNS: &'static [&'static str] =
        &["at", "tester", "kind", "value", "unit", "passed", "moment", "remark"];
    const REQUIRED: &'static [&'static str] = &["at", "tester", "kind", "passed"];

    fn read(cells: &Cells<'_>) -> Result<Self, Invalid> {
        let passed = truth("passed", cells)?;
        let passed = passed.ok_or_else(|| Invalid::new("passed", "`true` or `false`", ""))?;
        Ok(Proof {
            at: required_time(cells, "at")?,
            tester: required_text(cells, "tester")?,
            kind: ProofKind::parse(cells.text("kind"))?,
            value: cells.number("value")?,
            unit: text("unit", cells.text("unit"))?,
            passed,
            moment: match cells.text("moment") {
                "" => ProofMoment::Before,
                word => ProofMoment::parse(word)?,
            },
            remark: text("remark", cells.text("remark"))?,
        })
    }

    fn write(&self) -> Vec<String> {
        vec![
            self.at.to_string(),
            self.tester.to_string(),
            self.kind.to_string(),
            number(self.value),
            self.unit.to_string(),
            self.passed.to_string(),
            self.moment.to_string(),
            self.remark.to_string(),
        ]
    }
}

impl Row for Alias {
    const NAME: &'static str = "aliases";
    const COLUMNS: &'static [&'static str] =
        &["written", "asset", "phase_written", "phase", "from", "until", "remark", "merged"];
    const REQUIRED: &'static [&'static str] = &["written", "asset"];

    fn read(cells: &Cells<'_>) -> Result<Self, Invalid> {
        let alias = Alias {
            written: text("written", cells.text("written"))?,
            asset: AssetId::new(cells.text("asset"))?,
            phase_written: text("phase_written", cells.text("phase_written"))?,
            phase: match cells.text("phase") {
                "" => None,
                label => Some(Phase::new(label)?),
            },
            from: cells.time("from")?,
            until: cells.time("until")?,
            remark: text("remark", cells.text("remark"))?,
            merged: truth("merged", cells)?.unwrap_or(false),
        };
        if alias.written.is_empty() && alias.phase.is_none() {
            let expected =
                "another name in `written`, or a label in `phase_written` with its `phase`";
            return Err(Invalid::new("written", expected, ""));
        }
        Ok(alias)
    }

    fn write(&self) -> Vec<String> {
        vec![
            self.written.to_string(),
            self.asset.to_string(),
            self.phase_written.to_string(),
            self.phase.as_ref().map(Phase::to_string).unwrap_or_default(),
            time(self.from),
            time(self.until),
            self.remark.to_string(),
            if self.merged { "true".into() } else { String::new() },
        ]
    }
}

/// A correction as it travels: the reading is named by its row in the `readings.csv` beside it,
/// since ids belong to one installation.
#[derive(Clone, Debug, PartialEq)]
pub struct CorrectionRow {
    /// The row in `readings.csv`, the header being row 1.
    pub row: u64,
    /// What is put right.
    pub kind: CorrectionKind,
    /// Why.
    pub reason: Text,
    /// Who made it.
    pub by: Text,
}

impl CorrectionRow {
    /// The correction of a reading with this id.
    pub fn of(&self, reading: ReadingId) -> Correction {
        Correction { reading, kind: self.kind.clone(), reason: self.reason.clone() }
    }
}

impl Row for CorrectionRow {
    const NAME: &'static str = "corrections";
    const COLUMNS: &'static [&'static str] = &["row", "kind", "asset", "phase", "reason", "by"];
    const REQUIRED: &'static [&'static str] = &["row", "kind", "reason", "by"];

    fn read(cells: &Cells<'_>) -> Result<Self, Invalid> {
        let kind = match cells.text("kind") {
            "void" => CorrectionKind::Void,
            "restore" => CorrectionKind::Restore,
            "overrule" => CorrectionKind::Overrule,
            "move" => CorrectionKind::Move {
                asset: AssetId::new(cells.text("asset"))?,
                phase: Phase::new(cells.text("phase"))?,
            },
            other => {
                let expected = "one of void, restore, overrule, move";
                return Err(Invalid::new("kind", expected, other));
            }
        };
        let row = cells.text("row");
        Ok(CorrectionRow {
            row: row.parse().map_err(|_| Invalid::new("row", "a row of readings.csv", row))?,
            kind,
            reason: required_text(cells, "reason")?,
            by: required_text(cells, "by")?,
        })
    }

    fn write(&self) -> Vec<String> {
        let (kind, asset, phase) = match &self.kind {
            CorrectionKind::Void => ("void", "", ""),
            CorrectionKind::Restore => ("restore", "", ""),
            CorrectionKind::Overrule => ("overrule", "", ""),
            CorrectionKind::Move { asset, phase } => ("move", asset.as_str(), phase.as_str()),
        };
        vec![
            self.row.to_string(),
            kind.into(),
            asset.into(),
            phase.into(),
            self.reason.to_string(),
            self.by.to_string(),
        ]
    }
}
