//! Taking chlorine out of new water, and the ammonia that chloramine leaves.

use crate::reference::{CHLORAMINE_AMMONIA, CHLORINE_THIOSULFATE, NITROGEN_PER_CHLORINE, THIOSULFATE_PER_CHLORINE};
use crate::units::table::{AMMONIA_N, ONE};
use crate::units::{AmmoniaNitrogen, Mass, MassConcentration, Ratio, Volume};
use crate::workings::Figure;

/// Sodium thiosulfate (pentahydrate) for a volume of new water of this total chlorine.
#[must_use]
pub fn thiosulfate(volume: &Figure<Volume>, chlorine: &Figure<MassConcentration>) -> Figure<Mass> {
    let ratio: Figure<Ratio> = Figure::cited(
        THIOSULFATE_PER_CHLORINE,
        "g_Cl",
        "grams of sodium thiosulfate a gram of chlorine",
        &ONE,
        &CHLORINE_THIOSULFATE,
    );
    volume * chlorine * ratio
}

/// Ammonia (as nitrogen) that combined chlorine leaves behind when it is neutralised.
#[must_use]
pub fn ammonia_left(
    id: &str,
    total: &Figure<MassConcentration>,
    free: &Figure<MassConcentration>,
) -> Figure<AmmoniaNitrogen> {
    let ratio: Figure<Ratio> =
        Figure::cited(NITROGEN_PER_CHLORINE, "n_Cl", "nitrogen a gram of combined chlorine", &ONE, &CHLORAMINE_AMMONIA);
    ((total - free) * ratio).meaning::<AmmoniaNitrogen>().named(
        id,
        "Ammonia left in treated supply",
        "N_supply",
        &AMMONIA_N,
    )
}
