//! What people change: register rows, corrections, and answers to findings.

use crate::model::{
    Access, Account, Alias, Asset, AssetClass, AssetId, Correction, Event, FindingKind, Gear,
    Proof, Stamp, Text, Token,
};

/// A change that a person makes to a register or a reading.
#[derive(Clone, Debug, PartialEq)]
pub enum Change {
    /// A class as it is from now on. It has a name.
    Class(AssetClass),
    /// An asset as it is from now on, in its own words: what it is silent about, its class says.
    Asset(Asset),
    /// Something done to an asset. One at the same time and of the same kind is replaced.
    Event(Event),
    /// Takes back an event that was recorded wrongly (same asset, time and kind).
    EventVoid(Event),
    /// A piece of gear as it is from now on.
    Gear(Gear),
    /// A check of a tester. Proofs never replace each other: two different ones at one instant
    /// both stand, so that a failed one is not lost behind a passed one.
    Proof(Proof),
    /// Takes back a proof that was recorded wrongly (equal in every field).
    ProofVoid(Proof),
    /// Another name. One with the same written texts and the same first instant is replaced.
    Alias(Alias),
    /// Takes back an alias (same written texts, first instant and, with nothing written, asset).
    AliasVoid(Alias),
    /// Something put right on a reading.
    Correction(Correction),
    /// An answer to a finding.
    FindingAct(FindingAct),
    /// One more step of a run sheet. It has to follow the last one: else somebody else has been at
    /// the sheet meanwhile, and the change is refused ([`StoreError::Stale`](super::StoreError)).
    Step(SheetStep),
    /// An account as it is from now on.
    Account(Account),
    /// A token as it is from now on.
    Token(Token),
    /// Somebody came, or was not let in; always a new row.
    Access(Access),
}

/// A run sheet: no two are opened at one station at one instant.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SheetKey {
    /// The station.
    pub station: Text,
    /// When it was opened.
    pub opened: Stamp,
}

/// One step of a run sheet, as it is kept. Steps are never changed or taken out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SheetStep {
    /// The sheet.
    pub sheet: SheetKey,
    /// Counted from 1 within the sheet, without a gap.
    pub number: u32,
    /// When it was done; it is recorded then, or later where it comes from elsewhere.
    pub at: Stamp,
    /// What was done, in a word.
    pub act: Text,
    /// Its particulars, as JSON text.
    pub details: String,
}

/// What a person does about a finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Act {
    /// Somebody has seen it and answers for it.
    Acknowledge,
    /// It is done with, whatever the trend says of this episode.
    Close,
}

/// An answer to a finding. It stays with the finding when the episode is assessed again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FindingAct {
    /// The asset of the finding.
    pub asset: AssetId,
    /// The kind of the finding.
    pub kind: FindingKind,
    /// An instant of the finding, such as its `since`.
    pub since: Stamp,
    /// What is done.
    pub act: Act,
    /// Why, in the person's words; may be empty.
    pub remark: Text,
}
