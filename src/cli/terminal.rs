//! What is said, and where: answers on standard output, complaints on standard error, both wrapped for whoever reads them.
//!
//! Neither may end the program with a panic: standard output may be a pipe that was closed, or a disk that is full.

use std::io::{IsTerminal as _, Write as _};
use std::process::ExitCode;

use super::complaints;
use crate::diag::{Diagnostic, Diagnostics, Text};

/// Lines are no longer than this, however wide the terminal: longer ones are hard to follow.
const WIDEST: usize = 100;
/// Columns of the words that head the lines of an answer.
const HEAD: usize = 9;

/// Columns of the terminal: what `COLUMNS` says, else what the terminal says; `None` when nobody does.
fn columns() -> Option<usize> {
    let told = std::env::var("COLUMNS").ok().and_then(|text| text.trim().parse::<usize>().ok()).filter(|n| *n > 0);
    told.or_else(|| terminal_size::terminal_size().map(|(width, _)| usize::from(width.0)))
}

/// Where complaints wrap: at the terminal's width, and at 80 columns in a pipe.
fn width() -> usize {
    columns().map_or(80, |width| width.min(WIDEST))
}

/// A line on standard output. A reader that has gone away ends the program quietly; any other fault is said.
pub(super) fn say_line(words: std::fmt::Arguments<'_>) {
    // No-break spaces are for the page; whoever reads or searches this types ordinary ones.
    let words = words.to_string().replace(['\u{a0}', '\u{202f}'], " ");
    say_bytes(format!("{words}\n").as_bytes());
}

/// Bytes on standard output, as they are. Faults as in [`say_line`].
pub(super) fn say_bytes(bytes: &[u8]) {
    let mut out = std::io::stdout().lock();
    if let Err(error) = out.write_all(bytes).and_then(|()| out.flush()) {
        if error.kind() == std::io::ErrorKind::BrokenPipe {
            std::process::exit(0);
        }
        tell(&format!("error[unwritable-output]: what was to be said could not be written: {}\n", fault(&error)));
        std::process::exit(1);
    }
}

/// Words on standard error. When even they cannot be written there is nobody left to tell.
pub(super) fn tell(words: &str) {
    let _ = std::io::stderr().lock().write_all(words.as_bytes());
}

/// A line of an answer: its head in the first columns, wrapped under itself on a terminal. In a pipe it stays one line, for
/// programs to read.
pub(super) fn attend(head: &str, words: &str) {
    let told = std::env::var_os("COLUMNS").is_some();
    let width = if told || std::io::stdout().is_terminal() { width() } else { usize::MAX };
    for (i, line) in complaints::wrapped(words, width.saturating_sub(HEAD).max(20)).iter().enumerate() {
        say_line(format_args!("{:<8} {line}", if i == 0 { head } else { "" }));
    }
}

/// Complaints on standard error, in colour on a terminal.
pub(super) fn show(texts: &[Text], found: &Diagnostics) {
    if !found.is_empty() {
        let colour = std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty());
        tell(&complaints::render(texts, found, colour, width()));
    }
}

/// A complaint without a place, and the exit code that goes with it.
pub(super) fn fail(code: u8, complaint: Diagnostic) -> ExitCode {
    show(&[], &complaint.into());
    ExitCode::from(code)
}

/// What the system says is wrong with a file, in words.
pub(super) fn fault(error: &std::io::Error) -> String {
    use std::io::ErrorKind;
    match error.kind() {
        ErrorKind::NotFound => "there is none of this name".to_owned(),
        ErrorKind::PermissionDenied => "you have no right to it".to_owned(),
        ErrorKind::IsADirectory => "it is a folder".to_owned(),
        ErrorKind::NotADirectory => "a part of its path is a file, not a folder".to_owned(),
        ErrorKind::StorageFull => "the disk is full".to_owned(),
        ErrorKind::ReadOnlyFilesystem => "the disk can only be read".to_owned(),
        ErrorKind::QuotaExceeded => "your share of the disk is used up".to_owned(),
        ErrorKind::InvalidFilename => "its name is not allowed here".to_owned(),
        _ => error.to_string(),
    }
}

/// Time after which a run says that it is still at work.
const SILENT: std::time::Duration = std::time::Duration::from_secs(1);

/// While this is there, a run that takes more than a second says so on a terminal, once. Logs and pipes are not told.
pub(super) struct Patience {
    done: Option<std::sync::mpsc::Sender<()>>,
    teller: Option<std::thread::JoinHandle<()>>,
}

impl Patience {
    /// Starts to wait, on standard error if that is a terminal. Where no thread can be started nothing is said.
    pub(super) fn start(words: &'static str) -> Self {
        if !std::io::stderr().is_terminal() {
            return Self { done: None, teller: None };
        }
        let (done, wait) = std::sync::mpsc::channel::<()>();
        let teller = std::thread::Builder::new().spawn(move || {
            if wait.recv_timeout(SILENT) == Err(std::sync::mpsc::RecvTimeoutError::Timeout) {
                tell(&format!("working  {words}\n"));
            }
        });
        Self { done: Some(done), teller: teller.ok() }
    }
}

impl Drop for Patience {
    fn drop(&mut self) {
        drop(self.done.take());
        if let Some(teller) = self.teller.take() {
            // A teller that failed has nothing more to say.
            let _ = teller.join();
        }
    }
}
