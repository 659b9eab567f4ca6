//! The share of its powers behind the name of a plan: `full-bench 80 %`.

/// A name and the share behind it, where there is one.
pub(super) fn name_and_share(name: &str) -> (&str, Option<f64>) {
    let share = |text: &str| text.trim_end().strip_suffix('%')?.trim().parse().ok();
    match name.trim().split_once(' ') {
        Some((plain, rest)) if share(rest).is_some() => (plain, share(rest)),
        _ => (name, None),
    }
}
