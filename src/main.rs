//! Picks the command line or the screens, and turns the outcome into an exit code.

fn main() -> std::process::ExitCode {
    meltkin::cli::main()
}
