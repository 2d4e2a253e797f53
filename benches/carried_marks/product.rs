//! A filmed visit measured by the code that measures cases: marks by hand alone, or with what the pictures say of them.

use tworeach::camera::LensProfile;
use tworeach::demo::Scenario;
use tworeach::demo::body::BAR_LENGTH_MM;
use tworeach::geometry::{ImagePoint, Landmark, Side};
use tworeach::pose::View;
use tworeach::screen::{
    Answer, BarEntry, CASE_SCHEMA, CallOptions, CameraEntry, CaseFile, CheckLimits, ClientFacts, FrameUse,
    MARKS_SCHEMA, MarkedFrame, MarkedPoint, MarkedReach, MarkingEntry, MarksFile, MeasuredVisit, Occasion, Picture,
    PointSpread, ReachEntry, ResultSide, Source, looks, measure_marks, with_answers,
};

use crate::filmed::Shot;
use crate::{MARK_SD_PX, STATURE_MM, known_lens};

/// A case whose pictures are in memory.
pub struct Product<'a> {
    case: CaseFile,
    profile: LensProfile,
    shots: &'a [Shot],
}

/// What came of measuring with the pictures.
pub struct Compared {
    pub visit: MeasuredVisit,
    /// Spots that counted for nothing, because the marks contradict them in more than one reach.
    pub doubted: usize,
}

impl<'a> Product<'a> {
    pub fn new(scenario: &Scenario, shots: &'a [Shot]) -> Self {
        let occasions = [Occasion::Before, Occasion::Before, Occasion::After, Occasion::After];
        let entry = |(number, (shot, occasion)): (usize, (&Shot, Occasion))| ReachEntry {
            occasion,
            rotation: shot.rotation,
            view: scenario.view,
            near_side: (scenario.view != View::Front).then_some(Side::Right),
            mirrored: false,
            pain: None,
            limited_by: None,
            back_flat: Some(true),
            profile: None,
            file: format!("{number}.png").into(),
            marks: format!("{number}.marks.json").into(),
        };
        let case = CaseFile {
            schema: CASE_SCHEMA.to_owned(),
            client: ClientFacts {
                code: "R07".to_owned(),
                affected_side: ResultSide::Right,
                stature_mm: Some(STATURE_MM),
                arm_length_mm: None,
            },
            bar: BarEntry { length_mm: Some(BAR_LENGTH_MM), taped_grips: false },
            camera: CameraEntry::default(),
            call: CallOptions::default(),
            marking: MarkingEntry { sd_px: MARK_SD_PX, spread_file: None },
            limits: CheckLimits::default(),
            reaches: shots.iter().zip(occasions).enumerate().map(entry).collect(),
        };
        let profile = LensProfile { name: "the scene's lens".to_owned(), lens: known_lens(scenario), rms_px: None };
        Self { case, profile, shots }
    }

    /// Measured by these marks alone.
    pub fn by_hand(&self, hand: &[Vec<(Landmark, ImagePoint)>]) -> MeasuredVisit {
        self.measured(self.files(hand))
    }

    /// Measured with what the pictures say of these marks.
    pub fn compared(&self, hand: &[Vec<(Landmark, ImagePoint)>]) -> Compared {
        let files = self.files(hand);
        let reaches: Vec<(&ReachEntry, &MarksFile)> = self.case.reaches.iter().zip(&files).collect();
        let answers: Vec<_> = looks(&reaches)
            .into_iter()
            .map(|look| {
                let from = look.from_reach.map(|from| &self.shots[from].image);
                let answer: Answer = look.question.answer(Some(&self.shots[look.reach].image), from);
                (look, answer)
            })
            .collect();
        let answered = with_answers(&reaches, &answers, self.case.marking.sd_px);
        Compared { visit: self.measured(answered.marks), doubted: answered.contradicted.len() }
    }

    fn files(&self, hand: &[Vec<(Landmark, ImagePoint)>]) -> Vec<MarksFile> {
        let file = |(shot, marks): (&Shot, &Vec<(Landmark, ImagePoint)>)| MarksFile {
            schema: MARKS_SCHEMA.to_owned(),
            image_size: shot.image.dimensions().into(),
            frames: vec![MarkedFrame {
                time_s: 0.0,
                source: Source::Hand,
                used_as: FrameUse::EndRange,
                rater: None,
                repeat: None,
                from: None,
                points: marks
                    .iter()
                    .map(|(landmark, point)| (*landmark, MarkedPoint { point: *point, spread: PointSpread::Usual }))
                    .collect(),
            }],
        };
        self.shots.iter().zip(hand).map(file).collect()
    }

    fn measured(&self, files: Vec<MarksFile>) -> MeasuredVisit {
        let reach = |marks: MarksFile| {
            let picture = Picture { upright_size: marks.image_size, quarter_turns: 0, damage: None };
            MarkedReach { marks, picture, profile: Some(&self.profile) }
        };
        let reaches: Vec<MarkedReach<'_>> = files.into_iter().map(reach).collect();
        measure_marks(&self.case, &reaches, Vec::new()).expect("marks in their pictures can be measured")
    }
}
