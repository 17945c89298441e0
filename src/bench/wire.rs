//! Acts as the store keeps them: a word and its particulars as JSON text.

use serde::{Deserialize, Serialize};

use super::act::{Act, Entry, GearChosen, Plan, Point, Proved, Value};
use crate::model::{AssetId, Bound, Joining, Phase, ProofKind, ProofMoment, TemperatureOf, Text};
use crate::store::{Recorded, SheetStep, StoreError};

/// The particulars of any act; each says only what belongs to it.
#[derive(Debug, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
struct Details {
    #[serde(skip_serializing_if = "Option::is_none")]
    asset: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    joining: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    point: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    test: Option<usize>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    phases: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    phase: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    setup: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    test_voltage_v: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    rated_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    operator: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    temperature_c: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    temperature_of: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    humidity_pct: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    tester: Option<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    parts: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    weakest: Option<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    warnings: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    moment: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    kind: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    read_v: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    expected_v: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    ohms: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bound: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    expected_ohm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    passed: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    by_hand: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    applied_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    waited_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    least_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    residual_v: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    number: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    readings: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    reason: Option<String>,
}

/// The word and the particulars of an act.
pub(super) fn encode(act: &Act) -> (Text, String) {
    let none = Details::default();
    let text = |text: &Text| Some(text.to_string());
    let (word, details) = match act {
        Act::Opened { asset, joining } => {
            let asset = Some(asset.to_string());
            ("opened", Details { asset, joining: Some(joining.to_string()), ..none })
        }
        Act::Planned(plan) => ("planned", planned(plan)),
        Act::Geared(gear) => {
            let list = |texts: &[Text]| texts.iter().map(Text::to_string).collect();
            let details = Details {
                tester: text(&gear.tester),
                parts: list(&gear.parts),
                weakest: text(&gear.weakest),
                warnings: list(&gear.warnings),
                ..none
            };
            ("geared", details)
        }
        Act::Confirmed(point) => ("confirmed", Details { point: Some(point.key()), ..none }),
        Act::Source { moment, read_v, expected_v, passed } => {
            let details = Details {
                moment: Some(moment.to_string()),
                read_v: Some(*read_v),
                expected_v: Some(*expected_v),
                passed: Some(*passed),
                ..none
            };
            ("source", details)
        }
        Act::Voltage(volts) => ("voltage", Details { read_v: Some(*volts), ..none }),
        Act::Proved(proved) => {
            let details = Details {
                kind: Some(proved.kind.to_string()),
                moment: Some(proved.moment.to_string()),
                ohms: Some(proved.value.ohms),
                bound: Some(proved.value.bound.to_string()),
                expected_ohm: proved.expected_ohm,
                passed: Some(proved.passed),
                by_hand: Some(proved.by_hand),
                ..none
            };
            ("proved", details)
        }
        Act::Begun(test) => ("begun", Details { test: Some(*test), ..none }),
        Act::Ended { test, applied_s } => {
            ("ended", Details { test: Some(*test), applied_s: Some(*applied_s), ..none })
        }
        Act::Discharged { test, waited_s, least_s, residual_v } => {
            let details = Details {
                test: Some(*test),
                waited_s: Some(*waited_s),
                least_s: Some(*least_s),
                residual_v: Some(*residual_v),
                ..none
            };
            ("discharged", details)
        }
        Act::Skipped { point, reason } => {
            ("skipped", Details { point: Some(point.key()), reason: text(reason), ..none })
        }
        Act::Undone(number) => ("undone", Details { number: Some(*number), ..none }),
        Act::Repeated(test) => ("repeated", Details { test: Some(*test), ..none }),
        Act::Finished => ("finished", none),
        Act::Abandoned(reason) => ("abandoned", Details { reason: text(reason), ..none }),
        Act::Voided { test, readings, reason } => {
            let (test, readings) = (Some(*test), Some(*readings));
            ("voided", Details { test, readings, reason: text(reason), ..none })
        }
        Act::Moved { test, asset, phase, readings, reason } => {
            let details = Details {
                test: *test,
                asset: Some(asset.to_string()),
                phase: phase.as_ref().map(Phase::to_string),
                readings: Some(*readings),
                reason: text(reason),
                ..none
            };
            ("moved", details)
        }
    };
    // Plain texts and numbers: writing them cannot fail.
    (word.into(), serde_json::to_string(&details).unwrap_or_default())
}

fn planned(plan: &Plan) -> Details {
    Details {
        phases: plan.phases.iter().map(Phase::to_string).collect(),
        setup: Some(plan.setup.to_string()),
        test_voltage_v: Some(plan.test_voltage_v),
        rated_s: Some(plan.rated_s),
        operator: Some(plan.operator.to_string()),
        temperature_c: plan.temperature.map(|t| t.0),
        temperature_of: plan.temperature.map(|t| t.1.to_string()),
        humidity_pct: plan.humidity_pct,
        ..Details::default()
    }
}

/// A kept step as the act that it was; a step that does not read back names its row.
pub(super) fn decode(step: &Recorded<SheetStep>) -> Result<Entry, StoreError> {
    let SheetStep { sheet, number, at, act, details } = &step.value;
    let damaged = |why: String| StoreError::Damaged {
        table: "sheet_step",
        row: format!("{} {} {number}", sheet.station, sheet.opened),
        why,
    };
    let details: Details = serde_json::from_str(details).map_err(|e| damaged(e.to_string()))?;
    let act = act_of(act, details).map_err(damaged)?;
    Ok(Entry { number: *number, at: *at, by: step.mark.by.clone(), act })
}

fn act_of(word: &str, d: Details) -> Result<Act, String> {
    fn need<T>(value: Option<T>, name: &str) -> Result<T, String> {
        value.ok_or_else(|| format!("expected `{name}`, found none"))
    }
    fn said<E: std::fmt::Display>(error: E) -> String {
        error.to_string()
    }
    let text = |value: Option<String>| value.map(Text::from).unwrap_or_default();
    let asset = |id: Option<String>| AssetId::new(&need(id, "asset")?).map_err(said);
    let point = |key: Option<String>| {
        let key = need(key, "point")?;
        Point::parse(&key).ok_or_else(|| format!("expected a point, found `{key}`"))
    };
    let moment = |word: Option<String>| ProofMoment::parse(&need(word, "moment")?).map_err(said);
    let phase = |label: Option<String>| match label {
        None => Ok(None),
        Some(label) => Phase::new(&label).map(Some).map_err(said),
    };
    Ok(match word {
        "opened" => {
            let joining = Joining::parse(&need(d.joining, "joining")?).map_err(said)?;
            Act::Opened { asset: asset(d.asset)?, joining }
        }
        "planned" => {
            let phases = d.phases.iter().map(|label| Phase::new(label).map_err(said));
            let of = d.temperature_of.map(|of| TemperatureOf::parse(&of).map_err(said));
            let temperature = match (d.temperature_c, of.transpose()?) {
                (Some(celsius), Some(of)) => Some((celsius, of)),
                _ => None,
            };
            Act::Planned(Plan {
                phases: phases.collect::<Result<_, _>>()?,
                setup: text(d.setup),
                test_voltage_v: need(d.test_voltage_v, "test_voltage_v")?,
                rated_s: need(d.rated_s, "rated_s")?,
                operator: text(d.operator),
                temperature,
                humidity_pct: d.humidity_pct,
            })
        }
        "geared" => Act::Geared(GearChosen {
            tester: text(d.tester),
            parts: d.parts.into_iter().map(Text::from).collect(),
            weakest: text(d.weakest),
            warnings: d.warnings.into_iter().map(Text::from).collect(),
        }),
        "confirmed" => Act::Confirmed(point(d.point)?),
        "source" => Act::Source {
            moment: moment(d.moment)?,
            read_v: need(d.read_v, "read_v")?,
            expected_v: need(d.expected_v, "expected_v")?,
            passed: need(d.passed, "passed")?,
        },
        "voltage" => Act::Voltage(need(d.read_v, "read_v")?),
        "proved" => Act::Proved(Proved {
            kind: ProofKind::parse(&need(d.kind, "kind")?).map_err(said)?,
            moment: moment(d.moment)?,
            value: Value {
                ohms: need(d.ohms, "ohms")?,
                bound: Bound::parse(&need(d.bound, "bound")?).map_err(said)?,
            },
            expected_ohm: d.expected_ohm,
            passed: need(d.passed, "passed")?,
            by_hand: need(d.by_hand, "by_hand")?,
        }),
        "begun" => Act::Begun(need(d.test, "test")?),
        "ended" => {
            let applied_s = need(d.applied_s, "applied_s")?;
            Act::Ended { test: need(d.test, "test")?, applied_s }
        }
        "discharged" => Act::Discharged {
            test: need(d.test, "test")?,
            waited_s: need(d.waited_s, "waited_s")?,
            least_s: need(d.least_s, "least_s")?,
            residual_v: need(d.residual_v, "residual_v")?,
        },
        "skipped" => Act::Skipped { point: point(d.point)?, reason: text(d.reason) },
        "undone" => Act::Undone(need(d.number, "number")?),
        "repeated" => Act::Repeated(need(d.test, "test")?),
        "finished" => Act::Finished,
        "abandoned" => Act::Abandoned(text(d.reason)),
        "voided" => Act::Voided {
            test: need(d.test, "test")?,
            readings: need(d.readings, "readings")?,
            reason: text(d.reason),
        },
        "moved" => Act::Moved {
            test: d.test,
            asset: asset(d.asset)?,
            phase: phase(d.phase)?,
            readings: need(d.readings, "readings")?,
            reason: text(d.reason),
        },
        other => return Err(format!("expected an act, found `{other}`")),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Mark, Stamp};
    use crate::store::SheetKey;

    #[test]
    fn every_act_reads_back_as_it_was() {
        let id = AssetId::new("YT-014/drive").unwrap();
        let reason: Text = "the leads were swapped, „so what“".into();
        let plan = Plan {
            phases: vec![Phase::new("U").unwrap(), Phase::new("HV+").unwrap()],
            setup: "others grounded".into(),
            test_voltage_v: 500.0,
            rated_s: 60.0,
            operator: "Ines".into(),
            temperature: Some((21.5, TemperatureOf::Winding)),
            humidity_pct: Some(45.0),
        };
        let bare = Plan { temperature: None, humidity_pct: None, ..plan.clone() };
        let proved = Proved {
            kind: ProofKind::KnownResistance,
            moment: ProofMoment::After,
            value: Value { ohms: 1.02e6, bound: Bound::Measured },
            expected_ohm: Some(1e6),
            passed: true,
            by_hand: false,
        };
        let gear = GearChosen {
            tester: "BT-1".into(),
            parts: vec!["L-1".into(), "G-2".into()],
            weakest: "CAT III 600 V".into(),
            warnings: vec!["`L-1` is overdue".into()],
        };
        let (moment, phase) = (ProofMoment::Before, Some(Phase::new("V").unwrap()));
        let acts = [
            Act::Opened { asset: id.clone(), joining: Joining::Tied },
            Act::Planned(plan),
            Act::Planned(bare),
            Act::Geared(gear),
            Act::Confirmed(Point::Isolated),
            Act::Source { moment, read_v: 23.9, expected_v: 24.0, passed: true },
            Act::Voltage(0.3),
            Act::Proved(proved),
            Act::Begun(1),
            Act::Ended { test: 1, applied_s: 60.0 },
            Act::Discharged { test: 1, waited_s: 250.0, least_s: 240.0, residual_v: 3.0 },
            Act::Skipped { point: Point::Contact(2), reason: reason.clone() },
            Act::Undone(7),
            Act::Repeated(0),
            Act::Finished,
            Act::Abandoned(reason.clone()),
            Act::Voided { test: 0, readings: 12, reason: reason.clone() },
            Act::Moved { test: None, asset: id, phase, readings: 36, reason },
        ];
        for act in acts {
            let (word, details) = encode(&act);
            let opened = Stamp::from_micros(1);
            let sheet = SheetKey { station: "bench-1".into(), opened };
            let at = Stamp::from_micros(2);
            let value = SheetStep { sheet, number: 3, at, act: word, details };
            let mark = Mark { recorded_at: at, by: "Ines".into() };
            let entry = decode(&Recorded { value: value.clone(), mark: mark.clone() }).unwrap();
            assert_eq!(entry.act, act);
            let damaged = SheetStep { act: "guessed".into(), ..value };
            assert!(decode(&Recorded { value: damaged, mark }).is_err());
        }
    }
}
