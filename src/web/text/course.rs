//! `/clients/{code}/course`.

pub const TITLE: &str = "Course";
pub const LEAD: &str = "Every screen, pain, grip, ratings and load by day. A change counts only where it is larger than what error alone \
                        can make.";
pub const EMPTY: &str = "Nothing to show yet. It fills with the intake, with measured visits and with the log.";
pub const CHARTS: &str = "By day";
pub const NUMBERS: &str = "In numbers";
pub const QUANTITY: &str = "Quantity";
pub const FIRST: &str = "First";
pub const LATEST: &str = "Latest";
pub const CHANGE: &str = "Change";
pub const TREND: &str = "A week (95 % interval)";
pub const TOO_FEW: &str = "from three days on";
pub const HOW: &str = "Pain and ratings count from 2 points of 10 on. Grip counts by the spread of its tries. A difference between screens counts \
                       beyond both intervals together. Errors that two screens share make a change surer than is stated here. \
                       The interval of a trend takes in how the values lie around a straight line, and their own error or that they are whole \
                       numbers; not that a course may bend, nor what pushes all values one way, such as another way of asking or measuring.";

/// How many screens there are.
#[must_use]
pub fn screens(count: usize) -> String {
    match count {
        0 => "no screen yet".to_owned(),
        1 => "1 screen".to_owned(),
        count => format!("{count} screens"),
    }
}
