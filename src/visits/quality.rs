//! Doubts about a reading, and what each did to the assessment. Nothing is hidden behind them: a
//! doubt that takes nothing out of the trend says so.

use super::{Exclusion, Judged, Role, Settings, near_rated};
use crate::model::{DAY_MICROS, Proof, ProofKind, Reading, Stamp, TemperatureOf, TimeDoubt, words};

words!(
    /// What is in doubt about a reading.
    Doubt, "doubt", {
        /// A proof of its tester failed.
        ProofFailed => "proof failed",
        /// No proof of its tester is known around the visit.
        NotProved => "proof missing",
        /// Contact at the part was not confirmed.
        Contact => "contact not confirmed",
        /// Its tester was past its due date.
        Overdue => "gear overdue",
        /// The tester delivered too little voltage.
        Sagged => "voltage sagged",
        /// The voltage was not applied for the rated time.
        Duration => "duration off",
        /// The temperature was not recorded.
        NoTemperature => "temperature missing",
        /// The temperature was that of the air.
        Ambient => "temperature ambient",
        /// The instant is uncertain.
        Time => "time uncertain",
    }
);

impl Doubt {
    /// What this doubt does to the assessment, in a sentence.
    pub const fn effect(self) -> &'static str {
        match self {
            Doubt::ProofFailed => {
                "left out of the trend and of the result, unless a person overruled it"
            }
            Doubt::NotProved => {
                "counted as read: nobody can say whether the tester was sound that day"
            }
            Doubt::Contact => {
                "a high value is left out, since an open clip reads like good insulation; a low \
                 one counts"
            }
            Doubt::Overdue => "counted as read: the tester's error is not known any more",
            Doubt::Sagged => "a high value is left out; a low one counts, since it is the reason",
            Doubt::Duration => {
                "counted where the visit has none nearer the rated time; a high value does not \
                 show that a limit is met"
            }
            Doubt::NoTemperature => {
                "the temperature of other readings nearby is taken, or of the season, with a wide \
                 uncertainty"
            }
            Doubt::Ambient => "corrected with the uncertainty of a winding that may differ from it",
            Doubt::Time => "counted at the instant given, which may be off",
        }
    }
}

/// What is known of one tester: its proofs, and from when on it was due at which instants.
#[derive(Clone, Debug, Default)]
pub struct TesterRecord {
    /// Its proofs by time.
    pub proofs: Vec<Proof>,
    /// When each version of its gear row was recorded, and the due date in it; oldest first.
    pub dues: Vec<(Stamp, Option<Stamp>)>,
}

impl TesterRecord {
    /// The due date that had passed when a reading was taken. A row holds from the instant it was
    /// recorded; the first one also before, since registers are often written down late.
    pub fn overdue(&self, at: Stamp) -> Option<Stamp> {
        let upto = self.dues.partition_point(|(recorded, _)| *recorded <= at);
        let (_, due) = self.dues.get(upto.max(1) - 1)?;
        due.filter(|due| *due < at)
    }

    /// Whether a passed proof of the resistance function stands within a visit's gap of a reading
    /// or on its UTC day.
    fn is_proved(&self, at: Stamp, gap_hours: f64) -> bool {
        let gap = (gap_hours * DAY_MICROS as f64 / 24.0) as i64;
        let (from, to) = (at.micros() - gap, at.micros() + gap);
        let near =
            |p: &Proof| (from..=to).contains(&p.at.micros()) || p.at.utc_day() == at.utc_day();
        let of_resistance = |p: &Proof| {
            matches!(p.kind, ProofKind::Open | ProofKind::Shorted | ProofKind::KnownResistance)
        };
        // Proofs are by time; those of the day before and after are all that can be near.
        let day = DAY_MICROS;
        let first = self.proofs.partition_point(|p| p.at.micros() < from.min(at.micros() - day));
        let rest = &self.proofs[first..];
        rest.iter()
            .take_while(|p| p.at.micros() <= to.max(at.micros() + day))
            .any(|p| p.passed && of_resistance(p) && near(p))
    }
}

/// The doubts about one reading, as judged; `tester` is what is known of its tester. A voided
/// reading has none: a person has already said what it is.
pub fn doubts(judged: &Judged, tester: Option<&TesterRecord>, settings: &Settings) -> Vec<Doubt> {
    let r: &Reading = &judged.corrected.reading;
    let mut out = Vec::new();
    let mut add = |is: bool, doubt| {
        if is {
            out.push(doubt);
        }
    };
    let left_out = match &judged.role {
        Role::LeftOut(Exclusion::Voided(_)) => return out,
        Role::LeftOut(why) => Some(why),
        _ => None,
    };
    let failed = matches!(left_out, Some(Exclusion::ProofFailed(_)));
    add(failed, Doubt::ProofFailed);
    let proved = tester.is_some_and(|t| t.is_proved(r.taken_at, settings.gap_hours));
    add(!failed && !proved, Doubt::NotProved);
    add(matches!(left_out, Some(Exclusion::NoContact(_))), Doubt::Contact);
    add(tester.is_some_and(|t| t.overdue(r.taken_at).is_some()), Doubt::Overdue);
    add(super::gather::is_sagged(r, settings), Doubt::Sagged);
    add(!near_rated(r, settings), Doubt::Duration);
    add(r.temperature_c.is_none(), Doubt::NoTemperature);
    let ambient = r.temperature_c.is_some() && r.temperature_of == Some(TemperatureOf::Ambient);
    add(ambient, Doubt::Ambient);
    add(r.time_doubt != TimeDoubt::None, Doubt::Time);
    out
}
