//! Small symmetric systems of fixed size: a fit has two to five unknowns.

#![expect(clippy::needless_range_loop, reason = "matrix formulas read by their indices")]

/// A square matrix of K rows.
pub type Matrix<const K: usize> = [[f64; K]; K];

/// a·b.
pub fn dot<const K: usize>(a: &[f64; K], b: &[f64; K]) -> f64 {
    let mut sum = 0.0;
    for k in 0..K {
        sum += a[k] * b[k];
    }
    sum
}

/// M·v.
pub fn times<const K: usize>(m: &Matrix<K>, v: &[f64; K]) -> [f64; K] {
    std::array::from_fn(|i| dot(&m[i], v))
}

/// m += f·v·v'.
pub fn add_outer<const K: usize>(m: &mut Matrix<K>, f: f64, v: &[f64; K]) {
    for i in 0..K {
        let fi = f * v[i];
        for j in 0..K {
            m[i][j] += fi * v[j];
        }
    }
}

/// The lower factor L of a symmetric positive definite matrix, M = L·L'.
pub struct Cholesky<const K: usize>(Matrix<K>);

impl<const K: usize> Cholesky<K> {
    /// Factors it; `None` when a pivot is not above `1e-13` of its diagonal entry: not definite
    /// to working precision.
    pub fn new(m: &Matrix<K>) -> Option<Self> {
        Self::with_pivots_above(1e-13, m)
    }

    /// Factors it; `None` when a pivot is not above the given part of its diagonal entry.
    pub fn with_pivots_above(part: f64, m: &Matrix<K>) -> Option<Self> {
        let mut l = [[0.0; K]; K];
        for j in 0..K {
            let mut pivot = m[j][j];
            for k in 0..j {
                pivot -= l[j][k] * l[j][k];
            }
            if pivot.is_nan() || pivot <= part * m[j][j] {
                return None;
            }
            let root = pivot.sqrt();
            l[j][j] = root;
            for i in j + 1..K {
                let mut entry = m[i][j];
                for k in 0..j {
                    entry -= l[i][k] * l[j][k];
                }
                l[i][j] = entry / root;
            }
        }
        Some(Cholesky(l))
    }

    /// Factors `m`, with its diagonal raised by growing fractions until it is definite.
    pub fn raised(m: &Matrix<K>) -> Self {
        let mut fraction = 0.0;
        loop {
            let mut tried = *m;
            for (k, row) in tried.iter_mut().enumerate() {
                row[k] += fraction * (row[k].abs() + 1e-300) + fraction * 1e-12;
            }
            if let Some(factor) = Cholesky::new(&tried) {
                return factor;
            }
            fraction = if fraction == 0.0 { 1e-6 } else { fraction * 30.0 };
            if fraction > 1e20 {
                // Only numbers that are not numbers get here; a unit step keeps the caller alive.
                return Cholesky(std::array::from_fn(|i| {
                    std::array::from_fn(|j| f64::from(u8::from(i == j)))
                }));
            }
        }
    }

    /// x with M·x = b.
    pub fn solve(&self, b: &[f64; K]) -> [f64; K] {
        let l = &self.0;
        let mut x = *b;
        for i in 0..K {
            for k in 0..i {
                x[i] -= l[i][k] * x[k];
            }
            x[i] /= l[i][i];
        }
        for i in (0..K).rev() {
            for k in i + 1..K {
                x[i] -= l[k][i] * x[k];
            }
            x[i] /= l[i][i];
        }
        x
    }

    /// M⁻¹.
    pub fn inverse(&self) -> Matrix<K> {
        let mut inverse = [[0.0; K]; K];
        for j in 0..K {
            let mut unit = [0.0; K];
            unit[j] = 1.0;
            let column = self.solve(&unit);
            for i in 0..K {
                inverse[i][j] = column[i];
            }
        }
        inverse
    }
}

/// A·B·A' with B symmetric.
pub fn sandwich<const K: usize>(a: &Matrix<K>, b: &Matrix<K>) -> Matrix<K> {
    std::array::from_fn(|i| {
        let left: [f64; K] = std::array::from_fn(|j| (0..K).map(|k| a[i][k] * b[k][j]).sum());
        std::array::from_fn(|j| dot(&left, &a[j]))
    })
}
