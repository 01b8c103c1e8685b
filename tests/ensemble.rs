//! The ensemble: weather about its normals, counting, threads; and the followed chemistry against the full one.

#![expect(clippy::expect_used, reason = "a test that cannot read its own case has failed")]

use proptest::prelude::*;
use weirbook::chem::followed::{Table, lane};
use weirbook::water::air::{Core, Dilute, Followed};
use weirbook::water::balance::{self, Care, Chemistry as _, Copper, Pond, SOLUTES, Setting, Sky, Solutes, solute};
use weirbook::water::basin::{Basin, Part};
use weirbook::water::ensemble::{
    self, Appetite, Counted, Doubt, Draw, Given, Habits, Normal, QUANTITIES, Quantity, Range, Spread, Tenth, Values,
    Year, member, run,
};

const ALL: [Quantity; QUANTITIES] = [
    Quantity::Volume,
    Quantity::Level,
    Quantity::Evaporation,
    Quantity::Rain,
    Quantity::TopUp,
    Quantity::Change,
    Quantity::Overflow,
    Quantity::Hardness,
    Quantity::General,
    Quantity::Conductivity,
    Quantity::Ph,
    Quantity::Temperature,
    Quantity::Calcium,
    Quantity::Copper,
];

/// mol/m³: a medium water.
const SUPPLY: Solutes = [4.0, 1.7, 0.4, 0.9, 0.08, 0.9, 0.3, 0.2, 0.0];

struct Place {
    setting: Setting,
    normals: Vec<Normal>,
    care: Vec<Care>,
    table: Table,
}

/// A pond of 16 m³, temperate weather, filled by hand once a week.
fn place() -> Place {
    let part = Part::Bowl { area: 20.0, straight: 0.3, depth: 1.6, power: 1.0, open: true };
    let basin = Basin::new(&[part], 16.0).expect("a bowl");
    let setting = Setting {
        basin,
        catchment: 10.0,
        falls: 0.1,
        splash: 0.01,
        supply: SUPPLY,
        rain: [0.0; SOLUTES],
        copper: Copper::KEPT,
    };
    let normals = (0..365)
        .map(|i| {
            let season = libm::sin(f64::from(i) / 365.0 * std::f64::consts::TAU);
            Normal {
                evaporation: 0.0025 - 0.002 * season,
                rain: 0.0019 + 0.0005 * season,
                celsius: 12.0 - 9.0 * season,
            }
        })
        .collect();
    let care = (0..365)
        .map(|i| Care {
            top_up: i % 7 == 6,
            change_share: if i % 90 == 60 { 0.2 } else { 0.0 },
            feed: 0.02,
            copper: if (100..300).contains(&i) { 2e-3 } else { 0.0 },
            ..Care::default()
        })
        .collect();
    Place { setting, normals, care, table: Table::new() }
}

fn given<'a>(place: &'a Place, spread: &'a Spread) -> Given<'a> {
    Given {
        setting: &place.setting,
        chemistry: Core(Dilute { log_co2: -3.2, threshold: 1.0 }),
        table: &place.table,
        normals: &place.normals,
        care: &place.care,
        appetite: None,
        water: SUPPLY.map(|c| 0.9 * c),
        filled: 1.0,
        window: (2.0, 5.0),
        spread,
    }
}

fn wide() -> Spread {
    let less = |share: f64| SUPPLY.map(|c| share * c);
    Spread {
        weather: Some(Habits::USUAL),
        volume: (14.0, 18.0),
        evaporation: (0.8, 1.2),
        pond: vec![Doubt { place: 0.5, least: less(-0.05), most: less(0.05) }],
        supply: vec![Doubt { place: 1.0, least: less(-0.1), most: [0.0; SOLUTES] }],
        copper_loss: (0.1, 1.0),
        copper_efficiency: (1.0, 1.2),
    }
}

/// Every value of a member.
fn whole(given: &Given<'_>, seed: u64, number: u32) -> Vec<Values> {
    let mut out = Vec::new();
    member(given, seed, number, |_, values| out.push(*values));
    out
}

fn bytes(counted: &Counted) -> Vec<u64> {
    let mut out: Vec<u64> = ALL
        .iter()
        .flat_map(|q| counted.ranges(*q).flat_map(|r| [r.low, r.middle, r.high]).map(f64::to_bits).collect::<Vec<_>>())
        .collect();
    for day in 0..365 {
        out.extend(counted.left_by(day).map(u64::from));
    }
    out.extend(counted.never.map(u64::from));
    out
}

#[test]
fn the_ensemble_is_the_same_on_any_count_of_threads() {
    let (place, spread) = (place(), wide());
    let given = given(&place, &spread);
    let draw = Draw { members: 150, seed: 11 };
    let one = bytes(&run(&given, draw, 1));
    for threads in [2, 7] {
        assert!(bytes(&run(&given, draw, threads)) == one, "{threads} threads");
    }
    assert!(bytes(&run(&given, Draw { seed: 12, ..draw }, 2)) != one, "another seed gives another ensemble");
}

#[test]
fn without_spread_every_percentile_is_the_single_run() {
    let place = place();
    let spread = Spread::none(place.setting.basin.full, place.setting.copper);
    let given = given(&place, &spread);
    // The same year by the balance itself, with the same chemistry.
    let chemistry = Followed::new(given.chemistry, &place.table);
    let mut pond = Pond::of(16.0, &given.water);
    let counted = run(&given, Draw { members: 70, seed: 1 }, 2);
    let mut series: Vec<Vec<Range>> = ALL.iter().map(|q| counted.ranges(*q).collect()).collect();
    for (day, (normal, care)) in place.normals.iter().zip(&place.care).enumerate() {
        let warmth = chemistry.at(normal.celsius);
        let sky = Sky { evaporation: normal.evaporation, rain: normal.rain, celsius: normal.celsius, warmth };
        let evening = balance::day(&place.setting, &chemistry, &sky, care, &mut pond, &mut ());
        let (ph, conductivity) = chemistry.read(&sky.warmth, &evening.water);
        let values = [
            evening.volume,
            evening.below_brim,
            evening.evaporation,
            evening.rain,
            evening.top_up,
            evening.change,
            evening.overflow,
            evening.water[solute::ALKALINITY],
            evening.water[solute::CALCIUM] + evening.water[solute::MAGNESIUM],
            conductivity,
            ph,
            normal.celsius,
        ];
        for ((quantity, series), value) in ALL.iter().zip(&mut series).zip(values) {
            let range = series[day];
            assert!([range.low, range.middle, range.high] == [value; 3], "day {day}, {quantity:?}: {range:?}, {value}");
        }
    }
    assert_eq!(counted.left_by(364), [0, 0]);
    assert_eq!(counted.never, [0, 0]);
}

/// What a percentile's line is made of is what anyone counts who has all members before him.
#[test]
fn the_pieces_of_a_percentile_are_those_of_the_members() {
    let (place, spread) = (place(), wide());
    let given = given(&place, &spread);
    let draw = Draw { members: 230, seed: 3 };
    let counted = run(&given, draw, 2);
    let years: Vec<Vec<Values>> = (0..draw.members).map(|number| whole(&given, draw.seed, number)).collect();
    let (mut inside, mut beyond, mut alike) = (0, 0, 0);
    for quantity in ALL {
        for (day, range) in counted.ranges(quantity).enumerate().step_by(13) {
            let values = || years.iter().map(|year| year[day][quantity as usize]);
            for (tenth, value, rank) in
                [(Tenth::One, range.low, 23), (Tenth::Five, range.middle, 115), (Tenth::Nine, range.high, 207)]
            {
                let found = counted.standing(day, quantity, tenth).expect("a day of the year");
                assert_eq!((found.rank, found.value().to_bits()), (rank, value.to_bits()), "{quantity:?}, day {day}");
                let ends = values().fold((f64::MAX, f64::MIN), |e, v| (e.0.min(v), e.1.max(v)));
                assert_eq!(found.ends, ends);
                match found.place {
                    ensemble::Place::Bin { low, width, under, within } => {
                        inside += 1;
                        // A member at the very edge may stand on either side of it.
                        let edge = 1e-9 * width;
                        let count = |from: f64, to: f64| values().filter(|v| (from..to).contains(v)).count();
                        let (under, within) = (under as usize, within as usize);
                        let (top, all) = (low + width, f64::NEG_INFINITY);
                        assert!(
                            count(all, low - edge) <= under && under <= count(all, low + edge),
                            "{quantity:?}, {day}"
                        );
                        assert!(count(all, top - edge) <= under + within && under + within <= count(all, top + edge));
                        assert!(under < rank as usize && rank as usize <= under + within);
                        assert!(found.inside() >= low && found.inside() <= top);
                    }
                    ensemble::Place::Beyond(_) => beyond += 1,
                    ensemble::Place::Alike => {
                        alike += 1;
                        assert!(ends.0 == ends.1);
                    }
                }
            }
        }
    }
    assert!(inside > 500 && beyond > 100 && alike > 20, "{inside}, {beyond}, {alike}: a case is not tried");
    assert!(counted.standing(365, Quantity::Volume, Tenth::One).is_none());
}

/// The member that stands at so many tenths, of all of them sorted.
fn sorted(values: &mut [f64], tenths: usize) -> f64 {
    values.sort_by(f64::total_cmp);
    values[(values.len() * tenths).div_ceil(10) - 1]
}

#[test]
fn percentiles_are_those_of_the_members_sorted() {
    let (place, spread) = (place(), wide());
    let given = given(&place, &spread);
    let draw = Draw { members: 400, seed: 5 };
    let counted = run(&given, draw, 2);
    let years: Vec<Vec<Values>> = (0..draw.members).map(|number| whole(&given, draw.seed, number)).collect();
    for quantity in ALL {
        let coarse = counted.coarseness(quantity);
        for (day, range) in counted.ranges(quantity).enumerate() {
            let mut values: Vec<f64> = years.iter().map(|year| year[day][quantity as usize]).collect();
            for (tenths, ours) in [(1, range.low), (5, range.middle), (9, range.high)] {
                let exact = sorted(&mut values, tenths);
                assert!(
                    (ours - exact).abs() <= coarse * (1.0 + 1e-9),
                    "{quantity:?}, day {day}, {tenths} tenths: {ours}, sorted {exact}, coarse {coarse}"
                );
            }
            assert!(range.low <= range.middle && range.middle <= range.high, "{quantity:?}, day {day}: {range:?}");
            // One part in a hundred and seventy of how far the first members reach: fine enough to print.
            let (least, most) = (values[0], values[values.len() - 1]);
            assert!(coarse > 0.0 || least == most, "{quantity:?}");
        }
    }
    // Rain falls on fewer days than half: in the middle year of most days there is exactly none.
    assert!(counted.ranges(Quantity::Rain).filter(|r| r.middle == 0.0).count() > 300);
    // Members that leave, one by one.
    let side = |v: &Values| {
        let hardness = v[Quantity::Hardness as usize];
        if hardness < given.window.0 { -1 } else { i32::from(hardness >= given.window.1) }
    };
    let (mut under, mut over) = (0, 0);
    for year in &years {
        let inside = year.iter().position(|v| side(v) == 0).expect("every member starts inside");
        match year.iter().skip(inside).map(side).find(|s| *s != 0) {
            Some(-1) => under += 1,
            Some(_) => over += 1,
            None => {}
        }
    }
    assert_eq!(counted.left_by(364), [under, over]);
    assert!(under + over > 40, "a tenth and more leave: {under}, {over}");
    let day = counted.day_left(1).expect("a tenth leaves");
    let sum = |left: [u32; 2]| left[0] + left[1];
    assert!(sum(counted.left_by(day)) >= 40 && sum(counted.left_by(day - 1)) < 40);
}

#[test]
fn over_all_members_rain_evaporation_and_warmth_are_their_normals() {
    let place = place();
    let normals = &place.normals;
    let members = 4000;
    let mut sums = vec![[0.0; 3]; members];
    for (number, sums) in (0..).zip(&mut sums) {
        let mut year = Year::new(Some(Habits::USUAL), 3, number);
        for normal in normals {
            let day = year.day(normal);
            sums[0] += day.rain;
            sums[1] += day.evaporation;
            sums[2] += day.celsius - normal.celsius;
        }
    }
    let normal = [normals.iter().map(|n| n.rain).sum::<f64>(), normals.iter().map(|n| n.evaporation).sum::<f64>(), 0.0];
    for (which, normal) in normal.into_iter().enumerate() {
        let count = members as f64;
        let mean = sums.iter().map(|s| s[which]).sum::<f64>() / count;
        let variance = sums.iter().map(|s| (s[which] - mean) * (s[which] - mean)).sum::<f64>() / (count - 1.0);
        let error = (variance / count).sqrt();
        // The seed is fixed: this is not a matter of luck. Warmth is held at 0.5 °C, which no day of this place comes near.
        assert!((mean - normal).abs() < 3.0 * error, "{which}: {mean} for {normal}, standard error {error}");
        if which == 0 {
            // A year's rain varies by 10 to 20 % in the temperate belt (common practice): neither even nor wild.
            let spread = variance.sqrt() / mean;
            assert!((0.10..0.25).contains(&spread), "a year's rain varies by {spread}");
        }
    }
}

#[test]
fn rain_comes_in_spells_and_as_often_as_the_month_asks() {
    let habits = Habits::USUAL;
    let normal = Normal { evaporation: 0.002, rain: 0.002, celsius: 15.0 };
    let (mut wet, mut after_wet, mut days, mut was) = (0.0, 0.0, 0.0, false);
    for number in 0..400 {
        let mut year = Year::new(Some(habits), 9, number);
        for _ in 0..365 {
            let now = year.day(&normal).rain > 0.0;
            days += 1.0;
            wet += f64::from(u8::from(now));
            after_wet += f64::from(u8::from(now && was));
            was = now;
        }
    }
    // 2 mm a day at 5 mm a wet day: 0.4 of the days are wet, and 0.4 + 0.6 · 0.25 of those after a wet one.
    assert!((wet / days - 0.4).abs() < 0.005, "{}", wet / days);
    assert!((after_wet / wet - 0.55).abs() < 0.01, "{}", after_wet / wet);
    // Dry months stay dry, and a wet month after them starts at once.
    let mut year = Year::new(Some(habits), 9, 0);
    let dry = Normal { rain: 0.0, ..normal };
    assert!((0..100).all(|_| year.day(&dry).rain == 0.0));
}

#[test]
fn top_up_alone_follows_its_closed_form_under_any_weather() {
    // EV-31: C(t) = C0 + C_supply · ΣE / V, whatever each day takes. No rain, straight walls, a float valve; no lime.
    let box_pond = Part::Bowl { area: 20.0, straight: 1.0, depth: 1.0, power: 0.0, open: true };
    let mut place = place();
    let basin = Basin::new(&[box_pond], 20.0).expect("a box");
    let supply: Solutes = [2.0, 0.8, 0.2, 0.5, 0.0, 0.3, 0.1, 0.0, 0.0];
    place.setting =
        Setting { basin, catchment: 0.0, falls: 0.0, splash: 0.0, supply, rain: [0.0; SOLUTES], copper: Copper::KEPT };
    for normal in &mut place.normals {
        normal.rain = 0.0;
    }
    place.care = vec![Care { top_up: true, ..Care::default() }; 365];
    let spread = Spread { volume: (18.0, 22.0), ..wide() };
    let spread = Spread { pond: Vec::new(), supply: Vec::new(), ..spread };
    let given =
        Given { chemistry: Core(Dilute { log_co2: -3.2, threshold: 9.0 }), water: supply, ..given(&place, &spread) };
    let mut seen = Vec::new();
    for number in 0..20 {
        let mut evaporated = 0.0;
        let mut end = [0.0; QUANTITIES];
        member(&given, 2, number, |_, values| {
            evaporated += values[Quantity::Evaporation as usize];
            end = *values;
        });
        let volume = end[Quantity::Volume as usize];
        let closed = supply[solute::ALKALINITY] * (1.0 + evaporated / volume);
        let ours = end[Quantity::Hardness as usize];
        assert!((ours - closed).abs() <= 1e-12 * closed, "member {number}: {ours}, closed form {closed}");
        seen.push(volume);
    }
    assert!(seen.iter().any(|v| *v < 19.0) && seen.iter().any(|v| *v > 21.0), "volumes differ: {seen:?}");
}

#[test]
fn counting_does_not_grow_with_members() {
    // It hangs on the days alone: 365 days, fourteen quantities, 256 counts of four bytes, and 64 members' bytes.
    let bytes = Counted::counting_bytes(365);
    assert_eq!(bytes, 365 * 14 * (256 * 4 + 64 + 16) + 365 * 8);
    let (place, spread) = (place(), wide());
    let given = given(&place, &spread);
    let size = |members| {
        let counted = run(&given, Draw { members, seed: 1 }, 2);
        ALL.map(|q| counted.ranges(q).count())
    };
    assert_eq!(size(3), size(200));
}

#[test]
fn a_doubt_moves_the_water_to_its_ends_and_no_further() {
    let place = place();
    let quiet = Spread::none(16.0, Copper::KEPT);
    let spread = Spread {
        pond: vec![Doubt { place: 0.25, least: SUPPLY.map(|c| -0.1 * c), most: SUPPLY.map(|c| 0.3 * c) }],
        ..quiet
    };
    let chemistry = Core(Dilute { log_co2: -3.2, threshold: 9.0 });
    let given = Given { care: &[Care::default()], chemistry, ..given(&place, &spread) };
    let started: Vec<f64> = (0..2000).map(|n| whole(&given, 4, n)[0][Quantity::Hardness as usize]).collect();
    let plain = {
        let quiet = Spread::none(16.0, Copper::KEPT);
        let given = Given { spread: &quiet, ..given.clone() };
        whole(&given, 4, 0)[0][Quantity::Hardness as usize]
    };
    let share: Vec<f64> = started.iter().map(|h| h / plain - 1.0).collect();
    let ends = share.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |e: (f64, f64), s| (e.0.min(*s), e.1.max(*s)));
    // The water used is 0.9 of the supply.
    assert!(ends.0 >= -0.1 / 0.9 - 1e-3 && ends.0 < -0.1 / 0.9 + 0.01, "{ends:?}");
    assert!(ends.1 <= 0.3 / 0.9 + 1e-3 && ends.1 > 0.3 / 0.9 - 0.01, "{ends:?}");
    // A quarter of the range lies under the value used.
    let under = share.iter().filter(|s| **s < 0.0).count();
    assert!((450..550).contains(&under), "{under}");
}

#[test]
fn fish_eat_by_the_warmth_of_the_member() {
    let appetite = Appetite { full: 0.4, from: 10.0, to: 18.0 };
    assert_eq!([9.0, 10.0, 14.0, 18.0, 25.0].map(|t| appetite.at(t)), [0.0, 0.0, 0.2, 0.4, 0.4]);
}

// The followed chemistry.

fn waters() -> impl Strategy<Value = Solutes> {
    // Soft to hard, with salt, sulfate and nitrate; the last bit of balance is sodium's or chloride's.
    let c = |most: f64| 0.0..most;
    (0.05..8.0, 0.02..4.0, c(2.0), c(6.0), c(0.5), c(6.0), c(3.0), c(1.5)).prop_map(
        |(alkalinity, calcium, magnesium, sodium, potassium, chloride, sulfate, nitrate): (
            f64,
            f64,
            f64,
            f64,
            f64,
            f64,
            f64,
            f64,
        )| {
            let mut water = [alkalinity, calcium, magnesium, sodium, potassium, chloride, sulfate, nitrate, 0.0];
            let lacking =
                2.0 * (calcium + magnesium) + sodium + potassium - alkalinity - chloride - 2.0 * sulfate - nitrate;
            if lacking > 0.0 {
                water[solute::CHLORIDE] += lacking
            } else {
                water[solute::SODIUM] -= lacking
            }
            water
        },
    )
}

/// How far the followed chemistry may be from the full one: pH, conductivity as a share, lime as a share of the calcium.
const AGREE: (f64, f64, f64) = (5e-4, 1e-3, 1e-3);

fn agree(followed: &Followed<'_>, core: &Core, celsius: f64, water: &Solutes, words: &str) -> (f64, f64, f64) {
    let (ours, theirs) = (followed.at(celsius), core.at(celsius));
    let formed = (followed.lime(&ours, water), core.lime(&theirs, water));
    let calcium = water[solute::CALCIUM];
    // What it reads is the water after lime.
    let mut water = *water;
    water[solute::CALCIUM] -= formed.1;
    water[solute::ALKALINITY] -= 2.0 * formed.1;
    let (ph, conductivity) = followed.read(&ours, &water);
    let away = (
        (ph - core.ph(&theirs, &water)).abs(),
        (conductivity / core.conductivity(&theirs, &water) - 1.0).abs(),
        (formed.0 - formed.1).abs() / calcium.max(1e-3),
    );
    // Where most of the calcium comes down at once, the full one stops its own search a little early: then what is left after
    // ours must stand at the threshold by the full one's own saturation.
    let mut left = water;
    left[solute::CALCIUM] += formed.1 - formed.0;
    left[solute::ALKALINITY] += 2.0 * (formed.1 - formed.0);
    let settled = || formed.0 > 0.0 && (core.saturation(&theirs, &left) - core.0.threshold).abs() <= 1e-3;
    assert!(
        away.0 <= AGREE.0 && away.1 <= AGREE.1 && (away.2 <= AGREE.2 || settled()),
        "{words}: {celsius} °C, {water:?}: away {away:?}, lime {formed:?}"
    );
    away
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn followed_chemistry_agrees_with_the_full_one(
        water in waters(),
        other in waters(),
        celsius in 0.5_f64..32.0,
        log_co2 in -3.6_f64..-2.2,
        threshold in 0.3_f64..1.8,
        share in 0.0_f64..0.1,
    ) {
        let core = Core(Dilute { log_co2, threshold });
        let table = Table::new();
        let followed = Followed::new(core, &table);
        // From nowhere, then a day of drifting, then a leap.
        agree(&followed, &core, celsius, &water, "anew");
        let mut mixed = water;
        for (c, to) in mixed.iter_mut().zip(&other) {
            *c += share * (to - *c);
        }
        agree(&followed, &core, (celsius + 20.0 * share).min(35.0), &mixed, "drifted");
        agree(&followed, &core, 33.0 - celsius, &other, "leapt");
        let next = other.map(|c| 1.001 * c);
        agree(&followed, &core, 33.1 - celsius, &next, "drifted on");
    }
}

#[test]
fn a_water_without_alkalinity_or_ions_is_no_stumbling_block() {
    let core = Core(Dilute { log_co2: -3.4, threshold: 1.0 });
    let table = Table::new();
    let followed = Followed::new(core, &table);
    for water in [
        [0.0; SOLUTES],
        [1e-4, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        [-0.01, 0.5, 0.1, 0.1, 0.0, 1.0, 0.1, 0.1, 0.0],
        [2.0, 0.0, 0.0, 3.0, 0.0, 1.0, 0.0, 0.0, 1e-3],
        [60.0, 30.0, 10.0, 90.0, 1.0, 100.0, 5.0, 1.0, 0.0],
        [0.3, 0.1, 0.1, 0.1, 0.0, 0.1, 0.05, 0.0, 0.0],
    ] {
        for celsius in [0.5, 20.0, 60.0] {
            let (ours, theirs) = (followed.at(celsius), core.at(celsius.min(50.0)));
            let lime = (followed.lime(&ours, &water), core.lime(&theirs, &water));
            assert!((lime.0 - lime.1).abs() <= 2e-3 * water[solute::CALCIUM].max(1e-3), "{water:?}: lime {lime:?}");
            let ph = (followed.ph(&ours, &water), core.ph(&theirs, &water));
            assert!((ph.0 - ph.1).abs() < 2e-3, "{water:?}, {celsius} °C: pH {ph:?}");
            let conductivity = (followed.conductivity(&ours, &water), core.conductivity(&theirs, &water));
            assert!(
                (conductivity.0 - conductivity.1).abs() <= 2e-3 * conductivity.1.max(1.0),
                "{water:?}, {celsius} °C: {conductivity:?}"
            );
        }
    }
}

#[test]
fn the_series_stands_for_the_exponential() {
    for index in 0..16 {
        for celsius in [0.0, 12.0, 25.0, 50.0] {
            for (strength, allowed) in [(1e-6, 1e-12), (1e-3, 1e-9), (0.02, 3e-7), (0.1, 5e-6), (0.5, 5e-5)] {
                let (ours, theirs) = lane(index, celsius, strength).expect("a lane");
                assert!(
                    (ours / theirs - 1.0).abs() <= allowed,
                    "lane {index}, {celsius} °C, {strength} mol/kg: {ours}, exact {theirs}"
                );
            }
        }
    }
    assert!(lane(16, 25.0, 0.1).is_none());
}

#[test]
fn followed_years_end_where_full_ones_do() {
    // A year of drifting under real spells, with lime coming down: the followed chemistry decides every day, the full one
    // runs beside it on its own pond.
    let (place, spread) = (place(), wide());
    for (scale, threshold) in [(1.0, 1.0), (1.6, 0.6)] {
        let core = Core(Dilute { log_co2: -3.3, threshold });
        let followed = Followed::new(core, &place.table);
        let start = Pond::of(16.0, &SUPPLY.map(|c| scale * c));
        let (mut ours, mut theirs, mut limed) = (start, start, 0.0);
        let mut year = Year::new(spread.weather, 8, 1);
        for (normal, care) in place.normals.iter().zip(&place.care) {
            let day = year.day(normal);
            let sky = Sky {
                evaporation: day.evaporation,
                rain: day.rain,
                celsius: day.celsius,
                warmth: followed.at(day.celsius),
            };
            balance::day(&place.setting, &followed, &sky, care, &mut ours, &mut ());
            let sky = Sky {
                evaporation: day.evaporation,
                rain: day.rain,
                celsius: day.celsius,
                warmth: core.at(day.celsius),
            };
            let before = theirs.amounts[solute::CALCIUM];
            balance::day(&place.setting, &core, &sky, care, &mut theirs, &mut ());
            limed += (before - theirs.amounts[solute::CALCIUM]).max(0.0);
            for (a, b) in ours.water().iter().zip(theirs.water()) {
                assert!((a - b).abs() <= 1e-3 * b.abs().max(1e-3), "{a} for {b}");
            }
            let (ph, conductivity) = followed.read(&followed.at(day.celsius), &ours.water());
            let (warmth, water) = (core.at(day.celsius), theirs.water());
            assert!((ph - core.ph(&warmth, &water)).abs() <= AGREE.0);
            assert!((conductivity / core.conductivity(&warmth, &water) - 1.0).abs() <= AGREE.1);
        }
        assert!(limed > 0.1, "lime came down: {limed} mol");
    }
}
