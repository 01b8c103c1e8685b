//! The files that `weirbook new` writes: a site file to fill in, and a log with its head.

/// A commented site file. Its blanks are the empty texts of required keys; once they are filled it passes `check`.
#[must_use]
pub fn blank_site() -> String {
    include_str!("blank.toml").to_owned()
}

/// A log with its head and no visit.
#[must_use]
pub fn blank_log() -> String {
    include_str!("blank.csv").to_owned()
}
