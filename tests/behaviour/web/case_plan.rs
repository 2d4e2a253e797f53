//! The plan on the page: doses, limits and units in the form, a kept plan that is mended there, and the plan as a file.

use tworeach::plan::{Plan, Unit};

use super::case::{case, entry, fields_of, is_refused, send_file, today};
use super::page::wait_for;

#[test]
fn a_kept_plan_that_is_refused_by_now_is_mended_in_the_form() {
    wait_for(async {
        let page = case(21).await;
        let own = "rule = \"own\"\nsafe_at_most = 1\nacceptable_at_most = 3\nmorning_at_most = 6";
        let text = Plan::default_text(Unit::Kg).replace("rule = \"pain_free\"", own);
        let text =
            text.replace("acceptable_at_most = 5\nmorning_at_most = 1", "acceptable_at_most = 5\nmorning_at_most = 5");
        let database = rusqlite::Connection::open(page.folder.path().join("data/tworeach.sqlite3")).unwrap();
        let keep = "INSERT INTO plans (client, text, made_at) VALUES (1, ?1, datetime('now'))";
        database.execute(keep, [&text]).unwrap();
        let fault = "What pain is taken: \"The next morning up to\" is 6, expected less than 5".replace('"', "&quot;");
        let of_stage = "Forearm muscle, with a ball, pain limit of this stage: \"The next morning up to\" is 5";
        let plan = page.get("/clients/R07/plan").await.text();
        assert!(plan.contains("This plan has to be mended") && plan.contains(&fault), "{plan}");
        assert!(
            plan.contains("/plan/edit#field-morning_at_most.soft_tissue") && !plan.contains("Start, because"),
            "{plan}"
        );
        // nothing is proposed, and what was done is taken all the same
        let log = page.get("/clients/R07/log").await.text();
        assert!(log.contains("This plan has to be mended") && !log.contains("Done as proposed"), "{log}");
        assert!(
            log.contains("Stop on pain.") && plan.contains("Stop on pain."),
            "no proposal brings the cautions here"
        );
        assert!(page.get("/clients/R07").await.text().contains("to be mended first"));
        let day = today(&page).plus(-2).to_string();
        page.post("/clients/R07/log", &entry(&day, "flexors", "1 kg", "0", "0")).await.location();
        let form = page.get("/clients/R07/plan/edit").await.text();
        assert!(form.contains(&fault) && form.contains(&of_stage.replace('"', "&quot;")), "{form}");
        assert!(form.contains("href=\"#field-morning_at_most\""), "{form}");
        let mut fields = fields_of(&form);
        fields.insert("pain_rule".to_owned(), "own".to_owned());
        fields.insert("pain_rule.soft_tissue".to_owned(), "own".to_owned());
        fields.insert("morning_at_most".to_owned(), "4".to_owned());
        let before = page.everything();
        let half: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
        let refused = page.post("/clients/R07/plan/edit", &half).await;
        is_refused(&page, &before, &refused, &of_stage.replace('"', "&quot;"));
        fields.insert("morning_at_most.soft_tissue".to_owned(), "1".to_owned());
        let whole: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
        page.post("/clients/R07/plan/edit", &whole).await.location();
        let plan = page.get("/clients/R07/plan").await.text();
        assert!(!plan.contains("has to be mended") && plan.contains("The same again, because"), "{plan}");
    });
}

#[test]
fn the_clinician_changes_doses_limits_and_units() {
    wait_for(async {
        let page = case(21).await;
        let form = page.get("/clients/R07/plan/edit").await.text();
        let fields = fields_of(&form);
        let changed = |name: &str, value: &str| {
            let mut fields = fields.clone();
            fields.insert(name.to_owned(), value.to_owned());
            fields
        };
        let send = async |fields: &std::collections::BTreeMap<String, String>| {
            let fields: Vec<(&str, &str)> =
                fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
            page.post("/clients/R07/plan/edit", &fields).await
        };
        let before = page.everything();
        for (name, value, named) in [
            ("sets_from.flexors.light", "-3", "Wrist flexors, Up and down, light: Sets is \"-3\""),
            ("weight_from.flexors.light", "-5", "expected a number above 0 and up to 500"),
            ("days_between.flexors", "1", "Wrist flexors: \"Days from session to session\" is 1, expected 2 or more"),
            ("sets_from.flexors.light", "9", "Wrist flexors, Up and down, light: Sets goes from 9 to"),
            ("weight_from.flexors.light", "99", "Wrist flexors, Up and down, light: Weight, kg goes from 99 to"),
            (
                "sets_from.flexors.light",
                "0",
                "Wrist flexors, Up and down, light: Sets is \"0\", expected a whole number from 1 to 20",
            ),
            (
                "days_between.flexors",
                "15",
                "Wrist flexors: Days from session to session is \"15\", expected a whole number from 1 to 14",
            ),
            ("weight_from.flexors.light", "", "Wrist flexors, Up and down, light: Weight, kg is empty"),
            ("lowering.flexors.heavy", "99", "Wrist flexors, Up and down, heavier: Lowering, s is \"99\""),
            (
                "share_to.back_to_it.share",
                "200",
                "Back to what set it off, A share of the usual: Share of the usual, % is \"200\"",
            ),
            ("exit_pressing.soft_tissue", "12", "Forearm muscle, with a ball: Ends with pressing pain up to is \"12\""),
            ("band_from.cuff.apart", "firm", "Band goes from firm to light"),
            ("band_to.cuff.apart", "steel", "Band is \"steel\", expected one of"),
            ("pain_rule.soft_tissue", "brave", "expected pain_free, thomee_1997"),
            ("pain_rule", "brave", "expected pain_free, thomee_1997"),
            ("safe_at_most", "11", "Safe up to is \"11\""),
        ] {
            let refused = send(&changed(name, value)).await;
            is_refused(&page, &before, &refused, &named.replace('"', "&quot;"));
        }
        assert_eq!(send(&changed("weight_from.flexors.light", "2")).await.location(), "/clients/R07/plan");
        // the form was filled before that: what somebody changed meanwhile is not undone unseen
        let before = page.everything();
        let stale = send(&changed("sets_from.flexors.light", "1")).await;
        is_refused(&page, &before, &stale, "was changed since this form was opened");
        let fields = fields_of(&page.get("/clients/R07/plan/edit").await.text());
        assert!(page.get("/clients/R07/plan").await.text().contains("from 3 sets of 10, 2 kg"));
        // whole faults lead to their fields, in the form's words
        let before = page.everything();
        for (changes, field, named) in [
            (
                [("weight_from.flexors.light", "300"), ("weight_to.flexors.light", "400")],
                "weight_from.flexors.light",
                "Wrist flexors, Up and down, light: no weight of this plan lies from 300 kg to 400 kg",
            ),
            (
                [("pain_rule.soft_tissue", "own"), ("acceptable_at_most.soft_tissue", "11")],
                "acceptable_at_most.soft_tissue",
                "Forearm muscle, with a ball, pain limit of this stage: Acceptable up to is \"11\"",
            ),
            (
                [("pain_rule.soft_tissue", "own"), ("safe_at_most.soft_tissue", "6")],
                "acceptable_at_most.soft_tissue",
                "pain limit of this stage: \"Safe up to\" is 6 and \"Acceptable up to\" 5, expected",
            ),
        ] {
            let mut odd = fields.clone();
            odd.extend(changes.map(|(name, value)| (name.to_owned(), value.to_owned())));
            let refused = send(&odd).await;
            is_refused(&page, &before, &refused, &named.replace('"', "&quot;"));
            assert!(refused.text().contains(&format!("href=\"#field-{field}\"")), "{field}");
        }
        // the ball's own limits, what else a stage asks for, and bands and shares
        let mut more = fields.clone();
        for (name, value) in [
            ("pain_rule.soft_tissue", "own"),
            ("safe_at_most.soft_tissue", "2"),
            ("acceptable_at_most.soft_tissue", "4"),
            ("exit_pressing.soft_tissue", ""),
            ("entry_pain.pull", "1"),
            ("share_from.back_to_it.share", "60"),
            ("band_from.cuff.apart", "light"),
            ("band_to.cuff.apart", "light"),
        ] {
            more.insert(name.to_owned(), value.to_owned());
        }
        send(&more).await.location();
        let plan = page.get("/clients/R07/plan").await.text();
        for told in [
            "At most 2 of 10 during it for the dose to rise, and at most 4",
            "pain in use at a visit is 1 or less",
            "60 % of the usual",
        ] {
            assert!(plan.contains(told), "{told}: {plan}");
        }
        assert!(!plan.contains("once pressing the spot hurts") && !plan.contains("very light band"), "{plan}");
        let fields = fields_of(&page.get("/clients/R07/plan/edit").await.text());
        let changed = |name: &str, value: &str| {
            let mut fields = fields.clone();
            fields.insert(name.to_owned(), value.to_owned());
            fields
        };
        send(&changed("pain_rule", "thomee_1997")).await.location();
        let plan = page.get("/clients/R07/plan").await.text();
        assert!(plan.contains("At most 2 of 10 during it for the dose to rise, and at most 5"), "{plan}");
        let (kept, _) = page.app.records.plan(1).unwrap().unwrap();
        assert_eq!(kept.pain_limits(kept.stage_at("flexors").unwrap()).safe_at_most, 2);

        page.post("/clients/R07/plan/unit", &[("unit", "lb")]).await.location();
        assert!(page.get("/clients/R07/plan").await.text().contains(" lb"));
        let before = page.everything();
        let refused = page.post("/clients/R07/plan/unit", &[("unit", "stone")]).await;
        is_refused(&page, &before, &refused, "expected kg or lb");
    });
}

#[test]
fn a_plan_file_goes_out_and_one_that_cannot_be_is_refused() {
    wait_for(async {
        let page = case(21).await;
        let text = page.get("/clients/R07/plan.toml").await.text();
        assert_eq!(text, Plan::default_text(Unit::Kg));
        let day = today(&page).plus(-4).to_string();
        page.post("/clients/R07/log", &entry(&day, "cuff", "light", "0", "0")).await.location();
        let before = page.everything();
        let never_fires = text.replacen(
            "[[rule]]",
            "[[rule]]\nid = \"idle\"\nmorning = \"unknown\"\nthen = \"up\"\nbecause = \"x\"\n\n[[rule]]",
            1,
        );
        for (file, named) in [
            (text.replace("after = [\"pull\"]", "after = [\"back_to_it\"]"), "can never be reached"),
            (never_fires, "line "),
            (text.replace("then = \"up\"", "then = \"sideways\""), "line "),
            (
                text.replace("weight_kg = [5.0, 8.0]", "weight_kg = [400.0, 450.0]"),
                "has no dose: nothing in [equipment]",
            ),
            ("not a plan".to_owned(), "line 1"),
        ] {
            let refused = send_file(&page, "/clients/R07/plan/file", "plan.toml", file.as_bytes()).await;
            is_refused(&page, &before, &refused, named);
        }
        // a plan without a stage that the log names would make the log unreadable
        let (head, rest) = text.split_once("[[stage]]\nid = \"cuff\"").unwrap();
        let (_, tail) = rest.split_once("[[stage]]\n").unwrap();
        let without =
            format!("{head}[[stage]]\n{tail}").replace("after = [\"flexors\", \"cuff\"]", "after = [\"flexors\"]");
        Plan::parse(&without, "p".as_ref()).unwrap();
        let refused = send_file(&page, "/clients/R07/plan/file", "plan.toml", without.as_bytes()).await;
        is_refused(&page, &before, &refused, "the log has an entry that this plan does not take");

        let named = text.replace("name = \"Inner elbow and overhead reach\"", "name = \"Mine\"");
        assert_eq!(
            send_file(&page, "/clients/R07/plan/file", "plan.toml", named.as_bytes()).await.location(),
            "/clients/R07/plan"
        );
        assert!(page.get("/clients/R07/plan").await.text().contains("Mine"));
    });
}
