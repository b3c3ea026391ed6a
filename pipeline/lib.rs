//! Reads a job file, plans, runs, records.
