"""What lies under the platen: layers, the contacts between them, and what happens at the top and at the bottom.

Everything is per square metre of print: heat runs straight down, sideways losses are left out. That holds for
prints much wider than the stack is thick; near an edge the piece stays cooler than computed here.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isfinite

ABSOLUTE_ZERO_C = -273.15


class HeatError(ValueError):
    """A stack or a question that makes no physical sense; the message says which number and why."""


def require_positive(what: str, value: float, *, zero: bool = False, infinite: bool = False) -> None:
    """Raise HeatError unless ``value`` is above 0 (or at least 0, with ``zero``) and finite (unless ``infinite``)."""
    large_enough = value >= 0 if zero else value > 0
    if not large_enough or not (isfinite(value) or (infinite and value == inf)):
        raise HeatError(f"{what} must be {'at least' if zero else 'above'} 0, not {value!r}")


def require_temperature(what: str, value_c: float) -> None:
    """Raise HeatError unless ``value_c`` is a temperature."""
    if not (isfinite(value_c) and value_c >= ABSOLUTE_ZERO_C):
        raise HeatError(f"{what} must be a temperature in °C, not {value_c!r}")


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer of the stack, alike all through.

    ``water_share`` is the mass of moisture that has to boil off per mass of dry layer (0.075 for cotton at its
    usual regain); 0 for a layer that is dry or was pre-pressed.
    """

    title: str
    conductivity_w_mk: float
    density_kg_m3: float
    heat_capacity_j_kgk: float
    thickness_m: float
    water_share: float = 0.0

    def __post_init__(self) -> None:
        for name in ("conductivity_w_mk", "density_kg_m3", "heat_capacity_j_kgk", "thickness_m"):
            require_positive(f"{self.title}: {name}", getattr(self, name))
        require_positive(f"{self.title}: water_share", self.water_share, zero=True)

    @property
    def resistance_m2k_w(self) -> float:
        """Thickness over conductivity."""
        return self.thickness_m / self.conductivity_w_mk

    @property
    def capacity_j_m2k(self) -> float:
        """Heat that a square metre of it takes up per kelvin."""
        return self.density_kg_m3 * self.heat_capacity_j_kgk * self.thickness_m

    @property
    def diffusivity_m2_s(self) -> float:
        """How fast warmth spreads in it: conductivity over density times heat capacity."""
        return self.conductivity_w_mk / (self.density_kg_m3 * self.heat_capacity_j_kgk)


@dataclass(frozen=True, slots=True)
class Interface:
    """The contact between two neighbours, W/(m² K): the likely conductance and the range it may lie in."""

    likely_w_m2k: float
    low_w_m2k: float
    high_w_m2k: float

    def __post_init__(self) -> None:
        for name in ("likely_w_m2k", "low_w_m2k", "high_w_m2k"):
            require_positive(f"an interface's {name}", getattr(self, name), infinite=True)
        if not self.low_w_m2k <= self.likely_w_m2k <= self.high_w_m2k:
            raise HeatError(f"an interface's low, likely and high must rise, not {self!r}")


PERFECT = Interface(inf, inf, inf)


@dataclass(frozen=True, slots=True)
class FixedPlaten:
    """A face held at one temperature: a platen so heavy that the piece does not cool it."""

    temperature_c: float

    def __post_init__(self) -> None:
        require_temperature("a platen", self.temperature_c)


@dataclass(frozen=True, slots=True)
class Proportional:
    """Full power from ``band_k`` below the set temperature, sliding down to what holds it at the set temperature."""

    band_k: float = 5.0

    def __post_init__(self) -> None:
        require_positive("a controller's band_k", self.band_k)


@dataclass(frozen=True, slots=True)
class OnOff:
    """Full power below the set temperature less half of ``hysteresis_k``, none above it plus half."""

    hysteresis_k: float = 4.0

    def __post_init__(self) -> None:
        require_positive("a controller's hysteresis_k", self.hysteresis_k)


@dataclass(frozen=True, slots=True)
class HeatedPlaten:
    """A platen of finite mass with a heater: it sags when it meets a cold piece and climbs back.

    ``set_c`` is the mean surface temperature it idles at (not the display). Heat capacity, power and loss are per
    square metre of the area that bears on the piece. It is one lump: a platen conducts far better than the stack
    (its Biot number, a contact of 1000 W/(m² K) times 10 mm over 160 W/(m K), is 0.06).
    """

    set_c: float
    capacity_j_m2k: float
    power_w_m2: float
    loss_w_m2k: float
    ambient_c: float
    control: Proportional | OnOff = Proportional()

    def __post_init__(self) -> None:
        require_temperature("a platen", self.set_c)
        require_temperature("the air around a platen", self.ambient_c)
        require_positive("a platen's capacity_j_m2k", self.capacity_j_m2k)
        require_positive("a platen's power_w_m2", self.power_w_m2, zero=True)
        require_positive("a platen's loss_w_m2k", self.loss_w_m2k, zero=True)
        if self.hold_w_m2 > self.power_w_m2:
            raise HeatError(
                f"{self.power_w_m2:.0f} W/m² cannot hold an idle platen at {self.set_c:.0f} °C,"
                f" which loses {self.hold_w_m2:.0f} W/m²"
            )

    @property
    def hold_w_m2(self) -> float:
        """What it loses at its set temperature when idle."""
        return self.loss_w_m2k * (self.set_c - self.ambient_c)


@dataclass(frozen=True, slots=True)
class Convective:
    """A face that gives heat to air (or a bench too thick to warm through) at ``ambient_c``."""

    conductance_w_m2k: float
    ambient_c: float

    def __post_init__(self) -> None:
        require_positive("a face's conductance_w_m2k", self.conductance_w_m2k)
        require_temperature("the air", self.ambient_c)


@dataclass(frozen=True, slots=True)
class Insulated:
    """A face through which no heat goes: also the middle of anything heated alike from both sides."""


Top = FixedPlaten | HeatedPlaten | Convective | Insulated
Bottom = FixedPlaten | Convective | Insulated


@dataclass(frozen=True, slots=True)
class Stack:
    """Layers from the platen down, with one interface above each layer and one below the last.

    ``blank`` is the place of the printed piece in ``layers``. ``print_side`` says which of its faces carries the
    print: "upper" when it lies face up, "lower" for tiles pressed face down, through the back. The temperature at
    the print is that of the blank's own face, the cooler side of the contact.
    """

    layers: tuple[Layer, ...]
    interfaces: tuple[Interface, ...]
    blank: int
    top: Top
    bottom: Bottom
    print_side: str = "upper"

    def __post_init__(self) -> None:
        if not self.layers:
            raise HeatError("a stack needs at least one layer")
        if len(self.interfaces) != len(self.layers) + 1:
            raise HeatError(
                f"{len(self.layers)} layers have {len(self.layers) + 1} interfaces (one above each, one below the"
                f" last), not {len(self.interfaces)}"
            )
        if not 0 <= self.blank < len(self.layers):
            raise HeatError(f"the blank is layer {self.blank}, but there are {len(self.layers)}")
        if self.print_side not in ("upper", "lower"):
            raise HeatError(f"the print is on the upper or the lower side, not {self.print_side!r}")

    @property
    def print_at(self) -> int:
        """The interface at which the print lies: number i is above layer i."""
        return self.blank + (self.print_side == "lower")

    @property
    def damp(self) -> bool:
        """Whether any layer holds moisture that boils off."""
        return any(layer.water_share for layer in self.layers)

    def start(self, initial_c: float | tuple[float, ...]) -> tuple[float, ...]:
        """One starting temperature a layer, from one for all or one for each. Raises HeatError."""
        start_of_layers_c = (float(initial_c),) * len(self.layers) if isinstance(initial_c, int | float) else initial_c
        if len(start_of_layers_c) != len(self.layers):
            raise HeatError(
                f"{len(self.layers)} layers need {len(self.layers)} starting temperatures, not {len(start_of_layers_c)}"
            )
        for layer, start_c in zip(self.layers, start_of_layers_c, strict=True):
            require_temperature(f"{layer.title}: the starting temperature", start_c)
        return start_of_layers_c
