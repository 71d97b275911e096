//! Drag, stall and manoeuvre speeds, weight.

/// Drag and speeds that belong to the airframe.
#[derive(Debug, Clone, PartialEq)]
pub struct Airframe {
    /// Wing reference area, m².
    pub wing_area_m2: f64,
    /// Zero-lift drag coefficient, clean.
    pub cd0: f64,
    /// Induced drag factor: `CD = CD0 + k CL²`.
    pub k: f64,
    /// Increment of the zero-lift drag coefficient with the gear down.
    pub cd_gear: f64,
    /// Flap settings, least first.
    pub flaps: Vec<Flap>,
    /// Increment of the zero-lift drag coefficient of the open cowl flaps; zero if there are none.
    pub cd_cooling: f64,
}

/// One flap setting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flap {
    /// Deflection, rad.
    pub angle_rad: f64,
    /// Increment of the zero-lift drag coefficient.
    pub cd: f64,
    /// Greatest indicated speed, m/s.
    pub vfe_m_s: f64,
}

/// What hangs out of the aeroplane.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Configuration {
    /// Gear down.
    pub gear_down: bool,
    /// Cowl flaps open.
    pub cowl_flaps_open: bool,
    /// Index into the flap settings plus one; zero is up.
    pub flap: usize,
}

impl Airframe {
    /// Drag \[N\]: `D = q S (CD0 + increments + k CL²)`, lift equal to weight.
    ///
    /// `q_pa` is the dynamic pressure `rho V² / 2`, above zero.
    pub fn drag_n(&self, q_pa: f64, weight_n: f64, configuration: Configuration) -> f64 {
        let mut cd0 = self.cd0;
        if configuration.gear_down {
            cd0 += self.cd_gear;
        }
        if configuration.cowl_flaps_open {
            cd0 += self.cd_cooling;
        }
        if let Some(flap) = configuration
            .flap
            .checked_sub(1)
            .and_then(|i| self.flaps.get(i))
        {
            cd0 += flap.cd;
        }
        let qs = q_pa * self.wing_area_m2;
        qs * cd0 + self.k * weight_n * weight_n / qs
    }
}

/// Operating speeds. All are indicated airspeeds in m/s.
#[derive(Debug, Clone, PartialEq)]
pub struct Speeds {
    /// Stall, clean, at the greatest take-off mass.
    pub vs_m_s: f64,
    /// Manoeuvring speed at the greatest take-off mass.
    pub va_m_s: f64,
    /// Greatest structural cruising speed: not above it except in smooth air.
    pub vno_m_s: f64,
    /// Never exceed.
    pub vne_m_s: f64,
    /// Best rate of climb at the greatest take-off mass, by pressure altitude (m), lowest first.
    pub vy_m_s: Vec<(f64, f64)>,
    /// Greatest speed to extend the gear.
    pub vlo_extend_m_s: f64,
    /// Greatest speed to retract the gear.
    pub vlo_retract_m_s: f64,
    /// Greatest speed with the gear down.
    pub vle_m_s: f64,
    /// Least speed that cools the engine in a climb.
    pub least_cooling_m_s: f64,
    /// Position error: indicated and calibrated airspeed (m/s), slowest first, both rising; empty where they are the same.
    pub correction: Vec<(f64, f64)>,
}

impl Speeds {
    /// A speed given at the greatest take-off mass, at another mass: it goes with the square root of the weight.
    pub fn at_mass(speed_m_s: f64, mass_kg: f64, max_mass_kg: f64) -> f64 {
        speed_m_s * (mass_kg / max_mass_kg).sqrt()
    }

    /// Best-rate speed [m/s, indicated] at a pressure altitude \[m\], linear between the rows and held outside, for a mass.
    pub fn vy_at_m_s(&self, pressure_altitude_m: f64, mass_kg: f64, max_mass_kg: f64) -> f64 {
        Self::at_mass(
            interpolate(&self.vy_m_s, pressure_altitude_m),
            mass_kg,
            max_mass_kg,
        )
    }
}

/// The second column at a value of the first, linear between the rows; outside the table the difference of its end is kept.
fn corrected(rows: impl Iterator<Item = (f64, f64)>, x: f64) -> f64 {
    let mut below: Option<(f64, f64)> = None;
    for (at, to) in rows {
        let here = (at, to - at);
        if x < at {
            let difference =
                below.map_or(here.1, |(x0, y0)| y0 + (here.1 - y0) * (x - x0) / (at - x0));
            return x + difference;
        }
        below = Some(here);
    }
    x + below.map_or(0.0, |last| last.1)
}

impl Speeds {
    /// Calibrated airspeed [m/s] of an indicated one, by the table of position error; the same without a table.
    pub fn cas_from_ias_m_s(&self, ias_m_s: f64) -> f64 {
        corrected(self.correction.iter().copied(), ias_m_s)
    }

    /// Indicated airspeed [m/s] of a calibrated one: the exact inverse of [`Speeds::cas_from_ias_m_s`], for both interpolate linearly
    /// between the same points.
    pub fn ias_from_cas_m_s(&self, cas_m_s: f64) -> f64 {
        corrected(
            self.correction.iter().map(|(ias, cas)| (*cas, *ias)),
            cas_m_s,
        )
    }
}

/// Linear interpolation in a table of (x, y) rows with x rising; held at both ends; zero for an empty table.
pub(crate) fn interpolate(rows: &[(f64, f64)], x: f64) -> f64 {
    match rows {
        [] => 0.0,
        [only] => only.1,
        [first, .., last] => {
            if x <= first.0 {
                return first.1;
            }
            if x >= last.0 {
                return last.1;
            }
            let i = rows.partition_point(|r| r.0 <= x);
            let ((x0, y0), (x1, y1)) = (rows[i - 1], rows[i]);
            y0 + (y1 - y0) * (x - x0) / (x1 - x0)
        }
    }
}
