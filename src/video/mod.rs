//! Clips and stills in, as upright frames with their times; encoding for the demo.
