//! The one binary; everything it does is in the library.

fn main() {}
