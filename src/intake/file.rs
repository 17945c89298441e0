//! A file into the store: recognised, kept by its digest, parsed on one thread, written on another.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::os::unix::fs::FileExt;
use std::path::Path;
use std::sync::mpsc;
use std::thread::ScopedJoinHandle;

use ohmward_parsers::{Place, Profile, Profiles, Recognised, Stream};

use super::IntakeError;
use super::parcels::{Packer, pump};
use super::sheet::{SheetText, is_sheet, sheet_text};
use crate::limits;
use crate::model::{Alias, Asset, Gear, Stamp};
use crate::normalise::{Normaliser, Surroundings};
use crate::store::{
    Entry, KeptFile, KeptFiles, Parcel, Receipt, RecordPlace, RejectItem, Source, StoreError,
    Writer,
};

/// Bytes looked at to recognise a format.
pub(super) const HEAD: usize = 64 * 1024;

/// How a file is to be taken in.
pub struct FileImport<'a> {
    /// The profiles that are known.
    pub profiles: &'a Profiles,
    /// The profile to read it by; none: recognised.
    pub profile: Option<&'a str>,
    /// What the surroundings say where records are silent.
    pub around: Surroundings,
    /// Other names.
    pub aliases: &'a [Alias],
    /// Testers, for bare over-range marks.
    pub gear: &'a [Gear],
    /// Now.
    pub now: Stamp,
    /// What an asset first met becomes.
    pub first_met: &'a dyn Fn(crate::model::AssetId) -> Asset,
    /// Is told bytes read and bytes in all.
    pub progress: &'a (dyn Fn(u64, u64) + Sync),
}

/// What became of a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Imported {
    /// The profile it was read by.
    pub profile: String,
    /// What the store says.
    pub receipt: Receipt,
    /// What a person should know, such as columns that nobody reads.
    pub warnings: Vec<String>,
    /// Why reading stopped before the end: a header that cannot be right.
    pub refused: Option<String>,
}

/// What a file would become.
#[derive(Clone, Debug, Default)]
pub struct Preview {
    /// The profile it would be read by.
    pub profile: String,
    /// Readings of known assets and phases.
    pub readings: u64,
    /// Readings for the tray.
    pub tray: u64,
    /// Records that could not become readings.
    pub rejected: u64,
    /// The first readings.
    pub first: Vec<(RecordPlace, crate::model::Reading)>,
    /// The first rejects.
    pub first_rejects: Vec<(RecordPlace, RejectItem)>,
    /// What a person should know.
    pub warnings: Vec<String>,
    /// Why reading stopped before the end.
    pub refused: Option<String>,
}

impl FileImport<'_> {
    /// Takes the file in; returns when all of it is durable.
    pub fn run<S: Writer + ?Sized>(
        &self,
        store: &mut S,
        kept: &KeptFiles,
        path: &Path,
    ) -> Result<Imported, IntakeError> {
        let read = |why| IntakeError::Read { path: path.display().to_string(), why };
        let Opened { file, sheet, bytes, profile, mut stream, warnings } = self.open(path)?;
        // The digest is quick; compressing is not, and goes on while the first part is parsed.
        let kept_file = KeptFiles::identify(&mut ReadFrom(&file, 0))?;
        let name = path.file_name().map(|n| n.to_string_lossy()).unwrap_or_default();
        let source = Source {
            kind: "file".into(),
            name: name.as_ref().into(),
            profile: profile.name().into(),
            file: Some(kept_file.clone()),
        };
        let mut normaliser = Normaliser::new(self.aliases, self.gear, self.around.clone());
        let now = self.now;
        let progress = self.progress;
        // A parcel is some 700 kB: the queue only evens out the two threads.
        let (sender, receiver) = mpsc::sync_channel::<Parcel>(3);
        let (receipt, (parsed, warnings, refused)) = std::thread::scope(|scope| {
            let mut keeping = Some(scope.spawn(|| keep(kept, &file, &kept_file)));
            let mut on_disk = || keeping.take().map_or(Ok(()), joined);
            let file = &file;
            let parser = scope.spawn(move || {
                let bytes_at = |place| bytes_of(file, sheet.as_deref(), place);
                let mut packer =
                    Packer { normaliser: &mut normaliser, arrived: now, bytes_at: &bytes_at };
                let done = pump(
                    input(file, sheet.as_deref()),
                    &mut stream,
                    &mut packer,
                    &|read| progress(read, bytes),
                    &mut |parcel| sender.send(parcel).is_ok(),
                );
                let warnings = [warnings, stream.warnings().to_vec()].concat();
                (done, warnings, refusal(&stream))
            });
            let mut parcels = receiver.into_iter();
            let receipt =
                store.receive_kept(now, &source, self.first_met, &mut parcels, &mut on_disk);
            drop(parcels);
            (receipt.and_then(|receipt| on_disk().map(|()| receipt)), joined(parser))
        });
        let receipt = receipt?;
        parsed.map_err(read)?;
        Ok(Imported { profile: profile.name().to_owned(), receipt, warnings, refused })
    }

    /// Says what the file would become, and stores nothing.
    pub fn preview(&self, path: &Path, first: usize) -> Result<Preview, IntakeError> {
        let Opened { file, sheet, bytes, profile, mut stream, warnings } = self.open(path)?;
        let mut normaliser = Normaliser::new(self.aliases, self.gear, self.around.clone());
        let bytes_at = |place| bytes_of(&file, sheet.as_deref(), place);
        let mut packer =
            Packer { normaliser: &mut normaliser, arrived: self.now, bytes_at: &bytes_at };
        let mut preview = Preview { profile: profile.name().to_owned(), ..Preview::default() };
        let mut deliver = |parcel: Parcel| {
            for (place, entry) in parcel.entries {
                match entry {
                    Entry::Reading(reading) => {
                        preview.readings += 1;
                        if preview.first.len() < first {
                            preview.first.push((place, reading));
                        }
                    }
                    Entry::Tray(_) => preview.tray += 1,
                    Entry::Aside => {}
                    Entry::Reject(item) => {
                        preview.rejected += 1;
                        if preview.first_rejects.len() < first {
                            preview.first_rejects.push((place, item));
                        }
                    }
                }
            }
            true
        };
        let input = input(&file, sheet.as_deref());
        pump(input, &mut stream, &mut packer, &|n| (self.progress)(n, bytes), &mut deliver)
            .map_err(|why| IntakeError::Read { path: path.display().to_string(), why })?;
        preview.warnings = [warnings, stream.warnings().to_vec()].concat();
        preview.refused = refusal(&stream);
        Ok(preview)
    }

    fn open(&self, path: &Path) -> Result<Opened<'_>, IntakeError> {
        let shown = || path.display().to_string();
        let read = |why| IntakeError::Read { path: shown(), why };
        let mut file = File::open(path).map_err(read)?;
        let meta = file.metadata().map_err(read)?;
        if meta.is_dir() {
            return Err(IntakeError::Unrecognised(format!(
                "`{}` is a folder without the files of `export --all` (name the files in it)",
                shown()
            )));
        }
        let mut head = head(&mut file).map_err(read)?;
        file.seek(SeekFrom::Start(0)).map_err(read)?;
        let (mut bytes, mut sheet, mut warnings) = (meta.len(), None, Vec::new());
        if is_sheet(&head) {
            let read = sheet_of(&mut file, &shown())?;
            file.seek(SeekFrom::Start(0))
                .map_err(|why| IntakeError::Read { path: shown(), why })?;
            head = read.text[..read.text.len().min(HEAD)].to_vec();
            bytes = read.text.len() as u64;
            warnings = read.warnings;
            sheet = Some(read.text);
        }
        let profile = choose(self.profiles, self.profile, &head, &shown())?;
        let stream = Stream::open(profile, &head).map_err(|e| IntakeError::Profile {
            path: shown(),
            profile: profile.name().to_owned(),
            why: e.to_string(),
        })?;
        Ok(Opened { file, sheet, bytes, profile, stream, warnings })
    }
}

/// Keeps a file that was identified, unless it is kept already.
fn keep(kept: &KeptFiles, file: &File, known: &KeptFile) -> Result<(), StoreError> {
    if kept.has(&known.digest) {
        return Ok(());
    }
    match kept.keep(&mut ReadFrom(file, 0))? {
        same if same == *known => Ok(()),
        _ => Err(StoreError::Other("the file changed while it was read (import it again)".into())),
    }
}

/// What a thread of ours returned.
fn joined<T>(thread: ScopedJoinHandle<'_, T>) -> T {
    thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
}

/// Reads a file from a place on, and leaves its own position alone.
struct ReadFrom<'a>(&'a File, u64);

impl Read for ReadFrom<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let read = self.0.read_at(buffer, self.1)?;
        self.1 += read as u64;
        Ok(read)
    }
}

/// A file that is ready to be read.
struct Opened<'p> {
    file: File,
    /// The text of a spreadsheet; its places are those in this text. What is kept is the file.
    sheet: Option<Vec<u8>>,
    /// Of what is read.
    bytes: u64,
    profile: &'p Profile,
    stream: Stream,
    warnings: Vec<String>,
}

/// What is parsed: the text of a spreadsheet, else the file itself.
fn input<'a>(file: &'a File, sheet: Option<&'a [u8]>) -> Box<dyn Read + 'a> {
    match sheet {
        Some(text) => Box::new(text),
        None => Box::new(file),
    }
}

/// The text of a spreadsheet's bytes.
pub(super) fn sheet_of(bytes: &mut dyn Read, path: &str) -> Result<SheetText, IntakeError> {
    let mut all = Vec::new();
    bytes
        .take(limits::SHEET_BYTES + 1)
        .read_to_end(&mut all)
        .map_err(|why| IntakeError::Read { path: path.to_owned(), why })?;
    if all.len() as u64 > limits::SHEET_BYTES {
        return Err(IntakeError::Unrecognised(format!(
            "`{path}` is larger than {} MiB (export it as text)",
            limits::SHEET_BYTES >> 20
        )));
    }
    sheet_text(&all).map_err(|why| IntakeError::Unrecognised(format!("`{path}`: {why}")))
}

/// Why a stream was not read to its end, and how much of it.
fn refusal(stream: &Stream) -> Option<String> {
    let reject = stream.refusal()?;
    Some(format!("{reject}; {} records after it were not read", stream.unread()))
}

/// The first bytes of a file.
fn head(file: &mut File) -> std::io::Result<Vec<u8>> {
    let mut head = Vec::new();
    file.take(HEAD as u64).read_to_end(&mut head)?;
    Ok(head)
}

/// The profile named, or the one that recognises the head: exactly one must.
pub(crate) fn choose<'p>(
    profiles: &'p Profiles,
    named: Option<&str>,
    head: &[u8],
    path: &str,
) -> Result<&'p Profile, IntakeError> {
    if let Some(name) = named {
        return profiles.get(name).ok_or_else(|| {
            let names: Vec<_> = profiles.iter().map(Profile::name).collect();
            IntakeError::Unrecognised(format!(
                "there is no profile `{name}` (there are {})",
                names.join(", ")
            ))
        });
    }
    Err(IntakeError::Unrecognised(match profiles.recognise(head) {
        Recognised::One(profile) => return Ok(profile),
        Recognised::Empty => format!("`{path}` is empty: there is nothing to read"),
        Recognised::Binary => format!(
            "`{path}` is binary, not text (export it as CSV or text; spreadsheets: save as CSV)"
        ),
        Recognised::Unknown => format!(
            "no profile recognises `{path}`, which begins with `{}` (name one with --profile; \
             `ohmward profile list` shows them)",
            beginning(head)
        ),
        Recognised::Several(several) => {
            let names: Vec<_> = several.iter().map(|p| p.name()).collect();
            format!(
                "`{path}` fits several profiles: {} (name one with --profile)",
                names.join(", ")
            )
        }
    }))
}

fn beginning(head: &[u8]) -> String {
    let text = String::from_utf8_lossy(&head[..head.len().min(240)]);
    let line = text.lines().find(|l| !l.trim().is_empty()).unwrap_or_default();
    line.chars().take(60).map(|c| if c.is_control() { '·' } else { c }).collect()
}

/// The original bytes of a record, cut to what a reject keeps.
fn bytes_of(file: &File, sheet: Option<&[u8]>, place: Place) -> Vec<u8> {
    if let Some(text) = sheet {
        let from = usize::try_from(place.offset).unwrap_or(usize::MAX).min(text.len());
        let len = (place.len as usize).min(limits::REJECT_BYTES).min(text.len() - from);
        return text[from..from + len].to_vec();
    }
    let mut bytes = vec![0; (place.len as usize).min(limits::REJECT_BYTES)];
    let n = file.read_at(&mut bytes, place.offset).unwrap_or(0);
    bytes.truncate(n);
    bytes
}
