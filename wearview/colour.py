"""Every colour conversion of the program, each once: 8-bit sRGB, linear light, XYZ, CIELAB, CIEDE2000.

All functions take any leading shape with the three channels last, and give float32. Linear light is relative
to the sRGB white (D65): 0 is black, 1 is white; values outside are allowed, since taking the light out can
make them.

References
----------
IEC 61966-2-1:1999 (transfer curve and the printed 4-decimal matrix); CIE 15:2004 / ISO 11664-4 (CIELAB).
"""

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

Float32 = NDArray[np.float32]

SRGB_TO_XYZ = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]], dtype=np.float64
)
# The white that this very matrix gives, and not a rounded D65: so R = G = B is a = b = 0, and no grey turns
# up tinted.
WHITE = SRGB_TO_XYZ.sum(axis=1)
# Linear Display P3 to linear sRGB, from the primaries of SMPTE EG 432-1 and ITU-R BT.709, white x .3127 y
# .3290 in both.
P3_TO_SRGB = np.array(
    [[1.2249402, -0.2249402, 0.0], [-0.0420570, 1.0420570, 0.0], [-0.0196376, -0.0786361, 1.0982736]],
    dtype=np.float64,
)
# D50 by its rounded chromaticity x .3457 y .3585 (CIE 15:2004).
WHITE_D50 = np.array([0.3457 / 0.3585, 1.0, (1 - 0.3457 - 0.3585) / 0.3585], dtype=np.float64)
BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]], dtype=np.float64
)
LAB_EPSILON = 216 / 24389
LAB_KAPPA = 24389 / 27

_TO_XYZ_OVER_WHITE = (SRGB_TO_XYZ / WHITE[:, None]).astype(np.float32)
_FROM_XYZ_OVER_WHITE = (np.linalg.inv(SRGB_TO_XYZ) * WHITE).astype(np.float32)
_TO_XYZ = SRGB_TO_XYZ.astype(np.float32)
_D50_TO_D65 = np.linalg.solve(BRADFORD, np.diag(BRADFORD @ WHITE / (BRADFORD @ WHITE_D50)) @ BRADFORD)
_FROM_XYZ_OVER_WHITE_D50 = (np.linalg.inv(SRGB_TO_XYZ) @ _D50_TO_D65 * WHITE_D50).astype(np.float32)
# Hues exactly opposite are not wrapped (Sharma, Wu and Dalal; pairs 10 and 14 stand on it); in float32
# "exactly" means within the rounding of two angles, and the nearest published pair that must be wrapped is 40
# times further off.
_HALF_TURN = np.float32(np.pi + 1e-6)
# Pixels converted at a time: enough to hide the calls, few enough to stay in the cache (1e4 to 1e5 take the
# same time).
_BLOCK = 32768


def _decode(encoded: NDArray[np.floating]) -> NDArray[np.floating]:
    return np.where(encoded <= 0.04045, encoded / 12.92, ((np.maximum(encoded, 0) + 0.055) / 1.055) ** 2.4)


def _encode(linear: NDArray[np.floating]) -> NDArray[np.floating]:
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 0) ** (1 / 2.4) - 0.055)


_DECODE_8 = _decode(np.arange(256) / 255).astype(np.float32)
_DECODE_8_TO_16 = np.rint(_decode(np.arange(256) / 255) * 65535).astype(np.uint16)
_ENCODE_16_TO_8 = np.rint(_encode(np.arange(65536) / 65535) * 255).astype(np.uint8)


def _pixels(channels: ArrayLike) -> Float32:
    pixels = np.asarray(channels, dtype=np.float32)
    if pixels.shape[-1:] != (3,):
        raise ValueError(f"three channels expected on the last axis, got shape {pixels.shape}")
    return pixels


def _mixed(pixels: Float32, matrix: Float32) -> Float32:
    """Each pixel's three channels times a 3 x 3 matrix (rows give the outputs)."""
    if not pixels.size:
        return pixels.copy()
    flat = np.ascontiguousarray(pixels).reshape(1, -1, 3)
    return np.asarray(cv2.transform(flat, matrix).reshape(pixels.shape))


def srgb_to_linear(rgb: NDArray[np.uint8] | NDArray[np.floating]) -> Float32:
    """Linear light of sRGB values.

    Parameters
    ----------
    rgb : ndarray, any shape
        uint8 codes 0..255, or floats where 1 is white.

    Returns
    -------
    ndarray, same shape, float32
        Linear light, 0..1.

    References
    ----------
    IEC 61966-2-1:1999.
    """
    if rgb.dtype == np.uint8:
        if not rgb.size:
            return rgb.astype(np.float32)
        flat = np.ascontiguousarray(rgb).reshape(1, -1)
        return np.asarray(cv2.LUT(flat, _DECODE_8).reshape(rgb.shape))
    return _decode(np.asarray(rgb, dtype=np.float64)).astype(np.float32)


def linear_to_srgb(rgb_linear: NDArray[np.floating]) -> Float32:
    """sRGB values of linear light, clipped to what a screen can show.

    Parameters
    ----------
    rgb_linear : ndarray, any shape
        Linear light; values outside 0..1 are clipped.

    Returns
    -------
    ndarray, same shape, float32
        0..1; times 255 and rounded it is the 8-bit code. NaN stays NaN.

    References
    ----------
    IEC 61966-2-1:1999.
    """
    return _encode(np.clip(rgb_linear, 0, 1)).astype(np.float32)


def linear_to_xyz(rgb_linear: ArrayLike) -> Float32:
    """CIE XYZ (2 degree observer, Y of white is 1) of linear sRGB, shape (..., 3).

    References
    ----------
    IEC 61966-2-1:1999, printed matrix.
    """
    return _mixed(_pixels(rgb_linear), _TO_XYZ)


def linear_to_lab(rgb_linear: ArrayLike) -> Float32:
    """CIELAB, D65, 2 degree observer, of linear sRGB.

    Parameters
    ----------
    rgb_linear : array_like, shape (..., 3)
        Linear light, 1 is the white that gets L* 100.

    Returns
    -------
    ndarray, same shape, float32
        L* 0..100 for light 0..1 (no limit is enforced), a*, b*. NaN where the light is NaN.

    Notes
    -----
    White is the row sum of the sRGB matrix, so greys have a* = b* = 0 exactly up to rounding; the choice
    among printed D65 whites moves a* and b* by at most 0.03.

    References
    ----------
    CIE 15:2004 / ISO 11664-4.
    """
    pixels = _pixels(rgb_linear)
    lab = np.empty(pixels.shape, dtype=np.float32)
    flat, flat_lab = pixels.reshape(-1, 3), lab.reshape(-1, 3)
    for start in range(0, len(flat), _BLOCK):
        relative = _mixed(flat[start : start + _BLOCK], _TO_XYZ_OVER_WHITE)
        f = np.cbrt(relative)
        dark = ~(relative > LAB_EPSILON)  # NaN goes the straight way and stays NaN
        if dark.any():
            np.copyto(f, (np.float32(LAB_KAPPA) * relative + 16) / 116, where=dark)
        out = flat_lab[start : start + _BLOCK]
        out[:, 0] = 116 * f[:, 1] - 16
        out[:, 1] = 500 * (f[:, 0] - f[:, 1])
        out[:, 2] = 200 * (f[:, 1] - f[:, 2])
    return lab


def lab_to_linear(lab: ArrayLike) -> Float32:
    """Linear sRGB of CIELAB (D65, 2 degrees), shape (..., 3); the inverse of `linear_to_lab`.

    Colours outside sRGB come out below 0 or above 1.

    References
    ----------
    CIE 15:2004 / ISO 11664-4.
    """
    return _mixed(_lab_to_relative(lab), _FROM_XYZ_OVER_WHITE)


def lab_d50_to_linear(lab: ArrayLike) -> Float32:
    """Linear sRGB of CIELAB under D50 (2 degrees), shape (..., 3), adapted to D65 by Bradford.

    What print and chart makers publish is D50; what looks like their white becomes white here.

    References
    ----------
    Cone matrix: ICC.1:2022 Annex E, K. M. Lam 1985.
    """
    return _mixed(_lab_to_relative(lab), _FROM_XYZ_OVER_WHITE_D50)


def _lab_to_relative(lab: ArrayLike) -> Float32:
    """XYZ over its white, of CIELAB."""
    values = _pixels(lab)
    fy = (values[..., 0] + 16) / 116
    f = np.stack([fy + values[..., 1] / 500, fy, fy - values[..., 2] / 200], axis=-1)
    cubed = f * f * f
    return np.where(cubed > LAB_EPSILON, cubed, (116 * f - 16) / np.float32(LAB_KAPPA))


def chroma_hue(lab: ArrayLike) -> tuple[Float32, Float32]:
    """Chroma C*ab and hue angle in degrees of CIELAB colours, shape (..., 3).

    Returns
    -------
    chroma, hue_deg : ndarray, shape (...), float32
        0 and up; [0, 360), 0 towards +a*, 90 towards +b*. The hue of an exact grey is NaN, since it has none.
    """
    values = _pixels(lab)
    a, b = values[..., 1], values[..., 2]
    chroma = np.hypot(a, b)
    hue = np.asarray(np.degrees(np.arctan2(b, a)))
    hue = np.where(hue < 0, hue + 360, hue)
    hue = np.where(hue >= 360, np.float32(0), hue)  # a tiny negative angle rounds up to the full turn
    return chroma, np.where(chroma > 0, hue, np.float32(np.nan)).astype(np.float32)


def delta_e(lab: ArrayLike, clean: ArrayLike) -> Float32:
    """CIEDE2000 of each pixel from a clean colour.

    Parameters
    ----------
    lab : array_like, shape (..., 3)
        CIELAB, D65, 2 degrees; L* in [0, 100]. Light already taken out.
    clean : array_like, shape (3,) or broadcasting against `lab`
        Clean colour of the same lining, same space.

    Returns
    -------
    ndarray, shape (...), float32
        0 and up, unitless. NaN where either colour is NaN.

    Notes
    -----
    Not a temperature and not a share of worn lining. The formula was fitted to smooth samples differing by
    less than about 5; above that it ranks, it does not measure. kL = kC = kH = 1. The two colours are
    interchangeable.

    Own code because a face has 160,000 pixels: the same formula in scikit-image works in float64 and takes
    five times as long. float32 still meets all published pairs to their printed digits.

    References
    ----------
    CIE 142-2001 (number from memory); formula and test data in G. Sharma, W. Wu, E. N. Dalal (2005), Color
    Res. Appl. 30(1), 21-30; equation numbers below are that paper's, from memory.
    """
    colours, other = _pixels(lab), _pixels(clean)
    if other.ndim > 1 or colours.size <= 3 * _BLOCK:
        return _delta_e(colours, other)
    flat = colours.reshape(-1, 3)
    blocks = [_delta_e(flat[at : at + _BLOCK], other) for at in range(0, len(flat), _BLOCK)]
    return np.concatenate(blocks).reshape(colours.shape[:-1])


def _delta_e(lab: Float32, clean: Float32) -> Float32:
    # Each channel in a row of its own: an arc tangent of every third number takes four times as long. What
    # holds for some pixels is multiplied by whether it does: `np.where` takes ten times as long.
    l1, a1, b1 = (channel.copy() for channel in np.moveaxis(lab, -1, 0))
    l2, a2, b2 = np.moveaxis(clean, -1, 0)

    # (2)-(7): a* stretched for greys, then chroma and hue.
    stretch = np.float32(1.5) - np.float32(0.5) * _of_25((_chroma(a1, b1) + _chroma(a2, b2)) / 2)
    a1, a2 = a1 * stretch, a2 * stretch
    c1, c2 = _chroma(a1, b1), _chroma(a2, b2)
    h1, h2 = np.arctan2(b1, a1), np.arctan2(b2, a2)
    turn = np.float32(2 * np.pi)
    h1, h2 = h1 + turn * (h1 < 0), h2 + turn * (h2 < 0)

    # (8)-(11): differences; the hue difference wrapped to half a turn.
    dh = h2 - h1
    wrapped = np.abs(dh) > _HALF_TURN
    dh = dh - np.copysign(turn, dh) * wrapped
    product = c1 * c2
    d_hue = 2 * np.sqrt(product) * np.sin(dh / 2)
    d_light, d_chroma = l2 - l1, c2 - c1

    # (12)-(14): means. The mean hue lies in the middle of the short way round; with a grey it is the other
    # one's hue.
    chroma = (c1 + c2) / 2
    hue = (h1 + h2 + turn * wrapped) / 2
    if (grey := product == 0).any():
        hue = np.where(grey, h1 + h2, hue)

    # (15)-(21): weights and the rotation in the blue.
    weight = (
        1
        - np.float32(0.17) * np.cos(hue - np.float32(np.radians(30)))
        + np.float32(0.24) * np.cos(2 * hue)
        + np.float32(0.32) * np.cos(3 * hue + np.float32(np.radians(6)))
        - np.float32(0.20) * np.cos(4 * hue - np.float32(np.radians(63)))
    )
    light50 = ((l1 + l2) / 2 - 50) ** 2
    s_light = 1 + np.float32(0.015) * light50 / np.sqrt(20 + light50)
    s_chroma = 1 + np.float32(0.045) * chroma
    s_hue = 1 + np.float32(0.015) * chroma * weight
    degrees = hue * np.float32(180 / np.pi)
    degrees = (degrees - np.float32(360) * (degrees >= 360) - 275) / 25
    rotation = -2 * _of_25(chroma) * np.sin(np.float32(np.radians(60)) * np.exp(-degrees * degrees))

    # (22)
    x, y, z = d_light / s_light, d_chroma / s_chroma, d_hue / s_hue
    return np.sqrt(np.maximum(x * x + y * y + z * z + rotation * y * z, 0)).astype(np.float32)


def _chroma(a: NDArray[np.floating], b: NDArray[np.floating]) -> NDArray[np.floating]:
    return np.sqrt(a * a + b * b)


def _of_25(chroma: NDArray[np.floating]) -> NDArray[np.floating]:
    """Root of C^7 / (C^7 + 25^7), multiplied out: NumPy's power takes as long as the rest of a Delta E."""
    squared = chroma * chroma
    chroma7 = squared * squared * squared * chroma
    return np.sqrt(chroma7 / (chroma7 + np.float32(25**7)))


def p3_to_srgb(rgb8: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """8-bit sRGB of 8-bit Display P3, shape (H, W, 3); colours outside sRGB are clipped.

    Both share curve and white, so it is one matrix in linear light, done in 16 bits (a step there is 0.05 of
    an 8-bit step at most).

    References
    ----------
    Primaries: SMPTE EG 432-1, ITU-R BT.709; curve: IEC 61966-2-1:1999.
    """
    out = np.empty_like(rgb8)
    step = max(1, _BLOCK // max(1, rgb8.shape[1]))
    for top in range(0, rgb8.shape[0], step):
        rows = slice(top, top + step)
        linear16 = cv2.transform(cv2.LUT(rgb8[rows], _DECODE_8_TO_16), P3_TO_SRGB)
        out[rows] = cv2.LUT(linear16, _ENCODE_16_TO_8)
    return out
