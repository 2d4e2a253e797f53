//! Charts, annotated stills, HTML and PDF.
