//! Changed assets to findings: drains what the store marked as pending.

mod task;

use rayon::prelude::*;

use crate::dossier::{Desk, DossierError, Settings, episodes};
use crate::model::{Finding, Stamp};
use crate::store::{Pending, Reader, Result as StoreResult, When, Writer};
use crate::trend::Assessor;

pub use task::{Task, Wake, wake};

/// Assets assessed between two writes: small enough that findings appear soon, large enough that
/// all cores have work.
const AT_ONCE: usize = 64;

/// A mark and the findings that answer it.
type Answer = (Pending, Vec<Finding>);

/// Assesses every pending asset, on all cores, and settles its findings. `readers` opens a reader
/// for each thread; `progress` is told how many are done, and of how many.
///
/// It can be stopped at any moment: a mark is cleared in the same transaction as the findings that
/// answer it.
pub fn drain<R: Reader + Send>(
    readers: &(dyn Fn() -> StoreResult<R> + Sync),
    writer: &mut dyn Writer,
    now: Stamp,
    settings: &Settings,
    progress: &dyn Fn(usize, usize),
) -> Result<usize, DossierError> {
    let pending = readers()?.pending()?;
    let assessor = Assessor::new(settings.trend.clone());
    let mut done = 0;
    for some in pending.chunks(AT_ONCE) {
        let share = some.len().div_ceil(rayon::current_num_threads().max(1)).max(1);
        let parts: Vec<Result<Vec<Answer>, DossierError>> = some
            .par_chunks(share)
            .map(|part| {
                let reader = readers()?;
                let desk = Desk::new(&reader, When::ALWAYS, settings, &assessor)?;
                part.iter().map(|p| Ok((p.clone(), findings(&desk, p)?))).collect()
            })
            .collect();
        for part in parts {
            for (pending, findings) in part? {
                writer.settle(now, &pending.asset, pending.mark, &findings)?;
                done += 1;
            }
        }
        progress(done, pending.len());
    }
    Ok(done)
}

fn findings<R: Reader + ?Sized>(
    desk: &Desk<'_, R>,
    pending: &Pending,
) -> Result<Vec<Finding>, DossierError> {
    match desk.open(&pending.asset) {
        Ok(dossier) => Ok(episodes(&dossier)),
        // Marked by a correction that moved its only readings away before it was registered.
        Err(DossierError::NoAsset(_)) => Ok(Vec::new()),
        Err(e) => Err(e),
    }
}
