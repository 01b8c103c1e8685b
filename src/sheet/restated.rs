//! Equations of solved values that a spreadsheet can follow: written out once more, in steps.
//!
//! Each is worked here too, on bare numbers, and taken only where it gives the value that was found: an equation whose
//! words were changed, or whose inputs do not say all that went in, is left as it is.

use std::rc::Rc;

use crate::units::table::MEGAJOULES;
use crate::workings::{Expr, Node};

/// Relative to the value that was found.
const NEAR: f64 = 1e-9;

/// An equation written out.
#[derive(Debug)]
pub(super) struct Restated {
    /// On the way to the result.
    pub(super) steps: Vec<Step>,
    /// The result in SI, as a formula.
    pub(super) formula: String,
}

/// A step with a cell of its own.
#[derive(Debug)]
pub(super) struct Step {
    pub(super) name: String,
    pub(super) title: &'static str,
    pub(super) formula: String,
    pub(super) value: f64,
}

/// What an equation is written from: its inputs with the names of their cells, and names for its steps.
struct Page<'p> {
    inputs: &'p [Rc<Node>],
    called: &'p [String],
    give: &'p mut dyn FnMut(&str) -> String,
    steps: Vec<Step>,
}

impl Page<'_> {
    /// The input whose symbol begins so: its cell and its value in SI.
    fn input(&self, symbol: &str) -> Option<Part> {
        let at = self.inputs.iter().position(|node| {
            let Expr::Leaf { symbol: own, .. } = &node.expr else { return false };
            own.strip_prefix(symbol).is_some_and(|rest| rest.is_empty() || rest.starts_with(['_', ',']))
        })?;
        Some(Part { text: self.called.get(at)?.clone(), value: self.inputs.get(at)?.si })
    }

    /// The same as megajoules a square metre and day.
    fn sunlight(&self, symbol: &str) -> Option<Part> {
        let Part { text, value } = self.input(symbol)?;
        Some(Part { text: format!("{text}*86400/1000000"), value: value / MEGAJOULES.size })
    }

    fn step(&mut self, key: &str, title: &'static str, formula: String, value: f64) -> Part {
        let name = (self.give)(key);
        self.steps.push(Step { name: name.clone(), title, formula, value });
        Part { text: name, value }
    }
}

/// A cell, or a piece of a formula, with its value.
struct Part {
    text: String,
    value: f64,
}

/// The equation written out, where it gives what was found. `called`: the names of the inputs; `give` makes one for a step.
pub(super) fn restate(
    equation: &str,
    inputs: &[Rc<Node>],
    called: &[String],
    found: f64,
    give: &mut dyn FnMut(&str) -> String,
) -> Option<Restated> {
    let mut page = Page { inputs, called, give, steps: Vec::new() };
    let result = if equation.ends_with("FAO-56 eq. 6") {
        penman_monteith(&mut page)
    } else if equation.ends_with("FAO-56 eq. 52") {
        hargreaves(&mut page)
    } else if equation.starts_with("misfit = √(Σ (modelled − read)² / n)") {
        misfit(&page)
    } else {
        None
    }?;
    let near = (result.value - found).abs() <= NEAR * found.abs();
    near.then_some(Restated { steps: page.steps, formula: result.text })
}

/// FAO-56 saturation vapour pressure at a temperature in °C, kPa (eq. 11).
fn saturation(celsius: &Part) -> Part {
    let text = &celsius.text;
    Part {
        text: format!("0.6108*EXP(17.27*{text}/({text}+237.3))"),
        value: 0.6108 * libm::exp(17.27 * celsius.value / (celsius.value + 237.3)),
    }
}

/// mm a day in SI.
fn depth(page: &mut Page<'_>, title: &'static str, formula: String, value: f64) -> Part {
    let day = page.step("mm", title, format!("MAX(0,{formula})"), value.max(0.0));
    Part { text: format!("{}/1000/86400", day.text), value: day.value / 1000.0 / 86_400.0 }
}

/// Reference evapotranspiration by FAO-56 Penman-Monteith for a month's mean day.
fn penman_monteith(page: &mut Page<'_>) -> Option<Part> {
    let (warmest, coldest) = (page.input("T_max")?, page.input("T_min")?);
    let (vapour, wind, pressure) = (page.input("e_a")?, page.input("u")?, page.input("P")?);
    let (sun, above, ground) = (page.sunlight("R_s")?, page.sunlight("R_a")?, page.sunlight("G")?);
    let mean = page.step(
        "mean",
        "mean temperature, °C (eq. 9)",
        format!("({}+{})/2", warmest.text, coldest.text),
        (warmest.value + coldest.value) / 2.0,
    );
    let at_mean = saturation(&mean);
    let kelvin = mean.value + 237.3;
    let slope = page.step(
        "slope",
        "slope of the saturation curve Δ, kPa/°C (eq. 13)",
        format!("4098*{}/POWER({}+237.3,2)", at_mean.text, mean.text),
        4098.0 * at_mean.value / (kelvin * kelvin),
    );
    let constant = page.step(
        "gamma",
        "psychrometric constant γ, kPa/°C (eq. 8)",
        format!("0.000665*{}", pressure.text),
        0.665e-3 * pressure.value,
    );
    let (high, low) = (saturation(&warmest), saturation(&coldest));
    let saturated = page.step(
        "e_s",
        "saturation vapour pressure e_s, kPa (eq. 12)",
        format!("({}+{})/2", high.text, low.text),
        (high.value + low.value) / 2.0,
    );
    let altitude = page.step(
        "altitude",
        "altitude that goes with the pressure, m (eq. 7)",
        format!("(1-POWER({}/101.3,1/5.26))*293/0.0065", pressure.text),
        (1.0 - libm::pow(pressure.value / 101.3, 1.0 / 5.26)) * 293.0 / 0.0065,
    );
    let clear = page.step(
        "clear",
        "sunlight under a clear sky, MJ/m² a day (eq. 37)",
        format!("(0.75+0.00002*{})*{}", altitude.text, above.text),
        (0.75 + 2e-5 * altitude.value) * above.value,
    );
    let share = if clear.value > 0.0 { (sun.value / clear.value).clamp(0.3, 1.0) } else { 0.5 };
    let share = page.step(
        "clearness",
        "share of a clear sky's sunlight",
        format!("IF({0}>0,MIN(1,MAX(0.3,{1}/{0})),0.5)", clear.text, sun.text),
        share,
    );
    let fourth = |celsius: &Part| Part {
        text: format!("POWER({}+273.16,4)", celsius.text),
        value: libm::pow(celsius.value + 273.16, 4.0),
    };
    let (high, low) = (fourth(&warmest), fourth(&coldest));
    let radiated = page.step(
        "radiated",
        "heat radiated away, MJ/m² a day (eq. 39)",
        format!(
            "0.000000004903*({}+{})/2*(0.34-0.14*SQRT({}))*(1.35*{}-0.35)",
            high.text, low.text, vapour.text, share.text
        ),
        4.903e-9 * (high.value + low.value) / 2.0
            * (0.34 - 0.14 * libm::sqrt(vapour.value))
            * (1.35 * share.value - 0.35),
    );
    let net = page.step(
        "net",
        "heat the surface keeps R_n, MJ/m² a day (eq. 38 and 40)",
        format!("(1-0.23)*{}-{}", sun.text, radiated.text),
        (1.0 - 0.23) * sun.value - radiated.value,
    );
    let text = format!(
        "(0.408*{slope}*({net}-{ground})+{constant}*900/({mean}+273)*{wind}*({saturated}-{vapour}))/({slope}+{constant}*(1+0.34*{wind}))",
        slope = slope.text,
        net = net.text,
        ground = ground.text,
        constant = constant.text,
        mean = mean.text,
        wind = wind.text,
        saturated = saturated.text,
        vapour = vapour.text,
    );
    let heat = 0.408 * slope.value * (net.value - ground.value);
    let air = constant.value * 900.0 / (mean.value + 273.0) * wind.value * (saturated.value - vapour.value);
    let value = (heat + air) / (slope.value + constant.value * (1.0 + 0.34 * wind.value));
    Some(depth(page, "reference evapotranspiration, mm a day (eq. 6)", text, value))
}

/// Reference evapotranspiration from temperatures alone.
fn hargreaves(page: &mut Page<'_>) -> Option<Part> {
    let (warmest, coldest) = (page.input("T_max")?, page.input("T_min")?);
    let above = page.sunlight("R_a")?;
    let (high, low) = (&warmest.text, &coldest.text);
    let text = format!("0.0023*(({high}+{low})/2+17.8)*SQRT(MAX(0,{high}-{low}))*0.408*{}", above.text);
    let range = (warmest.value - coldest.value).max(0.0);
    let mean = (warmest.value + coldest.value) / 2.0;
    let value = 0.0023 * (mean + 17.8) * libm::sqrt(range) * 0.408 * above.value;
    Some(depth(page, "reference evapotranspiration, mm a day (eq. 52)", text, value))
}

/// The root of the mean square of differences; readings and modelled values stand in turn.
fn misfit(page: &Page<'_>) -> Option<Part> {
    let pairs = page.inputs.as_chunks::<2>().0;
    let names = page.called.as_chunks::<2>().0;
    if pairs.is_empty() || pairs.len() * 2 != page.inputs.len() {
        return None;
    }
    let squares: f64 = pairs.iter().map(|[read, modelled]| (modelled.si - read.si) * (modelled.si - read.si)).sum();
    let terms: Vec<String> = names.iter().map(|[read, modelled]| format!("POWER({modelled}-{read},2)")).collect();
    let count = pairs.len();
    Some(Part { text: format!("SQRT(SUM({})/{count})", terms.join(",")), value: libm::sqrt(squares / count as f64) })
}
