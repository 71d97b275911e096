//! The part of the table around one cell, with its slopes.

/// One cell of the table at one tip Mach number: four blade angles of four pairs along the advance axis.
#[derive(Debug, Clone, Copy)]
pub(super) struct Patch {
    pub(super) cell: (u32, u32),
    pub(super) rows: [[[f64; 2]; 4]; 4],
}

/// Coefficients with their slopes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Slopes {
    pub(super) value: [f64; 2],
    pub(super) by_advance: [f64; 2],
    pub(super) by_angle: [f64; 2],
}

impl Patch {
    /// Of no cell.
    #[inline]
    pub(super) fn nowhere() -> Self {
        Self {
            cell: (u32::MAX, u32::MAX),
            rows: [[[0.0; 2]; 4]; 4],
        }
    }

    /// The coefficients for weights along the advance axis and across it.
    // This and the next are kept out of line: by themselves they become plain two-lane code, inlined they are torn apart.
    #[inline(never)]
    pub(super) fn value(&self, wu: &[f64; 4], wb: &[f64; 4]) -> [f64; 2] {
        let mut value = [0.0; 2];
        for (row, w) in self.rows.iter().zip(wb) {
            for k in 0..2 {
                value[k] += w
                    * ((wu[0] * row[0][k] + wu[1] * row[1][k])
                        + (wu[2] * row[2][k] + wu[3] * row[3][k]));
            }
        }
        value
    }

    /// The same with the slopes, for which the weights are `su` and `sb`.
    #[inline(never)]
    pub(super) fn slopes(
        &self,
        wu: &[f64; 4],
        su: &[f64; 4],
        wb: &[f64; 4],
        sb: &[f64; 4],
    ) -> Slopes {
        let (mut value, mut by_advance, mut by_angle) = ([0.0; 2], [0.0; 2], [0.0; 2]);
        for (j, row) in self.rows.iter().enumerate() {
            for k in 0..2 {
                let at = (wu[0] * row[0][k] + wu[1] * row[1][k])
                    + (wu[2] * row[2][k] + wu[3] * row[3][k]);
                let slope = (su[0] * row[0][k] + su[1] * row[1][k])
                    + (su[2] * row[2][k] + su[3] * row[3][k]);
                value[k] += wb[j] * at;
                by_advance[k] += wb[j] * slope;
                by_angle[k] += sb[j] * at;
            }
        }
        Slopes {
            value,
            by_advance,
            by_angle,
        }
    }
}
