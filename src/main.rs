//! The weirbook program: see the library.

/// What a plan needs is taken in very many small pieces, and given back as many times.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> std::process::ExitCode {
    weirbook::cli::main(std::env::args_os())
}
