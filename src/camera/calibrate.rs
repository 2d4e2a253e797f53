//! Planar calibration: the lens from several views of a flat board.
//!
//! Starts from Zhang's closed form and refines lens and board poses together by damped least squares with analytic
//! derivatives, over the distances in px between the corners found and those projected. Assumes a flat board of exactly known
//! squares and a lens that did not change between the views (no zoom, no refocusing, no stabilization): none of these can be
//! told from the residuals alone.
//!
//! # Source
//! Zhang (2000), A flexible new technique for camera calibration, IEEE Transactions on Pattern Analysis and Machine
//! Intelligence 22(11), 1330-1334.

use nalgebra::{DMatrix, Matrix2x3, Matrix3, Matrix6, Rotation3, SMatrix, SVector, Vector2, Vector3, Vector6};

use crate::camera::homography::{PlanePair, fit_homography};
use crate::camera::{CameraError, LENS_PARAMETERS, Lens};
use crate::geometry::{Angle, CameraPoint, ImagePoint, NormalizedPoint};
use crate::uncertainty::propagation::count_to_f64;

/// Fewest views from which all nine parameters can be solved.
pub const MIN_VIEWS: usize = 3;

/// Fewest corners in a view.
pub const MIN_CORNERS: usize = 8;

/// Steps after which the refinement gives up.
pub const MAX_ITERATIONS: usize = 200;

/// The refinement has converged when a step changes the cost by less than this ratio of it, or is this small itself.
const COST_CHANGE_TOL: f64 = 1e-13;

/// Board normals that differ by less leave the focal length undetermined (common practice, no source).
pub const PARALLEL_LIMIT_DEG: f64 = 5.0;

/// A corner of the board and where it was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoardCorner {
    /// On the board, mm: x along the columns, y along the rows.
    pub board_mm: [f64; 2],
    /// In the upright picture, px.
    pub image: ImagePoint,
}

/// The corners found in one picture.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct BoardView {
    /// The corners.
    pub corners: Vec<BoardCorner>,
}

/// Where the board was in a view.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoardPose {
    /// Turns board directions into camera directions.
    pub camera_from_board: Rotation3<f64>,
    /// The board's origin in the camera frame, mm.
    pub origin_camera_mm: Vector3<f64>,
}

/// How well one view fits.
#[derive(Debug, Clone, PartialEq)]
pub struct ViewFit {
    /// Where the board was.
    pub pose: BoardPose,
    /// Root mean square distance between found and projected corners, px.
    pub rms_px: f64,
    /// Found minus projected, px, in the order of the view's corners.
    pub residuals_px: Vec<Vector2<f64>>,
}

/// A calibrated lens.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibration {
    /// The lens, with its covariance.
    pub lens: Lens,
    /// Root mean square distance between found and projected corners over all views, px.
    pub rms_px: f64,
    /// Estimated standard deviation of one coordinate of a corner, px: from the residuals and their degrees of freedom.
    pub corner_sd_px: f64,
    /// By how much the views disagree more than independent corners would, at least 1; the standard uncertainties of the lens
    /// are larger by it.
    pub view_factor: f64,
    /// Each view, in the order given.
    pub views: Vec<ViewFit>,
    /// Steps taken.
    pub iterations: usize,
    /// Largest angle between two board normals, deg.
    pub widest_tilt_deg: f64,
}

type LensNormal = SMatrix<f64, LENS_PARAMETERS, LENS_PARAMETERS>;
type LensVector = SVector<f64, LENS_PARAMETERS>;

/// The normal equations of one view: lens, pose, and what couples them.
struct ViewNormal {
    lens: LensNormal,
    coupling: SMatrix<f64, LENS_PARAMETERS, 6>,
    pose: Matrix6<f64>,
    lens_gradient: LensVector,
    pose_gradient: Vector6<f64>,
    cost: f64,
}

struct State {
    lens: Lens,
    poses: Vec<BoardPose>,
}

/// Solves lens and board poses from views of a board, for pictures of `image_size` px.
///
/// The covariance rests on the residuals. Errors that the corners of one view share (a bent board, motion, glare) are not
/// averaged away by its many corners: how much the views pull at the lens against each other tells of them, and widens the
/// covariance by [`Calibration::view_factor`] squared. What all views share cannot be seen.
///
/// # Errors
/// [`CameraError::TooFewViews`], [`CameraError::TooFewCorners`], [`CameraError::ViewsParallel`] if the board was never tilted
/// differently, [`CameraError::CalibrationUndetermined`] if the views leave the lens undetermined, and
/// [`CameraError::CalibrationDiverged`].
pub fn calibrate(views: &[BoardView], image_size: [u32; 2]) -> Result<Calibration, CameraError> {
    if views.len() < MIN_VIEWS {
        return Err(CameraError::TooFewViews { found: views.len(), needed: MIN_VIEWS });
    }
    if let Some((view, found)) =
        views.iter().map(|view| view.corners.len()).enumerate().find(|(_, count)| *count < MIN_CORNERS)
    {
        return Err(CameraError::TooFewCorners { view, found, needed: MIN_CORNERS });
    }
    let mut state = start(views, image_size)?;
    let iterations = refine(views, &mut state)?;
    finish(views, state, iterations)
}

/// Damped Gauss-Newton steps until the cost stands still.
fn refine(views: &[BoardView], state: &mut State) -> Result<usize, CameraError> {
    let mut damping = 1e-3;
    let mut normals = linearize(views, state);
    let mut cost = total_cost(&normals);
    for iteration in 1..=MAX_ITERATIONS {
        let Some(step) = solve_step(&normals, damping) else {
            damping *= 10.0;
            continue;
        };
        let candidate = apply(state, &step);
        let candidate_cost = cost_of(views, &candidate);
        if candidate_cost.is_finite() && candidate_cost <= cost {
            let change = cost - candidate_cost;
            *state = candidate;
            normals = linearize(views, state);
            cost = candidate_cost;
            damping = (damping * 0.1).max(1e-15);
            if change <= COST_CHANGE_TOL * cost {
                return Ok(iteration);
            }
        } else {
            // Near the minimum rounding alone makes a step look worse: a step that is predicted to gain nothing is the end.
            if step.predicted_gain.abs() <= COST_CHANGE_TOL * cost {
                return Ok(iteration);
            }
            damping *= 10.0;
            if damping > 1e15 {
                return Err(CameraError::CalibrationDiverged { iterations: iteration });
            }
        }
    }
    Err(CameraError::CalibrationDiverged { iterations: MAX_ITERATIONS })
}

struct Step {
    lens: LensVector,
    poses: Vec<Vector6<f64>>,
    predicted_gain: f64,
}

/// One damped step. Each pose meets only its own view, so it is eliminated there (Schur complement) and the lens is solved
/// from a 9x9 system.
fn solve_step(normals: &[ViewNormal], damping: f64) -> Option<Step> {
    let mut reduced = LensNormal::zeros();
    let mut right = LensVector::zeros();
    for normal in normals {
        reduced += normal.lens;
        right -= normal.lens_gradient;
    }
    for index in 0..LENS_PARAMETERS {
        reduced[(index, index)] *= 1.0 + damping;
    }
    let mut eliminated = Vec::with_capacity(normals.len());
    for normal in normals {
        let mut pose = normal.pose;
        for index in 0..6 {
            pose[(index, index)] *= 1.0 + damping;
        }
        let factor = pose.cholesky()?;
        let pose_by_lens = factor.solve(&normal.coupling.transpose());
        let pose_free = factor.solve(&-normal.pose_gradient);
        reduced -= normal.coupling * pose_by_lens;
        right -= normal.coupling * pose_free;
        eliminated.push((pose_by_lens, pose_free));
    }
    let lens = solve_scaled(&reduced, &right)?;
    let poses: Vec<Vector6<f64>> = eliminated.iter().map(|(by_lens, free)| free - by_lens * lens).collect();
    let slope = normals
        .iter()
        .zip(&poses)
        .map(|(normal, pose)| normal.lens_gradient.dot(&lens) + normal.pose_gradient.dot(pose))
        .sum::<f64>();
    Some(Step { lens, poses, predicted_gain: 0.5 * slope })
}

/// Solves a positive definite system after scaling its diagonal to 1: the parameters' units differ by many orders.
fn solve_scaled(matrix: &LensNormal, right: &LensVector) -> Option<LensVector> {
    let scale = matrix.diagonal().map(|value| 1.0 / value.max(f64::MIN_POSITIVE).sqrt());
    let scaled = LensNormal::from_fn(|row, col| matrix[(row, col)] * scale[row] * scale[col]);
    let solution = scaled.cholesky()?.solve(&right.component_mul(&scale));
    Some(solution.component_mul(&scale))
}

fn apply(state: &State, step: &Step) -> State {
    let parameters = state.lens.parameters();
    let lens = state.lens.clone().with_parameters(std::array::from_fn(|index| parameters[index] + step.lens[index]));
    let poses = state
        .poses
        .iter()
        .zip(&step.poses)
        .map(|(pose, step)| BoardPose {
            camera_from_board: Rotation3::new(step.fixed_rows::<3>(0).into_owned()) * pose.camera_from_board,
            origin_camera_mm: pose.origin_camera_mm + step.fixed_rows::<3>(3),
        })
        .collect();
    State { lens, poses }
}

fn total_cost(normals: &[ViewNormal]) -> f64 {
    normals.iter().map(|normal| normal.cost).sum()
}

fn cost_of(views: &[BoardView], state: &State) -> f64 {
    views
        .iter()
        .zip(&state.poses)
        .flat_map(|(view, pose)| view.corners.iter().map(move |corner| (corner, pose)))
        .map(|(corner, pose)| residual_px(&state.lens, pose, corner).map_or(f64::INFINITY, |r| 0.5 * r.norm_squared()))
        .sum()
}

/// Predicted minus found; `None` behind the camera.
fn residual_px(lens: &Lens, pose: &BoardPose, corner: &BoardCorner) -> Option<Vector2<f64>> {
    let point = pose.point_camera_mm(corner.board_mm).0;
    (point.z > 0.0).then(|| {
        let normalized = NormalizedPoint::new(point.x / point.z, point.y / point.z);
        lens.distort(normalized).to_vector() - corner.image.to_vector()
    })
}

impl BoardPose {
    /// A point of the board, in the camera frame.
    #[must_use]
    pub fn point_camera_mm(&self, board_mm: [f64; 2]) -> CameraPoint {
        let [x, y] = board_mm;
        CameraPoint(self.camera_from_board * Vector3::new(x, y, 0.0) + self.origin_camera_mm)
    }

    /// The board's normal in the camera frame, of length 1.
    #[must_use]
    pub fn normal_camera(&self) -> Vector3<f64> {
        self.camera_from_board * Vector3::z()
    }
}

fn linearize(views: &[BoardView], state: &State) -> Vec<ViewNormal> {
    views.iter().zip(&state.poses).map(|(view, pose)| linearize_view(view, &state.lens, pose)).collect()
}

fn linearize_view(view: &BoardView, lens: &Lens, pose: &BoardPose) -> ViewNormal {
    let mut normal = ViewNormal {
        lens: LensNormal::zeros(),
        coupling: SMatrix::zeros(),
        pose: Matrix6::zeros(),
        lens_gradient: LensVector::zeros(),
        pose_gradient: Vector6::zeros(),
        cost: 0.0,
    };
    for corner in &view.corners {
        let (residual, by_lens, by_pose) = corner_jacobian(lens, pose, corner);
        let by_lens_transposed = by_lens.transpose();
        normal.lens += by_lens_transposed * by_lens;
        normal.coupling += by_lens_transposed * by_pose;
        normal.pose += by_pose.transpose() * by_pose;
        normal.lens_gradient += by_lens_transposed * residual;
        normal.pose_gradient += by_pose.transpose() * residual;
        normal.cost += 0.5 * residual.norm_squared();
    }
    normal
}

/// Residual of a corner in px, and its derivatives by the lens and by the pose (turn about the camera axes in rad, then shift
/// in mm).
fn corner_jacobian(
    lens: &Lens,
    pose: &BoardPose,
    corner: &BoardCorner,
) -> (Vector2<f64>, SMatrix<f64, 2, 9>, SMatrix<f64, 2, 6>) {
    let [x, y] = corner.board_mm;
    let arm = pose.camera_from_board * Vector3::new(x, y, 0.0);
    let point = arm + pose.origin_camera_mm;
    let inverse_z = 1.0 / point.z;
    let normalized = NormalizedPoint::new(point.x * inverse_z, point.y * inverse_z);
    let distorted = lens.distort_with_jacobian(normalized);
    let by_point = distorted.by_normalized
        * Matrix2x3::new(inverse_z, 0.0, -normalized.x * inverse_z, 0.0, inverse_z, -normalized.y * inverse_z);
    let mut by_pose = SMatrix::<f64, 2, 6>::zeros();
    by_pose.fixed_columns_mut::<3>(0).copy_from(&(by_point * -arm.cross_matrix()));
    by_pose.fixed_columns_mut::<3>(3).copy_from(&by_point);
    (distorted.point.to_vector() - corner.image.to_vector(), distorted.by_parameters, by_pose)
}

/// Covariance, residuals and the verdict on the views.
fn finish(views: &[BoardView], state: State, iterations: usize) -> Result<Calibration, CameraError> {
    let normals = linearize(views, &state);
    let residual_count: usize = views.iter().map(|view| 2 * view.corners.len()).sum();
    let parameter_count = LENS_PARAMETERS + 6 * views.len();
    let dof = residual_count.saturating_sub(parameter_count).max(1);
    let cost = total_cost(&normals);
    let corner_sd_px = (2.0 * cost / count_to_f64(dof)).sqrt();
    let widest_tilt_deg = widest_tilt_deg(&state.poses);
    if widest_tilt_deg < PARALLEL_LIMIT_DEG {
        return Err(CameraError::ViewsParallel { widest_deg: widest_tilt_deg, needed_deg: PARALLEL_LIMIT_DEG });
    }
    let mut information = Vec::with_capacity(normals.len());
    for normal in &normals {
        let factor = normal.pose.cholesky().ok_or(CameraError::CalibrationUndetermined)?;
        information.push(normal.lens - normal.coupling * factor.solve(&normal.coupling.transpose()));
    }
    let inverse = inverse_scaled(&information.iter().sum()).ok_or(CameraError::CalibrationUndetermined)?;
    let view_factor = view_factor(&normals, &information, &inverse, corner_sd_px);
    let mut lens = state.lens;
    lens.covariance = inverse * (view_factor * corner_sd_px).powi(2);
    let view_fits = views
        .iter()
        .zip(&state.poses)
        .map(|(view, pose)| {
            let residuals_px: Vec<Vector2<f64>> =
                view.corners.iter().map(|corner| -corner_jacobian(&lens, pose, corner).0).collect();
            let sum: f64 = residuals_px.iter().map(Vector2::norm_squared).sum();
            ViewFit { pose: *pose, rms_px: (sum / count_to_f64(residuals_px.len())).sqrt(), residuals_px }
        })
        .collect();
    let rms_px = (4.0 * cost / count_to_f64(residual_count)).sqrt();
    Ok(Calibration { lens, rms_px, corner_sd_px, view_factor, views: view_fits, iterations, widest_tilt_deg })
}

/// How much more the views pull at the lens, each its own way, than independent errors of their corners would make them.
///
/// The pull of a view is its gradient by the lens, which sums to zero over all views. For independent errors of variance σ² its
/// covariance is σ² (A - A C A), with A the view's information on the lens and C the inverse of all views' information; the sum
/// of gᵀ C g over the views is compared with what that gives. Never below 1, since few views can agree by chance.
///
/// # Source
/// The idea is that of cluster-robust covariances, Liang and Zeger (1986), Longitudinal data analysis using generalized linear
/// models, Biometrika 73, 13-22; one factor for all parameters instead of a matrix, because views are few.
fn view_factor(normals: &[ViewNormal], information: &[LensNormal], inverse: &LensNormal, corner_sd_px: f64) -> f64 {
    let (mut pulls, mut expected) = (0.0, 0.0);
    for (normal, own) in normals.iter().zip(information) {
        pulls += normal.lens_gradient.dot(&(inverse * normal.lens_gradient));
        let leverage = inverse * own;
        expected += leverage.trace() - (leverage * leverage).trace();
    }
    let ratio = pulls / (expected * corner_sd_px.powi(2));
    if ratio.is_finite() { ratio.max(1.0).sqrt() } else { 1.0 }
}

/// The inverse of a positive definite matrix, scaled as in [`solve_scaled`].
fn inverse_scaled(matrix: &LensNormal) -> Option<LensNormal> {
    let scale = matrix.diagonal().map(|value| 1.0 / value.max(f64::MIN_POSITIVE).sqrt());
    let scaled = LensNormal::from_fn(|row, col| matrix[(row, col)] * scale[row] * scale[col]);
    let inverse = scaled.cholesky()?.inverse();
    let inverse = LensNormal::from_fn(|row, col| inverse[(row, col)] * scale[row] * scale[col]);
    inverse.iter().all(|value| value.is_finite()).then(|| 0.5 * (inverse + inverse.transpose()))
}

/// The largest angle between two board normals, deg. A board seen from behind counts like one seen from the front.
fn widest_tilt_deg(poses: &[BoardPose]) -> f64 {
    let normals: Vec<Vector3<f64>> = poses.iter().map(BoardPose::normal_camera).collect();
    let mut widest: f64 = 0.0;
    for (index, a) in normals.iter().enumerate() {
        for b in &normals[..index] {
            let angle = Angle::between(a, b).deg();
            widest = widest.max(angle.min(180.0 - angle));
        }
    }
    widest
}

/// Intrinsics and poses from the homographies of the views, without distortion.
fn start(views: &[BoardView], image_size: [u32; 2]) -> Result<State, CameraError> {
    let mut homographies = Vec::with_capacity(views.len());
    for (view, corners) in views.iter().enumerate() {
        let pairs: Vec<PlanePair> = corners
            .corners
            .iter()
            .map(|corner| PlanePair { from: Vector2::from(corner.board_mm), to: corner.image.to_vector() })
            .collect();
        homographies.push(fit_homography(&pairs).ok_or(CameraError::ViewDegenerate { view })?);
    }
    refuse_parallel(&homographies, image_size)?;
    let lens = zhang_lens(&homographies, image_size)
        .or_else(|| centred_lens(&homographies, image_size))
        .ok_or(CameraError::CalibrationUndetermined)?;
    let poses: Option<Vec<BoardPose>> = homographies.iter().map(|homography| pose_from(homography, &lens)).collect();
    Ok(State { lens, poses: poses.ok_or(CameraError::CalibrationUndetermined)? })
}

/// Refuses boards that were all held the same way. They leave the focal length undetermined, so a usual one is taken, which
/// changes the angles between the boards by some percent only.
fn refuse_parallel(homographies: &[Matrix3<f64>], image_size: [u32; 2]) -> Result<(), CameraError> {
    let usual = Lens::phone_prior(image_size);
    let poses: Vec<BoardPose> = homographies.iter().filter_map(|homography| pose_from(homography, &usual)).collect();
    let widest_deg = widest_tilt_deg(&poses);
    if widest_deg < PARALLEL_LIMIT_DEG {
        return Err(CameraError::ViewsParallel { widest_deg, needed_deg: PARALLEL_LIMIT_DEG });
    }
    Ok(())
}

/// Zhang's closed form without skew: the image of the absolute conic from the orthogonality of the board's axes.
/// `None` where noise makes it no camera.
fn zhang_lens(homographies: &[Matrix3<f64>], image_size: [u32; 2]) -> Option<Lens> {
    let (to_unit, scale, centre) = unit_frame(image_size);
    // Unknown: B11, B22, B13, B23, B33 of the symmetric B = K^-T K^-1, with B12 = 0.
    let constraint = |a: &Vector3<f64>, b: &Vector3<f64>| {
        [a.x * b.x, a.y * b.y, a.x * b.z + a.z * b.x, a.y * b.z + a.z * b.y, a.z * b.z]
    };
    let mut normal = DMatrix::<f64>::zeros(5, 5);
    for homography in homographies {
        let h = to_unit * homography;
        let (h1, h2) = (h.column(0).into_owned(), h.column(1).into_owned());
        let size = h1.norm() * h2.norm();
        let across = constraint(&h1, &h2);
        let (first, second) = (constraint(&h1, &h1), constraint(&h2, &h2));
        let difference: [f64; 5] = std::array::from_fn(|i| first[i] - second[i]);
        for row in [across, difference] {
            for i in 0..5 {
                for j in 0..5 {
                    normal[(i, j)] += row[i] * row[j] / (size * size);
                }
            }
        }
    }
    let eigen = normal.symmetric_eigen();
    let least = eigen.eigenvalues.imin();
    let b = eigen.eigenvectors.column(least);
    let (b11, b22, b13, b23, b33) = (b[0], b[1], b[2], b[3], b[4]);
    let (cx, cy) = (-b13 / b11, -b23 / b22);
    let lambda = b33 - b13 * b13 / b11 - b23 * b23 / b22;
    let (fx2, fy2) = (lambda / b11, lambda / b22);
    // A camera has positive squared focal lengths of one order and its axis within the picture.
    let is_camera = fx2 > 0.01 && fy2 > 0.01 && fx2 < 1e4 && fy2 < 1e4 && cx.abs() < 0.5 && cy.abs() < 0.5;
    is_camera.then(|| {
        let mut lens = Lens::pinhole(image_size, fx2.sqrt() * scale);
        lens.fy = fy2.sqrt() * scale;
        lens.cx = cx * scale + centre.x;
        lens.cy = cy * scale + centre.y;
        lens
    })
}

/// One focal length, with the principal point at the middle of the picture: needs a single tilted view.
fn centred_lens(homographies: &[Matrix3<f64>], image_size: [u32; 2]) -> Option<Lens> {
    let (to_unit, scale, _) = unit_frame(image_size);
    let (mut numerator, mut denominator) = (0.0, 0.0);
    for homography in homographies {
        let h = to_unit * homography;
        let (h1, h2) = (h.column(0).into_owned(), h.column(1).into_owned());
        // (xx + yy) / f² + zz = 0 for a pair of orthogonal directions, and the same for their difference of squares.
        for (plane, depth) in [
            (h1.x * h2.x + h1.y * h2.y, h1.z * h2.z),
            (h1.x * h1.x + h1.y * h1.y - h2.x * h2.x - h2.y * h2.y, h1.z * h1.z - h2.z * h2.z),
        ] {
            let weight = 1.0 / (h1.norm() * h2.norm()).powi(2);
            numerator -= plane * depth * weight;
            denominator += plane * plane * weight;
        }
    }
    let inverse_f2 = numerator / denominator;
    (inverse_f2 > 1e-4 && inverse_f2 < 1e2).then(|| Lens::pinhole(image_size, scale / inverse_f2.sqrt()))
}

/// The map from px to a frame about the picture's middle in units of its long side, that unit, and the middle.
fn unit_frame(image_size: [u32; 2]) -> (Matrix3<f64>, f64, Vector2<f64>) {
    let [width, height] = image_size.map(f64::from);
    let scale = width.max(height);
    let centre = Vector2::new((width - 1.0) / 2.0, (height - 1.0) / 2.0);
    let to_unit = Matrix3::new(1.0 / scale, 0.0, -centre.x / scale, 0.0, 1.0 / scale, -centre.y / scale, 0.0, 0.0, 1.0);
    (to_unit, scale, centre)
}

/// The board's pose from its homography; the board is put before the camera.
fn pose_from(homography: &Matrix3<f64>, lens: &Lens) -> Option<BoardPose> {
    let camera = Matrix3::new(lens.fx, 0.0, lens.cx, 0.0, lens.fy, lens.cy, 0.0, 0.0, 1.0);
    let m = camera.try_inverse()? * homography;
    let (m1, m2, m3) = (m.column(0).into_owned(), m.column(1).into_owned(), m.column(2).into_owned());
    let sign = if m3.z < 0.0 { -1.0 } else { 1.0 };
    let scale = sign * 2.0 / (m1.norm() + m2.norm());
    let (r1, r2) = (m1 * scale, m2 * scale);
    let rough = Matrix3::from_columns(&[r1, r2, r1.cross(&r2)]);
    let svd = rough.svd(true, true);
    let nearest = svd.u? * svd.v_t?;
    (nearest.determinant() > 0.0).then(|| BoardPose {
        camera_from_board: Rotation3::from_matrix_unchecked(nearest),
        origin_camera_mm: m3 * scale,
    })
}

#[cfg(test)]
mod tests;
