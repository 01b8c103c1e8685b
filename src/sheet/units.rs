//! The units of a workbook: each a named factor, and a named zero where it has one.

use super::names::Names;
use crate::units::{Kind, Unit};

/// A unit with the names of its cells.
#[derive(Debug)]
pub(super) struct Row {
    pub(super) unit: &'static Unit,
    /// The cell with the SI value of one unit.
    pub(super) size: String,
    /// The cell with the SI value at its zero, for °C and °F.
    pub(super) zero: Option<String>,
}

/// The units that a workbook uses, in the order they were met.
#[derive(Debug, Default)]
pub(super) struct Units {
    pub(super) rows: Vec<Row>,
}

impl Units {
    /// The row of a unit, made where it is new.
    pub(super) fn row(&mut self, unit: &'static Unit, names: &mut Names) -> usize {
        if let Some(at) = self.rows.iter().position(|row| row.unit == unit) {
            return at;
        }
        // Degrees of carbonate and of general hardness have one sign and two sizes.
        let shared = self.rows.iter().any(|row| row.unit.symbol == unit.symbol);
        let symbol = if unit.symbol.is_empty() { "one" } else { unit.symbol };
        let words = if shared { format!("{symbol} {}", unit.kind.words()) } else { symbol.to_owned() };
        let size = names.give("u_", &words);
        let zero = (unit.zero != 0.0).then(|| names.give("zero_", &words));
        self.rows.push(Row { unit, size, zero });
        self.rows.len() - 1
    }

    /// The row of a unit that is here.
    pub(super) fn at(&self, unit: &'static Unit) -> usize {
        self.rows.iter().position(|row| row.unit == unit).unwrap_or(usize::MAX)
    }

    /// A number of a unit in SI, as a formula of the cell it stands in.
    pub(super) fn to_si(&self, at: usize, cell: &str) -> String {
        match self.rows.get(at) {
            Some(Row { size, zero: Some(zero), .. }) => format!("{cell}*{size}+{zero}"),
            Some(Row { size, .. }) => format!("{cell}*{size}"),
            None => cell.to_owned(),
        }
    }

    /// An SI value as a number of a unit.
    pub(super) fn of_si(&self, at: usize, cell: &str) -> String {
        match self.rows.get(at) {
            Some(Row { size, zero: Some(zero), .. }) => format!("({cell}-{zero})/{size}"),
            Some(Row { size, .. }) => format!("{cell}/{size}"),
            None => cell.to_owned(),
        }
    }
}

/// What a quantity is counted in inside the workbook.
pub(super) fn held(unit: &Unit) -> &'static str {
    match unit.kind {
        Kind::Length => "m",
        Kind::Area => "m²",
        Kind::Volume => "m³",
        Kind::Mass => "kg",
        Kind::Temperature | Kind::TemperatureDifference => "K",
        Kind::Conductivity => "S/m",
        Kind::CarbonateHardness => "mol of charge/m³",
        Kind::GeneralHardness | Kind::Calcium => "mol/m³",
        Kind::MassConcentration | Kind::Copper | Kind::Ammonia | Kind::Nitrite | Kind::Nitrate | Kind::Phosphate => {
            "kg/m³"
        }
        Kind::Flow => "m³/s",
        Kind::Current => "A",
        Kind::Voltage => "V",
        Kind::CellConstant => "1/m",
        Kind::Time => "s",
        Kind::Share => "1",
        Kind::Angle => "rad",
        Kind::Speed => "m/s",
        Kind::Sunlight => "W/m²",
        Kind::MassRate => "kg/s",
        Kind::Printed => match unit.symbol {
            "mm a day" => "m/s",
            "g/mol" => "kg/mol",
            "mol" => "mol",
            "mmol/L" => "mol/m³",
            "C/mol" => "C/mol",
            "Ah" => "C",
            "Ω" => "Ω",
            "a day" => "1/s",
            symbol if symbol.starts_with("g a ") || symbol.starts_with("oz a ") => "kg/s",
            symbol if symbol.ends_with(" a day") => "kg/m³/s",
            symbol if symbol.ends_with(" a µS/cm") => "kg/m³ a S/m",
            _ => "SI",
        },
    }
}
