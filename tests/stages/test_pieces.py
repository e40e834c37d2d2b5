"""Connected pieces of a mask, against scikit-image's labels."""

import cv2
import numpy as np
import pytest
from skimage.measure import label as labels_of
from skimage.measure import regionprops

from wearview.pieces import pieces


@pytest.mark.parametrize("share", [0.05, 0.3, 0.5, 0.9])
def test_pieces_are_those_of_another_library(share):
    mask = np.random.default_rng(1).random((61, 83)) < share
    label, stats = pieces(mask)
    theirs, count = labels_of(mask, connectivity=2, return_num=True)
    assert len(stats) == count + 1
    assert len(np.unique(np.stack([label[mask], theirs[mask]]), axis=1).T) == count  # one to one
    assert np.array_equal(label > 0, mask)
    assert sorted(stats[1:, cv2.CC_STAT_AREA]) == sorted(p.area for p in regionprops(theirs))


def test_an_oblong_has_its_place_and_size():
    mask = np.zeros((20, 30), np.uint8)
    mask[4:9, 7:19] = 255
    label, stats = pieces(mask)
    assert stats[1].tolist() == [7, 4, 12, 5, 60]
    assert np.array_equal(label, mask // 255)


def test_an_empty_mask_has_no_piece():
    label, stats = pieces(np.zeros((5, 6), bool))
    assert len(stats) == 1
    assert not label.any()
