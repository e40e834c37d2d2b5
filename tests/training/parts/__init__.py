"""Train the learned proposals for parts, `models/parts-3.onnx`.

1. ``python -m tests.training.parts.make --out DIR --count N --jobs N`` makes pictures of random benches, a
   label for each pixel: rays are cast, what they meet is shaded in plain arrays.
2. ``python -m tests.training.parts.train --data DIR --out models/parts-3.onnx`` trains and exports.

Linings, benches and seeds are apart from those of the accuracy scenes: linings are drawn by numbers from
100,000 on, none of them held out; benches are `boards.random_board`'s, never one of `tests.scenes`' kinds.
Builders of clutter are shared with the accuracy scenes, their seeds are not.
"""
