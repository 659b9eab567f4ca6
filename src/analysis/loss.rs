//! The drivetrain's loss between two sites where nobody has stated it.
//!
//! A chain takes some 2 % (97.7 % arrived in Martin et al. 1998, J Appl Biomech 14:276; 80.9 to 98.6 %
//! over extreme tensions and sprockets in Spicer et al. 2001, J Mech Des 123:598), which is as much as
//! most claims allow. Taken for nought in silence it turns answers over. So where references and
//! source lie on either side of the chain and no loss is stated, a decision stands only where it is the
//! same for every loss from 0 to 4 %.

use crate::session::{Allowance, Role, Session, Site};

/// The losses tried, % of the power at the crank.
const TRIED_PERCENT: [f64; 9] = [0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0];

/// What lies between the references and the source, as far as the tester has said.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Loss {
    /// This loss, stated, or none because no chain lies between.
    Known(Allowance),
    /// A chain of which nothing is stated; the source lies behind it.
    OpenBehind,
    /// The same, the source lying before it.
    OpenBefore,
}

const fn is_behind_chain(site: Site) -> bool {
    matches!(site, Site::Hub | Site::Trainer)
}

/// Whether a chain lies between one of the references and the source. Unknown sites say nothing.
pub fn crosses_chain(references: &[Option<Site>], source: Option<Site>) -> bool {
    let mut others = references.iter().flatten();
    source.is_some_and(|source| {
        others.any(|other| is_behind_chain(*other) != is_behind_chain(source))
    })
}

impl Loss {
    /// Between the references of a session and the stream `under_test`, by their sites; no stream has none.
    pub fn before(session: &Session, under_test: Option<usize>) -> Self {
        let site = |index: usize| session.streams.get(index)?.site;
        let references: Vec<_> = session.with_role(Role::Reference).map(site).collect();
        Self::between(&references, under_test.and_then(site), session.allowance)
    }

    /// Between references at `references` and a source at `source`. Unknown sites say nothing.
    pub fn between(
        references: &[Option<Site>],
        source: Option<Site>,
        stated: Option<Allowance>,
    ) -> Self {
        match (stated, source.filter(|_| crosses_chain(references, source))) {
            (Some(stated), _) => Loss::Known(stated),
            (None, None) => Loss::Known(Allowance::default()),
            (None, Some(source)) if is_behind_chain(source) => Loss::OpenBehind,
            (None, Some(_)) => Loss::OpenBefore,
        }
    }

    /// Whether nothing is stated of a chain that lies between.
    pub fn is_open(self) -> bool {
        !matches!(self, Loss::Known(_))
    }

    /// What figures take off: the loss stated, else none.
    pub fn taken_off(self) -> Allowance {
        match self {
            Loss::Known(allowance) => allowance,
            Loss::OpenBehind | Loss::OpenBefore => Allowance::default(),
        }
    }

    /// What a power carried to the source's site by the loss taken off is to be multiplied by, if
    /// the loss were `percent` instead.
    pub fn carried_anew(self, percent: f64) -> f64 {
        (1.0 - percent / 100.0) / (1.0 - self.taken_off().percent / 100.0)
    }

    /// A difference of the source to that power, % of it, if the loss were `percent` instead.
    pub fn difference_anew(self, difference_percent: f64, percent: f64) -> f64 {
        100.0 * ((1.0 + difference_percent / 100.0) / self.carried_anew(percent) - 1.0)
    }

    /// Half-width of what it may be, percentage points.
    pub fn plus_minus(self) -> f64 {
        match self {
            Loss::Known(allowance) => allowance.plus_minus,
            Loss::OpenBehind | Loss::OpenBefore => 0.5 * TRIED_PERCENT[TRIED_PERCENT.len() - 1],
        }
    }

    /// Every loss for which a decision has to hold, %.
    pub fn tried_percent(self) -> Vec<f64> {
        match self {
            Loss::Known(allowance) => vec![allowance.percent],
            Loss::OpenBehind => TRIED_PERCENT.to_vec(),
            Loss::OpenBefore => TRIED_PERCENT.iter().map(|loss| -loss).collect(),
        }
    }

    /// What `decide` says of every loss where it says the same of all, else `None`.
    pub fn agreed<T: PartialEq>(self, mut decide: impl FnMut(f64) -> T) -> Option<T> {
        let mut said = self.tried_percent().into_iter().map(&mut decide);
        let first = said.next()?;
        said.all(|other| other == first).then_some(first)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_loss_is_open_across_the_chain_only() {
        let between = |reference, source| Loss::between(&[Some(reference)], Some(source), None);
        assert_eq!(between(Site::Pedal, Site::Trainer), Loss::OpenBehind);
        assert_eq!(between(Site::Hub, Site::Pedal), Loss::OpenBefore);
        for (reference, source) in [(Site::Pedal, Site::Crank), (Site::Hub, Site::Trainer)] {
            assert!(!between(reference, source).is_open());
        }
        assert!(!Loss::between(&[None], Some(Site::Trainer), None).is_open());
        let nought = Some(Allowance::default());
        let stated = Loss::between(&[Some(Site::Pedal)], Some(Site::Trainer), nought);
        assert_eq!(stated, Loss::Known(Allowance::default()));
    }

    #[test]
    fn a_decision_has_to_hold_for_every_loss() {
        assert_eq!(Loss::OpenBehind.agreed(|loss| loss < 5.0), Some(true));
        assert_eq!(Loss::OpenBehind.agreed(|loss| loss < 3.0), None);
        assert_eq!(Loss::OpenBefore.agreed(|loss| loss <= 0.0), Some(true));
        let known = Loss::Known(Allowance {
            percent: 2.0,
            plus_minus: 1.0,
        });
        assert_eq!(known.agreed(|loss| loss), Some(2.0));
        assert!((known.difference_anew(-1.0, 2.0) + 1.0).abs() < 1e-12);
        // 98 of 100 W behind a loss of nought are 2 % low, and none behind one of 2 %.
        assert!(Loss::OpenBehind.difference_anew(-2.0, 2.0).abs() < 1e-12);
    }
}
