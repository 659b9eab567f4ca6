//! A found clock in words, the same in the terminal, the workbench and the report.

use super::StreamClock;

impl StreamClock {
    /// Offset and rate with what they may be off by at 95 %, and what of it is allowed for, for example
    /// `-12.31 ±0.29 s (0.25 allowed), -12.3 ±4 ppm at 95 %`; seconds with `decimals`.
    ///
    /// A half-width is the wider side of its interval.
    #[must_use]
    pub fn in_words(&self, decimals: usize) -> String {
        let offset_half = wider(self.offset_ci95_s, self.offset_s);
        let rate_half = wider(self.skew_ci95_ppm, self.skew_ppm);
        let off_by = |half: Option<f64>, decimals: usize| {
            half.map_or_else(String::new, |half| format!(" ±{half:.decimals$}"))
        };
        let allowed = match self.allowance_s > 0.0 {
            true => format!(" ({} allowed)", self.allowance_s),
            false => String::new(),
        };
        // A rate of nought is one that did not show, not one that was measured.
        let rate = match (self.estimated && self.skew_ppm == 0.0, rate_half) {
            (true, None) => "no skew shows".to_owned(),
            (true, half) => format!("no skew shows{} ppm", off_by(half, 0)),
            (false, half) => format!("{:+.1}{} ppm", self.skew_ppm, off_by(half, 0)),
        };
        let sure = match offset_half.or(rate_half) {
            Some(_) => " at 95 %",
            None => "",
        };
        let offset = format!(
            "{:+.decimals$}{}",
            self.offset_s,
            off_by(offset_half, decimals)
        );
        format!("{offset} s{allowed}, {rate}{sure}")
    }
}

fn wider(interval: Option<[f64; 2]>, middle: f64) -> Option<f64> {
    interval.map(|[low, high]| (high - middle).max(middle - low))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::MatchedOn;

    #[test]
    fn a_clock_is_told_with_what_it_may_be_off_by() {
        let mut clock = StreamClock {
            label: "pedals".to_owned(),
            offset_s: -12.314,
            skew_ppm: -12.3,
            offset_ci95_s: Some([-12.6, -12.05]),
            allowance_s: 0.25,
            mid_ride_ci95_s: Some([-0.1, 0.1]),
            skew_ci95_ppm: Some([-16.4, -8.2]),
            matched_on: MatchedOn::HeartRate,
            peak_correlation: Some(0.9),
            confident: true,
            reason: String::new(),
            estimated: true,
        };
        let in_words = "-12.31 ±0.29 s (0.25 allowed), -12.3 ±4 ppm at 95 %";
        assert_eq!(clock.in_words(2), in_words);
        clock.skew_ppm = 0.0;
        clock.skew_ci95_ppm = Some([-35.0, 35.0]);
        clock.allowance_s = 0.0;
        assert_eq!(
            clock.in_words(1),
            "-12.3 ±0.3 s, no skew shows ±35 ppm at 95 %"
        );
        // Set by hand: nothing is known of its error, and a rate of nought is what was set.
        (clock.offset_ci95_s, clock.skew_ci95_ppm, clock.estimated) = (None, None, false);
        assert_eq!(clock.in_words(3), "-12.314 s, +0.0 ppm");
    }
}
