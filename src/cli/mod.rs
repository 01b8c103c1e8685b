//! The command line: commands, files, exit codes. The only room that speaks, and the only one that touches a file.
#![expect(clippy::print_stderr, reason = "this is where the program speaks")]
#![expect(clippy::disallowed_methods, reason = "this is where files are read and written")]

pub mod art;
pub mod complaints;
mod files;
mod jpeg;
pub mod photo;
mod pixels;

use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use chrono::NaiveDate;
use clap::{Parser, Subcommand, ValueEnum};

use crate::diag::{Diagnostic, Diagnostics, FileId, Severity, Text};
use crate::document::{Edition, Reader};
use crate::front::{Choices, Job};
use crate::page::fonts::Fonts;
use crate::plan::Word;
use crate::supplies::Supplies;
use crate::units::System;
use crate::{prepare, render, sheet, site};

use files::Folder;

/// A line on standard output. A reader that has gone away ends the program quietly; any other fault is said.
fn say_line(words: std::fmt::Arguments<'_>) {
    use std::io::Write as _;
    let mut out = std::io::stdout().lock();
    if let Err(error) = writeln!(out, "{words}") {
        if error.kind() == std::io::ErrorKind::BrokenPipe {
            std::process::exit(0);
        }
        eprintln!("error[unwritable-output]: what was to be said could not be written: {error}");
        std::process::exit(1);
    }
}

macro_rules! say {
    ($($words:tt)*) => { say_line(format_args!($($words)*)) };
}

/// Care plans for garden ponds with a copper ion controller.
#[derive(Debug, Parser)]
#[command(
    name = "weirbook",
    version,
    about = "Turns a site file and a log of readings into a care plan for a pond, as PDF",
    after_help = "Example:\n  weirbook plan demo-sites/quoyle-end/site.toml\n\nExit codes:\n  0  done; warnings may have been printed\n  1  a file could not be read or written\n  2  the site file, the log or the command line is wrong; nothing was written"
)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Writes the care plan and the shed sheet.
    #[command(
        after_help = "Examples:\n  weirbook plan demo-sites/quoyle-end/site.toml\n  weirbook plan site.toml -o plans --edition shed-sheet --units us\n\nWrites <site-id>-care-plan.pdf and <site-id>-shed-sheet.pdf beside the site file, or where -o says."
    )]
    Plan {
        #[command(flatten)]
        input: Input,
        /// Folder for the PDFs; the site file's own without it.
        #[arg(short, long, value_name = "FOLDER")]
        output: Option<PathBuf>,
        /// What to print; may be given several times.
        #[arg(long = "edition", value_enum, ignore_case = true)]
        editions: Vec<EditionName>,
    },
    /// Does all that `plan` does, but writes nothing.
    #[command(after_help = "Example:\n  weirbook check demo-sites/pinch-gap/site.toml")]
    Check {
        #[command(flatten)]
        input: Input,
    },
    /// Makes a folder with a commented site file and an empty log.
    #[command(
        after_help = "Example:\n  weirbook new ash-lane\n\nFill in the blanks of ash-lane/site.toml, then run: weirbook check ash-lane/site.toml"
    )]
    New {
        /// The folder; it must not hold a site file yet.
        folder: PathBuf,
    },
    /// Prints every published number with its workings.
    #[command(after_help = "Example:\n  weirbook figures demo-sites/quoyle-end/site.toml --format json")]
    Figures {
        #[command(flatten)]
        input: Input,
        /// How to print them.
        #[arg(long, value_enum, default_value_t = Format::Text)]
        format: Format,
    },
}

#[derive(Debug, clap::Args)]
struct Input {
    /// The site file.
    #[arg(value_name = "SITE.toml")]
    site: PathBuf,
    /// The date on the plan, as 2027-02-18; wins over the site file's.
    #[arg(long, value_parser = date)]
    date: Option<NaiveDate>,
    /// In whose units the plan speaks; wins over the site file's.
    #[arg(long, value_enum, ignore_case = true)]
    units: Option<UnitsName>,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum EditionName {
    /// The whole plan.
    CarePlan,
    /// One page for the shed.
    ShedSheet,
    /// The workings alone.
    Workings,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum UnitsName {
    /// Litres, grams, degrees.
    Metric,
    /// US gallons, pounds, ppm, °F.
    Us,
    /// Imperial gallons, grams, degrees.
    Imperial,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Format {
    /// Numbered lines to read.
    Text,
    /// A list of objects.
    Json,
    /// One figure a row.
    Csv,
}

fn date(text: &str) -> Result<NaiveDate, String> {
    text.parse().map_err(|_| format!("`{text}` is not a date; write year, month, day as 2027-02-18"))
}

/// The program. `arguments` begins with the program's own name.
pub fn main(arguments: impl IntoIterator<Item = std::ffi::OsString>) -> ExitCode {
    let cli = match Cli::try_parse_from(arguments) {
        Ok(cli) => cli,
        Err(error) => {
            let code = if error.use_stderr() { 2 } else { 0 };
            let _ = error.print();
            return ExitCode::from(code);
        }
    };
    match cli.command {
        Command::Plan { input, output, editions } => plan(&input, output.as_deref(), &editions),
        Command::Check { input } => check(&input),
        Command::New { folder } => new(&folder),
        Command::Figures { input, format } => figures(&input, format),
    }
}

/// What was read, and what came of it.
struct Run {
    job: Option<Job>,
    supplies: Folder,
    failed: bool,
}

/// Complaints wrap at the terminal's width, and at 80 columns in a wide one or a pipe.
fn terminal_width() -> usize {
    terminal_size::terminal_size().map_or(80, |(width, _)| usize::from(width.0).clamp(40, 80))
}

fn show(texts: &[Text], complaints: &Diagnostics) {
    if complaints.is_empty() {
        return;
    }
    let colour = std::io::stderr().is_terminal();
    eprint!("{}", complaints::render(texts, complaints, colour, terminal_width()));
}

fn unreadable(path: &Path, error: &std::io::Error) -> ExitCode {
    eprintln!("error[unreadable-file]: `{}` could not be read: {error}", path.display());
    if path.is_dir() {
        eprintln!("hint: name the site file in it, such as `{}`", path.join("site.toml").display());
    }
    ExitCode::from(1)
}

fn read(input: &Input) -> Result<Run, ExitCode> {
    let bytes = std::fs::read(&input.site).map_err(|e| unreadable(&input.site, &e))?;
    let (site_text, mut complaints) = site::decode(&input.site.display().to_string(), &bytes, FileId::SITE);
    let folder = input.site.parent().map(Path::to_path_buf).unwrap_or_default();
    let log = site::log_file(&site_text).and_then(|name| {
        let path = folder.join(&name);
        let bytes = std::fs::read(&path).ok()?;
        Some(site::decode(&path.display().to_string(), &bytes, FileId::LOG))
    });
    let log = log.map(|(text, found)| {
        complaints.append(found);
        text
    });
    let supplies = Folder::new(folder);
    let choices = Choices { date: input.date, system: input.units.map(system) };
    let undecodable = complaints.any_error();
    let (job, found) = prepare(&site_text, log.as_ref(), choices, &supplies);
    complaints.append(found);
    let mut texts = vec![site_text];
    texts.extend(log);
    show(&texts, &complaints);
    let failed = undecodable || complaints.any_error();
    Ok(Run { job: if failed { None } else { job }, supplies, failed })
}

fn system(name: UnitsName) -> System {
    match name {
        UnitsName::Metric => System::Metric,
        UnitsName::Us => System::Us,
        UnitsName::Imperial => System::Imperial,
    }
}

/// What needs the contractor's attention: verdict and amounts, one line each.
fn attention(job: &Job) {
    let plan = &job.plan;
    let reader = Reader::new(&job.site, plan.system);
    let word = match plan.verdict.word {
        Word::Yes => "Yes",
        Word::NotYet => "Not yet",
        Word::No => "No",
    };
    let because: Vec<&str> = plan
        .verdict
        .reasons
        .iter()
        .filter(|r| r.word == plan.verdict.word && r.word != Word::Yes)
        .map(|r| r.key)
        .collect();
    say!("verdict  {word}{}", if because.is_empty() { String::new() } else { format!(" ({})", because.join(", ")) });
    let times = |count: usize| if count == 1 { "once".to_owned() } else { format!("{count} times") };
    if let Some(buffer) = &plan.correction.buffer {
        let dose = reader.mass(buffer.dose.si());
        say!(
            "dose     {dose} of {}, {}: {}",
            buffer.substance.name,
            times(buffer.days.len()),
            reader.days(&buffer.days)
        );
    }
    if let Some(calcium) = &plan.correction.calcium {
        let dose = reader.mass(calcium.dose.si());
        say!(
            "dose     {dose} of {}, {}: {}",
            calcium.substance.name,
            times(calcium.days.len()),
            reader.days(&calcium.days)
        );
    }
    if let Some(salt) = &plan.correction.salt {
        say!(
            "dose     {} of salt, {}: {}",
            reader.mass(salt.dose.si()),
            times(salt.days.len()),
            reader.days(&salt.days)
        );
    }
    for change in [&plan.correction.copper, &plan.correction.changes].into_iter().flatten() {
        let volume = reader.volume(change.volume.si(), crate::workings::Way::Down);
        say!("change   {volume}, {}", times(change.days.len()));
    }
    if !plan.missing.is_empty() {
        let names: Vec<&str> = plan.missing.iter().map(|m| m.what.as_str()).collect();
        say!("missing  {}", names.join("; "));
    }
}

fn plan(input: &Input, output: Option<&Path>, editions: &[EditionName]) -> ExitCode {
    let run = match read(input) {
        Ok(run) => run,
        Err(code) => return code,
    };
    let Some(job) = &run.job else {
        eprintln!("no plan was written");
        return ExitCode::from(2);
    };
    let editions: Vec<Edition> = if editions.is_empty() {
        vec![Edition::CarePlan, Edition::ShedSheet]
    } else {
        editions
            .iter()
            .map(|e| match e {
                EditionName::CarePlan => Edition::CarePlan,
                EditionName::ShedSheet => Edition::ShedSheet,
                EditionName::Workings => Edition::Workings,
            })
            .collect()
    };
    let fonts = match Fonts::new(|face| run.supplies.face(face)) {
        Ok(fonts) => fonts,
        Err(error) => {
            eprintln!("error[no-font]: {error}");
            return ExitCode::from(1);
        }
    };
    let folder =
        output.map_or_else(|| input.site.parent().map(Path::to_path_buf).unwrap_or_default(), Path::to_path_buf);
    // All editions are made before the first is written, so that a fault leaves nothing half done.
    let mut made: Vec<(PathBuf, Vec<u8>)> = Vec::new();
    for edition in editions {
        match render(job, edition, &run.supplies, &fonts) {
            Ok(bytes) => made.push((folder.join(format!("{}-{}.pdf", job.site.id, edition.name())), bytes)),
            Err(complaint) => return refuse(complaint),
        }
    }
    for (path, bytes) in &made {
        if let Err(error) = files::write_whole(path, bytes) {
            eprintln!("error[unwritable-file]: `{}` could not be written: {error}", path.display());
            return ExitCode::from(1);
        }
        say!("wrote    {}", path.display());
    }
    attention(job);
    ExitCode::SUCCESS
}

fn refuse(complaint: Diagnostic) -> ExitCode {
    let mut list = Diagnostics::new();
    let fatal = complaint.severity == Severity::Error;
    list.push(complaint);
    show(&[], &list);
    ExitCode::from(if fatal { 2 } else { 0 })
}

fn check(input: &Input) -> ExitCode {
    let run = match read(input) {
        Ok(run) => run,
        Err(code) => return code,
    };
    let Some(job) = &run.job else {
        eprintln!("no plan can be made");
        return ExitCode::from(2);
    };
    let fonts = match Fonts::new(|face| run.supplies.face(face)) {
        Ok(fonts) => fonts,
        Err(error) => {
            eprintln!("error[no-font]: {error}");
            return ExitCode::from(1);
        }
    };
    for edition in [Edition::CarePlan, Edition::ShedSheet] {
        if let Err(complaint) = render(job, edition, &run.supplies, &fonts) {
            return refuse(complaint);
        }
    }
    attention(job);
    say!("checked  nothing was written");
    ExitCode::SUCCESS
}

fn new(folder: &Path) -> ExitCode {
    let site = folder.join("site.toml");
    let log = folder.join("log.csv");
    for path in [&site, &log] {
        if path.exists() {
            eprintln!("error[already-there]: `{}` is there already; nothing was written", path.display());
            eprintln!("hint: name a folder that does not hold a site yet");
            return ExitCode::from(2);
        }
    }
    let write = || -> std::io::Result<()> {
        std::fs::create_dir_all(folder)?;
        files::write_whole(&log, site::blank_log().as_bytes())?;
        files::write_whole(&site, site::blank_site().as_bytes())
    };
    if let Err(error) = write() {
        eprintln!("error[unwritable-file]: `{}` could not be made: {error}", folder.display());
        return ExitCode::from(1);
    }
    say!("wrote    {}", site.display());
    say!("wrote    {}", log.display());
    say!("next     fill in the blanks, then: weirbook check \"{}\"", site.display());
    ExitCode::SUCCESS
}

fn figures(input: &Input, format: Format) -> ExitCode {
    let run = match read(input) {
        Ok(run) => run,
        Err(code) => return code,
    };
    let Some(job) = &run.job else { return ExitCode::from(2) };
    let _ = run.failed;
    match format {
        Format::Json => match serde_json::to_string_pretty(&job.plan.book.json()) {
            Ok(text) => say!("{text}"),
            Err(error) => {
                eprintln!("error[no-json]: {error}");
                return ExitCode::from(1);
            }
        },
        Format::Csv => match sheet::csv(&job.plan.book) {
            Ok(text) => say!("{}", text.trim_end()),
            Err(error) => {
                eprintln!("error[no-csv]: {error}");
                return ExitCode::from(1);
            }
        },
        Format::Text => {
            for line in job.plan.book.lines() {
                say!("{:>3}  {}  [{}]", line.number, line.title, line.id);
                say!("     {}", line.equation_text());
                say!("     = {}", line.keyed_text());
                say!("     = {} {}", line.result, line.unit.symbol);
                let sources: Vec<String> =
                    line.citations().iter().map(|c| format!("{} ({}, {})", c.short, c.id, c.status.words())).collect();
                if !sources.is_empty() {
                    say!("     {}", sources.join("; "));
                }
            }
        }
    }
    ExitCode::SUCCESS
}
