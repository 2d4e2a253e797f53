//! Breaks text into lines.

use crate::report::font::{Weight, printable, width_em};
use crate::report::pdf::metrics::Style;

/// A stretch of text in one style.
#[derive(Debug, Clone)]
pub(super) struct Run {
    /// The text, fit for print.
    pub text: String,
    /// Its style.
    pub style: Style,
}

/// Runs side by side on one baseline.
#[derive(Debug, Clone, Default)]
pub(super) struct Line {
    /// The runs, left to right.
    pub runs: Vec<Run>,
}

impl Run {
    /// A run of text from anywhere. A space at its end stays, since another run may follow.
    pub fn new(text: &str, style: Style) -> Self {
        let mut printed = printable(text);
        if text.ends_with(' ') && !printed.is_empty() {
            printed.push(' ');
        }
        Self { text: printed, style }
    }

    /// Width, points.
    pub fn width(&self) -> f32 {
        width(&self.text, self.style)
    }
}

impl Line {
    /// Width, points, without the space that ends a broken line.
    pub fn width(&self) -> f32 {
        let full: f32 = self.runs.iter().map(Run::width).sum();
        match self.runs.last() {
            Some(last) if last.text.ends_with(' ') => full - width(" ", last.style),
            _ => full,
        }
    }

    fn push(&mut self, text: &str, style: Style) {
        match self.runs.last_mut() {
            Some(last) if last.style.weight == style.weight && last.style.color == style.color => {
                last.text.push_str(text)
            }
            _ => self.runs.push(Run { text: text.to_owned(), style }),
        }
    }
}

/// Width of a text, points.
pub(super) fn width(text: &str, style: Style) -> f32 {
    width_em(text, style.weight) * style.size
}

/// Breaks runs into lines of at most `limit` points, between words, and within a word only where it is longer than a line
/// itself. A broken line ends in its space, so that the words stay apart when the text is copied.
pub(super) fn wrap(runs: &[Run], limit: f32) -> Vec<Line> {
    wrap_indented(runs, limit, 0.0)
}

/// The same, with a first line that is shorter by `indent`.
pub(super) fn wrap_indented(runs: &[Run], limit: f32, indent: f32) -> Vec<Line> {
    let mut lines = vec![Line::default()];
    let mut used = indent;
    for run in runs {
        let style = run.style;
        for word in run.text.split_inclusive(' ') {
            let bare = width(word.trim_end_matches(' '), style);
            if used + bare > limit && lines.last().is_some_and(|line| !line.runs.is_empty()) {
                lines.push(Line::default());
                used = 0.0;
            }
            if bare <= limit {
                push(&mut lines, word, style);
                used += width(word, style);
            } else {
                used = push_broken(&mut lines, word, style, limit);
            }
        }
    }
    lines.retain(|line| !line.runs.is_empty());
    lines
}

/// Pushes a word that is longer than a line; gives the width used on the last line.
fn push_broken(lines: &mut Vec<Line>, word: &str, style: Style, limit: f32) -> f32 {
    let mut used = 0.0;
    for c in word.chars() {
        let letter = c.to_string();
        let wide = width(&letter, style);
        if used + wide > limit && used > 0.0 && c != ' ' {
            lines.push(Line::default());
            used = 0.0;
        }
        push(lines, &letter, style);
        used += wide;
    }
    used
}

fn push(lines: &mut [Line], text: &str, style: Style) {
    if let Some(line) = lines.last_mut() {
        line.push(text, style);
    }
}

/// The larger of the widths of some texts.
pub(super) fn widest<'a>(texts: impl Iterator<Item = &'a str>, style: Style) -> f32 {
    texts.map(|text| width(&printable(text), style)).fold(0.0, f32::max)
}

impl Style {
    /// The same style in semi-bold where `is_strong`.
    pub fn strong_if(self, is_strong: bool) -> Self {
        Self { weight: if is_strong { Weight::SemiBold } else { self.weight }, ..self }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::input::PageSize;
    use crate::report::pdf::metrics::Metrics;

    fn style() -> Style {
        Metrics::new(PageSize::A4, 1.0).body()
    }

    fn joined(lines: &[Line]) -> String {
        lines.iter().flat_map(|line| &line.runs).map(|run| run.text.as_str()).collect()
    }

    #[test]
    fn no_line_is_wider_than_its_limit_and_no_letter_is_lost() {
        let text = "A reach that pain ends says nothing of muscle length; Rinderkennzeichnungsfleischetikettierungsgesetz \
                    end.";
        for limit in [12.0, 40.0, 90.0, 400.0] {
            let lines = wrap(&[Run::new(text, style())], limit);
            assert_eq!(joined(&lines), text);
            for line in &lines {
                assert!(line.width() <= limit + 0.01, "{line:?} at {limit}");
            }
        }
    }

    #[test]
    fn words_on_two_lines_keep_their_space() {
        let lines = wrap(&[Run::new("one two", style())], width("one tw", style()));
        assert_eq!(lines.len(), 2);
        assert_eq!(lines[0].runs[0].text, "one ");
    }

    #[test]
    fn runs_of_two_weights_share_a_line() {
        let strong = Metrics::new(PageSize::A4, 1.0).strong();
        let lines = wrap(&[Run::new("Margin: ", strong), Run::new("what counts.", style())], 400.0);
        assert_eq!(lines.len(), 1);
        assert_eq!(lines[0].runs.len(), 2);
    }
}
