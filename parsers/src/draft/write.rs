//! The draft as TOML with comments: what was found and why, what is open and both ways to answer.

use std::fmt::Write;

use super::Question;
use super::columns::{Col, Role};
use super::findings::Found;
use super::marks::is_resistance;
use super::sheet::Parting;
use crate::fields::Field;
use crate::header::split_unit;
use crate::piece::unit::{Quantity, unit};

/// Names in `recognise.header`: enough to tell the export from others.
const RECOGNISED_BY: usize = 5;

/// What a column is taken for, in words.
pub(super) fn taken_for(col: &Col) -> String {
    match &col.role {
        Role::Field(field) => field.name().to_owned(),
        Role::Several(parts) => {
            let mut told = "resistance of".to_owned();
            for part in [&parts.phase, &parts.against].into_iter().flatten() {
                told.push_str(&format!(" {part}"));
            }
            if let Some(seconds) = parts.duration_s {
                told.push_str(&format!(" {seconds} s"));
            }
            if let Some(volts) = parts.volts {
                told.push_str(&format!(" {volts} V"));
            }
            told
        }
        Role::Unwanted => "not needed".to_owned(),
        Role::Unknown => "unknown".to_owned(),
    }
}

/// The profile.
pub(super) fn toml(found: &Found, questions: &[Question]) -> String {
    let mut out = String::new();
    top(&mut out, found, questions);
    layout(&mut out, found);
    numbers(&mut out, found, questions);
    time(&mut out, found, questions);
    columns(&mut out, found);
    units(&mut out, found, questions);
    labels(&mut out, found);
    resistance(&mut out, found, questions);
    several(&mut out, found);
    out
}

/// A text as TOML writes it.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

fn list<S: AsRef<str>>(texts: impl IntoIterator<Item = S>) -> String {
    let texts: Vec<_> = texts.into_iter().map(|text| quoted(text.as_ref())).collect();
    format!("[{}]", texts.join(", "))
}

/// One line; a `String` takes any.
macro_rules! line {
    ($out:expr) => { $out.push('\n') };
    ($out:expr, $($what:tt)*) => {
        if writeln!($out, $($what)*).is_err() {
            $out.push('\n');
        }
    };
}

/// A question as a comment, with a line for each answer.
fn open(out: &mut String, question: &Question, line_of: impl Fn(&str) -> String) {
    let kind = if question.required { "OPEN" } else { "May be said" };
    line!(out, "# {kind}: {}.", comment(&question.unsure));
    if question.candidates.is_empty() {
        line!(out, "# {}", line_of("…"));
    }
    for candidate in &question.candidates {
        line!(out, "# {}   # {}", line_of(&candidate.value), comment(&candidate.means));
    }
}

/// A text that stays on one line of comment.
fn comment(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

fn asked<'a>(questions: &'a [Question], key: &str) -> Option<&'a Question> {
    questions.iter().find(|question| question.key == key)
}

fn top(out: &mut String, found: &Found, questions: &[Question]) {
    line!(out, "# Drafted from a file. Try it: `ohmward profile check FILE --profile THIS.toml`.");
    let title = if found.title.is_empty() { "an export" } else { &found.title };
    line!(out, "title = {}", quoted(&format!("Draft from {title}")));
    line!(out, "about = \"\"  # what a person has to know who trusts it");
    line!(out, "format = \"delimited\"");
    if let Some(encoding) = &found.encoding {
        line!(out, "encoding = {}  # not Unicode", quoted(encoding));
    }
    let required: Vec<_> = questions.iter().filter(|q| q.required).map(|q| &q.key).collect();
    if !required.is_empty() {
        line!(
            out,
            "# While a question is open the profile is refused. Take out what you answered."
        );
        line!(out, "unanswered = {}", list(required));
    }
    for question in questions
        .iter()
        .filter(|q| ["columns.", "bounds."].iter().any(|start| q.key.starts_with(start)))
    {
        let (key, _) = question.key.split_once('.').unwrap_or(("", ""));
        let field = &question.key[key.len() + 1..];
        open(out, question, |value| match key {
            "columns" => format!("in [columns]: {field} = {}", list([value])),
            _ => format!("in [bounds]: {} = {}", quoted(field), quoted(&value.replace("none", ""))),
        });
    }
    let ignore: Vec<_> = found
        .cols
        .iter()
        .filter(|col| col.role == Role::Unwanted && !col.name.is_empty())
        .map(|col| &col.name)
        .collect();
    if !ignore.is_empty() && !found.by_place {
        line!(out, "ignore = {}  # columns that no reading holds", list(ignore));
    }
    line!(out);
    line!(out, "[recognise]");
    let names = recognised_by(found);
    if names.is_empty() {
        line!(out, "reads = true  # there is no header to know it by: better say `--profile`");
    } else {
        line!(out, "header = {}", list(names));
    }
}

fn recognised_by(found: &Found) -> Vec<String> {
    if found.sheet.header.is_empty() {
        return Vec::new();
    }
    let used = |col: &&Col| matches!(col.role, Role::Field(_) | Role::Several(_));
    let mut names: Vec<String> = Vec::new();
    for col in found.cols.iter().filter(used) {
        let name = name_of(col);
        if !name.is_empty() && !names.contains(&name) {
            names.push(name);
        }
    }
    names.truncate(RECOGNISED_BY);
    names
}

/// The name in `[columns]`: without a unit that the parser reads behind it.
fn name_of(col: &Col) -> String {
    let (name, behind) = split_unit(&col.name);
    let kind = match &col.role {
        Role::Several(_) => Some(Quantity::Resistance),
        Role::Field(field) => field.quantity(),
        _ => None,
    };
    match (kind, behind) {
        (Some(kind), Some(text)) if unit(kind, text).is_some() && !name.is_empty() => {
            name.to_owned()
        }
        _ => col.name.clone(),
    }
}

fn layout(out: &mut String, found: &Found) {
    let sheet = &found.sheet;
    line!(out);
    line!(out, "[delimited]");
    match &sheet.parting {
        Parting::Separator(mark) => line!(out, "separator = {}", quoted(&mark.to_string())),
        Parting::Starts(starts) => {
            line!(out, "starts = {starts:?}  # characters at which the columns begin");
        }
    }
    let mut skip = sheet.skip.clone();
    if found.by_place {
        let fields = found.cols.iter().map(|col| match col.role {
            Role::Field(field) => field.name(),
            _ => "_",
        });
        line!(out, "# By their place: the header does not tell all of them.");
        line!(out, "columns = {}", list(fields));
        let above = sheet.preamble.iter().chain([&sheet.header_line, &sheet.units_line]);
        for text in above.filter(|text| !text.trim().is_empty()) {
            skip.push(text.chars().take(60).collect());
        }
    } else if sheet.units.is_some() {
        line!(out, "units_row = true");
    }
    let sheets = sheet.pairs.iter().any(|pair| pair.key == "[sheet]" && pair.within)
        && !found.blocks.iter().any(|pair| pair.key == "[sheet]");
    if sheets || (found.by_place && sheet.pairs.iter().any(|pair| pair.key == "[sheet]")) {
        skip.push("[sheet]".to_owned());
    }
    if !skip.is_empty() {
        line!(out, "skip = {}", list(skip));
    }
    if !sheet.ends.is_empty() {
        line!(out, "ends = {}  # from here on nothing is a reading", list(&sheet.ends));
    }
    if sheet.ragged {
        line!(out, "ragged = true  # trailing empty cells are left out");
    }
    for (key, pairs, told) in [
        ("preamble", &found.preamble, "above the table, for all rows"),
        ("blocks", &found.blocks, "for the rows behind them"),
    ] {
        let mut names: Vec<(Field, Vec<&str>)> = Vec::new();
        for pair in pairs {
            match names.iter_mut().find(|(field, _)| *field == pair.field) {
                Some((_, known)) if known.contains(&pair.key.as_str()) => {}
                Some((_, known)) => known.push(&pair.key),
                None => names.push((pair.field, vec![&pair.key])),
            }
        }
        let told_names: Vec<_> = names
            .iter()
            .map(|(field, names)| format!("{} = {}", field.name(), list(names)))
            .collect();
        if !told_names.is_empty() {
            line!(out, "{key} = {{ {} }}  # {told}", told_names.join(", "));
        }
    }
}

fn numbers(out: &mut String, found: &Found, questions: &[Question]) {
    line!(out);
    line!(out, "[numbers]");
    if let Some(question) = asked(questions, "numbers.decimal") {
        open(out, question, |value| format!("decimal = {}", quoted(value)));
    }
    if let Some(decimal) = found.style.decimal {
        let because = comment(&found.style.because);
        line!(out, "decimal = {}  # {because}", quoted(&decimal.to_string()));
    }
    if let Some(question) = asked(questions, "numbers.thousands") {
        open(out, question, |value| format!("thousands = {}", quoted(value)));
    }
    if let Some(thousands) = found.style.thousands {
        line!(out, "thousands = {}", quoted(&thousands.to_string()));
    }
}

fn time(out: &mut String, found: &Found, questions: &[Question]) {
    let Some(field) = found.date_field else { return };
    line!(out);
    line!(out, "[time]");
    if let Some(question) = asked(questions, "time.zone") {
        open(out, question, |value| format!("zone = {}", quoted(value)));
    }
    if let Some(zone) = &found.zone {
        line!(out, "zone = {}", quoted(zone));
    }
    let key = field.name();
    if let Some(question) = asked(questions, "time.order") {
        let patterns = |order: &str| {
            let of = found.dates.open.iter().find(|(known, _)| *known == order);
            of.map(|(_, patterns)| patterns.clone()).unwrap_or_default()
        };
        open(out, question, |value| format!("{key} = {}", list(patterns(value))));
    }
    if !found.dates.patterns.is_empty() {
        let because = comment(&found.dates.because);
        line!(out, "{key} = {}  # {because}", list(&found.dates.patterns));
    }
    if !found.clocks.is_empty() {
        line!(out, "time = {}", list(&found.clocks));
    }
}

fn columns(out: &mut String, found: &Found) {
    if found.by_place {
        return;
    }
    line!(out);
    line!(out, "[columns]");
    for field in Field::all() {
        let named = found.cols.iter().filter(|col| col.role == Role::Field(field));
        let names: Vec<String> = named.map(name_of).collect();
        if !names.is_empty() {
            line!(out, "{} = {}", field.name(), list(names));
        }
    }
    for col in found.cols.iter().filter(|col| col.role == Role::Unknown && !col.name.is_empty()) {
        line!(out, "# {} is not known: it stays in the raw record only.", comment(&col.name));
    }
}

fn units(out: &mut String, found: &Found, questions: &[Question]) {
    let open_ones: Vec<_> = questions.iter().filter(|q| q.key.starts_with("units.")).collect();
    if !found.units.is_empty() || !open_ones.is_empty() {
        line!(out);
        line!(out, "[units]");
        for (key, text, because) in &found.units {
            line!(out, "{key} = {}  # {}", quoted(text), comment(because));
        }
        for question in open_ones {
            let key = question.key.trim_start_matches("units.");
            open(out, question, |value| match value {
                "ignore" => "take its column out of [columns]".to_owned(),
                value => format!("{key} = {}", quoted(value)),
            });
        }
    }
    let open_ones: Vec<_> = questions.iter().filter(|q| q.key.starts_with("constants.")).collect();
    if found.constants.is_empty() && open_ones.is_empty() {
        return;
    }
    line!(out);
    line!(out, "[constants]");
    for (key, value) in &found.constants {
        line!(out, "{key} = {value}");
    }
    for question in open_ones {
        let key = question.key.trim_start_matches("constants.");
        open(out, question, |value| format!("{key} = {}", quoted(value)));
    }
}

fn labels(out: &mut String, found: &Found) {
    let labels = &found.labels;
    if !labels.phases.is_empty() || !labels.unmapped.is_empty() {
        line!(out);
        line!(out, "[phases]");
        for (from, to) in &labels.phases {
            line!(out, "{} = {}", quoted(from), quoted(to));
        }
        for label in &labels.unmapped {
            line!(
                out,
                "# {} = \"…\"  # names the supply's order: which winding is it?",
                quoted(label)
            );
        }
    }
    if !labels.against.is_empty() {
        line!(out);
        line!(out, "[against]");
        for (from, to) in &labels.against {
            line!(out, "{} = {}", quoted(from), quoted(to));
        }
    }
    if !labels.pairs.is_empty() {
        line!(out);
        line!(out, "[pairs]");
        for (label, one, other) in &labels.pairs {
            line!(out, "{} = {}", quoted(label), list([one, other]));
        }
    }
    if !found.marks.bounds.is_empty() {
        line!(out);
        line!(out, "[bounds]");
        for (word, mark) in &found.marks.bounds {
            line!(out, "{} = {}", quoted(word), quoted(mark));
        }
    }
}

fn resistance(out: &mut String, found: &Found, questions: &[Question]) {
    let marks = &found.marks;
    line!(out);
    line!(out, "[resistance]");
    for (key, texts) in [("over", &marks.over), ("under", &marks.under), ("empty", &marks.empty)] {
        if !texts.is_empty() {
            line!(out, "{key} = {}", list(texts));
        }
    }
    for question in questions.iter().filter(|q| q.key.starts_with("marks.")) {
        let text = question.key.trim_start_matches("marks.");
        open(out, question, |value| match value {
            "reject" => "nothing: it is a reject".to_owned(),
            key => format!("{key} = {}", list([text])),
        });
    }
    for key in ["resistance.full_scale", "resistance.top"] {
        if let Some(question) = asked(questions, key) {
            open(out, question, |value| format!("full_scale = {}", quoted(value)));
        }
    }
    if let Some(full_scale) = &marks.full_scale {
        line!(out, "full_scale = {}", quoted(full_scale));
        if marks.full_scale_is_over {
            line!(out, "full_scale_is_over = true");
        }
    }
    line!(out, "# lowest = \"…\"  # what a printed 0 is at most");
}

fn several(out: &mut String, found: &Found) {
    for col in found.cols.iter().filter(|col| is_resistance(col)) {
        let Role::Several(parts) = &col.role else { continue };
        line!(out);
        line!(out, "[[wide]]");
        line!(out, "columns = {}", list([name_of(col)]));
        if let Some(phase) = &parts.phase {
            line!(out, "phase = {}", quoted(&found.labels.phase(phase)));
        }
        if let Some(against) = &parts.against {
            line!(out, "against = {}", quoted(&found.labels.phase(against)));
        }
        if let Some(seconds) = parts.duration_s {
            line!(out, "duration_s = {seconds:?}");
        }
        if let Some(volts) = parts.volts {
            line!(out, "test_voltage_v = {volts:?}");
        }
    }
}
