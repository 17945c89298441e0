//! Damaged and hostile input: nothing panics, nothing is lost, nothing takes over.

use crate::shown;
use ohmward_parsers::{
    HEAD_BYTES, Parsed, Profile, Profiles, RECORD_BYTES, REJECT_BYTES, Recognised, Stream,
    json_array,
};
use proptest::prelude::*;

const HEADER: &str = "taken_at,asset,phase,resistance_ohm,remark\n";

fn profile(name: &str) -> Profile {
    Profiles::builtin().unwrap().get(name).unwrap().clone()
}

fn read(name: &str, input: &[u8], size: usize) -> Parsed {
    let profile = profile(name);
    let mut stream = Stream::open(&profile, &input[..input.len().min(HEAD_BYTES)]).unwrap();
    let mut out = Parsed::default();
    for chunk in input.chunks(size) {
        stream.push(chunk, &mut out);
    }
    stream.finish(&mut out);
    shown::account(&stream, &out);
    out
}

#[test]
fn a_huge_line_is_one_reject_and_the_next_line_a_reading() {
    let row = "2026-03-02T08:15:00Z,YT-1,U,5e8,";
    let huge = 5_000_000;
    let mut input = format!("{HEADER}{row}{}\r\n", "x".repeat(huge - row.len())).into_bytes();
    input.extend_from_slice(format!("{row}fine\n").as_bytes());
    for size in [1000, 65_536, input.len()] {
        let out = read("canonical", &input, size);
        assert_eq!(out.readings.len(), 1);
        assert_eq!(out.readings[0].place.record, 3);
        assert_eq!(out.readings[0].place.offset, (HEADER.len() + huge + 2) as u64);
        let [reject] = &out.rejects[..] else { panic!("{:?}", out.rejects.len()) };
        assert_eq!((reject.kind, reject.place.len), ("too long", huge as u64));
        assert_eq!(reject.place.offset, HEADER.len() as u64);
        assert_eq!(reject.bytes.len(), REJECT_BYTES);
        assert!(reject.bytes.starts_with(row.as_bytes()));
    }
}

#[test]
fn the_cap_is_exact() {
    let row = "2026-03-02T08:15:00Z,YT-1,U,5e8,";
    for (len, readings) in [(RECORD_BYTES, 2), (RECORD_BYTES + 1, 1)] {
        for end in ["\n", "\r\n"] {
            let long = format!("{row}{}", "x".repeat(len - row.len()));
            let input = format!("{HEADER}{long}{end}{row}fine{end}");
            for size in [1, 999, input.len()] {
                assert_eq!(
                    read("canonical", input.as_bytes(), size).readings.len(),
                    readings,
                    "{len}"
                );
            }
        }
    }
}

#[test]
fn an_open_quote_costs_its_line_only() {
    let row = "2026-03-02T08:15:00Z,YT-1,U,5e8,plain\n";
    let rows = 10_000;
    let open = "2026-03-02T08:15:00Z,YT-1,U,5e8,\"never closed\n";
    let input = format!("{HEADER}{row}{open}{}", row.repeat(rows));
    for size in [4096, input.len()] {
        let out = read("canonical", input.as_bytes(), size);
        assert_eq!(out.readings.len(), rows + 1);
        assert_eq!(out.rejects.len(), 1);
        assert_eq!((out.rejects[0].kind, out.rejects[0].place.record), ("quote", 3));
    }
    // At the end of the stream, too.
    let input = format!("{HEADER}{open}{row}");
    let out = read("canonical", input.as_bytes(), 100);
    assert_eq!((out.readings.len(), out.rejects.len()), (1, 1));
}

#[test]
fn a_line_end_inside_quotes_belongs_to_the_remark() {
    let input =
        format!("{HEADER}2026-03-02T08:15:00Z,YT-1,U,5e8,\"one\r\ntwo \"\"2\"\"\nthree\"\r\n");
    for size in 1..input.len() {
        let out = read("canonical", input.as_bytes(), size);
        assert_eq!(out.readings[0].remark, "one\r\ntwo \"2\"\nthree", "chunks of {size}");
    }
}

#[test]
fn utf_16_is_the_same_text_at_the_same_places() {
    let text = format!(
        "{HEADER}2026-03-02T08:15:00Z,YT-1,U,5e8,\"grün\nΩ\"\r\n\r2026-03-02T08:16:00Z,YT-1,V,5e8,x"
    );
    let plain = read("canonical", text.as_bytes(), 64);
    let units: Vec<u16> = text.encode_utf16().collect();
    let little: Vec<u8> = units.iter().flat_map(|unit| unit.to_le_bytes()).collect();
    let big: Vec<u8> = units.iter().flat_map(|unit| unit.to_be_bytes()).collect();
    let marked: Vec<u8> = [b"\xff\xfe".as_slice(), &little].concat();
    for (bytes, shift) in [(&little, 0), (&big, 0), (&marked, 2)] {
        for size in [1, 3, 64] {
            let wide = read("canonical", bytes, size);
            assert_eq!(wide.readings.len(), 2);
            for (wide, plain) in wide.readings.iter().zip(&plain.readings) {
                assert_eq!((&wide.remark, wide.place.record), (&plain.remark, plain.place.record));
            }
            let place = wide.readings[0].place;
            assert_eq!(place.offset, (HEADER.len() * 2 + shift) as u64);
        }
    }
}

#[test]
fn binary_is_said_to_be_binary() {
    // The first bytes of a zip archive: APPNOTE.TXT, 4.3.7, local file header.
    let mut zip = b"PK\x03\x04\x14\0\0\0\x08\0\0\0!\0".to_vec();
    zip.extend((0..5000_u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 24) as u8));
    let profiles = Profiles::builtin().unwrap();
    assert!(matches!(profiles.recognise(&zip), Recognised::Binary));
    let error = Stream::open(&profile("canonical"), &zip).err().unwrap();
    assert!(error.to_string().contains("binary"), "{error}");
}

#[test]
fn a_tail_of_zeros_is_not_a_million_rejects() {
    let row = "2026-03-02T08:15:00Z,YT-1,U,5e8,\n";
    let mut input = format!("{HEADER}{}", row.repeat(30)).into_bytes();
    input.extend(std::iter::repeat_n([0, 0, 0, b'\n'], 100_000).flatten());
    let out = read("canonical", &input, 4096);
    assert_eq!((out.readings.len(), out.rejects.len()), (30, 2));
    assert_eq!(out.rejects[1].place.offset + out.rejects[1].place.len, input.len() as u64 - 1);
}

#[test]
fn a_short_file_that_lost_its_end_to_zeros_is_read() {
    let mut input = format!("{HEADER}2026-03-02T08:15:00Z,YT-1,U,5e8,\n").into_bytes();
    input.extend([0; 4096]);
    let out = read("canonical", &input, 512);
    assert_eq!((out.readings.len(), out.rejects.len()), (1, 1));
    assert_eq!((out.rejects[0].kind, out.rejects[0].place.len), ("binary", 4096));
}

#[test]
fn the_encoding_is_decided_by_the_first_line_that_needs_one() {
    // The head is ASCII; windows-1252 comes later, as `ü` = 0xFC (WHATWG index windows-1252).
    let mut input = HEADER.as_bytes().to_vec();
    for _ in 0..3000 {
        input.extend_from_slice(b"2026-03-02T08:15:00Z,YT-1,U,5e8,plain\n");
    }
    assert!(input.len() > HEAD_BYTES);
    input.extend_from_slice(b"2026-03-02T08:15:00Z,YT-1,U,5e8,gr\xfcn und sch\xf6n\n");
    let out = read("canonical", &input, 1000);
    assert_eq!(out.rejects, []);
    assert_eq!(out.readings.last().unwrap().remark, "grün und schön");
}

#[test]
fn json_arrays_reject_by_element() {
    let text = br#" [ {"taken_at":"2026-03-02T08:15:00Z","asset":"YT-1","phase":"U","resistance_ohm":5e8, "x":1},
        7, {"taken_at":"2026-03-02T08:15:00","asset":"YT-1","phase":"U","resistance_ohm":5e8} ] "#;
    let mut out = Parsed::default();
    let warnings = json_array(text, &mut out).unwrap();
    assert_eq!(warnings, ["key `x` is not known: kept in the raw record only"]);
    assert_eq!(out.readings.len(), 1);
    let told: Vec<_> =
        out.rejects.iter().map(|r| (r.place.record, r.kind, r.field.as_str())).collect();
    assert_eq!(told, [(2, "json", ""), (3, "time", "taken_at")]);
    let place = out.rejects[1].place;
    let bytes = &text[place.offset as usize..(place.offset + place.len) as usize];
    assert_eq!(bytes, &out.rejects[1].bytes[..]);
    assert!(json_array(b"{", &mut out).is_err());
}

#[test]
fn one_record_makes_no_flood() {
    let out = read("quay-scpi", &[b';'; 60_000], 1000);
    assert_eq!((out.readings.len(), out.rejects.len()), (0, 1));
    let keys: String = (0..5000).map(|n| format!("\"k{n}\":1,")).collect();
    let out = read("canonical-jsonl", format!("{{{keys}\"asset\":1}}\n").as_bytes(), 1000);
    assert_eq!(out.rejects.len(), 1);
    assert!(out.rejects[0].expected.contains("more than 51 keys"), "{}", out.rejects[0]);
}

/// Pieces that make lines look as if they meant it.
fn piece() -> impl Strategy<Value = Vec<u8>> {
    let words = [
        "taken_at,asset,phase,resistance_ohm",
        "Datum;Uhrzeit;Prüfling;Messstelle;Riso",
        "\n",
        "\r\n",
        "\r",
        "\"",
        ",",
        ";",
        "\t",
        "=",
        "*",
        "$Q,",
        "{",
        "}",
        "\"asset\":",
        "2026-03-02T08:15:00Z",
        "02.03.2026",
        "25.10.2026;02:30",
        "5e8",
        ">",
        "<",
        "OL",
        "MΩ",
        "4M7",
        "1.234,5",
        "-",
        "9.91E37",
        "BENCH ",
        " at ",
        "2026/03/02 08:15:00 BENCH b2 <YT 014> U: ",
        "\0",
        "\u{feff}",
        "Machine\tTested on\tU-frame",
    ];
    prop_oneof![
        6 => proptest::sample::select(words.to_vec()).prop_map(|word| word.as_bytes().to_vec()),
        1 => proptest::collection::vec(any::<u8>(), 0..6),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn any_bytes_in_any_chunks_give_one_result(
        pieces in proptest::collection::vec(piece(), 0..40),
        size in 1..40_usize,
    ) {
        let input = pieces.concat();
        let profiles = Profiles::builtin().unwrap();
        let _recognised = profiles.recognise(&input);
        for profile in profiles.iter() {
            let whole = shown::read(profile, &input, input.len().max(1));
            prop_assert_eq!(shown::read(profile, &input, size), whole, "profile {}", profile.name());
        }
    }

    #[test]
    fn json_arrays_of_any_bytes(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
        let _outcome = json_array(&bytes, &mut Parsed::default());
    }

    #[test]
    fn any_toml_is_a_profile_or_an_error(text in "[a-z_=\\[\\]\" \n{}%:.]{0,200}") {
        let _outcome = Profile::parse("any", &text);
    }
}
