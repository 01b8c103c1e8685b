//! What a template may use. Every value is plain words or a number; `mark` fields are footnote references to workings.

use std::collections::BTreeMap;

use minijinja::Value;

use super::corrections::{buffer, calcium, change, takes};
use super::drawings::{celsius, readings_in_log};
use super::lines::Lines;
use super::offer::Kind;
use super::panel::{diagnosis, limits, schedule};
use super::words::{Reader, count_word, escape};
use super::{Edition, Source};
use crate::plan::{Act, Judged, ReadingRow, When, Word};
use crate::reference::{CITATIONS, Purpose, SUBSTANCES};
use crate::site::{AnimalKind, Country, Destination, PhotoPart, SupplyKind};
use crate::units::{Digits, Si, plain};
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
pub(super) fn large(text: &str) -> Value {
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
pub(super) fn weighed<Q: Si>(lines: &Lines, of: &Figure<Q>, text: String) -> Value {
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
pub(super) fn range<Q: Si>(lines: &Lines, reader: &Reader, key: &str, least: &Figure<Q>, most: &Figure<Q>) -> Value {
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
