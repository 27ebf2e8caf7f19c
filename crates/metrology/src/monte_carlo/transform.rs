//! From random bits to the distributions of JCGM 101, 6.4.
//!
//! Everything is written as plain loops over a strip with arithmetic only (no branch, no library call), so that the
//! compiler turns them into vector code, and without fused multiplication, so that every machine gives the same bits.
//!
//! Sources: JCGM 101:2008, 6.4.2 to 6.4.9; G. E. P. Box, M. E. Muller, Ann. Math. Statist. 29 (1958) 610;
//! R. W. Bailey, Math. Comp. 62 (1994) 779 (Student t for any degrees of freedom); G. Marsaglia, W. W. Tsang, ACM
//! Trans. Math. Softw. 26 (2000) 363 (gamma).

use super::random::{Bits, STRIP, Streams, Strip, unit_interval};
use std::f64::consts::{FRAC_PI_2, LN_2, SQRT_2};

/// Half of a strip: the normal distribution makes two numbers of two.
const HALF: usize = STRIP / 2;

/// `centre` plus or minus `half_width`, uniformly.
#[inline(always)]
pub(super) fn rectangular(streams: &mut Streams, centre: f64, half_width: f64, out: &mut Strip) {
    let mut bits = [0; STRIP];
    streams.fill(&mut bits);
    let width = 2.0 * half_width;
    for (out, bits) in out.iter_mut().zip(&bits) {
        *out = centre + width * (unit_interval(*bits) - 0.5);
    }
}

/// Symmetric trapezoid (JCGM 101, 6.4.4.2): two rectangles with half-widths `wide` and `narrow` added.
/// The triangle (6.4.5.2) has both the same.
#[inline(always)]
pub(super) fn trapezoidal(
    streams: &mut Streams,
    centre: f64,
    [wide, narrow]: [f64; 2],
    out: &mut Strip,
) {
    let [mut first, mut second] = [[0; STRIP]; 2];
    streams.fill(&mut first);
    streams.fill(&mut second);
    let (wide, narrow) = (2.0 * wide, 2.0 * narrow);
    for ((out, a), b) in out.iter_mut().zip(&first).zip(&second) {
        *out = centre + (wide * (unit_interval(*a) - 0.5) + narrow * (unit_interval(*b) - 0.5));
    }
}

/// Rectangle whose half-width is itself rectangular within the inexactness (JCGM 101, 6.4.3.4).
#[inline(always)]
pub(super) fn curvilinear(
    streams: &mut Streams,
    centre: f64,
    half_width: f64,
    inexactness: f64,
    out: &mut Strip,
) {
    let [mut first, mut second] = [[0; STRIP]; 2];
    streams.fill(&mut first);
    streams.fill(&mut second);
    let (width, spread) = (2.0 * half_width, 4.0 * inexactness);
    for ((out, a), b) in out.iter_mut().zip(&first).zip(&second) {
        let width = width + spread * (unit_interval(*a) - 0.5);
        *out = centre + width * (unit_interval(*b) - 0.5);
    }
}

/// Sine of a random phase (JCGM 101, 6.4.6.2).
#[inline(always)]
pub(super) fn arcsine(streams: &mut Streams, centre: f64, half_width: f64, out: &mut Strip) {
    let mut bits = [0; STRIP];
    streams.fill(&mut bits);
    for (out, bits) in out.iter_mut().zip(&bits) {
        *out = centre + half_width * direction(*bits).0;
    }
}

/// Gaussian (JCGM 101, 6.4.7.2), by Box and Muller.
#[inline(always)]
pub(super) fn normal(streams: &mut Streams, centre: f64, deviation: f64, out: &mut Strip) {
    let mut bits = [0; STRIP];
    streams.fill(&mut bits);
    let (radii, directions) = bits.split_at(HALF);
    let (first, second) = out.split_at_mut(HALF);
    for (((x, y), r), d) in first.iter_mut().zip(second).zip(radii).zip(directions) {
        let radius = deviation * (-2.0 * logarithm(unit_interval(*r))).sqrt();
        let (a, b) = direction(*d);
        *x = centre + radius * a;
        *y = centre + radius * b;
    }
}

/// Scaled and shifted Student t (JCGM 101, 6.4.9.4) with any degrees of freedom above 0, by Bailey's form of Box and
/// Muller; of his pair one number is taken, since the two are not independent.
#[inline(always)]
pub(super) fn student_t(
    streams: &mut Streams,
    centre: f64,
    scale: f64,
    degrees_of_freedom: f64,
    out: &mut Strip,
) {
    let [mut radii, mut directions]: [Bits; 2] = [[0; STRIP]; 2];
    streams.fill(&mut radii);
    streams.fill(&mut directions);
    let power = -2.0 / degrees_of_freedom;
    for ((out, r), d) in out.iter_mut().zip(&radii).zip(&directions) {
        // u^(-2/ν) - 1 without loss of digits for large ν.
        let square = (power * logarithm(unit_interval(*r))).exp_m1();
        *out = centre + scale * (degrees_of_freedom * square).sqrt() * direction(*d).0;
    }
}

/// √(ν/w) with w from the chi-square distribution: what a normal vector is multiplied by to become a vector of joint
/// Student t.
#[inline(always)]
pub(super) fn student_t_factor(streams: &mut Streams, degrees_of_freedom: f64, out: &mut Strip) {
    let mut supply = Supply {
        normals: [0.0; STRIP],
        uniforms: [0; STRIP],
        next: STRIP,
    };
    // chi-square(ν) = 2 gamma(ν/2); a shape below 1 is reached from the shape above.
    let shape = 0.5 * degrees_of_freedom;
    let raised = if shape < 1.0 { shape + 1.0 } else { shape };
    let d = raised - 1.0 / 3.0;
    let c = 1.0 / (9.0 * d).sqrt();
    for out in out {
        let gamma = loop {
            let (x, u) = supply.pair(streams);
            let v = (1.0 + c * x).powi(3);
            if v > 0.0 && u.ln() < 0.5 * x * x + d - d * v + d * v.ln() {
                break d * v;
            }
        };
        let gamma = if shape < 1.0 {
            gamma * supply.pair(streams).1.powf(1.0 / shape)
        } else {
            gamma
        };
        *out = (shape / gamma).sqrt();
    }
}

/// Normal and uniform numbers one at a time, for the method that rejects some.
struct Supply {
    normals: Strip,
    uniforms: Bits,
    next: usize,
}

impl Supply {
    fn pair(&mut self, streams: &mut Streams) -> (f64, f64) {
        if self.next == STRIP {
            normal(streams, 0.0, 1.0, &mut self.normals);
            streams.fill(&mut self.uniforms);
            self.next = 0;
        }
        let i = self.next;
        self.next += 1;
        (self.normals[i], unit_interval(self.uniforms[i]))
    }
}

/// A random direction: the coordinates of a point of the unit circle.
///
/// The angle is drawn within ±45° of an axis, where sine and cosine are short series; two bits choose the axis.
#[inline(always)]
fn direction(bits: u64) -> (f64, f64) {
    let angle = FRAC_PI_2 * (unit_interval(bits << 2) - 0.5);
    let z = angle * angle;
    // Taylor; the first term left out is below 1e-16 at 45°.
    let sine = angle
        * (1.0
            + z * (-1.0 / 6.0
                + z * (1.0 / 120.0
                    + z * (-1.0 / 5040.0
                        + z * (1.0 / 362_880.0
                            + z * (-1.0 / 39_916_800.0
                                + z * (1.0 / 6_227_020_800.0
                                    + z * (-1.0 / 1_307_674_368_000.0))))))));
    let cosine = 1.0
        + z * (-1.0 / 2.0
            + z * (1.0 / 24.0
                + z * (-1.0 / 720.0
                    + z * (1.0 / 40_320.0
                        + z * (-1.0 / 3_628_800.0
                            + z * (1.0 / 479_001_600.0
                                + z * (-1.0 / 87_178_291_200.0
                                    + z * (1.0 / 20_922_789_888_000.0))))))));
    let signed = f64::from_bits(cosine.to_bits() ^ (bits & (1 << 63)));
    if bits & (1 << 62) == 0 {
        (signed, sine)
    } else {
        (sine, signed)
    }
}

/// Natural logarithm of a positive, normal number, to about one unit in the last place.
#[inline(always)]
fn logarithm(x: f64) -> f64 {
    const SQRT_HALF_BITS: u64 = (SQRT_2 / 2.0).to_bits();
    const ONE_BITS: u64 = 1f64.to_bits();
    // x = 2^exponent · m with m from √½ to √2.
    let shifted = x.to_bits() + (ONE_BITS - SQRT_HALF_BITS);
    let m = f64::from_bits((shifted & 0x000f_ffff_ffff_ffff) + SQRT_HALF_BITS);
    // The exponent as a number, by way of the last bits of 2^52.
    let exponent = f64::from_bits((shifted >> 52) | 0x4330_0000_0000_0000)
        - (4_503_599_627_370_496.0 + 1023.0);
    // ln m = 2 artanh s; |s| < 0.172, so the first term left out is below 1e-16 of the whole.
    let s = (m - 1.0) / (m + 1.0);
    let z = s * s;
    let series = 1.0
        + z * (1.0 / 3.0
            + z * (1.0 / 5.0
                + z * (1.0 / 7.0
                    + z * (1.0 / 9.0
                        + z * (1.0 / 11.0
                            + z * (1.0 / 13.0
                                + z * (1.0 / 15.0 + z * (1.0 / 17.0 + z * (1.0 / 19.0)))))))));
    exponent * LN_2 + 2.0 * s * series
}
