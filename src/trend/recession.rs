//! Does a likelihood have a maximum? An exact answer, because an optimiser that came to rest is none.
//!
//! The censored normal log-likelihood is concave in θ = (coefficients/σ, 1/σ). A concave function has
//! a maximum unless there is a direction d ≠ 0 along which it never falls. With each reading written
//! as a row w such that w·θ is its standardised residual, these directions form the cone
//! `w·d = 0` for exact, `w·d ≤ 0` for over-range, `w·d ≥ 0` for under-range readings, and `1/σ` not
//! falling (Silvapulle & Burridge 1986, JRSS-B 48:100-106). The cone lives in two to five
//! dimensions, so its generators are found one by one instead of by a general linear programme.

use super::algebra::dot;

/// Entries below this part of a unit row count as zero.
const ZERO: f64 = 1e-9;

/// An orthonormal basis that grows row by row.
#[derive(Clone)]
pub(crate) struct Span<const K: usize> {
    basis: [[f64; K]; K],
    rank: usize,
}

impl<const K: usize> Span<K> {
    pub(crate) const fn empty() -> Self {
        Span { basis: [[0.0; K]; K], rank: 0 }
    }

    pub(crate) fn is_full(&self) -> bool {
        self.rank == K
    }

    fn vectors(&self) -> &[[f64; K]] {
        &self.basis[..self.rank]
    }

    /// What is left of `row` outside the span; orthogonalised twice against rounding.
    fn rest(&self, row: &[f64; K]) -> [f64; K] {
        let mut rest = *row;
        for _ in 0..2 {
            for b in self.vectors() {
                let along = dot(&rest, b);
                for k in 0..K {
                    rest[k] -= along * b[k];
                }
            }
        }
        rest
    }

    /// Takes a row in; false when it lies in the span already.
    pub(crate) fn add(&mut self, row: &[f64; K]) -> bool {
        let length = dot(row, row).sqrt();
        if self.is_full() || length == 0.0 {
            return false;
        }
        let rest = self.rest(row);
        let left = dot(&rest, &rest).sqrt();
        if left <= ZERO * length {
            return false;
        }
        self.basis[self.rank] = rest.map(|v| v / left);
        self.rank += 1;
        true
    }

    /// An orthonormal basis of everything orthogonal to the span.
    fn complement(&self) -> Vec<[f64; K]> {
        let mut whole = self.clone();
        let mut found = Vec::with_capacity(K - self.rank);
        while !whole.is_full() {
            // The unit vector that lies farthest outside comes next.
            let rests = (0..K).map(|k| {
                let mut unit = [0.0; K];
                unit[k] = 1.0;
                whole.rest(&unit)
            });
            let Some(far) = rests.max_by(|a, b| dot(a, a).total_cmp(&dot(b, b))) else { break };
            if !whole.add(&far) {
                break;
            }
            found.push(whole.basis[whole.rank - 1]);
        }
        found
    }
}

/// Calls `visit` with generators of the cone {d : d ⊥ `equal`, row·d ≤ 0 for each of `at_most`}:
/// its lines first (one sign of each), then its extreme rays. No call means that the cone is {0}.
pub(crate) fn generators<const K: usize>(
    equal: &Span<K>,
    at_most: &[[f64; K]],
    visit: &mut impl FnMut(&[f64; K]),
) {
    // Lines: directions in which no row sees anything.
    let mut seen = equal.clone();
    for row in at_most {
        seen.add(row);
    }
    let mut pointed = equal.clone();
    for line in seen.complement() {
        visit(&line);
        pointed.add(&line);
    }
    if !pointed.is_full() {
        rays(&pointed, at_most, 0, visit);
    }
}

/// Extreme rays: the directions left when all but one dimension is taken by rows held at equality.
fn rays<const K: usize>(
    tight: &Span<K>,
    at_most: &[[f64; K]],
    from: usize,
    visit: &mut impl FnMut(&[f64; K]),
) {
    if tight.rank + 1 == K {
        let Some(ray) = tight.complement().first().copied() else { return };
        for ray in [ray, ray.map(|v| -v)] {
            let allowed = |row: &[f64; K]| dot(row, &ray) <= ZERO * dot(row, row).sqrt();
            if at_most.iter().all(allowed) {
                visit(&ray);
            }
        }
        return;
    }
    for (i, row) in at_most.iter().enumerate().skip(from) {
        let mut more = tight.clone();
        if more.add(row) {
            rays(&more, at_most, i + 1, visit);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn count<const K: usize>(equal: &[[f64; K]], at_most: &[[f64; K]]) -> usize {
        let mut span = Span::empty();
        for row in equal {
            span.add(row);
        }
        let mut n = 0;
        generators(&span, at_most, &mut |_| n += 1);
        n
    }

    #[test]
    fn cones_in_the_plane() {
        assert_eq!(count::<2>(&[], &[[1.0, 0.0], [0.0, 1.0]]), 2, "a quadrant has two rays");
        assert_eq!(count::<2>(&[], &[[1.0, 0.0]]), 2, "a half-plane: a line and a ray");
        assert_eq!(count::<2>(&[], &[[1.0, 0.0], [-1.0, 1.0], [-1.0, -1.0]]), 0);
        assert_eq!(count::<2>(&[[1.0, 1.0], [1.0, -1.0]], &[]), 0, "nothing is left");
        assert_eq!(count::<2>(&[[1.0, 1.0]], &[[1.0, 0.0]]), 1);
    }

    #[test]
    fn cones_in_space() {
        let up = [0.0, 0.0, -1.0];
        assert_eq!(count(&[], &[[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], up]), 3, "an octant");
        let closed = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], up, [-1.0, -1.0, 1.0]];
        assert_eq!(count(&[], &closed), 0);
    }
}
