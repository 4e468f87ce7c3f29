"""Print how long loading a photo and reading three regions takes, against decoding the pixels alone.

Run with ``python tests/benchmarks/decode_speed.py``; options: ``--megapixels 12`` ``--repeats 5``. Every case runs in a
process of its own, so that the peak memory printed is that case's; a child starts from its parent's peak, hence the
files are written by a child too. The picture is invented: shading with sensor-like noise, saved at JPEG quality 92 with
4:2:0 chroma, as phones do.
"""

from __future__ import annotations

import argparse
import io
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import imagecodecs
import numpy as np
import pillow_heif
from PIL import Image

from match.photo.load import load

CASES = ("jpeg, no profile", "jpeg, Display P3 profile", "heic, 8 bit", "png, 16 bit")


def picture(megapixels: float) -> np.ndarray:
    """Return an invented 4:3 picture of 8 bits."""
    height = int((megapixels * 1e6 * 3 / 4) ** 0.5) // 2 * 2
    width = height * 4 // 3 // 2 * 2
    rows, columns = np.mgrid[0:height, 0:width].astype(np.float32)
    shading = [127 + 100 * np.sin(columns / 300), 127 + 100 * np.cos(rows / 200), 127 + 60 * np.sin(columns / 90)]
    noise = np.random.default_rng(1).normal(0, 3, (height, width, 3)).astype(np.float32)
    return np.clip(np.stack(shading, axis=-1) + noise, 0, 255).astype(np.uint8)


def display_p3_profile() -> bytes:
    """Return a profile of the Display P3 primaries; its curve is a plain 2.2, which costs the same to read."""
    primaries = [0.680, 0.320, 1.0, 0.265, 0.690, 1.0, 0.150, 0.060, 1.0]
    return bytes(imagecodecs.cms_profile("rgb", whitepoint=[0.3127, 0.3290, 1.0], primaries=primaries, gamma=2.2))


def write(case: str, path: Path, megapixels: float) -> None:
    """Write one case's file."""
    pixels = picture(megapixels)
    file = io.BytesIO()
    if case.startswith("jpeg"):
        profile = {"icc_profile": display_p3_profile()} if "P3" in case else {}
        Image.fromarray(pixels).save(file, "JPEG", quality=92, subsampling=2, **profile)
    elif case.startswith("heic"):
        pillow_heif.from_pillow(Image.fromarray(pixels)).save(file, quality=80, enc_params={"preset": "ultrafast"})
    else:
        file.write(imagecodecs.png_encode(pixels.astype(np.uint16) * 257, level=1))
    path.write_bytes(file.getvalue())


def decode_alone(case: str) -> Callable[[bytes], object]:
    """Return the fastest decoder at hand for a case, and nothing else."""
    if case.startswith("jpeg"):
        return imagecodecs.jpeg8_decode
    if case.startswith("heic"):
        return lambda content: np.asarray(pillow_heif.open_heif(content))
    return imagecodecs.png_decode


def load_and_crop(path: Path) -> None:
    """Load a photo and read three regions of 600 x 600 pixels."""
    photo = load(path)
    for x in (0, 700, 1400):
        photo.crop(x, 300, 600, 600)


def fastest(repeats: int, action: Callable[[], object]) -> float:
    """Return the shortest of several runs, in seconds."""
    seconds = []
    for _ in range(repeats):
        start = time.perf_counter()
        action()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def peak_megabytes() -> float:
    """Return this process's peak resident memory (Linux counts it in KiB)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def measure(case: str, path: Path, repeats: int) -> None:
    """Print one case's line."""
    content = path.read_bytes()
    load(content).preview(64)  # the first use imports the decoders
    decode = fastest(repeats, lambda: decode_alone(case)(content))
    pillow = fastest(repeats, lambda: np.asarray(Image.open(path))) if case.startswith("jpeg") else float("nan")
    loaded = fastest(repeats, lambda: load_and_crop(path))
    photo = load(path)
    preview = fastest(repeats, lambda: photo.preview(1600))
    print(
        f"{case:26} {len(content) / 1e6:7.1f} {1000 * decode:9.0f} {1000 * pillow:9.0f} {1000 * loaded:11.0f} "
        f"{loaded / decode:6.2f} {loaded / pillow:9.2f} {1000 * preview:9.0f}"
    )


def measure_memory(path: Path) -> None:
    """Print the peak memory of loading once and cropping, above that of the started program."""
    before = peak_megabytes()
    load_and_crop(path)
    print(f"{'':26} peak memory {peak_megabytes():.0f} MB, of which {before:.0f} MB before loading")


def main() -> None:
    """Write each case's file and measure it in processes of its own."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--megapixels", type=float, default=12.0)
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--case", choices=CASES, help=argparse.SUPPRESS)
    parser.add_argument("--write", action="store_true", help=argparse.SUPPRESS)
    parser.add_argument("--memory", action="store_true", help=argparse.SUPPRESS)
    parser.add_argument("--file", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.memory:
        measure_memory(options.file)
        return
    if options.write:
        write(options.case, options.file, options.megapixels)
        return
    if options.case:
        measure(options.case, options.file, options.repeats)
        return
    print(f"{options.megapixels:g} megapixels; times in milliseconds, the fastest of {options.repeats}")
    print(
        f"{'':26} {'MB':>7} {'decode':>9} {'Pillow':>9} {'load+crops':>11} {'ratio':>6} {'to Pillow':>9} {'preview':>9}"
    )
    with tempfile.TemporaryDirectory() as folder:
        for case in CASES:
            path = Path(folder) / f"card.{case[:4].strip(',')}"
            again = [sys.executable, __file__, "--file", str(path), "--repeats", str(options.repeats)]
            subprocess.run([*again, "--write", "--case", case, "--megapixels", str(options.megapixels)], check=True)
            subprocess.run([*again, "--case", case], check=True)
            subprocess.run([*again, "--memory"], check=True)


if __name__ == "__main__":
    main()
