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

/// A test beside what the model makes of it at one loss.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Modelled {
    /// Its stretch, and its place among the tests of that.
    pub place: (usize, usize),
    /// The test.
    pub test: Test,
    /// Copper by the model, kg/m³.
    pub copper: f64,
    /// The evening before, kg/m³; as `copper` where a stretch starts.
    pub before: f64,
    /// What an efficiency of one adds of it, kg/m³.
    pub added: f64,
    /// How much more the model makes of it for a loss that is greater by one a day, kg/m³.
    pub slope: f64,
}

impl Modelled {
    /// Model less test, in standard deviations; `None` where a test that showed less than something is kept.
    #[must_use]
    pub fn off(&self) -> Option<f64> {
        let off = (self.copper - self.test.read) / self.test.doubt;
        (!self.test.less_than || off >= 0.0).then_some(off)
    }
}

/// All tests at one loss.
#[derive(Clone, Debug, PartialEq)]
pub struct At {
    /// Loss at 20 °C, a day.
    pub loss: f64,
    /// The efficiency that goes best with it, or one.
    pub efficiency: f64,
    /// Its tests.
    pub rows: Vec<Modelled>,
}

impl At {
    fn of(stretches: &[Stretch], loss: f64, efficiency: f64) -> Self {
        let rows = follow(stretches, loss)
            .into_iter()
            .map(|row| Modelled {
                place: row.place,
                test: row.test,
                copper: row.left + efficiency * row.added,
                before: row.before.0 + efficiency * row.before.1,
                added: row.added,
                slope: row.slopes.0 + efficiency * row.slopes.1,
            })
            .collect();
        Self { loss, efficiency, rows }
    }

    /// Half of the slope of the sum of squares by the loss, and half of its bend where the model is straight.
    fn slope(&self) -> (f64, f64) {
        let each = self.rows.iter().filter_map(|row| Some((row.off()?, row.slope / row.test.doubt)));
        each.fold((0.0, 0.0), |(slope, bend), (off, by)| (slope + off * by, bend + by * by))
    }
}

/// What the tests tell.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// Loss at 20 °C, a day; with the efficiency as it is told, or all that Faraday's law asks for.
    pub loss: Told,
    /// Efficiency, where the tests tell it apart from the loss.
    pub efficiency: Option<Told>,
    /// How far the tests are off, in their own standard deviations: root of the mean square.
    pub misfit: f64,
    /// How far one more step would move the loss, as a share of it: nothing where it is found.
    pub residual: f64,
    /// Tests that count.
    pub tests: usize,
    /// Places at which the sum was looked at.
    pub looked: u32,
    /// The tests where the sum has risen to its limit under the best loss, at the best, and over it: the ends of the range
    /// before they are taken outward to a place of the grid.
    pub at: [At; 3],
    /// The tests at the low and the high end of the efficiency, where the sum has risen to its limit with the loss that allows
    /// most; none where the bound comes first, or where it is not told.
    pub efficiency_at: [Option<At>; 2],
    /// That limit.
    pub efficiency_limit: f64,
    /// How many numbers were fitted: one, or two with the efficiency.
    pub numbers: usize,
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
pub const NINE_IN_TEN: f64 = 2.706;
/// A scatter beyond this many standard deviations is no scatter: the levels were others than the log says.
const CONTRADICTED: f64 = 2.5;
/// Steps between the least and the most loss that are looked at, equal in its logarithm.
pub const PLACES: u32 = 240;

/// A test at one loss: copper without release, and what an efficiency of one adds.
#[derive(Clone, Copy)]
struct Row {
    place: (usize, usize),
    test: Test,
    left: f64,
    added: f64,
    /// The same on the evening before.
    before: (f64, f64),
    /// How both change with the loss.
    slopes: (f64, f64),
}

/// What a loss makes of the tests.
fn follow(stretches: &[Stretch], loss: f64) -> Vec<Row> {
    let mut out = Vec::new();
    for (which, stretch) in stretches.iter().enumerate() {
        let mut tests = stretch.tests.iter().enumerate().peekable();
        let (mut left, mut added) = (stretch.start, 0.0);
        let mut slopes = (0.0, 0.0);
        for (index, day) in stretch.days.iter().enumerate() {
            let rate = loss * day.growth;
            let share = -libm::expm1(-rate);
            let stays = day.kept * (1.0 - share);
            let before = (left, added);
            // The slopes first: they go by the morning's copper.
            let of_release = day.released * ((1.0 - share) * rate - share) / (rate * loss);
            slopes = (stays * (slopes.0 - day.growth * left), stays * (slopes.1 - day.growth * added) + of_release);
            left *= stays;
            added = added * stays + day.released * share / rate;
            while let Some((at, test)) = tests.next_if(|(_, test)| test.after == index + 1) {
                out.push(Row { place: (which, at), test: *test, left, added, before, slopes });
            }
        }
    }
    out
}

/// The sum of squares at an efficiency, in standard deviations. A test that showed less than something counts only where it is
/// passed.
fn sum(rows: &[Row], efficiency: f64) -> f64 {
    rows.iter()
        .map(|row| {
            let off = (row.left + efficiency * row.added - row.test.read) / row.test.doubt;
            if row.test.less_than && off < 0.0 { 0.0 } else { off * off }
        })
        .sum()
}

/// The best efficiency within its bounds: by golden section, for the sum is convex in it, and at its foot by division, for it is
/// a parabola there.
fn best_efficiency(rows: &[Row]) -> f64 {
    let near = golden(EFFICIENCIES, |efficiency| sum(rows, efficiency));
    let square = |x: f64| x * x;
    let (mut over, mut under) = (0.0, 0.0);
    for row in rows.iter().filter(|row| !row.test.less_than || row.left + near * row.added >= row.test.read) {
        over += (row.test.read - row.left) * row.added / square(row.test.doubt);
        under += square(row.added / row.test.doubt);
    }
    let foot = (over / under).clamp(EFFICIENCIES.0, EFFICIENCIES.1);
    if (foot - near).abs() < 1e-4 { foot } else { near }
}

/// The loss at which the sum is level, from one that is nearly so: by secants. `at`: the tests at a loss.
fn level(near: f64, at: impl Fn(f64) -> At) -> f64 {
    let share = |loss: f64| {
        let (slope, bend) = at(loss).slope();
        slope / (bend * loss)
    };
    let (mut last, mut here) = (near * (1.0 + 1e-6), near);
    let (mut of_last, mut of_here) = (share(last), share(here));
    for _ in 0..20 {
        if of_here.abs() < 1e-14 || of_here == of_last {
            break;
        }
        let next = here - of_here * (here - last) / (of_here - of_last);
        // What runs away from a place that was nearly level is no better place.
        let away = (next / near - 1.0).abs();
        if away.is_nan() || away > 1e-3 {
            return near;
        }
        (last, of_last) = (here, of_here);
        (here, of_here) = (next, share(next));
    }
    here
}

/// Where a function that is at most nothing at `inside` and more at `outside` comes to nothing: by false position, the end that
/// stays halved (the Illinois rule).
fn crossing(inside: f64, outside: f64, of: impl Fn(f64) -> f64) -> f64 {
    let (mut ends, mut values) = ([inside, outside], [of(inside), of(outside)]);
    let (mut best, mut least) = (outside, f64::INFINITY);
    let mut kept = 2;
    for _ in 0..60 {
        let next = ends[0] + (ends[1] - ends[0]) * values[0] / (values[0] - values[1]);
        let here = of(next);
        if here.abs() < least {
            (best, least) = (next, here.abs());
        }
        if here.abs() < 1e-13 || !next.is_finite() {
            break;
        }
        let side = usize::from(here > 0.0);
        if side == 1 {
            (ends[1], values[1]) = (next, here);
            values[0] *= if kept == 0 { 0.5 } else { 1.0 };
            kept = 0;
        } else {
            (ends[0], values[0]) = (next, here);
            values[1] *= if kept == 1 { 0.5 } else { 1.0 };
            kept = 1;
        }
    }
    best
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
    let (lowest, allowed) = (least, NINE_IN_TEN * (least / freedom).max(1.0));
    let efficiency = efficiency_range(&stretches, &joint, lowest + allowed);
    let told = efficiency.filter(|(range, _)| range.spread() <= TOLD_EFFICIENCY);
    let (told, efficiency_at) = told.map_or((None, [None, None]), |(told, ends)| (Some(told), ends));
    let of = |log: f64| if told.is_some() { both(log).0 } else { alone(log) };
    let values: Vec<(f64, f64)> = (0..=PLACES).map(|index| (place(index), of(place(index)))).collect();
    let (middle, least) = values.iter().copied().min_by(|a, b| a.1.total_cmp(&b.1))?;
    let step = (ends.1 - ends.0) / f64::from(PLACES);
    let best = golden(((middle - step).max(ends.0), (middle + step).min(ends.1)), of);
    let at = |loss: f64| {
        let efficiency = if told.is_some() { best_efficiency(&follow(&stretches, loss)) } else { 1.0 };
        At::of(&stretches, loss, efficiency)
    };
    let best = libm::log(level(libm::exp(best), at));
    let (best, least) = if of(best) <= least { (best, of(best)) } else { (middle, least) };
    let numbers = if told.is_some() { 2 } else { 1 };
    let freedom = count.saturating_sub(numbers).max(1) as f64;
    let misfit = libm::sqrt(least / count as f64);
    let limit = least + NINE_IN_TEN * (least / freedom).max(1.0);
    let within = || values.iter().filter(|(_, sum)| *sum <= limit).map(|(log, _)| *log);
    let (inner_low, inner_high) = (within().fold(best, f64::min), within().fold(best, f64::max));
    if inner_low - step <= ends.0 || inner_high + step >= ends.1 || misfit > CONTRADICTED {
        return None;
    }
    let over = |log: f64| of(log) / limit - 1.0;
    let low = crossing(inner_low, inner_low - step, over);
    let high = crossing(inner_high, inner_high + step, over);
    // The ends lie between two places of the grid: the outer ones are taken, which is the wider range.
    let outward = |log: f64, round: fn(f64) -> f64| libm::exp(ends.0 + step * round((log - ends.0) / step));
    let loss = Told { low: outward(low, libm::floor), best: libm::exp(best), high: outward(high, libm::ceil) };
    if loss.spread() > TOLD_LOSS {
        return None;
    }
    let places = [libm::exp(low), loss.best, libm::exp(high)].map(at);
    let (slope, bend) = places[1].slope();
    Some(Fit {
        loss,
        efficiency: told.map(|told| Told { best: places[1].efficiency.clamp(told.low, told.high), ..told }),
        misfit,
        residual: (slope / (bend * loss.best)).abs(),
        tests: count,
        looked: 2 * (PLACES + 1) + 100,
        at: places,
        efficiency_at: efficiency_at.map(|end| end.map(|(loss, efficiency)| At::of(&stretches, loss, efficiency))),
        efficiency_limit: lowest + allowed,
        numbers,
    })
}

/// Where an end of the efficiency was reached: at which loss, and the efficiency.
type Reached = Option<(f64, f64)>;

/// All efficiencies at which some loss keeps the sum within a limit, and where both ends were reached; none where that is the bound.
fn efficiency_range(stretches: &[Stretch], joint: &[(f64, f64, f64)], limit: f64) -> Option<(Told, [Reached; 2])> {
    let best = joint.iter().min_by(|a, b| a.1.total_cmp(&b.1))?.2;
    let (mut low, mut high) = ((best, None), (best, None));
    for (log, _, here) in joint.iter().filter(|j| j.1 <= limit) {
        let loss = libm::exp(*log);
        let rows = follow(stretches, loss);
        // The sum is convex: from its valley to the limit on both sides, by halving.
        for (end, out) in [(EFFICIENCIES.0, &mut low), (EFFICIENCIES.1, &mut high)] {
            let (mut inside, mut outside) = (*here, end);
            let bound = sum(&rows, end) <= limit;
            if bound {
                inside = end;
            } else {
                for _ in 0..50 {
                    let middle = 0.5 * (inside + outside);
                    if sum(&rows, middle) <= limit {
                        inside = middle;
                    } else {
                        outside = middle;
                    }
                }
            }
            let further = if end < best { inside < out.0 } else { inside > out.0 };
            if further {
                *out = (inside, (!bound).then_some((loss, inside)));
            }
        }
    }
    Some((Told { low: low.0, best, high: high.0 }, [low.1, high.1]))
}
