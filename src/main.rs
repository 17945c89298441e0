//! The one binary; everything it does is in the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    ohmward::run()
}
