//! The weirbook program: see the library.

fn main() -> std::process::ExitCode {
    weirbook::cli::main(std::env::args_os())
}
