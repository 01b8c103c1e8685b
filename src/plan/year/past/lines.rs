//! The lines of looking back: what was fitted, what went in, what is left, and where the log breaks.

use std::ops::{Div, Sub};
use std::rc::Rc;

use chrono::NaiveDate;

use super::{Break, FACTORS, Known, LEAST_HARDNESS, MOST_LOSS, Misfit, Number, key, own_surface, rate, seen, tongue};
use crate::plan::year::sun;
use crate::plan::{Desk, kinder};
use crate::site::{Reading, Visit};
use crate::units::table::{DAYS, DEGREE_KH, LITRES_PER_DAY, MILLIMETRE, ONE, SQUARE_METRE, Unit};
use crate::units::{
    Area, CarbonateHardness, Conductivity, Digits, MassConcentration, Ratio, Si, Time, Volume, VolumeRate, plain,
};
use crate::water::air::Near;
use crate::water::past::{
    CONTRADICTS, Doubts, Drops, End, Estimate, Falls, Guess, Mark, NINE_TENTHS, Of, Past, Told as Fit, Tracer,
};
use crate::workings::{Figure, Node, maximum, minimum, sum};

/// Makes the lines.
pub(super) struct Lines<'l, 'a> {
    pub(super) visits: &'l [(&'a Visit, &'a Reading<CarbonateHardness>)],
    pub(super) tracer: Tracer,
}

/// A reading's day in a symbol: `12Mar26`.
fn tag(date: NaiveDate) -> String {
    use chrono::Datelike as _;
    format!("{}{}{:02}", date.day(), sun::short(date.month0() as usize), date.year().rem_euclid(100))
}

/// Where a number comes from that the balance of the log's time found.
const DAILY: &str = "daily balance (weirbook forecast)";

/// The sums that end a range.
pub(super) struct Sums {
    limit: Figure<Ratio>,
}

/// A number of the fit's own, as a leaf.
fn bare(value: f64, symbol: &str, title: &str) -> Figure<Ratio> {
    Figure::stated(Ratio::from_si(value), symbol, title, &ONE, DAILY)
}

/// Modelled less read, over the reading's doubt. `numbers`: the model's value and the doubt, SI.
fn over_doubt<Q>(read: &Figure<Q>, numbers: (f64, f64), date: NaiveDate, unit: &'static Unit) -> Figure<Ratio>
where
    Q: Si + Sub<Q, Output = Q> + Div<Q, Output = Ratio>,
{
    let leaf = |value: f64, symbol: &str, title: &str| -> Figure<Q> {
        Figure::stated(Q::from_si(value), &format!("{symbol}{}", tag(date)), title, unit, DAILY)
    };
    (leaf(numbers.0, "m_fit,", "modelled in the fit") - read) / leaf(numbers.1, "σ_", "doubt of the reading")
}

const SQUARES: &str = "Σ ((modelled − read) / σ)² = least, over the readings of the tracer and the drops, modelled by the daily balance over the visits";

impl Lines<'_, '_> {
    fn read<Q: Si>(
        &self,
        desk: &Desk<'_>,
        reading: &Reading<Q>,
        letter: &str,
        what: &str,
        date: NaiveDate,
        unit: &'static Unit,
    ) -> Figure<Q> {
        kinder::leaf(desk, reading, &format!("{letter},{}", tag(date)), what, unit)
    }

    /// The reading of the tracer at a visit, as a leaf.
    fn traced(&self, desk: &Desk<'_>, visit: &Visit) -> Option<Rc<Node>> {
        let (unit, letter, _) = tongue(self.tracer);
        let letter = if letter.contains('_') { letter.to_owned() } else { format!("{letter}_read") };
        match self.tracer {
            Tracer::Chloride => {
                let read = seen(&visit.pond.chloride)?;
                Some(Rc::clone(self.read(desk, read, &letter, "chloride as read", visit.date, unit).node()))
            }
            Tracer::Conductivity => {
                let read = seen(&visit.pond.conductivity)?;
                Some(Rc::clone(self.read(desk, read, &letter, "conductivity as read", visit.date, unit).node()))
            }
        }
    }

    /// All that the fit went by.
    fn inputs(&self, desk: &Desk<'_>) -> Vec<Rc<Node>> {
        let mut inputs: Vec<_> = self.visits.iter().filter_map(|(visit, _)| self.traced(desk, visit)).collect();
        for (visit, _) in self.visits {
            let drops = [
                (&visit.drop_running, "d_on", "drop, pump on"),
                (&visit.drop_still, "d_off", "drop, pump off"),
                (&visit.drop_bucket, "d_bucket", "drop in the bucket"),
            ];
            for (reading, letter, what) in drops {
                if let Some(read) = seen(reading) {
                    inputs.push(Rc::clone(self.read(desk, read, letter, what, visit.date, &MILLIMETRE).node()));
                }
            }
        }
        inputs
    }

    /// How far the model is from a reading of the tracer in the fit, over its doubt. `off`: the same as the fit has it.
    fn deviation(&self, desk: &Desk<'_>, marks: &[Mark], at: usize, off: f64) -> Option<Figure<Ratio>> {
        let (visit, _) = self.visits.get(at)?;
        let (read, doubt) = marks.get(at)?.tracer?;
        let (unit, letter, size) = tongue(self.tracer);
        let words = match self.tracer {
            Tracer::Chloride => "chloride as read",
            Tracer::Conductivity => "conductivity as read",
        };
        let numbers = ((read + off * doubt) * size, doubt * size);
        match self.tracer {
            Tracer::Chloride => {
                let reading = seen(&visit.pond.chloride)?;
                Some(over_doubt(&self.read(desk, reading, letter, words, visit.date, unit), numbers, visit.date, unit))
            }
            Tracer::Conductivity => {
                let letter = format!("{letter}_read");
                let reading = seen(&visit.pond.conductivity)?;
                Some(over_doubt(&self.read(desk, reading, &letter, words, visit.date, unit), numbers, visit.date, unit))
            }
        }
    }

    /// The sum of squares at the least, and where it ends a range: both as lines.
    pub(super) fn sums(&self, desk: &mut Desk<'_>, marks: &[Mark], fit: &Fit) -> Sums {
        let mut terms: Vec<Figure<Ratio>> = Vec::new();
        let mut rest = [
            (0.0, "S_start", "squares of the starts' deviations"),
            (0.0, "S_other", "squares of the other terms: drops, rain, supply"),
        ];
        for (of, off) in &fit.closing.misfits {
            let written = match of {
                Of::Tracer(at) => self.deviation(desk, marks, *at, *off),
                Of::Start(_) | Of::Other => None,
            };
            match written {
                Some(off) => terms.push(&off * &off),
                None => rest[usize::from(!matches!(of, Of::Start(_)))].0 += off * off,
            }
        }
        terms.extend(rest.map(|(squares, symbol, title)| bare(squares, symbol, title)));
        let all = sum(&terms)
            .named("past.sum", "Squares of the log's deviations from the daily balance, at the least", "S_past", &ONE)
            .remark("The model's value of a visit comes from the daily balance since the start of its run");
        let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
        let spare: Figure<Ratio> =
            Figure::counted(fit.closing.spare as f64, "n_spare", "terms less the numbers that are fitted", &ONE);
        let growth: Figure<Ratio> = Figure::counted(NINE_TENTHS, "2.7055", "nine-in-ten", &ONE);
        let wider = &all / &spare;
        let wider = maximum(&[one, wider.clone()]).unwrap_or(wider);
        let title = "Squares at the ends of a range that holds nine of ten";
        let limit = (&all + &(growth * wider)).named("past.limit", title, "S_lim,past", &ONE);
        Sums { limit: desk.book.publish(limit) }
    }

    /// What is left of a number's equation at the least, as a share of all that it is looked for in: the number less what one more
    /// step would make of it, held between its bounds. `size`: one of the kernel's unit in SI.
    fn closes(
        &self,
        desk: &Desk<'_>,
        marks: &[Mark],
        fit: &Fit,
        (which, symbol, size, unit): (usize, &str, f64, &'static Unit),
        value: &Figure<Ratio>,
    ) -> Figure<Ratio> {
        let Some(number) = fit.closing.numbers.get(which).and_then(Option::as_ref) else {
            return bare(f64::NAN, "none", "no equation");
        };
        let bound = |at: f64, end: &str, words: &str| {
            Figure::<Ratio>::counted(
                unit.of(at * size),
                &format!("{symbol},{end}"),
                &format!("{words} that is looked for"),
                unit,
            )
        };
        let near = Figure::<Ratio>::stated(
            Ratio::from_si(number.at * size),
            &format!("{symbol},0"),
            "where the balance stands beside the log",
            unit,
            DAILY,
        );
        let (mut over, mut rest, mut bend) = (Vec::new(), 0.0, 0.0);
        for ((of, off), slope) in fit.closing.misfits.iter().zip(&number.slopes) {
            let slope = slope / size;
            bend += slope * slope;
            let written = match of {
                Of::Tracer(at) => self.deviation(desk, marks, *at, *off).zip(self.visits.get(*at)),
                Of::Start(_) | Of::Other => None,
            };
            match written {
                Some((off, (visit, _))) => {
                    let symbol = format!("e'_{},{}", symbol.replace('_', ""), tag(visit.date));
                    over.push(off * bare(slope, &symbol, "growth of a deviation with the number, SI"));
                }
                None => rest += off * slope,
            }
        }
        over.push(bare(
            rest,
            &format!("G_{}", symbol.replace('_', "")),
            "the same of starts, drops, rain and supply, SI",
        ));
        let bend = bare(bend, &format!("B_{}", symbol.replace('_', "")), "sum of the squares of that growth, SI");
        let step = near - sum(&over) / bend;
        let (least, most) = (bound(number.bounds.0, "least", "least"), bound(number.bounds.1, "most", "most"));
        let wide = &most - &least;
        if step.si() > least.si() && step.si() < most.si() {
            return (value - &step) / wide;
        }
        // Held at the bound that it would step over.
        let held = if step.si() <= least.si() { maximum(&[least, step]) } else { minimum(&[most, step]) };
        held.map_or_else(|| bare(f64::NAN, "none", "no equation"), |held| (value - &held) / wide)
    }

    /// One number with its range, published; `None` where the log did not tell it.
    fn number<Q: Si>(
        &self,
        desk: &mut Desk<'_>,
        (marks, fit, sums): (&[Mark], &Fit, &Sums),
        (which, estimate): (usize, &Estimate),
        (names, unit, size): ((&str, &str, &str), &'static Unit, f64),
        held: &str,
    ) -> Number<Q> {
        if !estimate.told {
            return Number::Untold;
        }
        let (id, title, symbol) = names;
        let value: Figure<Q> =
            Figure::solved(Q::from_si(estimate.at * size), SQUARES, self.inputs(desk), fit.gain, fit.rounds)
                .closing(|value| self.closes(desk, marks, fit, (which, symbol, size, unit), value))
                .named(id, title, symbol, unit)
                .remark(format!(
                    "Residual: what one more step would take off the sum of {} terms, which comes to {}{held}",
                    fit.misfits,
                    plain(fit.sum, Digits::Places(1))
                ));
        let value = desk.book.publish(value);
        let found = fit.closing.numbers.get(which).and_then(Option::as_ref);
        let mut end = |at: f64, at_end: usize, which: &str, words: &str| {
            let symbol = format!("{symbol}{}{which}", if symbol.contains('_') { "," } else { "_" });
            let reached = found.and_then(|number| *number.ends.get(at_end)?);
            let figure: Figure<Q> = match reached {
                // The number cannot be beyond its bound.
                None => {
                    let bound = if at_end == 0 { "least" } else { "most" };
                    Figure::counted(
                        unit.of(at * size),
                        &format!("{symbol},bound"),
                        &format!("{bound} that is looked for"),
                        unit,
                    )
                }
                Some(End { squares, cross, bend }) => {
                    let words = "sum = least + 2.706 × the larger of 1 and least / (terms − numbers), all other numbers at their best";
                    let inputs = vec![Rc::clone(value.node()), Rc::clone(sums.limit.node())];
                    let residual = |x: f64| (squares + x * (2.0 * cross + x * bend)) / sums.limit.si() - 1.0;
                    let residual = residual(at - estimate.at);
                    Figure::solved(Q::from_si(at * size), words, inputs, residual, fit.rounds).closing(|end| {
                        let moved = end - &value.meaning();
                        let number = |value: f64, letter: &str, what: &str| {
                            bare(
                                value,
                                &format!("{letter}_{which},{}", id.replace("past.", "")),
                                &format!("{what} ({id}-{which})"),
                            )
                        };
                        let squares = number(squares, "P", "sum at the best value, the other numbers moved");
                        let cross = number(2.0 * cross / size, "Q", "its growth there, SI");
                        let bend = number(bend / (size * size), "R", "half of the growth of that, SI");
                        let one: Figure<Ratio> = Figure::counted(1.0, "1", "one", &ONE);
                        (squares + &moved * &(cross + bend * &moved)) / &sums.limit - one
                    })
                }
            };
            let title = format!("{title}: {words} of the range that holds nine of ten");
            let line = figure.named(format!("{id}-{which}"), &title, &symbol, unit);
            desk.book.publish(match reached {
                Some(_) => line,
                None => line.remark("The sum has not risen to its limit there: the range ends where the search does"),
            })
        };
        let (low, high) = (end(estimate.low, 0, "low", "low end"), end(estimate.high, 1, "high", "high end"));
        Number::Told { value, low, high }
    }

    pub(super) fn loss(
        &self,
        desk: &mut Desk<'_>,
        free: bool,
        left: (&[Mark], &Fit, &Sums),
        full: f64,
    ) -> Number<VolumeRate> {
        let fit = left.1;
        if !free {
            return Number::Stated;
        }
        let held = if fit.factor.told { "" } else { "; evaporation is taken as it is without the log" };
        let most = plain(LITRES_PER_DAY.of(MOST_LOSS * full / DAYS.size), Digits::Significant(3));
        let held = format!("{held}; looked for between none and {most}\u{a0}L a day");
        let names = ("past.loss", "Leak or splash beside what the site file names, as the log tells", "q_loss");
        self.number(desk, left, (0, &fit.loss), (names, rate(desk.system), 1.0 / DAYS.size), &held)
    }

    pub(super) fn factor(&self, desk: &mut Desk<'_>, free: bool, left: (&[Mark], &Fit, &Sums)) -> Number<Ratio> {
        if !free {
            return Number::Stated;
        }
        let held = format!("; looked for between {} and {}", FACTORS.0, FACTORS.1);
        let names = ("past.factor", "Open water over reference evapotranspiration, as the log tells", "f_log");
        self.number(desk, left, (1, &left.1.factor), (names, &ONE, 1.0), &held)
    }

    /// What the fit took for rain and supply, published: both are allowed to be a little off.
    pub(super) fn allowed(
        &self,
        desk: &mut Desk<'_>,
        marks: &[Mark],
        fit: &Fit,
        doubts: &Doubts,
    ) -> (Figure<Ratio>, Figure<Ratio>) {
        let mut line = |id: &str, title: &str, symbol: &str, (which, at): (usize, f64), doubt: f64| {
            let figure: Figure<Ratio> =
                Figure::solved(Ratio::from_si(at), SQUARES, self.inputs(desk), fit.gain, fit.rounds)
                    .closing(|value| self.closes(desk, marks, fit, (which, symbol, 1.0, &ONE), value))
                    .named(id, title, symbol, &ONE)
                    .remark(format!("A misfit of its own: σ {}", plain(doubt, Digits::Places(2))));
            desk.book.publish(figure)
        };
        let rain = "Rain of the past over that of the weather given, as the log fits best";
        let supply = "What the supply holds over what it was taken to hold, as the log fits best";
        (
            line("past.rain", rain, "q_rain", (2, fit.guess.rain), doubts.rain),
            line("past.supply", supply, "q_supply", (3, fit.guess.supply), doubts.supply),
        )
    }

    /// What falls and streams evaporate, where the site file does not state it and the drops tell: by plain arithmetic.
    pub(super) fn falls(
        &self,
        desk: &mut Desk<'_>,
        known: &Known<'_, '_>,
        past: &Past<'_, Near>,
        loss: Option<&Figure<VolumeRate>>,
    ) -> Option<Figure<Ratio>> {
        if past.falls != Falls::Left {
            return None;
        }
        let (own, place) = own_surface(desk, known.parts)?;
        let own: Figure<Area> = Figure::stated(
            Area::from_si(own),
            "A_pond",
            "the pond's own surface, where the tape stands",
            &SQUARE_METRE,
            &place,
        );
        let all: Figure<Area> = Figure::stated(
            Area::from_si(past.drops.all),
            "A",
            "all open surface",
            &SQUARE_METRE,
            "daily balance (weirbook forecast)",
        );
        let (mut on, mut dry) = (Vec::new(), Vec::new());
        let mut leaking = 0_u32;
        let losses = &desk.site.year.losses;
        for (visit, _) in self.visits {
            let evaporation = seen(&visit.drop_bucket).map(|r| (r, "d_bucket", "drop in the bucket"));
            let evaporation = evaporation.or(seen(&visit.drop_still).map(|r| (r, "d_off", "drop, pump off")));
            let (Some(running), Some((read, letter, what))) = (seen(&visit.drop_running), evaporation) else {
                continue;
            };
            on.push(self.read(desk, running, "d_on", "drop, pump on", visit.date, &MILLIMETRE));
            dry.push(self.read(desk, read, letter, what, visit.date, &MILLIMETRE));
            if losses.leak.is_some() && losses.leak_until.as_ref().is_none_or(|until| visit.date <= until.value) {
                leaking += 1;
            }
        }
        let days = on.len() as f64;
        let mut lost: Figure<Volume> = sum(&on) * &own;
        if let Some(leak) = losses.leak.as_ref().filter(|_| leaking > 0) {
            let leak: Figure<VolumeRate> = Figure::stated(
                leak.value,
                "q_leak",
                "the leak that is named",
                rate(desk.system),
                &desk.place(leak.span),
            );
            let time: Figure<Time> = Figure::counted(f64::from(leaking), "n_leak", "of these days with it", &DAYS);
            lost = lost - leak * time;
        }
        if let Some(loss) = loss.filter(|loss| loss.si() > 0.0) {
            let time: Figure<Time> = Figure::counted(days, "n", "days with the drops measured", &DAYS);
            lost = lost - loss * &time;
        }
        let evaporated: Figure<Volume> = sum(&dry) * all;
        let share: Figure<Ratio> = (lost - &evaporated) / evaporated;
        let share = if share.si() < 0.0 {
            let none: Figure<Ratio> = Figure::counted(0.0, "0", "none", &ONE);
            crate::workings::maximum(&[none.clone(), share]).unwrap_or(none)
        } else {
            share
        };
        let title = "Evaporated by falls and streams beyond still water, as a share of it, from the drops";
        Some(desk.book.publish(share.named("past.falls", title, "q_falls", &ONE)))
    }

    /// What still water loses beside evaporation: pump off less bucket, over the pond's own surface.
    pub(super) fn still(
        &self,
        desk: &mut Desk<'_>,
        known: &Known<'_, '_>,
        drops: &Drops,
    ) -> Option<Figure<VolumeRate>> {
        let (own, place) = own_surface(desk, known.parts)?;
        let (mut off, mut dry) = (Vec::new(), Vec::new());
        for (visit, _) in self.visits {
            let (Some(still), Some(bucket)) = (seen(&visit.drop_still), seen(&visit.drop_bucket)) else { continue };
            off.push(self.read(desk, still, "d_off", "drop, pump off", visit.date, &MILLIMETRE));
            dry.push(self.read(desk, bucket, "d_bucket", "drop in the bucket", visit.date, &MILLIMETRE));
        }
        let count = off.len();
        let more = sum(if count > 0 { &off } else { return None }) - sum(&dry);
        // Under the tape's own noise there is none to speak of.
        if more.si() < 2.0 * drops.tape * libm::sqrt(2.0 * count as f64) {
            return None;
        }
        let own: Figure<Area> = Figure::stated(
            Area::from_si(own),
            "A_pond",
            "the pond's own surface, where the tape stands",
            &SQUARE_METRE,
            &place,
        );
        let time: Figure<Time> = Figure::counted(count as f64, "n", "days with both measured", &DAYS);
        let volume: Figure<Volume> = more * own;
        let leak: Figure<VolumeRate> = volume / time;
        Some(desk.book.publish(leak.named(
            "past.still",
            "Leak of still water, from the drops",
            "q_still",
            rate(desk.system),
        )))
    }

    /// How far the readings are from the model: the root of the mean square.
    pub(super) fn misfit(
        &self,
        desk: &mut Desk<'_>,
        past: &Past<'_, Near>,
        modelled: &[(usize, f64, f64)],
    ) -> Option<Misfit> {
        if modelled.is_empty() {
            return None;
        }
        let (unit, _, size) = tongue(self.tracer);
        let (mut squares, mut hard, mut reads) = (0.0, 0.0, 0.0);
        let (mut inputs, mut hardnesses) = (Vec::new(), Vec::new());
        for (at, tracer, alkalinity) in modelled {
            let (Some(mark), Some((visit, reading))) = (past.marks.get(*at), self.visits.get(*at)) else { continue };
            let Some((read, _)) = mark.tracer else { continue };
            squares += (tracer - read) * (tracer - read);
            hard += (alkalinity - mark.hardness.0) * (alkalinity - mark.hardness.0);
            reads += read;
            inputs.extend(self.traced(desk, visit));
            inputs.push(leaf_in(tracer * size, &format!("m_{}", tag(visit.date)), "modelled", unit));
            let middle: Figure<CarbonateHardness> = Figure::stated(
                CarbonateHardness::from_si(mark.hardness.0),
                &format!("K_mid,{}", tag(visit.date)),
                "carbonate hardness in the middle of the kit's step",
                &DEGREE_KH,
                &desk.place(reading.span),
            );
            hardnesses.push(Rc::clone(middle.node()));
            hardnesses.push(leaf_in(*alkalinity, &format!("K_model,{}", tag(visit.date)), "modelled", &DEGREE_KH));
        }
        let count = modelled.len() as f64;
        let root = libm::sqrt(squares / count) * size;
        const EQUATION: &str = "misfit = √(Σ (modelled − read)² / n)";
        let title = format!("Misfit of {} over the visits", key(self.tracer));
        let tracer_line = match self.tracer {
            Tracer::Conductivity => {
                publish::<Conductivity>(desk, root, EQUATION, inputs, ("past.misfit", &title, "Δκ_past"), unit)
            }
            Tracer::Chloride => {
                publish::<MassConcentration>(desk, root, EQUATION, inputs, ("past.misfit", &title, "Δc_past"), unit)
            }
        };
        let hardness: Figure<CarbonateHardness> = Figure::solved(
            CarbonateHardness::from_si(libm::sqrt(hard / count)),
            "misfit = √(Σ (modelled − read)² / n), readings in the middle of the kit's step",
            hardnesses,
            0.0,
            1,
        );
        let hardness = desk.book.publish(hardness.named(
            "past.misfit-hardness",
            "Misfit of carbonate hardness over the visits",
            "ΔK_past",
            &DEGREE_KH,
        ));
        Some(Misfit { tracer: root, tracer_line: Some(tracer_line), share: root / size / (reads / count), hardness })
    }

    /// The pairs of visits between which the log contradicts the model: of the tracer, as the fit found them; of carbonate
    /// hardness, from each visit to the next.
    pub(super) fn breaks(
        &self,
        desk: &mut Desk<'_>,
        past: &mut Past<'_, Near>,
        fit: &Fit,
        guess: &Guess,
        unit: &'static Unit,
    ) -> Vec<Break> {
        let (_, _, size) = tongue(self.tracer);
        let mut out = Vec::new();
        for (from, to) in &fit.broken {
            let Some((found, _)) = past.between(guess, *from, *to) else { continue };
            let read = |at: &usize| {
                let (visit, _) = self.visits.get(*at)?;
                Some((visit.date, past.marks.get(*at)?.tracer?.0 * size))
            };
            let (Some(before), Some(after)) = (read(from), read(to)) else { continue };
            let expected = found * size;
            let inputs = self.visits.get(*from).and_then(|(visit, _)| self.traced(desk, visit)).into_iter().collect();
            let title = format!("{} to expect on {}", capital(key(self.tracer)), after.0);
            let id = format!("past.expected-{}", after.0);
            let names = (id.as_str(), title.as_str(), &*format!("m_due,{}", tag(after.0)));
            let line = match self.tracer {
                Tracer::Conductivity => publish::<Conductivity>(desk, expected, STEP, inputs, names, unit),
                Tracer::Chloride => publish::<MassConcentration>(desk, expected, STEP, inputs, names, unit),
            };
            let rose = after.1 > expected;
            out.push(Break { what: key(self.tracer), from: before, to: after, expected, line: Some(line), rose });
        }
        let least = DEGREE_KH.si(LEAST_HARDNESS);
        for at in 1..past.marks.len() {
            let Some((_, found)) = past.between(guess, at - 1, at) else { continue };
            let (Some(first), Some(second)) = (past.marks.get(at - 1), past.marks.get(at)) else { continue };
            let (before, after) = (first.hardness, second.hardness);
            // How far a doubt of the first reading reaches: as its share of what is left of it.
            let doubt = libm::hypot(after.1, before.1 * (found / before.0).clamp(0.0, 1.0));
            // Feed and buffer may be out by a tenth of what they do.
            let moved = 0.1 * (found - before.0).abs();
            let off = after.0 - found;
            if off.abs() < CONTRADICTS * libm::hypot(doubt, moved) || off.abs() < least {
                continue;
            }
            let (Some((visit, reading)), Some((next, read))) = (self.visits.get(at - 1), self.visits.get(at)) else {
                continue;
            };
            let inputs = vec![Rc::clone(
                self.read(desk, reading, "K_read", "carbonate hardness as read", visit.date, &DEGREE_KH).node(),
            )];
            let id = format!("past.expected-hardness-{}", next.date);
            let title = format!("Carbonate hardness to expect on {}", next.date);
            let names = (id.as_str(), title.as_str(), &*format!("K_due,{}", tag(next.date)));
            let line = publish::<CarbonateHardness>(desk, found, STEP, inputs, names, &DEGREE_KH);
            out.push(Break {
                what: "carbonate-hardness",
                from: (visit.date, reading.value.si()),
                to: (next.date, read.value.si()),
                expected: found,
                line: Some(line),
                rose: off > 0.0,
            });
        }
        out.sort_by_key(|found| (found.to.0, found.what));
        out
    }
}

const STEP: &str = "modelled = the daily balance from the visit before, with what was done between, at the leak and the evaporation that the log tells";

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// A number of the model's own, in SI, as a leaf.
fn leaf_in(si: f64, symbol: &str, title: &str, unit: &'static Unit) -> Rc<Node> {
    let leaf: Figure<Ratio> =
        Figure::stated(Ratio::from_si(si), symbol, title, unit, "daily balance (weirbook forecast)");
    Rc::clone(leaf.node())
}

/// Publishes a number that was solved for, and gives its id.
fn publish<Q: Si>(
    desk: &mut Desk<'_>,
    si: f64,
    equation: &str,
    inputs: Vec<Rc<Node>>,
    names: (&str, &str, &str),
    unit: &'static Unit,
) -> String {
    let figure: Figure<Q> = Figure::solved(Q::from_si(si), equation, inputs, 0.0, 1);
    desk.book.publish(figure.named(names.0, names.1, names.2, unit));
    names.0.to_owned()
}
