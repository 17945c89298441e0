//! What a set of gear is good for: the weakest part decides.

use std::fmt;

use super::{Gear, GearKind, Text};

/// A measurement category of IEC 61010-1 / IEC 61010-2-030: CAT II, III or IV. Higher is nearer to
/// the origin of the installation and stands more overvoltage.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Category(u8);

impl Category {
    /// Reads it as it is printed on gear: `CAT III`, `cat iv`, `III`, `CAT 3`; none where nothing
    /// or anything else stands there.
    pub fn parse(text: &str) -> Option<Self> {
        let upper = text.trim().to_ascii_uppercase();
        let word = upper.strip_prefix("CAT").unwrap_or(&upper);
        match word.trim_start_matches(['.', ' ']).split_whitespace().next()? {
            "II" | "2" => Some(Category(2)),
            "III" | "3" => Some(Category(3)),
            "IV" | "4" => Some(Category(4)),
            _ => None,
        }
    }
}

impl fmt::Display for Category {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self.0 {
            2 => "CAT II",
            3 => "CAT III",
            _ => "CAT IV",
        })
    }
}

/// What a tester with its leads may be used for.
#[derive(Clone, Debug, PartialEq)]
pub struct SetRating {
    /// The lowest category of its parts; none while a part states none.
    pub category: Option<Category>,
    /// The lowest rated voltage of its parts in volts; none while a part states none.
    pub voltage_v: Option<f64>,
    /// The parts that set the category or the voltage, by id, where others are rated higher.
    pub weakest: Vec<Text>,
    /// The parts that state no category or no voltage, by id.
    pub unstated: Vec<Text>,
}

/// The rating of a set: the lowest category and the lowest voltage among the parts that are in the
/// measuring circuit, which are testers and leads; a CAT III 1000 V tester with a lesser lead is a
/// lesser set. A part that states nothing leaves it open. None without such parts.
///
/// Source: IEC 61010-031 (hand-held probe assemblies), by which the lower category and voltage of
/// the individual parts hold for a combination; from memory, the clause was not at hand.
pub fn set_rating<'g>(parts: impl IntoIterator<Item = &'g Gear>) -> Option<SetRating> {
    let parts: Vec<(&Gear, Option<Category>)> = parts
        .into_iter()
        .filter(|part| matches!(part.kind, GearKind::Tester | GearKind::Lead))
        .map(|part| (part, Category::parse(&part.category)))
        .collect();
    let ids = |which: &dyn Fn(&Gear, Option<Category>) -> bool| {
        parts.iter().filter(|(part, c)| which(part, *c)).map(|(part, _)| part.id.clone()).collect()
    };
    let lowest = parts.iter().filter_map(|(_, category)| *category).min();
    let highest = parts.iter().filter_map(|(_, category)| *category).max();
    let volts = || parts.iter().filter_map(|(part, _)| part.rated_voltage_v);
    let (least, most) =
        (volts().fold(f64::INFINITY, f64::min), volts().fold(f64::NEG_INFINITY, f64::max));
    if parts.is_empty() {
        return None;
    }
    Some(SetRating {
        category: lowest.filter(|_| parts.iter().all(|(_, c)| c.is_some())),
        voltage_v: Some(least).filter(|_| parts.iter().all(|(p, _)| p.rated_voltage_v.is_some())),
        weakest: ids(&|part, category| {
            (category == lowest && lowest < highest)
                || (part.rated_voltage_v == Some(least) && least < most)
        }),
        unstated: ids(&|part, category| category.is_none() || part.rated_voltage_v.is_none()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(id: &str, kind: GearKind, category: &str, volts: Option<f64>) -> Gear {
        Gear { category: category.into(), rated_voltage_v: volts, ..Gear::new(id.into(), kind) }
    }

    fn said(parts: &[Gear]) -> String {
        let Some(rating) = set_rating(parts) else { return "nothing".to_owned() };
        let category = rating.category.map_or("?".to_owned(), |c| c.to_string());
        let volts = rating.voltage_v.map_or("?".to_owned(), |v| v.to_string());
        format!("{category} {volts} V by {:?}, open {:?}", rating.weakest, rating.unstated)
    }

    #[test]
    fn the_weakest_part_decides() {
        let tester = part("HT-5", GearKind::Tester, "CAT III", Some(1000.0));
        let good = part("L-1", GearKind::Lead, "CAT IV", Some(1000.0));
        let poor = part("L-2", GearKind::Lead, "CAT II", Some(300.0));
        let mixed = part("L-3", GearKind::Lead, "CAT IV", Some(600.0));
        let bare = part("L-4", GearKind::Lead, "", None);
        let set = |parts: &[&Gear]| said(&parts.iter().map(|p| (*p).clone()).collect::<Vec<_>>());
        assert_eq!(set(&[&tester]), "CAT III 1000 V by [], open []");
        assert_eq!(set(&[&tester, &good]), "CAT III 1000 V by [\"HT-5\"], open []");
        assert_eq!(set(&[&tester, &poor]), "CAT II 300 V by [\"L-2\"], open []");
        assert_eq!(set(&[&tester, &mixed]), "CAT III 600 V by [\"HT-5\", \"L-3\"], open []");
        assert_eq!(set(&[&tester, &good, &bare]), "? ? V by [\"HT-5\"], open [\"L-4\"]");
        let gloves = part("G-1", GearKind::Gloves, "", None);
        assert_eq!(set(&[&tester, &gloves]), set(&[&tester]), "gloves are not in the circuit");
        assert_eq!(set(&[&gloves]), "nothing");
    }

    #[test]
    fn categories_as_they_are_printed() {
        let read = |text| Category::parse(text).map(|c| c.to_string());
        for text in ["CAT III", "cat iii", "III", "CAT 3", "CAT III 1000 V", "CATIII"] {
            assert_eq!(read(text).as_deref(), Some("CAT III"), "{text}");
        }
        for text in ["", "CAT", "CAT I", "class 2", "none"] {
            assert_eq!(read(text), None, "{text}");
        }
    }
}
