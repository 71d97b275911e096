//! How a figure is spread over samples.

/// How a quantity is spread.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Percentiles {
    /// A tenth of the samples lie below.
    pub p10: f64,
    /// Half.
    pub p50: f64,
    /// Nine tenths.
    pub p90: f64,
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    pub deviation: f64,
}

impl Percentiles {
    /// Of no values: not numbers.
    pub const NONE: Self = Self {
        p10: f64::NAN,
        p50: f64::NAN,
        p90: f64::NAN,
        mean: f64::NAN,
        deviation: f64::NAN,
    };

    /// Of some values, between which it is linear (definition 7 of Hyndman and Fan, American Statistician 50, 1996); `None` of none.
    pub fn of(values: impl IntoIterator<Item = f64>) -> Option<Self> {
        let mut sorted: Vec<f64> = values.into_iter().collect();
        sorted.sort_by(f64::total_cmp);
        let last = sorted.len().checked_sub(1)?;
        #[expect(
            clippy::cast_precision_loss,
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a share of a count of samples"
        )]
        let at = |share: f64| {
            let x = share * last as f64;
            let i = (x as usize).min(last);
            let next = sorted[(i + 1).min(last)];
            sorted[i] + (x - i as f64) * (next - sorted[i])
        };
        #[expect(clippy::cast_precision_loss, reason = "a count of samples")]
        let n = sorted.len() as f64;
        let mean = sorted.iter().sum::<f64>() / n;
        let square = sorted.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / n;
        Some(Self {
            p10: at(0.1),
            p50: at(0.5),
            p90: at(0.9),
            mean,
            deviation: square.sqrt(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closed_form_percentiles_of_a_row_of_numbers() {
        // 0, 1, ... 10: the tenths fall on the numbers; mean 5, variance (11^2 - 1) / 12 = 10.
        let p = Percentiles::of((0..=10).rev().map(f64::from)).expect("numbers");
        assert_eq!((p.p10, p.p50, p.p90, p.mean), (1.0, 5.0, 9.0, 5.0));
        assert!((p.deviation - 10.0_f64.sqrt()).abs() < 1e-12);
        // Between two: 0.1, 0.5, 0.9 of the way.
        let p = Percentiles::of([2.0, 1.0]).expect("numbers");
        assert!((p.p10 - 1.1).abs() < 1e-12 && p.p50 == 1.5);
        assert_eq!(Percentiles::of([3.0]).map(|p| p.p90), Some(3.0));
        assert_eq!(Percentiles::of([]), None);
    }
}
