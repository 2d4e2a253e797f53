//! What the pictures of a visit tell of its marks, in parts that can be asked for, kept and put together again.
//!
//! A look is one question to the pictures: where the spots marked in one reach are in another, where the bar is between the marks
//! on its ends, or whether two reaches are one recording. It holds all that its answer rests on but the pictures, so that an answer
//! can be kept and counts as long as the question is the same. [`with_answers`] gives the marks as they are measured: spots that
//! were found are a frame of their own beside the marks placed by hand, with the error of the marks that they come from; a bar that
//! was found stands in place of the marks on its ends. Written to files, these marks measure the same to the last digit.

mod left_out;

use std::collections::{BTreeMap, BTreeSet};

use image::GrayImage;
use nalgebra::Matrix2;
use serde::{Deserialize, Serialize};

use crate::geometry::{ImagePoint, Landmark};
use crate::pose::View;
use crate::track::{ArmTurn, BarPoint, NoBar, Pyramid, find_bar, is_one_moment};

use super::carry::{CarryLink, carry_links, carry_pictures, end_range_times_s, second_link};
use super::case::ReachEntry;
use super::compared_pictures::ComparedMarks;
use super::contradictions::{DoubtedSpot, Placed, doubted_spots};
use super::found_bar::{
    BAR_ENDS, FoundBar, FoundEnd, end_by_bar, far_end_words, not_found_words, rough_bars, unseen_end_words,
};
use super::marks::{
    FrameUse, MarkedFrame, MarkedPoint, MarksFile, MarksOrigin, PointSpread, SAME_TIME_S, Source, is_covariance,
    is_inside,
};
use super::observe::pooled;
use super::spread::scale;
use left_out::{LeftOut, left_out};

/// A question to the pictures of a visit.
#[derive(Debug, Clone, PartialEq)]
pub struct Look {
    /// The reach whose marks the answer bears on: index into the reaches given.
    pub reach: usize,
    /// The reach that it is held against, where it is.
    pub from_reach: Option<usize>,
    /// What is asked.
    pub question: Question,
}

/// What is asked of one picture or of two.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Question {
    /// Where spots of another picture are.
    Spots {
        /// Time of the frame that they are marked on, s.
        from_time_s: f64,
        /// Time of the frame that they are looked for on, s.
        time_s: f64,
        /// Whether the shoulders are turned alike.
        is_turned_alike: bool,
        /// All marks of the first frame by their names, px.
        given: BTreeMap<String, [f64; 2]>,
        /// The names of those that are looked for.
        wanted: Vec<String>,
        /// Wrist and elbow of an arm that is turned the other way, as marked on the frame that is looked at, px: its wrist is looked for
        /// beside its forearm.
        #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
        there: BTreeMap<String, [f64; 2]>,
    },
    /// Where the bar is.
    Bar {
        /// Time of the frame, s.
        time_s: f64,
        /// Its left and right end as marked, px.
        ends: [[f64; 2]; 2],
    },
    /// Whether both pictures show one moment, encoded twice.
    OneMoment {
        /// Time of the other frame, s.
        from_time_s: f64,
        /// Time of the frame, s.
        time_s: f64,
    },
}

/// What the pictures say.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Answer {
    /// What became of each spot, by the names of the marks.
    Spots(BTreeMap<String, Spot>),
    /// The bar.
    Bar {
        /// Its ends, each where it was seen.
        ends: [Option<SeenPoint>; 2],
        /// Two points of its axis beside them, certain across it alone.
        axis: [SeenPoint; 2],
    },
    /// No bar is surely there.
    NoBar {
        /// Why, without a full stop; `None` where it is seen end on, and nothing else is to be expected.
        why: Option<String>,
    },
    /// Whether it is one moment.
    OneMoment(bool),
    /// A frame cannot be decoded.
    NoPicture,
}

/// What became of a spot that was looked for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Spot {
    /// It was found.
    Found(SeenPoint),
    /// It was not, for this reason.
    Left(String),
}

/// A place in a picture.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SeenPoint {
    /// px.
    pub point: [f64; 2],
    /// Covariance of finding it: cxx, cxy, cyy in px².
    pub covariance_px2: [f64; 3],
}

/// The marks of a visit with what the pictures say.
#[derive(Debug, Clone, PartialEq)]
pub struct AnsweredMarks {
    /// The marks of each reach, as they are measured.
    pub marks: Vec<MarksFile>,
    /// How many marks were looked for in other reaches and found.
    pub compared: ComparedMarks,
    /// The bars that are measured in place of the marks on them.
    pub found_bars: Vec<FoundBar>,
    /// Sentences on bars that were not found or are far from the marks on them, each with its reach.
    pub warnings: Vec<(usize, String)>,
    /// Sentences on marks that the pictures contradict, each with its reach. Whoever measures the marks says them, too.
    pub contradicted: Vec<(usize, String)>,
}

/// All questions that the marks of these reaches raise. Marks that state a spread of their own stay as placed.
#[must_use]
pub fn looks(reaches: &[(&ReachEntry, &MarksFile)]) -> Vec<Look> {
    let mut looks = Vec::new();
    for (reach, (entry, marks)) in reaches.iter().enumerate() {
        for (place, time_s) in end_range_times_s(marks).into_iter().enumerate() {
            let mut open = marks.known_at(time_s);
            // the bar is found by itself where it is not seen end on
            open.retain(|landmark, _| !states_spread(marks, time_s, *landmark) && !is_found_bar(*landmark, entry.view));
            let mut look = |link: CarryLink, is_wanted: fn(Landmark) -> bool| {
                let CarryLink { from_reach, from_time_s, arms, given, own, there } = link;
                let from = reaches[from_reach].1;
                let is_wanted = |landmark: &Landmark| {
                    is_wanted(*landmark)
                        && open.contains_key(landmark)
                        && own.contains(landmark)
                        && !states_spread(from, from_time_s, *landmark)
                };
                let wanted: Vec<Landmark> = given.iter().map(|(landmark, _)| *landmark).filter(is_wanted).collect();
                if wanted.is_empty() {
                    return;
                }
                let has_wrist = wanted.iter().any(|landmark| matches!(landmark, Landmark::Wrist(_)));
                let question = Question::Spots {
                    from_time_s,
                    time_s,
                    is_turned_alike: arms == ArmTurn::Same,
                    given: by_name(&given),
                    wanted: wanted.iter().map(|landmark| landmark.name().to_owned()).collect(),
                    there: if has_wrist { by_name(&there) } else { BTreeMap::new() },
                };
                looks.push(Look { reach, from_reach: Some(from_reach), question });
            };
            carry_links(reaches, reach, place).into_iter().for_each(|link| look(link, |_| true));
            second_link(reaches, reach, place).into_iter().for_each(|link| look(link, is_seen_turned));
        }
        for (time_s, ends) in rough_bars(marks, entry.view).iter().map(super::found_bar::RoughBar::place) {
            let question = Question::Bar { time_s, ends: ends.map(|end| [end.x, end.y]) };
            looks.push(Look { reach, from_reach: None, question });
        }
    }
    looks.extend(looks_for_one_moment(reaches));
    looks
}

/// Whether any two reaches of one view are one recording: the first raise of each held against the first of the other, and so on.
fn looks_for_one_moment(reaches: &[(&ReachEntry, &MarksFile)]) -> Vec<Look> {
    let mut looks = Vec::new();
    for (reach, (entry, marks)) in reaches.iter().enumerate() {
        for (from, (other, others)) in reaches[..reach].iter().enumerate() {
            if other.view != entry.view {
                continue;
            }
            for (from_time_s, time_s) in end_range_times_s(others).into_iter().zip(end_range_times_s(marks)) {
                looks.push(Look {
                    reach,
                    from_reach: Some(from),
                    question: Question::OneMoment { from_time_s, time_s },
                });
            }
        }
    }
    looks
}

/// The pairs of reaches whose pictures show one moment: nobody reaches twice in it.
#[must_use]
pub fn one_recordings(answers: &[(Look, Answer)]) -> Vec<[usize; 2]> {
    let seen = answers.iter().filter(|(_, answer)| *answer == Answer::OneMoment(true));
    seen.filter_map(|(look, _)| Some([look.from_reach?, look.reach])).collect()
}

impl Question {
    /// Time of the frame that is looked at, s, and of the other one.
    #[must_use]
    pub const fn times_s(&self) -> (f64, Option<f64>) {
        match self {
            Self::Spots { time_s, from_time_s, .. } | Self::OneMoment { time_s, from_time_s } => {
                (*time_s, Some(*from_time_s))
            }
            Self::Bar { time_s, .. } => (*time_s, None),
        }
    }

    /// Looks at the pictures: `picture` is that of the reach, `from` the other one.
    #[must_use]
    pub fn answer(&self, picture: Option<&GrayImage>, from: Option<&GrayImage>) -> Answer {
        let Some(picture) = picture else { return Answer::NoPicture };
        match self {
            Self::Spots { is_turned_alike, given, wanted, there, .. } => {
                let Some(from) = from.filter(|from| from.dimensions() == picture.dimensions()) else {
                    return Answer::NoPicture;
                };
                let arms = if *is_turned_alike { ArmTurn::Same } else { ArmTurn::Other };
                let [given, there] = [given, there].map(|marks| {
                    let mark =
                        |(name, [x, y]): (&String, &[f64; 2])| Some((name.parse().ok()?, ImagePoint::new(*x, *y)));
                    marks.iter().filter_map(mark).collect::<Vec<(Landmark, ImagePoint)>>()
                });
                let spots =
                    carry_pictures(from, picture, arms, &given, &there).into_iter().map(|(landmark, result)| {
                        let spot = match result {
                            Ok(MarkedPoint { point, spread: PointSpread::Covariance(covariance_px2) }) => {
                                Spot::Found(SeenPoint { point: [point.x, point.y], covariance_px2 })
                            }
                            Ok(_) => Spot::Left("nothing tells how well it was found".to_owned()),
                            Err(why) => Spot::Left(why.to_string()),
                        };
                        (landmark.name().to_owned(), spot)
                    });
                Answer::Spots(spots.filter(|(name, _)| wanted.contains(name)).collect())
            }
            Self::OneMoment { .. } => Answer::OneMoment(from.is_some_and(|from| is_one_moment(from, picture))),
            Self::Bar { ends, .. } => {
                match find_bar(&Pyramid::owning(picture.clone(), 1), ends.map(|[x, y]| ImagePoint::new(x, y))) {
                    Ok(bar) => Answer::Bar {
                        ends: bar.ends.map(|end| end.as_ref().map(SeenPoint::of)),
                        axis: bar.axis.each_ref().map(SeenPoint::of),
                    },
                    Err(NoBar::Short { .. }) => Answer::NoBar { why: None },
                    Err(why) => Answer::NoBar { why: Some(why.to_string()) },
                }
            }
        }
    }
}

/// The marks of these reaches with what the pictures say; answers of other questions than [`looks`] asks are not theirs. `sd_px` is the
/// spread that marks have, px at a long side of [`super::case::SD_PX_AT`].
#[must_use]
pub fn with_answers(reaches: &[(&ReachEntry, &MarksFile)], answers: &[(Look, Answer)], sd_px: f64) -> AnsweredMarks {
    let (mut answered, mut doubted) = with_spots(reaches, answers, &BTreeSet::new(), sd_px);
    // a mark that most of the others contradict is no source of spots where another reach has one
    let outvoted: BTreeSet<(usize, Landmark)> = doubted.iter().flat_map(DoubtedSpot::outvoted).collect();
    if !outvoted.is_empty() {
        (answered, doubted) = with_spots(reaches, answers, &outvoted, sd_px);
    }
    for spot in doubted {
        answered.compared.found -= spot.found.len().min(answered.compared.found);
        answered.contradicted.extend(spot.sentences(|reach| reaches[reach].0));
    }
    for (look, answer) in answers {
        if let Question::Bar { time_s, .. } = look.question {
            answered.put_bar(reaches, (look.reach, time_s), answer, sd_px);
        }
    }
    answered
}

/// The marks with the spots that were found, none of them from a mark of `outvoted` (reach and landmark) that another reach can stand
/// in for, and those of the spots that count for nothing.
fn with_spots(
    reaches: &[(&ReachEntry, &MarksFile)],
    answers: &[(Look, Answer)],
    outvoted: &BTreeSet<(usize, Landmark)>,
    sd_px: f64,
) -> (AnsweredMarks, Vec<DoubtedSpot>) {
    let mut answered = AnsweredMarks {
        marks: reaches.iter().map(|(_, marks)| (*marks).clone()).collect(),
        compared: ComparedMarks::default(),
        found_bars: Vec::new(),
        warnings: Vec::new(),
        contradicted: Vec::new(),
    };
    let mut tried = BTreeSet::new();
    let left_out = left_out(reaches, answers, outvoted);
    for (number, (look, answer)) in answers.iter().enumerate() {
        if let (Question::Spots { from_time_s, time_s, wanted, .. }, Some(from)) = (&look.question, look.from_reach) {
            let from = MarksOrigin { marks: reaches[from].0.marks.clone(), time_s: *from_time_s };
            let mut landmarks: Vec<Landmark> = wanted.iter().filter_map(|name| name.parse().ok()).collect();
            landmarks.retain(|landmark| left_out.get(&(number, *landmark)) != Some(&LeftOut::IsReplaced));
            // what was not found from one reach may be from another
            tried.extend(landmarks.iter().map(|landmark| (look.reach, time_s.to_bits(), *landmark)));
            landmarks.retain(|landmark| !left_out.contains_key(&(number, *landmark)));
            answered.compared.found += answered.add_spots((look.reach, *time_s), from, &landmarks, answer);
        }
    }
    answered.compared.tried = tried.len();
    let origin = |(reach, frame): (usize, usize), _| {
        let MarksOrigin { marks, time_s } = answered.marks[reach].frames[frame].from.as_ref()?;
        let reach = reaches.iter().position(|(entry, _)| entry.marks == *marks)?;
        Some(Placed { reach, time_s: *time_s })
    };
    let marks: Vec<&MarksFile> = answered.marks.iter().collect();
    let doubted = doubted_spots(&marks, |_, image_size| sd_px * scale(image_size), origin);
    (answered, doubted)
}

impl AnsweredMarks {
    /// Adds the spots that were found beside the marks of a reach at a time, s; how many.
    fn add_spots(
        &mut self,
        (reach, time_s): (usize, f64),
        from: MarksOrigin,
        wanted: &[Landmark],
        answer: &Answer,
    ) -> usize {
        let Answer::Spots(spots) = answer else { return 0 };
        let marks = &mut self.marks[reach];
        let frames_here = || marks.frames.iter().filter(|frame| (frame.time_s - time_s).abs() < SAME_TIME_S);
        // the first reach that it is found from is the one that it counts with
        let is_there = |landmark: &Landmark| {
            frames_here().any(|frame| frame.source == Source::Carried && frame.points.contains_key(landmark))
        };
        let mut points = BTreeMap::new();
        for landmark in wanted.iter().copied().filter(|landmark| !is_there(landmark)) {
            if let Some(Spot::Found(spot)) = spots.get(landmark.name()) {
                points.extend(spot.as_mark(marks.image_size).map(|mark| (landmark, mark)));
            }
        }
        let count = points.len();
        if count > 0 {
            let (rater, repeat) = (None, None);
            let (source, used_as, from) = (Source::Carried, FrameUse::EndRange, Some(from));
            marks.frames.push(MarkedFrame { time_s, source, used_as, rater, repeat, from, points });
        }
        count
    }

    /// Puts the ends of a bar that was found on a frame in place of the marks on them.
    fn put_bar(
        &mut self,
        reaches: &[(&ReachEntry, &MarksFile)],
        (reach, time_s): (usize, f64),
        answer: &Answer,
        sd_px: f64,
    ) {
        let entry = reaches[reach].0;
        let counts = |end: &Landmark| !self.is_origin(reaches, reach, time_s, *end);
        let counting: Vec<(usize, Landmark)> = (0..).zip(BAR_ENDS).filter(|(_, end)| counts(end)).collect();
        if counting.is_empty() {
            return;
        }
        let (ends, axis) = match answer {
            Answer::Bar { ends, axis } => (ends.map(|end| end.map(SeenPoint::on_bar)), axis.map(SeenPoint::on_bar)),
            Answer::NoBar { why: None } | Answer::Spots(_) | Answer::OneMoment(_) => return,
            Answer::NoBar { why: Some(why) } => {
                return self.warnings.push((reach, not_found_words(entry, time_s, why)));
            }
            Answer::NoPicture => {
                return self.warnings.push((reach, not_found_words(entry, time_s, "the frame cannot be decoded")));
            }
        };
        let marks = &mut self.marks[reach];
        let sd_px = sd_px * scale(marks.image_size);
        let mut found_ends = Vec::new();
        for (index, landmark) in counting {
            let is_here = |frame: &&mut MarkedFrame| {
                frame.source == Source::Hand
                    && (frame.time_s - time_s).abs() < SAME_TIME_S
                    && frame.points.contains_key(&landmark)
            };
            let mut frames: Vec<&mut MarkedFrame> = marks.frames.iter_mut().filter(is_here).collect();
            let placed = pooled(frames.iter().map(|frame| {
                let mark = &frame.points[&landmark];
                (mark.point.to_vector(), mark.spread.covariance_px2(sd_px))
            }));
            let Some((found, found_px2)) = end_by_bar(&ends, &axis, index, placed) else { continue };
            let seen = SeenPoint::of(&BarPoint { point: found, covariance_px2: found_px2 });
            let Some(mark) = seen.as_mark(marks.image_size) else { continue };
            let is_seen = ends[index].is_some();
            if !is_seen {
                self.warnings.push((reach, unseen_end_words(entry, time_s, landmark)));
            }
            if let Some(words) = far_end_words(entry, time_s, landmark, placed, (found, found_px2)) {
                self.warnings.push((reach, words));
            }
            // one bar is one observation, however often it was marked
            for (place, frame) in frames.iter_mut().enumerate() {
                if place == 0 {
                    frame.points.insert(landmark, mark);
                } else {
                    frame.points.remove(&landmark);
                }
            }
            found_ends.push(FoundEnd { landmark, placed: ImagePoint::new(placed.0.x, placed.0.y), found, is_seen });
        }
        marks.frames.retain(|frame| !frame.points.is_empty());
        if !found_ends.is_empty() {
            self.found_bars.push(FoundBar { reach, time_s, ends: found_ends });
        }
    }

    /// Whether other marks were carried from a mark: they share its error, and so it stays as placed.
    fn is_origin(&self, reaches: &[(&ReachEntry, &MarksFile)], reach: usize, time_s: f64, landmark: Landmark) -> bool {
        let marks = &reaches[reach].0.marks;
        self.marks.iter().flat_map(|of| &of.frames).filter(|frame| frame.points.contains_key(&landmark)).any(|frame| {
            frame.from.as_ref().is_some_and(|from| from.marks == *marks && (from.time_s - time_s).abs() < SAME_TIME_S)
        })
    }
}

impl SeenPoint {
    /// The place as a mark on a picture of a size; `None` where a marks file could not hold it: beside the picture, or without a
    /// covariance that is one.
    fn as_mark(&self, image_size: [u32; 2]) -> Option<MarkedPoint> {
        let Self { point: [x, y], covariance_px2 } = *self;
        let is_usable = is_inside(x, y, image_size) && is_covariance(covariance_px2);
        is_usable.then(|| MarkedPoint { point: ImagePoint::new(x, y), spread: PointSpread::Covariance(covariance_px2) })
    }

    fn of(point: &BarPoint) -> Self {
        let c = point.covariance_px2;
        Self { point: [point.point.x, point.point.y], covariance_px2: [c.m11, c.m12, c.m22] }
    }

    fn on_bar(self) -> BarPoint {
        let ([x, y], [cxx, cxy, cyy]) = (self.point, self.covariance_px2);
        BarPoint { point: ImagePoint::new(x, y), covariance_px2: Matrix2::new(cxx, cxy, cxy, cyy) }
    }
}

/// Whether some mark of a landmark at a time says itself how good it is, or the one that it was followed from.
fn states_spread(marks: &MarksFile, time_s: f64, landmark: Landmark) -> bool {
    let is_at = |frame: &&MarkedFrame, at_s: f64| (frame.time_s - at_s).abs() < SAME_TIME_S;
    let is_stated = |at_s: f64| {
        let by_hand = marks.frames.iter().filter(|frame| frame.source == Source::Hand && is_at(frame, at_s));
        by_hand.filter_map(|frame| frame.points.get(&landmark)).any(|point| point.spread != PointSpread::Usual)
    };
    let followed = marks.frames.iter().filter(|frame| frame.source == Source::Track && is_at(frame, time_s));
    let mut origins =
        followed.filter(|frame| frame.points.contains_key(&landmark)).filter_map(|frame| frame.from.as_ref());
    is_stated(time_s) || origins.any(|from| is_stated(from.time_s))
}

/// Whether it can be told where it is when the arms are turned the other way: on the trunk, or across its forearm.
const fn is_seen_turned(landmark: Landmark) -> bool {
    matches!(landmark, Landmark::Shoulder(_) | Landmark::Hip(_) | Landmark::Wrist(_))
}

fn by_name(marks: &[(Landmark, ImagePoint)]) -> BTreeMap<String, [f64; 2]> {
    marks.iter().map(|(landmark, at)| (landmark.name().to_owned(), [at.x, at.y])).collect()
}

/// Whether it is an end of a bar that is not seen end on.
const fn is_found_bar(landmark: Landmark, view: View) -> bool {
    matches!(landmark, Landmark::BarEnd(_)) && !matches!(view, View::Side)
}

#[cfg(test)]
mod tests;
