//! The command line: commands, files, exit codes. The only room that speaks, and the only one that touches a file.
#![expect(clippy::disallowed_methods, reason = "this is where files are read and written")]

pub mod art;
mod audit;
pub mod complaints;
mod files;
mod forecast;
mod jpeg;
mod line;
pub mod photo;
mod pixels;
mod terminal;
mod water;

use std::io::IsTerminal as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use chrono::NaiveDate;
use clap::{Parser, Subcommand, ValueEnum};

use crate::diag::{Diagnostic, Diagnostics, FileId, Text};
use crate::document::{self, Edition, PARTS, Reader, Templates as _, break_words};
use crate::front::{Choices, Job};
use crate::page::fonts::Fonts;
use crate::plan::Word;
use crate::supplies::{Shipped, Supplies};
use crate::units::System;
use crate::water::ensemble::{Draw, USUAL};
use crate::workings::Book;
use crate::{prepare_with_weather, render, sheet, site, spreadsheet};

pub use files::Folder;
use files::Unreadable;
use terminal::{attend, fail, fault, say_bytes, say_line, show, tell};

macro_rules! say {
    ($($words:tt)*) => { say_line(format_args!($($words)*)) };
}

/// Care plans for garden ponds with a copper ion controller.
#[derive(Debug, Parser)]
#[command(
    name = "weirbook",
    version,
    about = "Turns a site file and a log of readings into a care plan for a pond, as PDF",
    after_help = "Example:\n  weirbook plan demo-sites/quoyle-end/site.toml\n\nExit codes:\n  0  done; warnings may have been printed\n  1  a file could not be read or written\n  2  the site file, the log or the command line is wrong; nothing was written\n\n`audit` and `compare` have their own: 0 agrees, 1 differs, 2 cannot be read."
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
        #[command(flatten)]
        words: Words,
    },
    /// Does all that `plan` does, but writes nothing.
    #[command(after_help = "Example:\n  weirbook check demo-sites/pinch-gap/site.toml")]
    Check {
        #[command(flatten)]
        input: Input,
        #[command(flatten)]
        words: Words,
    },
    /// Writes the templates of the plan's words into a folder, to be changed.
    #[command(
        after_help = "Example:\n  weirbook templates our-words\n  weirbook plan site.toml --templates our-words\n\nEach file begins with a list of all that may be used in it. Take out those that you do not change: they are then read from the program."
    )]
    Templates {
        /// The folder.
        folder: PathBuf,
        /// Writes over templates that are there already.
        #[arg(long)]
        replace: bool,
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
    #[command(
        after_help = "Examples:\n  weirbook figures demo-sites/quoyle-end/site.toml --format json\n  weirbook figures site.toml --format xlsx -o workings.xlsx\n\nIn the spreadsheet every arithmetic figure is a live formula over named cells: change an input, and see what follows."
    )]
    Figures {
        #[command(flatten)]
        input: Input,
        /// How to print them.
        #[arg(long, value_enum, default_value_t = Format::Text)]
        format: Format,
        /// File to write them into; standard output without it.
        #[arg(short, long, value_name = "FILE")]
        output: Option<PathBuf>,
    },
    /// Works out one water, or a table of waters, without a site file.
    #[command(after_help = water::HELP)]
    Water(Box<water::Arguments>),
    /// Makes a plan again from what is inside its PDF, and says where the PDF differs.
    #[command(after_help = audit::AUDIT_HELP)]
    Audit {
        /// The PDF of a plan, a shed sheet or workings.
        #[arg(value_name = "PLAN.pdf")]
        plan: PathBuf,
        /// How to print what is found.
        #[arg(long, value_enum, default_value_t = audit::Answer::Text)]
        format: audit::Answer,
    },
    /// Says what differs between two plans, and why.
    #[command(after_help = audit::COMPARE_HELP)]
    Compare(Box<audit::Two>),
    /// Prints the water year: one row for each day of the twelve months after the last visit.
    #[command(
        after_help = "Example:\n  weirbook forecast demo-sites/quoyle-end/site.toml --format csv\n  weirbook forecast demo-sites/quoyle-end/site.toml --member 7 --day 2027-05-02\n\nColumns: date, then volume, level below brim, evaporation, rain, top-up, change, overflow, carbonate hardness,\ngeneral hardness, conductivity at 25 °C, pH, temperature, each with its unit: of the middle year, and where years\ndiffer the 10th, 50th and 90th percentile of possible years (_10, _50, _90).\nNeeds the part [climate] in the site file."
    )]
    Forecast {
        #[command(flatten)]
        input: Input,
        /// How to print it.
        #[arg(long, value_enum, default_value_t = Series::Csv)]
        format: Series,
        /// How many possible years the percentiles are taken from; 0 leaves them out.
        #[arg(long, value_name = "COUNT", default_value_t = USUAL.members, value_parser = clap::value_parser!(u32).range(..=100_000))]
        members: u32,
        /// Which years: any whole number; the same number gives the same years.
        #[arg(long, value_name = "NUMBER", default_value_t = USUAL.seed)]
        seed: u64,
        /// Works out one day of one possible year instead, line by line: the year's number, counted from 0.
        #[arg(long, value_name = "NUMBER", requires = "day")]
        member: Option<u32>,
        /// Which day of that year, such as 2027-05-02.
        #[arg(long, value_name = "DATE", requires = "member")]
        day: Option<NaiveDate>,
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

#[derive(Debug, clap::Args)]
struct Words {
    /// Folder with templates of the firm's own; what is not in it comes from the program.
    #[arg(long, value_name = "FOLDER")]
    templates: Option<PathBuf>,
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
    /// A spreadsheet with live formulas.
    Xlsx,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Series {
    /// A head and one row a day.
    Csv,
    /// An object with its units and a list of days.
    Json,
}

fn date(text: &str) -> Result<NaiveDate, String> {
    text.parse().map_err(|_| format!("`{text}` is not a date; write year, month, day as 2027-02-18"))
}

/// The program. `arguments` begins with the program's own name.
pub fn main(arguments: impl IntoIterator<Item = std::ffi::OsString>) -> ExitCode {
    let cli = match Cli::try_parse_from(arguments) {
        Ok(cli) => cli,
        Err(error) => {
            if let Some(complaint) = line::complaint(&error) {
                return fail(2, complaint);
            }
            let code = if error.use_stderr() { 2 } else { 0 };
            return match error.print() {
                Err(fault) if fault.kind() != std::io::ErrorKind::BrokenPipe => ExitCode::from(1),
                _ => ExitCode::from(code),
            };
        }
    };
    let _patience =
        terminal::Patience::start("reading, planning, and counting possible years; large tables take a while");
    match cli.command {
        Command::Plan { input, output, editions, words } => plan(&input, &words, output.as_deref(), &editions),
        Command::Check { input, words } => check(&input, &words),
        Command::Templates { folder, replace } => templates(&folder, replace),
        Command::New { folder } => new(&folder),
        Command::Figures { input, format, output } => figures(&input, format, output.as_deref()),
        Command::Audit { plan, format } => audit::audit(&plan, format),
        Command::Compare(two) => audit::compare(&two),
        Command::Water(arguments) => water::run(&arguments),
        Command::Forecast { input, format, members, seed, member, day } => {
            water_year(&input, format, Draw { members, seed }, member.zip(day))
        }
    }
}

/// What was read, and what came of it.
struct Run {
    job: Option<Job>,
    supplies: Folder,
    /// What complaints point into: site file, log, templates.
    texts: Vec<Text>,
}

fn unreadable(path: &Path, error: &std::io::Error) -> ExitCode {
    let complaint =
        Diagnostic::error("unreadable-file", None, format!("`{}` could not be read: {}", path.display(), fault(error)));
    let hint = if path.is_dir() {
        format!("name the site file in it, such as `{}`", path.join("site.toml").display())
    } else if error.kind() == std::io::ErrorKind::NotFound {
        "see whether the name is spelled right; `weirbook new FOLDER` makes a site file to fill in".to_owned()
    } else {
        "see whether another program holds the file, and whether you may read it".to_owned()
    };
    fail(1, complaint.hint(hint))
}

fn read(input: &Input, words: Option<&Words>, draw: Option<Draw>) -> Result<Run, ExitCode> {
    let bytes = std::fs::read(&input.site).map_err(|e| unreadable(&input.site, &e))?;
    let (site_text, mut complaints) = site::decode(&input.site.display().to_string(), &bytes, FileId::SITE);
    let folder = input.site.parent().map(Path::to_path_buf).unwrap_or_default();
    let mut beside = |name: Option<String>, file: FileId, key: &str, hint: &'static str| {
        let Some(path) = name.map(|name| folder.join(name)) else { return Ok(None) };
        match std::fs::read(&path) {
            Ok(bytes) => {
                let (text, found) = site::decode(&path.display().to_string(), &bytes, file);
                complaints.append(found);
                Ok(Some(text))
            }
            // That it is not there is said at the line that names it.
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(None),
            Err(error) => {
                let said = format!("the {key} `{}` could not be read: {}", path.display(), fault(&error));
                Err(fail(1, Diagnostic::error("unreadable-file", None, said).hint(hint)))
            }
        }
    };
    let hint = "`file` under `[log]` of the site file names a file of readings, such as `log.csv`";
    let log = beside(site::log_file(&site_text), FileId::LOG, "log", hint)?;
    let hint = "`file` under `[climate]` of the site file names a file of daily weather, such as `weather.csv`";
    let weather = beside(site::weather_file(&site_text), FileId::WEATHER, "weather file", hint)?;
    let mut supplies = Folder::new(folder);
    if let Some(templates) = words.and_then(|words| words.templates.as_deref()) {
        complaints.append(supplies.read_templates(templates).map_err(|fault| no_templates(templates, &fault))?);
        complaints.append(document::check(&supplies));
    }
    let choices = Choices { date: input.date, system: input.units.map(system), draw };
    let undecodable = complaints.any_error();
    let (job, found) = prepare_with_weather(&site_text, log.as_ref(), weather.as_ref(), choices, &supplies);
    complaints.append(found);
    // By their `FileId`s; a log or a weather file that is not there keeps its place.
    let none = || Text { name: String::new(), words: String::new() };
    let mut texts = vec![site_text, log.unwrap_or_else(none), weather.unwrap_or_else(none)];
    texts.extend(document::texts(&supplies));
    show(&texts, &complaints);
    let failed = undecodable || complaints.any_error();
    Ok(Run { job: if failed { None } else { job }, supplies, texts })
}

fn no_templates(folder: &Path, found: &Unreadable) -> ExitCode {
    let said = format!("`{}` could not be read: {}", found.path.display(), fault(&found.error));
    let hint = if found.path == folder {
        "`--templates` names a folder; `weirbook templates FOLDER` makes one"
    } else {
        "a template is a text; take out what is none"
    };
    fail(1, Diagnostic::error("unreadable-file", None, said).hint(hint))
}

fn unwritable(path: &Path, error: &std::io::Error) -> ExitCode {
    let said = format!("`{}` could not be written: {}", path.display(), fault(error));
    let hint = "choose a folder in which you may write and which has room, with `-o FOLDER`";
    fail(1, Diagnostic::error("unwritable-file", None, said).hint(hint))
}

fn no_font(error: &crate::page::fonts::FontError) -> ExitCode {
    fail(1, Diagnostic::error("no-font", None, error.to_string()))
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
    let because: Vec<String> = plan
        .verdict
        .reasons
        .iter()
        .filter(|r| r.word == plan.verdict.word && r.word != Word::Yes)
        .map(|r| r.key.replace('-', " "))
        .collect();
    let settle = if plan.verdict.word == Word::NotYet { "; to be settled first: " } else { ": " };
    let because = if because.is_empty() { String::new() } else { format!("{settle}{}", because.join(", ")) };
    attend("verdict", &format!("{word}{because}"));
    let times = |count: usize| if count == 1 { "once".to_owned() } else { format!("{count} times") };
    let dose = |dose: f64, name: &str, days: &[NaiveDate]| {
        attend("dose", &format!("{} of {name}, {}: {}", reader.mass(dose), times(days.len()), reader.days(days)));
    };
    if let Some(buffer) = &plan.correction.buffer {
        dose(buffer.dose.si(), buffer.substance.name, &buffer.days);
    }
    if let Some(calcium) = &plan.correction.calcium {
        dose(calcium.dose.si(), calcium.substance.name, &calcium.days);
    }
    if let Some(salt) = &plan.correction.salt {
        dose(salt.dose.si(), "salt", &salt.days);
    }
    for change in [&plan.correction.copper, &plan.correction.changes].into_iter().flatten() {
        let volume = reader.volume(change.volume.si(), crate::workings::Way::Down);
        attend("change", &format!("{volume}, {}", times(change.days.len())));
    }
    if let Some(past) = plan.year.as_ref().ok().and_then(|year| year.past.as_ref()) {
        for found in &past.breaks {
            attend("log", &break_words(found, &reader));
        }
    }
    if !plan.missing.is_empty() {
        let names: Vec<&str> = plan.missing.iter().map(|m| m.what.as_str()).collect();
        attend("missing", &names.join("; "));
    }
}

fn plan(input: &Input, words: &Words, output: Option<&Path>, editions: &[EditionName]) -> ExitCode {
    let run = match read(input, Some(words), None) {
        Ok(run) => run,
        Err(code) => return code,
    };
    let Some(job) = &run.job else {
        tell("no plan was written\n");
        return ExitCode::from(2);
    };
    if let Some(output) = output.filter(|output| output.exists() && !output.is_dir()) {
        let said = format!("`{}` is a file, and the plan could not be written into it", output.display());
        let hint = format!(
            "`-o` names a folder; the files in it are called `{0}-care-plan.pdf` and `{0}-shed-sheet.pdf`",
            job.site.id
        );
        return fail(1, Diagnostic::error("no-folder", None, said).hint(hint));
    }
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
        Err(error) => return no_font(&error),
    };
    let folder =
        output.map_or_else(|| input.site.parent().map(Path::to_path_buf).unwrap_or_default(), Path::to_path_buf);
    // All editions are made before the first is written, so that a fault leaves nothing half done.
    let mut made: Vec<(PathBuf, Vec<u8>)> = Vec::new();
    for edition in editions {
        match render(job, edition, &run.supplies, &fonts) {
            Ok(bytes) => made.push((folder.join(format!("{}-{}.pdf", job.site.id, edition.name())), bytes)),
            Err(complaints) => return refuse(&run, &complaints, "no plan was written"),
        }
    }
    for (path, bytes) in &made {
        if let Err(error) = files::write_whole(path, bytes) {
            return unwritable(path, &error);
        }
    }
    // All are written before any is spoken of: who listens may go away.
    for (path, _) in &made {
        say!("wrote    {}", path.display());
    }
    attention(job);
    ExitCode::SUCCESS
}

fn refuse(run: &Run, complaints: &Diagnostics, so: &str) -> ExitCode {
    show(&run.texts, complaints);
    tell(&format!("{so}\n"));
    ExitCode::from(2)
}

fn check(input: &Input, words: &Words) -> ExitCode {
    let run = match read(input, Some(words), None) {
        Ok(run) => run,
        Err(code) => return code,
    };
    let Some(job) = &run.job else {
        tell("no plan can be made\n");
        return ExitCode::from(2);
    };
    let fonts = match Fonts::new(|face| run.supplies.face(face)) {
        Ok(fonts) => fonts,
        Err(error) => return no_font(&error),
    };
    for edition in [Edition::CarePlan, Edition::ShedSheet] {
        if let Err(complaints) = render(job, edition, &run.supplies, &fonts) {
            return refuse(&run, &complaints, "no plan can be made");
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
            let said = format!("`{}` is there already; nothing was written", path.display());
            let hint = "name a folder that does not hold a site yet";
            return fail(2, Diagnostic::error("already-there", None, said).hint(hint));
        }
    }
    let write = || -> std::io::Result<()> {
        std::fs::create_dir_all(folder)?;
        files::write_whole(&log, site::blank_log().as_bytes())?;
        files::write_whole(&site, site::blank_site().as_bytes())
    };
    if let Err(error) = write() {
        let said = format!("`{}` could not be made: {}", folder.display(), fault(&error));
        let hint = "name a folder in a place where you may write";
        return fail(1, Diagnostic::error("unwritable-file", None, said).hint(hint));
    }
    say!("wrote    {}", site.display());
    say!("wrote    {}", log.display());
    say!("next     fill in the blanks, then: weirbook check \"{}\"", site.display());
    ExitCode::SUCCESS
}

/// Writes the templates that come with the program.
fn templates(folder: &Path, replace: bool) -> ExitCode {
    let mut files: Vec<(PathBuf, String)> = Vec::new();
    for part in PARTS {
        let words = Shipped.template(part).unwrap_or_default();
        files.push((folder.join(format!("{part}.md")), format!("{}{words}", document::comment(part))));
    }
    let there: Vec<String> =
        files.iter().filter(|(path, _)| path.exists()).map(|(path, _)| format!("`{}`", path.display())).collect();
    if !there.is_empty() && !replace {
        let verb = if there.len() == 1 { "is" } else { "are" };
        let said = format!("{} {verb} there already; nothing was written", there.join(", "));
        let hint = "name another folder, or write over them with `--replace`";
        return fail(2, Diagnostic::error("already-there", None, said).hint(hint));
    }
    for (path, words) in &files {
        if let Err(error) = files::write_whole(path, words.as_bytes()) {
            return unwritable(path, &error);
        }
    }
    for (path, _) in &files {
        say!("wrote    {}", path.display());
    }
    say!("next     change their words, then: weirbook check SITE.toml --templates \"{}\"", folder.display());
    ExitCode::SUCCESS
}

fn figures(input: &Input, format: Format, output: Option<&Path>) -> ExitCode {
    let terminal = output.is_none() && matches!(format, Format::Xlsx) && std::io::stdout().is_terminal();
    if terminal {
        let said = "a spreadsheet is no text, and a terminal cannot show it";
        let hint = "name a file for it, such as `-o workings.xlsx`";
        return fail(2, Diagnostic::error("no-file-named", None, said).hint(hint));
    }
    if let Some(folder) = output.filter(|path| path.is_dir()) {
        let said = format!("`{}` is a folder, and the figures could not be written into it", folder.display());
        let hint = format!("`-o` names a file, such as `{}`", folder.join("workings.xlsx").display());
        return fail(1, Diagnostic::error("no-file", None, said).hint(hint));
    }
    let run = match read(input, None, None) {
        Ok(run) => run,
        Err(code) => return code,
    };
    let Some(job) = &run.job else { return ExitCode::from(2) };
    let text = match format {
        Format::Xlsx => {
            return match spreadsheet(job) {
                Ok(bytes) => hand_out(bytes, output),
                Err(complaint) => fail(1, complaint),
            };
        }
        Format::Json => match serde_json::to_string_pretty(&job.plan.book.json()) {
            Ok(text) => text,
            Err(error) => return fail(1, Diagnostic::error("no-json", None, error.to_string())),
        },
        Format::Csv => match sheet::csv(&job.plan.book) {
            Ok(text) => text.trim_end().to_owned(),
            Err(error) => return fail(1, Diagnostic::error("no-csv", None, error.to_string())),
        },
        Format::Text => figures_text(job),
    };
    // No-break spaces are for the page; whoever reads or searches this types ordinary ones.
    hand_out(format!("{text}\n").replace(['\u{a0}', '\u{202f}'], " ").as_bytes(), output)
}

/// Every line to read.
fn figures_text(job: &Job) -> String {
    let mut out = Vec::new();
    for line in job.plan.book.lines() {
        out.push(format!("{:>3}  {}  [{}]", line.number, line.title, line.id));
        out.push(format!("     {}", line.equation_text()));
        out.push(format!("     = {}", line.keyed_text()));
        out.push(format!("     = {} {}", line.result, line.unit.symbol));
        let sources: Vec<String> =
            line.citations().iter().map(|c| format!("{} ({}, {})", c.short, c.id, c.status.words())).collect();
        if !sources.is_empty() {
            out.push(format!("     {}", sources.join("; ")));
        }
    }
    out.join("\n")
}

/// Into the file that was named, whole or not at all; else on standard output.
fn hand_out(bytes: &[u8], output: Option<&Path>) -> ExitCode {
    let Some(path) = output else {
        say_bytes(bytes);
        return ExitCode::SUCCESS;
    };
    if let Err(error) = files::write_whole(path, bytes) {
        let said = format!("`{}` could not be written: {}", path.display(), fault(&error));
        let hint = "choose a file in a folder in which you may write and which has room, with `-o FILE`";
        return fail(1, Diagnostic::error("unwritable-file", None, said).hint(hint));
    }
    say!("wrote    {}", path.display());
    ExitCode::SUCCESS
}

/// The lines of one day of a possible year.
fn one_day(book: &Book, format: Series) -> ExitCode {
    let text = match format {
        Series::Csv => forecast::day_text(book),
        Series::Json => match serde_json::to_string_pretty(&book.json()) {
            Ok(text) => text,
            Err(error) => return fail(1, Diagnostic::error("no-json", None, error.to_string())),
        },
    };
    say!("{}", text.replace(['\u{a0}', '\u{202f}'], " "));
    ExitCode::SUCCESS
}

fn water_year(input: &Input, format: Series, draw: Draw, asked: Option<(u32, NaiveDate)>) -> ExitCode {
    let run = match read(input, None, Some(draw)) {
        Ok(run) => run,
        Err(code) => return code,
    };
    let Some(job) = &run.job else { return ExitCode::from(2) };
    let year = match &job.plan.year {
        Ok(year) => year,
        Err(why) => {
            let (lacking, hint) = why.words();
            let said = format!("no forecast can be made: {lacking} is not known");
            return fail(2, Diagnostic::error("no-forecast", None, said).hint(hint));
        }
    };
    if let Some((member, day)) = asked {
        return match forecast::one_day(job, year, member, day) {
            Ok(book) => one_day(&book, format),
            Err(complaint) => fail(2, complaint),
        };
    }
    match format {
        Series::Csv => say!("{}", forecast::csv(year, job.plan.schedule.as_ref())),
        Series::Json => match serde_json::to_string_pretty(&forecast::json(year, job.plan.schedule.as_ref())) {
            Ok(text) => say!("{text}"),
            Err(error) => return fail(1, Diagnostic::error("no-json", None, error.to_string())),
        },
    }
    ExitCode::SUCCESS
}
