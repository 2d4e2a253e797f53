//! A plan that is being changed by hand: what of it may be changed without a file, and the check of the whole afterwards.

use std::path::Path;

use super::error::PlanError;
use super::load::Unit;
use super::model::{Equipment, PainEntry, Plan, Stage};
use super::pain::PainLimits;

/// The parts of a plan that a form changes.
#[derive(Debug, Clone, PartialEq)]
pub struct Draft {
    /// What there is to lift.
    pub equipment: Equipment,
    /// What pain is taken, where a stage does not say otherwise. Limits beside a published rule are that rule's own.
    pub pain: PainLimits,
    /// The stages. Their names, order and phases are the plan's.
    pub stages: Vec<Stage>,
}

impl Draft {
    /// The weights that exist by default in a unit take the place of these; bands stay.
    pub fn change_unit(&mut self, unit: Unit) {
        let bands = std::mem::take(&mut self.equipment.bands);
        self.equipment = Equipment { bands, ..Plan::default_plan(unit).equipment().clone() };
    }
}

impl Plan {
    /// What of it may be changed.
    #[must_use]
    pub fn draft(&self) -> Draft {
        Draft { equipment: self.equipment.clone(), pain: self.pain.0, stages: self.stages.clone() }
    }

    /// The plan with a draft in its place, checked as a file would be.
    ///
    /// # Errors
    /// [`PlanError::Invalid`] with every fault; the plan stays as it is.
    pub fn with(&self, draft: Draft) -> Result<Self, PlanError> {
        let Draft { equipment, pain, stages } = draft;
        let changed = Self { equipment, pain: PainEntry(pain), stages, ..self.clone() };
        Self::parse(&changed.to_toml()?, Path::new("the plan"))
    }
}

#[cfg(test)]
mod tests {
    use super::super::pain::PainRule;
    use super::*;

    fn faults(error: &PlanError) -> String {
        error.to_string()
    }

    #[test]
    fn a_changed_dose_makes_a_plan_with_other_doses() {
        let plan = Plan::default_plan(Unit::Kg);
        let flexors = plan.stage_at("flexors").unwrap();
        let mut draft = plan.draft();
        assert_eq!(plan.with(draft.clone()).unwrap(), plan);
        draft.stages[flexors].phases[0].weight_kg = Some([2.0, 4.5]);
        draft.pain = PainLimits::of(PainRule::Thomee1997);
        let changed = plan.with(draft).unwrap();
        assert!(changed.stages()[flexors].rungs().len() < plan.stages()[flexors].rungs().len());
        assert_eq!(changed.pain_limits(flexors).safe_at_most, 2);
    }

    #[test]
    fn a_stage_has_limits_of_its_own_or_those_of_the_plan() {
        let plan = Plan::default_plan(Unit::Kg);
        let (soft, flexors) = (plan.stage_at("soft_tissue").unwrap(), plan.stage_at("flexors").unwrap());
        let mut draft = plan.draft();
        assert_eq!(draft.stages[soft].own_pain().map(|own| own.safe_at_most), Some(3));
        draft.stages[soft].set_own_pain(None);
        draft.stages[flexors].set_own_pain(Some(PainLimits::of(PainRule::Silbernagel2007)));
        let changed = plan.with(draft).unwrap();
        assert_eq!(changed.pain_limits(soft), PainLimits::of(PainRule::PainFree));
        assert_eq!(changed.pain_limits(flexors), PainLimits::of(PainRule::Silbernagel2007));
    }

    #[test]
    fn a_draft_that_cannot_be_is_refused_by_field() {
        let plan = Plan::default_plan(Unit::Kg);
        let flexors = plan.stage_at("flexors").unwrap();
        let with = |change: &dyn Fn(&mut Draft)| {
            let mut draft = plan.draft();
            change(&mut draft);
            faults(&plan.with(draft).unwrap_err())
        };
        assert!(with(&|draft| draft.stages[flexors].phases[0].sets = [4, 3]).contains("\"sets\""));
        assert!(with(&|draft| draft.stages[flexors].phases[0].weight_kg = Some([-5.0, 4.5])).contains("\"weight_kg\""));
        assert!(with(&|draft| draft.stages[flexors].days_between = 1).contains("never done on consecutive days"));
        let own = PainLimits { rule: PainRule::Own, safe_at_most: 6, acceptable_at_most: 5, morning_at_most: 0 };
        assert!(with(&|draft| draft.pain = own).contains("acceptable_at_most is 5 and safe_at_most 6"));
        // a stage that waits for one that waits for it
        let fault = with(&|draft| draft.stages[flexors].entry.after = vec!["pull".to_owned()]);
        assert!(fault.contains("can never be reached"), "{fault}");
    }

    #[test]
    fn pounds_take_the_place_of_kilograms() {
        let plan = Plan::default_plan(Unit::Kg);
        let mut draft = plan.draft();
        draft.change_unit(Unit::Lb);
        assert_eq!(plan.with(draft).unwrap().equipment(), Plan::default_plan(Unit::Lb).equipment());
    }
}
