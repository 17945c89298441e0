//! `proof`: checks of testers.

use serde::Serialize;

use super::{import_as, marked};
use crate::cli::args::{AddProof, ProofCommand};
use crate::cli::output;
use crate::cli::place::Place;
use crate::cli::{Exit, Failure};
use crate::model::{Proof, ProofKind, ProofMoment, text};
use crate::registry::Register;
use crate::store::{Change, Reader};

#[derive(Serialize)]
struct ProofOut {
    at: String,
    tester: String,
    kind: &'static str,
    value: Option<f64>,
    unit: String,
    passed: bool,
    moment: &'static str,
    remark: String,
}

pub(crate) fn proof(place: &mut Place, command: ProofCommand) -> Result<Exit, Failure> {
    match command {
        ProofCommand::List { tester } => {
            let rows =
                marked(place.reader()?.proofs(tester.as_deref(), place.when)?, |p| ProofOut {
                    at: p.at.to_string(),
                    tester: p.tester.into(),
                    kind: p.kind.word(),
                    value: p.value,
                    unit: p.unit.into(),
                    passed: p.passed,
                    moment: p.moment.word(),
                    remark: p.remark.into(),
                });
            let columns = [
                ("at", "when"),
                ("tester", "tester"),
                ("kind", "proof"),
                ("moment", "moment"),
                ("value", "read"),
                ("unit", "unit"),
                ("passed", "passed"),
                ("remark", "remark"),
                ("by", "by"),
            ];
            output::rows(place.format, &columns, &rows, "no proofs yet")?;
            Ok(Exit::Done)
        }
        ProofCommand::Add(add) => {
            let AddProof { tester, kind, passed, moment, value, unit, at, remark, by } = add;
            let proof = Proof {
                at: at.unwrap_or(place.now),
                tester: text("tester", &tester)?,
                kind: ProofKind::parse(&kind)?,
                value,
                unit: text("unit", &unit)?,
                passed,
                moment: ProofMoment::parse(&moment)?,
                remark: text("remark", &remark)?,
            };
            place.record(by.by, &[Change::Proof(proof)])
        }
        ProofCommand::Import(import) => import_as(place, Register::Proofs, import),
    }
}
