"""One photo by the usual calibration and its marks become a verdict, as command and page have it."""

from collections.abc import Sequence
from functools import partial

from match.camera.own import PhotoCalibration
from match.check.calibration_files import Calibration
from match.check.measuring import PhotoLike, measure_photo
from match.check.result import CheckResult
from match.check.settings import CheckSettings
from match.photo.regions import Region


def check_photo(
    photo: PhotoLike, regions: Sequence[Region], settings: CheckSettings, calibration: Calibration
) -> CheckResult:
    """Return the verdict on one photo's marks, without what is known of its camera."""
    return PhotoCalibration(calibration, photo.notes).check(partial(measure_photo, photo), regions, settings)
