//! Labels of phases and of what the other lead was on.

use std::collections::BTreeSet;

use super::ask::{Asker, candidate};
use super::columns::{Col, Role};
use super::content::Content;
use super::several::{is_phase, leads};
use super::words;
use crate::fields::Field;

/// What labels are mapped to.
#[derive(Clone, Debug, Default)]
pub(super) struct Labels {
    pub(super) phases: Vec<(String, String)>,
    pub(super) against: Vec<(String, String)>,
    pub(super) pairs: Vec<(String, String, String)>,
    /// Labels of the supply's order that nobody mapped: they wait in the tray.
    pub(super) unmapped: Vec<String>,
}

impl Labels {
    /// The phase that a label was mapped to, else the label.
    pub(super) fn phase(&self, label: &str) -> String {
        let found = self.phases.iter().find(|(from, _)| from == label);
        found.map_or_else(|| label.to_owned(), |(_, to)| to.clone())
    }
}

/// Reads the labels, and asks which winding the supply's names stand for.
pub(super) fn labels(cols: &[Col], contents: &[Content], asker: &mut Asker<'_>) -> Labels {
    let mut labels = Labels::default();
    let mut written: BTreeSet<String> = BTreeSet::new();
    let mut others: BTreeSet<String> = BTreeSet::new();
    let mut joined: BTreeSet<String> = BTreeSet::new();
    for (col, content) in cols.iter().zip(contents) {
        match &col.role {
            Role::Several(parts) => {
                written.extend(parts.phase.clone());
                written.extend(parts.against.clone().filter(|a| a != "case"));
            }
            Role::Field(Field::Phase) => {
                for cell in &content.distinct {
                    match leads(cell) {
                        Some((one, other)) => {
                            written.insert(one);
                            if other != "case" {
                                written.insert(other);
                            }
                            joined.insert(cell.clone());
                        }
                        None => {
                            written.insert(cell.clone());
                        }
                    }
                }
            }
            Role::Field(Field::Against) => others.extend(content.distinct.iter().cloned()),
            _ => {}
        }
    }
    let supply: Vec<String> = written.iter().filter(|label| is_supply(label)).cloned().collect();
    if !supply.is_empty() {
        let unsure = format!(
            "`{}` name the supply's order and not a winding; unmapped they wait in the tray",
            supply.join("`, `")
        );
        let mut hints = vec![candidate("none", "leave them as they are")];
        if let Some(usual) = usual(&supply) {
            hints.insert(0, candidate(&usual, "if they were connected in this order"));
        }
        let fits = |text: &str| text == "none" || mapping(text, &supply).is_some();
        let expected = "`none` or a mapping such as `L1=U,L2=V,L3=W`";
        match asker.may_say("phases", &unsure, hints, expected, fits) {
            Some(answer) => labels.phases = mapping(&answer, &supply).unwrap_or_default(),
            None => labels.unmapped = supply,
        }
    }
    for cell in joined {
        if let Some((one, other)) = leads(&cell) {
            let pair = (cell, labels.phase(&one), labels.phase(&other));
            labels.pairs.push(pair);
        }
    }
    for other in others {
        if words::is_case(&other) && other != "case" {
            labels.against.push((other, "case".to_owned()));
        } else if labels.phase(&other) != other {
            let to = labels.phase(&other);
            labels.against.push((other, to));
        }
    }
    labels
}

/// A name of the supply's order or of a terminal, as opposed to a winding's own.
fn is_supply(label: &str) -> bool {
    let upper = label.to_uppercase();
    is_phase(label) && !upper.starts_with(['U', 'V', 'W', 'H'])
}

/// The mapping in the order of the labels, where there are three of them.
fn usual(supply: &[String]) -> Option<String> {
    let [one, two, three] = supply else { return None };
    Some(format!("{one}=U,{two}=V,{three}=W"))
}

fn mapping(text: &str, supply: &[String]) -> Option<Vec<(String, String)>> {
    let mut found = Vec::new();
    for part in text.split(',') {
        let (from, to) = part.split_once('=')?;
        let (from, to) = (from.trim(), to.trim());
        if to.is_empty() || !supply.iter().any(|label| label == from) {
            return None;
        }
        found.push((from.to_owned(), to.to_owned()));
    }
    Some(found)
}
