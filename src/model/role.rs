//! What a person or a program may do.

use super::words;

words!(
    /// What an account or token may do.
    Role, "role", {
        /// Ask questions.
        Read => "read",
        /// Send readings, and nothing else.
        Ingest => "ingest",
        /// Ask, and what is done at a bench: run sheets, hand entry, corrections, events, proofs,
        /// answers to findings.
        Bench => "bench",
        /// Everything: registers, accounts, settings.
        Manage => "manage",
    }
);

impl Role {
    /// Whether one who has this role may do what asks for `needed`.
    pub const fn may(self, needed: Role) -> bool {
        match (self, needed) {
            (Role::Manage, _)
            | (Role::Read, Role::Read)
            | (Role::Ingest, Role::Ingest)
            | (Role::Bench, Role::Read | Role::Bench) => true,
            (Role::Read | Role::Ingest | Role::Bench, _) => false,
        }
    }
}
