//! A plan for a lighter or a stronger rider: every power by one share.

use super::error::PlanError;
use super::leg::Shape;
use super::model::Plan;

/// Shares that a plan can be scaled to, %.
const RANGE: std::ops::RangeInclusive<f64> = 20.0..=200.0;

impl Plan {
    /// The plan with every power at `percent` of it, in whole watts, and cautions that say so. The
    /// powers that its words tell follow; grades, lengths, cadences and gears stay.
    ///
    /// # Errors
    /// [`PlanError::Scale`] outside of 20 to 200 %, or where a power leaves what a plan may ask for.
    pub fn scaled(&self, percent: f64) -> Result<Self, PlanError> {
        let refused = |reason: String| PlanError::Scale {
            plan: self.name.clone(),
            reason,
        };
        if !RANGE.contains(&percent) {
            return Err(refused(format!(
                "{percent} % is no share to ride it at; from {} to {} will do",
                RANGE.start(),
                RANGE.end()
            )));
        }
        if percent == 100.0 {
            return Ok(self.clone());
        }
        let watts = |watts: f64| (watts * percent / 100.0).round();
        let mut plan = self.clone();
        plan.scale_percent = Some(percent);
        plan.title = format!("{} at {percent} % of its powers", self.title);
        for phase in &mut plan.phases {
            for power in [
                &mut phase.set_point_w,
                &mut phase.from_w,
                &mut phase.to_w,
                &mut phase.peak_w,
                &mut phase.rest_w,
            ] {
                *power = power.map(watts);
            }
            for level in &mut phase.levels_w {
                *level = watts(*level);
            }
            phase.note = words_scaled(&phase.note, watts);
        }
        plan.purpose = words_scaled(&self.purpose, watts);
        for words in plan.covers.iter_mut().chain(&mut plan.cautions) {
            *words = words_scaled(words, watts);
        }
        plan.check().map_err(|(_, reason)| refused(reason))?;
        plan.cautions.insert(0, caution(percent));
        if self
            .legs()
            .iter()
            .any(|leg| matches!(leg.shape, Shape::Grades(_)))
        {
            plan.cautions.push(
                "Grades are not scaled: what a grade asks of the rider goes with the mass entered in \
                 the controlling app."
                    .to_owned(),
            );
        }
        Ok(plan)
    }

    /// The name with the share, as a workout and a session's facts carry it: `full-bench 80 %`.
    pub fn full_name(&self) -> String {
        match self.scale_percent {
            Some(percent) => format!("{} {percent} %", self.name),
            None => self.name.clone(),
        }
    }
}

fn caution(percent: f64) -> String {
    if percent > 100.0 {
        format!(
            "Every power is {percent} % of the plan's: harder than it was made. Only for a rider who holds \
             such powers in training; take less if in doubt."
        )
    } else {
        format!(
            "Every power is {percent} % of the plan's: what is found holds at these powers, not at \
             higher ones, and near zero W a claim in % is small."
        )
    }
}

/// `text` with every power in it scaled: the number before a “W”, and those of a list before it.
fn words_scaled(text: &str, watts: impl Fn(f64) -> f64) -> String {
    let mut words: Vec<String> = text.split(' ').map(str::to_owned).collect();
    let mut in_list = false;
    for index in (0..words.len()).rev() {
        let word = words[index].clone();
        let plain = word.trim_end_matches([',', '.', ';', ':']);
        let mark = &word[plain.len()..];
        if plain == "W" {
            in_list = true;
        } else if let (true, Ok(value)) = (in_list, plain.parse::<f64>()) {
            words[index] = format!("{}{mark}", watts(value));
        } else if !matches!(plain, "and" | "or" | "to") {
            in_list = false;
        }
    }
    words.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn powers_and_their_words_are_scaled_and_nothing_else() {
        let plan = Plan::built_in("full-bench").unwrap();
        let scaled = plan.scaled(80.0).unwrap();
        assert_eq!(scaled.duration_s(), plan.duration_s());
        for (one, other) in plan.legs().iter().zip(scaled.legs()) {
            assert_eq!((one.kind, &one.gears), (other.kind, &other.gears));
            for share in [0.0, 0.3, 0.7] {
                let at_s = share * one.duration_s();
                let off = 0.8 * one.target_w(at_s) - other.target_w(at_s);
                assert!(off.abs() <= 0.51, "{one:?} {other:?}");
            }
        }
        assert_eq!(
            scaled.covers[0],
            "bias at 96, 144, 192 and 240 W, each in a block long enough for a verdict"
        );
        assert!(scaled.cautions[0].contains("80 %"));
        assert_eq!(scaled.full_name(), "full-bench 80 %");
        assert_eq!(Plan::find("full-bench 80 %").unwrap(), scaled);
        assert_eq!(plan.scaled(100.0).unwrap(), plan);
        for (percent, words) in [(5.0, "from 20 to 200"), (f64::NAN, "no share")] {
            let reason = plan.scaled(percent).unwrap_err().to_string();
            assert!(reason.contains(words), "{reason}");
        }
        let strong = plan.scaled(130.0).unwrap();
        assert!(strong.cautions[0].contains("harder than it was made"));
    }
}
