//! Tworeach measures a two-reach overhead screen from phone video.
//!
//! A person raises a light bar as high as possible with straight elbows, once with the shoulders internally rotated and
//! once externally rotated. The rooms below turn marked points into elevation angles and bar heights with their
//! uncertainty, make the call, and write the report. A room uses only the rooms above it in this list.

pub mod geometry;
pub mod uncertainty;
pub mod video;
pub mod camera;
pub mod track;
pub mod pose;
pub mod screen;
pub mod plan;
pub mod records;
pub mod report;
pub mod demo;
pub mod web;
pub mod cli;
