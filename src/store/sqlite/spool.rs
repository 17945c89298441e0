//! Parts of a run that wait on the disk while the writer is busy: the longer it is, the more rows
//! the next run has, and the less often each page of the table is written.

use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::os::unix::fs::FileExt;
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};

use super::row::Row;
use crate::store::Result;
use crate::store::kept::failed;

/// Bytes read at once: neighbouring homes most often lie side by side.
const READ: usize = 64 * 1024;

/// A file without a name, gone with the process.
#[derive(Debug)]
pub(super) struct Spool {
    file: File,
    rows: u64,
    parts: Vec<Part>,
}

/// Rows that were ordered together: where the rows of each home end, counted from the first row.
#[derive(Debug)]
struct Part {
    first: u64,
    ends: Vec<u32>,
}

impl Spool {
    /// An empty spool in the data folder.
    pub(super) fn new(data: &Path) -> Result<Self> {
        static NEXT: AtomicU64 = AtomicU64::new(0);
        let next = NEXT.fetch_add(1, Ordering::Relaxed);
        let path = data.join(format!(".spool-{}-{next}", std::process::id()));
        let open = || {
            let file = File::options().read(true).write(true).create_new(true).open(&path)?;
            fs::remove_file(&path)?;
            Ok(file)
        };
        let file = open().map_err(|e| failed(&path, e))?;
        Ok(Spool { file, rows: 0, parts: Vec::new() })
    }

    /// How many parts wait.
    pub(super) fn parts(&self) -> usize {
        self.parts.len()
    }

    /// Adds rows grouped by home.
    pub(super) fn add(&mut self, ends: Vec<u32>, rows: impl Iterator<Item = Row>) -> Result<()> {
        let mut out = BufWriter::with_capacity(1 << 20, &self.file);
        let written = rows.map(Row::to_bytes).try_for_each(|row| out.write_all(&row));
        written.and_then(|()| out.flush()).map_err(|e| failed(Path::new("the spool"), e))?;
        let first = self.rows;
        self.rows += u64::from(ends.last().copied().unwrap_or(0));
        self.parts.push(Part { first, ends });
        Ok(())
    }

    /// Readers of the parts, in the order in which they came.
    pub(super) fn readers(&self) -> impl Iterator<Item = PartReader<'_>> {
        self.parts.iter().map(|part| PartReader { spool: self, part, from: 0, bytes: Vec::new() })
    }
}

/// Reads one part, home by home in any order, forward being quick.
#[derive(Debug)]
pub(super) struct PartReader<'a> {
    spool: &'a Spool,
    part: &'a Part,
    /// First row of what was read ahead, and its bytes.
    from: u64,
    bytes: Vec<u8>,
}

impl PartReader<'_> {
    /// Hands out the rows of a home, in their order.
    pub(super) fn each(
        &mut self,
        home: usize,
        each: &mut dyn FnMut(Row) -> Result<()>,
    ) -> Result<()> {
        let ends = &self.part.ends;
        let end = |home: usize| ends.get(home).or(ends.last()).map_or(0, |&end| u64::from(end));
        let start = home.checked_sub(1).map_or(0, end);
        for row in start..end(home) {
            let bytes = self.row(row)?;
            each(Row::from_bytes(&bytes))?;
        }
        Ok(())
    }

    fn row(&mut self, row: u64) -> Result<[u8; Row::BYTES]> {
        let ahead = (self.bytes.len() / Row::BYTES) as u64;
        if row < self.from || row >= self.from + ahead {
            let total = self.part.ends.last().map_or(0, |&end| u64::from(end));
            let rows = (READ / Row::BYTES) as u64;
            self.bytes.resize((total - row).min(rows) as usize * Row::BYTES, 0);
            let at = (self.part.first + row) * Row::BYTES as u64;
            let read = self.spool.file.read_exact_at(&mut self.bytes, at);
            read.map_err(|e| failed(Path::new("the spool"), e))?;
            self.from = row;
        }
        let (rows, _) = self.bytes.as_chunks();
        Ok(rows[(row - self.from) as usize])
    }
}
