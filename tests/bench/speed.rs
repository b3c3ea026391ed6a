//! How long things take. `cargo bench` runs everything in a minute or two; `cargo bench -- hollow` what has the word in
//! its name.
#![allow(clippy::unwrap_used, missing_docs)]

mod chain;
mod colours;
mod files;
mod health;
mod likeness;
mod nights;
mod pieces;
mod views;

fn main() {
    divan::main();
}
