"""12-megapixel JPEGs with a phone's detail, made from the demo photos."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

DEMO = Path(__file__).parents[2] / "demo_images"
WIDTH, HEIGHT, QUALITY = 4000, 3000, 92
NOISE = 4.0  # 8-bit steps, as a phone's by workshop light; it gives files of 2 to 3 MB, and imread the work


def write_photo(name: str, target: Path, seed: int = 0) -> Path:
    """A demo photo at 4000 x 3000 with sensor noise; another seed gives another photo of the same parts."""
    return enlarge(DEMO / name, target, seed)


def enlarge(photo: Path, target: Path, seed: int = 0) -> Path:
    """Any photo, 4:3, upright or not, at 12 megapixels with sensor noise."""
    bgr8 = cv2.imread(str(photo))
    if bgr8 is None:
        raise FileNotFoundError(photo)
    height = round(WIDTH * bgr8.shape[0] / bgr8.shape[1])
    large = np.asarray(cv2.resize(bgr8, (WIDTH, height), interpolation=cv2.INTER_LANCZOS4))
    noise = np.random.default_rng(seed).standard_normal(large.shape, np.float32)
    noisy = np.clip(large + np.float32(NOISE) * noise, 0, 255).astype(np.uint8)
    if not cv2.imwrite(str(target), noisy, [cv2.IMWRITE_JPEG_QUALITY, QUALITY]):
        raise OSError(f"{target}: could not be written")
    return target
