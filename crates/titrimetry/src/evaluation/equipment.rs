//! Glass, balance, temperature and air as a sheet writes them, made into what volumetry knows.

use crate::sheet::{
    BalanceSpec, Conditions, Mass, OwnBalance, OwnPiece, PieceSpec, SheetError, Volume, Written,
};
use metrology::Origin;
use volumetry::air::Air;
use volumetry::balance::BalanceRecord;
use volumetry::catalogue::Kind;
use volumetry::{
    Accuracy, AirDensity, Balance, Calibration, CorrectionPoint, LiquidTemperature, Piece,
    VolumetryError,
};

/// Half-width of a temperature that was read, where the sheet does not say it (common practice).
const TEMPERATURE_WITHIN_K: f64 = 1.0;
/// Half-width of a temperature that nobody read (EURACHEM/CITAC CG4, A1 to A3 allow the laboratory 3 to 4 K).
const TEMPERATURE_ASSUMED_WITHIN_K: f64 = 4.0;

/// An error of volumetry at an entry of the sheet.
pub(super) fn at(path: &str, error: &VolumetryError) -> SheetError {
    SheetError::entry(path, error.to_string())
}

/// The piece that a sheet names.
pub(crate) fn piece(
    spec: &PieceSpec,
    path: &str,
    determination: &str,
    kinds: &[Kind],
) -> Result<Piece, SheetError> {
    let fail = |e: &VolumetryError| at(path, e);
    let piece = match spec {
        // Without an identity it is not known to be the same piece in another determination.
        PieceSpec::Name(name) => {
            Piece::named(format!("{name} ({determination})"), name).map_err(|e| fail(&e))?
        }
        PieceSpec::Own(own) => own_piece(own, path, determination)?,
    };
    if !kinds.contains(&piece.kind) {
        let expected: Vec<String> = kinds.iter().map(ToString::to_string).collect();
        return Err(SheetError::entry(
            path,
            format!(
                "a {} was expected, but this is a {}",
                expected.join(" or a "),
                piece.kind
            ),
        ));
    }
    Ok(piece)
}

fn own_piece(own: &OwnPiece, path: &str, determination: &str) -> Result<Piece, SheetError> {
    let id = own
        .id
        .clone()
        .unwrap_or_else(|| format!("{} ({determination})", own.catalogue));
    let mut piece = Piece::named(id.clone(), &own.catalogue).map_err(|e| at(path, &e))?;
    let positive = |written: &Written<Volume>, entry: &str| {
        let value = written.value();
        if value > 0.0 {
            Ok(value)
        } else {
            Err(SheetError::entry(
                format!("{path}.{entry}"),
                "must be above 0",
            ))
        }
    };
    if let Some(graduation) = &own.graduation {
        piece.graduation_ml = Some(positive(graduation, "graduation")?);
    }
    if let Some(tolerance) = &own.tolerance {
        piece.accuracy = Accuracy::Tolerance {
            half_width_ml: positive(tolerance, "tolerance")?,
            origin: Origin::Apparatus(format!("tolerance of {id} as stated on the sheet")),
        };
    }
    if let Some(calibration) = &own.calibration {
        let points = calibration.points.iter().map(|point| CorrectionPoint {
            volume_ml: point.at.value(),
            correction_ml: point.correction.value(),
            standard_uncertainty_ml: point.u.value(),
        });
        let date = calibration.date.clone().unwrap_or_default();
        let calibration = Calibration::new(calibration.certificate.clone(), date, points)
            .map_err(|e| at(&format!("{path}.calibration"), &e))?;
        piece = piece.calibrated(calibration);
    }
    Ok(piece.described(match &own.id {
        Some(id) => format!("{} {id}", own.catalogue),
        None => own.catalogue.clone(),
    }))
}

impl PieceSpec {
    /// Nominal capacity in mL; none if the catalogue does not know the piece.
    pub fn nominal_ml(&self) -> Option<f64> {
        let entry = volumetry::catalogue::find(self.catalogue()).ok()?;
        Some(entry.nominal_ml)
    }

    /// Whether the piece is known and its own figures can be used, before any determination uses it.
    ///
    /// # Errors
    /// [`SheetError::Entry`] naming what is wrong and what was expected.
    pub fn check(&self) -> Result<(), SheetError> {
        match self {
            Self::Name(name) => Piece::named(name.clone(), name)
                .map(|_| ())
                .map_err(|e| at("catalogue", &e)),
            Self::Own(own) => own_piece(own, "catalogue", "").map(|_| ()),
        }
    }
}

impl BalanceSpec {
    /// Whether the balance is known and its own figures can be used, before any determination uses it.
    ///
    /// # Errors
    /// [`SheetError::Entry`] naming what is wrong and what was expected.
    pub fn check(&self) -> Result<(), SheetError> {
        balance(self, "").map(|_| ())
    }
}

pub(super) fn balance(spec: &BalanceSpec, determination: &str) -> Result<Balance, SheetError> {
    let path = "apparatus.balance";
    match spec {
        BalanceSpec::Name(name) => {
            Balance::named(format!("{name} ({determination})"), name).map_err(|e| at(path, &e))
        }
        BalanceSpec::Own(own) => {
            let OwnBalance {
                id,
                readability,
                repeatability,
                linearity,
                certificate,
            } = own.as_ref();
            let grams = |written: &Option<Written<Mass>>, otherwise: f64| {
                written.as_ref().map_or(otherwise, Written::value)
            };
            let step = readability.value();
            let record = BalanceRecord {
                name: id.clone().unwrap_or_else(|| "own balance".into()),
                also: Vec::new(),
                readability_g: step,
                // One step each where nothing is said (common practice).
                repeatability_g: grams(repeatability, step),
                linearity_g: grams(linearity, 2.0 * step),
                drift_relative: 0.0,
                mark: "sheet".into(),
            };
            let origin = match certificate {
                Some(certificate) => Origin::Certificate(certificate.clone()),
                None => Origin::Apparatus("balance as stated on the sheet".into()),
            };
            let id = id
                .clone()
                .unwrap_or_else(|| format!("balance ({determination})"));
            Balance::new(id, record, origin).map_err(|e| at(path, &e))
        }
    }
}

pub(super) fn celsius(written: &Written<crate::sheet::Temperature>) -> f64 {
    written.value_in("degC")
}

/// Half-width of the temperature; a difference, whether written in K or degC.
pub(super) fn within(conditions: &Conditions) -> f64 {
    conditions
        .temperature_within
        .as_ref()
        .map_or(TEMPERATURE_WITHIN_K, |w| w.quantity().number.value())
}

pub(super) fn temperature(
    conditions: &Conditions,
    determination: &str,
    assumptions: &mut Vec<String>,
) -> Result<LiquidTemperature, SheetError> {
    let id = format!("{determination}/temperature");
    let fail = |e: VolumetryError| at("conditions.temperature", &e);
    match &conditions.temperature {
        Some(read) => {
            if conditions.temperature_within.is_none() {
                assumptions.push(format!("temperature of the solutions known within {TEMPERATURE_WITHIN_K} K (common practice)"));
            }
            LiquidTemperature::read(id, celsius(read), within(conditions)).map_err(fail)
        }
        None => {
            assumptions.push(format!(
                "temperature not on the sheet: 20 degC within {TEMPERATURE_ASSUMED_WITHIN_K} K"
            ));
            LiquidTemperature::assumed(id, TEMPERATURE_ASSUMED_WITHIN_K).map_err(fail)
        }
    }
}

/// The air at the balance: measured if pressure, humidity and temperature are given, else an ordinary room.
pub(super) fn air(conditions: &Conditions, determination: &str) -> Result<AirDensity, SheetError> {
    let fail = |e: VolumetryError| at("conditions", &e);
    let (Some(pressure), Some(humidity), Some(temperature)) = (
        &conditions.pressure,
        &conditions.humidity,
        &conditions.temperature,
    ) else {
        return AirDensity::typical().map_err(fail);
    };
    let air = Air {
        temperature_c: celsius(temperature),
        pressure_pa: pressure.value_in("Pa"),
        relative_humidity: humidity.value(),
    };
    // How far bench instruments may be off (common practice).
    let half_widths = Air {
        temperature_c: within(conditions),
        pressure_pa: 300.0,
        relative_humidity: 0.1,
    };
    AirDensity::measured(format!("{determination}/air"), air, half_widths).map_err(fail)
}
