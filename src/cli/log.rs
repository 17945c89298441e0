//! Where the daemon's log goes: standard error, as lines for people and the journal, or as JSON.

use std::fmt;

use tracing::{Event, Level, Subscriber};
use tracing_subscriber::EnvFilter;
use tracing_subscriber::fmt::FmtContext;
use tracing_subscriber::fmt::format::{FormatEvent, FormatFields, Writer};
use tracing_subscriber::fmt::time::FormatTime;
use tracing_subscriber::registry::LookupSpan;

use crate::clock::{Clock, WallClock};

/// How the log is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum LogFormat {
    /// A line for people; under systemd with the priority that the journal understands.
    #[default]
    Text,
    /// One JSON object a line.
    Json,
}

/// Begins to log. `RUST_LOG` says how much; a second call changes nothing.
pub(crate) fn begin(format: LogFormat) {
    let filter =
        EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new("warn,ohmward=info"));
    let builder = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_ansi(false)
        .with_writer(std::io::stderr);
    let begun = match format {
        LogFormat::Json => builder.json().with_timer(Now).flatten_event(true).try_init(),
        LogFormat::Text => {
            let journal = std::env::var_os("JOURNAL_STREAM").is_some();
            builder.event_format(Lines { journal }).try_init()
        }
    };
    if begun.is_err() {
        tracing::debug!("the log was begun before");
    }
}

/// The time of an event, by the one clock of this program.
struct Now;

impl FormatTime for Now {
    fn format_time(&self, writer: &mut Writer<'_>) -> fmt::Result {
        write!(writer, "{}", WallClock.now())
    }
}

/// `2026-03-02T08:15:00.123456Z WARN message key=value`; in the journal, which knows the time, the
/// priority in angle brackets instead (sd-daemon(3)).
struct Lines {
    journal: bool,
}

impl<S, N> FormatEvent<S, N> for Lines
where
    S: Subscriber + for<'a> LookupSpan<'a>,
    N: for<'a> FormatFields<'a> + 'static,
{
    fn format_event(
        &self,
        context: &FmtContext<'_, S, N>,
        mut writer: Writer<'_>,
        event: &Event<'_>,
    ) -> fmt::Result {
        let level = *event.metadata().level();
        if self.journal {
            let priority = match level {
                Level::ERROR => 3,
                Level::WARN => 4,
                Level::INFO => 6,
                _ => 7,
            };
            write!(writer, "<{priority}>")?;
        } else {
            write!(writer, "{} {level} ", WallClock.now())?;
        }
        context.format_fields(writer.by_ref(), event)?;
        writeln!(writer)
    }
}
