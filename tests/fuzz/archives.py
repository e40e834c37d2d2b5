"""Backups built to do harm: names that lead elsewhere, links, bombs, rows of the wrong kind."""

from __future__ import annotations

import hashlib
import io
import json
import random
import stat
import zipfile
from typing import Any

from tests.fuzz.changing import changed

_MANIFEST = "manifest.json"
_BOMBS = 0.02  # they take their time to make

ELSEWHERE = (
    "../outside.toml",
    "../../../../outside.toml",
    "rules/../../outside.toml",
    "/tmp/wearview-outside.toml",
    "shop/../../../outside",
    "shop\\..\\..\\outside",
    "C:\\outside.toml",
    "rules/rules-9.toml/../../../x.toml",
    "shop/a\0b",
    "shop/" + "n" * 300,
    ".",
    "..",
    "",
)
_LINKS = (b"/etc/passwd", b"../../outside")
_BOMBED = ("photos/" + "ab" * 32, "record/verdict.jsonl", "shop/logo.png", _MANIFEST)
_VALUES: tuple[Any, ...] = (
    None,
    True,
    -1,
    2**70,
    1.5,
    "",
    "x" * 5000,
    "'; DROP TABLE teardown; --",
    "\ud800",
    "\0",
    [],
    {},
    {"a": {"b": []}},
    [[[[]]]],
)


def hostile(chance: random.Random, backup: bytes) -> bytes:
    """A backup with one fault whose hashes are right, so that it gets as far as it can."""
    if chance.random() < _BOMBS:
        return with_bomb(backup, chance.choice(_BOMBED), chance.choice((100, 300)) << 20)
    manifest, members = _parts(backup)
    chance.choice(_HARMS)(chance, manifest, members)
    text = json.dumps(manifest).encode()
    if chance.random() < 0.1:
        text = changed(chance, [text])
    return _packed(text, members, chance.choice((zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)))


def with_file(backup: bytes, folder: str, name: str, data: bytes) -> bytes:
    """A backup with one more file of the shop or the page, or under the name of a photo."""
    manifest, members = _parts(backup)
    _add(manifest, members, folder, name, data)
    return _packed(json.dumps(manifest).encode(), members)


def with_bomb(backup: bytes, name: str, size: int) -> bytes:
    """A backup one file of which unpacks to `size` zeros."""
    manifest, members = _parts(backup)
    zeros = bytes(size)
    if name.startswith("record/"):
        members[name] = zeros
        manifest["tables"]["verdict"]["sha256"] = _hash(zeros)
    elif name == _MANIFEST:
        return _packed(zeros, members, zipfile.ZIP_DEFLATED)
    else:
        _add(manifest, members, *name.split("/", 1), zeros)
    return _packed(json.dumps(manifest).encode(), members, zipfile.ZIP_DEFLATED)


def _parts(backup: bytes) -> tuple[Any, dict[str, bytes]]:
    with zipfile.ZipFile(io.BytesIO(backup)) as archive:
        members = {info.filename: archive.read(info) for info in archive.infolist()}
    return json.loads(members.pop(_MANIFEST)), members


def _packed(manifest: bytes, members: dict[str, bytes], how: int = zipfile.ZIP_STORED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", how, compresslevel=1) as archive:
        for name, data in members.items():
            info = zipfile.ZipInfo(name)
            info.compress_type = how
            if data in _LINKS:
                info.external_attr = (stat.S_IFLNK | 0o777) << 16
            archive.writestr(info, data)
        archive.writestr(_MANIFEST, manifest)
    return out.getvalue()


def _add(manifest: Any, members: dict[str, bytes], folder: str, name: str, data: bytes) -> None:
    key = "files" if folder == "photos" else folder
    manifest.setdefault(key, {})[name] = len(data) if key == "files" else _hash(data)
    members[f"{folder}/{name}"] = data


def _hash(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _names(chance: random.Random, manifest: Any, members: dict[str, bytes]) -> None:
    folder, name = chance.choice(("shop", "trays", "photos", "record")), chance.choice(ELSEWHERE)
    if folder == "record":
        manifest["tables"][name] = {"rows": 0, "sha256": _hash(b"owned")}
        members[f"record/{name}.jsonl"] = b"owned"
    else:
        _add(manifest, members, folder, name, b"owned")


def _links(chance: random.Random, manifest: Any, members: dict[str, bytes]) -> None:
    """A member that says it is a link."""
    _add(manifest, members, "shop", "rules/rules-7.toml", chance.choice(_LINKS))


def _rows(chance: random.Random, manifest: Any, members: dict[str, bytes]) -> None:
    """Rows with values, columns or nesting that no program of ours writes."""
    filled = [name for name, table in manifest["tables"].items() if table["rows"]]
    name = chance.choice(filled)
    lines = members[f"record/{name}.jsonl"].splitlines()
    row = json.loads(lines[0])
    what = chance.randrange(5)
    if what == 0:
        row[chance.choice(list(row))] = chance.choice(_VALUES)
    elif what == 1:
        row[chance.choice(("x", "id; DROP TABLE seal", ""))] = 1
    elif what == 2:
        row.pop(chance.choice(list(row)))
    lines[0] = json.dumps(row).encode()
    if what == 3:
        lines[0] = chance.choice((b"[" * 100_000, b"1", b"null", b"{", b"\xff\xfe", b'{"id": NaN}'))
    elif what == 4:
        lines += lines
    members[f"record/{name}.jsonl"] = data = b"\n".join(lines) + b"\n"
    manifest["tables"][name]["sha256"] = _hash(data)


def _manifest(chance: random.Random, manifest: Any, members: dict[str, bytes]) -> None:
    """A manifest of the wrong make."""
    key = chance.choice(list(manifest))
    if key in ("tables", "files") and chance.random() < 0.5:
        manifest[key][chance.choice(list(manifest[key]))] = chance.choice(_VALUES)
    elif chance.random() < 0.3:
        del manifest[key]
    else:
        manifest[key] = chance.choice(_VALUES)


_HARMS = (_names, _names, _links, _rows, _rows, _rows, _manifest, _manifest)
