//! Tables on paper: columns by their shares, rows that stay whole, the heading again on each page.

use super::drawing;
use super::sheet::{Sheet, Tint, WIDTH};
use super::text::wrapped;
use super::{Letters, SMALL};
use crate::report::document::{Cell, Column, Table, mark};
use crate::report::scene::Scene;

/// Between columns, and above and below the words of a row.
const GAP: f64 = 6.0;
const PAD: f64 = 2.0;

/// Rows of a table that is not broken.
const SMALL_TABLE: usize = 8;

/// A cell as it is written.
struct Written<'t> {
    lines: Vec<String>,
    letters: Letters,
    tint: Tint,
    drawing: Option<&'t Scene>,
}

pub(super) fn draw(sheet: &mut Sheet, table: &Table) {
    let widths = widths(sheet, table);
    let head = head(sheet, table, &widths);
    let least = least(sheet, table);
    sheet.keep(least);
    heading(sheet, table, &head, &widths);
    for row in &table.rows {
        let cells = written(sheet, row, &widths);
        if sheet.keep(height(&cells)) {
            heading(sheet, table, &head, &widths);
        }
        whole_row(sheet, table, &cells, &widths, Tint::Faint, 0.5, &head);
    }
}

/// What must stand on one page: a small table as a whole, of a long one heading and first row.
pub(super) fn least(sheet: &Sheet, table: &Table) -> f64 {
    let widths = widths(sheet, table);
    let together = if table.rows.len() <= SMALL_TABLE { table.rows.len() } else { 1 };
    let rows = table.rows.iter().take(together);
    let rows: f64 = rows.map(|row| height(&written(sheet, row, &widths)) + 0.5).sum();
    height(&head(sheet, table, &widths)) + rows + 1.0
}

/// The columns' widths by their shares, but none narrower than the longest word of its heading.
fn widths(sheet: &Sheet, table: &Table) -> Vec<f64> {
    let least = |heading: &str| {
        let words = heading.split_whitespace().map(|w| sheet.faces.bold.width(w, SMALL.height));
        words.fold(0.0, f64::max) + GAP + 0.5
    };
    let least: Vec<f64> = table.columns.iter().map(|c| least(&c.heading)).collect();
    let mut narrow: Vec<bool> = vec![false; least.len()];
    loop {
        let fixed: f64 = least.iter().zip(&narrow).filter(|(_, n)| **n).map(|(w, _)| w).sum();
        let open = table.columns.iter().zip(&narrow).filter(|(_, n)| !**n);
        let shares: f64 = open.map(|(c, _)| c.share).sum();
        let width = |i: usize| match narrow[i] {
            true => least[i],
            false => (WIDTH - fixed).max(0.0) * table.columns[i].share / shares,
        };
        let widths: Vec<f64> = (0..least.len()).map(width).collect();
        match (0..least.len()).find(|i| !narrow[*i] && widths[*i] < least[*i]) {
            Some(i) => narrow[i] = true,
            None => return widths,
        }
    }
}

fn head(sheet: &Sheet, table: &Table, widths: &[f64]) -> Vec<Written<'static>> {
    let letters = Letters { bold: true, ..SMALL };
    let cell = |(column, width): (&Column, &f64)| Written {
        lines: wrapped(&sheet.faces.bold, &column.heading, letters.height, width - GAP),
        letters,
        tint: Tint::Ink,
        drawing: None,
    };
    table.columns.iter().zip(widths).map(cell).collect()
}

fn heading(sheet: &mut Sheet, table: &Table, head: &[Written<'_>], widths: &[f64]) {
    whole_row(sheet, table, head, widths, Tint::Ink, 0.9, &[]);
}

fn written<'t>(sheet: &Sheet, row: &'t [Cell], widths: &[f64]) -> Vec<Written<'t>> {
    let faces = &sheet.faces;
    row.iter()
        .zip(widths)
        .map(|(cell, width)| match cell {
            Cell::Text(words) => Written {
                lines: wrapped(&faces.regular, words, SMALL.height, width - GAP),
                letters: SMALL,
                tint: Tint::Ink,
                drawing: None,
            },
            Cell::Verdict(verdict) => {
                let words = format!("{} {}", mark(*verdict), verdict.word());
                let letters = Letters { bold: true, ..SMALL };
                Written {
                    lines: wrapped(&faces.bold, &words, letters.height, width - GAP),
                    letters,
                    tint: Tint::of(*verdict),
                    drawing: None,
                }
            }
            Cell::Drawing(scene) => {
                Written { lines: Vec::new(), letters: SMALL, tint: Tint::Ink, drawing: Some(scene) }
            }
        })
        .collect()
}

fn height(cells: &[Written<'_>]) -> f64 {
    let tallest = |c: &Written<'_>| match c.drawing {
        Some(scene) => scene.size.height,
        None => SMALL.lead * c.lines.len() as f64,
    };
    cells.iter().map(tallest).fold(0.0, f64::max) + 2.0 * PAD
}

/// A row taller than a page goes on on the next one; any other is whole.
fn whole_row(
    sheet: &mut Sheet,
    table: &Table,
    cells: &[Written<'_>],
    widths: &[f64],
    tint: Tint,
    rule: f64,
    head: &[Written<'_>],
) {
    let most = cells.iter().map(|c| c.lines.len()).max().unwrap_or(0).max(1);
    let mut done = 0;
    loop {
        let fit = ((sheet.room() - 2.0 * PAD) / SMALL.lead).floor().max(1.0) as usize;
        let upto = (done + fit).min(most);
        let mut x = sheet.left;
        for ((cell, width), column) in cells.iter().zip(widths).zip(&table.columns) {
            if let Some(scene) = cell.drawing.filter(|_| done == 0) {
                let scale = ((width - GAP) / scene.size.width).min(1.0);
                drawing::draw(sheet, scene, (x, sheet.y + PAD), scale);
            }
            let lines = cell.lines.get(done..upto.min(cell.lines.len())).unwrap_or(&[]);
            for (i, line) in lines.iter().enumerate() {
                let base = sheet.y + PAD + SMALL.lead * i as f64 + SMALL.height;
                let wide = sheet.faces.of(cell.letters.bold).width(line, cell.letters.height);
                let left = if column.numbers { x + width - GAP - wide } else { x };
                sheet.write(line, (left, base), cell.letters, cell.tint);
            }
            x += width;
        }
        let part = if done == 0 && upto == most {
            height(cells)
        } else {
            SMALL.lead * (upto - done) as f64 + 2.0 * PAD
        };
        sheet.y += part;
        done = upto;
        if done >= most {
            break;
        }
        sheet.new_page();
        if !head.is_empty() {
            heading(sheet, table, head, widths);
        }
    }
    let (left, y) = (sheet.left, sheet.y);
    sheet.stroke(&[(left, y), (left + WIDTH, y)], rule, tint);
    sheet.y += rule;
}
