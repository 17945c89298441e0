"""Reads a Parquet file with pyarrow and holds every cell against the CSV of the same rows.

usage: read_back.py FILE.parquet FILE.csv; prints the file's types, key-value pairs and row groups
as JSON, and fails at the first cell that differs.
"""

import csv
import datetime
import json
import sys

import pyarrow.parquet as pq

parquet, text = sys.argv[1:]
file = pq.ParquetFile(parquet)
schema = file.schema_arrow
with open(text, newline="", encoding="utf-8") as f:
    reader = csv.reader(f)
    header = next(reader)
    if header != schema.names:
        sys.exit(f"columns: {schema.names} in Parquet, {header} in CSV")
    rows = list(reader)


def same(cell, value):
    """Whether a CSV cell says what a typed value says."""
    if cell == "":
        return value is None
    if isinstance(value, datetime.datetime):
        return datetime.datetime.fromisoformat(cell.replace("Z", "+00:00")) == value
    if isinstance(value, (int, float)):
        return float(cell) == value
    return cell == value


count = 0
for batch in file.iter_batches():
    columns = [column.to_pylist() for column in batch.columns]
    for values in zip(*columns):
        for name, cell, value in zip(header, rows[count], values):
            if not same(cell, value):
                sys.exit(f"row {count + 1}, `{name}`: {cell!r} in CSV, {value!r} in Parquet")
        count += 1
if count != len(rows):
    sys.exit(f"{count} rows in Parquet, {len(rows)} in CSV")

meta = file.metadata
pairs = {k.decode(): v.decode() for k, v in meta.metadata.items()}
groups = [meta.row_group(i) for i in range(meta.num_row_groups)]
print(
    json.dumps(
        {
            "rows": count,
            "types": {field.name: str(field.type) for field in schema},
            "pairs": pairs,
            "row_groups": [group.num_rows for group in groups],
            "compression": sorted({groups[0].column(i).compression for i in range(meta.num_columns)})
            if groups
            else [],
            "dictionaries": [
                groups[0].column(i).path_in_schema
                for i in range(meta.num_columns)
                if groups and groups[0].column(i).has_dictionary_page
            ],
        }
    )
)
