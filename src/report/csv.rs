//! The rows of a report as CSV, safe to open in a spreadsheet.

use std::io;

use super::document::Report;

/// The report's rows with a header, in UTF-8, lines ended as RFC 4180 says.
pub fn render(report: &Report) -> io::Result<Vec<u8>> {
    let mut writer =
        ::csv::WriterBuilder::new().terminator(::csv::Terminator::CRLF).from_writer(Vec::new());
    writer.write_record(&report.data.header)?;
    for row in &report.data.rows {
        writer.write_record(row.iter().map(|cell| harmless(cell)))?;
    }
    writer.into_inner().map_err(|e| io::Error::other(e.to_string()))
}

/// A spreadsheet runs a cell that begins like a formula: an apostrophe in front keeps it text.
/// Plain numbers stay numbers.
fn harmless(cell: &str) -> String {
    let formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']);
    if formula && cell.parse::<f64>().is_err() { format!("'{cell}") } else { cell.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::harmless;

    /// OWASP, "CSV Injection": cells that begin with = + - @, tab or carriage return.
    #[test]
    fn formulas_become_text_and_numbers_stay() {
        for cell in ["=1+1", "+A1", "-A1", "@SUM(A1)", "\tx", "\r=x"] {
            assert_eq!(harmless(cell), format!("'{cell}"));
        }
        for cell in ["-0.42", "5000000", "> 5", "", "V"] {
            assert_eq!(harmless(cell), cell);
        }
    }
}
