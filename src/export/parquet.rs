//! A table as a Parquet file: typed columns, nulls where a CSV would be empty, compressed.
//!
//! Open standard: Apache Parquet format 2 (github.com/apache/parquet-format). Instants are
//! TIMESTAMP(MICROS, UTC), numbers DOUBLE or INT64, texts STRING through a dictionary. Units and
//! meanings stand in the file's key-value metadata, `column.NAME.unit` and `column.NAME.meaning`.

use std::io::{self, Write};
use std::sync::Arc;

use parquet::basic::{Compression, Encoding, LogicalType, Repetition, TimeUnit, Type as Physical};
use parquet::column::writer::ColumnWriter;
use parquet::data_type::ByteArray;
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::{ColumnPath, Type};
use rustc_hash::FxHashMap;

use super::table::{Column, Get, Table};
use crate::limits::ROW_GROUP;
use crate::model::Text;

/// Writes rows of a table as Parquet; holds one row group in memory.
pub struct ParquetTable<T: 'static, W: Write + Send> {
    out: SerializedFileWriter<W>,
    columns: Vec<Held<T>>,
    rows: usize,
}

impl<T, W: Write + Send> ParquetTable<T, W> {
    /// Begins a file; `about` is kept in it beside what the columns mean.
    pub fn new(table: &'static Table<T>, about: &[(&str, String)], out: W) -> io::Result<Self> {
        let fields = table.columns.iter().map(|c| field(c).map(Arc::new));
        let schema = Type::group_type_builder("table")
            .with_fields(fields.collect::<Result<_, _>>().map_err(failed)?)
            .build()
            .map_err(failed)?;
        let out = SerializedFileWriter::new(out, Arc::new(schema), properties(table, about).into());
        let columns = table.columns.iter().map(Held::new).collect();
        Ok(ParquetTable { out: out.map_err(failed)?, columns, rows: 0 })
    }

    /// Takes a row.
    pub fn row(&mut self, row: &T) -> io::Result<()> {
        for column in &mut self.columns {
            column.push(row);
        }
        self.rows += 1;
        if self.rows == ROW_GROUP {
            self.write_group()?;
        }
        Ok(())
    }

    /// Writes what is left and the footer.
    pub fn finish(mut self) -> io::Result<()> {
        if self.rows > 0 {
            self.write_group()?;
        }
        self.out.close().map(|_| ()).map_err(failed)
    }

    fn write_group(&mut self) -> io::Result<()> {
        self.rows = 0;
        let mut write = || {
            let mut group = self.out.next_row_group()?;
            for column in &mut self.columns {
                let Some(mut chunk) = group.next_column()? else { break };
                column.write(chunk.untyped())?;
                chunk.close()?;
            }
            group.close().map(|_| ())
        };
        write().map_err(failed)
    }
}

fn failed(error: ParquetError) -> io::Error {
    match error {
        ParquetError::External(inner) => io::Error::other(inner),
        other => io::Error::other(other),
    }
}

/// A column of the schema.
fn field<T>(column: &Column<T>) -> Result<Type, ParquetError> {
    let (physical, logical) = match column.get {
        Get::Time(_) => (Physical::INT64, Some(LogicalType::timestamp(true, TimeUnit::MICROS))),
        Get::Number(_) => (Physical::DOUBLE, None),
        Get::Count(_) => (Physical::INT64, None),
        Get::Text(_) => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
    };
    Type::primitive_type_builder(column.name, physical)
        .with_logical_type(logical)
        .with_repetition(Repetition::OPTIONAL)
        .build()
}

fn properties<T>(table: &Table<T>, about: &[(&str, String)]) -> WriterProperties {
    let mut pairs = vec![KeyValue::new("meaning".to_owned(), table.meaning.to_owned())];
    pairs.extend(about.iter().map(|(key, value)| KeyValue::new((*key).to_owned(), value.clone())));
    let mut properties = WriterProperties::builder()
        .set_created_by(concat!("ohmward ", env!("CARGO_PKG_VERSION")).to_owned())
        .set_compression(Compression::ZSTD(Default::default()));
    for Column { name, unit, meaning, get } in table.columns {
        if !unit.is_empty() {
            pairs.push(KeyValue::new(format!("column.{name}.unit"), (*unit).to_owned()));
        }
        pairs.push(KeyValue::new(format!("column.{name}.meaning"), (*meaning).to_owned()));
        // Instants hardly ever repeat, and neighbours are close to each other.
        if matches!(get, Get::Time(_)) {
            let path = ColumnPath::from(*name);
            properties = properties
                .set_column_dictionary_enabled(path.clone(), false)
                .set_column_encoding(path, Encoding::DELTA_BINARY_PACKED);
        }
    }
    properties.set_key_value_metadata(Some(pairs)).build()
}

/// The cells of a column that wait for their row group: values, and for each row whether it has one.
struct Held<T: 'static> {
    column: &'static Column<T>,
    there: Vec<i16>,
    values: Values,
    /// Texts of this row group, so that one that repeats is held once.
    texts: FxHashMap<Text, ByteArray>,
}

enum Values {
    Whole(Vec<i64>),
    Numbers(Vec<f64>),
    Texts(Vec<ByteArray>),
}

impl<T> Held<T> {
    fn new(column: &'static Column<T>) -> Self {
        let values = match column.get {
            Get::Time(_) | Get::Count(_) => Values::Whole(Vec::new()),
            Get::Number(_) => Values::Numbers(Vec::new()),
            Get::Text(_) => Values::Texts(Vec::new()),
        };
        Held { column, there: Vec::new(), values, texts: FxHashMap::default() }
    }

    fn push(&mut self, row: &T) {
        let there = match (&self.column.get, &mut self.values) {
            (Get::Time(get), Values::Whole(to)) => add(to, get(row).map(|at| at.micros())),
            (Get::Count(get), Values::Whole(to)) => add(to, get(row).map(|n| n as i64)),
            (Get::Number(get), Values::Numbers(to)) => add(to, get(row)),
            (Get::Text(get), Values::Texts(to)) => {
                let text = get(row);
                let texts = &mut self.texts;
                add(to, (!text.is_empty()).then(|| held(texts, &text)))
            }
            _ => unreachable!("the values are of the column's own type"),
        };
        self.there.push(i16::from(there));
    }

    fn write(&mut self, chunk: &mut ColumnWriter<'_>) -> Result<(), ParquetError> {
        let there = Some(self.there.as_slice());
        match (chunk, &mut self.values) {
            (ColumnWriter::Int64ColumnWriter(to), Values::Whole(values)) => {
                to.write_batch(values, there, None)?;
                values.clear();
            }
            (ColumnWriter::DoubleColumnWriter(to), Values::Numbers(values)) => {
                to.write_batch(values, there, None)?;
                values.clear();
            }
            (ColumnWriter::ByteArrayColumnWriter(to), Values::Texts(values)) => {
                to.write_batch(values, there, None)?;
                values.clear();
            }
            _ => unreachable!("the schema is made of the same columns"),
        }
        self.there.clear();
        self.texts.clear();
        Ok(())
    }
}

fn add<V>(to: &mut Vec<V>, value: Option<V>) -> bool {
    let there = value.is_some();
    to.extend(value);
    there
}

fn held(texts: &mut FxHashMap<Text, ByteArray>, text: &str) -> ByteArray {
    if let Some(known) = texts.get(text) {
        return known.clone();
    }
    let new = ByteArray::from(text.as_bytes().to_vec());
    texts.insert(text.into(), new.clone());
    new
}
