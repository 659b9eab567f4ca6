//! Labels on one line that stay inside it and never touch.

/// Left edges of labels that want to begin at `wanted` and are `width` long: each moved as far as
/// it must to lie inside `room`, and left out (`None`) where it would come nearer than `gap` to one
/// before it in the list. The most wanted come first. All in one unit, cells or pixels.
pub fn placed(
    labels: impl IntoIterator<Item = (f64, f64)>,
    room: [f64; 2],
    gap: f64,
) -> Vec<Option<f64>> {
    let mut taken: Vec<[f64; 2]> = Vec::new();
    labels
        .into_iter()
        .map(|(wanted, width)| {
            let left = wanted.min(room[1] - width).max(room[0]);
            let fits = left + width <= room[1];
            let free = |[from, to]: &[f64; 2]| left >= to + gap || left + width + gap <= *from;
            (fits && taken.iter().all(free)).then(|| {
                taken.push([left, left + width]);
                left
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_stay_inside_and_apart() {
        // The last is moved in from the edge; the third would touch the second.
        let wanted = [(-3.0, 8.0), (20.0, 8.0), (27.0, 8.0), (72.0, 12.0)];
        assert_eq!(
            placed(wanted, [0.0, 80.0], 1.0),
            [Some(0.0), Some(20.0), None, Some(68.0)]
        );
        assert_eq!(placed([(0.0, 9.0)], [0.0, 8.0], 1.0), [None]);
        assert_eq!(
            placed([(0.0, 4.0), (4.0, 4.0), (5.0, 3.0)], [0.0, 8.0], 1.0),
            [Some(0.0), None, Some(5.0)]
        );
    }
}
