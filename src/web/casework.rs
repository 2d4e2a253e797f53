//! A client's case over weeks, loaded once for a page: plan, intake, log, visits, and what may not go on.

use super::danger;
use super::error::WebError;
use crate::plan::day::YEARS;
use crate::plan::{
    CaseCourse, Clearance, Day, Facts, Intake, Log, LogBounds, Plan, PlanError, Proposal, ScreenState, Unit, course_of,
    propose, screen_outcome, side_screens,
};
use crate::records::{Client, LoggedEntry, Records, VisitSummary};
use crate::screen::case::MARGIN_DEG_DEFAULT;
use crate::screen::{Problem, VisitResult};

/// The last day that a kept text may name: it was checked when it was taken in, and a clock that goes back must not make it
/// unreadable.
fn any_day(today: Day) -> Day {
    Day::from_ymd(YEARS[1], 12, 31).unwrap_or(today)
}

/// Everything that the pages of a case rest on.
pub(super) struct Casework {
    pub(super) client: Client,
    pub(super) today: Day,
    /// The kept plan, or the default one in kg.
    pub(super) plan: Plan,
    /// What is to be mended in the kept plan before anything is proposed by it.
    pub(super) to_mend: Vec<Problem>,
    /// Somebody kept a plan for this client.
    pub(super) has_own_plan: bool,
    pub(super) intake: Option<Intake>,
    /// By day.
    pub(super) entries: Vec<LoggedEntry>,
    /// Latest first.
    pub(super) visits: Vec<VisitSummary>,
    /// Why nothing may go on, as a sentence.
    pub(super) stopped: Option<String>,
    /// Days on which a clinician went on in spite of a danger sign.
    gone_on: Vec<Day>,
}

impl Casework {
    /// The case of the client with a code.
    pub(super) fn of(records: &Records, code: &str) -> Result<Self, WebError> {
        Self::of_client(records, records.client(code)?)
    }

    /// The case of a client.
    pub(super) fn of_client(records: &Records, client: Client) -> Result<Self, WebError> {
        let kept = records.plan(client.id)?;
        let has_own_plan = kept.is_some();
        let (plan, to_mend) = kept.unwrap_or_else(|| (Plan::default_plan(Unit::Kg), Vec::new()));
        let today = records.today()?;
        Ok(Self {
            today,
            intake: records.intake(client.id, any_day(today))?,
            entries: kept_entries(records, client.id, &plan, today)?,
            visits: records.history(client.id)?,
            stopped: danger::refusal(records, client.id)?,
            gone_on: records.days_gone_on(client.id)?,
            client,
            plan,
            to_mend,
            has_own_plan,
        })
    }

    pub(super) fn code(&self) -> &str {
        &self.client.facts.code
    }

    /// The log without the entries' numbers.
    pub(super) fn log(&self) -> Log {
        Log::from_entries(self.entries.iter().map(|logged| logged.entry.clone()).collect())
    }

    /// The log as the plan takes it, with what a clinician has looked at.
    fn log_as_looked_at(&self) -> Log {
        Log::from_entries(self.entries.iter().map(LoggedEntry::as_looked_at).collect())
    }

    /// What a typed entry is held against.
    pub(super) fn bounds(&self) -> LogBounds {
        LogBounds { today: self.today, first_visit: self.intake.as_ref().and_then(Intake::first_visit) }
    }

    /// What visits, screens and clinicians say to the plan. A screen that was measured here comes from its result.
    pub(super) fn facts(&self) -> Facts {
        let mut facts = self.intake.as_ref().map(Facts::of).unwrap_or_default();
        let affected = self.client.facts.affected_side;
        for (on, result) in self.results() {
            if let Some(outcome) = screen_outcome(on, result, affected) {
                facts.screens.push((on, ScreenState::of(&outcome)));
            }
        }
        // a stable order: what was measured here comes after what an intake of the same day says
        facts.screens.sort_by_key(|(on, _)| *on);
        facts.clearances.extend(&self.gone_on);
        facts.clearances.sort_unstable();
        facts
    }

    /// The next session as it is proposed for today; `None` where nothing may be: before the intake, under a danger sign, and by a
    /// plan that is to be mended first.
    pub(super) fn proposal(&self) -> Option<Proposal> {
        self.proposal_of_any_plan().filter(|_| self.to_mend.is_empty())
    }

    /// The same, be the plan one that is to be mended: for what stops it, never for a dose.
    pub(super) fn proposal_of_any_plan(&self) -> Option<Proposal> {
        let may_go_on = self.intake.is_some() && self.stopped.is_none();
        may_go_on.then(|| propose(&self.plan, &self.facts(), &self.log_as_looked_at(), self.today))
    }

    /// Everything that is known over time, up to a day.
    pub(super) fn course(&self, until: Day) -> CaseCourse {
        let visits: Vec<(Day, &VisitResult)> = self.results().filter(|(on, _)| *on <= until).collect();
        let margin_deg = self.visits.first().map_or(MARGIN_DEG_DEFAULT, |summary| summary.visit.settings.margin_deg);
        let series = self.intake.as_ref().map(|intake| course_of(&self.plan, intake, &self.log(), until));
        CaseCourse {
            screens: side_screens(&visits, self.client.facts.affected_side),
            margin_deg,
            series: series.unwrap_or_default(),
        }
    }

    /// How many visits were measured.
    pub(super) fn screens(&self) -> usize {
        self.results().count()
    }

    /// The latest clearance of the plan by a clinician.
    pub(super) fn clearance(&self) -> Option<&Clearance> {
        self.intake.as_ref()?.clearances.last()
    }

    /// Measured visits, the earliest first; of one day, the one that was begun first.
    fn results(&self) -> impl Iterator<Item = (Day, &VisitResult)> {
        let measured = self.visits.iter().rev();
        let mut results: Vec<(Day, &VisitResult)> =
            measured.filter_map(|summary| Some((summary.day()?, summary.result.as_ref()?))).collect();
        results.sort_by_key(|(on, _)| *on);
        results.into_iter()
    }
}

/// The log as kept; an error where it does not fit the plan.
pub(super) fn kept_entries(
    records: &Records,
    client: i64,
    plan: &Plan,
    today: Day,
) -> Result<Vec<LoggedEntry>, WebError> {
    let bounds = LogBounds { today: any_day(today), first_visit: None };
    Ok(records.log_entries(client, plan, bounds)?)
}

/// The faults of a file that cannot be taken, each a sentence with its line; for what was typed in a form, without.
pub(super) fn faults(error: &PlanError, with_lines: bool) -> Vec<String> {
    let PlanError::Invalid { problems } = error else { return vec![error.to_string()] };
    let words = |problem: &Problem| match problem.line.filter(|_| with_lines) {
        Some(line) => format!("line {line}: {}", problem.fault),
        None => problem.fault.to_string(),
    };
    problems.iter().map(words).collect()
}
