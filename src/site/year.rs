//! What comes and goes over the year: catchments, losses, top-up, feed, winter, and the care given between visits.

use chrono::NaiveDate;

use super::climate::{Climate, MONTHS};
use super::fields::{Bounds, listed, nearest};
use super::model::Stated;
use super::values::{self, Place, clipped};
use super::written::{Complaints, Table};
use crate::diag::{Diagnostic, Span, Text};
use crate::reference::{SUBSTANCES, Substance, substance};
use crate::units::table as unit;
use crate::units::{Area, Kind, Mass, MassRate, Ratio, Si, Volume, VolumeRate};

/// All that the water year needs beside the water itself.
#[derive(Clone, Debug, Default)]
pub struct YearAsTold {
    /// The weather; without it there is no forecast.
    pub climate: Option<Climate>,
    /// What drains into the pond when it rains.
    pub catchments: Vec<Catchment>,
    /// What it loses beside evaporation from still water.
    pub losses: Losses,
    /// How it is topped up, where the site file says.
    pub top_up: Option<TopUp>,
    /// What the fish are fed.
    pub feed: Feed,
    /// Winter drain-down.
    pub drain_down: Option<DrainDown>,
    /// Care given, or to be given, on dates.
    pub care: Vec<Care>,
    /// How water is best changed here to keep the window.
    pub water_care: WaterCare,
}

/// A roof or a slope that drains into the pond.
#[derive(Clone, Debug)]
pub struct Catchment {
    /// Its name.
    pub name: String,
    /// Its area.
    pub area: Stated<Area>,
    /// Share of the rain that arrives.
    pub runoff: Option<Stated<Ratio>>,
    /// Whether its rain is kept in a tank, and does not run into the pond by itself.
    pub stored: bool,
}

/// How water is best changed here, where the forecast asks for it.
#[derive(Clone, Debug, Default)]
pub struct WaterCare {
    /// What is to be as small as may be.
    pub aim: Option<Stated<WaterAim>>,
    /// Days from one possible day of a change to the next.
    pub every: Option<Stated<u32>>,
}

/// What a schedule of water changes is to save.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WaterAim {
    /// Visits.
    FewestVisits,
    /// Water.
    LeastWater,
    /// Visits and attention: a little runs all the time.
    Bleed,
}

/// Losses beside evaporation from still water.
#[derive(Clone, Debug, Default)]
pub struct Losses {
    /// What falls and streams evaporate beyond still water, as a share of it.
    pub falls: Option<Stated<Ratio>>,
    /// Water thrown out, with what is dissolved in it.
    pub splash: Option<Stated<VolumeRate>>,
    /// Water that leaks away.
    pub leak: Option<Stated<VolumeRate>>,
    /// Last day of the leak, where it was mended.
    pub leak_until: Option<Stated<NaiveDate>>,
    /// Open water over reference evapotranspiration.
    pub evaporation_factor: Option<Stated<Ratio>>,
}

/// How the pond is topped up.
#[derive(Clone, Debug)]
pub struct TopUp {
    /// By what.
    pub by: TopUpBy,
    /// Days between two fillings by hand, where stated.
    pub every: Option<Stated<u32>>,
    /// Place.
    pub span: Span,
}

/// By what a pond is topped up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TopUpBy {
    /// A hose, every so many days.
    Hand,
    /// A float valve, always.
    FloatValve,
    /// Nothing: rain alone.
    Nothing,
}

/// What the fish are fed.
#[derive(Clone, Debug, Default)]
pub struct Feed {
    /// Whether they are fed; `None` where nobody said.
    pub fed: Option<bool>,
    /// Feed a day in warm water.
    pub amount: Option<Stated<MassRate>>,
    /// Protein in the feed.
    pub protein: Option<Stated<Ratio>>,
    /// Nitrogen that ends as nitrate, as a share of the feed.
    pub nitrogen: Option<Stated<Ratio>>,
}

/// Water let down for the winter.
#[derive(Clone, Debug)]
pub struct DrainDown {
    /// Share of the full volume let out.
    pub share: Stated<Ratio>,
    /// Month on whose first day it is let out, January as 1.
    pub from: Stated<u32>,
    /// Month on whose first day it is filled again.
    pub to: Stated<u32>,
}

/// One kind of care on dates.
#[derive(Clone, Debug)]
pub struct Care {
    /// What is done.
    pub what: CareWhat,
    /// First day.
    pub from: Stated<NaiveDate>,
    /// Last day; open where it goes on.
    pub to: Option<Stated<NaiveDate>>,
    /// Days from one to the next; once without.
    pub every: Option<u32>,
    /// Place of the amount.
    pub span: Span,
}

/// What is done on a day of care.
#[derive(Clone, Copy, Debug)]
pub enum CareWhat {
    /// A share of the water is changed.
    ChangeShare(Ratio),
    /// A volume of water is changed.
    ChangeVolume(Volume),
    /// A substance is added.
    Dose(&'static Substance, Mass),
}

impl Care {
    /// Whether it falls on a day.
    #[must_use]
    pub fn on(&self, day: NaiveDate) -> bool {
        let since = (day - self.from.value).num_days();
        let open = self.to.as_ref().is_none_or(|to| day <= to.value);
        match self.every {
            Some(every) => since >= 0 && open && since % i64::from(every.max(1)) == 0,
            None => since == 0,
        }
    }
}

const SHARE: Bounds = Bounds::new(&unit::PERCENT, 0.0, 100.0);
const AREA: Bounds = Bounds::new(&unit::SQUARE_METRE, 0.1, 1_000_000.0).usual(1.0, 5_000.0);
const LOSS: Bounds = Bounds::new(&unit::LITRES_PER_DAY, 0.0, 1_000_000.0).usual(0.0, 2_000.0);
const FEED: Bounds = Bounds::new(&unit::GRAMS_A_DAY, 0.0, 1_000_000.0).usual(0.0, 5_000.0);
/// Extra evaporation of falls may well pass that of the still water.
const FALLS: Bounds = Bounds::new(&unit::PERCENT, 0.0, 500.0).usual(0.0, 100.0);
/// From deep lakes in spring (EV-21) to small water in dry wind.
const FACTOR: Bounds = Bounds::new(&unit::ONE, 0.2, 3.0).usual(0.6, 1.8);

/// All parts of the site file that belong to the water year. `latitude` is whether the site file gives one.
pub(super) fn year(
    root: &mut Table<'_, '_>,
    latitude: bool,
    weather: Option<&Text>,
    c: &mut Complaints<'_>,
) -> YearAsTold {
    let float_valve = match root.text_within("supply", "float_valve").map(str::trim) {
        Some(word) if word.eq_ignore_ascii_case("yes") => Some(true),
        Some(word) if word.eq_ignore_ascii_case("no") => Some(false),
        _ => None,
    };
    let climate = root.table("climate", c).and_then(|t| super::climate::climate(t, latitude, weather, c));
    let catchments = root.tables("catchment", c).into_iter().filter_map(|t| catchment(t, c)).collect();
    let losses = root.table("losses", c).map(|t| losses(t, c)).unwrap_or_default();
    let top_up = root.table("top_up", c).and_then(|t| top_up(t, float_valve, c));
    let feed = root.table("feed", c).map(|t| feed(t, c)).unwrap_or_default();
    let drain_down = root.table("drain_down", c).and_then(|t| drain_down(t, c));
    let care = root.tables("care", c).into_iter().filter_map(|t| care(t, c)).collect();
    let water_care = root.table("water_care", c).map(|t| water_care(t, c)).unwrap_or_default();
    YearAsTold { water_care, climate, catchments, losses, top_up, feed, drain_down, care }
}

fn catchment(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> Option<Catchment> {
    let name = t.need_text("name", "the plan names what drains into the pond", "\"house roof\"", c);
    let area = t.need_quantity("area", &AREA, "the rain it brings is in proportion to it", c);
    let runoff = t.quantity("runoff", &SHARE, c);
    let stored = t.yes_no("stored", c).unwrap_or(false);
    t.finish(c);
    Some(Catchment { name: name?.value, area: area?, runoff, stored })
}

fn water_care(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> WaterCare {
    let aims =
        [("fewest visits", WaterAim::FewestVisits), ("least water", WaterAim::LeastWater), ("bleed", WaterAim::Bleed)];
    let aim = t.word("aim", &aims, c);
    let every = days(&mut t, "every", c);
    t.finish(c);
    if let (Some(aim), Some(every)) = (&aim, &every)
        && aim.value == WaterAim::Bleed
    {
        c.push(
            Diagnostic::error("care-contradicts", every.span, "`every` belongs to changes, and a bleed runs every day")
                .label("these days would be counted for nothing")
                .why("the plan proposes either changes on dates or a steady bleed")
                .hint("delete it, or write `aim = \"fewest visits\"` or `\"least water\"`"),
        );
    }
    WaterCare { aim, every }
}

fn losses(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> Losses {
    let falls = t.quantity("falls", &FALLS, c);
    let splash = t.quantity("splash", &LOSS, c);
    let leak = t.quantity("leak", &LOSS, c);
    let leak_until = t.date("leak_until", c);
    let factor = t.number("evaporation_factor", None, &FACTOR, c).filter(|(number, _)| !number.less_than);
    t.finish(c);
    let evaporation_factor = factor.map(|(number, span)| Stated { value: Ratio::from_si(number.si), span });
    Losses { falls, splash, leak, leak_until, evaporation_factor }
}

fn top_up(mut t: Table<'_, '_>, float_valve: Option<bool>, c: &mut Complaints<'_>) -> Option<TopUp> {
    let span = t.span;
    if t.blank("by") {
        t.complain_missing("by", "who fills, and how often, decides what the supply brings", "\"hand\"", c);
    }
    let ways = [("hand", TopUpBy::Hand), ("float valve", TopUpBy::FloatValve), ("none", TopUpBy::Nothing)];
    let by = t.word("by", &ways, c);
    let every = days(&mut t, "every", c);
    t.finish(c);
    if let (Some(by), Some(valve)) = (&by, float_valve)
        && (by.value == TopUpBy::FloatValve) != valve
    {
        let (said, other) = if valve { ("yes", "by something else") } else { ("no", "by a float valve") };
        c.push(
            Diagnostic::error(
                "top-up-contradicts",
                by.span,
                format!("`[supply]` says `float_valve = \"{said}\"`, and the top-up is {other}"),
            )
            .label("the two do not agree")
            .why("a float valve is an unwatched water change, and is counted as one")
            .hint("correct one of the two"),
        );
    }
    let by = by?;
    if let Some(every) = every.as_ref().filter(|_| by.value != TopUpBy::Hand) {
        c.push(
            Diagnostic::error("top-up-contradicts", every.span, "`every` belongs to topping up by hand")
                .label("a float valve fills at once, and `none` never")
                .why("the days would be counted for nothing")
                .hint("delete it, or write `by = \"hand\"`"),
        );
    }
    Some(TopUp { by: by.value, every, span })
}

/// A whole number of days, written `"7 days"`.
fn days(t: &mut Table<'_, '_>, key: &'static str, c: &mut Complaints<'_>) -> Option<Stated<u32>> {
    let time = t.quantity::<crate::units::Time>(key, &Bounds::new(&unit::DAYS, 1.0, 366.0).usual(1.0, 120.0), c)?;
    let number = libm::round(unit::DAYS.of(time.value.si()));
    Some(Stated { value: number as u32, span: time.span })
}

fn feed(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> Feed {
    let fed = t.yes_no("fed", c);
    let amount = t.quantity("amount", &FEED, c);
    let protein = t.quantity("protein", &Bounds::new(&unit::PERCENT, 1.0, 90.0).usual(20.0, 60.0), c);
    let nitrogen = t.quantity("nitrogen", &Bounds::new(&unit::PERCENT, 0.1, 16.0).usual(1.0, 8.0), c);
    t.finish(c);
    if let (Some(protein), Some(_)) = (&protein, &nitrogen) {
        c.push(
            Diagnostic::error("two-feeds", protein.span, "both protein and nitrogen of the feed are given")
                .label("one of the two is enough")
                .why("nitrogen is reckoned from protein, and the two may not agree")
                .hint("keep `protein`, as the bag prints it, or the nitrogen that ends as nitrate"),
        );
    }
    if let Some(amount) = amount.as_ref().filter(|a: &&Stated<MassRate>| fed == Some(false) && a.value.si() > 0.0) {
        c.push(
            Diagnostic::error("two-feeds", amount.span, "an amount is given, and `fed` says no")
                .label("the two do not agree")
                .why("feed eats carbonate hardness day by day")
                .hint("correct one of the two"),
        );
    }
    Feed { fed, amount, protein, nitrogen }
}

fn drain_down(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> Option<DrainDown> {
    let share = t.need_quantity("share", &Bounds::new(&unit::PERCENT, 1.0, 95.0), "it is the water let out", c);
    let from = month(&mut t, "from", "\"November\"", c);
    let to = month(&mut t, "to", "\"March\"", c);
    t.finish(c);
    let (from, to) = (from?, to?);
    if from.value == to.value {
        c.push(
            Diagnostic::error("date-order", to.span, "the water is let down and filled again in one month")
                .label("another month belongs here")
                .why("the months between the two are those with less water")
                .hint("write the month on whose first day it is filled again"),
        );
        return None;
    }
    Some(DrainDown { share: share?, from, to })
}

fn month(t: &mut Table<'_, '_>, key: &'static str, example: &str, c: &mut Complaints<'_>) -> Option<Stated<u32>> {
    if t.blank(key) {
        t.complain_missing(key, "the water stands lower between two months", example, c);
    }
    let words: Vec<(&str, u32)> = MONTHS.iter().copied().zip(1..).collect();
    t.word(key, &words, c)
}

/// The word for a water change among the substances.
const CHANGE: &str = "change";

fn care(mut t: Table<'_, '_>, c: &mut Complaints<'_>) -> Option<Care> {
    let what = t.need_text("what", "it says what was done", "\"change\"", c);
    let from = t.date("from", c);
    if from.is_none() && t.blank("from") {
        t.complain_missing("from", "the balance runs day by day", "2026-04-04", c);
    }
    let to = t.date("to", c);
    let every = days(&mut t, "every", c).map(|d| d.value);
    let amount = t.need_text("amount", "what was done counts by how much", "\"8 %\"", c);
    t.finish(c);
    if let (Some(from), Some(to)) = (&from, &to)
        && to.value < from.value
    {
        c.push(
            Diagnostic::error("date-order", to.span, format!("the care ends on {}, before it begins", to.value))
                .label(format!("it begins on {}", from.value))
                .why("not one day of it would be counted")
                .hint("correct one of the two dates"),
        );
    }
    let (what, amount) = (what?, amount?);
    let names = || [CHANGE].into_iter().chain(SUBSTANCES.iter().map(|s| s.id));
    let place = Place { what: "the amount", span: amount.span, column: None, quoted: true };
    let dose = substance(&what.value);
    let found = if what.value == CHANGE {
        // A share when it is written as one, else a volume.
        let share = amount.value.trim_end().ends_with('%');
        let (kind, bounds) =
            if share { (Kind::Share, SHARE) } else { (Kind::Volume, Bounds::new(&unit::LITRE, 0.1, 100_000_000.0)) };
        let number = c.through(|list| values::number(&amount.value, Some(kind), &bounds, place, list))?;
        Some(if share {
            CareWhat::ChangeShare(Ratio::from_si(number.si))
        } else {
            CareWhat::ChangeVolume(Volume::from_si(number.si))
        })
    } else if let Some(dose) = dose {
        let bounds = Bounds::new(&unit::GRAM, 0.1, 1_000_000.0);
        let number = c.through(|list| values::number(&amount.value, Some(Kind::Mass), &bounds, place, list))?;
        Some(CareWhat::Dose(dose, Mass::from_si(number.si)))
    } else {
        let hint = match nearest(&what.value, names()) {
            Some(near) => format!("write `\"{near}\"` if that is meant; possible are {}", listed(names())),
            None => format!("possible are {}", listed(names())),
        };
        c.push(
            Diagnostic::error(
                "unknown-word",
                what.span,
                format!("`{}` is no care the balance knows", clipped(&what.value)),
            )
            .label("this word is not known here")
            .why("what is added or changed moves the hardness, and must be counted")
            .hint(hint),
        );
        None
    };
    Some(Care { what: found?, from: from?, to, every, span: amount.span })
}
