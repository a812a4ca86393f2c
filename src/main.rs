//! The program; see the library for what it does.

fn main() -> std::process::ExitCode {
    std::process::ExitCode::from(footring::cli::run() as u8)
}
