//! The program with stages of its own: what a program that uses the library looks like, and what the tests of the
//! command line run, so that they do not depend on what the shipped stages do.

mod stages;

use std::process::ExitCode;

fn main() -> ExitCode {
    turnhue::cli::main(std::env::args_os(), &stages::all())
}
