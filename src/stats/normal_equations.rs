//! Least squares by normal equations that can be added and taken away again, for fits that are made
//! anew without some of their rows.

/// Columns whose part at right angles to those before them is smaller than this share of themselves
/// say nothing of their own.
const DEPENDENT: f64 = 1e-9;

/// Sums of squares and products of the rows of a linear model.
#[derive(Clone, Debug, PartialEq)]
pub struct NormalEquations {
    terms: usize,
    /// X'X, row by row, then X'y.
    sums: Vec<f64>,
    products: Vec<f64>,
}

impl NormalEquations {
    /// Without rows, of so many terms.
    pub fn new(terms: usize) -> Self {
        Self {
            terms,
            sums: vec![0.0; terms * terms],
            products: vec![0.0; terms],
        }
    }

    /// Adds a row of the design, one value a term, with what was observed.
    pub fn add(&mut self, row: &[f64], value: f64) {
        for (i, x) in row.iter().enumerate().take(self.terms) {
            self.products[i] += x * value;
            for (j, other) in row.iter().enumerate().take(self.terms) {
                self.sums[i * self.terms + j] += x * other;
            }
        }
    }

    /// Adds the rows of `other`, of as many terms.
    pub fn join(&mut self, other: &Self) {
        self.each(other, |mine, its| mine + its);
    }

    /// Without the rows of `other`, which are among its own.
    pub fn without(&self, other: &Self) -> Self {
        let mut rest = self.clone();
        rest.each(other, |mine, its| mine - its);
        rest
    }

    fn each(&mut self, other: &Self, of: impl Fn(f64, f64) -> f64) {
        let sums = self.sums.iter_mut().zip(&other.sums);
        let products = self.products.iter_mut().zip(&other.products);
        for (mine, its) in sums.chain(products) {
            *mine = of(*mine, *its);
        }
    }

    /// Cholesky's factor, row by row; a dependent column leaves zeros.
    fn factor(&self) -> Vec<f64> {
        let n = self.terms;
        let mut factor = vec![0.0; n * n];
        for i in 0..n {
            for j in 0..=i {
                let done: f64 = (0..j).map(|k| factor[i * n + k] * factor[j * n + k]).sum();
                let rest = self.sums[i * n + j] - done;
                factor[i * n + j] = if i == j {
                    let own = self.sums[i * n + i];
                    if rest > DEPENDENT * own {
                        rest.sqrt()
                    } else {
                        0.0
                    }
                } else if factor[j * n + j] > 0.0 {
                    rest / factor[j * n + j]
                } else {
                    0.0
                };
            }
        }
        factor
    }

    /// Variance of the last coefficient where a row scatters by 1; `None` where the columns before it make
    /// it up.
    pub fn last_variance(&self) -> Option<f64> {
        let last = self.factor().last().copied().filter(|own| *own > 0.0)?;
        Some(1.0 / (last * last))
    }

    /// The coefficients. One of a column that the columns before it make up is 0.
    pub fn solve(&self) -> Vec<f64> {
        let n = self.terms;
        let factor = self.factor();
        let divided = |value: f64, by: f64| if by > 0.0 { value / by } else { 0.0 };
        let mut half = vec![0.0; n];
        for i in 0..n {
            let done: f64 = (0..i).map(|k| factor[i * n + k] * half[k]).sum();
            half[i] = divided(self.products[i] - done, factor[i * n + i]);
        }
        let mut out = vec![0.0; n];
        for i in (0..n).rev() {
            let done: f64 = (i + 1..n).map(|k| factor[k * n + i] * out[k]).sum();
            out[i] = divided(half[i] - done, factor[i * n + i]);
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::vectors::assert_close;

    #[test]
    fn a_plane_is_found_and_a_column_told_twice_counts_once() {
        let mut sums = NormalEquations::new(4);
        let mut left_out = NormalEquations::new(4);
        for i in 0..30 {
            let (a, b) = (f64::from(i % 7), f64::from(i % 4));
            sums.add(&[1.0, a, 2.0 * a, b], 3.0 + 0.5 * a - 2.0 * b);
        }
        left_out.add(&[1.0, 50.0, 100.0, -3.0], 900.0);
        sums.join(&left_out);
        let found = sums.without(&left_out).solve();
        for (found, expected) in found.iter().zip([3.0, 0.5, 0.0, -2.0]) {
            assert_close(*found, expected, 1e-9);
        }
        assert_eq!(NormalEquations::new(2).solve(), [0.0, 0.0]);

        // A straight line over 0, 1, 2, 3: its slope varies by 1/5 (by hand).
        let mut line = NormalEquations::new(2);
        (0..4).for_each(|x| line.add(&[1.0, f64::from(x)], 1.0));
        assert_close(line.last_variance().unwrap(), 0.2, 1e-12);
        line = NormalEquations::new(2);
        (0..4).for_each(|_| line.add(&[1.0, 2.0], 1.0));
        assert_eq!(line.last_variance(), None);
    }
}
