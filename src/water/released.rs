//! What copper tests tell: how much the bars release over Faraday's law, and how fast the water loses it. Least squares within
//! bounds, over the stretches of a log in which the panel's level is known.
//!
//! Copper follows dC/dt = η w / V − k φ C within a day (φ = 1.05^(T − 20 °C)), solved exactly day by day; with the loss given it is
//! straight in η. So the sum of squares is walked through on a grid of k, η found on each, and the best refined. What a reading
//! tells is known only so far: the ranges are those of a chi-square that grows by 2.71 (nine in ten), widened where the tests
//! scatter more than their kits explain.
//!
//! Bare numbers: kg, m³, kg/m³, a day.

/// One day of a stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Day {
    /// Released by Faraday's law, kg.
    pub released: f64,
    /// The loss over that at 20 °C.
    pub growth: f64,
    /// Share of the water that stays, where some is changed.
    pub kept: f64,
}

/// A test at the end of so many days of its stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Test {
    /// Days after the stretch began.
    pub after: usize,
    /// kg/m³.
    pub read: f64,
    /// The kit showed less than that.
    pub less_than: bool,
    /// Standard deviation of what it may be off, kg/m³.
    pub doubt: f64,
}

/// Days on which the level is known, from one test to others.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// Copper at its begin, kg/m³.
    pub start: f64,
    /// Its days.
    pub days: Vec<Day>,
    /// Tests within it, in order.
    pub tests: Vec<Test>,
}

/// A range: low end, best value, high end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Told {
    /// Low end of nine in ten.
    pub low: f64,
    /// The best.
    pub best: f64,
    /// High end.
    pub high: f64,
}

impl Told {
    /// How many times the high end is over the low one.
    #[must_use]
    pub fn spread(&self) -> f64 {
        self.high / self.low
    }
}

/// What the tests tell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fit {
    /// Loss at 20 °C, a day; with the efficiency as it is told, or all that Faraday's law asks for.
    pub loss: Told,
    /// Efficiency, where the tests tell it apart from the loss.
    pub efficiency: Option<Told>,
    /// How far the tests are off, in their own standard deviations: root of the mean square.
    pub misfit: f64,
    /// Slope of the sum of squares by the logarithm of the loss at its least, over that sum: nothing where it is found.
    pub residual: f64,
    /// Tests that count.
    pub tests: usize,
    /// Places at which the sum was looked at.
    pub looked: u32,
}

/// Least and most loss looked for, a day at 20 °C.
pub const LOSSES: (f64, f64) = (0.01, 4.0);
/// Least and most efficiency: half of Faraday's law, and twice, where copper leaves with one charge (EL-07).
pub const EFFICIENCIES: (f64, f64) = (0.5, 2.0);
/// The efficiency is told where its range is narrower than this, high over low: half of its bounds, in its logarithm.
const TOLD_EFFICIENCY: f64 = 2.0;
/// The loss is told where its range is narrower than this: half of what is assumed without a log, in its logarithm.
const TOLD_LOSS: f64 = 3.2;
/// Growth of chi-square at the ends of a range of nine in ten.
const NINE_IN_TEN: f64 = 2.706;
/// A scatter beyond this many standard deviations is no scatter: the levels were others than the log says.
const CONTRADICTED: f64 = 2.5;
const PLACES: u32 = 240;

/// What a loss makes of the tests: for each, copper without release, and what an efficiency of one adds.
fn follow(stretches: &[Stretch], loss: f64) -> Vec<(f64, f64, Test)> {
    let mut out = Vec::new();
    for stretch in stretches {
        let mut tests = stretch.tests.iter().peekable();
        let (mut left, mut added) = (stretch.start, 0.0);
        for (index, day) in stretch.days.iter().enumerate() {
            let rate = loss * day.growth;
            let share = -libm::expm1(-rate);
            left *= day.kept * (1.0 - share);
            added = added * day.kept * (1.0 - share) + day.released * share / rate;
            while let Some(test) = tests.next_if(|test| test.after == index + 1) {
                out.push((left, added, *test));
            }
        }
    }
    out
}

/// The sum of squares at an efficiency, in standard deviations. A test that showed less than something counts only where it is
/// passed.
fn sum(rows: &[(f64, f64, Test)], efficiency: f64) -> f64 {
    rows.iter()
        .map(|(left, added, test)| {
            let off = (left + efficiency * added - test.read) / test.doubt;
            if test.less_than && off < 0.0 { 0.0 } else { off * off }
        })
        .sum()
}

/// The best efficiency within its bounds, by golden section: the sum is convex in it.
fn best_efficiency(rows: &[(f64, f64, Test)]) -> f64 {
    golden(EFFICIENCIES, |efficiency| sum(rows, efficiency))
}

/// Where a function with one valley within these ends is least.
fn golden((mut low, mut high): (f64, f64), of: impl Fn(f64) -> f64) -> f64 {
    const SECTION: f64 = 0.618_033_988_749_894_9;
    let (mut a, mut b) = (high - SECTION * (high - low), low + SECTION * (high - low));
    let (mut at_a, mut at_b) = (of(a), of(b));
    for _ in 0..60 {
        if at_a < at_b {
            (high, b, at_b) = (b, a, at_a);
            a = high - SECTION * (high - low);
            at_a = of(a);
        } else {
            (low, a, at_a) = (a, b, at_b);
            b = low + SECTION * (high - low);
            at_b = of(b);
        }
    }
    0.5 * (low + high)
}

/// Fits loss and efficiency to the tests of these stretches in a pond of `volume`. `None` where the log cannot tell the loss: too
/// few tests, a range as wide as the bounds or nearly so, or tests that no loss explains.
#[must_use]
pub fn fit(stretches: &[Stretch], volume: f64) -> Option<Fit> {
    // All by concentration from here on.
    let stretches: Vec<Stretch> = stretches
        .iter()
        .map(|stretch| Stretch {
            days: stretch.days.iter().map(|day| Day { released: day.released / volume, ..*day }).collect(),
            ..stretch.clone()
        })
        .collect();
    let count = stretches.iter().flat_map(|s| &s.tests).filter(|test| !test.less_than).count();
    if count < 2 {
        return None;
    }
    let ends = (libm::log(LOSSES.0), libm::log(LOSSES.1));
    let place = |index: u32| ends.0 + (ends.1 - ends.0) * f64::from(index) / f64::from(PLACES);
    let both = |log: f64| {
        let rows = follow(&stretches, libm::exp(log));
        let efficiency = best_efficiency(&rows);
        (sum(&rows, efficiency), efficiency)
    };
    let alone = |log: f64| sum(&follow(&stretches, libm::exp(log)), 1.0);
    let joint: Vec<(f64, f64, f64)> = (0..=PLACES)
        .map(|index| {
            let (sum, efficiency) = both(place(index));
            (place(index), sum, efficiency)
        })
        .collect();
    let least = joint.iter().map(|j| j.1).fold(f64::INFINITY, f64::min);
    // Two are fitted; where there are hardly more tests than that, the kits' own doubts stand.
    let freedom = count.saturating_sub(2).max(1) as f64;
    let allowed = NINE_IN_TEN * (least / freedom).max(1.0);
    let efficiency = efficiency_range(&stretches, &joint, least + allowed);
    let told = efficiency.filter(|range| range.spread() <= TOLD_EFFICIENCY);
    let of = |log: f64| if told.is_some() { both(log).0 } else { alone(log) };
    let values: Vec<(f64, f64)> = (0..=PLACES).map(|index| (place(index), of(place(index)))).collect();
    let (middle, least) = values.iter().copied().min_by(|a, b| a.1.total_cmp(&b.1))?;
    let step = (ends.1 - ends.0) / f64::from(PLACES);
    let best = golden(((middle - step).max(ends.0), (middle + step).min(ends.1)), of);
    let least = least.min(of(best));
    let freedom = count.saturating_sub(if told.is_some() { 2 } else { 1 }).max(1) as f64;
    let misfit = libm::sqrt(least / count as f64);
    let limit = least + NINE_IN_TEN * (least / freedom).max(1.0);
    let within = || values.iter().filter(|(_, sum)| *sum <= limit).map(|(log, _)| *log);
    // The ends lie between two places of the grid: the outer ones are taken, which is the wider range.
    let low = within().fold(best, f64::min) - step;
    let high = within().fold(best, f64::max) + step;
    if low <= ends.0 || high >= ends.1 || misfit > CONTRADICTED {
        return None;
    }
    let loss = Told { low: libm::exp(low), best: libm::exp(best), high: libm::exp(high) };
    if loss.spread() > TOLD_LOSS {
        return None;
    }
    let near = 1e-4;
    let slope = (of(best + near) - of(best - near)) / (2.0 * near);
    Some(Fit {
        loss,
        efficiency: told.map(|told| Told { best: both(best).1.clamp(told.low, told.high), ..told }),
        misfit,
        residual: (slope / (least + 1.0)).abs(),
        tests: count,
        looked: 2 * (PLACES + 1) + 60,
    })
}

/// All efficiencies at which some loss keeps the sum within a limit.
fn efficiency_range(stretches: &[Stretch], joint: &[(f64, f64, f64)], limit: f64) -> Option<Told> {
    let best = joint.iter().min_by(|a, b| a.1.total_cmp(&b.1))?.2;
    let (mut low, mut high) = (best, best);
    for (log, _, here) in joint.iter().filter(|j| j.1 <= limit) {
        let rows = follow(stretches, libm::exp(*log));
        // The sum is convex: from its valley to the limit on both sides, by halving.
        for (end, out) in [(EFFICIENCIES.0, &mut low), (EFFICIENCIES.1, &mut high)] {
            let (mut inside, mut outside) = (*here, end);
            if sum(&rows, end) <= limit {
                inside = end;
            } else {
                for _ in 0..40 {
                    let middle = 0.5 * (inside + outside);
                    if sum(&rows, middle) <= limit {
                        inside = middle;
                    } else {
                        outside = middle;
                    }
                }
            }
            *out = if end < best { out.min(inside) } else { out.max(inside) };
        }
    }
    Some(Told { low, best, high })
}
