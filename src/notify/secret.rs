//! Secrets stand in files, never in the configuration; they are read whenever they are needed, so
//! that a new one counts at once.

use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use super::SendError;

/// Longest secret in bytes.
const MOST_BYTES: u64 = 4 * 1024;

/// Where systemd says that it put the credentials of a service.
const CREDENTIALS: &str = "CREDENTIALS_DIRECTORY";

/// A file with a secret in it: an absolute path, or the bare name of a systemd credential.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SecretFile(PathBuf);

impl SecretFile {
    /// Names a file; the error says what was expected.
    pub fn new(name: &str) -> Result<Self, String> {
        let path = Path::new(name);
        if !path.is_absolute() && (name.is_empty() || name.contains('/') || name.starts_with('.')) {
            return Err(format!(
                "expected an absolute path, or the name of a systemd credential, found `{name}`"
            ));
        }
        Ok(SecretFile(path.to_owned()))
    }

    /// Where it is; for a credential, where systemd put it.
    fn path(&self) -> Result<PathBuf, SendError> {
        if self.0.is_absolute() {
            return Ok(self.0.clone());
        }
        let folder = std::env::var_os(CREDENTIALS).ok_or_else(|| {
            self.cannot(format!(
                "`{CREDENTIALS}` is not set (say `LoadCredential={0}:/path/to/file` in the unit, \
                 or give an absolute path)",
                self.0.display()
            ))
        })?;
        Ok(Path::new(&folder).join(&self.0))
    }

    fn cannot(&self, why: impl ToString) -> SendError {
        SendError::Secret { path: self.0.display().to_string(), why: why.to_string() }
    }

    /// The secret: the file's text without the line end after it.
    pub fn read(&self) -> Result<String, SendError> {
        let path = self.path()?;
        let size = std::fs::metadata(&path).map_err(|e| self.cannot(e))?.len();
        if size > MOST_BYTES {
            let why = format!("expected at most {MOST_BYTES} bytes, found {size}");
            return Err(self.cannot(why));
        }
        let text = std::fs::read_to_string(&path).map_err(|e| self.cannot(e))?;
        let secret = text.trim_end_matches(['\r', '\n']);
        match secret.is_empty() {
            true => Err(self.cannot("expected a secret on one line, found none")),
            false => Ok(secret.to_owned()),
        }
    }

    /// What a person should know of it before it is used; none when all is well.
    pub fn problem(&self) -> Option<String> {
        if let Err(e) = self.read() {
            return Some(e.to_string());
        }
        let mode = self.path().ok()?.metadata().ok()?.permissions().mode();
        let path = self.0.display();
        (mode & 0o007 != 0).then(|| {
            format!("everybody on this machine can read the secret `{path}` (`chmod o= {path}`)")
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_secret_is_a_line_in_a_file_of_its_own() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("secret");
        let file = SecretFile::new(path.to_str().unwrap()).unwrap();
        assert!(file.read().unwrap_err().to_string().contains("No such file"));
        for (text, secret) in [("two words\n", "two words"), ("x", "x")] {
            std::fs::write(&path, text).unwrap();
            assert_eq!(file.read().unwrap(), secret);
        }
        let mode = |mode| std::fs::set_permissions(&path, PermissionsExt::from_mode(mode)).unwrap();
        mode(0o640);
        assert_eq!(file.problem(), None);
        mode(0o644);
        assert!(file.problem().unwrap().contains("everybody on this machine"));
        std::fs::write(&path, "\n").unwrap();
        assert!(file.problem().unwrap().contains("found none"));
    }

    #[test]
    fn a_bare_name_is_a_credential() {
        let told = SecretFile::new("hook").unwrap().read().unwrap_err().to_string();
        assert!(told.contains("LoadCredential=hook:"), "{told}");
        for wrong in ["", "a/b", "../x", ".x"] {
            assert!(SecretFile::new(wrong).is_err(), "{wrong}");
        }
    }
}
