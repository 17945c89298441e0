//! Every limit of the program in one place, each with its reason.

use std::time::Duration;

/// Longest record a parser takes, in bytes: a reading with a long remark is under 1 KiB,
/// and a line without an end must not fill the memory.
pub const RECORD_BYTES: usize = ohmward_parsers::RECORD_BYTES;

/// Bytes of a rejected record that are kept beside its reason; the rest stays in the kept file.
pub const REJECT_BYTES: usize = ohmward_parsers::REJECT_BYTES;

/// A reading measured later than this after now is refused: more than a time-zone slip (µs).
pub const FUTURE_MICROS: i64 = 24 * 3_600 * 1_000_000;

/// Longest text of one field (asset, remark …) in bytes: a page, not a book.
pub const TEXT_BYTES: usize = 4_096;

/// Lowest resistance that is taken for a reading of insulation, in ohm: below it is the test lead.
pub const OHMS_MIN: f64 = 1e-3;

/// Highest resistance that is taken for a reading, in ohm: 1 EΩ is beyond any tester.
pub const OHMS_MAX: f64 = 1e18;

/// What a printed 0 Ω stands for when neither profile nor tester says its lowest reading, in ohm.
/// Hand-held testers resolve 0.01 MΩ (common practice, no published source).
pub const LOWEST_READING_OHM: f64 = 10_000.0;

/// Bytes of a serial line that are held back while the store does not keep up: at 115 200 baud over
/// 20 s, at 9600 baud over 4 min. Beyond that they are dropped and counted.
pub const SERIAL_HELD_BYTES: usize = 256 * 1024;

/// Chunks of a stream that wait for the intake.
pub const STREAM_QUEUE: usize = 256;

/// Longest line of a stream in bytes: a tester's line is under 200.
pub const STREAM_LINE_BYTES: usize = 4 * 1024;

/// Records of a stream in one commit: beyond that a commit takes longer than a line may wait.
pub const STREAM_GROUP: usize = 4_096;

/// Longest body of a request that is read whole, in bytes: an array of some 100,000 readings.
pub const BODY_BYTES: usize = 16 * 1024 * 1024;

/// Longest body of lines in bytes: they are taken in as they come, and a fleet's history of some ten
/// million readings fits; a longer one is better imported as a file.
pub const LINES_BYTES: u64 = 1024 * 1024 * 1024;

/// Kibibytes that a body of lines takes in memory, however long it is.
pub const LINES_KIB: u32 = 4 * 1024;

/// Bytes of a body of lines that are awaited before a thread begins to take it in: most bodies end
/// before, and a slow client holds no thread.
pub const LINES_AWAITED: u64 = 256 * 1024;

/// Bytes of a body of lines that are stored at once: some six thousand readings, a fraction of a
/// second.
pub const LINES_PART_BYTES: usize = 1024 * 1024;

/// Parts of a body that wait to be read; the client waits with the rest.
pub const LINES_QUEUE: usize = 8;

/// Rejects that are told in one answer; the rest is counted and found in the list of rejects.
pub const REJECTS_TOLD: usize = 10_000;

/// Kibibytes of request bodies in memory at once; beyond that clients are asked to wait. What was
/// announced and has not arrived takes none.
pub const BODIES_KIB: usize = 64 * 1024;

/// Bytes a second that a client has to bring while others wait for room: as many as the longest
/// body needs to be in time.
pub const BODY_RATE: u64 = BODY_BYTES as u64 / BODY_TIME.as_secs();

/// How long a client that others wait for may stay away.
pub const BODY_SLACK: Duration = Duration::from_secs(2);

/// How long somebody waits for room before they are asked to come again: longer than the slow may
/// stay away.
pub const ROOM_WAIT: Duration = Duration::from_secs(4);

/// A part that gave no sign of life for so long is stuck: a full disk or a locked database makes
/// the store answer within 10 s.
pub const STUCK: Duration = Duration::from_secs(30);

/// Largest spreadsheet file that is read, in bytes: calamine holds its parts in memory, and a year
/// of a workshop is under 1 MB.
pub const SHEET_BYTES: u64 = 32 * 1024 * 1024;

/// Most cells of a spreadsheet, blank ones between filled ones counted: a full sheet's million rows
/// at five columns.
pub const SHEET_CELLS: usize = 5_000_000;

/// Most rows of one page of a list: some 5 MB of readings.
pub const PAGE_ROWS: usize = 10_000;

/// Questions about the past of the whole fleet that are worked on at once: each assesses every
/// asset anew.
pub const FLEET_QUESTIONS: usize = 1;

/// Longest body of a request that changes something, in bytes: a register row with two pages of
/// remark, or ten thousand numbers of rejects.
pub const CHANGE_BYTES: usize = 64 * 1024;

/// Assets that waited for so long mean that the watch is behind: a round of ten thousand assets
/// takes less on two cores.
pub const BEHIND: std::time::Duration = std::time::Duration::from_secs(60);

/// Events that are kept for listeners who are slow or come back: an hour of a quiet workshop, some
/// 2 MB.
pub const NEWS: usize = 1_024;

/// Streams of events at once: every screen of a large workshop.
pub const LISTENERS: usize = 64;

/// Fewest characters of a password: with the throttle on logins out of reach of guessing, and still
/// typed at a bench.
pub const PASSWORD_CHARS: usize = 10;

/// Longest password in bytes: a sentence, and no work for a hash to be held up with.
pub const PASSWORD_BYTES: usize = 1_024;

/// Tries in vain that are let through, and how soon one more is.
#[derive(Clone, Copy, Debug)]
pub struct Tries {
    /// In a row.
    pub at_once: u32,
    /// Time after which one more is.
    pub one_each: Duration,
}

/// Logins and tokens in vain from one address: a person mistypes twice or thrice, a class behind
/// one router ten times.
pub const TRIES_OF_CLIENT: Tries = Tries { at_once: 10, one_each: Duration::from_secs(30) };

/// Logins in vain under one name, wherever they come from: 1,440 guesses a day are out of reach of
/// guessing, and a stranger can keep somebody out only while they go on.
pub const TRIES_OF_NAME: Tries = Tries { at_once: 20, one_each: Duration::from_secs(60) };

/// Refusals that are noted in the store one by one; beyond that they are counted in the next note:
/// at most some 43,000 small rows a day under attack.
pub const NOTED_REFUSALS: Tries = Tries { at_once: 30, one_each: Duration::from_secs(2) };

/// Characters of a refused name that are noted.
pub const NOTED_NAME: usize = 64;

/// Addresses, and names, whose tries are remembered: some hundred kilobytes.
pub const THROTTLED: usize = 4_096;

/// Passwords that are checked at once: each takes 19 MiB and a processor for a moment.
pub const HASHES_AT_ONCE: usize = 2;

/// Longest wait for one's turn to have a password checked.
pub const HASH_WAIT: Duration = Duration::from_secs(5);

/// A session ends when nothing was done in it for so long: a job at the bench fits between.
pub const SESSION_IDLE: Duration = Duration::from_secs(2 * 3_600);

/// A session ends after so long: a shift.
pub const SESSION_WHOLE: Duration = Duration::from_secs(12 * 3_600);

/// Sessions at once; beyond that the one that was idle longest ends.
pub const SESSIONS: usize = 1_024;

/// Sessions of one account at once: a class that shares one has fewer.
pub const SESSIONS_OF_ACCOUNT: usize = 64;

/// Longest body of any request but those that bring readings or files, in bytes: a form with a
/// long remark.
pub const FORM_BYTES: usize = 1024 * 1024;

/// Longest body of a form that anybody may send, in bytes: name, password, and where to go on.
pub const LOGIN_BYTES: usize = 128 * 1024;

/// Longest pause within the body of a request.
pub const BODY_PAUSE: Duration = Duration::from_secs(10);

/// Longest time for a body as a whole: the longest one at 1 Mbit/s.
pub const BODY_TIME: Duration = Duration::from_secs(150);

/// Longest head of a request in bytes: request line and headers. Browsers send 2 KiB at most.
pub const HEAD_BYTES: usize = 32 * 1024;

/// Most headers of a request.
pub const HEADERS: usize = 64;

/// Time for the head of a request, and for which an idle connection is kept: shorter than requests
/// have when the daemon ends.
pub const HEAD_TIME: Duration = Duration::from_secs(8);

/// Longest pause in which nothing of an answer is taken.
pub const WRITE_PAUSE: Duration = Duration::from_secs(60);

/// Connections at once: a hundred benches with browsers and gateways have a tenth of that.
pub const CONNECTIONS: usize = 4_096;

/// Connections from one other machine at once.
pub const CONNECTIONS_OF_ADDRESS: usize = 256;
/// Rows of a Parquet file in one group, held in memory until it is full: some 30 MB of readings.
/// Readers skip by group, and groups much smaller compress worse.
pub const ROW_GROUP: usize = 128 * 1024;

/// Longest interval that can be stated, in days (of tests and proofs) or seconds (of a discharge):
/// longer is a slip of the hand.
pub const LONGEST_INTERVAL: u32 = 100_000;
