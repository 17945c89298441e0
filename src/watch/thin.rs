//! Thinning by the calendar: what streams sent long ago and nothing rests on.

use crate::dossier::{DossierError, Records, Settings};
use crate::model::{AssetId, Stamp};
use crate::store::{Reader, When, Writer};

/// Takes out what may go of each asset, or, without a writer, only says what would; returns how
/// many readings of which asset, by id. None where the settings name no time to keep them.
///
/// # Errors
/// When the store cannot be read or written; what went before stays gone.
pub fn thin<R: Reader + ?Sized>(
    reader: &R,
    mut writer: Option<&mut dyn Writer>,
    now: Stamp,
    settings: &Settings,
    progress: &dyn Fn(usize, usize),
) -> Result<Vec<(AssetId, usize)>, DossierError> {
    let Some(days) = settings.keep_days else { return Ok(Vec::new()) };
    let before = now.plus_days(-f64::from(days));
    let records = Records::new(reader, When::ALWAYS, settings)?;
    let assets = reader.assets(When::ALWAYS)?;
    let mut out = Vec::new();
    for (done, asset) in assets.iter().enumerate() {
        progress(done, assets.len());
        let free = records.thinnable(&asset.id, before)?;
        if free.is_empty() {
            continue;
        }
        if let Some(writer) = writer.as_deref_mut() {
            writer.thin(&free)?;
        }
        out.push((asset.id.clone(), free.len()));
    }
    Ok(out)
}
