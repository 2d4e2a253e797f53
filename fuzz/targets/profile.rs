//! The reader of lens profiles: no text makes it panic or hang, and what it accepts has a lens for its own picture.
#![no_main]

use libfuzzer_sys::fuzz_target;
use tworeach::camera::profile::parse_profile;
use tworeach::geometry::ImagePoint;

fuzz_target!(|text: &str| {
    if let Ok(profile) = parse_profile(text) {
        let lens = profile.lens_for(profile.lens.image_size, 0).expect("a profile fits its own picture");
        // wherever a point lies, there is an answer or a refusal
        let [width, height] = lens.image_size.map(f64::from);
        for (x, y) in [(0.0, 0.0), (0.5 * width, 0.5 * height), (width, height)] {
            let _ = lens.undistort(ImagePoint::new(x, y));
        }
    }
});
