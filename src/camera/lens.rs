//! The lens model: a pinhole with Brown-Conrady distortion.

use nalgebra::SMatrix;

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
