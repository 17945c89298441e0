//! What a wrong profile is told, and what a profile can be asked.

use std::error::Error;

use ohmward_parsers::{Parsed, Profile, Profiles, Recognised, Stream};

/// A profile of one of the formats with something put to it.
fn wrong(toml: &str) -> String {
    let error = Profile::parse("mine", toml).unwrap_err();
    match error.source() {
        Some(source) => format!("{error}\n{source}"),
        None => error.to_string(),
    }
}

const BASE: &str = "title = \"t\"\nformat = \"delimited\"\ncolumns.resistance = [\"R\"]\n";

#[test]
fn an_unknown_key_is_shown_at_its_line() {
    insta::assert_snapshot!(wrong(&format!("{BASE}[numbers]\ndecimel = \",\"\n")), @r#"
    profile `mine` is not written as a profile should be
    TOML parse error at line 5, column 1
      |
    5 | decimel = ","
      | ^^^^^^^
    unknown field `decimel`, expected `decimal` or `thousands`
    "#);
}

#[test]
fn values_that_cannot_be_meant() {
    let told = [
        "time.zone = \"Europe/Quay\"",
        "time.date = [\"%H:%M\"]",
        "time.taken_at = [\"%Q%Q%!\"]",
        "numbers.decimal = \";\"",
        "numbers.thousands = \".\"",
        "encoding = \"klingon\"",
        "units.resistance = \"V\"",
        "resistance.full_scale = \"550\"",
        "resistance.full_scale_is_over = true",
        "delimited.separator = \"Ω\"",
        "delimited.columns = [\"resistence\"]",
        "tagged.start = \"$\"",
    ]
    .map(|line| wrong(&format!("{BASE}{line}\n")));
    insta::assert_snapshot!(told.join("\n"), @"
    profile `mine`: expected `time.zone` to be a zone such as `Europe/Berlin`, found `Europe/Quay`
    profile `mine`: expected a pattern with a date alone in `time.date`, found `%H:%M`
    profile `mine`: expected in `time.taken_at` a time pattern with a year or an hour in it, found `%Q%Q%!`
    profile `mine`: expected `numbers.decimal` to be `.` or `,`, found `;`
    profile `mine`: expected `numbers.thousands` to be a mark other than `numbers.decimal`, found `.`
    profile `mine`: expected `encoding` to be a label such as `windows-1252`, found `klingon`
    profile `mine`: expected in `[units]` a unit such as `Ω`, `kΩ`, `MΩ`, `GOhm` (in cell, header or profile), found `V`
    profile `mine`: expected `resistance.full_scale` to be a resistance with unit such as `550 MΩ`, found `550`
    profile `mine`: expected `resistance.full_scale` beside `full_scale_is_over`, found `none`
    profile `mine`: expected `delimited.separator` to be an ASCII mark such as `;`, found `Ω`
    profile `mine`: expected a field or `_` in `delimited.columns`, found `resistence`
    profile `mine`: expected the tables of format `delimited` only, found `[tagged]`
    ");
}

#[test]
fn templates_that_cannot_be_meant() {
    let told =
        ["{resistance}{asset}", "{asset}", "{resistance", "{resistence}", "{resistance:V}", ""]
            .map(|line| {
                wrong(&format!(
                    "title = \"t\"\nformat = \"template\"\ntemplate.lines = [\"{line}\"]\n"
                ))
            });
    insta::assert_snapshot!(told.join("\n"), @"
    profile `mine`: expected something between two placeholders in `template.lines`, found `{resistance}{asset}`
    profile `mine`: expected a placeholder `{resistance}` in each of `template.lines`, found `{asset}`
    profile `mine`: expected `}` behind a placeholder, found `{resistance`
    profile `mine`: expected a placeholder of a field or `{_}`, found `resistence`
    profile `mine`: expected a unit of `resistance` in its placeholder, found `V`
    profile `mine`: expected a placeholder `{resistance}` in each of `template.lines`, found ``
    ");
}

#[test]
fn local_times_need_a_zone_from_somewhere() {
    let toml = format!("{BASE}columns.taken_at = [\"at\"]\ntime.taken_at = [\"%d.%m.%Y %H:%M\"]\n");
    let profile = Profile::parse("mine", &toml).unwrap();
    let error = Stream::open(&profile, b"").err().unwrap();
    let told = "profile `mine`: expected `time.zone` in the profile or from the caller, found `local times only`";
    assert_eq!(error.to_string(), told);
    let mut stream = Stream::open(&profile.with_zone("Europe/Berlin").unwrap(), b"").unwrap();
    let mut out = Parsed::default();
    stream.push("at,R\n01.07.2026 12:00,5 MΩ\n".as_bytes(), &mut out);
    // Central European Summer Time is UTC+2 (IANA time zone database).
    let taken = out.readings[0].taken.unwrap();
    assert_eq!(
        jiff::Timestamp::from_microsecond(taken.micros).unwrap().to_string(),
        "2026-07-01T10:00:00Z"
    );
}

#[test]
fn a_profile_is_added_without_rust() {
    let mut profiles = Profiles::builtin().unwrap();
    let toml =
        format!("{BASE}recognise.header = [\"R\", \"Where\"]\ncolumns.asset = [\"Where\"]\n");
    profiles.add("mine", &toml).unwrap();
    let Recognised::One(found) = profiles.recognise(b"Where,R (MOhm)\nCR-3,5\n") else { panic!() };
    assert_eq!((found.name(), found.format_name(), found.title()), ("mine", "delimited", "t"));
    assert_eq!(found.source(), toml);
    // The same rules under a second name: a person must choose.
    profiles.add("yours", &toml).unwrap();
    assert!(matches!(profiles.recognise(b"Where,R (MOhm)\nCR-3,5\n"), Recognised::Several(_)));
}

#[test]
fn two_digit_years_only_where_the_profile_says_so() {
    let read = |pattern: &str| {
        let toml = format!(
            "{BASE}columns.taken_at = [\"at\"]\ntime.taken_at = [\"{pattern}\"]\ntime.zone = \"UTC\"\n"
        );
        let profile = Profile::parse("mine", &toml).unwrap();
        let mut stream = Stream::open(&profile, b"").unwrap();
        let mut out = Parsed::default();
        stream.push("at,R\n02.03.26 08:15,5 MΩ\n".as_bytes(), &mut out);
        (out.readings.len(), out.rejects.len())
    };
    assert_eq!(read("%d.%m.%Y %H:%M"), (0, 1));
    assert_eq!(read("%d.%m.%y %H:%M"), (1, 0));
}
