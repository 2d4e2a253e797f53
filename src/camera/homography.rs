//! The projective map between a plane and its picture.
//!
//! # Source
//! Hartley and Zisserman (2004), Multiple View Geometry, 2nd ed., algorithm 4.2 (normalized direct linear transform).

use nalgebra::{DMatrix, Matrix3, Vector2, Vector3};

/// A point of a plane and the point that it is mapped to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlanePair {
    /// In the plane, any unit.
    pub from: Vector2<f64>,
    /// In the picture, any unit.
    pub to: Vector2<f64>,
}

/// The least eigenvalue but one has to exceed the greatest by this ratio for the map to be determined.
const RANK_TOL: f64 = 1e-12;

/// Fits the homography that maps `from` to `to`, in the least-squares sense of the normalized direct linear transform.
///
/// The bottom right element is scaled to 1. `None` for fewer than four pairs, and for points that do not determine the map
/// (all on a line).
#[must_use]
pub fn fit_homography(pairs: &[PlanePair]) -> Option<Matrix3<f64>> {
    if pairs.len() < 4 {
        return None;
    }
    let normalize_from = normalization(pairs.iter().map(|pair| pair.from))?;
    let normalize_to = normalization(pairs.iter().map(|pair| pair.to))?;
    let mut normal = DMatrix::<f64>::zeros(9, 9);
    for pair in pairs {
        let p = map_point(&normalize_from, pair.from)?;
        let q = map_point(&normalize_to, pair.to)?;
        for row in [
            [p.x, p.y, 1.0, 0.0, 0.0, 0.0, -q.x * p.x, -q.x * p.y, -q.x],
            [0.0, 0.0, 0.0, p.x, p.y, 1.0, -q.y * p.x, -q.y * p.y, -q.y],
        ] {
            for i in 0..9 {
                for j in 0..9 {
                    normal[(i, j)] += row[i] * row[j];
                }
            }
        }
    }
    let eigen = normal.symmetric_eigen();
    let mut order: Vec<usize> = (0..9).collect();
    order.sort_by(|a, b| eigen.eigenvalues[*a].total_cmp(&eigen.eigenvalues[*b]));
    if eigen.eigenvalues[order[1]] <= RANK_TOL * eigen.eigenvalues[order[8]] {
        return None;
    }
    let h = eigen.eigenvectors.column(order[0]);
    let normalized = Matrix3::new(h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], h[8]);
    let homography = normalize_to.try_inverse()? * normalized * normalize_from;
    let scale = homography[(2, 2)];
    (scale.abs() > f64::EPSILON * homography.norm()).then(|| homography / scale)
}

/// Maps a point; `None` if it goes to infinity.
#[must_use]
pub fn map_point(homography: &Matrix3<f64>, point: Vector2<f64>) -> Option<Vector2<f64>> {
    let mapped = homography * Vector3::new(point.x, point.y, 1.0);
    (mapped.z.abs() > f64::EPSILON * mapped.norm()).then(|| Vector2::new(mapped.x / mapped.z, mapped.y / mapped.z))
}

/// The similarity that brings points to zero mean and a mean distance of sqrt 2; `None` if they coincide.
fn normalization(points: impl Iterator<Item = Vector2<f64>> + Clone) -> Option<Matrix3<f64>> {
    let count = points.clone().fold(0.0, |count, _| count + 1.0);
    let mean = points.clone().sum::<Vector2<f64>>() / count;
    let spread = points.map(|point| (point - mean).norm()).sum::<f64>() / count;
    let scale = std::f64::consts::SQRT_2 / spread;
    scale.is_finite().then(|| Matrix3::new(scale, 0.0, -scale * mean.x, 0.0, scale, -scale * mean.y, 0.0, 0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pairs(h: &Matrix3<f64>, points: &[(f64, f64)]) -> Vec<PlanePair> {
        points
            .iter()
            .map(|&(x, y)| {
                let from = Vector2::new(x, y);
                PlanePair { from, to: map_point(h, from).unwrap() }
            })
            .collect()
    }

    /// OpenCV's sample file H1to3p.xml.
    fn sample() -> Matrix3<f64> {
        Matrix3::new(
            0.762_858_98,
            -0.299_229_29,
            225.671_23,
            0.334_434_73,
            1.014_390_1,
            -76.999_973,
            3.466_309_1e-4,
            -1.436_452_4e-5,
            1.0,
        )
    }

    #[test]
    fn mapping_agrees_with_the_published_sample() {
        // Recomputed in double arithmetic from the sample file's matrix: (0,0), (400,300), (800,640).
        for (from, to) in [
            ((0.0, 0.0), (225.671_23, -76.999_973)),
            ((400.0, 300.0), (388.811_878, 318.326_068)),
            ((800.0, 640.0), (508.197_980, 662.211_107)),
        ] {
            let mapped = map_point(&sample(), Vector2::new(from.0, from.1)).unwrap();
            assert!((mapped - Vector2::new(to.0, to.1)).norm() < 1e-6);
        }
    }

    #[test]
    fn exact_pairs_give_the_homography_back() {
        let points = [(0.0, 0.0), (800.0, 10.0), (790.0, 640.0), (5.0, 600.0), (400.0, 300.0)];
        let fitted = fit_homography(&pairs(&sample(), &points)).unwrap();
        for &(x, y) in &[(100.0, 200.0), (700.0, 50.0)] {
            let p = Vector2::new(x, y);
            assert!((map_point(&fitted, p).unwrap() - map_point(&sample(), p).unwrap()).norm() < 1e-8);
        }
    }

    #[test]
    fn points_on_a_line_determine_nothing() {
        let line = [(0.0, 0.0), (1.0, 1.0), (2.0, 2.0), (3.0, 3.0), (4.0, 4.0)];
        assert!(fit_homography(&pairs(&Matrix3::identity(), &line)).is_none());
        assert!(fit_homography(&pairs(&sample(), &line[..3])).is_none());
        let same = [PlanePair { from: Vector2::zeros(), to: Vector2::zeros() }; 5];
        assert!(fit_homography(&same).is_none());
    }
}
