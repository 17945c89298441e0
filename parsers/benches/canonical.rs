//! How fast the canonical CSV parses on one core: `cargo bench -p ohmward-parsers`.

use std::io::Write;
use std::time::Instant;

use ohmward_parsers::{Parsed, Profiles, Stream};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut text = b"taken_at,asset,phase,against,setup,resistance_ohm,bound,test_voltage_v,\
delivered_voltage_v,duration_s,temperature_c,temperature_of,humidity_pct,tester,operator,station,\
remark\n"
        .to_vec();
    let rows = 1_000_000;
    for row in 0..rows {
        let (asset, phase) = (row % 9973, ["U", "V", "W"][row % 3]);
        let (day, hour, minute) = (row % 28 + 1, row % 24, row % 60);
        writeln!(
            text,
            "2026-03-{day:02}T{hour:02}:{minute:02}:00Z,YT-{asset:05}/drive,{phase},case,,{}.5e3,=,500,\
             512.5,60,21.5,winding,45,QH-7,Ada,bench-1,",
            row % 900_000 + 1000
        )?;
    }
    let profiles = Profiles::builtin()?;
    let profile = profiles.get("canonical").ok_or("no canonical profile")?;
    let mut out = Parsed::default();
    for _ in 0..5 {
        let start = Instant::now();
        let mut stream = Stream::open(profile, &text[..65_536])?;
        let mut readings = 0;
        for chunk in text.chunks(256 * 1024) {
            stream.push(chunk, &mut out);
            readings += out.readings.len();
            out.readings.clear();
        }
        stream.finish(&mut out);
        let seconds = start.elapsed().as_secs_f64();
        writeln!(
            std::io::stdout(),
            "{readings} readings, {:.2} M rows/s, {:.0} MB/s",
            f64::from(rows as u32) / seconds / 1e6,
            text.len() as f64 / seconds / 1e6
        )?;
    }
    Ok(())
}
