"""How long does a check of a 12-megapixel JPEG take, against decoding the same file alone?

    .venv/bin/python -m tests.benchmarks.check_speed

Prints the ratio in one run (best of several, both warm) and the peak memory of the process.
"""

from __future__ import annotations

import io
import resource
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from PIL import Image

from match.check.calibration_files import load_calibration
from match.check.settings import CheckSettings
from match.photo.load import load
from match.photo.regions import Kind, Region
from tests.support.checked import check_photo

WIDTH, HEIGHT, REPEATS = 4000, 3000, 7
REGIONS = [
    Region(Kind.CARD, 1750, 1100, 600, 600),
    Region(Kind.VEHICLE, 1000, 1100, 600, 600),
    Region(Kind.VEHICLE, 2500, 1100, 600, 600),
    Region(Kind.GREY, 1800, 1900, 400, 400, 0.18),
]


def photo() -> bytes:
    rng = np.random.default_rng(1)
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    base = 110 + 20 * np.sin(x / 900.0) + 15 * y / HEIGHT
    image = base[..., None] * np.array([1.0, 0.9, 0.8]) + rng.normal(0, 3, (HEIGHT, WIDTH, 1))
    image[1000:1800, 1700:2400] *= np.array([1.03, 1.0, 1.0])
    image[1850:2350, 1750:2250] = 117 + rng.normal(0, 3, (500, 500, 1))
    target = io.BytesIO()
    Image.fromarray(np.clip(image, 0, 255).astype(np.uint8)).save(target, "JPEG", quality=92)
    return target.getvalue()


def best(work: Callable[[], object]) -> float:
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def main() -> None:
    with ProcessPoolExecutor(1) as maker:  # so that making the photo does not count in this process's memory
        data = maker.submit(photo).result()
    calibration = load_calibration()
    check = best(lambda: check_photo(load(data, "big.jpg"), REGIONS, CheckSettings(), calibration))
    pillow = best(lambda: np.asarray(Image.open(io.BytesIO(data))))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"check {check * 1e3:.0f} ms, decoding alone (Pillow) {pillow * 1e3:.0f} ms: ratio {check / pillow:.2f}")
    print(f"peak memory of this process {peak:.0f} MB")


if __name__ == "__main__":
    main()
