//! Files whose bytes are kept: once, compressed, named by the digest of what they were.

use std::fs::{self, File};
use std::io::{self, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use super::{KeptFile, Result, StoreError};

/// Zstandard level: exports shrink to about a sixth, at some 400 MB/s on one core. Level 3 took twice as
/// long and packed invented exports no smaller.
const LEVEL: i32 = 1;

/// The folder of kept files beside the database. Cheap to make; any number may be used at once.
#[derive(Clone, Debug)]
pub struct KeptFiles {
    folder: PathBuf,
}

/// What an error calls the file that is to be kept.
const INCOMING: &str = "the incoming file";

impl KeptFiles {
    /// The kept files of the store in `data`.
    pub fn in_data(data: &Path) -> Self {
        KeptFiles { folder: data.join("raw") }
    }

    /// Where the file with this digest lies.
    pub fn path(&self, digest: &str) -> PathBuf {
        self.folder.join(format!("{digest}.zst"))
    }

    /// Whether the file with this digest is there.
    pub fn has(&self, digest: &str) -> bool {
        self.path(digest).is_file()
    }

    /// What the file that yields `bytes` will be known by; nothing is kept.
    pub fn identify(bytes: &mut dyn Read) -> Result<KeptFile> {
        let mut hasher = blake3::Hasher::new();
        let bytes = io::copy(bytes, &mut hasher).map_err(|e| failed(Path::new(INCOMING), e))?;
        Ok(KeptFile { digest: hasher.finalize().to_hex().as_str().into(), bytes })
    }

    /// Keeps what `bytes` yields, in bounded memory: when this returns it is on the disk under its
    /// digest, and bytes that were kept before are not kept twice.
    pub fn keep(&self, bytes: &mut dyn Read) -> Result<KeptFile> {
        static NEXT: AtomicU64 = AtomicU64::new(0);
        fs::create_dir_all(&self.folder).map_err(|e| failed(&self.folder, e))?;
        let next = NEXT.fetch_add(1, Ordering::Relaxed);
        let new = self.folder.join(format!(".new-{}-{next}", std::process::id()));
        let kept = self.keep_as(&new, bytes);
        if kept.is_err() || new.exists() {
            match fs::remove_file(&new) {
                Err(e) if e.kind() != io::ErrorKind::NotFound => return Err(failed(&new, e)),
                _ => {}
            }
        }
        kept
    }

    fn keep_as(&self, new: &Path, bytes: &mut dyn Read) -> Result<KeptFile> {
        let wrong = |e| failed(new, e);
        let mut hasher = blake3::Hasher::new();
        let file = File::create(new).map_err(wrong)?;
        let mut packed = zstd::Encoder::new(file, LEVEL).map_err(wrong)?;
        let mut buffer = vec![0; 64 * 1024];
        let mut length = 0;
        loop {
            let read = match bytes.read(&mut buffer) {
                Ok(0) => break,
                Ok(read) => read,
                Err(e) if e.kind() == io::ErrorKind::Interrupted => continue,
                Err(e) => return Err(failed(Path::new(INCOMING), e)),
            };
            hasher.update(&buffer[..read]);
            packed.write_all(&buffer[..read]).map_err(wrong)?;
            length += read as u64;
        }
        let file = packed.finish().map_err(wrong)?;
        file.sync_all().map_err(wrong)?;
        let digest = hasher.finalize().to_hex();
        let path = self.path(&digest);
        if !path.exists() {
            fs::rename(new, &path).map_err(wrong)?;
            sync_folder(&self.folder)?;
        }
        Ok(KeptFile { digest: digest.as_str().into(), bytes: length })
    }

    /// The original bytes of a kept file.
    pub fn open(&self, digest: &str) -> Result<impl Read + Send + 'static> {
        let path = self.path(digest);
        if digest.len() != 64 || !digest.bytes().all(|b| b.is_ascii_hexdigit()) {
            let why = "expected 64 hexadecimal digits".to_owned();
            return Err(StoreError::Kept { digest: digest.to_owned(), why });
        }
        let missing = |e: io::Error| StoreError::Kept {
            digest: digest.to_owned(),
            why: format!("cannot read `{}`: {e}", path.display()),
        };
        let file = File::open(&path).map_err(missing)?;
        let unpacked = zstd::Decoder::new(file).map_err(missing)?;
        Ok(BufReader::new(unpacked))
    }

    /// Reads a kept file whole and holds it against its digest and length.
    pub fn verify(&self, file: &KeptFile) -> Result<()> {
        let wrong = |why| StoreError::Kept { digest: file.digest.to_string(), why };
        let mut hasher = blake3::Hasher::new();
        let mut bytes = self.open(&file.digest)?;
        let length = io::copy(&mut bytes, &mut hasher).map_err(|e| wrong(e.to_string()))?;
        let digest = hasher.finalize().to_hex();
        match (digest.as_str() == file.digest, length == file.bytes) {
            (true, true) => Ok(()),
            (false, _) => Err(wrong(format!("its bytes have the digest `{digest}`"))),
            (_, false) => Err(wrong(format!("expected {} bytes, found {length}", file.bytes))),
        }
    }
}

/// Makes the names in a folder durable.
pub(crate) fn sync_folder(folder: &Path) -> Result<()> {
    File::open(folder).and_then(|f| f.sync_all()).map_err(|e| failed(folder, e))
}

/// What the system says about a file, with a full disk told apart.
pub(crate) fn failed(path: &Path, error: io::Error) -> StoreError {
    match error.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => StoreError::Full,
        _ => StoreError::File { path: path.display().to_string(), why: error.to_string() },
    }
}
