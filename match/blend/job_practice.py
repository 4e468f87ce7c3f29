"""What turns a plan into a job: film, mixing, waiting, what is done by hand, and cautions.

Every number is a starting point of common practice; the product's technical data sheet comes first.
"""

from dataclasses import dataclass

from match.blend.film import Gun
from match.calibration import quantity


@dataclass(frozen=True)
class BasePractice:
    """Table ``base`` of ``practice.toml``; times are lowest and highest."""

    dry_film: float = quantity("um per covering coat")
    solids: float = quantity("share by volume, ready to spray")
    transfer: float = quantity("share")
    reducer: float = quantity("parts per part of base")
    flash: tuple[float, ...] = quantity("min")
    flash_before_clear: tuple[float, ...] = quantity("min")
    left_in_gun: float = quantity("ml")


@dataclass(frozen=True)
class ClearPractice:
    """Table ``clear`` of ``practice.toml``."""

    gun: Gun
    hardener: float = quantity("parts per part of clear")
    reducer: float = quantity("parts per part of clear")
    coats: float = quantity("coats")
    dry_film: float = quantity("um per coat")
    solids: float = quantity("share by volume, ready to spray")
    transfer: float = quantity("share")
    flash: tuple[float, ...] = quantity("min")
    left_in_gun: float = quantity("ml")


@dataclass(frozen=True)
class Handling:
    """Table ``handling`` of ``practice.toml``."""

    turn_time: float = quantity("s per pass")
    clear_run_out: float = quantity("mm")
    reserve: float = quantity("share")


@dataclass(frozen=True)
class Caution:
    """One caution in words, and where it comes from."""

    words: str
    source: str


@dataclass(frozen=True)
class Preparing:
    """What is done by hand before and after spraying, in words; table ``by_hand`` of ``practice.toml``."""

    words: str
    source: str


@dataclass(frozen=True)
class JobPractice:
    """All that a job rests on, from ``practice.toml``; edit with :func:`dataclasses.replace`."""

    base: BasePractice
    clear: ClearPractice
    handling: Handling
    by_hand: dict[str, Preparing]
    cautions: dict[str, Caution]
