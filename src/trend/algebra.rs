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

/// A plane c·θ = value among the unknowns, by the one that depends on the others there.
///
/// Steps and metrics are taken to the free unknowns and back. To project with the inverse of a
/// metric instead would cancel digits wherever one direction is far stiffer than the plane.
pub struct Slice<const K: usize> {
    bound: usize,
    /// How the bound unknown follows the others; 0 in its own place.
    follows: [f64; K],
    offset: f64,
}

impl<const K: usize> Slice<K> {
    /// The plane; its bound unknown is the one with the largest coefficient, never the last.
    pub fn new(c: &[f64; K], value: f64) -> Self {
        let mut bound = 0;
        for k in 1..K - 1 {
            if c[k].abs() > c[bound].abs() {
                bound = k;
            }
        }
        let mut follows = c.map(|v| -v / c[bound]);
        follows[bound] = 0.0;
        Slice { bound, follows, offset: value / c[bound] }
    }

    /// The point of the plane with the free unknowns of `free`.
    pub fn lift(&self, free: &[f64; K]) -> [f64; K] {
        let mut point = self.along(free);
        point[self.bound] += self.offset;
        point
    }

    /// The direction in the plane with the free parts of `free`.
    pub fn along(&self, free: &[f64; K]) -> [f64; K] {
        let mut direction = *free;
        direction[self.bound] = dot(&self.follows, free);
        direction
    }

    /// A gradient in the free unknowns; 0 for the bound one.
    pub fn gradient(&self, g: &[f64; K]) -> [f64; K] {
        let mut free: [f64; K] = std::array::from_fn(|k| g[k] + self.follows[k] * g[self.bound]);
        free[self.bound] = 0.0;
        free
    }

    /// A symmetric metric in the free unknowns; 1 for the bound one.
    pub fn metric(&self, m: &Matrix<K>) -> Matrix<K> {
        let (b, f) = (self.bound, &self.follows);
        let mut free: Matrix<K> = std::array::from_fn(|i| {
            std::array::from_fn(|j| {
                m[i][j] + f[i] * m[b][j] + f[j] * m[i][b] + f[i] * f[j] * m[b][b]
            })
        });
        for k in 0..K {
            free[b][k] = 0.0;
            free[k][b] = 0.0;
        }
        free[b][b] = 1.0;
        free
    }

    /// The point of the plane that is nearest to `point` in a metric.
    pub fn nearest(&self, point: &[f64; K], metric: &Matrix<K>) -> [f64; K] {
        let mut apart = *point;
        apart[self.bound] -= self.offset;
        let pulled = self.gradient(&times(metric, &apart));
        self.lift(&Cholesky::raised(&self.metric(metric)).solve(&pulled))
    }
}
