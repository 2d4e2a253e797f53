//! The openers of clips and stills: no file makes them panic or hang, and a frame has the size that was stated.
#![no_main]

use std::io::Write as _;

use libfuzzer_sys::fuzz_target;
use tworeach::video::Media;

fuzz_target!(|bytes: &[u8]| {
    let mut file = tempfile::NamedTempFile::new().expect("there is room for a temporary file");
    file.write_all(bytes).expect("there is room for a temporary file");
    if let Ok(mut media) = Media::open(file.path()) {
        let [width, height] = media.upright_size();
        for time_s in [0.0, 0.1] {
            if let Ok(frame) = media.frame_at(time_s) {
                assert_eq!((frame.image.width(), frame.image.height()), (width, height));
            }
        }
    }
});
