//! Whether what was written is what it claims to be.

use std::io::Write;
use std::process::{Command, Output};

/// HTML elements without content and end tag (HTML standard, "void elements").
const VOID: [&str; 4] = ["meta", "link", "br", "hr"];

/// Every element is closed in its order, attributes are quoted, and nothing is run or fetched.
pub(crate) fn well_formed(page: &str) {
    let mut open: Vec<&str> = Vec::new();
    let mut rest = page.strip_prefix("<!doctype html>").unwrap();
    while let Some((text, after)) = rest.split_once('<') {
        assert!(!text.contains('>') || open.last() == Some(&"style"), "a stray `>` in `{text}`");
        let (tag, after) = after.split_once('>').unwrap();
        rest = after;
        assert_eq!(tag.matches('"').count() % 2, 0, "<{tag}>");
        if let Some(name) = tag.strip_prefix('/') {
            assert_eq!(open.pop(), Some(name));
            continue;
        }
        let name = tag.split([' ', '\n', '/']).next().unwrap();
        assert!(!["script", "img", "iframe", "object", "link"].contains(&name), "<{tag}>");
        for word in [" style=", " on", "http:", "https:"] {
            assert!(!tag.contains(word), "<{tag}>");
        }
        if !tag.ends_with('/') && !VOID.contains(&name) {
            open.push(name);
        }
    }
    assert!(open.is_empty(), "left open: {open:?}");
    assert!(!page.contains("url(") && !page.contains("@import"));
}

/// The words of a PDF with a blank between them, after `qpdf` has found nothing wrong with the file.
pub(crate) fn pdf_text(bytes: &[u8]) -> String {
    let mut file = tempfile::NamedTempFile::new().unwrap();
    file.write_all(bytes).unwrap();
    let ran = |program: &str, args: &[&str]| -> Output {
        let output = Command::new(program).args(args).arg(file.path()).arg("-").output();
        output.unwrap_or_else(|e| panic!("{program}: {e} (`tests/run` installs what is needed)"))
    };
    let check = Command::new("qpdf").arg("--check").arg(file.path()).output().unwrap();
    let told = String::from_utf8_lossy(&check.stdout).into_owned();
    assert!(check.status.success() && !told.contains("WARNING"), "{told}");
    let text = ran("pdftotext", &["-layout"]);
    assert!(text.status.success() && text.stderr.is_empty(), "{text:?}");
    let text = String::from_utf8(text.stdout).unwrap();
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
