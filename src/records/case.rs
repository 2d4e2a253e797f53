//! A visit as a case: what is measured on the page is what its export holds.

use std::path::PathBuf;

use super::carried::{RecordedReach, is_current, name_of_marks};
use super::error::RecordsError;
use super::looked::{AskedLooks, OpenLook};
use super::model::{CarriedFrom, Media, Palms, Reach, ReachFacts, ReachMarks};
use super::store::Records;
use super::words::Word as _;
use crate::camera::{LensProfile, parse_profile};
use crate::pose::{Rotation, View};
use crate::screen::case::{BarEntry, CASE_SCHEMA, CallOptions, CameraEntry, ClientFacts, MarkingEntry, ReachEntry};
use crate::screen::in_memory::faults;
use crate::screen::{
    AnsweredMarks, CaseFile, CheckLimits, ComparedMarks, FoundBar, MarkedReach, MarksFile, MeasuredVisit, ScreenError,
    Source, measure_marks, one_recordings, with_answers,
};

/// The name of the lens profile beside a case.
pub(super) const PROFILE_FILE: &str = "phone.camera.json";

/// A visit as a case with marks.
#[derive(Debug, Clone)]
pub struct VisitCase {
    /// The case. Paths are names of files beside it.
    pub case: CaseFile,
    /// Its reaches, in its order.
    pub reaches: Vec<CaseReach>,
    /// Reaches of the visit that cannot be measured yet.
    pub left_out: Vec<LeftOut>,
    /// The lens profile that the case names.
    pub profile: Option<LensProfile>,
    /// Its text.
    pub profile_text: Option<String>,
    /// What the pictures say of the marks.
    pub seen: SeenPictures,
    /// The visit's count of changes when it was read.
    pub changes: i64,
}

/// What the pictures of a visit say of its marks, as far as they were asked.
#[derive(Debug, Clone, Default)]
pub struct SeenPictures {
    /// Questions with an answer.
    pub answers: usize,
    /// Questions without one: what they bear on is measured from the marks alone.
    pub open: Vec<OpenLook>,
    /// How many marks were looked for in other reaches and found.
    pub compared: ComparedMarks,
    /// The bars that were found.
    pub bars: Vec<FoundBar>,
    /// Pairs of reaches that are one recording, by their places in the case.
    pub one_recordings: Vec<[usize; 2]>,
    /// Sentences on what is not as it should be, each with its place in the case.
    pub warnings: Vec<(usize, String)>,
    /// Sentences on marks that the pictures contradict, each with its place in the case. Who measures the marks says them, too.
    pub contradicted: Vec<(usize, String)>,
}

/// A reach of a case.
#[derive(Debug, Clone)]
pub struct CaseReach {
    /// The reach's number.
    pub id: i64,
    /// Its clip or still.
    pub media: Media,
    /// Its marks as they were placed, or brought over and confirmed.
    pub placed: MarksFile,
    /// Its marks as they are measured: with what the pictures say of them.
    pub marks: MarksFile,
    /// Which way the palms were seen to face; they never contradict the rotation of the case.
    pub palms: Option<Palms>,
}

/// A reach that is not in the case.
#[derive(Debug, Clone)]
pub struct LeftOut {
    /// The reach's number.
    pub id: i64,
    /// Which reach.
    pub facts: ReachFacts,
    /// Its clip or still.
    pub media: Media,
    /// The name of its clip beside the case.
    pub file: PathBuf,
    /// Why, as a sentence.
    pub reason: String,
    /// No mark is placed on it.
    pub is_unmarked: bool,
    /// The palms were seen to face the other way.
    pub is_contrary: bool,
}

impl VisitCase {
    /// Measures the visit, as `measure` measures its export. `None` where no reach can be measured.
    ///
    /// # Errors
    /// [`ScreenError`] when the case cannot be measured after all.
    pub fn measure(&self) -> Result<Option<MeasuredVisit>, ScreenError> {
        if self.reaches.is_empty() {
            return Ok(None);
        }
        let reaches: Vec<MarkedReach<'_>> = self
            .reaches
            .iter()
            .map(|reach| MarkedReach {
                marks: reach.marks.clone(),
                picture: reach.media.facts.picture(),
                profile: self.profile.as_ref(),
            })
            .collect();
        let mut measured = measure_marks(&self.case, &reaches, self.seen.one_recordings.clone())?;
        measured.found_bars = self.seen.bars.clone();
        measured.result.compared_pictures = self.seen.compared.stated();
        let placed = self.reaches.iter().flat_map(|reach| &reach.placed.frames);
        let brought_over = placed.filter(|frame| frame.source == Source::Carried);
        measured.carried_marks = brought_over.map(|frame| frame.points.len()).sum();
        measured.warnings.extend(self.seen.warnings.iter().map(|(_, sentence)| sentence.clone()));
        Ok(Some(measured))
    }

    /// The place of a reach in the case.
    #[must_use]
    pub fn index_of(&self, reach: i64) -> Option<usize> {
        self.reaches.iter().position(|of_case| of_case.id == reach)
    }
}

impl Records {
    /// A visit as a case, with the reaches that can be measured.
    ///
    /// # Errors
    /// [`RecordsError::NotFound`] if there is no such visit.
    pub fn case_of(&self, visit: i64) -> Result<VisitCase, RecordsError> {
        let visit = self.visit(visit)?;
        let client = self.client_by_id(visit.client)?.facts;
        let settings = visit.settings;
        // a profile is read before it is recorded; one that a later version wrote may be beyond this one
        let profile = settings.profile.as_deref().and_then(|text| parse_profile(text).ok());
        let mut case = CaseFile {
            schema: CASE_SCHEMA.to_owned(),
            client: ClientFacts {
                code: client.code,
                affected_side: client.affected_side,
                stature_mm: client.stature_mm,
                arm_length_mm: client.arm_length_mm,
            },
            bar: BarEntry { length_mm: settings.bar_length_mm, taped_grips: settings.taped_grips },
            camera: CameraEntry { profile: profile.as_ref().map(|_| PathBuf::from(PROFILE_FILE)) },
            call: CallOptions { margin_deg: settings.margin_deg, ..CallOptions::default() },
            marking: MarkingEntry::default(),
            limits: CheckLimits::default(),
            reaches: Vec::new(),
        };
        let recorded = self.recorded_reaches(visit.id)?;
        let marked = |recorded: &RecordedReach, marks| {
            let picture = recorded.reach.media.facts.picture();
            MarkedReach { marks, picture, profile: profile.as_ref() }
        };
        let fault = |of: &RecordedReach| {
            // the other rotation's angles under this one's name would turn the call round
            let contrary = of.reach.is_contrary().then(|| contrary_words(of.reach.facts.rotation).to_owned());
            // where marks come from makes no fault
            let of_marks = || faults(&of.entry, &marked(of, of.marks_file(|_| None))).into_iter().next();
            contrary.or_else(|| of_marks().map(|problem| problem.fault.to_string()))
        };
        let faults: Vec<Option<String>> = recorded.iter().map(fault).collect();
        let measured: Vec<i64> =
            recorded.iter().zip(&faults).filter(|(_, fault)| fault.is_none()).map(|(of, _)| of.reach.id).collect();
        let is_measured = |id: i64| measured.contains(&id);
        let shares_error =
            |from: &CarriedFrom, landmark| is_measured(from.reach) && is_current(&recorded, from, landmark);
        let (mut reaches, mut by_origin, mut left_out) = (Vec::new(), Vec::new(), Vec::new());
        for (of, fault) in recorded.iter().zip(faults) {
            let (id, media, palms) = (of.reach.id, of.reach.media.clone(), of.reach.palms);
            match fault {
                Some(reason) => {
                    let is_unmarked = of.marks.markings.iter().all(|marking| marking.points.is_empty());
                    let is_contrary = of.reach.is_contrary();
                    let (facts, file) = (of.reach.facts, of.entry.file.clone());
                    left_out.push(LeftOut { id, facts, media, file, reason, is_unmarked, is_contrary });
                }
                None => {
                    let marks = of.marks_file(|(landmark, from)| {
                        shares_error(&from, landmark).then(|| name_of_marks(&recorded, from.reach))?
                    });
                    by_origin.push(of.marks_by_origin(&recorded));
                    reaches.push(CaseReach { id, media, placed: marks.clone(), marks, palms });
                    case.reaches.push(of.entry.clone());
                }
            }
        }
        let seen = self.ask_pictures(&case, &mut reaches, &by_origin)?;
        let profile_text = settings.profile.filter(|_| profile.is_some());
        Ok(VisitCase { case, reaches, left_out, profile, profile_text, seen, changes: visit.changes })
    }

    /// Puts what the pictures are known to say to the marks of the reaches.
    fn ask_pictures(
        &self,
        case: &CaseFile,
        reaches: &mut [CaseReach],
        by_origin: &[MarksFile],
    ) -> Result<SeenPictures, RecordsError> {
        let AskedLooks { answered, open } = self.asked_looks(&case.reaches, reaches, by_origin)?;
        let pairs: Vec<(&ReachEntry, &MarksFile)> =
            case.reaches.iter().zip(&*reaches).map(|(entry, reach)| (entry, &reach.placed)).collect();
        let of_all = with_answers(&pairs, &answered, case.marking.sd_px);
        for (reach, marks) in reaches.iter_mut().zip(&of_all.marks) {
            reach.marks = marks.clone();
        }
        let AnsweredMarks { compared, found_bars: bars, warnings, contradicted, .. } = of_all;
        let one_recordings = one_recordings(&answered);
        Ok(SeenPictures { answers: answered.len(), open, compared, bars, one_recordings, warnings, contradicted })
    }
}

/// Why a reach whose palms face the other way is not measured.
const fn contrary_words(rotation: Rotation) -> &'static str {
    match rotation {
        Rotation::Internal => {
            "its palms were seen to face up, and this is the place of palms down; exchange the clips or remove it"
        }
        Rotation::External => {
            "its palms were seen to face down, and this is the place of palms up; exchange the clips or remove it"
        }
    }
}

pub(super) fn entry(reach: &Reach, marks: &ReachMarks) -> ReachEntry {
    let facts = reach.facts;
    let mut name = format!("{}-{}", facts.occasion.word(), facts.rotation.word());
    if facts.view != View::Side {
        name = format!("{name}-{}", facts.view.word());
    }
    ReachEntry {
        occasion: facts.occasion,
        rotation: facts.rotation,
        view: facts.view,
        near_side: facts.near_side,
        mirrored: facts.mirrored,
        pain: marks.feel.pain,
        limited_by: marks.feel.limited_by,
        back_flat: marks.feel.back_flat,
        profile: None,
        file: format!("{name}.{}", reach.media.facts.extension).into(),
        marks: format!("{name}.marks.json").into(),
    }
}
