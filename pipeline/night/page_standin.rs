//! STANDIN
use std::path::PathBuf;
use crate::plan::Night; use crate::run::{Failure, Surroundings};
/// p
#[derive(Clone, Debug)]
pub struct NightPage { /// p
 pub page: PathBuf, /// p
 pub chosen: Option<(String, PathBuf)>, /// p
 pub why: Vec<String> }
/// d
/// # Errors
/// no
pub fn draw(_: &Night, _: &Surroundings<'_>) -> Result<NightPage, Failure> { Err(Failure::Cancelled) }
