//! Readings as figures, and the kinder end of a reading at the edge of its kit's step (Decisions).

use super::{Assumption, Desk};
use crate::site::{Kit, Reading};
use crate::units::table::{AMMONIA_N, CALCIUM_MG, CELSIUS, DEGREE_KH};
use crate::units::{AmmoniaNitrogen, Calcium, CarbonateHardness, Si, ThermodynamicTemperature, Unit};
use crate::workings::Figure;

/// A reading as a leaf.
pub fn leaf<Q: Si>(desk: &Desk<'_>, reading: &Reading<Q>, symbol: &str, title: &str, unit: &'static Unit) -> Figure<Q> {
    Figure::stated(reading.value, symbol, title, unit, &desk.place(reading.span))
}

/// A temperature as a leaf.
pub fn temperature(desk: &Desk<'_>, reading: &Reading<ThermodynamicTemperature>) -> Figure<ThermodynamicTemperature> {
    leaf(desk, reading, "θ", "water temperature", &CELSIUS)
}

/// The kit that makes a reading.
pub fn kit<'a>(desk: &Desk<'a>, reading: &str) -> Option<&'a Kit> {
    desk.site.kits.iter().find(|k| k.reading == reading)
}

/// Carbonate hardness: the reading, and the lowest value it may stand for.
pub struct Hardness {
    /// As read.
    pub read: Figure<CarbonateHardness>,
    /// Least it may be.
    pub low: Figure<CarbonateHardness>,
    /// Most it may be.
    pub high: Figure<CarbonateHardness>,
}

/// The carbonate hardness of a water with the range its kit leaves open. Drop counts: from one step below to the
/// reading; other kits: half a step either way. Without a kit in the site file a drop count of 1 °dKH is assumed.
pub fn hardness(desk: &mut Desk<'_>, reading: &Reading<CarbonateHardness>, id: &str, whose: &str) -> Hardness {
    let read = leaf(desk, reading, "K", &format!("carbonate hardness of the {whose}, as read"), &DEGREE_KH);
    let known = kit(desk, "carbonate hardness").and_then(|k| k.step.map(|s| (s, k.drops, desk.place(k.span))));
    let (step, drops, place) = known.unwrap_or_else(|| {
        desk.assume(Assumption::new(
            "Step of the carbonate-hardness kit",
            "1\u{a0}°dKH, drop count",
            "the kit's own step, in the site file",
            "common practice",
        ));
        (DEGREE_KH.size, true, "assumed, common practice".to_owned())
    });
    let kit_step: Figure<CarbonateHardness> =
        Figure::stated(CarbonateHardness::from_si(step), "s_K", "step of the kit", &DEGREE_KH, &place);
    let low_title = format!("Lowest carbonate hardness the reading of the {whose} allows");
    if reading.less_than {
        // "Less than" may be none at all: what protects must not be counted.
        let zero: Figure<CarbonateHardness> = Figure::counted(0.0, "0", "less than the kit can see", &DEGREE_KH);
        let low = zero.named(format!("{id}.low"), &low_title, "K_low", &DEGREE_KH);
        return Hardness { high: read.clone(), read, low };
    }
    if drops {
        let low = floor_at_zero(&read - &kit_step, &low_title, &format!("{id}.low"));
        let high = read.clone();
        Hardness { read, low, high }
    } else {
        let half: Figure<uom::si::f64::Ratio> = Figure::counted(0.5, "½", "half a step", &crate::units::table::ONE);
        let part = kit_step * half;
        let low = floor_at_zero(&read - &part, &low_title, &format!("{id}.low"));
        let high = (&read + &part).named(
            format!("{id}.high"),
            &format!("Highest carbonate hardness the reading of the {whose} allows"),
            "K_high",
            &DEGREE_KH,
        );
        Hardness { read, low, high }
    }
}

fn floor_at_zero(figure: Figure<CarbonateHardness>, title: &str, id: &str) -> Figure<CarbonateHardness> {
    if figure.si() < 0.0 {
        let zero: Figure<CarbonateHardness> = Figure::counted(0.0, "0", "zero", &DEGREE_KH);
        return crate::workings::maximum(&[zero.clone(), figure]).unwrap_or(zero).named(id, title, "K_low", &DEGREE_KH);
    }
    figure.named(id, title, "K_low", &DEGREE_KH)
}

/// The lowest value a reading of what protects may stand for: by the kit's step, zero for "less than"; as read where
/// no kit is named. `names` are the kit's reading, the line's id and its symbol.
pub fn lowest<Q>(
    desk: &Desk<'_>,
    reading: &Reading<Q>,
    read: &Figure<Q>,
    names: [&str; 3],
    unit: &'static Unit,
) -> Figure<Q>
where
    Q: Si + std::ops::Sub<Output = Q>,
{
    let [what, id, symbol] = names;
    let title = format!("Lowest {what} the reading allows");
    let zero = || -> Figure<Q> { Figure::counted(0.0, "0", "zero", unit) };
    if reading.less_than {
        return zero().named(id, &title, symbol, unit);
    }
    let known = kit(desk, what).and_then(|k| k.step.map(|s| (s, k.drops, desk.place(k.span))));
    let Some((step, drops, place)) = known else { return read.clone() };
    let (share, words) = if drops { (1.0, "step of the kit") } else { (0.5, "half a step of the kit") };
    let letter = symbol.split('_').next().unwrap_or(symbol);
    let step: Figure<Q> = Figure::stated(Q::from_si(step * share), &format!("s_{letter}"), words, unit, &place);
    let low = read - &step;
    if low.si() <= 0.0 { zero().named(id, &title, symbol, unit) } else { low.named(id, &title, symbol, unit) }
}

/// The most total ammonia that a reading may stand for: half a step of its kit above it; as read for drop counts and where no kit is
/// named.
pub fn highest_ammonia(desk: &Desk<'_>, read: &Figure<AmmoniaNitrogen>) -> Figure<AmmoniaNitrogen> {
    let known = kit(desk, "ammonia").filter(|k| !k.drops).and_then(|k| Some((k.step?, desk.place(k.span))));
    let Some((step, place)) = known else { return read.clone() };
    let half: Figure<AmmoniaNitrogen> =
        Figure::stated(AmmoniaNitrogen::from_si(0.5 * step), "s_N", "half a step of the kit", &AMMONIA_N, &place);
    (read + &half).named("ammonia.reading-high", "Most total ammonia the reading allows", "N_high", &AMMONIA_N)
}

/// The most calcium that a reading may stand for: half a step of its kit above it; as read for drop counts and where no kit is named.
pub fn highest_calcium(desk: &Desk<'_>, read: &Figure<Calcium>) -> Figure<Calcium> {
    let known = kit(desk, "calcium").filter(|k| !k.drops).and_then(|k| Some((k.step?, desk.place(k.span))));
    let Some((step, place)) = known else { return read.clone() };
    let half: Figure<Calcium> =
        Figure::stated(Calcium::from_si(0.5 * step), "s_Ca", "half a step of the kit", &CALCIUM_MG, &place);
    (read + &half).named("calcium.reading.high", "Most calcium the reading allows", "Ca_high", &CALCIUM_MG)
}
