//! Files of a folder into the store, each with a verdict on where it belongs then.

use std::path::Path;
use std::sync::Arc;

use ohmward_parsers::Profiles;

use crate::config::DropFolder;
use crate::intake::{FileImport, IntakeError};
use crate::sources::Standing;
use crate::sources::folder::Verdict;
use crate::web::Shared;

/// The intake of one folder.
pub(super) struct Files {
    pub(super) shared: Arc<Shared>,
    pub(super) drop: DropFolder,
    pub(super) profiles: Arc<Profiles>,
    pub(super) standing: Arc<Standing>,
}

impl Files {
    /// Brings a file into the store.
    pub(super) fn take(&mut self, path: &Path) -> Verdict {
        match self.import(path) {
            Ok(()) => Verdict::Done,
            Err(IntakeError::Store(e)) => Verdict::Busy(e.to_string()),
            Err(e @ IntakeError::Read { .. }) => Verdict::Later(e.to_string()),
            Err(e) => Verdict::Refused(format!(
                "{e}\nNothing of this file was stored. To have it read again, move it back into \
                 the folder (after adding or naming a profile that fits)."
            )),
        }
    }

    fn import(&mut self, path: &Path) -> Result<(), IntakeError> {
        let registers = self.shared.registers.current()?;
        let standing = &self.standing;
        let import = FileImport {
            profiles: &self.profiles,
            profile: self.drop.profile.as_deref(),
            around: self.drop.around.clone(),
            aliases: &registers.aliases,
            gear: &registers.gear,
            now: self.shared.clock.now(),
            first_met: &|id| self.shared.class.asset(id),
            // A long file shows that it is being worked on.
            progress: &|_, _| standing.reading.tick(),
        };
        let mut writer = self.shared.writer.clone();
        let done = import.run(&mut writer, &self.shared.store.kept(), path)?;
        self.shared.wake.wake();
        let name = path.file_name().map(|name| name.to_string_lossy()).unwrap_or_default();
        standing.came(self.shared.clock.now(), name);
        let r = &done.receipt;
        standing.tally.count(r.accepted, r.duplicate, r.tray, r.rejected);
        tracing::info!(
            source = %standing.name,
            file = %path.display(),
            profile = done.profile,
            accepted = r.accepted,
            duplicate = r.duplicate,
            tray = r.tray,
            rejected = r.rejected,
            "file taken in"
        );
        for warning in &done.warnings {
            tracing::warn!(source = %standing.name, file = %path.display(), "{warning}");
        }
        Ok(())
    }
}
