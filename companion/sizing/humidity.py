"""Moist air as quantities: psychrolib finds it, this says it in units.

psychrolib keeps its unit system for the whole process, so every call sets it anew.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from companion.quantities import quantity
from companion.sizing.rounding import magnitude

if TYPE_CHECKING:
    from companion.quantities import Quantity

_DIGITS = 12
_GRAINS_PER_POUND = 7000  # by definition
_PSI = "psi"


@dataclass(frozen=True, slots=True)
class MoistAir:
    """Air with its water.

    Attributes:
        temperature: dry bulb.
        moisture: water for each pound of dry air.
        pressure: of the air around it, absolute.
    """

    temperature: Quantity
    moisture: Quantity
    pressure: Quantity

    def relative_humidity(self) -> Quantity:
        """Return the relative humidity, in percent."""
        share = _engine().GetRelHumFromHumRatio(
            _figure(self.temperature, "degF"), self._ratio(), _figure(self.pressure, _PSI)
        )
        return _quantity(share * 100, "percent")

    def dew_point(self) -> Quantity:
        """Return the dew point; under 32 °F the frost point."""
        degrees = _engine().GetTDewPointFromHumRatio(
            _figure(self.temperature, "degF"), self._ratio(), _figure(self.pressure, _PSI)
        )
        return _quantity(degrees, "degF")

    def enthalpy(self) -> Quantity:
        """Return the heat content for each pound of dry air, above dry air of 0 °F."""
        heat = _engine().GetMoistAirEnthalpy(_figure(self.temperature, "degF"), self._ratio())
        return _quantity(heat, "Btu_lb")

    def _ratio(self) -> float:
        return _figure(self.moisture, "gr_lb") / _GRAINS_PER_POUND


def air_pressure(elevation: Quantity) -> Quantity:
    """Return the standard atmosphere's pressure at an elevation.

    Source: psychrolib, the ASHRAE Handbook's equation for the standard atmosphere.
    """
    return _quantity(_engine().GetStandardAtmPressure(_figure(elevation, "ft")), _PSI)


def density_share(elevation: Quantity) -> float:
    """Return the density of air of one temperature at an elevation, sea level's being one."""
    sea_level = air_pressure(quantity(Decimal(0), "ft"))
    return float(magnitude(air_pressure(elevation), _PSI) / magnitude(sea_level, _PSI))


def by_wet_bulb(dry: Quantity, wet: Quantity, pressure: Quantity) -> MoistAir | None:
    """Return the air of a dry and a wet bulb, or None where no air is so.

    There is none where the wet bulb is the warmer one, nor where it is too cold even for air
    without any water. Source: psychrolib, the ASHRAE Handbook's wet-bulb equations.
    """
    engine = _engine()
    dry_f, wet_f = _figure(dry, "degF"), _figure(wet, "degF")
    if wet_f > dry_f:
        return None
    ratio = engine.GetHumRatioFromTWetBulb(dry_f, wet_f, _figure(pressure, _PSI))
    if ratio <= engine.MIN_HUM_RATIO:
        return None
    return MoistAir(dry, _quantity(ratio * _GRAINS_PER_POUND, "gr_lb"), pressure)


def by_relative_humidity(dry: Quantity, humidity: Quantity, pressure: Quantity) -> MoistAir:
    """Return the air of a dry bulb and a relative humidity.

    Source: psychrolib, the ASHRAE Handbook's saturation pressures.
    """
    share = _figure(humidity, "percent") / 100
    ratio = _engine().GetHumRatioFromRelHum(_figure(dry, "degF"), share, _figure(pressure, _PSI))
    return MoistAir(dry, _quantity(ratio * _GRAINS_PER_POUND, "gr_lb"), pressure)


def mixed(one: MoistAir, other: MoistAir, share: Quantity) -> MoistAir:
    """Return two airs of one pressure mixed; it may hold more water than it can carry as vapor.

    Water and heat content go by the mass of dry air, and the temperature follows from both.

    Args:
        one: an air.
        other: the air that is mixed into it, at the same pressure.
        share: of the other in the mix's dry air, 0 to 100 percent.

    Source: mass and energy balance; the temperature by psychrolib's inverse of the enthalpy.
    Checked by tests/golden/sizing/mixed-humidity.toml.
    """
    part = share.to("dimensionless")
    moisture = one.moisture + part * (other.moisture - one.moisture)
    heat = one.enthalpy() + part * (other.enthalpy() - one.enthalpy())
    ratio = _figure(moisture, "gr_lb") / _GRAINS_PER_POUND
    degrees = _engine().GetTDryBulbFromEnthalpyAndHumRatio(_figure(heat, "Btu_lb"), ratio)
    return MoistAir(_quantity(degrees, "degF"), moisture, one.pressure)


def saturation_pressure(temperature: Quantity) -> Quantity:
    """Return the pressure of water vapor over water, under 32 °F over ice.

    Source: psychrolib, the ASHRAE Handbook's equations.
    """
    return _quantity(_engine().GetSatVapPres(_figure(temperature, "degF")), _PSI)


def _engine() -> Any:  # noqa: ANN401 - psychrolib has no types
    """Return psychrolib, set to inch-pound units."""
    import psychrolib  # noqa: PLC0415 - most commands never need it

    psychrolib.SetUnitSystem(psychrolib.IP)
    return psychrolib


def _figure(found: Quantity, unit: str) -> float:
    return float(magnitude(found, unit))


def _quantity(figure: float, unit: str) -> Quantity:
    return quantity(Decimal(f"{figure:.{_DIGITS}g}"), unit)
