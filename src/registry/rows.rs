//! The columns of each register: what a row means and how it is spelled.

use super::table::{Cells, Row};
use crate::model::{
    Alias, Asset, AssetId, Correction, CorrectionKind, Event, EventKind, Gear, GearKind,
    Insulation, Invalid, Joining, Limit, LimitMeaning, Phase, Proof, ProofKind, ProofMoment,
    ReadingId, Stamp, Text, text,
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
    ];
    const REQUIRED: &'static [&'static str] = &["asset"];

    fn read(cells: &Cells<'_>) -> Result<Self, Invalid> {
        let first_met = Asset::first_met(AssetId::new(cells.text("asset"))?);
        let kind = match text("kind", cells.text("kind"))? {
            empty if empty.is_empty() => first_met.kind,
            kind => kind,
        };
        let rated_voltage_v = positive("rated_voltage_v", cells.number("rated_voltage_v")?)?;
        let limit_ohm = positive("limit_ohm", cells.number("limit_ohm")?)?
            .or_else(|| default_limit(&kind, rated_voltage_v));
        Ok(Asset {
            id: first_met.id,
            kind,
            rated_voltage_v,
            limit_ohm,
            insulation: match cells.text("insulation") {
                "" => Insulation::Unknown,
                word => Insulation::parse(word)?,
            },
            joining: match cells.text("phases") {
                "" => Joining::Unknown,
                word => Joining::parse(word)?,
            },
            site: text("site", cells.text("site"))?,
            remark: text("remark", cells.text("remark"))?,
            more_limits: Vec::new(),
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
        ]
    }
}

impl Row for Proof {
    const NAME: &'static str = "proofs";
    const COLUMNS: &'static [&'static str] =
        &["at", "tester", "kind", "value", "unit", "passed", "moment", "remark"];
    const REQUIRED: &'static [&'static str] = &["at", "tester", "kind", "passed"];

    fn read(cells: &Cells<'_>) -> Result<Self, Invalid> {
        let passed = match cells.text("passed").to_lowercase().as_str() {
            "true" | "yes" | "1" | "passed" | "pass" => true,
            "false" | "no" | "0" | "failed" | "fail" => false,
            other => return Err(Invalid::new("passed", "`true` or `false`", other)),
        };
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
        &["written", "asset", "phase_written", "phase", "from", "until", "remark"];
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
