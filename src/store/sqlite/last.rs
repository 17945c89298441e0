//! When each asset was last measured: one look at the end of each series.

use rusqlite::{Connection, params};

use super::cells::Cells;
use crate::model::{AssetId, Stamp};
use crate::store::{Result, When};

/// The last standing reading of each asset, by id.
pub(super) fn of_all(db: &Connection, when: When) -> Result<Vec<(AssetId, Stamp)>> {
    // Of several corrections of one kind the last counts, as in `visits`.
    let of = "c.of_batch = r.batch AND c.of_place = r.record << 16 | (r.flags >> 6 & 65535)
              AND c.batch IN (SELECT no FROM batch WHERE received_at <= ?2)";
    let stands = format!(
        "ifnull((SELECT c.kind FROM correction c WHERE {of} AND c.kind IN ('void', 'restore')
                 ORDER BY c.no DESC LIMIT 1), 'restore') = 'restore'"
    );
    let place = format!(
        "(SELECT c.target FROM correction c WHERE {of} AND c.kind = 'move'
          ORDER BY c.no DESC LIMIT 1)"
    );
    let sql = format!(
        "WITH last (asset, at) AS (
           SELECT s.asset, (SELECT r.taken_at FROM reading r CROSS JOIN batch b ON b.no = r.batch
             WHERE r.series = s.no AND r.taken_at <= ?1 AND b.received_at <= ?2
               AND ifnull({place}, s.asset) = s.asset AND {stands}
             ORDER BY r.taken_at DESC LIMIT 1)
           FROM series s WHERE s.asset <> 0
           UNION ALL
           SELECT m.target, r.taken_at FROM correction m
           CROSS JOIN reading r ON r.series = m.series AND r.taken_at = m.taken_at
             AND r.tester = m.tester AND r.bound = m.bound AND r.ohms = m.ohms
             AND r.duration = m.duration AND r.nth = m.nth
           CROSS JOIN batch b ON b.no = r.batch
           WHERE m.kind = 'move' AND r.taken_at <= ?1 AND b.received_at <= ?2
             AND {place} = m.target AND {stands})
         SELECT a.id, max(at) FROM last JOIN asset a ON a.no = last.asset
         WHERE at IS NOT NULL GROUP BY a.id ORDER BY a.id"
    );
    let mut query = db.prepare_cached(&sql)?;
    let mut rows = query.query(params![when.as_of.micros(), when.known_at.micros()])?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        let asset = Cells { row, table: "asset" }.asset(0)?;
        all.push((asset, Stamp::from_micros(row.get(1)?)));
    }
    Ok(all)
}
