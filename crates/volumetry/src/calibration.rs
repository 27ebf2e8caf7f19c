//! The calibration of one piece: its corrections, interpolated, with their uncertainty.

use metrology::{Distribution, Expr, Input, Origin, Quantity};

use crate::error::VolumetryError;
use crate::units;

/// A correction at one mark.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CorrectionPoint {
    /// The mark, mL: the reading of a burette, the nominal volume of a pipette or flask.
    pub volume_ml: f64,
    /// What is added to the mark to get the volume at 20 degC, mL.
    pub correction_ml: f64,
    /// Its standard uncertainty, mL.
    pub standard_uncertainty_ml: f64,
}

/// What the correction at a mark rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    /// The correction of a point, or what is not known of the wall between two.
    pub of: Part,
    /// How much of it counts; none if it counts as it is.
    pub weight: Option<f64>,
}

/// A part of a calibration, by the places of its points.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// The correction of a point.
    Point(usize),
    /// The interpolation between a point and the next.
    From(usize),
}

/// The calibration of one piece.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibration {
    certificate: String,
    date: String,
    degrees_of_freedom: f64,
    points: Vec<CorrectionPoint>,
}

impl Calibration {
    /// A calibration from its certificate; the points may come in any order.
    ///
    /// # Errors
    /// [`VolumetryError::CalibrationPoints`] if there are none, two have the same mark, or a number is not usable.
    pub fn new(
        certificate: impl Into<String>,
        date: impl Into<String>,
        points: impl IntoIterator<Item = CorrectionPoint>,
    ) -> Result<Self, VolumetryError> {
        let certificate = certificate.into();
        let mut points: Vec<CorrectionPoint> = points.into_iter().collect();
        points.sort_by(|a, b| a.volume_ml.total_cmp(&b.volume_ml));
        let usable = |p: &CorrectionPoint| {
            p.volume_ml.is_finite()
                && p.volume_ml >= 0.0
                && p.correction_ml.is_finite()
                && p.standard_uncertainty_ml.is_finite()
                && p.standard_uncertainty_ml >= 0.0
        };
        let fault = if points.is_empty() {
            Some("it has no points".to_owned())
        } else if let Some(p) = points.iter().find(|p| !usable(p)) {
            Some(format!(
                "at {} mL a number is missing, negative or not finite",
                p.volume_ml
            ))
        } else {
            points
                .windows(2)
                .find(|pair| pair[1].volume_ml - pair[0].volume_ml <= 1e-9 * pair[1].volume_ml)
                .map(|pair| format!("the mark {} mL stands there twice", pair[0].volume_ml))
        };
        match fault {
            Some(fault) => Err(VolumetryError::CalibrationPoints { certificate, fault }),
            None => Ok(Self {
                certificate,
                date: date.into(),
                degrees_of_freedom: f64::INFINITY,
                points,
            }),
        }
    }

    /// Sets the degrees of freedom of the standard uncertainties.
    #[must_use]
    pub fn with_degrees_of_freedom(mut self, degrees_of_freedom: f64) -> Self {
        self.degrees_of_freedom = degrees_of_freedom;
        self
    }

    /// Name of the certificate.
    #[must_use]
    pub fn certificate(&self) -> &str {
        &self.certificate
    }

    /// Date of the certificate, as written there.
    #[must_use]
    pub fn date(&self) -> &str {
        &self.date
    }

    /// The points, by rising mark.
    #[must_use]
    pub fn points(&self) -> &[CorrectionPoint] {
        &self.points
    }

    /// The calibration of a burette counts from its zero mark, where the correction is nothing by definition (the
    /// zero mark is the one exact mark of a burette, UKAS LAB 15).
    pub(crate) fn counted_from_zero(mut self) -> Self {
        if self.points.first().is_some_and(|p| p.volume_ml > 0.0) {
            self.points.insert(
                0,
                CorrectionPoint {
                    volume_ml: 0.0,
                    correction_ml: 0.0,
                    standard_uncertainty_ml: 0.0,
                },
            );
        }
        self
    }

    /// The points around a mark by their places, with their weights; one point if the mark is one.
    fn around(&self, volume_ml: f64) -> Result<Vec<(f64, usize)>, VolumetryError> {
        let same = |p: &&CorrectionPoint| (p.volume_ml - volume_ml).abs() <= 1e-9 * volume_ml.abs();
        if let Some(point) = self.points.iter().position(|p| same(&p)) {
            return Ok(vec![(1.0, point)]);
        }
        let above = self.points.partition_point(|p| p.volume_ml < volume_ml);
        if volume_ml.is_nan() || above == 0 || above == self.points.len() {
            return Err(VolumetryError::OutsideCalibration {
                certificate: self.certificate.clone(),
                volume_ml,
                min_ml: self.points[0].volume_ml,
                max_ml: self.points[self.points.len() - 1].volume_ml,
            });
        }
        let (low, high) = (&self.points[above - 1], &self.points[above]);
        let weight = (volume_ml - low.volume_ml) / (high.volume_ml - low.volume_ml);
        Ok(vec![(1.0 - weight, above - 1), (weight, above)])
    }

    /// Correction at a mark and its standard uncertainty, mL; both interpolated linearly.
    ///
    /// # Errors
    /// [`VolumetryError::OutsideCalibration`] for a mark outside the points.
    pub fn correction_at(&self, volume_ml: f64) -> Result<(f64, f64), VolumetryError> {
        let around = self.around(volume_ml)?;
        let sum = |of: fn(&CorrectionPoint) -> f64| {
            around.iter().map(|(w, p)| w * of(&self.points[*p])).sum()
        };
        Ok((sum(|p| p.correction_ml), sum(|p| p.standard_uncertainty_ml)))
    }

    /// What the correction at a mark rests on; nothing at a mark that is right by definition.
    ///
    /// Two independent points make a mean that looks better known than either. The wall between the marks was not
    /// measured, so a share for the interpolation brings the uncertainty back to the one interpolated linearly.
    ///
    /// # Errors
    /// [`VolumetryError::OutsideCalibration`] for a mark outside the points.
    pub fn shares(&self, volume_ml: f64) -> Result<Vec<Share>, VolumetryError> {
        let around = self.around(volume_ml)?;
        let matters =
            |p: &CorrectionPoint| p.correction_ml != 0.0 || p.standard_uncertainty_ml > 0.0;
        let mut shares: Vec<Share> = around
            .iter()
            .filter(|(_, point)| matters(&self.points[*point]))
            .map(|(weight, point)| Share {
                of: Part::Point(*point),
                weight: (around.len() > 1).then_some(*weight),
            })
            .collect();
        if let [(w0, low), (w1, high)] = around.as_slice() {
            let of = |point: &usize| self.points[*point].standard_uncertainty_ml;
            let u = w0 * of(low) + w1 * of(high);
            let of_points = (w0 * of(low)).hypot(w1 * of(high));
            let missing = (u * u - of_points * of_points).max(0.0).sqrt();
            let scale = self.scale(*low);
            if missing > 1e-9 * scale {
                shares.push(Share {
                    of: Part::From(*low),
                    weight: Some(missing / scale),
                });
            }
        }
        Ok(shares)
    }

    /// The larger standard uncertainty of a point and the next.
    fn scale(&self, low: usize) -> f64 {
        let of = |point: usize| self.points[point].standard_uncertainty_ml;
        of(low).max(of(low + 1))
    }

    fn marks(&self, part: Part) -> String {
        let mark = |point: usize| self.points[point].volume_ml;
        match part {
            Part::Point(point) => mark(point).to_string(),
            Part::From(low) => format!("{} to {} mL", mark(low), mark(low + 1)),
        }
    }

    /// Identity of the input of a part, for a piece.
    #[must_use]
    pub fn input_id(&self, piece: &str, part: Part) -> String {
        format!("{piece}/calibration/{}", self.marks(part))
    }

    fn input(&self, piece: &str, symbol: &str, part: Part) -> Input {
        let marks = self.marks(part);
        let mark = |point: usize| self.points[point].volume_ml;
        let (symbol, value, u, what) = match part {
            Part::Point(point) => {
                let p = &self.points[point];
                (
                    format!("C_{symbol}({marks})"),
                    p.correction_ml,
                    p.standard_uncertainty_ml,
                    format!("correction of {piece} at {marks} mL"),
                )
            }
            Part::From(low) => (
                format!("δ_{symbol}({}…{})", mark(low), mark(low + 1)),
                0.0,
                self.scale(low),
                format!("interpolation of the correction of {piece} from {marks}"),
            ),
        };
        let origin = format!("{} of {}", self.certificate, self.date);
        Input::new(
            self.input_id(piece, part),
            symbol,
            Quantity::new(value, units::ml()),
        )
        .described(what)
        .distributed(if u > 0.0 {
            Distribution::Normal {
                standard_uncertainty: u,
            }
        } else {
            Distribution::Exact
        })
        .with_degrees_of_freedom(self.degrees_of_freedom)
        .from_origin(Origin::Certificate(origin))
        .grouped("calibration")
    }

    /// The correction at a mark as a formula over the corrections of the points, which all uses of the piece share, see
    /// [`Self::shares`].
    pub(crate) fn expr(
        &self,
        piece: &str,
        symbol: &str,
        volume_ml: f64,
    ) -> Result<Expr, VolumetryError> {
        let shares = self.shares(volume_ml)?;
        if shares.is_empty() {
            return Ok(Expr::constant(Quantity::new(0.0, units::ml())));
        }
        Ok(Expr::sum(shares.iter().map(|share| {
            let input = Expr::input(self.input(piece, symbol, share.of));
            match share.weight {
                Some(weight) => Expr::number(weight) * input,
                None => input,
            }
        })))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use metrology::{Formula, propagate};

    fn point(volume_ml: f64, correction_ml: f64, u: f64) -> CorrectionPoint {
        CorrectionPoint {
            volume_ml,
            correction_ml,
            standard_uncertainty_ml: u,
        }
    }

    fn table() -> Calibration {
        Calibration::new(
            "C-17",
            "2024-05-02",
            [
                point(20.0, 0.03, 0.006),
                point(10.0, 0.01, 0.004),
                point(30.0, 0.02, 0.006),
            ],
        )
        .unwrap()
    }

    #[test]
    fn interpolates_value_and_uncertainty() {
        let (c, u) = table().correction_at(12.5).unwrap();
        assert!(
            (c - 0.015).abs() < 1e-15 && (u - 0.0045).abs() < 1e-15,
            "{c} {u}"
        );
        assert_eq!(table().correction_at(20.0).unwrap(), (0.03, 0.006));
    }

    #[test]
    fn the_formula_says_what_the_table_says() {
        for mark in [10.0, 11.0, 15.0, 19.99, 20.0, 26.0, 30.0] {
            let formula = Formula::build(&table().expr("burette-1", "B", mark).unwrap()).unwrap();
            let budget = propagate(&formula);
            let (c, u) = table().correction_at(mark).unwrap();
            assert!((budget.value - c).abs() < 1e-15, "{mark}");
            assert!(
                (budget.standard_uncertainty / u - 1.0).abs() < 1e-12,
                "{mark}"
            );
        }
    }

    #[test]
    fn a_burette_counts_from_its_zero_mark() {
        let table = table().counted_from_zero();
        let (c, u) = table.correction_at(5.0).unwrap();
        assert!((c - 0.005).abs() < 1e-15 && (u - 0.002).abs() < 1e-15);
        let formula = Formula::build(&table.expr("burette-1", "B", 0.0).unwrap()).unwrap();
        assert!(formula.inputs().is_empty());
    }

    #[test]
    fn refuses_marks_and_points_that_cannot_be() {
        for mark in [9.9, 30.1, -1.0, f64::NAN] {
            assert!(matches!(
                table().correction_at(mark),
                Err(VolumetryError::OutsideCalibration { .. })
            ));
        }
        for points in [
            vec![],
            vec![point(1.0, 0.0, 0.1), point(1.0, 0.1, 0.1)],
            vec![point(1.0, f64::NAN, 0.1)],
            vec![point(1.0, 0.0, -0.1)],
        ] {
            assert!(Calibration::new("C", "d", points).is_err());
        }
    }
}
