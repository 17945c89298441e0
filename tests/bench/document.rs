//! What programs are told of a bench is as the API's own document says (OpenAPI 3.1, whose schemas
//! are JSON Schema 2020-12).

use std::collections::BTreeSet;

use serde_json::Value;

use crate::person::{ASSET, Bench};

/// Asserts that a value is as a schema says: its fields are those of the schema, no more and no
/// less, and each is of its type.
fn fits(document: &Value, schema: &Value, value: &Value, at: &str) {
    if let Some(name) = schema["$ref"].as_str() {
        let schema = document.pointer(name.trim_start_matches('#')).unwrap();
        return fits(document, schema, value, at);
    }
    if let Some(either) = schema["oneOf"].as_array() {
        let nullable = either.iter().any(|one| one["type"] == "null");
        assert!(nullable || !value.is_null(), "{at} is null");
        if !value.is_null() {
            let other = either.iter().find(|one| one["type"] != "null").unwrap();
            fits(document, other, value, at);
        }
        return;
    }
    let types: Vec<&str> = match &schema["type"] {
        Value::String(one) => vec![one],
        Value::Array(all) => all.iter().filter_map(Value::as_str).collect(),
        other => panic!("{at}: the document tells no type, but {other}"),
    };
    let found = match value {
        Value::Null => "null",
        Value::Bool(_) => "boolean",
        Value::Number(n) if n.is_f64() => "number",
        Value::Number(_) if types.contains(&"number") => "number",
        Value::Number(_) => "integer",
        Value::String(_) => "string",
        Value::Array(_) => "array",
        Value::Object(_) => "object",
    };
    assert!(types.contains(&found), "{at}: expected {types:?}, found {value}");
    for (i, item) in value.as_array().into_iter().flatten().enumerate() {
        fits(document, &schema["items"], item, &format!("{at}/{i}"));
    }
    if let Some(fields) = value.as_object() {
        let told = schema["properties"].as_object().unwrap();
        let names =
            |map: &serde_json::Map<String, Value>| map.keys().cloned().collect::<BTreeSet<_>>();
        assert_eq!(names(fields), names(told), "{at}");
        for (name, field) in fields {
            fits(document, &told[name], field, &format!("{at}/{name}"));
        }
    }
}

#[test]
fn a_bench_answers_as_the_document_says() {
    let mut bench = Bench::new();
    let document = bench.daemon().get("/v1/openapi.json");
    let looked = |bench: &Bench, stage: &str| {
        for (path, asked) in [
            ("/v1/bench", "/v1/bench"),
            ("/v1/bench/{station}", "/v1/bench/bench-1"),
            ("/v1/bench/{station}/live", "/v1/bench/bench-1/live"),
        ] {
            let answer = &document["paths"][path]["get"]["responses"]["200"];
            let schema = &answer["content"]["application/json"]["schema"];
            fits(&document, schema, &bench.daemon().get(asked), &format!("{stage}: {asked}"));
        }
    };
    looked(&bench, "no sheet yet");
    bench.isolated(ASSET);
    looked(&bench, "isolated");
    bench.prove();
    bench.test(1, "4.2E8");
    looked(&bench, "tested");
    bench.discharge();
    looked(&bench, "discharged");
    assert!(bench.daemon.take().unwrap().end().success());
}

/// Retired and merged assets are not offered to be measured; a part to learn on is.
#[test]
fn a_bench_offers_what_is_measured() {
    let bench = Bench::new();
    let offers = |id: &str| bench.page().contains(&format!("<option value=\"{id}\">"));
    assert!(["YT-014/drive", "YT-015/drive", "YT-014/pack"].into_iter().all(offers));
    let run = |args: &[&str]| assert_eq!(bench.place.run(args).0, 0, "{args:?}");
    run(&["asset", "retire", "YT-015/drive", "--why", "scrapped, invented"]);
    run(&["asset", "merge", "YT-014/pack", "--into", "YT-014/drive", "--why", "invented"]);
    run(&["asset", "add", "LEARN-1", "--training", "sound"]);
    assert!(!offers("YT-015/drive") && !offers("YT-014/pack"));
    assert!(offers("YT-014/drive") && offers("LEARN-1"));
}
