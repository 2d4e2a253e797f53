//! The colours of charts, stills and pages. Nothing is told by colour alone.

/// An opaque sRGB colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Color {
    /// Red, green and blue.
    pub rgb: [u8; 3],
}

impl Color {
    const fn new(red: u8, green: u8, blue: u8) -> Self {
        Self { rgb: [red, green, blue] }
    }

    /// The colour as CSS and SVG write it, such as `#0072B2`.
    pub fn hex(self) -> String {
        let [red, green, blue] = self.rgb;
        format!("#{red:02X}{green:02X}{blue:02X}")
    }
}

/// Blue: the internally rotated reach, and the page's one accent.
///
/// # Source
/// Okabe and Ito (2008), Color Universal Design: how to make figures and presentations that are friendly to colorblind
/// people; the same for [`VERMILION`].
pub(crate) const BLUE: Color = Color::new(0x00, 0x72, 0xB2);
/// Vermilion: the externally rotated reach.
pub(crate) const VERMILION: Color = Color::new(0xD5, 0x5E, 0x00);
/// Text and axes.
pub(crate) const INK: Color = Color::new(0x1A, 0x1E, 0x23);
/// Secondary text: contrast 6.6 to 1 against white.
pub(crate) const MUTED: Color = Color::new(0x55, 0x5E, 0x68);
/// Hairlines.
pub(crate) const RULE: Color = Color::new(0xC4, 0xCA, 0xD0);
/// The margin band and other grounds.
pub(crate) const BAND: Color = Color::new(0xE7, 0xEA, 0xED);
/// Paper.
pub(crate) const WHITE: Color = Color::new(0xFF, 0xFF, 0xFF);

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance after the W3C's definition (WCAG 2.1).
    fn luminance(color: Color) -> f64 {
        let linear = color.rgb.map(|channel| {
            let c = f64::from(channel) / 255.0;
            if c <= 0.03928 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        });
        0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    }

    #[test]
    fn text_is_readable_on_its_grounds() {
        const CONTRAST_MIN: f64 = 4.5; // WCAG 2.1, success criterion 1.4.3, level AA
        for (text, ground) in [(INK, WHITE), (MUTED, WHITE), (INK, BAND), (MUTED, BAND), (BLUE, WHITE)] {
            let contrast = (luminance(ground) + 0.05) / (luminance(text) + 0.05);
            assert!(contrast >= CONTRAST_MIN, "{} on {}: {contrast}", text.hex(), ground.hex());
        }
    }
}
