//! The calibration board as a page for a flat screen: it fills the screen, and its squares are measured by laying a card on it.
//!
//! A browser does not know how large its pixels are, so the person fits a drawn frame to a card of known size first. The lens
//! does not depend on it: a wrong size scales the distances to the board and nothing else. Squares are a whole number of the
//! screen's own pixels, so that their edges are sharp.

use std::fmt::Write as _;

use crate::camera::Board;

/// The style of the page, for whoever serves it in parts.
pub const BOARD_CSS: &str = include_str!("board.css");

/// The ES module of the page.
pub const BOARD_MODULE: &str = include_str!("board.js");

/// Width and height of a bank card, mm: ID-1 of ISO/IEC 7810.
const CARD_MM: [f64; 2] = [85.60, 53.98];

/// Renders the page in one file, to be opened on a tablet.
#[must_use]
pub fn render_board_page(board: &Board) -> String {
    let mut html = String::new();
    // Writing to a String cannot fail.
    let _ = write!(
        html,
        "<!DOCTYPE html>\n<html lang=\"en-GB\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>Calibration board</title>\n\
         <style>{BOARD_CSS}</style>\n</head>\n<body>\n{}<script type=\"module\">{BOARD_MODULE}</script>\n</body>\n</html>\n",
        board_page_content(board)
    );
    html
}

/// What is between the page's head and its module.
#[must_use]
pub fn board_page_content(board: &Board) -> String {
    let [card_mm, card_height_mm] = CARD_MM;
    format!(
        "<main class=\"board\" id=\"content\" data-cols=\"{cols}\" data-rows=\"{rows}\" data-card-mm=\"{card_mm}\" \
         data-card-height-mm=\"{card_height_mm}\">\n\
         <section class=\"measure\">\n<h1>Calibration board on a screen</h1>\n\
         <p>Lay a bank card on the frame, the same way round, and move the slider until the frame is as wide as the card. Every \
         card of that kind is {card_mm} by {card_height_mm} mm.</p>\n\
         <div class=\"card\" aria-hidden=\"true\"></div>\n\
         <label for=\"card-width\">Width of the frame</label>\n\
         <input type=\"range\" id=\"card-width\" min=\"150\" max=\"900\" step=\"0.5\" value=\"324\">\n\
         <p>Turn the screen to full brightness and wipe it clean. It must be flat and without reflections.</p>\n\
         <p class=\"squares\" role=\"status\"></p>\n\
         <button type=\"button\" class=\"show\">Show the board</button>\n\
         <noscript><p>This page needs JavaScript. Print the board instead: <code>tworeach board --out board.pdf</code></p></noscript>\n\
         </section>\n\
         <section class=\"shown\" hidden>\n\
         <canvas role=\"img\" aria-label=\"Checkerboard of {across} by {down} squares\"></canvas>\n\
         <p><span class=\"squares\"></span> <button type=\"button\" class=\"back\">Back</button></p>\n</section>\n</main>\n",
        cols = board.cols,
        rows = board.rows,
        across = board.cols + 1,
        down = board.rows + 1,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_page_needs_nothing_from_elsewhere() {
        let page = render_board_page(&Board::new(9, 6, 25.0).unwrap());
        assert!(page.contains("data-cols=\"9\" data-rows=\"6\""), "{page}");
        for outside in ["http:", "https:", "src=", "href=", "url(", "@import"] {
            assert!(!page.contains(outside), "{outside}");
        }
    }
}
