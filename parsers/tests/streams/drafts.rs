//! Drafted profiles against exports of many habits: `fixtures/drafts/<habit>/{input.*,expected.toml}`.
//!
//! A spreadsheet's text, as the intake converts it, lies beside it as `sheet.txt`. Each file is
//! drafted, the questions it asks are answered one round after the other as a person would, and
//! the draft reads it. Expected are the columns, the questions that must be asked, and every
//! reading; columns are scored over all files.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use ohmward_parsers::{Draft, Parsed, Profile, Stream, Told, draft};
use serde::Deserialize;

use crate::shown;

#[derive(Deserialize)]
struct Expected {
    columns: Vec<(String, String)>,
    asks: BTreeSet<String>,
    #[serde(default)]
    rejects: usize,
    readings: String,
    answers: BTreeMap<String, String>,
}

struct Case {
    name: String,
    input: Vec<u8>,
    plain_numbers: bool,
    expected: Expected,
}

fn cases() -> Vec<Case> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/drafts");
    let mut folders: Vec<PathBuf> =
        std::fs::read_dir(root).unwrap().map(|f| f.unwrap().path()).collect();
    folders.sort();
    folders.into_iter().map(|folder| case(&folder)).collect()
}

fn case(folder: &Path) -> Case {
    let name = folder.file_name().unwrap().to_string_lossy().into_owned();
    let expected = std::fs::read_to_string(folder.join("expected.toml")).unwrap();
    let expected: Expected = toml::from_str(&expected).unwrap();
    let sheet = folder.join("sheet.txt");
    let input = if sheet.exists() {
        sheet
    } else {
        let mut files = std::fs::read_dir(folder).unwrap().map(|f| f.unwrap().path());
        files.find(|path| path.file_stem().unwrap() == "input").unwrap()
    };
    let plain_numbers = input.ends_with("sheet.txt") && name != "xlsx-text-numbers";
    Case { name, input: std::fs::read(input).unwrap(), plain_numbers, expected }
}

/// Drafts and answers, until nothing more is asked that an answer is there for.
fn answered(case: &Case) -> (Draft, BTreeSet<String>) {
    let mut told =
        Told { plain_numbers: case.plain_numbers, title: case.name.clone(), ..Told::default() };
    let mut asked = BTreeSet::new();
    loop {
        let draft = draft(&case.input, &told).unwrap_or_else(|e| panic!("{}: {e}", case.name));
        let mut more = false;
        for question in &draft.questions {
            if question.required {
                asked.insert(question.key.clone());
                assert!(
                    Profile::parse("draft", &draft.toml).is_err(),
                    "{}: an open question, and the profile can be used",
                    case.name
                );
            }
            if let Some(answer) = case.expected.answers.get(&question.key) {
                more |= told.answers.insert(question.key.clone(), answer.clone()).is_none();
            }
        }
        if !more {
            return (draft, asked);
        }
    }
}

#[test]
fn exports_of_many_habits_are_drafted_asked_about_and_read() {
    let cases = cases();
    assert!(cases.len() >= 25, "there are {}", cases.len());
    let (mut right, mut all, mut wrong) = (0, 0, Vec::new());
    for case in &cases {
        let (draft, asked) = answered(case);
        let found: Vec<(String, String)> =
            draft.columns.iter().map(|c| (c.name.clone(), c.taken_for.clone())).collect();
        all += case.expected.columns.len();
        let pairs = case.expected.columns.iter().zip(&found);
        right += pairs.filter(|(expected, found)| expected == found).count();
        let mut problems = Vec::new();
        if found != case.expected.columns {
            problems.push(format!("columns {found:?}"));
        }
        if asked != case.expected.asks {
            problems.push(format!("asked {asked:?}, expected {:?}", case.expected.asks));
        }
        match Profile::parse(&case.name, &draft.toml) {
            Err(error) => problems.push(format!("{error} {:?}", std::error::Error::source(&error))),
            Ok(profile) => {
                let (readings, rejects) = read(&profile, &case.input);
                if readings != case.expected.readings.trim() {
                    let due = case.expected.readings.trim();
                    problems.push(format!("--- expected\n{due}\n--- found\n{readings}"));
                }
                if rejects.len() != case.expected.rejects {
                    problems.push(format!("rejects {rejects:#?}"));
                }
            }
        }
        if !problems.is_empty() {
            wrong.push(format!("{}: {}\n{}", case.name, problems.join("\n"), draft.toml));
        }
    }
    println!("columns right: {right} of {all} in {} files", cases.len());
    assert!(right * 100 >= all * 95, "columns right: {right} of {all}");
    assert!(wrong.is_empty(), "{} of {}:\n{}", wrong.len(), cases.len(), wrong.join("\n\n"));
}

fn read(profile: &Profile, input: &[u8]) -> (String, Vec<String>) {
    let mut stream = match Stream::open(profile, input) {
        Ok(stream) => stream,
        Err(error) => return (error.to_string(), Vec::new()),
    };
    let mut out = Parsed::default();
    stream.push(input, &mut out);
    stream.finish(&mut out);
    shown::account(&stream, &out);
    let mut rejects: Vec<String> = out.rejects.iter().map(ToString::to_string).collect();
    rejects.extend(stream.refusal().map(|refusal| format!("refused: {refusal}")));
    let told: Vec<String> = out.readings.iter().map(shown::tell_reading).collect();
    (told.join("\n"), rejects)
}

/// How an invented export writes what it says; the truth that a draft must find or ask for.
#[derive(Clone, Debug)]
struct Habit {
    decimal: char,
    thousands: bool,
    order: &'static str,
    unit: &'static str,
    /// 0: no unit anywhere, 1: in the header, 2: in the cell, 3: in a column, 4: in a units row.
    unit_in: u8,
    /// Seeds of the rows: tenths of a unit and a day of the year.
    rows: Vec<(u32, u16)>,
    digits: usize,
}

impl Habit {
    fn number(&self, tenths: u32) -> String {
        let value = f64::from(tenths) / 10_f64.powi(self.digits as i32);
        let plain = format!("{value:.*}", self.digits);
        let (whole, part) = plain.split_once('.').unwrap_or((&plain, ""));
        let mark = if self.decimal == '.' { ',' } else { '.' };
        let mut grouped = String::new();
        for (at, digit) in whole.chars().enumerate() {
            if self.thousands && at > 0 && (whole.len() - at) % 3 == 0 {
                grouped.push(mark);
            }
            grouped.push(digit);
        }
        if part.is_empty() { grouped } else { format!("{grouped}{}{part}", self.decimal) }
    }

    fn date(&self, day: u16) -> jiff::civil::Date {
        jiff::civil::date(2026, 1, 1).checked_add(jiff::Span::new().days(i64::from(day))).unwrap()
    }

    fn file(&self) -> String {
        let header =
            if self.unit_in == 1 { format!("Riso [{}]", self.unit) } else { "Riso".into() };
        let mut text = format!("Datum;Motor;Phase;{header};Einheit;Un [V]\n");
        if self.unit_in == 4 {
            text.push_str(&format!(";;;[{}];;[V]\n", self.unit));
        }
        for (tenths, day) in &self.rows {
            let date = self.date(*day);
            let date = match self.order {
                "dmy" => date.strftime("%d/%m/%Y"),
                _ => date.strftime("%m/%d/%Y"),
            };
            let cell = if self.unit_in == 2 { format!(" {}", self.unit) } else { String::new() };
            let own = if self.unit_in == 3 { self.unit } else { "" };
            let number = self.number(*tenths);
            text.push_str(&format!("{date};YT-014/drive;U;{number}{cell};{own};500\n"));
        }
        text
    }
}

fn habits() -> impl proptest::strategy::Strategy<Value = Habit> {
    use proptest::prelude::*;
    let rows = proptest::collection::vec((1_u32..9_999_999, 0_u16..364), 1..5);
    let style = (prop_oneof![Just('.'), Just(',')], any::<bool>(), 0_usize..5);
    let order = prop_oneof![Just("dmy"), Just("mdy")];
    let unit = prop_oneof![Just("kΩ"), Just("MΩ"), Just("GΩ")];
    (style, order, unit, 0_u8..5, rows).prop_map(
        |((decimal, thousands, digits), order, unit, unit_in, rows)| Habit {
            decimal,
            thousands,
            order,
            unit,
            unit_in,
            rows,
            digits,
        },
    )
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(100))]

    /// Whatever the file shows or hides: after true answers every reading that comes out is true.
    #[test]
    fn no_decimal_unit_or_order_is_wrong_in_silence(habit in habits()) {
        let file = habit.file();
        let mut told = Told::default();
        let truth = |key: &str| match key {
            "numbers.decimal" => habit.decimal.to_string(),
            "numbers.thousands" if habit.thousands => {
                if habit.decimal == '.' { ",".to_owned() } else { ".".to_owned() }
            }
            "numbers.thousands" => "none".to_owned(),
            "time.order" => habit.order.to_owned(),
            "time.zone" => "UTC".to_owned(),
            "units.resistance" => habit.unit.to_owned(),
            "resistance.top" => "none".to_owned(),
            other => panic!("asked for `{other}`:\n{file}"),
        };
        let draft = loop {
            let found = draft(file.as_bytes(), &told).unwrap();
            let Some(question) = found.questions.iter().find(|q| q.required) else { break found };
            told.answers.insert(question.key.clone(), truth(&question.key));
        };
        let profile = Profile::parse("draft", &draft.toml).unwrap();
        let mut stream = Stream::open(&profile, file.as_bytes()).unwrap();
        let mut out = Parsed::default();
        stream.push(file.as_bytes(), &mut out);
        stream.finish(&mut out);
        let first = if habit.unit_in == 4 { 3 } else { 2 };
        let factor = match habit.unit { "kΩ" => 1e3, "MΩ" => 1e6, _ => 1e9 };
        for reading in &out.readings {
            let (tenths, day) = habit.rows[(reading.place.record - first) as usize];
            let due = f64::from(tenths) / 10_f64.powi(habit.digits as i32) * factor;
            let written: f64 = match reading.resistance {
                ohmward_parsers::Resistance::Measured(ohms) => ohms,
                other => panic!("{other:?}:\n{file}"),
            };
            proptest::prop_assert!((written / due - 1.0).abs() < 1e-9, "{written} for {due}:\n{file}\n{}", draft.toml);
            let midnight = jiff::tz::Offset::UTC.to_timestamp(habit.date(day).at(0, 0, 0, 0)).unwrap();
            proptest::prop_assert_eq!(reading.taken.unwrap().micros, midnight.as_microsecond());
        }
        proptest::prop_assert_eq!(out.readings.len(), habit.rows.len(), "{}\n{:?}", file, out.rejects);
    }

    /// Arbitrary text is drafted, refused or asked about, and never a panic.
    #[test]
    fn any_text_is_no_panic(text in "[-a-zA-ZäΩ0-9.,;:/|\t\n \"'>#=()%@ü]{0,300}") {
        if let Ok(draft) = draft(text.as_bytes(), &Told::default())
            && draft.is_usable()
        {
            let parsed = Profile::parse("draft", &draft.toml);
            proptest::prop_assert!(parsed.is_ok(), "{:?}\n{}\n{}", parsed.err(), text, draft.toml);
        }
    }

    #[test]
    fn any_bytes_are_no_panic(bytes in proptest::collection::vec(proptest::prelude::any::<u8>(), 0..300)) {
        let outcome = draft(&bytes, &Told::default());
        proptest::prop_assert!(outcome.is_ok() || outcome.is_err());
    }
}
