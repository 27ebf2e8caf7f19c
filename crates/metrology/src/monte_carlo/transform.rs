//! From random bits to the distributions of JCGM 101, 6.4.
//!
//! Everything is written as plain loops over a strip with arithmetic only (no branch, no library call), so that the
//! compiler turns them into vector code, and without fused multiplication, so that every machine gives the same bits.
//!
//! Sources: JCGM 101:2008, 6.4.2 to 6.4.9; G. E. P. Box, M. E. Muller, Ann. Math. Statist. 29 (1958) 610;
//! R. W. Bailey, Math. Comp. 62 (1994) 779 (Student t for any degrees of freedom); G. Marsaglia, W. W. Tsang, ACM
//! Trans. Math. Softw. 26 (2000) 363 (gamma).

use super::random::{HALF_RANGE, STRIP, Streams, Strip, halves, unit_interval};
use std::f64::consts::{FRAC_PI_2, LN_2, LOG2_E, SQRT_2};

/// Half of a strip: the normal distribution makes two numbers of two.
const HALF: usize = STRIP / 2;

/// `centre` plus or minus `half_width`, uniformly.
#[inline(always)]
pub(super) fn rectangular(streams: &mut Streams, centre: f64, half_width: f64, out: &mut Strip) {
    let scale = half_width / HALF_RANGE;
    let (first, second) = out.split_at_mut(HALF);
    for ((x, y), word) in first.iter_mut().zip(second).zip(streams.words::<HALF>()) {
        let (a, b) = halves(*word);
        *x = centre + scale * a;
        *y = centre + scale * b;
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
    let (wide, narrow) = (wide / HALF_RANGE, narrow / HALF_RANGE);
    for (x, word) in out.iter_mut().zip(streams.words::<STRIP>()) {
        let (a, b) = halves(*word);
        *x = centre + (wide * a + narrow * b);
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
    let (scale, spread) = (1.0 / HALF_RANGE, inexactness / HALF_RANGE);
    for (x, word) in out.iter_mut().zip(streams.words::<STRIP>()) {
        let (a, b) = halves(*word);
        *x = centre + (half_width + spread * a) * (scale * b);
    }
}

/// Sine of a random phase (JCGM 101, 6.4.6.2).
#[inline(always)]
pub(super) fn arcsine(streams: &mut Streams, centre: f64, half_width: f64, out: &mut Strip) {
    for (x, word) in out.iter_mut().zip(streams.words::<STRIP>()) {
        *x = centre + half_width * direction(*word).0;
    }
}

/// Gaussian (JCGM 101, 6.4.7.2), by Box and Muller.
#[inline(always)]
pub(super) fn normal(streams: &mut Streams, centre: f64, deviation: f64, out: &mut Strip) {
    let (radii, directions) = streams.words::<STRIP>().split_at(HALF);
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
    let power = -2.0 / degrees_of_freedom;
    let (radii, directions) = streams.words::<{ 2 * STRIP }>().split_at(STRIP);
    for ((out, r), d) in out.iter_mut().zip(radii).zip(directions) {
        // u^(-2/ν) - 1, without loss of digits for large ν.
        let square = exponential_less_one(power * logarithm(unit_interval(*r)));
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
    uniforms: [u64; STRIP],
    next: usize,
}

impl Supply {
    fn pair(&mut self, streams: &mut Streams) -> (f64, f64) {
        if self.next == STRIP {
            normal(streams, 0.0, 1.0, &mut self.normals);
            self.uniforms.copy_from_slice(streams.words::<STRIP>());
            self.next = 0;
        }
        let i = self.next;
        self.next += 1;
        (self.normals[i], unit_interval(self.uniforms[i]))
    }
}

/// Taylor coefficients; of each series the first term left out is below 1e-16 of the whole where it is used.
/// Sine over the angle and cosine, in the square of the angle up to 45°.
const SINE: [f64; 8] = [
    1.0,
    -1.0 / 6.0,
    1.0 / 120.0,
    -1.0 / 5040.0,
    1.0 / 362_880.0,
    -1.0 / 39_916_800.0,
    1.0 / 6_227_020_800.0,
    -1.0 / 1_307_674_368_000.0,
];
const COSINE: [f64; 9] = [
    1.0,
    -1.0 / 2.0,
    1.0 / 24.0,
    -1.0 / 720.0,
    1.0 / 40_320.0,
    -1.0 / 3_628_800.0,
    1.0 / 479_001_600.0,
    -1.0 / 87_178_291_200.0,
    1.0 / 20_922_789_888_000.0,
];
/// artanh s over s, in the square of s up to 0.172².
const ARTANH: [f64; 10] = [
    1.0,
    1.0 / 3.0,
    1.0 / 5.0,
    1.0 / 7.0,
    1.0 / 9.0,
    1.0 / 11.0,
    1.0 / 13.0,
    1.0 / 15.0,
    1.0 / 17.0,
    1.0 / 19.0,
];
/// (e^r - 1) over r, for r up to half of ln 2.
const EXPONENTIAL: [f64; 13] = [
    1.0,
    1.0 / 2.0,
    1.0 / 6.0,
    1.0 / 24.0,
    1.0 / 120.0,
    1.0 / 720.0,
    1.0 / 5040.0,
    1.0 / 40_320.0,
    1.0 / 362_880.0,
    1.0 / 3_628_800.0,
    1.0 / 39_916_800.0,
    1.0 / 479_001_600.0,
    1.0 / 6_227_020_800.0,
];

/// A polynomial: even and odd powers by Horner's rule in the square, so that half of the steps wait for each other.
#[inline(always)]
fn polynomial<const N: usize>(x: f64, coefficients: &[f64; N]) -> f64 {
    let square = x * x;
    let (mut same, mut other) = (coefficients[N - 1], coefficients[N - 2]);
    let mut left = N - 2;
    while left >= 2 {
        same = same * square + coefficients[left - 1];
        other = other * square + coefficients[left - 2];
        left -= 2;
    }
    if left == 1 {
        same = same * square + coefficients[0];
        same + x * other
    } else {
        x * same + other
    }
}

/// A random direction: the coordinates of a point of the unit circle.
///
/// The angle is drawn within ±45° of an axis, where sine and cosine are short series; two bits choose the axis.
#[inline(always)]
fn direction(bits: u64) -> (f64, f64) {
    let angle = FRAC_PI_2 * (unit_interval(bits << 2) - 0.5);
    let z = angle * angle;
    let (sine, cosine) = (angle * polynomial(z, &SINE), polynomial(z, &COSINE));
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
    // ln m = 2 artanh s.
    let s = (m - 1.0) / (m + 1.0);
    exponent * LN_2 + 2.0 * s * polynomial(s * s, &ARTANH)
}

/// e^x - 1 for x not below 0; infinite above 709.
#[inline(always)]
fn exponential_less_one(x: f64) -> f64 {
    // x = k·ln 2 + r with |r| ≤ ln 2 / 2; adding 1.5·2^52 leaves k in the last bits.
    const ROUND: f64 = 6_755_399_441_055_744.0;
    let small = x.min(709.0);
    let shifted = small * LOG2_E + ROUND;
    let k = shifted - ROUND;
    let power = f64::from_bits((shifted.to_bits() << 52).wrapping_add(1f64.to_bits()));
    let r = small - k * LN_2;
    let value = power * (r * polynomial(r, &EXPONENTIAL)) + (power - 1.0);
    if x > 709.0 { f64::INFINITY } else { value }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spread_out() -> impl Iterator<Item = u64> {
        (0..100_000u64).map(|i| i.wrapping_mul(0x9e37_79b9_7f4a_7c15))
    }

    #[test]
    fn the_logarithm_is_good_to_the_last_digits() {
        let ends = [0, 1, 1 << 12, u64::MAX, u64::MAX - (1 << 12)];
        for bits in spread_out().chain(ends) {
            let u = unit_interval(bits);
            assert!((logarithm(u) / u.ln() - 1.0).abs() < 5e-16, "{u}");
        }
    }

    #[test]
    fn the_exponential_is_good_to_the_last_digits() {
        for x in (0..100_000).map(|i| (f64::from(i) * 1e-4 - 4.0).exp() - (-4.0f64).exp()) {
            let (value, expected) = (exponential_less_one(x), x.exp_m1());
            // Above 1 the multiple of ln 2 is taken off in one step, which costs x·ε.
            let allowed = 1e-15 + x * f64::EPSILON;
            assert!(
                (value - expected).abs() <= allowed * expected.abs(),
                "{x} {value} {expected}"
            );
        }
        assert!(exponential_less_one(1e300).is_infinite());
    }

    #[test]
    fn directions_lie_on_the_circle_and_all_around_it() {
        let mut octants = [0u32; 8];
        for (x, y) in spread_out().map(direction) {
            assert!((x * x + y * y - 1.0).abs() < 1e-15);
            let octant = (y.atan2(x) / FRAC_PI_2 * 2.0 + 4.0) as usize;
            octants[octant.min(7)] += 1;
        }
        // 100 000 equally spread angles: one eighth each.
        assert!(
            octants.iter().all(|n| n.abs_diff(12_500) < 20),
            "{octants:?}"
        );
    }
}
