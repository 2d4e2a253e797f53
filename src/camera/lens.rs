//! The lens model: a pinhole with Brown-Conrady distortion.
//!
//! Maps between the camera frame (mm, or the plane z = 1 without unit) and the upright picture (px, origin at the centre of
//! the top-left pixel). Assumes one centre of projection and a picture whose every row was taken at one time; rolling shutter
//! and electronic stabilization cannot be detected here.
//!
//! # Source
//! Brown (1966), Decentering distortion of lenses, Photogrammetric Engineering 32(3), 444-462. The form and order of the
//! coefficients (k1, k2, p1, p2, k3) are the common open convention.

use nalgebra::{Matrix2, SMatrix, Vector2};

use crate::camera::CameraError;
use crate::geometry::{CameraPoint, ImagePoint, NormalizedPoint};

/// A step of the inversion below this ends it: 1e-13 of the focal length is far below any pixel's error.
pub const UNDISTORT_STEP_TOL: f64 = 1e-13;

/// Steps after which the inversion gives up. Newton's method needs 3 to 6.
pub const UNDISTORT_MAX_STEPS: usize = 50;

/// Focal length of a phone's main camera in the way it films video, as millimetres on a 36 x 24 mm frame of the same diagonal
/// as the 4:3 sensor. Main cameras are given as 24 to 28 mm, and video modes crop a little (common practice, from memory).
pub const PHONE_FOCAL_EQUIVALENT_MM: f64 = 27.0;

/// Relative standard deviation of that focal length: covers 24 to 30 mm within two (common practice, from memory).
pub const PHONE_FOCAL_RELATIVE_SD: f64 = 0.08;

/// Relative standard deviation of fy / fx: pixels of phone cameras are square (common practice, from memory).
const PHONE_PIXEL_ASPECT_SD: f64 = 0.002;

/// Standard deviation of the principal point as a fraction of the picture's long side: centring of the lens, and
/// stabilization that moves the crop (common practice, from memory).
const PHONE_PRINCIPAL_POINT_SD: f64 = 0.01;

/// Standard deviations of k1, k2, p1, p2, k3 of a phone that corrects its own pictures (common practice, from memory).
const PHONE_DISTORTION_SD: [f64; 5] = [0.03, 0.03, 0.001, 0.001, 0.01];

/// Diagonal of the 36 x 24 mm frame to which equivalent focal lengths refer, mm.
const EQUIVALENT_DIAGONAL_MM: f64 = 43.266_615_305_567_87;

/// Long side of a 4:3 sensor over its diagonal. Video in 16:9 keeps the long side.
const LONG_SIDE_OF_DIAGONAL: f64 = 0.8;

/// Number of parameters of the lens: fx fy cx cy k1 k2 p1 p2 k3.
pub const LENS_PARAMETERS: usize = 9;

/// Names of the parameters, in the order of [`Lens::covariance`].
pub const LENS_PARAMETER_NAMES: [&str; LENS_PARAMETERS] = ["fx", "fy", "cx", "cy", "k1", "k2", "p1", "p2", "k3"];

/// Intrinsics and distortion of a camera for one image size, with their covariance.
#[derive(Debug, Clone, PartialEq)]
pub struct Lens {
    /// Width and height of the upright picture this lens is for, px.
    pub image_size: [u32; 2],
    /// Focal length along x, px.
    pub fx: f64,
    /// Focal length along y, px.
    pub fy: f64,
    /// Principal point, px from the centre of the top-left pixel.
    pub cx: f64,
    /// Principal point, px from the centre of the top-left pixel.
    pub cy: f64,
    /// k1, k2, p1, p2, k3.
    pub distortion: [f64; 5],
    /// Covariance in the order fx fy cx cy k1 k2 p1 p2 k3.
    pub covariance: SMatrix<f64, 9, 9>,
}

/// An image point with its derivatives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Distorted {
    /// The image point, px.
    pub point: ImagePoint,
    /// Derivative by the normalized point, px.
    pub by_normalized: Matrix2<f64>,
    /// Derivative by fx fy cx cy k1 k2 p1 p2 k3, px per unit of each.
    pub by_parameters: SMatrix<f64, 2, 9>,
}

impl Lens {
    /// A lens without distortion, of which all is known: focal length `focal_px`, principal point at the picture's middle.
    #[must_use]
    pub fn pinhole(image_size: [u32; 2], focal_px: f64) -> Self {
        let [width, height] = image_size.map(f64::from);
        Self {
            image_size,
            fx: focal_px,
            fy: focal_px,
            cx: (width - 1.0) / 2.0,
            cy: (height - 1.0) / 2.0,
            distortion: [0.0; 5],
            covariance: SMatrix::zeros(),
        }
    }

    /// What is known of a phone's main camera without a profile: usual values, with a spread that covers usual phones.
    ///
    /// `image_size` is that of the upright picture, px. The spreads are standard deviations, in [`Self::covariance`]; the two
    /// focal lengths are almost wholly correlated, since pixels are square. Not for ultra-wide or telephoto cameras.
    #[must_use]
    pub fn phone_prior(image_size: [u32; 2]) -> Self {
        let long_side = f64::from(image_size[0].max(image_size[1]));
        let focal_px = PHONE_FOCAL_EQUIVALENT_MM / EQUIVALENT_DIAGONAL_MM / LONG_SIDE_OF_DIAGONAL * long_side;
        let mut lens = Self::pinhole(image_size, focal_px);
        let shared = (focal_px * PHONE_FOCAL_RELATIVE_SD).powi(2);
        let own = (focal_px * PHONE_PIXEL_ASPECT_SD).powi(2) / 2.0;
        for row in 0..2 {
            for col in 0..2 {
                lens.covariance[(row, col)] = if row == col { shared + own } else { shared };
            }
        }
        for index in 2..4 {
            lens.covariance[(index, index)] = (long_side * PHONE_PRINCIPAL_POINT_SD).powi(2);
        }
        for (offset, sd) in PHONE_DISTORTION_SD.into_iter().enumerate() {
            lens.covariance[(4 + offset, 4 + offset)] = sd * sd;
        }
        lens
    }

    /// The parameters in the order of the covariance.
    #[must_use]
    pub const fn parameters(&self) -> [f64; LENS_PARAMETERS] {
        let [k1, k2, p1, p2, k3] = self.distortion;
        [self.fx, self.fy, self.cx, self.cy, k1, k2, p1, p2, k3]
    }

    /// The same lens with other parameters, in the order of the covariance.
    #[must_use]
    pub const fn with_parameters(mut self, parameters: [f64; LENS_PARAMETERS]) -> Self {
        let [fx, fy, cx, cy, k1, k2, p1, p2, k3] = parameters;
        self.fx = fx;
        self.fy = fy;
        self.cx = cx;
        self.cy = cy;
        self.distortion = [k1, k2, p1, p2, k3];
        self
    }

    /// Standard uncertainties of the parameters, in the order of the covariance.
    #[must_use]
    pub fn parameter_u(&self) -> [f64; LENS_PARAMETERS] {
        std::array::from_fn(|index| self.covariance[(index, index)].max(0.0).sqrt())
    }

    /// Where a point of the camera frame appears in the picture, px.
    ///
    /// `None` for a point behind the camera or in its plane, and for one so far off the axis that the distortion polynomial
    /// has folded over there, since the model says nothing about such points.
    #[must_use]
    pub fn project(&self, point: CameraPoint) -> Option<ImagePoint> {
        let CameraPoint(p) = point;
        if p.z <= 0.0 {
            return None;
        }
        let normalized = NormalizedPoint::new(p.x / p.z, p.y / p.z);
        self.has_in_field(normalized).then(|| self.distort(normalized))
    }

    /// Whether a point lies within the radius up to which distortion keeps the order of radii.
    #[must_use]
    pub fn has_in_field(&self, point: NormalizedPoint) -> bool {
        let r2 = point.x * point.x + point.y * point.y;
        let [k1, k2, _, _, k3] = self.distortion;
        // A lower bound of the radial derivative on all of [0, r]: positive means no fold, and spares the root search.
        let bound = 1.0 - r2 * (3.0 * k1.abs() + r2 * (5.0 * k2.abs() + r2 * 7.0 * k3.abs()));
        bound > 0.0 || self.fold_radius().is_none_or(|fold| r2 < fold * fold)
    }

    /// Applies lens distortion and intrinsics to a point of the plane z = 1; the result is in px.
    ///
    /// The polynomial is applied wherever the point lies; see [`Self::has_in_field`].
    #[must_use]
    pub fn distort(&self, point: NormalizedPoint) -> ImagePoint {
        let [k1, k2, p1, p2, k3] = self.distortion;
        let NormalizedPoint { x, y } = point;
        let r2 = x * x + y * y;
        let radial = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3));
        let x_distorted = x * radial + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x);
        let y_distorted = y * radial + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y;
        ImagePoint::new(self.fx * x_distorted + self.cx, self.fy * y_distorted + self.cy)
    }

    /// As [`Self::distort`], with the derivatives by the point and by the lens's parameters.
    #[must_use]
    pub fn distort_with_jacobian(&self, point: NormalizedPoint) -> Distorted {
        let [k1, k2, p1, p2, k3] = self.distortion;
        let NormalizedPoint { x, y } = point;
        let r2 = x * x + y * y;
        let (r4, r6) = (r2 * r2, r2 * r2 * r2);
        let radial = 1.0 + k1 * r2 + k2 * r4 + k3 * r6;
        let radial_by_r2 = k1 + 2.0 * k2 * r2 + 3.0 * k3 * r4;
        let x_distorted = x * radial + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x);
        let y_distorted = y * radial + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y;
        let cross = 2.0 * x * y * radial_by_r2 + 2.0 * p1 * x + 2.0 * p2 * y;
        let by_normalized = Matrix2::new(
            self.fx * (radial + 2.0 * x * x * radial_by_r2 + 2.0 * p1 * y + 6.0 * p2 * x),
            self.fx * cross,
            self.fy * cross,
            self.fy * (radial + 2.0 * y * y * radial_by_r2 + 6.0 * p1 * y + 2.0 * p2 * x),
        );
        #[rustfmt::skip]
        let by_parameters = SMatrix::<f64, 2, 9>::from_row_slice(&[
            x_distorted, 0.0, 1.0, 0.0,
            self.fx * x * r2, self.fx * x * r4, self.fx * 2.0 * x * y, self.fx * (r2 + 2.0 * x * x), self.fx * x * r6,
            0.0, y_distorted, 0.0, 1.0,
            self.fy * y * r2, self.fy * y * r4, self.fy * (r2 + 2.0 * y * y), self.fy * 2.0 * x * y, self.fy * y * r6,
        ]);
        let point = ImagePoint::new(self.fx * x_distorted + self.cx, self.fy * y_distorted + self.cy);
        Distorted { point, by_normalized, by_parameters }
    }

    /// Removes lens distortion from an image point.
    ///
    /// `point` is in px, origin at the centre of the top-left pixel, y down. The result lies on the plane z = 1 of the camera
    /// frame, without unit. The radius is first bracketed within the field where the radial polynomial rises, then both
    /// coordinates are refined by Newton's method until a step is below [`UNDISTORT_STEP_TOL`].
    ///
    /// # Errors
    /// [`CameraError::OutsideLensField`] for a point farther out than the model reaches before it folds over;
    /// [`CameraError::UndistortDiverged`] after [`UNDISTORT_MAX_STEPS`].
    ///
    /// # Source
    /// Brown (1966), Decentering distortion of lenses, Photogrammetric Engineering 32(3), 444-462.
    pub fn undistort(&self, point: ImagePoint) -> Result<NormalizedPoint, CameraError> {
        let fold = self.fold_radius();
        let outside = || CameraError::OutsideLensField {
            x: point.x,
            y: point.y,
            max_radius_px: fold.map_or(f64::INFINITY, |radius| self.fx * self.radial_image(radius)),
        };
        if !point.x.is_finite() || !point.y.is_finite() {
            return Err(outside());
        }
        let mut estimate = self.radial_start(point, fold).ok_or_else(outside)?;
        for _ in 0..UNDISTORT_MAX_STEPS {
            let distorted = self.distort_with_jacobian(NormalizedPoint::new(estimate.x, estimate.y));
            let residual_px = distorted.point.to_vector() - point.to_vector();
            let Some(inverse) = distorted.by_normalized.try_inverse() else { return Err(outside()) };
            if distorted.by_normalized.determinant() <= 0.0 {
                return Err(outside());
            }
            let step = inverse * residual_px;
            estimate -= step;
            if step.norm() <= UNDISTORT_STEP_TOL * (1.0 + estimate.norm()) {
                let solution = NormalizedPoint::new(estimate.x, estimate.y);
                return if self.has_in_field(solution) { Ok(solution) } else { Err(outside()) };
            }
        }
        Err(CameraError::UndistortDiverged { x: point.x, y: point.y, steps: UNDISTORT_MAX_STEPS })
    }

    /// The radius on the plane z = 1 at which the radial polynomial stops rising; `None` if it rises for ever.
    ///
    /// It is the least positive root of 1 + 3 k1 r² + 5 k2 r⁴ + 7 k3 r⁶, a cubic in r².
    #[must_use]
    pub fn fold_radius(&self) -> Option<f64> {
        let [k1, k2, _, _, k3] = self.distortion;
        least_positive_root([1.0, 3.0 * k1, 5.0 * k2, 7.0 * k3]).map(f64::sqrt)
    }

    /// The lens for the same picture at another size, px.
    ///
    /// Pixel centres lie at whole numbers, so a point c goes to (c + 0.5) s - 0.5. The covariance follows. Sizes that differ
    /// from the same aspect by rounding to whole pixels are accepted, and each axis has its own scale.
    ///
    /// # Errors
    /// [`CameraError::AspectDiffers`] if the picture has another shape: a crop's place cannot be known.
    pub fn scaled_to(&self, image_size: [u32; 2]) -> Result<Self, CameraError> {
        if !has_same_aspect(self.image_size, image_size) {
            return Err(CameraError::AspectDiffers { profile: self.image_size, picture: image_size });
        }
        let [sx, sy]: [f64; 2] =
            std::array::from_fn(|axis| f64::from(image_size[axis]) / f64::from(self.image_size[axis]));
        let mut scale = SMatrix::<f64, 9, 9>::identity();
        for (index, factor) in [sx, sy, sx, sy].into_iter().enumerate() {
            scale[(index, index)] = factor;
        }
        Ok(Self {
            image_size,
            fx: self.fx * sx,
            fy: self.fy * sy,
            cx: (self.cx + 0.5) * sx - 0.5,
            cy: (self.cy + 0.5) * sy - 0.5,
            distortion: self.distortion,
            covariance: scale * self.covariance * scale,
        })
    }

    /// The lens for the picture turned clockwise by `clockwise` quarter turns.
    ///
    /// One turn takes a point (x, y) of a picture of height h to (h - 1 - y, x). Focal lengths, principal point, p1 and p2
    /// and the covariance follow.
    #[must_use]
    pub fn quarter_turned(&self, clockwise: u8) -> Self {
        let mut lens = self.clone();
        for _ in 0..clockwise % 4 {
            let [k1, k2, p1, p2, k3] = lens.distortion;
            let height = f64::from(lens.image_size[1]);
            // New parameter = sign * old parameter (+ a constant): (old index, sign) in the order of the covariance.
            let from = [(1, 1.0), (0, 1.0), (3, -1.0), (2, 1.0), (4, 1.0), (5, 1.0), (7, 1.0), (6, -1.0), (8, 1.0)];
            lens = Self {
                image_size: [lens.image_size[1], lens.image_size[0]],
                fx: lens.fy,
                fy: lens.fx,
                cx: height - 1.0 - lens.cy,
                cy: lens.cx,
                distortion: [k1, k2, p2, -p1, k3],
                covariance: permuted(&lens.covariance, &from),
            };
        }
        lens
    }

    /// The lens for the mirror picture, in which x becomes width - 1 - x, as a selfie camera stores it.
    #[must_use]
    pub fn mirrored(&self) -> Self {
        let [k1, k2, p1, p2, k3] = self.distortion;
        let from = [(0, 1.0), (1, 1.0), (2, -1.0), (3, 1.0), (4, 1.0), (5, 1.0), (6, 1.0), (7, -1.0), (8, 1.0)];
        Self {
            cx: f64::from(self.image_size[0]) - 1.0 - self.cx,
            distortion: [k1, k2, p1, -p2, k3],
            covariance: permuted(&self.covariance, &from),
            ..self.clone()
        }
    }

    /// The distorted radius of a radius on the plane z = 1, radial part only, without unit.
    fn radial_image(&self, radius: f64) -> f64 {
        let [k1, k2, _, _, k3] = self.distortion;
        let r2 = radius * radius;
        radius * (1.0 + r2 * (k1 + r2 * (k2 + r2 * k3)))
    }

    /// Inverts the radial part by bisection; `None` if the point lies clearly past the fold.
    fn radial_start(&self, point: ImagePoint, fold: Option<f64>) -> Option<Vector2<f64>> {
        let distorted = Vector2::new((point.x - self.cx) / self.fx, (point.y - self.cy) / self.fy);
        let wanted = distorted.norm();
        if wanted <= 0.0 {
            return Some(distorted);
        }
        let upper = match fold {
            Some(radius) => radius,
            None => {
                let mut radius = wanted;
                // Without a fold the polynomial rises without bound, so doubling ends.
                while self.radial_image(radius) < wanted && radius.is_finite() {
                    radius *= 2.0;
                }
                radius
            }
        };
        // Tangential distortion may carry a point of the field a little past the radial limit: Newton decides near it.
        let shortfall = wanted - self.radial_image(upper);
        let [_, _, p1, p2, _] = self.distortion;
        if shortfall > 3.0 * (p1.abs() + p2.abs()) * upper * upper + f64::EPSILON {
            return None;
        }
        let (mut low, mut high) = (0.0, upper);
        for _ in 0..20 {
            let middle = 0.5 * (low + high);
            if self.radial_image(middle) < wanted { low = middle } else { high = middle }
        }
        Some(distorted * (low / wanted))
    }
}

/// Whether `to` has the aspect of `from`, up to rounding to whole pixels.
#[must_use]
pub fn has_same_aspect(from: [u32; 2], to: [u32; 2]) -> bool {
    let [from_width, from_height] = from.map(f64::from);
    let [to_width, to_height] = to.map(f64::from);
    let larger = from_width.max(from_height).max(to_width).max(to_height);
    let smaller = from_width.min(to_width);
    // One pixel of the smaller picture is the most that rounding, also to even sizes, can do to its sides.
    (from_width * to_height - to_width * from_height).abs() <= 1.001 * larger && smaller > 0.0
}

/// Rows and columns of a covariance moved and signed: entry i comes from `from[i]` = (old index, sign).
fn permuted(covariance: &SMatrix<f64, 9, 9>, from: &[(usize, f64); 9]) -> SMatrix<f64, 9, 9> {
    SMatrix::from_fn(|row, col| from[row].1 * from[col].1 * covariance[(from[row].0, from[col].0)])
}

/// The least positive root of c0 + c1 s + c2 s² + c3 s³ with c0 > 0, or `None`.
///
/// The turning points of the cubic cut the positive axis into stretches on which it is monotonic; the first stretch at whose
/// end it is not positive holds the least root, found by bisection to the last bit.
fn least_positive_root([c0, c1, c2, c3]: [f64; 4]) -> Option<f64> {
    let value = |s: f64| c0 + s * (c1 + s * (c2 + s * c3));
    let mut ends: Vec<f64> =
        quadratic_roots(3.0 * c3, 2.0 * c2, c1).into_iter().flatten().filter(|s| *s > 0.0).collect();
    ends.sort_by(f64::total_cmp);
    let leading = [c3, c2, c1].into_iter().find(|c| *c != 0.0)?;
    if leading < 0.0 {
        let mut far = ends.last().copied().unwrap_or(0.0).max(1.0);
        while value(far) > 0.0 && far.is_finite() {
            far *= 2.0;
        }
        ends.push(far);
    }
    let mut low = 0.0;
    for end in ends {
        if value(end) <= 0.0 {
            let mut high = end;
            // Halving a double's interval ends when the middle equals one of its ends.
            loop {
                let middle = 0.5 * (low + high);
                if middle <= low || middle >= high {
                    return Some(high);
                }
                if value(middle) > 0.0 { low = middle } else { high = middle }
            }
        }
        low = end;
    }
    None
}

/// Real roots of a s² + b s + c.
fn quadratic_roots(a: f64, b: f64, c: f64) -> [Option<f64>; 2] {
    if a == 0.0 {
        return [(b != 0.0).then(|| -c / b), None];
    }
    let discriminant = b * b - 4.0 * a * c;
    if discriminant < 0.0 {
        return [None, None];
    }
    let q = -0.5 * (b + discriminant.sqrt().copysign(b));
    [Some(q / a), (q != 0.0).then(|| c / q)]
}

#[cfg(test)]
mod tests;
