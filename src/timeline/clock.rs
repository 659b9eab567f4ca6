//! A recorder's clock against session time.

/// `session_s = offset_s + (1 + skew_ppm · 1e-6) · (recorder_s − zero_s)`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Clock {
    /// The recorder time that is session time zero before the offset, s.
    pub zero_s: f64,
    /// Shift, s.
    pub offset_s: f64,
    /// Rate error, parts per million.
    pub skew_ppm: f64,
}

impl Clock {
    fn rate(self) -> f64 {
        1.0 + self.skew_ppm * 1e-6
    }

    /// Session time of a moment on the recorder's clock, s.
    pub fn to_session(self, recorder_s: f64) -> f64 {
        self.offset_s + self.rate() * (recorder_s - self.zero_s)
    }

    /// The moment on the recorder's clock at a session time, s.
    pub fn to_recorder(self, session_s: f64) -> f64 {
        self.zero_s + (session_s - self.offset_s) / self.rate()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn there_and_back_is_the_same_moment(
            zero_s in 0.0..2e9_f64,
            offset_s in -50_000.0..50_000.0_f64,
            skew_ppm in -200.0..200.0_f64,
            elapsed_s in 0.0..100_000.0_f64,
        ) {
            let clock = Clock { zero_s, offset_s, skew_ppm };
            let back = clock.to_recorder(clock.to_session(zero_s + elapsed_s));
            prop_assert!((back - zero_s - elapsed_s).abs() < 1e-5);
        }
    }
}
