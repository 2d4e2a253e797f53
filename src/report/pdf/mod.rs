//! The report as PDF: a small layout engine of our own on krilla.
//!
//! [`blocks`] turn the content into pieces of known height, [`flow`] puts the pieces on pages, [`write`] draws the pages
//! and the tree of tags. The result is tagged for PDF/UA-1: headings, lists, tables with header cells and text
//! alternatives can be read without seeing the page.

mod blocks;
mod figures;
mod flow;
mod metrics;
mod notes;
mod ops;
mod table;
mod tags;
mod text;
mod write;

pub(crate) use write::render;
