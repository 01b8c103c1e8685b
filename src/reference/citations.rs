//! The citations. Sorted by id; a test keeps them so.

use super::Citation;
use super::Status::{self, CommonPractice, Derived, FromMemory, Sourced};

macro_rules! citations {
    ($($name:ident = $id:literal, $status:ident, $short:literal, $full:literal;)*) => {
        $(#[doc = $full]
          pub static $name: Citation = Citation { id: $id, short: $short, full: $full, status: Status::$status };)*
        /// Every citation, in the order of their ids.
        pub static CITATIONS: &[&Citation] = &[$(&$name),*];
        #[allow(dead_code, reason = "names the statuses so that the table above reads as words")]
        const STATUSES: [Status; 4] = [Sourced, Derived, CommonPractice, FromMemory];
    };
}

citations! {
    ALKALINITY_FLOOR = "BU-15", Sourced, "Wurts, alkalinity of production ponds",
        "Wurts WA, Alkalinity and Hardness in Production Ponds, Kentucky State University Cooperative Extension: alkalinity not below 20 mg/L CaCO3, wanted 50 to 150 mg/L";
    PH_RANGE = "BU-17", Sourced, "SRAC 464",
        "Wurts and Durborow (1992) SRAC Publication 464: pH 6.5 to 9.0 for fish ponds";
    PH_SWING = "BU-18", Sourced, "Mississippi State Extension P3776, swing of pH",
        "Wurts; Mississippi State University Extension P3776: in water of low alkalinity pH may go from 6 or lower to as high as 10 within a day; in water of high alkalinity 7.5 to 8.5";
    PH_STEP = "BU-19", Sourced, "Directive 2006/44/EC, pH step",
        "Directive 2006/44/EC Annex I note (a): artificial pH changes of 0.5 at most, within 6.0 to 9.0, and only if they do not make other substances more harmful. Written for rivers; the only numeric limit found";
    CARBONATE_CONSTANTS = "CE-01", Sourced, "Plummer and Busenberg 1982",
        "Plummer LN, Busenberg E (1982) The solubilities of calcite, aragonite and vaterite in CO2-H2O solutions. Geochim. Cosmochim. Acta 46:1011-1040";
    ACTIVITY_MODEL = "CH-01", Sourced, "extended Debye-Hückel, phreeqc.dat",
        "Activity coefficients by the extended Debye-Hückel form of Truesdell and Jones and by Davies, parameters of phreeqc.dat (22 May 2024, shipped with IPhreeqc 3.8.6, U.S. Geological Survey); density of water by Kell (1975), permittivity by Bradley and Pitzer (1979)";
    AQUEOUS_CONSTANTS = "CH-02", Sourced, "phreeqc.dat, 2024",
        "Equilibrium constants and their temperature dependence of phreeqc.dat (22 May 2024, shipped with IPhreeqc 3.8.6, U.S. Geological Survey)";
    COPPER_REVIEWED = "CH-03", Sourced, "Powell and others 2007",
        "Powell KJ, Brown PL, Byrne RH, Gajda T, Hefter G, Sjöberg S, Wanner H (2007) Pure Appl. Chem. 79:895-950: log K at 25 °C, as given with that reference in sit.dat (ThermoChimie 12a), from which the enthalpies are too";
    COPPER_SIT = "CH-04", Sourced, "sit.dat, ThermoChimie 12a",
        "Constants and enthalpies for copper of sit.dat (ThermoChimie 12a); malachite’s log K cites Powell and others (2007)";
    COPPER_MEMORY = "CH-05", FromMemory, "Powell and others 2007, from memory",
        "Powell and others (2007) Pure Appl. Chem. 79:895-950: log K at 25 °C from memory (sit.dat gives CuOH+ −7.97, Cu(OH)2 −16.23, tenorite 7.63, Cu(OH)2(s) 8.64; minteq.v4.dat −16.194, 7.644, 8.674); enthalpies of sit.dat for the dissolved forms, of minteq.v4.dat for the solids";
    NITRATE_ACTIVITY = "CH-06", FromMemory, "phreeqc.dat, nitrate",
        "Ion size of nitrate in phreeqc.dat, 3.0 Å, from memory; nitrate is not part of the reference tables";
    CARBON_DIOXIDE_AIR = "CH-07", CommonPractice, "417 ppm of carbon dioxide in air",
        "Common practice, no source: air of 417 ppm of carbon dioxide, 0.000417 atm, as in the reference tables of water chemistry";
    CALCIUM_SHARE = "CH-08", CommonPractice, "three quarters of general hardness is calcium",
        "Common practice, no source: where calcium was not measured, three quarters of the general hardness (by moles) are taken as calcium, one quarter as magnesium";
    DECHLORINATION = "CH-09", Derived, "net reactions of dechlorination",
        "Derived from the net reactions run to the end: 4 HOCl + Na2S2O3 + H2O = Na2SO4 + H2SO4 + 4 HCl takes 1.5 equivalents of alkalinity for each mole of Cl2, HOCl + Na2SO3 = Na2SO4 + HCl takes 1; thiosulfate that stops at tetrathionate raises the alkalinity instead";
    CHLORINE_THIOSULFATE = "CL-01", Sourced, "2 Na2S2O3 + Cl2, the least efficient route",
        "Reaction 2 Na2S2O3 + Cl2 = Na2S4O6 + 2 NaCl: 7.00 mg of sodium thiosulfate pentahydrate for each mg of chlorine, the largest dose of the routes found and so the kinder. A field guide gives 1.9, other routes 0.88 and 3.5";
    CHLORAMINE_AMMONIA = "CL-08", Derived, "ammonia left by chloramine",
        "Derived: one mole of nitrogen for each mole of combined chlorine, 14.007 / 70.90 = 0.198 mg N per mg as Cl2; that ammonia remains is confirmed in a water-utility guidance manual";
    CHLORINE_LIMIT = "CL-09", Sourced, "EPA 440/5-84-030, residual chlorine",
        "Ambient Water Quality Criteria for Chlorine, EPA 440/5-84-030 (1984): 19 µg/L over an hour (read in a quotation), 11 µg/L over four days (from memory). No pocket test proves so little: none may be found";
    USABLE_BAR = "CP-BAR", CommonPractice, "usable share of a bar",
        "Common practice, no source: three fifths of a bar can be used before it is thin";
    CHANGE_SHARE = "CP-CHANGE", CommonPractice, "daily share of water changed",
        "Common practice, no source: up to a quarter of the water in a day for a correction";
    CHLORINE_DECAY = "CP-CHLORINE", CommonPractice, "chlorine used up in a pond",
        "Common practice, no source: a pond with light, mud and life uses up free chlorine within hours (6 a day; 3 to 12) and chloramine within days (0.5 a day; 0.2 to 2), first order";
    FEED_NITROGEN = "CP-FEED", FromMemory, "3 % of the feed ends as nitrate",
        "Nitrogen of fish feed that ends as nitrate, 3 % of the feed, from memory; each gram of it takes 7.14 g of CaCO3 (derived: 2 × 50.04 / 14.007)";
    COPPER_LOSS = "CP-LOSS", CommonPractice, "loss of copper, 0.1 to 1.0 a day at 20 °C",
        "Common practice, no source: 0.1 to 1.0 a day at 20 °C; it follows CU-26 (gone within 48 hours in earth ponds) and CU-28 (stays in tanks)";
    SPELLS = "CP-SPELLS", CommonPractice, "raised spells",
        "Common practice, no source: three or four raised spells a year of one to two weeks, none within six weeks of the last";
    HARDNESS_STEP = "CP-STEP", CommonPractice, "largest rise in a day",
        "Common practice, no source (BU-20: no limit found in print): carbonate hardness at most 1 °dKH a day, general hardness 2 °dGH a day";
    POND_TARGETS = "CP-TARGETS", CommonPractice, "targets of the trade",
        "Common practice, no source: carbonate hardness 6 to 12 °dKH inside the window, calcium 40 mg/L or more, general hardness 4 °dGH or more, nitrite 0.1 and nitrate 50 mg/L or less, conductivity up to 2.5 times the supply’s";
    COPPER_TENTH = "CP-TENTH", FromMemory, "a tenth of the LC50",
        "Customary application factor of one tenth of a 96-hour LC50, from memory";
    VOLUME_UNCERTAINTY = "CP-VOLUME", CommonPractice, "uncertainty of a volume",
        "Common practice, no source: 5 % for tape and soundings, 10 % for an estimate, 2 % for a meter";
    COPPER_LOSS_WARMTH = "CP-WARMTH", CommonPractice, "5 % a degree",
        "Common practice, no source: the loss of copper grows by 1.05 with each degree";
    CHANGE_WARMTH = "CP-WATER-WARMTH", CommonPractice, "warmth of new water",
        "Common practice, no source: new water within 3 °C of the pond. A fish-veterinary practice asks that the pond itself move by less than 1 °F (0.6 °C) in a day; the tighter of the two is used";
    WINDOW = "CP-WINDOW", CommonPractice, "window of carbonate hardness",
        "Common practice, no source: copper control is safe and useful from 5.6 °dKH (100 mg/L) to under 14 °dKH (250 mg/L). The trade also says 5 °dKH; the higher, kinder edge is used";
    COPPER_CRITERION = "CU-02", Sourced, "40 CFR Part 132, chronic copper",
        "40 CFR Part 132 Table 2(b), 60 FR 15387 (1995) as amended: chronic criterion, total recoverable copper, exp(0.8545 ln H - 1.702) µg/L; times 0.960 for dissolved";
    COPPER_CANADA = "CU-10", Sourced, "Canadian guideline, total copper",
        "CCME (2005) as listed by Statistics Canada 16-256-X (2007), Appendix 1: total copper 2 µg/L up to hardness 90, above it 0.2 exp(0.8545 ln H - 1.465) µg/L; 4 µg/L at most above hardness 180 (CU-11, from memory)";
    COPPER_LASTING = "CU-12", Sourced, "former EU fish-water values, dissolved copper",
        "Former EU fish-water directive (78/659/EEC, 2006/44/EC, repealed at the end of 2013), dissolved copper by hardness, as reproduced from M. Bohl, Zucht und Produktion von Süßwasserfischen: 10: 0.005, 50: 0.022, 100: 0.040, 300: 0.112 mg/L";
    COPPER_HUSBANDRY = "CU-20", Sourced, "UF/IFAS FA-13, alkalinity / 100",
        "Watson and Yanong, UF/IFAS FA-13: copper sulfate pentahydrate in mg/L, total alkalinity / 100; not over 2.5 mg/L of copper sulfate above alkalinity 250";
    COPPER_FLOOR = "CU-21", Sourced, "UF/IFAS FA-13, floor",
        "Watson and Yanong, UF/IFAS FA-13, Use of Copper in Freshwater Aquaculture and Farm Ponds: copper not recommended below 50 mg/L alkalinity";
    COPPER_SHORT = "CU-23", Sourced, "Straus and Tucker 1993",
        "Straus DL, Tucker CS (1993) Acute toxicity of copper sulfate and chelated copper to channel catfish. J. World Aquacult. Soc. 24:390-395 (volume and pages from memory): 96-h LC50 0.05, 0.73, 0.95, 0.98 mg/L at alkalinity 16, 76, 127, 240. Catfish, not koi";
    FISH_CALCIUM = "CU-50", Sourced, "Perschbacher and Wurts 1999",
        "Perschbacher PW, Wurts WA (1999) Aquaculture 172:275-280: calcium, not magnesium, protects fish from copper";
    COPPER_COLD = "CU-53", Sourced, "Perschbacher 2005",
        "Perschbacher PW (2005) Aquaculture (abstract): more fish die of copper in colder water";
    CONDUCTIVITY_IONS = "EC-02", Sourced, "Lange, limiting ionic conductivities",
        "Lange’s Handbook of Chemistry, Table 8.32: limiting equivalent ionic conductivities at 25 °C (Na 50.11, K 73.5, half Ca 59.5); chloride 76.31 and bicarbonate 44.5 from the CRC Handbook, from memory";
    CONDUCTIVITY_WARMTH = "EC-07", FromMemory, "conductivity, 1.91 % a degree",
        "Compensation of conductivity by 1.91 % a degree from 25 °C, Standard Methods 2510, from memory";
    SALT_CONDUCTIVITY = "EC-10", Sourced, "Richardson and others 2017",
        "Richardson M, Sentlinger G, Moore RD, Zimmermann A (2017) Confluence 1(2): 0.486 mg/L of salt for each µS/cm, ± 2.8 %, background under 500 µS/cm";
    IONIC_CONDUCTIVITY = "EC-M12", Sourced, "McCleskey and others 2012",
        "McCleskey RB, Nordstrom DK, Ryan JN, Ball JW (2012) A new method of calculating electrical conductivity with applications to natural waters. Geochim. Cosmochim. Acta 77:369-382: ionic strength 0.0004 to 0.7 mol/kg, 0 to 95 °C; coefficients as two public implementations print them alike, the paper itself was not at hand";
    IONIC_CONDUCTIVITY_ONE = "EC-M12a", Sourced, "McCleskey and others 2012, one copy",
        "McCleskey RB, Nordstrom DK, Ryan JN, Ball JW (2012) Geochim. Cosmochim. Acta 77:369-382: coefficients of H+, OH- and NO3- as one public implementation prints them";
    IONIC_CONDUCTIVITY_SIGNS = "EC-M12b", Sourced, "McCleskey and others 2012, signs chosen",
        "McCleskey RB, Nordstrom DK, Ryan JN, Ball JW (2012) Geochim. Cosmochim. Acta 77:369-382: for HCO3- and CO3-2 two public implementations differ in signs; those that give the known limiting conductivity of carbonate are used";
    FARADAY = "EL-01", FromMemory, "Faraday constant, CODATA",
        "Faraday constant 96,485.33212 C/mol, CODATA 2018 and 2022 (exact), from memory";
    RELEASE = "EL-02", Derived, "Faraday’s law, two charges an atom",
        "Derived: 63.546 / (2 × 96,485.33212) = 0.329304 mg/C = 1.1855 g/Ah; that it holds in practice: Walraven, Pool, Chapman (2015) J. Water Process Eng. 8:119-125";
    REFERENCE_EVAPORATION = "EV-06", Sourced, "FAO-56",
        "Allen RG, Pereira LS, Raes D, Smith M (1998) Crop evapotranspiration, FAO Irrigation and Drainage Paper 56: equations 6 to 52, its examples 17, 18 and 20 reproduced";
    OPEN_WATER = "EV-20", Sourced, "FAO-56 table 12, open water",
        "FAO-56 table 12, section Special: open water under 2 m deep, 1.05 times reference evapotranspiration";
    OPEN_WATER_PENMAN = "EV-22", Sourced, "Penman, Shuttleworth's form",
        "Shuttleworth WJ (1993) as reproduced in encyclopedic pages: E = (Δ R_n + γ 6.43 (1 + 0.536 u_2) (e_s - e_a)) / (λ (Δ + γ)), mm a day, water's albedo 0.08";
    BUCKET_TEST = "FL-01", Sourced, "bucket and stopwatch",
        "Hydraulics laboratory sheet, Water Flow Measurement by Bucket Method: flow = volume / time";
    NOTCH = "FL-03", Sourced, "90° notch, Q = 2.49 H to the power of 2.48 in feet",
        "90° V-notch: Q = 2.49 H to the power of 2.48 (cubic feet a second, feet); origin US Bureau of Reclamation, Water Measurement Manual (from memory)";
    DEGREE_DEFINITION = "HU-01", Sourced, "one German degree is 10 mg/L of CaO",
        "Definition of the German degree of hardness, as in several unit tables";
    ATOMIC_WEIGHTS = "MM", Sourced, "CIAAW 2021",
        "CIAAW, Standard Atomic Weights 2021 (conventional values where an interval is given)";
    AMMONIA_EMERSON = "NH-01", Sourced, "Emerson and others 1975",
        "Emerson K, Russo RC, Lund RE, Thurston RV (1975) Aqueous ammonia equilibrium calculations. J. Fish. Res. Board Can. 32:2379-2383 (pages from memory)";
    AMMONIA_LIMIT = "NH-06", Sourced, "Directive 2006/44/EC, un-ionised ammonia",
        "Directive 2006/44/EC on fresh waters needing protection to support fish life, Annex I: un-ionised ammonia 0.005 mg/L guide, 0.025 mg/L mandatory, as NH3 (read in a reproduction). The kinder of the values found: UF/IFAS FA-16 gives 0.05";
    NITRITE_CHLORIDE = "NI-01", Sourced, "SRAC 462",
        "Durborow, Crosby, Brunson (1997) SRAC Publication 462, Nitrite in Fish Ponds: keep chloride at ten times nitrite or more";
    OXYGEN_SATURATION = "OX-01", FromMemory, "Benson and Krause 1984",
        "Benson and Krause (1984) oxygen in fresh water at 1 atm; coefficients from memory, values agree with a public library (gsw 3.6.23) within 0.001 mg/L";
    SOLUBILITY = "T-05", Sourced, "supplier’s safety sheet",
        "Safety sheets of the substance: sodium bicarbonate dissolves 6.9, 8.2 and 9.6 g in 100 g of water at 0, 10 and 20 °C";
    OXYGEN = "T-07", Sourced, "UF/IFAS FA-27",
        "UF/IFAS FA-27, Dissolved Oxygen for Fish Production: 5 mg/L for health, aerate at once below 4";
    TEMPERATURE_STEP = "T-09", Sourced, "fish-veterinary water page",
        "A US fish-veterinary practice’s water page: change under 1 °F a day";
    MEAN_DEPTH = "VO-08", Sourced, "mean of soundings",
        "Higginbotham B, Texas Cooperative Extension, The Tale of the Tape: the mean of soundings on crossing transects, zeros at the banks included";
    MEAN_DEPTH_SHORTCUT = "VO-10", Sourced, "0.4 of the greatest depth",
        "Environmental mathematics handbook (Spellman and Whiting, authors from memory): mean depth 0.4 of the greatest, a guess";
    GEOMETRY = "VO-14", FromMemory, "plane geometry",
        "Areas and volumes of plane figures, ellipse = pi/4 times length times width; prismoidal formula h/6 (top + 4 middle + bottom) (VO-12), any surveying text, from memory";
}
