//! Check values: statsmodels 0.15 (GLS with the prior as pseudo-observations) and scipy, or worked
//! as named; specification of the error curve, section 8.

use super::*;
use crate::stats::normal_cdf;
use crate::stats::vectors::assert_close;

const LEVELS: [f64; 4] = [120.0, 180.0, 240.0, 300.0];
const STANDARDS: [f64; 4] = [0.40, 0.35, 0.33, 0.30];
/// Two references of ±1 %, rectangular, independent: 1/√6.
const SHARED: f64 = 0.408_248_290_463_863;
const GROWING: [f64; 4] = [-0.2, 0.9, 1.8, 2.7];
const FALLING: [f64; 4] = [2.61, 1.30, 0.62, -0.21];

fn measured(values: [f64; 4], shared: f64) -> Measured {
    Measured {
        levels: LEVELS.to_vec(),
        values: values.to_vec(),
        standards: STANDARDS.to_vec(),
        common: vec![shared * shared; 16],
    }
}

fn near(actual: f64, expected: f64, tolerance: f64) {
    assert!(
        (actual - expected).abs() <= tolerance,
        "{actual} is not {expected}"
    );
}

fn near_pair(actual: [f64; 2], expected: [f64; 2], tolerance: f64) {
    near(actual[0], expected[0], tolerance);
    near(actual[1], expected[1], tolerance);
}

#[test]
fn a_single_node_is_generalised_least_squares_with_a_prior() {
    let node = Node {
        prior: 1.0,
        slope: 4.0,
        bend: 2.0,
        own: 0.3,
    };
    let found = Posterior::of(&measured(FALLING, 0.0), vec![node]).unwrap();
    let along = found.along(&[120.0, 180.0, 210.0, 300.0]).targets;
    for (target, [mean, sd]) in along.iter().zip([
        [2.57750853, 0.49028370],
        [1.38128648, 0.36995543],
        [0.91978013, 0.34666134],
        [-0.16225782, 0.40023526],
    ]) {
        near(target.mean(), mean, 1e-7);
        near(target.sd(), sd, 1e-7);
    }
    for (basis, mean, coefficient) in [
        ([0.0, 0.0], 1.0, 1.21853214),
        ([1.0, 0.0], 0.0, -1.36988317),
        ([0.0, 1.0], 0.0, -0.01636018),
    ] {
        let target = Target {
            mean,
            basis,
            own: None,
        };
        near(found.mixed(&target).mean(), coefficient, 1e-7);
    }
}

#[test]
fn the_prior_of_own_departures_is_the_half_cauchy_by_cells() {
    let all: f64 = (0..OWN.len()).map(own_prior).sum();
    let expected = [
        0.10876, 0.19576, 0.15058, 0.13594, 0.13385, 0.09282, 0.07184, 0.05019, 0.03574, 0.02451,
    ];
    for (at, share) in expected.into_iter().enumerate() {
        near(own_prior(at) / all, share, 1e-5);
    }
}

#[test]
fn the_whole_mixture_agrees_with_two_other_routes() {
    let measured = measured([0.95, 0.70, 0.80, 0.75], SHARED);
    let found = Posterior::curve(&measured).unwrap();
    let lowest = &found.along(&[120.0]).targets[0];
    near(lowest.mean(), 0.82254, 1e-5);
    near_pair(lowest.limits(0.025), [-0.15913, 1.83381], 1e-5);
    near(found.flat_weight(), 0.6559, 1e-4);
    let own = found.at_measured(&[0, 1, 2, 3]).targets;
    for (target, limits) in own.iter().zip([
        [-0.1201, 1.8332],
        [-0.1563, 1.6917],
        [-0.1278, 1.6949],
        [-0.1476, 1.6880],
    ]) {
        near_pair(target.limits(0.025), limits, 1e-4);
    }
    let z = departures(&measured).unwrap();
    for (z, expected) in z.iter().zip([0.2512, -0.2899, 0.2486, -0.1828]) {
        near(*z, expected, 1e-4);
    }
}

#[test]
fn one_odd_value_departs_and_keeps_limits_of_its_own() {
    let measured = measured([0.4, 0.3, 1.6, 0.2], SHARED);
    let z = departures(&measured).unwrap();
    for (z, expected) in z.iter().zip([1.4274, -2.6630, 3.1067, -2.8277]) {
        near(*z, expected, 1e-4);
    }
    let own = Posterior::curve(&measured).unwrap().at_measured(&[2]);
    near_pair(own.targets[0].limits(0.025), [0.1884, 2.3371], 1e-4);
}

#[test]
fn the_band_over_the_whole_path() {
    let found = Posterior::curve(&measured(FALLING, SHARED)).unwrap();
    let ratio = (300.0_f64 / 120.0).ln();
    let grid: Vec<f64> = (0..13)
        .map(|i| 120.0 * (ratio * f64::from(i) / 12.0).exp())
        .collect();
    near(
        tube_of(&found.along(&grid)),
        tube_critical(1.95564, 0.05),
        1e-5,
    );
    near(found.along(&grid).angle, 1.95564, 1e-5);
    let own = found.at_measured(&[0, 1, 2, 3]);
    near(own.angle, 2.15118, 1e-5);
    let tail = normal_cdf(-tube_of(&own));
    for (at, pointwise, simultaneous) in [
        (0, [1.39519, 3.60211], [1.12879, 3.87208]),
        (3, [-1.10627, 0.84365], [-1.34428, 1.07993]),
    ] {
        near_pair(own.targets[at].limits(0.025), pointwise, 1e-5);
        near_pair(own.targets[at].limits(tail), simultaneous, 1e-5);
    }
}

fn tube_of(path: &Path) -> f64 {
    tube_critical(path.angle, 0.05)
}

#[test]
fn the_tube_is_close_to_the_exact_constant_and_never_below() {
    // Wynn & Bloomfield 1971, J R Stat Soc B 33:202 (from memory): two parameters on an interval.
    for (turned, tube, exact) in [
        (0.5, 2.126947, 2.126947),
        (1.0, 2.248123, 2.248122),
        (2.0, 2.416618, 2.406001),
    ] {
        near(tube_critical(turned, 0.05), tube, 1e-6);
        near(exactly(turned, exact), 0.05, 1e-6);
    }
    // Scheffé: all directions.
    near((-2.0 * 0.05_f64.ln()).sqrt(), 2.447747, 1e-6);
    near(exactly(std::f64::consts::PI, 2.447747), 0.05, 1e-6);
    near(tube_critical(0.0, 0.05), 1.959963985, 1e-8);
}

/// Probability outside ±c, by quadrature at 20 000 midpoints.
fn exactly(turned: f64, c: f64) -> f64 {
    const STEPS: u32 = 20_000;
    let pi = std::f64::consts::PI;
    let width = 0.5 * (pi - turned) / f64::from(STEPS);
    let at = |i: u32| (-0.5 * (c / (width * (f64::from(i) + 0.5)).cos()).powi(2)).exp();
    let outer: f64 = (0..STEPS).map(at).sum();
    turned / pi * (-0.5 * c * c).exp() + 2.0 / pi * width * outer
}

/// The four, and their mean where it counts.
fn joint(standards: [f64; 4], with_mean: bool) -> f64 {
    let of = |own: f64| Combined {
        all: own.hypot(SHARED),
        own,
    };
    let precision: f64 = standards.iter().map(|s| s.powi(-2)).sum();
    let mean = with_mean.then(|| of(precision.sqrt().recip()));
    let estimates: Vec<Combined> = standards.into_iter().map(of).chain(mean).collect();
    joint_critical(&estimates, SHARED, 0.975)
}

#[test]
fn the_joint_critical_value() {
    // 80-point Gauss–Hermite quadrature.
    near(joint([0.35; 4], true), 2.4674, 1e-4);
    near(joint(STANDARDS, true), 2.4635, 1e-4);
    // scipy, multivariate normal.
    near(joint([0.35; 4], false), 2.42186, 2e-5);
    near(joint(STANDARDS, false), 2.41916, 2e-5);
    // One alone needs no more than itself.
    let one = Combined { all: 1.0, own: 1.0 };
    near(joint_critical(&[one], 0.0, 0.975), 1.959963985, 1e-8);
}

#[test]
fn the_change_between_the_ends() {
    for (values, mean, limits, node_mean) in [
        (GROWING, 2.86173, [1.55315, 4.13865], 2.86511495),
        (FALLING, -2.73633, [-4.02597, -1.41826], -2.73986184),
    ] {
        let measured = measured(values, 0.0);
        let found = Posterior::change(&measured).unwrap().difference_of_ends();
        near(found.mean(), mean, 1e-5);
        near_pair(found.limits(0.025), limits, 1e-5);
        let node = Node {
            prior: 1.0,
            slope: 4.0,
            bend: 1.0,
            own: 0.3,
        };
        let node = Posterior::of(&measured, vec![node]).unwrap();
        near(node.difference_of_ends().mean(), node_mean, 1e-7);
        if values == GROWING {
            near(node.difference_of_ends().sd(), 0.62238855, 1e-7);
        }
    }
}

/// Section 7 of the specification: a covariance that all share equals u² added at the end.
#[test]
fn a_shared_error_moves_no_estimate_and_cancels_in_a_change() {
    let alone = Posterior::curve(&measured(FALLING, 0.0)).unwrap();
    let shared = Posterior::curve(&measured(FALLING, SHARED)).unwrap();
    let at = |p: &Posterior| p.along(&[150.0]).targets[0].clone();
    near(at(&alone).mean(), at(&shared).mean(), 1e-9);
    let added = at(&alone).blurred(SHARED);
    near_pair(added.limits(0.025), at(&shared).limits(0.025), 1e-8);
    let change = |u: f64| Posterior::change(&measured(GROWING, u)).unwrap();
    let [without, with] = [0.0, 3.0].map(|u| change(u).difference_of_ends().limits(0.025));
    near_pair(without, with, 1e-8);
}

#[test]
fn levels_at_one_place_have_no_shape_and_too_few_no_posterior() {
    let mut together = measured(GROWING, 0.0);
    together.levels = vec![250.0, 251.0, 249.0, 250.0];
    let found = Posterior::curve(&together).unwrap();
    let ends = found.along(&[249.0, 251.0]).targets;
    assert_close(ends[0].mean(), ends[1].mean(), 1e-12);
    let one = Measured {
        levels: vec![250.0],
        values: vec![1.0],
        standards: vec![0.3],
        common: vec![0.0],
    };
    assert!(Posterior::curve(&one).is_none());
}
