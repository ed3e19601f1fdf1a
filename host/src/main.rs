//! The `copperwalk` program. Everything it does stands in the library; see `copperwalk::cli`.

use std::process::ExitCode;

fn main() -> ExitCode {
    copperwalk::cli::main()
}
