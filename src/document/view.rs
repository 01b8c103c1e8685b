//! What a template may use. Every value is plain words or a number; `mark` fields are footnote references to workings.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use minijinja::Value;

use super::drawings::{celsius, column_head, correction_days, readings_in_log};
use super::lines::Lines;
use super::offer::Kind;
use super::words::{Reader, count_word, escape};
use super::year::month_words;
use super::{Edition, Source};
use crate::plan::{Act, ChangePlan, Judged, LossOrigin, ReadingRow, Side, When, Word};
use crate::reference::{CITATIONS, Purpose, SUBSTANCES};
use crate::site::{AnimalKind, Country, Destination, PhotoPart, SupplyKind};
use crate::units::table::{self, DAYS};
use crate::units::{Digits, Si, System, plain};
use crate::workings::{Figure, Way};

pub(super) type Map = BTreeMap<&'static str, Value>;

macro_rules! map {
    ($($key:literal => $value:expr),* $(,)?) => {{
        let mut map: $crate::document::view::Map = std::collections::BTreeMap::new();
        $(map.insert($key, minijinja::Value::from($value));)*
        minijinja::Value::from(map)
    }};
}
pub(super) use map;

/// Footnote references to these lines; lines that are not in the workings are left out.
pub(super) fn marks<'s>(lines: &Lines, ids: impl IntoIterator<Item = &'s str>) -> Value {
    let text: String = ids.into_iter().filter(|id| lines.number(id).is_some()).map(|id| format!("[^{id}]")).collect();
    Value::from_safe_string(text)
}

/// A figure: its words and its mark.
pub(super) fn figure<Q: Si>(lines: &Lines, figure: &Figure<Q>, text: String) -> Value {
    figure_with(lines, figure.id(), text)
}

/// For the shed sheet: digits strong, units plain, what stands in brackets left out.
fn large(text: &str) -> Value {
    let short = text.split(" (").next().unwrap_or(text);
    let words: Vec<String> = short
        .split(['\u{a0}', ' '])
        .map(|word| {
            if word.starts_with(|c: char| c.is_ascii_digit()) { format!("**{}**", escape(word)) } else { escape(word) }
        })
        .collect();
    Value::from_safe_string(words.join(" "))
}

/// A mass; with `.stock`, where it is too small to weigh: the stock solution that holds it.
fn weighed<Q: Si>(lines: &Lines, of: &Figure<Q>, text: String) -> Value {
    let id = of.id().map(|id| format!("{id}.stock"));
    let line = id.as_deref().and_then(|id| lines.all().iter().find(|l| l.id == id));
    let stock = line.map(|line| {
        let millilitres = line.unit.of(line.node.si);
        let strength = if of.si() < 2e-3 { 10 } else { 100 };
        map! {
            "text" => format!("{}\u{a0}mL", plain(millilitres, Digits::Significant(3))),
            "grams" => strength,
            "mark" => marks(lines, [line.id.as_str()]),
        }
    });
    Value::from_object(Marked { text, mark: marks(lines, of.id()), stock })
}

pub(super) fn figure_with(lines: &Lines, id: Option<&str>, text: String) -> Value {
    Value::from_object(Marked { text, mark: marks(lines, id), stock: None })
}

/// A figure's words, which print as such, with `.mark` beside them.
#[derive(Debug)]
struct Marked {
    text: String,
    mark: Value,
    stock: Option<Value>,
}

impl minijinja::value::Object for Marked {
    fn repr(self: &std::sync::Arc<Self>) -> minijinja::value::ObjectRepr {
        minijinja::value::ObjectRepr::Plain
    }
    fn get_value(self: &std::sync::Arc<Self>, key: &Value) -> Option<Value> {
        match key.as_str()? {
            "text" => Some(Value::from(self.text.clone())),
            "mark" => Some(self.mark.clone()),
            "large" => Some(large(&self.text)),
            "stock" => Some(self.stock.clone().unwrap_or(Value::from(()))),
            _ => None,
        }
    }
    fn render(self: &std::sync::Arc<Self>, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.text)
    }
}

/// The whole name and kind of everything in a value of the view; what is absent has no kind.
pub(super) fn names(value: &Value, path: &str, out: &mut BTreeMap<String, Option<Kind>>) {
    use minijinja::value::ValueKind;
    let kind = match value.kind() {
        ValueKind::Bool => Kind::Flag,
        ValueKind::Number => Kind::Number,
        ValueKind::String if value.is_safe() => Kind::Mark,
        ValueKind::String => Kind::Text,
        ValueKind::Seq => Kind::List,
        ValueKind::Map => Kind::Part,
        ValueKind::Plain if value.downcast_object_ref::<Marked>().is_some() => Kind::Figure,
        _ => {
            out.entry(path.to_owned()).or_insert(None);
            return;
        }
    };
    if !path.is_empty() {
        out.insert(path.to_owned(), Some(kind));
    }
    let Ok(inner) = value.try_iter() else { return };
    for item in inner {
        match kind {
            Kind::List => names(&item, &format!("{path}[]"), out),
            Kind::Part => {
                let dot = if path.is_empty() { "" } else { "." };
                let part = value.get_item(&item).unwrap_or_default();
                names(&part, &format!("{path}{dot}{item}"), out);
            }
            _ => {}
        }
    }
}

/// The whole view.
pub fn view(source: &Source<'_>, edition: Edition, reader: &Reader, lines: &Lines) -> Value {
    let plan = source.plan;
    let site = source.site;
    let mut view: BTreeMap<&'static str, Value> = BTreeMap::new();
    let american = reader.american();
    view.insert("edition", edition.name().into());
    view.insert("squeeze", Value::from(source.squeeze));
    view.insert("small_sheet", source.style.paper.is_small().into());
    let count = |part| source.photos.iter().filter(|pictured| pictured.part == part).count();
    let photos: Map = PhotoPart::ALL.iter().map(|(word, part)| (*word, Value::from(count(*part)))).collect();
    view.insert("photos", Value::from(photos));
    view.insert("american", american.into());
    view.insert("ring", if american { "call" } else { "ring" }.into());
    view.insert("Ring", if american { "Call" } else { "Ring" }.into());
    view.insert("protection_device", if american { "GFCI" } else { "residual-current device of 30 mA or less" }.into());
    view.insert("litres", reader.volume_word().into());
    view.insert(
        "site",
        map! {
            "where" => if site.place.starts_with(&site.name) { site.place.clone() } else { format!("{}, {}", site.name, site.place) },
            "name" => site.name.as_str(), "owner" => site.owner.as_str(), "place" => site.place.as_str(),
            "country_rules" => match site.country {
                Country::UnitedStates => "us", Country::EuropeanUnion => "eu", Country::UnitedKingdom => "uk", Country::Other => "other",
            },
        },
    );
    view.insert(
        "firm",
        map! {
            "name" => site.firm.name.as_str(), "telephone" => site.firm.telephone.replace(' ', "\u{a0}"),
            "by" => site.visited_by.clone().unwrap_or_else(|| site.firm.name.clone()),
        },
    );
    let acting = plan.readings.iter().filter(|r| !matches!(r.judged, Judged::Good | Judged::NoTarget)).count();
    view.insert("acting", count_word(acting as u64).into());
    view.insert("date", reader.long_date(plan.date).into());
    view.insert("today", reader.weekday_day(plan.date).into());
    view.insert("date_short", reader.day(plan.date).into());
    view.insert("next_visit", site.next_visit.as_ref().map(|d| reader.long_date(d.value)).into());
    let last_visit = site.visits.last().map(|v| v.date);
    view.insert("visit", last_visit.map(|d| reader.long_date(d)).into());
    view.insert("visits", site.visits.len().into());
    view.insert(
        "logged",
        map! {
            "hardness" => readings_in_log(source, |r| r.carbonate_hardness.as_ref()),
            "conductivity" => readings_in_log(source, |r| r.conductivity.as_ref()),
            "copper" => readings_in_log(source, |r| r.total_copper.as_ref()),
            "copper_under" => readings_in_log(source, |r| r.total_copper.as_ref().filter(|c| c.less_than)),
        },
    );
    view.insert("verdict", verdict(source));
    view.insert("volume", volume(source, reader, lines));
    view.insert("readings", plan.readings.iter().map(|r| reading(r, source, reader, lines)).collect());
    view.insert("actions", plan.actions.iter().map(|a| action(&a.act, &a.when, reader)).collect());
    let correction = &plan.correction;
    view.insert("buffer", buffer(source, reader, lines).unwrap_or(Value::from(())));
    view.insert("calcium", calcium(source, reader, lines).unwrap_or(Value::from(())));
    view.insert(
        "salt",
        correction.salt.as_ref().map_or(Value::from(()), |s| {
            map! {
                "dose" => weighed(lines, &s.dose, reader.mass(s.dose.si())),
                "total" => figure(lines, &s.total, reader.mass(s.total.si())),
                "takes" => takes(lines, reader, &s.takes),
                "count" => count_word(s.days.len() as u64),
                "days" => reader.days(&s.days),
            }
        }),
    );
    view.insert("changes", correction.changes.as_ref().map_or(Value::from(()), |c| change(c, source, reader, lines)));
    view.insert(
        "copper_change",
        correction.copper.as_ref().map_or(Value::from(()), |c| change(c, source, reader, lines)),
    );
    view.insert(
        "supply_buffer",
        correction.buffer_for_supply.as_ref().map_or(Value::from(()), |m| figure(lines, m, reader.mass(m.si()))),
    );
    view.insert("supply_cannot", correction.supply_cannot.into());
    view.insert("window", map! {
        "low" => reader.target("carbonate-hardness", crate::units::table::DEGREE_KH.si(crate::reference::WINDOW_LOW_DKH)),
        "high" => reader.target("carbonate-hardness", crate::units::table::DEGREE_KH.si(crate::reference::WINDOW_HIGH_DKH)),
        "unit" => reader.shown("carbonate-hardness").symbol,
        "mark" => marks(lines, ["target.carbonate-hardness.low", "target.carbonate-hardness.high"]),
        "low_mark" => marks(lines, ["target.carbonate-hardness.low"]),
        "high_mark" => marks(lines, ["target.carbonate-hardness.high"]),
    });
    let pond = |key: &str| {
        let row = plan.readings.iter().find(|r| r.key == key);
        row.and_then(|r| r.pond.map(|p| reader.quantity(key, p)))
    };
    view.insert("now", map! {
        "hardness" => pond("carbonate-hardness"), "calcium" => pond("calcium"), "copper" => pond("total-copper"),
        "conductivity" => pond("conductivity"), "ammonia" => pond("unionised-ammonia"),
        "ph_morning" => pond("ph-morning"),
        "supply_hardness" => plan.readings.iter().find(|r| r.key == "carbonate-hardness").and_then(|r| r.supply.map(|s| reader.quantity("carbonate-hardness", s))),
        "celsius" => celsius(source),
        "temperature" => plan.temperature.as_ref().map(|t| reader.quantity("temperature", t.si())),
        "cold" => celsius(source).is_some_and(|c| c < crate::reference::SEASON_CELSIUS),
    });
    let fahrenheit = reader.shown("temperature").symbol == "°F";
    view.insert("fahrenheit", fahrenheit.into());
    let season = crate::units::table::CELSIUS.si(crate::reference::SEASON_CELSIUS);
    let warm = crate::units::table::CELSIUS.si(20.0);
    view.insert("warm", reader.quantity_short("temperature", warm).into());
    view.insert("start_temperature", reader.quantity_short("temperature", season).into());
    let ammonia = crate::units::table::MILLIGRAMS.si(crate::reference::UNIONISED_LIMIT);
    view.insert("ammonia_limit", reader.quantity_short("unionised-ammonia", ammonia).into());
    view.insert("limits", limits(source, reader, lines).unwrap_or(Value::from(())));
    view.insert("advice", super::advice::view(source, reader, lines).unwrap_or(Value::from(())));
    view.insert("retest", super::advice::retest(source, reader).into());
    view.insert("schedule", schedule(source, reader, lines).unwrap_or(Value::from(())));
    view.insert("by_test", super::by_test::view(source, reader, lines).unwrap_or(Value::from(())));
    view.insert(
        "conductivity_after",
        correction
            .conductivity_after
            .as_ref()
            .map_or(Value::from(()), |c| figure(lines, c, reader.quantity("conductivity", c.si()))),
    );
    view.insert(
        "conductivity_range",
        correction
            .conductivity_ends
            .as_ref()
            .map_or(Value::from(()), |[least, most]| range(lines, reader, "conductivity", least, most)),
    );
    view.insert(
        "conductivity_short",
        correction.short_of.as_ref().map(|c| reader.quantity("conductivity", c.si())).into(),
    );
    view.insert(
        "lime",
        map! {
            "after" => correction.lime_after.as_ref().map(|f| figure(lines, f, plain(f.si(), Digits::Places(1)))),
            "borne" => correction.lime_after.as_ref().is_some_and(|f| f.si() <= crate::reference::LIME_BORNE),
            "keeps" => correction.lime_keeps,
            "falls" => correction.lime_falls,
        },
    );
    view.insert("ions", plan.water.as_ref().map_or(Value::from(()), |water| ions(water, reader, lines)));
    view.insert(
        "flow",
        plan.flow.as_ref().map_or(Value::from(()), |(flow, turnover)| {
            map! {
                "how" => match &site.flow {
                    Some(crate::site::FlowTest::Bucket { .. }) => "by bucket and stopwatch",
                    Some(crate::site::FlowTest::Notch { .. }) => "by a notch",
                    _ => "as given",
                },
                "rate" => figure(lines, flow, reader.flow(flow.si())),
                "turnover" => figure(lines, turnover, reader.time(turnover.si())),
                "quick" => turnover.si() <= 2.0 * 3600.0,
            }
        }),
    );
    view.insert("year", super::year::view(source, reader, lines));
    view.insert("past", super::past::view(source, reader, lines).unwrap_or(Value::from(())));
    view.insert("bars", super::bars::view(source, reader, lines).unwrap_or(Value::from(())));
    view.insert(
        "panel_turns",
        match site.panel.as_ref().and_then(|panel| panel.turns_round) {
            Some(true) => "yes",
            Some(false) => "no",
            None => "unknown",
        }
        .into(),
    );
    view.insert("bars_place", site.bars.as_ref().and_then(|b| b.place.clone()).into());
    view.insert(
        "answer",
        plan.panel_answer.map_or(Value::from(()), |a| {
            map! {
                "date" => reader.day_year(a.date), "set" => a.set, "reached" => a.reached, "steps" => a.steps,
                "full" => a.set == a.steps, "short" => !a.enough(),
            }
        }),
    );
    view.insert("diagnosis", diagnosis(source, reader, lines).unwrap_or(Value::from(())));
    let first_aid = |aid: &crate::plan::FirstAid| {
        map! {
            "change" => figure(lines, &aid.change, reader.volume(aid.change.si(), Way::Down)),
            "thiosulfate" => aid.thiosulfate.as_ref().map(|m| weighed(lines, m, reader.mass_up(m.si()))),
            "buffer" => aid.buffer.as_ref().map(|m| weighed(lines, m, reader.mass(m.si()))),
            "time" => aid.time.as_ref().map(|t| figure(lines, t, reader.time(t.si()))),
        }
    };
    view.insert("quarter", first_aid(&plan.emergency.quarter));
    view.insert("emergency", first_aid(&plan.emergency.poisoning));
    view.insert("assumptions", plan.assumptions.iter().map(|a| map! {
        "what" => keyed(&a.what), "value" => keyed(&a.value), "instead" => keyed(&a.instead), "source" => keyed(&a.source),
    }).collect());
    view.insert(
        "missing",
        plan.missing.iter().map(|m| map! { "what" => keyed(&m.what), "measure" => keyed(&m.measure) }).collect(),
    );
    view.insert(
        "checks",
        plan.checks
            .iter()
            .map(|c| {
                map! {
                    "limit" => capital(&c.limit), "proposal" => c.proposal.as_str(),
                    "proposed" => with_unit(c.proposed, c.unit), "allowed" => with_unit(c.allowed, c.unit),
                    "margin" => margin(c.proposed, c.allowed, c.floor),
                    "allowed_word" => if c.floor { "at least" } else { "at most" },
                }
            })
            .collect(),
    );
    view.insert("sources", sources(lines));
    view.insert(
        "groups",
        lines.groups().into_iter().map(|(key, title)| map! { "key" => key, "title" => title }).collect(),
    );
    view.insert("supply", map! {
        "kind" => match site.supply.kind { SupplyKind::Mains => "mains", SupplyKind::Well => "well", SupplyKind::Rain => "rain" },
        "word" => match site.supply.kind { SupplyKind::Mains => "tap water", SupplyKind::Well => "well water", SupplyKind::Rain => "collected rain" },
        "softened" => site.supply.softened,
        "hardness_below" => site.supply.readings.general_hardness.as_ref().zip(site.supply.readings.carbonate_hardness.as_ref())
            .is_some_and(|(general, carbonate)| 2.0 * general.value.si() < carbonate.value.si() * (1.0 - 1e-9)),
        "float_valve" => site.supply.float_valve,
        "carbon_filter" => site.supply.carbon_filter,
        "chlorinated" => plan.emergency.poisoning.thiosulfate.is_some(),
        "chloramine" => plan.readings.iter().any(|r| r.key == "chlorine")
            && site.supply.readings.total_chlorine.as_ref().zip(site.supply.readings.free_chlorine.as_ref())
                .is_some_and(|(t, f)| t.value.si() - f.value.si() > 5e-5),
    });
    let lives = |kind: AnimalKind| site.animals.iter().any(|a| a.kind == kind);
    view.insert(
        "lives",
        map! {
            "koi" => lives(AnimalKind::Koi), "snails" => lives(AnimalKind::Snails),
            "tadpoles" => lives(AnimalKind::BreedingAmphibians), "dogs" => lives(AnimalKind::Dogs),
            "bees" => lives(AnimalKind::Bees), "livestock" => lives(AnimalKind::Livestock),
        },
    );
    view.insert("outflow", map! {
        "changes" => match site.outflow.changes {
            Destination::Sewer => "the sanitary sewer, with the sewer company's leave",
            _ => "your own lawn or shrubs, slowly, so that it soaks in",
        },
        "unknown" => site.outflow.changes == Destination::Unknown,
        "sewer" => site.outflow.changes == Destination::Sewer,
        "overflow_open" => matches!(site.outflow.overflow, Destination::Watercourse | Destination::StormDrain | Destination::Wetland),
    });
    view.insert("substances", substances(source));
    Value::from(view)
}

/// Words with keys of the site file in back-quotes: those print as keys, all else as it was typed.
fn keyed(words: &str) -> Value {
    let parts: Vec<&str> = words.split('`').collect();
    if parts.len() == 1 || parts.len().is_multiple_of(2) {
        return Value::from(words);
    }
    let each = parts.iter().enumerate().map(|(index, part)| match index % 2 {
        0 => escape(part),
        _ => format!("`{part}`"),
    });
    Value::from_safe_string(each.collect())
}

fn with_unit(value: f64, unit: &str) -> String {
    let number = if value == 0.0 { "0".to_owned() } else { plain(value, Digits::Significant(3)) };
    if unit.is_empty() { number } else { format!("{number}\u{a0}{unit}") }
}

/// With its first letter large, and the others as they are: pH stays pH.
fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn margin(proposed: f64, allowed: f64, floor: bool) -> String {
    if floor {
        let share = (proposed / allowed - 1.0) * 100.0;
        return if share < 0.5 { "at the limit".into() } else { format!("{share:.0}\u{a0}% over") };
    }
    if allowed == 0.0 {
        return if proposed <= 0.0 { "kept".into() } else { "broken".into() };
    }
    let share = (1.0 - proposed / allowed) * 100.0;
    if share < 0.5 { "at the limit".into() } else { format!("{share:.0}\u{a0}% under") }
}

fn word(word: Word) -> &'static str {
    match word {
        Word::Yes => "Yes",
        Word::NotYet => "Not yet",
        Word::No => "No",
    }
}

fn verdict(source: &Source<'_>) -> Value {
    let verdict = &source.plan.verdict;
    let lead = verdict.lead();
    map! {
        "word" => word(verdict.word),
        "key" => lead.map_or("", |r| r.key),
        "name" => lead.map_or("", |r| r.name.as_str()),
        "reasons" => verdict.reasons.iter().map(|r| map! {
            "about" => r.about, "key" => r.key, "word" => word(r.word), "name" => r.name.as_str(),
            "weighs" => r.word == verdict.word && r.word != Word::Yes,
        }).collect::<Value>(),
        "keys" => verdict.reasons.iter().map(|r| r.key).collect::<Vec<_>>(),
    }
}

fn volume(source: &Source<'_>, reader: &Reader, lines: &Lines) -> Value {
    let volume = &source.plan.volume;
    let unit = crate::plan::volume_unit(source.plan.system).size;
    let low = reader.volume(volume.low.si(), Way::Down);
    let high = reader.volume(volume.high.si(), Way::Up);
    let row = |name: String, how: String, figure_of: &Figure<crate::units::Volume>| {
        map! {
            "name" => name, "how" => how,
            "value" => crate::units::group(figure_of.si() / unit, Digits::Significant(4)),
            "mark" => marks(lines, figure_of.id()),
        }
    };
    let mut rows: Vec<Value> = volume.parts.iter().map(|p| row(p.name.clone(), p.how.clone(), &p.volume)).collect();
    rows.extend(volume.displaced.iter().map(|(name, v)| {
        map! { "name" => format!("less {name}"), "how" => "pushed out", "value" => format!("\u{2212}{}", crate::units::group(v.si() / unit, Digits::Significant(3))), "mark" => "" }
    }));
    if let Some(tape) = &volume.tape {
        rows.push(row("Parts together".into(), "by tape and soundings".into(), tape));
    }
    let methods: Vec<Value> =
        volume.methods.iter().map(|(name, v)| row(name.clone(), "another way, weighed in".into(), v)).collect();
    rows.extend(methods);
    map! {
        "low" => figure(lines, &volume.low, low),
        "high" => figure(lines, &volume.high, high),
        "low_number" => figure(lines, &volume.low, bare(reader.volume(volume.low.si(), Way::Down))),
        "total" => figure(lines, &volume.total, crate::units::group(volume.total.si() / unit, Digits::Significant(4))),
        "rows" => rows,
    }
}

/// `6.5 to 7.0 °dKH`, or `about 6.5 °dKH` where both ends print alike. Marks of both.
fn range<Q: Si>(lines: &Lines, reader: &Reader, key: &str, least: &Figure<Q>, most: &Figure<Q>) -> Value {
    let (low, high) = (reader.number(key, least.si()), reader.quantity(key, most.si()));
    let same = low == reader.number(key, most.si());
    let text = if same { format!("about {high}") } else { format!("{low} to {high}") };
    Value::from_object(Marked { text, mark: marks(lines, [least.id(), most.id()].into_iter().flatten()), stock: None })
}

/// The number before the unit's word.
fn bare(text: String) -> String {
    text.split('\u{a0}').next().unwrap_or_default().to_owned()
}

/// What a row of the readings table is called.
pub(super) fn reading_name(key: &str) -> &'static str {
    match key {
        "carbonate-hardness" => "Carbonate hardness",
        "general-hardness" => "General hardness",
        "calcium" => "Calcium",
        "conductivity" => "Conductivity",
        "ph-morning" => "pH, morning",
        "ph-afternoon" => "pH, afternoon",
        "unionised-ammonia" => "Toxic ammonia",
        "nitrite" => "Nitrite",
        "nitrate" => "Nitrate",
        "oxygen" => "Oxygen at dawn",
        "chlorine" => "Chlorine, total",
        "total-copper" => "Copper, total",
        _ => "Reading",
    }
}

/// `5.6 to 14`, `5 or more`, `none found`.
pub(super) fn target_words(row: &ReadingRow, reader: &Reader) -> String {
    let key = row.key;
    match (row.low, row.high) {
        (Some(low), Some(high)) => format!("{} to {}", reader.target(key, low), reader.target(key, high)),
        (Some(low), None) => format!("{} or more", reader.target(key, low)),
        (None, Some(0.0)) => "none found".into(),
        (None, Some(high)) if key == "total-copper" => format!("under {}", reader.number(key, high)),
        (None, Some(high)) => format!("{} or less", reader.target(key, high)),
        (None, None) => "not set".into(),
    }
}

fn reading(row: &ReadingRow, source: &Source<'_>, reader: &Reader, lines: &Lines) -> Value {
    let key = row.key;
    let target = target_words(row, reader);
    let pond = row.pond.map(|p| {
        let number = reader.number(key, p);
        if row.less_than { format!("under\u{a0}{number}") } else { number }
    });
    let acts = !matches!(row.judged, Judged::Good | Judged::NoTarget);
    let word = match row.judged {
        Judged::Good => "good",
        Judged::TooLow => "too low",
        Judged::TooHigh => "too high",
        Judged::TreatSupply if source.site.supply.kind == SupplyKind::Mains => "treat tap",
        Judged::TreatSupply => "treat supply",
        Judged::TestIt => "test it",
        Judged::NoTarget => "not judged",
    };
    map! {
        "key" => key,
        "name" => reading_name(key),
        "unit" => Value::from_safe_string(reader.shown(key).symbol.to_owned()),
        "pond" => pond,
        "supply" => row.supply.map(|s| reader.number(key, s)),
        "target" => target,
        "word" => word,
        "acts" => acts,
        "marks" => marks(lines, row.lines.iter().map(String::as_str)),
    }
}

fn action(act: &Act, when: &When, reader: &Reader) -> Value {
    let (when_key, when_words) = match when {
        When::Today => ("today", String::new()),
        When::On(days) => ("on", reader.days(days)),
        When::Mornings => ("mornings", String::new()),
        When::Gate(key) => (*key, String::new()),
    };
    map! { "act" => act_name(*act), "when_key" => when_key, "when" => when_words }
}

fn act_name(act: Act) -> &'static str {
    match act {
        Act::PanelZero => "panel-zero",
        Act::PanelHold => "panel-hold",
        Act::ChangeForCopper => "change-for-copper",
        Act::Buffer => "buffer",
        Act::PhGuard => "ph-guard",
        Act::Calcium => "calcium",
        Act::Salt => "salt",
        Act::Retest => "retest",
        Act::LessFood => "less-food",
        Act::ChangeForHardness => "change-for-hardness",
        Act::StopOverflow => "stop-overflow",
        Act::ShutFloatValve => "shut-float-valve",
        Act::RingForCopper => "ring-for-copper",
        Act::Settle => "settle",
        Act::TestMissing => "test-missing",
        Act::OtherMeasures => "other-measures",
        Act::SwitchOn => "switch-on",
        Act::CopperTest => "copper-test",
        Act::CopperWatch => "copper-watch",
        Act::AlgaeUnmoved => "algae-unmoved",
        Act::StartByTest => "start-by-test",
        Act::TestWeekly => "test-weekly",
        Act::MeasureCurrent => "measure-current",
    }
}

fn buffer(source: &Source<'_>, reader: &Reader, lines: &Lines) -> Option<Value> {
    let b = source.plan.correction.buffer.as_ref()?;
    let key = "carbonate-hardness";
    let days = correction_days(source);
    let has = |d: &NaiveDate| b.days.contains(d);
    let rises = |rise: f64, day: &NaiveDate| {
        let doses = b.days.iter().filter(|d| *d <= day).count() as f64;
        reader.number(key, b.start.si() + doses * rise)
    };
    let table: Vec<Value> = days
        .iter()
        .map(|d| {
            map! {
                "head" => column_head(*d),
                "dose" => if has(d) { reader.mass(b.dose.si()) } else { String::new() },
                "stir" => if has(d) { b.stir.as_ref().map_or_else(String::new, |s| reader.bucket(s.si())) } else { String::new() },
                "expect" => if has(d) { {
                    let (low, high) = (rises(b.rise_least.si(), d), rises(b.rise_most.si(), d));
                    if low == high { low } else { format!("{low} to {high}") }
                } } else { String::new() },
                "test" => if has(d) { "pH" } else if *d > source.plan.date { "pH, hardness" } else { "done" },
                "done" => *d > source.plan.date,
            }
        })
        .collect();
    let ph = |v: f64| plain(v, Digits::Places(1));
    Some(map! {
        "name" => b.substance.name, "shop" => b.substance.shop, "adding" => b.substance.adding,
        "handling" => b.substance.handling, "beware" => b.substance.beware,
        "dose" => weighed(lines, &b.dose, reader.mass(b.dose.si())),
        "buy" => figure(lines, &b.buy, reader.mass(b.buy.si())),
        "count" => figure(lines, &b.count, count_word(b.days.len() as u64)),
        "many" => b.days.len() > 1,
        "goal" => figure(lines, &b.goal, reader.quantity(key, b.goal.si())),
        "start" => reader.quantity(key, b.start.si()),
        "after" => range(lines, reader, key, &b.after_least, &b.after_most),
        "rise" => figure(lines, &b.rise_most, reader.quantity(key, b.rise_most.si())),
        "stir" => b.stir.as_ref().map(|s| figure(lines, s, reader.bucket(s.si()))),
        "ph_shift" => figure(lines, &b.ph_shift, plain(libm::ceil(b.ph_shift.si() * 10.0 - 1e-9) / 10.0, Digits::Places(1))),
        "ph_after" => figure(lines, &b.ph_after, ph(b.ph_after.si())),
        "takes" => takes(lines, reader, &b.takes),
        "ph_least" => figure(lines, &b.ph_ends[0], ph(b.ph_ends[0].si())),
        "ph_most" => figure(lines, &b.ph_ends[1], ph(b.ph_ends[1].si())),
        "ammonia_after" => figure(lines, &b.unionised_after, reader.quantity("unionised-ammonia", b.unionised_after.si())),
        "days" => reader.days(&b.days),
        "day_list" => day_list(&b.days, reader),
        "table" => table,
        "expect_marks" => {
            let each = b.on_the_way.iter().flatten();
            let rises = [&b.rise_least, &b.rise_most];
            let rises = rises.into_iter().filter(|_| b.on_the_way.len() + 1 < b.days.len());
            marks(lines, rises.chain(each).chain([&b.after_least, &b.after_most]).filter_map(|f| f.id()))
        },
    })
}

/// What the water is by calculation.
fn ions(water: &crate::plan::WaterPlan, reader: &Reader, lines: &Lines) -> Value {
    // Closer than this the ions and the meter say the same (2 to 4 % is what the method and a good meter leave open).
    const SAME: f64 = 0.05;
    let percent = |share: f64| format!("{}\u{a0}%", plain(share * 100.0, Digits::Places(0)));
    let misfit = water.misfit.as_ref();
    map! {
        "conductivity" => water.ions.as_ref().map(|f| figure(lines, f, reader.quantity("conductivity", f.si()))),
        "misfit" => misfit.map(|f| figure(lines, f, percent(f.si().abs()))),
        "more" => misfit.is_some_and(|f| f.si() > SAME),
        "less" => misfit.is_some_and(|f| f.si() < -SAME),
        "lime" => water.lime.as_ref().map(|f| figure(lines, f, plain(f.si(), Digits::Places(1)))),
        "crust" => water.lime.as_ref().is_some_and(|f| f.si() > 0.3),
        "hungry" => water.lime.as_ref().is_some_and(|f| f.si() < -0.3),
        // The kinder side: free copper harms.
        "free_copper" => water.free_copper.as_ref().map(|f| figure(lines, f, percent(libm::ceil(f.si() * 100.0 - 1e-9) / 100.0))),
        "softened" => water.composed.softened,
        "again" => water.disagreement.as_ref().map(|(_, again)| *again),
    }
}

fn calcium(source: &Source<'_>, reader: &Reader, lines: &Lines) -> Option<Value> {
    let c = source.plan.correction.calcium.as_ref()?;
    let key = "calcium";
    Some(map! {
        "name" => c.substance.name, "shop" => c.substance.shop, "adding" => c.substance.adding,
        "handling" => c.substance.handling, "beware" => c.substance.beware,
        "dose" => weighed(lines, &c.dose, reader.mass(c.dose.si())),
        "buy" => figure(lines, &c.buy, reader.mass(c.buy.si())),
        "count" => figure(lines, &c.count, count_word(c.days.len() as u64)),
        "many" => c.days.len() > 1,
        "goal" => figure(lines, &c.goal, reader.quantity(key, c.goal.si())),
        "start" => reader.quantity(key, c.start.si()),
        "after" => range(lines, reader, key, &c.after_least, &c.after_most),
        "takes" => takes(lines, reader, &c.takes),
        "for_conductivity" => c.for_conductivity,
        "days" => reader.days(&c.days),
        "day_list" => day_list(&c.days, reader),
    })
}

/// What a whole correction takes: as readings and tape are, least, most. Least is cut down and most up, to what a scale shows.
fn takes(lines: &Lines, reader: &Reader, ends: &[Figure<crate::units::Mass>; 3]) -> Value {
    let [best, least, most] = ends;
    map! {
        "best" => figure(lines, best, reader.mass_about(best.value(), Way::Down)),
        "least" => figure(lines, least, reader.mass_about(least.value(), Way::Down)),
        "most" => figure(lines, most, reader.mass_about(most.value(), Way::Up)),
    }
}

fn change(c: &ChangePlan, source: &Source<'_>, reader: &Reader, lines: &Lines) -> Value {
    map! {
        "count" => figure(lines, &c.count, count_word(c.count.si() as u64)),
        "many" => c.count.si() > 1.5,
        "share" => figure(lines, &c.share, format!("{}\u{a0}%", plain(c.share.si() * 100.0, Digits::Significant(2)))),
        "volume" => figure(lines, &c.volume, reader.volume(c.volume.si(), Way::Down)),
        "through" => figure(lines, &c.through, reader.volume(c.through.si(), Way::Down)),
        "time" => c.time.as_ref().map(|t| figure(lines, t, reader.time(t.si()))),
        "off_at" => c.time.as_ref().and_then(|t| reader.clock_after_nine(t.si())),
        "thiosulfate" => c.thiosulfate.as_ref().map(|m| weighed(lines, m, reader.mass_up(m.si()))),
        "buffer" => c.buffer.as_ref().map(|m| weighed(lines, m, reader.mass(m.si()))),
        "gate" => c.ammonia_gate.as_ref().map(|g| figure(lines, g, reader.quantity("total-ammonia", g.si()))),
        "gate_too_fine" => c.gate_too_fine,
        "ph_differs" => ph_differs(source),
        "ph_shift" => c.followed.as_ref().map(|f| figure(lines, &f.ph_shift, plain(libm::ceil(f.ph_shift.si() * 10.0 - 1e-9) / 10.0, Digits::Places(1)))),
        "ph_after" => c.followed.as_ref().map(|f| figure(lines, &f.ph, plain(f.ph.si(), Digits::Places(1)))),
        "ph_too_far" => c.followed.as_ref().is_some_and(|f| f.too_far),
        "ph_smaller" => c.followed.as_ref().is_some_and(|f| f.smaller),
        "conductivity_after" => c.followed.as_ref().and_then(|f| f.conductivity.as_ref()).map(|k| figure(lines, k, reader.quantity("conductivity", k.si()))),
        "calcium_after" => lines.all().iter().find(|l| l.id == "calcium.changed" && c.hardness_after.is_some()).map(|l| {
            figure_with(lines, Some("calcium.changed"), reader.quantity("calcium", l.node.si))
        }),
        "hardness_after" => c.hardness_after.as_ref().map(|k| figure(lines, k, reader.quantity("carbonate-hardness", k.si()))),
        "copper_after" => c.copper_after.as_ref().map(|k| figure(lines, k, reader.quantity("total-copper", k.si()))),
        "days" => reader.days(&c.days),
        "day_list" => day_list(&c.days, reader),
    }
}

/// Whether supply and pond lie more than half a unit of pH apart.
fn ph_differs(source: &Source<'_>) -> bool {
    let supply = source.site.supply.readings.ph_morning.as_ref();
    let pond = source.plan.readings.iter().find(|r| r.key == "ph-morning").and_then(|r| r.pond);
    supply.zip(pond).is_some_and(|(supply, pond)| (supply.value.si() - pond).abs() > 0.5)
}

/// Each day by itself, for boxes to tick; a run of more than four without weekdays.
fn day_list(days: &[NaiveDate], reader: &Reader) -> Vec<String> {
    let short = days.len() > 1;
    days.iter().map(|d| if short { reader.weekday_number(*d) } else { reader.weekday_day(*d) }).collect()
}

fn limits(source: &Source<'_>, reader: &Reader, lines: &Lines) -> Option<Value> {
    let l = source.plan.limits.as_ref()?;
    let copper =
        |f: &Figure<crate::units::MassConcentration>| figure(lines, f, reader.quantity("total-copper", f.si()));
    // Where nobody looks at the month, the lowest of the year holds.
    let year = source.plan.year.as_ref().ok().and_then(|year| year.copper.as_ref());
    let by_test = source.plan.by_test.as_ref().map(|found| (&found.stop, &found.watch));
    let (season_stop, season_watch) =
        year.map(|year| (&year.stop, &year.watch)).or(by_test).unwrap_or((&l.stop, &l.watch));
    Some(map! {
        "season_stop" => figure(lines, season_stop, reader.number("total-copper", season_stop.si())),
        "season_watch" => figure(lines, season_watch, reader.number("total-copper", season_watch.si())),
        "stop" => copper(&l.stop), "watch" => copper(&l.watch), "lasting" => copper(&l.lasting),
        "open_water" => copper(&l.open_water), "open_water_strict" => copper(&l.open_water_strict),
        "stop_number" => figure(lines, &l.stop, reader.number("total-copper", l.stop.si())),
        "watch_number" => figure(lines, &l.watch, reader.number("total-copper", l.watch.si())),
        "unit" => reader.shown("total-copper").symbol,
        "protection" => figure(lines, &l.protection, format!("{}\u{a0}{}", plain(l.protection.si(), Digits::Places(0)), if reader.shown("total-copper").symbol == "ppm" { "ppm" } else { "mg/L" })),
        "kit_too_coarse" => l.kit_too_coarse,
    })
}

fn schedule(source: &Source<'_>, reader: &Reader, lines: &Lines) -> Option<Value> {
    let s = source.plan.schedule.as_ref()?;
    let copper = |f: &Option<Figure<crate::units::MassConcentration>>| {
        f.as_ref().map(|f| figure(lines, f, reader.quantity("total-copper", f.si())))
    };
    let number = |f: &Option<Figure<crate::units::MassConcentration>>| {
        f.as_ref().map(|f| figure(lines, f, reader.number("total-copper", f.si())))
    };
    // Most of a spell lies below stop; where rounding would print the two alike, the word says so.
    let stop = source.plan.limits.as_ref().map(|l| reader.quantity("total-copper", l.stop.si()));
    let below = |f: &Figure<crate::units::MassConcentration>, words: String| {
        let alike = stop.as_ref() == Some(&reader.quantity("total-copper", f.si()));
        figure(lines, f, if alike { format!("under {words}") } else { words })
    };
    let days = |f: &Figure<crate::units::Time>| figure(lines, f, count_word(f.in_unit(&DAYS) as u64));
    let spells: Vec<Value> = s
        .spells
        .iter()
        .map(|spell| {
            let test = |days: i64| reader.day(spell.not_before + chrono::Duration::days(days));
            map! {
                "from_short" => reader.day(spell.not_before), "back_short" => reader.day(spell.back),
                "from" => reader.weekday_day(spell.not_before), "last" => reader.weekday_day(spell.last), "back" => reader.weekday_day(spell.back),
                "day_before" => test(-1), "second" => test(2),
                "level" => spell.level, "days" => days(&spell.days),
                "end" => below(&spell.end, reader.quantity("total-copper", spell.end.si())),
                "marks" => marks(lines, [spell.days.id(), spell.end.id()].into_iter().flatten()),
            }
        })
        .collect();
    Some(map! {
        "steps" => s.steps, "holding" => s.holding, "raised" => s.raised(),
        "days" => s.spells.iter().map(|spell| &spell.days).max_by(|a, b| a.si().total_cmp(&b.si())).map(days),
        "alike" => s.spells_alike(),
        "spells" => spells,
        "spell_count" => count_word(s.spells.len() as u64),
        "no_spell" => s.no_spell,
        "rest_most" => copper(&s.rest_most), "rest_least" => number(&s.rest_least),
        "spell_start" => copper(&s.spell_start), "spell_end" => s.hardest_spell().map(|spell| below(&spell.end, reader.quantity("total-copper", spell.end.si()))),
        "spell_mean" => s.spells.iter().map(|spell| &spell.mean).max_by(|a, b| a.si().total_cmp(&b.si()))
            .map(|mean| figure(lines, mean, reader.quantity("total-copper", mean.si()))),
        "loss_from_log" => s.loss == LossOrigin::Log,
        "told" => s.told.as_ref().map(|told| {
            let a_day = |f: &Figure<uom::si::f64::Frequency>| plain(f.in_unit(&table::PER_DAY), Digits::Significant(2));
            let percent = |f: &Figure<crate::units::Ratio>| plain(table::PERCENT.of(f.si()), Digits::Significant(2));
            let [low, _, high] = &told.loss;
            map! {
                "tests" => count_word(told.tests as u64),
                "least" => figure(lines, low, a_day(low)), "most" => figure(lines, high, a_day(high)),
                "efficiency" => told.efficiency.as_ref().map(|[low, _, high]| map! {
                    "least" => figure(lines, low, percent(low)), "most" => figure(lines, high, percent(high)),
                }),
            }
        }),
        "known" => !s.releases.is_empty(),
        "cold_mark" => marks(lines, s.loss_cold.id()),
        "soft_from" => s.first_doubt(Side::Soft).map(|date| reader.day(date)),
        "hard_from" => s.first_doubt(Side::Hard).map(|date| reader.day(date)),
        "months" => source.plan.year.iter().filter_map(|year| year.copper.as_ref()).flat_map(|copper| &copper.months).map(|month| {
            let (usual, highest) = month.levels;
            let copper = |f: &Figure<crate::units::MassConcentration>| reader.number("total-copper", f.si());
            map! {
                "name" => month_words(month.days, reader),
                "level" => if highest > s.holding {
                    format!("{}; {highest} in a spell", s.holding)
                } else if usual == highest {
                    usual.to_string()
                } else {
                    format!("0 or {highest}")
                },
                "stop" => copper(&month.stop), "most" => copper(&month.most),
                "marks" => marks(lines, [month.stop.id(), month.most.id()].into_iter().flatten()),
            }
        }).collect::<Value>(),
        "held" => source.plan.year.as_ref().ok().and_then(|year| year.held.as_ref()).filter(|held| source.plan.limits.as_ref().is_some_and(|l| held.si() > l.stop.si())).map(|held| {
            // Far over stop: two digits, cut down, say enough.
            let micrograms = crate::units::significant_down(table::MICROGRAMS.of(held.si()), 2);
            figure(lines, held, reader.quantity("total-copper", table::MICROGRAMS.si(micrograms)))
        }),
        "table" => s.table.iter().map(|row| {
            let days = |f: &Figure<crate::units::Time>| {
                let days = plain(f.in_unit(&DAYS), Digits::Places(0));
                let word = if days == "1" { "day" } else { "days" };
                figure(lines, f, format!("{days}\u{a0}{word}"))
            };
            map! {
                "level" => row.level,
                "days" => row.held.as_ref().map(|(held, _)| days(held)),
                "end" => row.held.as_ref().map(|(_, end)| below(end, reader.number("total-copper", end.si()))),
                "back" => row.back.as_ref().map(days),
                "marks" => marks(lines, row.held.iter().flat_map(|(days, end)| [days.id(), end.id()])
                    .chain([row.back.as_ref().and_then(Figure::id)]).flatten()),
            }
        }).collect::<Value>(),
    })
}

/// Why the panel falls short of its level.
fn diagnosis(source: &Source<'_>, reader: &Reader, lines: &Lines) -> Option<Value> {
    let found = source.plan.diagnosis.as_ref()?;
    let causes: Vec<Value> = found
        .causes
        .iter()
        .map(|ranked| {
            let keys = |signs: &[&crate::reference::Sign]| signs.iter().map(|s| s.key).collect::<Vec<_>>();
            map! {
                "key" => ranked.cause.key, "speaks_for" => keys(&ranked.speaks_for),
                "speaks_against" => keys(&ranked.speaks_against),
            }
        })
        .collect();
    let (volume, time, by_bucket) = &found.examples.bucket;
    let (head, by_notch) = &found.examples.notch;
    let head = match source.plan.system {
        System::Us => format!("{}\u{a0}in", plain(table::INCH.of(head.si()), Digits::Places(0))),
        _ => format!("{}\u{a0}cm", plain(table::CENTIMETRE.of(head.si()), Digits::Places(0))),
    };
    Some(map! {
        "causes" => causes,
        "cell" => found.cell.as_ref().map(|cell| map! {
            "most" => figure(lines, &cell.most, format!(
                "{}\u{a0}mA", plain(table::MILLIAMPERE.of(cell.most.si()), Digits::Significant(2)))),
            "step" => cell.step.min(found.short.steps),
            "holds_back" => cell.step < found.wanted.as_ref().map_or(found.short.set, |w| w.step),
        }),
        "wanted" => found.wanted.as_ref().map(|wanted| map! {
            "step" => wanted.step,
            "conductivity" => figure(lines, &wanted.conductivity, reader.quantity("conductivity", wanted.conductivity.si())),
            "salt" => wanted.salt.as_ref().map(|m| weighed(lines, m, reader.mass(m.si()))),
        }),
        "bucket" => map! {
            "volume" => format!("{}\u{a0}{}", plain(reader.volume_unit().of(volume.si()), Digits::Places(0)), reader.volume_word()),
            "time" => format!("{}\u{a0}seconds", plain(time.si(), Digits::Places(0))),
            "rate" => figure(lines, by_bucket, reader.flow(by_bucket.si())),
        },
        "notch" => map! { "head" => head, "rate" => figure(lines, by_notch, reader.flow(by_notch.si())) },
    })
}

/// The citations the workings use, in the order of their ids.
fn sources(lines: &Lines) -> Value {
    let used: Vec<&str> = lines.all().iter().flat_map(|l| l.citations()).map(|c| c.id).collect();
    CITATIONS
        .iter()
        .filter(|c| used.contains(&c.id))
        .map(|c| map! { "short" => c.short, "full" => c.full, "status" => c.status.words() })
        .collect()
}

/// The substances this plan handles, with their cautions.
fn substances(source: &Source<'_>) -> Value {
    let c = &source.plan.correction;
    SUBSTANCES
        .iter()
        .filter(|s| match s.purpose {
            Purpose::Buffer => {
                c.buffer.as_ref().is_some_and(|b| b.substance.id == s.id)
                    || (c.buffer.is_none() && c.buffer_for_supply.is_some() && s.id == "sodium-bicarbonate")
            }
            Purpose::Calcium => c.calcium.as_ref().is_some_and(|p| p.substance.id == s.id),
            Purpose::Salt => c.salt.is_some(),
            Purpose::Dechlorinator => source.plan.emergency.poisoning.thiosulfate.is_some(),
        })
        .map(|s| map! { "name" => s.name, "handling" => s.handling, "beware" => s.beware, "adding" => s.adding, "shop" => s.shop })
        .collect()
}
