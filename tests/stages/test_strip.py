"""What stays in a JPEG that leaves the shop, and what goes."""

import io

import numpy as np
import pytest
from PIL import Image, ImageCms

from wearview.report.strip import stripped, time_and_turn

GPS, CAMERA = 0x8825, 34665  # Exif 2.32 (CIPA DC-008)
PLACE = b"51.5N 0.1W"


def picture(**options):
    pixels = np.random.default_rng(1).integers(0, 255, (48, 64, 3), dtype=np.uint8)
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", **options)
    return out.getvalue()


def camera_exif(orientation=6, offset="+02:00"):
    exif = Image.Exif()
    exif[0x010F], exif[274] = "Maker", orientation
    camera = exif.get_ifd(CAMERA)
    camera[36867], camera[0x9286] = "2024:05:03 10:15:00", PLACE  # DateTimeOriginal, UserComment
    if offset:
        camera[36881] = offset
    place = exif.get_ifd(GPS)
    place[1], place[2] = "N", (51.0, 30.0, 0.0)
    return exif


def segment(marker, payload):
    return bytes([0xFF, marker]) + (len(payload) + 2).to_bytes(2, "big") + payload


def opened(data):
    return Image.open(io.BytesIO(data))


def test_the_pixels_stay_to_the_bit():
    for options in ({}, {"progressive": True}, {"restart_marker_blocks": 1}, {"subsampling": 0}):
        data = picture(exif=camera_exif(), **options)
        assert np.array_equal(np.asarray(opened(stripped(data))), np.asarray(opened(data)))


def test_way_up_and_time_stay_and_place_and_camera_go():
    exif = opened(stripped(picture(exif=camera_exif()))).getexif()
    camera = exif.get_ifd(CAMERA)
    assert exif[274] == 6
    assert (camera[36867], camera[36881]) == ("2024:05:03 10:15:00", "+02:00")
    assert set(exif) == {274, CAMERA}
    assert set(camera) == {36867, 36881}
    assert not exif.get_ifd(GPS)


def test_a_photo_that_says_nothing_gets_no_exif():
    assert "exif" not in opened(stripped(picture())).info
    assert time_and_turn(None) == b""


def test_the_colour_profile_stays():
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    assert opened(stripped(picture(icc_profile=profile))).info["icc_profile"] == profile


@pytest.mark.parametrize(
    ("marker", "payload"),
    [
        (0xE1, b"http://ns.adobe.com/xap/1.0/\0<x:xmpmeta>" + PLACE),  # XMP
        (0xED, b"Photoshop 3.0\x008BIM" + PLACE),  # IPTC lies in it
        (0xE2, b"MPF\0" + PLACE),  # tells of pictures behind the end
        (0xE0, b"JFXX\0" + PLACE),
        (0xEB, b"maker" + PLACE),
        (0xFE, PLACE),  # comment
    ],
)
def test_other_segments_go(marker, payload):
    data = picture(comment=b"")
    assert PLACE not in stripped(data[:2] + segment(marker, payload) + data[2:])
    # Behind the first scan of a progressive picture too.
    data = picture(progressive=True)
    scan = data.rindex(b"\xff\xda")
    assert PLACE not in stripped(data[:scan] + segment(marker, payload) + data[scan:])


def test_what_is_appended_goes():
    second = picture(exif=camera_exif(), comment=PLACE)  # a phone's second picture, or a film
    data = picture()
    assert stripped(data + second) == stripped(data)
    assert PLACE not in stripped(data + second)


def test_stripping_twice_changes_nothing():
    once = stripped(picture(exif=camera_exif()))
    assert stripped(once) == once


def test_a_cut_jpeg_is_refused():
    data = picture()
    with pytest.raises(ValueError, match="ends before"):
        stripped(data[:-40])
