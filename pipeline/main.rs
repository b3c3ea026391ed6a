//! The program `turnhue`, with the stages that ship.

use std::process::ExitCode;

fn main() -> ExitCode {
    turnhue::cli::main(std::env::args_os(), &turnhue_stages::shipped())
}
