//! The chain from tester to part is as good as its weakest link: category, voltage, due dates.

use super::act::GearChosen;
use super::refusal::Refusal;
use crate::model::{Gear, GearKind, Stamp, Text, set_rating};

/// What the chain has to bear.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Load {
    /// Nominal test voltage in volts.
    pub(super) test_v: f64,
    /// Rated voltage of the asset in volts: what may stand on it if isolating went wrong.
    pub(super) asset_v: Option<f64>,
}

/// Holds the chosen gear against what it has to bear. Leads and gloves below the test voltage and
/// gloves past their test are refused; what is only doubtful is a warning.
///
/// Gloves are tested every six months once issued (OSHA 1910.137, S).
///
/// # Errors
/// [`Refusal::Gear`] with the part and the reason.
pub(super) fn choose(
    tester: &Text,
    parts: &[Text],
    register: &[Gear],
    load: Load,
    now: Stamp,
) -> Result<GearChosen, Refusal> {
    if tester.is_empty() {
        return Err(Refusal::Gear(
            "say which tester it is: its proofs are kept under its id".into(),
        ));
    }
    let find = |id: &Text| register.iter().find(|gear| gear.id == *id);
    let mut warnings: Vec<Text> = Vec::new();
    let mut set: Vec<&Gear> = Vec::new();
    match find(tester) {
        Some(gear) if gear.kind != GearKind::Tester => {
            let words = format!("`{tester}` is registered as {}, not as a tester", gear.kind);
            return Err(Refusal::Gear(words));
        }
        Some(gear) => set.push(gear),
        None => warnings.push(
            format!("`{tester}` is not in the gear register: rating and due date are not known")
                .into(),
        ),
    }
    for id in parts {
        let words = || format!("`{id}` is not in the gear register");
        set.push(find(id).ok_or_else(|| Refusal::Gear(words()))?);
    }
    for gear in &set {
        part(gear, load, now, &mut warnings)?;
    }
    if !set.iter().any(|gear| gear.kind == GearKind::Lead) {
        warnings.push("no leads chosen: their rating is not known".into());
    }
    Ok(GearChosen {
        tester: tester.clone(),
        parts: parts.to_vec(),
        weakest: weakest(&set),
        warnings,
    })
}

fn part(gear: &Gear, load: Load, now: Stamp, warnings: &mut Vec<Text>) -> Result<(), Refusal> {
    let (id, kind) = (&gear.id, gear.kind);
    let touched = matches!(kind, GearKind::Lead | GearKind::Gloves);
    match gear.rated_voltage_v {
        None => warnings.push(format!("no rated voltage stands beside `{id}`").into()),
        Some(volts) if touched && volts < load.test_v => {
            return Err(Refusal::Gear(format!(
                "`{id}` ({kind}) is rated {volts} V, and the test puts {} V on it: take another",
                load.test_v
            )));
        }
        Some(volts) if kind == GearKind::Tester && load.asset_v.is_some_and(|v| volts < v) => {
            let asset_v = load.asset_v.unwrap_or_default();
            warnings.push(
                format!(
                    "`{id}` is rated {volts} V and the asset {asset_v} V: not for looking whether \
                     voltage is there"
                )
                .into(),
            );
        }
        Some(_) => {}
    }
    match gear.due {
        Some(due) if due < now && kind == GearKind::Gloves => {
            let date = due.date();
            return Err(Refusal::Gear(format!("gloves `{id}` were due for their test on {date}")));
        }
        Some(due) if due < now => {
            warnings.push(format!("`{id}` was due on {}", due.date()).into());
        }
        _ => {}
    }
    Ok(())
}

/// The set as its weakest part makes it: `CAT III, 600 V (by L-1)`.
fn weakest(set: &[&Gear]) -> Text {
    let Some(rating) = set_rating(set.iter().copied()) else { return "not known".into() };
    let category = rating.category.map(|category| category.to_string());
    let volts = rating.voltage_v.map(|volts| format!("{volts} V"));
    let known: Vec<String> = category.into_iter().chain(volts).collect();
    let of = |ids: &[Text]| ids.iter().map(Text::as_str).collect::<Vec<_>>().join(", ");
    let mut words = if known.is_empty() { "not known".into() } else { known.join(", ") };
    if !rating.unstated.is_empty() {
        words.push_str(&format!(" (not stated by {})", of(&rating.unstated)));
    } else if !rating.weakest.is_empty() {
        words.push_str(&format!(" (by {})", of(&rating.weakest)));
    }
    words.into()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn gear(id: &str, kind: GearKind, category: &str, volts: Option<f64>) -> Gear {
        Gear { category: category.into(), rated_voltage_v: volts, ..Gear::new(id.into(), kind) }
    }

    fn chosen(register: &[Gear], test_v: f64) -> Result<GearChosen, Refusal> {
        let parts: Vec<Text> = register[1..].iter().map(|g| g.id.clone()).collect();
        let load = Load { test_v, asset_v: Some(800.0) };
        choose(&register[0].id, &parts, register, load, Stamp::from_micros(1_000))
    }

    #[test]
    fn the_weakest_part_makes_the_set() {
        let set = [
            gear("BT-1", GearKind::Tester, "CAT IV", Some(1_000.0)),
            gear("L-1", GearKind::Lead, "CAT III 1000 V", Some(1_000.0)),
            gear("C-1", GearKind::Lead, "cat. II", Some(600.0)),
        ];
        let whole = chosen(&set, 500.0).unwrap();
        assert_eq!(whole.weakest, "CAT II, 600 V (by C-1)");
        assert!(whole.warnings.is_empty(), "{:?}", whole.warnings);
        let refused = chosen(&set, 1_000.0).unwrap_err().to_string();
        assert!(refused.contains("`C-1` (lead) is rated 600 V"), "{refused}");
    }

    #[test]
    fn what_is_not_known_is_a_warning() {
        let bare = [gear("BT-1", GearKind::Tester, "", None)];
        let whole = chosen(&bare, 500.0).unwrap();
        assert_eq!(whole.weakest, "not known (not stated by BT-1)");
        assert_eq!(whole.warnings.len(), 2, "{:?}", whole.warnings);
        let load = Load { test_v: 500.0, asset_v: None };
        let unknown = choose(&"BT-9".into(), &[], &bare, load, Stamp::MIN).unwrap();
        assert!(unknown.warnings[0].contains("not in the gear register"));
        assert!(choose(&"BT-1".into(), &["L-9".into()], &bare, load, Stamp::MIN).is_err());
        assert!(choose(&Text::default(), &[], &bare, load, Stamp::MIN).is_err());
    }

    #[test]
    fn a_tester_below_the_asset_is_not_for_looking_at_voltages() {
        let set = [gear("BT-1", GearKind::Tester, "CAT III", Some(600.0))];
        let whole = chosen(&set, 1_000.0).unwrap();
        assert!(whole.warnings[0].contains("not for looking"), "{:?}", whole.warnings);
    }

    #[test]
    fn gloves_past_their_test_are_refused_and_leads_only_told() {
        let mut set = [
            gear("BT-1", GearKind::Tester, "CAT IV", Some(1_000.0)),
            gear("G-1", GearKind::Gloves, "class 0", Some(1_500.0)),
        ];
        set[1].due = Some(Stamp::from_micros(999));
        let refused = chosen(&set, 500.0).unwrap_err().to_string();
        assert!(refused.contains("gloves `G-1`"), "{refused}");
        set[1].kind = GearKind::Lead;
        let whole = chosen(&set, 500.0).unwrap();
        assert!(whole.warnings[0].contains("`L-1`") || whole.warnings[0].contains("was due"));
    }
}
