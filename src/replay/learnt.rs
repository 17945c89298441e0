//! What the fleet's own history says of priors and testers, quarter by quarter: shown, and used
//! only where the detector's settings say so.

use rayon::prelude::*;

use crate::dossier::{DossierError, Records, Settings, context};
use crate::store::{Reader, Result as StoreResult, When};
use crate::trend::Assessor;
use crate::trend::learn::{Learnt, Lesson, learn, lesson};

/// Learns from all assets on all cores; the order of lessons is that of the assets' ids, so that
/// the same history gives the same numbers. `progress` is told how many are done, and of how many.
pub fn learnt<R: Reader + Send>(
    readers: &(dyn Fn() -> StoreResult<R> + Sync),
    when: When,
    settings: &Settings,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<Vec<Learnt>, DossierError> {
    const AT_ONCE: usize = 64;
    let reader = readers()?;
    let assets = reader.assets(when)?;
    let context = context(&reader)?;
    let assessor = Assessor::new(settings.trend.clone());
    let done = std::sync::atomic::AtomicUsize::new(0);
    let parts: Vec<Result<Vec<Lesson>, DossierError>> = assets
        .par_chunks(AT_ONCE)
        .map(|part| {
            let reader = readers()?;
            let records = Records::new(&reader, when, settings)?;
            let mut lessons = Vec::new();
            for asset in part {
                let cases = records.cases(&asset.id)?;
                lessons.extend(cases.iter().map(|c| lesson(assessor.detector(), c, &context)));
            }
            let before = done.fetch_add(part.len(), std::sync::atomic::Ordering::Relaxed);
            progress(before + part.len(), assets.len());
            Ok(lessons)
        })
        .collect();
    let mut lessons = Vec::new();
    for part in parts {
        lessons.extend(part?);
    }
    Ok(learn(assessor.detector(), lessons))
}
