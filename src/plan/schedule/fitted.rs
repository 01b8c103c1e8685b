//! What the copper tests of the log tell of release and loss, by least squares: stretches of the log in which the panel's level
//! is known, put to the kernel ([`released`]).

use std::rc::Rc;

use uom::si::f64::Frequency;

use super::release;
use crate::plan::correction::day;
use crate::plan::{Desk, VolumePlan, kinder, rounding};
use crate::reference::LOSS_PER_DEGREE;
use crate::site::{CareWhat, Visit};
use crate::units::table::{CELSIUS, COPPER, CUBIC_METRE, DAYS, GRAMS_PER_DAY, ONE, PER_DAY, PERCENT};
use crate::units::{MassConcentration, Ratio, Si, ThermodynamicTemperature, Time};
use crate::water::copper;
use crate::water::released::{
    self, At, Day, EFFICIENCIES, Fit, LOSSES, Modelled, NINE_IN_TEN, PLACES, Stretch, Test, Told,
};
use crate::workings::{Figure, Node, Way, maximum, minimum, sum};

/// Standard deviation of a laboratory's copper, as a share and at least, kg/m³ (common practice).
pub(super) const LABORATORY: (f64, f64) = (0.1, 2e-6);
/// What the model cannot know of copper in a pond, as a share of a reading: mixing, mud, the hour (common practice).
const UNKNOWN: f64 = 0.15;

/// What the log tells.
#[derive(Clone, Debug)]
pub struct CopperTold {
    /// Loss at 20 °C: low end, best value and high end of nine in ten.
    pub loss: [Figure<Frequency>; 3],
    /// The same of what the bars release over Faraday's law; none where the log cannot tell it from the loss.
    pub efficiency: Option<[Figure<Ratio>; 3]>,
    /// Tests that it rests on.
    pub tests: usize,
}

/// The squares of the tests that are not written out.
fn other_squares(rest: f64, tag: &str) -> Figure<Ratio> {
    Figure::stated(Ratio::from_si(rest), &format!("S_rest{tag}"), "squares of the other tests", &ONE, DAILY)
}

/// What a test may be off, kg/m³: a kit's step, or a laboratory's share where the reading is finer than the kit; and what nobody
/// knows of the pond.
fn doubt(desk: &Desk<'_>, read: f64) -> f64 {
    let step = kinder::kit(desk, "total copper").and_then(|kit| kit.step).filter(|step| *step > 0.0);
    let by_kit = step.filter(|step| (read / step - libm::round(read / step)).abs() < 1e-6);
    let own = by_kit.map_or_else(|| (LABORATORY.0 * read).max(LABORATORY.1), |step| step / libm::sqrt(12.0));
    libm::sqrt(own * own + UNKNOWN * UNKNOWN * read * read)
}

/// Copper released a day at a level, kg.
fn freed(desk: &Desk<'_>, level: u32) -> Option<f64> {
    if level == 0 {
        return Some(0.0);
    }
    Some(GRAMS_PER_DAY.of(release(desk, level)?.si()) / 1000.0)
}

/// A test of a stretch as the log has it.
#[derive(Clone, Copy)]
struct Tested<'a> {
    visit: &'a Visit,
    /// The panel's level since the visit before.
    level: u32,
    /// The pond's warmth on the last day before the test, between those of the two visits, °C.
    celsius: f64,
}

/// The stretches of the log, with their tests: from a copper test on, as long as each visit found the panel as the one before left
/// it.
fn stretches<'a>(desk: &Desk<'a>) -> Vec<(Stretch, Vec<Tested<'a>>)> {
    let mut out: Vec<(Stretch, Vec<Tested<'a>>)> = Vec::new();
    let mut open: Option<(Stretch, Vec<Tested<'a>>)> = None;
    for pair in desk.site.visits.windows(2) {
        let [before, now] = pair else { continue };
        if open.is_none() {
            open = before
                .pond
                .total_copper
                .as_ref()
                .filter(|c| !c.less_than)
                .map(|c| (Stretch { start: c.value.si(), days: Vec::new(), tests: Vec::new() }, Vec::new()));
        }
        let level = before.left();
        let same = level.is_some() && now.level_set.as_ref().map(|l| l.value) == level;
        let temperature = |v: &Visit| v.pond.temperature.as_ref().map(|t| CELSIUS.of(t.value.si()));
        let known = level
            .filter(|_| same)
            .and_then(|level| Some((level, freed(desk, level)?)))
            .zip(temperature(before).zip(temperature(now)));
        let (Some((stretch, tested)), Some(((level, released), (cool, warm)))) = (open.as_mut(), known) else {
            out.extend(open.take());
            continue;
        };
        let days = (now.date - before.date).num_days().max(0);
        let mut last = warm;
        for index in 0..days {
            let celsius = cool + (warm - cool) * (index as f64 + 0.5) / days as f64;
            last = celsius;
            let date = day(before.date, index.unsigned_abs());
            let changed: f64 = desk
                .site
                .year
                .care
                .iter()
                .filter(|told| told.on(date))
                .map(|told| match told.what {
                    CareWhat::ChangeShare(share) => share.si(),
                    _ => 0.0,
                })
                .sum();
            let growth = libm::pow(LOSS_PER_DEGREE, celsius - 20.0);
            stretch.days.push(Day { released, growth, kept: (1.0 - changed).clamp(0.0, 1.0) });
        }
        if let Some(copper) = &now.pond.total_copper {
            let read = copper.value.si();
            stretch.tests.push(Test {
                after: stretch.days.len(),
                read,
                less_than: copper.less_than,
                doubt: doubt(desk, read),
            });
            tested.push(Tested { visit: now, level, celsius: last });
        }
    }
    out.extend(open);
    out.retain(|(stretch, _)| !stretch.tests.is_empty());
    out
}

/// Every copper test with its place in the log, and the volume: what the fit rests on.
fn inputs(desk: &Desk<'_>, volume: &VolumePlan) -> Vec<Rc<Node>> {
    let tests = desk.site.visits.iter().filter_map(|visit| {
        let copper = visit.pond.total_copper.as_ref()?;
        let leaf = kinder::leaf(desk, copper, &format!("C_log{}", visit.line), "total copper", &COPPER);
        Some(Rc::clone(leaf.node()))
    });
    let number = |value: f64, symbol: &str, title: &str, unit| -> Rc<Node> {
        let leaf: Figure<Ratio> = Figure::stated(Ratio::from_si(value), symbol, title, unit, "common practice");
        Rc::clone(leaf.node())
    };
    tests
        .chain([
            Rc::clone(volume.total.node()),
            number(UNKNOWN, "u_pond", "what nobody knows of copper in a pond, over a reading", &PERCENT),
            number(LABORATORY.0, "u_lab", "a laboratory's doubt, over a reading", &PERCENT),
        ])
        .collect()
}

/// The daily solution of a fit: where a number comes from that no line works out.
const DAILY: &str = "the daily solution between the visits";
/// Most tests that are written out one by one in a sum.
const WRITTEN_OUT: usize = 60;

/// The tests of a fit, to be written out.
struct Tests<'t, 'a> {
    desk: &'t Desk<'a>,
    logged: &'t [(Stretch, Vec<Tested<'a>>)],
}

impl<'a> Tests<'_, 'a> {
    fn tested(&self, row: &Modelled) -> Option<Tested<'a>> {
        self.logged.get(row.place.0)?.1.get(row.place.1).copied()
    }

    /// How far the model is from a test at a loss, in standard deviations. `copper`: the model's value.
    fn off(&self, row: &Modelled, copper: &Figure<MassConcentration>) -> Option<Figure<Ratio>> {
        let visit = self.tested(row)?.visit;
        let line = visit.line;
        let read = kinder::leaf(
            self.desk,
            visit.pond.total_copper.as_ref()?,
            &format!("C_log{line}"),
            "total copper",
            &COPPER,
        );
        let doubt = Figure::stated(
            MassConcentration::from_si(row.test.doubt),
            &format!("u_log{line}"),
            "doubt of a copper test",
            &COPPER,
            "the kit's step or the laboratory's doubt, with what nobody knows of the pond",
        );
        Some((copper - &read) / doubt)
    }

    /// The model's value of a test, as a number.
    fn copper(&self, row: &Modelled, tag: &str) -> Option<Figure<MassConcentration>> {
        let line = self.tested(row)?.visit.line;
        let what = format!("copper by the model on the day of the test{}", end_words(tag));
        let symbol = format!("C_mod{line}{tag}");
        Some(Figure::stated(MassConcentration::from_si(row.copper), &symbol, &what, &COPPER, DAILY))
    }

    /// Those that count, in the order of the log.
    fn counting<'r>(&self, at: &'r At) -> impl Iterator<Item = &'r Modelled> {
        at.rows.iter().filter(|row| row.off().is_some())
    }

    /// How fast the deviation of a test grows with the loss, as a number.
    fn slope(&self, row: &Modelled, tag: &str) -> Option<Figure<Time>> {
        let line = self.tested(row)?.visit.line;
        let what = format!("growth of that deviation with the loss{}", end_words(tag));
        let slope = Time::from_si(DAYS.si(row.slope / row.test.doubt));
        Some(Figure::stated(slope, &format!("e'_log{line}{tag}"), &what, &DAYS, DAILY))
    }

    /// The sum of squares. `copper` gives each model's value; terms beyond what is written out stand as one number.
    fn squares(
        &self,
        at: &At,
        tag: &str,
        copper: impl Fn(&Modelled) -> Option<Figure<MassConcentration>>,
    ) -> Figure<Ratio> {
        let mut terms: Vec<Figure<Ratio>> = self
            .counting(at)
            .take(WRITTEN_OUT)
            .filter_map(|row| self.off(row, &copper(row)?))
            .map(|off| &off * &off)
            .collect();
        let rest: f64 = self.counting(at).skip(WRITTEN_OUT).filter_map(Modelled::off).map(|off| off * off).sum();
        if self.counting(at).nth(WRITTEN_OUT).is_some() {
            terms.push(other_squares(rest, tag));
        }
        sum(&terms)
    }

    /// What is left of `Σ e · e' = 0` at a loss, as a share of it: how far one more step of the search would go.
    fn level(&self, at: &At, loss: &Figure<Frequency>) -> Figure<Ratio> {
        let near = place(at, "");
        let mut over: Vec<Figure<Time>> = Vec::new();
        let (mut rest, mut bend) = (0.0, 0.0);
        for (index, row) in self.counting(at).enumerate() {
            let slope = row.slope / row.test.doubt;
            bend += slope * slope;
            let written =
                if index < WRITTEN_OUT { self.copper(row, "").and_then(|copper| self.off(row, &copper)) } else { None };
            match written.zip(self.slope(row, "")) {
                Some((off, slope)) => over.push((off * slope).meaning()),
                None => rest += row.off().unwrap_or(0.0) * slope,
            }
        }
        if rest != 0.0 {
            over.push(Figure::stated(
                Time::from_si(DAYS.si(rest)),
                "G_rest",
                "the same of the other tests",
                &DAYS,
                DAILY,
            ));
        }
        let bend: Figure<Ratio> = Figure::stated(
            Ratio::from_si(bend * DAYS.size * DAYS.size),
            "B",
            "sum of the squares of e', s²",
            &ONE,
            DAILY,
        );
        // Seconds over seconds squared: by the bare numbers, as the loss itself.
        let step: Figure<Frequency> = (sum(&over).meaning::<Ratio>() / bend).meaning();
        ((loss - &near + step) / loss).meaning()
    }

    /// What is left of `S(k) = limit` at an end of the range, as a share of it.
    fn end(&self, at: &At, tag: &str, loss: &Figure<Frequency>, limit: &Figure<Ratio>) -> Figure<Ratio> {
        let moved: Figure<Frequency> = loss - &place(at, tag);
        let mut terms: Vec<Figure<Ratio>> = Vec::new();
        let mut rest = 0.0;
        for (index, row) in self.counting(at).enumerate() {
            let written = if index < WRITTEN_OUT {
                self.copper(row, tag).and_then(|copper| self.off(row, &copper))
            } else {
                None
            };
            match written.zip(self.slope(row, tag)) {
                Some((off, slope)) => {
                    let off = off + (slope * &moved).meaning::<Ratio>();
                    terms.push(&off * &off);
                }
                None => rest += row.off().map_or(0.0, |off| off * off),
            }
        }
        if rest != 0.0 {
            terms.push(other_squares(rest, tag));
        }
        let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
        sum(&terms) / limit - one
    }

    /// How fast the deviation of a test grows with the efficiency, as a number.
    fn added(&self, row: &Modelled, tag: &str) -> Option<Figure<Ratio>> {
        let line = self.tested(row)?.visit.line;
        let what = format!("growth of that deviation with the efficiency{}", end_words(tag));
        let added = Ratio::from_si(row.added / row.test.doubt);
        Some(Figure::stated(added, &format!("a_log{line}{tag}"), &what, &ONE, DAILY))
    }

    /// A deviation and its growth with the efficiency for each test that counts.
    fn by_efficiency(&self, at: &At, tag: &str) -> Vec<(Figure<Ratio>, Figure<Ratio>)> {
        let pair = |row: &Modelled| Some((self.off(row, &self.copper(row, tag)?)?, self.added(row, tag)?));
        self.counting(at).filter_map(pair).collect()
    }

    /// What is left of `Σ e · a = 0` at the best efficiency, held between its bounds, as a share of it.
    fn level_efficiency(&self, at: &At, efficiency: &Figure<Ratio>) -> Figure<Ratio> {
        let pairs = self.by_efficiency(at, "");
        let over: Vec<Figure<Ratio>> = pairs.iter().map(|(off, added)| off * added).collect();
        let under: Vec<Figure<Ratio>> = pairs.iter().map(|(_, added)| added * added).collect();
        let step = efficiency_at(at, "") - sum(&over) / sum(&under);
        let bound = |value: f64, symbol: &str, title: &str| Figure::<Ratio>::counted(value, symbol, title, &ONE);
        let least = bound(EFFICIENCIES.0, "η_from", "least efficiency that is looked for");
        let most = bound(EFFICIENCIES.1, "η_to", "most efficiency that is looked for");
        let held = minimum(&[most, step.clone()]).and_then(|step| maximum(&[least, step])).unwrap_or(step);
        (efficiency - &held) / efficiency
    }

    /// What is left of `S(η) = limit` at an end of its range, as a share of it.
    fn end_efficiency(&self, at: &At, tag: &str, efficiency: &Figure<Ratio>, limit: f64) -> Figure<Ratio> {
        let moved = efficiency - &efficiency_at(at, tag);
        let square = |(off, added): &(Figure<Ratio>, Figure<Ratio>)| {
            let off = off + &(added * &moved);
            &off * &off
        };
        let squares: Vec<Figure<Ratio>> = self.by_efficiency(at, tag).iter().map(square).collect();
        let title = "squares at the ends of the range of the efficiency";
        let limit = Figure::stated(Ratio::from_si(limit), "S_lim,η", title, &ONE, DAILY);
        let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
        sum(&squares) / limit - one
    }

    /// The range of the efficiency, as lines.
    fn efficiencies(
        &self,
        fit: &Fit,
        told: Told,
        inputs: &[Rc<Node>],
        equation: &dyn Fn(&str) -> String,
    ) -> [Figure<Ratio>; 3] {
        let line = |value: f64,
                    (id, symbol, end): (&str, &str, &str),
                    words: &str,
                    left: &dyn Fn(&Figure<Ratio>) -> Figure<Ratio>| {
            let solved: Figure<Ratio> =
                Figure::solved(Ratio::from_si(value), &equation(words), inputs.to_vec(), fit.residual, fit.looked);
            let title = format!("Copper released over Faraday's law by the tests of the log, {end}");
            solved.closing(left).named(format!("copper.fit-efficiency{id}"), &title, symbol, &ONE)
        };
        let end = |value: f64, at: &Option<At>, tag: &str, names: (&str, &str, &str)| match at {
            Some(at) => line(value, names, "where it grows by 2.71 beside the least", &|efficiency| {
                self.end_efficiency(at, tag, efficiency, fit.efficiency_limit)
            }),
            // It cannot be beyond its bound.
            None => {
                let (id, symbol, words) = names;
                let bound: Figure<Ratio> =
                    Figure::counted(value, &format!("{symbol},bound"), "bound of what is looked for", &ONE);
                let title = format!("Copper released over Faraday's law by the tests of the log, {words}");
                bound
                    .named(format!("copper.fit-efficiency{id}"), &title, symbol, &ONE)
                    .remark("The sum has not risen to its limit there: the range ends where the search does")
            }
        };
        let [at_low, at_high] = &fit.efficiency_at;
        [
            end(told.low, at_low, ",η,low", ("-low", "η_low", "low end of nine in ten")),
            line(told.best, ("", "η", "best value"), "least", &|efficiency| {
                self.level_efficiency(&fit.at[1], efficiency)
            }),
            end(told.high, at_high, ",η,high", ("-high", "η_high", "high end")),
        ]
    }

    /// One day of the solution, to be keyed: the last before the test that followed the most copper from the bars, where no water
    /// was changed on it. With the place of that test among the rows.
    fn one_day(
        &self,
        at: &At,
        volume: &VolumePlan,
        (loss, efficiency): (&Figure<Frequency>, Option<&Figure<Ratio>>),
    ) -> Option<((usize, usize), Figure<MassConcentration>)> {
        let day = |row: &Modelled| {
            let stretch = &self.logged.get(row.place.0)?.0;
            stretch.days.get(row.test.after.checked_sub(1)?)
        };
        let running = |row: &&Modelled| day(row).is_some_and(|day| day.released > 0.0 && day.kept == 1.0);
        let row = self.counting(at).filter(running).max_by(|a, b| a.added.total_cmp(&b.added))?;
        let Tested { visit, level, celsius } = self.tested(row)?;
        let line = visit.line;
        let warmth = Figure::stated(
            ThermodynamicTemperature::from_si(CELSIUS.si(celsius)),
            &format!("θ_{line}"),
            "the pond's warmth on the day before the test, between those of two visits",
            &CELSIUS,
            "the log",
        );
        let title = format!("Loss of copper on the day before the test of log line {line}");
        let rate = (loss * &copper::growth(&warmth)).named("copper.fit-day-loss", &title, "k_day", &PER_DAY);
        let before = Figure::stated(
            MassConcentration::from_si(row.before),
            &format!("C_eve{line}"),
            "copper by the model on the evening before",
            &COPPER,
            DAILY,
        );
        let mut released = release(self.desk, level)?;
        if let Some(efficiency) = efficiency {
            released = (released * efficiency).meaning();
        }
        let one: Figure<Time> = Figure::counted(1.0, "1 day", "one day", &DAYS);
        let title = "Copper at which release and loss balance on that day";
        let rest = copper::resting("copper.fit-day-rest", title, &released, &volume.total, &rate, &COPPER);
        let title = format!(
            "Copper by the model on the day of the test of log line {line}: one day of the solution, to be keyed"
        );
        let found = copper::after(&before, &rest, &rate, &one).named("copper.fit-day", &title, "C_day", &COPPER);
        Some((row.place, found))
    }
}

/// Behind a title: at which end of the range.
fn end_words(tag: &str) -> &'static str {
    match tag {
        ",low" => ", at the low end of the loss",
        ",high" => ", at the high end of the loss",
        ",η,low" => ", at the low end of the efficiency",
        ",η,high" => ", at the high end of the efficiency",
        _ => "",
    }
}

/// The loss at which the model was put beside the tests, as a number.
fn place(at: &At, tag: &str) -> Figure<Frequency> {
    let title = format!("loss at which the model stands beside the tests{}", end_words(tag));
    Figure::stated(Frequency::from_si(PER_DAY.si(at.loss)), &format!("k_0{tag}"), &title, &PER_DAY, DAILY)
}

/// The efficiency at which the model was put beside the tests, as a number.
fn efficiency_at(at: &At, tag: &str) -> Figure<Ratio> {
    let title = format!("efficiency with which the model stands beside the tests{}", end_words(tag));
    Figure::stated(Ratio::from_si(at.efficiency), &format!("η_0{tag}"), &title, &ONE, DAILY)
}

/// Fits loss and efficiency to the log; `None` where it cannot tell the loss.
pub(super) fn told(desk: &mut Desk<'_>, volume: &VolumePlan) -> Option<CopperTold> {
    let logged = stretches(desk);
    let stretches: Vec<Stretch> = logged.iter().map(|(stretch, _)| stretch.clone()).collect();
    let cubic = CUBIC_METRE.of(volume.total.si());
    let fit = released::fit(&stretches, cubic)?;
    let Fit { loss, misfit, residual, tests, looked, .. } = fit;
    let inputs = inputs(desk, volume);
    let reference = rounding::warmth(20.0, desk.system);
    let off = crate::units::plain(misfit, crate::units::Digits::Significant(2));
    let over = if fit.efficiency.is_some() { "k and η" } else { "k, with η = 1" };
    let equation = |what: &str| {
        format!(
            "{what} of Σ ((C_model − C_log) / u)² over {over}; dC/dt = η w / V − k 1.05^(T − 20 °C) C between visits at one level; \
             u: the kit's step or the laboratory's doubt, with what nobody knows of the pond"
        )
    };
    let written = Tests { desk: &*desk, logged: &logged };
    let [at_low, at_best, at_high] = &fit.at;
    let line = |value: f64,
                (which, symbol, end, equation): (&str, &str, &str, String),
                left: &dyn Fn(&Figure<Frequency>) -> Figure<Ratio>| {
        let solved: Figure<Frequency> =
            Figure::solved(Frequency::from_si(PER_DAY.si(value)), &equation, inputs.clone(), residual, looked);
        let title = format!("Loss of copper at {reference} by the tests of the log, {end}");
        solved.closing(|value| left(&value.meaning())).named(format!("copper.fit-{which}"), &title, symbol, &PER_DAY)
    };
    let best = line(loss.best, ("loss", "k_fit", "best value", equation("least")), &|k| written.level(at_best, k)).remark(format!(
        "{tests} tests count; they lie {off} standard deviations off the model, root of the mean square. At the least, \
         Σ e · e' = 0, with e = (C_model − C_log) / u and e' its growth with the loss"
    ));
    let efficiency = fit.efficiency.map(|told| written.efficiencies(&fit, told, &inputs, &equation));
    let day = written.one_day(at_best, volume, (&best, efficiency.as_ref().map(|[_, best, _]| best)));
    let all = written.squares(at_best, "", |row| match &day {
        Some((place, found)) if *place == row.place => Some(found.clone()),
        _ => written.copper(row, ""),
    });
    let all = all.named(
        "copper.fit-sum",
        "Squares of the copper tests' deviations from the model, at the best loss",
        "S_fit",
        &ONE,
    );
    let free: Figure<Ratio> = Figure::counted(
        tests.saturating_sub(fit.numbers).max(1) as f64,
        "n_free",
        "tests less the numbers that are fitted",
        &ONE,
    );
    let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
    let growth: Figure<Ratio> = Figure::counted(NINE_IN_TEN, "2.706", "nine-in-ten", &ONE);
    let wider = maximum(&[one, &all / &free])?;
    let limit = (&all + &(growth * wider)).named(
        "copper.fit-limit",
        "Squares at the ends of the range of the loss that holds nine in ten",
        "S_lim",
        &ONE,
    );
    let words = ("where it grows by 2.71 below the least", "where it grows by 2.71 above the least");
    let low = line(at_low.loss, ("end-low", "k_end,low", "low end of nine in ten", equation(words.0)), &|k| {
        written.end(at_low, ",low", k, &limit)
    });
    let high = line(at_high.loss, ("end-high", "k_end,high", "high end of nine in ten", equation(words.1)), &|k| {
        written.end(at_high, ",high", k, &limit)
    });
    let found = [
        outward(&low, Way::Down, ("-low", &format!("Loss of copper at {reference} by the tests of the log, low end"))),
        best,
        outward(&high, Way::Up, ("-high", &format!("Loss of copper at {reference} by the tests of the log, high end"))),
    ];
    for line in [all, limit] {
        desk.book.publish(line);
    }
    let efficiency = efficiency.map(|lines| lines.map(|line| desk.book.publish(line)));
    Some(CopperTold { loss: found.map(|figure| desk.book.publish(figure)), efficiency, tests })
}

/// An end of the range taken outward to a place of the grid that the search went by, which makes the range the wider.
fn outward(end: &Figure<Frequency>, way: Way, (which, title): (&str, &str)) -> Figure<Frequency> {
    let bound = |value: f64, symbol: &str, title: &str| -> Figure<Frequency> {
        Figure::counted(value, symbol, title, &PER_DAY)
    };
    let least = bound(LOSSES.0, "k_from", "least loss that is looked for");
    let most = bound(LOSSES.1, "k_to", "most loss that is looked for");
    let places: Figure<Ratio> =
        Figure::counted(f64::from(PLACES), "n_grid", "places between them, equal in its logarithm", &ONE);
    let span: Figure<Ratio> = (most / &least).meaning();
    let up: Figure<Ratio> = (end / &least).meaning();
    let place = (up.ln() / span.ln() * &places).rounded(way, 1.0, &ONE);
    let symbol = format!("k_fit,{}", which.trim_start_matches('-'));
    let taken: Figure<Frequency> = least * span.power(&(place / places));
    taken.named(
        format!("copper.fit-loss{which}"),
        &format!("{title}, outward to the next place looked at"),
        &symbol,
        &PER_DAY,
    )
}
