//! What a user does, one file per thing: runs the real binary and looks at exit code, output and files.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]
#![allow(clippy::print_stdout, reason = "a skipped test says so")]
#![allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "pixels of invented pictures")]

mod accuracy;
mod bad_input;
mod bad_media;
mod board_pictures;
mod calibrate;
mod carry;
mod case_files;
mod clips;
mod command_line;
mod compared_pictures;
mod decode;
mod demo;
mod film;
mod found_bar;
mod front_starts;
mod look;
mod measure;
mod plan;
mod real_bodies;
mod reference_clips;
mod repeatability;
mod report;
mod retest;
mod sample_case;
mod simulation;
mod start_frames;
mod stopping;
mod track;
mod web;
