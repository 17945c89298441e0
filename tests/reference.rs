//! The statistics against published and independently computed values (`fixtures/reference`):
//! every value that is not marked optional is held to its own tolerance, and none may be missing.
#![expect(clippy::unwrap_used, reason = "a test may stop at the first failure")]

#[path = "reference/cases.rs"]
mod cases;
#[path = "reference/compute.rs"]
mod compute;

use cases::{Cases, check};

#[test]
fn ordinary_least_squares_nist_strd() {
    check(&Cases::of_kind("ols"), compute::ols, 12);
}

#[test]
fn nonlinear_least_squares_nist_strd_nelson() {
    check(&Cases::of_kind("nls"), compute::nelson, 5);
}

#[test]
fn censored_regression() {
    check(&Cases::of_kind("censored_regression"), compute::censored_regression, 108);
}

#[test]
fn trend() {
    check(&Cases::of_kind("trend"), compute::trend, 1_651);
}

#[test]
fn multiple_testing() {
    check(&Cases::of_kind("multiple_testing"), compute::multiple_testing, 32);
}

#[test]
fn fleet() {
    check(&Cases::of_kind("fleet"), compute::fleet, 5);
}

#[test]
fn temperature() {
    check(&Cases::of_kind("temperature"), compute::temperature, 195);
}

#[test]
fn step_change() {
    check(&Cases::of_kind("step_change"), compute::step_change, 78);
}

#[test]
fn cusum() {
    check(&Cases::of_kind("cusum"), compute::cusum, 8);
}

#[test]
fn special_functions() {
    check(&Cases::of_kind("special"), compute::special, 223);
}

/// No case of the reference may lie outside the kinds checked above.
#[test]
fn every_kind_is_checked() {
    let kinds = [
        "ols",
        "nls",
        "censored_regression",
        "trend",
        "multiple_testing",
        "fleet",
        "temperature",
        "step_change",
        "cusum",
        "special",
    ];
    let all = Cases::all();
    for case in &all.0 {
        assert!(kinds.contains(&case.kind.as_str()), "{} has unknown kind {}", case.id, case.kind);
    }
    assert_eq!(all.0.len(), 60, "cases in fixtures/reference/expected");
}
