//! Which readings of a stream nothing rests on: what a tester sent every second of a test, between
//! the values that the trend and the ratios take.

use std::collections::BTreeMap;

use super::ratios::is_of_ratio;
use super::{Corrected, Judged, Role};
use crate::model::{DAY_MICROS, ReadingId};

/// The readings that may go, of those that `may` allows. What stays for ever: the reading that
/// stands for its series at a visit, every reading that a ratio can be formed of, the first and the
/// last of each test, retests, whatever a person corrected or a proof left out, and all of a test
/// that did not begin and end on one UTC day, since a replay looks at the end of each.
pub fn thinnable(judged: &[Judged], may: &dyn Fn(&Corrected) -> bool) -> Vec<ReadingId> {
    let mut tests: BTreeMap<_, Vec<&Judged>> = BTreeMap::new();
    for j in judged {
        if let Some(visit) = j.visit {
            let series = &j.corrected.reading.series;
            tests.entry((series.clone(), visit, j.test)).or_default().push(j);
        }
    }
    let mut out = Vec::new();
    for members in tests.values() {
        let day = |j: &Judged| j.corrected.reading.taken_at.micros().div_euclid(DAY_MICROS);
        let (Some(first), Some(last)) = (members.first(), members.last()) else { continue };
        if day(first) != day(last) {
            continue;
        }
        let within = members.iter().skip(1).take(members.len().saturating_sub(2));
        let free = within.filter(|j| {
            let c = &j.corrected;
            let untouched = c.voided.is_none() && c.moved_from.is_none() && c.overruled.is_none();
            j.role == Role::Timed && untouched && !is_of_ratio(&c.reading) && may(c)
        });
        out.extend(free.map(|j| j.corrected.id));
    }
    out.sort();
    out
}
