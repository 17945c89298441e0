//! Which column of a delimited stream is for what, and in which unit.

use crate::cells::Header;
use crate::fault::{Fault, Wrong};
use crate::fields::Field;
use crate::header::{same, split_unit};
use crate::piece::unit::{self, Unit, unit};
use crate::profile::Profile;
use crate::raw::Text;

/// What a column is for.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Use {
    Nothing,
    Field(Field),
    /// An entry of the profile's `[[wide]]`, its name in this stream and the unit behind that.
    Wide(usize, Text, Option<Unit>),
}

/// The columns of one stream, in its order.
pub(super) struct Columns {
    pub(super) uses: Vec<Use>,
    /// Names and units of the fields as this stream has them.
    pub(super) header: Header,
    /// The header as it stood, to know it again.
    pub(super) text: String,
    /// Of columns that no one asked for.
    pub(super) warnings: Vec<String>,
}

impl Columns {
    /// Columns that a profile lists because the stream has no header.
    pub(super) fn listed(profile: &Profile, names: &[String]) -> Result<Columns, Wrong> {
        let mut uses = Vec::new();
        for name in names {
            uses.push(match Field::named(name) {
                Some(field) => Use::Field(field),
                None if name == "_" => Use::Nothing,
                None => return Err(Wrong::new("a field or `_` in `delimited.columns`", name)),
            });
        }
        let header = Header::of(profile.rules());
        Ok(Columns { uses, header, text: String::new(), warnings: Vec::new() })
    }

    /// The columns of a record, if it is the header: it names a resistance and one thing more.
    pub(super) fn read(
        profile: &Profile,
        optional: &[Field],
        cells: &[&str],
        text: &str,
    ) -> Result<Option<Columns>, Fault> {
        let uses: Vec<Use> = cells.iter().map(|cell| used(profile, cell)).collect();
        let is_resistance =
            |used: &Use| matches!(used, Use::Field(Field::Resistance) | Use::Wide(..));
        let known = uses.iter().filter(|used| **used != Use::Nothing).count();
        if known < 2 || !uses.iter().any(is_resistance) {
            return Ok(None);
        }
        each_once(&uses, cells, text)?;
        all_there(&uses, profile, optional, text)?;
        let header = Header::of(profile.rules());
        let mut columns = Columns { uses, header, text: text.to_owned(), warnings: Vec::new() };
        columns.name(profile, cells);
        Ok(Some(columns))
    }

    /// Takes names and units from the header's cells.
    fn name(&mut self, profile: &Profile, cells: &[&str]) {
        let ignore = &profile.written().ignore;
        for (used, cell) in self.uses.iter().zip(cells) {
            match used {
                Use::Field(field) => {
                    self.header.names[field.index()] = (*cell).into();
                    if let Some(kind) = field.quantity()
                        && let Some(unit) = split_unit(cell).1.and_then(|text| unit(kind, text))
                    {
                        self.header.units[field.index()] = Some(unit);
                    }
                }
                Use::Nothing if !cell.is_empty() && !ignore.iter().any(|name| same(name, cell)) => {
                    let told = format!("column `{cell}` is not known: kept in the raw record only");
                    self.warnings.push(told);
                }
                _ => {}
            }
        }
    }

    /// The units under a header.
    pub(super) fn read_units(&mut self, cells: &[&str]) -> Result<(), Fault> {
        for (used, cell) in self.uses.iter_mut().zip(cells) {
            let text = cell.trim_matches(['[', ']', '(', ')']);
            if text.is_empty() {
                continue;
            }
            let wrong = |kind, name: &str| Fault::new("unit", name, unit::expected(kind), cell);
            match used {
                Use::Wide(_, name, known) => {
                    let kind = unit::Quantity::Resistance;
                    *known = Some(unit(kind, text).ok_or_else(|| wrong(kind, name))?);
                }
                Use::Field(field) => {
                    let Some(kind) = field.quantity() else { continue };
                    let found = unit(kind, text).ok_or_else(|| wrong(kind, field.name()))?;
                    self.header.units[field.index()] = Some(found);
                }
                Use::Nothing => {}
            }
        }
        Ok(())
    }
}

/// Two columns for one thing: which of them is meant nobody can tell. Remarks are joined.
fn each_once(uses: &[Use], cells: &[&str], text: &str) -> Result<(), Fault> {
    for (at, used) in uses.iter().enumerate() {
        let same_thing = |other: &Use| match (used, other) {
            (Use::Nothing | Use::Field(Field::Remark), _) => false,
            (Use::Wide(entry, ..), Use::Wide(other, ..)) => entry == other,
            _ => used == other,
        };
        if uses[..at].iter().any(same_thing) {
            return Err(Fault::new("header", cells[at], "each column once", text));
        }
    }
    Ok(())
}

/// What makes a reading must have its column, unless the profile says that it may be missing.
fn all_there(uses: &[Use], profile: &Profile, optional: &[Field], text: &str) -> Result<(), Fault> {
    use Field::{Asset, Date, Phase, Resistance, TakenAt, Time};
    let written = profile.written();
    for (field, names) in &written.columns {
        let must = matches!(field, TakenAt | Date | Time | Asset | Phase)
            || (*field == Resistance && written.wide.is_empty());
        if must && !uses.contains(&Use::Field(*field)) && !optional.contains(field) {
            let expected = format!("a header with a column `{}`", names.join("` or `"));
            return Err(Fault::new("header", field.name(), expected, text));
        }
    }
    Ok(())
}

/// What a header's cell names; a unit behind the name must be a unit of that quantity.
fn used(profile: &Profile, cell: &str) -> Use {
    let written = profile.written();
    let (name, behind) = split_unit(cell);
    let ohms = behind.and_then(|text| unit(unit::Quantity::Resistance, text));
    for (index, wide) in written.wide.iter().enumerate() {
        if wide.columns.iter().any(|known| same(known, cell)) {
            return Use::Wide(index, cell.into(), None);
        }
        if ohms.is_some() && wide.columns.iter().any(|known| same(known, name)) {
            return Use::Wide(index, cell.into(), ohms);
        }
    }
    let fits = |field: &Field, names: &Vec<String>| {
        let of_quantity = field
            .quantity()
            .is_some_and(|kind| behind.is_some_and(|text| unit(kind, text).is_some()));
        names.iter().any(|known| same(known, cell) || (of_quantity && same(known, name)))
    };
    let found = written.columns.iter().find(|(field, names)| fits(field, names));
    found.map_or(Use::Nothing, |(field, _)| Use::Field(*field))
}
