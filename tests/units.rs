//! Units against published rows (ids of `published.md`), and the reading of quantities that people write.

#![expect(clippy::unwrap_used, reason = "a test that cannot read its own quantity has failed")]

use proptest::prelude::*;
use weirbook::units::table::{self as unit, weight};
use weirbook::units::{
    AmmoniaNitrogen, Angle, Calcium, CarbonateHardness, Conductivity, Digits, GeneralHardness, Kind, Length, Mass,
    Nitrate, NitriteIon, Phosphate, ReadError, Si, ThermodynamicTemperature, Volume, group, plain, read, read_number,
    read_si, significant,
};

/// Ours against a printed value. The tolerance is half a unit of its last printed digit: the most that rounding explains.
fn agrees(row: &str, ours: f64, printed: f64, half_digit: f64) {
    assert!((ours - printed).abs() <= half_digit, "{row}: we say {ours}, published is {printed}");
}

fn kh(text: &str) -> f64 {
    read::<CarbonateHardness>(text).unwrap().si()
}
fn gh(text: &str) -> f64 {
    read::<GeneralHardness>(text).unwrap().si()
}

#[test]
fn hardness_units_agree_with_published_rows() {
    // HU-01, HU-03: a German degree is 10 mg/L of CaO, two charges each; CaO is 56.077 g/mol (MM-05, periodictable).
    agrees("HU-01", gh("1 dGH"), 10.0 / 56.077, 1e-6);
    agrees("HU-03", kh("1 dKH"), 0.356_652, 5e-7);
    // HU-02: 10 x 100.086 / 56.077.
    agrees("HU-02", unit::KH_MG.of(kh("1 dKH")), 17.848, 5e-4);
    agrees("HU-02", unit::GH_PPM.of(gh("1 dGH")), 17.848, 5e-4);
    // HU-04: Kozisek 2020, section 3; 1 mmol/L, rounded there.
    agrees("HU-04", unit::DEGREE_GH.of(gh("1 mmol/L")), 5.6, 0.05);
    agrees("HU-04", unit::GH_FRENCH.of(gh("1 mmol/L")), 10.0, 0.5);
    agrees("HU-04", unit::GH_MG.of(gh("1 mmol/L")), 100.0, 0.5);
    // HU-05: a grain in an imperial gallon.
    agrees("HU-05", unit::GH_MG.of(gh("1 °e")), 14.254, 5e-4);
    agrees("HU-05", unit::KH_MG.of(kh("1 eKH")), 14.254, 5e-4);
    // HU-06: definition.
    agrees("HU-06", unit::GH_MG.of(gh("1 fH")), 10.0, 1e-12);
    agrees("HU-06", unit::KH_MG.of(kh("1 fKH")), 10.0, 1e-12);
    // HU-07: a grain in a US gallon.
    agrees("HU-07", unit::GH_MG.of(gh("1 gpg")), 17.118, 5e-4);
    agrees("HU-07", unit::KH_MG.of(kh("1 gpg")), 17.118, 5e-4);
    // HU-08: 2.497 Ca + 4.118 Mg.
    agrees("HU-08", unit::CALCIUM_CACO3.of(read::<Calcium>("1 mg/L Ca").unwrap().si()), 2.497, 5e-4);
    agrees("HU-08", unit::GH_MG.of(1.0 / weight::MG), 4.118, 5e-4);
    // HU-09: 1 meq/L.
    agrees("HU-09", unit::KH_MG.of(kh("1 meq/L")), 50.043, 5e-4);
    agrees("HU-09", unit::DEGREE_KH.of(kh("1 meq/L")), 2.804, 5e-4);
}

#[test]
fn hardness_of_one_water_is_the_same_in_both_sorts_of_degree() {
    // HU-03: as charge, a degree of carbonate hardness is two of what a degree of general hardness is as moles.
    agrees("HU-03", kh("1 dKH"), 2.0 * gh("1 dGH"), 1e-15);
}

#[test]
fn volumes_agree_with_published_rows() {
    let litres = |text: &str| unit::LITRE.of(read::<Volume>(text).unwrap().si());
    // VO-01, VO-02: exact by definition; the tolerance is that of doubles.
    agrees("VO-01", litres("1 US gal"), 3.785_411_784, 1e-15);
    agrees("VO-02", litres("1 imp gal"), 4.546_09, 1e-15);
    // VO-01 by another route: 231 cubic inches.
    let inch = read::<Length>("1 in").unwrap().si();
    agrees("VO-01", litres("1 US gal"), 231.0 * inch * inch * inch * 1e3, 1e-13);
    // VO-03: an acre-foot is 43,560 ft³.
    let acre_foot = read::<Volume>("43,560 ft3").unwrap().si();
    agrees("VO-03", unit::US_GALLON.of(acre_foot), 325_851.0, 0.5);
    agrees("VO-03", unit::LITRE.of(acre_foot), 1_233_482.0, 0.5);
    // VO-04: 1 mg/L in an acre-foot, in pounds.
    agrees("VO-04", unit::POUND.of(acre_foot * unit::MILLIGRAMS.size), 2.719, 5e-4);
    // VO-05: state operator formula sheet, 2014; more digits derived there.
    agrees("VO-05", unit::US_GALLON.of(read::<Volume>("1 ft3").unwrap().si()), 7.480_519, 5e-7);
}

#[test]
fn conductivity_units_agree_with_published_rows() {
    let of = |text: &str| read::<Conductivity>(text).unwrap().si();
    // EC-04: 0.01 M KCl is 1413 µS/cm, which is 0.1413 S/m; EC-09: 1 g/L salt, about 1.99 mS/cm.
    agrees("EC-04", of("1413 µS/cm"), 0.141_3, 1e-15);
    agrees("EC-09", of("1.99 mS/cm"), of("1990 uS/cm"), 1e-15);
}

#[test]
fn forms_of_nitrogen_and_phosphorus_agree_with_the_trade() {
    // Factors of TRADE.md section 2, printed there with two or three decimals.
    let ammonia = |text: &str| read::<AmmoniaNitrogen>(text).unwrap().si();
    agrees("NH3 by N", ammonia("1 mg/L N") / ammonia("1 mg/L NH3"), 1.216, 5e-4);
    agrees("NH4 by N", ammonia("1 mg/L N") / ammonia("1 mg/L NH4"), 1.288, 5e-4);
    let nitrite = |text: &str| read::<NitriteIon>(text).unwrap().si();
    agrees("NO2 by N", nitrite("1 mg/L NO2-N") / nitrite("1 mg/L NO2"), 3.28, 0.005);
    let nitrate = |text: &str| read::<Nitrate>(text).unwrap().si();
    agrees("NO3 by N", nitrate("1 mg/L NO3-N") / nitrate("1 mg/L NO3"), 4.43, 0.005);
    let phosphate = |text: &str| read::<Phosphate>(text).unwrap().si();
    agrees("PO4 by P", phosphate("1 mg/L PO4-P") / phosphate("1 mg/L PO4"), 3.07, 0.005);
}

#[test]
fn quantities_are_read_as_people_write_them() {
    // 1e-9 relative: the right-hand sides are worked by hand from definitions, to ten figures.
    let near =
        |ours: f64, by_hand: f64| assert!((ours - by_hand).abs() <= 1e-9 * by_hand.abs(), "{ours} is not {by_hand}");
    for (kind, text, si) in [
        (Kind::CarbonateHardness, "7 dKH", 7.0 * 20.0 / 56.077),
        (Kind::CarbonateHardness, "7dKH", 7.0 * 20.0 / 56.077),
        (Kind::CarbonateHardness, "7 °dKH", 7.0 * 20.0 / 56.077),
        (Kind::CarbonateHardness, "125 mg/L CaCO3", 250.0 / 100.086),
        (Kind::CarbonateHardness, "125 mg/L as CaCO₃", 250.0 / 100.086),
        (Kind::CarbonateHardness, "125 ppm CaCO3", 250.0 / 100.086),
        (Kind::Volume, "3,300 US gal", 12.491_858_887_2),
        (Kind::Volume, "24.9 m3", 24.9),
        (Kind::Length, "0.6 m", 0.6),
        (Kind::Length, "60cm", 0.6),
        (Kind::Length, "2 ft 3 in", 0.685_8),
        (Kind::Length, "2' 3\"", 0.685_8),
        (Kind::Length, "−3 m", -3.0),
        (Kind::Temperature, "64 °F", 290.927_777_777_8),
        (Kind::Temperature, "17.5 C", 290.65),
        (Kind::Mass, "1 lb 8 oz", 0.680_388_555),
        (Kind::Time, "2 h 15 min", 8_100.0),
        (Kind::Conductivity, "0.42 mS/cm", 0.042),
        (Kind::Conductivity, "420 μS/cm", 0.042),
        (Kind::MassConcentration, "20 ppb", 2e-5),
        (Kind::Flow, "6 US gal/min", 3.785_411_784e-3 / 10.0),
        (Kind::Share, "75.5 %", 0.755),
    ] {
        near(read_si(kind, text).unwrap_or_else(|e| panic!("`{text}`: {e:?}")), si);
    }
    near(read::<Angle>("33.9 °S").unwrap().si(), -33.9 * std::f64::consts::PI / 180.0);
}

#[test]
fn what_is_no_quantity_is_refused_for_its_reason() {
    let why = |text: &str| read::<CarbonateHardness>(text).unwrap_err();
    assert_eq!(why(""), ReadError::Empty);
    assert_eq!(why("soft"), ReadError::NoNumber);
    assert_eq!(why("125"), ReadError::NoUnit);
    assert_eq!(why("7,5 dKH"), ReadError::DecimalComma);
    assert!(matches!(why("125 ppm"), ReadError::Ambiguous { .. }));
    assert!(matches!(why("125 mg/L"), ReadError::Ambiguous { .. }));
    assert!(matches!(why("7 degrees"), ReadError::Ambiguous { .. }));
    assert!(matches!(why("9 dGH"), ReadError::OtherKind { measures: Kind::GeneralHardness, .. }));
    assert!(matches!(why("7 m"), ReadError::OtherKind { measures: Kind::Length, .. }));
    assert_eq!(why("7 dHK"), ReadError::UnknownUnit { unit: "dHK".to_owned(), nearest: Some("dkh") });
    // A capital that changes the size is not read as its small letter.
    assert!(read::<Length>("5 M").is_err());
    assert!(read_si(Kind::Current, "5 MA").is_err());
    // Not feet and gallons, nor a number behind its unit.
    assert!(read::<Length>("2 ft 3 cm").is_err());
    assert!(read::<Mass>("1e999 kg").is_err());
    assert!(read::<ThermodynamicTemperature>("14 °").is_err());
}

#[test]
fn every_unit_is_known_by_its_own_symbol() {
    for unit in unit::ALL {
        let found =
            weirbook::units::unit_named(unit.kind, unit.symbol).unwrap_or_else(|e| panic!("{}: {e:?}", unit.symbol));
        assert_eq!(found, unit, "`{}` is read as another unit", unit.symbol);
        for spelling in unit.also {
            let found = weirbook::units::unit_named(unit.kind, spelling).unwrap();
            assert_eq!(found, unit, "`{spelling}` is read as `{}`", found.symbol);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2_000, failure_persistence: None, ..ProptestConfig::default() })]

    /// Printing is to the last digit, so what is lost is the rounding of two conversions, a few parts in 10^16; for °C and °F
    /// the zero is 273 K away and costs two digits more. 1e-12 leaves room and would still show a unit with a wrong digit.
    #[test]
    fn print_then_read_is_the_identity(which in 0..unit::ALL.len(), mantissa in 1.0..10.0_f64, power in -6..6_i32) {
        let unit = &unit::ALL[which];
        let si = if unit.kind == Kind::Temperature { 250.0 + 10.0 * mantissa } else { mantissa * 10.0_f64.powi(power) };
        let printed = format!("{} {}", unit.of(si), unit.symbol);
        let back = read_si(unit.kind, &printed).unwrap();
        prop_assert!((back - si).abs() <= 1e-12 * si.abs(), "{printed} comes back as {back}, not {si}");
    }

    /// What the page prints can be copied back into a site file: grouped, with U+2212, and still the same rounded number.
    #[test]
    fn grouped_numbers_are_read_back(mantissa in -10.0..10.0_f64, power in -6..9_i32, figures in 1..8_usize) {
        let value = mantissa * 10.0_f64.powi(power);
        for printed in [group(value, Digits::Significant(figures)), plain(value, Digits::Significant(figures))] {
            let rounded = significant(value, figures);
            let back = read_number(&printed).unwrap();
            // 1e-12: the digits shown are those of `rounded`, whose own last bit may differ from theirs.
            prop_assert!((back - rounded).abs() <= 1e-12 * rounded.abs(), "{printed} comes back as {back}, not {rounded}");
        }
    }

    #[test]
    fn no_text_makes_reading_panic(text in "\\PC{0,24}", which in 0..unit::ALL.len()) {
        let _ = read_si(unit::ALL[which].kind, &text);
        let _ = read_si(unit::ALL[which].kind, &format!("3 {text}"));
        let _ = read_number(&text);
    }
}
