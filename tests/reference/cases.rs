//! Reads the expected values and compares computed ones with them.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde_json::Value;

/// Values of the reference that are wrong in themselves, with the right one: they were computed as
/// ln(1 − Q(z)) at 60 digits, too few beside Q(15) = 3.7e-51 and below. The right ones are −Q(z) by
/// the continued fraction of Mills' ratio at 160 digits; they are held to the tolerance as given.
const ERRATA: &[(&str, &str, f64)] = &[
    ("ref_normal_tail", "norm.log_cdf[z=15]", -3.670_966_199_312_751e-51),
    ("ref_normal_tail", "norm.log_cdf[z=20]", -2.753_624_118_606_233_7e-89),
    ("ref_normal_tail", "norm.log_cdf[z=30]", -4.906_713_927_148_187e-198),
];

/// What was computed for a case: dotted key to value.
pub(crate) type Results = BTreeMap<String, Value>;

pub(crate) struct Case {
    pub(crate) id: String,
    pub(crate) kind: String,
    pub(crate) optional: bool,
    pub(crate) input: Value,
    pub(crate) params: Value,
    pub(crate) expected: BTreeMap<String, Value>,
}

pub(crate) struct Cases(pub(crate) Vec<Case>);

pub(crate) fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/reference")
}

/// Rows of a data file, each as column name to text.
pub(crate) fn table(file: &str) -> Vec<BTreeMap<String, String>> {
    let mut reader = csv::Reader::from_path(folder().join(file)).unwrap();
    reader.deserialize().map(|row| row.unwrap()).collect()
}

impl Cases {
    pub(crate) fn all() -> Self {
        let mut files: Vec<PathBuf> = std::fs::read_dir(folder().join("expected"))
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .filter(|path| path.extension().is_some_and(|e| e == "json"))
            .collect();
        files.sort();
        let mut cases = Vec::new();
        for file in files {
            let whole: Value =
                serde_json::from_str(&std::fs::read_to_string(file).unwrap()).unwrap();
            for case in whole["cases"].as_array().unwrap() {
                let text = |key: &str| case[key].as_str().unwrap().to_owned();
                let expected = case["expected"].as_object().unwrap();
                cases.push(Case {
                    id: text("id"),
                    kind: text("kind"),
                    optional: case["optional"].as_bool().unwrap_or(false),
                    input: case["input"].clone(),
                    params: case["params"].clone(),
                    expected: expected.iter().map(|(k, v)| (k.clone(), v.clone())).collect(),
                });
            }
        }
        Cases(cases)
    }

    pub(crate) fn of_kind(kind: &str) -> Self {
        Cases(Self::all().0.into_iter().filter(|c| c.kind == kind).collect())
    }
}

/// Computes each case and holds every expected value to its tolerance. `count` is how many values
/// there must be: a fixture that lost some must not pass by checking less.
pub(crate) fn check(cases: &Cases, compute: impl Fn(&Case) -> Results, count: usize) {
    let mut wrong = Vec::new();
    let mut checked = 0;
    for case in &cases.0 {
        let got = compute(case);
        for (key, want) in &case.expected {
            let tolerance = (want["rtol"].as_f64().unwrap(), want["atol"].as_f64().unwrap());
            let erratum = ERRATA.iter().find(|e| e.0 == case.id && e.1 == key);
            let right = erratum.map(|e| Value::from(e.2));
            let value = right.as_ref().unwrap_or(&want["value"]);
            if right.as_ref().is_some_and(|r| same(r, &want["value"], tolerance)) {
                wrong
                    .push(format!("{} {key}: the fixture is right now, drop the erratum", case.id));
            }
            match got.get(key) {
                None if case.optional => {}
                None => wrong.push(format!("{} {key}: missing, want {value}", case.id)),
                Some(got) if same(got, value, tolerance) => checked += 1,
                Some(got) => wrong.push(format!(
                    "{} {key}: got {got}, want {value} within {tolerance:?}",
                    case.id
                )),
            }
        }
    }
    assert!(wrong.is_empty(), "{} of the values differ:\n{}", wrong.len(), wrong.join("\n"));
    assert_eq!(checked, count, "values checked");
}

fn number(value: &Value) -> Option<f64> {
    match value {
        Value::Number(n) => n.as_f64(),
        Value::String(s) => match s.as_str() {
            "inf" => Some(f64::INFINITY),
            "-inf" => Some(f64::NEG_INFINITY),
            _ => None,
        },
        _ => None,
    }
}

/// |got − want| ≤ atol + rtol·|want|; lists by element; the rest exactly.
fn same(got: &Value, want: &Value, (rtol, atol): (f64, f64)) -> bool {
    if let (Value::Array(g), Value::Array(w)) = (got, want) {
        return g.len() == w.len() && g.iter().zip(w).all(|(g, w)| same(g, w, (rtol, atol)));
    }
    match (number(got), number(want)) {
        (Some(g), Some(w)) if w.is_infinite() => g == w,
        (Some(g), Some(w)) => (g - w).abs() <= atol + rtol * w.abs(),
        _ => got == want,
    }
}
