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
