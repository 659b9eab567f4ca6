//! Power that no rider makes: a unit or a sign that is not what the file says.
//!
//! Nothing is converted: what a number means is the tester's to say.

use super::{Channel, RecordedStream};

/// A ride in which no second reaches this is none, W (rule of thumb, no source).
const LEAST_PEAK_W: f64 = 5.0;
/// No rider holds this for half of a ride, W (rule of thumb, no source).
const MOST_MEDIAN_W: f64 = 3000.0;

/// The remark on a stream whose power is not plausible as W.
pub(super) fn remark(stream: &RecordedStream) -> Option<String> {
    let column = stream.samples.column(Channel::Power)?;
    let mut values: Vec<f64> = column
        .iter()
        .copied()
        .filter(|w| *w != 0.0 && !w.is_nan())
        .collect();
    if values.is_empty() {
        return None;
    }
    let middle = values.len() / 2;
    let median = *values.select_nth_unstable_by(middle, f64::total_cmp).1;
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let what = if median < 0.0 {
        let how = if high < 0.0 {
            "is never above zero"
        } else {
            "is mostly negative"
        };
        format!(
            "{how} (down to {low:.0} W): its sign is turned round, or this is no power; export it \
             with the sign that a driving rider has"
        )
    } else if high < LEAST_PEAK_W {
        format!(
            "never exceeds {high:.2} W: it may be in kW; if it is, head the column “power (kW)”, \
             or export it in W"
        )
    } else if median > MOST_MEDIAN_W {
        format!(
            "is {median:.0} W and more for half of the ride: it is in another unit, or this is no \
             power; export it in W"
        )
    } else {
        return None;
    };
    Some(format!(
        "the power of “{}” {what}. No figure can be trusted until then",
        stream.label
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::{Samples, Sampling};

    fn reported(power: &[f64]) -> Option<String> {
        let mut samples = Samples::new((0..power.len()).map(|t| t as f64).collect()).unwrap();
        samples.set_column(Channel::Power, power.to_vec());
        remark(&RecordedStream {
            label: "hub".to_owned(),
            power_field: None,
            sampling: Sampling::Regular,
            samples,
        })
    }

    #[test]
    fn another_unit_or_sign_is_told_and_a_ride_is_not() {
        assert!(
            reported(&[0.0, 0.2, 0.25, 1.26])
                .unwrap()
                .contains("“power (kW)”")
        );
        assert!(
            reported(&[0.0, -200.0, -210.0])
                .unwrap()
                .contains("never above zero")
        );
        assert!(
            reported(&[5.0, -200.0, -210.0])
                .unwrap()
                .contains("mostly negative")
        );
        assert!(
            reported(&[200_000.0, 210_000.0])
                .unwrap()
                .contains("another unit")
        );
        for ride in [
            &[0.0, 0.0][..],
            &[f64::NAN],
            &[],
            &[180.0, -1.0, 1260.0, 0.0],
        ] {
            assert_eq!(reported(ride), None, "{ride:?}");
        }
    }
}
