//! What the fit takes to be likely before it sees a mark: one table, each line with mean, spread and origin.
//!
//! A prior is a soft observation. It decides only what the marks leave open, and its spread is part of every stated
//! uncertainty. Angles are in degrees here and in radians inside the solver.

/// A soft observation of a parameter: normal with this mean and standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prior {
    /// The expected value.
    pub mean: f64,
    /// Its standard deviation.
    pub sd: f64,
}

impl Prior {
    const fn new(mean: f64, sd: f64) -> Self {
        Self { mean, sd }
    }
}

/// Standing height without a stated one, mm. Adults of both sexes; mean and spread from memory of national surveys (fair).
pub const STATURE_MM: Prior = Prior::new(1700.0, 100.0);
/// Spread of a stated standing height, mm. Common practice: shoes and time of day.
pub const STATED_STATURE_SD_MM: f64 = 10.0;
/// Spread of a stated shoulder-to-wrist length, mm. Common practice: a tape over the skin.
pub const STATED_ARM_LENGTH_SD_MM: f64 = 10.0;

// Lengths as fractions of stature: Drillis and Contini (1966), Body segment parameters, NYU TR 1166-03, through Winter,
// Biomechanics and Motor Control of Human Movement, figure 4.1. That drawing has no spread; the spreads are those of a
// survey of people (ANSUR II, NATICK/TR-15/007) widened by the survey's mean departure from the drawing. They are spreads
// of the logarithm of the length.

/// Shoulder to elbow, fraction of stature.
pub const UPPER_ARM_RATIO: f64 = 0.186;
/// Spread of its logarithm. Survey 3.2 %, departure 2.7 %; with the arms overhead marks on the acromion come 17 % nearer to
/// the elbow (motion capture, see [`SHOULDER_HALF_RATIO`]).
pub const UPPER_ARM_LOG_SD: f64 = 0.09;
/// Elbow to wrist, fraction of stature.
pub const FOREARM_RATIO: f64 = 0.146;
/// Spread of its logarithm. Survey 4.4 %, departure 3.5 %.
pub const FOREARM_LOG_SD: f64 = 0.055;
/// Middle of the shoulders to middle of the hips, fraction of stature.
pub const TRUNK_RATIO: f64 = 0.288;
/// Spread of its logarithm. Survey 5 %, departure 6 %, and the raised shoulder blades: 0.345 with arms overhead in motion
/// capture (see [`SHOULDER_HALF_RATIO`]).
pub const TRUNK_LOG_SD: f64 = 0.1;
/// Half the distance between the centres of the shoulder joints with the arms overhead, fraction of stature. In motion
/// capture of ten people with a bar overhead (UI-PRMD, Vakanski et al. 2018, Data 3(1), 2) the acromia come in from 180 to
/// 109 mm from the middle; the joints below them, on the turning blade, by some 20 mm less (from memory).
pub const SHOULDER_HALF_RATIO: f64 = 0.078;
/// Spread of its logarithm. The same people: 14 %, and the doubt about the joints.
pub const SHOULDER_HALF_LOG_SD: f64 = 0.16;
/// From the centre of the shoulder joint outward to the mark on the skin, mm (from memory: half the difference between the
/// breadth over the deltoids and that between the joints).
pub const SHOULDER_SKIN_MM: Prior = Prior::new(50.0, 12.0);
/// From the middle of the elbow outward to the lateral epicondyle, mm (from memory: half an elbow's breadth).
pub const ELBOW_SKIN_MM: Prior = Prior::new(32.0, 8.0);
/// Half the distance between the hip marks, fraction of stature: half of the mean of the drawing's 0.191 and the survey's
/// 0.2036.
pub const HIP_HALF_RATIO: f64 = 0.0987;
/// Spread of its logarithm. Survey 8 %, departure 7 %, soft tissue.
pub const HIP_HALF_LOG_SD: f64 = 0.09;
/// Half the bar without a stated length, mm, and the spread of its logarithm. Common practice: sticks of 0.9 to 1.6 m.
pub const BAR_HALF_MM: f64 = 600.0;
/// Spread of the logarithm of half a bar without a stated length.
pub const BAR_HALF_LOG_SD: f64 = 0.25;
/// Spread of a stated bar length, mm. Common practice: a tape.
pub const STATED_BAR_SD_MM: f64 = 3.0;
/// From the wrist to the bar's axis along the arm, mm. From memory: the gripping palm lies half a hand beyond the wrist.
pub const HAND_ALONG_MM: Prior = Prior::new(70.0, 20.0);
/// From the wrist to the bar's axis across the arm in the sagittal plane, mm; one for each rotation, since the palm turns.
pub const HAND_ACROSS_MM: Prior = Prior::new(0.0, 35.0);
/// Half the distance between the wrists, mm. Common practice: each hand a palm or so outside its shoulder; people left to
/// themselves take up to 550 mm (motion capture, see [`SHOULDER_HALF_RATIO`]).
pub const GRIP_HALF_MM: Prior = Prior::new(300.0, 80.0);
/// Spread of half the grip width from reach to reach, mm, when the hands are placed by eye. Common practice.
pub const GRIP_HALF_BY_EYE_SD_MM: f64 = 12.0;
/// Spread of half the grip width from reach to reach, mm, with the hands on tape marks. Common practice.
pub const GRIP_HALF_TAPED_SD_MM: f64 = 2.5;
/// Turn of the hips against the shoulders about the plumb line, deg. People with a bar overhead: 3.0 standing, 2.4 squatting
/// (motion capture, see [`SHOULDER_HALF_RATIO`]); a seat may hold them squarer, of which there are no data.
pub const PELVIS_TWIST_DEG: Prior = Prior::new(0.0, 2.5);

// Landmarks are on the skin; the joint lies beneath, and the skin slides. In motion capture of raises the distance from
// the shoulder's mark to the elbow shrinks by 18 to 27 % (UI-PRMD, Vakanski et al. 2018, Data 3(1), 2). These offsets are
// what is left of that when the mark is placed anew at end range: common practice, no source.

/// Systematic offset of a shoulder mark from the joint, mm in each sagittal direction.
pub const SHOULDER_OFFSET_MM: Prior = Prior::new(0.0, 2.5);
/// How far a shoulder mark slides against the joint for each radian of elevation, mm: 1 mm for 10 deg.
pub const SHOULDER_SLIDE_MM_PER_RAD: Prior = Prior::new(0.0, 5.0);
/// How far the shoulder joints rise along the trunk for each radian of elevation, mm. From memory: some 3 to 4 cm with the
/// shoulder blade, from hanging to overhead.
pub const SHOULDER_LIFT_MM_PER_RAD: Prior = Prior::new(15.0, 15.0);
/// Systematic offset of a wrist mark from the middle of the joint, mm in each sagittal direction.
pub const WRIST_OFFSET_MM: Prior = Prior::new(0.0, 2.0);
/// Systematic offset of a hip mark from the trochanter, mm in each sagittal direction: more than the others, under more tissue.
pub const HIP_OFFSET_MM: Prior = Prior::new(0.0, 4.0);

/// Lean of the trunk from the plumb line, deg. Common practice: seated against a wall's edge; wide, because a back that is
/// round leans and the marks say by how much.
pub const LEAN_DEG: Prior = Prior::new(0.0, 14.0);
/// Up to this lean a trunk counts as upright, deg: two spreads of ten people who stand (motion capture, see
/// [`SHOULDER_HALF_RATIO`]) and the mean lean of the seated (common practice, no source).
pub const UPRIGHT_DEG: f64 = 8.0;
/// What an elevation from a trunk that leans farther is off, deg for each degree beyond [`UPRIGHT_DEG`]; the same in all
/// reaches of a visit. The marks do not show it. Squatting with 24 deg of lean the same people err by 3.6 deg where the fit
/// without this states 2.8; in differences nothing is left of it.
pub const LEAN_SOFTNESS: Prior = Prior::new(0.0, 0.12);
/// Spread of the trunk's movement between two reaches, deg. Common practice, no source; the same spread stands in where the
/// trunk is not seen at all.
pub const TRUNK_MOVEMENT_SD_DEG: f64 = 1.5;
/// Spread of the trunk's lean between frames of one reach, deg. Common practice.
pub const LEAN_FRAME_SD_DEG: f64 = 0.2;
/// Sideways lean of the trunk, deg. Common practice.
pub const SIDE_LEAN_DEG: Prior = Prior::new(0.0, 2.0);
/// Bend of a straight elbow in the sagittal plane, deg; one for each rotation. From memory: a carrying angle of 5 to 15 deg
/// lies partly in that plane.
pub const ELBOW_IN_PLANE_DEG: Prior = Prior::new(0.0, 7.0);
/// Bend of a straight elbow out of the sagittal plane, deg; one for each rotation. From memory: the rest of that angle.
pub const ELBOW_OUT_OF_PLANE_DEG: Prior = Prior::new(6.0, 14.0);
/// Spread of the elbow's bend about the person's own, deg, for each arm and frame. Common practice.
pub const ELBOW_FRAME_SD_DEG: f64 = 1.8;
/// Elevation from the plumb line at end range, deg. Wide on purpose: it only keeps an unseen arm finite.
pub const ELEVATION_DEG: Prior = Prior::new(150.0, 40.0);
/// Right minus left elevation of a person, deg, with one bar in both hands: motion capture, see [`SHOULDER_HALF_RATIO`], 4.8
/// standing.
pub const ASYMMETRY_DEG: Prior = Prior::new(0.0, 4.8);
/// Spread of that difference from frame to frame, deg: the same people, 1.2 to 1.7.
pub const ASYMMETRY_FRAME_SD_DEG: f64 = 1.2;
/// Angle of an arm out of its sagittal plane, deg. Wide on purpose: 41 deg with the grip that people take left to themselves
/// (motion capture, see [`SHOULDER_HALF_RATIO`]).
pub const OUTWARD_DEG: Prior = Prior::new(8.0, 60.0);
/// The middle between the wrists from the middle of the body, mm to the right. Common practice: a symmetric reach.
pub const GRIP_CENTER_MM: Prior = Prior::new(0.0, 22.0);
/// The bar's centre from the middle between the wrists, mm along the bar. Common practice: a symmetric grip by eye.
pub const BAR_SHIFT_MM: Prior = Prior::new(0.0, 12.0);
/// Spread of the bar's direction against the line through the wrists, deg in each direction. Common practice.
pub const BAR_SKEW_SD_DEG: f64 = 0.5;
/// Shift of the person between reaches, mm in each direction.
pub const SHIFT_SD_MM: f64 = 60.0;
/// Turn of the person between reaches, deg.
pub const TURN_SD_DEG: f64 = 5.0;
/// Shift of the person between frames of one reach, mm in each direction. Common practice.
pub const SHIFT_FRAME_SD_MM: f64 = 5.0;

/// Roll of the camera, deg. Common practice: a phone held or propped roughly level.
pub const ROLL_DEG: Prior = Prior::new(0.0, 3.0);
/// Pitch of the camera, deg. Common practice, as for roll; a phone leans more easily than it rolls.
pub const PITCH_DEG: Prior = Prior::new(0.0, 8.0);
/// Logarithm of the camera's distance in mm: 3 m within a factor of 1.6. Common practice.
pub const LOG_DISTANCE: Prior = Prior::new(8.006_367_567_650_246, 0.5);
/// Direction to the person from the camera's level axis, deg in azimuth and elevation.
pub const DIRECTION_DEG: Prior = Prior::new(0.0, 25.0);
/// Turn of the person from the stated view, deg: side and front views are set up square by eye. Common practice.
pub const SQUARE_VIEW_SD_DEG: f64 = 8.0;
/// Turn of the person from halfway in an oblique view, deg.
pub const OBLIQUE_VIEW_SD_DEG: f64 = 20.0;
/// Departure of the wall's edge from the true vertical, deg.
pub const PLUMB_DEG: Prior = Prior::new(0.0, 0.3);
/// Logarithm of the datum's distance over the person's. Common practice: a mark on the wall beside the person.
pub const DATUM_LOG_DEPTH: Prior = Prior::new(0.0, 0.15);
