//! Limits, levels and why the panel falls short, as templates see them.

use minijinja::Value;

use super::Source;
use super::lines::Lines;
use super::view::{figure, map, marks, weighed};
use super::words::{Reader, count_word};
use super::year::month_words;
use crate::plan::{LossOrigin, Side};
use crate::units::table::{self, DAYS};
use crate::units::{Digits, Si, System, plain};
use crate::workings::Figure;

pub(super) fn limits(source: &Source<'_>, reader: &Reader, lines: &Lines) -> Option<Value> {
    let l = source.plan.limits.as_ref()?;
    let copper =
        |f: &Figure<crate::units::MassConcentration>| figure(lines, f, reader.quantity("total-copper", f.si()));
    // Where nobody looks at the month, the lowest of the year holds.
    let year = source.plan.year.as_ref().ok().and_then(|year| year.copper.as_ref());
    let by_test = source.plan.by_test.as_ref().map(|found| (&found.stop, &found.watch));
    let (season_stop, season_watch) =
        year.map(|year| (&year.stop, &year.watch)).or(by_test).unwrap_or((&l.stop, &l.watch));
    Some(map! {
        "season_stop" => figure(lines, season_stop, reader.number("total-copper", season_stop.si())),
        "season_watch" => figure(lines, season_watch, reader.number("total-copper", season_watch.si())),
        "stop" => copper(&l.stop), "watch" => copper(&l.watch), "lasting" => copper(&l.lasting),
        "open_water" => copper(&l.open_water), "open_water_strict" => copper(&l.open_water_strict),
        "stop_number" => figure(lines, &l.stop, reader.number("total-copper", l.stop.si())),
        "watch_number" => figure(lines, &l.watch, reader.number("total-copper", l.watch.si())),
        "unit" => reader.shown("total-copper").symbol,
        "protection" => figure(lines, &l.protection, format!("{}\u{a0}{}", plain(l.protection.si(), Digits::Places(0)), if reader.shown("total-copper").symbol == "ppm" { "ppm" } else { "mg/L" })),
        "kit_too_coarse" => l.kit_too_coarse,
    })
}

pub(super) fn schedule(source: &Source<'_>, reader: &Reader, lines: &Lines) -> Option<Value> {
    let s = source.plan.schedule.as_ref()?;
    let copper = |f: &Option<Figure<crate::units::MassConcentration>>| {
        f.as_ref().map(|f| figure(lines, f, reader.quantity("total-copper", f.si())))
    };
    let number = |f: &Option<Figure<crate::units::MassConcentration>>| {
        f.as_ref().map(|f| figure(lines, f, reader.number("total-copper", f.si())))
    };
    // Most of a spell lies below stop; where rounding would print the two alike, the word says so.
    let stop = source.plan.limits.as_ref().map(|l| reader.quantity("total-copper", l.stop.si()));
    let below = |f: &Figure<crate::units::MassConcentration>, words: String| {
        let alike = stop.as_ref() == Some(&reader.quantity("total-copper", f.si()));
        figure(lines, f, if alike { format!("under {words}") } else { words })
    };
    let days = |f: &Figure<crate::units::Time>| figure(lines, f, count_word(f.in_unit(&DAYS) as u64));
    let spells: Vec<Value> = s
        .spells
        .iter()
        .map(|spell| {
            let test = |days: i64| reader.day(spell.not_before + chrono::Duration::days(days));
            map! {
                "from_short" => reader.day(spell.not_before), "back_short" => reader.day(spell.back),
                "from" => reader.weekday_day(spell.not_before), "last" => reader.weekday_day(spell.last), "back" => reader.weekday_day(spell.back),
                "day_before" => test(-1), "second" => test(2),
                "level" => spell.level, "days" => days(&spell.days),
                "end" => below(&spell.end, reader.quantity("total-copper", spell.end.si())),
                "marks" => marks(lines, [spell.days.id(), spell.end.id()].into_iter().flatten()),
            }
        })
        .collect();
    Some(map! {
        "steps" => s.steps, "holding" => s.holding, "raised" => s.raised(),
        "days" => s.spells.iter().map(|spell| &spell.days).max_by(|a, b| a.si().total_cmp(&b.si())).map(days),
        "alike" => s.spells_alike(),
        "spells" => spells,
        "spell_count" => count_word(s.spells.len() as u64),
        "no_spell" => s.no_spell,
        "rest_most" => copper(&s.rest_most), "rest_least" => number(&s.rest_least),
        "spell_start" => copper(&s.spell_start), "spell_end" => s.hardest_spell().map(|spell| below(&spell.end, reader.quantity("total-copper", spell.end.si()))),
        "spell_mean" => s.spells.iter().map(|spell| &spell.mean).max_by(|a, b| a.si().total_cmp(&b.si()))
            .map(|mean| figure(lines, mean, reader.quantity("total-copper", mean.si()))),
        "loss_from_log" => s.loss == LossOrigin::Log,
        "told" => s.told.as_ref().map(|told| {
            let a_day = |f: &Figure<uom::si::f64::Frequency>| plain(f.in_unit(&table::PER_DAY), Digits::Significant(2));
            let percent = |f: &Figure<crate::units::Ratio>| plain(table::PERCENT.of(f.si()), Digits::Significant(2));
            let [low, _, high] = &told.loss;
            map! {
                "tests" => count_word(told.tests as u64),
                "least" => figure(lines, low, a_day(low)), "most" => figure(lines, high, a_day(high)),
                "efficiency" => told.efficiency.as_ref().map(|[low, _, high]| map! {
                    "least" => figure(lines, low, percent(low)), "most" => figure(lines, high, percent(high)),
                }),
            }
        }),
        "known" => !s.releases.is_empty(),
        "cold_mark" => marks(lines, s.loss_cold.id()),
        "soft_from" => s.first_doubt(Side::Soft).map(|date| reader.day(date)),
        "hard_from" => s.first_doubt(Side::Hard).map(|date| reader.day(date)),
        "months" => source.plan.year.iter().filter_map(|year| year.copper.as_ref()).flat_map(|copper| &copper.months).map(|month| {
            let (usual, highest) = month.levels;
            let copper = |f: &Figure<crate::units::MassConcentration>| reader.number("total-copper", f.si());
            map! {
                "name" => month_words(month.days, reader),
                "level" => if highest > s.holding {
                    format!("{}; {highest} in a spell", s.holding)
                } else if usual == highest {
                    usual.to_string()
                } else {
                    format!("0 or {highest}")
                },
                "stop" => copper(&month.stop), "most" => copper(&month.most),
                "marks" => marks(lines, [month.stop.id(), month.most.id()].into_iter().flatten()),
            }
        }).collect::<Value>(),
        "held" => source.plan.year.as_ref().ok().and_then(|year| year.held.as_ref()).filter(|held| source.plan.limits.as_ref().is_some_and(|l| held.si() > l.stop.si())).map(|held| {
            // Far over stop: two digits, cut down, say enough.
            let micrograms = crate::units::significant_down(table::MICROGRAMS.of(held.si()), 2);
            figure(lines, held, reader.quantity("total-copper", table::MICROGRAMS.si(micrograms)))
        }),
        "table" => s.table.iter().map(|row| {
            let days = |f: &Figure<crate::units::Time>| {
                let days = plain(f.in_unit(&DAYS), Digits::Places(0));
                let word = if days == "1" { "day" } else { "days" };
                figure(lines, f, format!("{days}\u{a0}{word}"))
            };
            map! {
                "level" => row.level,
                "days" => row.held.as_ref().map(|(held, _)| days(held)),
                "end" => row.held.as_ref().map(|(_, end)| below(end, reader.number("total-copper", end.si()))),
                "back" => row.back.as_ref().map(days),
                "marks" => marks(lines, row.held.iter().flat_map(|(days, end)| [days.id(), end.id()])
                    .chain([row.back.as_ref().and_then(Figure::id)]).flatten()),
            }
        }).collect::<Value>(),
    })
}

/// Why the panel falls short of its level.
pub(super) fn diagnosis(source: &Source<'_>, reader: &Reader, lines: &Lines) -> Option<Value> {
    let found = source.plan.diagnosis.as_ref()?;
    let causes: Vec<Value> = found
        .causes
        .iter()
        .map(|ranked| {
            let keys = |signs: &[&crate::reference::Sign]| signs.iter().map(|s| s.key).collect::<Vec<_>>();
            map! {
                "key" => ranked.cause.key, "speaks_for" => keys(&ranked.speaks_for),
                "speaks_against" => keys(&ranked.speaks_against),
            }
        })
        .collect();
    let (volume, time, by_bucket) = &found.examples.bucket;
    let (head, by_notch) = &found.examples.notch;
    let head = match source.plan.system {
        System::Us => format!("{}\u{a0}in", plain(table::INCH.of(head.si()), Digits::Places(0))),
        _ => format!("{}\u{a0}cm", plain(table::CENTIMETRE.of(head.si()), Digits::Places(0))),
    };
    Some(map! {
        "causes" => causes,
        "cell" => found.cell.as_ref().map(|cell| map! {
            "most" => figure(lines, &cell.most, format!(
                "{}\u{a0}mA", plain(table::MILLIAMPERE.of(cell.most.si()), Digits::Significant(2)))),
            "step" => cell.step.min(found.short.steps),
            "holds_back" => cell.step < found.wanted.as_ref().map_or(found.short.set, |w| w.step),
        }),
        "wanted" => found.wanted.as_ref().map(|wanted| map! {
            "step" => wanted.step,
            "conductivity" => figure(lines, &wanted.conductivity, reader.quantity("conductivity", wanted.conductivity.si())),
            "salt" => wanted.salt.as_ref().map(|m| weighed(lines, m, reader.mass(m.si()))),
        }),
        "bucket" => map! {
            "volume" => format!("{}\u{a0}{}", plain(reader.volume_unit().of(volume.si()), Digits::Places(0)), reader.volume_word()),
            "time" => format!("{}\u{a0}seconds", plain(time.si(), Digits::Places(0))),
            "rate" => figure(lines, by_bucket, reader.flow(by_bucket.si())),
        },
        "notch" => map! { "head" => head, "rate" => figure(lines, by_notch, reader.flow(by_notch.si())) },
    })
}
