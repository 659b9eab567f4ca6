//! Several sessions: how far one unit's figure repeats within a ride and from ride to ride.

use crate::stats::Interval;
use crate::stats::{Sample, chi_squared_quantile, f_quantile, finite, finite_interval, t_quantile};
use serde::Serialize;

/// Precision over several sessions (ISO 5725-2, one-way random effects).
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AcrossSessions {
    /// Sessions with a value.
    pub sessions: usize,
    /// Values in all.
    pub n: usize,
    /// Mean of the sessions' means, in the unit of the values.
    pub mean: Option<f64>,
    /// Its 95 % confidence limits, the sessions being the sample.
    pub mean_ci95: Option<Interval>,
    /// Standard deviation within a session.
    pub repeatability_sd: Option<f64>,
    /// Its 95 % confidence limits.
    pub repeatability_ci95: Option<Interval>,
    /// Standard deviation between sessions; 0 where its variance comes out negative.
    pub between_session_sd: Option<f64>,
    /// Its variance as it comes out.
    pub between_session_variance: Option<f64>,
    /// Its 95 % confidence limits, as standard deviations.
    pub between_session_ci95: Option<Interval>,
    /// Standard deviation of a single value from another session.
    pub reproducibility_sd: Option<f64>,
    /// Its 95 % confidence limits.
    pub reproducibility_ci95: Option<Interval>,
    /// What to make of it, in a sentence.
    pub note: String,
}

/// Sums of squares of a one-way layout.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Layout {
    groups: f64,
    /// Degrees of freedom within groups.
    within_dof: f64,
    /// Mean square between groups.
    pub between: f64,
    /// Mean square within groups.
    pub within: f64,
    /// Values a group, adjusted for unequal numbers.
    per_group: f64,
}

impl Layout {
    /// `None` for fewer than two groups, or where no group has two values. No group may be empty.
    pub fn of(groups: &[Vec<f64>]) -> Option<Self> {
        let p = groups.len() as f64;
        let n: f64 = groups.iter().map(|g| g.len() as f64).sum();
        let all = Sample::present(groups.iter().flatten().copied())?;
        let grand = all.mean();
        let (mut between, mut within, mut squares) = (0.0, 0.0, 0.0);
        for group in groups {
            let count = group.len() as f64;
            let mean = group.iter().sum::<f64>() / count;
            between += count * (mean - grand).powi(2);
            within += group.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
            squares += count * count;
        }
        (groups.len() > 1 && n > p).then(|| Self {
            groups: p,
            within_dof: n - p,
            between: between / (p - 1.0),
            within: within / (n - p),
            per_group: (n - squares / n) / (p - 1.0),
        })
    }

    fn between_dof(&self) -> f64 {
        self.groups - 1.0
    }

    /// s_L² = (MS between − MS within)/n̄ (ISO 5725-2, 7.4.5).
    pub fn between_variance(&self) -> f64 {
        (self.between - self.within) / self.per_group
    }

    /// Exact for normal values: χ².
    fn repeatability_ci95(&self) -> Option<Interval> {
        let end = |p: f64| {
            let chi = chi_squared_quantile(p, self.within_dof);
            (self.within_dof * self.within / chi).sqrt()
        };
        finite_interval([end(0.975), end(0.025)])
    }

    /// Williams 1962 (Biometrika 49:278), conservative; negative ends are zero.
    fn between_ci95(&self) -> Option<Interval> {
        let dof = self.between_dof();
        let end = |p: f64| {
            let f = f_quantile(p, dof, self.within_dof);
            let chi = chi_squared_quantile(p, dof);
            let variance = dof * (self.between - f * self.within) / (self.per_group * chi);
            variance.max(0.0).sqrt()
        };
        finite_interval([end(0.975), end(0.025)])
    }

    /// Graybill & Wang 1980 (JASA 75:869) for the sum MSb/n̄ + (1 − 1/n̄) MSw, both terms positive.
    fn reproducibility_ci95(&self) -> Option<Interval> {
        let (db, dw) = (self.between_dof(), self.within_dof);
        let b = self.between / self.per_group;
        let w = self.within * (1.0 - 1.0 / self.per_group);
        let shrink = |p: f64, dof: f64| 1.0 - dof / chi_squared_quantile(p, dof);
        let spread = |p: f64| (shrink(p, db) * b).hypot(shrink(p, dw) * w);
        let lower = (b + w - spread(0.975)).max(0.0).sqrt();
        finite_interval([lower, (b + w + spread(0.025)).sqrt()])
    }
}

/// Precision of `sessions`, each with its values (bias in % of each block, say); values that are
/// not finite are left out, and so are sessions without any.
///
/// One-way random effects (ISO 5725-2): s_r² the mean square within, s_L² between, s_R² = s_r² +
/// s_L², a negative s_L² counting as zero in s_R.
pub fn across(sessions: &[Vec<f64>]) -> AcrossSessions {
    let groups: Vec<Vec<f64>> = sessions
        .iter()
        .map(|values| values.iter().copied().filter(|v| v.is_finite()).collect())
        .filter(|values: &Vec<f64>| !values.is_empty())
        .collect();
    let means: Vec<f64> = groups
        .iter()
        .map(|g| g.iter().sum::<f64>() / g.len() as f64)
        .collect();
    let sample = Sample::present(means.iter().copied());
    let layout = Layout::of(&groups);
    let between = layout.map(|l| l.between_variance()).and_then(finite);
    let root = |variance: f64| finite(variance.max(0.0).sqrt());
    AcrossSessions {
        sessions: groups.len(),
        n: groups.iter().map(Vec::len).sum(),
        mean: sample
            .as_ref()
            .map(Sample::mean)
            .or_else(|| means.first().copied()),
        mean_ci95: sample.and_then(|s| {
            let half = t_quantile(0.975, (s.n() - 1) as f64) * s.sd() / (s.n() as f64).sqrt();
            finite_interval([s.mean() - half, s.mean() + half])
        }),
        repeatability_sd: layout.and_then(|l| root(l.within)),
        repeatability_ci95: layout.and_then(|l| l.repeatability_ci95()),
        between_session_sd: between.and_then(root),
        between_session_variance: between,
        between_session_ci95: layout.and_then(|l| l.between_ci95()),
        reproducibility_sd: layout
            .zip(between)
            .and_then(|(l, between)| root(l.within + between.max(0.0))),
        reproducibility_ci95: layout.and_then(|l| l.reproducibility_ci95()),
        note: note(groups.len(), layout, between),
    }
}

fn note(sessions: usize, layout: Option<Layout>, between: Option<f64>) -> String {
    match (sessions, layout, between) {
        (0, ..) => "no session has a value".to_owned(),
        (1, ..) => "one session only: nothing can be said of other days".to_owned(),
        (_, None, _) => {
            "one value a session: what varies within a session and what between cannot \
                         be told apart"
                .to_owned()
        }
        (n, _, Some(variance)) if variance < 0.0 => format!(
            "the {n} sessions differ by less than the scatter within them lets expect: the \
             between-session variance comes out negative and counts as zero"
        ),
        (n, ..) => format!(
            "from {n} sessions; below six or so the limits of the between-session part are very wide"
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::vectors::assert_close;

    const REPEATABILITY: [f64; 3] = [
        0.015116506604696205,
        0.011495958068695565,
        0.02207874078402812,
    ];
    const BETWEEN: [f64; 3] = [
        0.021599554634723264,
        0.011953095850325774,
        0.04638747904202383,
    ];
    const REPRODUCIBILITY: [f64; 3] = [
        0.026363792070721148,
        0.019662422352776644,
        0.04883580085376152,
    ];

    /// ISO 5725-2:1994, annex B.1, sulphur in coal, level 1, % (values from memory).
    fn coal() -> Vec<Vec<f64>> {
        vec![
            vec![0.71, 0.71, 0.70, 0.71],
            vec![0.69, 0.67, 0.68],
            vec![0.66, 0.65, 0.69],
            vec![0.67, 0.65, 0.66],
            vec![0.70, 0.69, 0.66, 0.71, 0.69],
            vec![0.73, 0.74, 0.73],
            vec![0.71, 0.71, 0.69],
            vec![0.70, 0.65, 0.68],
        ]
    }

    #[test]
    fn iso_5725_2_sulphur_in_coal() {
        // Printed there: m = 0.690, s_r = 0.015, s_R = 0.026 (from memory; the printed digits
        // follow from the data).
        let found = across(&coal());
        assert!((found.repeatability_sd.unwrap() - 0.015).abs() < 5e-4);
        assert!((found.reproducibility_sd.unwrap() - 0.026).abs() < 5e-4);
        assert!((found.mean.unwrap() - 0.690).abs() < 1.5e-3);
    }

    #[test]
    fn the_variance_components_agree_with_an_independent_computation() {
        // tests/oracles/across.py (numpy 2.4.6, scipy 1.17.1).
        let found = across(&coal());
        let [lower, upper] = found.repeatability_ci95.unwrap();
        assert_close(found.repeatability_sd.unwrap(), REPEATABILITY[0], 1e-9);
        assert_close(lower, REPEATABILITY[1], 1e-7);
        assert_close(upper, REPEATABILITY[2], 1e-7);
        let [lower, upper] = found.between_session_ci95.unwrap();
        assert_close(found.between_session_sd.unwrap(), BETWEEN[0], 1e-9);
        assert_close(lower, BETWEEN[1], 1e-7);
        assert_close(upper, BETWEEN[2], 1e-7);
        let [lower, upper] = found.reproducibility_ci95.unwrap();
        assert_close(lower, REPRODUCIBILITY[1], 1e-7);
        assert_close(upper, REPRODUCIBILITY[2], 1e-7);
    }

    #[test]
    fn equal_sessions_give_a_negative_variance_that_is_shown() {
        let found = across(&[
            vec![1.0, 2.0, 3.0],
            vec![3.0, 2.0, 1.0],
            vec![2.0, 1.0, 3.0],
        ]);
        assert!(found.between_session_variance.unwrap() < 0.0);
        assert_eq!(found.between_session_sd, Some(0.0));
        assert_eq!(found.reproducibility_sd, found.repeatability_sd);
        assert!(found.note.contains("negative"));
    }

    #[test]
    fn too_little_is_said_to_be_too_little() {
        assert!(across(&[]).note.contains("no session"));
        let one = across(&[vec![1.0, 1.2, f64::NAN]]);
        assert_eq!((one.sessions, one.n, one.repeatability_sd), (1, 2, None));
        let single = across(&[vec![1.0], vec![1.4]]);
        assert_eq!(
            (single.repeatability_sd, single.reproducibility_sd),
            (None, None)
        );
        assert!(single.mean_ci95.is_some() && single.note.contains("one value a session"));
    }
}
