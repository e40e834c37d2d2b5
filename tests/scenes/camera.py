"""What a phone makes of the light: exposure, white balance, lens, noise, tone, sharpening, JPEG and EXIF."""

from __future__ import annotations

import io
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from PIL import Image

from tests.scenes.icc import display_p3, srgb_to_p3

Field = NDArray[np.float32]

LUMA = np.array([0.2126, 0.7152, 0.0722], np.float32)
MEAN_GREY = 0.20  # linear; where a phone's metering puts the middle of a picture
KNOWS_DARK = 0.45  # how far it lets a dark picture stay dark
HEADROOM = 0.86  # linear; what a phone's metering keeps the brightest large surface under


@dataclass(frozen=True, slots=True)
class Phone:
    """One exposure with one phone; sizes are for a picture 1600 pixels wide and grow with it."""

    exposure: float  # times what the metering asks for
    adapted: float  # share of the light's tint that the white balance takes out, 0..1
    balance_error: tuple[float, float]  # red and blue gain beside green, times
    contrast: float  # 0 plain sRGB curve .. 0.15 punchy
    saturation: float
    vignette: float  # loss in the corners, 0..1
    blur_px: float  # lens and focus, Gaussian sigma
    motion_px: float  # length of the smear of a shaken shot
    motion_deg: float
    electrons: float  # full well: fewer is noisier
    sharpen: float
    quality: int  # JPEG
    wide_gamut: bool  # Display P3 profile embedded
    orientation: int  # EXIF tag under which the pixels are stored


def random_phone(rng: Generator) -> Phone:
    """A handheld shot that came out well."""
    return Phone(
        exposure=float(np.exp(rng.normal(0, 0.16))),
        adapted=float(rng.uniform(0.75, 1.0)),
        balance_error=(float(np.exp(rng.normal(0, 0.035))), float(np.exp(rng.normal(0, 0.05)))),
        contrast=float(rng.uniform(0.0, 0.11)),
        saturation=float(rng.uniform(0.99, 1.06)),
        vignette=float(rng.uniform(0.03, 0.2)),
        blur_px=float(rng.uniform(0.55, 0.95)),
        motion_px=0.0,
        motion_deg=0.0,
        electrons=float(rng.uniform(2500, 9000)),
        sharpen=float(rng.uniform(0.3, 0.8)),
        quality=int(rng.integers(86, 95)),
        wide_gamut=bool(rng.random() < 0.2),
        orientation=int(rng.choice([1, 1, 1, 1, 6, 3, 8])),
    )


def varied_phone(rng: Generator) -> Phone:
    """A shot with any phone: older and cheaper ones, heavier processing, worse light for its balance."""
    return replace(
        random_phone(rng),
        exposure=float(np.exp(rng.normal(0, 0.22))),
        adapted=float(rng.uniform(0.6, 1.0)),
        balance_error=(float(np.exp(rng.normal(0, 0.05))), float(np.exp(rng.normal(0, 0.07)))),
        contrast=float(rng.uniform(0.0, 0.15)),
        saturation=float(rng.uniform(0.93, 1.14)),
        vignette=float(rng.uniform(0.0, 0.3)),
        blur_px=float(rng.uniform(0.5, 1.15)),
        electrons=float(rng.uniform(1300, 12000)),
        sharpen=float(rng.uniform(0.0, 1.1)),
        quality=int(rng.integers(74, 97)),
    )


PHONES = {"plain": random_phone, "varied": varied_phone}


def spoiled(phone: Phone, defect: str, rng: Generator) -> Phone:
    """The same phone with a shot gone wrong; defects that are not the camera's change nothing."""
    if defect == "blurred":
        if rng.random() < 0.5:
            return replace(phone, motion_px=float(rng.uniform(38, 60)), motion_deg=float(rng.uniform(0, 180)))
        return replace(phone, blur_px=float(rng.uniform(10, 15)))
    if defect == "too dark":
        return replace(phone, exposure=0.022, electrons=900.0)
    if defect == "blown highlights":
        return replace(phone, exposure=float(rng.uniform(11, 15)))
    return phone


def other_light(phone: Phone, rng: Generator) -> Phone:
    """The same phone under another light: tint, exposure and metering differ."""
    warm = rng.uniform(-0.22, 0.22)
    return replace(
        phone,
        exposure=float(np.exp(rng.normal(0, 0.22))),
        balance_error=(float(np.exp(warm + rng.normal(0, 0.03))), float(np.exp(-warm + rng.normal(0, 0.04)))),
        contrast=float(rng.uniform(0.0, 0.11)),
        vignette=float(rng.uniform(0.03, 0.2)),
        electrons=float(rng.uniform(2500, 9000)),
        wide_gamut=False,
        orientation=1,
    )


def uneven_light(rng: Generator, height: int, width: int) -> Field:
    """A low-order field (H, W) of light around 1: a lamp moved, a window to one side."""
    x, y = np.meshgrid(np.linspace(-1, 1, width), np.linspace(-1, 1, height))
    a, b, c, d, e = rng.normal(0, [0.13, 0.13, 0.05, 0.05, 0.05])
    return np.exp(a * x + b * y + c * x * y + d * x * x + e * y * y).astype(np.float32)


def develop(
    linear: Field, phone: Phone, light: tuple[float, float, float], rng: Generator
) -> NDArray[np.uint8]:
    """8-bit RGB (H, W, 3) of linear sRGB radiance; ``light`` is the linear colour of the main lamp."""
    height, width = linear.shape[:2]
    size = max(width, height) / 1600
    tint = np.array(light, np.float32) ** phone.adapted
    gains = np.array([phone.balance_error[0], 1.0, phone.balance_error[1]], np.float32) / tint
    image = np.minimum(linear, np.float32(60)) * gains
    image = _smear(image, phone, size)
    x, y = np.meshgrid(np.linspace(-1, 1, width), np.linspace(-1, 1, height))
    image *= (1 - phone.vignette * (x * x + y * y) / 2)[..., None].astype(np.float32)
    grey = image @ LUMA
    middle = max(float(np.exp(np.log(grey + 1e-3).mean())), 1e-6)
    metered = (MEAN_GREY / middle) ** (1 - KNOWS_DARK)  # a white matte surface in full light has radiance 1
    bright = float(np.quantile(image.max(axis=2)[::4, ::4], 0.985))
    image *= phone.exposure * min(metered, HEADROOM / max(bright, 1e-6))
    image = _noise(image, phone.electrons, rng)
    grey = (image @ LUMA)[..., None]
    image = grey + (image - grey) * phone.saturation
    if phone.wide_gamut:
        image = image @ srgb_to_p3().T.astype(np.float32)
    return np.round(255 * _finished(image, phone, size)).astype(np.uint8)


def _smear(image: Field, phone: Phone, size: float) -> Field:
    image = cv2.GaussianBlur(image, (0, 0), phone.blur_px * size)
    if phone.motion_px <= 0:
        return image
    n = int(phone.motion_px * size) | 1
    kernel = np.zeros((n, n), np.float32)
    half = (n - 1) / 2
    reach = half * np.array([np.cos(np.deg2rad(phone.motion_deg)), np.sin(np.deg2rad(phone.motion_deg))])
    bow = 0.12 * np.array([-reach[1], reach[0]])  # a hand never moves quite straight
    t = np.linspace(-1, 1, 200)[:, None]
    path = half + t * reach + (1 - t * t) * bow
    for px, py in np.rint(path).astype(int):
        kernel[py, px] += 1
    return cv2.filter2D(image, -1, kernel / kernel.sum())


def _noise(image: Field, electrons: float, rng: Generator) -> Field:
    """Shot and read noise, then a phone's usual smoothing of its colour."""
    read = 3.0 / electrons
    deviation = np.sqrt(np.clip(image, 0, 1.2) / electrons + read**2).astype(np.float32)
    noisy = image + deviation * rng.standard_normal(image.shape, np.float32)
    grey = noisy @ LUMA
    colour = cv2.GaussianBlur(noisy - grey[..., None], (0, 0), 1.3)
    return (0.35 * cv2.GaussianBlur(grey, (0, 0), 0.8) + 0.65 * grey)[..., None] + colour


def _finished(image: Field, phone: Phone, size: float) -> Field:
    """Curve, sharpening and clipping of linear values; encoded 0..1."""
    image = np.clip(image, 0, None)
    knee = np.float32(0.9)  # highlights roll off instead of breaking
    image = np.where(
        image > knee, knee + (1 - knee) * (1 - np.exp(-(image - knee) / (1 - knee) / 1.6)), image
    )
    code = np.where(
        image <= 0.0031308, 12.92 * image, 1.055 * np.power(np.maximum(image, 1e-8), 1 / 2.4) - 0.055
    ).astype(np.float32)
    code = code - np.float32(phone.contrast / (2 * np.pi)) * np.sin(2 * np.pi * np.clip(code, 0, 1))
    grey = code @ LUMA
    detail = grey - cv2.GaussianBlur(grey, (0, 0), 1.1 * size)
    return np.clip(code + phone.sharpen * np.clip(detail, -0.08, 0.08)[..., None], 0, 1)


@dataclass(frozen=True, slots=True)
class Exif:
    """What the file says about the shot."""

    taken_at: str  # YYYY:MM:DD HH:MM:SS, the shop's local time
    offset: str | None  # +HH:MM, None when the phone did not say
    focal_mm: float
    focal_35mm: int


def write_jpeg(rgb: NDArray[np.uint8], phone: Phone, exif: Exif) -> bytes:
    """JPEG bytes, turned so that the orientation tag sets the picture upright."""
    turns = {1: 0, 6: 1, 3: 2, 8: 3}[phone.orientation]  # quarter turns anticlockwise that the tag undoes
    stored = Image.fromarray(np.ascontiguousarray(np.rot90(rgb, turns)))
    tags = Image.Exif()
    tags[0x0112] = phone.orientation
    tags[0x0132] = exif.taken_at
    details = tags.get_ifd(0x8769)
    details[0x9003] = exif.taken_at
    if exif.offset:
        details[0x9011] = exif.offset
    details[0x920A] = exif.focal_mm
    details[0xA405] = exif.focal_35mm
    details[0xA001] = 65535 if phone.wide_gamut else 1
    out = io.BytesIO()
    stored.save(
        out,
        "JPEG",
        quality=phone.quality,
        subsampling="4:2:0",
        exif=tags,
        icc_profile=display_p3() if phone.wide_gamut else None,
    )
    return out.getvalue()
