//! The drawings of the filming guide and of the hands.

use maud::{Markup, html};

use super::figure::limb;
use crate::web::text::guide as words;

/// Seen from above: wall, person, phone, and the distance between.
pub(super) fn plan() -> Markup {
    html! {
        svg.drawing viewBox="0 0 340 230" role="img" aria-label=(words::STAND_ALT) {
            path.wall d="M20 20H96V70H20z" {}
            path.line d="M20 20H96V70H20" {}
            (limb("M104 30L150 34", 7.0))
            (limb("M104 60L150 56", 7.0))
            path.body d="M98 22C112 18 114 72 98 68C92 60 92 30 98 22z" {}
            circle.body cx="108" cy="45" r="10" {}
            path.bar d="M152 2V88" {}
            path.dash d="M108 80V176" {}
            path.fine d="M102 84L108 76L114 84M102 172L108 180L114 172" {}
            text x="118" y="134" { (words::DISTANCE) }
            rect.paper x="88" y="186" width="40" height="12" rx="2" {}
            circle.accent-fill cx="108" cy="186" r="3.5" {}
            path.accent d="M108 186L20 92M108 186L250 92" stroke-dasharray="3 5" {}
            path.line d="M108 198V214M108 206L92 222M108 206L124 222" {}
        }
    }
}

/// What must be inside the picture.
pub(super) fn framing() -> Markup {
    html! {
        svg.drawing viewBox="0 0 340 230" role="img" aria-label=(words::PICTURE_ALT) {
            rect.paper x="20" y="14" width="300" height="202" rx="3" {}
            path.wall d="M21 15H128V215H21z" {}
            path.line d="M128 15V215" {}
            path.accent d="M52 62h14v14h-14zM59 58v22M48 69h22" {}
            path.fine d="M134 172H170M138 172V214M166 172V214" {}
            (limb("M150 108L163 82L172 62", 5.5))
            path.bar d="M164 26L180 76" {}
            path.body d="M133 104C132 97 151 97 152 105L153 160C153 167 133 168 133 161z" {}
            circle.body cx="143" cy="89" r="9.5" {}
            (limb("M142 163L192 164L192 210H201", 9.0))
            (limb("M140 106L152 72L163 44", 7.5))
            path.accent d="M34 30V24H46M294 24H306V36M306 194V206H294M46 206H34V194" {}
        }
    }
}

/// The back on the wall's edge, or lifted off it.
pub(super) fn back(is_flat: bool) -> Markup {
    let trunk = if is_flat {
        "M62 84C62 76 84 76 86 86L87 142C87 150 62 151 62 143z"
    } else {
        "M64 84C70 74 92 80 95 92C99 106 84 126 86 142C86 150 62 151 62 143C72 122 70 100 64 84z"
    };
    html! {
        svg.drawing viewBox="0 0 180 200" aria-hidden="true" {
            path.wall d="M0 0H58V200H0z" {}
            path.line d="M58 0V200" {}
            path.fine d="M64 156H104M70 156V198M98 156V198" {}
            path.body d=(trunk) {}
            @if is_flat {
                circle.body cx="76" cy="66" r="10.5" {}
                (limb("M74 145L128 146L128 192H138", 10.0))
                (limb("M72 86L90 48L106 16", 8.5))
                path.accent d="M118 96L126 104L142 84" {}
            } @else {
                circle.body cx="86" cy="66" r="10.5" {}
                (limb("M74 145L128 146L128 192H138", 10.0))
                (limb("M80 88L92 48L100 12", 8.5))
                path.dash d="M60 92V142" {}
                path.wrong d="M120 84L142 106M142 84L120 106" {}
            }
        }
    }
}

/// Both hands on the bar in front of the person, as the person sees them: palms down shows the backs of the hands with
/// the thumbs inwards, palms up the curled fingers with the thumbs outwards.
pub(super) fn hands(is_up: bool) -> Markup {
    html! {
        svg.drawing viewBox="0 0 240 130" aria-hidden="true" {
            path.bar d="M8 56H232" {}
            (hand(64.0, false, is_up))
            (hand(176.0, true, is_up))
        }
    }
}

/// One hand, its middle at `x`; the left one, or mirrored the right one.
fn hand(x: f32, is_right: bool, is_up: bool) -> Markup {
    let turn = if is_right { format!("translate({x} 0) scale(-1 1)") } else { format!("translate({x} 0)") };
    html! {
        g transform=(turn) {
            path.body d="M-13 128L-12 92C-14 86 -15 80 -15 72H15C15 80 14 86 12 92L13 128z" {}
            @if is_up {
                // Palm towards the reader, the fingers coming over the bar from behind.
                rect.body x="-15" y="44" width="30" height="36" rx="7" {}
                path.line d="M-7.5 46V62M0 45V62M7.5 46V62" {}
                path.fine d="M-10 86C-4 80 6 80 11 86" {}
                path.body d="M-14 80C-24 76 -32 66 -31 57C-30 51 -23 52 -22 58C-21 64 -18 66 -14 68z" {}
                path.accent d="M-38 34H-52M-47 29L-53 34L-47 39" {}
            } @else {
                // Back of the hand, the knuckles over the bar.
                rect.body x="-15" y="42" width="30" height="40" rx="8" {}
                path.fine d="M-11 56C-9 53 -6 53 -4 56M-3 55C-1 52 2 52 4 55M5 56C7 53 10 53 12 56" {}
                path.line d="M-7.5 42V50M0 42V50M7.5 42V50" {}
                path.body d="M14 80C22 76 30 68 30 60C30 54 23 54 21 60C20 64 17 66 14 67z" {}
                path.accent d="M38 34H52M47 29L53 34L47 39" {}
            }
        }
    }
}

/// Three raises, each with a hold.
pub(super) fn raises() -> Markup {
    html! {
        svg.drawing viewBox="0 0 340 150" role="img" aria-label=(words::RAISE_ALT) {
            path.fine d="M20 128H324M20 20V128" {}
            path.accent d="M22 122C40 122 44 42 58 40H94C108 42 110 120 124 121C138 120 142 38 156 36H192C206 38 208 120 222 121C236 120 240 41 254 39H290C304 41 308 121 322 122" {}
            path.line d="M58 30H94M156 26H192M254 29H290" {}
            text x="76" y="22" text-anchor="middle" { (words::HOLD) }
            text x="174" y="18" text-anchor="middle" { (words::HOLD) }
            text x="272" y="21" text-anchor="middle" { (words::HOLD) }
        }
    }
}

/// Before and after the stretch, two clips each.
pub(super) fn four_clips() -> Markup {
    html! {
        svg.drawing viewBox="0 0 340 150" role="img" aria-label=(words::AGAIN_ALT) {
            @for (x, class) in [(22.0_f32, "a"), (196.0, "b")] {
                g data-pair=(class) {
                    rect.paper x=(x) y="30" width="56" height="90" rx="3" {}
                    rect.paper x=(x + 66.0) y="30" width="56" height="90" rx="3" {}
                    path.limb stroke-width="5" d=(format!("M{} 104L{} 60", x + 18.0, x + 36.0)) {}
                    path.limb stroke-width="5" d=(format!("M{} 104L{} {}", x + 84.0, x + if class == "a" { 110.0 } else { 104.0 }, if class == "a" { 72.0 } else { 61.0 })) {}
                    path.dash d=(format!("M{} 108V46M{} 108V46", x + 18.0, x + 84.0)) {}
                }
            }
            path.accent d="M154 75H184M176 67L185 75L176 83" {}
        }
    }
}
