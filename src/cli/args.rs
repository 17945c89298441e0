//! The command line: one definition for parsing, help, completions and the manual page.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

use super::output::Format;
use crate::model::Stamp;

/// Keeps ward over insulation.
///
/// Reads insulation-resistance readings from testers and export files, keeps them as time series by
/// asset and phase, and says which insulation is declining.
#[derive(Debug, Parser)]
#[command(
    name = "ohmward",
    version,
    arg_required_else_help = true,
    after_help = "First steps:\n  ohmward demo --once              the whole job on an invented fleet\n  \
    ohmward import export.csv         take in readings\n  ohmward declining                 what \
    needs attention\n\nExit codes: 0 done; 1 done, and something needs a person; 2 wrong usage; 3 \
    failed."
)]
pub(crate) struct Cli {
    #[command(flatten)]
    pub(crate) global: Global,
    #[command(subcommand)]
    pub(crate) command: Command,
}

/// Options of every command; they may stand before or after it.
#[derive(Clone, Debug, Args)]
pub(crate) struct Global {
    /// Where everything is kept [default: $STATE_DIRECTORY, else $XDG_DATA_HOME/ohmward, else
    /// ~/.local/share/ohmward]
    #[arg(long, global = true, value_name = "DIR")]
    pub(crate) data: Option<PathBuf>,
    /// The configuration file; none is needed [default: config.toml in the data folder]
    #[arg(long, global = true, value_name = "FILE")]
    pub(crate) config: Option<PathBuf>,
    /// How data is printed
    #[arg(long, global = true, value_enum, default_value_t)]
    pub(crate) format: Format,
    /// Only what was measured or done by this time (RFC 3339, or a date: to its end)
    #[arg(long, global = true, value_name = "TIME", value_parser = Stamp::until)]
    pub(crate) as_of: Option<Stamp>,
    /// Only what was recorded by this time: the answer as it was given then
    #[arg(long, global = true, value_name = "TIME", value_parser = Stamp::until)]
    pub(crate) known_at: Option<Stamp>,
}

/// Days or seconds that can be stated.
fn interval() -> clap::builder::RangedI64ValueParser<u32> {
    clap::value_parser!(u32).range(1..=i64::from(crate::limits::LONGEST_INTERVAL))
}

/// Who makes a change.
#[derive(Clone, Debug, Args)]
pub(crate) struct By {
    /// Who does this; kept with the change
    #[arg(long, value_name = "NAME", env = "OHMWARD_BY")]
    pub(crate) by: Option<String>,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Take readings in as they come: serial stations, folders, HTTP
    #[command(
        after_help = "Example:\n  ohmward serve --watch /srv/exports\n\nStations and folders \
        are named in the configuration; SIGHUP reads it again, SIGTERM ends in order."
    )]
    Serve(Serve),
    /// Take in export files, once
    #[command(
        after_help = "Example:\n  ohmward import quay-2026-03.csv\n  ohmward import --profile \
        quay-handheld *.csv --taken 2026-03-02\n\nAn interrupted import is simply repeated: each \
        reading is stored once."
    )]
    Import(Import),
    /// What is declining or below its limit, most urgent first
    #[command(
        after_help = "Example:\n  ohmward declining\n  ohmward declining --all --format json"
    )]
    Declining(Declining),
    /// The verdict on one asset with all its evidence, and a chart
    #[command(
        after_help = "Example:\n  ohmward assess YT-014/drive\n  ohmward assess YT-014/drive \
        --as-of 2026-01-31"
    )]
    Assess(OneAsset),
    /// The readings of one asset and what was done with each
    #[command(after_help = "Example:\n  ohmward history YT-014/drive --format csv")]
    History(OneAsset),
    /// What is due: tests of assets, proofs and calibrations, retests of gloves
    #[command(after_help = "Example:\n  ohmward due\n  ohmward due --within 90 --format json\n\n\
        Nothing is due that nobody stated an interval or a date for (`class add --interval-days`, \
        `gear add --due --proof-days`). An asset with an interval that was not tested in time is \
        also a finding, `overdue`.")]
    Due(DueWithin),
    /// Lab sheets: what learners' runs on training parts recorded, against what is known of the parts
    #[command(
        after_help = "Example:\n  ohmward asset add TP-1 --training 'V to case 200 kΩ, put in \
        on purpose'\n  ohmward lab TP-1\n  ohmward lab --station B1 --since 2026-03-02 -o \
        class.html"
    )]
    Lab(LabRuns),
    /// The detector as if live over stored history: every alarm it would have raised
    #[command(after_help = "Example:\n  ohmward replay --format csv\n  ohmward replay \
        --projections projections.csv\n\nIt answers: would the last failure have been caught, and \
        how early?")]
    Replay(Replay),
    /// A report to hand over: of one asset, or of the fleet
    #[command(after_help = "Example:\n  ohmward report YT-014/drive -o YT-014.pdf\n  ohmward \
        report -o fleet.html --tested-within 30\n  ohmward report YT-014/drive -o then.pdf --as-of \
        2026-01-31 --known-at 2026-01-31\n\nThe same question with --as-of gives the same bytes.")]
    Report(Report),
    /// What the fleet's own history says of its classes and testers, by quarter
    #[command(after_help = "Example:\n  ohmward learnt --format csv")]
    Learnt,
    /// Stated problems: list them, say that somebody answers for one, close one
    #[command(subcommand)]
    Finding(FindingCommand),
    /// Enter a reading by hand, or put one right
    #[command(subcommand)]
    Reading(Reading),
    /// Classes of assets: kind, limits, intervals, said once for many
    #[command(subcommand)]
    Class(ClassCommand),
    /// The assets and their limits
    #[command(subcommand)]
    Asset(AssetCommand),
    /// What was done to assets: rewound, dried, washed …
    #[command(subcommand)]
    Event(EventCommand),
    /// Testers, leads, gloves, known sources
    #[command(subcommand)]
    Gear(GearCommand),
    /// Checks of testers
    #[command(subcommand)]
    Proof(ProofCommand),
    /// Other names of assets and phases
    #[command(subcommand)]
    Alias(AliasCommand),
    /// Formats that can be read
    #[command(subcommand)]
    Profile(ProfileCommand),
    /// Records that could not be read
    #[command(subcommand)]
    Rejects(RejectsCommand),
    /// Readings whose asset or phase is not known yet
    #[command(subcommand)]
    Tray(TrayCommand),
    /// The people who may use the service beyond this machine, and what each may do
    #[command(subcommand)]
    Account(AccountCommand),
    /// The programs that may use the service, and what each may do
    #[command(subcommand)]
    Token(TokenCommand),
    /// Who changed what, when, and what it was before and after; who came and who was refused
    #[command(
        after_help = "Example:\n  ohmward audit --since 2026-03-01\n  ohmward audit --format \
        json"
    )]
    Audit(AuditArgs),
    /// Try a way by which people are told of findings
    #[command(subcommand)]
    Notify(NotifyCommand),
    /// Messages to people: what was sent, what waits and why
    #[command(subcommand)]
    Outbox(OutboxCommand),
    /// Write readings, findings or assessments as CSV or Parquet, or everything into a folder
    #[command(
        after_help = "Example:\n  ohmward export -o readings.parquet\n  ohmward export --asset \
        YT-014/drive --from 2026-01-01 -o drive.csv\n  ohmward export --assessments -o \
        fleet.csv --as-of 2026-01-31\n  ohmward export --all backup-2026-03"
    )]
    Export(Export),
    /// Copy the store to a new file while it is in use
    #[command(after_help = "Example:\n  ohmward backup /media/stick/ohmward-2026-03-02.db")]
    Backup {
        /// The file to write; it must not exist
        file: PathBuf,
    },
    /// Try a copy made by `backup`, or make a store of it again
    #[command(
        after_help = "Example:\n  ohmward restore /media/stick/ohmward-2026-03-02.db --check\n  \
        ohmward restore /media/stick/ohmward-2026-03-02.db --to /var/lib/ohmward\n\nChecked are the \
        copy against its manifest, every row, and the kept files against their digests. Exit code 1 \
        says that something is wrong or missing."
    )]
    Restore(Restore),
    /// Take out old streamed readings on which nothing rests; off unless asked for
    #[command(after_help = "Example:\n  ohmward thin --keep-days 365 --dry-run\n  ohmward thin \
        --keep-days 365\n\nWhat stands for a visit, what a ratio can be formed of, the first and \
        last value of each test and whatever a person corrected stay for ever: an assessment is the \
        same before and after. Readings from files are never touched.")]
    Thin(Thin),
    /// Verify configuration, profiles and store
    #[command(after_help = "Example:\n  ohmward check")]
    Check,
    /// The whole job on the invented harbour Kestrel Quay
    #[command(after_help = "Example:\n  ohmward demo --once")]
    Demo(Demo),
    /// Print the card for the bench: one page to hang beside the tester
    #[command(after_help = "Example:\n  ohmward card | lp")]
    Card,
    /// Print shell completions
    #[command(after_help = "Example:\n  ohmward completions bash > \
        ~/.local/share/bash-completion/completions/ohmward")]
    Completions {
        /// Which shell
        shell: clap_complete::Shell,
    },
    /// Print the manual page
    #[command(after_help = "Example:\n  ohmward man | man -l -")]
    Man {
        /// Write a page for each command into this folder instead
        #[arg(short, long, value_name = "DIR")]
        output: Option<PathBuf>,
    },
}

#[derive(Debug, Args)]
pub(crate) struct Serve {
    /// Where HTTP is served [default: as configured, else 127.0.0.1:8040]
    #[arg(long, value_name = "ADDR")]
    pub(crate) listen: Option<std::net::SocketAddr>,
    /// A folder whose files are taken in; may be given several times
    #[arg(long, value_name = "DIR")]
    pub(crate) watch: Vec<PathBuf>,
    /// How the log on standard error is written
    #[arg(long, value_enum, default_value_t)]
    pub(crate) log: super::log::LogFormat,
}

#[derive(Debug, Args)]
pub(crate) struct Import {
    /// Export files, register files, or a folder written by `export --all`
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// Read the files by this profile [default: recognised by their content]
    #[arg(long, value_name = "NAME")]
    pub(crate) profile: Option<String>,
    /// Say what would happen, store nothing
    #[arg(long)]
    pub(crate) dry_run: bool,
    /// When records without a clock were taken
    #[arg(long, value_name = "TIME", value_parser = Stamp::parse)]
    pub(crate) taken: Option<Stamp>,
    /// The tester, where the records don't say
    #[arg(long, value_name = "ID")]
    pub(crate) tester: Option<String>,
    /// The station, where the records don't say
    #[arg(long, value_name = "NAME")]
    pub(crate) station: Option<String>,
    /// Who measured, where the records don't say
    #[arg(long, value_name = "NAME")]
    pub(crate) operator: Option<String>,
    /// Nominal test voltage, where the records don't say
    #[arg(long, value_name = "VOLTS")]
    pub(crate) test_voltage: Option<f64>,
    #[command(flatten)]
    pub(crate) by: By,
}

#[derive(Debug, Args)]
pub(crate) struct Declining {
    /// Also what is only to be watched
    #[arg(long)]
    pub(crate) all: bool,
}

#[derive(Debug, Args)]
#[command(group = clap::ArgGroup::new("where").required(true))]
pub(crate) struct Restore {
    /// The copy
    pub(crate) file: PathBuf,
    /// Make a store of it in this folder, which holds none yet
    #[arg(long, value_name = "DIR", group = "where")]
    pub(crate) to: Option<PathBuf>,
    /// Only try it, and leave nothing behind
    #[arg(long, group = "where")]
    pub(crate) check: bool,
    /// Where the original files are [default: `raw` beside the copy]
    #[arg(long, value_name = "DIR")]
    pub(crate) kept: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(crate) struct Thin {
    /// Only say what would go
    #[arg(long)]
    pub(crate) dry_run: bool,
    /// Keep everything younger than this [default: as configured]
    #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(u32).range(1..))]
    pub(crate) keep_days: Option<u32>,
}

#[derive(Debug, Args)]
pub(crate) struct DueWithin {
    /// What falls due within so many days, beside what is late already
    #[arg(long, value_name = "DAYS", default_value_t = 30)]
    pub(crate) within: u32,
}

#[derive(Debug, Args)]
pub(crate) struct LabRuns {
    /// The training part [default: all of them]
    pub(crate) asset: Option<String>,
    /// Only runs at this station
    #[arg(long, value_name = "NAME")]
    pub(crate) station: Option<String>,
    /// Only runs since then
    #[arg(long, value_name = "TIME", value_parser = Stamp::parse)]
    pub(crate) since: Option<Stamp>,
    /// Write a page to print instead
    #[arg(short, long, value_name = "FILE.html")]
    pub(crate) output: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(crate) struct Replay {
    /// Also write every projection made while something was flagged, as CSV
    #[arg(long, value_name = "FILE")]
    pub(crate) projections: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(crate) struct Report {
    /// The asset's id; without it the whole fleet
    pub(crate) asset: Option<String>,
    /// Where it goes: a name that ends in .html, .pdf or .csv [default: HTML to standard output]
    #[arg(long, short, value_name = "FILE")]
    pub(crate) output: Option<PathBuf>,
    /// The form, where no file name says it
    #[arg(long = "as", value_name = "FORM", value_parser = ["html", "pdf", "csv"])]
    pub(crate) form: Option<String>,
    /// The paper of a PDF
    #[arg(long, value_name = "PAPER", default_value = "a4", value_parser = ["a4", "letter"])]
    pub(crate) paper: String,
    /// The fleet: how often each asset is to be tested, in days
    #[arg(long, value_name = "DAYS", default_value_t = crate::report::TESTED_WITHIN_DAYS)]
    pub(crate) tested_within: f64,
}

#[derive(Debug, Args)]
pub(crate) struct OneAsset {
    /// The asset's id
    pub(crate) asset: String,
}

#[derive(Debug, Args)]
pub(crate) struct Export {
    /// Write to this file: CSV or Parquet by its ending [default: CSV to standard output]
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: Option<PathBuf>,
    /// Write what was stated: findings with their numbers and what people answered
    #[arg(long, conflicts_with_all = ["assessments", "from", "to"])]
    pub(crate) findings: bool,
    /// Write the assessment of every series with all its numbers
    #[arg(long, conflicts_with_all = ["from", "to"])]
    pub(crate) assessments: bool,
    /// Only of this asset; may be given several times
    #[arg(long, value_name = "ID")]
    pub(crate) asset: Vec<String>,
    /// Only readings measured at this time or later
    #[arg(long, value_name = "TIME", value_parser = Stamp::parse)]
    pub(crate) from: Option<Stamp>,
    /// Only readings measured by this time (a date: to its end)
    #[arg(long, value_name = "TIME", value_parser = Stamp::until)]
    pub(crate) to: Option<Stamp>,
    /// Write everything into this folder, as CSV that imports again
    #[arg(long, value_name = "DIR",
          conflicts_with_all = ["output", "findings", "assessments", "asset", "from", "to"])]
    pub(crate) all: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(crate) struct Demo {
    /// Exit after printing
    #[arg(long)]
    pub(crate) once: bool,
}

#[derive(Debug, Subcommand)]
pub(crate) enum FindingCommand {
    /// All findings, also those that ended
    #[command(after_help = "Example:\n  ohmward finding list YT-014/drive")]
    List {
        /// The asset's id
        asset: Option<String>,
    },
    /// Say that somebody has seen it and answers for it
    #[command(after_help = "Example:\n  ohmward finding acknowledge YT-014/drive declining \
        --remark 'booked for the dock in March' --by 'R. Hale'")]
    Acknowledge(ActOnFinding),
    /// Say that it is done with
    #[command(after_help = "Example:\n  ohmward finding close YT-014/drive declining --remark \
        'cable end was dirty' --by 'R. Hale'")]
    Close(ActOnFinding),
}

#[derive(Debug, Args)]
pub(crate) struct ActOnFinding {
    /// The asset's id
    pub(crate) asset: String,
    /// The finding: declining, 'below limit', step, imbalance …
    pub(crate) kind: String,
    /// What was seen or done
    #[arg(long)]
    pub(crate) remark: String,
    #[command(flatten)]
    pub(crate) by: By,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Reading {
    /// Enter a reading by hand
    #[command(after_help = "Example:\n  ohmward reading add --asset YT-014/drive --phase U \
        --resistance '>550 MΩ' --test-voltage 500 --temperature 22 --by 'R. Hale'")]
    Add(Box<AddReading>),
    /// Say that a reading does not count
    #[command(after_help = "Example:\n  ohmward reading void 12.345 --reason 'clip had slipped' \
        --by 'R. Hale'")]
    Void(FixReading),
    /// Say that a voided reading counts again
    #[command(
        after_help = "Example:\n  ohmward reading restore 12.345 --reason 'the clip was fine' --by 'R. Hale'"
    )]
    Restore(FixReading),
    /// Say that a reading counts although a proof of its tester failed
    #[command(
        after_help = "Example:\n  ohmward reading overrule 12.345 --reason 'the proof was made with a broken lead' --by 'R. Hale'"
    )]
    Overrule(FixReading),
    /// Say that a reading belongs to another asset or phase
    #[command(
        after_help = "Example:\n  ohmward reading move 12.345 --asset YT-014/drive --phase V --reason 'leads swapped' --by 'R. Hale'"
    )]
    Move(MoveReading),
    /// The same for a reading in the tray
    #[command(
        after_help = "Example:\n  ohmward reading assign 12.345 --asset YT-014/drive --phase U --reason 'slot 17' --by 'R. Hale'"
    )]
    Assign(MoveReading),
}

#[derive(Debug, Args)]
pub(crate) struct AddReading {
    /// The asset's id
    #[arg(long)]
    pub(crate) asset: String,
    /// The phase: U, V, W, HV+, core-7, all …
    #[arg(long)]
    pub(crate) phase: String,
    /// The resistance as the tester shows it: '53 MΩ', '>550M', '4M7', OL
    #[arg(long, value_name = "TEXT", allow_hyphen_values = true)]
    pub(crate) resistance: String,
    /// When it was taken [default: now]
    #[arg(long, value_name = "TIME", value_parser = Stamp::parse)]
    pub(crate) at: Option<Stamp>,
    /// What the other lead was on
    #[arg(long, default_value = "case")]
    pub(crate) against: String,
    /// What else defines comparability, such as 'others grounded'
    #[arg(long, default_value = "")]
    pub(crate) setup: String,
    /// Nominal test voltage in volts
    #[arg(long, value_name = "VOLTS")]
    pub(crate) test_voltage: Option<f64>,
    /// Delivered voltage in volts
    #[arg(long, value_name = "VOLTS")]
    pub(crate) delivered_voltage: Option<f64>,
    /// Seconds of applied voltage
    #[arg(long, value_name = "SECONDS")]
    pub(crate) duration: Option<f64>,
    /// Degrees Celsius
    #[arg(long, value_name = "CELSIUS", allow_hyphen_values = true)]
    pub(crate) temperature: Option<f64>,
    /// What the temperature was of: winding or ambient
    #[arg(long, value_name = "WHAT")]
    pub(crate) temperature_of: Option<String>,
    /// Relative humidity in per cent
    #[arg(long, value_name = "PERCENT")]
    pub(crate) humidity: Option<f64>,
    /// The tester's id
    #[arg(long, default_value = "")]
    pub(crate) tester: String,
    /// The station
    #[arg(long, default_value = "")]
    pub(crate) station: String,
    /// Free text
    #[arg(long, default_value = "")]
    pub(crate) remark: String,
    #[command(flatten)]
    pub(crate) by: By,
}

#[derive(Debug, Args)]
pub(crate) struct FixReading {
    /// The reading's id, as `history` prints it
    pub(crate) reading: String,
    /// Why
    #[arg(long)]
    pub(crate) reason: String,
    #[command(flatten)]
    pub(crate) by: By,
}

#[derive(Debug, Args)]
pub(crate) struct MoveReading {
    /// The reading's id, as `history` or `tray list` prints it
    pub(crate) reading: String,
    /// The asset it belongs to
    #[arg(long)]
    pub(crate) asset: String,
    /// The phase it belongs to [default: as it is]
    #[arg(long)]
    pub(crate) phase: Option<String>,
    /// Why
    #[arg(long)]
    pub(crate) reason: String,
    #[command(flatten)]
    pub(crate) by: By,
}

/// A register file.
#[derive(Debug, Args)]
pub(crate) struct ImportRegister {
    /// A CSV file with the register's columns
    pub(crate) file: PathBuf,
    #[command(flatten)]
    pub(crate) by: By,
}

#[derive(Debug, Subcommand)]
pub(crate) enum AssetCommand {
    /// All assets
    #[command(after_help = "Example:\n  ohmward asset list --format csv")]
    List,
    /// One asset
    #[command(after_help = "Example:\n  ohmward asset show YT-014/drive")]
    Show(OneAsset),
    /// Add an asset, or change what is known of it
    #[command(after_help = "Example:\n  ohmward asset add YT-014/drive --kind 'traction motor' \
        --limit 5e6 --insulation thermosetting --phases separable --by 'R. Hale'")]
    Add(Box<AddAsset>),
    /// Say that two assets are one: the history of the first is read as that of the second
    #[command(after_help = "Example:\n  ohmward asset merge YT-O14/drive --into YT-014/drive \
        --why 'letter O for zero' --by 'R. Hale'")]
    Merge(MergeAssets),
    /// Take a merger back
    #[command(after_help = "Example:\n  ohmward asset unmerge YT-O14/drive --why 'another motor \
        after all' --by 'R. Hale'")]
    Unmerge(StandAside),
    /// Take an asset out of the fleet, its coverage and findings; its history stays
    #[command(after_help = "Example:\n  ohmward asset retire YT-014/drive --why 'scrapped' --by \
        'R. Hale'")]
    Retire(StandAside),
    /// Take a retired asset back into the fleet
    #[command(after_help = "Example:\n  ohmward asset return YT-014/drive --why 'rebuilt' --by \
        'R. Hale'")]
    Return(StandAside),
    /// Set a limit beside the one at 40 °C
    #[command(after_help = "Example:\n  ohmward asset limit YT-014/hv --ohm-per-volt 100 \
        --working-voltage 800 --by 'R. Hale'")]
    Limit(AssetLimit),
    /// Read assets.csv: asset,kind,rated_voltage_v,limit_ohm,insulation,phases,site,remark,class,
    /// interval_days,discharge_wait_s,training
    #[command(after_help = "Example:\n  ohmward asset import assets.csv --by 'R. Hale'")]
    Import(ImportRegister),
}

#[derive(Debug, Subcommand)]
pub(crate) enum ClassCommand {
    /// All classes
    #[command(after_help = "Example:\n  ohmward class list")]
    List,
    /// Add a class, or change what is known of it
    #[command(after_help = "Example:\n  ohmward class add 'drive motor 400 V' --kind 'traction \
        motor' --limit 5e6 --insulation thermosetting --phases separable --interval-days 90 \
        --discharge-wait 120 --by 'R. Hale'\n  ohmward asset add YT-014/drive --class 'drive \
        motor 400 V'")]
    Add(Box<AddClass>),
    /// Read classes.csv: class,kind,limit_ohm,as_read_ohm,ohm_per_volt,working_voltage_v,
    /// insulation,phases,interval_days,discharge_wait_s,remark
    #[command(after_help = "Example:\n  ohmward class import classes.csv --by 'R. Hale'")]
    Import(ImportRegister),
}

#[derive(Debug, Args)]
pub(crate) struct AddClass {
    /// Its name, such as 'drive motor 400 V'
    pub(crate) class: String,
    /// What its assets are [default: rotating machine]
    #[arg(long)]
    pub(crate) kind: Option<String>,
    /// Limit in ohm at 40 °C [default: 5e6 for rotating machines, by IEEE Std 43]
    #[arg(long, value_name = "OHM")]
    pub(crate) limit: Option<f64>,
    /// A limit in ohm as read, whatever the temperature
    #[arg(long, value_name = "OHM")]
    pub(crate) as_read: Option<f64>,
    /// Vehicle isolation in ohm per volt: 100 for DC, 500 for AC circuits (UN R100, ISO 6469-3)
    #[arg(long, value_name = "OHM", requires = "working_voltage")]
    pub(crate) ohm_per_volt: Option<f64>,
    /// Working voltage in volts
    #[arg(long, value_name = "VOLTS", requires = "ohm_per_volt")]
    pub(crate) working_voltage: Option<f64>,
    /// thermosetting, thermoplastic, none or unknown
    #[arg(long)]
    pub(crate) insulation: Option<String>,
    /// tied, separable or unknown
    #[arg(long)]
    pub(crate) phases: Option<String>,
    /// Days from one test to the next
    #[arg(long, value_name = "DAYS", value_parser = interval())]
    pub(crate) interval_days: Option<u32>,
    /// Seconds to wait for the discharge after a test
    #[arg(long, value_name = "SECONDS", value_parser = interval())]
    pub(crate) discharge_wait: Option<u32>,
    /// Free text
    #[arg(long)]
    pub(crate) remark: Option<String>,
    #[command(flatten)]
    pub(crate) by: By,
}

#[derive(Debug, Args)]
pub(crate) struct MergeAssets {
    /// The asset that is the same as another
    pub(crate) asset: String,
    /// That other one, which goes on
    #[arg(long, value_name = "ASSET")]
    pub(crate) into: String,
    /// The reason; kept with the change
    #[arg(long, value_name = "TEXT")]
    pub(crate) why: String,
    #[command(flatten)]
    pub(crate) by: By,
}

#[derive(Debug, Args)]
pub(crate) struct StandAside {
    /// The asset's id
    pub(crate) asset: String,
    /// The reason; kept with the change
    #[arg(long, value_name = "TEXT")]
    pub(crate) why: String,
    /// Since when [default: now]
    #[arg(long, value_name = "TIME", value_parser = Stamp::parse)]
    pub(crate) at: Option<Stamp>,
    #[command(flatten)]
    pub(crate) by: By,
}

#[derive(Debug, Args)]
pub(crate) struct AddAsset {
    /// The asset's id
    pub(crate) asset: String,
    /// What it is: rotating machine, cable, module …
    #[arg(long)]
    pub(crate) kind: Option<String>,
    /// Rated voltage in volts
    #[arg(long, value_name = "VOLTS")]
    pub(crate) rated_voltage: Option<f64>,
    /// Limit in ohm at 40 °C
    #[arg(long, value_name = "OHM")]
    pub(crate) limit: Option<f64>,
    /// thermosetting, thermoplastic, none or unknown
    #[arg(long)]
    pub(crate) insulation: Option<String>,
    /// tied, separable or unknown
    #[arg(long)]
    pub(crate) phases: Option<String>,
    /// Its class, which says what it does not say itself; '' for none
    #[arg(long, value_name = "NAME")]
    pub(crate) class: Option<String>,
    /// Days from one test to the next
    #[arg(long, value_name = "DAYS", value_parser = interval())]
    pub(crate) interval_days: Option<u32>,
    /// Seconds to wait for the discharge after a test
    #[arg(long, value_name = "SECONDS", value_parser = interval())]
    pub(crate) discharge_wait: Option<u32>,
    /// A part to learn on, with its known condition: 'sound', or 'V to case 200 kΩ, put in on
    /// purpose'; 'no' for a real one
    #[arg(long, value_name = "CONDITION")]
    pub(crate) training: Option<String>,
    /// Where it lives
    #[arg(long)]
    pub(crate) site: Option<String>,
    /// Free text
    #[arg(long)]
    pub(crate) remark: Option<String>,
    #[command(flatten)]
    pub(crate) by: By,
}

#[derive(Debug, Args)]
pub(crate) struct AssetLimit {
    /// The asset's id
    pub(crate) asset: String,
    /// Ohms as read, whatever the temperature
    #[arg(long, value_name = "OHM", conflicts_with_all = ["ohm_per_volt", "working_voltage"])]
    pub(crate) as_read: Option<f64>,
    /// Vehicle isolation in ohm per volt: 100 for DC, 500 for AC circuits (UN R100, ISO 6469-3)
    #[arg(long, value_name = "OHM", requires = "working_voltage")]
    pub(crate) ohm_per_volt: Option<f64>,
    /// Working voltage in volts
    #[arg(long, value_name = "VOLTS", requires = "ohm_per_volt")]
    pub(crate) working_voltage: Option<f64>,
    /// Take all limits beside the one at 40 °C away
    #[arg(long)]
    pub(crate) clear: bool,
    #[command(flatten)]
    pub(crate) by: By,
}

#[derive(Debug, Subcommand)]
pub(crate) enum EventCommand {
    /// All events, or those of one asset
    #[command(after_help = "Example:\n  ohmward event list YT-014/drive")]
    List {
        /// The asset's id
        asset: Option<String>,
    },
    /// Record what was done; rewound, dried and replaced start a new epoch
    #[command(after_help = "Example:\n  ohmward event add YT-014/drive rewound --at 2026-03-02 \
        --by 'R. Hale'")]
    Add(AddEvent),
    /// Take back an event that was recorded wrongly
    #[command(
        after_help = "Example:\n  ohmward event void YT-014/drive rewound --at 2026-03-02 --by 'R. Hale'"
    )]
    Void(AddEvent),
    /// Read events.csv: at,asset,kind,remark
    #[command(after_help = "Example:\n  ohmward event import events.csv --by 'R. Hale'")]
    Import(ImportRegister),
}

#[derive(Debug, Args)]
pub(crate) struct AddEvent {
    /// The asset's id
    pub(crate) asset: String,
    /// What was done
    pub(crate) kind: String,
    /// When [default: now]
    #[arg(long, value_name = "TIME", value_parser = Stamp::parse)]
    pub(crate) at: Option<Stamp>,
    /// Free text
    #[arg(long, default_value = "")]
    pub(crate) remark: String,
    #[command(flatten)]
    pub(crate) by: By,
}

#[derive(Debug, Subcommand)]
pub(crate) enum GearCommand {
    /// All gear with its due dates
    #[command(after_help = "Example:\n  ohmward gear list")]
    List,
    /// Add a piece of gear, or change what is known of it
    #[command(after_help = "Example:\n  ohmward gear add T-07 tester --category 'CAT III' \
        --rated-voltage 1000 --full-scale 550e6 --lowest 1e4 --due 2026-12-01 --by 'R. Hale'\n  \
        ohmward gear add T-08 tester --range '250 V=1 GΩ' --range '500 V=2 GΩ' --proof-days 30")]
    Add(AddGear),
    /// Read gear.csv: gear,kind,category,rated_voltage_v,full_scale_ohm,lowest_ohm,due,remark,
    /// ranges,proof_days
    #[command(after_help = "Example:\n  ohmward gear import gear.csv --by 'R. Hale'")]
    Import(ImportRegister),
}

#[derive(Debug, Args)]
pub(crate) struct AddGear {
    /// Its id, as readings name it
    pub(crate) gear: String,
    /// tester, lead, gloves, known source, known resistance or other
    pub(crate) kind: String,
    /// Measurement category as printed on it
    #[arg(long, default_value = "")]
    pub(crate) category: String,
    /// Rated voltage of that category in volts
    #[arg(long, value_name = "VOLTS")]
    pub(crate) rated_voltage: Option<f64>,
    /// Testers: highest reading in ohm
    #[arg(long, value_name = "OHM")]
    pub(crate) full_scale: Option<f64>,
    /// Testers: highest reading at one test voltage, such as '250 V=1 GΩ'; once for each range
    #[arg(long, value_name = "VOLTS=OHM", value_parser = range)]
    pub(crate) range: Vec<(f64, f64)>,
    /// Testers: lowest reading in ohm
    #[arg(long, value_name = "OHM")]
    pub(crate) lowest: Option<f64>,
    /// Testers: days after which a proof is to be repeated
    #[arg(long, value_name = "DAYS", value_parser = interval())]
    pub(crate) proof_days: Option<u32>,
    /// When its next test or calibration is due
    #[arg(long, value_name = "DATE", value_parser = Stamp::parse)]
    pub(crate) due: Option<Stamp>,
    /// Free text
    #[arg(long, default_value = "")]
    pub(crate) remark: String,
    #[command(flatten)]
    pub(crate) by: By,
}

/// A range of a tester: its test voltage and its highest reading.
fn range(text: &str) -> Result<(f64, f64), String> {
    let read = || {
        let (volts, ohms) = text.split_once('=')?;
        let volts = volts.trim().trim_end_matches('V').trim_end().parse().ok()?;
        match ohmward_parsers::read_resistance(ohms.trim()) {
            Ok(ohmward_parsers::Resistance::Measured(ohms)) => Some((volts, ohms)),
            _ => Some((volts, ohms.trim().parse().ok()?)),
        }
    };
    read().ok_or_else(|| format!("expected volts and ohms such as '250 V=1 GΩ', found `{text}`"))
}

#[derive(Debug, Subcommand)]
pub(crate) enum ProofCommand {
    /// All proofs, or those of one tester
    #[command(after_help = "Example:\n  ohmward proof list T-07")]
    List {
        /// The tester's id
        tester: Option<String>,
    },
    /// Record a check of a tester
    #[command(
        after_help = "Example:\n  ohmward proof add T-07 'known source' --value 243 --unit V \
        --passed true --moment before --by 'R. Hale'"
    )]
    Add(AddProof),
    /// Read proofs.csv: at,tester,kind,value,unit,passed,moment,remark
    #[command(after_help = "Example:\n  ohmward proof import proofs.csv --by 'R. Hale'")]
    Import(ImportRegister),
}

#[derive(Debug, Args)]
pub(crate) struct AddProof {
    /// The tester's id
    pub(crate) tester: String,
    /// open, shorted, known resistance or known source
    pub(crate) kind: String,
    /// Whether it passed
    #[arg(long, action = clap::ArgAction::Set)]
    pub(crate) passed: bool,
    /// before or after the readings
    #[arg(long)]
    pub(crate) moment: String,
    /// What it read
    #[arg(long)]
    pub(crate) value: Option<f64>,
    /// The unit of that value
    #[arg(long, default_value = "")]
    pub(crate) unit: String,
    /// When [default: now]
    #[arg(long, value_name = "TIME", value_parser = Stamp::parse)]
    pub(crate) at: Option<Stamp>,
    /// Free text
    #[arg(long, default_value = "")]
    pub(crate) remark: String,
    #[command(flatten)]
    pub(crate) by: By,
}

#[derive(Debug, Subcommand)]
pub(crate) enum AliasCommand {
    /// All aliases
    #[command(after_help = "Example:\n  ohmward alias list")]
    List,
    /// Say which asset or phase a written name means
    #[command(
        after_help = "Example:\n  ohmward alias add --written 17 --asset YT-014/drive --from \
        2026-01-01\n  ohmward alias add --asset YT-014/drive --phase-written L1 --phase U"
    )]
    Add(AddAlias),
    /// Read aliases.csv: written,asset,phase_written,phase,from,until,remark,merged
    #[command(after_help = "Example:\n  ohmward alias import aliases.csv --by 'R. Hale'")]
    Import(ImportRegister),
}

#[derive(Debug, Args)]
pub(crate) struct AddAlias {
    /// The name as written: a slot number, a mistyped id [default: the asset's own id]
    #[arg(long, default_value = "")]
    pub(crate) written: String,
    /// The asset meant
    #[arg(long)]
    pub(crate) asset: String,
    /// The phase label as written
    #[arg(long, default_value = "")]
    pub(crate) phase_written: String,
    /// The phase meant
    #[arg(long)]
    pub(crate) phase: Option<String>,
    /// First instant at which it holds [default: always]
    #[arg(long, value_name = "TIME", value_parser = Stamp::parse)]
    pub(crate) from: Option<Stamp>,
    /// First instant at which it holds no more [default: still]
    #[arg(long, value_name = "TIME", value_parser = Stamp::parse)]
    pub(crate) until: Option<Stamp>,
    /// Free text
    #[arg(long, default_value = "")]
    pub(crate) remark: String,
    #[command(flatten)]
    pub(crate) by: By,
}

#[derive(Debug, Subcommand)]
pub(crate) enum ProfileCommand {
    /// All profiles
    #[command(after_help = "Example:\n  ohmward profile list")]
    List,
    /// One profile as it is written
    #[command(after_help = "Example:\n  ohmward profile show canonical")]
    Show {
        /// Its name
        name: String,
    },
    /// Try a profile on a file: what would be read, what not
    #[command(after_help = "Example:\n  ohmward profile check export.txt --profile quay-handheld")]
    Check {
        /// The file
        file: PathBuf,
        /// The profile's name, or a TOML file [default: recognised]
        #[arg(long)]
        profile: Option<String>,
    },
    /// Propose a profile for an export that none fits, and ask what the file does not say
    #[command(
        after_help = "Example:\n  ohmward profile draft export.csv -o my-tester.toml\n  ohmward \
        profile draft export.xlsx --answer time.zone=Europe/Berlin\n\nThe profile goes to standard \
        output or to the file of -o. At a terminal the open questions are asked; else they are \
        listed and the exit code is 1. A draft with an open question is refused as a profile: \
        decimal mark, unit and the order of dates are never assumed."
    )]
    Draft {
        /// The export: text in columns, or a spreadsheet (XLSX, ODS)
        file: PathBuf,
        /// Write the profile to this file; it must not exist
        #[arg(short, long, value_name = "FILE.toml")]
        output: Option<PathBuf>,
        /// Answer a question by its key; `columns.FIELD=NAME` overrules which column a field is
        #[arg(long = "answer", value_name = "KEY=VALUE", value_parser = answer)]
        answers: Vec<(String, String)>,
    },
}

/// An answer: everything behind the first `=` is its value.
fn answer(text: &str) -> Result<(String, String), String> {
    match text.split_once('=') {
        Some((key, value)) if !key.trim().is_empty() => {
            Ok((key.trim().to_owned(), value.trim().to_owned()))
        }
        _ => Err(format!("expected `key=value` such as `time.zone=Europe/Berlin`, found `{text}`")),
    }
}

#[derive(Debug, Subcommand)]
pub(crate) enum RejectsCommand {
    /// Records that could not be read and wait for a mended profile
    #[command(after_help = "Example:\n  ohmward rejects list")]
    List,
    /// One reject with its bytes
    #[command(after_help = "Example:\n  ohmward rejects show 17")]
    Show {
        /// Its number
        number: u64,
    },
    /// Read rejects again, by the profile as it is now
    #[command(
        after_help = "Example:\n  ohmward rejects retry\n  ohmward rejects retry 17 --profile \
        quay-handheld"
    )]
    Retry {
        /// Their numbers [default: all]
        numbers: Vec<u64>,
        /// Another profile than the one they were read by
        #[arg(long)]
        profile: Option<String>,
    },
}

#[derive(Debug, Subcommand)]
pub(crate) enum TrayCommand {
    /// Readings waiting for their asset or phase
    #[command(after_help = "Example:\n  ohmward tray list")]
    List,
    /// Say which asset and phase a reading belongs to
    #[command(
        after_help = "Example:\n  ohmward tray assign 12.345 --asset YT-014/drive --phase U \
        --reason 'slot 17' --by 'R. Hale'"
    )]
    Assign(MoveReading),
}

#[derive(Debug, Args)]
pub(crate) struct AuditArgs {
    /// Only what was recorded from this time on
    #[arg(long, value_name = "TIME", value_parser = Stamp::parse)]
    pub(crate) since: Option<Stamp>,
}

#[derive(Debug, Subcommand)]
pub(crate) enum AccountCommand {
    /// Add an account; its password is asked for, or read from standard input
    #[command(after_help = "Example:\n  ohmward account add 'R. Hale' --role manage\n  ohmward \
        account add bench-2 --role bench < password.txt\n\nRoles: read asks questions; ingest \
        sends readings and nothing else; bench asks, and does what is done at a bench; manage may \
        do everything.")]
    Add {
        /// The name to log in with; it stands on what is changed
        name: String,
        /// read, ingest, bench or manage
        #[arg(long)]
        role: String,
        #[command(flatten)]
        by: By,
    },
    /// All accounts, revoked ones among them
    #[command(after_help = "Example:\n  ohmward account list --format json")]
    List,
    /// Set another password; whoever is logged in under the name is logged out
    #[command(after_help = "Example:\n  ohmward account password 'R. Hale'")]
    Password {
        /// Whose
        name: String,
        #[command(flatten)]
        by: By,
    },
    /// Set another role; whoever is logged in under the name is logged out
    #[command(after_help = "Example:\n  ohmward account role bench-2 read")]
    Role {
        /// Whose
        name: String,
        /// read, ingest, bench or manage
        role: String,
        #[command(flatten)]
        by: By,
    },
    /// Revoke an account: it counts no more, at once
    #[command(after_help = "Example:\n  ohmward account revoke bench-2")]
    Revoke {
        /// Whose
        name: String,
        #[command(flatten)]
        by: By,
    },
}

#[derive(Debug, Subcommand)]
pub(crate) enum NotifyCommand {
    /// Send a test message on one channel
    #[command(
        after_help = "Example:\n  ohmward notify test shift\n\nIt is sent at once, also in quiet \
        hours, and says nothing about any asset."
    )]
    Test {
        /// The name of the channel in the configuration
        name: String,
    },
}

#[derive(Debug, Subcommand)]
pub(crate) enum TokenCommand {
    /// Add a token and print it: it is shown this once
    #[command(after_help = "Example:\n  ohmward token add crane-gateway --role ingest --expires \
        2027-01-01\n\nA program sends it as `Authorization: Bearer TOKEN`.")]
    Add {
        /// The program's name; it stands on what it changes
        name: String,
        /// read, ingest, bench or manage
        #[arg(long)]
        role: String,
        /// When it ends by itself [default: never]
        #[arg(long, value_name = "TIME", value_parser = Stamp::parse)]
        expires: Option<Stamp>,
        #[command(flatten)]
        by: By,
    },
    /// All tokens, revoked ones among them; none is shown again
    #[command(after_help = "Example:\n  ohmward token list --format json")]
    List,
    /// Revoke a token: it counts no more, at once
    #[command(after_help = "Example:\n  ohmward token revoke crane-gateway")]
    Revoke {
        /// Whose
        name: String,
        #[command(flatten)]
        by: By,
    },
}

#[derive(Debug, Subcommand)]
pub(crate) enum OutboxCommand {
    /// All messages, the oldest first
    #[command(after_help = "Example:\n  ohmward outbox list")]
    List {
        /// Only those that wait to be sent
        #[arg(long)]
        waiting: bool,
    },
    /// One message as it is sent
    #[command(after_help = "Example:\n  ohmward outbox show 17")]
    Show {
        /// Its number
        number: u64,
    },
    /// Try waiting messages again now
    #[command(after_help = "Example:\n  ohmward outbox retry\n  ohmward outbox retry 17")]
    Retry {
        /// Their numbers [default: all]
        numbers: Vec<u64>,
    },
}
