//! Every profile against its fixtures: `fixtures/profiles/<profile>/<case>/{input.*,expected.txt}`.
//!
//! Each input is read whole, byte by byte and in odd chunks: the outcome must be the same, and
//! every record must be accounted for.

use std::path::Path;

use crate::shown;
use ohmward_parsers::{HEAD_BYTES, Profiles, Recognised};

#[test]
fn every_case_gives_what_is_expected() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/profiles");
    let profiles = Profiles::builtin().unwrap();
    let mut wrong = Vec::new();
    let mut cases = 0;
    for folder in folders(&root) {
        let name = folder.file_name().unwrap().to_str().unwrap().to_owned();
        let profile = profiles.get(&name).unwrap_or_else(|| panic!("no profile `{name}`"));
        for case in folders(&folder) {
            let input = files(&case).into_iter().find(|f| f.file_stem().unwrap() == "input");
            let input =
                std::fs::read(input.unwrap_or_else(|| panic!("no input in {case:?}"))).unwrap();
            let recognised = match profiles.recognise(&input) {
                Recognised::One(profile) => profile.name().to_owned(),
                Recognised::Several(all) => format!("{:?}", all),
                other => format!("{other:?}").to_lowercase(),
            };
            let found = format!("recognised: {recognised}\n{}", shown::check(profile, &input));
            let expected = std::fs::read_to_string(case.join("expected.txt")).unwrap_or_default();
            cases += 1;
            if found != expected {
                wrong.push(format!(
                    "{}\n--- expected\n{expected}--- found\n{found}",
                    case.display()
                ));
            }
            assert!(input.len() <= HEAD_BYTES, "a fixture is small");
        }
    }
    assert!(wrong.is_empty(), "{} of {cases} cases:\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn every_profile_has_a_fixture_and_words_for_a_person() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/profiles");
    for profile in Profiles::builtin().unwrap().iter() {
        assert!(root.join(profile.name()).is_dir(), "no fixture of `{}`", profile.name());
        assert!(!profile.title().is_empty() && !profile.about().is_empty(), "{}", profile.name());
    }
}

#[test]
fn every_format_has_a_profile_and_words_for_a_person() {
    let profiles = Profiles::builtin().unwrap();
    for (name, about) in ohmward_parsers::formats() {
        assert!(
            profiles.iter().any(|profile| profile.format_name() == name),
            "no profile of `{name}`"
        );
        assert!(about.len() > 20, "{name}");
    }
}

fn folders(path: &Path) -> Vec<std::path::PathBuf> {
    files(path).into_iter().filter(|path| path.is_dir()).collect()
}

fn files(path: &Path) -> Vec<std::path::PathBuf> {
    let mut files: Vec<_> = std::fs::read_dir(path).unwrap().map(|f| f.unwrap().path()).collect();
    files.sort();
    files
}
