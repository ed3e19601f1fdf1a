//! The `copperwalk` program, built with the tests so that they always run the one that fits.

use std::process::ExitCode;

fn main() -> ExitCode {
    copperwalk::cli::main()
}
