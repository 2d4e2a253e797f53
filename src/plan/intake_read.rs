//! Reads an intake strictly, and refuses what contradicts itself.

use std::collections::BTreeMap;
use std::path::Path;

use crate::screen::document::{Node, Value};
use crate::screen::fields::{Fields, Limits};
use crate::screen::problem::{Fault, Problems};
use crate::screen::text_file::read_text;
use crate::screen::{Call, ResultSide, RetestOutcome};

use super::danger::DangerSign;
use super::day::Day;
use super::error::{IntakeFault, PlanError};
use super::intake::{
    Clearance, Findings, INTAKE_SCHEMA, Intake, IntakeVisit, PainSpot, Provocation, Resisted, ScreenOutcome,
    UlnarNerve, Valgus,
};
use super::pain::PAIN_MAX;
use super::read::{note, pain_of, parse_root, texts};

/// An intake file is refused beyond this size.
const INTAKE_BYTES_MAX: u64 = 1 << 20;

/// Longest text, characters.
pub const TEXT_MAX: usize = 1000;

/// Most weeks since the onset that are accepted: fifty years.
pub const WEEKS_MAX: u16 = 2600;

/// A visit that was longer ago is a slip of the year, days: twenty years. A course runs over weeks.
pub const VISITS_BACK_DAYS: i32 = 7305;

/// The strongest grip that is accepted, kg.
pub const GRIP_MAX_KG: f64 = 150.0;

impl Intake {
    /// Reads an intake file. No day in it may be later than `today`, and no visit more than [`VISITS_BACK_DAYS`] earlier.
    ///
    /// # Errors
    /// [`PlanError::Invalid`] with every fault.
    pub fn read(path: &Path, today: Day) -> Result<Self, PlanError> {
        let mut problems = Problems::new(path);
        let Some(text) = read_text(path, INTAKE_BYTES_MAX, &mut problems) else {
            return Err(PlanError::Invalid { problems: problems.into_list() });
        };
        let intake = Self::parse(&text, path, today)?;
        let limit = today.plus(-VISITS_BACK_DAYS);
        for visit in intake.visits.iter().filter(|visit| visit.on < limit) {
            let cause = Box::new(IntakeFault::LongAgo { found: visit.on, limit });
            problems.push(None, Fault::Other { cause });
        }
        let problems = problems.into_list();
        if problems.is_empty() { Ok(intake) } else { Err(PlanError::Invalid { problems }) }
    }

    /// Reads the text of an intake file; `path` names it in faults.
    ///
    /// # Errors
    /// As [`Intake::read`].
    pub fn parse(text: &str, path: &Path, today: Day) -> Result<Self, PlanError> {
        let mut problems = Problems::new(path);
        let intake = parse_intake(text, today, &mut problems);
        match (intake, problems.into_list()) {
            (Some(intake), problems) if problems.is_empty() => Ok(intake),
            (_, problems) => Err(PlanError::Invalid { problems }),
        }
    }

    /// The text of the intake file.
    ///
    /// # Errors
    /// [`PlanError::Format`], which no intake is known to lead to.
    pub fn to_toml(&self) -> Result<String, PlanError> {
        toml::to_string(self).map_err(|source| PlanError::Format { format: "TOML", source: Box::new(source) })
    }

    /// The intake, if all of it can be, checked as a file would be.
    ///
    /// # Errors
    /// As [`Intake::read`].
    pub fn checked(&self, today: Day) -> Result<Self, PlanError> {
        Self::parse(&self.to_toml()?, Path::new("the intake"), today)
    }

    /// The day of the first visit.
    #[must_use]
    pub fn first_visit(&self) -> Option<Day> {
        self.visits.first().map(|visit| visit.on)
    }
}

fn parse_intake(text: &str, today: Day, problems: &mut Problems) -> Option<Intake> {
    let root = parse_root(text, problems)?;
    let accepted = [
        "schema",
        "client",
        "affected_side",
        "pain_spots",
        "provoked_by",
        "weeks_since_onset",
        "work",
        "sport",
        "earlier_care",
        "goals",
        "activities",
        "visit",
        "screen",
        "clearance",
    ];
    let fields = Fields::of(&root, "the intake", &accepted, problems);
    for field in ["schema", "client", "affected_side", "pain_spots", "provoked_by", "weeks_since_onset", "visit"] {
        fields.required(field, problems);
    }
    fields.choice("schema", &[(INTAKE_SCHEMA, ())], problems);
    let client = fields.text("client", crate::screen::case::CODE_LENGTH_MAX, problems);
    let sides = [("left", ResultSide::Left), ("right", ResultSide::Right), ("both", ResultSide::Both)];
    let affected_side = fields.choice("affected_side", &sides, problems);
    let pain_spots = words(&fields, "pain_spots", &PainSpot::ALL, problems);
    let provoked_by = words(&fields, "provoked_by", &Provocation::ALL, problems);
    let weeks = fields.node("weeks_since_onset");
    let weeks = weeks.and_then(|node| fields.whole("weeks_since_onset", node, [0, u32::from(WEEKS_MAX)], problems));
    let [work, sport] = ["work", "sport"].map(|field| fields.text(field, TEXT_MAX, problems));
    let [earlier_care, goals, activities] = ["earlier_care", "goals", "activities"]
        .map(|field| texts(&fields, field, TEXT_MAX, problems).unwrap_or_default());
    let lists = ["visit", "screen", "clearance"].map(|field| fields.list(field, problems).unwrap_or_default());
    let [visit_nodes, screen_nodes, clearance_nodes] = lists;
    if visit_nodes.is_empty() && fields.node("visit").is_some() {
        let (field, place, found) = ("visit".to_owned(), "the intake".to_owned(), "empty".to_owned());
        problems.at(
            fields.line_of("visit"),
            Fault::OutOfRange { field, place, found, accepted: "one [[visit]] or more".to_owned() },
        );
    }
    let visits = visit_nodes.iter().filter_map(|node| Some((node.line, visit(node, problems)?))).collect::<Vec<_>>();
    let screens = screen_nodes.iter().filter_map(|node| Some((node.line, screen(node, problems)?))).collect::<Vec<_>>();
    let clearances =
        clearance_nodes.iter().filter_map(|node| Some((node.line, clearance(node, problems)?))).collect::<Vec<_>>();
    days("visit", &visits, |visit| visit.on, None, today, problems);
    // a first visit that could not be read leaves no day to compare with
    let first = visits.first().filter(|_| visits.len() == visit_nodes.len()).map(|(_, visit)| visit.on);
    days("screen", &screens, |screen| screen.on, first, today, problems);
    days("clearance", &clearances, |clearance| clearance.on, first, today, problems);
    contradictions(affected_side?, &pain_spots, fields.line_of("pain_spots"), &visits, &activities, problems);
    Some(Intake {
        schema: INTAKE_SCHEMA,
        client: client?,
        affected_side: affected_side?,
        pain_spots,
        provoked_by,
        weeks_since_onset: u16::try_from(weeks?).ok()?,
        work,
        sport,
        earlier_care,
        goals,
        activities,
        visits: visits.into_iter().map(|(_, visit)| visit).collect(),
        screens: screens.into_iter().map(|(_, screen)| screen).collect(),
        clearances: clearances.into_iter().map(|(_, clearance)| clearance).collect(),
    })
}

/// A list of known words.
fn words<T: Copy>(
    fields: &Fields<'_>,
    field: &'static str,
    choices: &[(&'static str, T)],
    problems: &mut Problems,
) -> Vec<T> {
    let accepted: Vec<&'static str> = choices.iter().map(|(word, _)| *word).collect();
    let mut values = Vec::new();
    for node in fields.list(field, problems).unwrap_or_default() {
        let Value::Text(found) = &node.value else {
            fields.wrong_kind(field, node, format!("a list of {}", accepted.join(", ")), problems);
            continue;
        };
        match choices.iter().find(|(word, _)| word == found) {
            Some((_, value)) => values.push(*value),
            None => {
                let nearest = crate::screen::problem::nearest(found, &accepted);
                let (place, found, accepted) = (fields.place.clone(), found.clone(), accepted.clone());
                problems.at(node.line, Fault::UnknownWord { field, place, found, accepted, nearest });
            }
        }
    }
    values
}

fn day_of(fields: &Fields<'_>, problems: &mut Problems) -> Option<Day> {
    fields.required("on", problems)?;
    let text = fields.text("on", TEXT_MAX, problems)?;
    let day = text.parse().ok();
    if day.is_none() {
        let place = fields.place.clone();
        note(problems, fields.line_of("on"), IntakeFault::NotADay { field: "on", place, found: text });
    }
    day
}

fn visit(node: &Node, problems: &mut Problems) -> Option<IntakeVisit> {
    let accepted = ["on", "pain_at_rest", "pain_in_use", "pain_on_pressing", "danger_signs", "ratings", "findings"];
    let fields = Fields::of(node, "[[visit]]", &accepted, problems);
    let on = day_of(&fields, problems);
    let [at_rest, in_use, on_pressing] = ["pain_at_rest", "pain_in_use", "pain_on_pressing"].map(|field| {
        fields.required(field, problems);
        pain_of(&fields, field, problems)
    });
    let signs = DangerSign::ALL.map(|sign| (sign.name(), sign));
    let danger_signs = words(&fields, "danger_signs", &signs, problems);
    let ratings = fields.node("ratings").map(|node| ratings(node, problems)).unwrap_or_default();
    let findings = fields.node("findings").map(|node| findings(node, problems)).unwrap_or_default();
    Some(IntakeVisit {
        on: on?,
        pain_at_rest: at_rest?,
        pain_in_use: in_use?,
        pain_on_pressing: on_pressing?,
        danger_signs,
        ratings,
        findings,
    })
}

fn ratings(node: &Node, problems: &mut Problems) -> BTreeMap<String, u8> {
    let place = "[visit.ratings]";
    let mut ratings = BTreeMap::new();
    let Value::Table(entries) = &node.value else {
        Fields::none("[[visit]]", node.line).wrong_kind("ratings", node, "a table of activities".to_owned(), problems);
        return ratings;
    };
    let fields = Fields::none(place, node.line);
    for entry in entries {
        let rating = fields.whole(&entry.name, &entry.node, [0, u32::from(PAIN_MAX)], problems);
        if let Some(rating) = rating.and_then(|rating| u8::try_from(rating).ok()) {
            ratings.insert(entry.name.clone(), rating);
        }
    }
    ratings
}

fn findings(node: &Node, problems: &mut Problems) -> Findings {
    let accepted = [
        "resisted_wrist_flexion",
        "resisted_pronation",
        "valgus_stress",
        "ulnar_nerve",
        "grip_left_kg",
        "grip_right_kg",
    ];
    let fields = Fields::of(node, "[visit.findings]", &accepted, problems);
    let resisted = [
        ("clear", Resisted::Clear),
        ("painful", Resisted::Painful),
        ("weak", Resisted::Weak),
        ("painful_and_weak", Resisted::PainfulAndWeak),
    ];
    let valgus = [("clear", Valgus::Clear), ("painful", Valgus::Painful), ("gaps", Valgus::Gaps)];
    let ulnar = [("clear", UlnarNerve::Clear), ("tingling", UlnarNerve::Tingling), ("weak", UlnarNerve::Weak)];
    let [grip_left_kg, grip_right_kg] = ["grip_left_kg", "grip_right_kg"].map(|field| {
        let tries = fields.list(field, problems).unwrap_or_default();
        let range = Limits::between(0.0, GRIP_MAX_KG, "kg");
        tries.iter().filter_map(|node| fields.number_of(field, node, range, problems)).collect()
    });
    Findings {
        resisted_wrist_flexion: fields.choice("resisted_wrist_flexion", &resisted, problems),
        resisted_pronation: fields.choice("resisted_pronation", &resisted, problems),
        valgus_stress: fields.choice("valgus_stress", &valgus, problems),
        ulnar_nerve: fields.choice("ulnar_nerve", &ulnar, problems),
        grip_left_kg,
        grip_right_kg,
    }
}

fn screen(node: &Node, problems: &mut Problems) -> Option<ScreenOutcome> {
    let fields = Fields::of(node, "[[screen]]", &["on", "call", "retest"], problems);
    fields.required("call", problems);
    let on = day_of(&fields, problems);
    let calls = [
        ("positive", Call::Positive),
        ("negative", Call::Negative),
        ("inconclusive", Call::Inconclusive),
        ("not_comparable", Call::NotComparable),
    ];
    let outcomes = [
        ("improved", RetestOutcome::Improved),
        ("unchanged", RetestOutcome::Unchanged),
        ("worse", RetestOutcome::Worse),
        ("inconclusive", RetestOutcome::Inconclusive),
        ("not_comparable", RetestOutcome::NotComparable),
    ];
    let call = fields.choice("call", &calls, problems);
    let retest = fields.choice("retest", &outcomes, problems);
    if let (Some(on), Some(call), Some(_)) = (on, call, retest)
        && call != Call::Positive
    {
        note(problems, fields.line_of("retest"), IntakeFault::RetestWithoutPositive { on });
    }
    Some(ScreenOutcome { on: on?, call: call?, retest })
}

fn clearance(node: &Node, problems: &mut Problems) -> Option<Clearance> {
    let fields = Fields::of(node, "[[clearance]]", &["on", "reason"], problems);
    fields.required("reason", problems);
    let on = day_of(&fields, problems);
    let reason = fields.text("reason", TEXT_MAX, problems);
    Some(Clearance { on: on?, reason: reason? })
}

/// Notes days that have not come, that come before the first visit, or that are out of order.
fn days<T>(
    what: &'static str,
    list: &[(usize, T)],
    day: impl Fn(&T) -> Day,
    first: Option<Day>,
    today: Day,
    problems: &mut Problems,
) {
    let mut before: Option<Day> = None;
    for (line, one) in list {
        let found = day(one);
        if found > today {
            note(problems, *line, IntakeFault::InFuture { what, found, today });
        }
        if let Some(limit) = first.filter(|limit| found < *limit) {
            note(problems, *line, IntakeFault::TooEarly { what, found, limit, limit_what: "first visit" });
        }
        match before {
            Some(limit) if found < limit => {
                let limit_what = "one listed before it";
                note(problems, *line, IntakeFault::TooEarly { what, found, limit, limit_what });
            }
            Some(limit) if found == limit => note(problems, *line, IntakeFault::SameDay { what, on: found }),
            _ => {}
        }
        before = Some(found);
    }
}

fn contradictions(
    side: ResultSide,
    spots: &[PainSpot],
    spots_line: usize,
    visits: &[(usize, IntakeVisit)],
    activities: &[String],
    problems: &mut Problems,
) {
    let other = match side {
        ResultSide::Left => Some((false, "left")),
        ResultSide::Right => Some((true, "right")),
        ResultSide::Both => None,
    };
    if let Some((is_left, side)) = other {
        for spot in spots.iter().filter(|spot| spot.is_left == is_left) {
            let spot = spot.name().to_owned();
            note(problems, spots_line, IntakeFault::SpotOnOtherSide { spot, side });
        }
    }
    for (line, visit) in visits {
        let pain = visit.pain_at_rest.max(visit.pain_in_use).max(visit.pain_on_pressing);
        // spots are where it hurt at first; later visits may well be free of pain, or hurt where nothing was drawn
        if pain > 0 && spots.is_empty() {
            note(problems, *line, IntakeFault::PainNowhere { on: visit.on, pain });
        }
        for found in visit.ratings.keys().filter(|found| !activities.contains(found)) {
            let (found, accepted) = (found.clone(), activities.to_vec());
            note(problems, *line, IntakeFault::OtherActivity { on: visit.on, found, accepted });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_visit_of_long_ago_is_a_slip_of_the_year() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("intake.toml");
        let read = |on: &str| {
            let text = format!(
                "schema = \"tworeach/intake/1\"\nclient = \"R07\"\naffected_side = \"right\"\npain_spots = []\nprovoked_by = []\n\
                 weeks_since_onset = 9\n[[visit]]\non = \"{on}\"\npain_at_rest = 0\npain_in_use = 0\npain_on_pressing = 0\n"
            );
            std::fs::write(&path, &text).unwrap();
            // what is kept stays readable all the same
            assert!(Intake::parse(&text, &path, "2026-11-20".parse().unwrap()).is_ok());
            Intake::read(&path, "2026-11-20".parse().unwrap()).map_err(|error| error.to_string())
        };
        assert!(read("2026-11-20").is_ok() && read("2006-11-20").is_ok());
        let refused = read("1926-11-05").unwrap_err();
        assert!(refused.ends_with("the visit of 1926-11-05 is before 2006-11-20, twenty years ago: a course runs over weeks, so look at the year"), "{refused}");
    }

    #[test]
    fn pain_that_is_worse_at_rest_is_noticed() {
        let visit = |pain_at_rest, pain_in_use| IntakeVisit {
            on: "2026-11-05".parse().unwrap(),
            pain_at_rest,
            pain_in_use,
            pain_on_pressing: 0,
            danger_signs: Vec::new(),
            ratings: BTreeMap::new(),
            findings: Findings::default(),
        };
        // three points more: common practice, no source
        assert!(visit(9, 0).is_worse_at_rest() && visit(3, 0).is_worse_at_rest());
        assert!(!visit(2, 0).is_worse_at_rest() && !visit(1, 5).is_worse_at_rest() && !visit(10, 8).is_worse_at_rest());
    }

    const GOOD: &str = r#"schema = "tworeach/intake/1"
client = "R07"
affected_side = "right"
pain_spots = ["right_inner_elbow_tip", "right_flexor_mass"]
provoked_by = ["gripping", "rowing"]
weeks_since_onset = 9
sport = "masters rowing"
goals = ["row an hour without thinking of the elbow"]
activities = ["rowing", "carrying"]

[[visit]]
on = "2026-10-05"
pain_at_rest = 1
pain_in_use = 4
pain_on_pressing = 5
ratings = { rowing = 4, carrying = 6 }

[visit.findings]
resisted_wrist_flexion = "painful"
valgus_stress = "clear"
grip_left_kg = [41, 42.5]
grip_right_kg = [33, 30, 31]

[[visit]]
on = "2026-10-26"
pain_at_rest = 0
pain_in_use = 2
pain_on_pressing = 3
ratings = { rowing = 6 }

[[screen]]
on = "2026-10-05"
call = "positive"
retest = "improved"

[[clearance]]
on = "2026-10-26"
reason = "looked at again"
"#;

    fn parse(text: &str) -> Result<Intake, Vec<String>> {
        Intake::parse(text, Path::new("i.toml"), "2026-11-20".parse().unwrap())
            .map_err(|error| error.to_string().lines().map(str::to_owned).collect())
    }

    #[test]
    fn an_intake_comes_back_as_it_was_written() {
        let intake = parse(GOOD).unwrap();
        assert_eq!(intake.first_visit().unwrap().to_string(), "2026-10-05");
        assert_eq!(intake.visits[0].findings.grip_right_kg, [33.0, 30.0, 31.0]);
        assert_eq!(parse(&intake.to_toml().unwrap()).unwrap(), intake);
    }

    #[test]
    fn what_cannot_be_or_contradicts_itself_is_refused() {
        for (from, to, words) in [
            (
                "pain_in_use = 4",
                "pain_in_use = 11",
                "\"pain_in_use\" in [[visit]] is 11, expected a whole number from 0 to 10",
            ),
            ("pain_in_use = 4", "pain_in_use = 2.5", "is 2.5"),
            (
                "[\"right_inner_elbow_tip\", \"right_flexor_mass\"]",
                "[\"left_shoulder\"]",
                "\"left_shoulder\" contradicts affected_side = \"right\"",
            ),
            ("[\"right_inner_elbow_tip\", \"right_flexor_mass\"]", "[]", "pain up to 5, but pain_spots is empty"),
            ("right_flexor_mass", "right_flexor_mas", "the nearest is \"right_flexor_mass\""),
            ("rowing = 4", "swimming = 4", "rates \"swimming\", expected one of the activities rowing, carrying"),
            ("rowing = 4", "rowing = 12", "\"rowing\" in [visit.ratings] is 12"),
            (
                "on = \"2026-10-26\"\npain",
                "on = \"2026-11-26\"\npain",
                "the visit of 2026-11-26 is in the future: today is 2026-11-20",
            ),
            ("on = \"2026-10-26\"\npain", "on = \"2026-10-05\"\npain", "two visits on 2026-10-05"),
            (
                "on = \"2026-10-26\"\npain",
                "on = \"2026-10-01\"\npain",
                "before 2026-10-05, the day of the one listed before it",
            ),
            (
                "on = \"2026-10-05\"\ncall",
                "on = \"2026-10-01\"\ncall",
                "the screen of 2026-10-01 is before 2026-10-05, the day of the first visit",
            ),
            ("on = \"2026-10-26\"\npain", "on = 2026-10-26\npain", "is a date, expected a text"),
            ("on = \"2026-10-26\"\npain", "on = \"26.10.2026\"\npain", "expected a day of the calendar"),
            ("call = \"positive\"", "call = \"negative\"", "has a retest, but its call is not positive"),
            ("grip_left_kg = [41, 42.5]", "grip_left_kg = [-5]", "is -5, expected a number from 0 to 150 kg"),
            ("weeks_since_onset = 9", "weeks_since_onset = -1", "is -1"),
            ("client = \"R07\"\n", "", "missing field \"client\""),
            ("reason = \"looked at again\"", "", "missing field \"reason\""),
        ] {
            assert!(GOOD.contains(from), "{from}");
            let found = parse(&GOOD.replacen(from, to, 1)).unwrap_err();
            assert!(found.iter().any(|line| line.contains(words)), "{to}: {found:?}");
        }
    }

    #[test]
    fn findings_that_need_a_clinician_are_named() {
        let with = |finding: &str| parse(&GOOD.replace("valgus_stress = \"clear\"", finding)).unwrap();
        assert_eq!(with("valgus_stress = \"painful\"").visits[0].findings.alarm(), None);
        assert!(with("valgus_stress = \"gaps\"").visits[0].findings.alarm().is_some());
        assert!(with("ulnar_nerve = \"tingling\"").visits[0].findings.alarm().is_some());
        assert!(with("resisted_pronation = \"painful_and_weak\"").visits[0].findings.alarm().is_some());
    }
}
