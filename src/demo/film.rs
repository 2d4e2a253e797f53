//! Renders a case and writes it out: clips, case, marks, lens profile and the truth.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use rand::SeedableRng as _;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};

use crate::demo::DemoError;
use crate::demo::body::{BAR_LENGTH_MM, Skeleton};
use crate::demo::render::Renderer;
use crate::demo::scenario::{
    DemoCase, FRAME_RATE, LENS_U, MARK_REPEATS, MARK_SD_AT_PX, MARK_SD_PX, ReachPlan, SHUTTER_S, Scenario,
};
use crate::demo::sensor::Sensor;
use crate::demo::studio::Studio;
use crate::demo::truth::{FrameTruth, LandmarkTruth, ReachTruth, TruthFile};
use crate::geometry::{ImagePoint, Landmark, Side};
use crate::pose::View;
use crate::screen::{
    BarEntry, CASE_SCHEMA, CallOptions, CameraEntry, CaseFile, CheckLimits, ClientFacts, FrameUse, LimitedBy,
    MARKS_SCHEMA, MarkedFrame, MarkedPoint, MarkingEntry, MarksFile, PointSpread, ReachEntry, Source,
};
use crate::video::{EncodeOptions, Encoder, without_temporary_name};

/// Name of the lens profile's file.
const PROFILE_FILE: &str = "phone.camera.json";

/// x264's constant rate factor for the clips: noise is mostly given up, edges and cloth are kept.
const CLIP_CRF: u8 = 22;

/// A mark can be placed where no more than this is in front of it, mm: joints lie under the skin.
const SEEN_THROUGH_MM: f32 = 75.0;

/// The same for a shoulder, which from the front lies deep in the raised arm.
const SHOULDER_SEEN_THROUGH_MM: f32 = 160.0;

/// How the demo is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DemoOptions {
    /// Width of the clips, px, at 16:9.
    pub width_px: u32,
    /// Whether existing files are replaced.
    pub overwrite: bool,
}

impl Default for DemoOptions {
    /// 1280 px, nothing overwritten.
    fn default() -> Self {
        Self { width_px: 1280, overwrite: false }
    }
}

/// How far the rendering has come.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DemoProgress<'a> {
    /// The clip being rendered, such as `before-internal`.
    pub clip: &'a str,
    /// Frames of the case done.
    pub done: u32,
    /// Frames of the case in all.
    pub all: u32,
    /// The temporary folder in which the case grows.
    pub growing: &'a Path,
}

/// Renders a case into the folder `parent` / its name and returns that folder.
///
/// Files appear when all of them are whole. `progress` is told before the first frame and after every one.
///
/// # Errors
/// [`DemoError::Exists`] unless overwriting, [`DemoError::Width`], [`DemoError::Write`], [`DemoError::Video`].
pub fn write_demo(
    case: DemoCase,
    parent: &Path,
    options: DemoOptions,
    mut progress: impl FnMut(DemoProgress<'_>),
) -> Result<PathBuf, DemoError> {
    let width_px = options.width_px;
    if !width_px.is_multiple_of(32) || !(160..=3840).contains(&width_px) {
        return Err(DemoError::Width { found: width_px });
    }
    let scenario = Scenario::of(case, width_px);
    let folder = parent.join(case.name());
    if let Some(path) = file_names(&scenario).map(|name| folder.join(name)).find(|path| path.exists())
        && (!options.overwrite || path.is_dir())
    {
        return Err(DemoError::Exists { path });
    }
    fs::create_dir_all(parent).map_err(|source| DemoError::Write { path: parent.to_owned(), source })?;
    let growing = tempfile::Builder::new()
        .prefix(".rendering-")
        .tempdir_in(parent)
        .map_err(|error| DemoError::Write { path: parent.to_owned(), source: without_temporary_name(&error) })?;
    render_case(&scenario, growing.path(), &mut progress).map_err(|error| error.in_folder(growing.path(), &folder))?;

    fs::create_dir_all(&folder).map_err(|source| DemoError::Write { path: folder.clone(), source })?;
    for name in file_names(&scenario) {
        let path = folder.join(&name);
        fs::rename(growing.path().join(&name), &path).map_err(|source| DemoError::Write { path, source })?;
    }
    Ok(folder)
}

/// All files of a case.
fn file_names(scenario: &Scenario) -> impl Iterator<Item = String> {
    let of_reaches = scenario.reaches.iter().flat_map(|reach| [clip_name(reach), marks_name(reach)]);
    of_reaches.chain(["case.toml", "truth.json", PROFILE_FILE].map(str::to_owned))
}

fn clip_name(reach: &ReachPlan) -> String {
    format!("{}.mp4", reach.name())
}

fn marks_name(reach: &ReachPlan) -> String {
    format!("{}.marks.json", reach.name())
}

fn render_case(
    scenario: &Scenario,
    folder: &Path,
    progress: &mut impl FnMut(DemoProgress<'_>),
) -> Result<(), DemoError> {
    let all = scenario.reaches.iter().map(frame_count).sum();
    let mut done = 0;
    progress(DemoProgress { clip: scenario.reaches[0].name(), done, all, growing: folder });
    let studio = Studio::new(&scenario.room);
    let renderer = Renderer::new(scenario.camera, &studio);
    let sensor = Sensor::new();
    let mut truths = Vec::new();
    for (number, reach) in (0_u64..).zip(&scenario.reaches) {
        let [width, height] = scenario.camera.lens.image_size;
        let options = EncodeOptions {
            crf: CLIP_CRF,
            preset: "slow",
            key_interval: 2 * FRAME_RATE,
            ..EncodeOptions::new(width, height)
        };
        let mut encoder = Encoder::create(&folder.join(clip_name(reach)), options)?;
        let body_at = |time_s| Skeleton::posed(&scenario.build, &reach.course.stance_at(time_s));
        let mut frames = Vec::new();
        for frame in 0..frame_count(reach) {
            let time_s = frame_time_s(frame);
            let light = renderer.expose(body_at, time_s, SHUTTER_S);
            let stream = (scenario.seed + number) << 32 | u64::from(frame);
            encoder.push(&sensor.develop(&light, renderer.size_px(), stream))?;
            frames.push(frame_truth(scenario, &renderer, &body_at(time_s), time_s));
            done += 1;
            progress(DemoProgress { clip: reach.name(), done, all, growing: folder });
        }
        encoder.finish()?;
        let marks = place_marks(scenario, reach, &frames, scenario.seed + number);
        write_text(&folder.join(marks_name(reach)), &marks.to_json())?;
        truths.push(ReachTruth {
            occasion: reach.occasion,
            rotation: reach.course.rotation,
            file: clip_name(reach),
            raises: reach.course.raises.clone(),
            end_range_time_s: end_range_time_s(reach),
            end_range: scenario.truth(&body_at(end_range_time_s(reach))),
            frames,
        });
    }
    write_text(&folder.join("case.toml"), &case_text(scenario)?)?;
    write_text(&folder.join(PROFILE_FILE), &profile_text(scenario))?;
    write_text(&folder.join("truth.json"), &TruthFile::of(scenario, truths).to_json())
}

fn write_text(path: &Path, text: &str) -> Result<(), DemoError> {
    fs::write(path, text).map_err(|source| DemoError::Write { path: path.to_owned(), source })
}

/// Frames of a reach's clip.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a clip of some seconds has some hundred frames"
)]
fn frame_count(reach: &ReachPlan) -> u32 {
    (reach.course.duration_s() * f64::from(FRAME_RATE)).round() as u32
}

fn frame_time_s(frame: u32) -> f64 {
    f64::from(frame) / f64::from(FRAME_RATE)
}

/// Time of the frame in the middle of the first hold, s.
fn end_range_time_s(reach: &ReachPlan) -> f64 {
    let raise = &reach.course.raises[0];
    let middle_s = f64::midpoint(raise.hold_start_s, raise.hold_end_s);
    (middle_s * f64::from(FRAME_RATE)).round() / f64::from(FRAME_RATE)
}

fn frame_truth(scenario: &Scenario, renderer: &Renderer, body: &Skeleton, time_s: f64) -> FrameTruth {
    let landmarks = Landmark::ALL
        .into_iter()
        .filter_map(|landmark| {
            let world_mm = scenario.landmark_mm(body, landmark);
            let image = scenario.camera.project(&world_mm)?;
            let through_mm =
                if matches!(landmark, Landmark::Shoulder(_)) { SHOULDER_SEEN_THROUGH_MM } else { SEEN_THROUGH_MM };
            let is_seen = renderer.sees(body, &world_mm, through_mm);
            Some((landmark.name(), LandmarkTruth { image, world_mm, is_seen }))
        })
        .collect();
    FrameTruth { time_s, quantities: scenario.truth(body), landmarks }
}

/// What a rater would mark at end range: the true places of the landmarks that are seen, off by the spread of a hand.
fn place_marks(scenario: &Scenario, reach: &ReachPlan, frames: &[FrameTruth], seed: u64) -> MarksFile {
    let [width, height] = scenario.camera.lens.image_size;
    let sd_px = MARK_SD_PX * f64::from(width) / MARK_SD_AT_PX;
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let time_s = end_range_time_s(reach);
    let at_end_range = frames.iter().find(|frame| frame.time_s >= time_s - 1e-9);
    let mut place = |at: ImagePoint| {
        let [off_x, off_y]: [f64; 2] = [StandardNormal.sample(&mut rng), StandardNormal.sample(&mut rng)];
        let tenths = |px: f64| (px * 10.0).round() / 10.0;
        MarkedPoint {
            point: ImagePoint::new(tenths(at.x + sd_px * off_x), tenths(at.y + sd_px * off_y)),
            spread: PointSpread::Usual,
        }
    };
    let frames = at_end_range.map_or_else(Vec::new, |frame| {
        (1..=MARK_REPEATS)
            .map(|repeat| {
                let seen = scenario.marked.iter().filter_map(|landmark| {
                    let truth = frame.landmarks.get(landmark.name()).filter(|truth| truth.is_seen)?;
                    Some((*landmark, truth.image))
                });
                MarkedFrame {
                    time_s: (frame.time_s * 1e4).round() / 1e4,
                    source: Source::Hand,
                    used_as: FrameUse::EndRange,
                    rater: Some("a".to_owned()),
                    repeat: Some(repeat),
                    from: None,
                    points: seen.map(|(landmark, at)| (landmark, place(at))).collect::<BTreeMap<_, _>>(),
                }
            })
            .collect()
    });
    MarksFile { schema: MARKS_SCHEMA.to_owned(), image_size: [width, height], frames }
}

fn case_text(scenario: &Scenario) -> Result<String, DemoError> {
    let near_side = (scenario.view == View::Side).then_some(Side::Right);
    let case = CaseFile {
        schema: CASE_SCHEMA.to_owned(),
        client: ClientFacts {
            code: "R07".to_owned(),
            affected_side: scenario.affected_side,
            stature_mm: Some(scenario.build.stature_mm),
            // Taped along the arm, to the nearest centimetre.
            arm_length_mm: Some((scenario.build.arm_mm() / 10.0).round() * 10.0),
        },
        bar: BarEntry { length_mm: Some(BAR_LENGTH_MM), taped_grips: true },
        camera: CameraEntry { profile: Some(PROFILE_FILE.into()) },
        call: CallOptions::default(),
        marking: MarkingEntry::default(),
        limits: CheckLimits::default(),
        reaches: scenario
            .reaches
            .iter()
            .map(|reach| ReachEntry {
                occasion: reach.occasion,
                rotation: reach.course.rotation,
                view: scenario.view,
                near_side,
                mirrored: false,
                pain: Some(0.0),
                limited_by: Some(LimitedBy::Stretch),
                back_flat: Some(true),
                profile: None,
                file: clip_name(reach).into(),
                marks: marks_name(reach).into(),
            })
            .collect(),
    };
    let what = match scenario.case {
        DemoCase::Side => "filmed from the right, before and after a stretch",
        DemoCase::Front => "filmed from the front, before a stretch",
    };
    Ok(format!(
        "# An invented masters rower, rendered: {what}. The true angles are in truth.json.\n{}",
        case.to_toml()?
    ))
}

/// The lens profile of a scenario as JSON, with what a calibration would leave uncertain.
#[must_use]
pub fn profile_text(scenario: &Scenario) -> String {
    let lens = &scenario.camera.lens;
    // Focal length and principal point scale with the picture, and so does what is uncertain of them.
    let scale = f64::from(lens.image_size[0]) / 1280.0;
    let u: Vec<String> = ["fx", "fy", "cx", "cy", "k1", "k2", "p1", "p2", "k3"]
        .into_iter()
        .zip(LENS_U)
        .map(|(name, u)| {
            format!("\"{name}\": {}", if name.len() == 2 && name.starts_with(['f', 'c']) { u * scale } else { u })
        })
        .collect();
    format!(
        "{{ \"schema\": \"tworeach/camera/1\",\n  \"name\": \"rendered phone camera\",\n  \"image_size\": {:?},\n  \"fx\": {}, \
         \"fy\": {}, \"cx\": {}, \"cy\": {},\n  \"distortion\": {:?},\n  \"u\": {{ {} }} }}\n",
        lens.image_size,
        lens.fx,
        lens.fy,
        lens.cx,
        lens.cy,
        lens.distortion,
        u.join(", ")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn profile_is_read_as_the_lens_it_was_written_from() {
        let scenario = Scenario::of(DemoCase::Side, 640);
        let file = tempfile::NamedTempFile::new().expect("a temporary file can be made");
        write_text(file.path(), &profile_text(&scenario)).expect("it can be written");
        let profile = crate::camera::read_profile(file.path()).expect("the profile is well formed");
        let lens = scenario.camera.lens;
        assert_eq!(profile.lens.image_size, lens.image_size);
        let read = [profile.lens.fx, profile.lens.fy, profile.lens.cx, profile.lens.cy];
        for (read, written) in read.into_iter().zip([lens.fx, lens.fy, lens.cx, lens.cy]) {
            assert!((read - written).abs() < 1e-12); // numbers are written so that they are read back exactly
        }
        for (read, written) in profile.lens.distortion.into_iter().zip(lens.distortion) {
            assert!((read - written).abs() < 1e-12);
        }
        assert!((profile.lens.covariance[(0, 0)] - 0.75 * 0.75).abs() < 1e-12); // u(fx) = 1.5 px at 1280 is 0.75 at 640
    }

    #[test]
    fn case_is_read_back_as_written() {
        for case in DemoCase::ALL {
            let scenario = Scenario::of(case, 1280);
            let text = case_text(&scenario).expect("the case has text");
            let read = CaseFile::parse(&text, Path::new("case.toml")).expect("the case is well formed");
            assert_eq!(read.reaches.len(), scenario.reaches.len());
        }
    }
}
