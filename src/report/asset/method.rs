//! How the numbers came about, so that another engineer can do it again.

use crate::dossier::Dossier;
use crate::model::Insulation;
use crate::report::about::About;
use crate::report::document::{Block, Section};

pub(super) fn method(dossier: &Dossier, about: &About<'_>) -> Section {
    let asset = &dossier.asset;
    let rule = match asset.insulation {
        Insulation::Thermosetting => {
            "thermosetting: exp(−1245·(1/T − 1/313)) from 10 to 40 °C and exp(−4230·(1/T − 1/313)) \
             above, T in kelvin (IEEE Std 43-2013)"
        }
        Insulation::Thermoplastic => "thermoplastic: halving per 10 K (IEEE Std 43)",
        Insulation::None => "none: as read",
        Insulation::Unknown => {
            "class unknown: anything from no effect to halving per 10 K is allowed for"
        }
    };
    let steps = vec![
        "Readings of one setup with one tester without a long pause are a visit; each series gives \
         one value per visit, that nearest the rated duration; a later retest replaces it."
            .to_owned(),
        "Held against limits at once: a limit at 40 °C against the value corrected by the class of \
         the insulation, isolation and limits as read against the raw value. A low reading counts \
         whether or not the voltage sagged."
            .to_owned(),
        format!("Temperature correction to 40 °C: {rule}."),
        "Trend: a Bayesian filter over log10 of the resistance at 40 °C and the rate of its decline, \
         fed visit by visit; over-range and under-range values enter as bounds. Readings of other \
         voltages, setups, and from before a rewind are never on the same line."
            .to_owned(),
    ];
    let id = asset.id.as_str();
    let quoted = if id.contains([' ', '\'', '"']) { format!("\"{id}\"") } else { id.to_owned() };
    let mut facts = vec![
        ("program".to_owned(), format!("ohmward {}", env!("CARGO_PKG_VERSION"))),
        ("installation".to_owned(), about.origin.clone()),
    ];
    facts.extend(about.settings());
    let options = about.options();
    facts.extend([
        ("this report again".to_owned(), format!("ohmward report {quoted} {options}")),
        ("the numbers alone".to_owned(), format!("ohmward assess {quoted} {options}")),
        ("the raw readings".to_owned(), format!("ohmward history {quoted} {options}")),
        ("all data, in open formats".to_owned(), "ohmward export --all DIR".to_owned()),
    ]);
    Section::new("Method and settings", vec![Block::List(steps), Block::Facts(facts)])
}
