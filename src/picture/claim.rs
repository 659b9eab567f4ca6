//! Where a claim lets a difference lie: around what the expected drivetrain loss takes off.

use crate::session::Session;
use crate::timeline::PERCENT_FROM_W;

/// Middle (what the expected loss takes off) and half-width of what the claim of the source
/// `under_test` lets its difference to the reference be, where that reads `level_w`; W. The verdict
/// holds the bias against the same two.
pub fn allowed_w(session: &Session, under_test: usize, level_w: f64) -> Option<(f64, f64)> {
    let claim = session.claim_of(under_test)?;
    let middle_w = -session.allowance().percent / 100.0 * level_w;
    Some((middle_w, claim.limit_w(level_w + middle_w)))
}

/// The same as lowest and highest difference, W; `None` where nothing is claimed.
pub fn band_w(session: &Session, under_test: usize, level_w: f64) -> Option<[f64; 2]> {
    let (middle_w, half_w) = allowed_w(session, under_test, level_w)?;
    (half_w > 0.0).then_some([middle_w - half_w, middle_w + half_w])
}

/// The same in % of the reference; `None` also where that reads too little for a percentage.
pub fn band_percent(session: &Session, under_test: usize, level_w: f64) -> Option<[f64; 2]> {
    let band = band_w(session, under_test, level_w)?;
    (level_w >= PERCENT_FROM_W).then(|| band.map(|w| 100.0 * w / level_w))
}

/// A bias in % of the reference as what an expected loss of `loss_percent` leaves of it, in % of
/// what the reference reads less that loss: what a verdict holds against the claim.
pub fn net_percent(bias_percent: f64, loss_percent: f64) -> f64 {
    (100.0 + bias_percent) / (1.0 - loss_percent / 100.0) - 100.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::{Allowance, Claim, Role, Stream};

    #[test]
    fn the_band_lies_around_what_the_loss_takes_off() {
        let mut session = Session {
            claim: Claim {
                percent: 2.0,
                watts: 0.0,
            },
            ..Session::default()
        };
        session.streams.push(Stream {
            role: Role::UnderTest,
            ..Stream::new("trainer", "trainer.csv")
        });
        assert_eq!(band_percent(&session, 0, 250.0), Some([-2.0, 2.0]));
        session.allowance = Some(Allowance {
            percent: 4.0,
            plus_minus: 0.0,
        });
        // By hand: 96 ± 1.92 of 100.
        let [low, high] = band_percent(&session, 0, 250.0).unwrap();
        assert!((low + 5.92).abs() < 1e-9 && (high + 2.08).abs() < 1e-9);
        assert!((net_percent(low, 4.0) + 2.0).abs() < 1e-9);
        assert!((net_percent(high, 4.0) - 2.0).abs() < 1e-9);
        assert_eq!(band_percent(&session, 0, 5.0), None);
        session.claim.percent = 0.0;
        assert_eq!(band_w(&session, 0, 250.0), None);
    }
}
