//! What a sheet with known columns shows of units, times, marks and labels, and what it leaves open.

use super::Told;
use super::ask::{Asker, candidate};
use super::columns::{Col, Role};
use super::content::Content;
use super::labels::{Labels, labels};
use super::marks::{Marks, is_resistance, marks};
use super::numbers::{Style, number, style};
use super::sheet::{Pair, Sheet};
use super::times::{self, Patterns};
use super::units::{Decided, QUANTITIES, Units};
use super::words;
use crate::fields::Field;
use crate::piece::unit::Quantity;
use crate::profile::rules;

/// The role of a plain column of resistances.
pub(super) const RESISTANCE: Role = Role::Field(Field::Resistance);

/// Everything that a draft is written from.
pub(super) struct Found {
    pub(super) title: String,
    pub(super) encoding: Option<String>,
    pub(super) sheet: Sheet,
    pub(super) cols: Vec<Col>,
    /// Columns go by their place: no header, or one that names two columns alike.
    pub(super) by_place: bool,
    pub(super) style: Style,
    pub(super) dates: Patterns,
    /// The field that holds the dates.
    pub(super) date_field: Option<Field>,
    pub(super) clocks: Vec<String>,
    pub(super) zone: Option<String>,
    /// Quantity, unit, why.
    pub(super) units: Vec<(&'static str, String, String)>,
    pub(super) marks: Marks,
    pub(super) labels: Labels,
    /// Constant, value as TOML.
    pub(super) constants: Vec<(&'static str, String)>,
    pub(super) preamble: Vec<Pair>,
    pub(super) blocks: Vec<Pair>,
}

pub(super) fn find(
    told: &Told,
    encoding: Option<String>,
    sheet: Sheet,
    mut cols: Vec<Col>,
    contents: &[Content],
    asker: &mut Asker<'_>,
    notes: &mut Vec<String>,
) -> Found {
    let (mut preamble, mut blocks) = pairs(&sheet, &cols, notes);
    let mut by_place = sheet.header.is_empty() || names_twice(&cols);
    let style = style_of(&cols, contents, &preamble, &blocks, told.plain_numbers, asker);
    let mut units = Vec::new();
    for (kind, key, fields, choice) in QUANTITIES {
        let of = |col: &Col| {
            let one = matches!(&col.role, Role::Field(field) if fields.contains(field));
            one || (kind == Quantity::Resistance && matches!(col.role, Role::Several(_)))
        };
        let unit = Units { kind, key, choice, cols: &cols, contents, sheet: &sheet, by_place };
        let pairs = preamble.iter().chain(&blocks).filter(|pair| fields.contains(&pair.field));
        let values: Vec<&str> = pairs.map(|pair| pair.value.as_str()).collect();
        match unit.decide(&of, &values, &style, asker) {
            Decided::Nothing => {}
            Decided::Unit(text, because, overrules) => {
                by_place |= overrules;
                units.push((key, text, because));
            }
            Decided::Ignore => {
                for col in cols.iter_mut().filter(|col| of(col)) {
                    col.role = Role::Unwanted;
                }
                let keep = |pair: &Pair| !fields.contains(&pair.field);
                preamble.retain(keep);
                blocks.retain(keep);
            }
        }
    }
    let (date_field, dates, clocks) = when(&cols, contents, &preamble, &blocks, asker, notes);
    let zone = zone(&sheet, &dates, date_field, asker);
    let marks = marks(&cols, contents, &style, asker, notes);
    let labels = labels(&cols, contents, asker);
    let constants = constants(&cols, &sheet, asker);
    if by_place {
        blocks.append(&mut preamble);
    }
    if !sheet.odd.is_empty() {
        notes.push(format!(
            "{} records among the rows look like none, such as `{}`: they will be rejects",
            sheet.odd.len(),
            sheet.odd[0].trim().chars().take(60).collect::<String>()
        ));
    }
    let title = told.title.clone();
    Found {
        title,
        encoding,
        sheet,
        cols,
        by_place,
        style,
        dates,
        date_field,
        clocks,
        zone,
        units,
        marks,
        labels,
        constants,
        preamble,
        blocks,
    }
}

/// What is said once for all rows or for a block of them, where no column says it.
fn pairs(sheet: &Sheet, cols: &[Col], notes: &mut Vec<String>) -> (Vec<Pair>, Vec<Pair>) {
    let (mut preamble, mut blocks): (Vec<Pair>, Vec<Pair>) = (Vec::new(), Vec::new());
    let sheets = sheet.pairs.iter().filter(|pair| pair.key == "[sheet]").count();
    let named = sheet.pairs.iter().any(|pair| pair.field == Field::Asset && pair.key != "[sheet]");
    for pair in &sheet.pairs {
        if pair.key == "[sheet]" && (sheets < 2 || named) {
            continue;
        }
        let mut pair = pair.clone();
        let is_date = matches!(pair.field, Field::TakenAt | Field::Date);
        if is_date {
            if !times::is_date(&pair.value) {
                continue;
            }
            let whole = times::has_clock(&pair.value);
            pair.field = if whole { Field::TakenAt } else { Field::Date };
        }
        let has = |field| cols.iter().any(|col| col.role == Role::Field(field));
        let said = has(pair.field)
            || (is_date && (has(Field::Date) || has(Field::TakenAt)))
            || (pair.field.quantity().is_some() && number(&pair.value).is_none())
            || (pair.field == Field::Remark && !pair.within);
        if said {
            continue;
        }
        let again = |other: &&Pair| other.field == pair.field && other.within;
        if pair.within || sheet.pairs.iter().any(|other| again(&other)) {
            blocks.push(pair);
        } else if !preamble.iter().any(|other| other.field == pair.field) {
            notes.push(format!("`{}: {}` holds for all rows", pair.key, pair.value));
            preamble.push(pair);
        }
    }
    (preamble, blocks)
}

/// Whether two columns that are used have one name.
fn names_twice(cols: &[Col]) -> bool {
    let used: Vec<String> = cols
        .iter()
        .filter(|col| {
            matches!(col.role, Role::Field(field) if field != Field::Remark)
                || matches!(col.role, Role::Several(_))
        })
        .map(|col| words::plain(&super::sheet::bare(&col.name)))
        .collect();
    let all: Vec<String> =
        cols.iter().map(|col| words::plain(&super::sheet::bare(&col.name))).collect();
    let several = cols.iter().any(|col| matches!(col.role, Role::Several(_)));
    !several && used.iter().any(|name| all.iter().filter(|other| *other == name).count() > 1)
}

fn style_of(
    cols: &[Col],
    contents: &[Content],
    preamble: &[Pair],
    blocks: &[Pair],
    plain: bool,
    asker: &mut Asker<'_>,
) -> Style {
    let is_number = |role: &Role| match role {
        Role::Several(_) => true,
        Role::Field(field) => field.quantity().is_some(),
        _ => false,
    };
    let cells = cols
        .iter()
        .zip(contents)
        .filter(|(col, _)| is_number(&col.role))
        .flat_map(|(_, content)| content.distinct.iter().map(String::as_str));
    let pairs = preamble.iter().chain(blocks).filter(|pair| pair.field.quantity().is_some());
    let all = cells.chain(pairs.map(|pair| pair.value.as_str()));
    let numbers: Vec<&str> = all.filter_map(|cell| Some(number(cell)?.digits)).collect();
    style(numbers.into_iter(), plain, asker)
}

/// The field with the dates, their patterns, and the patterns of clocks.
fn when(
    cols: &[Col],
    contents: &[Content],
    preamble: &[Pair],
    blocks: &[Pair],
    asker: &mut Asker<'_>,
    notes: &mut Vec<String>,
) -> (Option<Field>, Patterns, Vec<String>) {
    let texts = |field: Field| -> Vec<&str> {
        let cells = cols.iter().zip(contents).filter(|(col, _)| col.role == Role::Field(field));
        let pairs = preamble.iter().chain(blocks).filter(|pair| pair.field == field);
        cells
            .flat_map(|(_, content)| content.distinct.iter().map(String::as_str))
            .chain(pairs.map(|pair| pair.value.as_str()))
            .collect()
    };
    let field = [Field::TakenAt, Field::Date].into_iter().find(|f| !texts(*f).is_empty());
    let Some(field) = field else {
        if !asker.questions.iter().any(|q| q.key == "columns.date" || q.key == "columns.taken_at") {
            notes.push(
                "the file says nothing of when: say it at import (`--taken`), else the time of \
                 arrival counts, with a flag"
                    .to_owned(),
            );
        }
        return (None, Patterns::default(), Vec::new());
    };
    let patterns = times::patterns(texts(field).into_iter(), asker);
    let clocks = times::clocks(texts(Field::Time).into_iter());
    (Some(field), patterns, clocks)
}

/// The zone of local times: a file never says it, so a person must.
fn zone(
    sheet: &Sheet,
    dates: &Patterns,
    field: Option<Field>,
    asker: &mut Asker<'_>,
) -> Option<String> {
    if field.is_none() || !dates.is_local {
        return None;
    }
    let all =
        [sheet.header_line.as_str()].into_iter().chain(sheet.preamble.iter().map(String::as_str));
    let utc = all.into_iter().any(|text| {
        ["UTC", "GMT"]
            .iter()
            .any(|word| words::has_words(&words::plain(text), &word.to_lowercase()))
    });
    let mut hints = vec![candidate("Europe/Berlin", "for example; any name of the IANA table")];
    if utc {
        hints.insert(0, candidate("UTC", "the file speaks of UTC"));
    }
    let unsure = "the times have no offset: in which zone was the clock of the tester";
    let expected = "a zone such as `Europe/Berlin` or `UTC`";
    asker.ask_for("time.zone", unsure, hints, expected, |text| rules::zone(text).is_some())
}

/// What a person may say once for all rows.
fn constants(cols: &[Col], sheet: &Sheet, asker: &mut Asker<'_>) -> Vec<(&'static str, String)> {
    let mut out = Vec::new();
    let has = |field: Field| {
        cols.iter().any(|col| col.role == Role::Field(field))
            || sheet.pairs.iter().any(|pair| pair.field == field)
    };
    let parts = cols.iter().find(|col| col.role == RESISTANCE).and_then(|col| col.parts.clone());
    let several = |of: fn(&super::several::Parts) -> bool| {
        let mut found = cols.iter().filter_map(|col| match &col.role {
            Role::Several(parts) => Some(of(parts)),
            _ => None,
        });
        found.next().is_some_and(|first| first && found.all(|other| other))
    };
    let text = |text: &str| toml::Value::String(text.to_owned()).to_string();
    let any = |_: &str| true;
    match parts.as_ref().and_then(|p| p.phase.as_deref()) {
        Some(phase) => out.push(("phase", text(phase))),
        None if !has(Field::Phase)
            && !several(|p| p.phase.is_some())
            && cols.iter().any(is_resistance) =>
        {
            let unsure = "no column says which phase was on the lead: what holds for all rows";
            let hints = vec![candidate("all", "the windings together against the case")];
            if let Some(answer) = asker.may_say("constants.phase", unsure, hints, "a phase", any) {
                out.push(("phase", text(&answer)));
            }
        }
        None => {}
    }
    if let Some(against) =
        parts.as_ref().and_then(|p| p.against.as_deref()).filter(|a| *a != "case")
    {
        out.push(("against", text(against)));
    }
    match parts.as_ref().and_then(|p| p.volts) {
        Some(volts) => out.push(("test_voltage_v", format!("{volts:?}"))),
        None if !has(Field::TestVoltage) && !several(|p| p.volts.is_some()) => {
            let unsure = "no column says the test voltage: what holds for all rows, in volts";
            let fits = |text: &str| text.parse::<f64>().is_ok_and(|volts| volts > 0.0);
            let answer = asker.may_say(
                "constants.test_voltage_v",
                unsure,
                Vec::new(),
                "volts such as `500`",
                fits,
            );
            if let Some(volts) = answer.and_then(|text| text.parse::<f64>().ok()) {
                out.push(("test_voltage_v", format!("{volts:?}")));
            }
        }
        None => {}
    }
    if let Some(seconds) = parts.and_then(|p| p.duration_s) {
        out.push(("duration_s", format!("{seconds:?}")));
    }
    if let Some(col) = cols.iter().find(|col| col.role == Role::Field(Field::Temperature)) {
        let of = words::temperature_of(&col.name).map(str::to_owned).or_else(|| {
            let unsure = format!("what `{}` is the temperature of", col.name);
            let hints = vec![
                candidate("winding", "measured on or in the machine"),
                candidate("ambient", "the air around; it may differ from the winding by much"),
            ];
            let fits = |text: &str| matches!(text, "winding" | "ambient");
            let expected = "`winding` or `ambient`";
            asker.may_say("constants.temperature_of", &unsure, hints, expected, fits)
        });
        out.extend(of.map(|of| ("temperature_of", text(&of))));
    }
    out
}
