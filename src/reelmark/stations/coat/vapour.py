"""Air that keeps a dryer's vapour below a share of the lower flammable limit: an estimate, not a safety design.

    V = (mdot / M) R T / p        Q = sum V / (share LFL B)        share 0.25: C = 4 in the trade's form
    cfm = 403 SG ER 100 C / (MW LEL% B)        the same in US units, ER pints/min: at 70 degF

B lowers the limit in hot air.  SI first; the volume form stands beside it as a check.  Sources: gas law; 25 %: NFPA 86
as told at controlinstruments.com; EN 1539 holds in Europe; 403: health form of eng.utoledo.edu, FORM_CHAPX, and it is
the molar volume at 70 degF in these units, 403.48 by our own computation.
TRAP: a copy of such a form goes round with "LEL in %" beside a constant that is made for a share: 100 times too little
air (granhotelsantacruz.com).  A test holds that it is told apart.
Valid for steady running.  Spills, cleaning and start-up are worse, and health limits lie far below.
"""

from dataclasses import dataclass
from typing import Final

from reelmark.measure.given import SHARE, within
from reelmark.stations.coat.solvents import Blend

__all__ = ["GAS", "PRESSURE", "SEVENTY_F", "Air", "air_for", "concentration", "molar_volume", "volume_form"]

GAS: Final = 8.31446261815324  # J/(mol K), SI Brochure, 9th ed., from the defining constants
PRESSURE: Final = 101325.0  # Pa, the standard atmosphere
SEVENTY_F: Final = (70 - 32) / 1.8 + 273.15  # K
VOLUME_FORM: Final = 403.0  # as published, for the health form
PINT: Final = 0.473176473e-3  # m3, US liquid, NIST SP 811, appendix B.8
CUBIC_FOOT: Final = 0.3048**3  # m3, exact


@dataclass(frozen=True, slots=True)
class Air:
    """vapour : of all solvents, m3/s at the air's temperature;  air : m3/s that dilutes it, at that temperature
    checked : the volume form, m3/s at 70 degF;  apart : its difference from the SI form at 70 degF, a share"""

    vapour: float
    air: float
    checked: float
    apart: float


def air_for(rate: float, blend: Blend, temperature: float, share: float, hot: float = 1.0) -> Air:
    """Air for a solvent load.  rate : kg/s;  temperature : of the air as it is counted, K;  share : of the lower limit
    hot : B, 1 for a dryer below about 120 degC.  Water needs none."""
    within("solvent load", rate, 0.0, 10.0, "kg/s")
    within("limit_share", share, 0.01, 0.5, SHARE)
    within("hot_factor", hot, 0.1, 1.0, SHARE)
    volume = molar_volume(within("air_temperature", temperature, 230, 650, "K"))
    parts = [(rate * part / one.molar_mass.value, one.lfl.value) for _, one, part in blend]
    diluted = sum(moles / (share * limit * hot) for moles, limit in parts)
    checked = sum(volume_form(rate * part, one.molar_mass.value, 100 * one.lfl.value, share, hot)
                  for _, one, part in blend)  # fmt: skip
    same = diluted * molar_volume(SEVENTY_F)
    return Air(sum(m for m, _ in parts) * volume, diluted * volume, checked, checked / same - 1 if same else 0.0)


def molar_volume(temperature: float) -> float:
    """M3/mol of a perfect gas at the standard atmosphere."""
    return GAS * temperature / PRESSURE


def volume_form(rate: float, molar_mass: float, limit_percent: float, share: float, hot: float = 1.0) -> float:
    """M3/s at 70 degF by the form in US units.  rate : kg/s;  limit_percent : the lower limit in PERCENT by volume."""
    pints = rate * 60 / (1000 * PINT)  # SG times pints a minute; SG is against water of 1000 kg/m3
    cfm = VOLUME_FORM * pints * 100 / (share * molar_mass * 1000 * limit_percent * hot)
    return cfm * CUBIC_FOOT / 60


def concentration(molar_mass: float, limit: float, share: float, temperature: float) -> float:
    """Kg/m3 of vapour at that share of the limit."""
    return share * limit * molar_mass / molar_volume(temperature)
