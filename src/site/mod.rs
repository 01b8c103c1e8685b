//! The site file and the log: as written, then as meant.
//!
//! [`parse`] reads both and hands back the [`Site`] with every complaint at its line, or the complaints alone when an error
//! stands. Grammar first (`written`, `csv`: places kept, nothing judged), then sense (`check`, `log`, `sense`).
//! This room never touches a file: [`log_file`] says which log to fetch, [`decode`] turns bytes into a text.

mod blank;
mod check;
mod climate;
pub(crate) mod csv;
mod fields;
mod log;
pub mod model;
mod sense;
mod text;
mod values;
mod written;
mod year;

use chrono::NaiveDate;
use toml::de::DeTable;

pub use self::blank::{blank_log, blank_site};
pub use self::climate::{Climate, DayWeather, MONTH_DAYS, MONTHS, Normals, Twelve};
pub use self::model::*;
pub use self::text::{decode, mistaken};
use self::written::Table;
pub use self::year::{
    Care, CareWhat, Catchment, DrainDown, Feed, Losses, TopUp, TopUpBy, WaterAim, WaterCare, YearAsTold,
};
use crate::diag::{Diagnostic, Diagnostics, FileId, Text};

/// Everything that could be understood, and every complaint.
#[derive(Clone, Debug)]
pub struct Parsed {
    /// The site as meant; `None` when an error stands.
    pub site: Option<Site>,
    /// What is wrong, in both texts.
    pub complaints: Diagnostics,
}

/// Reads a site file and its log. `plan_date` comes from the command line, and wins over the site file's.
///
/// Pass `None` for the log when it could not be fetched: if the site file names one, that is complained about here, where
/// the line is known. Spans in `site` have [`FileId::SITE`], those in `log` [`FileId::LOG`].
#[must_use]
pub fn parse(site: &Text, log: Option<&Text>, plan_date: Option<NaiveDate>) -> Parsed {
    parse_with_weather(site, log, None, plan_date)
}

/// [`parse`] with the weather file that `[climate]` names, if it could be fetched. Its spans have [`FileId::WEATHER`].
#[must_use]
pub fn parse_with_weather(
    site: &Text,
    log: Option<&Text>,
    weather: Option<&Text>,
    plan_date: Option<NaiveDate>,
) -> Parsed {
    let mut complaints = Diagnostics::new();
    if let Some(found) = mistaken(site, FileId::SITE) {
        complaints.push(found);
        return Parsed { site: None, complaints };
    }
    let wrong_log = log.and_then(|log| mistaken(log, FileId::LOG));
    let log = if wrong_log.is_some() { None } else { log };
    let told = if text::readable(site, FileId::SITE, &mut complaints) {
        let (root, mut found) = written::grammar(&site.words, &mut complaints);
        let told = check::check(Table::root(&root), plan_date, weather, &mut found);
        match wrong_log {
            Some(wrong) => found.list.push(wrong),
            None => no_log(&told, log, &mut found),
        }
        told
    } else {
        check::Told::default()
    };
    let against = log::Against { plan_date: told.plan_date.as_ref().map(|d| d.value), panel: told.panel.as_ref() };
    let visits = match log {
        Some(log) if text::readable(log, FileId::LOG, &mut complaints) => log::read(log, &against, &mut complaints),
        _ => Vec::new(),
    };
    sense::check(told.supply.as_ref(), &told.kits, &visits, &mut complaints);
    let site = if complaints.any_error() { None } else { whole(told, visits) };
    Parsed { site, complaints }
}

/// Complains when there is no log to read.
fn no_log(told: &check::Told, log: Option<&Text>, complaints: &mut written::Complaints<'_>) {
    match (&told.log_file, log) {
        (Some(file), None) => complaints.push(
            Diagnostic::error("missing-file", file.span, format!("the log `{}` could not be read", file.value))
                .label("no file of this name stands beside the site file")
                .why("without its readings the plan would rest on nothing")
                .hint("correct the name, or take the part `[log]` out if there are no readings yet"),
        ),
        (None, None) => complaints.missing(
            Diagnostic::warning("no-log", None, "the site file names no log of readings")
                .why("without readings the plan can only list what to measure")
                .hint("add the part `[log]` with `file = \"log.csv\"`"),
        ),
        (_, Some(_)) => {}
    }
}

/// The site, once nothing is missing that a plan cannot do without.
fn whole(told: check::Told, visits: Vec<Visit>) -> Option<Site> {
    let head = told.head?;
    Some(Site {
        id: head.id,
        name: head.name,
        owner: head.owner,
        place: head.place,
        country: head.country,
        latitude: head.latitude,
        elevation: head.elevation,
        plan_date: told.plan_date,
        next_visit: told.next_visit,
        visited_by: head.visited_by,
        firm: told.firm?,
        page: told.page?,
        volume: told.volume?,
        supply: told.supply?,
        animals: told.animals,
        panel: told.panel,
        bars: told.bars,
        flow: told.flow,
        hose: told.hose,
        outflow: told.outflow.unwrap_or(Outflow {
            overflow: Destination::Unknown,
            can_be_relaid: false,
            changes: Destination::Unknown,
            span: None,
        }),
        authorisation: told.authorisation,
        substances: told.substances,
        goals: told.goals,
        kits: told.kits,
        practice: told.practice,
        photos: told.photos,
        year: told.year,
        visits,
    })
}

/// The path that `[log] file = ...` names, relative to the site file. Never fails: what is wrong with the site file is said
/// by [`parse`].
#[must_use]
pub fn log_file(site: &Text) -> Option<String> {
    let (root, _) = DeTable::parse_recoverable(&site.words);
    let log = root.get_ref().iter().find(|(key, _)| key.get_ref() == "log")?.1;
    let file = log.get_ref().as_table()?.iter().find(|(key, _)| key.get_ref() == "file")?.1;
    file.get_ref().as_str().map(str::trim).filter(|name| !name.is_empty()).map(str::to_owned)
}

/// The path that `[climate] file = ...` names, relative to the site file. Never fails, as [`log_file`].
#[must_use]
pub fn weather_file(site: &Text) -> Option<String> {
    climate::file_name(site)
}
