//! What is wrong with the command line itself, told as every other complaint is.

use std::error::Error as _;

use clap::error::{ContextKind, ContextValue, ErrorKind};

use crate::diag::{Diagnostic, listed};

/// What a fault of the command line is, as a complaint; `None` for what is no fault (help, version) and for what is better told
/// in full by the reader of the line.
pub(super) fn complaint(error: &clap::Error) -> Option<Diagnostic> {
    let all = |kind: ContextKind| -> Vec<String> {
        match error.get(kind) {
            Some(ContextValue::String(one)) => vec![one.clone()],
            Some(ContextValue::Strings(many)) => many.clone(),
            _ => Vec::new(),
        }
    };
    let one = |kind: ContextKind| all(kind).into_iter().next();
    // `--format <FORMAT>` is `--format` to those who type it.
    let bare = |argument: String| argument.split(" <").next().unwrap_or_default().to_owned();
    let quoted = |words: &[String]| listed(words.iter().map(String::as_str));
    let more = "`--help` behind the command shows all";
    Some(match error.kind() {
        ErrorKind::UnknownArgument => {
            let given = one(ContextKind::InvalidArg)?;
            let message = if given.starts_with("--") {
                format!("there is no option `{given}`")
            } else {
                format!("`{given}` has no place here")
            };
            let hint = if given.strip_prefix('-').is_some_and(|rest| rest.starts_with(|c: char| c.is_ascii_digit())) {
                format!("write a value below nothing behind `=`, as in `--temperature=\"-1 °C\"`; {more}")
            } else {
                match one(ContextKind::SuggestedArg) {
                    Some(near) => format!("did you mean `{near}`? {more}"),
                    None => more.to_owned(),
                }
            };
            Diagnostic::error("unknown-option", None, message).hint(hint)
        }
        ErrorKind::InvalidSubcommand => {
            let given = one(ContextKind::InvalidSubcommand)?;
            let near = all(ContextKind::SuggestedSubcommand);
            let hint = if near.is_empty() {
                "`weirbook --help` lists the commands".to_owned()
            } else {
                format!("did you mean {}? `weirbook --help` lists the commands", quoted(&near))
            };
            Diagnostic::error("unknown-command", None, format!("there is no command `{given}`")).hint(hint)
        }
        ErrorKind::InvalidValue => {
            let option = bare(one(ContextKind::InvalidArg)?);
            let given = one(ContextKind::InvalidValue).unwrap_or_default();
            let known = all(ContextKind::ValidValue);
            if given.is_empty() {
                let hint = if known.is_empty() { more.to_owned() } else { format!("write {}; {more}", quoted(&known)) };
                return Some(
                    Diagnostic::error("no-value", None, format!("`{option}` has no value behind it")).hint(hint),
                );
            }
            let hint = match one(ContextKind::SuggestedValue) {
                Some(near) => format!("did you mean `{near}`? {more}"),
                None => format!("write {}; {more}", quoted(&known)),
            };
            Diagnostic::error("unknown-value", None, format!("`{option}` is `{given}`, which is none of its values"))
                .hint(hint)
        }
        ErrorKind::ValueValidation => {
            let option = bare(one(ContextKind::InvalidArg)?);
            let source = error.source()?;
            let words = if source.is::<std::num::ParseIntError>() {
                "this is no whole number; write digits alone".to_owned()
            } else {
                source.to_string()
            };
            // What reads the value says what is wrong with it and what to write, in that order.
            let (wrong, write) = words.split_once("; ").unwrap_or((&words, more));
            let hint = if write == more { write.to_owned() } else { format!("{write}; {more}") };
            Diagnostic::error("unreadable-value", None, format!("`{option}`: {wrong}")).hint(hint)
        }
        ErrorKind::MissingRequiredArgument => {
            let missing = all(ContextKind::InvalidArg);
            let word = if missing.len() == 1 { "is" } else { "are" };
            Diagnostic::error(
                "missing-argument",
                None,
                format!("{} {word} missing", quoted(&missing).replace(" or ", " and ")),
            )
            .hint(more)
        }
        ErrorKind::ArgumentConflict => {
            let given = bare(one(ContextKind::InvalidArg)?);
            let prior = one(ContextKind::PriorArg).map(bare);
            let message = match prior {
                Some(prior) if prior != given => format!("`{given}` and `{prior}` cannot be given together"),
                _ => format!("`{given}` is given twice"),
            };
            Diagnostic::error("given-twice", None, message).hint(format!("leave out one of them; {more}"))
        }
        _ => return None,
    })
}
