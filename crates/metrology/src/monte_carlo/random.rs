//! Random bits: many xoshiro256++ generators side by side, seeded from the seed and the number of the block.
//!
//! Sources: D. Blackman, S. Vigna, Scrambled linear pseudorandom number generators, ACM Trans. Math. Softw. 47
//! (2021) 36 (xoshiro256++); G. L. Steele, D. Lea, C. H. Flood, Fast splittable pseudorandom number generators,
//! OOPSLA 2014 (SplitMix64, for the seeds).

/// Trials that are drawn and evaluated at a stroke: small enough that the buffers of a formula stay in the cache.
pub(super) const STRIP: usize = 256;

/// One number a trial of a strip.
pub(super) type Strip = [f64; STRIP];

/// Generators side by side: as many as make the compiler turn the loop over them into vector code.
const LANES: usize = 16;

/// The random bits of one block.
pub(super) struct Streams {
    state: [[u64; LANES]; 4],
    words: [u64; 2 * STRIP],
}

impl Streams {
    /// The streams that belong to a block: the same for the same seed, whoever evaluates the block.
    pub(super) fn new(seed: u64, block: u64) -> Self {
        let mut counter = mixed(seed).wrapping_add(mixed(block ^ 0x6a09_e667_f3bc_c908));
        let mut state = [[0; LANES]; 4];
        for word in state.iter_mut().flatten() {
            counter = counter.wrapping_add(0x9e37_79b9_7f4a_7c15);
            *word = mixed(counter);
        }
        let words = [0; 2 * STRIP];
        Self { state, words }
    }

    /// The next `N` random words, at most two a trial of a strip.
    #[inline(always)]
    pub(super) fn words<const N: usize>(&mut self) -> &[u64] {
        let out = &mut self.words[..N];
        // A local copy stays in registers through the loop.
        let [mut a, mut b, mut c, mut d] = self.state;
        for word in out.as_chunks_mut::<LANES>().0 {
            for i in 0..LANES {
                word[i] = a[i].wrapping_add(d[i]).rotate_left(23).wrapping_add(a[i]);
                let t = b[i] << 17;
                c[i] ^= a[i];
                d[i] ^= b[i];
                b[i] ^= c[i];
                a[i] ^= d[i];
                c[i] ^= t;
                d[i] = d[i].rotate_left(45);
            }
        }
        self.state = [a, b, c, d];
        &self.words[..N]
    }
}

/// The output function of SplitMix64.
fn mixed(mut z: u64) -> u64 {
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// Uniform in the open interval 0 to 1: the middles of 2^52 equal cells, so that 0, 1 and a bias cannot occur.
#[inline(always)]
pub(super) fn unit_interval(bits: u64) -> f64 {
    // 1 + k/2^52 by its bits, less 1 - 1/2^53; both steps are exact.
    f64::from_bits((bits >> 12) | 0x3ff0_0000_0000_0000) - (1.0 - f64::EPSILON / 2.0)
}

/// Half of the width of the numbers that [`halves`] makes.
pub(super) const HALF_RANGE: f64 = 2_147_483_648.0;

/// Two uniform numbers between -2^31 and 2^31 of one word: the middles of 2^32 equal cells.
///
/// For bounded distributions only, where a cell of 2^-32 of the width is far below every sampling error.
#[inline(always)]
pub(super) fn halves(bits: u64) -> (f64, f64) {
    // 2^52 + k by its bits; all steps are exact.
    const BASE: u64 = 0x4330_0000_0000_0000;
    const MIDDLE: f64 = 4_503_599_627_370_496.0 + HALF_RANGE;
    let centred = |k: u64| (f64::from_bits(k | BASE) - MIDDLE) + 0.5;
    (centred(bits >> 32), centred(bits & 0xffff_ffff))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lane_is_xoshiro256_plus_plus() {
        // First outputs from the state 1, 2, 3, 4, as the authors' reference program gives them.
        let mut streams = Streams {
            state: [[1; LANES], [2; LANES], [3; LANES], [4; LANES]],
            words: [0; 2 * STRIP],
        };
        let lane: Vec<u64> = streams
            .words::<STRIP>()
            .iter()
            .skip(3)
            .step_by(LANES)
            .take(4)
            .copied()
            .collect();
        assert_eq!(
            lane,
            [
                41_943_041,
                58_720_359,
                3_588_806_011_781_223,
                3_591_011_842_654_386
            ]
        );
    }

    #[test]
    fn blocks_and_seeds_have_their_own_streams() {
        let first = |seed, block| Streams::new(seed, block).words::<STRIP>().to_vec();
        assert_eq!(first(1, 0), first(1, 0));
        let all = [first(1, 0), first(1, 1), first(2, 0), first(0, 1)].concat();
        let mut different = all.clone();
        different.sort_unstable();
        different.dedup();
        assert_eq!(different.len(), all.len());
    }

    #[test]
    #[allow(clippy::float_cmp)]
    fn the_unit_interval_is_open_and_symmetric() {
        let (low, high) = (unit_interval(0), unit_interval(u64::MAX));
        assert!(low > 0.0 && high < 1.0);
        assert_eq!(low, 1.0 - high);
    }

    #[test]
    #[allow(clippy::float_cmp)]
    fn halves_are_symmetric_and_use_all_bits() {
        assert_eq!(halves(0), (0.5 - HALF_RANGE, 0.5 - HALF_RANGE));
        assert_eq!(halves(u64::MAX), (HALF_RANGE - 0.5, HALF_RANGE - 0.5));
        assert_eq!(halves(0x8000_0000_7fff_ffff), (0.5, -0.5));
    }
}
