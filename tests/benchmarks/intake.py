"""What the largest usual photo costs, what ten visitors cost, and what bombs cost: the bars of what is let in.

    .venv/bin/python -m tests.benchmarks.intake [photo] [sessions] [bombs] [density]

The photo is invented: 48 megapixels with shading and a sensor's noise, JPEG with a Display P3 profile. Times are the
processor's, so that a busy machine does not count. Sessions open the check page's own functions in ten threads of one
process, each with a photo of its own.
"""

from __future__ import annotations

import io
import logging
import resource
import sys
import threading
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from PIL import Image

from match.check.calibration_files import load_calibration
from match.check.settings import CheckSettings
from match.photo.found_marks import find_marks
from match.photo.load import Photo, load
from match.photo.regions import Kind, Region
from tests.benchmarks.decode_speed import display_p3_profile
from tests.support.bombs import BOMBS
from tests.support.bounded import bounded
from tests.support.checked import check_photo

WIDTH, HEIGHT, SESSIONS = 8064, 6048, 10
REGIONS = [
    Region(Kind.CARD, 3500, 2200, 1200, 1200),
    Region(Kind.VEHICLE, 2000, 2200, 1200, 1200),
    Region(Kind.VEHICLE, 5000, 2200, 1200, 1200),
    Region(Kind.GREY, 3600, 3800, 800, 800, 0.18),
]


def large_photo(random_state: int = 1) -> bytes:
    """Return an invented photo as JPEG."""
    rng = np.random.default_rng(random_state)
    noise = rng.normal(0, 6, (HEIGHT // 4, WIDTH // 4, 3)).astype(np.float32)
    rows = np.linspace(60, 170, HEIGHT, dtype=np.float32)[:, None, None]
    picture = np.empty((HEIGHT, WIDTH, 3), np.uint8)
    for first in range(0, HEIGHT, HEIGHT // 4):
        part = slice(first, first + HEIGHT // 4)
        picture[part] = np.clip(rows[part] + np.tile(noise, (1, 4, 1)), 0, 255).astype(np.uint8)
    picture[2200:3400, 3500:4700, 0] += 6
    file = io.BytesIO()
    Image.fromarray(picture).save(file, "JPEG", quality=90, icc_profile=display_p3_profile())
    return file.getvalue()


def apart(work: Callable[..., object], *arguments: object) -> object:
    """Run in a process of its own, whose memory then counts for nothing here."""
    with ProcessPoolExecutor(1) as other:
        return other.submit(work, *arguments).result()


def peak_mb() -> float:
    """Return this process's peak resident memory, MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def grown_mb(work: Callable[[], object]) -> float:
    """Return by how much the resident memory rises at its highest while something runs (``man 5 proc``: VmHWM), MB."""

    def status(name: str) -> float:
        with open("/proc/self/status", encoding="ascii") as file:
            return next(int(line.split()[1]) for line in file if line.startswith(name)) / 1024

    with open("/proc/self/clear_refs", "w", encoding="ascii") as file:
        file.write("5")
    before = status("VmRSS")
    work()
    return status("VmHWM") - before


def processor_seconds(work: Callable[[], object]) -> float:
    """Return the least processor time of three runs."""
    times = []
    for _ in range(3):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def one_photo(data: bytes) -> None:
    """Print memory and time of one large photo, opened, searched and checked, against decoding it and nothing else.

    The fastest decoder is the one that the program uses (libjpeg-turbo); Pillow's is that of most Python programs.
    """
    import imagecodecs

    calibration = load_calibration()

    def searched() -> Photo:
        photo = load(data, "large.jpg")
        find_marks(photo, (0.18,))
        return photo

    def whole() -> None:
        check_photo(searched(), REGIONS, CheckSettings(), calibration)

    works: dict[str, Callable[[], object]] = {
        "fastest decoder": lambda: imagecodecs.jpeg8_decode(data),
        "Pillow": lambda: np.asarray(Image.open(io.BytesIO(data))),
        "opened and searched": searched,
        "opened, searched and checked": whole,
    }
    whole()
    print(f"48 megapixels, P3: peak {peak_mb():.0f} MB of the whole process")
    memory = {name: grown_mb(work) for name, work in works.items()}
    times = {name: processor_seconds(work) for name, work in works.items()}
    for name in works:
        ratios = (
            f"{figure[name] / figure[one]:.1f} times the {what} of {one}"
            for figure, what in ((memory, "memory"), (times, "time"))
            for one in ("fastest decoder", "Pillow")
        )
        print(f"  {name}: {memory[name]:.0f} MB more, {times[name]:.2f} s; {', '.join(ratios)}")


def sessions(photos: list[bytes]) -> None:
    """Print the memory of ten visitors of the check page at once, each with a large photo."""
    logging.disable(logging.WARNING)  # Streamlit misses its server
    from match.ui import measured, session

    settings, problems = CheckSettings(), []

    def visit(data: bytes, number: int) -> None:
        try:
            chosen = session.chosen(f"{number}.jpg", bytes(bytearray(data)))
            for _ in range(2):
                measured.preview(chosen)
                measured.found_marks(chosen)
                check_photo(measured.read_photo(chosen), REGIONS, settings, measured.calibration())
        except Exception as error:
            problems.append(error)

    visitors = [threading.Thread(target=visit, args=(data, number)) for number, data in enumerate(photos)]
    for visitor in visitors:
        visitor.start()
    for visitor in visitors:
        visitor.join()
    print(f"{len(photos)} sessions with 48 megapixels each: peak {peak_mb():.0f} MB; problems: {problems or 'none'}")


def bombs() -> None:
    """Print what each bomb costs."""
    load(b"\xff\xd8\xff" + large_photo()[3:], "warm.jpg")
    for name, make in BOMBS.items():
        data = make()
        found = bounded(load, data, name, seconds=60)
        print(
            f"{name:14} {len(data) / 1e6:6.2f} MB: {found.kind:8} {found.seconds:5.2f} s {found.grown_mb:5.0f} MB more"
        )


def density() -> None:
    """Print the bytes per pixel of an even picture and of one with a sensor's noise."""
    even = np.full((3000, 4000, 3), 128, np.uint8)
    noisy = np.clip(np.random.default_rng(1).normal(128, 2, even.shape), 0, 255).astype(np.uint8)
    for kind, options in (("PNG", {}), ("JPEG", {"quality": 75}), ("WEBP", {"quality": 75})):
        sizes = []
        for picture in (even, noisy):
            file = io.BytesIO()
            Image.fromarray(picture).save(file, kind, **options)
            sizes.append(len(file.getvalue()) / 12e6)
        print(f"{kind}: even {sizes[0]:.4f}, with noise of 2 codes {sizes[1]:.3f} bytes per px")


def main() -> None:
    """Print the parts asked for, each in a process of its own."""
    wanted = sys.argv[1:] or ["photo", "sessions", "bombs", "density"]
    if "photo" in wanted:
        apart(one_photo, apart(large_photo))
    if "sessions" in wanted:
        apart(sessions, [apart(large_photo, number) for number in range(SESSIONS)])
    if "bombs" in wanted:
        apart(bombs)
    if "density" in wanted:
        apart(density)


if __name__ == "__main__":
    main()
