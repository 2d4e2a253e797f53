//! Which of the spots that were looked for count for nothing before any mark is held against them.

use std::collections::{BTreeMap, BTreeSet};

use crate::geometry::Landmark;
use crate::track::NotCarried;

use super::super::carry::main_source;
use super::super::case::ReachEntry;
use super::super::marks::MarksFile;
use super::{Answer, Look, Question, Spot};

/// Why a spot is left out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum LeftOut {
    /// Most of the reaches in which it was looked for do not show it: one that is off the body is found again where the mark is wrong
    /// alike. Where most show it, the marks decide: see [`super::super::contradictions`].
    IsUnseen,
    /// It is known from a better mark: that of the main reach where it was looked for from a second one, that of the second where most
    /// marks contradict the main reach's.
    IsReplaced,
}

/// One spot, looked for in other reaches.
#[derive(Debug, Clone, Copy, Default)]
struct Group {
    /// Reaches in which it was looked for and is to be expected.
    tried: usize,
    /// Reaches in which it was found.
    found: usize,
}

impl Group {
    fn add(&mut self, is_found: bool) {
        self.tried += 1;
        self.found += usize::from(is_found);
    }

    const fn is_seen(&self) -> bool {
        if self.tried == 1 { self.found == 1 } else { 2 * (1 + self.found) > self.tried + 1 }
    }
}

/// A spot: the reach in which it is marked, the landmark, and the time of the frame there.
type SpotKey = (usize, Landmark, u64);

/// A spot that was looked for in a reach.
struct Sought {
    /// Of the answer.
    number: usize,
    spot: SpotKey,
    is_found: bool,
}

/// The spots that are left out, by answer. Marks of `outvoted` (reach and landmark) are no source where a second reach's is.
pub(super) fn left_out(
    reaches: &[(&ReachEntry, &MarksFile)],
    answers: &[(Look, Answer)],
    outvoted: &BTreeSet<(usize, Landmark)>,
) -> BTreeMap<(usize, Landmark), LeftOut> {
    let other_side = NotCarried::OtherSide.to_string();
    let mut groups: BTreeMap<SpotKey, Group> = BTreeMap::new();
    let (mut first, mut second) = (Vec::new(), Vec::new());
    for (number, (look, answer)) in answers.iter().enumerate() {
        let (Question::Spots { wanted, from_time_s, .. }, Some(from), Answer::Spots(spots)) =
            (&look.question, look.from_reach, answer)
        else {
            continue;
        };
        let is_turned_alike = reaches[look.reach].0.rotation == reaches[from].0.rotation;
        let main = main_source(reaches, look.reach).filter(|main| *main != from && !is_turned_alike);
        for landmark in wanted.iter().filter_map(|name| name.parse::<Landmark>().ok()) {
            let is_found = match spots.get(landmark.name()) {
                // nothing to be expected there
                Some(Spot::Left(why)) if *why == other_side => continue,
                spot => matches!(spot, Some(Spot::Found(_))),
            };
            let sought = Sought { number, spot: (from, landmark, from_time_s.to_bits()), is_found };
            match main {
                Some(main) => second.push((sought, main)),
                None => {
                    groups.entry(sought.spot).or_default().add(is_found);
                    first.push(sought);
                }
            }
        }
    }
    let mut of_all = groups.clone();
    second.iter().for_each(|(sought, _)| of_all.entry(sought.spot).or_default().add(sought.is_found));
    let mut left_out = BTreeMap::new();
    let mut replaced = BTreeSet::new();
    for (sought, main) in second {
        let (from, landmark, _) = sought.spot;
        let is_better = outvoted.contains(&(main, landmark)) && !outvoted.contains(&(from, landmark));
        let replaces = is_better && of_all[&sought.spot].is_seen();
        if replaces {
            replaced.insert((main, landmark));
        }
        if replaces || is_unseen(&groups, main, landmark) {
            // all that was looked for from a second reach is let in together
            groups.insert(sought.spot, of_all[&sought.spot]);
            first.push(sought);
        } else {
            left_out.insert((sought.number, landmark), LeftOut::IsReplaced);
        }
    }
    for Sought { number, spot, .. } in first {
        let (from, landmark, _) = spot;
        if replaced.contains(&(from, landmark)) {
            left_out.insert((number, landmark), LeftOut::IsReplaced);
        } else if !groups[&spot].is_seen() {
            left_out.insert((number, landmark), LeftOut::IsUnseen);
        }
    }
    left_out
}

/// Whether most of the reaches do not show the landmark as a reach has it. As long as nobody looked, they may.
fn is_unseen(groups: &BTreeMap<SpotKey, Group>, reach: usize, wanted: Landmark) -> bool {
    let of_reach = groups.iter().filter(|((from, landmark, _), _)| (*from, *landmark) == (reach, wanted));
    let mut seen = of_reach.map(|(_, group)| group.is_seen()).peekable();
    seen.peek().is_some() && seen.all(|is_seen| !is_seen)
}
