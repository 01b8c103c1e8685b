//! The volume of the feature from what the site file tells, and the flow past the bars.

use super::rounding::VOLUME_UNIT;
use super::{Assumption, Desk, Missing};
use crate::diag::Diagnostic;
use crate::reference::{SALT_CONDUCTIVITY, VOLUME_UNCERTAINTY};
use crate::site::{Depth, FlowTest, Section, Shape, Stated};
use crate::units::table::{
    CUBIC_METRE, KILOGRAM, LITRES_PER_SECOND, METRE, MICROSIEMENS, MILLIGRAMS_PER_MICROSIEMENS, ONE, PERCENT,
    SQUARE_METRE, Unit,
};
use crate::units::{Area, Length, Ratio, Si, Time, Volume, VolumeRate};
use crate::water::volume as geometry;
use crate::workings::{Figure, Way, sum};

/// The volume and how it was found.
#[derive(Clone, Debug)]
pub struct VolumePlan {
    /// Best value.
    pub total: Figure<Volume>,
    /// Relative uncertainty.
    pub uncertainty: Figure<Ratio>,
    /// Low end, for doses.
    pub low: Figure<Volume>,
    /// High end.
    pub high: Figure<Volume>,
    /// Each part: name, how it was measured, its volume.
    pub parts: Vec<Part>,
    /// Things that push water out: name and volume.
    pub displaced: Vec<(String, Figure<Volume>)>,
    /// All parts by tape, less what is pushed out, where other methods stand beside it.
    pub tape: Option<Figure<Volume>>,
    /// Other methods: name and volume.
    pub methods: Vec<(String, Figure<Volume>)>,
}

/// One part of the feature.
#[derive(Clone, Debug)]
pub struct Part {
    /// Its name.
    pub name: String,
    /// How it was measured, in a few words.
    pub how: String,
    /// Its volume.
    pub volume: Figure<Volume>,
}

/// One reading of salt dilution: kg/m³ of salt a S/m.
type SaltFactor = <uom::si::f64::MassDensity as std::ops::Div<uom::si::f64::ElectricalConductivity>>::Output;

fn stated<Q: Si>(desk: &Desk<'_>, value: &Stated<Q>, symbol: &str, title: &str, unit: &'static Unit) -> Figure<Q> {
    Figure::stated(value.value, symbol, title, unit, &desk.place(value.span))
}

fn depth_of(desk: &mut Desk<'_>, index: usize, depth: &Depth) -> (Figure<Length>, String, bool) {
    let id = slug(index);
    let part = index + 1;
    let symbol = format!("d_{part}");
    match depth {
        Depth::Mean(mean) => (stated(desk, mean, &symbol, "mean depth", &METRE), "mean depth given".into(), false),
        Depth::Soundings { depths, vertical_walls, span } => {
            let place = desk.place(*span);
            let leaves: Vec<Figure<Length>> = depths
                .iter()
                .enumerate()
                .map(|(i, d)| Figure::stated(*d, &format!("z_{part},{}", i + 1), "sounding", &METRE, &place))
                .collect();
            let words = format!(
                "{} soundings, {}",
                depths.len(),
                if *vertical_walls { "vertical walls" } else { "zeros at the banks counted" }
            );
            (geometry::mean_depth(&format!("{id}.depth"), &leaves).called(&symbol), words, false)
        }
        Depth::Greatest(greatest) => {
            desk.assume(Assumption::new(
                "Mean depth from the greatest",
                "0.4 of the greatest depth",
                "soundings on two crossing lines",
                "a handbook's guess",
            ));
            let leaf = stated(desk, greatest, &format!("z_{part},max"), "greatest depth", &METRE);
            let mean = geometry::mean_from_greatest(&format!("{id}.depth"), &leaf).called(&symbol);
            (mean, "0.4 of the greatest depth".into(), true)
        }
    }
}

fn slug(index: usize) -> String {
    format!("volume.section-{}", index + 1)
}

/// The volume of one part, how it was measured, and whether it is only an estimate.
fn part(desk: &mut Desk<'_>, index: usize, section: &Section) -> (Part, Figure<Ratio>) {
    let id = slug(index);
    let area_id = format!("{id}.area");
    let title = format!("Volume of the {}", section.name);
    // Every part has letters of its own.
    let of = |letter: &str| format!("{letter}_{}", index + 1);
    let solid = |area: Figure<Area>, depth: Figure<Length>| area.called(&of("A")) * depth;
    let (exact, how, estimate): (Figure<Volume>, String, bool) = match &section.shape {
        Shape::Rectangle { length, width, depth } => {
            let (l, w) =
                (stated(desk, length, &of("l"), "length", &METRE), stated(desk, width, &of("B"), "width", &METRE));
            let (d, words, guess) = depth_of(desk, index, depth);
            (solid(geometry::rectangle(&area_id, &l, &w), d), format!("rectangle; {words}"), guess)
        }
        Shape::Ellipse { length, width, depth } => {
            let (l, w) = (
                stated(desk, length, &of("l"), "long axis", &METRE),
                stated(desk, width, &of("B"), "short axis", &METRE),
            );
            let (d, words, guess) = depth_of(desk, index, depth);
            (solid(geometry::ellipse(&area_id, &l, &w), d), format!("ellipse; {words}"), guess)
        }
        Shape::Circle { diameter, depth } => {
            let l = stated(desk, diameter, &of("D"), "diameter", &METRE);
            let (d, words, guess) = depth_of(desk, index, depth);
            (solid(geometry::ellipse(&area_id, &l, &l), d), format!("circle; {words}"), guess)
        }
        Shape::MeasuredArea { area, depth } => {
            let a = stated(desk, area, &of("A"), "area", &SQUARE_METRE);
            let (d, words, guess) = depth_of(desk, index, depth);
            (solid(a, d), format!("measured area; {words}"), guess)
        }
        Shape::Prismoid { top, middle, bottom, depth } => {
            let top = stated(desk, top, &format!("{},top", of("A")), "area at the water line", &SQUARE_METRE);
            let middle = stated(desk, middle, &format!("{},middle", of("A")), "area half way down", &SQUARE_METRE);
            let bottom = stated(desk, bottom, &format!("{},bottom", of("A")), "area at the bottom", &SQUARE_METRE);
            let depth = stated(desk, depth, &of("d"), "depth", &METRE);
            (geometry::prismoid(&top, &middle, &bottom, &depth), "prismoid of three areas".into(), false)
        }
        Shape::Stream { length, width, depth } => {
            let l = stated(desk, length, &of("l"), "length", &METRE);
            let w = stated(desk, width, &of("B"), "mean width", &METRE);
            let d = stated(desk, depth, &of("d"), "mean depth of water", &METRE);
            (solid(geometry::rectangle(&area_id, &l, &w), d), "length, width and depth of the water".into(), false)
        }
        Shape::Known { volume } => {
            (stated(desk, volume, &of("v"), "volume of one", &CUBIC_METRE), "known volume".into(), false)
        }
    };
    let exact = if section.count > 1 {
        let count: Figure<Ratio> = Figure::stated(
            Ratio::from_si(f64::from(section.count)),
            &of("N"),
            "how many",
            &ONE,
            &desk.place(section.span),
        );
        exact * count
    } else {
        exact
    };
    let volume = exact.named(&id, &title, &format!("V_{}", index + 1), VOLUME_UNIT);
    let how = if section.count > 1 { format!("{} of {how}", section.count) } else { how };
    let uncertainty = match &section.uncertainty {
        Some(own) => stated(desk, own, &format!("u_{}", index + 1), "uncertainty of the part", &PERCENT),
        None => assumed_uncertainty(desk, if estimate { 0.10 } else { 0.05 }, &format!("u_{}", index + 1)),
    };
    (Part { name: section.name.clone(), how, volume }, uncertainty)
}

fn assumed_uncertainty(desk: &mut Desk<'_>, share: f64, symbol: &str) -> Figure<Ratio> {
    desk.assume(Assumption::new(
        "Uncertainty of the volume",
        "5\u{a0}% for tape and soundings, 10\u{a0}% for an estimate, 2\u{a0}% for a meter",
        "a water meter at the next filling",
        "common practice",
    ));
    Figure::cited(share * 100.0, symbol, "uncertainty of the part", &PERCENT, &VOLUME_UNCERTAINTY)
}

/// Finds the volume, or complains.
pub fn find(desk: &mut Desk<'_>) -> Option<VolumePlan> {
    let told = desk.site.volume.clone();
    let mut parts = Vec::new();
    let mut weights = Vec::new();
    for (index, section) in told.sections.iter().enumerate() {
        let (part, uncertainty) = part(desk, index, section);
        weights.push((part.volume.clone(), uncertainty));
        parts.push(part);
    }
    let displaced: Vec<(String, Figure<Volume>)> = told
        .displaced
        .iter()
        .enumerate()
        .map(|(i, d)| {
            let symbol = format!("V_out{}", i + 1);
            (d.name.clone(), stated(desk, &d.volume, &symbol, &format!("water pushed out by {}", d.name), &CUBIC_METRE))
        })
        .collect();
    let mut methods: Vec<(String, Figure<Volume>, Figure<Ratio>)> = Vec::new();
    if let Some(metered) = &told.metered {
        let volume = stated(desk, &metered.amount, "V_meter", "water meter at filling", &CUBIC_METRE);
        let uncertainty = match &metered.uncertainty {
            Some(own) => stated(desk, own, "u_meter", "uncertainty of the meter", &PERCENT),
            None => assumed_uncertainty(desk, 0.02, "u_meter"),
        };
        methods.push(("water meter at filling".into(), volume, uncertainty));
    }
    if let Some(salt) = &told.salt_dilution {
        let mass = stated(desk, &salt.salt, "m_added", "salt added", &KILOGRAM);
        let rise = stated(desk, &salt.rise, "Δκ_added", "rise of conductivity", &MICROSIEMENS);
        let factor: Figure<SaltFactor> = Figure::cited(
            0.486,
            "c_κ",
            "salt a litre for each µS/cm",
            &MILLIGRAMS_PER_MICROSIEMENS,
            &SALT_CONDUCTIVITY,
        );
        let rise = rise.meaning::<uom::si::f64::ElectricalConductivity>();
        let volume = geometry::from_salt(&mass, &rise, &factor).named(
            "volume.salt",
            "Volume by salt dilution",
            "V_salt",
            VOLUME_UNIT,
        );
        let uncertainty = match &salt.uncertainty {
            Some(own) => stated(desk, own, "u_salt", "uncertainty of the dilution", &PERCENT),
            None => assumed_uncertainty(desk, 0.05, "u_salt"),
        };
        methods.push(("salt dilution".into(), volume, uncertainty));
    }
    let tape = (!parts.is_empty()).then(|| {
        let whole = sum(&parts.iter().map(|p| p.volume.clone()).collect::<Vec<_>>());
        let name = if methods.is_empty() { "volume.total" } else { "volume.tape" };
        let title = if methods.is_empty() { "Volume" } else { "Volume by tape and soundings" };
        let net = if displaced.is_empty() {
            whole
        } else {
            whole - sum(&displaced.iter().map(|d| d.1.clone()).collect::<Vec<_>>())
        };
        net.named(name, title, if methods.is_empty() { "V" } else { "V_tape" }, VOLUME_UNIT)
    });
    if let Some(tape) = &tape
        && tape.si() <= 0.0
    {
        desk.complaints.push(
            Diagnostic::error("no-water", None, "what stands in the water takes more room than the water has")
                .why("every dose is computed from the volume")
                .hint("check `[[volume.displaced]]` against `[[volume.section]]`"),
        );
        return None;
    }
    // Every method in turn: tape first, then the meter, then salt.
    let mut ways: Vec<(String, Figure<Volume>, Figure<Ratio>)> = Vec::new();
    if let Some(tape) = tape.clone() {
        let id = if methods.is_empty() { "volume.uncertainty" } else { "volume.tape-uncertainty" };
        let uncertainty =
            geometry::uncertainty_of_sum(id, &tape, &weights).called(if methods.is_empty() { "u" } else { "u_tape" });
        ways.push(("tape".into(), tape, uncertainty));
    }
    ways.extend(methods.iter().cloned());
    let mut disagreeing: Vec<(Figure<Volume>, Figure<Ratio>)> = Vec::new();
    for (i, first) in ways.iter().enumerate() {
        for second in ways.iter().skip(i + 1) {
            let apart = geometry::disagreement((first.1.si(), first.2.si()), (second.1.si(), second.2.si()));
            if apart > 2.0 {
                desk.complaints.push(
                    Diagnostic::warning(
                        "volumes-disagree",
                        told.metered.as_ref().map(|m| m.amount.span),
                        format!("{} and {} disagree by more than their uncertainties allow", first.0, second.0),
                    )
                    .why("every dose is computed from the volume; doses go by the lowest end of all methods")
                    .hint("measure again, or leave out the method you trust less"),
                );
                disagreeing = ways.iter().map(|w| (w.1.clone(), w.2.clone())).collect();
            }
        }
    }
    let mut ways = ways.into_iter();
    let Some((_, first, first_uncertainty)) = ways.next() else {
        desk.complaints.push(
            Diagnostic::error("no-volume", None, "the site file tells no volume")
                .why("every dose is computed from the volume")
                .hint("add a `[[volume.section]]` with a shape, or `[volume.metered]`"),
        );
        return None;
    };
    let more = ways.len();
    let (mut total, mut uncertainty) = (first, first_uncertainty);
    for (index, (_, second, second_uncertainty)) in ways.enumerate() {
        let step = if index + 1 == more { String::new() } else { format!("mean-{}", index + 1) };
        (total, uncertainty) = geometry::weighted(&step, (&total, &uncertainty), (&second, &second_uncertainty));
    }
    if total.id() != Some("volume.total") {
        total = total.named("volume.total", "Volume", "V", VOLUME_UNIT);
        uncertainty = uncertainty.named("volume.uncertainty", "Its uncertainty", "u", &ONE);
    }
    let (low, high) = geometry::ends(&total, &uncertainty, &disagreeing);
    let low = low
        .remark(format!("Printed as {}: rounded down", super::rounding::volume(low.value(), desk.system, Way::Down).1));
    let high = high
        .remark(format!("Printed as {}: rounded up", super::rounding::volume(high.value(), desk.system, Way::Up).1));
    for part in &parts {
        desk.book.publish(part.volume.clone());
    }
    let total = desk.book.publish(total);
    let low = desk.book.publish(low);
    let high = desk.book.publish(high);
    Some(VolumePlan {
        total,
        uncertainty,
        low,
        high,
        parts,
        displaced,
        tape: tape.filter(|_| !methods.is_empty()).map(|t| desk.book.publish(t)),
        methods: methods.into_iter().map(|(name, volume, _)| (name, volume)).collect(),
    })
}

/// What the line of the flow is called.
const BARS: [&str; 3] = ["flow.bars", "Flow past the bars", "Q"];

/// Flow past the bars and how long the pond takes to pass them.
pub fn flow(desk: &mut Desk<'_>, volume: &VolumePlan) -> Option<(Figure<VolumeRate>, Figure<Time>)> {
    let Some(told) = desk.site.flow.clone() else {
        desk.miss(Missing::new("flow past the bars", "a bucket and a stopwatch at the outlet past the bars"));
        return None;
    };
    let [id, title, symbol] = BARS;
    let flow = match told {
        FlowTest::Bucket { volume, time } => {
            let caught = stated(desk, &volume, "V_b", "volume caught", &crate::units::table::LITRE);
            let seconds = stated(desk, &time, "t_b", "time it took", &crate::units::table::SECOND);
            crate::water::flow::bucket(BARS, &caught, &seconds)
        }
        FlowTest::Notch { head } => {
            crate::water::flow::notch(BARS, &stated(desk, &head, "H", "head over the notch", &METRE))
        }
        FlowTest::Stated(flow) => stated(desk, &flow, "Q", "flow past the bars", &LITRES_PER_SECOND).named(
            id,
            title,
            symbol,
            &LITRES_PER_SECOND,
        ),
    };
    if flow.si() <= 0.0 {
        desk.miss(Missing::new("flow past the bars", "a bucket and a stopwatch at the outlet past the bars"));
        return None;
    }
    let flow = desk.book.publish(flow);
    let turnover = desk.book.publish(crate::water::flow::turnover(&volume.total, &flow));
    Some((flow, turnover))
}
