//! `/guide`. How to film is common practice, no source.

pub const TITLE: &str = "How to film";
pub const LEAD: &str = "Ten minutes, one phone, a light straight bar, a stool and the edge of a wall.";
pub const STAND: &str = "Stand the phone still";
pub const STAND_TEXT: &str = "Side on, about 3 m away, on a stand or shelf at shoulder height. Do not touch it until all \
                              reaches are filmed: a phone that stays put makes the difference sharper.";
pub const STAND_ALT: &str =
    "Seen from above: the person sits against the end of a wall, the phone stands 3 metres to their side.";
pub const DISTANCE: &str = "about 3 m";
pub const PICTURE: &str = "Get everything into the picture";
pub const PICTURE_TEXT: &str = "The whole bar with the arms up, the hip, and a long piece of the wall's edge: it is the plumb \
                                line. A tape mark on the wall helps, and so do bare elbows and a tight shirt.";
pub const PICTURE_ALT: &str =
    "A picture frame around the seated person with raised arms: bar, hip, wall edge and tape mark are inside it.";
pub const SIT: &str = "Sit against the edge";
pub const SIT_TEXT: &str = "Spine along the edge of the wall, feet flat. Low back and ribs stay down for the whole reach. If they \
                            lift, that reach does not count.";
pub const SIT_GOOD: &str = "Flat";
pub const SIT_GOOD_TEXT: &str = "back and ribs on the wall";
pub const SIT_BAD: &str = "Lifted";
pub const SIT_BAD_TEXT: &str = "low back arched, ribs up";
pub const HANDS: &str = "Hold the bar two ways, the same width";
pub const HANDS_TEXT: &str = "First palms down, then palms up. Put two strips of tape on the bar so that the hands go back to \
                              the same places. Elbows stay straight.";
pub const DOWN: &str = "Palms down";
pub const DOWN_TEXT: &str = "the internally rotated reach: thumbs point at each other";
pub const UP: &str = "Palms up";
pub const UP_TEXT: &str = "the externally rotated reach: thumbs point outwards";
pub const RAISE: &str = "Raise it three times";
pub const RAISE_TEXT: &str = "One clip for each way of holding. Raise the bar as high as it goes, hold still for a second, \
                              lower it; three times. Stop at once if it hurts.";
pub const RAISE_ALT: &str =
    "A curve of the bar's height over time: three raises, each with a flat top where the bar is held.";
pub const HOLD: &str = "hold";
pub const AGAIN: &str = "Stretch, then film both again";
pub const AGAIN_TEXT: &str =
    "Phone, stool and tape stay where they are. The second pair of clips shows what the stretch changed.";
pub const AGAIN_ALT: &str = "Two pairs of clips: before the stretch and after it.";
