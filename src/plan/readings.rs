//! The readings against their targets.

use super::{Desk, Missing, kinder};
use crate::chem::ammonia;
use crate::reference::{Citation, POND_TARGETS, TARGETS};
use crate::site::Reading;
use crate::units::table::{
    CALCIUM_MG, DEGREE_GH, DEGREE_KH, MICROSIEMENS, MILLIGRAMS, NITRATE_ION, NITRITE_ION, ONE, Unit,
};
use crate::units::{Conductivity, MassConcentration, Ratio, Si};
use crate::workings::Figure;

/// The verdict word of a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Judged {
    /// Inside its target.
    Good,
    /// Under it.
    TooLow,
    /// Over it.
    TooHigh,
    /// The supply must be treated before it runs in.
    TreatSupply,
    /// There is no target to hold it against.
    NoTarget,
    /// Not measured, or measured too coarsely to say.
    TestIt,
}

/// One row of the table of readings. Values are SI of the row's quantity.
#[derive(Clone, Debug)]
pub struct ReadingRow {
    /// Stable name: `carbonate-hardness`.
    pub key: &'static str,
    /// The pond's reading.
    pub pond: Option<f64>,
    /// The kit showed only "less than" this.
    pub less_than: bool,
    /// The supply's reading.
    pub supply: Option<f64>,
    /// Low end of the target.
    pub low: Option<f64>,
    /// High end of the target.
    pub high: Option<f64>,
    /// The verdict.
    pub judged: Judged,
    /// Lines that prove the value or the target.
    pub lines: Vec<String>,
}

/// Readings older than this are not held against a target, days.
pub const FRESH_DAYS: i64 = 45;

/// The latest reading of one kind no older than [`FRESH_DAYS`].
pub fn fresh<'a, T>(
    desk: &Desk<'a>,
    pick: impl Fn(&'a crate::site::Readings) -> Option<&'a Reading<T>>,
) -> Option<&'a Reading<T>> {
    desk.last(|v| pick(&v.pond)).filter(|(v, _)| (desk.date - v.date).num_days() <= FRESH_DAYS).map(|(_, r)| r)
}

fn target(
    desk: &mut Desk<'_>,
    key: &str,
    end: &str,
    si: f64,
    unit: &'static Unit,
    citation: &'static Citation,
) -> String {
    let id = format!("target.{key}.{end}");
    let words = match key {
        "unionised-ammonia" => "un-ionised ammonia".to_owned(),
        other => missing_name(other),
    };
    let letter = match key {
        "carbonate-hardness" => "K_",
        "general-hardness" => "G_",
        "calcium" => "Ca_",
        "conductivity" => "κ_",
        "ph-morning" => "pH_morning,",
        "ph-afternoon" => "pH_afternoon,",
        "unionised-ammonia" => "c_NH₃,",
        "nitrite" => "c_NO₂,",
        "nitrate" => "c_NO₃,",
        "oxygen" => "c_O₂,",
        "chlorine" => "c_Cl,",
        _ => "c_",
    };
    let symbol = format!("{letter}{}", if end == "low" { "min" } else { "max" });
    let figure: Figure<Ratio> = Figure::leaf(
        Ratio::from_si(si),
        &symbol,
        &format!("{} end of the target", if end == "low" { "low" } else { "high" }),
        unit,
        crate::workings::Source::Cited(citation),
    );
    desk.book.publish(figure.named(&id, &format!("Target for {words}, {end} end"), &symbol, unit));
    id
}

struct Ask<'m> {
    key: &'static str,
    unit: &'static Unit,
    measure: &'m str,
}

/// A row whose target is a line of [`TARGETS`].
fn row<Q: Si>(
    desk: &mut Desk<'_>,
    ask: &Ask<'_>,
    target_name: &str,
    pond: Option<&Reading<Q>>,
    supply: Option<f64>,
) -> ReadingRow {
    let mut row = ReadingRow {
        key: ask.key,
        pond: pond.map(|r| r.value.si()),
        less_than: pond.is_some_and(|r| r.less_than),
        supply,
        low: None,
        high: None,
        judged: Judged::Good,
        lines: Vec::new(),
    };
    if let Some(found) = TARGETS.iter().find(|t| t.reading == target_name) {
        row.low = found.low.map(|v| ask.unit.si(v));
        row.high = found.high.map(|v| ask.unit.si(v));
        for (end, value) in [("low", row.low), ("high", row.high)] {
            if let Some(si) = value {
                row.lines.push(target(desk, ask.key, end, si, ask.unit, found.citation));
            }
        }
    }
    row.judged = judge_ends(row.pond, row.pond, row.less_than, row.low, row.high);
    if row.pond.is_none() {
        desk.miss(Missing::new(&missing_name(ask.key), ask.measure));
    }
    row
}

/// What a reading is called among what is missing.
fn missing_name(key: &str) -> String {
    match key {
        "ph-morning" => "pH of the morning".into(),
        "ph-afternoon" => "pH of the afternoon".into(),
        "oxygen" => "oxygen at dawn".into(),
        other => other.replace('-', " "),
    }
}

/// Judges the range a reading may stand for against its target.
fn judge_ends(least: Option<f64>, most: Option<f64>, less_than: bool, low: Option<f64>, high: Option<f64>) -> Judged {
    let (Some(least), Some(most)) = (least, most) else { return Judged::TestIt };
    // A reading on the target's own edge keeps it: only arithmetic noise is forgiven here.
    let tiny = 1e-9;
    if less_than {
        return match (low, high) {
            (_, Some(high)) if most <= high * (1.0 + tiny) && low.is_none() => Judged::Good,
            (Some(low), _) if most <= low => Judged::TooLow,
            _ => Judged::TestIt,
        };
    }
    match (low, high) {
        (Some(low), _) if least < low * (1.0 - tiny) => Judged::TooLow,
        (_, Some(high)) if most > high * (1.0 + tiny) + f64::MIN_POSITIVE => Judged::TooHigh,
        _ => Judged::Good,
    }
}

/// Judges all readings.
pub fn judge(desk: &mut Desk<'_>) -> Vec<ReadingRow> {
    let site = desk.site;
    let supply = &site.supply.readings;
    let value = |r: Option<f64>| r;
    let mut rows = Vec::new();

    let hardness = fresh(desk, |r| r.carbonate_hardness.as_ref());
    let ask = Ask { key: "carbonate-hardness", unit: &DEGREE_KH, measure: "drop test, 0.5 °dKH a step on 10 mL" };
    let mut first =
        row(desk, &ask, "carbonate hardness", hardness, supply.carbonate_hardness.as_ref().map(|r| r.value.si()));
    if let Some(reading) = hardness {
        let range = kinder::hardness(desk, reading, "hardness.reading", "pond");
        let low = desk.book.publish(range.low);
        first.judged = judge_ends(Some(low.si()), Some(range.high.si()), reading.less_than, first.low, first.high);
        // The window's upper edge itself is outside.
        if first.judged == Judged::Good && first.high.is_some_and(|h| range.high.si() >= h * (1.0 - 1e-9)) {
            first.judged = Judged::TooHigh;
        }
        first.lines.insert(0, "hardness.reading.low".into());
    }
    rows.push(first);

    let ask = Ask { key: "general-hardness", unit: &DEGREE_GH, measure: "EDTA drop test, 0.5 or 1 °dGH a step" };
    let pond = fresh(desk, |r| r.general_hardness.as_ref());
    rows.push(row(desk, &ask, "general hardness", pond, supply.general_hardness.as_ref().map(|r| r.value.si())));

    let ask = Ask {
        key: "calcium",
        unit: &CALCIUM_MG,
        measure: "calcium drop test, 5 mg/L a step; it decides how much copper fish can bear",
    };
    let pond = fresh(desk, |r| r.calcium.as_ref());
    rows.push(row(desk, &ask, "calcium", pond, supply.calcium.as_ref().map(|r| r.value.si())));

    rows.push(conductivity(desk));

    for (key, pick) in [("ph-morning", true), ("ph-afternoon", false)] {
        let pond = fresh(desk, |r| if pick { r.ph_morning.as_ref() } else { r.ph_afternoon.as_ref() });
        let of_supply = if pick { supply.ph_morning.as_ref() } else { None };
        let ask =
            Ask { key, unit: &ONE, measure: "meter calibrated at two points, at dawn and at four in the afternoon" };
        rows.push(row(desk, &ask, "ph", pond, value(of_supply.map(|r| r.value.si()))));
    }

    rows.push(unionised_row(desk));

    let ask = Ask { key: "nitrite", unit: &NITRITE_ION, measure: "drop test, with ammonia" };
    let pond = fresh(desk, |r| r.nitrite.as_ref());
    rows.push(row(desk, &ask, "nitrite", pond, supply.nitrite.as_ref().map(|r| r.value.si())));

    let ask = Ask { key: "nitrate", unit: &NITRATE_ION, measure: "drop test or strip, bottle shaken" };
    let pond = fresh(desk, |r| r.nitrate.as_ref());
    rows.push(row(desk, &ask, "nitrate", pond, supply.nitrate.as_ref().map(|r| r.value.si())));

    let ask = Ask { key: "oxygen", unit: &MILLIGRAMS, measure: "meter, just before sunrise" };
    let pond = fresh(desk, |r| r.oxygen_dawn.as_ref());
    rows.push(row(desk, &ask, "oxygen at dawn", pond, None));

    rows.push(chlorine(desk));
    rows
}

/// Conductivity: 1 to 2.5 times the supply's; without the supply's there is no target.
fn conductivity(desk: &mut Desk<'_>) -> ReadingRow {
    let site = desk.site;
    let pond = fresh(desk, |r| r.conductivity.as_ref());
    let supply = site.supply.readings.conductivity.as_ref();
    let mut row = ReadingRow {
        key: "conductivity",
        pond: pond.map(|r| r.value.si()),
        less_than: false,
        supply: supply.map(|r| r.value.si()),
        low: None,
        high: None,
        judged: if pond.is_some() { Judged::Good } else { Judged::TestIt },
        lines: Vec::new(),
    };
    if pond.is_none() {
        desk.miss(Missing::new("conductivity", "a conductivity meter compensated to 25 °C"));
    }
    if let Some(reading) = supply {
        let tap: Figure<Conductivity> =
            kinder::leaf(desk, reading, "κ_supply", "conductivity of the supply", &MICROSIEMENS);
        let tap = treated(desk, tap);
        let times: Figure<Ratio> = Figure::cited(2.5, "q_κ", "times the supply's", &ONE, &POND_TARGETS);
        let high = desk.book.publish((tap * times).named(
            "target.conductivity.high",
            "Highest conductivity before minerals pile up",
            "κ_max",
            &MICROSIEMENS,
        ));
        row.high = Some(high.si());
        row.lines.push("target.conductivity.high".into());
    }
    if let Some(least) = super::diagnosis::least_conductivity(desk) {
        row.low = Some(least.si());
        // What the maker states needs no line.
        if least.id().is_some() {
            let least = desk.book.publish(least);
            row.lines.extend(least.id().map(str::to_owned));
        }
    }
    if row.pond.is_some() {
        row.judged = judge_ends(row.pond, row.pond, false, row.low, row.high);
        if row.low.is_none() && row.high.is_none() {
            row.judged = Judged::NoTarget;
            desk.miss(Missing::new(
                "conductivity of the supply",
                "the same meter, at the tap after three minutes' running",
            ));
        }
    }
    row
}

/// Conductivity of a supply once it has its buffer: a supply softer than the window never comes without it.
fn treated(desk: &Desk<'_>, supply: Figure<Conductivity>) -> Figure<Conductivity> {
    let soft = desk.site.supply.readings.carbonate_hardness.as_ref();
    let soft = soft.filter(|r| r.value.si() < DEGREE_KH.si(crate::reference::WINDOW_LOW_DKH));
    let (Some(reading), Some(buffer)) = (soft, crate::reference::substance("sodium-bicarbonate")) else {
        return supply;
    };
    let tap = kinder::leaf(desk, reading, "K_supply", "carbonate hardness of the supply", &DEGREE_KH);
    let goal: Figure<crate::units::CarbonateHardness> = match &desk.site.goals.carbonate_hardness {
        Some(own) => {
            Figure::stated(own.value, "K_goal", "goal for carbonate hardness", &DEGREE_KH, &desk.place(own.span))
        }
        None => Figure::cited(
            crate::reference::GOAL_DKH,
            "K_goal",
            "goal for carbonate hardness",
            &DEGREE_KH,
            &POND_TARGETS,
        ),
    };
    let rise =
        (goal - tap).named("target.supply-rise", "Carbonate hardness its buffer brings", "ΔK_supply", &DEGREE_KH);
    let names = ["target.supply-lift", "Rise in conductivity by it", "Δκ_supply"];
    let lift = super::water::supply_lift(desk, &rise, buffer, names).unwrap_or_else(|| {
        crate::chem::conductivity::rise_with_buffer("target.supply-lift", &rise, buffer).called("Δκ_supply")
    });
    (supply + lift).named(
        "target.supply-treated",
        "Conductivity of the supply with its buffer",
        "κ_treated",
        &MICROSIEMENS,
    )
}

/// Un-ionised ammonia at the worse of the two hours with a pH.
fn unionised_row(desk: &mut Desk<'_>) -> ReadingRow {
    let mut row = ReadingRow {
        key: "unionised-ammonia",
        pond: None,
        less_than: false,
        supply: None,
        low: None,
        high: Some(MILLIGRAMS.si(crate::reference::UNIONISED_LIMIT)),
        judged: Judged::TestIt,
        lines: vec![target(
            desk,
            "unionised-ammonia",
            "high",
            MILLIGRAMS.si(crate::reference::UNIONISED_LIMIT),
            &MILLIGRAMS,
            &crate::reference::AMMONIA_LIMIT,
        )],
    };
    let ammonia = fresh(desk, |r| r.ammonia.as_ref());
    let temperature = fresh(desk, |r| r.temperature.as_ref());
    let ph = worst_ph(desk);
    let (Some(ammonia), Some(temperature), Some((ph, hour))) = (ammonia, temperature, ph) else {
        desk.miss(Missing::new(
            "ammonia, with pH and temperature of the same hour",
            "salicylate drop test; it must be known before carbonate hardness is raised",
        ));
        return row;
    };
    row.less_than = ammonia.less_than;
    let total = kinder::leaf(desk, ammonia, "N", "total ammonia as nitrogen", &crate::units::table::AMMONIA_N);
    let warmth = kinder::temperature(desk, temperature);
    let share = ammonia::unionised_share("ammonia.share", &format!("Un-ionised share, {hour}"), &ph, &warmth);
    let value = desk.book.publish(ammonia::unionised(
        "ammonia.unionised",
        &format!("Un-ionised ammonia, {hour}"),
        &total,
        &share,
    ));
    row.pond = Some(value.si());
    row.lines.insert(0, "ammonia.unionised".into());
    row.judged = judge_ends(row.pond, row.pond, row.less_than, None, row.high);
    row
}

/// The higher of the two pH readings, as a leaf, and its hour in words.
pub fn worst_ph(desk: &Desk<'_>) -> Option<(Figure<crate::units::Ph>, &'static str)> {
    let morning = fresh(desk, |r| r.ph_morning.as_ref());
    let afternoon = fresh(desk, |r| r.ph_afternoon.as_ref());
    let (reading, hour) = match (morning, afternoon) {
        (Some(m), Some(a)) if m.value.si() > a.value.si() => (m, "morning"),
        (_, Some(a)) => (a, "afternoon"),
        (Some(m), None) => (m, "morning"),
        (None, None) => return None,
    };
    Some((kinder::leaf(desk, reading, "pH", &format!("pH of the {hour}"), &ONE), hour))
}

/// The lower of the two pH readings, as a leaf.
pub fn lowest_ph(desk: &Desk<'_>) -> Option<Figure<crate::units::Ph>> {
    let morning = fresh(desk, |r| r.ph_morning.as_ref());
    let afternoon = fresh(desk, |r| r.ph_afternoon.as_ref());
    let (reading, hour) = match (morning, afternoon) {
        (Some(m), Some(a)) if a.value.si() < m.value.si() => (a, "afternoon"),
        (Some(m), _) => (m, "morning"),
        (None, Some(a)) => (a, "afternoon"),
        (None, None) => return None,
    };
    Some(kinder::leaf(desk, reading, "pH", &format!("pH of the {hour}"), &ONE))
}

fn chlorine(desk: &mut Desk<'_>) -> ReadingRow {
    let site = desk.site;
    let supply = site.supply.readings.total_chlorine.as_ref();
    let pond = fresh(desk, |r: &crate::site::Readings| r.total_chlorine.as_ref());
    let chlorinated = supply.is_some_and(|r| r.value.si() > 0.0 && !r.less_than);
    let judged = match (supply, site.supply.kind) {
        (Some(_), _) if chlorinated => Judged::TreatSupply,
        (Some(_), _) => Judged::Good,
        (None, crate::site::SupplyKind::Mains) => Judged::TestIt,
        (None, _) => Judged::Good,
    };
    if supply.is_none() && site.supply.kind == crate::site::SupplyKind::Mains {
        desk.miss(Missing::new(
            "total chlorine of the supply",
            "total-chlorine test at the tap: a test for free chlorine does not see chloramine",
        ));
    }
    ReadingRow {
        key: "chlorine",
        pond: pond.map(|r| r.value.si()),
        less_than: false,
        supply: supply.map(|r| r.value.si()),
        low: None,
        high: Some(0.0),
        judged,
        lines: vec![target(desk, "chlorine", "high", 0.0, &MILLIGRAMS, &crate::reference::CHLORINE_LIMIT)],
    }
}

/// Copper rows can be judged only once watch is known.
pub fn copper_row(desk: &Desk<'_>, watch: Option<&Figure<MassConcentration>>) -> ReadingRow {
    let pond = fresh(desk, |r| r.total_copper.as_ref());
    let supply = desk.site.supply.readings.total_copper.as_ref();
    let judged = match (pond, watch) {
        (Some(reading), Some(watch)) if reading.less_than => {
            if reading.value.si() <= watch.si() {
                Judged::Good
            } else {
                Judged::TestIt
            }
        }
        (Some(reading), Some(watch)) => {
            if reading.value.si() < watch.si() {
                Judged::Good
            } else {
                Judged::TooHigh
            }
        }
        // Where no copper is allowed at all, what a supply itself may bring is all that passes.
        (Some(reading), None) if reading.less_than => Judged::TestIt,
        (Some(reading), None) if reading.value.si() >= MILLIGRAMS.si(0.0049) => Judged::TooHigh,
        (Some(_), None) => Judged::Good,
        (None, _) => Judged::TestIt,
    };
    ReadingRow {
        key: "total-copper",
        pond: pond.map(|r| r.value.si()),
        less_than: pond.is_some_and(|r| r.less_than),
        supply: supply.map(|r| r.value.si()),
        low: None,
        high: watch.map(Figure::si),
        judged,
        lines: watch.and_then(|w| w.id().map(str::to_owned)).into_iter().collect(),
    }
}
