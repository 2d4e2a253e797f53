//! The page in a real browser, with mouse, keys and fingers, as a coach, a clinician and a client at home use it.
//!
//! Needs Chromium with its driver, and axe-core's script where `TWOREACH_AXE` says. Where they are missing the tests say
//! "skipped", unless `TWOREACH_BROWSER_REQUIRED` is 1. Pictures of every page are kept in `screens` of cargo's folder for tests.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]
#![allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "pixels of invented pictures")]
#![allow(clippy::print_stdout, reason = "a skipped test says so")]

#[path = "../behaviour/board_pictures.rs"]
mod board_pictures;
mod browser;
mod case;
mod curve;
mod driver;
mod job;
mod lenses;
mod look;
mod marking;
mod other_pages;
mod pictures;
mod server;
