//! Which column is which: by its name first, held against what stands in it.

use super::ask::{Asker, candidate};
use super::content::Content;
use super::several::{self, Parts};
use super::sheet::{Sheet, bare};
use super::times;
use super::words::{self, Known};
use crate::fields::Field;
use crate::header::split_unit;
use crate::piece::unit::{Quantity, unit};

/// What a column is for.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Role {
    Field(Field),
    /// One of several resistances in a row.
    Several(Parts),
    /// Known, and nothing that a reading holds.
    Unwanted,
    Unknown,
}

/// One column of the table.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Col {
    /// As the header has it; by its place where there is no header.
    pub(super) name: String,
    pub(super) role: Role,
    /// A unit in the header, whatever it is of.
    pub(super) unit: Option<String>,
    /// What the name of a single resistance says of all its readings.
    pub(super) parts: Option<Parts>,
}

/// The columns of a sheet with their contents.
pub(super) fn columns(
    sheet: &Sheet,
    asker: &mut Asker<'_>,
    notes: &mut Vec<String>,
) -> (Vec<Col>, Vec<Content>) {
    let contents: Vec<Content> =
        (0..sheet.width()).map(|at| Content::of(sheet.column(at))).collect();
    let mut cols: Vec<Col> = (0..sheet.width()).map(|at| named(sheet, at)).collect();
    overrule(&mut cols, asker);
    several_of_a_row(&mut cols, &contents);
    by_name(&mut cols, &contents, asker, notes);
    by_content(&mut cols, &contents, sheet, asker, notes);
    unit_columns(&mut cols, &contents);
    (cols, contents)
}

fn named(sheet: &Sheet, at: usize) -> Col {
    let name = match sheet.header.get(at).map(String::as_str) {
        None => format!("column {}", at + 1),
        Some(name) => name.to_owned(),
    };
    let under = sheet.units.as_ref().and_then(|units| units.get(at));
    let under = under.map(|text| text.trim_matches(['[', ']', '(', ')']).trim().to_owned());
    let unit = under.filter(|text| super::sheet::is_any_unit(text)).or_else(|| unit_in(&name));
    Col { name, role: Role::Unknown, unit, parts: None }
}

/// The unit that a header's cell states: behind the name, or as its last word, or alone.
fn unit_in(name: &str) -> Option<String> {
    let is_unit = |text: &&str| super::sheet::is_any_unit(text);
    if let Some(behind) = split_unit(name).1.filter(is_unit) {
        return Some(behind.to_owned());
    }
    let last = name.rsplit([' ', '_']).next().filter(is_unit)?;
    // A single letter behind a name is a phase or a part of it as likely as a unit.
    let sure = last.chars().count() > 1 || last.contains(['Ω', '°', '%']);
    sure.then(|| last.to_owned())
}

/// Columns that a person named in an answer.
fn overrule(cols: &mut [Col], asker: &mut Asker<'_>) {
    for field in Field::all() {
        let key = format!("columns.{}", field.name());
        let names: Vec<String> = cols.iter().map(|col| col.name.clone()).collect();
        let known = |answer: &str| answer == "none" || names.iter().any(|name| name == answer);
        let Some(answer) = asker.overruled(&key, "the name of a column", known) else { continue };
        if let Some(col) = cols.iter_mut().find(|col| col.name == answer) {
            col.role = Role::Field(field);
        }
    }
}

fn is_taken(cols: &[Col], field: Field) -> bool {
    cols.iter().any(|col| col.role == Role::Field(field))
}

/// Columns of which a row has several; a single one is the resistance, and its name tells of it.
fn several_of_a_row(cols: &mut [Col], contents: &[Content]) {
    if is_taken(cols, Field::Resistance) {
        return;
    }
    let candidates: Vec<(usize, Parts)> = cols
        .iter()
        .enumerate()
        .filter(|(at, col)| {
            let empty = contents[*at].filled == 0;
            col.role == Role::Unknown && (contents[*at].can_be_measured() || empty)
        })
        .filter_map(|(at, col)| Some((at, several::parts(&col.name)?)))
        .collect();
    // A voltage's column may be called `U`, a temperature's `T`: letters count as a family only.
    let parts: Vec<&Parts> = candidates.iter().map(|(_, parts)| parts).collect();
    if several::go_together(&parts) {
        for (at, parts) in candidates {
            cols[at].role = Role::Several(parts);
        }
        return;
    }
    let sure: Vec<&(usize, Parts)> = candidates
        .iter()
        .filter(|(_, p)| p.is_resistance || p.against.is_some() || p.duration_s.is_some())
        .collect();
    let parts: Vec<&Parts> = sure.iter().map(|(_, parts)| parts).collect();
    if several::go_together(&parts) {
        for (at, parts) in sure {
            cols[*at].role = Role::Several(parts.clone());
        }
    } else if let [(at, parts)] = &sure[..]
        && parts.is_resistance
    {
        cols[*at].role = Role::Field(Field::Resistance);
        cols[*at].parts = Some(parts.clone());
    }
}

/// Names in the order of how well they are known.
fn by_name(cols: &mut [Col], contents: &[Content], asker: &mut Asker<'_>, notes: &mut Vec<String>) {
    let has_several = cols.iter().any(|col| matches!(col.role, Role::Several(_)));
    let mut claims: Vec<(Known, usize, Field)> = Vec::new();
    for (at, col) in cols.iter_mut().enumerate() {
        if col.role != Role::Unknown {
            continue;
        }
        let name = bare(&col.name);
        if words::is_unwanted(&name) {
            col.role = Role::Unwanted;
            continue;
        }
        let mut fields = words::fields(&name);
        if fields.is_empty() {
            fields = words::fields(&col.name);
        }
        if fields.is_empty() {
            fields.extend(by_unit(&name).map(|field| (field, Known::Within(1))));
        }
        // `Time (s)` is how long, not when.
        let is_duration =
            col.unit.as_deref().is_some_and(|u| unit(Quantity::Duration, u).is_some());
        if is_duration && fields.iter().any(|(field, _)| *field == Field::Time) {
            fields = vec![(Field::Duration, Known::Whole)];
        }
        for (field, known) in fields {
            let empty = contents[at].filled == 0;
            let text = matches!(
                field,
                Field::Asset
                    | Field::Phase
                    | Field::Remark
                    | Field::Operator
                    | Field::Tester
                    | Field::Station
                    | Field::Setup
                    | Field::Against
            );
            if (empty && text) || (!empty && contents[at].fits(field, col.unit.as_deref())) {
                let field = match field {
                    Field::Duration
                        if contents[at].distinct.iter().all(|c| times::is_half_day(c)) =>
                    {
                        Field::Time
                    }
                    // What has a date and a clock in it is the whole time, whatever it is called.
                    Field::Date | Field::Time | Field::TakenAt if contents[at].is_date() => {
                        if contents[at].has_clock {
                            Field::TakenAt
                        } else {
                            Field::Date
                        }
                    }
                    field => field,
                };
                if !(has_several && field == Field::Resistance) {
                    claims.push((known, at, field));
                }
            }
        }
    }
    // The winding's own temperature counts before the air's.
    let winding = |claim: &(Known, usize, Field)| {
        claim.2 == Field::Temperature
            && words::temperature_of(&cols[claim.1].name) == Some("winding")
    };
    let keys: Vec<bool> = claims.iter().map(winding).collect();
    let mut order: Vec<usize> = (0..claims.len()).collect();
    order.sort_by(|a, b| {
        (keys[*b], claims[*b].0, claims[*a].1).cmp(&(keys[*a], claims[*a].0, claims[*b].1))
    });
    let must = [Field::Resistance, Field::Asset, Field::TakenAt, Field::Date, Field::Phase];
    for claim in order {
        let (known, at, field) = claims[claim];
        if cols[at].role != Role::Unknown {
            continue;
        }
        if field == Field::Remark {
            cols[at].role = Role::Field(field);
            continue;
        }
        if is_taken(cols, field) {
            continue;
        }
        let rivals: Vec<usize> = claims
            .iter()
            .filter(|(k, other, f)| {
                *f == field && *k == known && cols[*other].role == Role::Unknown
            })
            .map(|(_, other, _)| *other)
            .collect();
        if rivals.len() > 1 && must.contains(&field) {
            let unsure = format!("{} columns could be the `{}`", rivals.len(), field.name());
            ask_column(cols, contents, field, &rivals, &unsure, false, asker);
            // Asked: none of them is anything else.
            rivals.iter().for_each(|rival| {
                if cols[*rival].role == Role::Unknown {
                    cols[*rival].role = Role::Unwanted;
                }
            });
            continue;
        }
        cols[at].role = Role::Field(field);
        for other in rivals.iter().filter(|other| **other != at) {
            notes.push(format!(
                "`{}` is taken for the {}, `{}` is left aside",
                cols[at].name,
                field.name(),
                cols[*other].name
            ));
        }
    }
}

/// A header's cell that is a unit and nothing else.
fn by_unit(name: &str) -> Option<Field> {
    if unit(Quantity::Resistance, name).is_some() && name.chars().count() > 1 {
        return Some(Field::Resistance);
    }
    match name {
        "V" | "kV" | "Volt" | "VDC" => Some(Field::TestVoltage),
        "s" | "sec" | "min" => Some(Field::Duration),
        "°C" | "°F" => Some(Field::Temperature),
        "%" | "%RH" | "%rH" => Some(Field::Humidity),
        _ => None,
    }
}

/// Which column is a field: one of these, or none.
fn ask_column(
    cols: &mut [Col],
    contents: &[Content],
    field: Field,
    among: &[usize],
    unsure: &str,
    none: bool,
    asker: &mut Asker<'_>,
) {
    let sample = |at: usize| {
        let values: Vec<_> =
            contents[at].distinct.iter().take(3).map(|v| format!("`{v}`")).collect();
        values.join(", ")
    };
    let mut candidates: Vec<_> =
        among.iter().map(|at| candidate(&cols[*at].name, &sample(*at))).collect();
    if none {
        candidates.push(candidate("none", "no column of the file"));
    }
    if let Some(answer) = asker.ask(&format!("columns.{}", field.name()), unsure, candidates)
        && let Some(at) = among.iter().find(|at| cols[**at].name == answer)
    {
        cols[*at].role = Role::Field(field);
    }
}

/// What names left open: columns whose content allows one use only, and questions for the rest.
fn by_content(
    cols: &mut [Col],
    contents: &[Content],
    sheet: &Sheet,
    asker: &mut Asker<'_>,
    notes: &mut Vec<String>,
) {
    let free = |cols: &[Col], fits: &dyn Fn(&Content) -> bool| -> Vec<usize> {
        (0..cols.len())
            .filter(|at| cols[*at].role == Role::Unknown && contents[*at].filled > 0)
            .filter(|at| fits(&contents[*at]))
            .collect()
    };
    let has = |cols: &[Col], field| {
        is_taken(cols, field) || sheet.pairs.iter().any(|pair| pair.field == field)
    };
    let mut take = |cols: &mut [Col], at: usize, field: Field| {
        cols[at].role = Role::Field(field);
        if !sheet.header.is_empty() {
            let name = &cols[at].name;
            notes.push(format!("`{name}` is taken for the {} by what stands in it", field.name()));
        }
    };
    let has_several = cols.iter().any(|col| matches!(col.role, Role::Several(_)));
    let asked = |asker: &Asker<'_>, field: Field| {
        asker.questions.iter().any(|q| q.key == format!("columns.{}", field.name()))
    };
    if !has(cols, Field::TakenAt)
        && !has(cols, Field::Date)
        && !asked(asker, Field::Date)
        && !asked(asker, Field::TakenAt)
    {
        let dates = free(cols, &Content::is_date);
        match dates[..] {
            [] => {}
            [only] => {
                let field = if contents[only].has_clock { Field::TakenAt } else { Field::Date };
                take(cols, only, field);
            }
            _ => {
                let field = if contents[dates[0]].has_clock { Field::TakenAt } else { Field::Date };
                let unsure = "several columns hold dates: which is the time of the test";
                ask_column(cols, contents, field, &dates, unsure, true, asker);
            }
        }
    }
    if has(cols, Field::Date)
        && !has(cols, Field::Time)
        && !has(cols, Field::TakenAt)
        && let [only] = free(cols, &Content::is_clock)[..]
    {
        take(cols, only, Field::Time);
    }
    if !has_several && !is_taken(cols, Field::Resistance) && !asked(asker, Field::Resistance) {
        let with_unit = free(cols, &|content: &Content| {
            content.is_measured() && content.share(content.ohms) > 0.3
        });
        let any = free(cols, &Content::is_measured);
        match (&with_unit[..], &any[..]) {
            ([only], _) => take(cols, *only, Field::Resistance),
            (_, []) => {}
            _ => {
                let unsure = "no column has a name that is known for a resistance";
                ask_column(cols, contents, Field::Resistance, &any, unsure, false, asker);
            }
        }
    }
    if !has_several && !has(cols, Field::Phase) {
        let labels = free(cols, &|content: &Content| content.share(content.phases) > 0.9);
        if let [only] = labels[..] {
            take(cols, only, Field::Phase);
        }
    }
    if !has(cols, Field::TestVoltage) {
        let volts = free(cols, &|content: &Content| content.share(content.volts) > 0.9);
        if let [only] = volts[..] {
            take(cols, only, Field::TestVoltage);
        }
    }
    let blocks =
        sheet.pairs.iter().filter(|pair| pair.field == Field::Asset && pair.key != "[sheet]");
    let sheets = sheet.pairs.iter().filter(|pair| pair.key == "[sheet]").count();
    if !is_taken(cols, Field::Asset)
        && blocks.count() == 0
        && sheets < 2
        && !asked(asker, Field::Asset)
    {
        let texts = free(cols, &|content: &Content| {
            !content.is_date()
                && !content.is_clock()
                && content.share(content.units) < 0.5
                && content.share(content.ohms) < 0.3
                && content.share(content.volts) < 0.9
        });
        if !texts.is_empty() {
            let unsure = "no column has a name that is known for the asset";
            ask_column(cols, contents, Field::Asset, &texts, unsure, true, asker);
        }
    }
}

/// Columns that hold the unit of the column before them.
fn unit_columns(cols: &mut [Col], contents: &[Content]) {
    for at in 0..cols.len() {
        let is_unit = contents[at].filled > 0 && contents[at].share(contents[at].units) > 0.9;
        let free = matches!(cols[at].role, Role::Unknown | Role::Field(Field::ResistanceUnit));
        if !is_unit || !free {
            continue;
        }
        let of = |kind| contents[at].distinct.iter().all(|cell| unit(kind, cell).is_some());
        let before = cols[..at].iter().rev().find_map(|col| match &col.role {
            Role::Field(field) if field.unit_field().is_some() => Some(*field),
            _ => None,
        });
        let fits = |field: Field| field.quantity().is_some_and(of);
        let field = match before.filter(|field| fits(*field)) {
            Some(field) => field.unit_field(),
            None if of(Quantity::Resistance) && is_taken(cols, Field::Resistance) => {
                Some(Field::ResistanceUnit)
            }
            None => None,
        };
        let taken = field.is_some_and(|field| {
            cols.iter().enumerate().any(|(n, col)| n != at && col.role == Role::Field(field))
        });
        cols[at].role = match field {
            Some(field) if !taken => Role::Field(field),
            _ => Role::Unknown,
        };
    }
}
