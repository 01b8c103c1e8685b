//! The whole program, driven as a person does: a fresh folder, a command, what it prints, what it leaves.

#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "the tests of the program read and write files as a person does"
)]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;
use tempfile::TempDir;
use weirbook::pdf::read;

use crate::demos::DEMOS;

/// A fresh folder and the program.
struct Bench {
    folder: TempDir,
}

/// What a run came to.
struct Run {
    code: i32,
    out: String,
    err: String,
}

impl Bench {
    fn new() -> Self {
        Self { folder: TempDir::new().unwrap() }
    }

    /// A folder that holds one demo site as it is shipped, letterhead and all.
    fn with_demo(id: &str) -> Self {
        let bench = Self::new();
        let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-sites").join(id);
        for entry in fs::read_dir(from).unwrap() {
            let path = entry.unwrap().path();
            fs::copy(&path, bench.path(path.file_name().unwrap().to_str().unwrap())).unwrap();
        }
        bench
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn write(&self, name: &str, words: &str) {
        fs::write(self.path(name), words).unwrap();
    }

    fn bytes(&self, name: &str) -> Vec<u8> {
        fs::read(self.path(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
    }

    /// The words of a PDF, pages parted by a blank line.
    fn words(&self, name: &str) -> String {
        read::text(&self.bytes(name)).unwrap().join("\n\n")
    }

    /// The names in the folder, in order.
    fn names(&self) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(self.folder.path())
            .unwrap()
            .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    fn pdfs(&self) -> Vec<String> {
        self.names().into_iter().filter(|name| name.ends_with(".pdf")).collect()
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_weirbook"));
        // The terminal of whoever runs the tests is not that of the tests.
        command.args(arguments).current_dir(self.folder.path()).env_remove("COLUMNS");
        command
    }

    fn weirbook(&self, arguments: &[&str]) -> Run {
        Self::run(self.command(arguments))
    }

    fn run(mut command: Command) -> Run {
        let Output { status, stdout, stderr } = command.output().unwrap();
        Run {
            code: status.code().unwrap_or(-1),
            out: String::from_utf8(stdout).unwrap(),
            err: String::from_utf8(stderr).unwrap(),
        }
    }

    fn done(&self, arguments: &[&str]) -> Run {
        let run = self.weirbook(arguments);
        assert_eq!(run.code, 0, "{arguments:?}\n{}\n{}", run.out, run.err);
        run
    }
}

fn no_panic(run: &Run) {
    assert!(!run.err.contains("panicked"), "{}", run.err);
}

#[test]
fn plan_writes_both_documents_and_says_what_matters() {
    for (id, ..) in DEMOS {
        let bench = Bench::with_demo(id);
        let before = bench.names();
        let run = bench.done(&["plan", "site.toml"]);
        let (plan, sheet) = (format!("{id}-care-plan.pdf"), format!("{id}-shed-sheet.pdf"));
        assert_eq!(bench.pdfs(), [plan.clone(), sheet.clone()]);
        assert_eq!(bench.names().len(), before.len() + 2, "no temporary file stays behind");
        for name in [&plan, &sheet] {
            assert!(
                run.out.lines().any(|line| line.starts_with("wrote") && line.ends_with(name.as_str())),
                "{}",
                run.out
            );
        }
        assert!(run.out.lines().any(|line| line.starts_with("verdict")), "{}", run.out);
        assert!(bench.bytes(&plan).starts_with(b"%PDF-"));
    }
}

#[test]
fn a_site_is_planned_from_any_folder() {
    let bench = Bench::with_demo("quoyle-end");
    let elsewhere = Bench::new();
    elsewhere.done(&["plan", bench.path("site.toml").to_str().unwrap()]);
    assert!(elsewhere.names().is_empty(), "the plan stands beside the site file");
    assert_eq!(bench.pdfs().len(), 2);
}

#[test]
fn the_output_folder_can_be_chosen() {
    let bench = Bench::with_demo("quoyle-end");
    fs::create_dir(bench.path("plans")).unwrap();
    bench.done(&["plan", "site.toml", "-o", "plans"]);
    assert!(bench.pdfs().is_empty());
    assert!(
        bench.path("plans/quoyle-end-care-plan.pdf").exists() && bench.path("plans/quoyle-end-shed-sheet.pdf").exists()
    );
}

#[test]
fn an_output_folder_that_is_not_there_is_said_to_be_so() {
    let bench = Bench::with_demo("quoyle-end");
    let run = bench.weirbook(&["plan", "site.toml", "-o", "nowhere"]);
    no_panic(&run);
    if run.code == 0 {
        assert!(bench.path("nowhere/quoyle-end-care-plan.pdf").exists());
    } else {
        assert_eq!(run.code, 1, "{}", run.err);
        assert!(run.err.contains("nowhere"), "{}", run.err);
    }
}

#[test]
fn editions_are_printed_as_asked() {
    let bench = Bench::with_demo("quoyle-end");
    bench.done(&["plan", "site.toml", "--edition", "workings"]);
    assert_eq!(bench.pdfs(), ["quoyle-end-workings.pdf"]);
    bench.done(&["plan", "site.toml", "--edition", "workings", "--edition", "shed-sheet"]);
    assert_eq!(bench.pdfs(), ["quoyle-end-shed-sheet.pdf", "quoyle-end-workings.pdf"]);
    let pages = read::text(&bench.bytes("quoyle-end-shed-sheet.pdf")).unwrap();
    assert_eq!(pages.len(), 1, "the sheet for the shed is one page");
}

#[test]
fn every_shed_sheet_is_one_page() {
    for (id, ..) in DEMOS {
        for units in ["metric", "us", "imperial"] {
            let bench = Bench::with_demo(id);
            bench.done(&["plan", "site.toml", "--edition", "shed-sheet", "--units", units]);
            assert_eq!(read::text(&bench.bytes(&format!("{id}-shed-sheet.pdf"))).unwrap().len(), 1, "{id} in {units}");
        }
    }
}

#[test]
fn the_date_can_be_given_and_wins() {
    let bench = Bench::with_demo("quoyle-end");
    bench.done(&["plan", "site.toml", "--date", "2027-02-20"]);
    let words = bench.words("quoyle-end-care-plan.pdf").replace('\u{a0}', " ");
    assert!(words.contains("20 February 2027") || words.contains("2027-02-20"), "{words}");
}

#[test]
fn units_can_be_chosen_over_the_site_file() {
    let bench = Bench::with_demo("quoyle-end");
    bench.done(&["plan", "site.toml", "--units", "us"]);
    let us = bench.words("quoyle-end-care-plan.pdf");
    assert!(us.contains("gallons"), "{us}");
    bench.done(&["plan", "site.toml"]);
    let metric = bench.words("quoyle-end-care-plan.pdf");
    assert!(metric.contains("litres") && !metric.contains("gallons"), "{metric}");
}

#[test]
fn check_does_all_but_write() {
    for (id, ..) in DEMOS {
        let bench = Bench::with_demo(id);
        let before = bench.names();
        let run = bench.done(&["check", "site.toml"]);
        assert_eq!(bench.names(), before);
        assert!(run.out.contains("verdict"), "{}", run.out);
    }
}

#[test]
fn a_refused_plan_leaves_nothing_behind() {
    let bench = Bench::with_demo("quoyle-end");
    let site = String::from_utf8(bench.bytes("site.toml")).unwrap();
    bench.write("site.toml", &site.replace("\"5.40 m\"", "\"5.40\""));
    let before = bench.names();
    let run = bench.weirbook(&["plan", "site.toml"]);
    assert_eq!(run.code, 2, "{}", run.err);
    assert_eq!(bench.names(), before);
    assert!(run.err.contains("error[") && run.err.contains("site.toml"), "{}", run.err);
    no_panic(&run);
    // An older plan is not touched by a refused one.
    bench.write("quoyle-end-care-plan.pdf", "older");
    assert_eq!(bench.weirbook(&["plan", "site.toml"]).code, 2);
    assert_eq!(bench.bytes("quoyle-end-care-plan.pdf"), b"older");
}

#[test]
fn a_new_site_passes_check_once_its_blanks_are_filled() {
    let bench = Bench::new();
    let run = bench.done(&["new", "ash-lane"]);
    assert!(run.out.contains("ash-lane"), "{}", run.out);
    let blank = fs::read_to_string(bench.path("ash-lane/site.toml")).unwrap();
    // Every blank that has to be filled, and no other.
    let answers = [
        ("id", "ash-lane"),
        ("owner", "A. Nobody"),
        ("place", "Ash Lane"),
        ("country", "other"),
        ("plan_date", "2026-05-10"),
        ("telephone", "1"),
        ("paper", "A4"),
        ("units", "metric"),
        ("shape", "rectangle"),
        ("length", "4 m"),
        ("width", "3 m"),
        ("mean_depth", "1 m"),
        ("kind", "mains"),
        ("steps", "6"),
        ("count", "2"),
        ("new_mass", "430 g"),
        ("flow", "15 L/min"),
    ];
    let filled: String = blank
        .lines()
        .map(|line| {
            let Some((key, rest)) = line.split_once(" = \"\"").filter(|(key, _)| !key.starts_with('#')) else {
                return format!("{line}\n");
            };
            // A name is asked for twice, of the pond and of the firm.
            let answer = answers.iter().find(|a| a.0 == key).map(|a| a.1).or((key == "name").then_some("Ash Lane"));
            format!("{key} = \"{}\"{rest}\n", answer.unwrap_or_default())
        })
        .collect();
    fs::write(bench.path("ash-lane/site.toml"), filled).unwrap();
    let run = bench.weirbook(&["check", "ash-lane/site.toml"]);
    assert_eq!(run.code, 0, "{}\n{}", run.out, run.err);
    assert!(run.out.contains("missing"), "what was not measured is said: {}", run.out);
}

#[test]
fn new_refuses_to_write_over_a_site() {
    let bench = Bench::new();
    bench.done(&["new", "here"]);
    fs::write(bench.path("here/site.toml"), "mine").unwrap();
    let run = bench.weirbook(&["new", "here"]);
    assert_eq!(run.code, 2, "{}", run.err);
    assert_eq!(fs::read_to_string(bench.path("here/site.toml")).unwrap(), "mine");
}

#[test]
fn figures_are_the_same_in_every_form() {
    let bench = Bench::with_demo("quoyle-end");
    let json = bench.done(&["figures", "site.toml", "--format", "json"]).out;
    let list: Vec<Value> = serde_json::from_str(&json).unwrap();
    let csv = bench.done(&["figures", "site.toml", "--format", "csv"]).out;
    let rows: Vec<csv::StringRecord> = csv::Reader::from_reader(csv.as_bytes()).records().map(Result::unwrap).collect();
    let text = bench.done(&["figures", "site.toml"]).out;
    assert_eq!(list.len(), rows.len());
    for (line, row) in list.iter().zip(&rows) {
        let id = line["id"].as_str().unwrap();
        assert_eq!(&row[1], id);
        assert!(
            (row[5].parse::<f64>().unwrap() - line["value"].as_f64().unwrap()).abs()
                <= 1e-12 * line["value"].as_f64().unwrap().abs()
        );
        assert!(text.contains(&format!("[{id}]")), "{id} is not in the text");
    }
    assert_eq!(bench.pdfs().len(), 0);
}

#[test]
fn figures_go_into_a_file_when_one_is_named_and_a_spreadsheet_into_a_pipe_as_it_is() {
    let bench = Bench::with_demo("quoyle-end");
    let run = bench.done(&["figures", "site.toml", "--format", "xlsx", "-o", "out/workings.xlsx"]);
    assert!(run.out.starts_with("wrote") && run.out.contains("workings.xlsx"), "{}", run.out);
    let bytes = bench.bytes("out/workings.xlsx");
    assert!(bytes.starts_with(b"PK"), "not a spreadsheet");
    // Another process, into a pipe: the same bytes.
    let piped = bench.command(&["figures", "site.toml", "--format", "xlsx"]).output().unwrap();
    assert_eq!((piped.status.code(), piped.stdout == bytes), (Some(0), true), "the pipe has another spreadsheet");
    for format in ["json", "csv", "text"] {
        let printed = bench.done(&["figures", "site.toml", "--format", format]).out;
        bench.done(&["figures", "site.toml", "--format", format, "-o", "figures"]);
        assert_eq!(bench.bytes("figures"), printed.as_bytes(), "{format}");
    }
    // A folder is no file, and what is there stays.
    let run = bench.weirbook(&["figures", "site.toml", "--format", "xlsx", "-o", "out"]);
    assert_eq!(run.code, 1, "{}", run.err);
    assert!(run.err.contains("is a folder") && run.err.contains("workings.xlsx"), "{}", run.err);
    no_panic(&run);
    let run = bench.weirbook(&["figures", "site.toml", "--format", "xlsx", "-o", "figures/workings.xlsx"]);
    assert_eq!(run.code, 1, "{}", run.err);
    assert!(run.err.contains("could not be written"), "{}", run.err);
    assert_eq!(fs::read_dir(bench.path("out")).unwrap().count(), 1, "a half-written file is left");
}

#[test]
fn the_forecast_is_the_same_in_both_forms() {
    let bench = Bench::with_demo("quoyle-end");
    let csv = bench.done(&["forecast", "site.toml"]).out;
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let head = reader.headers().unwrap().clone();
    assert_eq!(&head[0], "date");
    let column = |name: &str| head.iter().position(|h| h == name).unwrap_or_else(|| panic!("no {name} in {head:?}"));
    let hardness = column("carbonate hardness [°dKH]");
    let band = ["_10", "_50", "_90"].map(|which| column(&format!("carbonate hardness{which} [°dKH]")));
    assert!(!head.iter().any(|h| h.starts_with("change_")), "no water is changed, so nothing varies: {head:?}");
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let json: Value = serde_json::from_str(&bench.done(&["forecast", "site.toml", "--format", "json"]).out).unwrap();
    let days = json["days"].as_array().unwrap();
    assert_eq!((rows.len(), days.len()), (365, 365));
    for (row, day) in rows.iter().zip(days) {
        assert_eq!(&row[0], day["date"].as_str().unwrap());
        assert_eq!(row[hardness].parse::<f64>().unwrap(), day["carbonate_hardness"].as_f64().unwrap());
        let [low, middle, high] = band.map(|at| row[at].parse::<f64>().unwrap());
        assert_eq!(middle, day["carbonate_hardness_50"].as_f64().unwrap());
        assert!(low <= middle && middle <= high, "{row:?}");
        assert_eq!(row[1].parse::<f64>().unwrap(), day["volume"].as_f64().unwrap());
    }
    assert_eq!(json["units"]["conductivity"], "µS/cm");
    assert_eq!(json["units"]["conductivity_90"], "µS/cm");
    assert_eq!((json["members"].as_u64(), json["seed"].as_u64()), (Some(1000), Some(1)));
    assert_eq!(bench.pdfs().len(), 0);
}

#[test]
fn members_and_seed_of_a_forecast_are_chosen_on_the_command_line() {
    let bench = Bench::with_demo("pinch-gap");
    let out = |more: &[&str]| bench.done(&[&["forecast", "site.toml"], more].concat()).out;
    let few = out(&["--members", "30"]);
    assert_eq!(few, out(&["--members", "30", "--seed", "1"]));
    let others = out(&["--members", "30", "--seed", "2"]);
    assert_ne!(few, others);
    // The middle run is the same whatever is drawn, and stands alone without members; but for what the schedule does, which
    // is set by the members.
    let alone = out(&["--members", "0"]);
    assert!(!alone.contains("_10"), "{}", alone.lines().next().unwrap());
    let drawn = ["_10", "_50", "_90", "copper", "output level", "watch", "stop", "hardness", "conductivity", "ph"];
    let columns = |text: &str| -> Vec<Vec<String>> {
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let head = reader.headers().unwrap().clone();
        let keep: Vec<usize> = (0..head.len()).filter(|i| !drawn.iter().any(|p| head[*i].contains(p))).collect();
        reader.records().map(|row| keep.iter().map(|i| row.as_ref().unwrap()[*i].to_owned()).collect()).collect()
    };
    assert_eq!(columns(&few), columns(&alone));
    assert_eq!(columns(&others), columns(&alone));
    let run = bench.weirbook(&["forecast", "site.toml", "--members", "many"]);
    assert_eq!(run.code, 2);
}

#[test]
fn one_day_of_one_possible_year_is_printed_line_by_line() {
    let bench = Bench::with_demo("quoyle-end");
    let run = |more: &[&str]| bench.weirbook(&[&["forecast", "site.toml"], more].concat());
    let day = run(&["--member", "7", "--day", "2027-08-15"]);
    assert_eq!(day.code, 0, "{}", day.err);
    for words in [
        "Possible year 7: volume at the brim, as drawn from its range  [year.member.volume]",
        "     V_own = V_low + (V_high − V_low) · u_V",
        "[year.member.evening-copper]",
        "       C_eve: total copper on the evening before 2027-08-15",
    ] {
        assert!(day.out.contains(words), "no `{words}` in\n{}", day.out);
    }
    assert!(!day.out.contains('\u{a0}') && !day.out.contains("[volume.low]  "), "{}", day.out);
    assert_ne!(day.out, run(&["--member", "8", "--day", "2027-08-15"]).out);
    assert_ne!(day.out, run(&["--member", "7", "--day", "2027-08-15", "--seed", "2"]).out);
    let json = run(&["--member", "7", "--day", "2027-08-15", "--format", "json"]).out;
    let json: Value = serde_json::from_str(&json).unwrap();
    assert!(json.as_array().unwrap().iter().any(|line| line["id"] == "year.member.evening-hardness"));
    // The lines of the plan are those of its own year and day.
    let figures = bench.done(&["figures", "site.toml"]).out;
    let title = figures.lines().find(|line| line.contains("[year.member.evening-copper]")).unwrap();
    let date = title.split("the evening of ").nth(1).unwrap().split(' ').next().unwrap();
    let again = run(&["--member", "1", "--day", date]).out;
    let value = |text: &str| {
        let mut lines = text.lines().skip_while(|line| !line.contains("[year.member.evening-copper]")).skip(3);
        lines.next().unwrap().trim().to_owned()
    };
    assert_eq!(value(&figures), value(&again));
    for (more, code, words) in [
        (&["--member", "1000", "--day", "2027-08-15"][..], 2, "they are numbered from 0 to 999"),
        (&["--member", "7", "--day", "2029-08-15"], 2, "which runs from 2027-02-18 to 2028-02-17"),
        (&["--member", "7", "--day", "2027-02-30"], 2, "`--day`: input is out of range"),
        (&["--member", "7"], 2, "--day"),
        (&["--day", "2027-08-15"], 2, "--member"),
        (&["--members", "0", "--member", "7", "--day", "2027-08-15"], 2, "there are none"),
    ] {
        let run = run(more);
        no_panic(&run);
        let said = run.err.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(run.code == code && run.out.is_empty() && said.contains(words), "{more:?}: {}\n{}", run.code, run.err);
    }
}

#[test]
fn a_forecast_without_weather_says_what_it_lacks() {
    let bench = Bench::new();
    bench.done(&["new", "here"]);
    let run = bench.weirbook(&["forecast", "here/site.toml"]);
    no_panic(&run);
    assert_ne!(run.code, 0);
    assert!(run.out.is_empty(), "{}", run.out);
}

#[test]
fn typing_mistakes_are_answered_with_help() {
    let bench = Bench::with_demo("quoyle-end");
    for arguments in [
        &["plan"][..],
        &["paln", "site.toml"],
        &["plan", "site.toml", "--edition", "shed"],
        &["plan", "site.toml", "--unit", "us"],
        &["plan", "site.toml", "--units", "american"],
        &["plan", "site.toml", "--date", "18.02.2027"],
        &["plan", "site.toml", "--date", "2027-02-30"],
        &["figures", "site.toml", "--format", "xml"],
        &["new"],
        &[],
    ] {
        let run = bench.weirbook(arguments);
        assert_eq!(run.code, 2, "{arguments:?}: {}", run.err);
        assert!(run.err.contains("--help") || run.err.contains("Usage"), "{arguments:?}: {}", run.err);
        no_panic(&run);
    }
    assert!(bench.pdfs().is_empty());
    let run = bench.weirbook(&["plan", "site.toml", "--edition", "shed-shet"]);
    assert!(run.err.contains("shed-sheet"), "the nearest is offered: {}", run.err);
    // Told as every other complaint, with what to write.
    for (arguments, told) in [
        (&["paln"][..], "error[unknown-command]: there is no command `paln`\nhint: did you mean `plan`?"),
        (&["plan"], "error[missing-argument]: `<SITE.toml>` is missing"),
        (&["plan", "site.toml", "--edition", "shed-shet"], "error[unknown-value]: `--edition` is `shed-shet`"),
        (&["plan", "site.toml", "--date"], "error[no-value]: `--date` has no value behind it"),
        (
            &["plan", "site.toml", "--date", "18.02.2027"],
            "error[unreadable-value]: `--date`: `18.02.2027` is not a date",
        ),
        (&["plan", "site.toml", "spare.toml"], "error[unknown-option]: `spare.toml` has no place here"),
        (
            &["water", "--carbonate-hardnes", "6 dKH"],
            "error[unknown-option]: there is no option `--carbonate-hardnes`\nhint: did you mean `--carbonate-hardness`?",
        ),
        (&["water", "--temperature", "-1 °C"], "hint: write a value below nothing behind `=`"),
        (&["water", "--ph", "8", "--ph", "7"], "error[given-twice]: `--ph` is given twice"),
        (
            &["water", "--format", "yaml"],
            "error[unknown-value]: `--format` is `yaml`, which is none of its values\nhint: write `text` or `json`",
        ),
    ] {
        let run = bench.weirbook(arguments);
        assert_eq!((run.code, run.out.as_str()), (2, ""), "{arguments:?}");
        assert!(run.err.contains(told), "{arguments:?}: {}", run.err);
    }
}

#[test]
fn help_shows_an_example_of_every_command() {
    let bench = Bench::new();
    for arguments in [
        &["--help"][..],
        &["plan", "--help"],
        &["check", "--help"],
        &["new", "--help"],
        &["figures", "--help"],
        &["templates", "--help"],
        &["water", "--help"],
    ] {
        let run = bench.done(arguments);
        assert!(run.out.contains("Example") && run.out.contains("weirbook "), "{arguments:?}: {}", run.out);
    }
    assert!(bench.done(&["--help"]).out.contains("Exit codes"));
}

#[test]
fn a_missing_file_and_a_folder_in_its_place_are_told_apart() {
    let bench = Bench::new();
    for command in ["plan", "check", "figures"] {
        let run = bench.weirbook(&[command, "nothing.toml"]);
        assert_eq!(run.code, 1, "{}", run.err);
        assert!(run.err.contains("nothing.toml"), "{}", run.err);
        fs::create_dir_all(bench.path("folder")).unwrap();
        let run = bench.weirbook(&[command, "folder"]);
        assert_eq!(run.code, 1, "{}", run.err);
        assert!(run.err.contains("site.toml"), "the file in it is named: {}", run.err);
    }
}

#[test]
fn a_log_that_is_not_there_is_a_complaint_at_its_line() {
    let bench = Bench::with_demo("quoyle-end");
    fs::remove_file(bench.path("log.csv")).unwrap();
    let run = bench.weirbook(&["plan", "site.toml"]);
    assert_eq!(run.code, 2, "{}", run.err);
    assert!(run.err.contains("log.csv") && run.err.contains("site.toml:"), "{}", run.err);
    assert!(bench.pdfs().is_empty());
}

#[test]
fn texts_that_are_no_texts_are_refused_without_a_panic() {
    let bench = Bench::with_demo("quoyle-end");
    for bytes in [&b""[..], b"\xff\xfe\x00", b"\xef\xbb\xbf", b"[[[[", b"\x00\x00", b"= = =\n\"\"\"", b"[site]\nid = 3"]
    {
        fs::write(bench.path("site.toml"), bytes).unwrap();
        let run = bench.weirbook(&["plan", "site.toml"]);
        assert_eq!(run.code, 2, "{bytes:?}: {}{}", run.out, run.err);
        no_panic(&run);
    }
    assert!(bench.pdfs().is_empty());
}

#[test]
fn the_same_input_gives_the_same_bytes_in_two_processes() {
    for (id, ..) in DEMOS {
        let (first, second) = (Bench::with_demo(id), Bench::with_demo(id));
        let all = ["plan", "site.toml", "--edition", "care-plan", "--edition", "shed-sheet", "--edition", "workings"];
        first.done(&all);
        second.done(&all);
        assert_eq!(first.pdfs().len(), 3);
        for name in first.pdfs() {
            assert!(first.bytes(&name) == second.bytes(&name), "{name} differs between two runs");
        }
    }
}

#[test]
fn byte_order_mark_and_line_ends_do_not_change_the_words() {
    let bench = Bench::with_demo("quoyle-end");
    bench.done(&["plan", "site.toml"]);
    let plain = bench.words("quoyle-end-shed-sheet.pdf");
    for name in ["site.toml", "log.csv"] {
        let words = String::from_utf8(bench.bytes(name)).unwrap();
        bench.write(name, &format!("\u{feff}{}", words.replace('\n', "\r\n")));
    }
    bench.done(&["plan", "site.toml"]);
    assert_eq!(bench.words("quoyle-end-shed-sheet.pdf"), plain);
}

#[test]
fn printed_doses_can_be_read_back_from_the_file() {
    for (id, ..) in DEMOS {
        let bench = Bench::with_demo(id);
        let run = bench.done(&["plan", "site.toml"]);
        let plain = |text: &str| text.replace(['\u{a0}', '\u{202f}'], " ");
        let words = plain(&bench.words(&format!("{id}-care-plan.pdf")));
        for line in run.out.lines().filter(|line| line.starts_with("dose")) {
            let amount = plain(line.trim_start_matches("dose").trim());
            let amount = amount.split(" of ").next().unwrap();
            assert!(words.contains(amount), "{id}: `{amount}` is not in\n{words}");
        }
        for line in run.out.lines().filter(|line| line.starts_with("change")) {
            let amount = plain(line.trim_start_matches("change").trim());
            let amount = amount.split(',').take(2).collect::<Vec<_>>().join(",");
            let number: String = amount.chars().take_while(|c| c.is_ascii_digit() || *c == ',').collect();
            assert!(words.contains(number.trim_end_matches(',')), "{id}: `{number}` is not in\n{words}");
        }
    }
}

#[test]
fn a_name_that_looks_like_a_program_prints_as_typed() {
    let bench = Bench::with_demo("quoyle-end");
    let name = "# **<script>{{ 1 }}";
    let site = String::from_utf8(bench.bytes("site.toml")).unwrap();
    for (key, old) in [("name", "name = \"Quoyle End\""), ("owner", "owner = \"Mrs L. Vennaby\"")] {
        bench.write("site.toml", &site.replacen(old, &format!("{key} = \"{name}\""), 1));
        bench.done(&["plan", "site.toml"]);
        // The sheet for the shed names the pond, not its owner.
        for file in bench.pdfs().into_iter().filter(|file| key == "name" || file.contains("care-plan")) {
            let words = bench.words(&file).replace('\u{a0}', " ");
            assert!(words.contains(name), "{key}, {file}:\n{words}");
        }
    }
    let hard = "a | b ~~c~~ [d](e) `f` &amp; 1. \\n _g_ {% if %} ![h](drawing:i)";
    bench.write("site.toml", &site.replacen("name = \"Quoyle End\"", &format!("name = '{hard}'"), 1));
    bench.done(&["plan", "site.toml"]);
    let words = bench.words("quoyle-end-care-plan.pdf").replace('\u{a0}', " ");
    assert!(words.contains(hard), "{words}");
}

#[cfg(unix)]
#[test]
fn a_folder_that_may_not_be_written_is_said_to_be_so() {
    use std::os::unix::fs::PermissionsExt as _;
    let bench = Bench::with_demo("quoyle-end");
    fs::create_dir(bench.path("locked")).unwrap();
    fs::set_permissions(bench.path("locked"), fs::Permissions::from_mode(0o555)).unwrap();
    // Whoever may do anything (root) can write there all the same.
    let free = fs::write(bench.path("locked/probe"), "").is_ok();
    let run = bench.weirbook(&["plan", "site.toml", "-o", "locked"]);
    no_panic(&run);
    if !free {
        assert_eq!(run.code, 1, "{}{}", run.out, run.err);
        assert!(run.err.contains("could not be written"), "{}", run.err);
        assert_eq!(fs::read_dir(bench.path("locked")).unwrap().count(), 0);
    }
    // A file where a folder is wanted stops everyone.
    bench.write("file", "");
    let run = bench.weirbook(&["plan", "site.toml", "-o", "file"]);
    assert_eq!(run.code, 1, "{}{}", run.out, run.err);
    assert!(run.err.contains("could not be written"), "{}", run.err);
}

/// A folder with a demo and our templates written out into `words`.
fn with_templates(id: &str) -> Bench {
    let bench = Bench::with_demo(id);
    let run = bench.done(&["templates", "words"]);
    for part in ["care-plan", "shed-sheet", "workings", "sentences"] {
        assert!(run.out.contains(&format!("words/{part}.md")), "{}", run.out);
    }
    bench
}

#[test]
fn templates_that_are_written_out_and_left_alone_change_no_byte() {
    let all = ["--edition", "care-plan", "--edition", "shed-sheet", "--edition", "workings"];
    for crlf in [false, true] {
        let bench = with_templates("pinch-gap");
        if crlf {
            for part in ["care-plan", "shed-sheet", "workings", "sentences"] {
                let name = format!("words/{part}.md");
                let words = String::from_utf8(bench.bytes(&name)).unwrap();
                bench.write(&name, &format!("\u{feff}{}", words.replace('\n', "\r\n")));
            }
        }
        bench.done(&[&["plan", "site.toml", "-o", "ours"][..], &all].concat());
        bench.done(&[&["plan", "site.toml", "-o", "theirs", "--templates", "words"][..], &all].concat());
        for edition in ["care-plan", "shed-sheet", "workings"] {
            let name = |folder: &str| format!("{folder}/pinch-gap-{edition}.pdf");
            assert!(bench.bytes(&name("ours")) == bench.bytes(&name("theirs")), "{edition}");
        }
    }
}

#[test]
fn templates_are_not_written_over_unasked() {
    let bench = with_templates("quoyle-end");
    bench.write("words/workings.md", "mine");
    let run = bench.weirbook(&["templates", "words"]);
    assert_eq!(run.code, 2, "{}", run.err);
    assert!(run.err.contains("workings.md") && run.err.contains("--replace"), "{}", run.err);
    assert_eq!(bench.bytes("words/workings.md"), b"mine");
    bench.done(&["templates", "words", "--replace"]);
    assert_ne!(bench.bytes("words/workings.md"), b"mine");
}

#[test]
fn own_words_are_printed_and_the_rest_is_ours() {
    let bench = with_templates("quoyle-end");
    for part in ["shed-sheet", "workings", "sentences"] {
        fs::remove_file(bench.path(&format!("words/{part}.md"))).unwrap();
    }
    let words = String::from_utf8(bench.bytes("words/care-plan.md")).unwrap();
    bench.write("words/care-plan.md", &words.replace("## What to do now", "## Please do this, dear {{ site.owner }}"));
    bench.done(&["plan", "site.toml", "--templates", "words"]);
    let words = bench.words("quoyle-end-care-plan.pdf").replace('\u{a0}', " ");
    assert!(
        words.contains("Please do this, dear Mrs L. Vennaby") && words.contains("Each line shows the formula"),
        "{words}"
    );
}

#[test]
fn mistakes_in_own_words_are_told_with_file_and_line() {
    let bench = with_templates("quoyle-end");
    // A branch that this plan does not take.
    let words = String::from_utf8(bench.bytes("words/care-plan.md")).unwrap();
    let line = words.lines().position(|line| line.contains("Copper reads {{ now.copper }}")).unwrap() + 1;
    bench.write("words/care-plan.md", &words.replace("Copper reads {{ now.copper }}", "Copper reads {{ now.coper }}"));
    for command in ["check", "plan"] {
        let run = bench.weirbook(&[command, "site.toml", "--templates", "words"]);
        assert_eq!(run.code, 2, "{}{}", run.out, run.err);
        assert!(run.err.contains(&format!("words/care-plan.md:{line}:")), "{}", run.err);
        assert!(run.err.contains("^^^^^ this name is not known") && run.err.contains("`now.copper`"), "{}", run.err);
    }
    assert!(bench.pdfs().is_empty());
}

#[test]
fn odd_folders_of_templates_are_told_of() {
    let bench = Bench::with_demo("quoyle-end");
    let run = bench.weirbook(&["check", "site.toml", "--templates", "nowhere"]);
    assert_eq!(run.code, 1, "{}", run.err);
    assert!(run.err.contains("nowhere") && run.err.contains("weirbook templates"), "{}", run.err);
    let run = bench.weirbook(&["check", "site.toml", "--templates", "log.csv"]);
    assert_eq!(run.code, 1, "{}", run.err);
    fs::create_dir_all(bench.path("words/care-plan.md")).unwrap();
    assert_eq!(bench.weirbook(&["check", "site.toml", "--templates", "words"]).code, 1);
    fs::remove_dir(bench.path("words/care-plan.md")).unwrap();
    bench.write("words/shed-shet.md", "# Mine");
    bench.write("words/.hidden", "");
    let run = bench.done(&["check", "site.toml", "--templates", "words"]);
    assert!(run.err.contains("shed-shet.md") && run.err.contains("`shed-sheet.md`"), "{}", run.err);
    assert!(!run.err.contains("hidden"), "{}", run.err);
    fs::write(bench.path("words/workings.md"), b"# \xff").unwrap();
    let run = bench.weirbook(&["check", "site.toml", "--templates", "words"]);
    assert!(run.code == 2 && run.err.contains("not-utf8") && run.err.contains("workings.md"), "{}", run.err);
}

#[test]
fn what_is_said_fits_a_narrow_terminal_and_holds_ordinary_spaces() {
    for width in ["40", "60"] {
        let bench = Bench::with_demo("quoyle-end");
        let site = String::from_utf8(bench.bytes("site.toml")).unwrap();
        bench.write("bad.toml", &site.replace("\"5.40 m\"", "\"5.40\"").replace("owner =", "ownr ="));
        for arguments in
            [&["check", "site.toml"][..], &["check", "bad.toml"], &["check", "nothing.toml"], &["new", "."]]
        {
            let mut command = bench.command(arguments);
            command.env("COLUMNS", width);
            let run = Bench::run(command);
            for line in run.out.lines().chain(run.err.lines()) {
                assert!(line.chars().count() <= width.parse().unwrap(), "{arguments:?} in {width} columns: {line}");
                assert!(!line.contains('\u{a0}'), "{line}");
            }
        }
    }
    for (id, ..) in DEMOS {
        let run = Bench::with_demo(id).done(&["plan", "site.toml"]);
        assert!(!run.out.contains('\u{a0}') && !run.err.contains('\u{a0}'), "{}", run.out);
        // In a pipe each answer is one line.
        assert!(run.out.lines().all(|line| !line.starts_with(' ')), "{}", run.out);
    }
}

#[test]
fn a_file_given_for_another_gets_one_complaint_that_says_so() {
    let bench = Bench::with_demo("quoyle-end");
    bench.done(&["plan", "site.toml"]);
    let site = String::from_utf8(bench.bytes("site.toml")).unwrap();
    bench.write("log-is-site.toml", &site.replace("log.csv", "site.toml"));
    bench.write("log-is-pdf.toml", &site.replace("log.csv", "quoyle-end-care-plan.pdf"));
    fs::write(bench.path("sheet.xlsx"), b"PK\x03\x04\x14\x00\x06\x00\xff\xfe").unwrap();
    bench.write("log-is-sheet.toml", &site.replace("log.csv", "sheet.xlsx"));
    for (given, said, hint) in [
        ("log.csv", "this is a log of readings", "weirbook check site.toml"),
        ("quoyle-end-care-plan.pdf", "this is a PDF", "weirbook check site.toml"),
        ("letterhead.svg", "error[", "site.toml"),
        ("log-is-site.toml", "this is a site file", "[log]"),
        ("log-is-pdf.toml", "this is a PDF", "[log]"),
        ("log-is-sheet.toml", "this is a spreadsheet", "CSV UTF-8"),
    ] {
        if !bench.path(given).exists() {
            continue;
        }
        let run = bench.weirbook(&["check", given]);
        assert_eq!(run.code, 2, "{given}: {}", run.err);
        assert_eq!(run.err.matches("error[").count(), 1, "{given}: {}", run.err);
        assert!(run.err.contains(said) && run.err.contains(hint), "{given}: {}", run.err);
    }
}

#[test]
fn a_date_after_the_next_visit_names_both() {
    let bench = Bench::with_demo("quoyle-end");
    let run = bench.weirbook(&["check", "site.toml", "--date", "2028-01-02"]);
    assert_eq!(run.code, 2, "{}", run.err);
    let hint = run.err.split("hint:").nth(1).unwrap();
    assert!(hint.contains("2028-01-02") && hint.contains("2027-03-18") && hint.contains("--date"), "{}", run.err);
}

#[cfg(unix)]
#[test]
fn who_stops_listening_does_not_stop_the_work() {
    use std::process::Stdio;
    let bench = Bench::with_demo("quoyle-end");
    let mut child =
        bench.command(&["plan", "site.toml"]).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    drop(child.stdout.take());
    drop(child.stderr.take());
    assert!(child.wait().unwrap().code().is_some_and(|code| code <= 1));
    assert_eq!(bench.pdfs().len(), 2, "both files are written before anything is said");
    if let Ok(full) = fs::File::options().write(true).open("/dev/full") {
        let mut command = bench.command(&["check", "site.toml"]);
        let status = command.stdout(Stdio::from(full.try_clone().unwrap())).stderr(Stdio::null()).status().unwrap();
        assert_eq!(status.code(), Some(1), "an answer that could not be given is a fault");
        let mut command = bench.command(&["check", "nothing.toml"]);
        let status = command.stdout(Stdio::null()).stderr(Stdio::from(full)).status().unwrap();
        assert_eq!(status.code(), Some(1), "no panic");
    }
}

#[test]
fn the_words_of_the_demo_plans_are_those_reviewed() {
    for (id, ..) in DEMOS {
        let bench = Bench::with_demo(id);
        bench.done(&["plan", "site.toml"]);
        for edition in ["care-plan", "shed-sheet"] {
            let pages = read::text(&bench.bytes(&format!("{id}-{edition}.pdf"))).unwrap();
            // One sentence a line, so that a change of wording shows as one line.
            let words: Vec<String> = pages
                .iter()
                .zip(1..)
                .map(|(page, number)| format!("--- page {number}\n{}\n", page.replace(". ", ".\n")))
                .collect();
            insta::with_settings!({ omit_expression => true, prepend_module_to_snapshot => false }, {
                insta::assert_snapshot!(format!("words-{id}-{edition}"), words.join("\n"));
            });
        }
    }
}

#[test]
fn visits_that_contradict_the_model_are_told_at_the_terminal_and_on_the_page() {
    let bench = Bench::with_demo("pinch-gap");
    let site = String::from_utf8(bench.bytes("site.toml")).unwrap();
    let (head, rest) = site.split_once("# Done between the visits.").unwrap();
    let (_, tail) = rest.split_once("# Level 2 from").unwrap();
    bench.write("site.toml", &format!("{head}# Level 2 from{tail}"));
    let run = bench.weirbook(&["plan", "site.toml"]);
    assert_eq!(run.code, 0, "{}", run.err);
    let told = run.out.lines().find(|line| line.contains("August 12, 2026") && line.contains("August 20, 2026"));
    assert!(told.is_some_and(|line| line.starts_with("log ") && line.contains("598")), "{}", run.out);
    let page = bench.words("pinch-gap-care-plan.pdf").replace(['\u{a0}', '\n'], " ");
    assert!(page.contains("Something happened in this pond that the log does not tell"));
    assert!(page.contains("765 µS/cm on August 12, 2026 and 598 µS/cm on August 20, 2026"), "the visits are not named");
}

/// A folder in which a plan has everything that it may be made with: letterhead, photograph, words of the firm's own, units and
/// a date from the command line.
fn with_everything() -> Bench {
    let bench = with_templates("quoyle-end");
    for part in ["shed-sheet", "workings", "sentences"] {
        fs::remove_file(bench.path(&format!("words/{part}.md"))).unwrap();
    }
    let words = String::from_utf8(bench.bytes("words/care-plan.md")).unwrap();
    bench.write("words/care-plan.md", &words.replace("## What to do now", "## Please do this"));
    let pixels: Vec<u8> = (0..64 * 48 * 3).map(|n| n as u8).collect();
    let mut photo = Vec::new();
    jpeg_encoder::Encoder::new(&mut photo, 80).encode(&pixels, 64, 48, jpeg_encoder::ColorType::Rgb).unwrap();
    fs::write(bench.path("return.jpg"), photo).unwrap();
    let site = String::from_utf8(bench.bytes("site.toml")).unwrap();
    let photo =
        "\n[[photo]]\nfile = \"return.jpg\"\ncaption = \"The return\"\ndescription = \"A return\"\npart = \"bars\"\n";
    bench.write("site.toml", &(site + photo));
    let all = ["--edition", "care-plan", "--edition", "shed-sheet", "--edition", "workings"];
    let others = ["--templates", "words", "--units", "imperial", "--date", "2027-02-20", "-o", "plans"];
    bench.done(&[&["plan", "site.toml"][..], &all, &others].concat());
    bench
}

#[test]
fn a_plan_with_everything_is_audited_from_the_pdf_alone() {
    let made = with_everything();
    // Nothing but the PDF is there.
    let bench = Bench::new();
    for edition in ["care-plan", "shed-sheet", "workings"] {
        let name = format!("quoyle-end-{edition}.pdf");
        fs::copy(made.path(&format!("plans/{name}")), bench.path(&name)).unwrap();
        let run = bench.done(&["audit", &name]);
        assert!(run.out.contains("agrees") && run.out.contains("byte for byte"), "{edition}: {}", run.out);
        assert!(run.err.is_empty(), "{}", run.err);
    }
    let files: Vec<String> = read::attachments(&bench.bytes("quoyle-end-care-plan.pdf"))
        .unwrap()
        .into_iter()
        .map(|(name, _)| name)
        .collect();
    for name in ["care-plan.md", "letterhead.svg", "log.csv", "made-with.json", "site.toml", "workings.json"] {
        assert!(files.iter().any(|file| file == name), "{name} is not among {files:?}");
    }
}

#[test]
fn a_photograph_or_a_letterhead_that_was_exchanged_is_told() {
    let exchanged = |bench: &Bench, name: &str, photo: bool| {
        let mut file = lopdf::Document::load_mem(&bench.bytes(name)).unwrap();
        let picture = file.objects.values_mut().find_map(|object| {
            let stream = object.as_stream_mut().ok()?;
            let image = stream.dict.get(b"Subtype").ok()?.as_name().ok()? == b"Image";
            (image && (stream.dict.get(b"Filter").unwrap().as_name().unwrap() == b"DCTDecode") == photo)
                .then_some(stream)
        });
        let picture = picture.unwrap();
        if photo {
            let last = picture.content.len() - 10;
            picture.content[last] ^= 1;
        } else {
            let mut pixels = picture.get_plain_content().unwrap();
            pixels[100] ^= 64;
            picture.set_plain_content(pixels);
        }
        file.save(bench.path("changed.pdf")).unwrap();
        bench.weirbook(&["audit", "changed.pdf"])
    };
    let run = exchanged(&with_everything(), "plans/quoyle-end-care-plan.pdf", true);
    assert_eq!(run.code, 1, "{}", run.err);
    assert!(run.out.contains("photograph `return.jpg`"), "{}", run.out);
    assert!(
        run.out.lines().filter(|line| line.starts_with("differs")).all(|line| line.contains("<picture>")),
        "{}",
        run.out
    );
    let bench = Bench::with_demo("wendlow-bottom");
    bench.done(&["plan", "site.toml"]);
    let run = exchanged(&bench, "wendlow-bottom-care-plan.pdf", false);
    assert_eq!(run.code, 1, "{}", run.err);
    assert!(run.out.contains("page 1: a picture on this page is another"), "{}", run.out);
}

#[test]
fn every_demo_as_shipped_agrees() {
    for (id, ..) in DEMOS {
        let bench = Bench::with_demo(id);
        bench.done(&["plan", "site.toml"]);
        for name in bench.pdfs() {
            let run = bench.done(&["audit", &name]);
            assert!(run.out.lines().any(|line| line.starts_with("agrees")), "{name}: {}", run.out);
        }
    }
}

#[test]
fn audit_tells_by_its_exit_code_whether_a_plan_agrees() {
    let bench = Bench::with_demo("quoyle-end");
    bench.done(&["plan", "site.toml", "--edition", "care-plan"]);
    let name = "quoyle-end-care-plan.pdf";
    // The log inside is changed, its stream put back as it was packed.
    let mut file = lopdf::Document::load_mem(&bench.bytes(name)).unwrap();
    let log = file.objects.values_mut().find_map(|object| {
        let stream = object.as_stream_mut().ok()?;
        let words = String::from_utf8(stream.get_plain_content().ok()?).ok()?;
        words.starts_with("date,time").then_some((stream, words))
    });
    let (stream, words) = log.unwrap();
    stream.set_plain_content(words.replace("2027-02-17,,5.5,5.5", "2027-02-17,,5.5,6.5").into_bytes());
    file.save(bench.path("changed.pdf")).unwrap();
    let run = bench.weirbook(&["audit", "changed.pdf"]);
    no_panic(&run);
    assert_eq!(run.code, 1, "{}{}", run.out, run.err);
    let differs: Vec<&str> = run.out.lines().filter(|line| line.starts_with("differs")).collect();
    assert!(differs[0].contains("log.csv") && differs[0].contains("not the one"), "{}", differs[0]);
    assert!(
        differs.iter().any(|line| line.contains("page 1, line ") && line.contains("740 g of sodium")),
        "{}",
        run.out
    );
    assert!(!run.out.lines().any(|line| line.starts_with("agrees")));

    let run = bench.weirbook(&["audit", "changed.pdf", "--format", "json"]);
    assert_eq!(run.code, 1);
    let told: Value = serde_json::from_str(&run.out).unwrap();
    assert_eq!(told["agrees"], false);
    assert_eq!(told["edition"], "care-plan");
    assert_eq!(told["findings"][0]["id"], "not-the-input");
    let number = told["findings"]
        .as_array()
        .unwrap()
        .iter()
        .find(|finding| finding["id"] == "number" && finding["figure"].is_object());
    let number = number.unwrap();
    assert!(number["page"] == 1 && number["line"].is_u64() && number["figure"]["id"].is_string(), "{number}");
    let run = bench.done(&["audit", name, "--format", "json"]);
    let told: Value = serde_json::from_str(&run.out).unwrap();
    assert!(told["agrees"] == true && told["same_bytes"] == true && told["findings"] == Value::Array(Vec::new()));

    for (given, said) in [("nothing.pdf", "nothing.pdf"), ("site.toml", "no PDF"), (".", "folder")] {
        let run = bench.weirbook(&["audit", given]);
        no_panic(&run);
        assert_eq!(run.code, 2, "{given}: {}{}", run.out, run.err);
        assert!(run.err.contains(said), "{given}: {}", run.err);
    }
}

#[test]
fn compare_says_in_words_what_changed_and_why() {
    let bench = Bench::with_demo("quoyle-end");
    bench.done(&["plan", "site.toml", "--edition", "care-plan"]);
    let old = "quoyle-end-care-plan.pdf";
    let run = bench.done(&["compare", old, "site.toml"]);
    assert!(run.out.lines().any(|line| line.starts_with("same")), "{}", run.out);
    let log = String::from_utf8(bench.bytes("log.csv")).unwrap();
    bench.write("log.csv", &log.replace("2027-02-17,,5.5,5.5", "2027-02-17,,5.5,5.0"));
    let run = bench.weirbook(&["compare", old, "site.toml"]);
    assert_eq!(run.code, 1, "{}", run.err);
    let line =
        |head: &str| run.out.lines().find(|line| line.starts_with(head)).unwrap_or_else(|| panic!("{}", run.out));
    assert!(line("input").contains("carbonate hardness") && line("input").contains("was 5.5 and is 5.0 (log line 13)"));
    let dose = line("decided  buffer dose");
    assert!(dose.contains("740 g") && dose.contains("(log line 13)") && dose.contains("through"), "{dose}");
    bench.done(&["plan", "site.toml", "--edition", "shed-sheet"]);
    let run = bench.weirbook(&["compare", old, "quoyle-end-shed-sheet.pdf", "--format", "json"]);
    assert_eq!(run.code, 1, "{}", run.err);
    let told: Value = serde_json::from_str(&run.out).unwrap();
    assert_eq!(told["same"], false);
    assert_eq!(told["inputs"][0]["line"], 13);
    let dose =
        told["figures"].as_array().unwrap().iter().find(|figure| figure["id"] == "hardness.buffer.dose").unwrap();
    assert!(dose["chain"].as_array().unwrap().len() > 1 && dose["cause"] == "follows", "{dose}");
    for pair in [["nothing.pdf", "site.toml"], ["site.toml", "log.csv"]] {
        let run = bench.weirbook(&["compare", pair[0], pair[1]]);
        assert_eq!(run.code, 2, "{pair:?}: {}{}", run.out, run.err);
    }
}
