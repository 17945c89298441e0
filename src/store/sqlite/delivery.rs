//! A delivery between its runs: the receipt so far and the claims to be forgotten at its end.

use std::sync::atomic::{AtomicI64, Ordering};

use rusqlite::{Connection, params};

use crate::model::Stamp;
use crate::store::{Receipt, Result, Source};

/// A delivery on its way in. Changed only after a commit, so that a failed run can be repeated.
#[derive(Debug)]
pub(super) struct Delivery {
    /// Tells the deliveries of this process apart.
    pub(super) number: i64,
    pub(super) now: Stamp,
    pub(super) source: Source,
    pub(super) receipt: Receipt,
    /// Whether slots of other deliveries were claimed.
    claimed: bool,
}

/// What one run came to, to be added to the delivery after the commit.
#[derive(Debug, Default)]
pub(super) struct Outcome {
    pub(super) receipt: Receipt,
    pub(super) claimed: bool,
}

impl Delivery {
    pub(super) fn new(now: Stamp, source: &Source) -> Self {
        static NEXT: AtomicI64 = AtomicI64::new(1);
        let number = NEXT.fetch_add(1, Ordering::Relaxed);
        let receipt = Receipt::default();
        Delivery { number, now, source: source.clone(), receipt, claimed: false }
    }

    /// Counts in what was committed.
    pub(super) fn add(&mut self, outcome: Outcome) {
        let Outcome { receipt: new, claimed } = outcome;
        let sum = &mut self.receipt;
        sum.batch = sum.batch.or(new.batch);
        sum.accepted += new.accepted;
        sum.duplicate += new.duplicate;
        sum.tray += new.tray;
        sum.rejected += new.rejected;
        sum.aside += new.aside;
        let room = Receipt::FIRST_REJECTS - sum.first_rejects.len();
        sum.first_rejects.extend(new.first_rejects.into_iter().take(room));
        sum.new_assets.extend(new.new_assets);
        self.claimed |= claimed;
    }

    /// The number under which it has claimed slots of other deliveries, if it has.
    pub(super) fn claims(&self) -> Option<i64> {
        self.claimed.then_some(self.number)
    }

    /// The receipt for all of it.
    pub(super) fn into_receipt(mut self) -> Receipt {
        self.receipt.new_assets.sort_unstable();
        self.receipt
    }
}

/// Forgets the claims of a delivery that has ended.
pub(super) fn forget_claims(db: &Connection, delivery: i64) -> Result<()> {
    db.execute("DELETE FROM temp.claimed WHERE delivery = ?1", params![delivery])?;
    Ok(())
}
