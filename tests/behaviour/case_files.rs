//! An invented visit on disk: a case, blank stills and marks projected from a body whose pose is known.
//!
//! The projection is a bare pinhole written for these tests; it shares nothing with the tool's own.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use tempfile::TempDir;
use tworeach::video::{EncodeOptions, Encoder};

/// Size of the stills, px.
pub const PICTURE: [u32; 2] = [1280, 720];

/// A lens of 26 mm on a frame 36 mm wide, px: a phone's main camera (common practice, from memory).
const FOCAL_PX: f64 = 26.0 / 36.0 * 1280.0;

/// Distance of the camera, mm.
const CAMERA_MM: f64 = 3000.0;

/// Stature, mm. Segments are ratios of it from the ANSUR II survey (Gordon et al. 2014): upper arm 0.1909, forearm 0.1511,
/// trunk 0.3052, shoulder breadth 0.2328, hip breadth 0.191 (Drillis and Contini).
pub const STATURE_MM: f64 = 1760.0;

/// From where the stills are taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum From {
    RightSide,
    Front,
}

/// One reach: occasion, rotation, elevation.
#[derive(Debug, Clone, Copy)]
pub struct Reach {
    pub occasion: &'static str,
    pub rotation: &'static str,
    pub elevation_deg: f64,
}

/// A positive screen before and a passed one after.
pub const CLEARED: [Reach; 4] = [
    Reach { occasion: "before", rotation: "internal", elevation_deg: 152.0 },
    Reach { occasion: "before", rotation: "external", elevation_deg: 142.0 },
    Reach { occasion: "after", rotation: "internal", elevation_deg: 152.0 },
    Reach { occasion: "after", rotation: "external", elevation_deg: 153.0 },
];

/// A case in a temporary directory.
pub struct CaseFiles {
    pub folder: TempDir,
}

impl CaseFiles {
    /// Writes case, stills and marks of these reaches.
    pub fn new(from: From, reaches: &[Reach]) -> Self {
        let files = Self { folder: tempfile::tempdir().unwrap() };
        let mut case = format!(
            "schema = \"tworeach/case/1\"\n[client]\ncode = \"R07\"\naffected_side = \"right\"\nstature_mm = {STATURE_MM}\n\
             [bar]\nlength_mm = 1200\ntaped_grips = true\n"
        );
        for reach in reaches {
            let name = format!("{}-{}", reach.occasion, reach.rotation);
            let view = match from {
                From::RightSide => "view = \"side\"\nnear_side = \"right\"\n",
                From::Front => "view = \"front\"\n",
            };
            case += &format!(
                "[[reach]]\noccasion = \"{}\"\nrotation = \"{}\"\n{view}pain = 0\nlimited_by = \"stretch\"\nback_flat = true\n\
                 file = \"{name}.png\"\nmarks = \"{name}.marks.json\"\n",
                reach.occasion, reach.rotation
            );
            picture_of(&name, 0).save(files.path(&format!("{name}.png"))).unwrap();
            files.write(&format!("{name}.marks.json"), &marks_of(from, &[(0.0, reach.elevation_deg)]));
        }
        files.write("case.toml", &case);
        files
    }

    /// Puts a clip of `seconds` (4 frames each) in the place of a reach's still.
    pub fn film(&self, name: &str, seconds: u32) {
        let clip = format!("{name}.mp4");
        let options = EncodeOptions { frame_rate: (4, 1), ..EncodeOptions::new(PICTURE[0], PICTURE[1]) };
        let mut encoder = Encoder::create(&self.path(&clip), options).unwrap();
        for frame in 0..4 * seconds {
            encoder.push(&picture_of(name, frame)).unwrap();
        }
        encoder.finish().unwrap();
        self.replace("case.toml", &format!("{name}.png"), &clip);
    }

    /// A file of the case.
    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Writes a file of the case.
    pub fn write(&self, name: &str, text: &str) {
        fs::write(self.path(name), text).unwrap();
    }

    /// The text of a file of the case.
    pub fn text(&self, name: &str) -> String {
        fs::read_to_string(self.path(name)).unwrap()
    }

    /// Replaces the first occurrence of `old`, which must be there.
    pub fn replace(&self, name: &str, old: &str, new: &str) {
        let text = self.text(name);
        assert!(text.contains(old), "no {old} in {text}");
        self.write(name, &text.replacen(old, new, 1));
    }

    /// Where a mark of the first frame lies, px.
    pub fn mark(&self, name: &str, landmark: &str) -> [f64; 2] {
        let marks: serde_json::Value = serde_json::from_str(&self.text(name)).unwrap();
        serde_json::from_value(marks["frames"][0]["points"][landmark].clone()).unwrap()
    }

    /// Moves a mark of the first frame, px.
    pub fn move_mark(&self, name: &str, landmark: &str, by: [f64; 2]) {
        let mut marks: serde_json::Value = serde_json::from_str(&self.text(name)).unwrap();
        let [x, y] = self.mark(name, landmark);
        marks["frames"][0]["points"][landmark] = serde_json::json!([x + by[0], y + by[1]]);
        self.write(name, &marks.to_string());
    }

    /// Runs `tworeach measure` into the directory `out` with further arguments.
    pub fn measure(&self, further: &[&str]) -> Output {
        let (case, out) = (self.path("case.toml"), self.path("out"));
        let mut arguments = vec!["measure", case.to_str().unwrap(), "--out", out.to_str().unwrap()];
        arguments.extend(further);
        tworeach(&arguments)
    }

    /// The result that `measure` wrote.
    pub fn result(&self) -> tworeach::screen::VisitResult {
        serde_json::from_str(&self.text("out/result.json")).unwrap()
    }

    /// The names of all files in a directory of the case, sorted.
    pub fn names(&self, folder: &str) -> Vec<String> {
        names(&self.path(folder))
    }
}

/// The names of all files in a directory, sorted; none if it is not there.
pub fn names(folder: &Path) -> Vec<String> {
    let Ok(entries) = fs::read_dir(folder) else { return Vec::new() };
    let mut names: Vec<String> = entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

/// Runs the binary.
pub fn tworeach(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_tworeach")).args(arguments).output().unwrap()
}

/// Exit code.
pub fn code(output: &Output) -> i32 {
    output.status.code().unwrap()
}

/// What was printed.
pub fn stdout(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

/// What was said of errors and warnings.
pub fn stderr(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

/// A marks file with one hand-marked frame for each time and elevation.
pub fn marks_of(from: From, frames: &[(f64, f64)]) -> String {
    let frames: Vec<String> = frames
        .iter()
        .map(|(time_s, elevation_deg)| {
            let points: Vec<String> = points(from, *elevation_deg)
                .iter()
                .map(|(name, [x, y])| format!("\n      \"{name}\": [{x:.4}, {y:.4}]"))
                .collect();
            format!(
                "{{ \"time_s\": {time_s}, \"source\": \"hand\", \"use\": \"end_range\", \"points\": {{{}\n    }} }}",
                points.join(",")
            )
        })
        .collect();
    format!(
        "{{ \"schema\": \"tworeach/marks/1\",\n  \"image_size\": [{}, {}],\n  \"frames\": [\n    {}\n  ] }}\n",
        PICTURE[0],
        PICTURE[1],
        frames.join(",\n    ")
    )
}

/// A picture without anything on it, of a shade of its own for each reach and frame: no two reaches have one and the same.
fn picture_of(name: &str, frame: u32) -> image::RgbImage {
    let of_reach = name.bytes().fold(0_u8, |sum, byte| sum.wrapping_mul(3).wrapping_add(byte));
    let shade = of_reach.wrapping_add(frame as u8);
    image::RgbImage::from_pixel(PICTURE[0], PICTURE[1], image::Rgb([shade; 3]))
}

/// Where the landmarks lie on the picture, px.
fn points(from: From, elevation_deg: f64) -> Vec<(&'static str, [f64; 2])> {
    let (shoulder_y, shoulder_z, hip_z) = (0.3052 * STATURE_MM, 0.1164 * STATURE_MM, 0.0955 * STATURE_MM);
    let arm = (0.1909 + 0.1511) * STATURE_MM;
    let grip_z = match from {
        From::RightSide => shoulder_z,
        From::Front => 350.0,
    };
    let across = grip_z - shoulder_z;
    let sagittal = (arm * arm - across * across).sqrt();
    let elevation = elevation_deg.to_radians();
    let (forward, up) = (elevation.sin(), -elevation.cos());
    // along the arm: 0 at the shoulder, 1 at the wrist
    let on_arm = |share: f64, sign: f64| {
        [sagittal * share * forward, shoulder_y + sagittal * share * up, sign * (shoulder_z + across * share)]
    };
    let elbow_share = 0.1909 / (0.1909 + 0.1511);
    let bar = |z: f64| [(sagittal + 75.0) * forward, shoulder_y + (sagittal + 75.0) * up, z];
    let mut body = vec![
        ("right_shoulder", on_arm(0.0, 1.0)),
        ("right_elbow", on_arm(elbow_share, 1.0)),
        ("right_wrist", on_arm(1.0, 1.0)),
        ("right_hip", [0.0, 0.0, hip_z]),
        ("plumb_top", [-120.0, 1100.0, 0.0]),
        ("plumb_bottom", [-120.0, -300.0, 0.0]),
        ("datum", [-120.0, 700.0, 100.0]),
    ];
    match from {
        From::RightSide => {
            body.push(("right_eye", [90.0, shoulder_y + 0.118 * STATURE_MM, 45.0]));
            body.push(("nose", [120.0, shoulder_y + 0.098 * STATURE_MM, 0.0]));
            body.push(("bar_right", bar(600.0)));
        }
        From::Front => body.extend([
            ("left_shoulder", on_arm(0.0, -1.0)),
            ("left_elbow", on_arm(elbow_share, -1.0)),
            ("left_wrist", on_arm(1.0, -1.0)),
            ("left_hip", [0.0, 0.0, -hip_z]),
            ("bar_left", bar(-600.0)),
            ("bar_right", bar(600.0)),
        ]),
    }
    body.into_iter().map(|(name, place)| (name, project(from, place))).collect()
}

/// Projects a point of the body frame (X anterior, Y up, Z right, mm) with a level camera at the height of the chest.
fn project(from: From, [x, y, z]: [f64; 3]) -> [f64; 2] {
    let camera_y = 350.0;
    let (right, depth) = match from {
        // looking along -Z: the person's front is to the right
        From::RightSide => (x - 100.0, CAMERA_MM - z),
        // looking along -X: the person's right is to the left
        From::Front => (-z, CAMERA_MM - x),
    };
    let (centre_x, centre_y) = (0.5 * f64::from(PICTURE[0] - 1), 0.5 * f64::from(PICTURE[1] - 1));
    [centre_x + FOCAL_PX * right / depth, centre_y - FOCAL_PX * (y - camera_y) / depth]
}
