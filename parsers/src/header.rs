//! Names of columns: how a header's cell is compared and where its unit stands.

/// Whether two names are the same to a person: case and outer space do not count.
pub(crate) fn same(a: &str, b: &str) -> bool {
    let (a, b) = (a.trim(), b.trim());
    a == b || a.to_lowercase() == b.to_lowercase()
}

/// A header's cell apart: `Riso [MΩ]`, `Riso (MΩ)`, `Riso / MΩ`, `Riso in MΩ` → name and unit.
pub(crate) fn split_unit(cell: &str) -> (&str, Option<&str>) {
    let cell = cell.trim();
    let bracketed = |open: char, close: char| {
        let (name, unit) = cell.strip_suffix(close)?.rsplit_once(open)?;
        Some((name.trim_end(), Some(unit.trim())))
    };
    let parted = |mark: &str| {
        let (name, unit) = cell.rsplit_once(mark)?;
        Some((name.trim_end(), Some(unit.trim())))
    };
    bracketed('[', ']')
        .or_else(|| bracketed('(', ')'))
        .or_else(|| parted(" in "))
        .or_else(|| parted("/"))
        .unwrap_or((cell, None))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_in_headers() {
        assert_eq!(split_unit("Riso [MΩ]"), ("Riso", Some("MΩ")));
        assert_eq!(split_unit("Riso (MΩ)"), ("Riso", Some("MΩ")));
        assert_eq!(split_unit("Riso / MΩ"), ("Riso", Some("MΩ")));
        assert_eq!(split_unit(" R in kOhm "), ("R", Some("kOhm")));
        assert_eq!(split_unit("Riso"), ("Riso", None));
    }
}
