//! What a template may use: every name of the view with its meaning. A test holds this table against what plans offer, and the
//! comments at the head of the templates that are written out come from it.

use std::fmt::Write as _;

use super::drawings::DRAWINGS;

/// What stands behind a name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Words, which are escaped when they are printed.
    Text,
    /// A number.
    Number,
    /// True or false, for `{% if %}`.
    Flag,
    /// A published number: it prints as its words, and has the parts of [`FIGURE`].
    Figure,
    /// Numbers of lines of the workings, for the margin.
    Mark,
    /// A group of names.
    Part,
    /// Several of a kind, for `{% for %}`; the names of each follow with `[]`.
    List,
}

impl Kind {
    fn word(self) -> &'static str {
        match self {
            Kind::Text => "text",
            Kind::Number => "number",
            Kind::Flag => "yes or no",
            Kind::Figure => "figure",
            Kind::Mark => "marks",
            Kind::Part => "part",
            Kind::List => "list",
        }
    }
}

/// One name of the view.
#[derive(Clone, Copy, Debug)]
pub struct Name {
    /// The whole name; `[]` stands for each of a list.
    pub path: &'static str,
    /// What stands behind it.
    pub kind: Kind,
    /// What it means.
    pub words: &'static str,
}

#[expect(non_snake_case, reason = "a row of the table reads like the type it makes")]
const fn Name(path: &'static str, kind: Kind, words: &'static str) -> Name {
    Name { path, kind, words }
}

/// What a figure is made of, and when it is of use.
#[rustfmt::skip]
pub const FIGURE: &[(&str, Kind, &str)] = &[
    ("text",  Kind::Text, "its words, to compare or to count"),
    ("mark",  Kind::Mark, "the number of its line in the workings, for the margin"),
    ("large", Kind::Text, "its words for the sheet in the shed: digits strong, nothing in brackets"),
    ("stock", Kind::Part, "where an amount is too small to weigh: a stock solution, with .text (how much of it), .grams (in a litre) and .mark"),
];

/// What the stock solution of a figure is made of.
#[rustfmt::skip]
pub const STOCK: &[(&str, Kind)] = &[("text", Kind::Text), ("grams", Kind::Number), ("mark", Kind::Mark)];

/// Every name, in groups, in the order in which a reader would look for it. What may be absent says so: `{% if x %}` asks.
#[rustfmt::skip]
pub const NAMES: &[Name] = &[
    Name("edition",                     Kind::Text,   "which document this is: care-plan, shed-sheet or workings"),
    Name("squeeze",                     Kind::Number, "how much the sheet in the shed must leave out to fit: 0 for nothing, up to 7"),
    Name("small_sheet",                 Kind::Flag,   "whether the sheet in the shed is A5 or Half Letter"),
    Name("american",                    Kind::Flag,   "whether the site is in the United States"),
    Name("ring",                        Kind::Text,   "ring, or call in the United States"),
    Name("Ring",                        Kind::Text,   "the same at the head of a sentence"),
    Name("protection_device",           Kind::Text,   "what cuts the current when somebody is in danger"),
    Name("litres",                      Kind::Text,   "the word for the unit of volume: litres or gallons"),
    Name("fahrenheit",                  Kind::Flag,   "whether warmth is given in °F"),
    Name("warm",                        Kind::Text,   "the warmth that the loss of copper is told for"),
    Name("start_temperature",           Kind::Text,   "how warm the water must be before copper is given"),
    Name("ammonia_limit",               Kind::Text,   "the limit of toxic ammonia"),

    Name("date",                        Kind::Text,   "the plan's date in full"),
    Name("today",                       Kind::Text,   "the plan's date with its weekday, without the year"),
    Name("date_short",                  Kind::Text,   "day and month of the plan's date"),
    Name("next_visit",                  Kind::Text,   "the next visit's date; absent if the site file names none"),
    Name("visit",                       Kind::Text,   "the last visit's date; absent if the log is empty"),
    Name("visits",                      Kind::Number, "how many visits the log holds"),

    Name("site",                        Kind::Part,   "the pond"),
    Name("site.name",                   Kind::Text,   "its name"),
    Name("site.owner",                  Kind::Text,   "its owner"),
    Name("site.place",                  Kind::Text,   "where it is"),
    Name("site.where",                  Kind::Text,   "name and place together"),
    Name("site.country_rules",          Kind::Text,   "whose law applies: us, eu, uk or other"),

    Name("firm",                        Kind::Part,   "whoever makes the plan"),
    Name("firm.name",                   Kind::Text,   "the firm's name"),
    Name("firm.telephone",              Kind::Text,   "its telephone"),
    Name("firm.by",                     Kind::Text,   "who visited; the firm if nobody is named"),

    Name("verdict",                     Kind::Part,   "whether copper control suits this pond"),
    Name("verdict.word",                Kind::Text,   "Yes, Not yet or No"),
    Name("verdict.key",                 Kind::Text,   "the reason that leads, such as pond-soft; sentences.md lists them"),
    Name("verdict.name",                Kind::Text,   "whom or what the leading reason names, such as an animal"),
    Name("verdict.keys",                Kind::List,   "the keys of all reasons"),
    Name("verdict.keys[]",              Kind::Text,   "a key, such as pond-soft"),
    Name("verdict.reasons",             Kind::List,   "all reasons"),
    Name("verdict.reasons[]",           Kind::Part,   "one reason"),
    Name("verdict.reasons[].about",     Kind::Text,   "what it is about: pond, supply, calcium, ammonia, animals, outflow, copper, authorisation or panel"),
    Name("verdict.reasons[].key",       Kind::Text,   "its key, such as pond-soft; sentences.md lists them"),
    Name("verdict.reasons[].word",      Kind::Text,   "what it says by itself: Yes, Not yet or No"),
    Name("verdict.reasons[].name",      Kind::Text,   "whom or what it names, such as an animal; may be empty"),
    Name("verdict.reasons[].weighs",    Kind::Flag,   "whether it decides against copper"),

    Name("volume",                      Kind::Part,   "how much water"),
    Name("volume.low",                  Kind::Figure, "the low end; doses go by it"),
    Name("volume.high",                 Kind::Figure, "the high end"),
    Name("volume.low_number",           Kind::Figure, "the low end without its unit"),
    Name("volume.total",                Kind::Figure, "the weighed mean, without its unit"),
    Name("volume.rows",                 Kind::List,   "the parts of the pond, what stands in it, and other ways of measuring"),
    Name("volume.rows[]",               Kind::Part,   "one row"),
    Name("volume.rows[].name",          Kind::Text,   "the part"),
    Name("volume.rows[].how",           Kind::Text,   "how it was found"),
    Name("volume.rows[].value",         Kind::Text,   "how much, without its unit"),
    Name("volume.rows[].mark",          Kind::Mark,   "its line"),

    Name("readings",                    Kind::List,   "the rows of the table of readings"),
    Name("readings[]",                  Kind::Part,   "one reading"),
    Name("readings[].key",              Kind::Text,   "its key, such as carbonate-hardness"),
    Name("readings[].name",             Kind::Text,   "its name"),
    Name("readings[].unit",             Kind::Text,   "its unit; empty for pH"),
    Name("readings[].pond",             Kind::Text,   "what the pond read; absent if it was not measured"),
    Name("readings[].supply",           Kind::Text,   "what the supply read; absent if it was not measured"),
    Name("readings[].target",           Kind::Text,   "the target range"),
    Name("readings[].word",             Kind::Text,   "the verdict on it, such as too low"),
    Name("readings[].acts",             Kind::Flag,   "whether something has to be done about it"),
    Name("readings[].marks",            Kind::Mark,   "the lines its target comes from"),
    Name("acting",                      Kind::Text,   "how many readings ask for something, as a word"),

    Name("logged",                      Kind::Part,   "how many visits of the log have a reading"),
    Name("logged.hardness",             Kind::Number, "of carbonate hardness"),
    Name("logged.conductivity",         Kind::Number, "of conductivity"),
    Name("logged.copper",               Kind::Number, "of total copper"),
    Name("logged.copper_under",         Kind::Number, "of total copper, as less than what the kit can show"),

    Name("now",                         Kind::Part,   "the last visit's readings, with their units; each absent if it was not measured"),
    Name("now.hardness",                Kind::Text,   "carbonate hardness"),
    Name("now.calcium",                 Kind::Text,   "calcium"),
    Name("now.copper",                  Kind::Text,   "total copper"),
    Name("now.conductivity",            Kind::Text,   "conductivity"),
    Name("now.ammonia",                 Kind::Text,   "toxic ammonia at the day's highest pH"),
    Name("now.ph_morning",              Kind::Text,   "pH in the morning"),
    Name("now.supply_hardness",         Kind::Text,   "carbonate hardness of the supply"),
    Name("now.temperature",             Kind::Text,   "the water's temperature"),
    Name("now.celsius",                 Kind::Number, "the same in °C, as a number"),
    Name("now.cold",                    Kind::Flag,   "whether it is too cold for copper"),

    Name("window",                      Kind::Part,   "carbonate hardness in which copper is safe and useful"),
    Name("window.low",                  Kind::Text,   "its low end, without unit"),
    Name("window.high",                 Kind::Text,   "its high end, without unit"),
    Name("window.unit",                 Kind::Text,   "its unit"),
    Name("window.mark",                 Kind::Mark,   "the lines of both"),
    Name("window.low_mark",             Kind::Mark,   "the line of the low end"),
    Name("window.high_mark",            Kind::Mark,   "the line of the high end"),

    Name("actions",                     Kind::List,   "what to do now, in order"),
    Name("actions[]",                   Kind::Part,   "one action"),
    Name("actions[].act",               Kind::Text,   "what, such as buffer or panel-zero"),
    Name("actions[].when_key",          Kind::Text,   "when: today, on, mornings, or what must come first, such as ammonia-gate"),
    Name("actions[].when",              Kind::Text,   "the days, where when_key is on"),

    Name("buffer",                      Kind::Part,   "doses that raise carbonate hardness; absent if there are none"),
    Name("buffer.name",                 Kind::Text,   "the substance"),
    Name("buffer.shop",                 Kind::Text,   "what to ask for in the shop"),
    Name("buffer.adding",               Kind::Text,   "how to add it"),
    Name("buffer.handling",             Kind::Text,   "how to handle it"),
    Name("buffer.beware",               Kind::Text,   "what it must not be taken for"),
    Name("buffer.dose",                 Kind::Figure, "one dose"),
    Name("buffer.buy",                  Kind::Figure, "how much to buy"),
    Name("buffer.count",                Kind::Figure, "how many doses, as a word"),
    Name("buffer.many",                 Kind::Flag,   "whether there are more than one"),
    Name("buffer.start",                Kind::Text,   "carbonate hardness before"),
    Name("buffer.goal",                 Kind::Figure, "carbonate hardness aimed at"),
    Name("buffer.after",                Kind::Figure, "carbonate hardness to expect after the last dose"),
    Name("buffer.rise",                 Kind::Figure, "what one dose raises it by, at most"),
    Name("buffer.stir",                 Kind::Figure, "water to dissolve a dose in; absent if unknown"),
    Name("buffer.ph_shift",             Kind::Figure, "what pH moves by in a day, at most"),
    Name("buffer.ph_after",             Kind::Figure, "pH after the last dose, at its highest hour"),
    Name("buffer.ph_least",             Kind::Figure, "the least that it may be, by what the kits can tell"),
    Name("buffer.ph_most",              Kind::Figure, "the most that it may be"),
    Name("buffer.takes",               Kind::Part,   "what it takes in all"),
    Name("buffer.takes.best",          Kind::Figure, "as readings and tape are"),
    Name("buffer.takes.least",         Kind::Figure, "the least that kit and tape allow: what the doses go by"),
    Name("buffer.takes.most",          Kind::Figure, "the most that they allow"),
    Name("buffer.ammonia_after",        Kind::Figure, "toxic ammonia after the last dose"),
    Name("buffer.days",                 Kind::Text,   "the days, as a phrase"),
    Name("buffer.day_list",             Kind::List,   "the days one by one, to tick"),
    Name("buffer.day_list[]",           Kind::Text,   "a day"),
    Name("buffer.expect_marks",         Kind::Mark,   "the lines behind what to expect"),
    Name("buffer.table",                Kind::List,   "the days of the correction, one column each"),
    Name("buffer.table[]",              Kind::Part,   "one day"),
    Name("buffer.table[].head",         Kind::Text,   "the day"),
    Name("buffer.table[].dose",         Kind::Text,   "the dose; empty on other days"),
    Name("buffer.table[].stir",         Kind::Text,   "water to dissolve it in; empty on other days"),
    Name("buffer.table[].expect",       Kind::Text,   "carbonate hardness to expect after it; empty on other days"),
    Name("buffer.table[].test",         Kind::Text,   "what to test first"),
    Name("buffer.table[].done",         Kind::Flag,   "whether there is something to tick"),

    Name("calcium",                     Kind::Part,   "doses that raise calcium; absent if there are none"),
    Name("calcium.name",                Kind::Text,   "the substance"),
    Name("calcium.shop",                Kind::Text,   "what to ask for in the shop"),
    Name("calcium.adding",              Kind::Text,   "how to add it"),
    Name("calcium.handling",            Kind::Text,   "how to handle it"),
    Name("calcium.beware",              Kind::Text,   "what it must not be taken for"),
    Name("calcium.dose",                Kind::Figure, "one dose"),
    Name("calcium.buy",                 Kind::Figure, "how much to buy"),
    Name("calcium.count",               Kind::Figure, "how many doses, as a word"),
    Name("calcium.many",                Kind::Flag,   "whether there are more than one"),
    Name("calcium.start",               Kind::Text,   "calcium before"),
    Name("calcium.goal",                Kind::Figure, "calcium aimed at"),
    Name("calcium.after",               Kind::Figure, "calcium to expect after the last dose"),
    Name("calcium.takes",              Kind::Part,   "what it takes in all"),
    Name("calcium.takes.best",         Kind::Figure, "as readings and tape are"),
    Name("calcium.takes.least",        Kind::Figure, "the least that kit and tape allow: what the doses go by"),
    Name("calcium.takes.most",         Kind::Figure, "the most that they allow"),
    Name("calcium.for_conductivity",    Kind::Flag,   "whether it is more than the goal asks for, for the panel's sake"),
    Name("calcium.days",                Kind::Text,   "the days, as a phrase"),
    Name("calcium.day_list",            Kind::List,   "the days one by one, to tick"),
    Name("calcium.day_list[]",          Kind::Text,   "a day"),

    Name("salt",                        Kind::Part,   "salt for conductivity; absent if there is none"),
    Name("salt.dose",                   Kind::Figure, "one dose"),
    Name("salt.total",                  Kind::Figure, "all doses together"),
    Name("salt.takes",                 Kind::Part,   "what it takes in all"),
    Name("salt.takes.best",            Kind::Figure, "as readings and tape are"),
    Name("salt.takes.least",           Kind::Figure, "the least that kit and tape allow: what the doses go by"),
    Name("salt.takes.most",            Kind::Figure, "the most that they allow"),
    Name("salt.count",                  Kind::Text,   "how many doses, as a word"),
    Name("salt.days",                   Kind::Text,   "the days, as a phrase"),

    Name("changes",                     Kind::Part,   "water changes that bring hardness down; absent if there are none"),
    Name("changes.count",               Kind::Figure, "how many, as a word"),
    Name("changes.many",                Kind::Flag,   "whether there are more than one"),
    Name("changes.share",               Kind::Figure, "share of the water in one change"),
    Name("changes.volume",              Kind::Figure, "water in one change"),
    Name("changes.through",             Kind::Figure, "water that one continuous flow-through would need instead"),
    Name("changes.time",                Kind::Figure, "how long the hose runs; absent if its flow is unknown"),
    Name("changes.off_at",              Kind::Text,   "when to shut a hose opened at nine; absent if unknown, or past midnight"),
    Name("changes.thiosulfate",         Kind::Figure, "what neutralises the chlorine of one change; absent if it needs none"),
    Name("changes.buffer",              Kind::Figure, "buffer that one change needs; absent if it needs none"),
    Name("changes.gate",                Kind::Figure, "total ammonia up to which a change may start; absent if there is no such gate"),
    Name("changes.gate_too_fine",       Kind::Flag,   "whether the kit cannot show that"),
    Name("changes.ph_differs",          Kind::Flag,   "whether supply and pond lie more than half a unit of pH apart"),
    Name("changes.ph_shift",             Kind::Figure, "what one change moves pH by, at most; absent if the ions of pond or supply are unknown"),
    Name("changes.ph_after",             Kind::Figure, "pH right after one change; absent likewise"),
    Name("changes.ph_too_far",           Kind::Flag,   "whether that is more than a day may bring"),
    Name("changes.ph_smaller",           Kind::Flag,   "whether the changes are smaller than they might be, for pH"),
    Name("changes.conductivity_after",   Kind::Figure, "conductivity after the last; absent if unknown"),
    Name("changes.calcium_after",       Kind::Figure, "calcium after the last; absent if unknown"),
    Name("changes.hardness_after",      Kind::Figure, "carbonate hardness after the last; absent if unknown"),
    Name("changes.copper_after",        Kind::Figure, "copper after the last; absent if unknown"),
    Name("changes.days",                Kind::Text,   "the days, as a phrase"),
    Name("changes.day_list",            Kind::List,   "the days one by one, to tick"),
    Name("changes.day_list[]",          Kind::Text,   "a day"),

    Name("copper_change",               Kind::Part,   "water changes that bring copper down; absent if there are none. Its names are those of changes"),
    Name("copper_change.count",         Kind::Figure, "how many, as a word"),
    Name("copper_change.many",          Kind::Flag,   "whether there are more than one"),
    Name("copper_change.share",         Kind::Figure, "share of the water in one change"),
    Name("copper_change.volume",        Kind::Figure, "water in one change"),
    Name("copper_change.through",       Kind::Figure, "water that one continuous flow-through would need instead"),
    Name("copper_change.time",          Kind::Figure, "how long the hose runs; absent if its flow is unknown"),
    Name("copper_change.off_at",        Kind::Text,   "when to shut a hose opened at nine; absent if unknown, or past midnight"),
    Name("copper_change.thiosulfate",   Kind::Figure, "what neutralises the chlorine of one change; absent if it needs none"),
    Name("copper_change.buffer",        Kind::Figure, "buffer that one change needs; absent if it needs none"),
    Name("copper_change.gate",          Kind::Figure, "total ammonia up to which a change may start; absent if there is no such gate"),
    Name("copper_change.gate_too_fine", Kind::Flag,   "whether the kit cannot show that"),
    Name("copper_change.ph_differs",    Kind::Flag,   "whether supply and pond lie more than half a unit of pH apart"),
    Name("copper_change.ph_shift",       Kind::Figure, "what one change moves pH by, at most; absent if the ions of pond or supply are unknown"),
    Name("copper_change.ph_after",       Kind::Figure, "pH right after one change; absent likewise"),
    Name("copper_change.ph_too_far",     Kind::Flag,   "whether that is more than a day may bring"),
    Name("copper_change.ph_smaller",     Kind::Flag,   "whether the changes are smaller than they might be, for pH"),
    Name("copper_change.conductivity_after", Kind::Figure, "conductivity after the last; absent if unknown"),
    Name("copper_change.calcium_after", Kind::Figure, "calcium after the last; absent if unknown"),
    Name("copper_change.hardness_after", Kind::Figure, "carbonate hardness after the last; absent if unknown"),
    Name("copper_change.copper_after",  Kind::Figure, "copper after the last; absent if unknown"),
    Name("copper_change.days",          Kind::Text,   "the days, as a phrase"),
    Name("copper_change.day_list",      Kind::List,   "the days one by one, to tick"),
    Name("copper_change.day_list[]",    Kind::Text,   "a day"),

    Name("supply_buffer",               Kind::Figure, "buffer for 1,000 litres or gallons of soft supply; absent if it needs none"),
    Name("supply_cannot",               Kind::Flag,   "whether this supply cannot bring the pond to its target"),
    Name("conductivity_after",          Kind::Figure, "conductivity after all doses; absent if unknown"),
    Name("conductivity_range",          Kind::Figure, "the same, least to most by what the kits can tell; absent if unknown"),
    Name("conductivity_short",          Kind::Text,   "the most conductivity that can be reached, where the panel asks for more; absent else"),

    Name("lime",                        Kind::Part,   "lime after all doses"),
    Name("lime.after",                  Kind::Figure, "its saturation index; absent if unknown"),
    Name("lime.borne",                  Kind::Flag,   "whether the water bears that"),
    Name("lime.keeps",                  Kind::Flag,   "whether calcium stops short of its goal, because more would come down"),
    Name("lime.falls",                  Kind::Flag,   "whether the carbonate hardness aimed at makes lime come down by itself"),

    Name("ions",                        Kind::Part,   "what the water is by calculation; absent if its readings do not tell"),
    Name("ions.conductivity",           Kind::Figure, "conductivity of the ions that were read; absent if the meter's is not known"),
    Name("ions.misfit",                 Kind::Figure, "how far that lies from the meter; absent with it"),
    Name("ions.more",                   Kind::Flag,   "whether the ions conduct clearly more than the meter shows"),
    Name("ions.less",                   Kind::Flag,   "whether they conduct clearly less"),
    Name("ions.lime",                   Kind::Figure, "saturation index of lime; absent without calcium"),
    Name("ions.crust",                  Kind::Flag,   "whether lime may come down"),
    Name("ions.hungry",                 Kind::Flag,   "whether the water dissolves lime"),
    Name("ions.free_copper",            Kind::Figure, "free share of the copper, at most; absent if unknown"),
    Name("ions.softened",               Kind::Flag,   "whether general hardness is under half of carbonate hardness"),
    Name("ions.again",                  Kind::Text,   "the reading to test again where two disagree; absent if none do"),

    Name("limits",                      Kind::Part,   "the limits of copper; absent if this water has none"),
    Name("limits.stop",                 Kind::Figure, "from here on: level zero, and change water"),
    Name("limits.watch",                Kind::Figure, "from here on: test every second day"),
    Name("limits.lasting",              Kind::Figure, "the mean over 28 days"),
    Name("limits.open_water",           Kind::Figure, "the mark for open water, for comparison"),
    Name("limits.season_stop",          Kind::Figure, "the lowest stop until the next visit, without its unit"),
    Name("limits.season_watch",         Kind::Figure, "half of it"),
    Name("limits.stop_number",          Kind::Figure, "stop without its unit"),
    Name("limits.watch_number",         Kind::Figure, "watch without its unit"),
    Name("limits.unit",                 Kind::Text,   "the unit of copper"),
    Name("limits.protection",           Kind::Figure, "the alkalinity or calcium hardness that protects, whichever is lower"),
    Name("limits.kit_too_coarse",       Kind::Flag,   "whether the kit's steps are wider than watch"),

    Name("schedule",                    Kind::Part,   "the output level over the year; absent if none is set"),
    Name("schedule.steps",              Kind::Number, "steps of the panel"),
    Name("schedule.holding",            Kind::Number, "the step for most of the year"),
    Name("schedule.raised",             Kind::Number, "the highest step of a raised spell; absent if there is none"),
    Name("schedule.alike",              Kind::Flag,   "whether all spells are of one step and one length"),
    Name("schedule.days",               Kind::Figure, "days of the longest spell, as a word; absent if there is none"),
    Name("schedule.spells",             Kind::List,   "the raised spells"),
    Name("schedule.spells[]",           Kind::Part,   "one spell"),
    Name("schedule.spells[].from",      Kind::Text,   "not before this day, with its weekday"),
    Name("schedule.spells[].from_short", Kind::Text,  "the same, day and month"),
    Name("schedule.spells[].last",      Kind::Text,   "its last day"),
    Name("schedule.spells[].back",      Kind::Text,   "the day to turn it back, with its weekday"),
    Name("schedule.spells[].back_short", Kind::Text,  "the same, day and month"),
    Name("schedule.spells[].day_before", Kind::Text,  "the day before it starts"),
    Name("schedule.spells[].level",     Kind::Number, "its step"),
    Name("schedule.spells[].days",      Kind::Figure, "its days at most, as a word"),
    Name("schedule.spells[].end",       Kind::Figure, "copper on its last day, at most"),
    Name("schedule.spells[].marks",     Kind::Mark,   "the lines of its days and its copper"),
    Name("schedule.spells[].second",    Kind::Text,   "its third day, that of the first test"),
    Name("schedule.spell_count",        Kind::Text,   "how many spells, as a word"),
    Name("schedule.no_spell",           Kind::Text,   "why there is none, such as no-step; absent if there are some"),
    Name("schedule.rest_least",         Kind::Figure, "copper to expect at rest, at least, without its unit; absent if unknown"),
    Name("schedule.rest_most",          Kind::Figure, "copper to expect at rest, at most; absent if unknown"),
    Name("schedule.spell_start",        Kind::Figure, "copper up to which a spell may start; absent if unknown"),
    Name("schedule.spell_end",          Kind::Figure, "copper to expect at the end of the hardest spell, at most; absent if there is none"),
    Name("schedule.spell_mean",         Kind::Figure, "the mean over 28 days with a spell, at most; absent if there is none"),
    Name("schedule.loss_from_log",      Kind::Flag,   "whether the log tells how fast copper leaves"),
    Name("schedule.told",               Kind::Part,   "what the copper tests of the log tell by least squares; absent if they cannot"),
    Name("schedule.told.tests",         Kind::Text,   "how many tests it rests on, as a word"),
    Name("schedule.told.least",         Kind::Figure, "share of the copper that goes in a day at 20 °C, at least"),
    Name("schedule.told.most",          Kind::Figure, "the same at most"),
    Name("schedule.told.efficiency",    Kind::Part,   "what the bars free over what the current should; absent if the log cannot tell"),
    Name("schedule.told.efficiency.least", Kind::Figure, "in percent, at least"),
    Name("schedule.told.efficiency.most", Kind::Figure, "in percent, at most"),
    Name("schedule.known",              Kind::Flag,   "whether the current of each step is known"),
    Name("schedule.cold_mark",          Kind::Mark,   "the line of why the panel is at zero in cold water"),
    Name("schedule.soft_from",          Kind::Text,   "the first day in the season on which one possible year in ten is too soft; absent if none is"),
    Name("schedule.hard_from",          Kind::Text,   "the first on which half of them are too hard; absent if none is"),
    Name("schedule.months",             Kind::List,   "copper month by month; empty without a forecast"),
    Name("schedule.months[]",           Kind::Part,   "one month in which the panel may run"),
    Name("schedule.months[].name",      Kind::Text,   "the month, or its days"),
    Name("schedule.months[].level",     Kind::Text,   "the step, and that of a spell"),
    Name("schedule.months[].stop",      Kind::Text,   "the lowest stop of its days, without its unit"),
    Name("schedule.months[].most",      Kind::Text,   "copper that nine possible years in ten stay at or under"),
    Name("schedule.months[].marks",     Kind::Mark,   "the lines of both"),
    Name("schedule.table",              Kind::List,   "how long each step could be held"),
    Name("schedule.table[]",            Kind::Part,   "one step"),
    Name("schedule.table[].level",      Kind::Number, "the step"),
    Name("schedule.table[].days",       Kind::Figure, "for how many days at most; absent if not for one"),
    Name("schedule.table[].end",        Kind::Figure, "copper on the last of them, at most; absent with days"),
    Name("schedule.table[].marks",      Kind::Mark,   "their lines"),
    Name("schedule.table[].back",       Kind::Figure, "days until it is within a tenth of rest; absent where it is"),

    Name("year",                        Kind::Part,   "the forecast of the twelve months after the last visit"),
    Name("year.known",                  Kind::Flag,   "whether there is one; where not, only year.why is there"),
    Name("year.why",                    Kind::Text,   "what it lacks: no-climate, no-evaporation, no-hardness, no-supply or no-surface; absent where there is one"),
    Name("year.from",                   Kind::Text,   "the visit it starts from"),
    Name("year.until",                  Kind::Text,   "its last day"),
    Name("year.origin",                 Kind::Text,   "where its weather comes from"),
    Name("year.method",                 Kind::Text,   "how evaporation was found: penman, hargreaves or drop"),
    Name("year.course",                 Kind::Text,   "carbonate hardness against the window: inside, leaves or outside"),
    Name("year.side",                   Kind::Text,   "on which side it leaves or stays: soft or hard; empty inside"),
    Name("year.supply_side",            Kind::Text,   "on which side of the window the supply is: soft or hard; empty inside"),
    Name("year.date",                   Kind::Text,   "the day on which it leaves; absent if it does not"),
    Name("year.date_mark",              Kind::Mark,   "the line of carbonate hardness that evening"),
    Name("year.early",                  Kind::Text,   "that day, or the day by which one possible year in ten leaves if that is earlier; absent if it does not leave"),
    Name("year.start",                  Kind::Figure, "carbonate hardness at the start"),
    Name("year.lowest",                 Kind::Figure,   "the lowest carbonate hardness, from the first day inside"),
    Name("year.lowest_on",              Kind::Text,   "its day"),
    Name("year.highest",                Kind::Figure,   "the highest"),
    Name("year.highest_on",             Kind::Text,   "its day"),
    Name("year.reasons",                Kind::List,   "what moves carbonate hardness, the strongest first"),
    Name("year.reasons[]",              Kind::Part,   "one flow"),
    Name("year.reasons[].flow",         Kind::Text,   "which, such as top-up or rain; sentences.md lists them"),
    Name("year.reasons[].by",           Kind::Part,   "by how much it moves carbonate hardness"),
    Name("year.reasons[].by.text",      Kind::Text,   "how much, without a sign"),
    Name("year.reasons[].by.up",        Kind::Flag,   "whether upwards"),
    Name("year.reasons_from",           Kind::Text,   "the first day they are counted over"),
    Name("year.reasons_until",          Kind::Text,   "the last day they are counted over"),
    Name("year.change",                 Kind::Part,   "what they add up to"),
    Name("year.change.text",            Kind::Text,   "how much, without a sign"),
    Name("year.change.up",              Kind::Flag,   "whether upwards"),
    Name("year.change_mark",            Kind::Mark,   "its line"),
    Name("year.balance_mark",           Kind::Mark,   "the line that closes the books"),
    Name("year.top_up",                 Kind::Figure, "what is topped up in the year"),
    Name("year.evaporation",            Kind::Figure, "what evaporates from still water in a year, as a depth"),
    Name("year.penman",                 Kind::Figure, "the same by Penman's open-water form, for comparison; absent if the weather does not tell it"),
    Name("year.months",                 Kind::List,   "the months"),
    Name("year.months[]",               Kind::Part,   "one month"),
    Name("year.months[].name",          Kind::Text,   "its name, or its days where the forecast cuts it"),
    Name("year.months[].evaporation",   Kind::Text,   "evaporation, without unit"),
    Name("year.months[].rain",          Kind::Text,   "rain, without unit"),
    Name("year.months[].top_up",        Kind::Text,   "water topped up, without unit"),
    Name("year.months[].hardness",      Kind::Text,   "carbonate hardness at its end, without unit"),
    Name("year.months[].general",       Kind::Text,   "general hardness at its end, without unit"),
    Name("year.months[].conductivity",  Kind::Text,   "conductivity at its end, in µS/cm"),
    Name("year.months[].outside",       Kind::Flag,   "whether carbonate hardness is outside the window"),
    Name("year.months[].out",           Kind::Text,   "percent of possible years that are outside the window by its end; absent without them"),
    Name("year.months[].marks",         Kind::Mark,   "their lines"),
    Name("year.range",                  Kind::Part,   "how far possible years come from the middle one; absent where none were drawn"),
    Name("year.range.years",            Kind::Text,   "how many possible years"),
    Name("year.range.seed",             Kind::Text,   "the number they are drawn from"),
    Name("year.range.low",              Kind::Figure, "carbonate hardness at the end that one year in ten is under, without unit"),
    Name("year.range.high",             Kind::Figure, "carbonate hardness at the end that one year in ten is over"),
    Name("year.range.out",              Kind::Figure, "years in ten that are outside the window by the end"),
    Name("year.range.never",            Kind::Flag,   "whether fewer than one year in twenty is outside by the end"),
    Name("year.range.always",           Kind::Flag,   "whether more than nineteen in twenty are"),
    Name("year.range.side",             Kind::Text,   "on which side the first tenth leaves: soft or hard; empty where fewer leave"),
    Name("year.range.one_in_ten",       Kind::Text,   "the day by which one year in ten is outside; absent if fewer are, or from the start"),
    Name("year.range.half",             Kind::Text,   "the day by which half of the years are"),
    Name("year.range.nine_in_ten",      Kind::Text,   "the day by which nine in ten are"),
    Name("year.rain_unit",              Kind::Text,   "the unit of rain and evaporation"),
    Name("year.hardness_unit",          Kind::Text,   "the unit of carbonate hardness"),
    Name("year.general_unit",           Kind::Text,   "the unit of general hardness"),
    Name("year.floor_mark",             Kind::Mark,   "the line of the alkalinity under which pH loses its hold; empty unless the year is soft"),
    Name("year.salt_over",              Kind::Figure,   "the day on which conductivity passes its target; absent if it does not"),
    Name("year.least",                  Kind::Part,   "the least that keeps the window; absent where it stays inside anyway"),
    Name("year.least.kind",             Kind::Text,   "what it is: changes, bleed, buffer or nothing"),
    Name("year.least.aim",              Kind::Text,   "what the site file wants saved: visits, water or bleed"),
    Name("year.least.side",             Kind::Text,   "on which side the water would leave: soft or hard"),
    Name("year.least.why",              Kind::Text,   "why it is nothing: supply-hard, supply-soft, too-little or doses-too-small; else empty"),
    Name("year.least.from",             Kind::Text,   "the day from which the edges are kept"),
    Name("year.least.low",              Kind::Figure, "the lowest carbonate hardness that is planned for"),
    Name("year.least.high",             Kind::Figure, "the highest"),
    Name("year.least.lowest",           Kind::Figure, "the lowest that comes of it; absent if it is nothing"),
    Name("year.least.highest",          Kind::Figure, "the highest that comes of it; absent if it is nothing"),
    Name("year.least.changes",          Kind::Part,   "water changes; absent if it is something else"),
    Name("year.least.changes.count",    Kind::Figure, "how many, in words"),
    Name("year.least.changes.many",     Kind::Flag,   "whether there is more than one"),
    Name("year.least.changes.total",    Kind::Figure, "their water"),
    Name("year.least.changes.list",     Kind::List,   "the changes"),
    Name("year.least.changes.list[]",   Kind::Part,   "one change"),
    Name("year.least.changes.list[].day", Kind::Text, "its day"),
    Name("year.least.changes.list[].volume", Kind::Text, "how much, without unit"),
    Name("year.least.changes.list[].time", Kind::Text, "time at the hose; empty if its flow is unknown"),
    Name("year.least.changes.list[].thiosulfate", Kind::Text, "neutraliser; empty if none is needed"),
    Name("year.least.changes.list[].hardness", Kind::Text, "carbonate hardness that evening, without unit"),
    Name("year.least.changes.list[].conductivity", Kind::Text, "conductivity that evening, in µS/cm; empty where there are many changes"),
    Name("year.least.changes.list[].marks", Kind::Mark, "their lines"),
    Name("year.least.changes.timed",    Kind::Flag,   "whether the time at the hose is known"),
    Name("year.least.changes.treated",  Kind::Flag,   "whether the supply needs a neutraliser"),
    Name("year.least.changes.charged",  Kind::Flag,   "whether conductivity is listed"),
    Name("year.least.changes.helper_marks", Kind::Mark, "the lines of times and neutraliser"),
    Name("year.least.changes.warmth",   Kind::Figure, "how near in warmth the new water must be"),
    Name("year.least.changes.gate",     Kind::Figure, "total ammonia at most before a change; absent if treated supply brings none"),
    Name("year.least.changes.filter",   Kind::Flag,   "whether only water through a carbon filter will do"),
    Name("year.least.changes.cold",     Kind::Flag,   "whether some fall into the cold months"),
    Name("year.least.changes.proven",   Kind::Flag,   "whether nothing better is possible; where lime comes down, nothing better was found"),
    Name("year.least.changes.salt_kept", Kind::Flag,  "whether conductivity keeps its target as well"),
    Name("year.least.changes.sheet",    Kind::List,   "those before the next visit, day and volume, for the sheet in the shed"),
    Name("year.least.changes.sheet[]",  Kind::Text,   "one of them"),
    Name("year.least.bleed",            Kind::Part,   "a steady bleed; absent if it is something else"),
    Name("year.least.bleed.a_day",      Kind::Figure, "water a day"),
    Name("year.least.bleed.total",      Kind::Figure, "all of it in the year"),
    Name("year.least.bleed.from",       Kind::Text,   "its first day"),
    Name("year.least.bleed.until",      Kind::Text,   "its last day"),
    Name("year.least.bleed.salt_over",  Kind::Flag,   "whether conductivity still passes its highest mark"),
    Name("year.least.bleed.filter",     Kind::Flag,   "whether it must run through a carbon filter"),
    Name("year.least.buffer",           Kind::Part,   "the same dose of buffer on a rhythm; absent if it is something else"),
    Name("year.least.buffer.name",      Kind::Text,   "its name"),
    Name("year.least.buffer.dose",      Kind::Figure, "one dose"),
    Name("year.least.buffer.every",     Kind::Number, "days from one dose to the next"),
    Name("year.least.buffer.count",     Kind::Figure, "how many, in words"),
    Name("year.least.buffer.many",      Kind::Flag,   "whether there is more than one"),
    Name("year.least.buffer.buy",       Kind::Figure, "all of it"),
    Name("year.least.buffer.days",      Kind::Text,   "all days"),
    Name("year.least.buffer.first",     Kind::Text,   "the first day"),
    Name("year.least.buffer.last",      Kind::Text,   "the last day"),
    Name("year.least.buffer.rise",      Kind::Figure, "what one dose adds to carbonate hardness at most"),
    Name("year.least.buffer.ph",        Kind::Figure, "what one dose adds to the pH at most"),
    Name("year.least.buffer.stir",      Kind::Figure, "pond water to stir one into; absent if it dissolves anyhow"),
    Name("year.least.buffer.gate",      Kind::Figure, "total ammonia at most before a dose; absent if pH was not read"),
    Name("year.least.buffer.ammonia_now", Kind::Flag, "whether ammonia forbids a dose today"),
    Name("year.least.blend",            Kind::Part,   "rain for a supply that is too hard; absent if there is no need"),
    Name("year.least.blend.target",     Kind::Figure, "carbonate hardness of the blend"),
    Name("year.least.blend.share",      Kind::Figure, "share of rain in it"),
    Name("year.least.blend.need",       Kind::Figure, "rain it takes in a year"),
    Name("year.least.blend.yields",     Kind::Figure, "rain that the stored roofs yield in a year; absent if there are none"),
    Name("year.least.blend.enough",     Kind::Flag,   "whether that is enough in a year"),
    Name("year.least.blend.tank",       Kind::Figure, "a tank that carries a month without rain; absent if the roofs yield too little in a year"),
    Name("year.least.blend.driest",     Kind::Part,   "the month that lacks most; absent if none does"),
    Name("year.least.blend.driest.month", Kind::Text, "its name"),
    Name("year.least.blend.driest.need", Kind::Text,  "what the blend takes of rain then"),
    Name("year.least.blend.driest.yields", Kind::Text, "what the roofs yield then"),
    Name("year.least.blend.rain_buffer", Kind::Figure, "buffer for a thousand litres or gallons of rain alone; absent if none is known"),
    Name("year.least.blend.inside",     Kind::Text,   "the day from which the pond stays inside the window with the blend; absent if it ends outside"),
    Name("year.valve",                  Kind::Part,   "chlorine that a float valve lets in; absent if it lets in none"),
    Name("year.valve.a_day",            Kind::Figure, "how much in a day, spread through the pond"),
    Name("year.valve.rest",             Kind::Figure, "what of it stays while the valve runs"),
    Name("year.valve.limit",            Kind::Figure, "total chlorine that is held to harm life in water"),
    Name("year.valve.ammonia",          Kind::Figure, "nitrogen of ammonia that its chloramine leaves in a day; absent if free chlorine was not read"),
    Name("year.valve.copper",           Kind::Figure, "copper that the supply brings in a day; absent if it rounds to none"),
    Name("year.valve.month",            Kind::Text,   "the month of the most"),
    Name("past",                        Kind::Part,   "what the model of the forecast makes of the log; absent without two visits or without a forecast"),
    Name("past.from",                   Kind::Text,   "the first visit it looks back upon"),
    Name("past.until",                  Kind::Text,   "the last"),
    Name("past.visits",                 Kind::Number, "how many of them read conductivity, or chloride"),
    Name("past.tracer",                 Kind::Text,   "what the model should explain: conductivity or chloride"),
    Name("past.misfit",                 Kind::Part,   "how far readings and model are apart; absent with too few visits"),
    Name("past.misfit.tracer",          Kind::Figure, "of conductivity or chloride"),
    Name("past.misfit.share",           Kind::Text,   "the same as a share of the mean reading"),
    Name("past.misfit.hardness",        Kind::Figure, "of carbonate hardness"),
    Name("past.loss",                   Kind::Part,   "leak or splash, beside a leak that the site file names"),
    Name("past.loss.key",               Kind::Text,   "told (by the log), untold (it cannot tell) or stated (in the site file)"),
    Name("past.loss.value",             Kind::Figure, "how much; as all that follow, absent unless told"),
    Name("past.loss.low",               Kind::Figure, "low end of the range"),
    Name("past.loss.high",              Kind::Figure, "high end"),
    Name("past.loss.none",              Kind::Flag,   "whether it comes to nothing"),
    Name("past.loss.from_none",         Kind::Flag,   "whether the range starts at nothing"),
    Name("past.named",                  Kind::Figure, "a leak that the site file names and that ended; absent without"),
    Name("past.mended",                 Kind::Text,   "its last day; absent without"),
    Name("past.factor",                 Kind::Part,   "evaporation of open water over the reference"),
    Name("past.factor.key",             Kind::Text,   "told, untold or stated, as past.loss.key"),
    Name("past.factor.value",           Kind::Figure, "the factor; as all that follow, absent unless told"),
    Name("past.factor.low",             Kind::Figure, "low end of the range"),
    Name("past.factor.high",            Kind::Figure, "high end"),
    Name("past.factor.none",            Kind::Flag,   "whether it comes to nothing; it never does"),
    Name("past.factor.from_none",       Kind::Flag,   "the same of the low end"),
    Name("past.allowed",                Kind::Mark,   "the lines of what was allowed for in rain and supply"),
    Name("past.falls",                  Kind::Figure, "what falls and streams evaporate beyond still water, from the drops; absent if stated or untold"),
    Name("past.still",                  Kind::Figure, "what still water leaks, from the drops; absent if it leaks none"),
    Name("past.breaks",                 Kind::List,   "where the log contradicts the model"),
    Name("past.breaks[]",               Kind::Part,   "two visits with something between them that the model does not know of"),
    Name("past.breaks[].what",          Kind::Text,   "the reading: conductivity, chloride or carbonate hardness"),
    Name("past.breaks[].from",          Kind::Text,   "the first visit"),
    Name("past.breaks[].to",            Kind::Text,   "the second"),
    Name("past.breaks[].before",        Kind::Text,   "what the first read"),
    Name("past.breaks[].after",         Kind::Text,   "what the second read"),
    Name("past.breaks[].expected",      Kind::Figure, "what the second should have read"),
    Name("past.breaks[].rose",          Kind::Flag,   "whether it read more than that"),
    Name("past.own_weather",            Kind::Flag,   "whether the days had their own weather, from a file, and not the months' means"),

    Name("flow",                        Kind::Part,   "flow past the bars; absent if it was not measured"),
    Name("flow.how",                    Kind::Text,   "how it was measured"),
    Name("flow.rate",                   Kind::Figure, "how much"),
    Name("flow.turnover",               Kind::Figure, "how long the whole pond takes to pass"),
    Name("flow.quick",                  Kind::Flag,   "whether that is at most two hours"),

    Name("bars",                        Kind::Part,   "what is left of the bars; absent if unknown"),
    Name("bars.use",                    Kind::Figure, "what the schedule uses of them in a year; absent if unknown"),
    Name("bars.life",                   Kind::Figure, "how long they last with every spell used; absent if unknown"),
    Name("bars.life_most",              Kind::Figure, "how long with none used; absent if unknown, or where the words are the same"),
    Name("bars.inspect",                Kind::Figure, "the day by which to look at them; absent if unknown"),
    Name("bars.order",                  Kind::Figure, "the day to order new ones; absent if unknown or decades away"),
    Name("bars.order_now",              Kind::Flag,   "whether that day has come"),
    Name("bars.full",                   Kind::Flag,   "whether the drawing `full-output` has something to show"),
    Name("bars.witness",                Kind::Part,   "what their weight tells; absent if they were not weighed twice"),
    Name("bars.witness.from",           Kind::Text,   "the first weighing"),
    Name("bars.witness.to",             Kind::Text,   "the last weighing"),
    Name("bars.witness.lost",           Kind::Figure, "what they lost"),
    Name("bars.witness.least",          Kind::Figure, "what the log explains, at least, without its unit"),
    Name("bars.witness.most",           Kind::Figure, "what the log explains, at most"),
    Name("bars.witness.one",            Kind::Flag,   "whether the two are nearly one number"),
    Name("bars.witness.more",           Kind::Flag,   "whether they lost more than the log explains"),
    Name("bars.witness.less",           Kind::Flag,   "whether they lost less than the log explains"),
    Name("bars.witness.gap",            Kind::Part,   "the visits between which most is unexplained; absent if there are none"),
    Name("bars.witness.gap.from",       Kind::Text,   "its first day"),
    Name("bars.witness.gap.to",         Kind::Text,   "its last day"),
    Name("bars.witness.gap.left",       Kind::Number, "the step the panel was left at"),
    Name("bars.witness.gap.lost",       Kind::Figure, "what the bars lost"),
    Name("bars.witness.gap.explained",  Kind::Figure, "what that step explains"),
    Name("bars.witness.gap.found",      Kind::Number, "the step the panel was found at; absent if not written down"),
    Name("bars.witness.gap.days",       Kind::Figure, "days at that step that would explain the rest; absent if none would"),
    Name("bars_place",                  Kind::Text,   "where the bars stand; absent if the site file does not say"),

    Name("answer",                      Kind::Part,   "what the panel gave when it was last asked for more; absent if it never was"),
    Name("answer.date",                 Kind::Text,   "its day"),
    Name("answer.set",                  Kind::Number, "the step it was set to"),
    Name("answer.reached",              Kind::Number, "the step it reached"),
    Name("answer.steps",                Kind::Number, "the steps it has"),
    Name("answer.full",                 Kind::Flag,   "whether it was set to full"),
    Name("answer.short",                Kind::Flag,   "whether it fell short: under seven tenths, and under what it was set to"),
    Name("diagnosis",                   Kind::Part,   "why the panel falls short; absent if it does not"),
    Name("diagnosis.causes",            Kind::List,   "the causes, the likeliest first"),
    Name("diagnosis.causes[]",          Kind::Part,   "a cause"),
    Name("diagnosis.causes[].key",      Kind::Text,   "which, for the sentences: `strainer`, `dead-water`, `minerals`, `cold`, `scale`, `worn`, `panel`"),
    Name("diagnosis.causes[].speaks_for", Kind::List, "keys of the signs for it"),
    Name("diagnosis.causes[].speaks_for[]", Kind::Text, "a key, such as `green-bars`"),
    Name("diagnosis.causes[].speaks_against", Kind::List, "keys of the signs against it"),
    Name("diagnosis.causes[].speaks_against[]", Kind::Text, "a key"),
    Name("diagnosis.cell",              Kind::Part,   "what the water between the bars lets through; absent if the site file does not tell"),
    Name("diagnosis.cell.most",         Kind::Figure, "the most current"),
    Name("diagnosis.cell.step",         Kind::Number, "the highest step with no more than that"),
    Name("diagnosis.cell.holds_back",   Kind::Flag,   "whether that is under the step wanted"),
    Name("diagnosis.wanted",            Kind::Part,   "what minerals would take; absent without conductivity or currents"),
    Name("diagnosis.wanted.step",       Kind::Number, "the lowest step that is good enough"),
    Name("diagnosis.wanted.conductivity", Kind::Figure, "conductivity it would take"),
    Name("diagnosis.wanted.salt",       Kind::Figure, "salt for that; absent where it would be too much"),
    Name("diagnosis.bucket",            Kind::Part,   "an example of flow by bucket"),
    Name("diagnosis.bucket.volume",     Kind::Text,   "the bucket"),
    Name("diagnosis.bucket.time",       Kind::Text,   "the time"),
    Name("diagnosis.bucket.rate",       Kind::Figure, "the flow"),
    Name("diagnosis.notch",             Kind::Part,   "an example of flow by a notch"),
    Name("diagnosis.notch.head",        Kind::Text,   "the head"),
    Name("diagnosis.notch.rate",        Kind::Figure, "the flow"),

    Name("quarter",                     Kind::Part,   "first aid: a quarter of the water"),
    Name("quarter.change",              Kind::Figure, "how much water"),
    Name("quarter.thiosulfate",         Kind::Figure, "what neutralises its chlorine; absent if it needs none"),
    Name("quarter.buffer",              Kind::Figure, "buffer it needs; absent if it needs none"),
    Name("quarter.time",                Kind::Figure, "how long the hose runs; absent if its flow is unknown"),
    Name("emergency",                   Kind::Part,   "copper at stop: each of two changes"),
    Name("emergency.change",            Kind::Figure, "how much water"),
    Name("emergency.thiosulfate",       Kind::Figure, "what neutralises its chlorine; absent if it needs none"),
    Name("emergency.buffer",            Kind::Figure, "buffer it needs; absent if it needs none"),
    Name("emergency.time",              Kind::Figure, "how long the hose runs; absent if its flow is unknown"),

    Name("supply",                      Kind::Part,   "the water that tops up the pond"),
    Name("supply.kind",                 Kind::Text,   "mains, well or rain"),
    Name("supply.word",                 Kind::Text,   "the same in words"),
    Name("supply.softened",             Kind::Flag,   "whether it passes a softener"),
    Name("supply.hardness_below",       Kind::Flag,   "whether its hardness is far below its alkalinity"),
    Name("supply.float_valve",          Kind::Flag,   "whether a float valve lets it in"),
    Name("supply.carbon_filter",        Kind::Flag,   "whether it passes a carbon filter"),
    Name("supply.chlorinated",          Kind::Flag,   "whether it holds chlorine"),
    Name("supply.chloramine",           Kind::Flag,   "whether it holds chloramine"),

    Name("lives",                       Kind::Part,   "what lives in the water, or drinks from it"),
    Name("lives.koi",                   Kind::Flag,   "koi"),
    Name("lives.snails",                Kind::Flag,   "snails"),
    Name("lives.tadpoles",              Kind::Flag,   "frogs, toads or newts that breed"),
    Name("lives.dogs",                  Kind::Flag,   "dogs"),
    Name("lives.bees",                  Kind::Flag,   "bees"),
    Name("lives.livestock",             Kind::Flag,   "livestock"),

    Name("outflow",                     Kind::Part,   "where water goes"),
    Name("outflow.changes",             Kind::Text,   "where the water of changes goes"),
    Name("outflow.unknown",             Kind::Flag,   "whether that is unknown"),
    Name("outflow.sewer",               Kind::Flag,   "whether that is the sewer"),
    Name("outflow.overflow_open",       Kind::Flag,   "whether the overflow runs to open water"),

    Name("photos",                      Kind::Part,   "how many photographs each part has; ![](photos:PART) prints them"),
    Name("photos.water",                Kind::Number, "in the part on the water"),
    Name("photos.correction",           Kind::Number, "in the part on doses and changes"),
    Name("photos.year",                 Kind::Number, "in the part on the year"),
    Name("photos.trouble",              Kind::Number, "in the part on signs of trouble"),
    Name("photos.bars",                 Kind::Number, "in the part on bars and flow"),
    Name("photos.pictures",             Kind::Number, "in a part of their own"),

    Name("substances",                  Kind::List,   "what this plan handles"),
    Name("substances[]",                Kind::Part,   "one substance"),
    Name("substances[].name",           Kind::Text,   "its name"),
    Name("substances[].handling",       Kind::Text,   "how to handle it"),
    Name("substances[].beware",         Kind::Text,   "what it must not be taken for"),
    Name("substances[].adding",         Kind::Text,   "how to add it"),
    Name("substances[].shop",           Kind::Text,   "what to ask for in the shop"),

    Name("assumptions",                 Kind::List,   "what was assumed"),
    Name("assumptions[]",               Kind::Part,   "one assumption"),
    Name("assumptions[].what",          Kind::Text,   "of what"),
    Name("assumptions[].value",         Kind::Text,   "the value"),
    Name("assumptions[].instead",       Kind::Text,   "what would replace it"),
    Name("assumptions[].source",        Kind::Text,   "where it comes from"),
    Name("missing",                     Kind::List,   "what was not measured"),
    Name("missing[]",                   Kind::Part,   "one measurement"),
    Name("missing[].what",              Kind::Text,   "of what"),
    Name("missing[].measure",           Kind::Text,   "how to measure it"),

    Name("groups",                      Kind::List,   "the groups of the workings; ![](workings:KEY) prints one"),
    Name("groups[]",                    Kind::Part,   "one group"),
    Name("groups[].key",                Kind::Text,   "its key"),
    Name("groups[].title",              Kind::Text,   "its title"),
    Name("checks",                      Kind::List,   "the safety check, a row for each limit"),
    Name("checks[]",                    Kind::Part,   "one limit"),
    Name("checks[].limit",              Kind::Text,   "the limit"),
    Name("checks[].proposal",           Kind::Text,   "what comes closest to it"),
    Name("checks[].proposed",           Kind::Text,   "what that comes to"),
    Name("checks[].allowed",            Kind::Text,   "what is allowed"),
    Name("checks[].allowed_word",       Kind::Text,   "at least or at most"),
    Name("checks[].margin",             Kind::Text,   "how far apart the two are"),
    Name("sources",                     Kind::List,   "the sources of the workings"),
    Name("sources[]",                   Kind::Part,   "one source"),
    Name("sources[].short",             Kind::Text,   "its short name"),
    Name("sources[].full",              Kind::Text,   "where to find it"),
    Name("sources[].status",            Kind::Text,   "sourced, derived, common practice or from memory"),
];

/// The row of a whole name.
#[must_use]
pub fn find(path: &str) -> Option<&'static Name> {
    NAMES.iter().find(|name| name.path == path)
}

/// The last parts of the names directly under this one; the empty path stands for the view itself.
pub fn under(path: &str) -> Vec<&'static str> {
    let last = |name: &Name| {
        let rest = name.path.strip_prefix(path)?;
        let rest = if path.is_empty() { Some(rest) } else { rest.strip_prefix('.') }?;
        (!rest.contains(['.', '['])).then_some(rest)
    };
    NAMES.iter().filter_map(last).collect()
}

/// What every template can be told, before the names.
const HOW: &str = "\
Words of the plan. Change them freely, and run `weirbook check SITE.toml --templates FOLDER`: it says what does not work, with its line.
A file that is taken out of the folder is replaced by the one that comes with the program.

  {{ site.name }}             prints a value as it was typed: no sign in it is read as a mark of CommonMark.
  {{ volume.low.mark }}       sets the number of a figure's line in the workings into the margin.
  {% if buffer %} {% endif %} asks whether something is there. What is absent prints nothing, and has no parts.
  {% for r in readings %} {% endfor %} takes one after the other; inside it, loop.index counts, loop.first and loop.last ask.
  {{ site.name | upper }}     a filter; useful are capitalize, lower, upper, title, join, first, last, length, replace, round and default.
  A line that holds only tags leaves no trace. In the United States the words are spelled as there.

The words are CommonMark: # headings, **strong**, *emphasis*, lists, tables, > callouts.
  # Title {.part #name}       begins a part of the plan; [x](#name) prints the page on which it stands.
  ## Title {.steps}           the numbered list after it is set as steps: each opens with *when* and **how much**, in paragraphs of their own.
  {.verdict label=Verdict}    the verdict's look, with a label at its side; {.wide} a head across the page.
  Label                       with the next line beginning `: ` is a label with its text.
  > [!NOTE]                   a callout; [!WARNING] and [!CAUTION] weigh more. A first paragraph all in strong is its label.
  `mg/L`                      a unit, small and quiet. A paragraph all in *emphasis* is quiet.
  ☐                           a box to tick.
  ![](photos:water)           the photographs of a part; those that no template names stand at the end.
  [^volume.low]               a line of the workings, by its id, in the margin; `weirbook figures SITE.toml` lists the ids.
";

/// The drawings, for the head of a template.
fn drawings(out: &mut String) {
    out.push_str(
        "\nDrawings, as ![](drawing:NAME) in a paragraph of its own; one with nothing to show leaves no trace:\n",
    );
    for (name, words) in DRAWINGS {
        let _ = writeln!(out, "  {name:<26}  {words}");
    }
}

fn rows(out: &mut String) {
    let mut last = "";
    for name in NAMES {
        let root = name.path.split(['.', '[']).next().unwrap_or_default();
        let grouped = matches!(name.kind, Kind::Part | Kind::List) && root == name.path;
        if grouped && !last.is_empty() {
            out.push('\n');
        }
        last = root;
        let _ = writeln!(out, "  {:<30}  {:<9}  {}", name.path, name.kind.word(), name.words);
    }
}

/// A comment for the head of a template: what may be used in it. It leaves no trace on the page.
#[must_use]
pub fn comment(template: &str) -> String {
    let mut out = format!("{{#-\n{HOW}");
    if template == "sentences" {
        out.push_str(
            "\nThis file holds macros: opening(verdict, now, ...) is the head of the plan, reason(r, now, ...) each of its reasons, and\n\
             about(key, word) what a reason is about. Inside them stand what they are given between the brackets, and all values below.\n",
        );
    }
    drawings(&mut out);
    out.push_str("\nValues. [] stands for each of a list.\n\n");
    rows(&mut out);
    out.push_str("\nEach figure prints as its words, and has\n");
    for (name, _, words) in FIGURE {
        let _ = writeln!(out, "  .{name:<8}  {words}");
    }
    out.push_str("-#}\n");
    out
}
