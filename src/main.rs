//! The command line: arguments in, exit status out.

#![forbid(unsafe_code)]

/// Pictures are large and short-lived: the system's allocator gives each one's memory back and has it
/// cleared again for the next, a quarter of a reading's time.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> std::process::ExitCode {
    flankread::run_command_line()
}
