//! Now, as an argument: the wall clock is read here and nowhere else.

use crate::model::Stamp;

/// Tells the time. Everything that needs it is given one, so that tests and replays bring their own.
pub trait Clock: Send + Sync {
    /// The present instant.
    fn now(&self) -> Stamp;
}

/// The clock of the machine.
#[derive(Clone, Copy, Debug, Default)]
pub struct WallClock;

impl Clock for WallClock {
    #[expect(clippy::disallowed_methods, reason = "the one place where the wall clock is read")]
    fn now(&self) -> Stamp {
        Stamp::from_micros(jiff::Timestamp::now().as_microsecond())
    }
}

/// A clock that stands still: for tests, and for work that must see one instant throughout.
#[derive(Clone, Copy, Debug)]
pub struct Fixed(pub Stamp);

impl Clock for Fixed {
    fn now(&self) -> Stamp {
        self.0
    }
}
