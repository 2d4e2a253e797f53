//! `/lenses` and below. How to film the board is common practice, no source.

pub const TITLE: &str = "Lenses";
pub const LEAD: &str = "What your phone's lens does to a picture, measured once. With it every answer is surer.";
pub const LIST: &str = "Lens profiles on this computer";
pub const NONE_YET: &str = "None yet: a usual phone's lens is assumed. A profile takes two minutes, once for each phone and each of its video modes.";
pub const NEW: &str = "Make a lens profile";
pub const CHOOSE: &str = "Choose a profile on a visit's page, under \u{201c}Bar, margin and camera\u{201d}.";

pub const BOARD: &str = "Have a board";
pub const BOARD_TEXT: &str = "Print it at full size, without \u{201c}fit to page\u{201d}, and glue it to something stiff and flat. Both \
    rulers on it must be equally long. Or show it on a flat screen: this one, or a tablet to which you copy the page.";
pub const PRINT_A4: &str = "Print, A4";
pub const PRINT_LETTER: &str = "Print, US Letter";
pub const ON_SCREEN: &str = "Show it here";
pub const FOR_TABLET: &str = "Page for a tablet";

pub const FILM: &str = "Film the board";
pub const FILM_TEXT: &str = "Set the phone as it films reaches: the same lens, resolution and frame rate, no zoom, stabilization off, \
    focus locked. Hold the board still for a second in each place: the middle, every corner of the picture, near and far. Tilt it well to \
    the left, right, up and down, by a third of a right angle and more, and turn it by a quarter. All of the board must be in the \
    picture, without glare. Half a minute is enough; fifteen to twenty pictures of the same mode do as well.";
pub const VIEWS_ALT: &str =
    "Six pictures of the board: straight on, tilted left, right, up and down, and in a corner of the picture";

pub const BRING: &str = "Bring it in";
pub const NAME: &str = "What it is of";
pub const NAME_HINT: &str = "Phone, lens and mode, such as: main camera, 1080p, 30 a second.";
pub const SQUARE: &str = "Side of a square, mm";
pub const SQUARE_HINT: &str = "25 on the printed board; a screen tells its own. A wrong size does the lens no harm.";
pub const FILES: &str = "Clip or pictures of the board";
pub const FILES_HINT: &str = "One clip of half a minute, or several pictures of one size. Up to 2 GB in all.";
pub const OTHER_BOARD: &str = "Another board";
pub const COLS: &str = "Inner corners along a row";
pub const ROWS: &str = "Inner corners along a column";
pub const MAKE: &str = "Make the profile";
pub const CHECKING: &str = "Looking for the board and measuring the lens. A clip takes up to a minute\u{2026}";

pub const GOOD: &str = "Nothing to warn of. The profile can be used.";
pub const WARNINGS: &str = "What to know";
pub const LEFT_OUT: &str = "Pictures that were left out";
pub const FIGURES: &str = "How well it fits";
pub const FIT: &str = "Corners of the board lie from where the lens puts them (root mean square)";
pub const VIEWS: &str = "Pictures it rests on";
pub const COVERED: &str = "Of the picture was covered by the board";
pub const TILT: &str = "Widest tilt between two pictures";
pub const SIZE: &str = "Pictures, width and height";
pub const MADE: &str = "Made";
pub const SHEET: &str = "Look at the whole calibration";
pub const SAVE: &str = "Save the profile as a file";
pub const USE_HEADING: &str = "Use it";
pub const USE_TEXT: &str = "It serves this lens in this mode only: another lens, zoom, resolution of another shape or stabilization \
    makes it wrong, and no number here can show that.";
pub const DELETE: &str = "Delete this profile";
pub const DELETE_TEXT: &str = "Visits that use it keep their copy: no result changes.";
pub const DO_DELETE: &str = "Delete the profile";

pub const KEEP: &str = "Leave it as it is";

/// What the board page is called.
pub const BOARD_PAGE: &str = "Calibration board";
pub const BOARD_BACK: &str = "Back to the lens profile";
