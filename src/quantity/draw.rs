//! Drawing numbers: the same seed gives the same numbers on every machine.
//!
//! ChaCha with 20 rounds (Bernstein 2008; RFC 8439 has the 20-round block function and its test vectors). The stream is a published
//! standard, so no release of a crate can change it; how a word becomes a number in a range is written here for the same reason.

use rand_chacha::ChaCha20Rng;
use rand_chacha::rand_core::{RngCore, SeedableRng};

/// A source of numbers for one exercise or one sample.
#[derive(Debug, Clone)]
pub struct Draw(ChaCha20Rng);

impl Draw {
    /// Of a seed, a topic's number and a place in the row of what is drawn: the key is the seed in little-endian bytes and the topic in the
    /// ninth, the stream is the place, so that no exercise and no sample depends on another.
    pub fn new(seed: u64, topic: u8, place: u64) -> Self {
        let mut key = [0; 32];
        key[..8].copy_from_slice(&seed.to_le_bytes());
        key[8] = topic;
        let mut stream = ChaCha20Rng::from_seed(key);
        stream.set_stream(place);
        Self(stream)
    }

    /// A whole number below `n`, each as likely; 0 for `n` 0. Words of the last, incomplete round of `n` are thrown away.
    pub fn below(&mut self, n: u32) -> u32 {
        let Some(incomplete) = (u32::MAX - n.wrapping_sub(1)).checked_rem(n) else {
            return 0;
        };
        loop {
            let word = self.0.next_u32();
            if word <= u32::MAX - incomplete {
                return word % n;
            }
        }
    }

    /// One of `low`, `low + step`, ... not above `high`.
    pub fn step(&mut self, low: f64, high: f64, step: f64) -> f64 {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "not negative, and the cast saturates"
        )]
        let steps = ((high - low) / step + 1e-9).floor().max(0.0) as u32;
        low + step * f64::from(self.below(steps.saturating_add(1)))
    }

    /// One of a list; `None` of an empty one.
    pub fn pick<T: Copy>(&mut self, list: &[T]) -> Option<T> {
        let n = u32::try_from(list.len()).ok()?;
        list.get(self.below(n) as usize).copied()
    }

    /// Puts a list in an order, each as likely (Fisher and Yates; Knuth, The Art of Computer Programming, volume 2, algorithm P).
    pub fn shuffle<T>(&mut self, list: &mut [T]) {
        for last in (1..list.len()).rev() {
            // No list here is that long.
            let n = u32::try_from(last + 1).unwrap_or(u32::MAX);
            list.swap(last, self.below(n) as usize);
        }
    }

    /// A number above 0, at most 1, each of 2^53 as likely.
    pub fn share(&mut self) -> f64 {
        const STEPS: f64 = 9_007_199_254_740_992.0;
        #[expect(clippy::cast_precision_loss, reason = "53 bits")]
        let whole = (self.0.next_u64() >> 11) as f64;
        (STEPS - whole) / STEPS
    }

    /// A number of the normal distribution of mean 0 and standard deviation 1 (Box and Muller 1958), from two numbers of 53 bits.
    pub fn normal(&mut self) -> f64 {
        let (radius, turn) = (self.share(), self.share());
        (-2.0 * radius.ln()).sqrt() * (std::f64::consts::TAU * turn).cos()
    }

    /// Yes or no.
    pub fn coin(&mut self) -> bool {
        self.below(2) == 1
    }
}

/// The number that a share of the normal distribution of mean 0 and standard deviation 1 lies below; a share nearer to 0 or 1 than 2^-54 is
/// taken for that.
///
/// By Newton's steps from the mean outwards: the tail beyond a number falls ever more slowly with it, so that each step stops short of the answer and
/// the next goes on from there.
pub fn normal_below(share: f64) -> f64 {
    /// Steps to the farthest number there is, 8.2, are fewer than 40.
    const MOST: u32 = 60;
    let tail = share.min(1.0 - share).max(0.5 * f64::EPSILON * 0.5);
    let mut out = 0.0_f64;
    for _ in 0..MOST {
        let beyond = 0.5 * libm::erfc(out * std::f64::consts::FRAC_1_SQRT_2);
        let density = (-0.5 * out * out).exp() / std::f64::consts::TAU.sqrt();
        let step = (beyond - tail) / density;
        out += step;
        if step < 1e-14 * out.max(1.0) {
            break;
        }
    }
    if share < 0.5 { -out } else { out }
}

/// The place of a number in a row of shares that fills the range from 0 to 1 evenly however far it goes: multiples of the golden section, whole parts
/// dropped (Weyl 1916; Kuipers and Niederreiter, Uniform Distribution of Sequences, 1974), all moved by one share, so that each is as likely as any
/// other (Cranley and Patterson, SIAM Journal on Numerical Analysis 13, 1976).
pub fn even_share(moved: f64, place: u64) -> f64 {
    const GOLDEN: f64 = 0.618_033_988_749_894_8;
    #[expect(clippy::cast_precision_loss, reason = "a count of samples")]
    let place = place as f64;
    (moved + place * GOLDEN).fract()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_rfc_8439_key_stream() {
        // RFC 8439, appendix A.1, test vector 1: key, nonce and counter of zeros; the first eight words of the state are ade0b876,
        // 903df1a0, e56a5d40, 28bd8653, b819d2bd, 1aed8da0, ccef36a8, c70d778b. From memory; the key stream begins 76 b8 e0 ad.
        let mut draw = Draw::new(0, 0, 0);
        let words: [u32; 8] = std::array::from_fn(|_| draw.0.next_u32());
        assert_eq!(
            words,
            [
                0xade0_b876,
                0x903d_f1a0,
                0xe56a_5d40,
                0x28bd_8653,
                0xb819_d2bd,
                0x1aed_8da0,
                0xccef_36a8,
                0xc70d_778b
            ]
        );
    }

    #[test]
    fn closed_form_every_order_is_as_likely() {
        let mut seen = std::collections::BTreeMap::new();
        let mut draw = Draw::new(9, 2, 0);
        for _ in 0..6_000 {
            let mut list = [1, 2, 3];
            draw.shuffle(&mut list);
            *seen.entry(list).or_insert(0) += 1;
        }
        // 1,000 each on the mean, standard deviation 29.
        assert_eq!(seen.len(), 6);
        assert!(seen.values().all(|n| (850..1_150).contains(n)), "{seen:?}");
    }

    #[test]
    fn closed_form_normal_numbers_have_the_moments_of_their_distribution() {
        let mut draw = Draw::new(5, 3, 0);
        let drawn: Vec<f64> = (0..100_000).map(|_| draw.normal()).collect();
        let moment = |n: i32| drawn.iter().map(|x| x.powi(n)).sum::<f64>() / 1e5;
        // Of n numbers the mean of x^k has the variance (E x^2k - (E x^k)^2) / n, the moments being 1, 0, 1, 0, 3, 0, 15, 0, 105: standard
        // errors 0.0032, 0.0045, 0.012 and 0.031. Four of them.
        for (n, expected, error) in [
            (1, 0.0, 0.0032),
            (2, 1.0, 0.0045),
            (3, 0.0, 0.0123),
            (4, 3.0, 0.031),
        ] {
            assert!(
                (moment(n) - expected).abs() < 4.0 * error,
                "{n}: {}",
                moment(n)
            );
        }
        // Successive numbers are not correlated: standard error 0.0032.
        let pairs: f64 = drawn.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / 1e5;
        assert!(pairs.abs() < 4.0 * 0.0032, "{pairs}");
    }

    #[test]
    fn published_shares_of_the_normal_distribution() {
        // Abramowitz and Stegun, Handbook of Mathematical Functions, table 26.1 (from memory): below 1, 2 and 3 lie 0.841344746068543,
        // 0.977249868051821 and 0.998650101968370; and the quantiles that every table has, of 0.9, 0.975 and 0.999.
        for (share, x) in [
            (0.841_344_746_068_543, 1.0),
            (0.977_249_868_051_821, 2.0),
            (0.998_650_101_968_370, 3.0),
            (0.9, 1.281_551_565_544_600_4),
            (0.975, 1.959_963_984_540_054),
            (0.999, 3.090_232_306_167_813_5),
        ] {
            // The shares have 15 digits; at 3 the density is 0.0044.
            let close = |found: f64, x: f64| (found - x).abs() < 1e-12;
            assert!(close(normal_below(share), x), "{share}");
            assert!((normal_below(1.0 - share) + x).abs() < 1e-11, "{share}");
        }
        assert_eq!(normal_below(0.5), 0.0);
        // The ends are numbers, as far out as 2^-54 is: Q(8.3) = 5.2e-17 (the same table).
        for end in [0.0, 1.0] {
            let x = normal_below(end);
            assert!(
                (x.abs() - 8.293).abs() < 0.01 && (x < 0.0) == (end < 0.5),
                "{x}"
            );
        }
    }

    #[test]
    fn closed_form_even_shares_leave_no_wide_gap() {
        // The three gap theorem (Sós 1958): so many multiples of one number part the circle in gaps of three lengths at most; with the golden
        // section none is more than 1 + golden section times 1/n wide, the least there is for a row that never ends.
        for n in [10_u64, 100, 4_000] {
            let mut shares: Vec<f64> = (0..n).map(|i| even_share(0.7, i)).collect();
            shares.sort_by(f64::total_cmp);
            #[expect(clippy::cast_precision_loss, reason = "thousands")]
            let even = 1.0 / n as f64;
            let around = shares[0] + 1.0 - shares[shares.len() - 1];
            let widest = shares
                .windows(2)
                .map(|w| w[1] - w[0])
                .fold(around, f64::max);
            assert!(shares[0] >= 0.0 && shares[shares.len() - 1] < 1.0);
            assert!(widest < 1.95 * even, "{n}: {}", widest / even);
        }
    }

    #[test]
    fn closed_form_every_number_of_a_range_and_no_other() {
        let mut draw = Draw::new(7, 1, 3);
        let mut seen = [0; 5];
        for _ in 0..5_000 {
            let x = draw.step(-1.0, 1.0, 0.5);
            let at = (x + 1.0) * 2.0;
            assert!((0.0..=4.0).contains(&at) && at.fract() == 0.0);
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "0 to 4"
            )]
            let at = at as usize;
            seen[at] += 1;
        }
        // 1,000 each on the mean, standard deviation 28.
        assert!(seen.iter().all(|n| (850..1_150).contains(n)), "{seen:?}");
        assert_eq!(draw.below(0), 0);
        assert_eq!(draw.below(1), 0);
        assert_eq!(draw.step(3.0, 2.0, 1.0), 3.0);
        assert_eq!(draw.pick::<u8>(&[]), None);
    }
}
